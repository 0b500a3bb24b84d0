#include "stats/generalised_mixed.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <memory>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "stats/detail/check.hpp"
#include "stats/detail/laplace.hpp"
#include "stats/detail/minimise.hpp"
#include "stats/detail/simulated.hpp"

namespace backeddy::stats {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

constexpr double endless = std::numeric_limits<double>::infinity();
/// On the link's scale: levels so far apart have nothing in common any more.
constexpr double widest_sd = 25.0;
/// Log theta above which counts are Poisson's.
constexpr double largest_log_theta = 14.0;

GeneralisedOptions options_of(const GeneralisedMixedModel& model, double level = 0.95) {
    return {.family = model.family(),
            .link = model.link(),
            .trials = model.family() == Family::binomial ? std::span<const double>(model.trials())
                                                         : std::span<const double>(),
            .offset = model.offset(),
            .level = level};
}

/// A mixed linear model would advise what shares and counts have not.
Expected<void> check_group(const Table& table, const std::string& group) {
    if (table.has(group) && table.is_factor(group) && table.factor(group).levels.size() >= table.rows()) {
        return fail(
            {.code = ErrorCode::degenerate,
             .found = fmt::format("\"{}\" has one row a level", group),
             .expected = "several rows in some levels: only they tell levels from rows",
             .remedy = "leave it out; where counts vary too much row by row, a negative binomial says so"});
    }
    return {};
}

Expected<void> check_trials(const Table& table, const std::string& trials) {
    if (auto there = table.require(trials); !there) {
        return there;
    }
    if (table.is_factor(trials) || table.has_missing(trials)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("the trials \"{}\" hold words or have empty cells", trials),
                     .expected = "a whole number in every row"});
    }
    return {};
}

} // namespace

Expected<GeneralisedMixedModel> GeneralisedMixedModel::make(const Table& table,
                                                            const GeneralisedMixedTerms& terms) {
    MixedTerms rows{.outcome = terms.outcome, .fixed = terms.fixed};
    for (const auto& group : terms.random) {
        if (auto fine = check_group(table, group); !fine) {
            return fail(std::move(fine).error());
        }
        rows.random.push_back({.group = group});
    }
    auto made = MixedModel::make(table, rows);
    if (!made) {
        return fail(std::move(made).error());
    }
    GeneralisedMixedModel out;
    out.rows_ = *std::move(made);
    out.family_ = terms.family;
    auto link = detail::check_link(terms.family, terms.link);
    if (!link) {
        return fail(std::move(link).error());
    }
    out.link_ = *link;
    GeneralisedOptions options{.family = terms.family};
    if (!terms.trials.empty()) {
        if (auto fine = check_trials(table, terms.trials); !fine) {
            return fail(std::move(fine).error());
        }
        options.trials = table.numbers(terms.trials);
    }
    std::vector<double> offset;
    if (!terms.effort.empty()) {
        auto logs = log_exposure(table, terms.effort);
        if (!logs) {
            return fail(std::move(logs).error());
        }
        offset = *std::move(logs);
    }
    options.offset = offset;
    auto observed = detail::check_observed(out.design().row_labels(), out.outcome(), options);
    if (!observed) {
        return fail(std::move(observed).error());
    }
    out.trials_ = std::move(observed->trials);
    out.offset_ = std::move(observed->offset);
    return out;
}

GeneralisedMixedModel GeneralisedMixedModel::with_outcome(std::vector<double> outcome) const {
    GeneralisedMixedModel out = *this;
    out.rows_ = rows_.with_outcome(std::move(outcome));
    return out;
}

std::vector<double> GeneralisedMixedFit::values() const {
    std::vector<double> out;
    for (const auto& one : coefficients) {
        out.push_back(one.value);
    }
    return out;
}

