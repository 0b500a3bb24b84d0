// The program as a person meets it: exit statuses, what it says, what it writes and what it leaves alone.

#include <chrono>
#include <cmath>
#include <csignal>
#include <string>
#include <thread>

#include <sys/wait.h>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/why.hpp"
#include "end_to_end/program.hpp"
#include "support/check_rows.hpp"
#include "support/lines_of.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;
using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;
using testing::Not;

const std::vector<std::string> result_names{
    "uptake_by_spell.csv", "uptake_by_stay.csv",   "uptake_by_fish.csv", "catch_by_rig.csv",
    "findings.csv",        "results.json",         "report.html",        "condition_by_fish.csv",
    "blood_by_value.csv",  "plate_by_material.csv"};
/// And the one that may hold the time of the run.
const std::vector<std::string> all_names{
    "uptake_by_spell.csv",   "uptake_by_stay.csv", "uptake_by_fish.csv",   "catch_by_rig.csv",
    "findings.csv",          "results.json",       "report.html",          "run.log",
    "condition_by_fish.csv", "blood_by_value.csv", "plate_by_material.csv"};

/// A study in a folder of its own below a scratch folder.
class Commands : public testing::Test {
  protected:
    Commands() : scratch_("commands") {}

    void write(const test::StudyFiles& files) {
        for (const auto& [name, bytes] : files) {
            scratch_.write("study/" + name, bytes);
        }
    }
    [[nodiscard]] fs::path study() const { return scratch_.path() / "study"; }
    test::Ran program(const std::vector<std::string>& words) { return test::run_program(scratch_, words); }
    test::Ran check() { return program({"check", study().string()}); }
    test::Ran run() { return program({"run", study().string()}); }
    [[nodiscard]] test::StudyFiles results(const fs::path& folder) const {
        test::StudyFiles out;
        for (const auto& name : result_names) {
            out[name] = read_file(folder / name).value_or("not there");
        }
        return out;
    }
    [[nodiscard]] std::vector<std::string> names_in(const fs::path& folder) const {
        std::vector<std::string> out;
        for (const auto& entry : fs::directory_iterator(folder)) {
            out.push_back(entry.path().filename().string());
        }
        return out;
    }

    test::ScratchFolder scratch_;
};

// ------------------------------------------------------------------------------------------- exit statuses

TEST_F(Commands, usage_that_makes_no_sense_ends_with_2_and_says_what_to_do) {
    for (const auto& words : std::vector<std::vector<std::string>>{
             {}, {"run"}, {"chek", "x"}, {"run", "x", "--threads", "many"}, {"simulate", "x"}}) {
        const auto ran = program(words);
        EXPECT_EQ(ran.status, 2) << (words.empty() ? "" : words[0]) << ran.err;
        EXPECT_EQ(ran.out, "");
        EXPECT_THAT(ran.err, HasSubstr("--help"));
    }
    EXPECT_EQ(program({"--help"}).status, 0);
    EXPECT_EQ(program({"--version"}).status, 0);
}

TEST_F(Commands, a_folder_that_is_no_study_ends_with_1_and_offers_new) {
    const auto ran = program({"run", (scratch_.path() / "nowhere").string()});
    EXPECT_EQ(ran.status, 1);
    EXPECT_THAT(ran.err, AllOf(HasSubstr("study.toml"), HasSubstr("backeddy new")));
}

TEST_F(Commands, new_makes_a_study_that_check_understands_and_says_what_comes_next) {
    const auto made = program({"new", study().string()});
    ASSERT_EQ(made.status, 0) << made.err;
    for (const char* name :
         {"study.toml", "fish.csv", "stays.csv", "assemblies.csv", "raw", "field-sheets.html"}) {
        EXPECT_TRUE(fs::exists(study() / name)) << name;
    }
    const auto checked = check();
    EXPECT_EQ(checked.status, 1) << checked.out;
    EXPECT_THAT(checked.out,
                AllOf(HasSubstr("0 fish, 0 stays, 0 raw files; 1 complaint that stops a run"),
                      HasSubstr("stops the run: stays.csv: no stay: there is nothing to compute"),
                      HasSubstr("[[trace]]")));
    // A run of it is no empty success.
    const auto ran = run();
    EXPECT_EQ(ran.status, 1);
    EXPECT_EQ(ran.out, "");
    EXPECT_THAT(ran.err, AllOf(HasSubstr("there is nothing to compute"), HasSubstr("fill in fish.csv")));
    EXPECT_FALSE(fs::exists(study() / "results"));
    // A second time nothing is written over.
    const auto again = program({"new", study().string()});
    EXPECT_EQ(again.status, 2);
}

