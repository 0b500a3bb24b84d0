// Sources: R 4.2.2, MASS 7.3-58.2 (reference/stats 07); the beetles of Bliss 1935 as Dobson 2002, An
// Introduction to Generalized Linear Models, 7.3 gives them (from memory); Firth 1993 and closed forms where
// said; the penalised profile by a search written out here.

#include "stats/generalised.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/means.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

std::vector<std::string> labels(std::size_t n) {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < n; ++i) {
        out.push_back("row " + std::to_string(i + 1));
    }
    return out;
}

struct GlmCase {
    const char* id;
    Family family;
    Link link;
    const char* outcome;
    std::vector<Term> terms;
    std::vector<std::string> factors; ///< among the terms' columns
    std::vector<std::string> names;   ///< R's, by coefficient
    const char* trials = "";
    const char* effort = "";
    std::vector<std::string> drop; ///< terms that R drops one by one, by our names
};

const std::vector<GlmCase>& glm_cases() {
    static const std::vector<Term> age{{{"Age"}}};
    static const std::vector<std::string> age_names{"(Intercept)", "Age"};
    static const std::vector<GlmCase> all{
        {"logit_menarche",
         Family::binomial,
         Link::logit,
         "Menarche",
         age,
         {},
         age_names,
         "Total",
         "",
         {"Age"}},
        {"probit_menarche",
         Family::binomial,
         Link::probit,
         "Menarche",
         age,
         {},
         age_names,
         "Total",
         "",
         {"Age"}},
        {"cloglog_menarche",
         Family::binomial,
         Link::complementary_log_log,
         "Menarche",
         age,
         {},
         age_names,
         "Total",
         "",
         {"Age"}},
        {"logit_binary",
         Family::binomial,
         Link::logit,
         "y",
         {{{"x"}}, {{"trt"}}},
         {"trt"},
         {"(Intercept)", "x", "trtb"},
         "",
         "",
         {"x", "trt"}},
        {"poisson_warpbreaks",
         Family::poisson,
         Link::log,
         "breaks",
         crossed({"wool", "tension"}),
         {"wool", "tension"},
         {"(Intercept)", "woolB", "tensionL", "tensionM", "woolB:tensionL", "woolB:tensionM"},
         "",
         "",
         {"wool x tension"}},
        {"poisson_offset_insurance",
         Family::poisson,
         Link::log,
         "Claims",
         {{{"District"}}, {{"Group"}}, {{"Age"}}},
         {"District"},
         {"(Intercept)", "factor(District)2", "factor(District)3", "factor(District)4", "Group", "Age"},
         "",
         "Holders",
         {"District", "Group", "Age"}},
        {"poisson_offset_hauls",
         Family::poisson,
         Link::log,
         "catch",
         {{{"gear"}}},
         {"gear"},
         {"(Intercept)", "geartest"},
         "",
         "effort",
         {"gear"}},
        {"nb_quine",
         Family::negative_binomial,
         Link::log,
         "Days",
         {{{"Sex"}}, {{"Age"}}, {{"Eth"}}, {{"Lrn"}}},
         {"Sex", "Age", "Eth", "Lrn"},
         {"(Intercept)", "SexM", "AgeF1", "AgeF2", "AgeF3", "EthN", "LrnSL"}},
        {"nb_offset_hauls",
         Family::negative_binomial,
         Link::log,
         "caught_nb",
         {{{"gear"}}},
         {"gear"},
         {"(Intercept)", "geartest"},
         "",
         "effort"}};
    return all;
}

struct Given {
    Table table{{}};
    Design design;
    std::vector<double> trials;
    std::vector<double> offset;
    GeneralisedOptions options;
};

Given given(const support::Json& one, const GlmCase& of) {
    const auto data = support::data_of(one);
    Given out{.table = Table(labels(data.rows()))};
    std::vector<std::string> columns = columns_of({.terms = of.terms});
    for (const std::string name : {of.outcome, of.trials, of.effort}) {
        if (!name.empty()) {
            columns.push_back(name);
        }
    }
    for (const auto& name : columns) {
        const bool is_factor = std::find(of.factors.begin(), of.factors.end(), name) != of.factors.end();
        EXPECT_TRUE(is_factor ? out.table.add_factor(name, data.text(name))
                              : out.table.add_numbers(name, data.numbers(name)));
    }
    out.design = make_design(out.table, {.terms = of.terms}).value();
    if (!std::string(of.trials).empty()) {
        out.trials = data.numbers(of.trials);
    }
    if (!std::string(of.effort).empty()) {
        out.offset = log_exposure(out.table, of.effort).value();
    }
    out.options = {.family = of.family, .link = of.link};
    return out;
}