namespace {

/// Coefficients `from` plus what the columns of `basis` span; a step of 1 along one is about a standard
/// error.
struct Space {
    Vector from;
    Matrix basis;
};

/// A point of the search: steps along the basis, spreads by group, and log theta where there is one.
class SearchedLikelihood {
  public:
    SearchedLikelihood(const GeneralisedMixedModel& model, Space space, bool has_theta, std::size_t nodes)
        : model_(model), space_(std::move(space)), has_theta_(has_theta),
          laplace_(model.family(), model.link(),
                   {.outcome = {model.outcome().begin(), model.outcome().end()},
                    .trials = model.trials(),
                    .offset = model.offset()},
                   model.groups(), nodes) {
        const auto& design = model.design();
        x_.resize(static_cast<Index>(design.rows()), static_cast<Index>(design.columns()));
        for (Index k = 0; k < x_.cols(); ++k) {
            x_.col(k) =
                Eigen::Map<const Vector>(design.column(static_cast<std::size_t>(k)).data(), x_.rows());
        }
    }
    [[nodiscard]] std::size_t steps() const { return static_cast<std::size_t>(space_.basis.cols()); }
    [[nodiscard]] std::size_t groups() const { return model_.groups().size(); }
    [[nodiscard]] bool has_theta() const { return has_theta_; }
    [[nodiscard]] const Matrix& basis() const { return space_.basis; }
    [[nodiscard]] Vector coefficients(std::span<const double> at) const {
        return space_.from + space_.basis * Eigen::Map<const Vector>(at.data(), static_cast<Index>(steps()));
    }
    [[nodiscard]] Vector fixed(std::span<const double> at) const {
        return x_ * coefficients(at) + Eigen::Map<const Vector>(model_.offset().data(), x_.rows());
    }
    [[nodiscard]] std::optional<double> theta(std::span<const double> at) const {
        return has_theta_ ? std::optional(std::exp(at.back())) : std::nullopt;
    }
    /// Minus the log-likelihood.
    double operator()(std::span<const double> at) {
        const Vector eta = fixed(at);
        return laplace_({eta.data(), static_cast<std::size_t>(eta.size())}, at.subspan(steps(), groups()),
                        theta(at));
    }
    [[nodiscard]] const detail::Laplace& laplace() const { return laplace_; }

