#pragma once
// How well the same material comes back from plate to plate.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "condition/plate.hpp"

namespace backeddy::condition {

struct InterAssay {
    std::string label;
    std::size_t plates = 0;
    std::size_t wells = 0;
    double mean = 0.0;        ///< of the plates' results
    double cv_of_means = 0.0; ///< sd of the plates' results / mean: what is mostly called the inter-assay CV
    /// From the variance components, as shares of the mean; nothing where no plate has replicates. The
    /// scatter of one well on any plate is `total`.
    std::optional<double> within_cv;
    std::optional<double> between_cv; ///< 0 where the plates differ less than their wells would have it
    std::optional<double> total_cv;
    std::vector<std::size_t> left_out; ///< plates, by place, that bear it with wells beyond the curve
};

/// One material on one plate.
struct OnPlate {
    std::optional<double> result; ///< what the plate gives for it; nothing: the mean of its wells
    std::vector<double> wells;    ///< concentrations well by well
};

/// Plates without wells do not count. A plate's result is read at the mean response of its wells and differs
/// a little from the mean of what each of them reads: `mean` and `cv_of_means` are of the results, the
/// variance components of the wells. One-way analysis of variance with plates at random: between =
/// (MS_between - MS_within) / n0, n0 = (N - sum n_i^2 / N) / (plates - 1) (ISO 5725-2:1994, 7.4.5; Searle,
/// Casella and McCulloch 1992, Variance components, section 3.6; memory). Fails with too_few (under two
/// plates) or out_of_range (a concentration not above 0).
[[nodiscard]] Expected<InterAssay> inter_assay(std::string label, std::span<const OnPlate> by_plate);

/// All controls that stand on at least two of the plates; by label. A plate where not all of its wells lie on
/// the curve is left out and named: those that do would be the better half of a broken replicate. With fewer
/// than two plates left the numbers are NaN, and no component is there.
[[nodiscard]] std::vector<InterAssay> inter_assay(std::span<const PlateResult> plates);

} // namespace backeddy::condition
