#include "fit/mixture.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include <fmt/format.h>

#include "base/random.hpp"

namespace backeddy::fit {

namespace {

constexpr std::size_t most_components = 4;

/// Values with how many stand at or near each.
struct Sample {
    std::vector<double> x; ///< ascending, scaled to mean 0 and standard deviation 1
    std::vector<double> count;
    double total = 0.0;
};

struct State {
    std::size_t g = 0;
    std::array<double, most_components> weight{};
    std::array<double, most_components> mean{};
    std::array<double, most_components> sd{};
    double log_likelihood = -std::numeric_limits<double>::infinity();
    bool is_sound = true;
};

struct Guards {
    Spreads spreads = Spreads::unequal;
    double least_sd = 0.0;
    double least_weight = 0.0;
};

/// Log-likelihood of the state and the state one EM step on. `narrowed` on collapse.
State em_step(const Sample& sample, const State& now, const Guards& guards, double& log_likelihood) {
    const std::size_t g = now.g;
    std::array<double, most_components> constant{};
    std::array<double, most_components> half_precision{};
    for (std::size_t k = 0; k < g; ++k) {
        constant[k] = std::log(now.weight[k] / now.sd[k]);
        half_precision[k] = 0.5 / (now.sd[k] * now.sd[k]);
    }
    // Sums about each component's present mean, so that variances lose no digits.
    std::array<double, most_components> s0{};
    std::array<double, most_components> s1{};
    std::array<double, most_components> s2{};
    double logs = 0.0;
    for (std::size_t i = 0; i < sample.x.size(); ++i) {
        std::array<double, most_components> part{};
        std::array<double, most_components> off{};
        double highest = -std::numeric_limits<double>::infinity();
        for (std::size_t k = 0; k < g; ++k) {
            off[k] = sample.x[i] - now.mean[k];
            part[k] = constant[k] - (off[k] * off[k] * half_precision[k]);
            highest = std::max(highest, part[k]);
        }
        double sum = 0.0;
        for (std::size_t k = 0; k < g; ++k) {
            const double below = part[k] - highest;
            part[k] = below == 0.0 ? 1.0 : (below < -40.0 ? 0.0 : std::exp(below));
            sum += part[k];
        }
        const double count = sample.count[i];
        logs += count * (highest + std::log(sum));
        const double scale = count / sum;
        for (std::size_t k = 0; k < g; ++k) {
            const double share = scale * part[k];
            s0[k] += share;
            s1[k] += share * off[k];
            s2[k] += share * off[k] * off[k];
        }
    }
    log_likelihood = logs - (0.5 * sample.total * std::log(2.0 * std::numbers::pi));

    State next{.g = g};
    double pooled = 0.0;
    for (std::size_t k = 0; k < g; ++k) {
        next.weight[k] = s0[k] / sample.total;
        if (!(next.weight[k] > guards.least_weight)) {
            next.is_sound = false;
            return next;
        }
        const double shift = s1[k] / s0[k];
        next.mean[k] = now.mean[k] + shift;
        const double squares = s2[k] - (shift * s1[k]);
        next.sd[k] = std::sqrt(std::max(0.0, squares / s0[k]));
        pooled += squares;
    }
    if (guards.spreads == Spreads::equal) {
        next.sd.fill(std::sqrt(std::max(0.0, pooled / sample.total)));
    }
    for (std::size_t k = 0; k < g; ++k) {
        next.is_sound = next.is_sound && next.sd[k] > guards.least_sd;
    }
    return next;
}

State run_em(const Sample& sample, State state, const Guards& guards, int steps) {
    for (int i = 0; i < steps; ++i) {
        double log_likelihood = 0.0;
        State next = em_step(sample, state, guards, log_likelihood);
        next.log_likelihood = log_likelihood; // of the state before: near enough to rank by
        state = next;
        if (!state.is_sound) {
            break;
        }
    }
    return state;
}

/// Unconstrained form for extrapolation: log weight ratios, means, log standard deviations.
using Vector = std::array<double, 3 * most_components>;

Vector packed(const State& s) {
    Vector v{};
    for (std::size_t k = 0; k < s.g; ++k) {
        v[k] = std::log(s.weight[k]);
        v[most_components + k] = s.mean[k];
        v[(2 * most_components) + k] = std::log(s.sd[k]);
    }
    return v;
}

State unpacked(const Vector& v, std::size_t g) {
    State s{.g = g};
    double total = 0.0;
    for (std::size_t k = 0; k < g; ++k) {
        s.weight[k] = std::exp(v[k]);
        total += s.weight[k];
        s.mean[k] = v[most_components + k];
        s.sd[k] = std::exp(v[(2 * most_components) + k]);
    }
    for (std::size_t k = 0; k < g; ++k) {
        s.weight[k] /= total;
        s.is_sound = s.is_sound && std::isfinite(s.weight[k]) && std::isfinite(s.mean[k]) && s.sd[k] > 0.0;
    }
    return s;
}

enum class Polish : std::uint8_t { coarse, fine };

/// EM to convergence, sped up by squared extrapolation (Varadhan and Roland 2008, Scand J Stat 35:335, scheme
/// S3); a leap that loses likelihood or leaves the guards is taken back.
State polished(const Sample& sample, State state, const Guards& guards, Polish polish) {
    const int cycles = polish == Polish::fine ? 2000 : 100;
    const int patience =
        polish == Polish::fine ? 40 : 2; // cycles without gain, however parameters still creep
    double before = -std::numeric_limits<double>::infinity();
    int still = 0;
    // The likelihood is flat where it is highest: parameters settle long after it has.
    const double settled = polish == Polish::fine ? 1e-18 : 1e-8;
    for (int cycle = 0; cycle < cycles && state.is_sound; ++cycle) {
        double at_start = 0.0;
        double ignored = 0.0;
        const State one = em_step(sample, state, guards, at_start);
        state.log_likelihood = at_start;
        if (!one.is_sound) {
            return one;
        }
        const State two = em_step(sample, one, guards, ignored);
        if (!two.is_sound) {
            return two;
        }
        const Vector v0 = packed(state);
        const Vector v1 = packed(one);
        const Vector v2 = packed(two);
        double rr = 0.0; // squared length of a step
        double vv = 0.0;
        for (std::size_t k = 0; k < v0.size(); ++k) {
            const double r = v1[k] - v0[k];
            const double v = (v2[k] - v1[k]) - r;
            rr += r * r;
            vv += v * v;
        }
        still = at_start - before <= 1e-12 * std::abs(at_start) ? still + 1 : 0;
        if ((still >= 2 && rr < settled) || still >= patience) {
            return state;
        }
        before = at_start;
        const double alpha = vv > 0.0 ? std::sqrt(rr / vv) : 1.0; // the paper's is its negative
        State next = two;
        if (alpha > 1.0) {
            Vector leap{};
            for (std::size_t k = 0; k < leap.size(); ++k) {
                const double r = v1[k] - v0[k];
                leap[k] = v0[k] + (2.0 * alpha * r) + (alpha * alpha * ((v2[k] - v1[k]) - r));
            }
            const State far = unpacked(leap, state.g);
            if (far.is_sound) {
                double there = 0.0;
                const State landed = em_step(sample, far, guards, there);
                if (landed.is_sound && there > at_start) {
                    next = landed;
                }
            }
        }
        state = next;
    }
    return state;
}

/// Components from the sorted sample cut before the ranks `cuts` (ascending, excluding 0 and the end).
State from_cuts(const Sample& sample, const std::vector<std::size_t>& cuts, const Guards& guards) {
    State state{.g = cuts.size() + 1};
    std::size_t from = 0;
    double pooled = 0.0;
    for (std::size_t k = 0; k < state.g; ++k) {
        const std::size_t to = k < cuts.size() ? cuts[k] : sample.x.size();
        double n = 0.0;
        double sum = 0.0;
        double squares = 0.0;
        for (std::size_t i = from; i < to; ++i) {
            n += sample.count[i];
            sum += sample.count[i] * sample.x[i];
        }
        state.mean[k] = n > 0.0 ? sum / n : 0.0;
        for (std::size_t i = from; i < to; ++i) {
            squares += sample.count[i] * (sample.x[i] - state.mean[k]) * (sample.x[i] - state.mean[k]);
        }
        state.weight[k] = std::max(n, 0.5) / sample.total;
        state.sd[k] = std::max(std::sqrt(squares / std::max(n, 1.0)), 2.0 * guards.least_sd);
        pooled += squares;
        from = to;
    }
    if (guards.spreads == Spreads::equal) {
        state.sd.fill(std::max(std::sqrt(pooled / sample.total), 2.0 * guards.least_sd));
    }
    return state;
}

State start_number(const Sample& sample, std::size_t g, std::size_t number, const Guards& guards,
                   Random& random) {
    const std::size_t n = sample.x.size();
    std::vector<std::size_t> cuts;
    if (number == 0) { // bands of equal counts
        for (std::size_t k = 1; k < g; ++k) {
            cuts.push_back(k * n / g);
        }
        return from_cuts(sample, cuts, guards);
    }
    if (number % 2 == 1) { // cut anywhere
        while (cuts.size() + 1 < g) {
            cuts.push_back(1 + random.below(n - 1));
        }
        std::sort(cuts.begin(), cuts.end());
        return from_cuts(sample, cuts, guards);
    }
    State state{.g = g}; // centred on values, of one width
    const double width = std::max(std::exp(-2.5 * random.uniform()), 2.0 * guards.least_sd);
    for (std::size_t k = 0; k < g; ++k) {
        state.weight[k] = 1.0 / static_cast<double>(g);
        state.mean[k] = sample.x[random.below(n)];
        state.sd[k] = width;
    }
    return state;
}

Sample thinned(const Sample& whole, std::size_t bins) {
    if (whole.x.size() <= bins + (bins / 2)) {
        return whole;
    }
    Sample out{.total = whole.total};
    const std::size_t n = whole.x.size();
    for (std::size_t b = 0; b < bins; ++b) {
        double sum = 0.0;
        double count = 0.0;
        for (std::size_t i = b * n / bins; i < (b + 1) * n / bins; ++i) {
            sum += whole.count[i] * whole.x[i];
            count += whole.count[i];
        }
        out.x.push_back(sum / count);
        out.count.push_back(count);
    }
    return out;
}

struct Scaled {
    Sample sample;
    double mean = 0.0;
    double sd = 0.0;
};

Expected<Scaled> scaled(std::span<const double> values) {
    Scaled out;
    const auto n = static_cast<double>(values.size());
    for (const double v : values) {
        if (!std::isfinite(v)) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = "a missing or infinite value",
                         .expected = "finite values only"});
        }
        out.mean += v / n;
    }
    double squares = 0.0;
    for (const double v : values) {
        squares += (v - out.mean) * (v - out.mean);
    }
    out.sd = std::sqrt(squares / n);
    if (!(out.sd > 1e-12 * std::abs(out.mean))) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} values, all equal", values.size()),
                     .expected = "values that differ"});
    }
    std::vector<double> sorted(values.begin(), values.end());
    std::sort(sorted.begin(), sorted.end());
    for (const double v : sorted) {
        const double z = (v - out.mean) / out.sd;
        if (!out.sample.x.empty() && out.sample.x.back() == z) {
            out.sample.count.back() += 1.0; // ties
        } else {
            out.sample.x.push_back(z);
            out.sample.count.push_back(1.0);
        }
    }
    out.sample.total = n;
    return out;
}