  private:
    const GeneralisedMixedModel& model_;
    Space space_;
    bool has_theta_;
    detail::Laplace laplace_;
    Matrix x_;
};

/// Spreads beside 0 with nothing to gain from it are 0.
void settle(SearchedLikelihood& criterion, detail::Minimum& found) {
    for (std::size_t g = 0; g < criterion.groups(); ++g) {
        auto flat = found.at;
        auto& sd = flat[criterion.steps() + g];
        if (sd > 0.0 && sd < 0.05) {
            sd = 0.0;
            const double value = criterion(flat);
            if (value <= found.value + 1e-9) {
                found.at = flat;
                found.value = value;
            }
        }
    }
}

/// Where a search begins: the coefficients' steps at 0.
struct Start {
    std::vector<double> sds; ///< by group
    double log_theta = 0.0;
};

Start start_at(const SearchedLikelihood& criterion, double sd, double log_theta) {
    return {.sds = std::vector<double>(criterion.groups(), sd), .log_theta = log_theta};
}

Expected<detail::Minimum> search(SearchedLikelihood& criterion, const Start& from, double tolerance = 1e-4) {
    std::vector<double> start(criterion.steps(), 0.0);
    detail::Bounds bounds{.lower = std::vector<double>(start.size(), -endless),
                          .upper = std::vector<double>(start.size(), endless)};
    for (std::size_t g = 0; g < criterion.groups(); ++g) {
        start.push_back(std::clamp(from.sds[g], 0.0, widest_sd));
        bounds.lower.push_back(0.0);
        bounds.upper.push_back(widest_sd);
    }
    if (criterion.has_theta()) {
        start.push_back(std::clamp(from.log_theta, -5.0, largest_log_theta - 1.0));
        bounds.lower.push_back(-10.0);
        bounds.upper.push_back(largest_log_theta);
    }
    const detail::Function function = [&](std::span<const double> at) { return criterion(at); };
    auto found = detail::minimise(function, std::move(start), bounds, 0.3, tolerance);
    if (!found) {
        return fail(std::move(found).error());
    }
    settle(criterion, *found);
    auto polished = detail::polish(function, *found, bounds);
    settle(criterion, polished);
    return polished;
}

/// Negative second derivatives' inverse over steps, logarithms of the spreads above 0, and log theta; nothing
/// where they are not of a maximum. Differences of fourth order along sums and differences of pairs.
std::optional<Matrix> covariance_at(SearchedLikelihood& criterion, const std::vector<double>& best,
                                    std::vector<std::size_t>& free) {
    const auto is_spread = [&](std::size_t k) {
        return k >= criterion.steps() && k < criterion.steps() + criterion.groups();
    };
    for (std::size_t k = 0; k < best.size(); ++k) {
        if (!is_spread(k) || best[k] > 0.0) {
            free.push_back(k);
        }
    }
    const double height = criterion(best);
    constexpr double h = 0.02;
    const auto bend = [&](std::size_t a, std::size_t b, double sign) {
        const auto at = [&](double t) {
            auto point = best;
            const auto move = [&](std::size_t k, double by) {
                point[k] = is_spread(k) ? point[k] * std::exp(by) : point[k] + by;
            };
            move(a, t);
            if (a != b) {
                move(b, sign * t);
            }
            return criterion(point);
        };
        return ((16.0 * (at(h) + at(-h))) - (at(2.0 * h) + at(-2.0 * h)) - (30.0 * height)) / (12.0 * h * h);
    };
    const auto k = static_cast<Index>(free.size());
    Matrix hessian(k, k);
    for (Index a = 0; a < k; ++a) {
        const auto i = free[static_cast<std::size_t>(a)];
        hessian(a, a) = bend(i, i, 1.0);
        for (Index b = 0; b < a; ++b) {
            const auto j = free[static_cast<std::size_t>(b)];
            hessian(a, b) = hessian(b, a) = 0.25 * (bend(i, j, 1.0) - bend(i, j, -1.0));
        }
    }
    const Eigen::LLT<Matrix> factor(hessian);
    if (factor.info() != Eigen::Success) {
        return std::nullopt;
    }
    return Matrix(factor.solve(Matrix::Identity(k, k)));
}

Matrix matrix_of(std::span<const double> values, std::size_t rows) {
    const auto n = static_cast<Index>(rows);
    return Eigen::Map<const Matrix>(values.data(), n, n);
}

/// All coefficients free, from a fit and by its covariance.
Space whole_space(const std::vector<double>& values, std::span<const double> covariance) {
    return {.from = Eigen::Map<const Vector>(values.data(), static_cast<Index>(values.size())),
            .basis = Eigen::LLT<Matrix>(matrix_of(covariance, values.size())).matrixL()};
}

/// What a fit leaves free when these weighted sums of its coefficients are 0.
Space space_without(const std::vector<double>& values, std::span<const double> covariance,
                    const std::vector<std::vector<double>>& sums) {
    const auto p = static_cast<Index>(values.size());
    const auto r = static_cast<Index>(sums.size());
    const Matrix half = Eigen::LLT<Matrix>(matrix_of(covariance, values.size())).matrixL();
    Matrix rows(r, p);
    for (Index k = 0; k < r; ++k) {
        rows.row(k) = Eigen::Map<const Vector>(sums[static_cast<std::size_t>(k)].data(), p);
    }
    const Matrix turned = rows * half;
    const Matrix whole =
        Eigen::HouseholderQR<Matrix>(turned.transpose()).householderQ() * Matrix::Identity(p, p);
    const Vector beta = Eigen::Map<const Vector>(values.data(), p);
    const Vector shift = half * turned.transpose() * (turned * turned.transpose()).ldlt().solve(rows * beta);
    return {.from = beta - shift, .basis = half * whole.rightCols(p - r)};
}

Expected<void> check_nodes(const GeneralisedMixedModel& model, std::size_t nodes) {
    if (nodes == 1 || (nodes >= 3 && nodes <= 100 && model.groups().size() == 1)) {
        return {};
    }
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("{} nodes for {} group{}", nodes, model.groups().size(),
                                      model.groups().size() == 1 ? "" : "s"),
                 .expected = "1 (Laplace's approximation), or 3 to 100 for a single group"});
}

void add_groups(const GeneralisedMixedModel& model, const SearchedLikelihood& criterion,
                std::span<const double> at, GeneralisedMixedFit& out) {
    const auto modes = criterion.laplace().modes();
    std::size_t begin = 0;
    for (std::size_t g = 0; g < model.groups().size(); ++g) {
        const auto& group = model.groups()[g];
        GroupSpread spread{
            .group = group.term.group, .levels = group.levels, .sd = at[criterion.steps() + g]};
        for (std::size_t level = 0; level < group.levels.size(); ++level) {
            spread.modes.push_back(spread.sd * modes[begin++]);
        }
        if (spread.sd == 0.0) {
            out.is_singular = true;
            out.remarks.push_back(
                {.about = Remark::About::no_variance,
                 .text = fmt::format(
                     "the variance between levels of \"{}\" is estimated as 0: they differ no more "
                     "than chance within them would make them. The rows are then taken as if they "
                     "did not share it; a small variance cannot be ruled out",
                     spread.group)});
        }
        out.random.push_back(std::move(spread));
    }
}

