#include "fit/decay.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "fit/nonlinear.hpp"

namespace backeddy::fit {

namespace {

/// Row k of Decay's covariance: where a phase's amplitude and rate stand.
std::size_t first_of_phase(const Decay& decay, std::size_t phase) {
    return (2 * phase) + (decay.is_baseline_fitted ? 1 : 0);
}

double error_of(const Decay& decay, std::size_t k) {
    return std::sqrt(std::max(0.0, decay.covariance[(k * decay.parameters()) + k]));
}

/// First-order error of something with these derivatives by the parameters.
double propagated(const Decay& decay, const std::vector<double>& slopes) {
    const std::size_t p = slopes.size();
    double variance = 0.0;
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j < p; ++j) {
            variance += slopes[i] * slopes[j] * decay.covariance[(i * p) + j];
        }
    }
    return std::sqrt(std::max(0.0, variance));
}

std::vector<double> slopes_at(const Decay& decay, double t) {
    std::vector<double> slopes(decay.parameters(), 0.0);
    if (decay.is_baseline_fitted) {
        slopes[0] = 1.0;
    }
    for (std::size_t i = 0; i < decay.phases.size(); ++i) {
        const double left = std::exp(-decay.phases[i].rate * t);
        slopes[first_of_phase(decay, i)] = left;
        slopes[first_of_phase(decay, i) + 1] = -decay.phases[i].amplitude * t * left;
    }
    return slopes;
}

struct Data {
    std::span<const double> t;
    std::span<const double> y;
    std::vector<double> root_weight;
    const DecayOptions& options;

    [[nodiscard]] std::size_t linear_terms() const { return options.phases + (options.baseline ? 0 : 1); }
};

struct Start {
    std::vector<double> rates;
    Eigen::VectorXd linear; ///< baseline (if fitted), then amplitudes
    double squares = std::numeric_limits<double>::infinity();
};

/// For given rates the rest is linear.
Start solved_at(const Data& data, std::vector<double> rates) {
    const auto n = static_cast<Eigen::Index>(data.t.size());
    Eigen::MatrixXd x(n, static_cast<Eigen::Index>(data.linear_terms()));
    Eigen::VectorXd y(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        const auto row = static_cast<std::size_t>(i);
        const double w = data.root_weight[row];
        Eigen::Index column = 0;
        if (!data.options.baseline) {
            x(i, column++) = w;
        }
        for (const double rate : rates) {
            x(i, column++) = w * std::exp(-rate * data.t[row]);
        }
        y[i] = w * (data.y[row] - data.options.baseline.value_or(0.0));
    }
    Start out{.rates = std::move(rates), .linear = x.colPivHouseholderQr().solve(y)};
    const double squares = (y - (x * out.linear)).squaredNorm();
    const auto amplitudes = out.linear.tail(static_cast<Eigen::Index>(data.options.phases));
    const bool is_allowed = data.options.amplitudes == Amplitudes::any || amplitudes.minCoeff() > 0.0;
    // An amplitude of the wrong sign is a start of last resort.
    out.squares = is_allowed ? squares : 1e6 * squares + 1e-300;
    return out;
}

struct RateRange {
    double least = 0.0;
    double greatest = 0.0;
};

RateRange rate_range(std::span<const double> t) {
    std::vector<double> sorted(t.begin(), t.end());
    std::sort(sorted.begin(), sorted.end());
    const double span = sorted.back() - sorted.front();
    double shortest = span;
    for (std::size_t i = 1; i < sorted.size(); ++i) {
        const double gap = sorted[i] - sorted[i - 1];
        shortest = gap > 0.0 ? std::min(shortest, gap) : shortest;
    }
    return {.least = 0.01 / span, .greatest = 100.0 / shortest};
}

