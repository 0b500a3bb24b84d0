#include "stats/detail/likelihood.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <set>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "stats/detail/root.hpp"
#include "stats/estimate.hpp"

namespace backeddy::stats::detail {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;
using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

constexpr double endless_value = std::numeric_limits<double>::infinity();

Index place(std::size_t k) {
    return static_cast<Index>(k);
}

/// Nodes and logarithms of weights times exp(x^2), by the eigenvalues of the recurrence (Golub and Welsch
/// 1969, Math Comp 23:221).
void hermite(std::size_t count, std::vector<double>& nodes, std::vector<double>& log_weights) {
    Matrix jacobi = Matrix::Zero(place(count), place(count));
    for (Index k = 1; k < place(count); ++k) {
        jacobi(k, k - 1) = jacobi(k - 1, k) = std::sqrt(0.5 * static_cast<double>(k));
    }
    const Eigen::SelfAdjointEigenSolver<Matrix> solver(jacobi);
    for (Index k = 0; k < place(count); ++k) {
        const double x = solver.eigenvalues()[k];
        const double first = solver.eigenvectors()(0, k);
        nodes.push_back(x);
        log_weights.push_back((0.5 * std::log(std::numbers::pi)) + std::log(first * first) + (x * x));
    }
}

Slopes no_slopes(std::size_t parameters) {
    return {.value = 0.0,
            .first = std::vector<double>(parameters, 0.0),
            .second = std::vector<double>(parameters * parameters, 0.0)};
}

} // namespace

ScaledColumns scaled_columns(const Design& design) {
    ScaledColumns out;
    const bool is_centred = design.made_of().intercept == Intercept::fitted;
    const auto n = static_cast<double>(design.rows());
    for (std::size_t k = 0; k < design.columns(); ++k) {
        if (!design.term_of(k)) {
            continue;
        }
        const auto column = design.column(k);
        std::vector<double> values(column.begin(), column.end());
        const double mean = is_centred ? std::accumulate(values.begin(), values.end(), 0.0) / n : 0.0;
        double squares = 0.0;
        for (double& v : values) {
            v -= mean;
            squares += v * v;
        }
        const double scale = std::sqrt(squares / n);
        for (double& v : values) {
            v /= scale;
        }
        out.places.push_back(k);
        out.names.push_back(design.names()[k]);
        out.values.push_back(std::move(values));
        out.mean.push_back(mean);
        out.scale.push_back(scale);
    }
    return out;
}

Likelihood::Likelihood(PredictorModel model) : model_(std::move(model)) {
    if (model_.groups.empty()) {
        levels_.emplace_back(model_.rows);
        std::iota(levels_.front().begin(), levels_.front().end(), std::size_t{0});
        return;
    }
    levels_.resize(1 + *std::max_element(model_.groups.begin(), model_.groups.end()));
    for (std::size_t i = 0; i < model_.rows; ++i) {
        levels_[model_.groups[i]].push_back(i);
    }
    hermite(model_.nodes, nodes_, log_weights_);
}

std::size_t Likelihood::parameters() const {
    return model_.further + model_.columns.size() + (model_.groups.empty() ? 0 : 1);
}

std::vector<double> Likelihood::fixed_part(std::span<const double> parameters) const {
    std::vector<double> out(model_.rows, 0.0);
    for (std::size_t k = 0; k < model_.columns.size(); ++k) {
        const double b = parameters[model_.further + k];
        for (std::size_t i = 0; i < model_.rows; ++i) {
            out[i] += b * model_.columns[k][i];
        }
    }
    return out;
}

/// `v`: the row's value in the random intercept's column.
void Likelihood::add_row(std::size_t row, const RowTerms& terms, double v, Slopes& sum) const {
    const std::size_t all = sum.first.size();
    const std::size_t p = model_.columns.size();
    const auto loading = [&](std::size_t k) { return k < p ? model_.columns[k][row] : v; };
    sum.value += terms.value;
    for (std::size_t a = 0; a < 2; ++a) {
        const std::size_t own = terms.further[a];
        if (own == RowTerms::none) {
            continue;
        }
        sum.first[own] += terms.first[a];
        for (std::size_t b = 0; b < 2; ++b) {
            if (terms.further[b] != RowTerms::none) {
                sum.second[(own * all) + terms.further[b]] += terms.second[a][b];
            }
        }
        for (std::size_t k = 0; k < all - model_.further; ++k) {
            const double cross = terms.second[a][2] * loading(k);
            sum.second[(own * all) + model_.further + k] += cross;
            sum.second[((model_.further + k) * all) + own] += cross;
        }
    }
    for (std::size_t k = 0; k < all - model_.further; ++k) {
        const double x = loading(k);
        sum.first[model_.further + k] += terms.first[2] * x;
        for (std::size_t l = 0; l < all - model_.further; ++l) {
            sum.second[((model_.further + k) * all) + model_.further + l] +=
                terms.second[2][2] * x * loading(l);
        }
    }
}

