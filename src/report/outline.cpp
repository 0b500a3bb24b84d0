#include "report/outline.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "series/trace.hpp"

namespace backeddy::report {

TracePyramid::TracePyramid(const uptake::ChamberTrace& trace)
    : trace_(&trace), usual_step_s_(median_interval_s(trace.times_ns)) {
    auto& finest = levels_.emplace_back();
    for (std::size_t row = 0; row < trace.times_ns.size(); row += block) {
        finest.push_back(of_rows(row, std::min(row + block, trace.times_ns.size())));
    }
    while (levels_.back().size() > block) {
        const auto& below = levels_.back();
        std::vector<Outline> above;
        for (std::size_t i = 0; i < below.size(); ++i) {
            if (i % block == 0) {
                above.emplace_back();
            }
            above.back() = merged(above.back(), below[i]);
        }
        levels_.push_back(std::move(above));
    }
}

Outline TracePyramid::merged(const Outline& a, const Outline& b) const {
    if (a.readable == 0 || b.readable == 0) {
        return a.readable == 0 ? b : a;
    }
    const auto& oxygen = trace_->oxygen_mg_per_l;
    const std::int64_t between = trace_->times_ns[b.first] - trace_->times_ns[a.last];
    return {.readable = a.readable + b.readable,
            .first = a.first,
            .last = b.last,
            .low = oxygen[b.low] < oxygen[a.low] ? b.low : a.low,
            .high = oxygen[b.high] > oxygen[a.high] ? b.high : a.high,
            .longest_step = std::max({a.longest_step, between, b.longest_step})};
}

Outline TracePyramid::of_rows(std::size_t first, std::size_t end) const {
    Outline out;
    for (std::size_t row = first; row < end; ++row) {
        if (std::isfinite(trace_->oxygen_mg_per_l[row])) {
            out = merged(out, {.readable = 1, .first = row, .last = row, .low = row, .high = row});
        }
    }
    return out;
}

Outline TracePyramid::of(std::size_t first, std::size_t end) const {
    // From the rows up to the coarsest level whose blocks fit, and down again: what is left over at either
    // side of each level lies before and after what the level above gives.
    Outline before;
    Outline after;
    std::size_t a = first;
    std::size_t b = std::max(first, end);
    std::size_t level = 0; // 0: rows; else a level of blocks
    const auto at = [&](std::size_t i) { return level == 0 ? of_rows(i, i + 1) : levels_[level - 1][i]; };
    for (;; ++level) {
        const std::size_t up = (a + block - 1) / block;
        const std::size_t down = b / block;
        if (up >= down || level == levels_.size()) {
            break;
        }
        for (; a < up * block; ++a) {
            before = merged(before, at(a));
        }
        Outline tail;
        for (std::size_t i = down * block; i < b; ++i) {
            tail = merged(tail, at(i));
        }
        after = merged(tail, after);
        a = up;
        b = down;
    }
    for (; a < b; ++a) {
        before = merged(before, at(a));
    }
    return merged(before, after);
}

} // namespace backeddy::report
