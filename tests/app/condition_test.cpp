// A fish's condition from the files of a study folder to the document and the questions.

#include <cmath>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/observe.hpp"
#include "app/run.hpp"
#include "app/why.hpp"
#include "base/number_text.hpp"
#include "report/tables.hpp"
#include "study/observed.hpp"
#include "support/small_plate.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

using test::Plate;
using test::sound_plate;

test::StudyFiles full_study(Plate plate = sound_plate()) {
    auto files = test::small_study();
    plate.map_the_rest();
    files["study.toml"] += "[blood]\nceiling_ml_per_kg = 1.0\n";
    files["fish.csv"] = "fish,species,mass_g,mass_uncertainty_g\nT01,Salmo trutta,950,2\n";
    files["encounters.csv"] = "encounter,fish,at,method,rig,fight_s,hook_location\n"
                              "e1,T01,2026-06-14T07:55:00Z,angling,single_hook,390,gills\n";
    files["blood.csv"] = "fish,drawn_at,analyte,value,unit,volume_ml,sample,who,note\n"
                         "T01,2026-06-14T09:06:00Z,lactate,43,mg/dL,0.8,A1,deck,from the tail\n"
                         "T01,2026-06-14T09:06:00Z,cortisol,40,ng/mL,,,,from the tail\n"
                         "T01,2026-06-14T20:04:00Z,,,,0.4,A2,shore,\n";
    files["samples.csv"] = "sample,fish,taken_at,matrix\n"
                           "A1,T01,2026-06-14T09:06:00Z,plasma\n"
                           "A2,T01,2026-06-14T20:04:00Z,plasma\n";
    files["plates.csv"] = "plate,file,analyte,unit,who\np1,raw/plates/p1.csv,cortisol,ng/mL,bench\n";
    files["wells.csv"] = plate.wells;
    files["raw/plates/p1.csv"] = plate.file();
    files["fins.csv"] = "fish,occasion,fin,score,fray,scorer\n"
                        "T01,landing,all,whole,,anna\n"
                        "T01,landing,caudal,severe,yes,anna\n";
    files["body.csv"] = "fish,occasion,area,score,scorer\n"
                        "T01,landing,all,slight,anna\n"
                        "T01,landing,hook_wound,moderate,anna\n";
    files["reflexes.csv"] = "fish,at,test,there\n"
                            "T01,2026-06-14T08:03:00Z,righting,no\n"
                            "T01,2026-06-14T08:03:00Z,tail grab,yes\n";
    files["fates.csv"] = "fish,at,what,last_alive,stage,cause,tag_type,tag_serial\n"
                         "T01,2026-06-14T21:30:00Z,tagged,,holding,,T-bar,0412\n"
                         "T01,2026-06-15T20:00:00Z,dead,2026-06-15T12:00:00Z,holding,gills torn,,\n";
    return files;
}

/// Opened and run, kept where it is.
struct Season {
    explicit Season(const test::StudyFiles& files) : folder("condition_" + std::to_string(count++)) {
        test::write_all(folder, files);
        auto read = open_study(folder.path(), {});
        EXPECT_TRUE(read) << read.error().text();
        opened = std::make_unique<OpenedStudy>(std::move(*read));
        check = check_text(*opened);
        EXPECT_FALSE(study::stops_a_run(opened->complaints)) << check;
        run = run_study(*opened, {});
        results = results_of(*run->answers);
    }
    [[nodiscard]] std::vector<std::string> said() const {
        std::vector<std::string> out;
        for (const auto& complaint : run->complaints) {
            out.push_back(complaint.error.text());
        }
        return out;
    }
    [[nodiscard]] const report::FishCondition& fish() const { return results.fish.at(0).condition; }

    static inline int count = 0;
    test::ScratchFolder folder;
    std::unique_ptr<OpenedStudy> opened;
    std::string check;
    std::unique_ptr<StudyRun> run;
    report::Results results;
};

const Season& full() {
    static const Season value{full_study()};
    return value;
}

// 43 mg/dL of lactic acid, 90.078 g/mol (IUPAC 2021): 43 / 9.0078 = 4.7736 mmol/L; from 07:55 to 09:06.
TEST(FishCondition, lactate_is_in_its_usual_unit_at_its_minute_with_its_road_back) {
    const auto& draws = full().fish().draws;
    ASSERT_THAT(draws, SizeIs(2));
    const auto& draw = draws[0];
    EXPECT_NEAR(*draw.since_hook_up_min.value, 71.0, 1e-9);
    ASSERT_THAT(draw.values, SizeIs(3));
    const auto& lactate = draw.values[1];
    EXPECT_EQ(lactate.analyte, "lactate");
    EXPECT_NEAR(*lactate.value.value, 4.7736406, 1e-6);
    EXPECT_EQ(lactate.value.unit, "mmol/L");
    EXPECT_EQ(lactate.as_written, "43 mg/dL");
    EXPECT_EQ(lactate.from, "blood.csv, line 2");
    EXPECT_FALSE(lactate.is_outside_range);
    EXPECT_EQ(draw.who, "deck");
    EXPECT_THAT(draw.notes, ElementsAre("from the tail"));
    EXPECT_TRUE(draw.is_first_after_event);
    EXPECT_FALSE(draws[1].is_first_after_event);
}

