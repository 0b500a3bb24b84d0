#include "chamber/respiration.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <utility>

namespace backeddy::chamber {

namespace {

constexpr double seconds_per_hour = 3600.0;
/// Beyond this many time constants an exponential is below the rounding of any uptake (e^-60 < 1e-26).
constexpr double spent = 60.0;

/// Integral of e^(-a s) over s in [0, t]; a >= 0. Right also for a = 0 and for tiny a t.
double decay_integral(double a, double t) {
    return a == 0.0 ? t : -std::expm1(-a * t) / a;
}

double phase_at(const Phase& phase, double rise_s, double t) {
    const double rise = rise_s > 0.0 ? -std::expm1(-t / rise_s) : 1.0;
    if (t <= phase.hold_s) {
        return phase.amplitude_mg_per_h * rise;
    }
    const double decay = (t - phase.hold_s) * phase.rate_per_h / seconds_per_hour;
    return decay > spent ? 0.0 : phase.amplitude_mg_per_h * rise * std::exp(-decay);
}

/// mg/h times seconds from the phase's start to `t`.
double phase_integral(const Phase& phase, double rise_s, double t) {
    const double held = std::min(t, phase.hold_s);
    const double r = rise_s > 0.0 ? 1.0 / rise_s : 0.0;
    double sum = held - (rise_s > 0.0 ? decay_integral(r, held) : 0.0);
    if (t > phase.hold_s) {
        const double k = phase.rate_per_h / seconds_per_hour;
        const double after = t - phase.hold_s;
        sum += decay_integral(k, after);
        if (rise_s > 0.0) {
            sum -= std::exp(-r * phase.hold_s) * decay_integral(k + r, after);
        }
    }
    return phase.amplitude_mg_per_h * sum;
}

// Gauss-Legendre, 8 points (Abramowitz and Stegun 1964, table 25.4).
constexpr std::array<double, 4> gauss_node{0.1834346424956498, 0.5255324099163290, 0.7966664774136267,
                                           0.9602898564975363};
constexpr std::array<double, 4> gauss_weight{0.3626837833783620, 0.3137066458778873, 0.2223810344533745,
                                             0.1012285362903763};

/// By time; those of one moment stay in the order given.
std::vector<Excess> in_order(std::vector<Excess> excesses) {
    std::vector<std::pair<double, std::size_t>> order;
    for (const auto& excess : excesses) {
        order.emplace_back(excess.at_s, order.size());
    }
    std::sort(order.begin(), order.end());
    std::vector<Excess> sorted;
    for (const auto& place : order) {
        sorted.push_back(std::move(excesses[place.second]));
    }
    return sorted;
}

} // namespace

Respiration::Respiration(Fish fish, Swing temperature)
    : fish_(std::move(fish)), temperature_(std::move(temperature)) {
    fish_.excesses = in_order(std::move(fish_.excesses));
    end_s_.assign(fish_.excesses.size(), std::numeric_limits<double>::infinity());
    for (std::size_t i = 0; i < fish_.excesses.size(); ++i) {
        const auto& event = fish_.excesses[i];
        breaks_s_.push_back(event.at_s);
        for (const auto& phase : event.phases) {
            if (phase.hold_s > 0.0) {
                breaks_s_.push_back(event.at_s + phase.hold_s);
            }
        }
        if (event.earlier == Earlier::ends) {
            for (std::size_t j = 0; j < i; ++j) {
                end_s_[j] = std::min(end_s_[j], event.at_s);
            }
        }
    }
    if (fish_.dies_at_s) {
        breaks_s_.push_back(*fish_.dies_at_s);
    }
    std::sort(breaks_s_.begin(), breaks_s_.end());
    breaks_s_.erase(std::unique(breaks_s_.begin(), breaks_s_.end()), breaks_s_.end());
}

double Respiration::temperature_factor(double t_s) const {
    return fish_.q10 == 1.0 ? 1.0
                            : std::pow(fish_.q10, (temperature_.at(t_s) - fish_.reference_celsius) / 10.0);
}

double Respiration::resting_at(double t_s) const {
    double rest = fish_.resting_mg_per_h;
    if (fish_.rhythm_share != 0.0) {
        rest *= 1.0 + (fish_.rhythm_share *
                       std::cos(2.0 * std::numbers::pi * (t_s - fish_.rhythm_high_at_s) / day_period_s));
    }
    return rest * temperature_factor(t_s);
}

double Respiration::excess_at(double t_s) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < fish_.excesses.size() && fish_.excesses[i].at_s <= t_s; ++i) {
        if (t_s < end_s_[i]) {
            for (const auto& phase : fish_.excesses[i].phases) {
                sum += phase_at(phase, fish_.excesses[i].rise_s, t_s - fish_.excesses[i].at_s);
            }
        }
    }
    return sum;
}

