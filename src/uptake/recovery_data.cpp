// Recovery by the data alone: trapezoids between the middles of spells, and the first time two of them lie at
// or below the baseline. Its limits are in recovery_limits.cpp.

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "base/number_text.hpp"
#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake::detail {

namespace {

// Adds to `sum` what a term brings, source by source.
void add_by_source(std::map<std::string, double>& sum, const Measured& rate, double weight) {
    for (const auto& contribution : rate.contributions()) {
        sum[contribution.source] += weight * contribution.effect;
    }
}

Measured drawn_together(double value, const std::map<std::string, double>& sum,
                        const std::set<std::string>& own, const std::string& own_name) {
    double own_squares = 0.0;
    std::vector<Contribution> kept;
    for (const auto& [source, effect] : sum) {
        if (own.contains(source)) {
            own_squares += effect * effect;
        } else {
            kept.push_back({source, effect});
        }
    }
    if (own_squares > 0.0) {
        kept.push_back({own_name, std::sqrt(own_squares)});
    }
    return {value, std::move(kept)};
}

// The curve of excess that is integrated: corners on the recovery's clock. A corner's uptake is one of the
// points' (or the peak's); its baseline is the level at the corner's own moment.
struct Corner {
    double h = 0.0;
    const UptakeRate* rate = nullptr;
    Level level;
    [[nodiscard]] double excess() const { return rate->mg_per_h.value() - level.mg_per_h(); }
};

// Weights of an integral over corners, gathered by rate.
class Integral {
  public:
    // The trapezoid between two corners, cut at `until` (between them): the cut corner is the straight
    // line's.
    void add(const Corner& a, const Corner& b, double until) {
        const double width = b.h - a.h;
        if (width <= 0.0) {
            return;
        }
        const double u = std::clamp((until - a.h) / width, 0.0, 1.0);
        const double weight_b = width * u * u / 2.0;
        const double weight_a = (width * u) - weight_b;
        add_corner(a, weight_a);
        add_corner(b, weight_b);
        value_ += (weight_a * a.excess()) + (weight_b * b.excess());
    }

    [[nodiscard]] double value() const { return value_; }
    [[nodiscard]] OxygenAmount amount(const std::set<std::string>& own, const std::string& name) const {
        std::vector<Term> terms;
        for (const auto& [rate, weight] : weights_) {
            terms.push_back({rate, weight});
        }
        return summed(terms, own, name);
    }
    // Root of the sum of squared weights of the spells themselves: what a spell's own scatter does to the
    // integral.
    [[nodiscard]] double spread(std::span<const Point> points) const {
        double squares = 0.0;
        for (const auto& point : points) {
            for (const auto& [rate, weight] : weights_) {
                squares += rate == &point.rate ? weight * weight : 0.0;
            }
        }
        return std::sqrt(squares);
    }

  private:
    void add_rate(const UptakeRate* rate, double weight) {
        for (auto& [known, sum] : weights_) {
            if (known == rate) {
                sum += weight;
                return;
            }
        }
        weights_.emplace_back(rate, weight);
    }
    void add_corner(const Corner& corner, double weight) {
        if (weight != 0.0) {
            add_rate(corner.rate, weight);
            add_rate(corner.level.before, -weight * (1.0 - corner.level.share));
            if (corner.level.share > 0.0) {
                add_rate(corner.level.after, -weight * corner.level.share);
            }
        }
    }

