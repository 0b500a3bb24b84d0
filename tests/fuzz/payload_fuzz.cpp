// Any bytes as a pointer, up to the first line end, and a payload behind it: a pointer that is read is
// written back as the same; the payload gives a reading or a complaint, and a reading a finite number or a
// reason.

#include <cmath>

#include "fuzz/fuzz.hpp"
#include "instruments/payload.hpp"

using namespace backeddy;
using namespace backeddy::instruments;

namespace {

std::string written(const JsonPointer& pointer) {
    std::string out;
    for (const auto& part : pointer.parts()) {
        out += '/';
        for (const char each : part) {
            if (each == '~' || each == '/') {
                out += each == '~' ? "~0" : "~1";
            } else {
                out += each;
            }
        }
    }
    return out;
}

void check(const PayloadChannel& channel, std::string_view payload) {
    const auto read = read_payload(channel, payload, Stamp());
    fuzz::require(read.reading.has_value() == read.complaint.empty(), "a reading or a complaint");
    if (read.reading) {
        fuzz::require((read.reading->missing == Missing::no) == std::isfinite(read.reading->value),
                      "a number, or a reason why there is none");
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto bytes = fuzz::text_of(data, size);
    const auto end = std::min(bytes.find('\n'), bytes.size());
    const auto text = bytes.substr(0, end);
    const auto payload = bytes.substr(std::min(end + 1, bytes.size()));
    PayloadChannel channel{.channel = {.id = {"c"}}, .topic = "t"};
    check(channel, payload);
    if (const auto pointer = JsonPointer::parse(text)) {
        fuzz::require(written(*pointer) == text, "a pointer is written back as the same");
        channel.pointer = channel.time = *pointer;
        check(channel, payload);
    }
    return 0;
}
