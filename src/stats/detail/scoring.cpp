#include "stats/detail/scoring.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Dense>

#include "stats/detail/root.hpp"

namespace backeddy::stats::detail {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

constexpr int most_rounds = 200;
/// With Firth's penalty each step takes away a share of what is left, of four rows no more than a tenth.
constexpr int most_penalised_rounds = 4000;
/// Stands for an endless fall of the likelihood, in standard deviations.
constexpr double far_beyond = 1e3;
/// Steps of the linear predictor that are as good as none.
constexpr double small_step = 1e-10;

std::size_t place(Index i) {
    return static_cast<std::size_t>(i);
}

/// A likelihood at some coefficients.
struct ScoringPoint {
    Vector at;          ///< orthogonal coefficients
    double value = 0.0; ///< what is maximised: with the penalty
    double log_likelihood = 0.0;
    Vector score;
    Matrix information; ///< expected
};

struct Found {
    ScoringEnd end = ScoringEnd::lost;
    ScoringPoint point;
    Vector step; ///< the last
    std::optional<double> theta;
};

} // namespace

/// Works in coefficients gamma = R beta of orthogonal columns Q, X = Q R, Q'Q = rows x identity.
class Scoring::Impl {
  public:
    Impl(const Design& design, Observed observed, Family family, Link link, Penalty penalty);

    /// From where scoring may begin.
    [[nodiscard]] Vector start() const;
    /// The maximum over `from` plus what the columns of `basis` span, and over theta.
    [[nodiscard]] Found maximise(const Vector& from, const Matrix& basis) const;
    /// Every coefficient is free.
    [[nodiscard]] Matrix all() const;
    /// What is free when these weighted sums of gamma, a row each, are held.
    [[nodiscard]] static Matrix beside(const Matrix& sums);
    /// beta = back() gamma.
    [[nodiscard]] const Matrix& back() const { return back_; }
    [[nodiscard]] Vector orthogonal(const Vector& coefficients) const { return r_ * coefficients; }
    /// As Scoring::null_predictor().
    [[nodiscard]] Vector null_predictor(std::optional<double> theta) const;
    [[nodiscard]] Peak plain_peak(const Found& found) const;
    [[nodiscard]] Vector predictor(const Vector& gamma) const;
    /// Inverse observed information of gamma and log theta together.
    [[nodiscard]] Matrix joint_covariance(const Vector& gamma, double theta) const;
    /// Of the rows, +1 where the likelihood cannot fall while the predictor rises, -1 while it falls, 0 where
    /// it can either way.
    [[nodiscard]] int open_side(std::size_t row) const;

  private:
    [[nodiscard]] Kind kind(std::optional<double> theta) const;
    [[nodiscard]] ScoringPoint at(const Kind& kind, const Vector& gamma) const;
    [[nodiscard]] Found climb(const Kind& kind, const Vector& from, const Matrix& basis) const;
    [[nodiscard]] bool is_endless(const Vector& step) const;
    /// Counts' variance beyond Poisson's less that expected, and the theta that it suggests.
    [[nodiscard]] std::optional<double> first_theta(const Vector& gamma) const;
    [[nodiscard]] double theta_score(const Vector& gamma, double theta) const;

    Observed observed_;
    Family family_;
    Link link_;
    Penalty penalty_;
    double constants_ = 0.0; ///< of the log-likelihood
    Matrix q_;
    Matrix r_;
    Matrix back_;
    std::optional<std::size_t> intercept_; ///< its column
};

Scoring::Impl::Impl(const Design& design, Observed observed, Family family, Link link, Penalty penalty)
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
    for (std::size_t k = 0; k < design.columns(); ++k) {
        if (!design.term_of(k)) {
            intercept_ = k;
        }
    }
    const Eigen::HouseholderQR<Matrix> qr(x);
    const double root = std::sqrt(static_cast<double>(n));
    q_ = root * (qr.householderQ() * Matrix::Identity(n, p));
    r_ = Matrix(qr.matrixQR().topRows(p).triangularView<Eigen::Upper>()) / root;
    back_ = r_.triangularView<Eigen::Upper>().solve(Matrix::Identity(p, p));
}