// 0.8 mL of 0.95 kg: 0.842 mL/kg; with 0.4 more 1.263, over the ceiling of 1.
TEST(FishCondition, blood_is_counted_per_kg_against_the_ceiling_and_before_each_peak) {
    const auto& draws = full().fish().draws;
    ASSERT_THAT(draws, SizeIs(2));
    EXPECT_NEAR(*draws[0].ml_per_kg.value, 0.8 / 0.95, 1e-12);
    EXPECT_EQ(draws[0].is_over_ceiling, false);
    EXPECT_NEAR(*draws[1].drawn_ml_per_kg.value, 1.2 / 0.95, 1e-12);
    EXPECT_EQ(draws[1].is_over_ceiling, true);
    EXPECT_EQ(draws[1].ceiling_ml_per_kg.value, 1.0);
    const auto& bled = full().fish().bled_before;
    ASSERT_THAT(bled, SizeIs(2));
    EXPECT_EQ(bled[0].word, "peak_after_capture");
    EXPECT_EQ(bled[0].number.value, 0.0);
    EXPECT_EQ(bled[1].word, "peak_after_chase");
    EXPECT_NEAR(*bled[1].number.value, 1.2 / 0.95, 1e-12);
    EXPECT_THAT(full().said(), Contains(AllOf(HasSubstr("blood.csv line 4, column \"volume_ml\""),
                                              HasSubstr("OVER the permit's 1.00 mL/kg"))));
}

// The curve that made the responses is known: 3.75 ng/mL in the well, tenfold diluted.
TEST(FishCondition, a_plate_s_concentration_comes_back_to_its_fish_and_minute) {
    ASSERT_THAT(full().results.condition.plates, SizeIs(1));
    const auto& plate = full().results.condition.plates[0];
    EXPECT_EQ(plate.unanswered, "");
    ASSERT_THAT(plate.parameters, SizeIs(4));
    EXPECT_NEAR(*plate.parameters[0].number.value, 2.0, 2e-4);
    EXPECT_NEAR(*plate.parameters[1].number.value, 0.1, 2e-4);
    EXPECT_NEAR(*plate.parameters[2].number.value, 20.0, 2e-3);
    EXPECT_NEAR(*plate.parameters[3].number.value, 1.1, 2e-4);
    ASSERT_THAT(plate.samples, SizeIs(2));
    EXPECT_NEAR(*plate.samples[0].concentration.value, 37.5, 37.5e-4);
    EXPECT_EQ(plate.samples[0].fish, "T01");
    EXPECT_EQ(plate.samples[1].concentration.reason, "below 0.781");
    ASSERT_THAT(plate.controls, SizeIs(1));
    EXPECT_NEAR(*plate.controls[0].recovery_percent.value, 100.0, 0.01);
    EXPECT_THAT(plate.standards, SizeIs(9)) << "eight and the zero wells";
    EXPECT_THAT(plate.wells, SizeIs(96));

    const auto& cortisol = full().fish().draws.at(0).values.at(0);
    EXPECT_EQ(cortisol.analyte, "cortisol");
    EXPECT_NEAR(*cortisol.value.value, 37.5, 37.5e-4);
    ASSERT_TRUE(cortisol.value.interval);
    EXPECT_LT(cortisol.value.interval->low, 37.5);
    EXPECT_GT(cortisol.value.interval->high, 37.5);
    EXPECT_EQ(cortisol.plate, "p1");
    EXPECT_THAT(cortisol.wells, ElementsAre("B3", "B4"));
    EXPECT_EQ(cortisol.from, "plate p1, wells B3, B4; samples.csv, line 2");
    // The 40 ng/mL that somebody typed stand beside it.
    EXPECT_THAT(cortisol.notes, Contains(HasSubstr("kept apart: also blood.csv, line 3")));
    EXPECT_EQ(full().fish().draws.at(0).values.at(2).value.value, 40.0);
    const auto& low = full().fish().draws.at(1).values.at(0);
    EXPECT_FALSE(low.value.value);
    EXPECT_NEAR(*low.below, 0.78125, 1e-12);
    EXPECT_EQ(low.value.reason, "below 0.781 ng/mL");
}

