#include "stats/detail/minimise.hpp"

#include <algorithm>
#include <cmath>
#include <memory>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <nlopt.h>

namespace backeddy::stats::detail {

namespace {

struct Counted {
    const Function* function = nullptr;
    std::size_t calls = 0;
};

double call(unsigned n, const double* x, double* /*gradient*/, void* data) {
    auto& counted = *static_cast<Counted*>(data);
    ++counted.calls;
    return (*counted.function)({x, n});
}

/// The function along one of the numbers, or two at a time.
struct Around {
    const Function& function;
    std::vector<double> at;
    std::size_t calls = 0;

    double operator()(std::size_t i, double di, std::size_t j = 0, double dj = 0.0) {
        const double xi = at[i];
        const double xj = at[j];
        at[i] += di;
        at[j] += dj;
        ++calls;
        const double value = function(at);
        at[j] = xj;
        at[i] = xi;
        return value;
    }
};

} // namespace

Expected<Minimum> minimise(const Function& function, std::vector<double> start, const Bounds& bounds,
                           double step, double tolerance) {
    const auto n = static_cast<unsigned>(start.size());
    const std::unique_ptr<nlopt_opt_s, void (*)(nlopt_opt)> tool(nlopt_create(NLOPT_LN_BOBYQA, n),
                                                                 nlopt_destroy);
    Counted counted{.function = &function};
    nlopt_set_min_objective(tool.get(), call, &counted);
    nlopt_set_lower_bounds(tool.get(), bounds.lower.data());
    nlopt_set_upper_bounds(tool.get(), bounds.upper.data());
    nlopt_set_initial_step1(tool.get(), step);
    nlopt_set_xtol_abs1(tool.get(), tolerance);
    nlopt_set_maxeval(tool.get(), 2000 * static_cast<int>(n));
    double value = 0.0;
    const nlopt_result end = nlopt_optimize(tool.get(), start.data(), &value);
    // Rounding is met when the trust region is asked to shrink below what the function resolves.
    if ((end < 0 && end != NLOPT_ROUNDOFF_LIMITED) || end == NLOPT_MAXEVAL_REACHED || !std::isfinite(value)) {
        return fail({.code = ErrorCode::not_converged,
                     .found = std::isfinite(value)
                                  ? fmt::format("the search stopped after {} evaluations ({})", counted.calls,
                                                nlopt_result_to_string(end))
                                  : std::string("the search came to where the likelihood is no number: the "
                                                "rows hardly bound it"),
                     .expected = "a maximum of the likelihood",
                     .remedy = "a smaller model, or more rows"});
    }
    return Minimum{.at = std::move(start), .value = value, .evaluations = counted.calls};
}

Minimum polish(const Function& function, Minimum from, const Bounds& bounds) {
    for (int round = 0; round < 8; ++round) {
        std::vector<std::size_t> free;
        std::vector<double> h;
        for (std::size_t i = 0; i < from.at.size(); ++i) {
            const double room = std::min(from.at[i] - bounds.lower[i], bounds.upper[i] - from.at[i]);
            if (room > 0.0) {
                free.push_back(i);
                h.push_back(std::min(1e-3 * std::max(std::abs(from.at[i]), 0.3), 0.4 * room));
            }
        }
        const auto k = static_cast<Eigen::Index>(free.size());
        if (k == 0) {
            from.is_polished = true;
            break;
        }
        Around around{.function = function, .at = from.at};
        std::vector<double> pairs; ///< what each does alone, moved both ways
        Eigen::VectorXd gradient(k);
        Eigen::MatrixXd hessian(k, k);
        for (Eigen::Index a = 0; a < k; ++a) {
            const std::size_t i = free[static_cast<std::size_t>(a)];
            const double hi = h[static_cast<std::size_t>(a)];
            const double up = around(i, hi);
            const double down = around(i, -hi);
            const double up2 = around(i, 2.0 * hi);
            const double down2 = around(i, -2.0 * hi);
            pairs.push_back(up + down - (2.0 * from.value));
            gradient[a] = ((8.0 * (up - down)) - (up2 - down2)) / (12.0 * hi);
            hessian(a, a) = (up2 + down2 - (2.0 * from.value)) / (4.0 * hi * hi);
            for (Eigen::Index b = 0; b < a; ++b) {
                const std::size_t j = free[static_cast<std::size_t>(b)];
                const double hj = h[static_cast<std::size_t>(b)];
                // Both moved the same way, less what each does alone: two values where the usual form takes
                // four.
                const double both = around(i, hi, j, hj) + around(i, -hi, j, -hj) - (2.0 * from.value);
                hessian(a, b) = hessian(b, a) =
                    (both - pairs[static_cast<std::size_t>(a)] - pairs[static_cast<std::size_t>(b)]) /
                    (2.0 * hi * hj);
            }
        }
        const Eigen::LLT<Eigen::MatrixXd> factor(hessian);
        from.evaluations += around.calls + 1;
        if (factor.info() != Eigen::Success) {
            break;
        }
        const Eigen::VectorXd step = factor.solve(gradient);
        std::vector<double> next = from.at;
        double length = 0.0;
        for (Eigen::Index a = 0; a < k; ++a) {
            const std::size_t i = free[static_cast<std::size_t>(a)];
            next[i] = std::clamp(next[i] - step[a], bounds.lower[i], bounds.upper[i]);
            length = std::max(length, std::abs(step[a]));
        }
        const double value = function(next);
        // Near the minimum two values differ by less than they are rounded: a step is judged by its length
        // too.
        if (!(value <= from.value + (1e-13 * std::abs(from.value)))) {
            break;
        }
        from.at = std::move(next);
        from.value = value;
        if (length < 3e-5) { // the next would be about its square
            from.is_polished = true;
            break;
        }
    }
    return from;
}

} // namespace backeddy::stats::detail