Expected<GeneralisedFit> fit_of(const Given& given, const GlmCase& of) {
    auto options = given.options;
    options.trials = given.trials;
    options.offset = given.offset;
    return fit_generalised(given.design, given.table.numbers(of.outcome), options);
}

void expect_coefficients(const support::Json& one, const GlmCase& of, const GeneralisedFit& fit) {
    ASSERT_EQ(fit.coefficients.size(), of.names.size());
    for (std::size_t k = 0; k < of.names.size(); ++k) {
        const auto& c = fit.coefficients[k];
        const auto& at = of.names[k];
        support::expect_agrees(one, "/estimate/" + at, c.value, c.se);
        support::expect_agrees(one, "/se/" + at, c.se);
        support::expect_agrees(one, "/stat/" + at, c.statistic);
        support::expect_agrees(one, "/p/" + at, c.p, 1e-6);
        support::expect_agrees(one, "/lower95/" + at, c.lower, c.se);
        support::expect_agrees(one, "/upper95/" + at, c.upper, c.se);
        if (!fit.ratios.empty()) {
            support::expect_agrees(one, "/exp_estimate/" + at, fit.ratios[k].value);
        }
        if (!fit.ratios.empty() && of.family != Family::negative_binomial) {
            support::expect_agrees(one, "/exp_lower95/" + at, fit.ratios[k].lower);
            support::expect_agrees(one, "/exp_upper95/" + at, fit.ratios[k].upper);
        }
    }
    support::expect_agrees(one, "/loglik", fit.log_likelihood, 1.0);
    support::expect_agrees(one, "/aic", fit.aic, 1.0);
    support::expect_agrees(one, "/n", static_cast<double>(fit.n));
}

TEST(Generalised, agrees_with_r_on_shares_and_counts) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : glm_cases()) {
        if (of.family == Family::negative_binomial) {
            continue;
        }
        const auto& one = support::case_of(*cases, of.id);
        const auto data = given(one, of);
        const auto fit = fit_of(data, of);
        ASSERT_TRUE(fit) << of.id << ": " << fit.error().text();
        expect_coefficients(one, of, *fit);
        support::expect_agrees(one, "/bic", fit->bic, 1.0);
        support::expect_agrees(one, "/df_residual", fit->freedom);
        support::expect_agrees(one, "/deviance", fit->deviance);
        support::expect_agrees(one, "/null_deviance", fit->null_deviance);
        support::expect_agrees(one, "/pearson_chisq", fit->pearson_chi_squared);
        support::expect_agrees(one, "/dispersion", fit->dispersion);
        const std::size_t p = of.names.size();
        const auto profiles = profile_intervals(*fit);
        ASSERT_TRUE(profiles) << profiles.error().text();
        const auto quasi = quasi_coefficients(*fit);
        for (std::size_t k = 0; k < p; ++k) {
            const double se = fit->coefficients[k].se;
            for (std::size_t l = 0; l < p; ++l) {
                support::expect_agrees(one, "/vcov/" + std::to_string(k) + "/" + std::to_string(l),
                                       fit->covariance[(k * p) + l], se * fit->coefficients[l].se);
            }
            support::expect_agrees(one, "/profile_ci95/lower/" + of.names[k], (*profiles)[k].lower, se);
            support::expect_agrees(one, "/profile_ci95/upper/" + of.names[k], (*profiles)[k].upper, se);
            if (quasi) {
                support::expect_agrees(one, "/quasi_se/" + of.names[k], (*quasi)[k].se);
            }
        }
        for (std::size_t i = 0; i < 5; ++i) {
            support::expect_agrees(one, "/fitted_first5/" + std::to_string(i), fit->fitted[i]);
        }
        const auto tests = term_tests(*fit);
        ASSERT_TRUE(tests) << tests.error().text();
        for (std::size_t d = 0; d < of.drop.size(); ++d) {
            const auto test = std::find_if(tests->begin(), tests->end(),
                                           [&](const TermChiSquared& t) { return t.term == of.drop[d]; });
            ASSERT_NE(test, tests->end()) << of.drop[d];
            const auto at = "/" + std::to_string(d);
            support::expect_agrees(one, "/drop1/df" + at, test->test.freedom);
            support::expect_agrees(one, "/drop1/chisq" + at, test->test.chi_squared);
            support::expect_agrees(one, "/drop1/p" + at, test->test.p, 1e-6);
        }
    }
}

