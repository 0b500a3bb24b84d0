#include "stats/generalised.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <optional>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "stats/detail/check.hpp"
#include "stats/detail/family.hpp"
#include "stats/detail/root.hpp"

// Fisher's scoring, with coefficients held to linear constraints.
namespace backeddy::stats::detail {

/// A likelihood at some coefficients.
struct ScoringPoint {
    Eigen::VectorXd at; ///< orthogonal coefficients
    double value = 0.0; ///< what is maximised: with the penalty
    double log_likelihood = 0.0;
    Eigen::VectorXd score;
    Eigen::MatrixXd information; ///< expected
};

enum class ScoringEnd : std::uint8_t {
    reached,
    endless, ///< the likelihood rises along `step` for ever
    lost,    ///< no maximum in 200 steps
};

struct Peak {
    ScoringEnd end = ScoringEnd::lost;
    ScoringPoint point;
    Eigen::VectorXd step; ///< the last
    std::optional<double> theta;
};

/// Works in coefficients gamma = R beta of orthogonal columns Q, X = Q R, Q'Q = rows x identity.
class Scoring {
  public:
    Scoring(const Design& design, Observed observed, Family family, Link link, Penalty penalty);

    /// From where scoring may begin.
    [[nodiscard]] Eigen::VectorXd start() const;
    /// The maximum over `from` plus what the columns of `basis` span, and over theta.
    [[nodiscard]] Peak maximise(const Eigen::VectorXd& from, const Eigen::MatrixXd& basis) const;
    /// The same, theta being known.
    [[nodiscard]] Peak maximise_at(std::optional<double> theta, const Eigen::VectorXd& from,
                                   const Eigen::MatrixXd& basis) const {
        return climb(kind(theta), from, basis);
    }
    /// Every coefficient is free.
    [[nodiscard]] Eigen::MatrixXd all() const;
    /// What is free when these weighted sums of gamma, a row each, are held.
    [[nodiscard]] static Eigen::MatrixXd beside(const Eigen::MatrixXd& sums);
    /// beta = back() gamma.
    [[nodiscard]] const Eigen::MatrixXd& back() const { return back_; }
    /// The free direction of the design's column `k` alone.
    [[nodiscard]] Eigen::MatrixXd column(std::size_t k) const;
    [[nodiscard]] Eigen::VectorXd predictor(const Eigen::VectorXd& gamma) const;
    [[nodiscard]] const Observed& observed() const { return observed_; }
    /// Inverse observed information of gamma and log theta together.
    [[nodiscard]] Eigen::MatrixXd joint_covariance(const Eigen::VectorXd& gamma, double theta) const;
    /// Of the rows, +1 where the likelihood cannot fall while the predictor rises, -1 while it falls, 0 where
    /// it can either way.
    [[nodiscard]] int open_side(std::size_t row) const;

  private:
    [[nodiscard]] Kind kind(std::optional<double> theta) const;
    [[nodiscard]] ScoringPoint at(const Kind& kind, const Eigen::VectorXd& gamma) const;
    [[nodiscard]] Peak climb(const Kind& kind, const Eigen::VectorXd& from,
                             const Eigen::MatrixXd& basis) const;
    [[nodiscard]] bool is_endless(const Eigen::VectorXd& step) const;
    /// Counts' variance beyond Poisson's less that expected, and the theta that it suggests.
    [[nodiscard]] std::optional<double> first_theta(const Eigen::VectorXd& gamma) const;
    [[nodiscard]] double theta_score(const Eigen::VectorXd& gamma, double theta) const;

    Observed observed_;
    Family family_;
    Link link_;
    Penalty penalty_;
    double constants_ = 0.0; ///< of the log-likelihood
    Eigen::MatrixXd q_;
    Eigen::MatrixXd r_;
    Eigen::MatrixXd back_;
};

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

constexpr int most_rounds = 200;
/// Steps of the linear predictor that are as good as none.
constexpr double small_step = 1e-10;

std::size_t place(Index i) {
    return static_cast<std::size_t>(i);
}

} // namespace