TEST(FishCondition, a_plate_s_file_is_an_input_with_its_hash_and_what_was_understood) {
    const auto& inputs = full().results.inputs;
    const auto found = std::ranges::find(inputs, "raw/plates/p1.csv", &report::Input::path);
    ASSERT_NE(found, inputs.end());
    EXPECT_EQ(found->kind, "plate");
    EXPECT_THAT(found->sha256, SizeIs(64));
    EXPECT_THAT(found->understood, testing::Not(IsEmpty()));
    EXPECT_THAT(full().check, HasSubstr("raw/plates/p1.csv (plate)\n    "));
    EXPECT_THAT(full().said(), Not(Contains(HasSubstr("raw/plates/p1.csv"))))
        << "it is no raw trace left unread";
}

// Seven fins, one of them severe (3): mean 3 / 7. Of the five tests two were done and one was lost.
TEST(FishCondition, scores_and_reflexes_come_to_their_indices) {
    ASSERT_THAT(full().fish().fins, SizeIs(1));
    const auto& fins = full().fish().fins[0];
    EXPECT_NEAR(*fins.mean.value, 3.0 / 7.0, 1e-12);
    EXPECT_EQ(fins.worst, 3U);
    ASSERT_THAT(fins.places, SizeIs(7));
    EXPECT_EQ(fins.places[1].title, "caudal");
    EXPECT_EQ(fins.places[1].level_word, "severe");
    EXPECT_THAT(fins.places[1].marks, ElementsAre("frayed"));
    ASSERT_THAT(full().fish().body, SizeIs(1));
    EXPECT_EQ(full().fish().body[0].mean.value, 1.0);
    EXPECT_EQ(full().fish().body[0].places.back().level_word, "moderate");
    ASSERT_THAT(full().fish().reflexes, SizeIs(1));
    const auto& reflexes = full().fish().reflexes[0];
    EXPECT_EQ(reflexes.impaired_percent.value, 50.0);
    EXPECT_EQ(reflexes.can_be_low_percent.value, 20.0);
    EXPECT_EQ(reflexes.can_be_high_percent.value, 80.0);
    EXPECT_THAT(reflexes.tests, SizeIs(5));
    EXPECT_THAT(full().fish().reminders, SizeIs(2)) << "lost righting; moderate bleeding at the gills";
}

// By the events 07:55 to 08:00, 300 s; 390 typed.
TEST(FishCondition, handling_is_by_events_and_what_was_typed_is_held_against_it) {
    const auto& handling = full().fish().handling;
    const auto fight = std::ranges::find(handling, "fight_s", &report::HandlingTime::word);
    ASSERT_NE(fight, handling.end());
    EXPECT_DOUBLE_EQ(*fight->by_events.value, 300.0);
    EXPECT_EQ(fight->typed.value, 390.0);
    EXPECT_FALSE(fight->disagreement.empty());
    EXPECT_THAT(full().said(), Contains(HasSubstr("encounters.csv line 2, column \"fight_s\"")));
}

TEST(FishCondition, a_death_is_known_between_two_looks) {
    ASSERT_TRUE(full().fish().fate);
    const auto& fate = *full().fish().fate;
    EXPECT_EQ(fate.ending, "dead");
    EXPECT_EQ(iso_text(*fate.last_alive), "2026-06-15T12:00:00Z");
    EXPECT_EQ(iso_text(*fate.found_dead), "2026-06-15T20:00:00Z");
    EXPECT_EQ(fate.stage, "holding");
    EXPECT_EQ(fate.cause, "gills torn");
    EXPECT_THAT(fate.tags, ElementsAre("external T-bar 0412"));
    ASSERT_FALSE(full().results.condition.mortality.empty());
    EXPECT_EQ(full().results.condition.mortality[0].from, "from capture");
    EXPECT_EQ(full().results.condition.mortality[0].dead, 0U) << "alive 28 h after";
    EXPECT_EQ(full().results.condition.mortality[0].known, 1U);
}

double number_in(const findings::Observations& rows, const char* column, std::size_t row = 0) {
    const auto* found = rows.column(column);
    const auto* value = found == nullptr ? nullptr : std::get_if<findings::Value>(&found->cells.at(row));
    EXPECT_NE(value, nullptr) << column;
    return value == nullptr ? std::nan("") : value->value;
}

