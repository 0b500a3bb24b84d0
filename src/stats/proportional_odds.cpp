// Whether one odds ratio is enough for every cut of the scores.
#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Dense>

#include "stats/detail/likelihood.hpp"
#include "stats/detail/standard.hpp"
#include "stats/ordinal.hpp"

namespace backeddy::stats {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

constexpr double endless = std::numeric_limits<double>::infinity();

/// Of one row, by the linear predictor of each cut: the score, and its expected product with itself.
struct CutSlopes {
    Vector score;
    Matrix information;
};

CutSlopes slopes_of(const Vector& cuts, std::size_t score) {
    const Index last = cuts.size();
    const auto own = static_cast<Index>(score);
    CutSlopes out{.score = Vector::Zero(last), .information = Matrix::Zero(last, last)};
    for (Index j = 0; j <= last; ++j) {
        const double lower = j > 0 ? cuts[j - 1] : -endless;
        const double upper = j < last ? cuts[j] : endless;
        const auto share = detail::share_between(detail::Standard::logistic, lower, upper);
        const double weight = std::exp(share.log_share);
        Vector slope = Vector::Zero(last);
        if (j > 0) {
            slope[j - 1] = share.by_lower;
        }
        if (j < last) {
            slope[j] = share.by_upper;
        }
        out.information += weight * slope * slope.transpose();
        if (j == own) {
            out.score = slope;
        }
    }
    return out;
}

/// Thresholds, coefficients, and for every cut but the first what the tested columns' coefficients have more
/// there.
class WiderModel {
  public:
    WiderModel(Matrix columns, Index cuts, std::vector<Index> tested)
        : columns_(std::move(columns)), cuts_(cuts), tested_(std::move(tested)) {}

    [[nodiscard]] Index freedom() const { return (cuts_ - 1) * static_cast<Index>(tested_.size()); }
    /// Of the row's cuts by the parameters.
    [[nodiscard]] Matrix derivative(Index row) const {
        const Index p = columns_.cols();
        const auto wide = static_cast<Index>(tested_.size());
        Matrix out = Matrix::Zero(cuts_, cuts_ + p + freedom());
        for (Index j = 0; j < cuts_; ++j) {
            out(j, j) = 1.0;
            out.row(j).segment(cuts_, p) = -columns_.row(row);
            for (Index k = 0; j > 0 && k < wide; ++k) {
                out(j, cuts_ + p + ((j - 1) * wide) + k) =
                    -columns_(row, tested_[static_cast<std::size_t>(k)]);
            }
        }
        return out;
    }

  private:
    Matrix columns_;
    Index cuts_;
    std::vector<Index> tested_;
};

/// The design's columns less their means, over their spread, and every row's cuts at the fit.
struct Fitted {
    Matrix columns;
    std::vector<Vector> cuts;
};

Fitted fitted_of(const OrdinalFit& fit) {
    const auto scaled = detail::scaled_columns(fit.design);
    const auto n = static_cast<Index>(fit.n);
    Fitted out{.columns = Matrix(n, static_cast<Index>(scaled.values.size()))};
    for (std::size_t k = 0; k < scaled.values.size(); ++k) {
        out.columns.col(static_cast<Index>(k)) = Eigen::Map<const Vector>(scaled.values[k].data(), n);
    }
    for (std::size_t i = 0; i < fit.n; ++i) {
        double eta = 0.0;
        for (std::size_t k = 0; k < fit.columns.size(); ++k) {
            eta += fit.coefficients[k].value * fit.design.column(fit.columns[k])[i];
        }
        Vector cuts(static_cast<Index>(fit.thresholds.size()));
        for (std::size_t j = 0; j < fit.thresholds.size(); ++j) {
            cuts[static_cast<Index>(j)] = fit.thresholds[j].value - eta;
        }
        out.cuts.push_back(std::move(cuts));
    }
    return out;
}

Expected<ChiSquaredTest> score_test(const OrdinalFit& fit, const Fitted& fitted, std::vector<Index> tested) {
    const WiderModel model(fitted.columns, static_cast<Index>(fit.thresholds.size()), std::move(tested));
    Vector score;
    Matrix information;
    for (std::size_t i = 0; i < fit.n; ++i) {
        const Matrix derivative = model.derivative(static_cast<Index>(i));
        const auto slopes = slopes_of(fitted.cuts[i], fit.scores[i]);
        if (i == 0) {
            score = Vector::Zero(derivative.cols());
            information = Matrix::Zero(derivative.cols(), derivative.cols());
        }
        score += derivative.transpose() * slopes.score;
        information += derivative.transpose() * slopes.information * derivative;
    }
    const Eigen::SelfAdjointEigenSolver<Matrix> solver(information);
    if (!(solver.eigenvalues()[0] > 1e-10 * solver.eigenvalues().maxCoeff())) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "the scores do not tell the cuts' own coefficients apart",
                     .expected = "an information matrix of full rank",
                     .remedy = "join rare scores with their neighbours"});
    }
    return chi_squared_test(score.dot(information.ldlt().solve(score)), static_cast<double>(model.freedom()));
}

Expected<void> check_testable(const OrdinalFit& fit) {
    if (!fit.groups.empty()) {
        return fail(
            {.code = ErrorCode::bad_relation,
             .found = "a fit with a random intercept",
             .expected = "one without: the test takes rows as independent",
             .remedy = "test the same model without the group as a first look, its p being too small"});
    }
    if (fit.thresholds.size() < 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = "two scores, and so one cut between them",
                     .expected = "three scores or more: with two, odds cannot differ between cuts"});
    }
    if (fit.coefficients.empty()) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "a model without a term",
                     .expected = "a coefficient that might differ between cuts"});
    }
    return {};
}

} // namespace

Expected<std::vector<TermChiSquared>> test_proportional_odds(const OrdinalFit& fit) {
    if (auto ok = check_testable(fit); !ok) {
        return fail(std::move(ok).error());
    }
    const auto fitted = fitted_of(fit);
    std::vector<TermChiSquared> out;
    for (std::size_t t = 0; t <= fit.design.terms().size(); ++t) {
        const bool is_last = t == fit.design.terms().size();
        std::vector<Index> tested;
        for (std::size_t k = 0; k < fit.columns.size(); ++k) {
            if (is_last || fit.design.term_of(fit.columns[k]) == t) {
                tested.push_back(static_cast<Index>(k));
            }
        }
        const auto test = score_test(fit, fitted, std::move(tested));
        if (!test) {
            return fail(test.error());
        }
        out.push_back({.term = is_last ? "all" : fit.design.terms()[t], .test = *test});
    }
    return out;
}

} // namespace backeddy::stats
