#include "stats/mixed.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <set>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "stats/detail/deviance.hpp"
#include "stats/detail/minimise.hpp"
#include "stats/detail/mixed_point.hpp"

namespace backeddy::stats {

namespace {

constexpr std::size_t few_levels = 5;
/// Levels that differ so many times more than rows within them: what is left over is rounding.
constexpr double endless_theta = 1e5;

Expected<std::vector<double>> positive_column(const Table& table, const std::string& name) {
    if (auto there = table.require(name); !there) {
        return fail(std::move(there).error());
    }
    if (table.is_factor(name) || table.has_missing(name)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("\"{}\" holds words or has empty cells", name),
                     .expected = "a number in every row"});
    }
    const auto values = table.numbers(name);
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (!(values[i] > 0.0)) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("\"{}\" of {} is {}", name, table.row_labels()[i], values[i]),
                         .expected = "weights and variances above 0"});
        }
    }
    return std::vector<double>(values.begin(), values.end());
}

Expected<Grouping> grouping_of(const Table& table, const RandomTerm& term) {
    for (const auto& name : {term.group, term.slope}) {
        if (name == term.slope && term.kind == RandomKind::intercept) {
            continue;
        }
        if (auto there = table.require(name); !there) {
            return fail(std::move(there).error());
        }
        if (table.has_missing(name) || table.is_factor(name) != (name == term.group)) {
            return fail({.code = ErrorCode::bad_relation,
                         .found = fmt::format("\"{}\" as the {} of a random term", name,
                                              name == term.group ? "group" : "slope"),
                         .expected = name == term.group ? "a factor without empty cells"
                                                        : "a column of numbers without empty cells"});
        }
    }
    const Factor& factor = table.factor(term.group);
    Grouping out{.term = term, .levels = factor.levels, .codes = factor.codes};
    if (out.has_slope()) {
        const auto slope = table.numbers(term.slope);
        out.slope.assign(slope.begin(), slope.end());
        double squares = 0.0;
        for (const double v : slope) {
            squares += v * v;
        }
        out.slope_scale = squares > 0.0 ? std::sqrt(squares / static_cast<double>(slope.size())) : 1.0;
    }
    return out;
}

Expected<void> check_levels(const Grouping& group, std::size_t rows, bool has_known_variance) {
    const auto& name = group.term.group;
    const std::size_t columns =
        group.levels.size() * (group.term.kind == RandomKind::intercept_and_slope ? 2 : 1);
    if (group.levels.size() < 2) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("\"{}\" is \"{}\" in every row", name, group.levels.front()),
                     .expected = "a group of several levels: one says nothing of how levels differ",
                     .remedy = fmt::format("leave \"{}\" out of the model", name)});
    }
    if (columns >= rows && !has_known_variance) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} rows for the {} random effects of \"{}\"", rows, columns, name),
                     .expected =
                         "more rows than random effects: what lies between levels cannot be told from "
                         "what lies within them",
                     .remedy = group.term.kind == RandomKind::intercept_and_slope
                                   ? "leave the random slope out"
                                   : "leave the random term out; or say each value's measurement variance"});
    }
    if (!group.has_slope()) {
        return {};
    }
    std::vector<double> least(group.levels.size(), std::numeric_limits<double>::infinity());
    std::vector<double> greatest(group.levels.size(), -std::numeric_limits<double>::infinity());
    for (std::size_t i = 0; i < rows; ++i) {
        least[group.codes[i]] = std::min(least[group.codes[i]], group.slope[i]);
        greatest[group.codes[i]] = std::max(greatest[group.codes[i]], group.slope[i]);
    }
    if (least == greatest) {
        return fail(
            {.code = ErrorCode::degenerate,
             .found = fmt::format("\"{}\" does not vary inside any level of \"{}\"", group.term.slope, name),
             .expected = "several values within a level: a slope is seen there",
             .remedy = "leave the random slope out"});
    }
    return {};
}