TEST(FishCondition, questions_can_name_it) {
    const auto all = observe(full().opened->study, full().run->fish, full().run->condition);
    const auto& fish = all[0];
    EXPECT_NEAR(number_in(fish, "lactate_mmol_per_l"), 4.7736406, 1e-6);
    EXPECT_NEAR(number_in(fish, "cortisol_ng_per_ml"), 37.5, 37.5e-4) << "the plate's, not the typed one";
    EXPECT_GT(*std::get<findings::Value>(fish.column("cortisol_ng_per_ml")->cells[0]).uncertainty, 0.0);
    EXPECT_NEAR(number_in(fish, "hook_up_to_blood_min"), 71.0, 1e-9);
    EXPECT_NEAR(number_in(fish, "bled_ml_per_kg"), 1.2 / 0.95, 1e-12);
    EXPECT_NEAR(number_in(fish, "fin_index"), 3.0 / 7.0, 1e-12);
    EXPECT_NEAR(number_in(fish, "reflexes_lost_share"), 0.5, 1e-9);
    EXPECT_NEAR(number_in(fish, "fight_s"), 300.0, 1e-9);
    EXPECT_NEAR(number_in(fish, "air_s"), 40.0, 1e-9);
    EXPECT_NEAR(number_in(fish, "handling_s"), 60.0, 1e-9);
    EXPECT_EQ(std::get<findings::Word>(fish.column("worst_fin")->cells[0]).text, "severe");
    EXPECT_EQ(std::get<findings::Word>(fish.column("bleeding")->cells[0]).text, "moderate");
    EXPECT_THAT(fish.column("worst_fin")->levels, ElementsAre("whole", "slight", "moderate", "severe"));
    EXPECT_EQ(std::get<findings::Word>(fish.column("died")->cells[0]).text, "yes");
    const auto& death = std::get<findings::Within>(fish.column("death_after_capture_h")->cells[0]);
    EXPECT_NEAR(death.lower, 28.0 + (5.0 / 60.0), 1e-9);
    EXPECT_NEAR(death.upper, 36.0 + (5.0 / 60.0), 1e-9);
    EXPECT_EQ(fish.column("cortisol_ng_per_ml")->unit, "ng/mL");
    const auto& after = all[1];
    EXPECT_NEAR(number_in(after, "bled_ml_per_kg", 0), 0.0, 1e-9) << "before the peak after capture";
    EXPECT_NEAR(number_in(after, "bled_ml_per_kg", 1), 1.2 / 0.95, 1e-12);
}

// It was told with each of the three values: one fish, three complaints.
TEST(FishCondition, red_plasma_is_told_once_of_a_draw) {
    auto files = full_study();
    files["blood.csv"] = "fish,drawn_at,analyte,value,unit,sample,haemolysis,volume_ml\n"
                         "T01,2026-06-14T09:06:00Z,lactate,4.8,mmol/L,A1,slight,0.4\n"
                         "T01,2026-06-14T09:06:00Z,potassium,4,mmol/L,,marked,\n"
                         "T01,2026-06-14T09:06:00Z,glucose,5,mmol/L,,marked,\n"
                         "T01,2026-06-14T20:04:00Z,glucose,5,mmol/L,A2,none,0.1\n";
    const Season run(files);
    std::vector<std::string> told;
    std::ranges::copy_if(run.said(), std::back_inserter(told), [](const std::string& text) {
        return text.find("haemolysis") != std::string::npos;
    });
    ASSERT_THAT(told, SizeIs(1));
    EXPECT_THAT(told[0],
                AllOf(HasSubstr("blood.csv line 3, column \"haemolysis\""),
                      HasSubstr("potassium leaks from the red cells and reads too high; the colour")));
    const auto& draws = run.fish().draws;
    ASSERT_THAT(draws, SizeIs(2));
    EXPECT_THAT(draws[0].notes, ElementsAre(HasSubstr("marked haemolysis: potassium leaks")));
    EXPECT_THAT(draws[1].notes, IsEmpty());
    for (const auto& value : draws[0].values) {
        EXPECT_THAT(value.notes, Not(Contains(HasSubstr("haemolysis")))) << value.analyte;
    }
    EXPECT_EQ(draws[0].values.back().haemolysis, "marked") << "kept with the value all the same";
}

