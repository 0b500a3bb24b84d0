#include "condition/logistic_curve.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <numeric>

#include <boost/math/distributions/fisher_f.hpp>
#include <fmt/format.h>

#include "fit/nonlinear.hpp"
#include "fit/student.hpp"

namespace backeddy::condition {

namespace {

/// How far the search may go: a curve out there is one that the standards do not fix.
constexpr double farthest_half = 1000.0; ///< times the highest, or a share of the lowest, standard
constexpr double farthest_shape = 20.0;  ///< slope and asymmetry, and one over it
/// A search that stops this near (of a logarithm) was on its way to the bound.
constexpr double near_bound = 0.01;
/// Sine of the angle between one column of the Jacobian and the others under which they say the same.
constexpr double least_angle = 1e-6;
/// Level of F at which the curve must beat a flat line. A choice, far under 0.05 since the curve picks its
/// half-way concentration, and so F is too great, where there is none; a curve of use has an F of hundreds.
constexpr double flat_level = 0.001;

std::size_t count_of(LogisticKind kind) {
    return kind == LogisticKind::four ? 4 : 5;
}

LogisticCurve curve_of(std::span<const double> p) {
    return {.at_zero = p[0],
            .at_infinity = p[1],
            .half = std::exp(p[2]),
            .slope = std::exp(p[3]),
            .asymmetry = p.size() > 4 ? std::exp(p[4]) : 1.0};
}

/// 2^(1/g) - 1, which puts the half-way response at `half`.
double half_factor(double asymmetry) {
    return std::expm1(std::numbers::ln2 / asymmetry);
}

/// The curve's place at one concentration, as a share of the way from at_infinity (0) to at_zero (1).
struct Place {
    double share = 1.0;
    double by_log_x = 0.0;         ///< derivative of the share
    double by_log_slope = 0.0;     ///< likewise
    double by_log_asymmetry = 0.0; ///< likewise
};

Place place_at(const LogisticCurve& c, double x) {
    if (x <= 0.0) {
        return {};
    }
    const double distance = c.slope * std::log(x / c.half);
    const double k = half_factor(c.asymmetry);
    const double s = k * std::exp(distance);
    const double log_q = std::log1p(s);
    const double share = std::exp(-c.asymmetry * log_q);
    const double s_over_q = 1.0 / (1.0 + (1.0 / s)); // 1 where s overflows
    const double by_log_s = -c.asymmetry * share * s_over_q;
    const double log_k_by_log_asymmetry = -(k + 1.0) * std::numbers::ln2 / (c.asymmetry * k);
    return {.share = share,
            .by_log_x = by_log_s * c.slope,
            .by_log_slope = by_log_s * distance,
            .by_log_asymmetry = (-c.asymmetry * share * log_q) + (by_log_s * log_k_by_log_asymmetry)};
}

LogisticGradient gradient_at(const LogisticCurve& c, const Place& place) {
    const double span = c.at_zero - c.at_infinity;
    return {place.share, 1.0 - place.share, -span * place.by_log_x, span * place.by_log_slope,
            span * place.by_log_asymmetry};
}

/// The standards as they are fitted, with what the fit needs to know of them.
struct Standards {
    std::span<const double> x;
    std::span<const double> y;
    std::map<double, double> level_means; ///< response by concentration