Scoring::Scoring(const Design& design, Observed observed, Family family, Link link, Penalty penalty)
    : observed_(std::move(observed)), family_(family), link_(link), penalty_(penalty) {
    for (std::size_t i = 0; i < design.rows(); ++i) {
        constants_ += row_constant(family, observed_.outcome[i], observed_.trials[i]);
    }
    const auto n = static_cast<Index>(design.rows());
    const auto p = static_cast<Index>(design.columns());
    Matrix x(n, p);
    for (Index k = 0; k < p; ++k) {
        x.col(k) = Eigen::Map<const Vector>(design.column(place(k)).data(), n);
    }
    const Eigen::HouseholderQR<Matrix> qr(x);
    const double root = std::sqrt(static_cast<double>(n));
    q_ = root * (qr.householderQ() * Matrix::Identity(n, p));
    r_ = Matrix(qr.matrixQR().topRows(p).triangularView<Eigen::Upper>()) / root;
    back_ = r_.triangularView<Eigen::Upper>().solve(Matrix::Identity(p, p));
}

Vector Scoring::start() const {
    Vector working(q_.rows());
    for (Index i = 0; i < working.size(); ++i) {
        const double y = observed_.outcome[place(i)];
        const double none = observed_.trials[place(i)] - y;
        working[i] = (family_ == Family::binomial ? std::log((y + 0.5) / (none + 0.5)) : std::log(y + 0.5)) -
                     observed_.offset[place(i)];
    }
    return q_.transpose() * working / static_cast<double>(q_.rows());
}

Matrix Scoring::all() const {
    return Matrix::Identity(q_.cols(), q_.cols());
}

Matrix Scoring::beside(const Matrix& sums) {
    const Index p = sums.cols();
    const Matrix whole =
        Eigen::HouseholderQR<Matrix>(sums.transpose()).householderQ() * Matrix::Identity(p, p);
    return whole.rightCols(p - sums.rows());
}

Matrix Scoring::column(std::size_t k) const {
    return r_.col(static_cast<Index>(k)).normalized();
}

Vector Scoring::predictor(const Vector& gamma) const {
    return q_ * gamma + Eigen::Map<const Vector>(observed_.offset.data(), q_.rows());
}

Kind Scoring::kind(std::optional<double> theta) const {
    return {.family = family_, .link = link_, .theta = theta};
}

ScoringPoint Scoring::at(const Kind& kind, const Vector& gamma) const {
    const Vector eta = predictor(gamma);
    ScoringPoint out{.at = gamma, .log_likelihood = constants_};
    Vector first(eta.size());
    Vector weight(eta.size());
    Vector bend(eta.size());
    for (Index i = 0; i < eta.size(); ++i) {
        const auto row = row_slopes(kind, observed_.outcome[place(i)], observed_.trials[place(i)], eta[i]);
        out.log_likelihood += row.value;
        first[i] = row.first;
        weight[i] = row.expected;
        bend[i] = row.bend;
    }
    out.value = out.log_likelihood;
    out.information = q_.transpose() * weight.asDiagonal() * q_;
    if (penalty_ == Penalty::firth) {
        const Eigen::LLT<Matrix> factor(out.information);
        out.value += factor.info() == Eigen::Success ? factor.matrixLLT().diagonal().array().log().sum()
                                                     : -std::numeric_limits<double>::infinity();
        const Matrix half = factor.matrixL().solve(q_.transpose());
        // Half of each row's share in its own fitted value, times how its weight bends (Firth 1993, eq. 6).
        first.array() +=
            0.5 * weight.array() * half.colwise().squaredNorm().transpose().array() * bend.array();
    }
    out.score = q_.transpose() * first;
    return out;
}

