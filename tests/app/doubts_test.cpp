// Readings, logs and files that are wrong in one way that used to pass in silence.

#include <algorithm>
#include <cmath>
#include <memory>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/followers.hpp"
#include "app/reading_doubts.hpp"
#include "app/run.hpp"
#include "app/seen_states.hpp"
#include "app/stay_doubts.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

/// What `check` says of a study, a line for each complaint.
struct Checked {
    explicit Checked(const test::StudyFiles& files) : folder(unused_name()) {
        test::write_all(folder, files);
        auto read = open_study(folder.path(), {});
        EXPECT_TRUE(read) << read.error().text();
        opened = std::make_unique<OpenedStudy>(std::move(*read));
        chambers = build_chambers(opened->study, opened->traces, {});
        auto states = see_states(opened->study, opened->traces, chambers, {});
        auto& all = opened->complaints;
        all.insert(all.end(), chambers.complaints.begin(), chambers.complaints.end());
        all.insert(all.end(), states.complaints.begin(), states.complaints.end());
        opened->followers += drop_followers(all, opened->study, opened->traces);
        for (const auto& complaint : all) {
            said.push_back((complaint.severity == study::Severity::stops_the_run ? "stops: " : "beware: ") +
                           complaint.error.text());
        }
        text = check_text(*opened, states);
    }
    static std::string unused_name() {
        static int count = 0;
        return "doubts_" + std::to_string(++count);
    }

    test::ScratchFolder folder;
    std::unique_ptr<OpenedStudy> opened;
    Chambers chambers;
    std::vector<std::string> said;
    std::string text;
};

/// What a run has to say of the stays.
std::vector<std::string> answer_all(const Checked& checked) {
    const auto stays = answer_stays(checked.opened->study, checked.chambers, {}, [](auto...) {});
    std::vector<std::string> out;
    for (const auto& complaint : stay_doubts(checked.opened->study, checked.chambers, stays.list, {})) {
        out.push_back(complaint.error.text());
    }
    return out;
}

/// The small study's trace with some of its rows changed.
template <typename Change>
test::StudyFiles with_rows(const Change& change) {
    auto files = test::small_study();
    auto rows = test::small_rows();
    for (std::size_t i = 0; i < rows.size(); ++i) {
        change(rows[i], i);
    }
    files["raw/boat.csv"] = test::small_trace(rows);
    return files;
}

TEST(Doubts, a_study_without_them_has_none) {
    EXPECT_THAT(Checked(test::small_study()).said, IsEmpty());
}

// ---------------------------------------------------------------- the pump

test::StudyFiles with_log(double until) {
    auto files = test::small_study();
    files["study.toml"] += "[[trace]]\nname = \"pump\"\nfiles = [\"raw/pump.csv\"]\n";
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:pump", "pump:state");
    std::string log = "time,state\n";
    for (double t = test::second_of(8, 0); t < until; t += 480.0) {
        log += "2026-06-14T" + test::clock_text(t) + "Z,flush\n";
        log += "2026-06-14T" + test::clock_text(t + 120.0) + "Z,sealed\n";
    }
    files["raw/pump.csv"] = log;
    return files;
}

TEST(PumpLog, that_ends_early_is_told_and_its_last_state_not_held_to_the_end) {
    EXPECT_THAT(Checked(with_log(test::second_of(22, 0))).said, IsEmpty());
    const Checked checked(with_log(test::second_of(12, 0)));
    EXPECT_THAT(checked.said, Contains(AllOf(HasSubstr("beware: raw/pump.csv"), HasSubstr("\"s2\""),
                                             HasSubstr("ends at 2026-06-14T11:54:00Z"))));
    // One and a half cycles of 480 s later nothing is known.
    const auto& log = *checked.chambers.list.front().pump_log;
    EXPECT_EQ(iso_text(Instant::unix_nanoseconds(log.times_ns.back())), "2026-06-14T12:06:00Z");
    EXPECT_EQ(log.state.back(), uptake::ChamberState::unknown);
}