void add_uncertainty(const GeneralisedMixedModel& model, const SearchedLikelihood& criterion,
                     std::span<const double> at, const Matrix& covariance,
                     const std::vector<std::size_t>& free, GeneralisedMixedFit& out) {
    const auto k = static_cast<Index>(criterion.steps());
    const Vector beta = criterion.coefficients(at);
    const Matrix own = criterion.basis() * covariance.topLeftCorner(k, k) * criterion.basis().transpose();
    out.covariance.assign(own.data(), own.data() + own.size());
    for (Index c = 0; c < beta.size(); ++c) {
        out.coefficients.push_back(make_estimate(model.design().names()[static_cast<std::size_t>(c)], beta[c],
                                                 std::sqrt(own(c, c)), endless, out.level));
        if (out.link == Link::logit || out.link == Link::log) {
            out.ratios.push_back(ratio_of(out.coefficients.back()));
        }
    }
    for (std::size_t f = criterion.steps(); f < free.size(); ++f) {
        const double se = std::sqrt(covariance(static_cast<Index>(f), static_cast<Index>(f)));
        if (free[f] < criterion.steps() + criterion.groups()) {
            out.random[free[f] - criterion.steps()].log_se = se;
        } else {
            out.theta = MixedTheta{.value = std::exp(at[free[f]]), .log_se = se};
        }
    }
}

Expected<void> check_spreads(const SearchedLikelihood& criterion, const GeneralisedMixedModel& model,
                             std::span<const double> at) {
    for (std::size_t g = 0; g < criterion.groups(); ++g) {
        if (at[criterion.steps() + g] > 0.9 * widest_sd) {
            return fail({.code = ErrorCode::degenerate,
                         .found = fmt::format(
                             "levels of \"{}\" lie so far apart that their spread has no end: rows of "
                             "each are all alike",
                             model.groups()[g].term.group),
                         .expected = "outcomes that differ within levels",
                         .remedy = "count each level as one: there is no more to be learnt from its rows"});
        }
    }
    return {};
}

/// The fit without groups, which also finds what is wrong with outcomes and columns.
Expected<GeneralisedFit> without_groups(const GeneralisedMixedModel& model, double level) {
    return fit_generalised(model.design(), model.outcome(), options_of(model, level));
}

double first_log_theta(const GeneralisedFit& alone) {
    return alone.theta ? std::log(2.0 * alone.theta->value) : 3.0;
}

/// Counts that vary no more than Poisson's once the levels are known.
bool is_poisson(const SearchedLikelihood& criterion, std::span<const double> at) {
    return criterion.has_theta() && at.back() > largest_log_theta - 3.0;
}

} // namespace

Expected<GeneralisedMixedFit> fit_generalised_mixed(const GeneralisedMixedModel& model,
                                                    const GeneralisedMixedOptions& options) {
    if (auto fine = check_nodes(model, options.nodes); !fine) {
        return fail(std::move(fine).error());
    }
    const auto alone = without_groups(model, options.level);
    if (!alone) {
        return fail(alone.error());
    }
    const auto space = whole_space(alone->values(), alone->covariance);
    GeneralisedMixedFit out{.family = model.family(),
                            .link = model.link(),
                            .nodes = options.nodes,
                            .n = alone->n,
                            .level = options.level,
                            .remarks = model.remarks()};
    auto criterion = std::make_unique<SearchedLikelihood>(
        model, space, model.family() == Family::negative_binomial, options.nodes);
    auto best = search(*criterion, start_at(*criterion, 0.7, first_log_theta(*alone)));
    if (best && is_poisson(*criterion, best->at)) {
        out.remarks.push_back({.about = Remark::About::not_over_dispersed,
                               .text =
                                   "once the levels are known the counts vary no more than Poisson's: theta "
                                   "grows for ever, and what is shown is the Poisson fit"});
        criterion = std::make_unique<SearchedLikelihood>(model, space, false, options.nodes);
        best = search(*criterion, start_at(*criterion, 0.7, 0.0));
    }
    if (!best) {
        return fail(std::move(best).error());
    }
    if (auto fine = check_spreads(*criterion, model, best->at); !fine) {
        return fail(std::move(fine).error());
    }
    std::vector<std::size_t> free;
    const auto covariance = covariance_at(*criterion, best->at, free);
    if (!covariance) {
        return fail({.code = ErrorCode::not_converged,
                     .found = "the likelihood does not fall on every side of where the search ended",
                     .expected = "a maximum, from which standard errors follow",
                     .remedy = "a smaller model, or more rows"});
    }
    out.log_likelihood = -(*criterion)(best->at); // its modes are wanted too
    out.evaluations = best->evaluations;
    add_groups(model, *criterion, best->at, out);
    add_uncertainty(model, *criterion, best->at, *covariance, free, out);
    out.parameters = out.coefficients.size() + out.random.size() + (out.theta ? 1 : 0);
    const auto parameters = static_cast<double>(out.parameters);
    out.aic = (-2.0 * out.log_likelihood) + (2.0 * parameters);
    out.bic = (-2.0 * out.log_likelihood) + (std::log(static_cast<double>(out.n)) * parameters);
    const Vector fixed = criterion->fixed(best->at);
    out.fixed_part.assign(fixed.begin(), fixed.end());
    for (const double eta : criterion->laplace().predictor()) {
        out.fitted.push_back(detail::mean_at(model.link(), eta));
    }
    return out;
}