    [[nodiscard]] double lowest() const {
        return level_means.begin()->first > 0.0 ? level_means.begin()->first
                                                : std::next(level_means.begin())->first;
    }
    [[nodiscard]] double highest() const { return level_means.rbegin()->first; }
};

std::map<double, double> level_means(std::span<const double> x, std::span<const double> y) {
    std::map<double, std::pair<double, double>> sums;
    for (std::size_t i = 0; i < x.size(); ++i) {
        auto& [sum, count] = sums[x[i]];
        sum += y[i];
        count += 1.0;
    }
    std::map<double, double> means;
    for (const auto& [level, sum] : sums) {
        means[level] = sum.first / sum.second;
    }
    return means;
}

Error out_of_range(std::string found, std::string expected, std::string remedy) {
    return {.code = ErrorCode::out_of_range,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = std::move(remedy)};
}

std::optional<Error> fault_of(const ResponseVariance& variance) {
    double total = 0.0;
    for (const auto& part : variance.parts) {
        total += part.coefficient;
        if (!(part.power >= 0.0 && part.power <= 4.0)) {
            return out_of_range(fmt::format("a variance power of {}", part.power), "0 to 4",
                                "0 weighs all responses alike, 2 takes their CV for constant");
        }
        if (!(part.coefficient >= 0.0) || !std::isfinite(part.coefficient)) {
            return out_of_range(fmt::format("a part of a variance of {}", part.coefficient), "0 or more",
                                "leave the part out");
        }
    }
    if (!(total > 0.0)) {
        return out_of_range("a variance without parts above 0", "at least one", "weigh all alike (power 0)");
    }
    return std::nullopt;
}

Expected<Standards> checked(std::span<const double> x, std::span<const double> y,
                            const LogisticOptions& options) {
    if (x.size() != y.size() || (!options.weights.empty() && options.weights.size() != y.size())) {
        return fail(out_of_range(fmt::format("{} concentrations, {} responses, {} weights", x.size(),
                                             y.size(), options.weights.size()),
                                 "as many of each", "give each standard its response and weight"));
    }
    if (auto fault = fault_of(options.variance)) {
        return fail(std::move(*fault));
    }
    for (std::size_t i = 0; i < x.size(); ++i) {
        if (!(x[i] >= 0.0) || !std::isfinite(x[i]) || !std::isfinite(y[i])) {
            return fail(out_of_range(
                fmt::format("a standard of concentration {} with the response {}", x[i], y[i]),
                "a concentration of 0 or more and a finite response", "correct it or leave it out"));
        }
        if (!options.variance.has_floor() && y[i] <= 0.0) {
            return fail(out_of_range(
                fmt::format("a standard of concentration {} with the response {}", x[i], y[i]),
                "responses above 0, since they are weighted by a power of the response",
                "fit responses without the blank taken off, or weigh all alike (variance power 0)"));
        }
    }
    for (const double w : options.weights) {
        if (!(w > 0.0) || !std::isfinite(w)) {
            return fail(out_of_range(fmt::format("a weight of {}", w), "weights above 0",
                                     "leave a standard out that shall not count"));
        }
    }
    Standards standards{.x = x, .y = y, .level_means = level_means(x, y)};
    const std::size_t parameters = count_of(options.kind);
    if (standards.level_means.size() < parameters || y.size() <= parameters) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} responses at {} different concentrations", y.size(),
                                          standards.level_means.size()),
                     .expected = fmt::format("at least {} concentrations and {} responses for a curve of {} "
                                             "parameters",
                                             parameters, parameters + 1, parameters),
                     .remedy = parameters > 4 ? "fit four parameters" : "read more standards"});
    }
    const auto [least, most] = std::ranges::minmax(y);
    if (least == most) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("the response {} at every standard", least),
                     .expected = "responses that change with concentration",
                     .remedy = "check which wells hold the standards"});
    }
    return standards;
}

/// Where straight lines between the levels' means cross the middle of the range; first guess of ln half.
double guessed_log_half(const Standards& standards) {
    const double middle =
        (standards.level_means.begin()->second + standards.level_means.rbegin()->second) / 2.0;
    const double floor = standards.lowest() / 2.0; // stands for a concentration of 0
    auto before = standards.level_means.begin();
    for (auto after = std::next(before); after != standards.level_means.end(); before = after++) {
        const double a = before->second - middle;
        const double b = after->second - middle;
        if (a * b <= 0.0 && a != b) {
            const double from = std::log(std::max(before->first, floor));
            const double to = std::log(std::max(after->first, floor));
            return from + ((to - from) * a / (a - b));
        }
    }
    return (std::log(standards.lowest()) + std::log(standards.highest())) / 2.0;
}

