#pragma once
// A small invented study for the report's tests and for looking at its pages: sea trout of Skerry Voe.
// Numbers are made by simple formulas and a fixed seed; nothing here was measured, and nothing is computed
// from anything else with care.

#include <cstddef>

#include "report/results.hpp"

namespace backeddy::report {

struct InventedSize {
    std::size_t fish = 6;
    double night_h = 14.0;
    double reading_every_s = 2.0;
    std::size_t drawn_slices = 300;
};

[[nodiscard]] Results invented_study(const InventedSize& size = {});

} // namespace backeddy::report