Estimate contrast(const GeneralisedMixedFit& fit, std::string name, std::span<const double> weights) {
    const auto sum = combine(weights, fit.values(), fit.covariance);
    return make_estimate(std::move(name), sum.value, std::sqrt(std::max(0.0, sum.variance)), endless,
                         fit.level);
}

namespace {

/// Where a search ended, in plain numbers.
struct Ended {
    double log_likelihood = 0.0;
    std::vector<double> fixed; ///< X beta + offset
    std::vector<double> sds;
    std::optional<double> theta;
};

Ended ended_at(SearchedLikelihood& criterion, const detail::Minimum& best) {
    const Vector fixed = criterion.fixed(best.at);
    const auto begin = best.at.begin() + static_cast<std::ptrdiff_t>(criterion.steps());
    return Ended{.log_likelihood = -best.value,
                 .fixed = {fixed.begin(), fixed.end()},
                 .sds = {begin, begin + static_cast<std::ptrdiff_t>(criterion.groups())},
                 .theta = criterion.theta(best.at)};
}

Expected<Ended> ended(const GeneralisedMixedModel& model, const Space& space, bool has_theta,
                      std::size_t nodes, double log_theta) {
    SearchedLikelihood criterion(model, space, has_theta, nodes);
    const auto best = search(criterion, start_at(criterion, 0.5, log_theta));
    return best ? Expected<Ended>(ended_at(criterion, *best)) : fail(best.error());
}

/// The same from near where it will end: a rough search, of which Newton's steps make an exact one; where
/// they do not, the usual search.
Expected<Ended> ended_from(const GeneralisedMixedModel& model, const Space& space, const Ended& near,
                           std::size_t nodes) {
    SearchedLikelihood criterion(model, space, near.theta.has_value(), nodes);
    Start start{.sds = near.sds, .log_theta = near.theta ? std::log(*near.theta) : 0.0};
    constexpr double off_the_edge = 0.1; // at 0 itself the likelihood has no slope
    for (double& sd : start.sds) {
        sd = std::max(sd, off_the_edge);
    }
    constexpr double rough = 0.02; // standard errors, standard deviations
    auto best = search(criterion, start, rough);
    if (!best || !best->is_polished) {
        best = search(criterion, start_at(criterion, 0.5, start.log_theta));
    }
    return best ? Expected<Ended>(ended_at(criterion, *best)) : fail(best.error());
}

Expected<Ended> without_term(const GeneralisedMixedModel& model, const GeneralisedMixedFit& fit,
                             const std::vector<std::vector<double>>& sums) {
    return ended(model, space_without(fit.values(), fit.covariance, sums), fit.theta.has_value(), fit.nodes,
                 fit.theta ? std::log(fit.theta->value) : 0.0);
}

ChiSquaredTest ratio_test(double larger, double smaller, std::size_t freedom) {
    return chi_squared_test(std::max(0.0, 2.0 * (larger - smaller)), static_cast<double>(freedom));
}

} // namespace

