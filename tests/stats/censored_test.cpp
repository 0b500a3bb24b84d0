// Sources: R 4.2.2, survival 3.5-3 survreg (reference/stats 09); likelihoods written out apart with
// SciPy 1.10's distributions, maximised by Nelder and Mead and BFGS, profile limits by brentq; closed forms
// where said.

#include "stats/censored.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <map>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/interval.hpp"
#include "stats/linear.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

const std::map<std::string, Distribution>& r_names() {
    static const std::map<std::string, Distribution> all{{"weibull", Distribution::weibull},
                                                         {"exponential", Distribution::exponential},
                                                         {"lognormal", Distribution::log_normal},
                                                         {"loglogistic", Distribution::log_logistic}};
    return all;
}

std::vector<std::string> labels(std::size_t n) {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < n; ++i) {
        out.push_back("fish " + std::to_string(i + 1));
    }
    return out;
}

struct Given {
    Table table{{}};
    Design design;
    CensoredOutcome outcome;
};

struct TimesCase {
    const char* id;
    const char* time;
    const char* status;
    const char* event;
    const char* factor; ///< or nullptr
    std::vector<std::string> numbers;
    std::vector<std::string> names; ///< R's, by coefficient
};

Given given_of(const support::Json& one, const TimesCase& of) {
    const auto data = support::data_of(one);
    Given out{.table = Table(labels(data.rows())), .design = {}, .outcome = {}};
    Terms terms;
    if (of.factor != nullptr) {
        EXPECT_TRUE(out.table.add_factor(of.factor, data.text(of.factor)));
        terms.terms.push_back({{of.factor}});
    }
    for (const auto& name : of.numbers) {
        EXPECT_TRUE(out.table.add_numbers(name, data.numbers(name)));
        terms.terms.push_back({{name}});
    }
    auto design = make_design(out.table, terms);
    EXPECT_TRUE(design) << design.error().text();
    out.design = *design;
    for (std::size_t i = 0; i < data.rows(); ++i) {
        const double time = data.numbers(of.time)[i];
        out.outcome.lower.push_back(time);
        out.outcome.upper.push_back(data.text(of.status)[i] == of.event ? time : endless);
    }
    return out;
}

TEST(Censored, times_agree_with_r) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of :
         {TimesCase{
              "aft_lung", "time", "status", "2", nullptr, {"age", "sex"}, {"(Intercept)", "age", "sex"}},
          TimesCase{"aft_fish",
                    "day",
                    "dead",
                    "1",
                    "group",
                    {"weight"},
                    {"(Intercept)", "grouphigh", "grouplow", "weight"}}}) {
        const auto& one = support::case_of(*cases, of.id);
        const auto given = given_of(one, of);
        for (const auto& [name, distribution] : r_names()) {
            const auto fit = fit_censored(given.design, given.outcome, distribution);
            ASSERT_TRUE(fit) << of.id << " " << name << ": " << fit.error().text();
            const std::string at = "/" + name;
            for (std::size_t k = 0; k < of.names.size(); ++k) {
                const auto& b = fit->coefficients[k];
                const std::string field = "/" + of.names[k];
                support::expect_agrees(one, at + "/estimate" + field, b.value, b.se);
                support::expect_agrees(one, at + "/se" + field, b.se);
                support::expect_agrees(one, at + "/stat" + field, b.statistic, 1.0);
                support::expect_agrees(one, at + "/p" + field, b.p, 1e-6);
                support::expect_agrees(one, at + "/lower95" + field, b.lower, b.se);
                support::expect_agrees(one, at + "/upper95" + field, b.upper, b.se);
            }
            support::expect_agrees(one, at + "/scale", fit->scale);
            EXPECT_EQ(fit->log_scale.has_value(), distribution != Distribution::exponential);
            if (fit->log_scale) {
                support::expect_agrees(one, at + "/se_log_scale", fit->log_scale->se);
            }
            support::expect_agrees(one, at + "/loglik", fit->log_likelihood, 1.0);
        }
    }
}

/// Exact, below, above and within, with a column.
struct Mixed {
    CensoredOutcome outcome{
        .lower = {3.1, 7.4, 5.0, 12.0, 0.0, 2.2, 9.5, 6.1, 0.0, 8.0, 4.4, 11.0, 15.0, 3.9, 7.0, 10.2},
        .upper = {3.1, 7.4, 8.0, endless, 2.0, 2.2, 9.5, 6.1, 3.0, endless, 4.4, 14.0, endless, 3.9, 9.0,
                  10.2}};
    Table table{labels(16)};
    Design design;

