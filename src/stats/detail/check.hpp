#pragma once
// What several routines ask of what they are given.

#include <cstddef>
#include <span>
#include <string_view>

#include "base/error.hpp"

namespace backeddy::stats::detail {

/// Nothing, or bad_setting: a level of confidence lies between 0 and 1.
[[nodiscard]] Expected<void> check_level(double level);
/// Nothing, or out_of_range: `what` ("pair", "value of the first group") has the number that is not finite.
[[nodiscard]] Expected<void> check_finite(std::span<const double> values, std::string_view what);
/// Nothing, or too_few: `what` is a plural ("pairs", "values in the first group").
[[nodiscard]] Expected<void> check_count(std::size_t n, std::size_t least, std::string_view what);

} // namespace backeddy::stats::detail
