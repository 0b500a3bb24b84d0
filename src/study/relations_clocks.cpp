#include "study/relations.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"

namespace backeddy::study {

namespace {

/// Crystal clocks of loggers stay within about 2 s a day; ten times that is a slip or a wrong entry (choice).
constexpr double largest_drift_s_per_day = 20.0;
/// A twentieth of the time is no drift, nor is half an hour more than such a drift gives: an hour of daylight
/// saving, a date (choice).
constexpr double impossible_drift = 0.05;
constexpr double largest_slip_s = 1800.0;
constexpr double farthest_zone_h = 14.0; ///< of all time zones

bool is_reset(const ClockCheck& check) {
    return check.how == "reset";
}

double uncertainty_s(const Brief& brief, const ClockCheck& check) {
    return check.uncertainty ? check.uncertainty->seconds() : brief.uncertainty_at(check.shown).event_s;
}

void check_two(std::vector<Complaint>& out, const Brief& brief, const ClockCheck& a, const ClockCheck& b) {
    const double shown_s = (b.shown - a.shown).seconds();
    const double true_s = (b.true_time - a.true_time).seconds();
    const double tolerance_s = 4.0 * std::hypot(uncertainty_s(brief, a), uncertainty_s(brief, b));
    const std::string pair = fmt::format("{} and {}", line_text(a.place), line_text(b.place));
    if (true_s <= 0.0 && shown_s > tolerance_s) {
        out.push_back(
            stop(b.place, "true",
                 {.code = ErrorCode::bad_time,
                  .found = fmt::format("{} ran on by {} s while the true time went back by {} s ({})",
                                       quote(a.clock.text()), fixed_text(shown_s, 0), fixed_text(-true_s, 0),
                                       pair),
                  .expected = "two checks in the same order by both times",
                  .remedy = "look whether \"shown\" and \"true\" are swapped, or a date is wrong"}));
        return;
    }
    const double change_s = shown_s - true_s;
    const double days = std::abs(true_s) / 86400.0;
    if (std::abs(change_s) <= tolerance_s + largest_drift_s_per_day * days) {
        return;
    }
    const double beyond_s = std::abs(change_s) - tolerance_s - (largest_drift_s_per_day * days);
    if (std::abs(true_s) >= 600.0 &&
        (beyond_s > largest_slip_s || std::abs(change_s) > impossible_drift * std::abs(true_s))) {
        out.push_back(stop(
            b.place, "shown",
            {.code = ErrorCode::bad_time,
             .found =
                 fmt::format("{} went off by {} s in {} h ({}): every time between would be stretched by "
                             "{} %",
                             quote(a.clock.text()), fixed_text(change_s, 0), fixed_text(true_s / 3600.0, 1),
                             pair, significant_text(-100.0 * change_s / shown_s, 2)),
             .expected = fmt::format(
                 "at most {} s a day: no clock drifts so; it was set in between, or an entry is wrong",
                 fixed_text(largest_drift_s_per_day, 0)),
             .remedy =
                 "correct the wrong one (zone? a date?); if the clock was set, add a row whose \"how\" "
                 "is reset, \"shown\" being the first time it showed then, and a check on either side"}));
        return;
    }
    if (std::abs(true_s) < 600.0) {
        out.push_back(
            stop(b.place, "shown",
                 {.found = fmt::format("{} was off by {} s more than {} s before ({})", quote(a.clock.text()),
                                       fixed_text(change_s, 1), fixed_text(true_s, 0), pair),
                  .expected = fmt::format("checks so close that agree within their uncertainties ({} s)",
                                          fixed_text(tolerance_s, 1)),
                  .remedy = "delete the wrong one, or widen its uncertainty_s"}));
    } else {
        out.push_back(
            warn(b.place, "shown",
                 {.found = fmt::format("{} went off by {} s in {} h ({})", quote(a.clock.text()),
                                       fixed_text(change_s, 0), fixed_text(true_s / 3600.0, 1), pair),
                  .expected = fmt::format("at most {} s a day: was it set in between?",
                                          fixed_text(largest_drift_s_per_day, 0)),
                  .remedy = "add a check before and after it was set; look for a wrong entry"}));
    }
}

/// A clock that is off by whole hours, give or take two minutes, shows another zone, or an entry does.
void check_whole_hours(std::vector<Complaint>& out, const ClockCheck& check) {
    const double off_s = (check.shown - check.true_time).seconds();
    const double hours = std::round(off_s / 3600.0);
    if (hours == 0.0 || std::abs(hours) > farthest_zone_h || std::abs(off_s - 3600.0 * hours) > 120.0) {
        return;
    }
    out.push_back(
        warn(check.place, "shown",
             {.code = ErrorCode::bad_time,
              .found = fmt::format("{} is off by {:.0f} h and {} s", quote(check.clock.text()), hours,
                                   fixed_text(off_s - 3600.0 * hours, 0)),
              .expected = "the clock's own error: whole hours are rather a zone",
              .remedy =
                  "look at the zone in which \"shown\" and \"true\" were written, and at the trace's zone"}));
}

/// Clocks that are compared with each other in a circle, and so with no true time.
void check_circle(std::vector<Complaint>& out, const Tables& tables) {
    const auto ordered = clocks_in_order(tables);
    const auto is_caught = [&](const ClockId& clock) {
        return std::ranges::find(ordered, clock) == ordered.end() &&
               std::ranges::any_of(tables.clock_checks,
                                   [&](const ClockCheck& check) { return check.clock == clock; });
    };
    const ClockCheck* first = nullptr;
    std::set<std::string> names;
    for (const auto& check : tables.clock_checks) {
        if (check.reference != check.clock && !check.reference.is_empty() && is_caught(check.clock) &&
            is_caught(check.reference)) {
            first = first == nullptr ? &check : first;
            names.insert(quote(check.clock.text()));
        }
    }
    if (first != nullptr) {
        out.push_back(stop(first->place, "reference",
                           {.found = fmt::format("the clocks {} are each compared with another of them",
                                                 fmt::join(names, ", ")),
                            .expected = "clocks that lead to a true time: a reference that is not itself "
                                        "compared with the clock it serves",
                            .remedy = "leave \"reference\" empty where \"true\" is the true time, or delete "
                                      "the row of one direction"}));
    }
}

} // namespace

std::vector<Complaint> check_clocks(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    std::set<ClockId> used;
    std::vector<std::string> names;
    for (const auto& trace : brief.traces) {
        if (used.insert(trace.clock_id()).second) {
            names.push_back(trace.clock_id().text());
        }
    }
    std::map<ClockId, std::vector<const ClockCheck*>> by_clock;
    for (const auto& check : tables.clock_checks) {
        for (const auto& [clock, column] :
             {std::pair(check.clock, "clock"), std::pair(check.reference, "reference")}) {
            if (!clock.is_empty() && !used.contains(clock)) {
                const auto near = nearest_name(clock.text(), names);
                out.push_back(
                    warn(check.place, column,
                         {.code = ErrorCode::unknown_name,
                          .found = "no [[trace]] of the brief is on the clock " + quote(clock.text()),
                          .expected = "a clock that one is on",
                          .remedy = near ? "did you mean " + quote(*near) + "?"
                                         : "correct it, or say clock = in the brief"}));
            }
        }
        check_whole_hours(out, check);
        if (check.reference == check.clock) {
            out.push_back(stop(check.place, "reference",
                               {.found = quote(check.clock.text()) + " against itself",
                                .expected = "another clock, or empty for the true time",
                                .remedy = "correct it"}));
        } else if (check.reference.is_empty()) {
            by_clock[check.clock].push_back(&check);
        }
    }
    for (auto& [clock, checks] : by_clock) {
        std::ranges::stable_sort(checks, {}, [](const ClockCheck* c) { return c->shown; });
        for (std::size_t i = 1; i < checks.size(); ++i) {
            // Nothing ties the times before a clock was set to those after.
            if (!is_reset(*checks[i - 1]) && !is_reset(*checks[i])) {
                check_two(out, brief, *checks[i - 1], *checks[i]);
            }
        }
    }
    check_circle(out, tables);
    return out;
}

std::vector<ClockId> clocks_in_order(const Tables& tables) {
    std::map<ClockId, std::set<ClockId>> waits_for;
    for (const auto& check : tables.clock_checks) {
        auto& needed = waits_for[check.clock];
        if (!check.reference.is_empty()) {
            needed.insert(check.reference);
        }
    }
    std::vector<ClockId> out;
    std::set<ClockId> done;
    for (bool is_moving = true; is_moving;) {
        is_moving = false;
        for (const auto& [clock, needed] : waits_for) {
            // A clock without a row of its own is as it is: nothing to wait for.
            const bool is_ready = std::ranges::all_of(needed, [&](const ClockId& other) {
                return done.contains(other) || !waits_for.contains(other);
            });
            if (is_ready && done.insert(clock).second) {
                out.push_back(clock);
                is_moving = true;
            }
        }
    }
    return out;
}

} // namespace backeddy::study
