#include "stats/cox.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <numeric>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "stats/detail/check.hpp"
#include "stats/detail/follow_up.hpp"

namespace backeddy::stats {

namespace {

/// Of all events of one stratum at one time.
struct EventPart {
    double time = 0.0;
    std::size_t stratum = 0;
    std::vector<std::size_t> rows; ///< that had the event
    double log_likelihood = 0.0;
    double hazard = 0.0;  ///< by which the cumulative hazard rises at eta = 0
    Eigen::VectorXd mean; ///< of the columns over those at risk, over ties' steps
    Eigen::VectorXd score;
    Eigen::MatrixXd information;
};

class PartialLikelihood {
  public:
    /// `columns` one row a fish. Keeps copies.
    PartialLikelihood(Eigen::MatrixXd columns, std::span<const FollowUp> fish,
                      std::span<const std::size_t> strata, Ties ties);

    /// In ascending order of stratum and descending order of time.
    [[nodiscard]] std::vector<EventPart> parts(const Eigen::VectorXd& beta) const;
    /// Whether along `direction` every fish with an event lies at least as high as all at risk, within
    /// `slack`, and some higher: the likelihood then rises along it for ever.
    [[nodiscard]] bool is_monotone(const Eigen::VectorXd& direction, double slack) const;

  private:
    struct Stratum {
        std::vector<std::size_t> by_time; ///< rows, latest first
        bool has_entries = false;
    };
    /// Calls with the rows that had the event and, first, with those that come to be at risk; going back in
    /// time. `is_anew`: those at risk are all given again.
    void walk(const std::function<void(std::size_t stratum, bool is_anew, std::span<const std::size_t> joined,
                                       std::span<const std::size_t> events)>& visit) const;

    Eigen::MatrixXd columns_;
    std::vector<FollowUp> fish_;
    Ties ties_;
    std::vector<Stratum> strata_;
};

/// Sums of exp(eta), exp(eta) x and exp(eta) x x' over some fish.
struct Sums {
    double weight = 0.0;
    Eigen::VectorXd first;
    Eigen::MatrixXd second;

