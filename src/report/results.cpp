#include "report/results.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/number_text.hpp"

namespace backeddy::report {

Number number(const Measured& measured, std::string unit, std::string method) {
    if (!std::isfinite(measured.value())) {
        return no_number("the computation gave no finite value", std::move(unit));
    }
    return {.value = measured.value(),
            .standard_uncertainty = measured.standard_uncertainty(),
            .unit = std::move(unit),
            .method = std::move(method),
            .contributions = {measured.contributions().begin(), measured.contributions().end()}};
}

Number number(double value, std::string unit, std::string method) {
    if (!std::isfinite(value)) {
        return no_number("the computation gave no finite value", std::move(unit));
    }
    return {.value = value, .unit = std::move(unit), .method = std::move(method)};
}

Number as_written(Number number) {
    number.is_as_written = true;
    return number;
}

Number no_number(std::string reason, std::string unit) {
    return {.reason = std::move(reason), .unit = std::move(unit)};
}

namespace {

/// Of an interval that no ± can say, since its halves differ or it is open: two digits of the half below.
std::string with_interval(double value, const Interval& interval) {
    const double below = value - interval.low;
    const int digits =
        below > 0.0 ? std::clamp(1 - static_cast<int>(std::floor(std::log10(below))), 0, 3) : 2;
    return fixed_text(value, digits) + " (" + fixed_text(interval.low, digits) +
           (std::isfinite(interval.high) ? " to " + fixed_text(interval.high, digits) : " or more") + ")";
}

} // namespace

std::string bare_text_of(const Number& number) {
    if (!number.has_value()) {
        return number.reason;
    }
    if (!number.standard_uncertainty && number.interval) {
        return with_interval(*number.value, *number.interval);
    }
    const double spread = number.standard_uncertainty.value_or(0.0);
    const std::string text = spread > 0.0 ? measured_text(*number.value, spread)
                                          : short_text(*number.value, number.is_as_written ? 6 : 3);
    return number.is_at_least ? "at least " + text : text;
}

std::string text_of(const Number& number) {
    if (!number.has_value() || number.unit.empty()) {
        return bare_text_of(number);
    }
    return bare_text_of(number) + " " + shown_unit(number.unit);
}

std::string shown_unit(std::string_view unit) {
    std::string text(unit);
    for (std::size_t at = text.find("degC"); at != std::string::npos; at = text.find("degC", at)) {
        text.replace(at, 4, "°C");
    }
    return text;
}

} // namespace backeddy::report
