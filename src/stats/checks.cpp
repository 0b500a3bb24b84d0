#include "stats/checks.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/normal.hpp>

#include "fit/line.hpp"

namespace backeddy::stats {

namespace {

namespace bm = boost::math;

void finish(ModelChecks& checks) {
    std::vector<std::string> labels;
    std::vector<double> values;
    std::vector<double> fitted;
    std::vector<double> sizes;
    for (const auto& row : checks.rows) {
        labels.push_back(row.row);
        values.push_back(row.standardised);
        fitted.push_back(row.fitted);
        sizes.push_back(std::abs(row.standardised));
    }
    checks.residuals = normal_quantile_points(values, labels);
    checks.spread.name = "spread against fitted";
    const auto line = fit::fit_line(fitted, sizes);
    if (line && line->n > 2) {
        checks.spread =
            make_estimate(checks.spread.name, line->slope, line->slope_se, static_cast<double>(line->n - 2));
    }
}

void add_group(ModelChecks& checks, const RandomEffect& effect, const std::vector<double>& modes, double sd,
               const std::string& slope_of) {
    if (modes.empty() || !(sd > 0.0)) {
        return;
    }
    std::vector<double> standardised;
    for (const double mode : modes) {
        standardised.push_back(mode / sd);
    }
    checks.groups.push_back({.group = effect.group,
                             .slope_of = slope_of,
                             .levels = normal_quantile_points(standardised, effect.levels)});
}

} // namespace

std::vector<QuantilePoint> normal_quantile_points(std::span<const double> values,
                                                  std::span<const std::string> labels) {
    std::vector<std::size_t> order(values.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
    const auto n = static_cast<double>(values.size());
    const bm::normal normal;
    std::vector<QuantilePoint> out;
    for (std::size_t i = 0; i < order.size(); ++i) {
        const double rank = static_cast<double>(i) + 1.0;
        // The rank-th of n uniform values has a beta distribution.
        const bm::beta_distribution<double> uniform(rank, n + 1.0 - rank);
        out.push_back({.label = labels[order[i]],
                       .normal = bm::quantile(normal, (rank - 0.375) / (n + 0.25)),
                       .value = values[order[i]],
                       .lower = bm::quantile(normal, bm::quantile(uniform, 0.025)),
                       .upper = bm::quantile(normal, bm::quantile(uniform, 0.975))});
    }
    return out;
}

double SerialCorrelation::widening() const {
    return lag_one > 0.0 && lag_one < 1.0 ? std::sqrt((1.0 + lag_one) / (1.0 - lag_one)) : 1.0;
}

std::optional<SerialCorrelation> serial_correlation(std::span<const double> residuals,
                                                    std::span<const std::string> series) {
    std::map<std::string, std::vector<double>> by_series;
    for (std::size_t i = 0; i < residuals.size(); ++i) {
        if (!series[i].empty()) {
            by_series[series[i]].push_back(residuals[i]);
        }
    }
    constexpr std::size_t least_rows = 3;
    constexpr std::size_t least_pairs = 10;
    double products = 0.0;
    double squares = 0.0;
    std::size_t rows = 0;
    SerialCorrelation out;
    for (const auto& [name, own] : by_series) {
        if (own.size() < least_rows) {
            continue;
        }
        for (std::size_t j = 0; j < own.size(); ++j) {
            squares += own[j] * own[j];
            products += j > 0 ? own[j - 1] * own[j] : 0.0;
        }
        rows += own.size();
        out.pairs += own.size() - 1;
    }
    if (out.pairs < least_pairs || !(squares > 0.0)) {
        return std::nullopt;
    }
    const auto pairs = static_cast<double>(out.pairs);
    out.lag_one = (products / pairs) / (squares / static_cast<double>(rows));
    out.bound = 1.96 / std::sqrt(pairs);
    return out;
}

ModelChecks check_model(const LinearFit& fit) {
    ModelChecks out;
    for (std::size_t i = 0; i < fit.n; ++i) {
        const double left = fit.leverage.empty() ? 0.0 : 1.0 - fit.leverage[i];
        const double weight = fit.weights.empty() ? 1.0 : fit.weights[i];
        const double sd = fit.residual_sd * std::sqrt(std::max(0.0, left) / weight);
        // A row that alone decides its fitted value leaves a residual of rounding.
        out.rows.push_back({.row = fit.design.row_labels()[i],
                            .fitted = fit.fitted[i],
                            .standardised = left > 1e-10 ? fit.residuals[i] / sd : 0.0});
    }
    finish(out);
    return out;
}

ModelChecks check_model(const MixedModel& model, const MixedFit& fit) {
    ModelChecks out;
    for (std::size_t i = 0; i < fit.n; ++i) {
        const double sd = std::sqrt(fit.residual_variance[i]);
        out.rows.push_back({.row = model.design().row_labels()[i],
                            .fitted = fit.fitted[i],
                            .standardised = sd > 0.0 ? fit.residuals[i] / sd : 0.0});
    }
    finish(out);
    for (const auto& effect : fit.random) {
        add_group(out, effect, effect.intercepts, effect.intercept_sd, "");
        add_group(out, effect, effect.slopes, effect.slope_sd, effect.slope_of);
    }
    return out;
}

} // namespace backeddy::stats