    explicit Sums(Eigen::Index columns)
        : first(Eigen::VectorXd::Zero(columns)), second(Eigen::MatrixXd::Zero(columns, columns)) {}
    void add(double w, const Eigen::VectorXd& x) {
        weight += w;
        first += w * x;
        second += w * (x * x.transpose());
    }
};

Eigen::Index place(std::size_t row) {
    return static_cast<Eigen::Index>(row);
}

PartialLikelihood::PartialLikelihood(Eigen::MatrixXd columns, std::span<const FollowUp> fish,
                                     std::span<const std::size_t> strata, Ties ties)
    : columns_(std::move(columns)), fish_(fish.begin(), fish.end()), ties_(ties) {
    strata_.resize(1 + *std::max_element(strata.begin(), strata.end()));
    for (std::size_t i = 0; i < fish.size(); ++i) {
        auto& own = strata_[strata[i]];
        own.by_time.push_back(i);
        own.has_entries = own.has_entries || fish[i].entry > 0.0;
    }
    for (auto& one : strata_) {
        std::stable_sort(one.by_time.begin(), one.by_time.end(),
                         [&](std::size_t a, std::size_t b) { return fish[a].time > fish[b].time; });
    }
}

void PartialLikelihood::walk(const std::function<void(std::size_t, bool, std::span<const std::size_t>,
                                                      std::span<const std::size_t>)>& visit) const {
    for (std::size_t s = 0; s < strata_.size(); ++s) {
        const auto& own = strata_[s];
        std::size_t begin = 0; // of those not yet given
        bool is_first = true;
        for (std::size_t i = 0; i < own.by_time.size();) {
            const double time = fish_[own.by_time[i]].time;
            std::vector<std::size_t> events;
            for (; i < own.by_time.size() && fish_[own.by_time[i]].time == time; ++i) {
                if (fish_[own.by_time[i]].is_event) {
                    events.push_back(own.by_time[i]);
                }
            }
            if (events.empty()) {
                continue;
            }
            // Taking those away that had not entered yet would lose digits: they are added up anew.
            std::vector<std::size_t> joined;
            for (std::size_t j = own.has_entries ? 0 : begin; j < i; ++j) {
                if (detail::is_at_risk(fish_[own.by_time[j]], time)) {
                    joined.push_back(own.by_time[j]);
                }
            }
            begin = i;
            visit(s, is_first || own.has_entries, joined, events);
            is_first = false;
        }
    }
}

std::vector<EventPart> PartialLikelihood::parts(const Eigen::VectorXd& beta) const {
    const Eigen::Index p = columns_.cols();
    const Eigen::VectorXd eta = columns_ * beta;
    // The largest would overflow first; a factor common to all leaves the likelihood alone.
    const double top = eta.size() > 0 ? eta.maxCoeff() : 0.0;
    std::vector<EventPart> out;
    Sums risk(p);
    walk([&](std::size_t stratum, bool is_anew, std::span<const std::size_t> joined,
             std::span<const std::size_t> events) {
        if (is_anew) {
            risk = Sums(p);
        }
        for (const std::size_t i : joined) {
            risk.add(std::exp(eta[place(i)] - top), columns_.row(place(i)));
        }
        EventPart part{.time = fish_[events.front()].time,
                       .stratum = stratum,
                       .rows = {events.begin(), events.end()},
                       .mean = Eigen::VectorXd::Zero(p),
                       .score = Eigen::VectorXd::Zero(p),
                       .information = Eigen::MatrixXd::Zero(p, p)};
        Sums tied(p);
        for (const std::size_t i : events) {
            tied.add(std::exp(eta[place(i)] - top), columns_.row(place(i)));
            part.log_likelihood += eta[place(i)] - top;
            part.score += columns_.row(place(i));
        }
        const auto d = static_cast<double>(events.size());
        for (std::size_t k = 0; k < events.size(); ++k) {
            const double gone = ties_ == Ties::efron ? static_cast<double>(k) / d : 0.0;
            const double weight = risk.weight - (gone * tied.weight);
            const Eigen::VectorXd mean = (risk.first - gone * tied.first) / weight;
            part.log_likelihood -= std::log(weight);
            part.hazard += std::exp(-top) / weight;
            part.score -= mean;
            part.mean += mean / d;
            part.information += (risk.second - gone * tied.second) / weight - mean * mean.transpose();
        }
        out.push_back(std::move(part));
    });
    return out;
}

bool PartialLikelihood::is_monotone(const Eigen::VectorXd& direction, double slack) const {
    const Eigen::VectorXd height = columns_ * direction;
    double highest = 0.0;
    double lowest = 0.0;
    bool holds = true;
    bool rises = false;
    walk([&](std::size_t, bool is_anew, std::span<const std::size_t> joined,
             std::span<const std::size_t> events) {
        if (is_anew) {
            highest = -std::numeric_limits<double>::infinity();
            lowest = std::numeric_limits<double>::infinity();
        }
        for (const std::size_t i : joined) {
            highest = std::max(highest, height[place(i)]);
            lowest = std::min(lowest, height[place(i)]);
        }
        for (const std::size_t i : events) {
            holds = holds && height[place(i)] >= highest - slack;
            rises = rises || height[place(i)] > lowest + slack;
        }
    });
    return holds && rises;
}

} // namespace

namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

/// Everything of the events added up.
struct Total {
    double log_likelihood = 0.0;
    Eigen::VectorXd score;
    Eigen::MatrixXd information;
};

Total total_of(const std::vector<EventPart>& parts, Eigen::Index columns) {
    Total out{.score = Eigen::VectorXd::Zero(columns),
              .information = Eigen::MatrixXd::Zero(columns, columns)};
    for (const auto& one : parts) {
        out.log_likelihood += one.log_likelihood;
        out.score += one.score;
        out.information += one.information;
    }
    return out;
}

/// The design's columns but the intercept, each less its mean and over its spread.
struct Scaled {
    std::vector<std::size_t> columns;
    std::vector<std::string> names;
    Eigen::MatrixXd x;
    Eigen::VectorXd mean;
    Eigen::VectorXd scale;
};

Scaled scaled_columns(const Design& design) {
    Scaled out;
    for (std::size_t k = 0; k < design.columns(); ++k) {
        if (design.term_of(k)) {
            out.columns.push_back(k);
            out.names.push_back(design.names()[k]);
        }
    }
    const auto n = static_cast<Eigen::Index>(design.rows());
    const auto p = static_cast<Eigen::Index>(out.columns.size());
    out.x.resize(n, p);
    out.mean.resize(p);
    out.scale.resize(p);
    for (Eigen::Index k = 0; k < p; ++k) {
        const auto column = design.column(out.columns[static_cast<std::size_t>(k)]);
        out.x.col(k) = Eigen::Map<const Eigen::VectorXd>(column.data(), n);
        out.mean[k] = out.x.col(k).mean();
        out.x.col(k).array() -= out.mean[k];
        out.scale[k] = std::sqrt(out.x.col(k).squaredNorm() / static_cast<double>(n));
        out.x.col(k) /= out.scale[k];
    }
    return out;
}

std::size_t count_events(std::span<const FollowUp> fish) {
    return static_cast<std::size_t>(
        std::count_if(fish.begin(), fish.end(), [](const FollowUp& one) { return one.is_event; }));
}

Expected<void> check_cox(const Design& design, std::span<const FollowUp> fish, const CoxOptions& options) {
    if (auto ok = detail::check_level(options.level); !ok) {
        return ok;
    }
    if (fish.size() != design.rows() ||
        (options.strata != nullptr && options.strata->codes.size() != fish.size())) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("{} times for {} rows of the design", fish.size(), design.rows()),
                     .expected = "a time, and a stratum where there are any, for every row"});
    }
    if (design.made_of().intercept != Intercept::fitted) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "a design without intercept",
                     .expected = "one with: the base hazard takes its place",
                     .remedy = "let the intercept be fitted"});
    }
    if (auto ok = detail::check_follow_ups(fish, design.row_labels()); !ok) {
        return ok;
    }
    const std::size_t events = count_events(fish);
    const std::size_t coefficients = design.columns() - 1;
    if (coefficients == 0 || events < coefficients) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} events for {} coefficients", events, coefficients),
                     .expected = "a coefficient, and at least an event for each (ten to be trusted)",
                     .remedy = "a smaller model, or longer follow-up"});
    }
    return {};
}

