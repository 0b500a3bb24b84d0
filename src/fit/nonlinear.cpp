#include "fit/nonlinear.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

#include <Eigen/Dense>
#include <fmt/format.h>

namespace backeddy::fit {

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

std::span<const double> span_of(const VectorXd& v) {
    return {v.data(), static_cast<std::size_t>(v.size())};
}

/// The problem with its conveniences: clamped parameters, numerical derivatives.
class Surface {
  public:
    explicit Surface(const NonlinearProblem& problem) : problem_(problem) {}

    [[nodiscard]] VectorXd residuals(const VectorXd& p) const {
        VectorXd r(static_cast<Eigen::Index>(problem_.residuals));
        problem_.write_residuals(span_of(p), {r.data(), problem_.residuals});
        return r;
    }

    [[nodiscard]] MatrixXd jacobian(const VectorXd& p) const {
        const auto rows = static_cast<Eigen::Index>(problem_.residuals);
        MatrixXd j(rows, p.size());
        if (problem_.write_jacobian) {
            problem_.write_jacobian(span_of(p), {j.data(), static_cast<std::size_t>(j.size())});
            return j;
        }
        for (Eigen::Index k = 0; k < p.size(); ++k) {
            // The error of fourth-order differences and that of rounding meet near the 1/5 power of the
            // latter.
            j.col(k) = difference(p, k, 0.5 * std::pow(std::numeric_limits<double>::epsilon(), 0.2));
        }
        return j;
    }

    /// For the errors: each column at the step, of four, where halving it twice changes least.
    [[nodiscard]] MatrixXd careful_jacobian(const VectorXd& p) const {
        if (problem_.write_jacobian) {
            return jacobian(p);
        }
        MatrixXd j(static_cast<Eigen::Index>(problem_.residuals), p.size());
        for (Eigen::Index k = 0; k < p.size(); ++k) {
            double step = 2e-3;
            VectorXd coarse = difference(p, k, step);
            double least = std::numeric_limits<double>::infinity();
            for (int halving = 0; halving < 4; ++halving) {
                step *= 0.25;
                VectorXd fine = difference(p, k, step);
                const double change = (fine - coarse).norm();
                if (change < least || halving == 0) {
                    least = change;
                    j.col(k) = fine;
                }
                coarse = std::move(fine);
            }
        }
        return j;
    }

    [[nodiscard]] bool has_exact_derivatives() const { return static_cast<bool>(problem_.write_jacobian); }

    [[nodiscard]] VectorXd within(VectorXd p) const {
        for (Eigen::Index k = 0; k < p.size(); ++k) {
            const auto i = static_cast<std::size_t>(k);
            if (!problem_.lower.empty()) {
                p[k] = std::max(p[k], problem_.lower[i]);
            }
            if (!problem_.upper.empty()) {
                p[k] = std::min(p[k], problem_.upper[i]);
            }
        }
        return p;
    }

    /// On a bound, with the descent pointing out of it.
    [[nodiscard]] bool is_held(const VectorXd& p, const VectorXd& gradient, Eigen::Index k) const {
        const auto i = static_cast<std::size_t>(k);
        return (!problem_.lower.empty() && p[k] <= problem_.lower[i] && gradient[k] >= 0.0) ||
               (!problem_.upper.empty() && p[k] >= problem_.upper[i] && gradient[k] <= 0.0);
    }

  private:
    /// Derivative by parameter k, by central differences of fourth order, the step a share of the parameter.
    [[nodiscard]] VectorXd difference(const VectorXd& p, Eigen::Index k, double share) const {
        const auto at = [&](double by) {
            VectorXd moved = p;
            moved[k] += by;
            return residuals(moved);
        };
        const double h = share * std::max(std::abs(p[k]), 1e-8);
        VectorXd out = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
        if (!out.allFinite()) { // beside the edge of the curve's domain
            const double tiny = 0.01 * h;
            out = (at(tiny) - at(-tiny)) / (2.0 * tiny);
        }
        return out;
    }

    const NonlinearProblem& problem_;
};

Expected<void> check(const NonlinearProblem& problem) {
    const std::size_t p = problem.start.size();
    if (p == 0 || problem.residuals <= p) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values for {} parameters", problem.residuals, p),
                     .expected = "more values than parameters"});
    }
    const bool is_finite =
        std::all_of(problem.start.begin(), problem.start.end(), [](double v) { return std::isfinite(v); });
    if (!is_finite || (!problem.lower.empty() && problem.lower.size() != p) ||
        (!problem.upper.empty() && problem.upper.size() != p)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a start that is not finite, or bounds for another number of parameters",
                     .expected = "finite starts and as many bounds as parameters"});
    }
    return {};
}

