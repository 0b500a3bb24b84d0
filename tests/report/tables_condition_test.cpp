#include <gmock/gmock.h>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "report/csv_cells.hpp"
#include "report/invented_study.hpp"
#include "report/tables.hpp"

namespace backeddy::report {
namespace {

using testing::HasSubstr;

Results invented(std::size_t fish = 5) {
    return invented_study({.fish = fish, .night_h = 1.0});
}

// ---------------------------------------------------------------- a row per fish

TEST(ConditionTable, has_the_same_columns_for_a_fish_that_no_sheet_tells_of) {
    Results results = invented();
    results.fish.push_back({.id = "bare"});
    const auto rows = cells_of(condition_table(results));
    expect_square(rows);
    ASSERT_EQ(rows.size(), 7U);
    EXPECT_EQ(cell(rows, 6, "fish"), "bare");
    EXPECT_EQ(cell(rows, 6, "cortisol_plasma_ng_per_ml"), "");
    EXPECT_EQ(cell(rows, 6, "cortisol_plasma_missing"), "no blood after the event");
    EXPECT_EQ(cell(rows, 6, "over_ceiling"), "") << "never bled: neither over nor within";
    EXPECT_EQ(cell(rows, 6, "fins_worst_level_landing"), "") << "not scored is not unhurt";
    EXPECT_EQ(cell(rows, 6, "ending"), "");
}

TEST(ConditionTable, gives_a_limit_its_own_column_and_no_value) {
    const auto rows = cells_of(condition_table(invented()));
    EXPECT_EQ(cell(rows, 3, "cortisol_plasma_ng_per_ml"), "");
    EXPECT_EQ(parse_number(cell(rows, 3, "cortisol_plasma_below_ng_per_ml")), 7.8);
    EXPECT_EQ(cell(rows, 3, "cortisol_plasma_above_ng_per_ml"), "");
    EXPECT_EQ(cell(rows, 3, "cortisol_plasma_missing"), "");
    EXPECT_EQ(cell(rows, 1, "cortisol_plasma_below_ng_per_ml"), "");
    EXPECT_NE(cell(rows, 1, "cortisol_plasma_ng_per_ml"), "");
    EXPECT_NE(cell(rows, 1, "cortisol_plasma_low_95_ng_per_ml"), "");
}

TEST(ConditionTable, takes_the_draw_that_is_first_after_the_event_and_counts_all) {
    Results results = invented();
    BloodDraw before = results.fish[0].condition.draws[0];
    before.is_first_after_event = false;
    before.values[1].value = number(99.0, "mmol/L");
    auto& draws = results.fish[0].condition.draws;
    draws.insert(draws.begin(), before);
    results.fish[1].condition.draws[0].is_first_after_event = false;
    results.fish[2].condition.draws[0].values.pop_back();
    const auto rows = cells_of(condition_table(results));
    EXPECT_EQ(cell(rows, 1, "lactate_plasma_mmol_per_l"), "4.2") << "not the 99 from before the event";
    EXPECT_EQ(cell(rows, 1, "first_minutes_since_hook_up"), "67");
    EXPECT_EQ(cell(rows, 1, "bled_before_peak_after_capture_ml_per_kg"), "0");
    EXPECT_EQ(cell(rows, 1, "draws"), "3");
    EXPECT_EQ(cell(rows, 1, "over_ceiling"), "yes");
    EXPECT_EQ(cell(rows, 2, "over_ceiling"), "no");
    EXPECT_EQ(cell(rows, 2, "lactate_plasma_mmol_per_l"), "");
    EXPECT_EQ(cell(rows, 2, "lactate_plasma_missing"), "no blood after the event");
    EXPECT_EQ(cell(rows, 2, "first_drawn_at"), "");
    EXPECT_EQ(cell(rows, 3, "glucose_plasma_missing"), "not measured in it");
}

TEST(ConditionTable, has_no_blank_in_the_name_of_a_column) {
    Results results = invented(1);
    results.fish[0].condition.draws[0].values[1].matrix = "whole blood";
    EXPECT_NE(cell(cells_of(condition_table(results)), 1, "lactate_whole_blood_mmol_per_l"), "");
}

TEST(ConditionTable, has_fins_by_occasion_reflexes_handling_and_fate) {
    const Results results = invented();
    const auto rows = cells_of(condition_table(results));
    EXPECT_EQ(parse_number(cell(rows, 1, "fins_index_landing")),
              results.fish[0].condition.fins[0].mean.value);
    EXPECT_EQ(cell(rows, 1, "fins_scorer_landing"), "A") << "the first of two scorers, by name";
    EXPECT_EQ(cell(rows, 1, "fins_index_before_holding"), "");
    EXPECT_NE(cell(rows, 1, "fins_index_after_holding"), "");
    EXPECT_EQ(cell(rows, 1, "fins_worst_level_landing"), "2");
    EXPECT_EQ(cell(rows, 1, "fins_worst_places_landing"), "caudal; right pelvic");
    EXPECT_EQ(cell(rows, 3, "fins_missing_landing"), "not scored: right pelvic");
    EXPECT_EQ(cell(rows, 3, "fins_sum_landing"), "");
    EXPECT_EQ(cell(rows, 2, "reflexes_not_tested"), "head complex");
    EXPECT_EQ(cell(rows, 2, "reflexes_impaired_percent"), "50");
    EXPECT_EQ(cell(rows, 4, "fight_by_events_s"), "156");
    EXPECT_EQ(cell(rows, 4, "fight_typed_s"), "600");
    EXPECT_THAT(cell(rows, 4, "fight_disagreement"), HasSubstr("cannot both be right"));
    EXPECT_EQ(cell(rows, 1, "air_by_events_s"), "") << "no air event is no air time, not 0";
    EXPECT_EQ(cell(rows, 1, "air_typed_s"), "30");
    EXPECT_EQ(cell(rows, 5, "ending"), "dead");
    EXPECT_NE(cell(rows, 5, "last_alive"), cell(rows, 5, "found_dead")) << "died between two looks";
    EXPECT_EQ(cell(rows, 4, "ending"), "lost");
    EXPECT_EQ(cell(rows, 4, "found_dead"), "");
}

// ---------------------------------------------------------------- a row per value

TEST(BloodTable, has_a_row_per_value_with_its_road_back) {
    const Results results = invented();
    std::size_t values = 0;
    for (const Fish& fish : results.fish) {
        for (const BloodDraw& draw : fish.condition.draws) {
            values += draw.values.size();
        }
    }
    const auto rows = cells_of(blood_table(results));
    expect_square(rows);
    ASSERT_EQ(rows.size(), values + 1);
    EXPECT_EQ(cell(rows, 1, "analyte"), "cortisol");
    EXPECT_EQ(cell(rows, 1, "unit"), "ng/mL");
    EXPECT_EQ(cell(rows, 1, "plate"), "P1");
    EXPECT_EQ(cell(rows, 1, "wells"), "B3; B4");
    EXPECT_THAT(cell(rows, 1, "from"), HasSubstr("samples.csv, line 2"));
    EXPECT_EQ(cell(rows, 4, "draw"), "2") << "the second draw of the first fish";
    EXPECT_EQ(cell(rows, 4, "over_ceiling"), "yes");
    EXPECT_EQ(cell(rows, 6, "as_written"), "47 mg/dL");
    EXPECT_EQ(cell(rows, 7, "outside_range"), "yes");
    EXPECT_EQ(cell(rows, 7, "haemolysis"), "marked");
    EXPECT_EQ(cell(rows, 8, "value"), "");
    EXPECT_EQ(parse_number(cell(rows, 8, "below")), 7.8);
    EXPECT_EQ(cell(rows, 8, "missing"), "");
}

// "no" would say that somebody had looked at a ceiling.
TEST(BloodTable, says_neither_yes_nor_no_of_a_ceiling_that_is_not_set) {
    Results results = invented(2);
    for (Fish& fish : results.fish) {
        for (BloodDraw& draw : fish.condition.draws) {
            draw.ceiling_ml_per_kg = no_number("not set in the brief", "mL/kg");
            draw.is_over_ceiling.reset();
        }
    }
    EXPECT_EQ(cell(cells_of(blood_table(results)), 1, "over_ceiling"), "");
    EXPECT_EQ(cell(cells_of(condition_table(results)), 1, "over_ceiling"), "");
}

TEST(BloodTable, says_not_known_where_nobody_can_know) {
    Results results = invented(2);
    for (Fish& fish : results.fish) {
        for (BloodDraw& draw : fish.condition.draws) {
            draw.is_over_ceiling.reset();
        }
    }
    EXPECT_EQ(cell(cells_of(blood_table(results)), 1, "over_ceiling"), "not known");
    EXPECT_EQ(cell(cells_of(condition_table(results)), 1, "over_ceiling"), "not known");
    results.fish[0].condition.draws[1].is_over_ceiling = true;
    EXPECT_EQ(cell(cells_of(condition_table(results)), 1, "over_ceiling"), "yes");
}

TEST(BloodTable, keeps_a_draw_of_which_nothing_was_measured) {
    Results results;
    Fish fish{.id = "a"};
    fish.condition.draws.push_back({.volume_ml = number(0.4, "mL"), .notes = {"=clotted"}});
    results.fish.push_back(fish);
    const auto rows = cells_of(blood_table(results));
    expect_square(rows);
    ASSERT_EQ(rows.size(), 2U);
    EXPECT_EQ(cell(rows, 1, "volume_ml"), "0.4");
    EXPECT_EQ(cell(rows, 1, "analyte"), "");
    EXPECT_EQ(cell(rows, 1, "outside_range"), "");
    EXPECT_EQ(cell(rows, 1, "draw_notes"), "'=clotted");
}

TEST(BloodTable, says_why_a_value_is_missing_that_is_no_limit) {
    Results results;
    Fish fish{.id = "a"};
    BloodDraw draw;
    draw.values.push_back(
        {.analyte = "glucose", .value = no_number("the plate was not worked out", "mmol/L")});
    fish.condition.draws.push_back(draw);
    results.fish.push_back(fish);
    const auto rows = cells_of(blood_table(results));
    EXPECT_EQ(cell(rows, 1, "missing"), "the plate was not worked out");
    EXPECT_EQ(cell(rows, 1, "value"), "");
}

// ---------------------------------------------------------------- a row per material

TEST(PlateTable, has_a_row_per_material_and_one_below_it_per_dilution_where_there_are_several) {
    const Results results = invented(3);
    const auto rows = cells_of(plate_table(results));
    expect_square(rows);
    // Twice 8 standards with the zero wells, a row of blanks, 2 controls, 3 samples of which one in three
    // dilutions, a spike; and the plate that could not be worked out.
    ASSERT_EQ(rows.size(), 1U + 2U * (8U + 1U + 2U + 3U + 3U + 1U) + 1U);
    EXPECT_EQ(cell(rows, 1, "kind"), "zero");
    EXPECT_EQ(cell(rows, 1, "accepted"), "") << "zero wells are not held against anything";
    EXPECT_NE(cell(rows, 1, "response_as_read"), "");
    EXPECT_EQ(cell(rows, 1, "response"), "") << "of standards nothing is taken off";
    EXPECT_EQ(cell(rows, 5, "expected"), "6.25");
    EXPECT_EQ(cell(rows, 5, "accepted"), "no");
    EXPECT_THAT(cell(rows, 5, "remarks"), HasSubstr("of what it should be"));
    EXPECT_EQ(cell(rows, 9, "kind"), "blank");
    EXPECT_EQ(cell(rows, 9, "n"), "3") << "the bubble does not count";
    EXPECT_EQ(cell(rows, 10, "kind"), "control");
    EXPECT_NE(cell(rows, 10, "response"), "");
    EXPECT_EQ(cell(rows, 10, "response_as_read"), "");
    EXPECT_EQ(cell(rows, 12, "part"), "material");
    EXPECT_EQ(cell(rows, 12, "n"), "6");
    EXPECT_EQ(cell(rows, 12, "dilution"), "") << "of several: they stand below";
    EXPECT_EQ(cell(rows, 12, "cv_percent"), "");
    EXPECT_EQ(cell(rows, 12, "parallel"), "undecided");
    EXPECT_EQ(cell(rows, 13, "part"), "dilution");
    EXPECT_EQ(cell(rows, 13, "dilution"), "10");
    EXPECT_EQ(cell(rows, 17, "label"), "pl-st03");
    EXPECT_EQ(cell(rows, 17, "concentration"), "");
    EXPECT_EQ(cell(rows, 17, "beyond"), "below 7.8");
    EXPECT_EQ(cell(rows, rows.size() - 1, "part"), "plate");
    EXPECT_THAT(cell(rows, rows.size() - 1, "unanswered"), HasSubstr("names no standard"));
    EXPECT_EQ(cell(rows, rows.size() - 1, "n"), "0");
}

TEST(PlateTable, neutralises_a_formula_in_a_label) {
    Results results;
    AssayPlate plate{.id = "=P"};
    plate.samples.push_back({.kind = "sample", .label = "@sum", .remarks = {"-1, \"x\""}});
    results.condition.plates.push_back(plate);
    const auto rows = cells_of(plate_table(results));
    EXPECT_EQ(cell(rows, 1, "plate"), "'=P");
    EXPECT_EQ(cell(rows, 1, "label"), "'@sum");
    EXPECT_EQ(cell(rows, 1, "remarks"), "'-1, \"x\"");
}

// ---------------------------------------------------------------- the page that tells what the columns are

/// The column as the page has it: what is the study's own stands in capitals.
std::string as_told(std::string column) {
    const std::pair<const char*, const char*> own[] = {{"cortisol_plasma", "ANALYTE_MATRIX"},
                                                       {"lactate_plasma", "ANALYTE_MATRIX"},
                                                       {"glucose_plasma", "ANALYTE_MATRIX"},
                                                       {"_ng_per_ml", "_UNIT"},
                                                       {"_mmol_per_l", "_UNIT"},
                                                       {"_landing", "_OCCASION"},
                                                       {"_before_holding", "_OCCASION"},
                                                       {"_after_holding", "_OCCASION"},
                                                       {"peak_after_capture", "PEAK"},
                                                       {"fight_", "TIME_"},
                                                       {"air_", "TIME_"}};
    for (const auto& [word, capitals] : own) {
        if (const auto at = column.find(word); at != std::string::npos) {
            column.replace(at, std::string(word).size(), capitals);
        }
    }
    return column;
}

TEST(ResultsPage, tells_every_column_of_the_tables_of_condition) {
    const auto page = read_file(std::string(BACKEDDY_SOURCE_DIR) + "/docs/results.md");
    ASSERT_TRUE(page.has_value());
    const Results results = invented();
    for (const std::string& text : {condition_table(results), blood_table(results), plate_table(results)}) {
        const auto rows = cells_of(text);
        for (const std::string& column : rows[0]) {
            EXPECT_THAT(*page, HasSubstr("`" + as_told(column) + "`"));
        }
    }
}

} // namespace
} // namespace backeddy::report
