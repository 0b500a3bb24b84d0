#include "fit/mixture.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "base/random.hpp"
#include "fit/detail/mixture_em.hpp"

namespace backeddy::fit {

namespace {

using detail::Ending;
using detail::Guards;
using detail::most_components;
using detail::Sample;
using detail::State;

constexpr Ending coarse_ending{.cycles = 100, .patience = 2, .settled = 1e-8};
/// The likelihood is flat where it is highest: parameters settle long after it has.
constexpr Ending fine_ending{.cycles = 2000, .patience = 40, .settled = 1e-18};

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
        out.add(sum / count, count, 0.0);
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
            out.sample.add(z, 1.0, 0.0);
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
        if (const State one = detail::polished(sample, state, guards, coarse_ending); one.is_sound) {
            done.push_back(one);
        }
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
    // Bins are rough already.
    const auto precision =
        coarse.x.size() < whole.x.size() ? detail::Precision::rough : detail::Precision::full;
    std::vector<State> states;
    Random random(options.seed, g);
    const std::size_t starts = g == 1 ? 1 : std::max<std::size_t>(1, options.starts); // one leads everywhere
    for (std::size_t i = 0; i < starts; ++i) {
        const State start = start_number(coarse, g, i, guards, random);
        states.push_back(run_em(coarse, start, guards, 12, precision));
    }
    const auto keep = [&](std::size_t count) {
        std::sort(states.begin(), states.end(), is_better);
        states.resize(std::min(states.size(), count));
    };
    keep(std::max<std::size_t>(30, states.size() / 4));
    for (auto& state : states) {
        if (state.is_sound) {
            state = run_em(coarse, state, guards, 40, precision);
        }
    }
    keep(24);
    polish_distinct(coarse, guards, 8, states);
    std::sort(states.begin(), states.end(), is_better);
    polish_distinct(whole, guards, 3, states);
    // One may still collapse on the last stretch; then the next best stands.
    std::sort(states.begin(), states.end(), is_better);
    for (auto& state : states) {
        if (state.is_sound) {
            state = detail::polished(whole, state, guards, fine_ending);
        }
        if (state.is_sound) {
            return state;
        }
    }
    return states.front();
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