double Respiration::handling_excess_at(double t_s) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < fish_.excesses.size() && fish_.excesses[i].at_s <= t_s; ++i) {
        if (fish_.excesses[i].kind == ExcessKind::handling && t_s < end_s_[i]) {
            for (const auto& phase : fish_.excesses[i].phases) {
                sum += phase_at(phase, fish_.excesses[i].rise_s, t_s - fish_.excesses[i].at_s);
            }
        }
    }
    return sum * temperature_factor(t_s);
}

double Respiration::living_at(double t_s) const {
    double rest = fish_.resting_mg_per_h;
    if (fish_.rhythm_share != 0.0) {
        rest *= 1.0 + (fish_.rhythm_share *
                       std::cos(2.0 * std::numbers::pi * (t_s - fish_.rhythm_high_at_s) / day_period_s));
    }
    return (rest + excess_at(t_s)) * temperature_factor(t_s);
}

double Respiration::at(double t_s) const {
    if (!fish_.dies_at_s || t_s < *fish_.dies_at_s) {
        return living_at(t_s);
    }
    return living_at(*fish_.dies_at_s) * std::exp(-(t_s - *fish_.dies_at_s) / fish_.fade_s);
}

double Respiration::closed_form_rest_mg(double from_s, double to_s) const {
    double sum = to_s - from_s;
    if (fish_.rhythm_share != 0.0) {
        const double w = 2.0 * std::numbers::pi / day_period_s;
        sum += fish_.rhythm_share *
               (std::sin(w * (to_s - fish_.rhythm_high_at_s)) -
                std::sin(w * (from_s - fish_.rhythm_high_at_s))) /
               w;
    }
    return fish_.resting_mg_per_h * sum / seconds_per_hour;
}

double Respiration::closed_form_mg(double from_s, double to_s) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < fish_.excesses.size(); ++i) {
        const auto& event = fish_.excesses[i];
        const double a = std::max(from_s, event.at_s) - event.at_s;
        const double b = std::min(to_s, end_s_[i]) - event.at_s;
        if (b > a) {
            for (const auto& phase : event.phases) {
                sum += phase_integral(phase, event.rise_s, b) - phase_integral(phase, event.rise_s, a);
            }
        }
    }
    return closed_form_rest_mg(from_s, to_s) + (sum / seconds_per_hour);
}

template <typename Rate>
double Respiration::quadrature_mg(double from_s, double to_s, const Rate& rate) const {
    constexpr double longest_panel_s = 60.0;
    double sum = 0.0;
    auto next = std::upper_bound(breaks_s_.begin(), breaks_s_.end(), from_s);
    for (double a = from_s; a < to_s;) {
        const double stop = next != breaks_s_.end() && *next < to_s ? *next++ : to_s;
        const auto panels = static_cast<int>(std::ceil((stop - a) / longest_panel_s));
        const double half = (stop - a) / panels / 2.0;
        for (int p = 0; p < panels; ++p) {
            const double middle = a + ((2 * p) + 1) * half;
            for (std::size_t j = 0; j < gauss_node.size(); ++j) {
                sum += half * gauss_weight[j] *
                       (rate(middle - (half * gauss_node[j])) + rate(middle + (half * gauss_node[j])));
            }
        }
        a = stop;
    }
    return sum / seconds_per_hour;
}

double Respiration::taken_mg(double from_s, double to_s) const {
    if (to_s <= from_s) {
        return 0.0;
    }
    const double alive_until = fish_.dies_at_s ? std::clamp(*fish_.dies_at_s, from_s, to_s) : to_s;
    double sum = fish_.q10 == 1.0
                     ? closed_form_mg(from_s, alive_until)
                     : quadrature_mg(from_s, alive_until, [this](double t) { return living_at(t); });
    if (alive_until < to_s) {
        const double after = alive_until - *fish_.dies_at_s;
        sum += living_at(*fish_.dies_at_s) * std::exp(-after / fish_.fade_s) *
               decay_integral(1.0 / fish_.fade_s, to_s - alive_until) / seconds_per_hour;
    }
    return sum;
}

