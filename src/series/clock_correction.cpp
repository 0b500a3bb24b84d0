#include "series/clock_correction.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace backeddy {

namespace {

Duration offset_of(const ClockComparison& c) {
    return c.actual - c.shown;
}

bool shown_before(const ClockComparison& c, Instant shown) {
    return c.shown < shown;
}

// Seconds that the clock loses per second between two comparisons.
double drift_between(const ClockComparison& a, const ClockComparison& b) {
    return (offset_of(b) - offset_of(a)).seconds() / (b.shown - a.shown).seconds();
}

} // namespace

Expected<ClockCorrection> ClockCorrection::from(std::vector<ClockComparison> comparisons,
                                                std::vector<Instant> resets) {
    std::stable_sort(comparisons.begin(), comparisons.end(),
                     [](const ClockComparison& a, const ClockComparison& b) { return a.shown < b.shown; });
    std::sort(resets.begin(), resets.end());
    ClockCorrection out;
    out.stretches_.push_back({.from = Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::min())});
    for (const Instant reset : resets) {
        out.stretches_.push_back({.from = reset});
    }
    for (const auto& comparison : comparisons) {
        auto home = std::find_if(out.stretches_.rbegin(), out.stretches_.rend(),
                                 [&](const Stretch& s) { return s.from <= comparison.shown; });
        auto& placed = home->comparisons;
        if (!placed.empty()) {
            const double shown_s = (comparison.shown - placed.back().shown).seconds();
            const double true_s = (comparison.actual - placed.back().actual).seconds();
            // Two looks at nearly the same moment say nothing about pace; their difference is their
            // uncertainty.
            if (shown_s > 600.0 && !(true_s > 0.5 * shown_s && true_s < 2.0 * shown_s)) {
                return fail(
                    {.code = ErrorCode::bad_relation,
                     .found = "between " + iso_text(placed.back().shown) + " and " +
                              iso_text(comparison.shown) +
                              " (shown) the clock checks give a clock that runs backward or at another pace",
                     .expected = "true times that advance about as fast as the shown ones",
                     .remedy = "look for swapped shown/true times or dates; if the clock was set in between, "
                               "say so "
                               "with a row whose `how` is reset"});
            }
        }
        placed.push_back(comparison);
    }
    return out;
}

const ClockCorrection::Stretch* ClockCorrection::stretch_at(Instant shown) const {
    const auto found = std::find_if(stretches_.rbegin(), stretches_.rend(),
                                    [&](const Stretch& s) { return s.from <= shown; });
    return found == stretches_.rend() || found->comparisons.empty() ? nullptr : &*found;
}

bool ClockCorrection::is_checked(Instant shown) const {
    return stretch_at(shown) != nullptr;
}

Instant ClockCorrection::corrected(Instant shown) const {
    const Stretch* stretch = stretch_at(shown);
    if (stretch == nullptr) {
        return shown;
    }
    const auto& list = stretch->comparisons;
    const auto right = std::lower_bound(list.begin(), list.end(), shown, shown_before);
    if (right == list.begin()) {
        return shown + offset_of(list.front());
    }
    if (right == list.end()) {
        return shown + offset_of(list.back());
    }
    const auto left = right - 1;
    const double share = (shown - left->shown).seconds() / (right->shown - left->shown).seconds();
    const double change_s = (offset_of(*right) - offset_of(*left)).seconds();
    return shown + offset_of(*left) + Duration::seconds(share * change_s);
}

double ClockCorrection::uncertainty_s(Instant shown, double unchecked) const {
    const Stretch* stretch = stretch_at(shown);
    if (stretch == nullptr) {
        return unchecked;
    }
    const auto& list = stretch->comparisons;
    const auto right = std::lower_bound(list.begin(), list.end(), shown, shown_before);
    if (right != list.begin() && right != list.end()) {
        const auto left = right - 1;
        const double share = (shown - left->shown).seconds() / (right->shown - left->shown).seconds();
        return std::hypot((1.0 - share) * left->uncertainty_s, share * right->uncertainty_s);
    }
    const bool before = right == list.begin();
    const auto& nearest = before ? list.front() : list.back();
    if (list.size() < 2) {
        return nearest.uncertainty_s;
    }
    const double drift =
        before ? drift_between(list[0], list[1]) : drift_between(list[list.size() - 2], list.back());
    return std::hypot(nearest.uncertainty_s, drift * (shown - nearest.shown).seconds());
}

} // namespace backeddy
