#pragma once
// An assay plate small enough to read whole: its map and its reader's file, made from a known curve.

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "condition/logistic_curve.hpp"

namespace backeddy::test {

/// Falling, as of a competitive assay: 2.0 without hormone, 0.1 with endless, half way at 20 ng/mL.
inline constexpr condition::LogisticCurve small_curve{
    .at_zero = 2.0, .at_infinity = 0.1, .half = 20.0, .slope = 1.1};

/// An 8 x 12 plate of which replicates lie 1 % above and below the curve, so that their mean lies on it.
struct Plate {
    std::string wells = "plate,well,holds,label,concentration,dilution\n";
    std::vector<std::vector<double>> grid = std::vector(8, std::vector(12, 0.05));
    std::vector<std::vector<bool>> mapped = std::vector(8, std::vector(12, false));

    void pair(std::size_t row, std::size_t column, double in_well, const std::string& rest) {
        for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
            grid[row][column + i] = small_curve.response(in_well) * (i == 0 ? 1.01 : 0.99);
            mapped[row][column + i] = true;
            wells += fmt::format("p1,{}{},{}\n", static_cast<char>('A' + row), column + i + 1, rest);
        }
    }
    void map_the_rest() {
        for (std::size_t r = 0; r < 8; ++r) {
            for (std::size_t c = 0; c < 12; ++c) {
                if (!mapped[r][c]) {
                    wells += fmt::format("p1,{}{},empty,,,\n", static_cast<char>('A' + r), c + 1);
                }
            }
        }
    }
    [[nodiscard]] std::string file() const {
        std::string out = ",1,2,3,4,5,6,7,8,9,10,11,12\n";
        for (std::size_t r = 0; r < 8; ++r) {
            out += static_cast<char>('A' + r);
            for (const double value : grid[r]) {
                out += "," + exact_text(value);
            }
            out += "\n";
        }
        return out;
    }
};

/// Eight standards from 0.78 to 100 ng/mL, zero wells; A1 of 37.5 ng/mL diluted tenfold; A2 below all.
inline Plate sound_plate() {
    Plate plate;
    for (std::size_t i = 0; i < 8; ++i) {
        const double standard = 100.0 / std::pow(2.0, static_cast<double>(i));
        plate.pair(i, 0, standard, "standard,," + exact_text(standard) + ",");
    }
    plate.pair(0, 2, 0.0, "zero,,,");
    plate.pair(1, 2, 3.75, "sample,A1,,10");
    plate.pair(2, 2, 0.2, "sample,A2,,");
    plate.pair(3, 2, 11.0, "control,pool,11,");
    return plate;
}

} // namespace backeddy::test