NormalMixture finished(const State& state, const Scaled& data, Spreads spreads) {
    NormalMixture out{.spreads = spreads};
    for (std::size_t k = 0; k < state.g; ++k) {
        out.components.push_back({.weight = state.weight[k],
                                  .mean = data.mean + (data.sd * state.mean[k]),
                                  .sd = data.sd * state.sd[k]});
    }
    std::sort(out.components.begin(), out.components.end(),
              [](const NormalComponent& a, const NormalComponent& b) { return a.mean < b.mean; });
    const double n = data.sample.total;
    out.log_likelihood = state.log_likelihood - (n * std::log(data.sd));
    out.parameters = (2 * state.g) - 1 + (spreads == Spreads::unequal ? state.g : 1);
    out.bic = (-2.0 * out.log_likelihood) + (static_cast<double>(out.parameters) * std::log(n));
    return out;
}

bool is_better(const State& a, const State& b) {
    if (a.is_sound != b.is_sound) {
        return a.is_sound;
    }
    return a.log_likelihood > b.log_likelihood;
}

/// Replaces the states (best first) by those among them that differ in likelihood, at most `most`, each
/// polished.
void polish_distinct(const Sample& sample, const Guards& guards, std::size_t most,
                     std::vector<State>& states) {
    std::vector<State> done;
    std::vector<double> seen;
    for (const auto& state : states) {
        const bool is_repeat = std::any_of(seen.begin(), seen.end(), [&](double v) {
            return std::abs(v - state.log_likelihood) < 1e-7 * std::abs(v);
        });
        if (!state.is_sound || is_repeat) {
            continue;
        }
        seen.push_back(state.log_likelihood);
        done.push_back(polished(sample, state, guards, Polish::coarse));
        if (done.size() >= most) {
            break;
        }
    }
    if (done.empty()) {
        done.push_back(State{.g = states.front().g, .is_sound = false});
    }
    states = std::move(done);
}