int Scoring::open_side(std::size_t row) const {
    if (observed_.outcome[row] == 0.0) {
        return -1;
    }
    return family_ == Family::binomial && observed_.outcome[row] == observed_.trials[row] ? 1 : 0;
}

bool Scoring::is_endless(const Vector& step) const {
    const Vector moved = q_ * step;
    const double slack = 1e-3 * moved.cwiseAbs().maxCoeff();
    for (Index i = 0; i < moved.size(); ++i) {
        const int side = open_side(place(i));
        if ((side <= 0 && moved[i] > slack) || (side >= 0 && moved[i] < -slack)) {
            return false;
        }
    }
    return true;
}

Peak Scoring::climb(const Kind& kind, const Vector& from, const Matrix& basis) const {
    Peak out{.point = at(kind, from), .step = Vector::Zero(from.size()), .theta = kind.theta};
    if (basis.cols() == 0) {
        out.end = ScoringEnd::reached;
        return out;
    }
    const auto slack = [](double value) { return 1e-13 * (1.0 + std::abs(value)); };
    for (int round = 0; round < most_rounds; ++round) {
        const Matrix information = basis.transpose() * out.point.information * basis;
        Vector step = basis * information.ldlt().solve(basis.transpose() * out.point.score);
        const double length = (q_ * step).cwiseAbs().maxCoeff();
        const bool is_lost = !std::isfinite(length);
        // Away from infinity steps soon shrink; toward it each is about as long as the last.
        if (penalty_ == Penalty::none && (is_lost || (round >= 10 && length > 0.02)) &&
            is_endless(is_lost ? out.step : step)) {
            out.end = ScoringEnd::endless;
            out.step = is_lost ? out.step : step;
            return out;
        }
        if (is_lost) {
            return out;
        }
        out.step = step;
        ScoringPoint next = at(kind, out.point.at + step);
        for (int halving = 0; halving < 50 && !(next.value >= out.point.value - slack(out.point.value));
             ++halving) {
            step *= 0.5;
            next = at(kind, out.point.at + step);
        }
        if (!std::isfinite(next.value)) {
            return out;
        }
        out.point = std::move(next);
        if (length < small_step) {
            out.end = ScoringEnd::reached;
            return out;
        }
    }
    return out;
}

std::optional<double> Scoring::first_theta(const Vector& gamma) const {
    const Vector eta = predictor(gamma);
    double beyond = 0.0;
    double squares = 0.0;
    for (Index i = 0; i < eta.size(); ++i) {
        const double mean = std::exp(eta[i]);
        const double y = observed_.outcome[place(i)];
        beyond += ((y - mean) * (y - mean)) - y;
        squares += mean * mean;
    }
    // The likelihood's slope by 1 / theta where that is 0 is half of `beyond` (Collings and Margolin 1985).
    return beyond > 0.0 ? std::optional(squares / beyond) : std::nullopt;
}

double Scoring::theta_score(const Vector& gamma, double theta) const {
    const Vector eta = predictor(gamma);
    double out = 0.0;
    for (Index i = 0; i < eta.size(); ++i) {
        out += theta_slopes(theta, observed_.outcome[place(i)], eta[i]).first;
    }
    return out;
}

Peak Scoring::maximise(const Vector& from, const Matrix& basis) const {
    Peak poisson = climb(kind(std::nullopt), from, basis);
    if (family_ != Family::negative_binomial || poisson.end != ScoringEnd::reached) {
        return poisson;
    }
    const auto theta = first_theta(poisson.point.at);
    if (!theta) {
        return poisson;
    }
    // The profile's slope by log theta: falls through 0 at the maximum.
    Vector warm = poisson.point.at;
    const auto slope = [&](double log_theta) {
        const double value = std::exp(log_theta);
        warm = climb(kind(value), warm, basis).point.at;
        return theta_score(warm, value);
    };
    const double first = std::log(*theta);
    const double direction = slope(first) > 0.0 ? 1.0 : -1.0;
    constexpr double widest = 25.0; // beyond it nothing of theta is left in any count
    for (double reach = 0.5; reach < widest; reach *= 2.0) {
        const double to = first + (direction * reach);
        if (slope(to) * direction <= 0.0) {
            const double best = root_between(slope, first, to);
            return climb(kind(std::exp(best)), warm, basis);
        }
    }
    return poisson;
}

