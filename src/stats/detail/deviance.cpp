// Bates, Machler, Bolker and Walker 2015 solve for all random effects at once with a sparse Cholesky factor.
// Here the group with the most columns comes first: its own part of T'Z'WZT + I is one small block a level,
// so it is eliminated level by level, and what is left (the other groups, X and y) is small and dense.
#include "stats/detail/deviance.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <numeric>

#include <Eigen/Dense>

namespace backeddy::stats::detail {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;
/// One group's factor T or another block of a level: 1 x 1, or 2 x 2 in the top left corner.
using Block = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::ColMajor, 2, 2>;

Index width(const Grouping& group) {
    return group.term.kind == RandomKind::intercept_and_slope ? 2 : 1;
}

/// A sum of squares so large that every search turns back.
constexpr double no_factor = 1e200;

/// The Cholesky factor in the lower triangle, in place; whether there is one.
bool factorise(Eigen::Ref<Matrix> m) {
    const Eigen::LLT<Eigen::Ref<Matrix>> factor(m);
    return factor.info() == Eigen::Success;
}

/// A row's values in its level's columns: one or two, no memory of their own to fetch.
using Pair = Eigen::Matrix<double, Eigen::Dynamic, 1, Eigen::ColMajor, 2, 1>;

Pair loading(const Grouping& group, std::size_t row) {
    Pair out(width(group));
    Index k = 0;
    if (group.has_intercept()) {
        out[k++] = 1.0;
    }
    if (group.has_slope()) {
        out[k] = group.slope[row] / group.slope_scale;
    }
    return out;
}

Block factor_of(std::span<const double> theta, Index wide) {
    Block out = Block::Zero(wide, wide);
    out(0, 0) = theta[0];
    if (wide == 2) {
        out(1, 0) = theta[1];
        out(1, 1) = theta[2];
    }
    return out;
}

} // namespace

std::vector<ThetaRole> theta_roles(const std::vector<Grouping>& groups) {
    std::vector<ThetaRole> out;
    for (const auto& group : groups) {
        if (width(group) == 2) {
            out.insert(out.end(), {ThetaRole::first, ThetaRole::cross, ThetaRole::second});
        } else {
            out.push_back(ThetaRole::scale);
        }
    }
    return out;
}

struct Profile::Impl {
    /// A level of the first group: its block of Z'WZ, and its products with the columns that are left.
    struct Level {
        Block own;
        std::vector<Index> places; ///< columns of `rest` that it shares rows with; those of X and y last
        Matrix shared;             ///< width x places
    };
    /// Levels of equal `own` (as many rows, where all weigh alike) are eliminated by one factor.
    struct Class {
        Block own;
        std::vector<std::size_t> members;
        /// Column of `sums`; below 0 where going by level is quicker.
        Index summed = -1;
    };
    struct Other { ///< a group but the first
        std::size_t group = 0;
        Index first = 0; ///< column in `rest`
        Index levels = 0;
        Index wide = 1;
    };

    Index n = 0;
    Index p = 0;
    double log_weights = 0.0;
    Matrix turn;     ///< X = Q turn, Q orthonormal: products of Q lose no digits to large means
    Vector ordinary; ///< least-squares coefficients; y stands as what they leave
    double log_det_turn = 0.0;

    std::vector<std::size_t> theta_place; ///< of each group
    std::size_t groups = 0;
    std::size_t first = 0;
    Index first_width = 1;
    std::vector<Level> levels; ///< of the first group
    std::vector<Class> classes;
    /// Over a class's members the sums of a'a (and, where there are two, of a'b + b'a and b'b), a and b being
    /// the rows of `shared` in `rest`'s places; a column each, so that one product adds all classes up.
    Matrix sums;
    std::vector<Other> others;
    Index q = 0; ///< columns of the others
    Matrix rest; ///< [Z_others Q y]' W [Z_others Q y]

    void orthogonalise(Matrix& x, Vector& y);
    void collect(const std::vector<Grouping>& all, const Vector& root, const Matrix& xy);
    void classify();