TEST(PumpLog, read_upside_down_is_told) {
    const Checked checked(with_rows([](test::SmallRow& row, std::size_t) { row.pump = 1 - row.pump; }));
    EXPECT_THAT(checked.said,
                Contains(AllOf(HasSubstr("\"s2\""), HasSubstr("oxygen falls while the pump column"))));
}

// ---------------------------------------------------------------- readings that cannot be

TEST(Readings, of_a_thermometer_in_fahrenheit_stop_and_name_the_unit) {
    const Checked checked(with_rows(
        [](test::SmallRow& row, std::size_t) { row.temperature_c = 32.0 + (1.8 * row.temperature_c); }));
    EXPECT_THAT(checked.said,
                Contains(AllOf(HasSubstr("stops: raw/boat.csv line 2"), HasSubstr("Fahrenheit"))));
}

TEST(Readings, that_stand_for_none_are_set_aside_counted_and_told) {
    const Checked checked(with_rows([](test::SmallRow& row, std::size_t i) {
        row.oxygen_mg_per_l = i % 50 == 7 ? -9999.0 : row.oxygen_mg_per_l;
    }));
    EXPECT_THAT(checked.said, testing::ElementsAre(AllOf(HasSubstr("beware: raw/boat.csv line 9"),
                                                         HasSubstr("504 readings"))));
    const auto& oxygen = checked.chambers.list.front().trace.oxygen_mg_per_l;
    EXPECT_EQ(std::count_if(oxygen.begin(), oxygen.end(), [](double v) { return std::isnan(v); }), 504);
    EXPECT_TRUE(std::all_of(oxygen.begin(), oxygen.end(), [](double v) { return std::isnan(v) || v > 0.0; }));
}

TEST(Readings, that_fall_to_nothing_for_one_row_are_set_aside) {
    const Checked checked(with_rows([](test::SmallRow& row, std::size_t i) {
        row.oxygen_mg_per_l = i % 50 == 7 ? 0.0 : row.oxygen_mg_per_l;
    }));
    EXPECT_THAT(checked.said, testing::ElementsAre(HasSubstr("504 single readings")));
}

TEST(Readings, a_fraction_that_calls_itself_per_cent_stops) {
    auto files = with_rows([](test::SmallRow& row, std::size_t) { row.oxygen_mg_per_l /= 10.0; });
    files["raw/boat.csv"] = test::with(files["raw/boat.csv"], "o2_mgL", "o2_percent_air");
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:o2_mgL", "boat:o2_percent_air");
    files["study.toml"] +=
        "[[trace.column]]\nheader = \"o2_percent_air\"\nuse = \"oxygen\"\nunit = \"% air\"\n";
    files.erase("calibrations.csv");
    EXPECT_THAT(Checked(files).said, Contains(AllOf(HasSubstr("stops"), HasSubstr("a fraction of air"))));
}

TEST(Readings, units_are_guessed_from_what_aired_water_reads) {
    EXPECT_EQ(looks_like_oxygen(98.0, intake::Unit::mg_per_l), "% of air saturation or mmHg");
    EXPECT_EQ(looks_like_oxygen(0.98, intake::Unit::percent_air),
              "a fraction of air saturation (1 for 100 %)");
    EXPECT_EQ(looks_like_oxygen(280.0, intake::Unit::umol_per_l), "");
    EXPECT_EQ(looks_like_temperature(285.0), "kelvin");
    EXPECT_EQ(looks_like_pressure(1008.0), "hPa");
}

// ---------------------------------------------------------------- calibration

