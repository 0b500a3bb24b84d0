#pragma once
// Assay plates of a simulated study: what stands in each well, what it truly holds, what the reader read.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "simulate/condition.hpp"

namespace backeddy::simulate {

struct AssayWell {
    std::size_t row = 0; ///< from 0
    std::size_t column = 0;
    std::string holds; ///< as in wells.csv
    std::string label;
    std::optional<double> nominal; ///< ng/mL: of a standard, and what is expected of a control
    std::optional<double> dilution;
    std::optional<double> added;
    double holds_ng_per_ml = 0.0; ///< in the well, truly; 0 where there is none
    double expected = 0.0;        ///< response without noise, an edge effect included
    double response = 0.0;

    [[nodiscard]] std::string name() const; ///< "C7"
};

constexpr std::size_t plate_rows = 8;
constexpr std::size_t plate_columns = 12;
/// Duplicates of samples on one plate, less the two further dilutions of one of them.
constexpr std::size_t most_samples_of_plate = 30;

/// The fish (by index) whose plasma is on that plate: those of the season in order, in equal shares.
[[nodiscard]] std::vector<std::size_t> samples_of_plate(const SimulationPlan& plan, std::size_t plate);

/// ng/mL to response: bottom + (top - bottom) / (1 + (x / middle)^slope). 0 gives the top.
[[nodiscard]] double signal(const PlatePlan& plate, double ng_per_ml);

/// All 96 wells, by row. Duplicates stand side by side: standards in the first two columns, then eight zero
/// wells, a blank, two controls and a spiked sample, then the samples; one of them, of a middling
/// concentration, at two further dilutions.
[[nodiscard]] std::vector<AssayWell> assay_wells(const SimulationPlan& plan, const Season& season,
                                                 std::span<const BloodDraw> blood, std::size_t plate,
                                                 std::uint64_t seed);

/// The reader's file, in the plate's shape.
[[nodiscard]] std::string export_text(const PlatePlan& plate, std::span<const AssayWell> wells,
                                      const std::string& read_on);

/// Below the study folder.
[[nodiscard]] std::string export_file(const PlatePlan& plate);

} // namespace backeddy::simulate