/// Whether two groups part the rows in the same way.
bool part_alike(const Grouping& a, const Grouping& b) {
    std::map<std::size_t, std::size_t> there;
    std::map<std::size_t, std::size_t> back;
    for (std::size_t i = 0; i < a.codes.size(); ++i) {
        if (there.emplace(a.codes[i], b.codes[i]).first->second != b.codes[i] ||
            back.emplace(b.codes[i], a.codes[i]).first->second != a.codes[i]) {
            return false;
        }
    }
    return true;
}

Expected<void> check_pairs(const std::vector<Grouping>& groups) {
    for (std::size_t a = 0; a < groups.size(); ++a) {
        for (std::size_t b = 0; b < a; ++b) {
            const bool share_intercept = groups[a].has_intercept() && groups[b].has_intercept();
            const bool share_slope = groups[a].has_slope() && groups[b].has_slope() &&
                                     groups[a].term.slope == groups[b].term.slope;
            if ((share_intercept || share_slope) && part_alike(groups[a], groups[b])) {
                return fail({.code = ErrorCode::duplicate,
                             .found = fmt::format("the groups \"{}\" and \"{}\" part the rows alike",
                                                  groups[b].term.group, groups[a].term.group),
                             .expected = "groups whose effects the rows can tell apart",
                             .remedy = fmt::format("leave \"{}\" out", groups[a].term.group)});
            }
        }
    }
    return {};
}

/// A group whose columns are sums of the fixed ones has no effect left to see.
Expected<void> check_beside_fixed(const Design& design, const std::vector<Grouping>& groups) {
    const auto n = static_cast<Eigen::Index>(design.rows());
    Eigen::MatrixXd x(n, static_cast<Eigen::Index>(design.columns()));
    for (std::size_t k = 0; k < design.columns(); ++k) {
        const auto column = design.column(k);
        std::copy(column.begin(), column.end(), x.col(static_cast<Eigen::Index>(k)).data());
    }
    const Eigen::MatrixXd basis =
        Eigen::HouseholderQR<Eigen::MatrixXd>(x).householderQ() * Eigen::MatrixXd::Identity(n, x.cols());
    for (const auto& group : groups) {
        Eigen::MatrixXd sums =
            Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(group.levels.size()), x.cols());
        double total = 0.0;
        for (Eigen::Index i = 0; i < n; ++i) {
            const auto row = static_cast<std::size_t>(i);
            const double load = group.has_intercept() ? 1.0 : group.slope[row];
            sums.row(static_cast<Eigen::Index>(group.codes[row])) += load * basis.row(i);
            total += load * load;
        }
        if (total - sums.squaredNorm() < 1e-9 * total) {
            return fail({.code = ErrorCode::degenerate,
                         .found = fmt::format("the fixed terms tell the levels of \"{}\" apart already",
                                              group.term.group),
                         .expected = "a group that differs within what the fixed terms explain",
                         .remedy = fmt::format("leave \"{}\" out of the fixed or of the random terms",
                                               group.term.group)});
        }
    }
    return {};
}

std::string effect_of(const RandomTerm& term) {
    return term.kind == RandomKind::intercept
               ? fmt::format("\"{}\"", term.group)
               : fmt::format("\"{}\" (slope of \"{}\")", term.group, term.slope);
}

} // namespace