    // In order of first use: a map by address would sum in an order that differs from run to run.
    std::vector<std::pair<const UptakeRate*, double>> weights_;
    double value_ = 0.0;
};

struct Crossing {
    double h = 0.0;
    bool at_first_point = false;
};

// First of `consecutive` points in a row at or below the baseline, within one stay; the moment is where the
// line from the point before meets the baseline.
std::optional<Crossing> first_crossing(std::span<const Point> points, const Baseline& baseline,
                                       std::size_t consecutive) {
    std::vector<double> excess;
    for (const auto& point : points) {
        excess.push_back(point.mg_per_h() - baseline.level(point.at));
    }
    for (std::size_t i = 0; i + consecutive <= points.size(); ++i) {
        bool all_below = true;
        for (std::size_t j = i; j < i + consecutive; ++j) {
            all_below = all_below && excess[j] <= 0.0;
        }
        if (!all_below) {
            continue;
        }
        if (i == 0) {
            return Crossing{.h = points[0].h, .at_first_point = true};
        }
        const double above = excess[i - 1];
        const double below = excess[i];
        const double width = points[i].h - points[i - 1].h;
        const double u = above > 0.0 ? above / (above - below) : 0.0;
        return Crossing{.h = points[i - 1].h + (u * width), .at_first_point = false};
    }
    return std::nullopt;
}

RecoveryTime time_of(std::span<const Point> points, const std::optional<Crossing>& crossing,
                     const std::optional<Doubt>& doubt, std::size_t consecutive) {
    RecoveryTime out;
    out.at_least_h = points.empty() ? 0.0 : points.back().h;
    if (doubt) {
        out.at_least_h = doubt->at_least_h;
        out.reason = doubt->reason.text;
    } else if (crossing) {
        out.hours = crossing->h;
        out.at_least_h = crossing->h;
        if (crossing->at_first_point) {
            out.reason = "already at or below the baseline in the first spell: recovered by then";
        }
    } else {
        out.reason = "no " + std::to_string(consecutive) + " spells in a row at or below the baseline by " +
                     fixed_text(out.at_least_h, 2) + " h";
    }
    return out;
}

double hours_after(Instant zero, Instant moment) {
    return (moment - zero).hours();
}

// One stay's excess from `from_h` (its first value held back) to its crossing, or to `to_h` (its last value
// held on).
struct StayIntegral {
    Integral integral;
    double from_h = 0.0;
    double to_h = 0.0;
    double held_back = 0.0;
    double bridged = 0.0;
};

// Corners of a stay between its ends; `first_rate` is held from `from_h` to the first point.
std::vector<Corner> corners_of(std::span<const Point> points, const Baseline& baseline,
                               const UptakeRate& first_rate, Instant zero, double from_h, double to_h) {
    const auto moment = [&](double h) { return zero + Duration::hours(h); };
    std::vector<Corner> corners;
    if (from_h < points.front().h) {
        corners.push_back({from_h, &first_rate, baseline.at(moment(from_h))});
        // The held value's end and the first spell's value share one moment: a step.
        corners.push_back({points.front().h, &first_rate, baseline.at(points.front().at)});
    }
    for (const auto& point : points) {
        corners.push_back({point.h, &point.rate, baseline.at(point.at)});
    }
    if (to_h > points.back().h) {
        corners.push_back({to_h, &points.back().rate, baseline.at(moment(to_h))});
    }
    return corners;
}

StayIntegral integrated(std::span<const Corner> corners, double first_point_h, double until_h) {
    StayIntegral out;
    out.from_h = corners.front().h;
    out.to_h = std::min(until_h, corners.back().h);
    for (std::size_t i = 0; i + 1 < corners.size(); ++i) {
        if (corners[i].h >= out.to_h) {
            break;
        }
        const double before = out.integral.value();
        out.integral.add(corners[i], corners[i + 1], out.to_h);
        if (corners[i + 1].h <= first_point_h) {
            out.held_back += out.integral.value() - before;
        }
    }
    return out;
}

double share_of(double part_of, double whole) {
    return whole > 0.0 ? part_of / whole : 0.0;
}

OxygenAmount with_scatter(const OxygenAmount& amount, double mg, const std::string& source) {
    OxygenAmount out{.mg = amount.mg.with(mg, source), .mg_per_kg = amount.mg_per_kg};
    if (amount.mg_per_kg && amount.mg.value() != 0.0) {
        out.mg_per_kg = amount.mg_per_kg->with(mg * amount.mg_per_kg->value() / amount.mg.value(), source);
    }
    return out;
}

OxygenAmount added(const OxygenAmount& a, const OxygenAmount& b) {
    OxygenAmount out{.mg = a.mg + b.mg, .mg_per_kg = std::nullopt};
    if (a.mg_per_kg && b.mg_per_kg) {
        out.mg_per_kg = *a.mg_per_kg + *b.mg_per_kg;
    }
    return out;
}

} // namespace

double surplus_scatter(std::span<const Point> points, const std::set<std::string>& own) {
    const double scatter = scatter_about_neighbours(points);
    double own_variance = 0.0;
    for (const auto& point : points) {
        for (const auto& contribution : point.rate.mg_per_h.contributions()) {
            own_variance +=
                own.contains(contribution.source) ? contribution.effect * contribution.effect : 0.0;
        }
    }
    own_variance /= static_cast<double>(points.size());
    return std::sqrt(std::max(0.0, (scatter * scatter) - own_variance));
}

std::span<const Point> part(std::span<const Point> points, Place place) {
    const auto first =
        std::find_if(points.begin(), points.end(), [&](const Point& p) { return p.place == place; });
    const auto last = std::find_if(first, points.end(), [&](const Point& p) { return p.place != place; });
    return points.subspan(static_cast<std::size_t>(first - points.begin()),
                          static_cast<std::size_t>(last - first));
}

