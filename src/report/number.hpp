#pragma once
// A number of the report, with its unit, its uncertainty and how it was made, or the reason why there is
// none.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantity/measured.hpp"

namespace backeddy::report {

struct Interval {
    double low = 0.0;
    double high = 0.0; ///< infinite: no upper limit is known (null in the document, an empty cell in tables)
    double level = 0.95;
    std::string method; ///< "normal", "block bootstrap, 2 h blocks", "log scale" ...
};

/// A number of the report. Either `value` is there, or `reason` says in words why not.
struct Number {
    std::optional<double> value;
    std::string reason; ///< why there is no value; empty when there is one
    std::optional<double> standard_uncertainty;
    std::optional<Interval> interval;
    std::string unit;   ///< "mg/kg/h"; "" for a pure number
    std::string method; ///< how it was made, one sentence
    std::vector<Contribution> contributions;
    bool is_at_least = false;   ///< censored: the true value is this or more
    bool is_as_written = false; ///< somebody wrote it down or set it: its digits are theirs

    [[nodiscard]] bool has_value() const { return value.has_value(); }
};

/// A number with its uncertainty and contributions.
[[nodiscard]] Number number(const Measured& measured, std::string unit, std::string method = {});
/// A number without uncertainty: printed with three digits at most, a whole number with all of its own.
[[nodiscard]] Number number(double value, std::string unit, std::string method = {});
/// One that somebody wrote down or set (a volume, a ceiling, a standard as labelled): printed with the digits
/// it was written with, six at most.
[[nodiscard]] Number as_written(Number number);
/// No number, and why.
[[nodiscard]] Number no_number(std::string reason, std::string unit);
/// "412 ± 18 mg/kg/h", "at least 310 mg/kg", "8.1 (6.2 to 12.4) h" or "8.1 (6.2 or more) h" of a number with
/// an interval and no uncertainty, "not weighed": as every page and table prints it.
[[nodiscard]] std::string text_of(const Number& number);
/// The same without its unit.
[[nodiscard]] std::string bare_text_of(const Number& number);
/// A unit as people read it: "degC" becomes "°C".
[[nodiscard]] std::string shown_unit(std::string_view unit);

struct NamedText {
    std::string name;
    std::string text;
};

struct NamedNumber {
    std::string word;  ///< short and fixed, for programs
    std::string title; ///< for people
    Number number;
};

/// Values against an axis, all vectors of one length; a NaN is "no value" and becomes null. `low` and `high`
/// may be empty (no band).
struct Curve {
    std::vector<double> x;
    std::vector<double> y;
    std::vector<double> low;
    std::vector<double> high;
};

} // namespace backeddy::report