Slopes Likelihood::node(const std::vector<std::size_t>& rows, std::span<const double> parameters,
                        std::span<const double> fixed, double v) const {
    Slopes out = no_slopes(this->parameters());
    const double shift = model_.groups.empty() ? 0.0 : parameters.back() * v;
    for (const std::size_t i : rows) {
        add_row(i, model_.row(i, parameters.first(model_.further), fixed[i] + shift), v, out);
    }
    return out;
}

Likelihood::Mode Likelihood::mode_of(const std::vector<std::size_t>& rows, std::span<const double> parameters,
                                     std::span<const double> fixed) const {
    struct Height {
        double value = 0.0;
        double slope = 0.0;
        double bend = -1.0; // never above that of the standard normal: rows are concave
    };
    const double sd = parameters.back();
    const auto height = [&](double v) {
        Height out{.value = -0.5 * v * v, .slope = -v, .bend = -1.0};
        for (const std::size_t i : rows) {
            const auto terms = model_.row(i, parameters.first(model_.further), fixed[i] + (sd * v));
            out.value += terms.value;
            out.slope += sd * terms.first[2];
            out.bend += sd * sd * std::min(0.0, terms.second[2][2]);
        }
        return out;
    };
    double v = 0.0;
    Height here = height(v);
    for (int round = 0; round < 100 && std::isfinite(here.value); ++round) {
        double step = -here.slope / here.bend;
        Height next = height(v + step);
        for (int halving = 0; halving < 40 && !(next.value >= here.value - 1e-12); ++halving) {
            step *= 0.5;
            next = height(v + step);
        }
        v += step;
        here = next;
        if (std::abs(step) < 1e-9) {
            break;
        }
    }
    return {.at = v, .sd = 1.0 / std::sqrt(-here.bend)};
}

Slopes Likelihood::level(const std::vector<std::size_t>& rows, std::span<const double> parameters,
                         std::span<const double> fixed) const {
    const Mode mode = mode_of(rows, parameters, fixed);
    std::vector<Slopes> parts;
    std::vector<double> logs;
    for (std::size_t k = 0; k < nodes_.size(); ++k) {
        const double v = mode.at + (std::numbers::sqrt2 * mode.sd * nodes_[k]);
        parts.push_back(node(rows, parameters, fixed, v));
        logs.push_back(parts.back().value - (0.5 * v * v) + log_weights_[k] + std::log(mode.sd) -
                       (0.5 * std::log(std::numbers::pi)));
    }
    const double top = *std::max_element(logs.begin(), logs.end());
    const std::size_t all = this->parameters();
    Slopes out = no_slopes(all);
    if (!std::isfinite(top)) {
        out.value = -endless_value;
        return out;
    }
    double sum = 0.0;
    for (const double one : logs) {
        sum += std::exp(one - top);
    }
    out.value = top + std::log(sum);
    for (std::size_t k = 0; k < parts.size(); ++k) {
        const double share = std::exp(logs[k] - top) / sum;
        if (share == 0.0) {
            continue; // a row that cannot be there has no slopes to speak of
        }
        for (std::size_t a = 0; a < all; ++a) {
            out.first[a] += share * parts[k].first[a];
            for (std::size_t b = 0; b < all; ++b) {
                out.second[(a * all) + b] +=
                    share * (parts[k].second[(a * all) + b] + (parts[k].first[a] * parts[k].first[b]));
            }
        }
    }
    for (std::size_t a = 0; a < all; ++a) {
        for (std::size_t b = 0; b < all; ++b) {
            out.second[(a * all) + b] -= out.first[a] * out.first[b];
        }
    }
    return out;
}

Slopes Likelihood::at(std::span<const double> parameters) const {
    const auto fixed = fixed_part(parameters);
    if (model_.groups.empty()) {
        return node(levels_.front(), parameters, fixed, 0.0);
    }
    Slopes out = no_slopes(this->parameters());
    for (const auto& rows : levels_) {
        if (rows.empty()) {
            continue;
        }
        const auto part = level(rows, parameters, fixed);
        out.value += part.value;
        for (std::size_t a = 0; a < out.first.size(); ++a) {
            out.first[a] += part.first[a];
        }
        for (std::size_t a = 0; a < out.second.size(); ++a) {
            out.second[a] += part.second[a];
        }
    }
    return out;
}

