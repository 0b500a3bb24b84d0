#include "stats/linear.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

namespace backeddy::stats {

namespace {

double weight_of(const LinearOptions& options, std::size_t i) {
    return options.weights.empty() ? 1.0 : options.weights[i];
}

/// 1 - residual / total sum of squares, the latter about the weighted mean or about zero.
double share_explained(std::span<const double> y, const LinearOptions& options, Intercept intercept,
                       double residual_squares) {
    double weights = 0.0;
    double sum = 0.0;
    for (std::size_t i = 0; i < y.size(); ++i) {
        weights += weight_of(options, i);
        sum += weight_of(options, i) * y[i];
    }
    const double mean = intercept == Intercept::fitted ? sum / weights : 0.0;
    double total = 0.0;
    for (std::size_t i = 0; i < y.size(); ++i) {
        total += weight_of(options, i) * (y[i] - mean) * (y[i] - mean);
    }
    return total > 0.0 ? std::clamp(1.0 - (residual_squares / total), 0.0, 1.0) : 0.0;
}

} // namespace

std::vector<double> LinearFit::values() const {
    std::vector<double> out;
    for (const auto& one : coefficients) {
        out.push_back(one.value);
    }
    return out;
}

Expected<LinearFit> fit_linear(const Design& design, std::span<const double> outcome,
                               const LinearOptions& options) {
    if (outcome.size() == design.rows() && design.rows() <= design.columns()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} rows for {} coefficients", design.rows(), design.columns()),
                     .expected = "more rows than coefficients: errors are judged by what is left over",
                     .remedy = "a smaller model, or more rows"});
    }
    if (!outcome.empty() &&
        std::all_of(outcome.begin(), outcome.end(), [&](double v) { return v == outcome.front(); })) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("the outcome is {} in every row", outcome.front()),
                     .expected = "an outcome that varies: nothing is left to explain"});
    }
    std::vector<std::span<const double>> columns;
    for (std::size_t k = 0; k < design.columns(); ++k) {
        columns.push_back(design.column(k));
    }
    auto fitted =
        fit::fit_regression(outcome, columns, {.intercept = Intercept::none, .weights = options.weights});
    if (!fitted) {
        return fail(std::move(fitted).error());
    }
    LinearFit out{.design = design,
                  .covariance = fitted->covariance,
                  .n = fitted->n,
                  .freedom = static_cast<double>(fitted->freedom),
                  .residual_sd = fitted->residual_sd,
                  .r_squared =
                      share_explained(outcome, options, design.made_of().intercept, fitted->residual_squares),
                  .residuals = fitted->residuals,
                  .weights = {options.weights.begin(), options.weights.end()},
                  .level = options.level};
    for (std::size_t k = 0; k < design.columns(); ++k) {
        out.coefficients.push_back(make_estimate(design.names()[k], fitted->coefficients[k], fitted->se[k],
                                                 out.freedom, options.level));
    }
    const auto n = static_cast<double>(out.n);
    double log_weights = 0.0;
    const double variance = fitted->residual_sd * fitted->residual_sd;
    std::vector<double> row(design.columns());
    for (std::size_t i = 0; i < out.n; ++i) {
        log_weights += std::log(weight_of(options, i));
        out.fitted.push_back(outcome[i] - out.residuals[i]);
        for (std::size_t k = 0; k < row.size(); ++k) {
            row[k] = design.column(k)[i];
        }
        if (variance > 0.0) {
            out.leverage.push_back(weight_of(options, i) *
                                   combine(row, fitted->coefficients, out.covariance).variance / variance);
        }
    }
    out.log_likelihood =
        0.5 * (log_weights - (n * (std::log(2.0 * std::numbers::pi * fitted->residual_squares / n) + 1.0)));
    out.aic = (-2.0 * out.log_likelihood) + (2.0 * (static_cast<double>(design.columns()) + 1.0));
    return out;
}

Estimate contrast(const LinearFit& fit, std::string name, std::span<const double> weights) {
    const auto sum = combine(weights, fit.values(), fit.covariance);
    return make_estimate(std::move(name), sum.value, std::sqrt(sum.variance), fit.freedom, fit.level);
}

std::vector<TermTest> term_tests(const LinearFit& fit) {
    std::vector<TermTest> out;
    const auto hypotheses = term_hypotheses(fit.design);
    for (std::size_t t = 0; t < hypotheses.size(); ++t) {
        TermTest test{.term = fit.design.terms()[t],
                      .numerator = static_cast<double>(hypotheses[t].size()),
                      .denominator = fit.freedom,
                      .f = wald_f(hypotheses[t], fit.values(), fit.covariance)};
        test.p = f_upper(test.f, test.numerator, test.denominator);
        out.push_back(std::move(test));
    }
    return out;
}

} // namespace backeddy::stats
