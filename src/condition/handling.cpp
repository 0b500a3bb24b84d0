#include "condition/handling.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::condition {

namespace {

using Moments = std::vector<HandlingMoment>;

Moments of_kind(std::span<const HandlingMoment> moments, HandlingKind kind) {
    Moments out;
    std::copy_if(moments.begin(), moments.end(), std::back_inserter(out),
                 [&](const HandlingMoment& m) { return m.kind == kind; });
    std::stable_sort(out.begin(), out.end(),
                     [](const HandlingMoment& a, const HandlingMoment& b) { return a.at < b.at; });
    return out;
}

/// Spells between starts and ends; nothing, and a doubt, unless each start has its own end before the next.
class Spells {
  public:
    Spells(std::string_view what, Moments starts, Moments ends, std::vector<Doubt>& doubts)
        : starts_(std::move(starts)), ends_(std::move(ends)), sound_(starts_.size()) {
        for (std::size_t i = 0; i < std::max(starts_.size(), ends_.size()); ++i) {
            if (auto doubt = doubt_at(i, what)) {
                doubts.push_back(std::move(*doubt));
                const Instant end = i < ends_.size() ? ends_[i].at : starts_[i].at;
                unsound_from_ = i < starts_.size() ? std::min(starts_[i].at, end) : end;
                sound_ = i;
                return; // what follows cannot be paired
            }
        }
    }

    /// The sum over spells that begin in [from, to); nothing when there is none, or when what cannot be
    /// paired begins before `to`.
    [[nodiscard]] std::optional<Elapsed> sum(std::optional<Instant> from, std::optional<Instant> to) const {
        std::optional<Elapsed> out;
        if (unsound_from_ && (!to || *unsound_from_ < *to)) {
            return out;
        }
        double variance = 0.0;
        for (std::size_t i = 0; i < sound_; ++i) {
            if ((from && starts_[i].at < *from) || (to && *to <= starts_[i].at)) {
                continue;
            }
            const auto one = elapsed(starts_[i], ends_[i]);
            out = out.value_or(Elapsed{.seconds = 0.0, .uncertainty_s = 0.0});
            out->seconds += one.seconds;
            const double u = one.uncertainty_s.value_or(0.0);
            variance += u * u;
            out->uncertainty_s =
                out->uncertainty_s && one.uncertainty_s ? std::optional(std::sqrt(variance)) : std::nullopt;
        }
        return out;
    }

  private:
    [[nodiscard]] std::optional<Doubt> doubt_at(std::size_t i, std::string_view what) const {
        const bool has_start = i < starts_.size();
        const bool has_end = i < ends_.size();
        if (has_end && (!has_start || ends_[i].at < starts_[i].at)) {
            return Doubt{
                ends_[i].row,
                fmt::format("{0} that ended at {1}, and no start before it", what, iso_text(ends_[i].at)),
                fmt::format("add {}_start, or mend the times; no time of it is counted", what)};
        }
        const bool runs_into_next = has_end && i + 1 < starts_.size() && starts_[i + 1].at < ends_[i].at;
        if (has_start && (!has_end || runs_into_next)) {
            return Doubt{starts_[i].row,
                         fmt::format("{} that started at {}, and no end {}", what, iso_text(starts_[i].at),
                                     runs_into_next ? "before it started again" : "after it"),
                         fmt::format("add {}_end; no time of it is counted", what)};
        }
        return std::nullopt;
    }

    Moments starts_;
    Moments ends_;
    std::size_t sound_ = 0; ///< pairs from the first on that are whole
    std::optional<Instant> unsound_from_;
};

/// The only one of its kind; a second is a doubt, and leaves none: nobody knows which.
std::optional<HandlingMoment> only(const Moments& all, std::string_view what, std::vector<Doubt>& doubts) {
    if (all.size() > 1) {
        doubts.push_back(
            {all[1].row, fmt::format("{} twice in one encounter", what),
             "delete one, or give the second encounter its own rows; no time from it is counted"});
        return std::nullopt;
    }
    return all.empty() ? std::nullopt : std::optional(all.front());
}

std::optional<Elapsed> between(const std::optional<HandlingMoment>& from,
                               const std::optional<HandlingMoment>& to, std::string_view words,
                               std::vector<Doubt>& doubts) {
    if (!from || !to) {
        return std::nullopt;
    }
    if (to->at < from->at) {
        doubts.push_back({to->row, std::string(words), "mend one of the two times"});
        return std::nullopt;
    }
    return elapsed(*from, *to);
}

/// The first before `end` that is not before `least`; else the first of all, for the doubt that it makes.
std::optional<HandlingMoment> first_after(const Moments& all, const std::optional<HandlingMoment>& least,
                                          const std::optional<Instant>& end) {
    std::optional<HandlingMoment> first;
    for (const auto& moment : all) {
        if (end && *end <= moment.at) {
            break;
        }
        if (!least || least->at <= moment.at) {
            return moment;
        }
        first = first ? first : std::optional(moment);
    }
    return first;
}

} // namespace