TEST(Generalised, agrees_with_r_on_negative_binomials) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : glm_cases()) {
        if (of.family != Family::negative_binomial) {
            continue;
        }
        const auto& one = support::case_of(*cases, of.id);
        auto data = given(one, of);
        const auto fit = fit_of(data, of);
        ASSERT_TRUE(fit) << of.id << ": " << fit.error().text();
        expect_coefficients(one, of, *fit);
        ASSERT_TRUE(fit->theta);
        support::expect_agrees(one, "/theta", fit->theta->value);
        support::expect_agrees(one, "/se_theta_joint", fit->theta->se);
        for (std::size_t k = 0; k < of.names.size(); ++k) {
            support::expect_agrees(one, "/se_joint_hessian/" + of.names[k], fit->theta->coefficient_se[k]);
        }
        data.options.family = Family::poisson;
        const auto poisson = fit_of(data, of);
        ASSERT_TRUE(poisson);
        support::expect_agrees(one, "/vs_poisson/poisson_loglik", poisson->log_likelihood, 1.0);
        support::expect_agrees(one, "/vs_poisson/chisq",
                               2.0 * (fit->log_likelihood - poisson->log_likelihood));
        ASSERT_FALSE(poisson->remarks.empty());
        EXPECT_EQ(poisson->remarks.back().about, Remark::About::over_dispersed);
        // The profile of a coefficient with theta free lies about Wald's, and holds the estimate.
        const auto profiles = profile_intervals(*fit);
        ASSERT_TRUE(profiles);
        for (std::size_t k = 0; k < of.names.size(); ++k) {
            const auto& c = fit->coefficients[k];
            EXPECT_NEAR((*profiles)[k].lower, c.lower, 0.4 * c.se);
            EXPECT_NEAR((*profiles)[k].upper, c.upper, 0.4 * c.se);
        }
    }
}

// Bites on two rigs, made up. R 4.2.2 with MASS 7.3's glm.nb, both fits anew for each of 3,000 draws of
// rnbinom() at the fit without the rig: the ratio 4.09114193436, 227 draws beyond it, 95 % of them
// below 5.1998. Chi-squared would say 0.043. Monte Carlo errors: of p 0.005 on either side, of the quantile
// about 0.2.
TEST(Generalised, chance_of_few_counts_is_simulated_as_r_does) {
    Table table(labels(12));
    ASSERT_TRUE(table.add_factor("rig", {"single", "treble", "single", "treble", "single", "treble", "single",
                                         "treble", "single", "treble", "single", "treble"}));
    ASSERT_TRUE(table.add_numbers("hours", {6.5, 7, 8, 8.5, 9, 7.5, 6, 9.5, 8, 7, 9, 6.5}));
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    const auto hours = log_exposure(table, "hours");
    ASSERT_TRUE(design && hours);
    const std::vector<double> bites{5, 1, 3, 2, 9, 0, 2, 4, 6, 1, 1, 3};
    const auto fit = fit_generalised(*design, bites, {.family = Family::negative_binomial, .offset = *hours});
    ASSERT_TRUE(fit) << fit.error().text();
    const auto simulated = bootstrap_term(*fit, 0, {.draws = 3000});
    ASSERT_TRUE(simulated) << simulated.error().text();
    EXPECT_NEAR(simulated->chi_squared, 4.09114193436, 1e-6);
    EXPECT_NEAR(simulated->chi_squared, term_tests(*fit)->front().test.chi_squared, 1e-12);
    EXPECT_NEAR(simulated->p, 227.0 / 3000.0, 0.025);
    EXPECT_NEAR(simulated->critical, 5.1998, 0.6);
    EXPECT_EQ(simulated->draws + simulated->failed, 3000U);
    EXPECT_LT(simulated->failed, 30U);
    EXPECT_EQ(bootstrap_term(*fit, 0, {.draws = 100, .threads = {.count = 1}})->p,
              bootstrap_term(*fit, 0, {.draws = 100, .threads = {.count = 2}})->p);
    EXPECT_EQ(bootstrap_term(*fit, 1).error().code, ErrorCode::bad_relation);
    EXPECT_EQ(bootstrap_term(*fit, 0, {.draws = 10}).error().code, ErrorCode::too_few);
    EXPECT_EQ(bootstrap_term(*fit, 0, {.level = 1.0}).error().code, ErrorCode::bad_setting);
}