    Mixed() {
        EXPECT_TRUE(table.add_numbers(
            "x", {0.2, 1.1, 0.7, 1.9, 0.1, 0.4, 1.2, 0.9, 0.3, 1.0, 0.6, 1.7, 1.8, 0.8, 0.5, 1.4}));
        std::vector<std::string> days;
        for (int i = 0; i < 16; ++i) {
            days.push_back("day " + std::to_string(i % 5));
        }
        EXPECT_TRUE(table.add_factor("day", days));
        design = *make_design(table, {.terms = {{{"x"}}}});
    }
    /// A normal outcome is open below where a positive one is from 0.
    [[nodiscard]] CensoredOutcome of(Distribution distribution) const {
        auto out = outcome;
        for (double& lower : out.lower) {
            lower = distribution == Distribution::normal && lower == 0.0 ? -endless : lower;
        }
        return out;
    }
};

struct SciPy {
    Distribution distribution;
    std::vector<double> values; ///< intercept, x, log scale
    std::vector<double> se;
    double log_likelihood;
    Interval limits; ///< profile, of x
};

const std::vector<SciPy>& scipy_rows() {
    static const std::vector<SciPy> all{{Distribution::normal,
                                         {0.04929407, 7.84681576, 0.46483339},
                                         {0.91994144, 0.92833925, 0.22725424},
                                         -20.905106334,
                                         {6.10041567, 10.08948884}},
                                        {Distribution::log_normal,
                                         {0.67829349, 1.26135677, -1.17539820},
                                         {0.17318298, 0.17962726, 0.22559527},
                                         -22.455580304,
                                         {0.92668943, 1.70020694}},
                                        {Distribution::weibull,
                                         {0.93845647, 1.13776323, -1.10309103},
                                         {0.21791258, 0.24177278, 0.23620006},
                                         -24.460218382,
                                         {0.72979624, 1.75129433}},
                                        {Distribution::exponential,
                                         {0.40313649, 1.77520419},
                                         {0.55054735, 0.61460357},
                                         -31.266299192,
                                         {0.64262216, 3.08553865}},
                                        {Distribution::log_logistic,
                                         {0.66356545, 1.25211208, -1.77858463},
                                         {0.17094058, 0.16894630, 0.26250043},
                                         -22.289970172,
                                         {0.93765911, 1.66958227}}};
    return all;
}

TEST(Censored, every_kind_of_knowing_agrees_with_a_program_apart) {
    const Mixed mixed;
    for (const auto& row : scipy_rows()) {
        const auto fit = fit_censored(mixed.design, mixed.of(row.distribution), row.distribution);
        ASSERT_TRUE(fit) << fit.error().text();
        EXPECT_EQ(fit->counts.exact, 8U);
        EXPECT_EQ(fit->counts.below, 2U);
        EXPECT_EQ(fit->counts.above, 3U);
        EXPECT_EQ(fit->counts.within, 3U);
        for (std::size_t k = 0; k < 2; ++k) {
            EXPECT_NEAR(fit->coefficients[k].value, row.values[k], 2e-6 * row.se[k]);
            EXPECT_NEAR(fit->coefficients[k].se, row.se[k], 2e-5 * row.se[k]);
        }
        if (fit->log_scale) {
            EXPECT_NEAR(fit->log_scale->value, row.values[2], 2e-6 * row.se[2]);
            EXPECT_NEAR(fit->log_scale->se, row.se[2], 2e-5 * row.se[2]);
        }
        EXPECT_NEAR(fit->log_likelihood, row.log_likelihood, 1e-8);
        const auto limits = profile_intervals(*fit);
        EXPECT_NEAR(limits[1].lower, row.limits.lower, 1e-5 * row.se[1]);
        EXPECT_NEAR(limits[1].upper, row.limits.upper, 1e-5 * row.se[1]);
        // The intercept's and the scale's, by what they say of each other.
        EXPECT_EQ(limits.size(), fit->log_scale ? 3U : 2U);
        for (const auto& one : limits) {
            EXPECT_LT(one.lower, one.value);
            EXPECT_GT(one.upper, one.value);
        }
    }
}

