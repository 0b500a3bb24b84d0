// The half-time by the data alone: when the line through the spells first falls to half of the first excess,
// and what each source of uncertainty does to that moment.

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake::detail {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double normal_95 = 1.959963984540054; // JCGM 100:2008, table G.1

// The excess at time zero (peak held back) and at each spell.
struct Excesses {
    double at_zero = 0.0;
    std::vector<double> h;
    std::vector<double> at;
};

std::optional<double> first_half(const Excesses& excesses) {
    const double half = 0.5 * excesses.at_zero;
    if (!(half > 0.0)) {
        return std::nullopt;
    }
    double before_h = 0.0;
    double before = excesses.at_zero;
    for (std::size_t i = 0; i < excesses.h.size(); ++i) {
        const double now = excesses.at[i];
        if (now <= half) {
            const double u = before > now ? (before - half) / (before - now) : 1.0;
            return before_h + (u * (excesses.h[i] - before_h));
        }
        before_h = excesses.h[i];
        before = now;
    }
    return std::nullopt;
}

// What one source does when it is one standard uncertainty high: to the excess at time zero and at spells.
struct Move {
    double at_zero = 0.0;
    std::vector<std::pair<std::size_t, double>> at;
    double hours = 0.0; ///< all spells so much later after time zero
};

std::optional<double> moved(Excesses excesses, const Move& move, double sign) {
    excesses.at_zero += sign * move.at_zero;
    for (const auto& [i, effect] : move.at) {
        excesses.at[i] += sign * effect;
    }
    for (double& h : excesses.h) {
        h += sign * move.hours;
    }
    return first_half(excesses);
}

// Half of what the half-time moves between a source low and high; the half that there is where the spells do
// not come down to half at the other end.
class Effects {
  public:
    Effects(Excesses excesses, double half_h) : excesses_(std::move(excesses)), half_h_(half_h) {}

    double operator()(const Move& move) {
        const auto high = moved(excesses_, move, 1.0);
        const auto low = moved(excesses_, move, -1.0);
        open_ = open_ || !high || !low;
        return high && low ? 0.5 * (*high - *low) : high ? *high - half_h_ : low ? half_h_ - *low : 0.0;
    }
    [[nodiscard]] bool is_open() const { return open_; } ///< some end did not come down to half

  private:
    Excesses excesses_;
    double half_h_;
    bool open_ = false;
};

} // namespace

Interval log_interval(const Measured& value, double factor) {
    if (!(value.value() > 0.0)) {
        return {.low = 0.0, .high = infinity};
    }
    const double reach = factor * value.standard_uncertainty() / value.value();
    return {.low = value.value() * std::exp(-reach), .high = value.value() * std::exp(reach)};
}

std::optional<HalfTime> half_time_by_data(const RecoveryInput& input, std::span<const Point> points,
                                          const Baseline& baseline) {
    const auto& start = input.peak ? input.peak->mg_per_h : points.front().rate.mg_per_h;
    const Measured at_zero = start - baseline.at(input.time_zero).measured();
    Excesses excesses{.at_zero = at_zero.value()};
    std::map<std::string, Move> by_source;
    for (const auto& contribution : at_zero.contributions()) {
        by_source[contribution.source].at_zero = contribution.effect;
    }
    for (std::size_t i = 0; i < points.size(); ++i) {
        const Measured excess = points[i].rate.mg_per_h - baseline.at(points[i].at).measured();
        excesses.h.push_back(points[i].h);
        excesses.at.push_back(excess.value());
        for (const auto& contribution : excess.contributions()) {
            by_source[contribution.source].at.emplace_back(i, contribution.effect);
        }
    }
    const auto half = first_half(excesses);
    if (!half) {
        return std::nullopt;
    }
    Effects effect_of(excesses, *half);
    const auto own = own_sources(points);
    const double surplus = surplus_scatter(points, own);
    std::vector<Contribution> parts;
    double slopes = 0.0;
    for (const auto& [source, move] : by_source) {
        const double effect = effect_of(move);
        if (own.contains(source)) {
            slopes = std::hypot(slopes, effect);
        } else if (effect != 0.0) {
            parts.push_back({source, effect});
        }
    }
    double scatter = 0.0;
    for (std::size_t i = 0; i < points.size() && surplus > 0.0; ++i) {
        Move alone{.at = {{i, surplus}}};
        alone.at_zero = i == 0 && !input.peak ? surplus : 0.0; // the first spell's value is held back
        scatter = std::hypot(scatter, effect_of(alone));
    }
    parts.push_back({"slopes of single spells (half-time of " + input.fish + ")", slopes});
    parts.push_back({"spontaneous changes (half-time of " + input.fish + ")", scatter});
    // A later time zero is so much nearer to every spell.
    parts.push_back({time_zero_source(input), effect_of({.hours = -input.time_zero_uncertainty.hours()})});
    std::erase_if(parts, [](const Contribution& part) { return part.effect == 0.0; });
    HalfTime out{.hours = Measured(*half, std::move(parts))};
    out.interval = log_interval(out.hours, normal_95);
    if (effect_of.is_open()) {
        out.interval.high = infinity;
    }
    return out;
}

} // namespace backeddy::uptake::detail
