// Sources: R 4.2.2, lme4 1.1-31, glmmTMB 1.1.5 (reference/stats 07); the likelihood written out here on a
// grid; fits that must coincide.

#include "stats/generalised_mixed.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

struct GlmmCase {
    const char* id;
    GeneralisedMixedTerms terms;
    std::vector<std::string> factors;
    std::vector<std::string> names; ///< R's, by coefficient
};

const std::vector<GlmmCase>& glmm_cases() {
    static const std::vector<GlmmCase> all{
        {"glmm_cbpp",
         {.outcome = "incidence", .fixed = {.terms = {{{"period"}}}}, .random = {"herd"}, .trials = "size"},
         {"period", "herd"},
         {"(Intercept)", "period2", "period3", "period4"}},
        {"glmm_binary_sites",
         {.outcome = "y", .fixed = {.terms = {{{"x"}}, {{"trt"}}}}, .random = {"site"}},
         {"trt", "site"},
         {"(Intercept)", "x", "trtb"}},
        {"glmm_epil",
         {.outcome = "y",
          .fixed = {.terms = {{{"lbase"}}, {{"trt"}}, {{"lage"}}, {{"V4"}}, {{"lbase", "trt"}}}},
          .random = {"subject"},
          .family = Family::poisson},
         {"trt", "subject"},
         {"(Intercept)", "lbase", "trtprogabide", "lage", "V4", "lbase:trtprogabide"}},
        {"glmm_hauls",
         {.outcome = "catch",
          .fixed = {.terms = {{{"gear"}}}},
          .random = {"haul"},
          .family = Family::poisson,
          .effort = "effort"},
         {"gear", "haul"},
         {"(Intercept)", "geartest"}},
        {"glmm_nb_hauls",
         {.outcome = "caught_nb",
          .fixed = {.terms = {{{"gear"}}}},
          .random = {"haul"},
          .family = Family::negative_binomial,
          .effort = "effort"},
         {"gear", "haul"},
         {"(Intercept)", "geartest"}}};
    return all;
}

GeneralisedMixedModel model_of(const support::Json& one, const GlmmCase& of) {
    const auto data = support::data_of(one);
    std::vector<std::string> rows;
    for (std::size_t i = 0; i < data.rows(); ++i) {
        rows.push_back("row " + std::to_string(i + 1));
    }
    Table table(rows);
    auto names = columns_of(of.terms.fixed);
    names.insert(names.end(), of.terms.random.begin(), of.terms.random.end());
    for (const auto& name : {of.terms.outcome, of.terms.trials, of.terms.effort}) {
        if (!name.empty()) {
            names.push_back(name);
        }
    }
    for (const auto& name : names) {
        if (std::find(of.factors.begin(), of.factors.end(), name) == of.factors.end()) {
            EXPECT_TRUE(table.add_numbers(name, data.numbers(name)));
        } else {
            EXPECT_TRUE(table.add_factor(name, data.text(name)));
        }
    }
    return GeneralisedMixedModel::make(table, of.terms).value();
}

void expect_fit(const support::Json& one, const std::string& under, const GlmmCase& of,
                const GeneralisedMixedFit& fit) {
    ASSERT_EQ(fit.coefficients.size(), of.names.size());
    for (std::size_t k = 0; k < of.names.size(); ++k) {
        const auto& c = fit.coefficients[k];
        const auto& at = of.names[k];
        support::expect_agrees(one, under + "/estimate/" + at, c.value, c.se);
        support::expect_agrees(one, under + "/se/" + at, c.se);
        support::expect_agrees(one, under + "/exp_estimate/" + at, fit.ratios[k].value);
    }
    support::expect_agrees(one, under + "/loglik", fit.log_likelihood, 1.0);
    support::expect_agrees(one, under + "/aic", fit.aic, 1.0);
}