// The tube's readings say when it first closed with the fish in it, where nobody wrote that down; what was
// written down goes before it.
TEST(FishCondition, time_since_sealing_is_by_the_events_else_by_the_readings) {
    const auto& by_readings = full().fish().draws.at(0).since_sealed_min;
    ASSERT_TRUE(by_readings.value);
    EXPECT_EQ(by_readings.method, "since its chamber first closed, by its readings");
    EXPECT_NEAR(*by_readings.value, 61.0, 0.1)
        << "in the tube from 08:05, its pump off until 08:08; drawn 09:06";
    EXPECT_FALSE(by_readings.standard_uncertainty);

    auto files = full_study();
    files["events.csv"] += "2026-06-14T08:06:00Z,5,sealed,T01,deck\n";
    const Season written(files);
    const auto& by_events = written.fish().draws.at(0).since_sealed_min;
    EXPECT_EQ(by_events.method, "by events.csv");
    EXPECT_NEAR(*by_events.value, 60.0, 1e-9);
    EXPECT_NEAR(*by_events.standard_uncertainty, std::hypot(5.0, 5.0) / 60.0, 1e-9)
        << "of the sealing, and of the draw's event";

    auto before = full_study();
    before["blood.csv"] = "fish,drawn_at,analyte,value,unit\nT01,2026-06-14T08:03:00Z,lactate,4.8,mmol/L\n";
    const Season early(before);
    EXPECT_EQ(early.fish().draws.at(0).since_sealed_min.reason, "it was in no sealed chamber before");
}

// The word of a column means one thing wherever it stands: "reflexes_lost" was a share in a question and a
// list of tests in the table.
TEST(FishCondition, a_name_that_questions_and_the_table_by_fish_share_means_the_same) {
    const auto table = report::condition_table(full().results);
    std::vector<std::string> shared;
    for (const auto& column : study::observed_columns()) {
        if (("," + table.substr(0, table.find('\n')) + ",").find("," + column.name + ",") !=
            std::string::npos) {
            shared.push_back(column.name);
        }
    }
    EXPECT_THAT(shared, IsEmpty()) << "mean the same? Then say so here";
}

// ------------------------------------------------------------------------------------------- bad input

// It was a note of the report alone, and "nothing is corrected" is easy to miss there.
TEST(FishCondition, a_control_that_no_fish_is_of_is_told_among_the_complaints) {
    auto files = full_study();
    files["study.toml"] += "[fates]\ncontrol = \"singl_hook\"\n";
    const Season run(files);
    EXPECT_THAT(
        run.said(),
        Contains(AllOf(HasSubstr("study.toml, column \"control\""), HasSubstr("no fish is of such a group"),
                       HasSubstr("one of \"single_hook\""), HasSubstr("did you mean \"single_hook\"?"))));
    EXPECT_THAT(run.check, HasSubstr("no fish is of such a group"));
    files["study.toml"] = test::with(files["study.toml"], "singl_hook", "single_hook");
    EXPECT_THAT(Season(files).said(), Not(Contains(HasSubstr("no fish is of such a group"))));
}

TEST(FishCondition, a_plate_without_its_file_is_told_and_the_rest_runs) {
    auto files = full_study();
    files.erase("raw/plates/p1.csv");
    const Season run(files);
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("plates.csv line 2, column \"file\""),
                                           HasSubstr("there is no such file"))));
    ASSERT_THAT(run.results.condition.plates, SizeIs(1));
    EXPECT_THAT(run.results.condition.plates[0].unanswered, HasSubstr("there is no such file"));
    EXPECT_FALSE(run.results.condition.plates[0].blank.value);
    EXPECT_THAT(run.fish().draws.at(0).values, SizeIs(2)) << "lactate and the typed cortisol";
}

TEST(FishCondition, an_empty_plate_file_is_named) {
    auto files = full_study();
    files["raw/plates/p1.csv"] = "";
    EXPECT_THAT(Season(files).said(), Contains(AllOf(HasSubstr("plates.csv line 2, column \"file\""),
                                                     HasSubstr("\"raw/plates/p1.csv\": the file is empty"))));
}

// It stood on the plate's page alone.
TEST(FishCondition, a_standard_that_does_not_come_back_is_told_at_its_well) {
    auto plate = sound_plate();
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) { // E1, E2 hold 6.25
        plate.grid[4][i] = test::small_curve.response(1.7 * 6.25);
    }
    const Season run(full_study(plate));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("wells.csv line"), HasSubstr("column \"concentration\""),
                                           HasSubstr("of plate \"p1\""),
                                           HasSubstr("that of 6.25 ng/mL (E1, E2): read back as"),
                                           HasSubstr("left out of the curve by a reason in \"excluded\""))));
    EXPECT_THAT(full().said(), Not(Contains(HasSubstr("of plate \"p1\""))));
}

// They stood on the plate's page alone, and the interval of the sample held neither well.
TEST(FishCondition, replicates_that_lie_apart_are_told_at_their_well_and_of_their_fish) {
    auto plate = sound_plate();
    plate.grid[1][3] = test::small_curve.response(30.0); // B4; B3 holds 3.75
    const Season run(full_study(plate));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("wells.csv line"), HasSubstr("column \"well\""),
                                           HasSubstr("sample \"A1\" of plate \"p1\": the wells' CV is"),
                                           HasSubstr("exclude one that is wrong with a reason"))));
    const auto& sample = run.results.condition.plates[0].samples[0];
    EXPECT_LT(sample.concentration.interval->low, 37.5);
    EXPECT_GT(sample.concentration.interval->high, 300.0);
    EXPECT_THAT(run.results.fish[0].condition.doubts,
                Contains(AllOf(HasSubstr("cortisol"), HasSubstr("by their own scatter"))));
}