TEST(Calibration, a_row_without_unit_is_in_that_of_the_sensor_s_own_column) {
    auto files = with_rows([](test::SmallRow& row, std::size_t) { row.oxygen_mg_per_l /= 0.0319988; });
    files["raw/boat.csv"] = test::with(files["raw/boat.csv"], "o2_mgL", "o2_umolL");
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:o2_mgL", "boat:o2_umolL");
    files["calibrations.csv"] =
        "sensor,at,point,reading,unit,temperature_c,pressure_kpa,salinity,uncertainty\n"
        "OX-1,2026-06-14T07:00:00Z,air,278,,12,101.0,30,0.5\n";
    EXPECT_THAT(Checked(files).said, IsEmpty());
    files["calibrations.csv"] = test::with(files["calibrations.csv"], "278", "27.8");
    EXPECT_THAT(Checked(files).said,
                Contains(AllOf(HasSubstr("calibrations.csv line 2"), HasSubstr("written 27.8 umol/L"))));
}

TEST(Calibration, a_zero_alone_does_not_make_a_sensor_more_certain) {
    const auto error_of = [](const std::string& calibrations) {
        auto files = test::small_study();
        files["calibrations.csv"] =
            "sensor,at,point,reading,unit,temperature_c,pressure_kpa,salinity,uncertainty\n" + calibrations;
        const Checked checked(files);
        const auto& chamber = checked.chambers.list.front();
        return uptake::slope_scale(chamber.usual.oxygen,
                                   Instant::unix_nanoseconds(chamber.trace.times_ns.front()), 12.0)
            .standard_uncertainty();
    };
    const double never = error_of("");
    EXPECT_GT(never, 0.019);
    EXPECT_GE(error_of("OX-1,2026-06-14T07:00:00Z,zero,0.05,mg/L,12,101.0,30,0.02\n"), never);
}

// ---------------------------------------------------------------- files

TEST(Files, another_header_among_the_rows_stops_with_its_line_and_what_it_changes) {
    auto files = test::small_study();
    auto& trace = files["raw/boat.csv"];
    const auto at = trace.find("2026-06-14T10:00:00Z");
    trace.insert(at, "time,temp_C,o2_mgL,pump\n");
    EXPECT_THAT(Checked(files).said, Contains(AllOf(HasSubstr("stops: raw/boat.csv line 3602"),
                                                    HasSubstr("column 2 is \"temp_C\" and was \"o2_mgL\""))));
    files = test::small_study();
    files["raw/boat.csv"].insert(at, "time,o2_mgL,temp_C,pump\n");
    EXPECT_THAT(Checked(files).said, IsEmpty()); // the same header again, after a restart
}

TEST(Files, day_and_month_that_change_places_on_the_way_stop) {
    auto files = test::small_study();
    std::string text = "time,o2_mgL,temp_C,pump\n";
    for (const auto& row : test::small_rows()) {
        const bool late = row.second >= test::second_of(12, 0);
        text += fmt::format("{} {},{:.4f},{:.3f},{}\n", late ? "2026-12-06" : "2026-06-12",
                            test::clock_text(row.second), row.oxygen_mg_per_l, row.temperature_c, row.pump);
    }
    files["raw/boat.csv"] = text;
    EXPECT_THAT(Checked(files).said,
                Contains(AllOf(HasSubstr("stops: raw/boat.csv line 7202"),
                               HasSubstr("day and month exchanged"), HasSubstr("2026-06-12T12:00:00Z"))));
}

TEST(Files, a_column_without_a_reading_is_told) {
    auto files = test::small_study();
    std::string text = "time,o2_mgL,temp_C,pump\n";
    for (const auto& row : test::small_rows()) {
        text += fmt::format("2026-06-14T{}Z,NaN,{:.3f},{}\n", test::clock_text(row.second), row.temperature_c,
                            row.pump);
    }
    files["raw/boat.csv"] = text;
    files["study.toml"] += "[[trace.column]]\nheader = \"o2_mgL\"\nuse = \"oxygen\"\nunit = \"mg/L\"\n";
    EXPECT_THAT(Checked(files).said, Contains(HasSubstr("none of 25200 rows has a reading here")));
}

