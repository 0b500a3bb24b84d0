// Sources: R 4.2.2 emmeans 1.8.4-1 (reference/stats 06); cell means by hand.

#include "stats/means.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "mixed_cases.hpp"
#include "stats/linear.hpp"
#include "stats/small_sample.hpp"

namespace backeddy::stats {
namespace {

/// One of the reference's specifications, as ours.
struct MeansCase {
    std::string id;
    std::size_t place; ///< among the model's
    MeansRequest request;
};

void expect_emmeans(const support::Json& one, const std::string& at, const MeansRequest& request,
                    const Design& design, const ContrastTest& test) {
    const auto means = marginal_means(design, request, test);
    ASSERT_TRUE(means) << means.error().text();
    for (std::size_t i = 0; i < means->size(); ++i) {
        const auto& e = (*means)[i].estimate;
        const std::string k = "/" + std::to_string(i);
        support::expect_agrees(one, at + "/means/emmean" + k, e.value, e.se);
        support::expect_agrees(one, at + "/means/SE" + k, e.se);
        support::expect_agrees(one, at + "/means/df" + k, e.freedom);
        support::expect_agrees(one, at + "/means/lower.CL" + k, e.lower, e.se);
        support::expect_agrees(one, at + "/means/upper.CL" + k, e.upper, e.se);
    }
    const auto alone = compare(*means, test, {.adjustment = Adjustment::none});
    const auto tukey = compare(*means, test, {.adjustment = Adjustment::tukey});
    const auto by_holm = compare(*means, test, {.adjustment = Adjustment::holm});
    ASSERT_TRUE(alone && tukey && by_holm);
    for (std::size_t i = 0; i < alone->size(); ++i) {
        const auto& e = (*alone)[i].estimate;
        const std::string k = "/" + std::to_string(i);
        // Theirs is the earlier less the later level, ours the later less the earlier.
        support::expect_agrees(one, at + "/pairs/estimate" + k, -e.value, e.se);
        support::expect_agrees(one, at + "/pairs/SE" + k, e.se);
        support::expect_agrees(one, at + "/pairs/df" + k, e.freedom);
        support::expect_agrees(one, at + "/pairs/t.ratio" + k, -e.statistic);
        support::expect_agrees(one, at + "/pairs/p.value" + k, e.p, 1e-6);
        support::expect_agrees(one, at + "/pairs/lower.CL" + k, -e.upper, e.se);
        support::expect_agrees(one, at + "/pairs/upper.CL" + k, -e.lower, e.se);
        const auto& t = (*tukey)[i].estimate;
        support::expect_agrees(one, at + "/pairs_tukey/p" + k, t.p, 1e-6);
        support::expect_agrees(one, at + "/pairs_tukey/lower95" + k, -t.upper, e.se);
        support::expect_agrees(one, at + "/pairs_tukey/upper95" + k, -t.lower, e.se);
        support::expect_agrees(one, at + "/pairs_holm/p" + k, (*by_holm)[i].estimate.p, 1e-6);
    }
}

TEST(Means, agree_with_r) {
    const auto cases = support::reference_cases("stats/06_mixed.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const std::vector<MeansCase> all{
        {"orthodont_intercept", 0, {.of = {"Sex"}, .by = {"age"}, .at = {{"age", {8.0, 14.0}}}}},
        {"ergostool", 0, {.of = {"Type"}, .by = {}, .at = {}}},
        {"fish_in_tanks", 0, {.of = {"treatment"}, .by = {}, .at = {}}},
        {"fish_in_tanks", 1, {.of = {"temp"}, .by = {}, .at = {}}},
        {"fish_in_tanks", 2, {.of = {"treatment"}, .by = {"temp"}, .at = {}}},
        {"fish_linear_temp", 0, {.of = {"treatment"}, .by = {}, .at = {}}}};
    for (const auto& [id, place, request] : all) {
        const auto& one = support::case_of(*cases, id);
        const auto inputs = mixed_cases();
        const auto input =
            std::find_if(inputs.begin(), inputs.end(), [&](const auto& c) { return c.id == id; });
        const auto model = MixedModel::make(table_of(one, *input), input->terms);
        ASSERT_TRUE(model);
        const auto fit = fit_mixed(*model);
        ASSERT_TRUE(fit);
        for (const auto& [method, name] : {std::pair{FreedomMethod::satterthwaite, "/satterthwaite"},
                                           std::pair{FreedomMethod::kenward_roger, "/kenward_roger"}}) {
            const auto exact = SmallSample::make(*model, *fit, method);
            ASSERT_TRUE(exact);
            expect_emmeans(one, "/emmeans/" + std::to_string(place) + name, request, model->design(),
                           [&](std::string what, std::span<const double> weights) {
                               return exact->contrast(std::move(what), weights);
                           });
        }
    }
}

/// Eight fish, two rigs, two hooks: cell means circle j 2, circle k 6, treble j 3, treble k 11.
Table eight_fish() {
    Table table({"1", "2", "3", "4", "5", "6", "7", "8"});
    EXPECT_TRUE(table.add_factor("rig", {"circle", "circle", "circle", "circle", "treble", "treble", "treble",
                                         "treble"}) &&
                table.add_factor("hook", {"j", "j", "j", "k", "j", "k", "k", "k"}) &&
                table.add_numbers("mass", {1, 2, 4, 3, 5, 7, 6, 8}) &&
                table.add_numbers("y", {1, 2, 3, 6, 3, 10, 11, 12}));
    return table;
}

TEST(Means, weigh_the_cells_alike_however_many_fish_are_in_them) {
    const auto table = eight_fish();
    const auto design = make_design(table, {.terms = crossed({"rig", "hook"})});
    ASSERT_TRUE(design);
    const auto fit = fit_linear(*design, table.numbers("y"));
    ASSERT_TRUE(fit);
    const ContrastTest test = [&](std::string name, std::span<const double> weights) {
        return contrast(*fit, std::move(name), weights);
    };
    const auto means = marginal_means(*design, {.of = {"rig"}}, test);
    ASSERT_TRUE(means);
    ASSERT_EQ(means->size(), 2U);
    EXPECT_NEAR((*means)[0].estimate.value, 4.0, 1e-12);
    EXPECT_NEAR((*means)[1].estimate.value, 7.0, 1e-12);
    const auto cells = marginal_means(*design, {.of = {"rig"}, .by = {"hook"}}, test);
    ASSERT_TRUE(cells);
    const auto against = compare(*cells, test, {.against = Against::first});
    ASSERT_TRUE(against);
    ASSERT_EQ(against->size(), 2U); // one a hook
    EXPECT_EQ((*against)[1].estimate.name, "treble - circle");
    EXPECT_EQ((*against)[1].by, std::vector<std::string>{"k"});
    EXPECT_NEAR((*against)[1].estimate.value, 5.0, 1e-12);
    EXPECT_EQ((*against)[1].family, 1U);
    EXPECT_EQ((*against)[1].estimate.p, (*against)[1].p_alone);
    const auto all = marginal_means(*design, {.of = {"rig", "hook"}}, test);
    ASSERT_TRUE(all);
    const auto pairs = compare(*all, test, {.adjustment = Adjustment::benjamini_hochberg});
    ASSERT_TRUE(pairs);
    ASSERT_EQ(pairs->size(), 6U);
    EXPECT_EQ((*pairs)[5].estimate.name, "treble, k - treble, j");
    for (const auto& one : *pairs) {
        EXPECT_GE(one.estimate.p, one.p_alone);
    }
}

TEST(Means, each_fault_is_named) {
    const auto table = eight_fish();
    const auto design = make_design(table, {.terms = {{{"rig"}}, {{"mass"}}}});
    ASSERT_TRUE(design);
    const auto fit = fit_linear(*design, table.numbers("y"));
    ASSERT_TRUE(fit);
    const ContrastTest test = [&](std::string name, std::span<const double> weights) {
        return contrast(*fit, std::move(name), weights);
    };
    const auto text = [&](const MeansRequest& request) {
        const auto means = marginal_means(*design, request, test);
        return means ? std::string("fine") : means.error().text();
    };
    EXPECT_EQ(text({.of = {"rigs"}}),
              "means of \"rigs\", which is not in the model; one of rig, mass; did you mean \"rig\"?");
    EXPECT_EQ(text({.of = {"mass"}}), "means of the numbers \"mass\"; the values at which they are wanted");
    EXPECT_EQ(text({.of = {"rig"}, .by = {"rig"}}), "\"rig\" asked for twice; each column once");
    EXPECT_EQ(text({.of = {}}), "means of nothing; a column whose levels are compared");
    EXPECT_EQ(text({.of = {"rig"}, .by = {}, .at = {{"rig", {1.0}}}}),
              "values for the factor \"rig\"; values for columns of numbers alone");
    const auto at_two =
        marginal_means(*design, {.of = {"mass"}, .by = {}, .at = {{"mass", {1.0, 2.5}}}}, test);
    ASSERT_TRUE(at_two);
    EXPECT_EQ((*at_two)[1].of, std::vector<std::string>{"2.5"});
    EXPECT_NEAR((*at_two)[1].estimate.value - (*at_two)[0].estimate.value, 1.5 * fit->coefficients[2].value,
                1e-12);
    const std::vector<Mean> only{at_two->front()};
    EXPECT_EQ(compare(only, test).error().text(), "the one mean \"1\"; two means or more to compare");
    EXPECT_EQ(
        compare(*at_two, test, {.against = Against::first, .adjustment = Adjustment::tukey}).error().code,
        ErrorCode::bad_relation);
}

} // namespace
} // namespace backeddy::stats