std::vector<Point> points_of(const RecoveryInput& input) {
    std::vector<Point> out;
    const auto take = [&](std::span<const SpellUptake> spells, Place place) {
        // Pointers are sorted, not points: GCC 12 takes a moved optional for an uninitialised one.
        std::vector<const SpellUptake*> in_order;
        for (const auto& spell : spells) {
            if (spell.is_usable() && spell.middle() > input.time_zero &&
                std::isfinite(spell.uptake_mg_per_h.value())) {
                in_order.push_back(&spell);
            }
        }
        // All point into one span, so that their own order settles equal times.
        std::sort(in_order.begin(), in_order.end(), [](const SpellUptake* a, const SpellUptake* b) {
            return std::pair(a->middle(), a) < std::pair(b->middle(), b);
        });
        for (const auto* spell : in_order) {
            out.push_back({.h = hours_after(input.time_zero, spell->middle()),
                           .at = spell->middle(),
                           .rate = rate_of(*spell),
                           .place = place,
                           .celsius = spell->temperature_mean_celsius});
        }
    };
    take(input.tube, Place::tube);
    take(input.after, Place::after);
    return out;
}

std::set<std::string> own_sources(std::span<const Point> points) {
    std::map<std::string, int> seen;
    for (const auto& point : points) {
        for (const auto& contribution : point.rate.mg_per_h.contributions()) {
            ++seen[contribution.source];
        }
    }
    std::set<std::string> own;
    if (points.size() < 2) {
        return own;
    }
    for (const auto& [source, times] : seen) {
        if (times == 1) {
            own.insert(source);
        }
    }
    return own;
}

OxygenAmount summed(std::span<const Term> terms, const std::set<std::string>& own,
                    const std::string& own_name) {
    double whole = 0.0;
    double specific = 0.0;
    bool has_specific = !terms.empty();
    std::map<std::string, double> by_source;
    std::map<std::string, double> by_source_specific;
    for (const auto& term : terms) {
        whole += term.weight * term.rate->mg_per_h.value();
        add_by_source(by_source, term.rate->mg_per_h, term.weight);
        has_specific = has_specific && term.rate->mg_per_kg_h.has_value();
        if (has_specific) {
            specific += term.weight * term.rate->mg_per_kg_h->value();
            add_by_source(by_source_specific, *term.rate->mg_per_kg_h, term.weight);
        }
    }
    OxygenAmount out{.mg = drawn_together(whole, by_source, own, own_name), .mg_per_kg = std::nullopt};
    if (has_specific) {
        out.mg_per_kg = drawn_together(specific, by_source_specific, own, own_name);
    }
    return out;
}

int hour_of_day(Instant moment, Duration utc_offset) {
    constexpr std::int64_t hour = 3'600'000'000'000;
    const std::int64_t local = moment.unix_nanoseconds() + utc_offset.nanoseconds();
    const std::int64_t hours = local / hour - (local % hour < 0 ? 1 : 0);
    return static_cast<int>(((hours % 24) + 24) % 24);
}

MidHours mid_hours(Instant moment, Duration utc_offset) {
    const Instant half_earlier = moment - Duration::minutes(30.0);
    const int before = hour_of_day(half_earlier, utc_offset);
    constexpr std::int64_t hour = 3'600'000'000'000;
    const std::int64_t past = (half_earlier.unix_nanoseconds() + utc_offset.nanoseconds()) % hour;
    return {.before = before,
            .after = (before + 1) % 24,
            .share = static_cast<double>(past < 0 ? past + hour : past) / static_cast<double>(hour)};
}

std::optional<Reason> levels_too_high(const RecoveryInput& input) {
    if (input.routine && input.routine->standing == RestingStanding::not_recovered) {
        return Reason{"baseline_not_recovered",
                      "the resting stay ends before recovery: its levels are too high"};
    }
    if (input.routine && input.routine->still_falling) {
        return Reason{"baseline_still_falling",
                      "uptake still falls over the values that count as rest: their levels may be too high"};
    }
    return std::nullopt;
}