Matrix Scoring::joint_covariance(const Vector& gamma, double theta) const {
    const Index p = q_.cols();
    const Vector eta = predictor(gamma);
    Matrix information = Matrix::Zero(p + 1, p + 1);
    for (Index i = 0; i < eta.size(); ++i) {
        const double y = observed_.outcome[place(i)];
        const auto row = row_slopes(kind(theta), y, 1.0, eta[i]);
        const auto by_theta = theta_slopes(theta, y, eta[i]);
        information.topLeftCorner(p, p) -= row.second * q_.row(i).transpose() * q_.row(i);
        information.topRightCorner(p, 1) -= by_theta.cross * q_.row(i).transpose();
        information(p, p) -= by_theta.second;
    }
    information.bottomLeftCorner(1, p) = information.topRightCorner(p, 1).transpose();
    return information.inverse();
}

} // namespace backeddy::stats::detail

namespace backeddy::stats {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

constexpr double endless = std::numeric_limits<double>::infinity();

Expected<void> check_options(const Design& design, const GeneralisedOptions& options, Link link) {
    if (auto fine = detail::check_level(options.level); !fine) {
        return fine;
    }
    const bool has_penalty = link == Link::logit || options.family == Family::poisson;
    if (options.penalty == Penalty::firth && !has_penalty) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "Firth's penalty with the negative binomial, or with another link than logit",
                     .expected = "the penalty with the binomial under the logit, or with Poisson counts"});
    }
    if (design.rows() < design.columns()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} rows for {} coefficients", design.rows(), design.columns()),
                     .expected = "at least as many rows as coefficients",
                     .remedy = "a smaller model, or more rows"});
    }
    return {};
}

/// The rows in which a factor stands at a level, by the term that is that factor alone.
std::vector<std::size_t> rows_at(const Design& design, const Variable& factor, std::size_t level) {
    const auto term = std::find(design.terms().begin(), design.terms().end(), factor.name);
    std::vector<std::size_t> columns;
    for (std::size_t k = 0; k < design.columns() && term != design.terms().end(); ++k) {
        const auto own = design.term_of(k);
        if (own && *own == static_cast<std::size_t>(term - design.terms().begin())) {
            columns.push_back(k);
        }
    }
    if (columns.empty()) {
        return {};
    }
    const bool is_contrasted = columns.size() + 1 == factor.levels.size();
    std::vector<std::size_t> out;
    for (std::size_t i = 0; i < design.rows(); ++i) {
        std::size_t at = 0;
        for (std::size_t k = 0; k < columns.size(); ++k) {
            if (design.column(columns[k])[i] == 1.0) {
                at = k + (is_contrasted ? 1 : 0);
            }
        }
        if (at == level) {
            out.push_back(i);
        }
    }
    return out;
}

/// "all 7 rows of rig "circle" are 0", of every level whose rows are all at the same end.
std::vector<std::string> levels_at_an_end(const Design& design, const detail::Scoring& scoring) {
    std::vector<std::string> out;
    for (const auto& variable : design.variables()) {
        for (std::size_t level = 0; level < variable.levels.size(); ++level) {
            const auto rows = rows_at(design, variable, level);
            for (const int side : {-1, 1}) {
                if (!rows.empty() && std::all_of(rows.begin(), rows.end(), [&](std::size_t i) {
                        return scoring.open_side(i) == side;
                    })) {
                    out.push_back(fmt::format("all {} rows of {} \"{}\" are {}", rows.size(), variable.name,
                                              variable.levels[level],
                                              side < 0 ? "0" : "1, or as many as there were trials"));
                }
            }
        }
    }
    return out;
}

