// Letters as in Kenward and Roger 1997: V the covariance of the outcome, sum of gamma_k G_k over its
// parameters; Phi = (X'V^-1 X)^-1; P_k = -X'V^-1 G_k V^-1 X; Q_kl = X'V^-1 G_k V^-1 G_l V^-1 X; W the inverse
// of the expected information. Everything is multiplied by sqrt(weight) first, so that V is sigma^2 (Z T T'
// Z' + I) and its inverse needs no more than a matrix of the size of the random effects.
#include "stats/small_sample.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <Eigen/Dense>
#include <fmt/format.h>

namespace backeddy::stats {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

/// Random effects of one kind of one group: a column for every level, in which a row has one value.
struct Columns {
    Index first = 0;
    Index levels = 0;
    std::vector<Index> place; ///< of each row
    Vector value;             ///< of each row, weighted
};

/// A variance parameter: G is the sum of Z_a Z_b' over the pairs, or the residual's diagonal.
struct Parameter {
    std::vector<std::pair<std::size_t, std::size_t>> pairs; ///< empty: residual
};

/// How the variance parameters follow from the standard deviations and factors in which the criterion is
/// smooth at its boundary: gamma = lambda^2, or lambda_1^2, lambda_1 lambda_2, lambda_2^2 + lambda_3^2;
/// residual sd^2.
struct Smooth {
    Matrix jacobian;            ///< gamma by factor
    std::vector<Matrix> second; ///< of each gamma, by factor and factor
};

class Structure {
  public:
    Structure(const MixedModel& model, const MixedFit& fit);

    [[nodiscard]] std::size_t parameters() const { return parameters_.size(); }
    [[nodiscard]] const Matrix& x() const { return x_; }
    [[nodiscard]] const Matrix& covariance() const { return phi_; }
    [[nodiscard]] const Smooth& smooth() const { return smooth_; }
    [[nodiscard]] Matrix v_inverse(const Matrix& m) const;
    /// G_k times a matrix of as many rows.
    [[nodiscard]] Matrix g_times(std::size_t k, const Matrix& m) const;
    [[nodiscard]] double trace_vg(std::size_t k) const;                  ///< tr V^-1 G_k
    [[nodiscard]] double trace_vgvg(std::size_t k, std::size_t l) const; ///< tr V^-1 G_k V^-1 G_l

    Vector y;                ///< outcome, weighted
    Matrix u;                ///< V^-1 X
    std::vector<Matrix> gu;  ///< G_k V^-1 X
    std::vector<Matrix> vgu; ///< V^-1 G_k V^-1 X

  private:
    void add_group(const Grouping& group, const RandomEffect& effect, const Vector& root, double scale);
    [[nodiscard]] Matrix z_transposed(const Matrix& m) const;
    [[nodiscard]] Matrix z_times(const Matrix& m) const;
    [[nodiscard]] auto part(const Matrix& m, std::size_t a, std::size_t b) const {
        return m.block(columns_[a].first, columns_[b].first, columns_[a].levels, columns_[b].levels);
    }

