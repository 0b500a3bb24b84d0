// From a small study's files to chambers, stays, fish and the road back, each spoilt in one way.

#include <cmath>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/run.hpp"
#include "app/why.hpp"
#include "base/number_text.hpp"
#include "support/small_study.hpp"
#include "water/oxygen.hpp"

namespace backeddy::app {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;

/// A study's files, opened. Kept where they are for as long as the value lives.
struct Opened {
    explicit Opened(const test::StudyFiles& files) : folder(unused_name()) {
        test::write_all(folder, files);
        auto read = open_study(folder.path(), {});
        EXPECT_TRUE(read) << read.error().text();
        study = std::make_unique<OpenedStudy>(std::move(*read));
    }
    [[nodiscard]] std::vector<std::string> stopping() const {
        std::vector<std::string> out;
        for (const auto& complaint : study->complaints) {
            if (complaint.severity == study::Severity::stops_the_run) {
                out.push_back(complaint.error.text());
            }
        }
        return out;
    }
    [[nodiscard]] Chambers chambers() const { return build_chambers(study->study, study->traces, {}); }
    [[nodiscard]] std::unique_ptr<StudyRun> run() const {
        EXPECT_THAT(stopping(), testing::IsEmpty());
        return run_study(*study, {});
    }

    static std::string unused_name() {
        static int count = 0;
        return "road_" + std::to_string(++count);
    }