tl::unexpected<Error> separated(const Design& design, const detail::Scoring& scoring, const Vector& direction,
                                bool has_penalty) {
    const Vector beta = scoring.back() * direction;
    std::vector<double> parts;
    for (std::size_t k = 0; k < design.columns(); ++k) {
        const auto column = design.column(k);
        double most = 0.0;
        for (const double v : column) {
            most = std::max(most, std::abs(v));
        }
        parts.push_back(std::abs(beta[static_cast<Index>(k)]) * most);
    }
    const double largest = *std::max_element(parts.begin(), parts.end());
    std::vector<std::string> names;
    for (std::size_t k = 0; k < parts.size(); ++k) {
        if (parts[k] > 1e-2 * largest) {
            names.push_back(design.names()[k]);
        }
    }
    const auto levels = levels_at_an_end(design, scoring);
    return fail(
        {.code = ErrorCode::degenerate,
         .found = fmt::format("{} part{} the outcomes without an exception (separation){}{}: the "
                              "likelihood grows for ever with {}",
                              fmt::join(names, " and "), names.size() == 1 ? "s" : "",
                              levels.empty() ? "" : "; ", fmt::join(levels, "; "),
                              names.size() == 1 ? "its coefficient" : "their coefficients"),
         .expected = "outcomes of both kinds in every group and on either side of every trend",
         .remedy = has_penalty
                       ? "fit with Firth's penalty (Penalty::firth) and read its profile intervals, or join "
                         "the level with others; no ratio can be given by plain likelihood"
                       : "join the level with others, or leave the column out"});
}

Expected<void> check_peak(const detail::Peak& peak, const Design& design, const detail::Scoring& scoring,
                          bool has_penalty) {
    if (peak.end == detail::ScoringEnd::endless) {
        return separated(design, scoring, peak.step, has_penalty);
    }
    if (peak.end == detail::ScoringEnd::lost) {
        return fail({.code = ErrorCode::not_converged,
                     .found = "200 steps did not reach the highest likelihood",
                     .expected = "a maximum",
                     .remedy = "a smaller model; are some rows far from all others?"});
    }
    return {};
}

void add_coefficients(const detail::Scoring& scoring, const detail::Peak& peak, GeneralisedFit& out) {
    const Index p = scoring.back().rows();
    const Vector beta = scoring.back() * peak.point.at;
    const Matrix covariance = scoring.back() * peak.point.information.inverse() * scoring.back().transpose();
    out.covariance.assign(covariance.data(), covariance.data() + covariance.size());
    for (Index k = 0; k < p; ++k) {
        out.coefficients.push_back(make_estimate(out.design.names()[static_cast<std::size_t>(k)], beta[k],
                                                 std::sqrt(covariance(k, k)), endless, out.level));
        if (out.link == Link::logit || out.link == Link::log) {
            out.ratios.push_back(on_response_scale(Link::log, out.coefficients.back()));
        }
    }
    if (peak.theta) {
        const Matrix joint = scoring.joint_covariance(peak.point.at, *peak.theta);
        const double log_se = std::sqrt(joint(p, p));
        const double width = std::exp(two_sided_quantile(out.level, endless) * log_se);
        out.theta = Theta{.value = *peak.theta,
                          .se = *peak.theta * log_se,
                          .lower = *peak.theta / width,
                          .upper = *peak.theta * width};
        const Matrix own = scoring.back() * joint.topLeftCorner(p, p) * scoring.back().transpose();
        for (Index k = 0; k < p; ++k) {
            out.theta->coefficient_se.push_back(std::sqrt(own(k, k)));
        }
    }
}

detail::Kind kind_of(const GeneralisedFit& fit) {
    return {.family = fit.family,
            .link = fit.link,
            .theta = fit.theta ? std::optional(fit.theta->value) : std::nullopt};
}