struct Place {
    VectorXd p;
    VectorXd r;
    MatrixXd j;
    std::vector<bool> held;
    double squares = 0.0;
};

/// Columns of held parameters are nought, so that no step moves them.
void refresh(const Surface& surface, Place& place) {
    place.j = surface.jacobian(place.p);
    const VectorXd gradient = place.j.transpose() * place.r;
    place.held.assign(static_cast<std::size_t>(place.p.size()), false);
    for (Eigen::Index k = 0; k < place.p.size(); ++k) {
        if (surface.is_held(place.p, gradient, k)) {
            place.held[static_cast<std::size_t>(k)] = true;
            place.j.col(k).setZero();
        }
    }
}

/// Largest cosine between the residuals and a column of the Jacobian.
double flatness(const Place& place) {
    const double size = place.r.norm();
    double worst = 0.0;
    for (Eigen::Index k = 0; k < place.p.size(); ++k) {
        const double column = place.j.col(k).norm();
        if (column > 0.0 && size > 0.0) {
            worst = std::max(worst, std::abs(place.j.col(k).dot(place.r)) / (column * size));
        }
    }
    return worst;
}

Expected<NonlinearFit> finished(const NonlinearProblem& problem, const Surface& surface, const Place& place,
                                std::size_t iterations) {
    const MatrixXd derivatives = surface.careful_jacobian(place.p);
    const auto p = place.p.size();
    NonlinearFit out{.parameters = std::vector<double>(place.p.data(), place.p.data() + p),
                     .se = std::vector<double>(static_cast<std::size_t>(p), 0.0),
                     .covariance = std::vector<double>(static_cast<std::size_t>(p * p), 0.0),
                     .is_on_bound = place.held,
                     .residual_squares = place.squares,
                     .freedom = problem.residuals - static_cast<std::size_t>(p),
                     .iterations = iterations};
    const double variance = place.squares / static_cast<double>(out.freedom);
    out.residual_sd = std::sqrt(variance);
    std::vector<Eigen::Index> loose;
    for (Eigen::Index k = 0; k < p; ++k) {
        if (!place.held[static_cast<std::size_t>(k)]) {
            loose.push_back(k);
        }
    }
    if (loose.empty()) {
        return out;
    }
    const auto m = static_cast<Eigen::Index>(loose.size());
    MatrixXd j(place.j.rows(), m);
    VectorXd scale(m);
    for (Eigen::Index k = 0; k < m; ++k) {
        scale[k] = derivatives.col(loose[static_cast<std::size_t>(k)]).norm();
        if (!(scale[k] > 0.0)) {
            scale[k] = 0.0;
            continue;
        }
        j.col(k) = derivatives.col(loose[static_cast<std::size_t>(k)]) / scale[k];
    }
    const Eigen::ColPivHouseholderQR<MatrixXd> qr(j);
    const auto& r = qr.matrixR();
    // Differences leave noise of their own in columns that are really alike.
    const double least_rank = surface.has_exact_derivatives() ? 1e-13 : 1e-10;
    if (scale.minCoeff() <= 0.0 || !(std::abs(r(m - 1, m - 1)) > least_rank * std::abs(r(0, 0)))) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} parameters, not all of which these {} values can tell apart", p,
                                          problem.residuals),
                     .expected = "values that fix every parameter",
                     .remedy = "hold a parameter fixed or use a simpler curve"});
    }
    const MatrixXd inverse =
        r.topLeftCorner(m, m).triangularView<Eigen::Upper>().solve(MatrixXd::Identity(m, m));
    const MatrixXd turned = qr.colsPermutation() * inverse;
    const MatrixXd covariance = turned * turned.transpose();
    for (Eigen::Index a = 0; a < m; ++a) {
        for (Eigen::Index b = 0; b < m; ++b) {
            const auto i = loose[static_cast<std::size_t>(a)];
            const auto k = loose[static_cast<std::size_t>(b)];
            out.covariance[static_cast<std::size_t>((i * p) + k)] =
                variance * covariance(a, b) / (scale[a] * scale[b]);
        }
        const auto i = static_cast<std::size_t>(loose[static_cast<std::size_t>(a)]);
        out.se[i] = std::sqrt(out.covariance_of(i, i));
    }
    return out;
}