/// "rig: treble (against circle)" among the columns with a part in a direction.
std::vector<std::string> names_along(const Scaled& scaled, const Eigen::VectorXd& direction) {
    std::vector<std::string> out;
    const double most = direction.cwiseAbs().maxCoeff();
    for (Eigen::Index k = 0; k < direction.size(); ++k) {
        if (std::abs(direction[k]) > 1e-4 * most) {
            out.push_back(scaled.names[static_cast<std::size_t>(k)]);
        }
    }
    return out;
}

tl::unexpected<Error> infinite_coefficients(const Scaled& scaled, const Eigen::VectorXd& direction) {
    const auto names = names_along(scaled, direction);
    return fail({.code = ErrorCode::degenerate,
                 .found = fmt::format("the likelihood grows for ever with the coefficient{} of {}: at every "
                                      "event it was the fish highest in it, or lowest, that had the event",
                                      names.size() == 1 ? "" : "s", fmt::join(names, " and ")),
                 .expected = "an event in every group, and some against the trend",
                 .remedy = "report a log-rank test, which holds; join the groups without events with others, "
                           "or leave the column out; no hazard ratio can be given"});
}

/// A direction in which the columns do not vary among those at risk at any event.
tl::unexpected<Error> dependent_columns(const Scaled& scaled, const Eigen::MatrixXd& information) {
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(information);
    const Eigen::VectorXd direction = solver.eigenvectors().col(0);
    return fail({.code = ErrorCode::degenerate,
                 .found = fmt::format("{} do not vary independently among the fish at risk at the events",
                                      fmt::join(names_along(scaled, direction), " and ")),
                 .expected = "columns that differ within the strata",
                 .remedy = "leave one of them out, or the strata"});
}