/// Deviance of the rows with all coefficients 0 but the intercept, theta as it is.
double null_deviance(const detail::Scoring& scoring, const detail::Scoring& alone,
                     const GeneralisedFit& fit) {
    const auto kind = kind_of(fit);
    Vector gamma = Vector::Zero(scoring.back().rows());
    for (std::size_t k = 0; k < fit.design.columns(); ++k) {
        if (!fit.design.term_of(k)) {
            const Matrix basis = scoring.column(k);
            gamma =
                alone.maximise_at(kind.theta, basis * (basis.transpose() * scoring.start()), basis).point.at;
        }
    }
    const Vector eta = scoring.predictor(gamma);
    double out = 0.0;
    for (std::size_t i = 0; i < fit.n; ++i) {
        out += detail::row_deviance(kind, fit.outcome[i], fit.trials[i],
                                    detail::mean_at(fit.link, eta[static_cast<Index>(i)]));
    }
    return out;
}

void add_rows(const Vector& eta, GeneralisedFit& out) {
    const auto kind = kind_of(out);
    for (std::size_t i = 0; i < out.n; ++i) {
        const double mean = detail::mean_at(out.link, eta[static_cast<Index>(i)]);
        const double expected = out.trials[i] * mean;
        const double deviance =
            std::max(0.0, detail::row_deviance(kind, out.outcome[i], out.trials[i], mean));
        const double variance = detail::variance_at(kind, mean, out.trials[i]);
        const double residual = out.outcome[i] - expected;
        out.fitted.push_back(mean);
        out.pearson.push_back(variance > 0.0 ? residual / std::sqrt(variance) : 0.0);
        out.deviance_residuals.push_back(std::copysign(std::sqrt(deviance), residual));
        out.deviance += deviance;
        out.pearson_chi_squared += out.pearson.back() * out.pearson.back();
    }
    out.dispersion = out.freedom > 0.0 ? out.pearson_chi_squared / out.freedom : 0.0;
}

bool is_of_single_trials(const GeneralisedFit& fit) {
    return fit.family == Family::binomial &&
           std::all_of(fit.trials.begin(), fit.trials.end(), [](double m) { return m == 1.0; });
}

void add_remarks(GeneralisedFit& out) {
    if (out.family == Family::negative_binomial && !out.theta) {
        out.remarks.push_back(
            {.about = Remark::About::not_over_dispersed,
             .text = "the counts vary no more than Poisson's: theta grows for ever, and what is shown is the "
                     "Poisson fit"});
    }
    constexpr double doubtful = 0.05;
    if (!is_of_single_trials(out) && out.freedom > 0.0 &&
        chi_squared_upper(out.pearson_chi_squared, out.freedom) < doubtful) {
        out.remarks.push_back(
            {.about = Remark::About::over_dispersed,
             .text = fmt::format(
                 "the outcomes vary {:.2f} times as much as the model says (Pearson's chi-squared {:.1f} on "
                 "{} "
                 "degrees of freedom): standard errors and p-values are too small. {}",
                 out.dispersion, out.pearson_chi_squared, out.freedom,
                 out.family == Family::poisson
                     ? "Fit a negative binomial, or a random intercept of what rows share (day, boat)"
                     : "Is a column missing, or a random intercept of what rows share (day, boat)? Else "
                       "widen "
                       "them by the dispersion")});
    }
}

} // namespace

std::vector<double> GeneralisedFit::values() const {
    std::vector<double> out;
    for (const auto& one : coefficients) {
        out.push_back(one.value);
    }
    return out;
}