    /// `rest` after the first group, worked up in place: L of the others' T'SzzT + I in the lower triangle of
    /// the top left corner; L^-1 T' times the columns of X and y in the top right one; below them the factor
    /// of the fixed part's, R' in its lower triangle, and beside it R'^-1 X'V^-1 y.
    struct Reduced {
        Matrix all;
        Pieces pieces;
    };
    [[nodiscard]] Block theta_of(std::size_t group, Index wide, std::span<const double> theta) const {
        return factor_of(theta.subspan(theta_place[group]), wide);
    }
    /// T (T' own T + I)^-1 T', and the log determinant of what is inverted.
    static Block eliminator(const Block& factor, const Block& own, double& log_det);
    [[nodiscard]] Reduced reduce(std::span<const double> theta) const;
    /// In place: T times, T' times, and times T.
    void factor_times(std::span<const double> theta, Eigen::Ref<Matrix> rows) const;
    void transposed_times(std::span<const double> theta, Eigen::Ref<Matrix> rows) const;
    void times_factor(std::span<const double> theta, Eigen::Ref<Matrix> columns) const;
};

void Profile::Impl::orthogonalise(Matrix& x, Vector& y) {
    turn = Matrix(p, p);
    ordinary = Vector(p);
    if (p == 0) {
        return;
    }
    const Eigen::HouseholderQR<Matrix> qr(x);
    turn = qr.matrixQR().topRows(p).triangularView<Eigen::Upper>();
    const Matrix thin = qr.householderQ() * Matrix::Identity(n, p);
    ordinary = turn.triangularView<Eigen::Upper>().solve(thin.transpose() * y);
    y -= x * ordinary;
    y -= thin * (thin.transpose() * y);
    x = thin;
    log_det_turn = 2.0 * turn.diagonal().array().abs().log().sum();
}

void Profile::Impl::collect(const std::vector<Grouping>& all, const Vector& root, const Matrix& xy) {
    const Index e = p + 1;
    const auto& big = all[first];
    std::vector<std::map<Index, Pair>> shared(big.levels.size());
    std::vector<Matrix> dense(big.levels.size(), Matrix::Zero(first_width, e));
    levels.resize(big.levels.size());
    for (auto& level : levels) {
        level.own = Block::Zero(first_width, first_width);
    }
    rest = Matrix::Zero(q + e, q + e);
    rest.bottomRightCorner(e, e) = xy.transpose() * xy;
    for (Index i = 0; i < n; ++i) {
        const auto row = static_cast<std::size_t>(i);
        const std::size_t code = big.codes[row];
        const Pair own = root[i] * loading(big, row);
        levels[code].own += own * own.transpose();
        dense[code] += own * xy.row(i);
        for (const auto& other : others) {
            const auto& group = all[other.group];
            const Index at = other.first + (static_cast<Index>(group.codes[row]) * other.wide);
            const Pair load = root[i] * loading(group, row);
            for (Index a = 0; a < other.wide; ++a) {
                auto [place, is_new] = shared[code].try_emplace(at + a, Pair::Zero(first_width));
                place->second += load[a] * own;
                rest.row(at + a).tail(e) += load[a] * xy.row(i);
                for (const auto& second : others) {
                    const auto& partner = all[second.group];
                    const Index there = second.first + (static_cast<Index>(partner.codes[row]) * second.wide);
                    const Pair weight = root[i] * loading(partner, row);
                    for (Index b = 0; b < second.wide; ++b) {
                        rest(at + a, there + b) += load[a] * weight[b];
                    }
                }
            }
        }
    }
    rest.bottomLeftCorner(e, q) = rest.topRightCorner(q, e).transpose();
    for (std::size_t code = 0; code < levels.size(); ++code) {
        auto& level = levels[code];
        level.shared = Matrix(first_width, static_cast<Index>(shared[code].size()) + e);
        for (const auto& [place, value] : shared[code]) {
            level.shared.col(static_cast<Index>(level.places.size())) = value;
            level.places.push_back(place);
        }
        level.shared.rightCols(e) = dense[code];
        for (Index k = 0; k < e; ++k) {
            level.places.push_back(q + k);
        }
    }
}