Expected<MixedModel> MixedModel::make(const Table& table, const MixedTerms& terms) {
    if (auto fine = check_outcome(table, terms.outcome); !fine) {
        return fail(std::move(fine).error());
    }
    auto design = make_design(table, terms.fixed);
    if (!design) {
        return fail(std::move(design).error());
    }
    if (terms.random.empty() || table.rows() < design->columns() + 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = terms.random.empty() ? std::string("no random term")
                                                   : fmt::format("{} rows for {} coefficients", table.rows(),
                                                                 design->columns()),
                     .expected = terms.random.empty() ? "at least one; without any, a linear model"
                                                      : "at least two rows more than coefficients"});
    }
    if (!terms.weights.empty() && !terms.known_variance.empty()) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("weights (\"{}\") and a known variance (\"{}\")", terms.weights,
                                          terms.known_variance),
                     .expected = "one of them"});
    }
    Parts parts{.terms = terms, .design = *std::move(design)};
    for (const auto& [name, column] : {std::pair{&terms.weights, &parts.weights},
                                       std::pair{&terms.known_variance, &parts.known_variance}}) {
        if (!name->empty()) {
            auto values = positive_column(table, *name);
            if (!values) {
                return fail(std::move(values).error());
            }
            *column = *std::move(values);
        }
    }
    for (const auto& term : terms.random) {
        auto group = grouping_of(table, term);
        if (!group) {
            return fail(std::move(group).error());
        }
        if (auto fine = check_levels(*group, table.rows(), !parts.known_variance.empty()); !fine) {
            return fail(std::move(fine).error());
        }
        if (group->levels.size() < few_levels) {
            parts.remarks.push_back(
                {.about = Remark::About::few_levels,
                 .text = fmt::format("\"{}\" has {} levels: how much levels differ is hardly known from so "
                                     "few; make it a fixed term, or read its variance with care",
                                     term.group, group->levels.size())});
        }
        parts.groups.push_back(*std::move(group));
    }
    if (auto fine = check_pairs(parts.groups); !fine) {
        return fail(std::move(fine).error());
    }
    if (auto fine = check_beside_fixed(parts.design, parts.groups); !fine) {
        return fail(std::move(fine).error());
    }
    MixedModel out;
    const auto outcome = table.numbers(terms.outcome);
    out.outcome_.assign(outcome.begin(), outcome.end());
    out.parts_ = std::make_shared<const Parts>(std::move(parts));
    return out;
}

MixedModel MixedModel::with_outcome(std::vector<double> outcome) const {
    MixedModel out = *this;
    out.outcome_ = std::move(outcome);
    return out;
}

std::vector<double> MixedFit::values() const {
    std::vector<double> out;
    for (const auto& one : coefficients) {
        out.push_back(one.value);
    }
    return out;
}

namespace {

RandomEffect effect_at(const Grouping& group, std::span<const double> theta, double scale,
                       const std::vector<double>& modes) {
    RandomEffect out{.group = group.term.group,
                     .slope_of = group.has_slope() ? group.term.slope : "",
                     .levels = group.levels};
    const double per_slope = 1.0 / group.slope_scale;
    const auto levels = static_cast<std::ptrdiff_t>(group.levels.size());
    if (group.has_intercept()) {
        out.intercepts.assign(modes.begin(), modes.begin() + levels);
        out.intercept_sd = scale * theta[0];
        out.theta = {theta[0]};
    }
    if (group.has_slope()) {
        out.slopes.assign(modes.end() - levels, modes.end());
        for (auto& slope : out.slopes) {
            slope *= per_slope;
        }
    }
    if (group.term.kind == RandomKind::slope) {
        out.slope_sd = scale * theta[0] * per_slope;
        out.theta = {theta[0] * per_slope};
    } else if (group.has_slope()) {
        const double length = std::hypot(theta[1], theta[2]);
        out.slope_sd = scale * length * per_slope;
        out.correlation = theta[0] > 0.0 && length > 0.0 ? theta[1] / length : 0.0;
        out.theta = {theta[0], theta[1] * per_slope, theta[2] * per_slope};
    }
    return out;
}

void say_what_is_singular(const MixedModel& model, MixedFit& fit) {
    for (std::size_t g = 0; g < fit.random.size(); ++g) {
        const auto& effect = fit.random[g];
        const auto& term = model.groups()[g].term;
        const bool is_flat = (model.groups()[g].has_intercept() && effect.intercept_sd == 0.0) ||
                             (model.groups()[g].has_slope() && effect.slope_sd == 0.0);
        if (is_flat) {
            fit.is_singular = true;
            fit.remarks.push_back(
                {.about = Remark::About::no_variance,
                 .text = fmt::format("the variance between levels of {} is estimated as 0: they differ no "
                                     "more than chance within them would make them. The rows are then taken "
                                     "as if they did not share it; a small variance cannot be ruled out",
                                     effect_of(term))});
        } else if (effect.theta.size() == 3 && effect.theta[2] == 0.0) {
            fit.is_singular = true;
            fit.remarks.push_back(
                {.about = Remark::About::full_correlation,
                 .text = fmt::format("intercept and slope of {} are estimated as fully correlated ({:+d}): "
                                     "the rows do not tell them apart; try without the random slope",
                                     effect_of(term), effect.correlation > 0.0 ? 1 : -1)});
        }
    }
}

} // namespace

