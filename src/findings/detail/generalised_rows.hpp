#pragma once
// What logistic, Poisson and negative binomial models share of a question.

#include <string>
#include <vector>

#include "findings/detail/frame.hpp"
#include "stats/generalised.hpp"

namespace backeddy::findings::detail {

struct GeneralisedRows {
    stats::Family family = stats::Family::binomial;
    std::vector<double> values; ///< 0 or 1, or counts
    std::vector<double> offset; ///< logarithm of the exposure; empty: none
    std::string what;           ///< "landed = yes", "bites per rod_hours"
    stats::Terms terms;         ///< fixed ones
};

} // namespace backeddy::findings::detail