TEST(Generalised, means_are_shares_and_rates_at_points_that_r_predicts) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& hauls = glm_cases()[6];
    const auto& one = support::case_of(*cases, hauls.id);
    const auto fit = fit_of(given(one, hauls), hauls);
    ASSERT_TRUE(fit);
    const ContrastTest test = [&](auto name, auto weights) { return contrast(*fit, name, weights); };
    const auto means = marginal_means(fit->design, {.of = {"gear"}}, test);
    ASSERT_TRUE(means);
    const auto expect_at = [](const support::Json& from, std::size_t i, Link link, const Estimate& e) {
        const auto at = "/" + std::to_string(i);
        const auto response = on_response_scale(link, e);
        support::expect_agrees(from, "/predict/link" + at, e.value, e.se);
        support::expect_agrees(from, "/predict/se_link" + at, e.se);
        support::expect_agrees(from, "/predict/response" + at, response.value);
        support::expect_agrees(from, "/predict/lower95" + at, response.lower);
        support::expect_agrees(from, "/predict/upper95" + at, response.upper);
    };
    for (std::size_t i = 0; i < 2; ++i) {
        expect_at(one, i, Link::log, (*means)[i].estimate);
    }
    const auto pairs = compare(*means, test);
    ASSERT_TRUE(pairs);
    EXPECT_NEAR(ratio_of(pairs->front().estimate).upper, fit->ratios[1].upper, 1e-12);

    const auto& menarche = glm_cases()[0];
    const auto& other = support::case_of(*cases, menarche.id);
    const auto logit = fit_of(given(other, menarche), menarche);
    ASSERT_TRUE(logit);
    for (std::size_t i = 0; i < 3; ++i) {
        const double age = support::number_of(other.at("expected").at("predict").at("at").at("Age").at(i));
        expect_at(other, i, Link::logit, contrast(*logit, "age", std::vector{1.0, age}));
    }
}

TEST(Generalised, beetles_of_bliss_under_three_links) {
    Table table(labels(8));
    ASSERT_TRUE(table.add_numbers("dose", {1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839}));
    const auto design = make_design(table, {.terms = {{{"dose"}}}});
    ASSERT_TRUE(design);
    const std::vector<double> killed{6, 13, 18, 28, 52, 53, 61, 60};
    const std::vector<double> beetles{59, 60, 62, 56, 63, 59, 62, 60};
    struct Printed {
        Link link;
        double intercept;
        double slope;
        double deviance;
    };
    for (const auto& [link, intercept, slope, deviance] :
         {Printed{Link::logit, -60.72, 34.27, 11.23}, Printed{Link::probit, -34.94, 19.73, 10.12},
          Printed{Link::complementary_log_log, -39.57, 22.04, 3.45}}) {
        const auto fit = fit_generalised(*design, killed, {.link = link, .trials = beetles});
        ASSERT_TRUE(fit) << fit.error().text();
        EXPECT_NEAR(fit->coefficients[0].value, intercept, 0.005);
        EXPECT_NEAR(fit->coefficients[1].value, slope, 0.005);
        EXPECT_NEAR(fit->deviance, deviance, 0.005);
    }
}

/// `yes` of `of` fish on each of two rigs, a row each.
struct TwoRigs {
    Table table{{}};
    Design design;
    std::vector<double> landed;

    TwoRigs(int yes_circle, int of_circle, int yes_treble, int of_treble) {
        std::vector<std::string> rig;
        for (int i = 0; i < of_circle + of_treble; ++i) {
            const bool is_circle = i < of_circle;
            rig.emplace_back(is_circle ? "circle" : "treble");
            landed.push_back((is_circle ? i < yes_circle : i - of_circle < yes_treble) ? 1.0 : 0.0);
        }
        table = Table(labels(rig.size()));
        EXPECT_TRUE(table.add_factor("rig", rig));
        design = make_design(table, {.terms = {{{"rig"}}}}).value();
    }
};

TEST(Generalised, firth_of_two_groups_is_half_a_fish_more_in_each_cell) {
    // Firth 1993, section 3.3: in a saturated model the penalty adds 1/2 to every cell.
    const TwoRigs rigs(8, 8, 3, 9);
    const auto fit = fit_generalised(rigs.design, rigs.landed, {.penalty = Penalty::firth});
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_NEAR(fit->coefficients[0].value, std::log(8.5 / 0.5), 1e-8);
    EXPECT_NEAR(fit->coefficients[1].value, std::log(3.5 / 6.5) - std::log(8.5 / 0.5), 1e-8);
    // Standard errors are those of the information there: 1 / (n p (1 - p)).
    const auto own = [](double yes, double n) {
        return 1.0 / (n * (yes / (n + 1)) * ((n + 1 - yes) / (n + 1)));
    };
    EXPECT_NEAR(fit->coefficients[1].se, std::sqrt(own(8.5, 8) + own(3.5, 9)), 1e-8);

    Table table(labels(4));
    ASSERT_TRUE(table.add_factor("rig", {"a", "a", "b", "b"}));
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    const std::vector<double> hours{std::log(2.0), std::log(3.0), std::log(1.0), std::log(4.0)};
    const auto counts =
        fit_generalised(*design, std::vector<double>{0, 0, 2, 5},
                        {.family = Family::poisson, .offset = hours, .penalty = Penalty::firth});
    ASSERT_TRUE(counts) << counts.error().text();
    EXPECT_NEAR(counts->coefficients[0].value, std::log(0.5 / 5.0), 1e-8);
    EXPECT_NEAR(counts->coefficients[1].value, std::log(7.5 / 5.0) - std::log(0.5 / 5.0), 1e-8);
}