TEST(Files, of_one_trace_that_contradict_each_other_are_told_with_the_largest_difference) {
    const auto second_file = [](double off) {
        std::vector<test::SmallRow> rows;
        for (auto row : test::small_rows()) {
            if (row.second >= test::second_of(10, 0) && row.second < test::second_of(11, 0)) {
                row.oxygen_mg_per_l += off;
                rows.push_back(row);
            }
        }
        auto files = test::small_study();
        files["raw/boat_b.csv"] = test::small_trace(rows);
        return files;
    };
    EXPECT_THAT(Checked(second_file(2.0)).said,
                Contains(AllOf(HasSubstr("beware"), HasSubstr("raw/boat.csv and raw/boat_b.csv"),
                               HasSubstr("differ by up to 2.00"))));
    EXPECT_THAT(Checked(second_file(0.0)).said, IsEmpty());
}

TEST(Files, rows_written_twice_are_told_as_such_and_not_of_the_clock) {
    auto files = test::small_study();
    std::string text = "time,o2_mgL,temp_C,pump\n";
    for (const auto& row : test::small_rows()) {
        const auto line = test::small_trace({row}).substr(text.find('\n') + 1);
        text += line + line;
    }
    files["raw/boat.csv"] = text;
    EXPECT_THAT(
        Checked(files).said,
        testing::ElementsAre(AllOf(HasSubstr("25200 rows have the time of the row before, and its values"),
                                   Not(HasSubstr("clock")))));
}

TEST(Files, what_follows_from_one_that_cannot_be_read_is_counted_not_told) {
    auto files = test::small_study();
    files["fish.csv"] = "fish,species,mass_g\nT01,Salmo trutta,half a kilo\n";
    const Checked checked(files);
    EXPECT_THAT(checked.said, Contains(HasSubstr("half a kilo")));
    EXPECT_THAT(checked.said, Not(Contains(HasSubstr("is not in fish.csv"))));
}

TEST(Files, what_follows_from_a_row_whose_number_cannot_be_is_counted_not_told) {
    auto files = test::small_study();
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "tube,9.6,", "tube,-9.6,");
    const Checked checked(files);
    EXPECT_THAT(checked.said, Contains(HasSubstr("\"-9.6\"")));
    EXPECT_THAT(checked.said, Not(Contains(HasSubstr("is not in assemblies.csv"))));
    EXPECT_EQ(checked.opened->followers, 4U) << "the four rows of stays.csv";
}

TEST(Files, refused_rows_of_one_reason_are_shown_by_a_few_and_counted) {
    auto files = test::small_study();
    auto& trace = files["raw/boat.csv"];
    for (int i = 0; i < 40; ++i) {
        trace += "no time,9.5,12.0,0\n";
    }
    const std::string text = Checked(files).text;
    std::size_t shown = 0;
    for (auto at = text.find("    refused: raw"); at != std::string::npos;
         at = text.find("    refused: raw", at + 1)) {
        ++shown;
    }
    EXPECT_EQ(shown, 5U);
    EXPECT_THAT(text, HasSubstr("40 rows refused, lines 25202 to 25241"));
    EXPECT_THAT(text, HasSubstr("35 rows more for this reason: `run` lists them in refused_rows.csv"));
}

TEST(Readings, that_stand_for_none_name_the_section_for_their_words) {
    const auto files = with_rows([](test::SmallRow& row, std::size_t i) {
        if (i % 500 == 0) {
            row.oxygen_mg_per_l = -999.0;
        }
    });
    EXPECT_THAT(Checked(files).said, Contains(HasSubstr("missing_words of the brief's [[trace]] \"boat\"")));
}

// ---------------------------------------------------------------- decisions and blanks

TEST(Files, of_which_much_is_refused_are_told_with_count_and_reason) {
    auto files = test::small_study();
    auto rows = test::small_rows();
    std::rotate(rows.begin(), rows.begin() + 900, rows.end()); // the first half hour stands at the end
    files["raw/boat.csv"] = test::small_trace(rows);
    const Checked checked(files);
    EXPECT_THAT(checked.said, Contains(AllOf(HasSubstr("beware: raw/boat.csv line"),
                                             HasSubstr("rows are refused; the first:"))));
}