    Matrix x_;
    Vector diagonal_; ///< of the residual's G
    double variance_ = 1.0;
    std::vector<Columns> columns_;
    std::vector<Parameter> parameters_;
    Smooth smooth_;
    std::vector<double> factors_;
    Index q_ = 0;
    Matrix middle_; ///< T (T'Z'Z T + I)^-1 T'
    Matrix zvz_;    ///< Z'V^-1 Z
    Matrix zvdvz_;  ///< Z'V^-1 D V^-1 Z, D the residual's G
    double trace_vd_ = 0.0;
    double trace_vdvd_ = 0.0;
    Matrix phi_;
};

void Structure::add_group(const Grouping& group, const RandomEffect& effect, const Vector& root,
                          double scale) {
    const auto levels = static_cast<Index>(group.levels.size());
    const std::size_t here = columns_.size();
    for (const bool is_slope : {false, true}) {
        if (!(is_slope ? group.has_slope() : group.has_intercept())) {
            continue;
        }
        Columns one{.first = q_, .levels = levels, .value = root};
        for (std::size_t i = 0; i < group.codes.size(); ++i) {
            one.place.push_back(static_cast<Index>(group.codes[i]));
            one.value[static_cast<Index>(i)] *= is_slope ? group.slope[i] / group.slope_scale : 1.0;
        }
        columns_.push_back(std::move(one));
        q_ += levels;
    }
    for (std::size_t k = 0; k < effect.theta.size(); ++k) {
        const bool is_of_slope = group.has_slope() && (k > 0 || !group.has_intercept());
        factors_.push_back(effect.theta[k] * scale * (is_of_slope ? group.slope_scale : 1.0));
    }
    parameters_.push_back({{{here, here}}});
    if (effect.theta.size() == 3) {
        parameters_.push_back({{{here, here + 1}, {here + 1, here}}});
        parameters_.push_back({{{here + 1, here + 1}}});
    }
}

Matrix Structure::z_times(const Matrix& m) const {
    Matrix out = Matrix::Zero(x_.rows(), m.cols());
    for (const auto& one : columns_) {
        for (Index i = 0; i < out.rows(); ++i) {
            out.row(i) += one.value[i] * m.row(one.first + one.place[static_cast<std::size_t>(i)]);
        }
    }
    return out;
}

Matrix Structure::z_transposed(const Matrix& m) const {
    Matrix out = Matrix::Zero(q_, m.cols());
    for (const auto& one : columns_) {
        for (Index i = 0; i < m.rows(); ++i) {
            out.row(one.first + one.place[static_cast<std::size_t>(i)]) += one.value[i] * m.row(i);
        }
    }
    return out;
}

Matrix Structure::v_inverse(const Matrix& m) const {
    return (m - z_times(middle_ * z_transposed(m))) / variance_;
}

Matrix Structure::g_times(std::size_t k, const Matrix& m) const {
    const auto& pairs = parameters_[k].pairs;
    if (pairs.empty()) {
        return diagonal_.asDiagonal() * m;
    }
    const Matrix down = z_transposed(m);
    Matrix turned = Matrix::Zero(q_, m.cols());
    for (const auto& [a, b] : pairs) {
        turned.middleRows(columns_[a].first, columns_[a].levels) +=
            down.middleRows(columns_[b].first, columns_[b].levels);
    }
    return z_times(turned);
}

double Structure::trace_vg(std::size_t k) const {
    if (parameters_[k].pairs.empty()) {
        return trace_vd_;
    }
    double sum = 0.0;
    for (const auto& [a, b] : parameters_[k].pairs) {
        sum += part(zvz_, b, a).trace();
    }
    return sum;
}

double Structure::trace_vgvg(std::size_t k, std::size_t l) const {
    const auto& first = parameters_[k].pairs;
    const auto& second = parameters_[l].pairs;
    if (first.empty() && second.empty()) {
        return trace_vdvd_;
    }
    double sum = 0.0;
    if (first.empty() || second.empty()) {
        for (const auto& [a, b] : first.empty() ? second : first) {
            sum += part(zvdvz_, b, a).trace();
        }
        return sum;
    }
    for (const auto& [a, b] : first) {
        for (const auto& [c, d] : second) {
            // tr V^-1 Z_a Z_b' V^-1 Z_c Z_d' = sum of (Z_b'V^-1 Z_c) times (Z_a'V^-1 Z_d), cell by cell
            sum += part(zvz_, b, c).cwiseProduct(part(zvz_, a, d)).sum();
        }
    }
    return sum;
}

Structure::Structure(const MixedModel& model, const MixedFit& fit) {
    const auto n = static_cast<Index>(fit.n);
    const auto p = static_cast<Index>(model.design().columns());
    const bool has_known = !model.known_variance().empty();
    // Relative to what theta is: the residual variance, or (theta of a known scale) the root mean known one.
    double known = 0.0;
    for (const double v : model.known_variance()) {
        known += v / static_cast<double>(fit.n);
    }
    variance_ = has_known ? known : fit.residual_sd * fit.residual_sd;
    Vector root(n);
    y = Vector(n);
    x_ = Matrix(n, p);
    diagonal_ = Vector::Ones(n);
    for (Index i = 0; i < n; ++i) {
        const auto row = static_cast<std::size_t>(i);
        root[i] = std::sqrt(variance_ / fit.residual_variance[row]);
        y[i] = root[i] * model.outcome()[row];
        for (Index k = 0; k < p; ++k) {
            x_(i, k) = root[i] * model.design().column(static_cast<std::size_t>(k))[row];
        }
        if (has_known) {
            diagonal_[i] = root[i] * root[i];
        }
    }
    const double scale = std::sqrt(variance_);
    for (std::size_t g = 0; g < fit.random.size(); ++g) {
        add_group(model.groups()[g], fit.random[g], root, scale);
    }
    factors_.push_back(fit.residual_sd);
    parameters_.push_back({});

    const auto count = static_cast<Index>(parameters_.size());
    smooth_.jacobian = Matrix::Zero(count, count);
    smooth_.second.assign(parameters_.size(), Matrix::Zero(count, count));
    Matrix t = Matrix::Zero(q_, q_);
    Index at = 0;
    for (const auto& effect : fit.random) {
        const auto own = static_cast<std::size_t>(at);
        const auto& columns = columns_[parameters_[own].pairs[0].first];
        const auto square = [&](Index gamma, Index factor) {
            smooth_.jacobian(gamma, factor) = 2.0 * factors_[static_cast<std::size_t>(factor)];
            smooth_.second[static_cast<std::size_t>(gamma)](factor, factor) = 2.0;
        };
        square(at, at);
        t.block(columns.first, columns.first, columns.levels, columns.levels).diagonal().array() =
            factors_[own] / scale;
        if (effect.theta.size() == 3) {
            const Index next = columns.first + columns.levels;
            t.block(next, columns.first, columns.levels, columns.levels).diagonal().array() =
                factors_[own + 1] / scale;
            t.block(next, next, columns.levels, columns.levels).diagonal().array() =
                factors_[own + 2] / scale;
            smooth_.jacobian(at + 1, at) = factors_[own + 1];
            smooth_.jacobian(at + 1, at + 1) = factors_[own];
            smooth_.second[own + 1](at, at + 1) = smooth_.second[own + 1](at + 1, at) = 1.0;
            square(at + 2, at + 1);
            square(at + 2, at + 2);
        }
        at += static_cast<Index>(effect.theta.size());
    }
    smooth_.jacobian(at, at) = 2.0 * factors_.back();
    smooth_.second.back()(at, at) = 2.0;

    const Matrix z = z_times(Matrix::Identity(q_, q_));
    const Matrix zz = z_transposed(z);
    const Matrix inner = (t.transpose() * zz * t) + Matrix::Identity(q_, q_);
    middle_ = t * inner.llt().solve(t.transpose());
    const Matrix vz = v_inverse(z);
    zvz_ = z_transposed(vz);
    const Matrix dvz = diagonal_.asDiagonal() * vz;
    zvdvz_ = vz.transpose() * dvz;
    const Matrix zdz = z_transposed(diagonal_.asDiagonal() * z);
    const Matrix zddz = z_transposed(diagonal_.cwiseAbs2().asDiagonal() * z);
    trace_vd_ = (diagonal_.sum() - middle_.cwiseProduct(zdz).sum()) / variance_;
    const Matrix product = middle_ * zdz;
    trace_vdvd_ = (diagonal_.squaredNorm() - (2.0 * middle_.cwiseProduct(zddz).sum()) +
                   product.cwiseProduct(product.transpose()).sum()) /
                  (variance_ * variance_);
    u = v_inverse(x_);
    phi_ = (x_.transpose() * u).llt().solve(Matrix::Identity(p, p));
    for (std::size_t k = 0; k < parameters_.size(); ++k) {
        gu.push_back(g_times(k, u));
        vgu.push_back(v_inverse(gu.back()));
    }
}

/// tr P G_k P G_l, P = V^-1 - V^-1 X Phi X'V^-1.
double trace_pgpg(const Structure& s, std::size_t k, std::size_t l) {
    const Matrix& phi = s.covariance();
    const Matrix pk = phi * (s.u.transpose() * s.gu[k]);
    const Matrix pl = phi * (s.u.transpose() * s.gu[l]);
    const Matrix q = phi * (s.gu[k].transpose() * s.vgu[l]);
    return s.trace_vgvg(k, l) - (2.0 * q.trace()) + pk.cwiseProduct(pl.transpose()).sum();
}

/// Inverse over the directions in which the matrix is clearly positive, in units of its own diagonal.
std::optional<Matrix> inverse_where_positive(const Matrix& m) {
    const Vector unit = m.diagonal().unaryExpr([](double v) { return v > 0.0 ? std::sqrt(v) : 1.0; });
    const Matrix even = unit.cwiseInverse().asDiagonal() * m * unit.cwiseInverse().asDiagonal();
    const Eigen::SelfAdjointEigenSolver<Matrix> eigen(even);
    Matrix out = Matrix::Zero(m.rows(), m.cols());
    bool is_any = false;
    for (Index i = 0; i < m.rows(); ++i) {
        if (eigen.eigenvalues()[i] > 1e-8) {
            const Vector direction = eigen.eigenvectors().col(i);
            out += direction * direction.transpose() / eigen.eigenvalues()[i];
            is_any = true;
        }
    }
    if (!is_any) {
        return std::nullopt;
    }
    return unit.cwiseInverse().asDiagonal() * out * unit.cwiseInverse().asDiagonal();
}

std::vector<double> rows_of(const Matrix& m) {
    const Matrix turned = m.transpose();
    return {turned.data(), turned.data() + turned.size()};
}

} // namespace