TEST(Generalised, penalised_limits_are_where_the_penalised_likelihood_has_lost_what_they_may) {
    const TwoRigs rigs(8, 8, 3, 9);
    const auto fit = fit_generalised(rigs.design, rigs.landed, {.penalty = Penalty::firth});
    ASSERT_TRUE(fit);
    // With half a fish more in each cell, and the intercept at its best by ternary search.
    const auto part = [](double yes, double no, double eta) {
        return -(yes * std::log1p(std::exp(-eta))) - (no * std::log1p(std::exp(eta)));
    };
    const auto profile = [&](double slope) {
        double low = -30.0;
        double high = 30.0;
        const auto value = [&](double a) { return part(8.5, 0.5, a) + part(3.5, 6.5, a + slope); };
        for (int i = 0; i < 300; ++i) {
            const double left = low + ((high - low) / 3.0);
            const double right = high - ((high - low) / 3.0);
            (value(left) < value(right) ? low : high) = value(left) < value(right) ? left : right;
        }
        return value(0.5 * (low + high));
    };
    const double best = profile(fit->coefficients[1].value);
    const auto limits = profile_intervals(*fit);
    ASSERT_TRUE(limits);
    constexpr double chi_squared = 3.841458820694124; // 95 % of one degree of freedom
    EXPECT_NEAR(2.0 * (best - profile((*limits)[1].lower)), chi_squared, 1e-6);
    EXPECT_NEAR(2.0 * (best - profile((*limits)[1].upper)), chi_squared, 1e-6);
    const auto tests = term_tests(*fit);
    ASSERT_TRUE(tests);
    EXPECT_NEAR(tests->front().test.chi_squared, 2.0 * (best - profile(0.0)), 1e-7);
}

/// Penalised likelihood of landed on rig and depth, written out: a, b of the rig, c of the depth less 2.1.
struct PenalisedByHand {
    std::vector<double> landed;
    std::vector<double> depth;

    [[nodiscard]] double at(double a, double b, double c) const {
        double value = 0.0;
        double s[3][3] = {};
        for (std::size_t i = 0; i < landed.size(); ++i) {
            const double x[3] = {1.0, static_cast<double>(i % 2), depth[i] - 2.1};
            const double eta = a + (b * x[1]) + (c * x[2]);
            const double rare = std::exp(-std::abs(eta));
            value -= std::log1p(rare) + ((eta > 0.0) == (landed[i] == 1.0) ? 0.0 : std::abs(eta));
            for (int j = 0; j < 3; ++j) {
                for (int k = 0; k < 3; ++k) {
                    s[j][k] += rare / ((1.0 + rare) * (1.0 + rare)) * x[j] * x[k];
                }
            }
        }
        const double determinant = (s[0][0] * ((s[1][1] * s[2][2]) - (s[1][2] * s[1][2]))) -
                                   (s[0][1] * ((s[0][1] * s[2][2]) - (s[1][2] * s[0][2]))) +
                                   (s[0][2] * ((s[0][1] * s[1][2]) - (s[1][1] * s[0][2])));
        return value + (0.5 * std::log(determinant));
    }
    /// Its best over a and b near a start, by steps in eight directions that shorten.
    [[nodiscard]] double best(double a, double b, double c) const {
        double value = at(a, b, c);
        for (double step = 1.0; step > 1e-6;) {
            bool is_better = false;
            for (const auto& [u, v] : std::vector<std::pair<double, double>>{
                     {1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}}) {
                const double next = at(a + (step * u), b + (step * v), c);
                if (next > value) {
                    value = next;
                    a += step * u;
                    b += step * v;
                    is_better = true;
                }
            }
            step = is_better ? step : step / 2.0;
        }
        return value;
    }
};