std::vector<std::vector<double>> starts_of_four(const Standards& standards) {
    const double first = standards.level_means.begin()->second;
    const double last = standards.level_means.rbegin()->second;
    const double log_half = guessed_log_half(standards);
    std::vector<std::vector<double>> starts;
    for (const double beyond : {0.02, 0.3}) { // how far the asymptotes lie outside what was seen
        for (const double moved : {0.0, -1.5, 1.5}) {
            for (const double slope : {1.0, 0.6, 2.0}) {
                starts.push_back({first + (beyond * (first - last)), last + (beyond * (last - first)),
                                  log_half + moved, std::log(slope)});
            }
        }
    }
    return starts;
}

/// The search's bounds; the two asymptotes have none.
struct Bounds {
    std::vector<double> lower;
    std::vector<double> upper;
};

Bounds bounds_of(const Standards& standards, std::size_t count) {
    const double shape = std::log(farthest_shape);
    const double unbounded = std::numeric_limits<double>::infinity();
    Bounds bounds{
        .lower = {-unbounded, -unbounded, std::log(standards.lowest() / farthest_half), -shape, -shape},
        .upper = {unbounded, unbounded, std::log(standards.highest() * farthest_half), shape, shape}};
    bounds.lower.resize(count);
    bounds.upper.resize(count);
    return bounds;
}

Expected<fit::NonlinearFit> fit_from(const Standards& standards, std::span<const double> root_weights,
                                     std::vector<double> start) {
    const std::size_t n = standards.x.size();
    fit::NonlinearProblem problem{.residuals = n, .start = std::move(start)};
    const std::size_t count = problem.start.size();
    Bounds bounds = bounds_of(standards, count);
    problem.lower = std::move(bounds.lower);
    problem.upper = std::move(bounds.upper);
    problem.write_residuals = [&](std::span<const double> p, std::span<double> residuals) {
        const LogisticCurve curve = curve_of(p);
        for (std::size_t i = 0; i < n; ++i) {
            residuals[i] = root_weights[i] * (standards.y[i] - curve.response(standards.x[i]));
        }
    };
    problem.write_jacobian = [&, count](std::span<const double> p, std::span<double> jacobian) {
        const LogisticCurve curve = curve_of(p);
        for (std::size_t i = 0; i < n; ++i) {
            const auto gradient = gradient_at(curve, place_at(curve, standards.x[i]));
            for (std::size_t j = 0; j < count; ++j) {
                jacobian[i + (j * n)] = -root_weights[i] * gradient[j];
            }
        }
    };
    return fit::fit_nonlinear(problem, {.most_iterations = 300});
}

/// A start from the least squares on a grid of half-way concentration and slope: given both, the asymptotes
/// are those of a straight line on the curve's share, so that no start can be too far off.
struct GridPoint {
    std::vector<double> parameters;
    double squares = std::numeric_limits<double>::infinity();
};

GridPoint line_on_share(const Standards& standards, std::span<const double> root_weights, double log_half,
                        double log_slope) {
    const LogisticCurve unit{
        .at_zero = 1.0, .at_infinity = 0.0, .half = std::exp(log_half), .slope = std::exp(log_slope)};
    const std::size_t n = standards.x.size();
    std::vector<double> share(n);
    double total = 0.0;
    double mean_share = 0.0;
    double mean_y = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        share[i] = unit.response(standards.x[i]);
        const double w = root_weights[i] * root_weights[i];
        total += w;
        mean_share += w * share[i];
        mean_y += w * standards.y[i];
    }
    mean_share /= total;
    mean_y /= total;
    double shares = 0.0;
    double both = 0.0;
    double ys = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double w = root_weights[i] * root_weights[i];
        shares += w * (share[i] - mean_share) * (share[i] - mean_share);
        both += w * (share[i] - mean_share) * (standards.y[i] - mean_y);
        ys += w * (standards.y[i] - mean_y) * (standards.y[i] - mean_y);
    }
    if (!(shares > 0.0)) {
        return {};
    }
    const double span = both / shares;
    const double at_infinity = mean_y - (span * mean_share);
    return {.parameters = {at_infinity + span, at_infinity, log_half, log_slope},
            .squares = std::max(0.0, ys - (span * both))};
}