std::vector<double> Likelihood::modes(std::span<const double> parameters) const {
    const auto fixed = fixed_part(parameters);
    std::vector<double> out;
    for (const auto& rows : levels_) {
        out.push_back(rows.empty() ? 0.0 : parameters.back() * mode_of(rows, parameters, fixed).at);
    }
    return out;
}

namespace {

/// Newton's step over the free parameters, 0 in the others; upward in any case: directions along which the
/// likelihood is not concave are gone with the size of their bend.
Vector newton_step(const Slopes& slopes, const std::vector<Index>& free, Index all) {
    const Vector first = Eigen::Map<const Vector>(slopes.first.data(), all);
    const Matrix second = Eigen::Map<const Matrix>(slopes.second.data(), all, all);
    const Eigen::SelfAdjointEigenSolver<Matrix> solver(-second(free, free));
    const double least = 1e-12 * solver.eigenvalues().cwiseAbs().maxCoeff();
    const Vector bends = solver.eigenvalues().cwiseAbs().cwiseMax(least);
    const Vector own =
        solver.eigenvectors() * (solver.eigenvectors().transpose() * first(free)).cwiseQuotient(bends);
    Vector out = Vector::Zero(all);
    out(free) = own;
    return out;
}

bool is_finite(const Slopes& slopes) {
    const auto fine = [](double v) { return std::isfinite(v); };
    return fine(slopes.value) && std::all_of(slopes.first.begin(), slopes.first.end(), fine) &&
           std::all_of(slopes.second.begin(), slopes.second.end(), fine);
}

std::vector<double> moved(const std::vector<double>& from, const Vector& step) {
    std::vector<double> out = from;
    for (std::size_t k = 0; k < out.size(); ++k) {
        out[k] += step[place(k)];
    }
    return out;
}

} // namespace

Climb climb(const Likelihood& likelihood, std::vector<double> start, const IsEndless& is_endless,
            std::optional<std::size_t> held) {
    std::vector<Index> free;
    for (std::size_t k = 0; k < start.size(); ++k) {
        if (!held || k != *held) {
            free.push_back(place(k));
        }
    }
    Climb out{.at = std::move(start)};
    out.slopes = likelihood.at(out.at);
    if (free.empty()) {
        out.ending = Ending::reached;
        return out;
    }
    const bool has_quadrature = !likelihood.model().groups.empty();
    for (int round = 0; round < 100 && is_finite(out.slopes); ++round) {
        Vector step = newton_step(out.slopes, free, place(out.at.size()));
        const double gain = step.dot(Eigen::Map<const Vector>(out.slopes.first.data(), step.size()));
        const double length = step.cwiseAbs().maxCoeff();
        out.step.assign(step.begin(), step.end());
        // Away from infinity steps soon shrink with their square; toward it each is about as long as the
        // last.
        if (round >= 12 && length > 0.1 && is_endless && is_endless(out.step)) {
            out.ending = Ending::endless;
            return out;
        }
        // Columns and outcomes are scaled: where the likelihood is not concave a step may be far too long.
        constexpr double longest = 5.0;
        step *= length > longest ? longest / length : 1.0;
        const double slack = 1e-13 * (1.0 + std::abs(out.slopes.value));
        // Close to the top the value of a quadrature is too coarse a judge of its own derivatives, which are
        // the integral's: they may lead down by what it errs, and where that stopped a step there was no end
        // of halvings.
        constexpr double coarse = 1e-6;
        const bool is_at_top = has_quadrature && gain < 1e3 * coarse;
        const double least =
            out.slopes.value - (is_at_top ? coarse : std::max(10.0 * slack, std::min(gain, coarse)));
        Slopes next = likelihood.at(moved(out.at, step));
        for (int halving = 0; halving < 60 && !(is_finite(next) && next.value >= least); ++halving) {
            step *= 0.5;
            next = likelihood.at(moved(out.at, step));
        }
        if (!is_finite(next)) {
            break;
        }
        out.at = moved(out.at, step);
        out.slopes = std::move(next);
        if (length < 1e-9 || gain < slack) {
            out.ending = Ending::reached;
            return out;
        }
    }
    return out;
}

bool has_no_spread(const Likelihood& likelihood, const Climb& best) {
    return !likelihood.model().groups.empty() && std::abs(best.at.back()) < 1e-4;
}

