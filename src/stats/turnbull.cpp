#include "stats/turnbull.hpp"

#include <algorithm>
#include <cmath>
#include <compare>
#include <limits>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "stats/detail/censored_rows.hpp"

namespace backeddy::stats {

namespace {

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using Index = Eigen::Index;

/// Where a side of an interval lies among others at the same value: an exact value begins before all that end
/// there, and an interval open below begins after.
struct End {
    enum class Side : std::uint8_t { begins_with, ends_with, begins_after };
    double value = 0.0;
    Side side = Side::begins_with;

    friend auto operator<=>(const End&, const End&) = default;
};

struct Row {
    End begin;
    End end;
};

std::vector<Row> rows_of(const CensoredOutcome& outcome) {
    std::vector<Row> out;
    for (std::size_t i = 0; i < outcome.lower.size(); ++i) {
        const bool is_exact = outcome.lower[i] == outcome.upper[i];
        out.push_back({.begin = {.value = outcome.lower[i],
                                 .side = is_exact ? End::Side::begins_with : End::Side::begins_after},
                       .end = {.value = outcome.upper[i], .side = End::Side::ends_with}});
    }
    return out;
}

/// Every beginning that an end follows with no other beginning between.
std::vector<Row> innermost(const std::vector<Row>& rows) {
    std::vector<End> ends;
    for (const auto& row : rows) {
        ends.push_back(row.begin);
        ends.push_back(row.end);
    }
    std::sort(ends.begin(), ends.end());
    std::vector<Row> out;
    for (std::size_t k = 0; k + 1 < ends.size(); ++k) {
        if (ends[k].side != End::Side::ends_with && ends[k + 1].side == End::Side::ends_with) {
            out.push_back({.begin = ends[k], .end = ends[k + 1]});
        }
    }
    return out;
}

/// Which innermost intervals (columns) lie within each row.
Matrix membership(const std::vector<Row>& rows, const std::vector<Row>& inner) {
    Matrix out = Matrix::Zero(static_cast<Index>(rows.size()), static_cast<Index>(inner.size()));
    for (std::size_t i = 0; i < rows.size(); ++i) {
        for (std::size_t j = 0; j < inner.size(); ++j) {
            if (rows[i].begin <= inner[j].begin && inner[j].end <= rows[i].end) {
                out(static_cast<Index>(i), static_cast<Index>(j)) = 1.0;
            }
        }
    }
    return out;
}

/// The shares on their way to the top of sum log(A s) - n sum s, whose top has shares that sum to 1.
class Ascent {
  public:
    explicit Ascent(const Matrix& rows) : rows_(rows), n_(static_cast<double>(rows.rows())) {
        shares_ = Vector::Constant(rows.cols(), 1.0 / static_cast<double>(rows.cols()));
    }

    [[nodiscard]] const Vector& shares() const { return shares_; }
    [[nodiscard]] double log_likelihood() const { return (rows_ * shares_).array().log().sum(); }
    /// Of the log-likelihood by each share; all n at the top where a share is above 0, none above it.
    [[nodiscard]] Vector slopes() const { return rows_.transpose() * (rows_ * shares_).cwiseInverse(); }
    [[nodiscard]] double short_of_highest() const { return std::max(0.0, slopes().maxCoeff() - n_); }

    /// Each share becomes what the rows, given the shares, put there.
    void self_consistent_step() { shares_ = shares_.cwiseProduct(slopes()) / n_; }
    /// Newton's steps over the shares above 0 and the one whose slope is steepest.
    void newton();

  private:
    [[nodiscard]] double height(const Vector& shares) const {
        const Vector seen = rows_ * shares;
        return seen.minCoeff() > 0.0 ? seen.array().log().sum() - (n_ * shares.sum())
                                     : -std::numeric_limits<double>::infinity();
    }
    /// Along a step as far as no share falls below 0 and the height does not fall; shares that reach 0 are 0.
    void move(const std::vector<Index>& places, const Vector& step);