GridPoint best_on_grid(const Standards& standards, std::span<const double> root_weights) {
    constexpr int halves = 40;
    constexpr int slopes = 16;
    const Bounds bounds = bounds_of(standards, 4);
    GridPoint best;
    for (int i = 0; i <= halves; ++i) {
        for (int j = 0; j <= slopes; ++j) {
            const auto at = [&](std::size_t k, int step, int steps) {
                return bounds.lower[k] + ((bounds.upper[k] - bounds.lower[k]) * step / steps);
            };
            auto point = line_on_share(standards, root_weights, at(2, i, halves), at(3, j, slopes));
            if (point.squares < best.squares) {
                best = std::move(point);
            }
        }
    }
    return best;
}

Error not_fixed(LogisticKind kind, std::string found) {
    return {.code = ErrorCode::degenerate,
            .found = std::move(found),
            .expected = "standards that bend at both ends and so fix the curve",
            .remedy = kind == LogisticKind::five
                          ? "fit four parameters"
                          : "read standards over a wider range, and check their wells"};
}

/// The least of the sines by which the Jacobian's columns, brought to one length, leave those before them
/// (Gram-Schmidt): 0 where one parameter does what others do.
double least_sine(const Standards& standards, std::span<const double> root_weights,
                  const std::vector<double>& parameters) {
    const LogisticCurve curve = curve_of(parameters);
    const std::size_t n = standards.x.size();
    std::vector<std::vector<double>> columns(parameters.size(), std::vector<double>(n));
    for (std::size_t i = 0; i < n; ++i) {
        const auto gradient = gradient_at(curve, place_at(curve, standards.x[i]));
        for (std::size_t j = 0; j < columns.size(); ++j) {
            columns[j][i] = root_weights[i] * gradient[j];
        }
    }
    const auto dot = [](const std::vector<double>& a, const std::vector<double>& b) {
        return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
    };
    double least = 1.0;
    for (std::size_t j = 0; j < columns.size(); ++j) {
        const double whole = std::sqrt(dot(columns[j], columns[j]));
        if (!(whole > 0.0)) {
            return 0.0;
        }
        for (std::size_t k = 0; k < j; ++k) {
            const double along = dot(columns[j], columns[k]);
            std::ranges::transform(columns[j], columns[k], columns[j].begin(),
                                   [&](double a, double b) { return a - (along * b); });
        }
        const double left = std::sqrt(dot(columns[j], columns[j]));
        least = std::min(least, left / whole);
        if (!(left > 0.0)) {
            return 0.0;
        }
        std::ranges::transform(columns[j], columns[j].begin(), [&](double a) { return a / left; });
    }
    return least;
}

bool is_near_bound(const Standards& standards, const std::vector<double>& parameters) {
    const Bounds bounds = bounds_of(standards, parameters.size());
    for (std::size_t k = 2; k < parameters.size(); ++k) {
        if (parameters[k] - bounds.lower[k] < near_bound || bounds.upper[k] - parameters[k] < near_bound) {
            return true;
        }
    }
    return false;
}

/// Whether one standard error of a logarithm is as wide as the whole search on one side of the standards.
bool is_open(const fit::NonlinearFit& fit) {
    const auto over = [&](std::size_t k, double farthest) {
        return k < fit.se.size() && !(fit.se[k] < std::log(farthest));
    };
    return over(2, farthest_half) || over(3, farthest_shape) || over(4, farthest_shape);
}