TEST(Stays, with_a_hole_in_their_readings_are_told) {
    auto files = test::small_study();
    auto rows = test::small_rows();
    rows.resize(rows.size() / 2);
    files["raw/boat.csv"] = test::small_trace(rows);
    const Checked checked(files);
    const auto said = answer_all(checked);
    EXPECT_THAT(said, Contains(AllOf(HasSubstr("stays.csv"), HasSubstr("\"s2\""),
                                     HasSubstr("no reading of oxygen from"))));
    EXPECT_THAT(answer_all(Checked(test::small_study())), Not(Contains(HasSubstr("no reading of oxygen"))));
}

TEST(Water, far_from_air_saturation_in_flushed_chambers_is_told_once) {
    auto files = test::small_study();
    auto rows = test::small_rows();
    for (auto& row : rows) {
        row.oxygen_mg_per_l *= 1.6; // another unit than its header says
    }
    files["raw/boat.csv"] = test::small_trace(rows);
    const auto is_strange =
        AllOf(HasSubstr("sealed spells in \"tube\" begin at "), HasSubstr("of air saturation"));
    EXPECT_THAT(answer_all(Checked(files)), Contains(is_strange).Times(1));
    for (auto& row : rows) {
        row.oxygen_mg_per_l *= 0.65 / 1.6; // 70 % of saturation, about what mL/L would look like
    }
    files["raw/boat.csv"] = test::small_trace(rows);
    EXPECT_THAT(answer_all(Checked(files)), Contains(is_strange).Times(1));
    EXPECT_THAT(answer_all(Checked(test::small_study())), Not(Contains(is_strange)));
}

TEST(Blanks, that_take_over_a_fifth_of_a_fishs_uptake_are_told_once_for_the_chamber) {
    auto files = test::small_study();
    files["raw/boat.csv"] =
        test::small_trace(test::small_rows({.microbes_mg_per_l_h = 2.0})); // 19 of 55 mg/h
    const auto is_large = AllOf(HasSubstr("% of the uptake in \"tube\""), HasSubstr("is background"));
    EXPECT_THAT(answer_all(Checked(files)), Contains(is_large).Times(1));
    EXPECT_THAT(answer_all(Checked(test::small_study())), Not(Contains(is_large)));
}

TEST(Decisions, about_one_spell_that_contradict_each_other_are_told_with_both_lines) {
    auto files = test::small_study();
    files["decisions.csv"] = "stay,moment,act,value,reason,author,at\n"
                             "s2,2026-06-14T12:05:00Z,exclude,,a bubble,me,\n"
                             "s2,2026-06-14T12:05:30Z,include,,no bubble,me,\n";
    EXPECT_THAT(Checked(files).said,
                Contains(AllOf(HasSubstr("include (line 3)"), HasSubstr("exclude (line 2)"),
                               HasSubstr("later row holds"))));
}

TEST(Decisions, that_move_a_bound_into_a_flush_or_past_the_other_are_told) {
    // Sealed from 12:02 to 12:08 and from 12:10 to 12:16.
    auto files = test::small_study();
    files["decisions.csv"] = "stay,moment,act,value,reason,author,at\n"
                             "s2,2026-06-14T12:05:00Z,move_start,2026-06-14T12:01:30Z,early,me,\n"
                             "s2,2026-06-14T12:13:00Z,move_start,2026-06-14T12:15:00Z,late,me,\n"
                             "s2,2026-06-14T12:14:00Z,move_end,2026-06-14T12:14:00Z,late,me,\n";
    const Checked checked(files);
    EXPECT_THAT(checked.said,
                testing::ElementsAre(AllOf(HasSubstr("beware: decisions.csv line 2"),
                                           HasSubstr("column \"value\""), HasSubstr("not moved")),
                                     AllOf(HasSubstr("beware: decisions.csv line 4"),
                                           HasSubstr("the start is not before the end"))));
    const auto stays = answer_stays(checked.opened->study, checked.chambers, {}, [](auto...) {});
    EXPECT_THAT(refused_moves(stays.list), testing::SizeIs(2));
}

