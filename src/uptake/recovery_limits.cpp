// Between which hours recovery may lie, by the data: what the level may be off by where uptake meets it, and
// where a curve through the spells comes down to the level's highest and lowest.

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "base/number_text.hpp"
#include "fit/falling.hpp"
#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake::detail {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double normal_95 = 1.959963984540054; // JCGM 100:2008, table G.1
constexpr double turn_per_h = 2.0 * std::numbers::pi / 24.0;
// Standard deviation of the median of five normal values of standard deviation 1 (the root of their order
// statistic's variance, 0.2868): a pooled curve rests on about so many spells.
constexpr double sd_of_median_of_five = 0.536;

OnCircle on_circle(double h) {
    return {.x = std::cos(turn_per_h * h), .y = std::sin(turn_per_h * h)};
}

// Mean of such points from one hour to another.
OnCircle mean_on_circle(double from, double to) {
    const double width = turn_per_h * (to - from);
    if (!(width > 1e-6)) {
        return on_circle(from);
    }
    const OnCircle start = on_circle(from);
    const OnCircle end = on_circle(to);
    return {.x = (end.y - start.y) / width, .y = (start.x - end.x) / width};
}

// First moment at which a curve through points comes down to a level (a function of the point), and half the
// distance of the spells about it; NaN when it does not.
struct Descent {
    double h = nan;
    double half_step = 0.0;
    bool at_first_point = false;
};

template <typename LevelAt>
Descent descent(std::span<const Point> points, std::span<const double> curve, const LevelAt& level_at) {
    double before = 0.0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double above = curve[i] - level_at(points[i]);
        if (above <= 0.0 && i == 0) {
            return {.h = points[0].h, .half_step = 0.0, .at_first_point = true};
        }
        if (above <= 0.0) {
            const double width = points[i].h - points[i - 1].h;
            return {.h = points[i - 1].h + (width * before / (before - above)),
                    .half_step = 0.5 * width,
                    .at_first_point = false};
        }
        before = above;
    }
    return {};
}

std::vector<double> curve_through(std::span<const Point> points) {
    std::vector<double> values;
    values.reserve(points.size());
    for (const auto& point : points) {
        values.push_back(point.mg_per_h());
    }
    return fit::falling_medians(values);
}

// What is doubted of a stay's curve less the baseline.
class Doubts {
  public:
    Doubts(const RestElsewhere& elsewhere, std::span<const Point> points, const Baseline& baseline,
           const std::optional<DecayFit>& fit)
        : elsewhere_(elsewhere), baseline_(baseline), left_(fit ? fit->left_in_rest_mg_per_h : 0.0),
          left_error_(fit ? fit->left_in_rest_error_mg_per_h : 0.0),
          curve_(sd_of_median_of_five * scatter_about_neighbours(points)), own_(own_sources(points)) {}

    [[nodiscard]] LevelDoubt at(const Point& point) const {
        // The spell's own slope is in the scatter; what it shares with the level cancels.
        const Measured difference = point.rate.mg_per_h - baseline_.at(point.at).measured();
        double squares = curve_ * curve_;
        for (const auto& contribution : difference.contributions()) {
            squares += own_.contains(contribution.source) ? 0.0 : contribution.effect * contribution.effect;
        }
        return {.own = std::sqrt(squares),
                .elsewhere = elsewhere_.uncertainty(baseline_, point.h),
                .form = 0.0,
                .left = left_,
                .left_error = left_error_};
    }
    [[nodiscard]] double highest(const Point& point) const {
        return baseline_.level(point.at) + at(point).up();
    }
    [[nodiscard]] double lowest(const Point& point) const {
        return baseline_.level(point.at) - at(point).down();
    }

  private:
    const RestElsewhere& elsewhere_;
    const Baseline& baseline_;
    double left_;
    double left_error_;
    double curve_;
    std::set<std::string> own_;
};

