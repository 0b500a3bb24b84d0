#pragma once
// How the chapters of the report page print numbers, moments, fish and groups. All return HTML.

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// A number as text; `at` is its place in the results document (JSON pointer, RFC 6901), by which the script
/// finds what it is made of.
[[nodiscard]] std::string quantity(const Number& number, const std::string& at);
/// One of which there is no more to tell.
[[nodiscard]] std::string quantity(const Number& number);
/// "356.8 to 401.6" of a number that has an interval, "356.8 or more" of an open one; nothing otherwise.
[[nodiscard]] std::string interval_of(const Number& number);
/// The number, and its interval where the text of the number is not that already: "89 ± 6 ng/mL (77 to 103)".
[[nodiscard]] std::string quantity_with_interval(const Number& number, const std::string& at);

/// "2026-06-14 15:07:34": the page says once that times are UTC; the tables beside the report keep fractions.
[[nodiscard]] std::string shown_time(Instant at);
[[nodiscard]] std::string moment(const std::optional<Instant>& at);

/// Of the fish in that place of the study.
[[nodiscard]] std::string anchor(std::size_t fish);
/// The group's label after its colour and point shape; nothing of no group.
[[nodiscard]] std::string group_sign(const Results& results, std::string_view key);

} // namespace backeddy::report::detail