/// Whether a flat line does as well, by F of the squares that the curve takes from it.
bool is_flat(const Standards& standards, std::span<const double> root_weights, const fit::NonlinearFit& fit) {
    double total = 0.0;
    double mean = 0.0;
    for (std::size_t i = 0; i < standards.y.size(); ++i) {
        total += root_weights[i] * root_weights[i];
        mean += root_weights[i] * root_weights[i] * standards.y[i];
    }
    mean /= total;
    double squares = 0.0;
    for (std::size_t i = 0; i < standards.y.size(); ++i) {
        squares += std::pow(root_weights[i] * (standards.y[i] - mean), 2.0);
    }
    const auto taken = static_cast<double>(fit.parameters.size() - 1);
    const auto freedom = static_cast<double>(fit.freedom);
    const double f = ((squares - fit.residual_squares) / taken) / (fit.residual_squares / freedom);
    namespace bm = boost::math;
    return fit.residual_squares > 0.0 &&
           !(f > bm::quantile(bm::complement(bm::fisher_f(taken, freedom), flat_level)));
}

/// Half-way concentration and slope take two standards on the way between the asymptotes: of a step between
/// two standards only the noise tells where it is.
bool is_step(const Standards& standards, const std::vector<double>& parameters) {
    constexpr double on_asymptote = 0.01; // a choice: as near as any response is read
    const LogisticCurve curve = curve_of(parameters);
    return std::ranges::count_if(standards.level_means, [&](const auto& level) {
               const double share = place_at(curve, level.first).share;
               return share > on_asymptote && share < 1.0 - on_asymptote;
           }) < 2;
}

/// Why the standards do not fix this curve; nothing where they do.
std::optional<Error> why_not_fixed(const Standards& standards, std::span<const double> root_weights,
                                   LogisticKind kind, const fit::NonlinearFit& fit) {
    const LogisticCurve curve = curve_of(fit.parameters);
    const std::string at = fmt::format("a half-way concentration of {:.3g}, a slope of {:.3g}, an asymmetry "
                                       "of {:.3g}",
                                       curve.half, curve.slope, curve.asymmetry);
    if (is_near_bound(standards, fit.parameters)) {
        return not_fixed(kind, at + ": one of them as far as the search may go");
    }
    if (least_sine(standards, root_weights, fit.parameters) < least_angle) {
        return not_fixed(kind, at + ": others do as well, one parameter does what the rest can");
    }
    if (is_flat(standards, root_weights, fit)) {
        return not_fixed(kind, "responses that follow the concentration no better than a flat line does");
    }
    if (is_step(standards, fit.parameters)) {
        return not_fixed(kind, at + ": under two standards on its slope");
    }
    if (is_open(fit)) {
        return not_fixed(kind, at + ": one of them with an error as wide as the search");
    }
    return std::nullopt;
}

/// The least residual squares of all starts, wherever it lies.
Expected<fit::NonlinearFit> best_of(const Standards& standards, std::span<const double> root_weights,
                                    const std::vector<std::vector<double>>& starts) {
    std::optional<fit::NonlinearFit> best;
    Error last;
    for (const auto& start : starts) {
        auto fit = fit_from(standards, root_weights, start);
        if (!fit) {
            last = std::move(fit).error();
        } else if (!best || fit->residual_squares < best->residual_squares) {
            best = std::move(*fit);
        }
    }
    if (!best) {
        return fail(std::move(last));
    }
    return std::move(*best);
}

Expected<fit::NonlinearFit> search(const Standards& standards, std::span<const double> root_weights,
                                   LogisticKind kind) {
    auto starts_four = starts_of_four(standards);
    const GridPoint grid = best_on_grid(standards, root_weights);
    if (!grid.parameters.empty()) {
        starts_four.push_back(grid.parameters);
    }
    auto four = best_of(standards, root_weights, starts_four);
    if (!four) {
        return fail(not_fixed(kind, "no curve to which a search would come: " + four.error().found));
    }
    // What no search could stand on, flat or singular, is nearer the responses than all that it found.
    if (grid.squares < four->residual_squares * (1.0 - 1e-9)) {
        return fail(not_fixed(kind, "curves that fit the better the less the standards can tell them apart"));
    }
    if (kind == LogisticKind::four) {
        return four;
    }
    std::vector<std::vector<double>> starts;
    for (const double log_asymmetry : {0.0, -1.0, 1.0}) {
        starts.push_back(four->parameters);
        starts.back().push_back(log_asymmetry);
    }
    return best_of(standards, root_weights, starts);
}