Expected<MixedFit> fit_mixed(const MixedModel& model, Criterion criterion, double level) {
    const detail::MixedCriterion at(model, criterion);
    auto best = at.minimise();
    if (!best) {
        return fail(std::move(best).error());
    }
    const auto point = at.point(best->at);
    const auto n = static_cast<double>(model.outcome().size());
    if (model.known_variance().empty() &&
        std::any_of(point.theta.begin(), point.theta.end(), [](double t) { return t > endless_theta; })) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "rows of one level are all that the model says they are: nothing is left over",
                     .expected = "rows that differ by more than their groups and fixed terms",
                     .remedy = "a smaller model; or were values copied from row to row?"});
    }
    const double scale = std::sqrt(point.variance);
    MixedFit out{.criterion = criterion,
                 .residual_sd = point.residual_sd,
                 .log_likelihood = -0.5 * best->value,
                 .n = model.outcome().size(),
                 .parameters = model.design().columns() + detail::theta_roles(model.groups()).size() + 1,
                 .residual_variance = point.residual_variance,
                 .evaluations = best->evaluations,
                 .remarks = model.remarks()};
    const auto parameters = static_cast<double>(out.parameters);
    out.aic = best->value + (2.0 * parameters);
    out.bic = best->value + (std::log(n) * parameters);
    for (const double v : point.solution.covariance) {
        out.covariance.push_back(v * point.variance);
    }
    const std::size_t p = model.design().columns();
    for (std::size_t k = 0; k < p; ++k) {
        out.coefficients.push_back(make_estimate(model.design().names()[k], point.solution.coefficients[k],
                                                 std::sqrt(out.covariance[(k * p) + k]),
                                                 std::numeric_limits<double>::infinity(), level));
    }
    std::size_t place = 0;
    for (std::size_t g = 0; g < model.groups().size(); ++g) {
        const auto& group = model.groups()[g];
        const std::size_t count = group.term.kind == RandomKind::intercept_and_slope ? 3 : 1;
        out.random.push_back(
            effect_at(group, std::span(point.theta).subspan(place, count), scale, point.solution.effects[g]));
        place += count;
    }
    for (std::size_t i = 0; i < out.n; ++i) {
        double fixed = 0.0;
        for (std::size_t k = 0; k < p; ++k) {
            fixed += model.design().column(k)[i] * out.coefficients[k].value;
        }
        double whole = fixed;
        for (std::size_t g = 0; g < out.random.size(); ++g) {
            const auto& group = model.groups()[g];
            whole += group.has_intercept() ? out.random[g].intercepts[group.codes[i]] : 0.0;
            whole += group.has_slope() ? out.random[g].slopes[group.codes[i]] * group.slope[i] : 0.0;
        }
        out.fixed_part.push_back(fixed);
        out.fitted.push_back(whole);
        out.residuals.push_back(model.outcome()[i] - whole);
    }
    say_what_is_singular(model, out);
    if (!model.known_variance().empty() && out.residual_sd == 0.0) {
        out.is_singular = true;
        out.remarks.push_back({.about = Remark::About::no_residual,
                               .text = "the known measurement variances explain all that differs between "
                                       "rows of one level, or more: are they too large?"});
    }
    return out;
}