Elapsed elapsed(const HandlingMoment& from, const HandlingMoment& to) {
    Elapsed out{.seconds = (to.at - from.at).seconds(), .uncertainty_s = std::nullopt};
    if (from.uncertainty && to.uncertainty) {
        out.uncertainty_s = std::hypot(from.uncertainty->seconds(), to.uncertainty->seconds());
    }
    return out;
}

HandlingTimes handling_times(std::span<const HandlingMoment> moments) {
    using enum HandlingKind;
    HandlingTimes out;
    auto& doubts = out.doubts;
    const auto chases = of_kind(moments, chase_start);
    const auto chased = chases.empty() ? std::nullopt : std::optional(chases.front().at);
    const auto hooked = only(of_kind(moments, hook_up), "hook_up", doubts);
    const auto ashore = only(of_kind(moments, landed), "landed", doubts);
    const auto in_water = first_after(of_kind(moments, back_in_water), ashore, chased);
    const auto tube =
        first_after(of_kind(moments, HandlingKind::sealed), in_water ? in_water : ashore, chased);

    // Of two moments in the wrong order nobody knows which is wrong: neither counts for a time any more.
    const auto is_before = [](const auto& one, const auto& other) {
        return one && other && one->at < other->at;
    };
    const bool is_water_first = is_before(in_water, ashore);
    const bool is_tube_wrong = is_before(tube, in_water) || is_before(tube, ashore);
    const bool is_landing_wrong = is_before(ashore, hooked) || is_water_first || is_before(tube, ashore);
    const bool is_water_wrong = is_water_first || is_before(tube, in_water);
    out.fight = between(hooked, ashore, "landed before it was hooked", doubts);
    out.handling = between(ashore, in_water, "back in water before it was landed", doubts);
    out.back_in_water_to_sealed = between(in_water, tube, "sealed before it was back in water", doubts);
    if (!in_water || out.back_in_water_to_sealed) { // else told already
        out.landed_to_sealed = between(ashore, tube, "sealed before it was landed", doubts);
    }
    const auto keep_unless = [](bool is_wrong, std::optional<Elapsed>& time) {
        time = is_wrong ? std::nullopt : time;
    };
    keep_unless(is_landing_wrong, out.fight);
    keep_unless(is_landing_wrong || is_water_wrong, out.handling);
    keep_unless(is_water_wrong || is_tube_wrong, out.back_in_water_to_sealed);
    keep_unless(is_landing_wrong || is_tube_wrong, out.landed_to_sealed);
    const Spells air("air", of_kind(moments, air_start), of_kind(moments, air_end), doubts);
    out.air = air.sum(std::nullopt, chased);
    if (chased) {
        out.air_after_chase = air.sum(chased, std::nullopt);
    }
    out.chase = Spells("chase", chases, of_kind(moments, chase_end), doubts).sum(std::nullopt, std::nullopt);
    std::stable_sort(doubts.begin(), doubts.end(),
                     [](const Doubt& a, const Doubt& b) { return a.row < b.row; });
    return out;
}

std::optional<std::string> disagreement(std::string_view what, const std::optional<Elapsed>& by_events,
                                        const std::optional<Elapsed>& typed, double unstated_s) {
    if (typed && !(typed->seconds >= 0.0 && std::isfinite(typed->seconds))) {
        return fmt::format("{} of {} s typed by hand: a time is 0 or more", what, typed->seconds);
    }
    if (!by_events || !typed) {
        return std::nullopt;
    }
    const double apart = std::abs(by_events->seconds - typed->seconds);
    const double allowed = 2.0 * std::hypot(by_events->uncertainty_s.value_or(unstated_s),
                                            typed->uncertainty_s.value_or(unstated_s));
    if (apart <= allowed) {
        return std::nullopt;
    }
    return fmt::format(
        "{}: {} s by the events, {} s typed by hand; {} s apart, and their uncertainties allow "
        "{} s. The events' time is used; mend the wrong one",
        what, short_text(by_events->seconds), short_text(typed->seconds), short_text(apart),
        short_text(allowed));
}

} // namespace backeddy::condition