    const Matrix& rows_;
    double n_;
    Vector shares_;
};

void Ascent::move(const std::vector<Index>& places, const Vector& step) {
    double length = 1.0;
    Index first_to_0 = -1;
    for (Index k = 0; k < step.size(); ++k) {
        const double share = shares_[places[static_cast<std::size_t>(k)]];
        if (share + (length * step[k]) < 0.0) {
            length = -share / step[k];
            first_to_0 = places[static_cast<std::size_t>(k)];
        }
    }
    const double here = height(shares_);
    for (int halving = 0; halving < 50; ++halving) {
        Vector next = shares_;
        next(places) += length * step;
        if (halving == 0 && first_to_0 >= 0) {
            next[first_to_0] = 0.0;
        }
        next = next.cwiseMax(0.0);
        if (height(next) >= here - (1e-13 * std::abs(here))) {
            shares_ = next;
            return;
        }
        length *= 0.5;
    }
}

void Ascent::newton() {
    const Vector slopes = this->slopes();
    Index steepest = 0;
    slopes.maxCoeff(&steepest);
    std::vector<Index> places;
    for (Index j = 0; j < shares_.size(); ++j) {
        if (shares_[j] > 0.0 || j == steepest) {
            places.push_back(j);
        }
    }
    const Matrix scaled = (rows_ * shares_).cwiseInverse().asDiagonal() * rows_(Eigen::all, places);
    const Vector rise = slopes(places).array() - n_;
    const Matrix bends = scaled.transpose() * scaled;
    move(places, bends.completeOrthogonalDecomposition().solve(rise));
    shares_ /= shares_.sum();
}

constexpr double close_enough = 1e-8;

/// Whether the top was reached.
bool climb(Ascent& ascent) {
    for (int step = 0; step < 200; ++step) {
        ascent.self_consistent_step();
    }
    for (int round = 0; round < 500; ++round) {
        if (ascent.short_of_highest() < close_enough) {
            return true;
        }
        ascent.newton();
    }
    return ascent.short_of_highest() < close_enough;
}

Expected<void> check_lengths(const CensoredOutcome& outcome, const std::vector<std::string>& labels) {
    if (outcome.lower.size() != outcome.upper.size() || outcome.lower.size() != labels.size()) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("{} lower and {} upper limits for {} rows", outcome.lower.size(),
                                          outcome.upper.size(), labels.size()),
                     .expected = "one of each for every row"});
    }
    if (labels.empty()) {
        return fail({.code = ErrorCode::too_few, .found = "no row", .expected = "at least one"});
    }
    return detail::check_outcome(outcome, false, labels);
}

} // namespace

Expected<TurnbullCurve> turnbull(const CensoredOutcome& outcome, const std::vector<std::string>& labels) {
    std::vector<std::string> names = labels;
    for (std::size_t i = 0; labels.empty() && i < outcome.lower.size(); ++i) {
        names.push_back(fmt::format("row {}", i + 1));
    }
    if (auto ok = check_lengths(outcome, names); !ok) {
        return fail(std::move(ok).error());
    }
    const auto rows = rows_of(outcome);
    const auto inner = innermost(rows);
    const Matrix within = membership(rows, inner);
    Ascent ascent(within);
    if (!climb(ascent)) {
        return fail({.code = ErrorCode::not_converged,
                     .found = fmt::format("the shares are still up to {:.2g} short of the highest "
                                          "log-likelihood",
                                          ascent.short_of_highest()),
                     .expected = fmt::format("{}", close_enough),
                     .remedy = "give times to fewer digits"});
    }
    TurnbullCurve out{.log_likelihood = ascent.log_likelihood(),
                      .short_of_highest = ascent.short_of_highest(),
                      .n = rows.size(),
                      .counts = detail::count_outcome(outcome, false)};
    for (std::size_t j = 0; j < inner.size(); ++j) {
        const double share = ascent.shares()[static_cast<Index>(j)];
        if (share > 0.0) {
            out.intervals.push_back({.from = inner[j].begin.value, .to = inner[j].end.value, .share = share});
        }
    }
    return out;
}

Interval share_beyond(const TurnbullCurve& curve, double time) {
    Interval out;
    for (const auto& one : curve.intervals) {
        const bool is_exact = one.from == one.to;
        if (is_exact ? one.from > time : one.from >= time) {
            out.lower += one.share;
        }
        if (one.to > time) {
            out.upper += one.share;
        }
    }
    return out;
}

} // namespace backeddy::stats
