#pragma once
// Plates for tests: invented, with or without noise.

#include <cmath>
#include <string>
#include <vector>

#include "base/random.hpp"
#include "condition/plate.hpp"

namespace backeddy::condition::plates {

/// Of a competitive assay: more analyte, less signal; and of one that rises.
inline constexpr LogisticCurve falling{.at_zero = 2.2, .at_infinity = 0.08, .half = 1.0, .slope = 1.1};
inline constexpr LogisticCurve rising{.at_zero = 0.06, .at_infinity = 2.6, .half = 1.0, .slope = 1.1};

/// sd of one well: something always there, and a share of the response.
struct Noise {
    double floor = 0.0;
    double share = 0.0;

    [[nodiscard]] double sd(double response) const { return std::hypot(floor, share * response); }
};

/// Fills wells column by column, duplicates one below the other.
class Plate {
  public:
    Plate(const LogisticCurve& curve, Noise noise, std::uint64_t seed, std::uint64_t stream = 0)
        : curve_(curve), noise_(noise), random_(seed, stream) {}

    /// `truth`: what is in the well, dilution and spike done.
    void add(Well well, double truth, int wells = 2) {
        for (int k = 0; k < wells; ++k) {
            well.row = (next_ % 8) + 1;
            well.column = (next_ / 8) + 1;
            ++next_;
            const double mean = curve_.response(truth);
            well.response = mean + (noise_.sd(mean) * random_.normal());
            wells_.push_back(well);
        }
    }
    void standards(int levels, double step = 2.5) {
        for (int k = 0; k < levels; ++k) {
            const double x = std::pow(step, ((levels - 1) / 2.0) - k);
            add({.kind = WellKind::standard, .concentration = x}, x);
        }
        add({.kind = WellKind::zero}, 0.0);
    }
    void sample(const std::string& label, double truth, double dilution = 1.0, int wells = 2) {
        add({.kind = WellKind::sample, .label = label, .dilution = dilution}, truth / dilution, wells);
    }

    std::vector<Well>& wells() { return wells_; }
    Random& random() { return random_; }

  private:
    LogisticCurve curve_;
    Noise noise_;
    Random random_;
    std::vector<Well> wells_;
    std::size_t next_ = 0;
};

} // namespace backeddy::condition::plates