std::optional<Doubt> doubt_of(const RecoveryInput& input, const Baseline& baseline, double h) {
    if (auto reason = levels_too_high(input)) {
        reason->text = "met at " + fixed_text(h, 2) + " h, but " + reason->text;
        return Doubt{.at_least_h = h, .reason = *std::move(reason)};
    }
    if (baseline.kind() == BaselineKind::routine_hour_matched && input.routine && input.routine->from) {
        const double from = hours_after(input.time_zero, *input.routine->from);
        const double to = input.routine->to ? hours_after(input.time_zero, *input.routine->to) : from;
        if (h > from && h <= to) {
            return Doubt{.at_least_h = std::max(0.0, from),
                         .reason = {"baseline_meets_itself",
                                    "still above the median at " + fixed_text(from, 2) +
                                        " h, where the values that make it up begin: a later meeting is "
                                        "with itself"}};
        }
    }
    return std::nullopt;
}

Baseline Baseline::routine(const RoutineUptake& routine) {
    Baseline out;
    out.kind_ = BaselineKind::routine_hour_matched;
    out.name_ = "own overnight median, hour-matched";
    out.constant_ = routine.whole_night;
    for (const auto& hour : routine.hours) {
        out.by_hour_.emplace(hour.hour_of_day, hour.median);
    }
    out.utc_offset_ = routine.utc_offset;
    return out;
}

Baseline Baseline::resting_plus(const UptakeRate& resting, const std::string& resting_name, double share) {
    Baseline out;
    out.kind_ = BaselineKind::resting_plus;
    out.name_ = resting_name + " + " + fixed_text(100.0 * share, 0) + " %";
    out.constant_ = resting * (1.0 + share);
    out.part_above_rest_ = share / (1.0 + share);
    return out;
}

Level Baseline::at(Instant moment) const {
    if (by_hour_.empty()) {
        return {.before = &constant_, .after = &constant_, .share = 0.0};
    }
    const auto rate_of_hour = [&](int hour) {
        const auto found = by_hour_.find(hour);
        return found != by_hour_.end() ? &found->second : &constant_;
    };
    const auto between = mid_hours(moment, utc_offset_);
    return {
        .before = rate_of_hour(between.before), .after = rate_of_hour(between.after), .share = between.share};
}

bool Baseline::hour_matched(Instant moment) const {
    return by_hour_.contains(hour_of_day(moment, utc_offset_));
}

std::vector<const UptakeRate*> Baseline::rates() const {
    std::vector<const UptakeRate*> out{&constant_};
    for (const auto& [hour, rate] : by_hour_) {
        out.push_back(&rate);
    }
    return out;
}

double scatter_about_neighbours(std::span<const Point> points) {
    std::vector<double> deviations;
    for (std::size_t i = 1; i + 1 < points.size(); ++i) {
        const double u = (points[i].h - points[i - 1].h) / (points[i + 1].h - points[i - 1].h);
        const double between =
            points[i - 1].mg_per_h() + (u * (points[i + 1].mg_per_h() - points[i - 1].mg_per_h()));
        deviations.push_back(std::abs(points[i].mg_per_h() - between) /
                             std::sqrt(1.0 + (u * u) + ((1.0 - u) * (1.0 - u))));
    }
    if (deviations.size() < 3) {
        return 0.0;
    }
    std::sort(deviations.begin(), deviations.end());
    const std::size_t n = deviations.size();
    const double median =
        n % 2 == 1 ? deviations[n / 2] : 0.5 * (deviations[(n / 2) - 1] + deviations[n / 2]);
    return median / 0.6744897501960817; // upper quartile of the standard normal
}

