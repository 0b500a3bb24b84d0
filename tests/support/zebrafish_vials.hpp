#pragma once
// Zebrafish in closed vials (Barneche, Jahn and Seebacher 2019, Functional Ecology,
// doi:10.1111/1365-2435.13348; data doi:10.5281/zenodo.2634100, CC0): the authors' constants, and how their
// printed numbers are held against ours.

#include <cmath>
#include <map>
#include <string>

#include <gtest/gtest.h>

#include "base/number_text.hpp"

namespace backeddy::test {

inline double printed_number(const std::string& text) {
    const auto value = parse_number(text);
    EXPECT_TRUE(value) << text;
    return value.value_or(std::nan(""));
}

/// The authors' mL of oxygen per litre at their nominal temperatures, and mg per mL.
inline double authors_mg_per_l(double nominal_c) {
    const std::map<int, double> ml_per_l{{20, 6.40}, {26, 5.69}, {29, 5.38}, {32, 5.10}};
    return ml_per_l.at(static_cast<int>(nominal_c)) * 1.429;
}

/// Half a unit of the last digit that was printed.
inline double half_digit(const std::string& printed) {
    const auto mark = printed.find_first_of("eE");
    const std::string mantissa = printed.substr(0, mark);
    const double power = mark == std::string::npos ? 0.0 : printed_number(printed.substr(mark + 1));
    const auto point = mantissa.find('.');
    const double decimals =
        point == std::string::npos ? 0.0 : static_cast<double>(mantissa.size() - point - 1);
    return 0.5 * std::pow(10.0, power - decimals);
}

/// Within 1e-6 of it, and what its last digit leaves open.
inline void expect_printed(double ours, const std::string& printed, const std::string& what) {
    const double theirs = printed_number(printed);
    EXPECT_NEAR(ours, theirs, (1e-6 * std::abs(theirs)) + half_digit(printed)) << what;
}

} // namespace backeddy::test