// Log-normal with five days, by SciPy 1.10: the integrals by 6,001 points of the trapezoid rule, the maximum
// by Nelder and Mead, errors by differences.
TEST(Censored, with_a_random_intercept_agrees_with_a_program_apart) {
    Mixed mixed;
    mixed.outcome = {.lower = {1.7, 11.04, 10.07, 8.89, 0.0, 1.21, 14.17, 12.28, 0.0, 8.0, 2.41, 16.41, 30.21,
                               2.89, 7.0, 5.6},
                     .upper = {1.7, 11.04, 16.11, endless, 2.0, 1.21, 14.17, 12.28, 2.22, endless, 2.41,
                               20.89, endless, 2.89, 9.0, 5.6}};
    const auto fit = fit_censored(mixed.design, mixed.outcome, Distribution::log_normal,
                                  {.group = &mixed.table.factor("day"), .nodes = 25});
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_NEAR(fit->log_likelihood, -26.223319710, 1e-6);
    EXPECT_NEAR(fit->coefficients[0].value, 0.52613367, 1e-5);
    EXPECT_NEAR(fit->coefficients[1].value, 1.49005460, 1e-5);
    EXPECT_NEAR(fit->coefficients[0].se, 0.33904623, 1e-5);
    EXPECT_NEAR(fit->coefficients[1].se, 0.26363642, 1e-5);
    EXPECT_NEAR(fit->log_scale->value, -1.10720379, 1e-5);
    EXPECT_NEAR(fit->log_scale->se, 0.28992635, 1e-5);
    EXPECT_NEAR(fit->random->sd, 0.53689049, 1e-5);
    // Without days the spread of a day goes into the rest: a lower likelihood.
    EXPECT_GT(fit->random->none.chi_squared, 0.0);
    const auto minutes = [&] {
        auto out = mixed.outcome;
        for (std::size_t i = 0; i < 16; ++i) {
            out.lower[i] *= 60.0;
            out.upper[i] *= 60.0;
        }
        return fit_censored(mixed.design, out, Distribution::log_normal,
                            {.group = &mixed.table.factor("day"), .nodes = 25});
    }();
    ASSERT_TRUE(minutes);
    EXPECT_NEAR(minutes->random->sd, fit->random->sd, 1e-6);
}

TEST(Censored, all_exact_and_normal_is_least_squares) {
    Mixed mixed;
    std::vector<double> y;
    for (std::size_t i = 0; i < 16; ++i) {
        y.push_back(mixed.outcome.lower[i] + (0.1 * static_cast<double>(i)));
    }
    const auto linear = fit_linear(mixed.design, y);
    const auto fit = fit_censored(mixed.design, {.lower = y, .upper = y}, Distribution::normal);
    ASSERT_TRUE(linear && fit);
    double squares = 0.0;
    for (const double r : linear->residuals) {
        squares += r * r;
    }
    for (std::size_t k = 0; k < 2; ++k) {
        EXPECT_NEAR(fit->coefficients[k].value, linear->coefficients[k].value, 1e-8);
        // Divisor n and not n - 2: maximum likelihood.
        EXPECT_NEAR(fit->coefficients[k].se, linear->coefficients[k].se * std::sqrt(14.0 / 16.0), 1e-8);
    }
    EXPECT_NEAR(fit->scale, std::sqrt(squares / 16.0), 1e-8);
    EXPECT_NEAR(fit->log_scale->se, std::sqrt(1.0 / 32.0), 1e-7);
    // Of few rows: then the p and the limits of least squares, whose own checks are NIST's and R's.
    const auto test = term_tests(*fit)->front().test;
    EXPECT_NEAR(few_rows_p(*fit, test), linear->coefficients[1].p, 1e-8);
    EXPECT_LT(test.p, 0.9 * linear->coefficients[1].p);
    auto wider = *fit;
    wider.level = few_rows_level(*fit);
    EXPECT_GT(wider.level, 0.95);
    const auto limits = profile_intervals(wider).at(1);
    EXPECT_NEAR(limits.lower, linear->coefficients[1].lower, 1e-5);
    EXPECT_NEAR(limits.upper, linear->coefficients[1].upper, 1e-5);
}