std::vector<double> roots_of(std::span<const double> weights) {
    std::vector<double> roots(weights.begin(), weights.end());
    std::ranges::transform(roots, roots.begin(), [](double w) { return std::sqrt(w); });
    return roots;
}

/// 1 / variance, of the curve's response at each standard.
std::vector<double> weights_of(const Standards& standards, const ResponseVariance& variance,
                               const auto& response_at) {
    std::vector<double> weights;
    for (const double x : standards.x) {
        weights.push_back(1.0 / variance.at(response_at(x)));
    }
    return weights;
}

struct WeightedFit {
    fit::NonlinearFit fit;
    std::vector<double> weights;
};

/// Curve and weights in turn. Weights of the levels' means first: they know nothing of the curve.
Expected<WeightedFit> alternate(const Standards& standards, const LogisticOptions& options) {
    constexpr int most_rounds = 200;
    auto weights =
        weights_of(standards, options.variance, [&](double x) { return standards.level_means.at(x); });
    auto fit = search(standards, roots_of(weights), options.kind);
    for (int round = 0; fit && round < most_rounds; ++round) {
        const LogisticCurve curve = curve_of(fit->parameters);
        auto next = weights_of(standards, options.variance, [&](double x) { return curve.response(x); });
        double change = 0.0;
        for (std::size_t i = 0; i < next.size(); ++i) {
            change = std::max(change, std::abs((next[i] / weights[i]) - 1.0));
        }
        weights = std::move(next);
        if (auto why = why_not_fixed(standards, roots_of(weights), options.kind, *fit)) {
            return fail(std::move(*why)); // such a curve's weights need never stand still
        }
        auto again = fit_from(standards, roots_of(weights), fit->parameters);
        if (!again) {
            return fail(std::move(again).error());
        }
        fit = std::move(again);
        if (change < 1e-10) {
            return WeightedFit{std::move(*fit), std::move(weights)};
        }
    }
    if (!fit) {
        return fail(std::move(fit).error());
    }
    return fail({.code = ErrorCode::not_converged,
                 .found = fmt::format("weights that still change after {} rounds", most_rounds),
                 .expected = "a curve and weights that agree",
                 .remedy = "use a smaller variance power, or weights of your own"});
}

Expected<WeightedFit> weighted_fit(const Standards& standards, const LogisticOptions& options) {
    if (options.weights.empty() && !options.variance.is_alike_everywhere()) {
        return alternate(standards, options);
    }
    std::vector<double> weights(options.weights.begin(), options.weights.end());
    weights.resize(standards.x.size(), 1.0);
    auto fit = search(standards, roots_of(weights), options.kind);
    if (!fit) {
        return fail(std::move(fit).error());
    }
    return WeightedFit{std::move(*fit), std::move(weights)};
}

