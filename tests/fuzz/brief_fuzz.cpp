// Any bytes as study.toml: no bytes make it fail; every complaint names the file and says what is there;
// complaints about something written name its line; and what the brief says of a trace is understood or
// refused with a reason.

#include "fuzz/fuzz.hpp"
#include "intake/brief.hpp"

using namespace backeddy;
using namespace backeddy::intake;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const BriefRead read = read_brief(fuzz::text_of(data, size), "study.toml");
    for (const study::Complaint& complaint : read.complaints) {
        const Error& error = complaint.error;
        fuzz::require(error.code != ErrorCode::our_bug, "what a person wrote is no bug of ours");
        fuzz::require(error.place.file == "study.toml", "a complaint names its file");
        fuzz::require(!error.found.empty(), "a complaint says what is there");
        fuzz::require(error.place.line.has_value() || error.code == ErrorCode::missing_column ||
                          error.code == ErrorCode::bad_setting,
                      "a complaint about something written names its line");
    }
    for (const auto& trace : read.brief.traces) {
        const auto settings = read_settings(trace, read.brief.study.zone);
        fuzz::require(settings.has_value() || !settings.error().text().empty(), "a refusal says why");
    }
    return 0;
}