// Events over time at risk; the logarithm's variance 1 / events.
TEST(Censored, exponential_times_of_one_group_have_their_closed_form) {
    const CensoredOutcome times{.lower = {2.0, 3.5, 7.0, 1.2, 9.0, 9.0},
                                .upper = {2.0, 3.5, endless, 1.2, 9.0, endless}};
    const auto design = make_design(Table(labels(6)), {});
    const auto fit = fit_censored(*design, times, Distribution::exponential);
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_NEAR(fit->ratios[0].value, 31.7 / 4.0, 1e-8);
    EXPECT_NEAR(fit->coefficients[0].se, 0.5, 1e-8);
    const auto median = quantile_at(*fit, std::vector<double>{1.0}, 0.5);
    ASSERT_TRUE(median);
    EXPECT_NEAR(median->value, std::log(2.0) * 31.7 / 4.0, 1e-8);
    EXPECT_NEAR(median->upper / median->value, std::exp(1.959963984540054 * 0.5), 1e-8);
    EXPECT_EQ(quantile_at(*fit, std::vector<double>{1.0}, 1.0).error().code, ErrorCode::bad_setting);
}

TEST(Censored, other_units_turned_signs_and_narrow_intervals_say_the_same) {
    const Mixed mixed;
    for (const auto distribution : {Distribution::normal, Distribution::log_normal, Distribution::weibull,
                                    Distribution::exponential, Distribution::log_logistic}) {
        const auto outcome = mixed.of(distribution);
        const auto fit = fit_censored(mixed.design, outcome, distribution);
        ASSERT_TRUE(fit);
        auto minutes = outcome;
        auto blurred = outcome;
        for (std::size_t i = 0; i < 16; ++i) {
            minutes.lower[i] *= 60.0;
            minutes.upper[i] *= 60.0;
            blurred.upper[i] += outcome.lower[i] == outcome.upper[i] ? 1e-4 : 0.0;
            blurred.lower[i] -= outcome.lower[i] == outcome.upper[i] ? 1e-4 : 0.0;
        }
        const auto other = fit_censored(mixed.design, minutes, distribution);
        const auto near = fit_censored(mixed.design, blurred, distribution);
        ASSERT_TRUE(other && near);
        const bool is_log = distribution != Distribution::normal;
        for (std::size_t k = 0; k < 2; ++k) {
            const double wanted = is_log ? fit->coefficients[k].value + (k == 0 ? std::log(60.0) : 0.0)
                                         : 60.0 * fit->coefficients[k].value;
            EXPECT_NEAR(other->coefficients[k].value, wanted, 1e-6);
            EXPECT_NEAR(near->coefficients[k].value, fit->coefficients[k].value, 1e-5);
            EXPECT_NEAR(near->coefficients[k].se, fit->coefficients[k].se, 1e-5);
        }
        // Eight exact rows, each now an interval of 2e-4.
        EXPECT_NEAR(near->log_likelihood - (8.0 * std::log(2e-4)), fit->log_likelihood, 1e-5);
        EXPECT_NEAR(other->log_likelihood, fit->log_likelihood - (8.0 * std::log(60.0)), 1e-7);
        EXPECT_NEAR(profile_intervals(*other)[1].upper,
                    (is_log ? 1.0 : 60.0) * profile_intervals(*fit)[1].upper, 1e-5);
    }
    auto turned = mixed.of(Distribution::normal);
    for (std::size_t i = 0; i < 16; ++i) {
        const double lower = turned.lower[i];
        turned.lower[i] = -turned.upper[i];
        turned.upper[i] = -lower;
    }
    const auto fit = fit_censored(mixed.design, mixed.of(Distribution::normal), Distribution::normal);
    const auto mirrored = fit_censored(mixed.design, turned, Distribution::normal);
    ASSERT_TRUE(fit && mirrored);
    EXPECT_NEAR(mirrored->coefficients[1].value, -fit->coefficients[1].value, 1e-6);
    EXPECT_NEAR(mirrored->scale, fit->scale, 1e-6);
}

TEST(Censored, terms_are_tested_by_what_they_gain) {
    const Mixed mixed;
    const auto outcome = mixed.of(Distribution::weibull);
    const auto fit = fit_censored(mixed.design, outcome, Distribution::weibull);
    const auto null = fit_censored(*make_design(mixed.table, {}), outcome, Distribution::weibull);
    ASSERT_TRUE(fit && null);
    const auto tests = term_tests(*fit);
    ASSERT_TRUE(tests);
    EXPECT_EQ(tests->front().term, "x");
    EXPECT_NEAR(tests->front().test.chi_squared, 2.0 * (fit->log_likelihood - null->log_likelihood), 1e-8);
    EXPECT_EQ(tests->front().test.freedom, 1.0);
}