/// Many short runs, the better half a little longer, the best few polished.
State best_of_starts(const Sample& whole, std::size_t g, const Guards& guards,
                     const MixtureOptions& options) {
    const Sample coarse = thinned(whole, 250);
    std::vector<State> states;
    Random random(options.seed, g);
    for (std::size_t i = 0; i < std::max<std::size_t>(1, options.starts); ++i) {
        const State start = start_number(coarse, g, i, guards, random);
        states.push_back(run_em(coarse, start, guards, 12));
    }
    const auto keep = [&](std::size_t count) {
        std::sort(states.begin(), states.end(), is_better);
        states.resize(std::min(states.size(), count));
    };
    keep(std::max<std::size_t>(30, states.size() / 4));
    for (auto& state : states) {
        if (state.is_sound) {
            state = run_em(coarse, state, guards, 40);
        }
    }
    keep(24);
    polish_distinct(coarse, guards, 8, states);
    keep(3);
    polish_distinct(whole, guards, 3, states);
    keep(1);
    State best = states.front();
    return best.is_sound ? polished(whole, best, guards, Polish::fine) : best;
}

} // namespace

std::size_t NormalMixture::component_of(double value) const {
    std::size_t best = 0;
    double highest = -std::numeric_limits<double>::infinity();
    for (std::size_t k = 0; k < components.size(); ++k) {
        const double z = (value - components[k].mean) / components[k].sd;
        const double here = std::log(components[k].weight / components[k].sd) - (0.5 * z * z);
        if (here > highest) {
            highest = here;
            best = k;
        }
    }
    return best;
}