// The two that were lost came from the shallowest water: the limit lies 180 log odds a metre away, past where
// the information's determinant is too small to start from.
TEST(Generalised, penalised_limits_far_away_are_found) {
    const PenalisedByHand by_hand{
        .landed = {1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1},
        .depth = {2.9029356648144651, 2.2176051680764095, 2.624756657809475,  2.8966951350424974,
                  2.087431447069692,  2.9568239243079546, 2.9411719623829655, 2.9552174766833708,
                  2.1408365048596867, 2.518964280488265,  2.0272128221565513, 2.4537123719022018,
                  2.1316167869896709, 2.2841221591612708, 2.1426423376520569, 2.3684883379503412,
                  2.1161392845020246, 2.5233618372959268, 2.7796145110447128, 2.6046990727400674,
                  2.7885356188063724, 2.2937958628193522, 2.9552835756150251, 2.2368552162198836}};
    Table table(labels(24));
    std::vector<std::string> rigs;
    for (int i = 0; i < 24; ++i) {
        rigs.emplace_back(i % 2 == 0 ? "single" : "treble");
    }
    ASSERT_TRUE(table.add_factor("rig", rigs));
    ASSERT_TRUE(table.add_numbers("depth", by_hand.depth));
    const auto design = make_design(table, {.terms = {{{"rig"}}, {{"depth"}}}});
    const auto fit = fit_generalised(*design, by_hand.landed, {.penalty = Penalty::firth});
    ASSERT_TRUE(fit) << fit.error().text();
    const auto limits = profile_intervals(*fit);
    ASSERT_TRUE(limits);
    const double most = by_hand.best(0.5, 1.5, fit->coefficients[2].value);
    constexpr double chi_squared = 3.841458820694124; // 95 % of one degree of freedom
    EXPECT_NEAR(2.0 * (most - by_hand.best(1.7, 1.8, (*limits)[2].lower)), chi_squared, 1e-5);
    EXPECT_NEAR(2.0 * (most - by_hand.best(-0.5, -20.0, (*limits)[2].upper)), chi_squared, 1e-5);
    EXPECT_GT((*limits)[2].upper, 180.0);
}

TEST(Generalised, says_which_level_parts_the_outcomes_and_what_to_do) {
    const TwoRigs rigs(8, 8, 3, 9);
    const auto fit = fit_generalised(rigs.design, rigs.landed);
    ASSERT_FALSE(fit);
    EXPECT_EQ(fit.error().code, ErrorCode::degenerate);
    EXPECT_NE(fit.error().found.find("all 8 rows of rig \"circle\" are 1"), std::string::npos)
        << fit.error().text();
    EXPECT_NE(fit.error().remedy.find("Firth"), std::string::npos);

    // Complete, by a trend and no level; quasi-complete when one fish of each kind has the same mass.
    for (const double shared : {3.6, 4.0}) {
        Table table(labels(6));
        ASSERT_TRUE(table.add_numbers("mass", {1, 2, 3, shared, 4, 5}));
        const auto design = make_design(table, {.terms = {{{"mass"}}}});
        const auto parted = fit_generalised(*design, std::vector<double>{0, 0, 0, 0, 1, 1});
        ASSERT_FALSE(parted);
        EXPECT_EQ(parted.error().code, ErrorCode::degenerate);
        EXPECT_NE(parted.error().found.find("mass"), std::string::npos) << parted.error().text();
        EXPECT_TRUE(
            fit_generalised(*design, std::vector<double>{0, 0, 0, 0, 1, 1}, {.penalty = Penalty::firth}));
    }
    // One fish against the trend: large, but there.
    Table table(labels(6));
    ASSERT_TRUE(table.add_numbers("mass", {1, 2, 3, 4, 5, 6}));
    const auto design = make_design(table, {.terms = {{{"mass"}}}});
    EXPECT_TRUE(fit_generalised(*design, std::vector<double>{0, 0, 1, 0, 1, 1}));

    // Counts: a rig that never caught anything. Under every link, and with theta.
    for (const Family family : {Family::poisson, Family::negative_binomial}) {
        const auto none = fit_generalised(
            rigs.design, std::vector<double>{0, 0, 0, 0, 0, 0, 0, 0, 1, 4, 2, 0, 9, 3, 1, 0, 7},
            {.family = family});
        ASSERT_FALSE(none);
        EXPECT_NE(none.error().found.find("all 8 rows of rig \"circle\" are 0"), std::string::npos)
            << none.error().text();
    }
    for (const Link link : {Link::probit, Link::complementary_log_log}) {
        const auto parted = fit_generalised(rigs.design, rigs.landed, {.link = link});
        ASSERT_FALSE(parted);
        EXPECT_EQ(parted.error().code, ErrorCode::degenerate) << parted.error().text();
    }
}

/// Counts of 24 rows in two rigs, with a mass.
struct Bites {
    Table table{{}};
    std::vector<double> counts;
    std::vector<double> offset;

