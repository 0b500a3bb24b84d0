#pragma once
// A handheld meter set right by samples that a reference method measured too.
//
//   const auto meter = fit_meter(pairs);            // lactate of 20 fish by the laboratory and by the meter
//   meter->corrected(6.2).value;                    // with its uncertainty

#include <cstddef>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "stats/interval.hpp"

namespace backeddy::condition {

/// The same sample by both, in the same unit.
struct MeterPair {
    double reference = 0.0;
    double meter = 0.0;
};

struct MeterOptions {
    /// Variance of the meter's own error over that of the reference method: 1 when both err alike, larger for
    /// a meter that errs more (5 % against 2 %: 6.25). > 0 and finite.
    double error_ratio = 1.0;
};

/// meter = intercept + slope * reference.
struct MeterCorrection {
    std::size_t n = 0;
    double intercept = 0.0;
    double slope = 1.0;
    double intercept_se = 0.0; ///< jackknife
    double slope_se = 0.0;
    double covariance = 0.0;
    double meter_sd = 0.0;    ///< the meter's own error
    stats::Interval range;    ///< of the meter's readings that it was fitted on
    double error_ratio = 1.0; ///< as assumed

    struct Corrected {
        double value = 0.0;
        double uncertainty = 0.0; ///< standard: the line's and the meter's own, first order
        bool is_beyond = false;   ///< outside `range`: an extrapolation
    };
    /// (reading - intercept) / slope; u^2 = (meter_sd^2 + u(line there)^2) / slope^2.
    [[nodiscard]] Corrected corrected(double reading) const;
};

/// Deming's line, since both methods err: least squares would flatten the slope by the reference's error
/// (Deming 1943, Statistical Adjustment of Data; errors by jackknife: Linnet 1993, Clin Chem 39:424). With
/// s the centred sums of squares and d the error ratio, slope = (s_yy - d s_xx + sqrt((s_yy - d s_xx)^2 + 4 d
/// s_xy^2)) / (2 s_xy); reference error variance sum (y - a - b x)^2 / ((n - 2) (d + b^2)), the meter's d
/// times that. Assumes errors of one size over the range: large ones in high readings want logarithms or a
/// narrower range. Fails with too_few (under five pairs; fewer than twenty say little of the slope),
/// out_of_range (not finite), bad_setting (error ratio) or degenerate (all alike; a slope that is not above
/// 0, with any one pair left out as well).
[[nodiscard]] Expected<MeterCorrection> fit_meter(std::span<const MeterPair> pairs,
                                                  const MeterOptions& options = {});

} // namespace backeddy::condition