LogisticFit described(const WeightedFit& weighted, const Standards& standards,
                      const LogisticOptions& options) {
    const auto& found = weighted.fit;
    const std::size_t count = found.parameters.size();
    LogisticFit fit{.curve = curve_of(found.parameters),
                    .kind = options.kind,
                    .covariance = std::vector<double>(logistic_parameters * logistic_parameters, 0.0),
                    .residual_sd = found.residual_sd,
                    .variance_shape = options.variance,
                    .n = standards.x.size(),
                    .freedom = found.freedom,
                    .residual_squares = found.residual_squares,
                    .lowest = standards.lowest(),
                    .highest = standards.highest()};
    for (std::size_t i = 0; i < count; ++i) {
        for (std::size_t j = 0; j < count; ++j) {
            fit.covariance[(i * logistic_parameters) + j] = found.covariance_of(i, j);
        }
    }
    const auto n = static_cast<double>(fit.n);
    double log_weights = 0.0;
    for (const double w : weighted.weights) {
        log_weights += std::log(w);
    }
    // Of own weights only their ratios are known: the factor is that which makes them, on the average of the
    // logarithms, those of the variance. Of the curve's weights it is 1.
    double log_excess = log_weights;
    for (const double x : standards.x) {
        log_excess += std::log(options.variance.at(fit.curve.response(x)));
    }
    fit.mean_log_gradient.resize(options.variance.parts.size());
    for (const double x : standards.x) {
        const auto by = options.variance.log_gradient(fit.curve.response(x));
        for (std::size_t k = 0; k < by.size(); ++k) {
            fit.mean_log_gradient[k] += by[k] / n;
        }
    }
    fit.sd_scale = std::exp(-0.5 * log_excess / n);
    fit.log_likelihood =
        0.5 * (log_weights - (n * (std::log(2.0 * std::numbers::pi * fit.residual_squares / n) + 1.0)));
    const auto k = static_cast<double>(count + 1);
    if (n > k + 1.0) {
        fit.aicc = (-2.0 * fit.log_likelihood) + (2.0 * k) + (2.0 * k * (k + 1.0) / (n - k - 1.0));
    }
    return fit;
}

/// The concentration, from `x` on in steps of about `step` (of its logarithm), at which `agrees` ceases;
/// nothing if it never does within a factor of farthest_half.
std::optional<double> last_that_agrees(const auto& agrees, double x, double step) {
    const double pace = std::copysign(std::clamp(std::abs(step) / 4.0, 1e-6, 0.25), step);
    double inside = 0.0;
    double outside = pace;
    while (agrees(x * std::exp(outside))) {
        inside = outside;
        outside += pace;
        if (std::abs(outside) > std::log(farthest_half)) {
            return std::nullopt;
        }
    }
    while (std::abs(outside - inside) > 1e-12 * (1.0 + std::abs(outside))) {
        const double middle = (inside + outside) / 2.0;
        (agrees(x * std::exp(middle)) ? inside : outside) = middle;
    }
    return x * std::exp(inside);
}

} // namespace

double LogisticCurve::response(double concentration) const {
    return at_infinity + ((at_zero - at_infinity) * place_at(*this, concentration).share);
}

std::optional<double> LogisticCurve::concentration(double response) const {
    const double share = (response - at_infinity) / (at_zero - at_infinity);
    if (!(share > 0.0 && share < 1.0)) {
        return std::nullopt;
    }
    const double s = std::expm1(-std::log(share) / asymmetry);
    const double x = half * std::pow(s / half_factor(asymmetry), 1.0 / slope);
    return x > 0.0 && std::isfinite(x) ? std::optional(x) : std::nullopt;
}

double LogisticFit::response_sd(double response) const {
    return residual_sd * sd_scale * std::sqrt(variance_shape.at(response));
}

double LogisticFit::response_freedom(double response) const {
    // A variance of f degrees of freedom has a logarithm of variance 2 / f: of the size from the residuals
    // and of the shape from the replicates together.
    const auto usual = static_cast<double>(freedom);
    const double of_shape = variance_shape.log_variance_error(response, mean_log_gradient);
    return std::max(1.0, 1.0 / ((1.0 / usual) + (of_shape / 2.0)));
}

LogisticGradient LogisticFit::gradient(double concentration) const {
    return gradient_at(curve, place_at(curve, concentration));
}

double LogisticFit::variance(const LogisticGradient& weights) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < logistic_parameters; ++i) {
        for (std::size_t j = 0; j < logistic_parameters; ++j) {
            sum += weights[i] * covariance[(i * logistic_parameters) + j] * weights[j];
        }
    }
    return std::max(sum, 0.0);
}