Expected<GeneralisedFit> fit_generalised(const Design& design, std::span<const double> outcome,
                                         const GeneralisedOptions& options) {
    auto link = detail::check_link(options.family, options.link);
    if (!link) {
        return fail(std::move(link).error());
    }
    if (auto fine = check_options(design, options, *link); !fine) {
        return fail(std::move(fine).error());
    }
    auto observed = detail::check_observed(design.row_labels(), outcome, options);
    if (!observed) {
        return fail(std::move(observed).error());
    }
    const detail::Scoring scoring(design, *observed, options.family, *link, options.penalty);
    const auto peak = scoring.maximise(scoring.start(), scoring.all());
    const bool has_penalty = *link == Link::logit || options.family == Family::poisson;
    if (auto fine = check_peak(peak, design, scoring, has_penalty); !fine) {
        return fail(std::move(fine).error());
    }
    GeneralisedFit out{.design = design,
                       .family = options.family,
                       .link = *link,
                       .penalty = options.penalty,
                       .outcome = observed->outcome,
                       .trials = observed->trials,
                       .offset = observed->offset,
                       .log_likelihood = peak.point.log_likelihood,
                       .penalised_log_likelihood = peak.point.value,
                       .n = design.rows(),
                       .parameters = design.columns() + (peak.theta ? 1 : 0),
                       .freedom = static_cast<double>(design.rows() - design.columns()),
                       .level = options.level};
    add_coefficients(scoring, peak, out);
    add_rows(scoring.predictor(peak.point.at), out);
    out.null_deviance =
        null_deviance(scoring, {design, *observed, options.family, *link, Penalty::none}, out);
    const auto parameters = static_cast<double>(out.parameters);
    out.aic = (-2.0 * out.log_likelihood) + (2.0 * parameters);
    out.bic = (-2.0 * out.log_likelihood) + (std::log(static_cast<double>(out.n)) * parameters);
    add_remarks(out);
    return out;
}

Expected<std::vector<double>> log_exposure(const Table& table, std::string_view column) {
    if (auto there = table.require(column); !there) {
        return fail(std::move(there).error());
    }
    if (table.is_factor(column) || table.has_missing(column)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("the effort \"{}\" holds words or has empty cells", column),
                     .expected = "a number in every row"});
    }
    std::vector<double> out;
    for (const double effort : table.numbers(column)) {
        if (!(effort > 0.0)) {
            return fail(
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("\"{}\" of {} is {}", column, table.row_labels()[out.size()], effort),
                 .expected = "an effort above 0: nothing can be counted in none",
                 .remedy = "mend the effort, or leave the row out and say so"});
        }
        out.push_back(std::log(effort));
    }
    return out;
}

Estimate contrast(const GeneralisedFit& fit, std::string name, std::span<const double> weights) {
    const auto sum = combine(weights, fit.values(), fit.covariance);
    return make_estimate(std::move(name), sum.value, std::sqrt(std::max(0.0, sum.variance)), endless,
                         fit.level);
}

Ratio on_response_scale(Link link, const Estimate& predictor) {
    return {.name = predictor.name,
            .value = detail::mean_at(link, predictor.value),
            .lower = detail::mean_at(link, predictor.lower),
            .upper = detail::mean_at(link, predictor.upper)};
}

namespace {

detail::Scoring scoring_of(const GeneralisedFit& fit) {
    return {fit.design,
            {.outcome = fit.outcome, .trials = fit.trials, .offset = fit.offset},
            fit.family,
            fit.link,
            fit.penalty};
}

/// One coefficient's profile, in the coefficients of orthogonal columns.
class Profiled {
  public:
    Profiled(const detail::Scoring& scoring, const detail::Peak& best, std::size_t coefficient, double wanted)
        : scoring_(scoring), best_(best), sum_(scoring.back().row(static_cast<Index>(coefficient))),
          basis_(detail::Scoring::beside(sum_.transpose())),
          along_(best.point.information.ldlt().solve(sum_)), wanted_(wanted) {
        se_ = std::sqrt(sum_.dot(along_));
        along_ /= sum_.dot(along_);
    }
    /// The limit below (-1) or above (1).
    [[nodiscard]] double limit(double direction) const {
        Vector warm = best_.point.at;
        const double from = sum_.dot(warm);
        const auto left = [&](double value) {
            warm += along_ * (value - sum_.dot(warm));
            const auto peak = scoring_.maximise(warm, basis_);
            warm = peak.point.at;
            return wanted_ - std::sqrt(std::max(0.0, 2.0 * (best_.point.value - peak.point.value)));
        };
        double inner = from;
        constexpr double widest = 100.0; // standard errors
        for (double reach = wanted_; reach < widest; reach *= 1.5) {
            const double outer = from + (direction * reach * se_);
            if (left(outer) <= 0.0) {
                return detail::root_between(left, inner, outer);
            }
            inner = outer;
        }
        return direction * endless;
    }