// ---------------------------------------------------------------- acts on a chamber, and what comes before
// it

/// Marks of the spells of s2 that were sealed at 12:02 and at 12:10, with these events.
std::string marks_with(const std::string& events, const std::string& assemblies = "") {
    auto files = test::small_study();
    files["events.csv"] = "at,at_uncertainty_s,event,fish,stay,assembly\n"
                          "2026-06-14T20:09:00Z,2,chase_end,T01,,\n" +
                          events;
    if (!assemblies.empty()) {
        files["assemblies.csv"] = assemblies;
    }
    const Checked checked(files);
    const auto stays = answer_stays(checked.opened->study, checked.chambers, {}, [](auto...) {});
    std::string out;
    for (const auto& spell : stays.list.at(1).uptake->spells) {
        const auto when = iso_text(spell.answer.sealed_from);
        if (when == "2026-06-14T12:02:00Z" || when == "2026-06-14T12:10:00Z") {
            out += spell.answer.mark == uptake::Mark::good       ? "good "
                   : spell.answer.mark == uptake::Mark::doubtful ? "doubtful "
                                                                 : "unusable ";
            for (const auto& reason : spell.answer.reasons) {
                out += reason.word + " ";
            }
        }
    }
    return out;
}

TEST(Acts, inside_a_sealed_spell_mark_it_wherever_they_are_written_down) {
    EXPECT_EQ(marks_with(""), "good good ");
    EXPECT_EQ(marks_with("2026-06-14T12:05:00Z,,opened,T01,s2,tube\n"), "unusable opened_inside good ");
    EXPECT_EQ(marks_with("2026-06-14T12:05:00Z,,cleaning,,,tube\n"), "unusable cleaned_inside good ");
    EXPECT_EQ(marks_with("2026-06-14T12:05:00Z,,sensor_swap,,s2,\n"), "unusable sensor_swapped_inside good ");
    EXPECT_EQ(marks_with("2026-06-14T12:05:00Z,,disturbance,,,\n"), "doubtful disturbed_inside good ");
    EXPECT_EQ(marks_with("2026-06-14T12:05:00Z,,anaesthetic,T01,,\n"), "doubtful anaesthetic_inside good ");
    EXPECT_EQ(marks_with("2026-06-14T12:09:00Z,,opened,,s2,\n"), "good good ");
    EXPECT_EQ(marks_with("2026-06-14T12:09:00Z,90,opened,,s2,\n"),
              "doubtful opened_inside doubtful opened_inside ");
}

TEST(Acts, after_a_death_or_release_nothing_is_the_fishs) {
    EXPECT_EQ(marks_with("2026-06-14T12:09:00Z,,died,T01,,\n"), "good unusable after_last_good ");
    EXPECT_EQ(marks_with("2026-06-14T12:09:00Z,,released,,s2,\n"), "good unusable after_last_good ");
    EXPECT_EQ(marks_with("2026-06-14T12:01:00Z,,died,T01,,\n"),
              "unusable after_last_good unusable after_last_good ");
    EXPECT_EQ(marks_with("2026-06-14T12:09:00Z,,died,other,,\n"), "good good ");
}

TEST(Acts, a_swap_that_the_assemblies_tell_splits_the_stay_instead) {
    const std::string rest = ",9.6,0.03,0.4,OX-1,boat:o2_mgL,boat:temp_C,boat:pump,0,15\n";
    const auto said =
        marks_with("2026-06-14T12:05:20Z,30,sensor_swap,,s2,\n",
                   "assembly,from,to,chamber_volume_l,chamber_volume_uncertainty_l,loop_volume_l,"
                   "sensor,oxygen,temperature,pump,sensor_lag_s,mixing_s\n"
                   "tube,,2026-06-14T12:05:00Z" +
                       rest + "tube,2026-06-14T12:05:00Z," + rest);
    EXPECT_THAT(said, AllOf(HasSubstr("good"), Not(HasSubstr("sensor_swapped_inside"))));
}

