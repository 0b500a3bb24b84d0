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