void expect_intercepts(const support::Json& one, const std::string& under, const GlmmCase& of,
                       const GeneralisedMixedFit& fit) {
    const std::size_t p = of.names.size();
    for (std::size_t k = 0; k < p; ++k) {
        for (std::size_t l = 0; l < p; ++l) {
            // Covariances that are 0 but for rounding are held to the size of their neighbours.
            support::expect_agrees(one, under + "/vcov/" + std::to_string(k) + "/" + std::to_string(l),
                                   fit.covariance[(k * p) + l],
                                   fit.coefficients[k].se * fit.coefficients[l].se);
        }
    }
    support::expect_agrees(one, under + "/bic", fit.bic, 1.0);
    support::expect_agrees(one, under + "/sd_random", fit.random[0].sd);
    ASSERT_TRUE(fit.random[0].log_se);
    support::expect_agrees(one, under + "/se_log_sd_random", *fit.random[0].log_se);
    const auto& modes = one.at("expected").at(support::Json::json_pointer(under + "/modes"));
    for (std::size_t j = 0; j < modes.at("level").size(); ++j) {
        const auto level = std::find(fit.random[0].levels.begin(), fit.random[0].levels.end(),
                                     modes.at("level").at(j).get<std::string>());
        ASSERT_NE(level, fit.random[0].levels.end());
        support::expect_agrees(
            one, under + "/modes/value/" + std::to_string(j),
            fit.random[0].modes[static_cast<std::size_t>(level - fit.random[0].levels.begin())],
            fit.random[0].sd);
    }
}

TEST(GeneralisedMixed, agrees_with_r_by_laplace_and_by_quadrature) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (std::size_t k = 0; k < 4; ++k) {
        const auto& of = glmm_cases()[k];
        const auto& one = support::case_of(*cases, of.id);
        const auto model = model_of(one, of);
        const auto fit = fit_generalised_mixed(model);
        ASSERT_TRUE(fit) << of.id << ": " << fit.error().text();
        expect_fit(one, "/laplace", of, *fit);
        expect_intercepts(one, "/laplace", of, *fit);
        const auto alone = fit_generalised(
            model.design(), model.outcome(),
            {.family = model.family(),
             .trials = of.terms.trials.empty() ? std::span<const double>() : std::span(model.trials()),
             .offset = model.offset()});
        ASSERT_TRUE(alone);
        const auto ratio = likelihood_ratio(*fit, *alone);
        ASSERT_TRUE(ratio);
        support::expect_agrees(one, "/vs_no_random/chisq", ratio->chi_squared);
        support::expect_agrees(one, "/vs_no_random/p_half", ratio->p_boundary.value(), 1e-6);
        for (std::size_t q = 0; q < 2; ++q) {
            const auto under = "/adaptive_quadrature/" + std::to_string(q);
            const auto nodes =
                one.at("expected").at("adaptive_quadrature").at(q).at("points").get<std::size_t>();
            const auto better = fit_generalised_mixed(model, {.nodes = nodes});
            ASSERT_TRUE(better) << of.id << ": " << better.error().text();
            expect_fit(one, under, of, *better);
            expect_intercepts(one, under, of, *better);
        }
    }
}

TEST(GeneralisedMixed, agrees_with_r_on_a_negative_binomial) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& of = glmm_cases()[4];
    const auto& one = support::case_of(*cases, of.id);
    const auto fit = fit_generalised_mixed(model_of(one, of));
    ASSERT_TRUE(fit) << fit.error().text();
    expect_fit(one, "", of, *fit);
    support::expect_agrees(one, "/sd_random/0", fit->random[0].sd);
    support::expect_agrees(one, "/log_sd_random_se/0", fit->random[0].log_se.value());
    ASSERT_TRUE(fit->theta);
    support::expect_agrees(one, "/theta", fit->theta->value);
    support::expect_agrees(one, "/log_theta_se", fit->theta->log_se);
}

/// Bites of two rigs on `days` days from four boats, `each` rows a day.
struct Trips {
    Table table{{}};
    GeneralisedMixedTerms terms;

