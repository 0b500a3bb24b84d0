// Any bytes as lines from a wire: the same lines come however the bytes are split; each line gives readings
// or a complaint, and a reading a finite number inside its range or a reason.

#include <cmath>
#include <vector>

#include "fuzz/fuzz.hpp"
#include "instruments/line_cutter.hpp"
#include "instruments/text_line.hpp"

using namespace backeddy;
using namespace backeddy::instruments;

namespace {

std::vector<Cut> lines(std::string_view bytes, std::size_t step, LineCutter::Begin begin) {
    LineCutter cutter(begin);
    std::vector<Cut> out;
    const auto add = [&](std::vector<Cut> cuts) { out.insert(out.end(), cuts.begin(), cuts.end()); };
    for (std::size_t at = 0; at < bytes.size(); at += step) {
        add(cutter.feed(bytes.substr(at, step)));
    }
    add(cutter.finish());
    return out;
}

Channel channel() {
    return {.id = {"c"}, .unit = "mg/L", .scale = 2.0, .least = -5.0, .most = 40.0, .none = {"-99", "--"}};
}

std::vector<LineShape> shapes() {
    const FieldPlace by_name{.name = "c"};
    const FieldPlace second{.position = 2};
    return {{.time = {.name = "time"}, .channels = {{.channel = channel(), .place = by_name}}},
            {.check = LineCheck::crc16, .channels = {{.channel = channel(), .place = by_name}}},
            {.separator = ' ', .fields = 3, .channels = {{.channel = channel(), .place = second}}},
            {.separator = '\t',
             .decimal = ',',
             .starts_with = "R",
             .time = {.position = 1},
             .channels = {{.channel = channel(), .place = second}}}};
}

void check(const LineShape& shape, std::string_view line) {
    const auto read = read_line(shape, line, Stamp());
    fuzz::require(read.readings.empty() || read.complaint.empty(), "a refused line has no reading");
    fuzz::require(!read.readings.empty() || !read.complaint.empty() || !line.starts_with(shape.starts_with),
                  "a line without a reading says why");
    for (const auto& reading : read.readings) {
        const bool number = reading.missing == Missing::no;
        fuzz::require(number == std::isfinite(reading.value), "a number, or a reason why there is none");
        fuzz::require(!number || (reading.value >= -5.0 && reading.value <= 40.0), "inside its range");
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const auto all = shapes();
    const auto bytes = fuzz::text_of(data, size);
    for (const auto begin : {LineCutter::Begin::at_a_line, LineCutter::Begin::in_midst_of}) {
        const auto whole = lines(bytes, bytes.size() + 1, begin);
        fuzz::require(whole == lines(bytes, 3, begin), "how the bytes are split changes no line");
        for (const auto& cut : whole) {
            fuzz::require(cut.complaint.empty() ? cut.bytes.size() == cut.length : cut.bytes.size() <= 256,
                          "a line is whole, what is none is short");
            for (const auto& shape : all) {
                check(shape, cut.bytes);
            }
        }
    }
    return 0;
}
