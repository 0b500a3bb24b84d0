// What an unsure time zero does to recovery: the excess begins earlier or later, and the hours are counted
// from another moment. The moments at which uptake meets its level do not move.

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/number_text.hpp"
#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake::detail {

namespace {

constexpr double rounding = 1e-9;
constexpr double normal_95 = 1.959963984540054; // JCGM 100:2008, table G.1

// One standard uncertainty later takes off what one earlier adds: an earlier beginning loses no spell.
void add_effect(std::optional<Excess>& excess, const std::optional<Excess>& begun_earlier,
                const std::string& source) {
    if (!excess || !begun_earlier) {
        return;
    }
    const auto add = [&](Measured& amount, const Measured& earlier) {
        const double effect = amount.value() - earlier.value();
        // What begins elsewhere differs by rounding alone, which is no source.
        if (std::abs(effect) > rounding * std::abs(amount.value())) {
            amount = amount + Measured(0.0, {{source, effect}});
        }
    };
    add(excess->amount.mg, begun_earlier->amount.mg);
    if (excess->amount.mg_per_kg && begun_earlier->amount.mg_per_kg) {
        add(*excess->amount.mg_per_kg, *begun_earlier->amount.mg_per_kg);
    }
}

} // namespace

std::string time_zero_source(const RecoveryInput& input) {
    return "time zero:" + input.fish + "@" + iso_text(input.time_zero);
}

void add_time_zero(BaselineRecovery& answer, const RecoveryInput& input, const RecoverySettings& settings,
                   std::span<const Point> points, const Baseline& baseline) {
    const Duration u = input.time_zero_uncertainty;
    if (!(u > Duration())) {
        return;
    }
    auto earlier_input = input;
    earlier_input.time_zero = input.time_zero - u;
    std::vector<Point> earlier_points(points.begin(), points.end());
    for (auto& point : earlier_points) {
        point.h += u.hours();
    }
    const auto earlier = recovery_by_data(earlier_input, settings, earlier_points, baseline).baseline;
    const auto source = time_zero_source(input);
    add_effect(answer.tube, earlier.tube, source);
    add_effect(answer.after_transfer, earlier.after_transfer, source);
    add_effect(answer.capture_plus_handling, earlier.capture_plus_handling, source);
}

void widen_by_time_zero(RecoveryTime& time, Duration uncertainty) {
    if (!(uncertainty > Duration())) {
        return;
    }
    const double reach = normal_95 * uncertainty.hours();
    if (!time.hours) {
        time.at_least_h = std::max(0.0, time.at_least_h - reach);
        return;
    }
    const double hours = *time.hours;
    time.at_least_h = std::max(0.0, hours - std::hypot(hours - time.at_least_h, reach));
    if (time.at_most_h) {
        time.at_most_h = hours + std::hypot(*time.at_most_h - hours, reach);
    }
    if (!time.limits_from.empty()) {
        time.limits_from +=
            "; time zero is unsure by " + significant_text(60.0 * uncertainty.hours(), 2) + " min";
    }
}

} // namespace backeddy::uptake::detail
