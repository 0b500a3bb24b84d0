#pragma once
// A trace's extremes in blocks and blocks of blocks, so that any stretch of it is drawn without looking at
// each of its readings.

#include <cstddef>
#include <cstdint>
#include <vector>

#include "uptake/chamber_trace.hpp"

namespace backeddy::report {

/// What a run of rows comes to. Rows whose oxygen is not finite are passed over.
struct Outline {
    std::size_t readable = 0; ///< rows with oxygen; the rest only counts where there is one
    std::size_t first = 0;    ///< the first of them
    std::size_t last = 0;
    std::size_t low = 0;  ///< the first of the lowest
    std::size_t high = 0; ///< the first of the highest
    /// Between one and the next of them, ns: 0 of one alone.
    std::int64_t longest_step = 0;

    friend bool operator==(const Outline&, const Outline&) = default;
};

/// Of one trace, which must outlive it unchanged.
class TracePyramid {
  public:
    explicit TracePyramid(const uptake::ChamberTrace& trace);

    /// Of rows [first, end), exactly, in time that grows with the logarithm of their number.
    [[nodiscard]] Outline of(std::size_t first, std::size_t end) const;
    /// Median of the steps between all of its rows, s; 0 of fewer than two.
    [[nodiscard]] double usual_step_s() const { return usual_step_s_; }

  private:
    [[nodiscard]] Outline merged(const Outline& a, const Outline& b) const;
    [[nodiscard]] Outline of_rows(std::size_t first, std::size_t end) const;

    static constexpr std::size_t block = 16; ///< rows of the lowest level, and blocks of the next above
    const uptake::ChamberTrace* trace_;
    double usual_step_s_ = 0.0;
    std::vector<std::vector<Outline>> levels_; ///< the finest first
};

} // namespace backeddy::report