bool is_singular(const Eigen::MatrixXd& information, double events) {
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(information, Eigen::EigenvaluesOnly);
    return !(solver.eigenvalues()[0] > 1e-10 * events);
}

/// Newton's steps, halved while they lead down.
Expected<Eigen::VectorXd> maximise(const PartialLikelihood& likelihood, const Scaled& scaled, double events) {
    const Eigen::Index p = scaled.x.cols();
    Eigen::VectorXd beta = Eigen::VectorXd::Zero(p);
    Total here = total_of(likelihood.parts(beta), p);
    if (is_singular(here.information, events)) {
        return dependent_columns(scaled, here.information);
    }
    for (int round = 0; round < 50; ++round) {
        const Eigen::LDLT<Eigen::MatrixXd> solver(here.information);
        Eigen::VectorXd step = solver.solve(here.score);
        const double length = step.cwiseAbs().maxCoeff();
        // Away from infinity steps soon shrink with their square; toward it each is about one more unit of
        // the linear predictor, and in the end points there and nowhere else.
        const bool creeps = round >= 12 && (length > 0.1 || !std::isfinite(length));
        if (creeps) {
            const Eigen::VectorXd direction = std::isfinite(length) ? step : beta;
            if (likelihood.is_monotone(direction, 1e-3 * (scaled.x * direction).cwiseAbs().maxCoeff())) {
                return infinite_coefficients(scaled, direction);
            }
        }
        if (!std::isfinite(length)) {
            break;
        }
        if (length < 1e-10) {
            return Eigen::VectorXd(beta + step);
        }
        Total next = total_of(likelihood.parts(beta + step), p);
        for (int halving = 0;
             halving < 30 &&
             !(next.log_likelihood >= here.log_likelihood - (1e-12 * std::abs(here.log_likelihood)));
             ++halving) {
            step *= 0.5;
            next = total_of(likelihood.parts(beta + step), p);
        }
        beta += step;
        here = std::move(next);
    }
    return fail({.code = ErrorCode::not_converged,
                 .found = "50 steps did not reach the highest partial likelihood",
                 .expected = "a maximum",
                 .remedy = "a smaller model"});
}

/// Concordant pairs (equal ones half) and all pairs, by fish.
void add_concordance(const std::vector<double>& eta, CoxFit& out) {
    const std::size_t n = out.fish.size();
    std::vector<double> own(n);
    std::vector<double> all(n);
    for (std::size_t i = 0; i < n; ++i) {
        const auto& first = out.fish[i];
        for (std::size_t j = 0; first.is_event && j < n; ++j) {
            const auto& second = out.fish[j];
            const bool is_later = second.time > first.time || (second.time == first.time && !second.is_event);
            if (j == i || out.strata[i] != out.strata[j] || !is_later || !(second.entry < first.time)) {
                continue;
            }
            const double agrees = eta[i] > eta[j] ? 1.0 : (eta[i] == eta[j] ? 0.5 : 0.0);
            own[i] += agrees;
            own[j] += agrees;
            all[i] += 1.0;
            all[j] += 1.0;
        }
    }
    const double pairs = 0.5 * std::accumulate(all.begin(), all.end(), 0.0);
    if (!(pairs > 0.0)) {
        out.concordance = 0.5;
        return;
    }
    out.concordance = 0.5 * std::accumulate(own.begin(), own.end(), 0.0) / pairs;
    double squares = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double influence = (own[i] - (out.concordance * all[i])) / pairs;
        squares += influence * influence;
    }
    out.concordance_se = std::sqrt(squares);
}

void add_base_hazard(const std::vector<EventPart>& parts, std::size_t strata, CoxFit& out) {
    out.base_hazard.resize(strata);
    for (auto part = parts.rbegin(); part != parts.rend(); ++part) {
        auto& own = out.base_hazard[part->stratum];
        own.push_back(
            {.time = part->time, .cumulative = part->hazard + (own.empty() ? 0.0 : own.back().cumulative)});
    }
}