    explicit Bites(double unit = 1.0, double more = 0.0, bool is_turned = false) {
        std::vector<std::string> rig;
        std::vector<double> mass;
        Random random(3);
        for (int i = 0; i < 24; ++i) {
            rig.emplace_back(i % 3 == 0 ? "circle" : "treble");
            mass.push_back(unit * (0.8 + (0.1 * i)));
            offset.push_back(std::log(1.0 + (0.5 * (i % 4))) + more);
            counts.push_back(static_cast<double>(random.below(6 + static_cast<std::uint64_t>(i) / 2)));
        }
        if (is_turned) {
            std::reverse(rig.begin(), rig.end());
            std::reverse(mass.begin(), mass.end());
            std::reverse(offset.begin(), offset.end());
            std::reverse(counts.begin(), counts.end());
        }
        table = Table(labels(24));
        EXPECT_TRUE(table.add_factor("rig", rig) && table.add_numbers("mass", mass));
    }
    [[nodiscard]] GeneralisedFit fit(Family family) const {
        const auto design = make_design(table, {.terms = {{{"rig"}}, {{"mass"}}}});
        return fit_generalised(*design, counts, {.family = family, .offset = offset}).value();
    }
};

TEST(Generalised, units_order_and_efforts_change_what_they_should_and_no_more) {
    for (const Family family : {Family::poisson, Family::negative_binomial}) {
        const auto fit = Bites().fit(family);
        const auto grams = Bites(1000.0).fit(family);
        EXPECT_NEAR(grams.coefficients[2].value * 1000.0, fit.coefficients[2].value, 1e-9);
        EXPECT_NEAR(grams.coefficients[1].value, fit.coefficients[1].value, 1e-9);
        EXPECT_NEAR(grams.log_likelihood, fit.log_likelihood, 1e-9);
        const auto turned = Bites(1.0, 0.0, true).fit(family);
        EXPECT_NEAR(turned.coefficients[2].value, fit.coefficients[2].value, 1e-9);
        EXPECT_NEAR(turned.coefficients[2].se, fit.coefficients[2].se, 1e-9);
        const auto minutes = Bites(1.0, std::log(60.0)).fit(family);
        EXPECT_NEAR(minutes.coefficients[0].value, fit.coefficients[0].value - std::log(60.0), 1e-9);
        EXPECT_NEAR(minutes.coefficients[1].value, fit.coefficients[1].value, 1e-9);
        EXPECT_NEAR(minutes.deviance, fit.deviance, 1e-8);
    }
}

TEST(Generalised, counts_that_vary_less_than_poisson_are_said_to_be_poisson) {
    Table table(labels(8));
    ASSERT_TRUE(table.add_factor("rig", {"a", "a", "a", "a", "b", "b", "b", "b"}));
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    const std::vector<double> counts{5, 5, 6, 5, 9, 9, 9, 10};
    const auto fit = fit_generalised(*design, counts, {.family = Family::negative_binomial});
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_FALSE(fit->theta);
    ASSERT_EQ(fit->remarks.size(), 1U);
    EXPECT_EQ(fit->remarks[0].about, Remark::About::not_over_dispersed);
    // Groups' rates are their totals over their rows.
    EXPECT_NEAR(fit->ratios[1].value, 37.0 / 21.0, 1e-10);
    EXPECT_NEAR(fit->coefficients[1].se, std::sqrt((1.0 / 37.0) + (1.0 / 21.0)), 1e-10);
}