TEST(Censored, bad_input_is_named) {
    Table table(labels(6));
    ASSERT_TRUE(table.add_factor("rig", {"c", "c", "c", "t", "t", "t"}));
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    const auto words = [&](std::vector<double> lower, std::vector<double> upper,
                           Distribution distribution = Distribution::weibull) {
        const auto fit =
            fit_censored(*design, {.lower = std::move(lower), .upper = std::move(upper)}, distribution);
        return fit ? std::string("a fit") : fit.error().text();
    };
    EXPECT_EQ(
        words({1, 2, 3, 4, 6, 6}, {1, 2, 3, 4, 5, 6}),
        "fish 5 lies between 6 and 5; the lower limit first, not above the upper; are the two swapped?");
    EXPECT_EQ(
        words({1, 2, 3, 4, 0, 6}, {1, 2, 3, 4, 0, 6}),
        "fish 5 lies between 0 and 0; a value above 0: it is its logarithm that is modelled; an assay's 0 "
        "lies between 0 and its limit; an event at once between 0 and the first look; or take the normal "
        "distribution");
    EXPECT_EQ(
        words({1, 2, 3, 4, 0, 6}, {1, 2, 3, 4, endless, 6}),
        "fish 5 lies between 0 and inf; a finite limit on one side at least: this says nothing of where "
        "it is; leave the row out, and say so");
    EXPECT_EQ(words({1, 2, 3, 4, std::nan(""), 6}, {1, 2, 3, 4, 5, 6}).substr(0, 44),
              "fish 5 has a limit that is not a number; a n");
    EXPECT_EQ(
        words({1, 2, 3, 4, 5, 6}, {endless, endless, endless, endless, endless, endless}),
        "all 6 rows are only known to lie above their limits; values, or intervals, that were seen; report "
        "the limits, and the share of none seen with its exact limit");
    EXPECT_EQ(
        words({1, 2, 3, 9, 9, 9}, {1, 2, 3, endless, endless, endless}),
        "the likelihood grows for ever with the coefficient of rig: t (against c): all rows that it moves "
        "are known on one side only, and to the same; in every group a row whose value, or whose "
        "interval, was seen; join the group with others or leave the column out; a rank test with all "
        "that is beyond a limit tied (or a log-rank test) holds");
    EXPECT_EQ(words({2, 2, 2, 3, 3, 3}, {2, 2, 2, 3, 3, 3}).substr(0, 44),
              "a model that leaves nothing over: all rows c");
    EXPECT_EQ(words({2, 2, 2, 2, 2, 2}, {2, 2, 2, 2, 2, 2}).substr(0, 44),
              "a model that leaves nothing over: all rows c");
    EXPECT_EQ(words({1, 2}, {1, 2}),
              "2 lower and 2 upper limits for 6 rows of the design; one of each for every row");
    EXPECT_EQ(
        censored_mean({.lower = {1, 2}, .upper = {1, 2}}, Distribution::weibull, labels(2)).error().code,
        ErrorCode::bad_setting);
}

// Without censoring: the sample's own moments, divisor n.
TEST(CensoredMean, of_values_all_seen_is_the_sample_s) {
    const std::vector<double> y{1.2, 3.4, 0.8, 2.9, 5.5, 1.7};
    double sum = 0.0;
    double logs = 0.0;
    for (const double v : y) {
        sum += v / 6.0;
        logs += std::log(v) / 6.0;
    }
    double squares = 0.0;
    for (const double v : y) {
        squares += (std::log(v) - logs) * (std::log(v) - logs) / 6.0;
    }
    const auto normal = censored_mean({.lower = y, .upper = y}, Distribution::normal, labels(6));
    const auto log_normal = censored_mean({.lower = y, .upper = y}, Distribution::log_normal, labels(6));
    ASSERT_TRUE(normal && log_normal);
    EXPECT_NEAR(normal->mean.value, sum, 1e-9);
    EXPECT_NEAR(log_normal->median.value, std::exp(logs), 1e-8);
    EXPECT_NEAR(log_normal->mean.value, std::exp(logs + (0.5 * squares)), 1e-8);
    // Cox's method: variance s2 / n + s2^2 / (2 n), all at maximum likelihood.
    const double se = std::sqrt((squares / 6.0) + (squares * squares / 12.0));
    EXPECT_NEAR(log_normal->mean.upper, log_normal->mean.value * std::exp(1.959963984540054 * se), 1e-7);
}