Eigen::MatrixXd covariance_of(const CoxFit& fit) {
    const auto p = static_cast<Eigen::Index>(fit.coefficients.size());
    return Eigen::Map<const Eigen::MatrixXd>(fit.covariance.data(), p, p);
}

} // namespace

std::vector<double> CoxFit::values() const {
    std::vector<double> out;
    for (const auto& one : coefficients) {
        out.push_back(one.value);
    }
    return out;
}

Expected<CoxFit> fit_cox(const Design& design, std::span<const FollowUp> fish, const CoxOptions& options) {
    if (auto ok = check_cox(design, fish, options); !ok) {
        return fail(std::move(ok).error());
    }
    const auto scaled = scaled_columns(design);
    const Eigen::Index p = scaled.x.cols();
    CoxFit out{.design = design,
               .fish = {fish.begin(), fish.end()},
               .strata =
                   options.strata != nullptr ? options.strata->codes : std::vector<std::size_t>(fish.size()),
               .columns = scaled.columns,
               .n = fish.size(),
               .events = count_events(fish),
               .means = {scaled.mean.begin(), scaled.mean.end()},
               .ties = options.ties,
               .level = options.level};
    const PartialLikelihood likelihood(scaled.x, fish, out.strata, options.ties);
    auto found = maximise(likelihood, scaled, static_cast<double>(out.events));
    if (!found) {
        return fail(std::move(found).error());
    }
    const Total null = total_of(likelihood.parts(Eigen::VectorXd::Zero(p)), p);
    const auto parts = likelihood.parts(*found);
    const Total best = total_of(parts, p);
    if (is_singular(best.information, static_cast<double>(out.events))) {
        return dependent_columns(scaled, best.information);
    }
    const Eigen::MatrixXd unscaled = best.information.inverse();
    for (Eigen::Index k = 0; k < p; ++k) {
        const auto place = static_cast<std::size_t>(k);
        out.coefficients.push_back(make_estimate(scaled.names[place], (*found)[k] / scaled.scale[k],
                                                 std::sqrt(unscaled(k, k)) / scaled.scale[k], endless,
                                                 options.level));
        out.hazard_ratios.push_back(ratio_of(out.coefficients.back()));
        for (Eigen::Index l = 0; l < p; ++l) {
            out.covariance.push_back(unscaled(k, l) / (scaled.scale[k] * scaled.scale[l]));
        }
    }
    const auto freedom = static_cast<double>(p);
    out.log_likelihood_null = null.log_likelihood;
    out.log_likelihood = best.log_likelihood;
    out.likelihood_ratio = chi_squared_test(2.0 * (best.log_likelihood - null.log_likelihood), freedom);
    out.wald = chi_squared_test(found->dot(best.information * *found), freedom);
    out.score = chi_squared_test(null.score.dot(null.information.ldlt().solve(null.score)), freedom);
    const Eigen::VectorXd eta = scaled.x * *found;
    add_concordance({eta.begin(), eta.end()}, out);
    const std::size_t strata = 1 + *std::max_element(out.strata.begin(), out.strata.end());
    add_base_hazard(parts, strata, out);
    return out;
}

std::vector<BaseHazard> cumulative_hazard(const CoxFit& fit, std::span<const double> row,
                                          std::size_t stratum) {
    double eta = 0.0;
    for (std::size_t k = 0; k < fit.columns.size(); ++k) {
        eta += fit.coefficients[k].value * (row[fit.columns[k]] - fit.means[k]);
    }
    auto out = fit.base_hazard.at(stratum);
    for (auto& one : out) {
        one.cumulative *= std::exp(eta);
    }
    return out;
}