double Respiration::excess_mg(double from_s, double to_s) const {
    if (to_s <= from_s) {
        return 0.0;
    }
    const double rest = fish_.q10 == 1.0
                            ? closed_form_rest_mg(from_s, to_s)
                            : quadrature_mg(from_s, to_s, [this](double t) { return resting_at(t); });
    return taken_mg(from_s, to_s) - rest;
}

std::optional<double> Respiration::recovered_at_s(double from_s, double to_s, double share) const {
    const auto above = [&](double t) { return handling_excess_at(t) >= share * resting_at(t); };
    if (above(to_s)) {
        return std::nullopt;
    }
    // Backwards minute by minute to the last crossing, then halving: the excess need not fall monotonically.
    constexpr double stride_s = 60.0;
    double low = to_s;
    while (!above(low)) {
        if (low <= from_s) {
            return from_s;
        }
        low = std::max(from_s, low - stride_s);
    }
    double high = std::min(to_s, low + stride_s);
    while (high - low > 0.01) {
        const double middle = (low + high) / 2.0;
        (above(middle) ? low : high) = middle;
    }
    return high;
}

std::vector<Excess> draw_bouts(Random& random, const Unrest& unrest, double from_s, double to_s) {
    std::vector<Excess> bouts;
    if (unrest.bouts_per_h <= 0.0) {
        return bouts;
    }
    const double mean_gap_s = seconds_per_hour / unrest.bouts_per_h;
    for (double t = from_s + (mean_gap_s * random.exponential()); t < to_s;
         t += mean_gap_s * random.exponential()) {
        const double amplitude = unrest.amplitude_mg_per_h * random.exponential();
        const double hold = unrest.hold_s * random.exponential();
        bouts.push_back(
            {.at_s = t,
             .rise_s = unrest.rise_s,
             .phases = {{.amplitude_mg_per_h = amplitude, .hold_s = hold, .rate_per_h = unrest.rate_per_h}},
             .kind = ExcessKind::bout});
    }
    return bouts;
}

double Microbes::at(double t_s) const {
    const double h = std::max(0.0, t_s - since_s) / seconds_per_hour;
    switch (growth) {
    case Growth::steady:
        return start_mg_per_h;
    case Growth::straight:
        return start_mg_per_h + (slope_mg_per_h_per_h * h);
    case Growth::exponential:
        return start_mg_per_h * std::exp(rate_per_h * h);
    case Growth::sigmoid: {
        const double grown = std::exp(rate_per_h * h);
        return start_mg_per_h * grown / (1.0 + (start_mg_per_h / ceiling_mg_per_h * (grown - 1.0)));
    }
    }
    return start_mg_per_h;
}

namespace {

/// mg from since_s to h hours after it (h may be negative: the level of since_s holds before it).
double microbes_integral(const Microbes& m, double h) {
    if (h <= 0.0 || m.growth == Growth::steady) {
        return m.start_mg_per_h * h;
    }
    switch (m.growth) {
    case Growth::straight:
        return (m.start_mg_per_h * h) + (0.5 * m.slope_mg_per_h_per_h * h * h);
    case Growth::exponential:
        return m.rate_per_h == 0.0 ? m.start_mg_per_h * h
                                   : m.start_mg_per_h * std::expm1(m.rate_per_h * h) / m.rate_per_h;
    case Growth::sigmoid:
        if (m.rate_per_h == 0.0) {
            return m.start_mg_per_h * h;
        }
        if (std::isinf(m.ceiling_mg_per_h)) {
            return m.start_mg_per_h * std::expm1(m.rate_per_h * h) / m.rate_per_h;
        }
        return m.ceiling_mg_per_h / m.rate_per_h *
               std::log1p(m.start_mg_per_h / m.ceiling_mg_per_h * std::expm1(m.rate_per_h * h));
    case Growth::steady:
        break;
    }
    return m.start_mg_per_h * h;
}

} // namespace

double Microbes::taken_mg(double from_s, double to_s) const {
    return microbes_integral(*this, (to_s - since_s) / seconds_per_hour) -
           microbes_integral(*this, (from_s - since_s) / seconds_per_hour);
}

} // namespace backeddy::chamber