void Profile::Impl::classify() {
    const Index all = rest.rows();
    sums.resize(all * all, 0);
    for (std::size_t code = 0; code < levels.size(); ++code) {
        const auto same = std::find_if(classes.begin(), classes.end(),
                                       [&](const Class& one) { return one.own == levels[code].own; });
        if (same == classes.end()) {
            classes.push_back({.own = levels[code].own, .members = {code}});
        } else {
            same->members.push_back(code);
        }
    }
    for (auto& one : classes) {
        Index by_level = 0;
        for (const std::size_t code : one.members) {
            const auto places = static_cast<Index>(levels[code].places.size());
            by_level += 4 * places * places; // scattered: about four times as slow
        }
        if (by_level < all * all * (first_width == 1 ? 1 : 3)) {
            continue;
        }
        one.summed = sums.cols();
        sums.conservativeResize(all * all, sums.cols() + (first_width == 1 ? 1 : 3));
        sums.rightCols(sums.cols() - one.summed).setZero();
        for (const std::size_t code : one.members) {
            const auto& level = levels[code];
            for (std::size_t j = 0; j < level.places.size(); ++j) {
                const auto b = level.shared.col(static_cast<Index>(j));
                for (std::size_t i = 0; i < level.places.size(); ++i) {
                    const auto a = level.shared.col(static_cast<Index>(i));
                    const Index cell = level.places[i] + (level.places[j] * all);
                    sums(cell, one.summed) += a[0] * b[0];
                    if (first_width == 2) {
                        sums(cell, one.summed + 1) += (a[0] * b[1]) + (a[1] * b[0]);
                        sums(cell, one.summed + 2) += a[1] * b[1];
                    }
                }
            }
        }
    }
}

Block Profile::Impl::eliminator(const Block& factor, const Block& own, double& log_det) {
    const Index wide = factor.rows();
    const Block inner = (factor.transpose() * own * factor) + Block::Identity(wide, wide);
    log_det = std::log(wide == 1 ? inner(0, 0) : (inner(0, 0) * inner(1, 1)) - (inner(0, 1) * inner(1, 0)));
    return factor * inner.inverse() * factor.transpose();
}

void Profile::Impl::factor_times(std::span<const double> theta, Eigen::Ref<Matrix> rows) const {
    for (const auto& other : others) {
        const Block factor = theta_of(other.group, other.wide, theta);
        for (Index level = 0; level < other.levels; ++level) {
            auto part = rows.middleRows(other.first + (level * other.wide), other.wide);
            part = (factor * part).eval();
        }
    }
}

void Profile::Impl::transposed_times(std::span<const double> theta, Eigen::Ref<Matrix> rows) const {
    for (const auto& other : others) {
        const Block factor = theta_of(other.group, other.wide, theta);
        if (other.wide == 1) {
            rows.middleRows(other.first, other.levels) *= factor(0, 0);
            continue;
        }
        for (Index level = 0; level < other.levels; ++level) {
            auto part = rows.middleRows(other.first + (2 * level), 2);
            part = (factor.transpose() * part).eval();
        }
    }
}

void Profile::Impl::times_factor(std::span<const double> theta, Eigen::Ref<Matrix> columns) const {
    for (const auto& other : others) {
        const Block factor = theta_of(other.group, other.wide, theta);
        if (other.wide == 1) {
            columns.middleCols(other.first, other.levels) *= factor(0, 0);
            continue;
        }
        for (Index level = 0; level < other.levels; ++level) {
            auto part = columns.middleCols(other.first + (2 * level), 2);
            part = (part * factor).eval();
        }
    }
}