Expected<LogisticFit> fit_logistic(std::span<const double> concentrations, std::span<const double> responses,
                                   const LogisticOptions& options) {
    const auto standards = checked(concentrations, responses, options);
    if (!standards) {
        return fail(standards.error());
    }
    const auto fit = weighted_fit(*standards, options);
    if (!fit) {
        return fail(fit.error());
    }
    if (auto why = why_not_fixed(*standards, roots_of(fit->weights), options.kind, fit->fit)) {
        return fail(std::move(*why));
    }
    return described(*fit, *standards, options);
}

std::optional<BackCalculated> invert(const LogisticFit& fit, double response, std::size_t replicates,
                                     double level, const std::optional<OwnScatter>& own) {
    const auto x = fit.curve.concentration(response);
    if (!x) {
        return std::nullopt;
    }
    BackCalculated read{.concentration = *x,
                        .freedom = static_cast<double>(fit.freedom),
                        .response_freedom = own ? own->freedom : fit.response_freedom(response)};
    const auto gradient = fit.gradient(*x);
    const double by_log_x = -gradient[2]; // half and x only meet in their ratio
    std::ranges::transform(gradient, read.by_parameters.begin(), [&](double g) { return -g / by_log_x; });
    const double sd = own ? own->sd : fit.response_sd(response);
    const double of_curve = fit.variance(read.by_parameters);
    read.response_variance = sd * sd / static_cast<double>(replicates) / (by_log_x * by_log_x);
    read.log_se = std::sqrt(of_curve + read.response_variance);
    const double t = fit::two_sided_t(level, read.freedom);
    const double t_response = fit::two_sided_t(level, read.response_freedom);
    const auto agrees = [&](double at) {
        const double expected = fit.curve.response(at);
        const double sd_there = own ? own->sd : fit.response_sd(expected);
        return std::abs(response - expected) <=
               std::hypot(t * std::sqrt(fit.variance(fit.gradient(at))),
                          t_response * sd_there / std::sqrt(static_cast<double>(replicates)));
    };
    const double reach = std::hypot(t * std::sqrt(of_curve), t_response * std::sqrt(read.response_variance));
    if (read.response_freedom != read.freedom) {
        const double both = of_curve + read.response_variance;
        read.freedom = both * both /
                       ((of_curve * of_curve / read.freedom) +
                        (read.response_variance * read.response_variance / read.response_freedom));
    }
    if (!own) { // both parts have the size of one noise: together they know no more than the curve does
        read.freedom = std::min(read.freedom, static_cast<double>(fit.freedom));
    }
    read.lower = last_that_agrees(agrees, *x, -reach).value_or(0.0);
    read.upper = last_that_agrees(agrees, *x, reach).value_or(std::numeric_limits<double>::infinity());
    return read;
}

BackCalculated back_calculate(const LogisticFit& fit, double response, std::size_t replicates, double level,
                              const std::optional<OwnScatter>& own) {
    auto read = invert(fit, response, replicates, level, own);
    if (read && read->concentration >= fit.lowest && read->concentration <= fit.highest) {
        return *read;
    }
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double middle = fit.curve.response(fit.curve.half);
    const bool is_low = read ? read->concentration < fit.lowest : (response < middle) == fit.curve.rises();
    return {.reach = is_low ? Reach::below : Reach::above,
            .concentration = nan,
            .log_se = nan,
            .lower = nan,
            .upper = nan,
            .freedom = static_cast<double>(fit.freedom),
            .by_parameters = {nan, nan, nan, nan, nan},
            .response_variance = nan};
}

LogSum combine_logs(const LogisticFit& fit, std::span<const BackCalculated> read,
                    std::span<const double> weights) {
    LogSum sum;
    for (std::size_t i = 0; i < read.size(); ++i) {
        sum.value += weights[i] * std::log(read[i].concentration);
        sum.response_variance += weights[i] * weights[i] * read[i].response_variance;
        for (std::size_t k = 0; k < logistic_parameters; ++k) {
            sum.by_parameters[k] += weights[i] * read[i].by_parameters[k];
        }
    }
    sum.se = std::sqrt(sum.response_variance + fit.variance(sum.by_parameters));
    return sum;
}

} // namespace backeddy::condition
