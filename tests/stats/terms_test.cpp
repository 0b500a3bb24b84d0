// Columns by hand; the rule for contrasts: Chambers and Hastie 1992, 2.3.1.

#include "stats/terms.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

namespace backeddy::stats {
namespace {

Table six_fish() {
    Table table({"fish 1", "fish 2", "fish 3", "fish 4", "fish 5", "fish 6"});
    EXPECT_TRUE(table.add_factor("rig", {"treble", "circle", "jig", "circle", "treble", "jig"}));
    EXPECT_TRUE(table.add_factor("air", {"no", "no", "no", "yes", "yes", "yes"}));
    EXPECT_TRUE(table.add_numbers("mass", {1.0, 2.0, 3.0, 5.0, 8.0, 13.0}));
    return table;
}

std::vector<double> column_of(const Design& design, std::size_t k) {
    const auto column = design.column(k);
    return {column.begin(), column.end()};
}

TEST(Design, names_say_what_is_compared_with_what) {
    const auto design = make_design(six_fish(), {.terms = {{{"rig"}}, {{"mass"}}, {{"rig", "mass"}}}});
    ASSERT_TRUE(design) << design.error().text();
    const std::vector<std::string> names{
        "intercept", "rig: jig (against circle)",        "rig: treble (against circle)",
        "mass",      "rig: jig (against circle) x mass", "rig: treble (against circle) x mass"};
    EXPECT_EQ(design->names(), names);
    EXPECT_EQ(column_of(*design, 1), (std::vector<double>{0, 0, 1, 0, 0, 1}));
    EXPECT_EQ(column_of(*design, 5), (std::vector<double>{1, 0, 0, 0, 8, 0}));
    EXPECT_EQ(design->term_of(0), std::nullopt);
    EXPECT_EQ(design->term_of(5), 2U);
    EXPECT_EQ(design->row_at(std::vector<double>{1, 4.0}), (std::vector<double>{1, 1, 0, 4, 4, 0}));
}

TEST(Design, another_reference_level_is_another_first_level) {
    const auto table = six_fish().with_reference("rig", "treble");
    ASSERT_TRUE(table);
    const auto design = make_design(*table, {.terms = {{{"rig"}}}});
    ASSERT_TRUE(design);
    EXPECT_EQ(design->names()[1], "rig: circle (against treble)");
    EXPECT_EQ(column_of(*design, 1), (std::vector<double>{0, 1, 0, 1, 0, 0}));
    EXPECT_EQ(six_fish().with_reference("rig", "fly").error().text(),
              "\"fly\" as the reference level of \"rig\"; one of circle, jig, treble");
}

TEST(Design, a_factor_without_its_margin_has_a_column_for_every_level) {
    const auto no_intercept =
        make_design(six_fish(), {.intercept = Intercept::none, .terms = {{{"rig"}}, {{"air"}}}});
    ASSERT_TRUE(no_intercept);
    const std::vector<std::string> means{"rig: circle", "rig: jig", "rig: treble", "air: yes (against no)"};
    EXPECT_EQ(no_intercept->names(), means); // as R's ~ 0 + rig + air
    const auto slopes = make_design(six_fish(), {.terms = {{{"air"}}, {{"air", "mass"}}}});
    ASSERT_TRUE(slopes) << slopes.error().text();
    const std::vector<std::string> names{"intercept", "air: yes (against no)", "air: no x mass",
                                         "air: yes x mass"};
    EXPECT_EQ(slopes->names(), names);
}

TEST(Design, a_square_is_a_column_named_twice) {
    const auto design = make_design(six_fish(), {.terms = {{{"mass"}}, {{"mass", "mass"}}}});
    ASSERT_TRUE(design);
    EXPECT_EQ(design->names()[2], "mass x mass");
    EXPECT_EQ(column_of(*design, 2), (std::vector<double>{1, 4, 9, 25, 64, 169}));
}

TEST(Design, each_fault_is_named_with_what_to_do) {
    auto table = six_fish();
    ASSERT_TRUE(table.add_factor("boat", std::vector<std::string>(6, "dory")));
    ASSERT_TRUE(table.add_numbers("depth", std::vector<double>(6, 4.0)));
    ASSERT_TRUE(table.add_numbers("twice", {3.0, 5.0, 7.0, 11.0, 17.0, 27.0})); // 2 mass + 1
    ASSERT_TRUE(table.add_factor("crew", {"x", "y", "z", "y", "x", "z"}));      // goes with rig
    const auto text = [&](const std::vector<Term>& terms) {
        const auto design = make_design(table, {.terms = terms});
        return design ? std::string("fine") : design.error().text();
    };
    EXPECT_EQ(text({{{"rigg"}}}), "no column is named \"rigg\"; one of rig, air, mass, boat, depth, "
                                  "twice, crew; did you mean \"rig\"?");
    EXPECT_EQ(text({{{"boat"}}}), "\"boat\" is \"dory\" in every row; two levels or more: one has "
                                  "nothing to be compared with; leave \"boat\" out of the model");
    EXPECT_EQ(text({{{"depth"}}}),
              "\"depth\" is 4 in every row; values that differ: of what does not change no effect "
              "can be seen; leave \"depth\" out of the model");
    EXPECT_EQ(text({{{"mass"}}, {{"twice"}}}),
              "\"twice\" follows from \"intercept\" and \"mass\": the rows cannot tell their effects apart; "
              "columns that do not depend on each other; leave one of them out of the model");
    EXPECT_EQ(text({{{"rig"}}, {{"crew"}}}),
              "\"crew: y (against x)\" follows from \"intercept\" and \"rig: jig (against circle)\" and "
              "\"rig: treble (against circle)\": the rows cannot tell their effects apart; columns "
              "that do not depend on each other; leave one of them out of the model");
    // Squares of these are no numbers any more; and beside a column of large numbers a short one still
    // counts.
    ASSERT_TRUE(table.add_numbers("e160", {1e160, 2e160, 0.0, 1.0, 2.0, 3.0}));
    EXPECT_EQ(text({{{"e160"}}}).substr(0, 50), "\"e160\" holds numbers whose squares are more than a");
    ASSERT_TRUE(table.add_numbers("large", {1e25, 2e25, 5e25, 1e25, 3e25, 9e25}));
    EXPECT_EQ(text({{{"large"}}, {{"mass"}}, {{"twice"}}}).substr(0, 44),
              "\"twice\" follows from \"intercept\" and \"mass\":");
    EXPECT_EQ(text({{{"rig", "crew"}}}).substr(0, 67),
              "no row has rig \"circle\" and crew \"x\", nor rig \"circle\" and crew \"z\"");
    EXPECT_EQ(text({{{"rig"}}, {{"rig"}}}), "the term rig twice; each term once, of one column or "
                                            "more; leave it out");
    EXPECT_EQ(
        make_design(table, {.terms = {{{"rig"}}, {{"air"}}, {{"rig", "air"}}, {{"mass"}}}}).error().code,
        ErrorCode::too_few);
}

TEST(Design, refuses_what_is_not_finite_and_wants_complete_rows) {
    Table table({"fish 1", "fish 2", "fish 3"});
    EXPECT_EQ(
        table.add_numbers("log_mass", {0.0, -std::numeric_limits<double>::infinity(), 1.0}).error().text(),
        "\"log_mass\" of fish 2 is infinite; a finite number (the logarithm of zero and a "
        "division by zero are not); mend the value, or leave its cell empty: the row is then left out "
        "and said to be");
    const std::vector<std::optional<double>> cells{1.0, std::nullopt, 3.0};
    ASSERT_TRUE(table.add_numbers("mass", cells));
    ASSERT_TRUE(table.add_factor("rig", {"a", "b", "a"}));
    EXPECT_EQ(make_design(table, {.terms = {{{"mass"}}}}).error().code, ErrorCode::bad_relation);
    const auto complete = table.complete_rows({"mass"});
    ASSERT_TRUE(complete);
    EXPECT_EQ(complete->table.row_labels(), (std::vector<std::string>{"fish 1", "fish 3"}));
    ASSERT_EQ(complete->left_out.size(), 1U);
    EXPECT_EQ(complete->left_out[0].row, "fish 2");
    EXPECT_EQ(complete->left_out[0].column, "mass");
    EXPECT_EQ(complete->table.factor("rig").levels, std::vector<std::string>{"a"}); // b has no row any more
}

TEST(Outcome, must_be_numbers_that_vary) {
    auto table = six_fish();
    ASSERT_TRUE(table.add_numbers("same", std::vector<double>(6, 1.0)));
    EXPECT_TRUE(check_outcome(table, "mass"));
    EXPECT_EQ(check_outcome(table, "rig").error().code, ErrorCode::bad_relation);
    EXPECT_EQ(check_outcome(table, "same").error().text(),
              "the outcome \"same\" is 1 in every row; an outcome that varies: nothing is left to "
              "explain; look at the column: was it filled down, or cut off at a limit?");
    EXPECT_EQ(check_outcome(table, "mas").error().code, ErrorCode::unknown_name);
}

} // namespace
} // namespace backeddy::stats