  private:
    const detail::Scoring& scoring_;
    const detail::Peak& best_;
    Vector sum_;
    Matrix basis_;
    Vector along_; ///< how all coefficients move with this one, by the curvature at the maximum
    double wanted_ = 0.0;
    double se_ = 0.0;
};

} // namespace

Expected<std::vector<ProfileInterval>> profile_intervals(const GeneralisedFit& fit) {
    const auto scoring = scoring_of(fit);
    const auto best = scoring.maximise(scoring.start(), scoring.all());
    if (auto fine = check_peak(best, fit.design, scoring, true); !fine) {
        return fail(std::move(fine).error());
    }
    const double wanted = two_sided_quantile(fit.level, endless);
    std::vector<ProfileInterval> out;
    for (std::size_t k = 0; k < fit.design.columns(); ++k) {
        const Profiled profiled(scoring, best, k, wanted);
        out.push_back({.name = fit.design.names()[k],
                       .value = fit.coefficients[k].value,
                       .lower = profiled.limit(-1.0),
                       .upper = profiled.limit(1.0)});
    }
    return out;
}

Expected<std::vector<TermChiSquared>> term_tests(const GeneralisedFit& fit) {
    const auto scoring = scoring_of(fit);
    const auto best = scoring.maximise(scoring.start(), scoring.all());
    if (auto fine = check_peak(best, fit.design, scoring, true); !fine) {
        return fail(std::move(fine).error());
    }
    std::vector<TermChiSquared> out;
    const auto hypotheses = term_hypotheses(fit.design);
    for (std::size_t t = 0; t < hypotheses.size(); ++t) {
        Matrix sums(static_cast<Index>(hypotheses[t].size()), static_cast<Index>(fit.design.columns()));
        for (Index r = 0; r < sums.rows(); ++r) {
            const auto& row = hypotheses[t][static_cast<std::size_t>(r)];
            sums.row(r) = Eigen::Map<const Vector>(row.data(), sums.cols());
        }
        const Matrix basis = detail::Scoring::beside(sums * scoring.back());
        const auto without = scoring.maximise(basis * (basis.transpose() * best.point.at), basis);
        if (auto fine = check_peak(without, fit.design, scoring, true); !fine) {
            return fail(std::move(fine).error());
        }
        const double gain = std::max(0.0, 2.0 * (best.point.value - without.point.value));
        out.push_back({.term = fit.design.terms()[t],
                       .test = chi_squared_test(gain, static_cast<double>(sums.rows()))});
    }
    return out;
}

Expected<std::vector<Estimate>> quasi_coefficients(const GeneralisedFit& fit) {
    if (is_of_single_trials(fit)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "outcomes of 0 and 1",
                     .expected = "counts, or several trials a row: one trial cannot vary more than it does"});
    }
    if (!(fit.freedom > 0.0)) {
        return fail(
            {.code = ErrorCode::too_few,
             .found = fmt::format("{} rows for {} coefficients", fit.n, fit.coefficients.size()),
             .expected = "more rows than coefficients: the dispersion is judged by what is left over"});
    }
    std::vector<Estimate> out;
    for (const auto& one : fit.coefficients) {
        out.push_back(
            make_estimate(one.name, one.value, one.se * std::sqrt(fit.dispersion), fit.freedom, fit.level));
    }
    return out;
}

} // namespace backeddy::stats