struct SmallSample::Parts {
    FreedomMethod method = FreedomMethod::satterthwaite;
    double level = 0.95;
    Design design;
    std::vector<std::string> names;
    std::vector<double> values;
    std::vector<double> covariance; ///< adjusted by Kenward and Roger
    Matrix phi;                     ///< not adjusted
    std::vector<Matrix> slope;      ///< of Phi by each parameter that is asked about
    Matrix spread;                  ///< of those parameters

    [[nodiscard]] double satterthwaite(const Vector& weights) const;
    struct Scaled {
        double freedom = 0.0;
        double scaling = 1.0;
    };
    [[nodiscard]] Scaled kenward_roger(const Matrix& rows) const;
    [[nodiscard]] double fai_cornelius(const Matrix& rows) const;
};

double SmallSample::Parts::satterthwaite(const Vector& weights) const {
    Vector gradient(spread.rows());
    for (Index k = 0; k < gradient.size(); ++k) {
        gradient[k] = weights.dot(slope[static_cast<std::size_t>(k)] * weights);
    }
    const double variance = weights.dot(phi * weights);
    const double of_variance = gradient.dot(spread * gradient);
    return of_variance > 0.0 ? 2.0 * variance * variance / of_variance
                             : std::numeric_limits<double>::infinity();
}