    test::ScratchFolder folder;
    std::unique_ptr<OpenedStudy> study; ///< good for one call of chambers() or run(), which free its streams
};

const Opened& plain() {
    static const Opened value{test::small_study()};
    return value;
}
const StudyRun& plain_run() {
    static const std::unique_ptr<StudyRun> value = plain().run();
    return *value;
}

const StayAnswer& stay(const StudyRun& run, const std::string& id) {
    for (const auto& one : run.stays.list) {
        if (one.stay->id.text() == id) {
            return one;
        }
    }
    throw std::runtime_error("no stay " + id);
}
const uptake::SpellUptake& spell(const StudyRun& run, const std::string& id, std::size_t index) {
    return stay(run, id).uptake->spells.at(index).answer;
}

/// A later chapter of study.toml's [[trace]].
test::StudyFiles with_trace_setting(const std::string& lines) {
    auto files = test::small_study();
    files["study.toml"] += lines;
    return files;
}

std::string without_columns(const std::vector<test::SmallRow>& rows) {
    std::string out = "time,o2_mgL\n";
    for (const auto& row : rows) {
        out += fmt::format("2026-06-14T{}Z,{:.4f}\n", test::clock_text(row.second), row.oxygen_mg_per_l);
    }
    return out;
}

// ------------------------------------------------------------------------------------------- the fish's
// truth

TEST(Road, uptake_of_each_sealed_spell_is_what_the_fish_took) {
    const test::SmallTruth truth;
    for (const auto* id : {"s1", "s2", "s3"}) {
        for (const auto& one : stay(plain_run(), id).uptake->spells) {
            const auto& answer = one.answer;
            const double second =
                std::fmod(static_cast<double>(answer.middle().unix_nanoseconds()) * 1e-9, 86400.0);
            // The chamber holds 10 L, the fish takes 0.5: water 9.5 L; microbes 0.06 mg/L/h of which a line
            // in time between no blank before and one after gives all. The mean of an exponential over six
            // minutes exceeds its middle by (kt)^2/24 = 0.1 %.
            const double expected = test::small_uptake_mg_per_h(truth, second);
            EXPECT_NEAR(answer.uptake_mg_per_h.value() / expected, 1.0, 0.01)
                << id << " " << iso_text(answer.from);
        }
    }
    // 81 whole ones, and one cut short at either end of the stay.
    EXPECT_EQ(stay(plain_run(), "s2").uptake->spells.size(), 83U);
}

// ------------------------------------------------------------------------------------------- chambers

TEST(Chambers, temperature_of_another_logger_is_carried_to_the_oxygen_s_times) {
    auto files = test::small_study();
    files["raw/boat.csv"] = without_columns(test::small_rows());
    files["study.toml"] += "[[trace]]\nname = \"water\"\nfiles = [\"raw/water.csv\"]\n";
    // From 12.0 at 08:00 to 13.0 at 12:00, every 20 min; then nothing until 14:00.
    std::string water = "time,temp_C\n";
    for (int i = 0; i <= 12; ++i) {
        water +=
            fmt::format("2026-06-14T{:02}:{:02}:00Z,{:.5f}\n", 8 + (i / 3), (i % 3) * 20, 12.0 + (i / 12.0));
    }
    water += "2026-06-14T14:00:00Z,13\n2026-06-14T14:20:00Z,13\n";
    files["raw/water.csv"] = water;
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:temp_C,boat:pump", "water:temp_C,");
    const Opened opened(files);
    const auto chambers = opened.chambers();
    ASSERT_EQ(chambers.list.size(), 1U);
    const auto& trace = chambers.list[0].trace;
    std::size_t between = 0;
    std::size_t in_the_hole = 0;
    for (std::size_t i = 0; i < trace.rows(); ++i) {
        const double hour = std::fmod(static_cast<double>(trace.times_ns[i]) * 1e-9, 86400.0) / 3600.0;
        if (hour <= 12.0) {
            ASSERT_NEAR(trace.temperature_celsius[i], 12.0 + ((hour - 8.0) / 4.0), 2e-5);
            ++between;
        } else if (hour > 12.01 && hour < 14.0) {
            ASSERT_TRUE(std::isnan(trace.temperature_celsius[i])) << hour;
            ++in_the_hole;
        }
    }
    EXPECT_EQ(between, 7201U);
    EXPECT_GT(in_the_hole, 3500U);
    EXPECT_THAT(chambers.list[0].notes,
                Contains(HasSubstr("no temperature, salinity or pressure near enough")));
    EXPECT_GE(chambers.list[0].without_conditions, in_the_hole);
}

TEST(Chambers, a_pump_log_of_its_own_gives_the_same_spells_as_a_pump_column) {
    auto files = test::small_study();
    std::string log = "time,pump\n";
    int last = -1;
    std::string readings = "time,o2_mgL,temp_C\n";
    for (const auto& row : test::small_rows()) {
        readings += fmt::format("2026-06-14T{}Z,{:.4f},{:.3f}\n", test::clock_text(row.second),
                                row.oxygen_mg_per_l, row.temperature_c);
        if (row.pump != last) {
            log += fmt::format("2026-06-14T{}Z,{}\n", test::clock_text(row.second), row.pump);
            last = row.pump;
        }
    }
    files["raw/boat.csv"] = readings;
    files["raw/pump.csv"] = log;
    files["study.toml"] += "[[trace]]\nname = \"pumps\"\nfiles = [\"raw/pump.csv\"]\n";
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:pump", "pumps:pump");
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_EQ(stay(*run, "s2").uptake->states_from, uptake::StatesFrom::pump_log);
    ASSERT_EQ(stay(*run, "s2").uptake->spells.size(), stay(plain_run(), "s2").uptake->spells.size());
    for (const std::size_t i : {0U, 40U, 80U}) {
        EXPECT_NEAR(spell(*run, "s2", i).slope_mg_per_l_h, spell(plain_run(), "s2", i).slope_mg_per_l_h,
                    1e-3);
    }
}

TEST(Chambers, a_calibration_in_per_cent_scales_a_logger_of_milligrams) {
    auto files = test::small_study();
    auto& calibrations = files["calibrations.csv"];
    calibrations = test::with(calibrations, "07:00:00Z,air,100", "07:00:00Z,air,96");
    calibrations = test::with(calibrations, "23:00:00Z,air,100", "23:00:00Z,air,96");
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_NEAR(spell(*run, "s2", 30).slope_mg_per_l_h / spell(plain_run(), "s2", 30).slope_mg_per_l_h,
                1.0 / 0.96, 1e-9);
}

/// The readings are 1000 / 1.4 of a logger that took the water for fresh.
void expect_salinity_undone(const test::StudyFiles& files, const std::string& what) {
    const Opened opened(files);
    EXPECT_THAT(opened.stopping(), testing::IsEmpty()) << what;
    const auto chambers = opened.chambers();
    ASSERT_EQ(chambers.list.size(), 1U) << what;
    const auto& trace = chambers.list[0].trace;
    const Opened plain_study(test::small_study());
    const auto unaltered = plain_study.chambers();
    const auto& before = unaltered.list[0].trace;
    ASSERT_EQ(trace.rows(), before.rows());
    for (const std::size_t i : {10U, 9000U, 20000U}) {
        const double t = trace.temperature_celsius[i];
        const double factor =
            water::saturation_mg_per_l(t, 30.0, 101.0) / water::saturation_mg_per_l(t, 0.0, 101.0);
        EXPECT_LT(factor, 0.85);
        EXPECT_NEAR(trace.oxygen_mg_per_l[i] / before.oxygen_mg_per_l[i], factor, 1e-9) << what;
    }
}

TEST(Chambers, the_salinity_that_a_logger_assumed_is_undone_wherever_the_brief_says_it) {
    // Calibrated within the logger's own assumption, so that the gain stays 1.
    expect_salinity_undone(with_trace_setting("assumed_salinity = 0.0\n"), "of the trace");
    expect_salinity_undone(
        with_trace_setting("[[trace.column]]\nheader = \"o2_mgL\"\nassumed_salinity = 0.0\n"), "by header");
    expect_salinity_undone(with_trace_setting("[[trace.column]]\nindex = 2\nassumed_salinity = 0.0\n"),
                           "by index");
    expect_salinity_undone(
        with_trace_setting(
            "assumed_salinity = 12.0\n[[trace.column]]\nheader = \"O2_MGL\"\nassumed_salinity = 0.0\n"),
        "the column's wins");
    auto renamed = with_trace_setting(
        "[[trace.column]]\nheader = \"o2_mgL\"\nchannel = \"tube\"\nassumed_salinity = 0.0\n");
    renamed["assemblies.csv"] = test::with(renamed["assemblies.csv"], "boat:o2_mgL", "boat:tube");
    expect_salinity_undone(renamed, "under a name of its own");
    auto with_unit = with_trace_setting("[[trace.column]]\nheader = \"Oxygen 1\"\nassumed_salinity = 0.0\n");
    with_unit["raw/boat.csv"] = test::with(with_unit["raw/boat.csv"], "o2_mgL", "Oxygen 1 (mg/L)");
    with_unit["assemblies.csv"] = test::with(with_unit["assemblies.csv"], "boat:o2_mgL", "boat:Oxygen 1");
    expect_salinity_undone(with_unit, "header without its unit");
}

TEST(Chambers, a_season_s_own_water_holds_for_stays_that_begin_in_it) {
    // From the middle of the night's stay on the water is said to be fresh: the stay keeps its own.
    auto files = test::small_study();
    auto& raw = files["raw/boat.csv"];
    raw = test::with(raw, "o2_mgL", "o2_percent");
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:o2_mgL", "boat:o2_percent");
    files["study.toml"] +=
        "[[season]]\nname = \"rain\"\nfrom = 2026-06-14T15:00:00Z\nto = 2026-06-15T00:00:00Z\n"
        "[season.water]\nsalinity = 0.0\n";
    const Opened opened(files);
    const auto chambers = opened.chambers();
    ASSERT_EQ(chambers.list.size(), 1U);
    const auto& trace = chambers.list[0].trace;
    for (std::size_t i = 0; i < trace.rows(); i += 100) {
        const double hour = std::fmod(static_cast<double>(trace.times_ns[i]) * 1e-9, 86400.0) / 3600.0;
        const double salinity = hour > 20.1 ? 0.0 : 30.0; // s2 ends at 20:04, s3 begins in the rain
        const double full = water::saturation_mg_per_l(trace.temperature_celsius[i], salinity, 101.0);
        ASSERT_NEAR(trace.oxygen_mg_per_l[i], trace.saturation_percent[i] / 100.0 * full, 1e-9) << hour;
    }
}

TEST(Chambers, rows_of_the_assemblies_may_stand_in_any_order) {
    const std::string head =
        "assembly,from,to,chamber_volume_l,loop_volume_l,sensor,oxygen,temperature,pump\n";
    const std::string early = "tube,,2026-06-14T15:00:00Z,9.6,0.4,OX-1,boat:o2_mgL,boat:temp_C,boat:pump\n";
    const std::string late = "tube,2026-06-14T15:00:00Z,,9.6,0.4,OX-2,boat:o2_mgL,boat:temp_C,boat:pump\n";
    auto files = test::small_study();
    files["assemblies.csv"] = head + early + late;
    const Opened in_order(files);
    files["assemblies.csv"] = head + late + early;
    const Opened turned(files);
    const auto a = in_order.run();
    const auto b = turned.run();
    const auto& spells = stay(*a, "s2").uptake->spells;
    ASSERT_EQ(spells.size(), stay(*b, "s2").uptake->spells.size());
    for (std::size_t i = 0; i < spells.size(); ++i) {
        EXPECT_EQ(spells[i].answer.slope_mg_per_l_h, spell(*b, "s2", i).slope_mg_per_l_h);
        EXPECT_EQ(iso_text(spells[i].answer.from), iso_text(spell(*b, "s2", i).from));
    }
}

TEST(Chambers, a_logger_without_files_stops_the_run_only_where_a_stay_needs_it) {
    auto files = test::small_study();
    files["study.toml"] += "[[trace]]\nname = \"shore\"\nfiles = [\"raw/shore/*.csv\"]\n";
    files["assemblies.csv"] += "shore_1,28,0.1,1,OX-9,shore:O2,shore:T,,10,20\n";
    const Opened opened(files);
    EXPECT_THAT(opened.stopping(), testing::IsEmpty());
    EXPECT_FALSE(study::stops_a_run(opened.chambers().complaints));
    files["stays.csv"] += "s9,T01,shore_1,held,2026-06-15T08:00:00Z,2026-06-15T09:00:00Z,done\n";
    EXPECT_THAT(Opened(files).stopping(), Contains(HasSubstr("raw/shore/*.csv")));
}

// ------------------------------------------------------------------------------------------- stays

test::StudyFiles with_decisions(const std::string& rows) {
    auto files = test::small_study();
    files["decisions.csv"] = "stay,moment,act,value,reason,author\n" + rows;
    return files;
}

TEST(StayAnswers, a_decision_without_a_moment_means_every_spell_and_the_last_one_stands) {
    const Opened opened(with_decisions("s1,,exclude,,leaking lid,A. Keen\n"
                                       "s3,,exclude,,wrong tube,A. Keen\n"
                                       "s3,,include,,the right one after all,B. Dunlin\n"
                                       "s2,,mark,doubtful,people on the pier,A. Keen\n"));
    const auto run = opened.run();
    for (const auto& one : stay(*run, "s1").uptake->spells) {
        EXPECT_TRUE(one.is_excluded_by_hand);
        EXPECT_EQ(one.answer.mark, uptake::Mark::unusable);
        EXPECT_THAT(one.answer.reasons.back().text, AllOf(HasSubstr("A. Keen"), HasSubstr("leaking lid")));
    }
    for (const auto& one : stay(*run, "s3").uptake->spells) {
        EXPECT_FALSE(one.is_excluded_by_hand);
        EXPECT_EQ(one.answer.mark, one.mark_by_machine);
        // Both acts are told, in their order.
        ASSERT_GE(one.answer.reasons.size(), 2U);
        EXPECT_EQ(one.answer.reasons.end()[-2].word, "excluded_by_hand");
        EXPECT_EQ(one.answer.reasons.back().word, "included_by_hand");
    }
    for (const auto& one : stay(*run, "s2").uptake->spells) {
        EXPECT_EQ(one.answer.mark, uptake::Mark::doubtful);
    }
    // The machine's own judgement is what the numbers without human acts rest on.
    for (const auto& one : stay(*run, "s1").uptake->spells) {
        EXPECT_NE(one.mark_by_machine, uptake::Mark::unusable);
    }
}

TEST(StayAnswers, a_decision_on_one_spell_wins_over_one_on_its_stay) {
    const Opened opened(with_decisions("s1,2026-06-14T08:24:00Z,include,,looked at it twice,B. Dunlin\n"
                                       "s1,,exclude,,leaking lid,A. Keen\n"));
    const auto run = opened.run();
    std::size_t kept = 0;
    for (const auto& one : stay(*run, "s1").uptake->spells) {
        const bool is_it = iso_text(one.answer.sealed_from) == "2026-06-14T08:18:00Z";
        EXPECT_EQ(one.is_excluded_by_hand, !is_it) << iso_text(one.answer.sealed_from);
        kept += is_it ? 1 : 0;
    }
    EXPECT_EQ(kept, 1U);
}

TEST(StayAnswers, a_stay_that_no_trace_covers_says_so_and_the_others_go_on) {
    auto files = test::small_study();
    files["stays.csv"] += "s9,T01,tube,held,2026-07-14T08:00:00Z,2026-07-14T09:00:00Z,done\n";
    const Opened opened(files);
    const auto run = opened.run();
    ASSERT_FALSE(stay(*run, "s9").uptake);
    EXPECT_THAT(stay(*run, "s9").uptake.error().text(),
                AllOf(HasSubstr("stay s9 has no readings"), HasSubstr("2026-07-14T08:00:00Z")));
    EXPECT_EQ(spell(*run, "s2", 3).slope_mg_per_l_h, spell(plain_run(), "s2", 3).slope_mg_per_l_h);
}

// ------------------------------------------------------------------------------------------- fish

std::string without_event(const std::string& events, const std::string& word) {
    std::string out;
    std::istringstream lines(events);
    for (std::string line; std::getline(lines, line);) {
        if (line.find("," + word + ",") == std::string::npos) {
            out += line + "\n";
        }
    }
    return out;
}

const EventAnswer& after(const StudyRun& run, uptake::PeakEvent event) {
    return *run.fish.at(0).after_event(event);
}

TEST(FishAnswers, time_zero_falls_back_to_what_was_written_down) {
    struct Step {
        const char* without;
        const char* word;
        const char* at;
    };
    auto files = test::small_study();
    for (const Step& step : {Step{"nothing", "back_in_water", "2026-06-14T08:01:00Z"},
                             Step{"back_in_water", "landed", "2026-06-14T08:00:00Z"},
                             Step{"landed", "hook_up", "2026-06-14T07:55:00Z"},
                             Step{"hook_up", "stay_begins", "2026-06-14T08:05:00Z"}}) {
        files["events.csv"] = without_event(files["events.csv"], step.without);
        const Opened opened(files);
        const auto run = opened.run();
        EXPECT_EQ(after(*run, uptake::PeakEvent::capture).zero.word, step.word);
        EXPECT_EQ(iso_text(after(*run, uptake::PeakEvent::capture).zero.at), step.at);
    }
}

TEST(FishAnswers, time_zero_is_the_brief_s_choice) {
    auto files = test::small_study();
    files["study.toml"] += "[recovery]\ntime_zero = \"hook_up\"\ntime_zero_after_chase = \"chase_end\"\n";
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_EQ(after(*run, uptake::PeakEvent::capture).zero.word, "hook_up");
    EXPECT_EQ(after(*run, uptake::PeakEvent::chase).zero.word, "chase_end");
    EXPECT_EQ(iso_text(after(*run, uptake::PeakEvent::chase).zero.at), "2026-06-14T20:09:00Z");
    // By itself the program takes the end of chase and air, whichever came last.
    EXPECT_EQ(after(plain_run(), uptake::PeakEvent::chase).zero.word, "air_end");
    EXPECT_EQ(iso_text(after(plain_run(), uptake::PeakEvent::chase).zero.at), "2026-06-14T20:09:30Z");
}

TEST(FishAnswers, air_before_the_chase_is_not_the_chase_s_time_zero) {
    auto files = test::small_study();
    auto& events = files["events.csv"];
    events = test::with(events, "2026-06-14T20:09:00Z,2,air_start,T01,shore\n", "");
    events = test::with(events, "2026-06-14T20:09:30Z,2,air_end,T01,shore\n", "");
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_EQ(after(*run, uptake::PeakEvent::chase).zero.word, "chase_end");
    EXPECT_FALSE(after(*run, uptake::PeakEvent::chase).air);
    EXPECT_DOUBLE_EQ(after(*run, uptake::PeakEvent::capture).air->seconds(), 40.0);
}

TEST(FishAnswers, spells_in_air_add_up_for_the_event_they_belong_to) {
    auto files = test::small_study();
    auto& events = files["events.csv"];
    events = test::with(events, "2026-06-14T08:01:00Z,2,back_in_water,T01,deck\n",
                        "2026-06-14T08:01:00Z,2,back_in_water,T01,deck\n"
                        "2026-06-14T08:02:00Z,2,air_start,T01,deck\n"
                        "2026-06-14T08:02:15Z,2,air_end,T01,deck\n");
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_DOUBLE_EQ(after(*run, uptake::PeakEvent::capture).air->seconds(), 55.0);
    EXPECT_DOUBLE_EQ(after(*run, uptake::PeakEvent::chase).air->seconds(), 30.0);
}

TEST(FishAnswers, a_fish_caught_again_counts_from_its_second_capture) {
    // The second time nobody noted when it was back in water: the first capture's note is not taken for it.
    auto files = test::small_study();
    files["stays.csv"] += "s4,T01,tube,after_capture,2026-06-14T21:20:00Z,2026-06-14T21:58:00Z,done\n";
    files["stays.csv"] =
        test::with(files["stays.csv"], "b1,,tube,blank,2026-06-14T21:04:00Z,2026-06-14T22:00:00Z,done\n", "");
    files["events.csv"] +=
        "2026-06-14T21:15:00Z,2,hook_up,T01,deck\n2026-06-14T21:18:00Z,2,landed,T01,deck\n";
    const Opened opened(files);
    const auto run = opened.run();
    std::vector<std::string> zeros;
    for (const auto& event : run->fish.at(0).after) {
        if (event.event == uptake::PeakEvent::capture) {
            zeros.push_back(event.zero.word + " " + iso_text(event.zero.at));
        }
    }
    EXPECT_THAT(zeros,
                testing::ElementsAre("back_in_water 2026-06-14T08:01:00Z", "landed 2026-06-14T21:18:00Z"));
}

TEST(FishAnswers, a_season_s_own_peak_window_holds_for_stays_that_begin_in_it) {
    auto files = test::small_study();
    files["study.toml"] +=
        "[[season]]\nname = \"evening\"\nfrom = 2026-06-14T20:06:00Z\nto = 2026-06-15T00:00:00Z\n"
        "[season.peak]\nwindow_s = 180.0\n";
    const Opened opened(files);
    const auto run = opened.run();
    const auto seconds = [](const EventAnswer& event) {
        return (event.peak->window_to - event.peak->window_from).seconds();
    };
    EXPECT_NEAR(seconds(after(*run, uptake::PeakEvent::capture)), 60.0, 4.0);
    EXPECT_NEAR(seconds(after(*run, uptake::PeakEvent::chase)), 180.0, 4.0);
}

// ------------------------------------------------------------------------------------------- the road back

TEST(Why, every_metric_leads_back_to_the_lines_of_a_file) {
    for (const auto& metric : why_metrics()) {
        const auto text = why(*plain_run().answers, "T01", metric);
        ASSERT_TRUE(text) << metric << ": " << text.error().text();
        EXPECT_THAT(*text, HasSubstr("T01")) << metric;
        if (metric != "scope") { // which names its two parts
            EXPECT_THAT(*text, testing::ContainsRegex("raw/boat.csv lines [0-9]+ to [0-9]+")) << metric;
        }
    }
}

TEST(Why, the_lines_it_names_hold_the_readings) {
    const auto text = why(*plain_run().answers, "T01", "peak_after_capture").value();
    const auto at = text.find("raw/boat.csv lines ");
    ASSERT_NE(at, std::string::npos);
    std::size_t first = 0;
    std::size_t last = 0;
    ASSERT_EQ(std::sscanf(text.c_str() + at, "raw/boat.csv lines %zu to %zu", &first, &last), 2);
    const auto& answer = after(plain_run(), uptake::PeakEvent::capture);
    const auto& one = spell(plain_run(), "s1", answer.spells.at(answer.peak->spell));
    std::istringstream raw(test::small_study().at("raw/boat.csv"));
    std::string line;
    for (std::size_t n = 1; std::getline(raw, line); ++n) {
        if (n == first) {
            EXPECT_EQ(line.substr(0, 20), iso_text(one.from));
        } else if (n == last) {
            EXPECT_EQ(line.substr(0, 20), iso_text(one.to));
            return;
        }
    }
    FAIL() << "line " << last << " is not in the file";
}

TEST(Why, an_unknown_fish_or_metric_offers_the_nearest) {
    const auto fish = why(*plain_run().answers, "T10", "resting");
    ASSERT_FALSE(fish);
    EXPECT_THAT(why(*plain_run().answers, "T0", "resting").error().text(),
                HasSubstr("did you mean \"T01\"?"));
    EXPECT_THAT(why(*plain_run().answers, "T01", "restin").error().text(),
                HasSubstr("did you mean \"resting\"?"));
}

} // namespace
} // namespace backeddy::app