/// Hours that a fish takes, Weibull of shape 1.5; seen all along to hour 12, or only every second hour.
CensoredOutcome hours(std::size_t n, double effect, bool is_looked_at, std::uint64_t seed) {
    Random random(20260415, seed);
    CensoredOutcome out;
    for (std::size_t i = 0; i < n; ++i) {
        const double time =
            std::exp(2.0 + (i % 2 == 1 ? effect : 0.0)) * std::pow(random.exponential(), 1.0 / 1.5);
        const double from = is_looked_at ? 2.0 * std::floor(0.5 * time) : time;
        out.lower.push_back(time > 12.0 ? 12.0 : from);
        out.upper.push_back(time > 12.0 ? endless : (is_looked_at ? from + 2.0 : time));
    }
    return out;
}

Design two_groups(std::size_t n) {
    Table table(labels(n));
    std::vector<std::string> rig;
    for (std::size_t i = 0; i < n; ++i) {
        rig.emplace_back(i % 2 == 1 ? "treble" : "circle");
    }
    EXPECT_TRUE(table.add_factor("rig", rig));
    return *make_design(table, {.terms = {{{"rig"}}}});
}

TEST(CensoredSimulated, times_keep_their_level_and_cover_the_truth) {
    const auto design = two_groups(40);
    for (const bool is_looked_at : {false, true}) {
        Rate wald;
        Rate ratio;
        Rate covered;
        Rate profiled;
        const auto studies = runs(500);
        for (std::uint64_t run = 0; run < studies; ++run) {
            const auto null = fit_censored(design, hours(40, 0.0, is_looked_at, run), Distribution::weibull);
            const auto fit =
                fit_censored(design, hours(40, 0.4, is_looked_at, 10000 + run), Distribution::weibull);
            ASSERT_TRUE(null && fit) << run;
            wald.add(null->coefficients[1].p < 0.05);
            ratio.add(term_tests(*null)->front().test.p < 0.05);
            covered.add(fit->coefficients[1].lower <= 0.4 && 0.4 <= fit->coefficients[1].upper);
            const auto limits = profile_intervals(*fit)[1];
            profiled.add(limits.lower <= 0.4 && 0.4 <= limits.upper);
        }
        const std::string of = is_looked_at ? "looked at every 2 h, " : "watched, ";
        EXPECT_TRUE(is_between(wald, 0.03, 0.09, of + "no effect, Wald p < 0.05"));
        EXPECT_TRUE(is_between(ratio, 0.03, 0.08, of + "no effect, likelihood ratio p < 0.05"));
        EXPECT_TRUE(is_between(covered, 0.91, 0.97, of + "effect in Wald's interval"));
        EXPECT_TRUE(is_between(profiled, 0.92, 0.97, of + "effect in the profile interval"));
    }
}

TEST(CensoredSimulated, means_of_an_analyte_with_a_third_below_the_limit) {
    Rate mean;
    Rate median;
    double substituted = 0.0;
    double fitted = 0.0;
    const auto studies = runs(500);
    const double limit = std::exp(-0.4307); // a third of standard log-normal values lie below
    for (std::uint64_t run = 0; run < studies; ++run) {
        Random random(20260416, run);
        CensoredOutcome values;
        double half = 0.0;
        for (int i = 0; i < 30; ++i) {
            const double v = std::exp(random.normal());
            values.lower.push_back(v < limit ? 0.0 : v);
            values.upper.push_back(std::max(v, limit));
            half += std::log(v < limit ? 0.5 * limit : v) / 30.0;
        }
        const auto got = censored_mean(values, Distribution::log_normal, labels(30));
        ASSERT_TRUE(got) << got.error().text();
        mean.add(got->mean.lower <= std::exp(0.5) && std::exp(0.5) <= got->mean.upper);
        median.add(got->median.lower <= 1.0 && 1.0 <= got->median.upper);
        substituted += half / static_cast<double>(studies);
        fitted += std::log(got->median.value) / static_cast<double>(studies);
    }
    std::printf("    mean log: by the model %.4f, with half the limit %.4f, true 0\n", fitted, substituted);
    EXPECT_TRUE(is_between(mean, 0.89, 0.97, "log-normal mean in its interval"));
    EXPECT_TRUE(is_between(median, 0.91, 0.97, "median in its interval"));
    EXPECT_NEAR(fitted, 0.0, 0.035); // four Monte Carlo errors of 500 means of 30
}

} // namespace
} // namespace backeddy::stats
