#include "series/trace.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy {

std::string_view name_of(ColumnKind kind) {
    switch (kind) {
    case ColumnKind::oxygen_mg_per_l:
        return "oxygen_mg_per_l";
    case ColumnKind::oxygen_percent_air:
        return "oxygen_percent_air";
    case ColumnKind::oxygen_kpa:
        return "oxygen_kpa";
    case ColumnKind::temperature_celsius:
        return "temperature_celsius";
    case ColumnKind::pressure_kpa:
        return "pressure_kpa";
    case ColumnKind::salinity_practical:
        return "salinity_practical";
    case ColumnKind::conductivity_ms_per_cm:
        return "conductivity_ms_per_cm";
    case ColumnKind::pump:
        return "pump";
    }
    return "";
}

namespace {

// The step in the middle of `steps` when they are sorted.
std::int64_t middle_of(std::vector<std::int64_t> steps) {
    const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
    std::nth_element(steps.begin(), middle, steps.end());
    return *middle;
}

std::vector<std::int64_t> some_steps(std::span<const std::int64_t> times_ns, std::size_t stride) {
    std::vector<std::int64_t> out;
    out.reserve((times_ns.size() / stride) + 1);
    for (std::size_t i = 1; i < times_ns.size(); i += stride) {
        out.push_back(times_ns[i] - times_ns[i - 1]);
    }
    return out;
}

} // namespace

double median_interval_s(std::span<const std::int64_t> times_ns) {
    if (times_ns.size() < 2) {
        return 0.0;
    }
    // A logger's steps are nearly all alike: the middle one of a few hundred is the middle one of all, which
    // counting proves without a copy of them.
    constexpr std::size_t enough = 500;
    const std::size_t steps = times_ns.size() - 1;
    const std::int64_t guess = middle_of(some_steps(times_ns, (steps / enough) + 1));
    std::size_t below = 0;
    std::size_t not_above = 0;
    for (std::size_t i = 0; i < steps; ++i) {
        const std::int64_t step = times_ns[i + 1] - times_ns[i];
        below += step < guess ? 1 : 0;
        not_above += step <= guess ? 1 : 0;
    }
    const bool is_middle = below <= steps / 2 && steps / 2 < not_above;
    return static_cast<double>(is_middle ? guess : middle_of(some_steps(times_ns, 1))) * 1e-9;
}

std::vector<Gap> gaps(std::span<const std::int64_t> times_ns, double factor) {
    std::vector<Gap> found;
    const double longest = factor * median_interval_s(times_ns) * 1e9;
    for (std::size_t i = 1; i < times_ns.size(); ++i) {
        if (static_cast<double>(times_ns[i] - times_ns[i - 1]) > longest) {
            found.push_back(
                {Instant::unix_nanoseconds(times_ns[i - 1]), Instant::unix_nanoseconds(times_ns[i])});
        }
    }
    return found;
}

double interpolated(std::span<const std::int64_t> times_ns, std::span<const double> values, Instant at,
                    Duration longest) {
    const std::int64_t t = at.unix_nanoseconds();
    const auto right = std::lower_bound(times_ns.begin(), times_ns.end(), t);
    if (right == times_ns.end()) {
        return missing;
    }
    const auto j = static_cast<std::size_t>(right - times_ns.begin());
    if (*right == t) {
        return values[j];
    }
    if (j == 0 || times_ns[j] - times_ns[j - 1] > longest.nanoseconds()) {
        return missing;
    }
    const double share =
        static_cast<double>(t - times_ns[j - 1]) / static_cast<double>(times_ns[j] - times_ns[j - 1]);
    return values[j - 1] + (share * (values[j] - values[j - 1]));
}

} // namespace backeddy
