#pragma once
// Outcomes known only in part, as what a likelihood asks of each row.

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/censored.hpp"
#include "stats/detail/likelihood.hpp"
#include "stats/detail/standard.hpp"

namespace backeddy::stats::detail {

/// Nothing, or out_of_range: what no outcome can be; names the row. `is_positive`: values are above 0.
[[nodiscard]] Expected<void> check_outcome(const CensoredOutcome& outcome, bool is_positive,
                                           std::span<const std::string> labels);
[[nodiscard]] CensoredCounts count_outcome(const CensoredOutcome& outcome, bool is_positive);

/// On the scale on which the model is linear, less a middle and over a spread, so that steps of a search are
/// of about one size whatever the unit.
struct StandardRows {
    Standard standard = Standard::normal;
    bool has_scale = true; ///< to be found; 1 otherwise
    std::vector<double> lower;
    std::vector<double> upper;
    double middle = 0.0;
    double spread = 1.0;
    double log_jacobian = 0.0; ///< what the likelihood of the outcome itself has more
};
[[nodiscard]] StandardRows standard_rows(const CensoredOutcome& outcome, Distribution distribution,
                                         bool has_intercept);

/// Of a row whose linear predictor is eta; the further parameter, where there is one, is log scale.
[[nodiscard]] RowTerms outcome_terms(const StandardRows& rows, std::size_t row,
                                     std::span<const double> further, double eta);

} // namespace backeddy::stats::detail
