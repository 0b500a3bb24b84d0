// ISO 8601: what reads as a moment prints as one, and that reads back as the same moment.

#include "fuzz/fuzz.hpp"
#include "series/instant.hpp"

using namespace backeddy;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto moment = parse_iso(fuzz::text_of(data, size));
    if (moment) {
        const std::string text = iso_text(*moment);
        fuzz::require(text.ends_with('Z'), "iso_text is UTC");
        fuzz::require(parse_iso(text) == moment, "iso_text reads back as the same moment");
    }
    return 0;
}