std::optional<std::vector<double>> covariance_of(const Likelihood& likelihood, const Climb& best) {
    const Index all = place(best.at.size());
    Matrix information = -Eigen::Map<const Matrix>(best.slopes.second.data(), all, all);
    if (has_no_spread(likelihood, best)) {
        information.row(all - 1).setZero();
        information.col(all - 1).setZero();
        information(all - 1, all - 1) = 1.0;
    }
    const Eigen::SelfAdjointEigenSolver<Matrix> solver(information);
    if (all > 0 && !(solver.eigenvalues()[0] > 1e-10 * solver.eigenvalues()[all - 1])) {
        return std::nullopt;
    }
    const Matrix inverse = information.inverse();
    return std::vector<double>(inverse.data(), inverse.data() + inverse.size());
}

std::vector<double> congruent(const std::vector<double>& map, const std::vector<double>& v) {
    const auto all = static_cast<Index>(std::lround(std::sqrt(static_cast<double>(v.size()))));
    const RowMajor m = Eigen::Map<const RowMajor>(map.data(), all, all);
    const RowMajor out = m * Eigen::Map<const RowMajor>(v.data(), all, all) * m.transpose();
    return {out.data(), out.data() + out.size()};
}

Interval profile_limits(const Likelihood& likelihood, const Climb& best, std::size_t parameter, double se,
                        double level, double floor) {
    const double wanted = two_sided_quantile(level, endless_value);
    const auto limit = [&](double direction) {
        std::vector<double> warm = best.at;
        const auto left = [&](double value) {
            warm[parameter] = value;
            const auto found = climb(likelihood, warm, {}, parameter);
            warm = found.at;
            return wanted - std::sqrt(std::max(0.0, 2.0 * (best.slopes.value - found.slopes.value)));
        };
        const double from = best.at[parameter];
        Ordinate inner{from, wanted};
        for (double reach = wanted * se; reach < 60.0 * se; reach *= 1.5) {
            const double at = std::max(from + (direction * reach), floor);
            const Ordinate outer{at, left(at)};
            if (outer.value <= 0.0) {
                return root_between(left, inner, outer);
            }
            if (at == floor) {
                return floor;
            }
            inner = outer;
        }
        return direction * endless_value;
    };
    return {.lower = limit(-1.0), .upper = limit(1.0)};
}

Expected<void> check_groups(const Factor& group, std::size_t rows) {
    if (group.codes.size() != rows) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("{} levels of the group for {} rows", group.codes.size(), rows),
                     .expected = "a level for every row"});
    }
    const std::set<std::size_t> used(group.codes.begin(), group.codes.end());
    if (used.size() < 2) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "a group of one level",
                     .expected = "at least two, and better five: their spread is what is to be found",
                     .remedy = "leave the random intercept out"});
    }
    if (used.size() == rows) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} levels of the group for {} rows: one row a level", rows, rows),
                     .expected = "several rows in some levels: only they tell levels from rows",
                     .remedy = "leave the random intercept out"});
    }
    return {};
}

RandomIntercept random_intercept(const Likelihood& likelihood, const Climb& best, const Factor& group,
                                 double log_likelihood_without) {
    RandomIntercept out{.levels = group.levels, .sd = std::abs(best.at.back())};
    out.modes = likelihood.modes(best.at);
    out.modes.resize(group.levels.size(), 0.0);
    out.none = chi_squared_test(std::max(0.0, 2.0 * (best.slopes.value - log_likelihood_without)), 1.0);
    if (has_no_spread(likelihood, best)) {
        out.sd = 0.0;
        out.none = {.chi_squared = 0.0, .freedom = 1.0, .p = 1.0};
    } else {
        out.none.p *= 0.5;
    }
    return out;
}

void add_remarks(const RandomIntercept& random, const std::vector<std::size_t>& groups,
                 std::vector<Remark>& remarks) {
    const std::set<std::size_t> used(groups.begin(), groups.end());
    if (used.size() < 5) {
        remarks.push_back({.about = Remark::About::few_levels,
                           .text = fmt::format("the group has {} levels: how far levels spread can hardly be "
                                               "told from fewer than five",
                                               used.size())});
    }
    if (random.sd == 0.0) {
        remarks.push_back({.about = Remark::About::no_variance,
                           .text = "the spread between levels of the group is estimated as 0: rows of one "
                                   "level resemble each other no more than others do"});
    }
}

Expected<void> check_nodes(std::size_t nodes) {
    if (nodes >= 5 && nodes <= 100) {
        return {};
    }
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("{} nodes of quadrature", nodes),
                 .expected = "5 to 100"});
}

} // namespace backeddy::stats::detail