TEST(FishCondition, a_control_that_failed_is_told_at_its_well) {
    auto plate = sound_plate();
    for (const std::size_t i : {std::size_t{2}, std::size_t{3}}) { // D3, D4 should hold 11
        plate.grid[3][i] = test::small_curve.response(0.2);
    }
    const Season run(full_study(plate));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("column \"concentration\""),
                                           HasSubstr("control \"pool\" of plate \"p1\": failed: it should "
                                                     "hold 11 and reads below 0.781"))));
    const auto& control = run.results.condition.plates[0].controls[0];
    EXPECT_EQ(control.is_accepted, std::optional(false));
    EXPECT_THAT(control.recovery_percent.reason, HasSubstr("failed"));
}

TEST(FishCondition, one_negative_well_is_lost_alone_and_a_dilution_below_one_is_told) {
    auto plate = sound_plate();
    plate.grid[1][3] = -0.001;
    auto files = full_study(plate);
    files["wells.csv"] = test::with(files["wells.csv"], "p1,B3,sample,A1,,10\n", "p1,B3,sample,A1,,0.1\n");
    const Season run(files);
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("raw/plates/p1.csv has -0.001 in well B4 (line 3)"),
                                           HasSubstr("until then it is left out"))));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("column \"dilution\""), HasSubstr("a dilution of 0.1"),
                                           HasSubstr("write 10 for one part in ten"))));
    EXPECT_EQ(run.results.condition.plates[0].unanswered, "");
    EXPECT_THAT(run.results.condition.plates[0].samples[0].dilutions.at(0).wells, ElementsAre("B3"));
}

TEST(FishCondition, a_map_that_does_not_cover_the_plate_names_the_wells_and_the_rest_counts) {
    auto files = full_study();
    files["wells.csv"] = test::with(files["wells.csv"], "p1,H12,empty,,,\n", "");
    const Season run(files);
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("raw/plates/p1.csv line 9"), HasSubstr("H12"))));
    EXPECT_THAT(run.results.condition.plates[0].samples, SizeIs(2));
}

TEST(FishCondition, a_dilution_of_zero_and_a_well_without_a_number_are_told_at_their_cells) {
    auto plate = sound_plate();
    auto files = full_study(plate);
    files["wells.csv"] = test::with(files["wells.csv"], "p1,B3,sample,A1,,10\n", "p1,B3,sample,A1,,0\n");
    files["raw/plates/p1.csv"] =
        test::with(files["raw/plates/p1.csv"], exact_text(plate.grid[3][2]), "OVRFLW");
    const Season run(files);
    EXPECT_THAT(run.said(), Contains(HasSubstr("column \"dilution\": \"0\"")));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("wells.csv"), HasSubstr("column \"well\""),
                                           HasSubstr("\"OVRFLW\" in well D3"))));
    const auto& left = run.results.condition.plates[0];
    ASSERT_THAT(left.samples, SizeIs(2));
    EXPECT_THAT(left.samples[0].dilutions.at(0).wells, ElementsAre("B4"));
}

TEST(FishCondition, a_curve_that_cannot_be_fitted_is_told_at_the_plate) {
    auto files = full_study();
    auto& wells = files["wells.csv"];
    for (std::size_t i = 0; i < 6; ++i) { // two standards are no curve
        for (const int column : {1, 2}) {
            const auto at = wells.find(fmt::format("p1,{}{},standard", static_cast<char>('A' + i), column));
            const auto end = wells.find('\n', at);
            wells.replace(at, end - at, fmt::format("p1,{}{},empty,,,", static_cast<char>('A' + i), column));
        }
    }
    const Season run(files);
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("plates.csv line 2"),
                                           HasSubstr("until then nothing is read from it"))));
    EXPECT_FALSE(run.results.condition.plates[0].unanswered.empty());
}

