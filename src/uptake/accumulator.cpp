#include <utility>

#include "uptake/sealed.hpp"

namespace backeddy::uptake {

SpellAccumulator::SpellAccumulator(AccumulatorSettings settings, Sink sink)
    : settings_(settings), sink_(std::move(sink)) {}

void SpellAccumulator::close() {
    if (!times_.empty()) {
        sink_({.sealed_from = sealed_from_,
               .times_ns = times_,
               .oxygen_mg_per_l = oxygen_,
               .saturation_percent = saturation_,
               .temperature_celsius = temperature_});
    }
    times_.clear();
    oxygen_.clear();
    saturation_.clear();
    temperature_.clear();
}

void SpellAccumulator::take(const Rows& rows, std::size_t first, std::size_t end) {
    const auto append = [&](auto& to, const auto& from) {
        if (!from.empty()) {
            const auto part = from.subspan(first, end - first);
            to.insert(to.end(), part.begin(), part.end());
        }
    };
    append(times_, rows.times_ns);
    append(oxygen_, rows.oxygen_mg_per_l);
    append(saturation_, rows.saturation_percent);
    append(temperature_, rows.temperature_celsius);
}

/// A spell that lies within one portion needs no copy.
void SpellAccumulator::emit(const Rows& rows, std::size_t first, std::size_t end) {
    const auto part = [&](std::span<const double> column) {
        return column.empty() ? column : column.subspan(first, end - first);
    };
    sink_({.sealed_from = sealed_from_,
           .times_ns = rows.times_ns.subspan(first, end - first),
           .oxygen_mg_per_l = part(rows.oxygen_mg_per_l),
           .saturation_percent = part(rows.saturation_percent),
           .temperature_celsius = part(rows.temperature_celsius)});
}

void SpellAccumulator::feed(const Rows& rows) {
    const std::size_t n = rows.times_ns.size();
    const std::int64_t longest = settings_.longest_step.nanoseconds();
    std::size_t i = 0;
    while (i < n) {
        const bool carries_on = any_ && rows.state[i] == state_ && rows.times_ns[i] - last_ns_ <= longest;
        if (!carries_on) {
            close();
            state_ = rows.state[i];
            sealed_from_ = Instant::unix_nanoseconds(rows.times_ns[i]);
            any_ = true;
        }
        std::size_t end = i + 1;
        while (end < n && rows.state[end] == state_ &&
               rows.times_ns[end] - rows.times_ns[end - 1] <= longest) {
            ++end;
        }
        last_ns_ = rows.times_ns[end - 1];
        if (state_ == ChamberState::sealed) {
            const std::int64_t used_from = (sealed_from_ + settings_.settle).unix_nanoseconds();
            std::size_t first = i;
            while (first < end && rows.times_ns[first] < used_from) {
                ++first;
            }
            if (end < n && times_.empty() && first < end && end - first <= settings_.most_rows) {
                emit(rows, first, end);
            } else {
                while (end - first > settings_.most_rows - times_.size()) {
                    const std::size_t part = first + (settings_.most_rows - times_.size());
                    take(rows, first, part);
                    close();
                    ++cut_for_length_;
                    first = part;
                }
                take(rows, first, end);
            }
        }
        i = end;
    }
}

void SpellAccumulator::finish() {
    close();
    any_ = false;
    state_ = ChamberState::unknown;
}

} // namespace backeddy::uptake
