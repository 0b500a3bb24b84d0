// The program as a person meets it: exit statuses, what it says, what it writes and what it leaves alone.

#include <chrono>
#include <csignal>
#include <string>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/why.hpp"
#include "end_to_end/program.hpp"
#include "support/check_rows.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;
using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;
using testing::Not;

const std::vector<std::string> result_names{"uptake_by_spell.csv", "uptake_by_stay.csv", "uptake_by_fish.csv",
                                            "results.json", "report.html"};
/// And the one that may hold the time of the run.
const std::vector<std::string> all_names{"uptake_by_spell.csv", "uptake_by_stay.csv", "uptake_by_fish.csv",
                                         "results.json",        "report.html",        "run.log"};

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

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> out;
    std::istringstream stream(text);
    for (std::string line; std::getline(stream, line);) {
        out.push_back(line);
    }
    return out;
}

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
    EXPECT_EQ(checked.status, 0) << checked.out;
    EXPECT_THAT(checked.out,
                AllOf(HasSubstr("0 fish, 0 stays, 0 raw files"), HasSubstr("nothing to compute yet"),
                      HasSubstr("[[trace]]"), Not(HasSubstr("stops the run"))));
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
                      HasSubstr("0 complaints that stop a run, 0 to beware of")));
    EXPECT_FALSE(fs::exists(study() / "results"));
    const auto ran = run();
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_EQ(ran.err, ""); // no progress where nobody looks at it
    EXPECT_THAT(names_in(study() / "results"), testing::UnorderedElementsAreArray(all_names));
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
    const auto said = lines_of(ran.out);
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
    // What it left behind is swept away by the next run.
    ASSERT_EQ(run().status, 0);
    EXPECT_EQ(results(study() / "results"), later);
    EXPECT_FALSE(fs::exists(study() / "results.new"));
}

// ------------------------------------------------------------------------------------------- the road back

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
    // Nothing of the machine in the results, not even with refused rows in them.
    for (const auto& [name, text] : results(study() / "results")) {
        EXPECT_THAT(text, Not(HasSubstr(scratch_.path().string()))) << name;
    }
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