Profile::Impl::Reduced Profile::Impl::reduce(std::span<const double> theta) const {
    Reduced out{.all = rest};
    Vector share(sums.cols());
    const Block factor = theta_of(first, first_width, theta);
    for (const auto& one : classes) {
        double log_det = 0.0;
        const Block middle = eliminator(factor, one.own, log_det);
        out.pieces.log_det_random += static_cast<double>(one.members.size()) * log_det;
        if (one.summed >= 0) {
            share[one.summed] = middle(0, 0);
            if (first_width == 2) {
                share[one.summed + 1] = middle(0, 1);
                share[one.summed + 2] = middle(1, 1);
            }
            continue;
        }
        for (const std::size_t code : one.members) {
            const auto& level = levels[code];
            const Matrix product = level.shared.transpose() * (middle * level.shared);
            for (std::size_t j = 0; j < level.places.size(); ++j) {
                for (std::size_t i = 0; i < level.places.size(); ++i) {
                    out.all(level.places[i], level.places[j]) -=
                        product(static_cast<Index>(i), static_cast<Index>(j));
                }
            }
        }
    }
    Eigen::Map<Vector>(out.all.data(), out.all.size()).noalias() -= sums * share;

    auto inner = out.all.topLeftCorner(q, q);
    transposed_times(theta, inner);
    times_factor(theta, inner);
    inner.diagonal().array() += 1.0;
    const bool has_others = factorise(inner);
    out.pieces.log_det_random += 2.0 * inner.diagonal().array().log().sum();

    auto turned = out.all.topRightCorner(q, p + 1);
    transposed_times(theta, turned);
    inner.triangularView<Eigen::Lower>().solveInPlace(turned);
    auto last = out.all.bottomRightCorner(p + 1, p + 1);
    last.noalias() -= turned.transpose() * turned;

    auto fixed = last.topLeftCorner(p, p);
    const bool has_fixed = factorise(fixed);
    auto cross = last.topRightCorner(p, 1);
    fixed.triangularView<Eigen::Lower>().solveInPlace(cross);
    out.pieces.log_det_fixed = (2.0 * fixed.diagonal().array().log().sum()) + log_det_turn;
    // Where rounding has eaten a factor nothing is known but that the search should turn back.
    out.pieces.squares = has_others && has_fixed ? last(p, p) - cross.squaredNorm() : no_factor;
    out.pieces.log_weights = log_weights;
    return out;
}

Profile::Profile(const std::vector<std::span<const double>>& columns, std::span<const double> y,
                 const std::vector<Grouping>& groups, std::span<const double> weights)
    : impl_(std::make_unique<Impl>()) {
    auto& own = *impl_;
    own.n = static_cast<Index>(y.size());
    own.p = static_cast<Index>(columns.size());
    own.groups = groups.size();
    std::size_t place = 0;
    Index most = 0;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        own.theta_place.push_back(place);
        place += width(groups[g]) == 2 ? 3 : 1;
        const Index size = width(groups[g]) * static_cast<Index>(groups[g].levels.size());
        if (size > most) {
            most = size;
            own.first = g;
        }
    }
    own.first_width = width(groups[own.first]);
    for (std::size_t g = 0; g < groups.size(); ++g) {
        if (g != own.first) {
            own.others.push_back({.group = g,
                                  .first = own.q,
                                  .levels = static_cast<Index>(groups[g].levels.size()),
                                  .wide = width(groups[g])});
            own.q += own.others.back().levels * own.others.back().wide;
        }
    }
    Vector root = Vector::Ones(own.n);
    Matrix x(own.n, own.p);
    Vector right(own.n);
    for (Index i = 0; i < own.n; ++i) {
        const auto row = static_cast<std::size_t>(i);
        if (!weights.empty()) {
            root[i] = std::sqrt(weights[row]);
            own.log_weights += std::log(weights[row]);
        }
        for (Index k = 0; k < own.p; ++k) {
            x(i, k) = root[i] * columns[static_cast<std::size_t>(k)][row];
        }
        right[i] = root[i] * y[row];
    }
    own.orthogonalise(x, right);
    Matrix xy(own.n, own.p + 1);
    xy.leftCols(own.p) = x;
    xy.col(own.p) = right;
    own.collect(groups, root, xy);
    own.classify();
}

Profile::~Profile() = default;
Profile::Profile(Profile&&) noexcept = default;
Profile& Profile::operator=(Profile&&) noexcept = default;

std::size_t Profile::rows() const {
    return static_cast<std::size_t>(impl_->n);
}