Expected<NormalMixture> fit_mixture(std::span<const double> values, std::size_t g, Spreads spreads,
                                    const MixtureOptions& options) {
    if (g < 1 || g > most_components || values.size() < 3 * g) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values for {} components", values.size(), g),
                     .expected = "one to four components, and three values for each"});
    }
    const auto data = scaled(values);
    if (!data) {
        return fail(data.error());
    }
    const auto n = static_cast<double>(values.size());
    const Guards guards{.spreads = spreads,
                        .least_sd = options.least_sd_share,
                        .least_weight = g == 1 ? 0.0 : std::max(options.least_weight, 2.0 / n)};
    const State best = best_of_starts(data->sample, g, guards, options);
    if (!best.is_sound) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format(
                         "all {} starts of {} components collapsed onto a value or emptied a component",
                         options.starts, g),
                     .expected = fmt::format(
                         "components wider than {} of the sample's standard deviation, each with at "
                         "least two values",
                         options.least_sd_share),
                     .remedy = "ask for fewer components"});
    }
    return finished(best, *data, spreads);
}

Expected<MixtureChoice> choose_mixture(std::span<const double> values, std::size_t most,
                                       const MixtureOptions& options) {
    MixtureChoice out;
    Error last;
    for (std::size_t g = 1; g <= std::min(most, most_components); ++g) {
        for (const auto spreads : {Spreads::unequal, Spreads::equal}) {
            if (g == 1 && spreads == Spreads::equal) {
                continue;
            }
            auto one = fit_mixture(values, g, spreads, options);
            if (one) {
                out.all.push_back(*std::move(one));
            } else if (out.all.empty()) {
                last = std::move(one).error();
            }
        }
    }
    if (out.all.empty()) {
        return fail(std::move(last));
    }
    std::vector<double> bics;
    for (const auto& one : out.all) {
        if (bics.empty() || one.bic < *std::min_element(bics.begin(), bics.end())) {
            out.best = one;
        }
        bics.push_back(one.bic);
    }
    std::sort(bics.begin(), bics.end());
    out.bic_gap = bics.size() > 1 ? bics[1] - bics[0] : 0.0;
    return out;
}

std::optional<LowestNormal> lowest_normal(const NormalMixture& mixture, std::span<const double> values,
                                          double least_share) {
    for (std::size_t k = 0; k < mixture.components.size(); ++k) {
        const auto& component = mixture.components[k];
        if (component.weight < least_share) {
            continue;
        }
        std::vector<double> members;
        for (const double v : values) {
            if (mixture.component_of(v) == k) {
                members.push_back(v);
            }
        }
        if (members.size() < 2) {
            return std::nullopt;
        }
        const auto n = static_cast<double>(members.size());
        double mean = 0.0;
        for (const double v : members) {
            mean += v / n;
        }
        double squares = 0.0;
        for (const double v : members) {
            squares += (v - mean) * (v - mean);
        }
        return LowestNormal{.mean = component.mean,
                            .sd = component.sd,
                            .weight = component.weight,
                            .values = members.size(),
                            .cv_percent = 100.0 * std::sqrt(squares / (n - 1.0)) / mean};
    }
    return std::nullopt;
}

} // namespace backeddy::fit