Start best_start(const Data& data, const RateRange& range) {
    constexpr int steps = 16;
    std::vector<double> grid;
    const double from = std::log(10.0 * range.least);
    const double to = std::log(0.05 * range.greatest);
    for (int k = 0; k < steps; ++k) {
        grid.push_back(std::exp(from + ((to - from) * k / (steps - 1))));
    }
    Start best;
    const auto keep = [&](Start here) {
        if (here.squares < best.squares) {
            best = std::move(here);
        }
    };
    for (std::size_t i = 0; i < grid.size(); ++i) {
        if (data.options.phases == 1) {
            keep(solved_at(data, {grid[i]}));
            continue;
        }
        for (std::size_t j = 0; j < i; ++j) {
            keep(solved_at(data, {grid[i], grid[j]}));
        }
    }
    return best;
}

/// Parameters for the descent: baseline (if fitted), then amplitude and log rate of each phase.
NonlinearProblem problem_of(const Data& data, const RateRange& range, const Start& start) {
    const double infinity = std::numeric_limits<double>::infinity();
    const bool has_baseline = !data.options.baseline;
    NonlinearProblem problem{.residuals = data.t.size()};
    Eigen::Index column = 0;
    if (has_baseline) {
        problem.start.push_back(start.linear[column++]);
        problem.lower.push_back(-infinity);
        problem.upper.push_back(infinity);
    }
    for (const double rate : start.rates) {
        const double amplitude = start.linear[column++];
        const bool is_positive = data.options.amplitudes == Amplitudes::positive;
        problem.start.push_back(is_positive ? std::max(amplitude, 0.0) : amplitude);
        problem.lower.push_back(is_positive ? 0.0 : -infinity);
        problem.upper.push_back(infinity);
        problem.start.push_back(std::log(rate));
        problem.lower.push_back(std::log(range.least));
        problem.upper.push_back(std::log(range.greatest));
    }
    problem.write_residuals = [&data, has_baseline](std::span<const double> p, std::span<double> r) {
        const std::size_t first = has_baseline ? 1 : 0;
        const double baseline = has_baseline ? p[0] : *data.options.baseline;
        for (std::size_t i = 0; i < data.t.size(); ++i) {
            double curve = baseline;
            for (std::size_t k = first; k < p.size(); k += 2) {
                curve += p[k] * std::exp(-std::exp(p[k + 1]) * data.t[i]);
            }
            r[i] = data.root_weight[i] * (data.y[i] - curve);
        }
    };
    problem.write_jacobian = [&data, has_baseline](std::span<const double> p, std::span<double> j) {
        const std::size_t n = data.t.size();
        const std::size_t first = has_baseline ? 1 : 0;
        for (std::size_t i = 0; i < n; ++i) {
            const double w = data.root_weight[i];
            if (has_baseline) {
                j[i] = -w;
            }
            for (std::size_t k = first; k < p.size(); k += 2) {
                const double rate = std::exp(p[k + 1]);
                const double left = std::exp(-rate * data.t[i]);
                j[(k * n) + i] = -w * left;
                j[((k + 1) * n) + i] = w * p[k] * rate * data.t[i] * left;
            }
        }
    };
    return problem;
}