std::size_t Profile::columns() const {
    return static_cast<std::size_t>(impl_->p);
}

Pieces Profile::at(std::span<const double> theta) const {
    return impl_->reduce(theta).pieces;
}

Solution Profile::solve(std::span<const double> theta) const {
    const auto& own = *impl_;
    const auto reduced = own.reduce(theta);
    const Index p = own.p;
    const auto fixed = reduced.all.block(own.q, own.q, p, p).triangularView<Eigen::Lower>();
    const Vector cross = reduced.all.block(own.q, own.q + p, p, 1);
    const Vector turned_coefficients = fixed.transpose().solve(cross);
    const Vector coefficients =
        own.ordinary + own.turn.triangularView<Eigen::Upper>().solve(turned_coefficients);
    const Matrix half = own.turn.triangularView<Eigen::Upper>().solve(
        Matrix(fixed.transpose().solve(Matrix::Identity(p, p))));
    const Matrix covariance = half * half.transpose();
    const auto turned = reduced.all.topRightCorner(own.q, p + 1);
    Matrix others = turned.col(p) - (turned.leftCols(p) * turned_coefficients);
    reduced.all.topLeftCorner(own.q, own.q).triangularView<Eigen::Lower>().transpose().solveInPlace(others);
    own.factor_times(theta, others);

    Solution out{.coefficients = {coefficients.begin(), coefficients.end()},
                 .covariance = {covariance.data(), covariance.data() + covariance.size()},
                 .effects = std::vector<std::vector<double>>(own.groups)};
    for (const auto& other : own.others) {
        for (Index a = 0; a < other.wide; ++a) {
            for (Index level = 0; level < other.levels; ++level) {
                out.effects[other.group].push_back(others(other.first + (level * other.wide) + a, 0));
            }
        }
    }
    Vector all(own.q + p + 1);
    all << -others.col(0), -turned_coefficients, 1.0;
    auto& effects = out.effects[own.first];
    effects.resize(own.levels.size() * static_cast<std::size_t>(own.first_width));
    const Block factor = own.theta_of(own.first, own.first_width, theta);
    for (std::size_t code = 0; code < own.levels.size(); ++code) {
        const auto& level = own.levels[code];
        Vector left = Vector::Zero(own.first_width);
        for (std::size_t k = 0; k < level.places.size(); ++k) {
            left += level.shared.col(static_cast<Index>(k)) * all[level.places[k]];
        }
        double log_det = 0.0;
        const Vector modes = Impl::eliminator(factor, level.own, log_det) * left;
        for (Index a = 0; a < own.first_width; ++a) {
            effects[(static_cast<std::size_t>(a) * own.levels.size()) + code] = modes[a];
        }
    }
    return out;
}

double deviance_at(const Profile& profile, std::span<const double> theta, double variance,
                   Criterion criterion) {
    const auto pieces = profile.at(theta);
    const bool is_restricted = criterion == Criterion::reml;
    const double freedom =
        static_cast<double>(profile.rows()) - (is_restricted ? static_cast<double>(profile.columns()) : 0.0);
    return pieces.log_det_random + (is_restricted ? pieces.log_det_fixed : 0.0) - pieces.log_weights +
           (freedom * std::log(2.0 * std::numbers::pi * variance)) + (pieces.squares / variance);
}

double profiled_deviance(const Profile& profile, std::span<const double> theta, Criterion criterion) {
    const auto pieces = profile.at(theta);
    const bool is_restricted = criterion == Criterion::reml;
    const double freedom =
        static_cast<double>(profile.rows()) - (is_restricted ? static_cast<double>(profile.columns()) : 0.0);
    // What rounding leaves of no residual at all: as good as the smallest number, so that the search goes on.
    const double squares = std::max(pieces.squares, 1e-300);
    return pieces.log_det_random + (is_restricted ? pieces.log_det_fixed : 0.0) - pieces.log_weights +
           (freedom * (1.0 + std::log(2.0 * std::numbers::pi * squares / freedom)));
}

} // namespace backeddy::stats::detail