Expected<std::vector<TermChiSquared>> term_tests(const GeneralisedMixedModel& model,
                                                 const GeneralisedMixedFit& fit) {
    std::vector<TermChiSquared> out;
    const auto hypotheses = term_hypotheses(model.design());
    for (std::size_t t = 0; t < hypotheses.size(); ++t) {
        const auto smaller = without_term(model, fit, hypotheses[t]);
        if (!smaller) {
            return fail(smaller.error());
        }
        out.push_back(
            {.term = model.design().terms()[t],
             .test = ratio_test(fit.log_likelihood, smaller->log_likelihood, hypotheses[t].size())});
    }
    return out;
}

Expected<LikelihoodRatio> likelihood_ratio(const GeneralisedMixedFit& larger, const GeneralisedFit& without) {
    const bool is_same = larger.n == without.n && larger.family == without.family &&
                         larger.link == without.link && without.penalty == Penalty::none &&
                         std::equal(larger.coefficients.begin(), larger.coefficients.end(),
                                    without.coefficients.begin(), without.coefficients.end(),
                                    [](const Estimate& a, const Estimate& b) { return a.name == b.name; });
    if (!is_same) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "fits of other rows, families or fixed terms",
                     .expected = "the same rows, family and fixed terms, once with groups and once without"});
    }
    const auto test = ratio_test(larger.log_likelihood, without.log_likelihood, larger.random.size());
    LikelihoodRatio out{.chi_squared = test.chi_squared, .freedom = test.freedom, .p = test.p};
    if (larger.random.size() == 1) {
        out.p_boundary = larger.random.front().sd > 0.0 ? 0.5 * test.p : 1.0;
    }
    return out;
}

std::vector<double> simulate_outcome(const GeneralisedMixedModel& model, std::span<const double> fixed,
                                     std::span<const double> sds, std::optional<double> theta,
                                     Random& random) {
    std::vector<double> eta(fixed.begin(), fixed.end());
    for (std::size_t g = 0; g < model.groups().size(); ++g) {
        const auto& group = model.groups()[g];
        std::vector<double> heights;
        for (std::size_t level = 0; level < group.levels.size(); ++level) {
            heights.push_back(sds[g] * random.normal());
        }
        for (std::size_t i = 0; i < eta.size(); ++i) {
            eta[i] += heights[group.codes[i]];
        }
    }
    std::vector<double> out;
    for (std::size_t i = 0; i < eta.size(); ++i) {
        out.push_back(detail::drawn({.family = model.family(), .link = model.link(), .theta = theta},
                                    detail::mean_at(model.link(), eta[i]), model.trials()[i], random));
    }
    return out;
}

namespace {

/// The likelihood ratio of one simulated study; nothing where it could not be fitted.
std::optional<double> simulated_ratio(const GeneralisedMixedModel& model, const GeneralisedMixedFit& fit,
                                      const Ended& null, const std::vector<std::vector<double>>& sums) {
    const auto alone = without_groups(model, fit.level);
    if (!alone) {
        return std::nullopt;
    }
    const auto values = alone->values();
    // Simulated from `null`, each draw lies about there.
    const auto smaller = ended_from(model, space_without(values, alone->covariance, sums), null, fit.nodes);
    const auto larger = ended_from(model, whole_space(values, alone->covariance), null, fit.nodes);
    if (!larger || !smaller) {
        return std::nullopt;
    }
    return std::max(0.0, 2.0 * (larger->log_likelihood - smaller->log_likelihood));
}

} // namespace

Expected<TermBootstrap> bootstrap_term(const GeneralisedMixedModel& model, const GeneralisedMixedFit& fit,
                                       std::size_t term, const TermBootstrapOptions& options) {
    const auto hypotheses = term_hypotheses(model.design());
    if (auto fine = detail::check_bootstrap(term, hypotheses.size(), options); !fine) {
        return fail(std::move(fine).error());
    }
    const auto null = without_term(model, fit, hypotheses[term]);
    if (!null) {
        return fail(null.error());
    }
    std::vector<std::optional<double>> slots(options.draws);
    detail::DrawsDone done(options);
    parallel_for(options.draws, options.threads, [&](std::size_t i) {
        if (done.is_over()) {
            return;
        }
        Random random(options.seed, i);
        slots[i] = simulated_ratio(
            model.with_outcome(simulate_outcome(model, null->fixed, null->sds, null->theta, random)), fit,
            *null, hypotheses[term]);
        done.add_one();
    });
    return detail::judged(model.design().terms()[term],
                          std::max(0.0, 2.0 * (fit.log_likelihood - null->log_likelihood)), slots,
                          options.level);
}

} // namespace backeddy::stats