// Two plates with the same tube: kept apart, and the control between them tells how far plates differ.
TEST(FishCondition, two_plates_of_one_sample_are_kept_apart) {
    auto files = full_study();
    auto second = sound_plate();
    second.pair(1, 2, 4.5, "sample,A1,,10");
    files["plates.csv"] += "p2,raw/plates/p2.csv,cortisol,ng/mL,bench\n";
    files["raw/plates/p2.csv"] = second.file();
    const auto first_map = files["wells.csv"];
    for (std::size_t at = first_map.find('\n') + 1; at < first_map.size();) {
        const auto end = first_map.find('\n', at);
        files["wells.csv"] += "p2" + first_map.substr(at + 2, end - at - 1);
        at = end + 1;
    }
    const Season run(files);
    ASSERT_THAT(run.results.condition.plates, SizeIs(2));
    const auto& values = run.fish().draws.at(0).values;
    ASSERT_THAT(values, SizeIs(4));
    EXPECT_NEAR(*values[0].value.value, 37.5, 37.5e-4);
    EXPECT_NEAR(*values[1].value.value, 45.0, 45e-4);
    EXPECT_EQ(values[1].plate, "p2");
    EXPECT_THAT(values[1].notes, Contains(HasSubstr("for the study's numbers counts plate p1")));
    // 37.5, 45 and 40 typed: by their errors the plates disagree, and all that uses the first says so.
    EXPECT_THAT(values[0].doubts,
                Contains(AllOf(HasSubstr("measured as 37.5 ng/mL (plate p1"),
                               HasSubstr("and as 45.0 ng/mL (plate p2"), HasSubstr("the first counts"))));
    EXPECT_THAT(run.fish().doubts, Contains(HasSubstr("further apart than their errors allow")));
    const auto rows = observe(run.opened->study, run.run->fish, run.run->condition);
    EXPECT_THAT(rows[0].column("cortisol_ng_per_ml")->doubts.at(0), HasSubstr("measured as 37.5 ng/mL"));
    EXPECT_THAT(full().fish().draws.at(0).values.at(0).doubts, IsEmpty())
        << "40 typed and 37.5 of a plate are one";
    ASSERT_THAT(run.results.condition.inter_assay, SizeIs(1));
    EXPECT_EQ(run.results.condition.inter_assay[0].label, "pool");
    EXPECT_NEAR(*run.results.condition.inter_assay[0].cv_of_means_percent.value, 0.0, 1e-6);
}

// Five pairs on the line 0.5 + 1.2 times the truth: 6.5 read are 5.0.
TEST(FishCondition, a_meter_s_value_is_set_right_by_the_pairs_of_the_brief) {
    auto files = full_study();
    files["study.toml"] += "[[meter]]\ndevice = \"strip\"\nanalyte = \"lactate\"\n"
                           "pairs = [[1.7, 1], [2.9, 2], [5.3, 4], [10.1, 8], [14.9, 12]]\n";
    files["blood.csv"] = "fish,drawn_at,analyte,value,unit,device\n"
                         "T01,2026-06-14T09:06:00Z,lactate,6.5,mmol/L,Strip\n";
    const Season run(files);
    const auto& values = run.fish().draws.at(0).values;
    const auto lactate = std::ranges::find(values, "lactate", &report::BloodValue::analyte);
    ASSERT_NE(lactate, values.end());
    EXPECT_NEAR(*lactate->value.value, 5.0, 1e-9);
    EXPECT_EQ(lactate->device, "Strip");
}

// 20 read, and the pairs end at 14.9: the number was given with a line in the warnings alone.
TEST(FishCondition, a_value_beyond_a_meter_s_pairs_or_of_unknown_matter_carries_it_to_where_it_is_used) {
    auto files = full_study();
    files["study.toml"] += "[[meter]]\ndevice = \"strip\"\nanalyte = \"lactate\"\n"
                           "pairs = [[1.7, 1], [2.9, 2], [5.3, 4], [10.1, 8], [14.9, 12]]\n";
    files["blood.csv"] = "fish,drawn_at,analyte,value,unit,device,matrix\n"
                         "T01,2026-06-14T09:06:00Z,lactate,20,mmol/L,strip,plasma\n"
                         "T01,2026-06-14T09:06:00Z,glucose,30,mmol/L,strip,\n";
    const Season run(files);
    const auto value = [&](const char* analyte) {
        const auto& values = run.fish().draws.at(0).values;
        return *std::ranges::find(values, analyte, &report::BloodValue::analyte);
    };
    EXPECT_THAT(value("lactate").doubts, ElementsAre(HasSubstr("was compared from 1.7 to 14.9 only")));
    EXPECT_THAT(value("glucose").doubts, ElementsAre(HasSubstr("strip meters read whole blood")));
    EXPECT_FALSE(value("glucose").is_outside_range) << "30 is over what blood holds, if it is plasma";
    EXPECT_FALSE(value("glucose").range_low.value);
    EXPECT_THAT(run.fish().doubts, AllOf(Contains(HasSubstr("drawn out beyond that")),
                                         Contains(HasSubstr("nobody wrote what it was put to"))));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("blood.csv line 3"), HasSubstr("Write its matrix"))));
    const auto rows = observe(run.opened->study, run.run->fish, run.run->condition);
    EXPECT_THAT(rows[0].column("lactate_mmol_per_l")->doubts.at(0), HasSubstr("drawn out beyond"));
}