double SmallSample::Parts::fai_cornelius(const Matrix& rows) const {
    const Eigen::SelfAdjointEigenSolver<Matrix> eigen(rows * phi * rows.transpose());
    const Matrix turned = eigen.eigenvectors().transpose() * rows;
    const auto count = static_cast<double>(rows.rows());
    double sum = 0.0;
    double least = std::numeric_limits<double>::infinity();
    double greatest = 0.0;
    double mean = 0.0;
    for (Index i = 0; i < rows.rows(); ++i) {
        const double freedom = satterthwaite(turned.row(i).transpose());
        least = std::min(least, freedom);
        greatest = std::max(greatest, freedom);
        mean += freedom / count;
        sum += std::isinf(freedom) ? 1.0 : freedom / (freedom - 2.0);
    }
    // As much alike as rounding lets them be: the formula below would lose its digits, and F has just these.
    if (greatest - least < 1e-8 * greatest) {
        return mean;
    }
    if (least <= 2.0) { // the mean of F does not exist; 2 is the limit from above
        return 2.0;
    }
    return 2.0 * sum / (sum - count);
}

SmallSample::Parts::Scaled SmallSample::Parts::kenward_roger(const Matrix& rows) const {
    const auto l = static_cast<double>(rows.rows());
    const Matrix theta =
        rows.transpose() * (rows * phi * rows.transpose()).ldlt().solve(Matrix(rows)); // their capital Theta
    double a1 = 0.0;
    double a2 = 0.0;
    // slope is Phi P_k Phi with the opposite sign, which the products do not see.
    for (Index i = 0; i < spread.rows(); ++i) {
        const Matrix at_i = theta * slope[static_cast<std::size_t>(i)];
        for (Index j = 0; j < spread.rows(); ++j) {
            const Matrix at_j = theta * slope[static_cast<std::size_t>(j)];
            a1 += spread(i, j) * at_i.trace() * at_j.trace();
            a2 += spread(i, j) * at_i.cwiseProduct(at_j.transpose()).sum();
        }
    }
    if (!(a2 > 0.0)) {
        return {.freedom = std::numeric_limits<double>::infinity()};
    }
    const double b = (a1 + (6.0 * a2)) / (2.0 * l);
    const double g = (((l + 1.0) * a1) - ((l + 4.0) * a2)) / ((l + 2.0) * a2);
    const double below = (3.0 * l) + (2.0 * (1.0 - g));
    const double c1 = g / below;
    const double c2 = (l - g) / below;
    const double c3 = (l + 2.0 - g) / below;
    // rho = V* / (2 E*^2) of their paper. 1 / E* and 1 - c2 B may both be 0 (few levels, balanced): they are
    // then equal but for rounding.
    const double inverse_mean = 1.0 - (a2 / l);
    const double beside = 1.0 - (c2 * b);
    const double ratio =
        std::abs(inverse_mean) < 1e-14 && std::abs(beside) < 1e-14 ? 1.0 : inverse_mean / beside;
    const double l_rho = ratio * ratio * (1.0 + (c1 * b)) / (1.0 - (c3 * b));
    // Below 4 degrees of freedom F has no variance and below 2 no mean; the formulas hold on as they stand
    // (one row: 2 / A2, A2 > 1 included). What is left beyond them is less spread than at infinitely many.
    const double freedom = rows.rows() == 1 ? 2.0 / a2 : 4.0 + ((l + 2.0) / (l_rho - 1.0));
    if (!(freedom > 0.0) || std::isinf(freedom)) {
        return {.freedom = std::numeric_limits<double>::infinity()};
    }
    const double scaling = freedom * inverse_mean / (freedom - 2.0);
    // Of one row it is 1; near 2 it is 0 / 0.
    const bool is_one = rows.rows() == 1 || std::abs(freedom - 2.0) < 1e-2 || !(scaling > 0.0);
    return {.freedom = freedom, .scaling = is_one ? 1.0 : scaling};
}

