#include "app/stretch.hpp"

#include <algorithm>
#include <vector>

#include "report/thin.hpp"

namespace backeddy::app {

namespace {

void append(std::vector<double>& whole, const std::vector<double>& more) {
    whole.insert(whole.end(), more.begin(), more.end());
}

void append(report::DrawnTrace& whole, const report::DrawnTrace& part) {
    const double shift = (part.from - whole.from).seconds();
    for (const double at : part.at_s) {
        whole.at_s.push_back(at + shift);
    }
    append(whole.oxygen_mg_per_l, part.oxygen_mg_per_l);
    append(whole.saturation_percent, part.saturation_percent);
    append(whole.temperature_celsius, part.temperature_celsius);
    whole.rows += part.rows;
}

} // namespace

report::DrawnTrace drawn_stretch(const StayAnswer& stay, std::optional<Instant> from,
                                 std::optional<Instant> to, std::size_t points, const PyramidOf& pyramid_of) {
    report::DrawnTrace out{.from = from.value_or(stay.stay->from())};
    const std::size_t slices =
        std::max<std::size_t>(1, points / 2 / std::max<std::size_t>(1, stay.slices.size()));
    for (const auto& slice : stay.input.slices) {
        const auto& times = slice.trace->times_ns;
        const auto first = Instant::unix_nanoseconds(times[slice.first_row]);
        const auto last = Instant::unix_nanoseconds(times[slice.end_row - 1]);
        const Instant begin = std::max(first, from.value_or(first));
        const Instant end = std::min(last, to.value_or(last));
        if (begin <= end) {
            const report::ThinLimits limits{.slices = slices};
            append(out, pyramid_of
                            ? report::thinned(*slice.trace, pyramid_of(*slice.trace), begin, end, limits)
                            : report::thinned(*slice.trace, begin, end, limits));
        }
    }
    if (stay.uptake) {
        for (const auto& state : stay.uptake->states) {
            if ((!from || state.run.to >= *from) && (!to || state.run.from <= *to)) {
                out.states.push_back({.state = state.run.state, .from = state.run.from, .to = state.run.to});
            }
        }
    }
    return out;
}

} // namespace backeddy::app