    Trips(int days, int each, double day_sd, double boat_sd, std::uint64_t seed, bool is_turned = false,
          double hours = 1.0) {
        Random random(17, seed);
        std::vector<std::string> day;
        std::vector<std::string> boat;
        std::vector<std::string> rig;
        std::vector<double> bites;
        std::vector<double> boats;
        for (int b = 0; b < 4; ++b) {
            boats.push_back(boat_sd * random.normal());
        }
        for (int d = 0; d < days; ++d) {
            const double own = day_sd * random.normal();
            for (int e = 0; e < each; ++e) {
                const int b = (d + (2 * e)) % 4;
                day.push_back("day " + std::to_string(d));
                boat.push_back("boat " + std::to_string(b));
                rig.emplace_back(e % 2 == 0 ? "circle" : "treble");
                double mean = std::exp(1.0 + own + boats[static_cast<std::size_t>(b)]);
                double count = 0.0;
                for (mean -= -std::log(1.0 - random.uniform()); mean > 0.0;
                     mean -= -std::log(1.0 - random.uniform())) {
                    count += 1.0; // waiting times that fit in
                }
                bites.push_back(count);
            }
        }
        const std::vector<double> effort(day.size(), hours);
        if (is_turned) {
            std::reverse(day.begin(), day.end());
            std::reverse(boat.begin(), boat.end());
            std::reverse(rig.begin(), rig.end());
            std::reverse(bites.begin(), bites.end());
        }
        table = Table(day);
        EXPECT_TRUE(table.add_factor("day", day) && table.add_factor("boat", boat) &&
                    table.add_factor("rig", rig) && table.add_numbers("bites", bites) &&
                    table.add_numbers("hours", effort));
        terms = {.outcome = "bites",
                 .fixed = {.terms = {{{"rig"}}}},
                 .random = {"day"},
                 .family = Family::poisson,
                 .effort = "hours"};
    }
    [[nodiscard]] GeneralisedMixedModel model() const {
        return GeneralisedMixedModel::make(table, terms).value();
    }
};

TEST(GeneralisedMixed, crossed_groups_by_the_approximation_written_out) {
    auto trips = Trips(8, 6, 0.6, 0.5, 2);
    trips.terms.random = {"day", "boat"};
    const auto model = trips.model();
    const auto fit = fit_generalised_mixed(model);
    ASSERT_TRUE(fit) << fit.error().text();
    ASSERT_EQ(fit->random.size(), 2U);
    EXPECT_EQ(fit->remarks.front().about, Remark::About::few_levels); // four boats
    // Log-likelihood at the modes, their density, and the determinant by elimination over all twelve levels.
    const std::size_t q = 12;
    std::vector<double> h(q * q, 0.0);
    double value = 0.0;
    for (std::size_t g = 0; g < 2; ++g) {
        for (const double mode : fit->random[g].modes) {
            value -= 0.5 * mode * mode / (fit->random[g].sd * fit->random[g].sd);
        }
    }
    for (std::size_t k = 0; k < q; ++k) {
        h[(k * q) + k] = 1.0;
    }
    for (std::size_t i = 0; i < fit->n; ++i) {
        const std::size_t at[2] = {model.groups()[0].codes[i], 8 + model.groups()[1].codes[i]};
        const double mean =
            std::exp(fit->fixed_part[i] + fit->random[0].modes[at[0]] + fit->random[1].modes[at[1] - 8]);
        EXPECT_NEAR(mean, fit->fitted[i], 1e-9);
        value += (model.outcome()[i] * std::log(mean)) - mean - std::lgamma(model.outcome()[i] + 1.0);
        for (std::size_t a = 0; a < 2; ++a) {
            for (std::size_t b = 0; b < 2; ++b) {
                h[(at[a] * q) + at[b]] += fit->random[a].sd * fit->random[b].sd * mean;
            }
        }
    }
    for (std::size_t k = 0; k < q; ++k) {
        value -= 0.5 * std::log(h[(k * q) + k]);
        for (std::size_t r = k + 1; r < q; ++r) {
            const double share = h[(r * q) + k] / h[(k * q) + k];
            for (std::size_t c = k; c < q; ++c) {
                h[(r * q) + c] -= share * h[(k * q) + c];
            }
        }
    }
    EXPECT_NEAR(value, fit->log_likelihood, 1e-8);
    // And the order of the groups is nothing to the fit.
    trips.terms.random = {"boat", "day"};
    const auto other = fit_generalised_mixed(trips.model());
    ASSERT_TRUE(other);
    EXPECT_NEAR(other->log_likelihood, fit->log_likelihood, 1e-8);
    EXPECT_NEAR(other->coefficients[1].value, fit->coefficients[1].value, 1e-5);
    EXPECT_NEAR(other->random[0].sd, fit->random[1].sd, 1e-5);
}

