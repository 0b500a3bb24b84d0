#include "stats/detail/laplace.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>

#include <Eigen/Dense>

namespace backeddy::stats::detail {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

std::size_t place(Index i) {
    return static_cast<std::size_t>(i);
}

/// Nodes of Gauss and Hermite, and the logarithms of their weights times exp(x^2), by the eigenvalues of the
/// recurrence (Golub and Welsch 1969, Math Comp 23:221).
void gauss_hermite(std::size_t count, std::vector<double>& nodes, std::vector<double>& log_weights) {
    const auto n = static_cast<Index>(count);
    Vector beside(n - 1);
    for (Index k = 0; k + 1 < n; ++k) {
        beside[k] = std::sqrt(0.5 * static_cast<double>(k + 1));
    }
    Eigen::SelfAdjointEigenSolver<Matrix> solver;
    solver.computeFromTridiagonal(Vector::Zero(n), beside);
    for (Index k = 0; k < n; ++k) {
        const double x = solver.eigenvalues()[k];
        nodes.push_back(x);
        log_weights.push_back((0.5 * std::log(std::numbers::pi)) +
                              (2.0 * std::log(std::abs(solver.eigenvectors()(0, k)))) + (x * x));
    }
}

} // namespace

class Laplace::Impl {
  public:
    Impl(Family family, Link link, Observed observed, const std::vector<Grouping>& groups, std::size_t nodes);

    [[nodiscard]] double minus_log_likelihood(const Vector& fixed, std::span<const double> sds,
                                              std::optional<double> theta);
    [[nodiscard]] const Vector& modes() const { return modes_; }
    [[nodiscard]] const Vector& predictor() const { return eta_; }

  private:
    /// Negative second derivative of the integrand's logarithm: the largest group's part is diagonal.
    struct Curvature {
        Vector first;
        Matrix cross;
        Matrix rest;
    };
    struct Height {
        double value = 0.0;
        Vector slope;
        Curvature curvature;
        Vector eta;
    };
    [[nodiscard]] Height height(const Kind& kind, const Vector& fixed, std::span<const double> sds,
                                const Vector& u) const;
    /// The solution of curvature x = right, and the logarithm of its determinant.
    [[nodiscard]] Vector solve(const Curvature& curvature, const Vector& right, double& log_det) const;
    [[nodiscard]] double quadrature(const Kind& kind, const Vector& fixed, double sd,
                                    const Height& at_mode) const;

    Family family_;
    Link link_;
    Observed observed_;
    double constants_ = 0.0;                      ///< of the likelihood
    double theta_part_ = 0.0;                     ///< at the theta that is looked at
    std::map<double, double> times_;              ///< how often each outcome is there
    std::vector<std::vector<std::size_t>> codes_; ///< by group, of every row
    std::vector<Index> begin_;                    ///< of each group's levels in `modes_`
    std::size_t largest_ = 0;
    std::vector<Index> place_; ///< of every level: among the largest group's, or among the rest
    std::vector<double> nodes_;
    std::vector<double> log_weights_;
    Vector modes_;
    Vector eta_;
};

Laplace::Impl::Impl(Family family, Link link, Observed observed, const std::vector<Grouping>& groups,
                    std::size_t nodes)
    : family_(family), link_(link), observed_(std::move(observed)) {
    for (std::size_t i = 0; i < observed_.outcome.size(); ++i) {
        constants_ += row_constant(family, observed_.outcome[i], observed_.trials[i]);
        times_[observed_.outcome[i]] += 1.0;
    }
    Index all = 0;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        codes_.push_back(groups[g].codes);
        begin_.push_back(all);
        all += static_cast<Index>(groups[g].levels.size());
        if (groups[g].levels.size() > groups[largest_].levels.size()) {
            largest_ = g;
        }
    }
    Index rest = 0;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        for (std::size_t level = 0; level < groups[g].levels.size(); ++level) {
            place_.push_back(g == largest_ ? static_cast<Index>(level) : rest++);
        }
    }
    if (nodes > 1) {
        gauss_hermite(nodes, nodes_, log_weights_);
    }
    modes_ = Vector::Zero(all);
}

Laplace::Impl::Height Laplace::Impl::height(const Kind& kind, const Vector& fixed,
                                            std::span<const double> sds, const Vector& u) const {
    const std::size_t groups = codes_.size();
    const Index end = largest_ + 1 < groups ? begin_[largest_ + 1] : u.size();
    const Index own = end - begin_[largest_];
    const Index others = u.size() - own;
    Height out{.value = constants_ + theta_part_ - (0.5 * u.squaredNorm()),
               .slope = -u,
               .curvature = {.first = Vector::Ones(own),
                             .cross = Matrix::Zero(own, others),
                             .rest = Matrix::Identity(others, others)},
               .eta = fixed};
    for (Index i = 0; i < fixed.size(); ++i) {
        const std::size_t row = place(i);
        for (std::size_t g = 0; g < groups; ++g) {
            out.eta[i] += sds[g] * u[begin_[g] + static_cast<Index>(codes_[g][row])];
        }
        const auto slopes = predictor_slopes(kind, observed_.outcome[row], observed_.trials[row], out.eta[i]);
        out.value += slopes.value;
        for (std::size_t g = 0; g < groups; ++g) {
            const Index at = begin_[g] + static_cast<Index>(codes_[g][row]);
            out.slope[at] += sds[g] * slopes.first;
            for (std::size_t h = 0; h < groups; ++h) {
                const Index to = begin_[h] + static_cast<Index>(codes_[h][row]);
                const double bend = -sds[g] * sds[h] * slopes.second;
                if (g == largest_ && h == largest_) {
                    out.curvature.first[place_[place(at)]] += bend;
                } else if (g == largest_) {
                    out.curvature.cross(place_[place(at)], place_[place(to)]) += bend;
                } else if (h != largest_) {
                    out.curvature.rest(place_[place(at)], place_[place(to)]) += bend;
                }
            }
        }
    }
    return out;
}