// Recovery took no less than this; NaN when even the highest level is not reached.
double earliest(std::span<const Point> tube, std::span<const Point> after, Place answered_in,
                const Doubts& doubts) {
    const auto highest = [&](const Point& point) { return doubts.highest(point); };
    const auto points = answered_in == Place::tube ? tube : after;
    const auto down = descent(points, curve_through(points), highest);
    if (!std::isfinite(down.h)) {
        return nan; // a maximum with it would be 0
    }
    if (!down.at_first_point) {
        return std::max(0.0, down.h - down.half_step);
    }
    if (answered_in == Place::tube || tube.empty()) {
        return 0.0;
    }
    // Down before the first spell of this stay: on the way to it, or in the tube.
    const auto in_tube = descent(tube, curve_through(tube), highest);
    return std::isfinite(in_tube.h) ? std::max(0.0, in_tube.h - in_tube.half_step) : tube.back().h;
}

} // namespace

double LevelDoubt::up() const {
    return normal_95 * std::hypot(own, elsewhere, form);
}

double LevelDoubt::down() const {
    return (normal_95 * std::hypot(std::hypot(own, elsewhere, form), left_error)) + left;
}

std::string LevelDoubt::text() const {
    return "95 %; there the level is unsure by " + fixed_text(own, 1) + " mg/h as measured, by " +
           fixed_text(elsewhere, 1) + " since rest at that hour may be another" +
           (form > 0.0 ? ", by " + fixed_text(form, 1) + " since the curve passes the spells there by" : "") +
           (left > 0.0 ? ", and too high by " + measured_text(left, left_error) + " of recovery left in it"
                       : "");
}

RestElsewhere::RestElsewhere(const RecoveryInput& input, const RecoverySettings& settings,
                             std::span<const Point> points)
    : time_zero_(input.time_zero), share_(settings.daily_swing_share), q10_(settings.q10), points_(points) {
    // Without its hours the level is taken for the day's mean, the circle's middle.
    if (!input.routine || !input.routine->from || !input.routine->to) {
        return;
    }
    const Instant from = *input.routine->from;
    const Instant to = *input.routine->to;
    counted_ = mean_on_circle((from - time_zero_).hours(), (to - time_zero_).hours());
    double sum = 0.0;
    int n = 0;
    for (const auto& point : points) {
        if (point.at >= from && point.at <= to && std::isfinite(point.celsius)) {
            sum += point.celsius;
            ++n;
        }
    }
    if (n > 0) {
        counted_celsius_ = sum / n;
    }
}

double RestElsewhere::uncertainty(const Baseline& baseline, double h) const {
    const Instant moment = time_zero_ + Duration::hours(h);
    if (baseline.hour_matched(moment)) {
        return 0.0;
    }
    // A (1 + a cos(w t + p)) at h less its mean over the hours counted, p anywhere on the circle: its root
    // mean square is A a / sqrt(2) times the distance of the two on the circle (derived).
    const OnCircle there = on_circle(h);
    const double by_day =
        share_ / std::numbers::sqrt2 * std::hypot(there.x - counted_.x, there.y - counted_.y);
    double by_water = 0.0;
    if (counted_celsius_) {
        const auto after = std::lower_bound(points_.begin(), points_.end(), h,
                                            [](const Point& point, double at) { return point.h < at; });
        const auto& near = after == points_.end() ? points_.back() : *after;
        if (std::isfinite(near.celsius)) {
            by_water = std::pow(q10_, (near.celsius - *counted_celsius_) / 10.0) - 1.0;
        }
    }
    return baseline.level(moment) * std::hypot(by_day, by_water);
}

void add_limits(RecoveryTime& time, const RestElsewhere& elsewhere, std::span<const Point> points,
                Place answered_in, const Baseline& baseline, const std::optional<DecayFit>& fit) {
    const auto answering = part(points, answered_in);
    const Doubts doubts(elsewhere, answering, baseline, fit);
    const double early = earliest(part(points, Place::tube), part(points, Place::after), answered_in, doubts);
    if (std::isfinite(early)) {
        time.at_least_h = std::min(time.at_least_h, early);
    }
    if (!time.hours) {
        return;
    }
    const auto near =
        std::min_element(answering.begin(), answering.end(), [&](const Point& a, const Point& b) {
            return std::abs(a.h - *time.hours) < std::abs(b.h - *time.hours);
        });
    time.limits_from = doubts.at(*near).text();
    // Without a fit nobody knows how much recovery is left in the level: no upper limit.
    const auto down = descent(answering, curve_through(answering),
                              [&](const Point& point) { return doubts.lowest(point); });
    if (fit && std::isfinite(down.h)) {
        time.at_most_h = std::max(*time.hours, down.h + down.half_step);
    }
}

} // namespace backeddy::uptake::detail