Expected<SmallSample> SmallSample::make(const MixedModel& model, const MixedFit& fit, FreedomMethod method,
                                        double level) {
    const bool is_restricted = fit.criterion == Criterion::reml;
    if (method == FreedomMethod::kenward_roger && !is_restricted) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "Kenward and Roger's degrees of freedom for a fit by maximum likelihood",
                     .expected = "a fit by restricted likelihood (REML)",
                     .remedy = "fit by REML, or take Satterthwaite's"});
    }
    const Structure s(model, fit);
    const std::size_t count = s.parameters();
    const auto size = static_cast<Index>(count);
    const Matrix& phi = s.covariance();
    Parts parts{
        .method = method, .level = level, .design = model.design(), .values = fit.values(), .phi = phi};
    parts.names = model.design().names();
    std::vector<Matrix> by_gamma;
    for (std::size_t k = 0; k < count; ++k) {
        by_gamma.push_back(phi * (s.u.transpose() * s.gu[k]) * phi);
    }
    std::optional<Matrix> spread;
    if (method == FreedomMethod::kenward_roger) {
        Matrix information(size, size);
        for (std::size_t k = 0; k < count; ++k) {
            for (std::size_t l = 0; l < count; ++l) {
                information(static_cast<Index>(k), static_cast<Index>(l)) = 0.5 * trace_pgpg(s, k, l);
            }
        }
        spread = inverse_where_positive(information);
        parts.slope = by_gamma;
    } else {
        // Second derivatives of -2 log-likelihood by gamma, then by the factors in which it is smooth.
        const Vector r = s.v_inverse(s.y) - (s.u * (phi * (s.u.transpose() * s.y)));
        Matrix hessian(size, size);
        Vector gradient(size);
        std::vector<Vector> gr;
        std::vector<Vector> pgr;
        for (std::size_t k = 0; k < count; ++k) {
            gr.emplace_back(s.g_times(k, r));
            pgr.emplace_back(s.v_inverse(gr.back()) - (s.u * (phi * (s.u.transpose() * gr.back()))));
        }
        for (std::size_t k = 0; k < count; ++k) {
            const double fixed = is_restricted ? (phi * (s.u.transpose() * s.gu[k])).trace() : 0.0;
            gradient[static_cast<Index>(k)] = s.trace_vg(k) - fixed - r.dot(gr[k]);
            for (std::size_t l = 0; l < count; ++l) {
                const double trace = is_restricted ? trace_pgpg(s, k, l) : s.trace_vgvg(k, l);
                hessian(static_cast<Index>(k), static_cast<Index>(l)) = (2.0 * gr[k].dot(pgr[l])) - trace;
            }
        }
        const auto& smooth = s.smooth();
        Matrix by_factor = smooth.jacobian.transpose() * hessian * smooth.jacobian;
        for (std::size_t k = 0; k < count; ++k) {
            by_factor += gradient[static_cast<Index>(k)] * smooth.second[k];
        }
        spread = inverse_where_positive(by_factor);
        if (spread) {
            *spread *= 2.0; // -2 log-likelihood has twice the information
        }
        for (Index f = 0; f < size; ++f) {
            Matrix slope = Matrix::Zero(phi.rows(), phi.cols());
            for (std::size_t k = 0; k < count; ++k) {
                slope += smooth.jacobian(static_cast<Index>(k), f) * by_gamma[k];
            }
            parts.slope.push_back(std::move(slope));
        }
    }
    if (!spread) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "the rows say nothing of how well the variances are known",
                     .expected = "rows enough for degrees of freedom",
                     .remedy = "a smaller model, or more rows"});
    }
    parts.spread = *std::move(spread);
    Matrix covariance = phi;
    if (method == FreedomMethod::kenward_roger) {
        Matrix sum = Matrix::Zero(phi.rows(), phi.cols());
        for (std::size_t k = 0; k < count; ++k) {
            for (std::size_t l = 0; l < count; ++l) {
                const Matrix q = s.gu[k].transpose() * s.vgu[l];
                const Matrix pk = s.u.transpose() * s.gu[k];
                const Matrix pl = s.u.transpose() * s.gu[l];
                sum += parts.spread(static_cast<Index>(k), static_cast<Index>(l)) * (q - (pk * phi * pl));
            }
        }
        covariance += 2.0 * phi * sum * phi;
    }
    parts.covariance = rows_of(covariance);
    SmallSample out;
    out.parts_ = std::make_shared<const Parts>(std::move(parts));
    return out;
}