Vector Scoring::Impl::start() const {
    Vector working(q_.rows());
    for (Index i = 0; i < working.size(); ++i) {
        const double y = observed_.outcome[place(i)];
        const double none = observed_.trials[place(i)] - y;
        working[i] = (family_ == Family::binomial ? std::log((y + 0.5) / (none + 0.5)) : std::log(y + 0.5)) -
                     observed_.offset[place(i)];
    }
    return q_.transpose() * working / static_cast<double>(q_.rows());
}

Matrix Scoring::Impl::all() const {
    return Matrix::Identity(q_.cols(), q_.cols());
}

Matrix Scoring::Impl::beside(const Matrix& sums) {
    const Index p = sums.cols();
    const Matrix whole =
        Eigen::HouseholderQR<Matrix>(sums.transpose()).householderQ() * Matrix::Identity(p, p);
    return whole.rightCols(p - sums.rows());
}

Vector Scoring::Impl::predictor(const Vector& gamma) const {
    return q_ * gamma + Eigen::Map<const Vector>(observed_.offset.data(), q_.rows());
}

Kind Scoring::Impl::kind(std::optional<double> theta) const {
    return {.family = family_, .link = link_, .theta = theta};
}

ScoringPoint Scoring::Impl::at(const Kind& kind, const Vector& gamma) const {
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

int Scoring::Impl::open_side(std::size_t row) const {
    if (observed_.outcome[row] == 0.0) {
        return -1;
    }
    return family_ == Family::binomial && observed_.outcome[row] == observed_.trials[row] ? 1 : 0;
}

bool Scoring::Impl::is_endless(const Vector& step) const {
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

Found Scoring::Impl::climb(const Kind& kind, const Vector& from, const Matrix& basis) const {
    Found out{.point = at(kind, from), .step = Vector::Zero(from.size()), .theta = kind.theta};
    if (basis.cols() == 0) {
        out.end = ScoringEnd::reached;
        return out;
    }
    const auto slack = [](double value) { return 1e-13 * (1.0 + std::abs(value)); };
    const int rounds = penalty_ == Penalty::none ? most_rounds : most_penalised_rounds;
    for (int round = 0; round < rounds; ++round) {
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

std::optional<double> Scoring::Impl::first_theta(const Vector& gamma) const {
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

double Scoring::Impl::theta_score(const Vector& gamma, double theta) const {
    const Vector eta = predictor(gamma);
    double out = 0.0;
    for (Index i = 0; i < eta.size(); ++i) {
        out += theta_slopes(theta, observed_.outcome[place(i)], eta[i]).first;
    }
    return out;
}

Vector Scoring::Impl::null_predictor(std::optional<double> theta) const {
    Vector gamma = Vector::Zero(q_.cols());
    if (intercept_) {
        Impl alone = *this;
        alone.penalty_ = Penalty::none;
        const Matrix basis = r_.col(static_cast<Index>(*intercept_)).normalized();
        gamma = alone.climb(kind(theta), basis * (basis.transpose() * start()), basis).point.at;
    }
    return predictor(gamma);
}

Found Scoring::Impl::maximise(const Vector& from, const Matrix& basis) const {
    Found poisson = climb(kind(std::nullopt), from, basis);
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
    constexpr double widest = 25.0; // beyond it nothing of theta is left in any count, and its slope is noise
    const double first = std::log(*theta);
    if (first > widest) {
        return poisson;
    }
    const Ordinate begin{first, slope(first)};
    const double direction = begin.value > 0.0 ? 1.0 : -1.0;
    for (double reach = 0.5; reach < widest; reach *= 2.0) {
        const double at = first + (direction * reach);
        const Ordinate to{at, slope(at)};
        if (to.value * direction <= 0.0) {
            const double best = root_between(slope, begin, to);
            return climb(kind(std::exp(best)), warm, basis);
        }
    }
    return poisson;
}

Matrix Scoring::Impl::joint_covariance(const Vector& gamma, double theta) const {
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

namespace {

std::vector<double> plain(const Vector& values) {
    return {values.begin(), values.end()};
}

Vector vector_of(const std::vector<double>& values) {
    return Eigen::Map<const Vector>(values.data(), static_cast<Index>(values.size()));
}

} // namespace

Peak Scoring::Impl::plain_peak(const Found& found) const {
    return {.end = found.end,
            .coefficients = plain(back_ * found.point.at),
            .predictor = plain(predictor(found.point.at)),
            .direction = plain(back_ * found.step),
            .value = found.point.value,
            .log_likelihood = found.point.log_likelihood,
            .theta = found.theta};
}

Scoring::Scoring(const Design& design, Observed observed, Family family, Link link, Penalty penalty)
    : impl_(std::make_unique<Impl>(design, std::move(observed), family, link, penalty)) {}

Scoring::~Scoring() = default;
Scoring::Scoring(Scoring&&) noexcept = default;
Scoring& Scoring::operator=(Scoring&&) noexcept = default;

int Scoring::open_side(std::size_t row) const {
    return impl_->open_side(row);
}

Peak Scoring::best() const {
    const auto& own = *impl_;
    const auto found = own.maximise(own.start(), own.all());
    Peak out = own.plain_peak(found);
    if (found.end == ScoringEnd::reached) {
        const Matrix covariance = own.back() * found.point.information.inverse() * own.back().transpose();
        out.covariance.assign(covariance.data(), covariance.data() + covariance.size());
    }
    return out;
}

Peak Scoring::without(const Peak& best, const std::vector<std::vector<double>>& sums) const {
    const auto& own = *impl_;
    Matrix rows(static_cast<Index>(sums.size()), own.back().cols());
    for (Index r = 0; r < rows.rows(); ++r) {
        rows.row(r) = vector_of(sums[place(r)]);
    }
    const Matrix basis = Impl::beside(rows * own.back());
    return own.plain_peak(
        own.maximise(basis * (basis.transpose() * own.orthogonal(vector_of(best.coefficients))), basis));
}

std::vector<double> Scoring::null_predictor(std::optional<double> theta) const {
    return plain(impl_->null_predictor(theta));
}

double Scoring::limit(const Peak& best, std::size_t coefficient, double wanted, double direction) const {
    const auto& own = *impl_;
    const Vector sum = own.back().row(static_cast<Index>(coefficient));
    const Matrix basis = Impl::beside(sum.transpose());
    const auto p = static_cast<Index>(best.coefficients.size());
    // How all coefficients move with this one, by the curvature at the maximum.
    const Vector column =
        Eigen::Map<const Matrix>(best.covariance.data(), p, p).col(static_cast<Index>(coefficient));
    const double variance = column[static_cast<Index>(coefficient)];
    const Vector along = own.orthogonal(column / variance);
    Vector warm = own.orthogonal(vector_of(best.coefficients));
    // Where the information has no determinant there is no likelihood to start from: far beyond any limit,
    // and the next look starts where the last one was.
    const auto left = [&](double value) {
        const auto found = own.maximise(warm + (along * (value - sum.dot(warm))), basis);
        if (!std::isfinite(found.point.value)) {
            return -far_beyond;
        }
        warm = found.point.at;
        return wanted -
               std::min(far_beyond, std::sqrt(std::max(0.0, 2.0 * (best.value - found.point.value))));
    };
    const double from = best.coefficients[coefficient];
    Ordinate inner{from, wanted};
    constexpr double widest = 100.0; // standard errors
    for (double reach = wanted; reach < widest; reach *= 1.5) {
        const double at = from + (direction * reach * std::sqrt(variance));
        const Ordinate outer{at, left(at)};
        if (outer.value <= 0.0) {
            return root_between(left, inner, outer);
        }
        inner = outer;
    }
    return direction * std::numeric_limits<double>::infinity();
}

Scoring::Joint Scoring::joint(const Peak& best) const {
    const auto& own = *impl_;
    const auto p = static_cast<Index>(best.coefficients.size());
    const Matrix all = own.joint_covariance(own.orthogonal(vector_of(best.coefficients)), best.theta.value());
    const Matrix covariance = own.back() * all.topLeftCorner(p, p) * own.back().transpose();
    return {.log_theta_se = std::sqrt(all(p, p)), .coefficient_se = plain(covariance.diagonal().cwiseSqrt())};
}

} // namespace backeddy::stats::detail