Expected<LikelihoodRatio> likelihood_ratio(const MixedFit& larger, const MixedFit& smaller) {
    const bool has_same_fixed = [&] {
        return std::equal(larger.coefficients.begin(), larger.coefficients.end(),
                          smaller.coefficients.begin(), smaller.coefficients.end(),
                          [](const Estimate& a, const Estimate& b) { return a.name == b.name; });
    }();
    const bool is_restricted = larger.criterion == Criterion::reml;
    if (larger.criterion != smaller.criterion || larger.n != smaller.n ||
        larger.parameters <= smaller.parameters || (is_restricted && !has_same_fixed)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("fits of {} rows with {} parameters and of {} rows with {}",
                                          larger.n, larger.parameters, smaller.n, smaller.parameters),
                     .expected = "the same rows, the larger model first, both fitted by ML (or by REML where "
                                 "the fixed terms are the same)"});
    }
    LikelihoodRatio out{.chi_squared = std::max(0.0, 2.0 * (larger.log_likelihood - smaller.log_likelihood)),
                        .freedom = static_cast<double>(larger.parameters - smaller.parameters)};
    out.p = chi_squared_upper(out.chi_squared, out.freedom);
    if (has_same_fixed && out.freedom == 1.0) {
        out.p_boundary = 0.5 * out.p;
    }
    return out;
}

std::optional<VarianceShares> variance_shares(const MixedModel& model, const MixedFit& fit) {
    double groups = 0.0;
    for (std::size_t g = 0; g < fit.random.size(); ++g) {
        if (model.groups()[g].has_slope()) {
            return std::nullopt;
        }
        groups += fit.random[g].intercept_sd * fit.random[g].intercept_sd;
    }
    if (!model.known_variance().empty()) {
        return std::nullopt;
    }
    const auto n = static_cast<double>(fit.n);
    double mean = 0.0;
    for (const double v : fit.fixed_part) {
        mean += v / n;
    }
    double fixed = 0.0;
    for (const double v : fit.fixed_part) {
        fixed += (v - mean) * (v - mean) / (n - 1.0);
    }
    const double residual = fit.residual_sd * fit.residual_sd;
    return VarianceShares{.marginal = fixed / (fixed + groups + residual),
                          .conditional = (fixed + groups) / (fixed + groups + residual),
                          .groups = groups / (groups + residual)};
}

std::vector<double> simulate_outcome(const MixedModel& model, const MixedFit& fit, Random& random) {
    std::vector<double> out = fit.fixed_part;
    for (std::size_t g = 0; g < fit.random.size(); ++g) {
        const auto& effect = fit.random[g];
        const auto& group = model.groups()[g];
        std::vector<double> heights(group.levels.size(), 0.0);
        std::vector<double> slopes(group.levels.size(), 0.0);
        for (std::size_t level = 0; level < group.levels.size(); ++level) {
            const double a = random.normal();
            heights[level] = effect.intercept_sd * a;
            if (group.has_slope()) {
                const double b = random.normal();
                const double rho = effect.correlation;
                slopes[level] = effect.slope_sd * ((rho * a) + (std::sqrt(1.0 - (rho * rho)) * b));
            }
        }
        for (std::size_t i = 0; i < out.size(); ++i) {
            out[i] += heights[group.codes[i]];
            out[i] += group.has_slope() ? slopes[group.codes[i]] * group.slope[i] : 0.0;
        }
    }
    for (std::size_t i = 0; i < out.size(); ++i) {
        out[i] += std::sqrt(fit.residual_variance[i]) * random.normal();
    }
    return out;
}

} // namespace backeddy::stats