TEST(Generalised, refuses_what_cannot_be_with_what_to_do) {
    const TwoRigs rigs(4, 8, 3, 9);
    const std::size_t n = rigs.landed.size();
    const auto text = [&](const std::vector<double>& y, const GeneralisedOptions& options) {
        const auto fit = fit_generalised(rigs.design, y, options);
        return fit ? std::string("fitted") : fit.error().text();
    };
    const auto with = [&](std::size_t i, double value) {
        auto y = rigs.landed;
        y[i] = value;
        return y;
    };
    const std::vector<double> fives(n, 5.0);
    std::vector<double> no_trials = fives;
    no_trials[2] = 0.0;
    const auto holds = [](const std::string& said, const char* part) {
        return said.find(part) != std::string::npos ? ::testing::AssertionSuccess()
                                                    : ::testing::AssertionFailure() << said;
    };
    EXPECT_TRUE(holds(text(with(3, 2.0), {}), "the outcome of row 4 is 2; 0 or 1"));
    EXPECT_TRUE(holds(text(with(3, -1.0), {.family = Family::poisson}), "row 4 is -1; a count"));
    EXPECT_TRUE(holds(text(with(3, 1.5), {.family = Family::poisson}), "the effort as offset"));
    EXPECT_TRUE(holds(text(with(3, 0.5), {.trials = fives}), "0.5 of 5 trials in row 4"));
    EXPECT_TRUE(holds(text(with(3, 6.0), {.trials = fives}), "from 0 to the trials"));
    EXPECT_TRUE(holds(text(rigs.landed, {.trials = no_trials}), "leave rows without trials out"));
    EXPECT_TRUE(holds(text(with(3, HUGE_VAL), {}), "infinite"));
    EXPECT_TRUE(holds(text(with(3, NAN), {}), "not a number"));
    EXPECT_TRUE(holds(text(std::vector<double>(n, 1.0), {}), "the outcome is 1 in every row"));
    EXPECT_TRUE(holds(text(std::vector<double>(n, 0.0), {.family = Family::poisson}), "is 0 in every row"));
    EXPECT_TRUE(holds(text({1.0, 0.0}, {}), "2 outcomes"));
    EXPECT_TRUE(holds(text(rigs.landed, {.family = Family::poisson, .trials = fives}), "no upper end"));
    EXPECT_TRUE(holds(text(rigs.landed, {.link = Link::log}), "logit, probit"));
    EXPECT_TRUE(holds(text(rigs.landed, {.link = Link::probit, .penalty = Penalty::firth}), "Firth"));
    EXPECT_TRUE(holds(text(rigs.landed, {.level = 95.0}), "say 0.95"));
    Table table(labels(2));
    ASSERT_TRUE(table.add_numbers("hours", {2.0, 0.0}));
    EXPECT_TRUE(holds(log_exposure(table, "hours").error().text(), "\"hours\" of row 2 is 0"));
    EXPECT_FALSE(log_exposure(table, "hous"));
    EXPECT_FALSE(quasi_coefficients(*fit_generalised(rigs.design, rigs.landed)));
}

double poisson_draw(double mean, Random& random) {
    double left = std::exp(-mean);
    double p = random.uniform();
    double k = 0.0;
    for (; p > left && k < 1000.0; k += 1.0) {
        p -= left;
        left *= mean / (k + 1.0);
    }
    return k;
}

TEST(Generalised, thirty_rows_hold_the_truth_as_often_as_they_say) {
    std::vector<std::string> rig;
    std::vector<double> mass;
    for (int i = 0; i < 30; ++i) {
        rig.emplace_back(i % 2 == 0 ? "circle" : "treble");
        mass.push_back(0.1 * (i % 10));
    }
    Table table(labels(30));
    ASSERT_TRUE(table.add_factor("rig", rig) && table.add_numbers("mass", mass));
    const auto design = make_design(table, {.terms = {{{"rig"}}, {{"mass"}}}});
    Rate counts_wrong;
    Rate counts_held;
    Rate landed_wrong;
    Rate landed_held;
    for (std::uint64_t run = 0; run < runs(500); ++run) {
        Random random(11, run);
        std::vector<double> counts;
        std::vector<double> landed;
        for (int i = 0; i < 30; ++i) { // no effect of the rig, 0.5 (counts) and 1 (landed) of mass
            counts.push_back(poisson_draw(std::exp(0.7 + (0.5 * mass[static_cast<std::size_t>(i)])), random));
            landed.push_back(
                random.uniform() < 1.0 / (1.0 + std::exp(-mass[static_cast<std::size_t>(i)])) ? 1.0 : 0.0);
        }
        const auto poisson = fit_generalised(*design, counts, {.family = Family::poisson});
        ASSERT_TRUE(poisson) << poisson.error().text();
        counts_wrong.add(term_tests(*poisson)->front().test.p < 0.05);
        const auto limits = profile_intervals(*poisson);
        counts_held.add((*limits)[2].lower <= 0.5 && 0.5 <= (*limits)[2].upper);
        const auto firth = fit_generalised(*design, landed, {.penalty = Penalty::firth});
        ASSERT_TRUE(firth) << run << firth.error().text();
        landed_wrong.add(term_tests(*firth)->front().test.p < 0.05);
        const auto penalised = profile_intervals(*firth);
        landed_held.add((*penalised)[2].lower <= 1.0 && 1.0 <= (*penalised)[2].upper);
    }
    EXPECT_TRUE(is_between(counts_wrong, 0.05, 0.07, "Poisson, ratio test, no effect"));
    EXPECT_TRUE(is_between(counts_held, 0.93, 0.95, "Poisson, profile"));
    EXPECT_TRUE(is_between(landed_wrong, 0.04, 0.07, "0/1, penalised ratio test, no effect"));
    EXPECT_TRUE(is_between(landed_held, 0.93, 0.97, "0/1, penalised profile"));
}

} // namespace
} // namespace backeddy::stats
