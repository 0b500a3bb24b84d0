// Text to number and back: whatever reads as a number is finite, prints, and reads back as the same double;
// rounding to places stays within half of the last place.

#include <cmath>
#include <limits>

#include "base/number_text.hpp"
#include "fuzz/fuzz.hpp"

using namespace backeddy;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text = fuzz::text_of(data, size);
    const auto whole = parse_whole(text);
    const auto number = parse_number(text);
    if (whole) {
        fuzz::require(number.has_value(), "a whole number is a number");
        fuzz::require(*number == static_cast<double>(*whole), "a whole number reads as itself");
    }
    if (!number) {
        return 0;
    }
    fuzz::require(std::isfinite(*number), "a number read is finite");
    fuzz::require(parse_number(exact_text(*number)) == *number, "exact_text reads back as the same double");
    // The rounded text is itself read back to the nearest double: that costs half a spacing more.
    constexpr double spacing = std::numeric_limits<double>::epsilon();
    if (std::abs(*number) < 1e9) {
        const auto rounded = parse_number(fixed_text(*number, 3));
        fuzz::require(rounded && std::abs(*rounded - *number) <= 0.5e-3 + (spacing * std::abs(*number)),
                      "fixed_text is within half a place");
    }
    if (std::abs(*number) > 1e-200 && std::abs(*number) < 1e200) {
        const auto rounded = parse_number(significant_text(*number, 4));
        fuzz::require(rounded && std::abs(*rounded / *number - 1.0) <= 0.5e-3 + (4.0 * spacing),
                      "significant_text is within half of its last digit");
        fuzz::require(!measured_text(*number, std::abs(*number) * 0.013).empty(), "a measured value prints");
    }
    return 0;
}