TEST(GeneralisedMixed, order_of_rows_and_units_of_effort_change_what_they_should) {
    const auto fit = fit_generalised_mixed(Trips(10, 4, 0.7, 0.0, 4).model());
    const auto turned = fit_generalised_mixed(Trips(10, 4, 0.7, 0.0, 4, true).model());
    const auto minutes = fit_generalised_mixed(Trips(10, 4, 0.7, 0.0, 4, false, 60.0).model());
    ASSERT_TRUE(fit && turned && minutes);
    for (const auto* other : {&*turned, &*minutes}) {
        EXPECT_NEAR(other->coefficients[1].value, fit->coefficients[1].value, 1e-6);
        EXPECT_NEAR(other->coefficients[1].se, fit->coefficients[1].se, 1e-6);
        EXPECT_NEAR(other->random[0].sd, fit->random[0].sd, 1e-6);
        EXPECT_NEAR(other->log_likelihood, fit->log_likelihood, 1e-8);
    }
    EXPECT_NEAR(minutes->coefficients[0].value, fit->coefficients[0].value - std::log(60.0), 1e-6);
}

TEST(GeneralisedMixed, without_spread_it_is_the_fit_without_groups_and_says_so) {
    for (std::uint64_t seed = 1; seed < 40; ++seed) {
        const auto model = Trips(8, 4, 0.0, 0.0, seed).model();
        const auto fit = fit_generalised_mixed(model);
        ASSERT_TRUE(fit) << fit.error().text();
        if (!fit->is_singular) {
            continue;
        }
        EXPECT_EQ(fit->random[0].sd, 0.0);
        EXPECT_FALSE(fit->random[0].log_se);
        EXPECT_EQ(fit->remarks.back().about, Remark::About::no_variance);
        const auto alone = fit_generalised(model.design(), model.outcome(),
                                           {.family = Family::poisson, .offset = model.offset()});
        ASSERT_TRUE(alone);
        EXPECT_NEAR(fit->coefficients[1].value, alone->coefficients[1].value, 1e-6);
        EXPECT_NEAR(fit->coefficients[1].se, alone->coefficients[1].se, 1e-6);
        EXPECT_NEAR(fit->log_likelihood, alone->log_likelihood, 1e-9);
        EXPECT_EQ(likelihood_ratio(*fit, *alone)->p_boundary.value(), 1.0);
        return;
    }
    FAIL() << "of forty studies without spread none was found to have none";
}

TEST(GeneralisedMixed, bootstrap_and_ratio_test_agree_where_levels_are_many) {
    const auto model = Trips(30, 4, 0.5, 0.0, 8).model();
    const auto fit = fit_generalised_mixed(model);
    ASSERT_TRUE(fit);
    const auto tests = term_tests(model, *fit);
    ASSERT_TRUE(tests) << tests.error().text();
    const auto one = bootstrap_term(model, *fit, 0, {.draws = 200, .threads = {.count = 1}});
    const auto two = bootstrap_term(model, *fit, 0, {.draws = 200, .threads = {.count = 2}});
    ASSERT_TRUE(one && two) << one.error().text();
    EXPECT_EQ(one->p, two->p);
    EXPECT_EQ(one->failed, 0U);
    EXPECT_NEAR(one->chi_squared, tests->front().test.chi_squared, 1e-9);
    const double p = tests->front().test.p;
    EXPECT_NEAR(one->p, p, (4.0 * std::sqrt(p * (1.0 - p) / 200.0)) + 0.01);
    // Between groups of rows within days Wald's square is close to the ratio.
    EXPECT_NEAR(tests->front().test.chi_squared, std::pow(fit->coefficients[1].statistic, 2.0), 0.05);
    // The critical ratio and p are two sides of the same draws.
    EXPECT_EQ(one->p <= 0.05, one->chi_squared > one->critical);
    const auto at_p = bootstrap_term(model, *fit, 0, {.draws = 200, .level = 1.0 - one->p});
    ASSERT_TRUE(at_p);
    EXPECT_LT(at_p->critical, one->chi_squared);
    const auto sharper = bootstrap_term(model, *fit, 0, {.draws = 200, .level = 1.0 - one->p + 1.0 / 201.0});
    ASSERT_TRUE(sharper);
    EXPECT_GE(sharper->critical, one->chi_squared);
    EXPECT_FALSE(bootstrap_term(model, *fit, 1));
    EXPECT_FALSE(bootstrap_term(model, *fit, 0, {.draws = 10}));
}