enum class Scaling : std::uint8_t {
    largest_seen, ///< More's: a column's largest norm so far
    present,      ///< Marquardt's: its norm now, which forgets a start in a steep place
};

struct Caution {
    double damping = 1e-3;
    Scaling scaling = Scaling::largest_seen;
};

Expected<NonlinearFit> descend(const NonlinearProblem& problem, const NonlinearOptions& options,
                               Caution caution) {
    const Surface surface(problem);
    Place here;
    here.p = surface.within(
        Eigen::Map<const VectorXd>(problem.start.data(), static_cast<Eigen::Index>(problem.start.size())));
    here.r = surface.residuals(here.p);
    here.squares = here.r.squaredNorm();
    if (!std::isfinite(here.squares)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a curve without a value at the start",
                     .expected = "finite residuals at the start"});
    }
    refresh(surface, here);
    const auto p = here.p.size();
    VectorXd scale = VectorXd::Zero(p);
    double damping = caution.damping;
    double growth = 2.0;
    int small_steps = 0;
    for (std::size_t iteration = 0; iteration < options.most_iterations; ++iteration) {
        if (!here.j.allFinite()) {
            return fail({.code = ErrorCode::not_converged,
                         .found = fmt::format("a curve without derivatives after {} steps", iteration),
                         .expected = "a curve that is smooth around the start",
                         .remedy = "start nearer"});
        }
        if (flatness(here) < options.tolerance || small_steps >= 3 || here.squares == 0.0) {
            return finished(problem, surface, here, iteration);
        }
        const VectorXd columns = here.j.colwise().norm().transpose();
        scale = caution.scaling == Scaling::largest_seen ? VectorXd(scale.cwiseMax(columns)) : columns;
        // The damped step as an ordinary least-squares problem with rows of damping below.
        MatrixXd tall(here.j.rows() + p, p);
        tall.topRows(here.j.rows()) = here.j;
        tall.bottomRows(p).setZero();
        for (Eigen::Index k = 0; k < p; ++k) {
            tall(here.j.rows() + k, k) = std::sqrt(damping) * (scale[k] > 0.0 ? scale[k] : 1.0);
        }
        VectorXd right = VectorXd::Zero(tall.rows());
        right.head(here.r.size()) = -here.r;
        const VectorXd wished = tall.householderQr().solve(right);
        Place next;
        next.p = surface.within(here.p + wished);
        const VectorXd step = next.p - here.p;
        next.r = surface.residuals(next.p);
        next.squares = next.r.squaredNorm();
        const double foretold = here.squares - (here.r + (here.j * step)).squaredNorm();
        const double gain = foretold > 0.0 ? (here.squares - next.squares) / foretold : -1.0;
        const bool is_small =
            (step.array().abs() <= options.tolerance * (here.p.array().abs() + options.tolerance)).all();
        if (std::isfinite(next.squares) && next.squares <= here.squares && gain > 0.0) {
            small_steps = is_small ? small_steps + 1 : 0;
            refresh(surface, next);
            here = std::move(next);
            const double trust = 1.0 - std::pow((2.0 * gain) - 1.0, 3.0);
            damping = std::max(1e-15, damping * std::clamp(trust, 1.0 / 3.0, 2.0));
            growth = 2.0;
        } else {
            // No way down that rounding lets us see, however short the step.
            small_steps = is_small ? small_steps + 1 : small_steps;
            damping *= growth;
            growth = std::min(growth * 2.0, 64.0);
        }
    }
    return fail({.code = ErrorCode::not_converged,
                 .found = fmt::format("no minimum after {} steps", options.most_iterations),
                 .expected = "a curve that these values fix",
                 .remedy = "start nearer, or use a simpler curve"});
}

} // namespace

Expected<NonlinearFit> fit_nonlinear(const NonlinearProblem& problem, const NonlinearOptions& options) {
    if (auto fine = check(problem); !fine) {
        return fail(std::move(fine).error());
    }
    auto first = descend(problem, options, {});
    if (first || first.error().code == ErrorCode::out_of_range) {
        return first;
    }
    // A bold first step can land where the curve is flat and nothing leads back: try again, more carefully.
    for (const Caution caution : {Caution{.damping = 1e-3, .scaling = Scaling::present},
                                  Caution{.damping = 1e3, .scaling = Scaling::largest_seen},
                                  Caution{.damping = 1e3, .scaling = Scaling::present}}) {
        auto again = descend(problem, options, caution);
        if (again) {
            return again;
        }
    }
    return first;
}

} // namespace backeddy::fit