std::vector<TermTest> term_tests(const CoxFit& fit) {
    std::vector<TermTest> out;
    const auto values = fit.values();
    const auto hypotheses = term_hypotheses(fit.design);
    for (std::size_t t = 0; t < hypotheses.size(); ++t) {
        std::vector<std::vector<double>> rows;
        for (const auto& full : hypotheses[t]) {
            auto& row = rows.emplace_back();
            for (const std::size_t k : fit.columns) {
                row.push_back(full[k]);
            }
        }
        TermTest test{.term = fit.design.terms()[t],
                      .numerator = static_cast<double>(rows.size()),
                      .denominator = endless,
                      .f = wald_f(rows, values, fit.covariance)};
        test.p = f_upper(test.f, test.numerator, test.denominator);
        out.push_back(std::move(test));
    }
    return out;
}

namespace {

/// 1 - survival of all fish just before a time.
double share_gone_before(const SurvivalCurve& curve, double time) {
    double survival = 1.0;
    for (const auto& step : curve.steps) {
        if (step.time < time) {
            survival = step.survival;
        }
    }
    return 1.0 - survival;
}

/// Information of the coefficients and of the further columns x g(time).
struct Extended {
    Eigen::VectorXd score;
    Eigen::MatrixXd cross;
    Eigen::MatrixXd further;
};

ChiSquaredTest score_test(const Eigen::MatrixXd& information, const Extended& extended,
                          const std::vector<Eigen::Index>& tested) {
    // Of the further columns given the coefficients.
    const Eigen::MatrixXd cross = extended.cross(Eigen::all, tested);
    const Eigen::MatrixXd left =
        extended.further(tested, tested) - cross.transpose() * information.ldlt().solve(cross);
    const Eigen::VectorXd score = extended.score(tested);
    return chi_squared_test(score.dot(left.ldlt().solve(score)), static_cast<double>(tested.size()));
}

} // namespace

Expected<Proportionality> test_proportional(const CoxFit& fit) {
    const auto curve = kaplan_meier(fit.fish);
    if (!curve) {
        return fail(curve.error());
    }
    if (curve->steps.size() < 2) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "all events at the same time",
                     .expected = "events at several times: only then can a ratio change"});
    }
    const auto scaled = scaled_columns(fit.design);
    const Eigen::Index p = scaled.x.cols();
    Eigen::VectorXd beta(p);
    for (Eigen::Index k = 0; k < p; ++k) {
        beta[k] = fit.coefficients[static_cast<std::size_t>(k)].value * scaled.scale[k];
    }
    const auto parts = PartialLikelihood(scaled.x, fit.fish, fit.strata, fit.ties).parts(beta);
    double middle = 0.0;
    for (const auto& part : parts) {
        middle += static_cast<double>(part.rows.size()) * share_gone_before(*curve, part.time) /
                  static_cast<double>(fit.events);
    }
    const Eigen::MatrixXd information = total_of(parts, p).information;
    Extended extended{.score = Eigen::VectorXd::Zero(p),
                      .cross = Eigen::MatrixXd::Zero(p, p),
                      .further = Eigen::MatrixXd::Zero(p, p)};
    for (const auto& part : parts) {
        const double g = share_gone_before(*curve, part.time) - middle;
        extended.score += g * part.score;
        extended.cross += g * part.information;
        extended.further += g * g * part.information;
    }
    Proportionality out;
    std::vector<Eigen::Index> all;
    for (Eigen::Index k = 0; k < p; ++k) {
        all.push_back(k);
        out.tests.push_back({.name = scaled.names[static_cast<std::size_t>(k)],
                             .test = score_test(information, extended, {k})});
    }
    out.tests.push_back({.name = "all", .test = score_test(information, extended, all)});
    const Eigen::MatrixXd covariance = covariance_of(fit);
    for (auto part = parts.rbegin(); part != parts.rend(); ++part) {
        for (const std::size_t row : part->rows) {
            const Eigen::VectorXd beyond =
                (scaled.x.row(static_cast<Eigen::Index>(row)).transpose() - part->mean)
                    .cwiseProduct(scaled.scale);
            const Eigen::VectorXd residual =
                beta.cwiseQuotient(scaled.scale) + static_cast<double>(fit.events) * (covariance * beyond);
            out.residuals.push_back(
                {.row = row, .time = part->time, .scaled = {residual.begin(), residual.end()}});
        }
    }
    return out;
}

} // namespace backeddy::stats
