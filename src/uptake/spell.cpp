#include "uptake/spell.hpp"

#include <algorithm>

namespace backeddy::uptake {

Duration settle_time(StayRole role, double mixing_s, double sensor_lag_s, const SettleSettings& settings) {
    const SettleRule& rule = is_fast(role) ? settings.fast : settings.resting;
    return std::max(Duration::seconds(mixing_s + (rule.lag_multiple * sensor_lag_s)), rule.least);
}

Duration longest_step(double median_interval_s, double factor, Duration least) {
    return std::max(Duration::seconds(factor * median_interval_s), least);
}

namespace {

/// Cuts of one run: its rows, where they start and end in time, and the bounds that apply.
struct Run {
    std::size_t first = 0;
    std::size_t end = 0;
    Instant from;
    Instant to;
};

/// The spell's end: where its state ended, unless readings had stopped long before.
Instant end_of(Instant last_row, Instant run_to, Duration longest) {
    return run_to - last_row <= longest ? run_to : last_row;
}

void cut_run(std::span<const std::int64_t> times_ns, const Run& run, ChamberState state, Duration longest,
             std::vector<Spell>& out) {
    std::size_t first = run.first;
    for (std::size_t i = run.first + 1; i <= run.end; ++i) {
        const bool is_last = i == run.end;
        if (!is_last && times_ns[i] - times_ns[i - 1] <= longest.nanoseconds()) {
            continue;
        }
        const Instant last_row = Instant::unix_nanoseconds(times_ns[i - 1]);
        out.push_back({.state = state,
                       .first_row = first,
                       .end_row = i,
                       .from = first == run.first ? run.from : Instant::unix_nanoseconds(times_ns[first]),
                       .to = is_last ? end_of(last_row, run.to, longest) : last_row});
        first = i;
    }
}

} // namespace

std::vector<Spell> cut_spells(std::span<const std::int64_t> times_ns, std::size_t first_row,
                              std::size_t end_row, std::span<const StateRun> runs, Duration longest,
                              std::span<const Instant> cuts) {
    std::vector<Instant> sorted(cuts.begin(), cuts.end());
    std::sort(sorted.begin(), sorted.end());
    const auto begin = times_ns.begin() + static_cast<std::ptrdiff_t>(first_row);
    const auto end = times_ns.begin() + static_cast<std::ptrdiff_t>(end_row);
    const auto row_at = [&](Instant at) {
        return static_cast<std::size_t>(std::lower_bound(begin, end, at.unix_nanoseconds()) -
                                        times_ns.begin());
    };
    std::vector<Spell> out;
    for (const StateRun& run : runs) {
        Instant from = run.from;
        const auto emit = [&](Instant to) {
            const std::size_t first = row_at(from);
            const std::size_t last = row_at(to);
            if (first < last) {
                cut_run(times_ns, {.first = first, .end = last, .from = from, .to = to}, run.state, longest,
                        out);
            }
            from = to;
        };
        for (const Instant cut : sorted) {
            if (cut > from && cut < run.to) {
                emit(cut);
            }
        }
        emit(run.to);
    }
    return out;
}

} // namespace backeddy::uptake