Vector Laplace::Impl::solve(const Curvature& curvature, const Vector& right, double& log_det) const {
    const Index own = curvature.first.size();
    const Index begin = begin_[largest_];
    Vector first = right.segment(begin, own);
    Vector rest(right.size() - own);
    rest << right.head(begin), right.tail(right.size() - begin - own);
    log_det = curvature.first.array().log().sum();
    if (rest.size() > 0) {
        const Matrix turned = curvature.first.cwiseInverse().asDiagonal() * curvature.cross;
        const Eigen::LLT<Matrix> factor(curvature.rest - curvature.cross.transpose() * turned);
        log_det += 2.0 * factor.matrixLLT().diagonal().array().log().sum();
        rest = factor.solve(rest - turned.transpose() * first);
        first -= curvature.cross * rest;
    }
    first = first.cwiseQuotient(curvature.first);
    Vector out(right.size());
    out << rest.head(begin), first, rest.tail(rest.size() - begin);
    return out;
}

double Laplace::Impl::quadrature(const Kind& kind, const Vector& fixed, double sd,
                                 const Height& at_mode) const {
    const Index levels = modes_.size();
    const auto count = nodes_.size();
    const Vector spread = at_mode.curvature.first.cwiseSqrt().cwiseInverse();
    Matrix logs(levels, static_cast<Index>(count));
    for (std::size_t k = 0; k < count; ++k) {
        const Vector u = modes_ + std::numbers::sqrt2 * nodes_[k] * spread;
        logs.col(static_cast<Index>(k)) = (-0.5 * u.array().square()) + log_weights_[k];
        for (Index i = 0; i < fixed.size(); ++i) {
            const std::size_t row = place(i);
            const auto level = static_cast<Index>(codes_[0][row]);
            logs(level, static_cast<Index>(k)) +=
                predictor_slopes(kind, observed_.outcome[row], observed_.trials[row],
                                 fixed[i] + (sd * u[level]))
                    .value;
        }
    }
    double out = constants_ + theta_part_;
    for (Index level = 0; level < levels; ++level) {
        const double top = logs.row(level).maxCoeff();
        out += top + std::log((logs.row(level).array() - top).exp().sum()) + std::log(spread[level]) -
               (0.5 * std::log(std::numbers::pi));
    }
    return -out;
}

double Laplace::Impl::minus_log_likelihood(const Vector& fixed, std::span<const double> sds,
                                           std::optional<double> theta) {
    const Kind kind{.family = family_, .link = link_, .theta = theta};
    theta_part_ = 0.0;
    for (const auto& [outcome, times] : times_) {
        theta_part_ += times * detail::theta_part(kind, outcome);
    }
    Height here = height(kind, fixed, sds, modes_);
    if (!std::isfinite(here.value)) {
        modes_.setZero();
        here = height(kind, fixed, sds, modes_);
    }
    double log_det = 0.0;
    for (int round = 0; round < 100 && std::isfinite(here.value); ++round) {
        Vector step = solve(here.curvature, here.slope, log_det);
        const double length = step.cwiseAbs().maxCoeff();
        Height next = height(kind, fixed, sds, modes_ + step);
        for (int halving = 0;
             halving < 40 && !(next.value >= here.value - (1e-12 * (1.0 + std::abs(here.value))));
             ++halving) {
            step *= 0.5;
            next = height(kind, fixed, sds, modes_ + step);
        }
        modes_ += step;
        here = std::move(next);
        if (!(length > 1e-8)) { // what is left is about its square
            break;
        }
    }
    eta_ = here.eta;
    if (!std::isfinite(here.value)) {
        modes_.setZero();
        return 1e100; // where the search should turn back
    }
    if (!nodes_.empty()) {
        return quadrature(kind, fixed, sds[0], here);
    }
    (void)solve(here.curvature, here.slope, log_det);
    return (0.5 * log_det) - here.value;
}

Laplace::Laplace(Family family, Link link, Observed observed, const std::vector<Grouping>& groups,
                 std::size_t nodes)
    : impl_(std::make_unique<Impl>(family, link, std::move(observed), groups, nodes)) {}

Laplace::~Laplace() = default;
Laplace::Laplace(Laplace&&) noexcept = default;
Laplace& Laplace::operator=(Laplace&&) noexcept = default;

double Laplace::operator()(std::span<const double> fixed, std::span<const double> sds,
                           std::optional<double> theta) {
    return impl_->minus_log_likelihood(
        Eigen::Map<const Vector>(fixed.data(), static_cast<Index>(fixed.size())), sds, theta);
}

std::vector<double> Laplace::modes() const {
    return {impl_->modes().begin(), impl_->modes().end()};
}

std::vector<double> Laplace::predictor() const {
    return {impl_->predictor().begin(), impl_->predictor().end()};
}

} // namespace backeddy::stats::detail
