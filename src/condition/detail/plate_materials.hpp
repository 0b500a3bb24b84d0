#pragma once
// Samples, controls and spiked samples, read from a plate's curve.

#include <string>
#include <vector>

#include "condition/detail/plate_groups.hpp"
#include "condition/plate.hpp"

namespace backeddy::condition::detail {

/// What it takes to read a response from the plate.
struct Reading {
    const LogisticFit& curve;
    const PlateSettings& settings;
    double blank = 0.0;
    std::optional<double> quantified_from; ///< as of DetectionLimits, in the well
    std::optional<double> quantified_to;
    std::optional<double> detected_from; ///< the first of DetectionLimits, in the well
};

/// One material over its dilutions, ascending; with its recovery if it is a control of known value.
[[nodiscard]] Material read_material(const std::vector<Group>& steps, const Reading& reading);

/// Sets each spike's recovery from the sample of its label, or says why there is none.
void recover_spikes(std::vector<Material>& spikes, const std::vector<Material>& samples,
                    const Reading& reading);

} // namespace backeddy::condition::detail