Estimate SmallSample::contrast(std::string name, std::span<const double> weights) const {
    const auto sum = combine(weights, parts_->values, parts_->covariance);
    Matrix row(1, static_cast<Index>(weights.size()));
    std::copy(weights.begin(), weights.end(), row.data());
    const double freedom = parts_->method == FreedomMethod::satterthwaite
                               ? parts_->satterthwaite(row.transpose())
                               : parts_->kenward_roger(row).freedom;
    return make_estimate(std::move(name), sum.value, std::sqrt(sum.variance), freedom, parts_->level);
}

std::vector<Estimate> SmallSample::coefficients() const {
    std::vector<Estimate> out;
    for (std::size_t k = 0; k < parts_->values.size(); ++k) {
        std::vector<double> weights(parts_->values.size(), 0.0);
        weights[k] = 1.0;
        out.push_back(contrast(parts_->names[k], weights));
    }
    return out;
}

TermTest SmallSample::test(std::string name, const std::vector<std::vector<double>>& rows) const {
    Matrix l(static_cast<Index>(rows.size()), static_cast<Index>(parts_->values.size()));
    for (Index i = 0; i < l.rows(); ++i) {
        for (Index j = 0; j < l.cols(); ++j) {
            l(i, j) = rows[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)];
        }
    }
    TermTest out{.term = std::move(name),
                 .numerator = static_cast<double>(rows.size()),
                 .f = wald_f(rows, parts_->values, parts_->covariance)};
    if (parts_->method == FreedomMethod::satterthwaite) {
        out.denominator = parts_->fai_cornelius(l);
    } else {
        const auto scaled = parts_->kenward_roger(l);
        out.denominator = scaled.freedom;
        out.scaling = scaled.scaling;
        out.f *= scaled.scaling;
    }
    out.p = f_upper(out.f, out.numerator, out.denominator);
    return out;
}

std::vector<TermTest> SmallSample::term_tests() const {
    std::vector<TermTest> out;
    const auto hypotheses = term_hypotheses(parts_->design);
    for (std::size_t t = 0; t < hypotheses.size(); ++t) {
        out.push_back(test(parts_->design.terms()[t], hypotheses[t]));
    }
    return out;
}

const std::vector<double>& SmallSample::covariance() const {
    return parts_->covariance;
}

FreedomMethod SmallSample::method() const {
    return parts_->method;
}

} // namespace backeddy::stats