DataAnswer recovery_by_data(const RecoveryInput& input, const RecoverySettings& settings,
                            std::span<const Point> points, const Baseline& baseline) {
    const auto tube = part(points, Place::tube);
    const auto after = part(points, Place::after);
    const auto own = own_sources(points);
    const double surplus = surplus_scatter(points, own);

    BaselineRecovery out;
    out.kind = baseline.kind();
    out.name = baseline.name();
    double level_sum = 0.0;
    for (const auto& point : points) {
        level_sum += baseline.level(point.at);
        out.whole_night_used =
            out.whole_night_used ||
            (baseline.kind() == BaselineKind::routine_hour_matched && !baseline.hour_matched(point.at));
    }
    out.level_mg_per_h = level_sum / static_cast<double>(points.size());

    const auto tube_crossing = first_crossing(tube, baseline, settings.consecutive);
    const auto after_crossing = first_crossing(after, baseline, settings.consecutive);
    const auto doubt_about = [&](const std::optional<Crossing>& crossing) {
        return crossing ? doubt_of(input, baseline, crossing->h) : std::nullopt;
    };
    const auto tube_doubt = doubt_about(tube_crossing);
    const auto after_doubt = doubt_about(after_crossing);
    const bool is_too_high = levels_too_high(input).has_value();
    // Each stay's own errors under a name of their own, so that the two stays' are independent in the total.
    const auto excess_of = [&](const StayIntegral& stay, bool met, const std::string& where) {
        const double whole = stay.integral.value();
        const std::string slopes = "slopes of single spells (recovery of " + input.fish + ", " + where + ")";
        const std::string scatter = "spontaneous changes (recovery of " + input.fish + ", " + where + ")";
        Excess excess;
        excess.amount =
            with_scatter(stay.integral.amount(own, slopes), surplus * stay.integral.spread(points), scatter);
        excess.from_h = stay.from_h;
        excess.to_h = stay.to_h;
        excess.met_baseline = met;
        excess.held_back_share = share_of(stay.held_back, whole);
        excess.bridged_share = share_of(stay.bridged, whole);
        return excess;
    };

    double tube_end_h = 0.0;
    if (!tube.empty()) {
        tube_end_h = input.tube_until ? hours_after(input.time_zero, *input.tube_until) : tube.back().h;
        const UptakeRate& held = input.peak ? *input.peak : tube.front().rate;
        const auto corners =
            corners_of(tube, baseline, held, input.time_zero, 0.0, std::max(tube_end_h, tube.back().h));
        out.tube =
            excess_of(integrated(corners, tube.front().h,
                                 tube_crossing ? tube_crossing->h : std::numeric_limits<double>::infinity()),
                      tube_crossing && !tube_doubt, "tube");
        out.tube->at_least = is_too_high;
        tube_end_h = corners.back().h;
    }
    // Recovered in the tube and not raised again by the handling: the tube's moment is the answer.
    const bool stayed_down = tube_crossing && (!after_crossing || after_crossing->at_first_point);
    if (!after.empty()) {
        const double seal_h =
            input.after_from ? hours_after(input.time_zero, *input.after_from) : after.front().h;
        std::vector<Corner> corners;
        if (!tube.empty() && seal_h > tube_end_h) {
            // The way from one chamber to the other, bridged by a straight line between the last and the
            // first value.
            const auto moment = [&](double h) { return input.time_zero + Duration::hours(h); };
            corners.push_back({tube_end_h, &tube.back().rate, baseline.at(moment(tube_end_h))});
        }
        const double hold_from = tube.empty() ? 0.0 : std::min(seal_h, after.front().h);
        const UptakeRate& held = tube.empty() && input.peak ? *input.peak : after.front().rate;
        const auto stay = corners_of(after, baseline, held, input.time_zero, hold_from, after.back().h);
        corners.insert(corners.end(), stay.begin(), stay.end());
        const double until = after_crossing ? after_crossing->h : std::numeric_limits<double>::infinity();
        auto integral = integrated(corners, tube.empty() ? after.front().h : 0.0, until);
        // What lies before the first spell of the new stay is bridge, held value included.
        Integral bridge;
        for (std::size_t i = 0;
             i + 1 < corners.size() && corners[i + 1].h <= after.front().h && !tube.empty(); ++i) {
            bridge.add(corners[i], corners[i + 1], std::min(integral.to_h, corners[i + 1].h));
        }
        integral.bridged = bridge.value();
        const bool has_recovered = after_crossing && !after_doubt;
        out.after_transfer = excess_of(integral, has_recovered, "after transfer");
        out.after_transfer->at_least = !has_recovered || is_too_high;
        if (out.tube) {
            Excess total = *out.tube;
            total.amount = added(out.tube->amount, out.after_transfer->amount);
            total.to_h = out.after_transfer->to_h;
            total.met_baseline = has_recovered;
            total.at_least = out.after_transfer->at_least;
            const double whole = total.amount.mg.value();
            total.held_back_share = share_of(out.tube->held_back_share * out.tube->amount.mg.value(), whole);
            total.bridged_share = share_of(integral.bridged, whole);
            out.capture_plus_handling = total;
        } else {
            out.capture_plus_handling = out.after_transfer;
        }
    } else if (out.tube) {
        out.capture_plus_handling = out.tube;
        out.capture_plus_handling->at_least = !tube_crossing || tube_doubt || is_too_high;
    }
    const bool is_in_tube = stayed_down || after.empty();
    out.by_data = is_in_tube ? time_of(tube, tube_crossing, tube_doubt, settings.consecutive)
                             : time_of(after, after_crossing, after_doubt, settings.consecutive);
    return {.baseline = std::move(out), .answered_in = is_in_tube ? Place::tube : Place::after};
}

} // namespace backeddy::uptake::detail