TEST_F(Commands, a_clean_study_is_checked_and_run_quietly) {
    write(test::small_study());
    const auto checked = check();
    EXPECT_EQ(checked.status, 0) << checked.out;
    EXPECT_THAT(checked.out,
                AllOf(HasSubstr("raw/boat.csv (trace)"), HasSubstr("25200 rows: 25200 kept, 0 refused"),
                      HasSubstr("column 2 \"o2_mgL\": oxygen in mg/L"),
                      HasSubstr("clock boat: never checked, taken as right; standard uncertainty 5.0 s"),
                      HasSubstr("states of tube in stay s2: from the pump column: 83 sealed spells, usually "
                                "360.0 s; 82 flushes, usually 120.0 s"),
                      HasSubstr("0 complaints that stop a run, 0 to beware of")));
    EXPECT_FALSE(fs::exists(study() / "results"));
    const auto ran = run();
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_EQ(ran.err, ""); // no progress where nobody looks at it
    EXPECT_THAT(names_in(study() / "results"), testing::UnorderedElementsAreArray(all_names));
}

TEST_F(Commands, treatments_can_be_hidden_from_whoever_judges_traces) {
    auto files = test::small_study();
    files["study.toml"] +=
        "[[question]]\nname = \"q\"\noutcome = \"peak_after_capture\"\ncompare = \"rig\"\n";
    files["encounters.csv"] = "encounter,fish,at,method,rig,unhooking,lure_colour\n"
                              "e1,T01,2026-06-14T07:55:00Z,angling,single_hook,in_air,vermilion\n";
    write(files);
    const auto ran = program({"run", study().string(), "--hide-treatment"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_FALSE(fs::exists(study() / "results"));
    const auto hidden = study() / "results-treatment-hidden";
    EXPECT_THAT(names_in(hidden), testing::UnorderedElementsAreArray(all_names));
    const auto read = [](const fs::path& path) { return read_file(path).value_or("not there"); };
    for (const auto* name :
         {"results.json", "report.html", "uptake_by_fish.csv", "catch_by_rig.csv", "findings.csv",
          "condition_by_fish.csv", "blood_by_value.csv", "plate_by_material.csv"}) {
        const auto text = read(hidden / name);
        for (const auto* word : {"single_hook", "in_air", "vermilion", "peak_after_capture against"}) {
            EXPECT_EQ(text.find(word), std::string::npos) << name << " " << word;
        }
    }
    EXPECT_THAT(read(hidden / "results.json"), HasSubstr("treatments are hidden"));
    // The numbers are the same.
    ASSERT_EQ(run().status, 0);
    EXPECT_EQ(read(hidden / "uptake_by_spell.csv"), read(study() / "results/uptake_by_spell.csv"));
    EXPECT_THAT(read(study() / "results/results.json"), HasSubstr("single_hook"));
}

TEST_F(Commands, words_that_could_not_be_written_are_no_success) {
    if (!fs::exists("/dev/full")) {
        GTEST_SKIP() << "no /dev/full here";
    }
    write(test::small_study());
    const auto err = scratch_.path() / "full_err";
    for (const std::vector<std::string>& words : {std::vector<std::string>{"check", study().string()},
                                                  {"run", study().string()},
                                                  {"run", study().string(), "--why", "T01", "resting"},
                                                  {"new", (scratch_.path() / "fresh").string()},
                                                  {"--version"},
                                                  {"--help"}}) {
        const ::pid_t child = test::start_program(words, "/dev/full", err);
        int state = 0;
        ::waitpid(child, &state, 0);
        EXPECT_TRUE(WIFEXITED(state) && WEXITSTATUS(state) == 1) << words.front();
        EXPECT_THAT(read_file(err).value(), AllOf(HasSubstr("standard output could not be written"),
                                                  Not(HasSubstr("fault of the program"))))
            << words.front();
    }
}

// ------------------------------------------------------------------------------------------- a messy study

test::StudyFiles messy_study() {
    test::StudyFiles files;
    files["study.toml"] = "[study]\n"                     // 1
                          "title = \"Two loggers\"\n"     // 2
                          "zone = \"Europe/Oslo\"\n"      // 3
                          "[water]\n"                     // 4
                          "salinty = 31.0\n"              // 5
                          "pressure_kpa = 101.0\n"        // 6
                          "[[trace]]\n"                   // 7
                          "name = \"boat\"\n"             // 8
                          "files = [\"raw/boat.csv\"]\n"  // 9
                          "[[trace]]\n"                   // 10
                          "name = \"shore\"\n"            // 11
                          "files = [\"raw/shore.txt\"]\n" // 12
                          "date_order = \"day_month_year\"\n";
    files["fish.csv"] = "fish,species,mass_g,fork_lenght_mm\n"
                        "A1,Salmo trutta,512,360\n"
                        "A2,Salmo trutta,51200,355\n";
    files["stays.csv"] = "stay,fish,assembly,role,from,to\n"
                         "s1,A1,tube,after_capture,2026-06-14 10:05,2026-06-14 11:00\n"
                         "s2,A2,shore_1,rest,2026-06-14 12:00,2026-06-13 12:30\n"
                         "s3,A2,shore_1,rest,2026-06-14 14:00,2026-06-14 15:00\n";
    files["events.csv"] = "at,event,fish\n"
                          "2026-06-14 09:55,hookup,A1\n"
                          "2026-14-06 10:00,landed,A1\n";
    files["assemblies.csv"] = "assembly,chamber_volume_l,sensor,oxygen,temperature,pump\n"
                              "tube,10.5,OX-1,boat:o2_mgL,boat:temp_C,boat:pump\n"
                              "shore_1,28,OX-2,shore:O2_A,shore:Temp,\n";
    files["calibrations.csv"] = "sensor,at,point,reading,unit,temperature_c\n"
                                "OX-1,2026-06-14 08:00,air,9.1,degC,12\n";
    std::string boat = "time,o2_mgL,temp_C,pump\n";
    for (int i = 0; i < 600; ++i) {
        boat += fmt::format("2026-06-14T{:02}:{:02}:{:02}Z,{:.3f},12.0,{}\n", 8 + (i / 360), (i / 6) % 60,
                            (i * 10) % 60, 9.0 - (0.01 * (i % 30)), i % 48 < 12 ? 1 : 0);
    }
    files["raw/boat.csv"] = boat + "2026-06-14T09:4"; // torn
    std::string shore = "Zeit;O2_1 (mg/L);Temp (°C)\n";
    for (int i = 0; i < 100; ++i) {
        shore += fmt::format("14.06.2026 14:{:02}:{:02};8,{:02};12,1\n", i / 60, i % 60, 99 - i);
    }
    files["raw/shore.txt"] = shore;
    files["raw/copy of boat.csv"] = boat; // named by nobody
    return files;
}

TEST_F(Commands, every_complaint_of_a_messy_study_names_its_place_what_was_found_and_what_to_do) {
    write(messy_study());
    const auto ran = check();
    EXPECT_EQ(ran.status, 1);
    const auto said = test::lines_of(ran.out);
    const auto complaint = [&](const std::vector<std::string>& parts) {
        std::vector<testing::Matcher<std::string>> wanted;
        for (const auto& part : parts) {
            wanted.emplace_back(HasSubstr(part));
        }
        EXPECT_THAT(said, Contains(testing::AllOfArray(wanted)));
    };
    complaint({"stops the run: study.toml line 5", "\"salinty\"", "did you mean \"salinity\"?"});
    complaint({"fish.csv line 1, column \"fork_lenght_mm\"", "\"fork_length_mm\"", "rename it"});
    complaint({"stops the run: stays.csv line 3, column \"to\"", "before it starts", "a later \"to\"",
               "a day off"});
    complaint({"stops the run: stays.csv line 4, column \"fish\"", "\"A2\" weighs 51200 g", "holds 28 L",
               "look at mass_g (in g)"});
    complaint({"stops the run: events.csv line 2, column \"event\"", "\"hookup\"", "did you mean hook_up?"});
    complaint({"stops the run: events.csv line 3, column \"at\"", "\"2026-14-06 10:00\" is not a time",
               "correct the date"});
    complaint({"stops the run: calibrations.csv line 2, column \"unit\"", "\"degC\"", "% air",
               "write the reading as the meter shows it"});
    complaint({"stops the run: assemblies.csv line 3, column \"oxygen\"", "no oxygen channel \"O2_A\"",
               "O2_1 (mg/L)", "did you mean \"shore:O2_1\"?"});
    complaint({"refused: raw/boat.csv line 602", "1 field", "4 fields", "probably cut", "2026-06-14T09:4"});
    complaint({"beware: raw/copy of boat.csv", "no [[trace]]", "move it out of raw/"});
    // And what was understood of both loggers.
    EXPECT_THAT(ran.out,
                AllOf(HasSubstr("601 rows: 600 kept, 1 refused"), HasSubstr("decimal: comma"),
                      HasSubstr("column 2 \"O2_1 (mg/L)\": oxygen in mg/L"), HasSubstr("zone: Europe/Oslo")));
}

// Each row is well written; together they cannot be.
test::StudyFiles contradictory_study() {
    auto files = test::small_study();
    files["fish.csv"] += "T02,Salmo trutta,480,2\n";
    files["stays.csv"] += "s4,T02,tube,rest,2026-06-14T20:30:00Z,2026-06-14T20:50:00Z,done\n"    // line 6
                          "s5,T01,tube_2,rest,2026-06-14T19:00:00Z,2026-06-14T19:30:00Z,done\n"; // 7
    files["assemblies.csv"] = "assembly,from,to,chamber_volume_l,sensor,oxygen,temperature,pump\n"
                              "tube,,2026-06-14T14:00:00Z,10,OX-1,boat:o2_mgL,boat:temp_C,boat:pump\n"
                              "tube,2026-06-14T14:00:00Z,,10,OX-3,boat:o2_mgL,boat:temp_C,boat:pump\n"
                              "tube_2,,,10,OX-2,boat2:o2_mgL,boat2:temp_C,boat2:pump\n";
    files["study.toml"] += "[[trace]]\nname = \"boat2\"\nfiles = [\"raw/second.csv\"]\n";
    files["raw/second.csv"] = files["raw/boat.csv"];
    files["events.csv"] = "at,at_uncertainty_s,event,fish,stay,who\n"
                          "2026-06-14T08:01:00Z,2,back_in_water,T01,,deck\n"
                          "2026-06-14T12:00:00Z,2,disturbance,T01,s3,shore\n"; // line 3: in s2, not s3
    files["decisions.csv"] = "stay,moment,act,value,reason,author,at\n"
                             "s2,2026-06-14T12:01:00Z,exclude,,it jumped,A. Keen,\n" // in a flush
                             "s2,2026-06-14T12:04:00Z,exclude,,it jumped,A. Keen,\n";
    return files;
}

TEST_F(Commands, rows_that_contradict_each_other_are_complaints_with_place_and_remedy) {
    write(contradictory_study());
    const auto ran = check();
    EXPECT_EQ(ran.status, 1);
    const auto said = test::lines_of(ran.out);
    const auto complaint = [&](const std::string& beginning, const std::vector<std::string>& parts) {
        std::vector<testing::Matcher<std::string>> wanted{testing::StartsWith(beginning)};
        for (const auto& part : parts) {
            wanted.emplace_back(HasSubstr(part));
        }
        EXPECT_THAT(said, Contains(testing::AllOfArray(wanted)));
    };
    complaint("stops the run: stays.csv line 6, column \"assembly\"",
              {"\"tube\"", "\"s3\" (line 4)", "\"s4\"", "at once", "2026-06-14T20:30:00Z"});
    complaint("stops the run: stays.csv line 7, column \"fish\"",
              {"\"T01\"", "\"s2\" (line 3)", "\"s5\"", "at once"});
    complaint("stops the run: events.csv line 3, column \"at\"",
              {"2026-06-14T12:00:00Z", "\"s3\"", "2026-06-14T20:10:00Z to 2026-06-14T21:02:00Z"});
    complaint("beware: stays.csv line 3, column \"assembly\"",
              {"splits at 2026-06-14T14:00:00Z", "from \"OX-1\" to \"OX-3\"", "no slope crosses it"});
    complaint("beware: decisions.csv line 2, column \"moment\"",
              {"exclude at 2026-06-14T12:01:00Z lies in no sealed spell of the stay \"s2\"",
               "this decision changed nothing", "uptake_by_spell.csv"});
    EXPECT_THAT(ran.out, Not(HasSubstr("decisions.csv line 3")));
    // The readings of both sides of the swap are seen, each with its own spells.
    EXPECT_THAT(ran.out, HasSubstr("states of tube_2 in stay s5: from the pump column"));
}

TEST_F(Commands, check_shows_how_each_clock_was_put_right) {
    auto files = test::small_study();
    files["clock_checks.csv"] = "clock,shown,true,uncertainty_s,how\n"
                                "boat,2026-06-14T07:00:00Z,2026-06-14T06:59:30Z,1,radio clock\n"
                                "boat,2026-06-14T23:00:00Z,2026-06-14T22:59:30Z,1,radio clock\n";
    write(files);
    // Half a minute fast all day; two checks of 1 s each leave 1/sqrt(2) s halfway between them.
    EXPECT_THAT(check().out,
                HasSubstr("clock boat: put right by its checks, - 30.0 s in the file's middle; standard "
                          "uncertainty 0.71 s"));
}

TEST_F(Commands, check_shows_the_states_that_it_had_to_find_with_their_boundaries) {
    auto files = test::small_study();
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:pump,0,15", ",0,15");
    write(files);
    const auto ran = check();
    EXPECT_EQ(ran.status, 0) << ran.out;
    // Sealed from 08:10 to 08:16 and so on: the first boundary of the boat's hour is the end of its flush.
    EXPECT_THAT(
        ran.out,
        AllOf(HasSubstr("states of tube in stay s2: found in the trace: 83 sealed spells, usually "),
              testing::ContainsRegex("16[0-9] boundaries found, standard error usually 0[.0-9]* s, at "
                                     "most [.0-9]+ s: (flush|sealed) from 2026-06-14T09:"),
              HasSubstr("flushes were alike, 120 s")));
}

TEST_F(Commands, a_stay_without_readings_or_without_its_source_of_states_is_said_before_a_run) {
    auto files = test::small_study();
    files["stays.csv"] += "s9,T01,tube,rest,2026-06-20T09:10:00Z,2026-06-20T20:04:00Z,done\n";
    files["study.toml"] += "[states]\nsource = \"timetable\"\n";
    write(files);
    const auto said = test::lines_of(check().out);
    EXPECT_THAT(said, Contains(AllOf(HasSubstr("beware: stays.csv line 6"), HasSubstr("s9 has no readings"),
                                     HasSubstr("clock and zone"))));
    EXPECT_THAT(said, Contains(AllOf(HasSubstr("beware: "), HasSubstr("stays.csv line 2"),
                                     HasSubstr("no timetable for this stay"),
                                     HasSubstr("ask for another in [states]"))));
}

TEST_F(Commands, run_refuses_a_messy_study_and_writes_nothing) {
    write(messy_study());
    const auto before = names_in(study());
    const auto ran = run();
    EXPECT_EQ(ran.status, 1);
    EXPECT_EQ(ran.out, "");
    EXPECT_THAT(ran.err, AllOf(HasSubstr("stays.csv line 3"), HasSubstr("nothing was computed"),
                               HasSubstr("backeddy check")));
    EXPECT_THAT(names_in(study()), testing::UnorderedElementsAreArray(before));
}

// ------------------------------------------------------------------------------------------- where results
// go

TEST_F(Commands, results_never_go_onto_the_study_or_its_raw_files) {
    write(test::small_study());
    const auto before = names_in(study());
    for (const auto& out : {study(), study() / ".", study() / "raw", scratch_.path(), fs::path("/")}) {
        const auto ran = program({"run", study().string(), "--out", out.string()});
        EXPECT_EQ(ran.status, 2) << out;
        EXPECT_THAT(ran.err, HasSubstr("--out")) << out;
    }
    fs::create_directory_symlink(study(), scratch_.path() / "link");
    EXPECT_EQ(program({"run", study().string(), "--out", (scratch_.path() / "link").string()}).status, 2);
    EXPECT_THAT(names_in(study()), testing::UnorderedElementsAreArray(before));
}

TEST_F(Commands, a_folder_of_results_is_known_by_what_it_holds_and_those_beside_it_are_left_alone) {
    write(test::small_study());
    scratch_.write("study/results.new/thesis", "mine");
    scratch_.write("study/results.old/thesis", "mine");
    scratch_.write("mine/report.html/chapter", "mine");
    scratch_.write("mine/results.json", "mine");
    ASSERT_EQ(run().status, 0);
    ASSERT_EQ(run().status, 0);
    EXPECT_EQ(read_file(study() / "results.new/thesis").value_or("gone"), "mine");
    EXPECT_EQ(read_file(study() / "results.old/thesis").value_or("gone"), "mine");
    const auto ran = program({"run", study().string(), "--out", (scratch_.path() / "mine").string()});
    EXPECT_EQ(ran.status, 2);
    EXPECT_EQ(read_file(scratch_.path() / "mine/report.html/chapter").value_or("gone"), "mine");
    EXPECT_EQ(read_file(scratch_.path() / "mine/results.json").value_or("gone"), "mine");
}

TEST_F(Commands, an_empty_name_is_wrong_usage_and_writes_nothing) {
    write(test::small_study());
    for (const auto& words : std::vector<std::vector<std::string>>{
             {"new", ""}, {"check", ""}, {"run", ""}, {"run", study().string(), "--out", ""}}) {
        const auto ran = program(words);
        EXPECT_EQ(ran.status, 2) << words[0];
        EXPECT_THAT(ran.err, HasSubstr("the name is empty")) << words[0];
        EXPECT_EQ(ran.out, "");
    }
    EXPECT_FALSE(fs::exists(study() / "results"));
}

TEST_F(Commands, a_seed_that_is_no_seed_and_a_folder_that_is_taken_are_wrong_usage) {
    const std::string plan = std::string(BACKEDDY_SOURCE_DIR) + "/demo/demo.toml";
    const std::string out = (scratch_.path() / "made").string();
    for (const char* seed : {"-1", "18446744073709551616", "1.5", "", "x"}) {
        const auto ran = program({"simulate", plan, "--out", out, "--seed=" + std::string(seed)});
        EXPECT_EQ(ran.status, 2) << seed;
        EXPECT_FALSE(fs::exists(out)) << seed;
    }
    scratch_.write("made/mine", "mine");
    EXPECT_EQ(program({"simulate", plan, "--out", out}).status, 2);
    EXPECT_EQ(program({"new", out}).status, 2);
    EXPECT_EQ(program({"simulate", plan, "--out", ""}).status, 2);
}

TEST_F(Commands, what_comes_next_can_be_pasted_into_a_shell) {
    const auto made = program({"new", (scratch_.path() / "my season's").string()});
    ASSERT_EQ(made.status, 0) << made.err;
    EXPECT_THAT(made.out,
                HasSubstr("next: backeddy check '" + (scratch_.path() / "my season'\\''s").string() + "'\n"));
}

TEST_F(Commands, two_runs_at_once_leave_one_whole_set_and_both_end_well) {
    write(test::small_study());
    ASSERT_EQ(run().status, 0);
    const auto alone = results(study() / "results");
    for (int i = 0; i < 6; ++i) {
        const auto start = [&](const char* out) {
            return test::start_program({"run", study().string()}, scratch_.path() / out,
                                       scratch_.path() / "err");
        };
        const auto one = start("out1");
        const auto two = start("out2");
        for (const auto child : {one, two}) {
            int state = 0;
            ::waitpid(child, &state, 0);
            EXPECT_TRUE(WIFEXITED(state) && WEXITSTATUS(state) == 0) << i;
        }
        EXPECT_EQ(results(study() / "results"), alone) << i;
    }
}

TEST_F(Commands, a_stranger_s_file_in_the_results_folder_is_left_alone) {
    write(test::small_study());
    ASSERT_EQ(run().status, 0);
    const auto before = results(study() / "results");
    scratch_.write("study/results/thesis.txt", "mine");
    scratch_.write("study/fish.csv", "fish,mass_g\nT01,600\n");
    const auto ran = run();
    EXPECT_EQ(ran.status, 2);
    EXPECT_THAT(ran.err, AllOf(HasSubstr("thesis.txt"), HasSubstr("--out")));
    EXPECT_EQ(results(study() / "results"), before);
    EXPECT_EQ(read_file(study() / "results/thesis.txt").value(), "mine");
    EXPECT_EQ(program({"run", study().string(), "--out", (scratch_.path() / "elsewhere").string()}).status,
              0);
    EXPECT_THAT(names_in(scratch_.path() / "elsewhere"), testing::UnorderedElementsAreArray(all_names));
}

TEST_F(Commands, killed_at_any_moment_it_leaves_the_earlier_results_or_the_new_ones_whole) {
    write(test::small_study());
    ASSERT_EQ(run().status, 0);
    const auto earlier = results(study() / "results");
    scratch_.write("study/fish.csv", "fish,species,mass_g\nT01,Salmo trutta,600\n");
    const auto began = std::chrono::steady_clock::now();
    ASSERT_EQ(program({"run", study().string(), "--out", (scratch_.path() / "whole").string()}).status, 0);
    const auto whole_time = std::chrono::steady_clock::now() - began;
    const auto later = results(scratch_.path() / "whole");
    ASSERT_NE(earlier, later);
    int killed = 0;
    constexpr int steps = 24;
    for (int i = 0; i < steps; ++i) {
        const auto child =
            test::start_program({"run", study().string()}, scratch_.path() / "out", scratch_.path() / "err");
        std::this_thread::sleep_for(whole_time * (i + 1) / steps);
        ::kill(child, SIGKILL);
        int state = 0;
        ::waitpid(child, &state, 0);
        killed += WIFSIGNALED(state) ? 1 : 0;
        const auto now = results(study() / "results");
        EXPECT_TRUE(now == earlier || now == later) << "killed after " << i + 1 << " of " << steps;
    }
    EXPECT_GT(killed, steps / 3);
    // What it left behind is swept away by the next run; an empty folder may stay of one that had just begun.
    ASSERT_EQ(run().status, 0);
    EXPECT_EQ(results(study() / "results"), later);
    for (const auto& name : names_in(study())) {
        EXPECT_TRUE(!name.starts_with(".results.new") || fs::is_empty(study() / name)) << name;
    }
}

// ------------------------------------------------------------------------------------------- the road back

TEST_F(Commands, follow_answers_again_after_each_save_and_keeps_the_results_through_a_bad_one) {
    write(test::small_study());
    const auto out = scratch_.path() / "said_out";
    const auto err = scratch_.path() / "said_err";
    const ::pid_t child = test::start_program({"run", study().string(), "--follow"}, out, err);
    const auto waits_for = [](const std::filesystem::path& file, const std::string& words) {
        for (int i = 0; i < 600; ++i) {
            if (read_file(file).value_or("").find(words) != std::string::npos) {
                return true;
            }
            std::this_thread::sleep_for(std::chrono::milliseconds(100));
        }
        return false;
    };
    EXPECT_TRUE(waits_for(out, "following"));
    const auto table = scratch_.path() / "study/results/uptake_by_fish.csv";
    const auto first = read_file(table).value();
    const std::string header = "stay,moment,act,value,reason,author,at\n";
    scratch_.write("study/decisions.csv", header + "nowhere,,exclude,,slip,A. Keen,\n");
    EXPECT_TRUE(waits_for(err, "\"nowhere\" is not in stays.csv"));
    EXPECT_EQ(read_file(table).value(), first);
    scratch_.write("study/decisions.csv", header + "s3,,exclude,,wrong tube,A. Keen,\n");
    EXPECT_TRUE(waits_for(out, "decisions.csv changed; answered in"));
    EXPECT_NE(read_file(table).value(), first);
    ::kill(child, SIGTERM);
    int state = 0;
    ::waitpid(child, &state, 0);
    EXPECT_TRUE(WIFSIGNALED(state));
}

TEST_F(Commands, why_prints_the_road_of_every_metric_and_writes_nothing) {
    write(test::small_study());
    for (const auto& metric : app::why_metrics()) {
        const auto ran = program({"run", study().string(), "--why", "T01", metric});
        EXPECT_EQ(ran.status, 0) << metric << ": " << ran.err;
        EXPECT_THAT(ran.out, HasSubstr("T01")) << metric;
        if (metric != "scope") {
            EXPECT_THAT(ran.out, testing::ContainsRegex("raw/boat.csv lines [0-9]+ to [0-9]+")) << metric;
        }
    }
    EXPECT_FALSE(fs::exists(study() / "results"));
    const auto fish = program({"run", study().string(), "--why", "T1", "resting"});
    EXPECT_EQ(fish.status, 2);
    EXPECT_THAT(fish.err, AllOf(HasSubstr("no fish \"T1\""), HasSubstr("did you mean \"T01\"?")));
    const auto metric = program({"run", study().string(), "--why", "T01", "restng"});
    EXPECT_EQ(metric.status, 2);
    EXPECT_THAT(metric.err, AllOf(HasSubstr("peak_after_capture"), HasSubstr("did you mean \"resting\"?")));
}

TEST_F(Commands, why_says_the_reason_where_there_is_no_number) {
    auto files = test::small_study();
    files["fish.csv"] += "T02,Salmo trutta,700,2\n";
    write(files);
    const auto ran = program({"run", study().string(), "--why", "T02", "peak_after_chase"});
    EXPECT_EQ(ran.status, 1);
    EXPECT_THAT(ran.err, AllOf(HasSubstr("T02 has no peak_after_chase"), HasSubstr("no stay of that role")));
}

// ------------------------------------------------------------------------------------------- hostile input

std::size_t count_of(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) {
        ++count;
    }
    return count;
}

TEST_F(Commands, names_that_are_markup_or_formulas_harm_nothing) {
    const std::string markup = "</script><img src=x onerror=alert(1)>";
    const std::string formula = "=1+1";
    auto files = test::small_study();
    for (const char* name : {"fish.csv", "encounters.csv", "stays.csv", "events.csv"}) {
        auto& text = files[name];
        for (auto at = text.find("T01"); at != std::string::npos; at = text.find("T01", at + markup.size())) {
            text.replace(at, 3, markup);
        }
    }
    files["fish.csv"] += formula + ",@SUM(A1),700,2\n";
    files["study.toml"] =
        test::with(files["study.toml"], "One fish of nowhere", "</title><script>alert(2)</script>");
    write(files);
    const auto ran = run();
    ASSERT_EQ(ran.status, 0) << ran.err;
    const auto made = results(study() / "results");
    const auto& page = made.at("report.html");
    EXPECT_EQ(count_of(page, "<img src=x"), 0U);
    EXPECT_EQ(count_of(page, "<script>alert"), 0U);
    EXPECT_EQ(count_of(page, "</script><img"), 0U);
    const auto fish = test::check_rows((study() / "results/uptake_by_fish.csv").string());
    ASSERT_EQ(fish.size(), 2U);
    for (const auto& row : fish) {
        for (const auto& [column, cell] : row) {
            EXPECT_FALSE(!cell.empty() && std::string("=+@").find(cell.front()) != std::string::npos)
                << column << ": " << cell;
        }
    }
    EXPECT_EQ(fish.at(0).at("fish"), markup);
    EXPECT_THAT(fish.at(1).at("fish"), HasSubstr(formula));
}

TEST_F(Commands, nul_bytes_in_a_raw_file_cost_their_rows_alone) {
    auto files = test::small_study();
    auto& raw = files["raw/boat.csv"];
    // 700 rows in: a block of zeros, as a card leaves it when the power fails.
    const auto at = raw.find("2026-06-14T12:00:00Z");
    raw.replace(at, 40, std::string(40, '\0'));
    write(files);
    const auto checked = check();
    EXPECT_EQ(checked.status, 0) << checked.out;
    EXPECT_THAT(checked.out, AllOf(HasSubstr("refused: raw/boat.csv line "), HasSubstr("\\x00")));
    const auto ran = run();
    EXPECT_EQ(ran.status, 0) << ran.err;
    // Every refused row with its line, its reason and its text; gone again with the rows.
    const auto refused = test::check_rows((study() / "results/refused_rows.csv").string());
    ASSERT_EQ(refused.size(), 1U);
    EXPECT_EQ(refused[0].at("file"), "raw/boat.csv");
    EXPECT_EQ(refused[0].at("first_line"), refused[0].at("last_line"));
    EXPECT_THAT(checked.out, HasSubstr("raw/boat.csv line " + refused[0].at("first_line") + ": "));
    EXPECT_THAT(refused[0].at("reason"), HasSubstr("NUL bytes"));
    EXPECT_THAT(refused[0].at("raw"), HasSubstr("\\x00"));
    // Nothing of the machine in the results, not even with refused rows in them.
    for (const auto& [name, text] : results(study() / "results")) {
        EXPECT_THAT(text, Not(HasSubstr(scratch_.path().string()))) << name;
    }
    scratch_.write("study/raw/boat.csv", test::small_study().at("raw/boat.csv"));
    ASSERT_EQ(run().status, 0);
    EXPECT_FALSE(fs::exists(study() / "results/refused_rows.csv"));
}

// ------------------------------------------------------------------------------------------- day or month

// Two hours of the small study's readings, a row a minute, with the date as a logger writes it.
std::string dated_trace(const std::string& date) {
    std::string out = "time,o2_mgL,temp_C,pump\n";
    for (const auto& row : test::small_rows()) {
        if (std::fmod(row.second, 60.0) == 0.0 && row.second < test::second_of(10, 0)) {
            out += fmt::format("{} {},{:.4f},{:.3f},{}\n", date, test::clock_text(row.second),
                               row.oxygen_mg_per_l, row.temperature_c, row.pump);
        }
    }
    return out;
}

TEST_F(Commands, a_file_whose_dates_have_two_readings_goes_by_the_others_of_its_trace) {
    auto files = test::small_study();
    files.erase("raw/boat.csv");
    files["raw/boat_1.csv"] = dated_trace("01/12/2026");
    files["raw/boat_2.csv"] = dated_trace("02/12/2026");
    write(files);
    // Alone: a complaint each, naming both readings.
    auto ran = check();
    EXPECT_EQ(ran.status, 1);
    EXPECT_THAT(ran.out,
                AllOf(HasSubstr("stops the run: raw/boat_1.csv"),
                      HasSubstr("\"01/12/2026\" may be 1 December 2026 (day first) or 12 January 2026 "
                                "(month first)"),
                      HasSubstr("stops the run: raw/boat_2.csv")));
    // Another file of the trace tells.
    scratch_.write("study/raw/boat_3.csv", dated_trace("13/12/2026"));
    ran = check();
    EXPECT_THAT(ran.out, AllOf(HasSubstr("date order: day_month_year (guessed: as raw/boat_3.csv shows: "
                                         "13/12/2026 is no date month first)"),
                               HasSubstr("2026-12-01T08:00:00Z to 2026-12-01T09:59:00Z"),
                               HasSubstr("2026-12-02T08:00:00Z to 2026-12-02T09:59:00Z"),
                               Not(HasSubstr("may be 1 December"))));
    // Or a file of another trace on the same clock.
    fs::rename(study() / "raw/boat_3.csv", study() / "raw/other.csv");
    scratch_.write("study/study.toml", files["study.toml"] +
                                           "clock = \"boat\"\n[[trace]]\nname = \"two\"\n"
                                           "files = [\"raw/other.csv\"]\nclock = \"boat\"\n");
    EXPECT_THAT(check().out, HasSubstr("date order: day_month_year (guessed: as raw/other.csv shows"));
    // But not one on another clock.
    scratch_.write("study/study.toml", files["study.toml"] + "[[trace]]\nname = \"two\"\n"
                                                             "files = [\"raw/other.csv\"]\n");
    EXPECT_THAT(check().out, HasSubstr("may be 1 December"));
}

TEST_F(Commands, files_of_one_trace_that_prove_opposite_orders_are_a_complaint_that_names_both) {
    auto files = test::small_study();
    files.erase("raw/boat.csv");
    files["raw/boat_1.csv"] = dated_trace("01/12/2026");
    files["raw/boat_2.csv"] = dated_trace("13/12/2026");
    files["raw/boat_3.csv"] = dated_trace("12/14/2026");
    write(files);
    const auto ran = check();
    EXPECT_EQ(ran.status, 1);
    EXPECT_THAT(
        test::lines_of(ran.out),
        Contains(AllOf(testing::StartsWith("stops the run: raw/boat_3.csv"),
                       HasSubstr("raw/boat_2.csv proves day_month_year (13/12/2026 is no date month first)"),
                       HasSubstr("raw/boat_3.csv proves month_day_year (12/14/2026 is no date day first)"),
                       HasSubstr("a [[trace]] each"))));
    // The one that could be either is not decided by a majority.
    EXPECT_THAT(ran.out, HasSubstr("\"01/12/2026\" may be"));
}

TEST_F(Commands, an_unreadable_raw_file_is_named_and_the_rest_is_shown) {
    auto files = test::small_study();
    files["raw/boat_2.csv"] = std::string_view("\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 16);
    write(files);
    const auto ran = check();
    EXPECT_EQ(ran.status, 1);
    EXPECT_THAT(ran.out, AllOf(HasSubstr("stops the run: raw/boat_2.csv"), HasSubstr("25200 kept")));
    EXPECT_EQ(run().status, 1);
}

} // namespace
} // namespace backeddy
