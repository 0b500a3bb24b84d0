#include "report/thin.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "series/trace.hpp"

namespace backeddy::report {

namespace {

struct Rows {
    std::size_t first = 0;
    std::size_t end = 0;
};

Rows rows_within(const uptake::ChamberTrace& trace, Instant from, Instant to) {
    const auto& times = trace.times_ns;
    const auto first = std::ranges::lower_bound(times, from.unix_nanoseconds());
    const auto end = std::upper_bound(first, times.end(), to.unix_nanoseconds());
    return {.first = static_cast<std::size_t>(first - times.begin()),
            .end = static_cast<std::size_t>(end - times.begin())};
}

/// Rows to keep: of each slice the lowest and the highest oxygen, in the order of time.
std::vector<std::size_t> kept_rows(const uptake::ChamberTrace& trace, const TracePyramid* pyramid, Rows rows,
                                   std::size_t slices) {
    const auto& oxygen = trace.oxygen_mg_per_l;
    const auto next_readable = [&](std::size_t i) {
        if (pyramid != nullptr && i < rows.end && !std::isfinite(oxygen[i])) {
            const auto rest = pyramid->of(i, rows.end);
            return rest.readable == 0 ? rows.end : rest.first;
        }
        while (i < rows.end && !std::isfinite(oxygen[i])) {
            ++i;
        }
        return i;
    };
    std::size_t readable = 0;
    std::size_t last = rows.first;
    if (pyramid != nullptr) {
        const auto all = pyramid->of(rows.first, rows.end);
        readable = all.readable;
        last = all.last;
    } else {
        for (std::size_t i = rows.first; i < rows.end; ++i) {
            const bool is_there = std::isfinite(oxygen[i]);
            readable += is_there ? 1 : 0;
            last = is_there ? i : last;
        }
    }
    std::vector<std::size_t> kept;
    if (slices == 0 || readable <= 2 * slices) {
        for (std::size_t i = next_readable(rows.first); i < rows.end; i = next_readable(i + 1)) {
            kept.push_back(i);
        }
        return kept;
    }
    const std::int64_t start = trace.times_ns[next_readable(rows.first)];
    const double span = static_cast<double>(trace.times_ns[last] - start);
    const auto slice_of = [&](std::int64_t time_ns) {
        const double share = static_cast<double>(time_ns - start) / span;
        return std::min(slices - 1, static_cast<std::size_t>(share * static_cast<double>(slices)));
    };
    for (std::size_t i = next_readable(rows.first); i <= last;) {
        // Times ascend, and so do their slices.
        const std::size_t slice = slice_of(trace.times_ns[i]);
        const auto begin = trace.times_ns.begin();
        const auto end = std::partition_point(
            begin + static_cast<std::ptrdiff_t>(i), begin + static_cast<std::ptrdiff_t>(last + 1),
            [&](std::int64_t time_ns) { return slice_of(time_ns) <= slice; });
        std::size_t low = i;
        std::size_t high = i;
        const auto stop = static_cast<std::size_t>(end - begin);
        if (pyramid != nullptr) {
            const auto found = pyramid->of(i, stop);
            low = found.low;
            high = found.high;
            i = stop;
        }
        for (; i < stop; ++i) {
            low = oxygen[i] < oxygen[low] ? i : low; // false where a reading is missing
            high = oxygen[i] > oxygen[high] ? i : high;
        }
        kept.push_back(std::min(low, high));
        if (low != high) {
            kept.push_back(std::max(low, high));
        }
        i = next_readable(i);
    }
    return kept;
}

/// True when, from one kept row to the next, no reading came for longer than `longest_s`.
bool has_gap(const uptake::ChamberTrace& trace, const TracePyramid* pyramid, std::size_t row,
             std::size_t next, double longest_s) {
    if (pyramid != nullptr) {
        return static_cast<double>(pyramid->of(row, next + 1).longest_step) * 1e-9 > longest_s;
    }
    std::size_t last = row;
    for (std::size_t i = row + 1; i <= next; ++i) {
        if (!std::isfinite(trace.oxygen_mg_per_l[i])) {
            continue;
        }
        if (static_cast<double>(trace.times_ns[i] - trace.times_ns[last]) * 1e-9 > longest_s) {
            return true;
        }
        last = i;
    }
    return false;
}

DrawnTrace drawn(const uptake::ChamberTrace& trace, const TracePyramid* pyramid, Rows rows, Instant from,
                 const ThinLimits& limits) {
    DrawnTrace drawn{.from = from, .states = {}, .rows = rows.end - rows.first};
    const auto kept = kept_rows(trace, pyramid, rows, limits.slices);
    const std::span<const std::int64_t> times(trace.times_ns);
    const double step = pyramid != nullptr
                            ? pyramid->usual_step_s()
                            : median_interval_s(times.subspan(rows.first, rows.end - rows.first));
    const double longest = step > 0.0 ? limits.gap_factor * step : std::numeric_limits<double>::infinity();
    const bool has_saturation = trace.saturation_percent.size() == trace.rows();
    const bool has_temperature = trace.temperature_celsius.size() == trace.rows();
    const auto add = [&](double at_s, double oxygen, double saturation, double temperature) {
        drawn.at_s.push_back(at_s);
        drawn.oxygen_mg_per_l.push_back(oxygen);
        if (has_saturation) {
            drawn.saturation_percent.push_back(saturation);
        }
        if (has_temperature) {
            drawn.temperature_celsius.push_back(temperature);
        }
    };
    const auto seconds = [&](std::size_t row) {
        return (Instant::unix_nanoseconds(trace.times_ns[row]) - from).seconds();
    };
    for (std::size_t k = 0; k < kept.size(); ++k) {
        const std::size_t row = kept[k];
        add(seconds(row), trace.oxygen_mg_per_l[row],
            has_saturation ? trace.saturation_percent[row] : missing,
            has_temperature ? trace.temperature_celsius[row] : missing);
        if (k + 1 < kept.size() && has_gap(trace, pyramid, row, kept[k + 1], longest)) {
            add(0.5 * (seconds(row) + seconds(kept[k + 1])), missing, missing, missing);
        }
    }
    return drawn;
}

} // namespace

DrawnTrace thinned(const uptake::ChamberTrace& trace, Instant from, Instant to, const ThinLimits& limits) {
    auto out = drawn(trace, nullptr, rows_within(trace, from, to), from, limits);
    out.states = state_runs(trace, from, to);
    return out;
}

DrawnTrace thinned(const uptake::ChamberTrace& trace, const TracePyramid& pyramid, Instant from, Instant to,
                   const ThinLimits& limits) {
    return drawn(trace, &pyramid, rows_within(trace, from, to), from, limits);
}

Curve thinned(const Curve& curve, std::span<const int> piece, std::size_t slices) {
    const std::size_t n = curve.x.size();
    Curve out;
    if (n == 0 || slices == 0) {
        return out;
    }
    const double width = (curve.x.back() - curve.x.front()) / static_cast<double>(slices);
    const auto slice_of = [&](std::size_t i) {
        return width > 0.0
                   ? std::min(slices - 1, static_cast<std::size_t>((curve.x[i] - curve.x.front()) / width))
                   : 0;
    };
    std::vector<std::size_t> kept;
    const bool keeps_all = n <= 2 * slices;
    for (std::size_t i = 0; i < n;) {
        std::size_t low = i;
        std::size_t high = i;
        const std::size_t first = i;
        for (; i < n && slice_of(i) == slice_of(first) && piece[i] == piece[first] &&
               (i == first || !keeps_all);
             ++i) {
            low = curve.y[i] < curve.y[low] ? i : low;
            high = curve.y[i] > curve.y[high] ? i : high;
        }
        kept.push_back(std::min(low, high));
        if (low != high) {
            kept.push_back(std::max(low, high));
        }
    }
    const bool has_many = piece[n - 1] - piece[0] > static_cast<int>(slices / 2);
    const auto add = [&](double x, double y, double low, double high) {
        out.x.push_back(x);
        out.y.push_back(y);
        out.low.push_back(low);
        out.high.push_back(high);
    };
    for (std::size_t k = 0; k < kept.size(); ++k) {
        const std::size_t i = kept[k];
        if (k > 0 && piece[i] != piece[kept[k - 1]]) {
            const double before = curve.x[kept[k - 1]];
            if (!has_many || curve.x[i] - before > width) {
                add(0.5 * (before + curve.x[i]), missing, missing, missing);
            }
        }
        add(curve.x[i], curve.y[i], curve.low[i], curve.high[i]);
    }
    return out;
}

std::vector<StateRun> state_runs(const uptake::ChamberTrace& trace, Instant from, Instant to) {
    const Rows rows = rows_within(trace, from, to);
    std::vector<StateRun> runs;
    for (std::size_t i = rows.first; i < rows.end && i < trace.state.size(); ++i) {
        const Instant at = Instant::unix_nanoseconds(trace.times_ns[i]);
        if (runs.empty() || runs.back().state != trace.state[i]) {
            if (!runs.empty()) {
                runs.back().to = at; // a state holds until the next begins
            }
            runs.push_back({.state = trace.state[i], .from = at, .to = at});
        }
        runs.back().to = at;
    }
    return runs;
}

} // namespace backeddy::report