Decay finished(const Data& data, const NonlinearFit& fit) {
    Decay out{.baseline = data.options.baseline ? *data.options.baseline : fit.parameters[0],
              .is_baseline_fitted = !data.options.baseline,
              .residual_squares = fit.residual_squares,
              .residual_sd = fit.residual_sd,
              .n = data.t.size(),
              .freedom = fit.freedom};
    const std::size_t p = fit.parameters.size();
    const std::size_t first = out.is_baseline_fitted ? 1 : 0;
    // Fastest first; rates instead of their logarithms, errors along by the chain rule.
    std::vector<std::size_t> from(p);
    std::vector<double> factor(p, 1.0);
    std::vector<std::size_t> order;
    for (std::size_t k = first; k < p; k += 2) {
        order.push_back(k);
    }
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return fit.parameters[a + 1] > fit.parameters[b + 1]; });
    std::size_t place = first;
    for (const std::size_t k : order) {
        const double rate = std::exp(fit.parameters[k + 1]);
        out.phases.push_back({.amplitude = fit.parameters[k], .rate = rate});
        from[place] = k;
        from[place + 1] = k + 1;
        factor[place + 1] = rate;
        place += 2;
    }
    out.covariance.resize(p * p);
    for (std::size_t a = 0; a < p; ++a) {
        for (std::size_t b = 0; b < p; ++b) {
            out.covariance[(a * p) + b] = factor[a] * factor[b] * fit.covariance_of(from[a], from[b]);
        }
    }
    const auto n = static_cast<double>(out.n);
    double log_weights = 0.0;
    for (const double root : data.root_weight) {
        log_weights += std::log(root);
    }
    out.log_likelihood =
        (-0.5 * n * (std::log(2.0 * std::numbers::pi * out.residual_squares / n) + 1.0)) + log_weights;
    const auto k = static_cast<double>(p + 1);
    out.aicc = n > k + 1.0 ? (-2.0 * out.log_likelihood) + (2.0 * k) + (2.0 * k * (k + 1.0) / (n - k - 1.0))
                           : std::numeric_limits<double>::infinity();
    return out;
}

Expected<void> check(std::span<const double> t, std::span<const double> y, const DecayOptions& options) {
    const auto is_finite = [](std::span<const double> values) {
        return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
    };
    const bool has_weights = !options.weights.empty();
    if (t.size() != y.size() || options.phases < 1 || options.phases > 2 ||
        (has_weights && options.weights.size() != t.size()) ||
        (!options.start_rates.empty() && options.start_rates.size() != options.phases) || !is_finite(t) ||
        !is_finite(y) || !is_finite(options.weights) || !is_finite(options.start_rates) ||
        !std::all_of(options.start_rates.begin(), options.start_rates.end(),
                     [](double rate) { return rate > 0.0; }) ||
        !std::all_of(options.weights.begin(), options.weights.end(), [](double w) { return w > 0.0; })) {
        return fail(
            {.code = ErrorCode::out_of_range,
             .found = fmt::format("{} times, {} values, {} weights, {} phases", t.size(), y.size(),
                                  options.weights.size(), options.phases),
             .expected = "equal numbers of finite values, weights above 0 or none, one or two phases"});
    }
    const std::size_t parameters = (2 * options.phases) + (options.baseline ? 0 : 1);
    if (t.size() <= parameters) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values for a decay of {} parameters", t.size(), parameters),
                     .expected = "more values than parameters"});
    }
    const auto [least, greatest] = std::minmax_element(t.begin(), t.end());
    if (*least == *greatest) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "all values at one time",
                     .expected = "values at different times"});
    }
    return {};
}

} // namespace

double Decay::at(double t) const {
    double sum = baseline;
    for (const auto& phase : phases) {
        sum += phase.amplitude * std::exp(-phase.rate * t);
    }
    return sum;
}

double Decay::baseline_se() const {
    return is_baseline_fitted ? error_of(*this, 0) : 0.0;
}
double Decay::amplitude_se(std::size_t phase) const {
    return error_of(*this, first_of_phase(*this, phase));
}
double Decay::rate_se(std::size_t phase) const {
    return error_of(*this, first_of_phase(*this, phase) + 1);
}

Expected<Decay> fit_decay(std::span<const double> t, std::span<const double> y, const DecayOptions& options) {
    if (auto fine = check(t, y, options); !fine) {
        return fail(std::move(fine).error());
    }
    Data data{.t = t, .y = y, .root_weight = std::vector<double>(t.size(), 1.0), .options = options};
    for (std::size_t i = 0; i < options.weights.size(); ++i) {
        data.root_weight[i] = std::sqrt(options.weights[i]);
    }
    const RateRange range = rate_range(t);
    const Start start =
        options.start_rates.empty() ? best_start(data, range) : solved_at(data, options.start_rates);
    const auto fit = fit_nonlinear(problem_of(data, range, start));
    if (!fit) {
        return fail(fit.error());
    }
    return finished(data, *fit);
}