TEST(Events, that_should_come_before_a_stay_and_lie_in_it_are_told_with_the_time_zero_taken_instead) {
    auto files = test::small_study();
    auto& events = files["events.csv"];
    events =
        test::with(events, "2026-06-14T08:01:00Z,2,back_in_water", "2026-06-14T08:07:00Z,2,back_in_water");
    events = test::with(events, "2026-06-14T20:09:00Z,2,chase_end", "2026-06-14T20:19:00Z,2,chase_end");
    events = test::with(events, "2026-06-14T20:09:30Z,2,air_end", "2026-06-14T20:19:30Z,2,air_end");
    const Checked checked(files);
    EXPECT_THAT(
        checked.said,
        testing::ElementsAre(AllOf(HasSubstr("beware: events.csv line 6"), HasSubstr("back_in_water"),
                                   HasSubstr("time zero is taken from landed at 2026-06-14T08:00:00Z")),
                             AllOf(HasSubstr("beware: events.csv line 9"), HasSubstr("chase_end"),
                                   HasSubstr("time zero is the start of the role, 2026-06-14T20:10:00Z")),
                             AllOf(HasSubstr("beware: events.csv line 11"), HasSubstr("air_end"))));
    const auto run = run_study(*checked.opened, {});
    EXPECT_THAT(run->fish.front().after_event(uptake::PeakEvent::capture)->zero.not_from,
                AllOf(HasSubstr("taken from landed"), HasSubstr("not from back_in_water"),
                      HasSubstr("events.csv, line 6")));
    const auto results = results_of(*run->answers);
    EXPECT_THAT(results.fish.front().notes, testing::SizeIs(2));
}

TEST(Events, time_zero_without_an_event_is_the_start_of_the_role_not_of_the_stay) {
    auto files = test::small_study();
    auto& stays = files["stays.csv"];
    stays = test::with(stays, "T01,tube,rest,2026-06-14T09:10:00Z,2026-06-14T20:04:00Z,done\ns3,T01",
                       "T01,tube,rest,2026-06-14T09:10:00Z,2026-06-14T20:10:00Z,\ns2,T01");
    files["events.csv"] = "at,event,fish\n2026-06-14T08:01:00Z,back_in_water,T01\n";
    const Checked checked(files);
    const auto run = run_study(*checked.opened, {});
    const auto* chase = run->fish.front().after_event(uptake::PeakEvent::chase);
    ASSERT_NE(chase, nullptr);
    EXPECT_EQ(iso_text(chase->zero.at), "2026-06-14T20:10:00Z");
}

TEST(Blanks, a_fish_without_one_is_told) {
    auto files = test::small_study();
    files["stays.csv"] =
        test::with(files["stays.csv"], "b1,,tube,blank,2026-06-14T21:04:00Z,2026-06-14T22:00:00Z,done\n", "");
    EXPECT_THAT(Checked(files).said,
                testing::ElementsAre(HasSubstr("no blank of \"tube\" within 72.0 h of 3 stays")));
}

TEST(Doubts, a_line_that_never_came_out_is_told_at_its_line) {
    Study study;
    study::Event in;
    in.kind = study::EventKind::lines_in;
    in.at = parse_iso("2026-06-14T10:00:00Z").value();
    in.rod = "port";
    in.place = {.file = "events.csv", .line = 7};
    study::Event out = in;
    out.kind = study::EventKind::lines_out;
    out.at = parse_iso("2026-06-14T12:00:00Z").value();
    out.place.line = 8;
    study.tables.events = {in, out};
    EXPECT_THAT(doubtful_lines(study), IsEmpty());
    study.tables.events = {in};
    const auto said = doubtful_lines(study);
    ASSERT_EQ(said.size(), 1U);
    EXPECT_EQ(said.front().severity, study::Severity::warning);
    EXPECT_THAT(said.front().error.text(), HasSubstr("events.csv line 7"));
}

} // namespace
} // namespace backeddy::app
