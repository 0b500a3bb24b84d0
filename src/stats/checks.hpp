#pragma once
// Residuals and random effects as points to look at: plain values for figures.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "stats/estimate.hpp"
#include "stats/linear.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats {

/// One value against the quantile that a standard normal sample would have there.
struct QuantilePoint {
    std::string label;
    double normal = 0.0; ///< quantile at (rank - 3/8) / (n + 1/4) (Blom 1958)
    double value = 0.0;
    double lower =
        0.0; ///< 95 % of standard normal samples of this size have their value of this rank within;
    double upper = 0.0; ///< for independent values: a few points outside of many are no surprise
};

/// Smallest value first; `labels` go with the values. As many labels as values.
[[nodiscard]] std::vector<QuantilePoint> normal_quantile_points(std::span<const double> values,
                                                                std::span<const std::string> labels);

struct RowCheck {
    std::string row;
    double fitted = 0.0;
    double standardised = 0.0; ///< residual over its standard deviation
};

/// A group's conditional modes over their estimated standard deviation. They are drawn towards 0, the more
/// the fewer rows a level has, so that they spread less than 1 even where all is well.
struct GroupCheck {
    std::string group;
    std::string slope_of; ///< empty for intercepts
    std::vector<QuantilePoint> levels;
};

struct ModelChecks {
    std::vector<RowCheck> rows;           ///< as in the table
    std::vector<QuantilePoint> residuals; ///< of the standardised ones
    /// Change of the size of a standardised residual per unit of the fitted value (Glejser 1969, J Am Stat
    /// Assoc 64:316): away from 0, the spread goes with the level; try the outcome's logarithm, or weights.
    /// All 0 when fitted values do not differ.
    Estimate spread;
    std::vector<GroupCheck> groups; ///< those whose variance is not 0
};

/// How much a residual resembles the next of its series.
struct SerialCorrelation {
    double lag_one = 0.0;  ///< from -1 to 1; 0 where neighbours do not resemble each other
    double bound = 0.0;    ///< 1.96 / root of `pairs`: independent residuals seldom go beyond it
    std::size_t pairs = 0; ///< of neighbours
    /// How much longer intervals of a mean of many rows of a series should be: the root of (1 + r) / (1 - r),
    /// of a first-order autoregression (Bence 1995, Ecology 76:628); 1 where r is not above 0.
    [[nodiscard]] double widening() const;
};

/// Lag-one autocorrelation of residuals within series, pooled: r = (sum of e_ij e_i,j+1 over neighbours j,
/// j+1 of series i / their number) / (sum of e_ij^2 / number of rows), as Pinheiro and Bates (2000,
/// Mixed-Effects Models in S and S-PLUS, 5.3.3) define the empirical autocorrelation of within-group
/// residuals and its bound (from memory of the book). `series` by row; rows of one stand in the order of
/// time; only those with three rows and more tell anything. Residuals of a model that gives each series a
/// height of its own correlate by about -1 / rows of a series where all is well, so that r is rather too
/// small. Nothing with fewer than 10 pairs, or where all residuals are 0.
[[nodiscard]] std::optional<SerialCorrelation> serial_correlation(std::span<const double> residuals,
                                                                  std::span<const std::string> series);

/// Standardised by the residual standard deviation, the row's weight and its leverage (Cook and Weisberg
/// 1982, 2.2.1). Leverage 1 gives 0. Of a perfect fit all are 0.
[[nodiscard]] ModelChecks check_model(const LinearFit& fit);
/// Conditional residuals, standardised by each row's residual variance; 0 where that is 0.
[[nodiscard]] ModelChecks check_model(const MixedModel& model, const MixedFit& fit);

} // namespace backeddy::stats
