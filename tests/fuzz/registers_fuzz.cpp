// Any registers: each kind is read without a fault, whole numbers keep their bits, turning the words and the
// word order together changes nothing, and a reading has a finite number or a reason.

#include <algorithm>
#include <cmath>
#include <vector>

#include "fuzz/fuzz.hpp"
#include "instruments/registers.hpp"

using namespace backeddy;
using namespace backeddy::instruments;

namespace {

bool same(double a, double b) {
    return a == b || (std::isnan(a) && std::isnan(b));
}

void check(std::span<const std::uint16_t> registers, RegisterKind kind) {
    std::vector<std::uint16_t> turned(registers.begin(), registers.end());
    std::reverse(turned.begin(), turned.end());
    fuzz::require(same(number_in(registers, kind, WordOrder::high_first),
                       number_in(turned, kind, WordOrder::low_first)),
                  "the order of words is all that the orders differ in");
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    std::vector<std::uint16_t> registers;
    for (std::size_t i = 0; i + 1 < size && registers.size() < most_registers; i += 2) {
        registers.push_back(static_cast<std::uint16_t>((data[i] << 8U) | data[i + 1]));
    }
    const std::vector kinds{RegisterKind::u16, RegisterKind::i16,     RegisterKind::u32,
                            RegisterKind::i32, RegisterKind::float32, RegisterKind::float64};
    std::vector<RegisterChannel> channels;
    for (std::size_t i = 0; i < registers.size(); ++i) {
        const auto kind = kinds[registers[i] % kinds.size()];
        if (i + width(kind) <= registers.size()) {
            check(std::span(registers).subspan(i, width(kind)), kind);
            channels.push_back({.channel = {.id = {"c"}, .most = 40.0},
                                .address = static_cast<std::uint16_t>(i),
                                .kind = kind});
        }
    }
    std::size_t read = 0;
    for (const auto& request : requests_for(channels)) {
        fuzz::require(request.count <= most_registers, "an answer holds what is asked for");
        const auto answer = std::span(registers).subspan(request.address, request.count);
        for (const auto& reading : read_registers(channels, request, answer, Stamp())) {
            ++read;
            fuzz::require((reading.missing == Missing::no) == std::isfinite(reading.value),
                          "a number, or a reason why there is none");
        }
    }
    fuzz::require(read == channels.size(), "each channel is read once");
    return 0;
}