TEST(FishCondition, why_leads_from_blood_to_the_plate_s_wells_and_lines) {
    const auto cortisol = why(*full().run->answers, "T01", "cortisol");
    ASSERT_TRUE(cortisol) << cortisol.error().text();
    EXPECT_THAT(*cortisol,
                AllOf(HasSubstr("T01: cortisol of plasma = 37.5"), HasSubstr("plate p1, wells B3, B4"),
                      HasSubstr("B3: "), HasSubstr("(raw/plates/p1.csv, line 3)"),
                      HasSubstr("standard curve of plate p1"), HasSubstr("100: A1, A2")));
    EXPECT_THAT(why(*full().run->answers, "T01", "lactate").value(),
                AllOf(HasSubstr("written as 43 mg/dL"), HasSubstr("blood.csv, line 2")));
    EXPECT_THAT(why(*full().run->answers, "T01", "fate").value(), HasSubstr("(fates.csv, line 3)"));
    EXPECT_THAT(why(*full().run->answers, "T01", "fins").value(), HasSubstr("caudal: level 3"));
    EXPECT_THAT(why(*full().run->answers, "T01", "reflexes").value(), HasSubstr("righting: lost"));
    EXPECT_THAT(why(*full().run->answers, "T01", "sodium").error().text(), HasSubstr("T01 has no sodium"));
    EXPECT_THAT(why(*full().run->answers, "T01", "cortsol").error().text(),
                HasSubstr("did you mean \"cortisol\"?"));
}

TEST(FishCondition, zero_wells_that_lie_apart_are_told) {
    auto plate = sound_plate();
    plate.grid[0][3] *= 0.6; // A4 of A3, A4
    const Season run(full_study(plate));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("wells.csv line"), HasSubstr("the zero wells (A3, A4)"),
                                           HasSubstr("the wells' CV is"))));
}

// Five standards of which one was pipetted into the wrong well: the curve fails for it alone.
TEST(FishCondition, a_curve_that_fails_for_one_standard_names_it) {
    auto plate = sound_plate();
    for (std::size_t row = 0; row < 8;
         ++row) { // all alike, one pair far off: without it there is no dose response
        for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
            plate.grid[row][i] = row == 4 ? 30.0 : plate.grid[row][i];
        }
    }
    const Season run(full_study(plate));
    EXPECT_THAT(run.said(), Contains(AllOf(HasSubstr("plates.csv line 2"),
                                           HasSubstr("without the standard of 6.25 (E1, E2) the rest makes a "
                                                     "curve"),
                                           HasSubstr("look at these wells first"))));
}

// Catch, blood, fins and fates, and no chamber: nothing was computed of it.
TEST(FishCondition, a_study_without_a_stay_has_results_and_a_report_of_what_there_is) {
    auto files = full_study();
    for (const char* name :
         {"stays.csv", "assemblies.csv", "calibrations.csv", "raw/boat.csv", "events.csv"}) {
        files.erase(name);
    }
    auto& brief = files["study.toml"];
    brief = test::with(brief, "[[trace]]\nname = \"boat\"\nfiles = [\"raw/boat*.csv\"]\n", "");
    const Season run(files);
    EXPECT_THAT(run.said(), Contains(HasSubstr("no stay, and no trace in the brief: no uptake is computed")));
    ASSERT_THAT(run.results.fish, SizeIs(1));
    EXPECT_THAT(run.fish().draws, SizeIs(2));
    EXPECT_NEAR(*run.fish().draws[0].values[0].value.value, 37.5, 37.5e-4);
    EXPECT_EQ(run.results.condition.mortality.front().dead, 0U) << "28 h after its capture at the earliest";
    EXPECT_THAT(run.results.fish[0].stays, IsEmpty());
}

TEST(FishCondition, a_study_without_sheets_has_none_but_its_events) {
    const Season run(test::small_study());
    EXPECT_FALSE(run.results.condition.has_any);
    ASSERT_THAT(run.fish().draws, SizeIs(1)) << "events.csv tells of blood";
    EXPECT_FALSE(run.fish().draws[0].volume_ml.value);
    EXPECT_THAT(run.fish().draws[0].values, IsEmpty());
    EXPECT_FALSE(run.fish().fate);
    EXPECT_THAT(run.results.condition.plates, IsEmpty());
}

} // namespace
} // namespace backeddy::app