Expected<DecayChoice> choose_decay(std::span<const double> t, std::span<const double> y,
                                   const DecayOptions& options) {
    DecayOptions of_one = options;
    of_one.phases = 1;
    DecayOptions of_two = options;
    of_two.phases = 2;
    auto one = fit_decay(t, y, of_one);
    auto two = fit_decay(t, y, of_two);
    if (!one && !two) {
        return fail(std::move(one).error());
    }
    DecayChoice out;
    if (one) {
        out.one = *one;
        out.best = *one;
    }
    if (two) {
        out.two = *two;
        if (!one || two->aicc < one->aicc) {
            out.best = *two;
        }
    }
    if (one && two) {
        out.aicc_gain = one->aicc - two->aicc;
    }
    return out;
}

WithError value_at(const Decay& decay, double t) {
    return {.value = decay.at(t), .se = propagated(decay, slopes_at(decay, t))};
}

WithError excess_area(const Decay& decay, double from, double to) {
    double area = 0.0;
    std::vector<double> slopes(decay.parameters(), 0.0);
    for (std::size_t i = 0; i < decay.phases.size(); ++i) {
        const auto [amplitude, rate] = decay.phases[i];
        const double left = std::exp(-rate * from);
        const double fallen = -left * std::expm1(-rate * (to - from)); // e^-k from - e^-k to
        area += amplitude * fallen / rate;
        slopes[first_of_phase(decay, i)] = fallen / rate;
        const double by_rate = (-from * left) + (to * std::exp(-rate * to)); // of `fallen`
        slopes[first_of_phase(decay, i) + 1] = amplitude * ((by_rate / rate) - (fallen / (rate * rate)));
    }
    return {.value = area, .se = propagated(decay, slopes)};
}

WithError excess_area(const Decay& decay) {
    double area = 0.0;
    std::vector<double> slopes(decay.parameters(), 0.0);
    for (std::size_t i = 0; i < decay.phases.size(); ++i) {
        const auto [amplitude, rate] = decay.phases[i];
        area += amplitude / rate;
        slopes[first_of_phase(decay, i)] = 1.0 / rate;
        slopes[first_of_phase(decay, i) + 1] = -amplitude / (rate * rate);
    }
    return {.value = area, .se = propagated(decay, slopes)};
}

std::optional<WithError> time_to_level(const Decay& decay, double level) {
    const double excess = level - decay.baseline;
    if (!(excess > 0.0)) {
        return std::nullopt;
    }
    // Beyond `late` the phases together, whatever their signs, are below the level.
    double total = 0.0;
    double slowest = std::numeric_limits<double>::infinity();
    for (const auto& phase : decay.phases) {
        total += std::abs(phase.amplitude);
        slowest = std::min(slowest, phase.rate);
    }
    if (total <= excess) {
        return std::nullopt;
    }
    const double late = std::log(total / excess) / slowest;
    constexpr int steps = 2000; // two exponentials cross a level at most twice: none is missed by far
    double above = -1.0;
    double below = late;
    for (int k = steps; k >= 0; --k) {
        const double t = late * k / steps;
        if (decay.at(t) > level) {
            above = t;
            break;
        }
        below = t;
    }
    if (above < 0.0) {
        return std::nullopt;
    }
    for (int k = 0; k < 200 && below - above > 1e-15 * late; ++k) {
        const double middle = 0.5 * (above + below);
        (decay.at(middle) > level ? above : below) = middle;
    }
    const double t = 0.5 * (above + below);
    double fall = 0.0;
    for (const auto& phase : decay.phases) {
        fall += phase.amplitude * phase.rate * std::exp(-phase.rate * t);
    }
    return WithError{.value = t, .se = propagated(decay, slopes_at(decay, t)) / std::abs(fall)};
}

} // namespace backeddy::fit
