#include "report/tables.hpp"

#include <algorithm>

#include <gmock/gmock.h>

#include "base/number_text.hpp"
#include "report/csv_cells.hpp"
#include "report/invented_study.hpp"

namespace backeddy::report {
namespace {

TEST(TextCell, that_a_spreadsheet_would_take_for_a_formula_gets_an_apostrophe) {
    EXPECT_EQ(text_cell("=1+1"), "'=1+1");
    EXPECT_EQ(text_cell("+1"), "'+1");
    EXPECT_EQ(text_cell("-2"), "'-2");
    EXPECT_EQ(text_cell("@sum"), "'@sum");
    EXPECT_EQ(text_cell("\t=1"), "'\t=1");
    EXPECT_EQ(text_cell("a=1"), "a=1");
}

TEST(TextCell, with_commas_quotes_or_line_ends_is_quoted) {
    EXPECT_EQ(text_cell("a,b"), "\"a,b\"");
    EXPECT_EQ(text_cell("a\"b"), "\"a\"\"b\"");
    EXPECT_EQ(text_cell("=a,\"b\"\n"), "\"'=a,\"\"b\"\"\n\"");
}

TEST(SpellTable, has_a_row_per_sealed_spell_and_the_exact_slope) {
    Results results = invented_study({.fish = 2, .night_h = 3.0});
    results.fish[0].stays[0].spells[0].answer.slope_mg_per_l_h = -1.0 / 3.0;
    std::size_t spells = 0;
    for (const Fish& fish : results.fish) {
        for (const Stay& stay : fish.stays) {
            spells += stay.spells.size();
        }
    }
    const auto rows = cells_of(spell_table(results));
    expect_square(rows);
    EXPECT_EQ(rows.size(), spells + 1);
    EXPECT_EQ(parse_number(cell(rows, 1, "slope_mg_per_l_h")), -1.0 / 3.0);
    EXPECT_EQ(cell(rows, 1, "fish"), "st01");
}

TEST(SpellTable, counts_hours_from_the_fishs_time_zero) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    const Spell& spell = results.fish[0].stays[0].spells[0];
    const double expected = (spell.answer.middle() - *results.fish[0].time_zero).hours();
    const auto rows = cells_of(spell_table(results));
    EXPECT_DOUBLE_EQ(*parse_number(cell(rows, 1, "hours_since_time_zero")), expected);
    results.fish[0].time_zero.reset();
    EXPECT_EQ(cell(cells_of(spell_table(results)), 1, "hours_since_time_zero"), "");
}

TEST(StayTable, counts_marks_and_leaves_excluded_spells_out_of_the_median) {
    Results results;
    Stay stay{.id = "s1"};
    for (const double value : {10.0, 20.0, 30.0, 1000.0}) {
        Spell spell{.number = 1};
        spell.answer.uptake_mg_per_h = Measured(value);
        spell.is_excluded_by_hand = value > 500.0;
        stay.spells.push_back(spell);
    }
    stay.spells[0].answer.mark = uptake::Mark::doubtful;
    results.blanks.push_back(stay);
    const auto rows = cells_of(stay_table(results));
    expect_square(rows);
    EXPECT_EQ(cell(rows, 1, "median_uptake_mg_per_h"), "20");
    EXPECT_EQ(cell(rows, 1, "spells_doubtful"), "1");
    EXPECT_EQ(cell(rows, 1, "spells_excluded_by_hand"), "1");
}

TEST(FishTable, has_the_same_columns_for_a_fish_with_all_metrics_and_for_one_with_none) {
    Results results = invented_study({.fish = 6, .night_h = 13.0});
    results.fish.push_back({.id = "bare"});
    const auto rows = cells_of(fish_table(results));
    expect_square(rows);
    ASSERT_EQ(rows.size(), 8U);
    EXPECT_EQ(cell(rows, 7, "peak_after_capture_mg_per_kg_h"), "");
    EXPECT_EQ(cell(rows, 7, "peak_after_capture_mark"), "");
    const Number& peak = results.fish[0].metrics.peaks[0].uptake_mg_per_kg_h;
    EXPECT_EQ(parse_number(cell(rows, 1, "peak_after_capture_mg_per_kg_h")), peak.value);
    EXPECT_EQ(parse_number(cell(rows, 1, "peak_after_capture_uncertainty_mg_per_kg_h")),
              peak.standard_uncertainty);
    EXPECT_EQ(parse_number(cell(rows, 1, "peak_after_capture_low_95_mg_per_kg_h")), peak.interval->low);
    EXPECT_EQ(cell(rows, 1, "treatment_rig"), "barbless single");
}

// A fish that was never weighed has its values in mg/h: in a column per kilogram they would be read a
// kilogram wrong.
TEST(FishTable, never_puts_a_whole_animal_value_into_a_column_per_kilogram) {
    Results results = invented_study({.fish = 1, .night_h = 2.0});
    Peak& peak = results.fish[0].metrics.peaks[0];
    peak.uptake_mg_per_kg_h = no_number("not weighed", "mg/kg/h");
    peak.steepest.unit = "mg/h";
    const auto rows = cells_of(fish_table(results));
    EXPECT_EQ(cell(rows, 1, "peak_after_capture_steepest_mg_per_kg_h"), "");
    EXPECT_NE(cell(rows, 1, "peak_after_capture_mg_per_h"), "");
}

TEST(FishTable, says_of_a_scope_whose_rest_was_never_reached_that_it_is_at_least) {
    auto study = invented_study({.fish = 2, .night_h = 2.0});
    study.fish[1].metrics.scopes.front().absolute.is_at_least = true;
    const auto rows = cells_of(fish_table(study));
    EXPECT_EQ(cell(rows, 1, "scope_after_capture_absolute_is_at_least"), "no");
    EXPECT_EQ(cell(rows, 2, "scope_after_capture_absolute_is_at_least"), "yes");
    EXPECT_EQ(cell(rows, 2, "scope_after_capture_factorial_is_at_least"), "no");
}

TEST(FishTable, says_of_a_censored_recovery_that_it_is_at_least) {
    const auto rows = cells_of(fish_table(invented_study({.fish = 4, .night_h = 13.0})));
    EXPECT_EQ(cell(rows, 1, "recovery_after_capture_by_data_is_at_least"), "no");
    EXPECT_EQ(cell(rows, 4, "recovery_after_capture_by_data_is_at_least"), "yes");
}

TEST(CatchTable, has_a_row_per_step_and_then_what_went_no_further_and_what_was_landed) {
    const auto rows = cells_of(catch_table(invented_study({.fish = 1, .night_h = 1.0})));
    expect_square(rows);
    ASSERT_EQ(rows.size(), 1U + 2U + 1U + 1U + 1U + 2U + 1U);
    EXPECT_EQ(cell(rows, 1, "count_in_hours"), "20");
    EXPECT_EQ(cell(rows, 1, "per_rod_hour_low_95"), "0.4");
    EXPECT_EQ(cell(rows, 1, "ratio_to_first_rig"), "");
    EXPECT_EQ(cell(rows, 1, "missing_ratio"), "ratios are over this rig");
    EXPECT_EQ(cell(rows, 2, "share_percent"), "70");
    EXPECT_EQ(cell(rows, 3, "kind"), "missed");
    EXPECT_EQ(cell(rows, 3, "of"), "") << "a count alone";
    EXPECT_EQ(cell(rows, 4, "name"), "'=at the net");
    EXPECT_EQ(cell(rows, 5, "kind"), "end_not_written");
    EXPECT_EQ(cell(rows, 7, "kind"), "bycatch");
    EXPECT_EQ(cell(rows, 8, "rig"), "");
    EXPECT_EQ(cell(rows, 8, "rod_hours"), "");
    EXPECT_EQ(cell(rows, 8, "lines_never_out"), "1");
}

TEST(FindingsTable, has_a_row_per_effect_and_one_for_a_question_without_an_answer) {
    const Results results = invented_study({.fish = 1, .night_h = 1.0});
    const auto rows = cells_of(findings_table(results));
    expect_square(rows);
    std::size_t expected = 1;
    for (const auto& finding : results.findings) {
        expected += std::max<std::size_t>(finding.effects.size(), 1);
    }
    ASSERT_EQ(rows.size(), expected);
    const auto& headline = results.findings[0].effects[0];
    EXPECT_EQ(cell(rows, 1, "question"), "rig_peak");
    EXPECT_EQ(cell(rows, 1, "effect"), "treble_hooks against single_hook");
    EXPECT_EQ(cell(rows, 1, "scale"), "difference");
    EXPECT_EQ(parse_number(cell(rows, 1, "value")), headline.value);
    EXPECT_EQ(parse_number(cell(rows, 1, "low_95")), headline.lower);
    EXPECT_EQ(parse_number(cell(rows, 1, "high_95")), headline.upper);
    EXPECT_EQ(parse_number(cell(rows, 1, "p_corrected")), headline.p_corrected);
    EXPECT_EQ(cell(rows, 1, "declared"), "before_any_fish");
    EXPECT_EQ(cell(rows, 1, "fish"), "32");
    EXPECT_EQ(cell(rows, 1, "rows_left_out"), "2");
    EXPECT_EQ(cell(rows, 1, "value_without_human"), "33.9");
    EXPECT_EQ(cell(rows, 1, "rows_without_human"), "33");
    EXPECT_EQ(cell(rows, 4, "low_95"), "") << "a limit that is not known is an empty cell";
    EXPECT_EQ(cell(rows, 4, "value_without_human"), "") << "no decision by hand";
    EXPECT_EQ(cell(rows, expected - 1, "value"), "");
    EXPECT_EQ(cell(rows, expected - 1, "unanswered"), results.findings.back().unanswered);
}

// Where decisions by hand change nothing, the variant need not repeat its numbers; where they take an effect
// away, its cells are empty and not those of another.
TEST(FindingsTable, pairs_effects_with_those_without_human_exclusions_by_name) {
    findings::Finding finding{.name = "q"};
    finding.effects = {{.name = "b against a", .value = 1.5}, {.name = "c against a", .value = 2.5}};
    finding.without_human = findings::FoundVariant{.rows = 4, .fish = 4, .is_same = true};
    Results results;
    results.findings = {finding};
    EXPECT_EQ(cell(cells_of(findings_table(results)), 2, "value_without_human"), "2.5");
    results.findings[0].without_human =
        findings::FoundVariant{.rows = 5, .fish = 5, .effects = {{.name = "c against a", .value = 9.0}}};
    const auto rows = cells_of(findings_table(results));
    EXPECT_EQ(cell(rows, 1, "value_without_human"), "");
    EXPECT_EQ(cell(rows, 2, "value_without_human"), "9");
}

TEST(FindingsTable, neutralises_a_formula_in_a_question) {
    findings::Finding finding{.name = "=1+1", .ask = "</script>, \"why\""};
    Results results;
    results.findings = {finding};
    const auto rows = cells_of(findings_table(results));
    EXPECT_EQ(cell(rows, 1, "question"), "'=1+1");
    EXPECT_EQ(cell(rows, 1, "ask"), finding.ask);
}

TEST(Tables, of_an_empty_study_are_their_header_alone) {
    for (const std::string& text :
         {spell_table({}), stay_table({}), fish_table({}), catch_table({}), findings_table({}),
          condition_table({}), blood_table({}), plate_table({})}) {
        EXPECT_EQ(cells_of(text).size(), 1U);
        EXPECT_GT(cells_of(text)[0].size(), 10U);
    }
}

TEST(Tables, neutralise_a_formula_in_a_fishs_name) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    results.fish[0].id = "=HYPERLINK(\"x\")";
    EXPECT_EQ(cell(cells_of(fish_table(results)), 1, "fish"), "'=HYPERLINK(\"x\")");
}

} // namespace
} // namespace backeddy::report