TEST(GeneralisedMixed, refuses_what_cannot_be_with_what_to_do) {
    const auto says = [](const Trips& trips, const std::string& part) {
        const auto model = GeneralisedMixedModel::make(trips.table, trips.terms);
        if (!model && model.error().text().find(part) != std::string::npos) {
            return ::testing::AssertionSuccess();
        }
        return ::testing::AssertionFailure() << (model ? "made" : model.error().text());
    };
    Trips trips(6, 4, 0.5, 0.0, 1);
    std::vector<std::string> own;
    for (std::size_t i = 0; i < trips.table.rows(); ++i) {
        own.push_back("row " + std::to_string(i));
    }
    ASSERT_TRUE(trips.table.add_factor("own", own));
    ASSERT_TRUE(trips.table.add_factor("place", std::vector<std::string>(own.size(), "here")));
    auto half = std::vector<double>(own.size(), 1.5);
    half[0] = 1.0;
    ASSERT_TRUE(trips.table.add_numbers("half", half));
    ASSERT_TRUE(trips.table.add_numbers("none", std::vector<double>(own.size(), 0.0)));
    trips.terms.random = {"own"};
    EXPECT_TRUE(says(trips, "\"own\" has one row a level"));
    trips.terms.random = {"place"};
    EXPECT_TRUE(says(trips, "is \"here\" in every row"));
    trips.terms.random = {"sea"};
    EXPECT_TRUE(says(trips, "sea"));
    trips.terms.random = {};
    EXPECT_TRUE(says(trips, "no random term"));
    trips.terms.random = {"day"};
    trips.terms.effort = "none";
    EXPECT_TRUE(says(trips, "an effort above 0"));
    trips.terms.effort = "";
    trips.terms.outcome = "half";
    EXPECT_TRUE(says(trips, "a count: 0, 1, 2"));
    trips.terms.outcome = "none";
    EXPECT_TRUE(says(trips, "in every row"));
    trips.terms.outcome = "bites";
    trips.terms.link = Link::logit;
    EXPECT_TRUE(says(trips, "a link for shares"));
    trips.terms.link.reset();
    EXPECT_FALSE(fit_generalised_mixed(trips.model(), {.nodes = 2}));
    trips.terms.random = {"day", "boat"};
    EXPECT_EQ(fit_generalised_mixed(trips.model(), {.nodes = 9}).error().code, ErrorCode::bad_setting);
    EXPECT_EQ(fit_generalised_mixed(trips.model(), {.level = 2.0}).error().code, ErrorCode::bad_setting);
}

TEST(GeneralisedMixed, ten_days_hold_the_truth_about_as_often_as_they_say) {
    Rate wrong;
    Rate held;
    Rate ratio_wrong;
    for (std::uint64_t run = 0; run < runs(500); ++run) {
        const auto model = Trips(10, 4, 0.5, 0.0, 1000 + run).model();
        const auto fit = fit_generalised_mixed(model);
        ASSERT_TRUE(fit) << run << ": " << fit.error().text();
        wrong.add(fit->coefficients[1].p < 0.05);
        held.add(fit->coefficients[0].lower <= 1.0 && 1.0 <= fit->coefficients[0].upper);
        const auto tests = term_tests(model, *fit);
        ASSERT_TRUE(tests);
        ratio_wrong.add(tests->front().test.p < 0.05);
    }
    EXPECT_TRUE(is_between(wrong, 0.04, 0.07, "Poisson with days, Wald, no effect within days"));
    EXPECT_TRUE(is_between(ratio_wrong, 0.04, 0.07, "Poisson with days, ratio test, no effect within days"));
    // Between ten days the normal interval is too short by about what t of nine degrees of freedom is longer.
    EXPECT_TRUE(is_between(held, 0.88, 0.95, "Poisson with days, Wald, the rate itself"));
}

} // namespace
} // namespace backeddy::stats
