#pragma once
// Decimal text to the nearest double, or to whole nanoseconds, exactly.

#include <array>
#include <charconv>
#include <cstdint>
#include <cstring>
#include <optional>
#include <string_view>

namespace backeddy::intake {

/// Powers of ten that a double holds exactly.
inline constexpr std::array<double, 23> exact_powers_of_ten{1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                            1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                                            1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/// The whole of `text` as the nearest double: [+-] digits, `mark`, digits, [e[+-]digits]; at least one digit.
/// Nothing where it is not that, or too large for a double. Up to 2^53 and 22 decimals one exact division
/// gives the rounding (Clinger 1990, "How to read floating point numbers accurately"); the rest goes through
/// std::from_chars.
[[nodiscard]] std::optional<double> decimal_number(std::string_view text, char mark);

/// The whole of `text` (plain decimal, no exponent) times `unit` as a whole number, rounded half away from
/// zero: exact however many decimals there are. Nothing where it is no such number or does not fit.
[[nodiscard]] std::optional<std::int64_t> scaled_whole(std::string_view text, char mark, std::int64_t unit);

} // namespace backeddy::intake
