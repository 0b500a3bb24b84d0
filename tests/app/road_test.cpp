// From a small study's files to chambers, stays, fish and the road back, each spoilt in one way.

#include <cmath>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/run.hpp"
#include "app/why.hpp"
#include "base/number_text.hpp"
#include "report/tables.hpp"
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

/// Settings that hold for stays that begin in the evening: s3 (20:10) and the blank b1 (21:04).
test::StudyFiles with_evening(const std::string& sections) {
    auto files = test::small_study();
    files["study.toml"] +=
        "[[season]]\nname = \"evening\"\nfrom = 2026-06-14T20:06:00Z\nto = 2026-06-15T00:00:00Z\n" + sections;
    return files;
}

double effect(const Measured& measured, const std::string& beginning) {
    double sum = 0.0;
    for (const auto& contribution : measured.contributions()) {
        sum += contribution.source.starts_with(beginning) ? std::abs(contribution.effect) : 0.0;
    }
    return sum;
}

TEST(Chambers, a_season_s_own_uncertainties_and_mixing_time_reach_volume_calibration_and_settling) {
    auto files = with_evening("[season.uncertainty]\nvolume_percent = 2.0\nuncalibrated_percent = 6.0\n"
                              "density_uncertainty_kg_per_l = 0.04\n[season.settle]\nmixing_s = 75.0\n");
    auto& assemblies = files["assemblies.csv"];
    assemblies = test::with(assemblies, "tube,9.6,0.03,0.4", "tube,9.6,,0.4");
    assemblies = test::with(assemblies, "boat:pump,0,15", "boat:pump,0,");
    files["calibrations.csv"] = "sensor,at,point,reading\n";
    const Opened opened(files);
    const auto run = opened.run();
    const auto& day = stay(*run, "s1").input.slices.at(0);
    const auto& evening = stay(*run, "s3").input.slices.at(0);
    EXPECT_NEAR(day.chamber.volume_l.standard_uncertainty(), 0.05, 1e-12); // the 0.5 % of settings, of 10 L
    EXPECT_NEAR(evening.chamber.volume_l.standard_uncertainty(), 0.2, 1e-12);
    EXPECT_EQ(day.chamber.mixing_s, 15.0);
    EXPECT_EQ(evening.chamber.mixing_s, 75.0);
    EXPECT_NEAR(effect(stay(*run, "s1").uptake->spells.at(1).scale, "calibration:"), 0.02, 1e-9);
    EXPECT_NEAR(effect(stay(*run, "s3").uptake->spells.at(1).scale, "calibration:"), 0.06, 1e-9);
    EXPECT_EQ(stay(*run, "s3").input.fish->density_kg_per_l.standard_uncertainty(), 0.04);
    const auto settled = [&](const char* id) {
        const auto& one = spell(*run, id, 1);
        return (one.from - one.sealed_from).seconds();
    };
    EXPECT_NEAR(settled("s1"), 15.0, 2.0); // fast roles: mixing time + 3 lags of 0 s
    EXPECT_NEAR(settled("s3"), 75.0, 2.0);
    // The volume's uncertainty of the table and calibrations of the table are no settings: they stay.
    const auto kept = Opened(with_evening("[season.uncertainty]\nvolume_percent = 2.0\n"
                                          "calibration_percent = 9.0\n"));
    const auto kept_run = kept.run();
    EXPECT_EQ(stay(*kept_run, "s3").input.slices.at(0).chamber.volume_l.standard_uncertainty(),
              stay(plain_run(), "s3").input.slices.at(0).chamber.volume_l.standard_uncertainty());
}

TEST(Chambers, a_season_s_own_calibration_error_is_that_of_points_made_in_it) {
    auto files = with_evening("[season.uncertainty]\ncalibration_percent = 4.0\n");
    files["calibrations.csv"] = "sensor,at,point,reading,unit,temperature_c\n"
                                "OX-1,2026-06-14T07:00:00Z,air,100,% air,12\n"
                                "OX-1,2026-06-14T23:00:00Z,air,100,% air,12\n";
    const Opened opened(files);
    const auto run = opened.run();
    const auto& scale = stay(*run, "s2").uptake->spells.at(0).scale; // 09:10 of 07:00 to 23:00: 13.5 %
    const double morning = effect(scale, "calibration:OX-1@2026-06-14T07");
    const double night = effect(scale, "calibration:OX-1@2026-06-14T23");
    const double share =
        (spell(*run, "s2", 0).middle() - parse_iso("2026-06-14T07:00:00Z").value()).hours() / 16.0;
    EXPECT_NEAR(morning, 0.01 * (1.0 - share), 1e-4);
    EXPECT_NEAR(night, 0.04 * share, 1e-4);
}

TEST(Chambers, a_season_s_own_clock_error_is_that_of_files_in_it) {
    const Opened opened(with_evening("[season.uncertainty]\nclock_s = 90.0\n"));
    // The file's middle is at 15:00, before the evening.
    EXPECT_EQ(opened.study->traces.streams.at(0).clock_uncertainty_s, 5.0);
    auto files = with_evening("[season.uncertainty]\nclock_s = 90.0\n");
    files["study.toml"] =
        test::with(files["study.toml"], "from = 2026-06-14T20:06:00Z", "from = 2026-06-14T08:00:00Z");
    const Opened whole_day(files);
    EXPECT_EQ(whole_day.study->traces.streams.at(0).clock_uncertainty_s, 90.0);
}

TEST(Chambers, a_season_s_constant_stands_in_for_the_study_s_channel) {
    auto files = test::small_study();
    files["study.toml"] =
        test::with(files["study.toml"], "salinity = 30.0", "salinity_channel = \"salt:salinity\"");
    files["study.toml"] +=
        "[[trace]]\nname = \"salt\"\nfiles = [\"raw/salt.csv\"]\n"
        "[[season]]\nname = \"rain\"\nfrom = 2026-06-14T20:06:00Z\nto = 2026-06-15T00:00:00Z\n"
        "[season.water]\nsalinity = 2.0\n";
    std::string salt = "time,salinity\n";
    for (int hour = 7; hour < 24; ++hour) {
        salt += fmt::format("2026-06-14T{:02}:00:00Z,30.0\n2026-06-14T{:02}:30:00Z,30.0\n", hour, hour);
    }
    files["raw/salt.csv"] = salt;
    files["raw/boat.csv"] = test::with(files["raw/boat.csv"], "o2_mgL", "o2_percent");
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:o2_mgL", "boat:o2_percent");
    const Opened opened(files);
    EXPECT_THAT(opened.stopping(), testing::IsEmpty());
    const auto chambers = opened.chambers();
    const auto& trace = chambers.list.at(0).trace;
    for (std::size_t i = 0; i < trace.rows(); i += 500) {
        const double hour = std::fmod(static_cast<double>(trace.times_ns[i]) * 1e-9, 86400.0) / 3600.0;
        const double salinity = hour > 20.11 ? 2.0 : 30.0;
        const double full = water::saturation_mg_per_l(trace.temperature_celsius[i], salinity, 101.0);
        ASSERT_NEAR(trace.oxygen_mg_per_l[i], trace.saturation_percent[i] / 100.0 * full, 1e-9) << hour;
    }
    EXPECT_EQ(chambers.list.at(0).at(parse_iso("2026-06-14T20:10:00Z").value()).oxygen.salinity, 2.0);
    EXPECT_THAT(chambers.seasons, testing::ElementsAre(HasSubstr("season rain")));
}

TEST(StayAnswers, a_season_s_own_noise_settings_and_blank_part_reach_its_stays) {
    const Opened opened(with_evening("[season.background]\nblank_part_h = 0.25\n"));
    const auto run = opened.run();
    EXPECT_EQ(plain_run().stays.blanks.size(), 1U);
    EXPECT_EQ(run->stays.blanks.size(), 4U); // 56 min in parts of 15
    // Noise that no stretch of the evening is long enough for: the day's stays keep their model.
    const Opened quiet(with_evening("[season.noise]\nleast_readings = 100000\n"));
    const auto noise = quiet.run();
    EXPECT_TRUE(stay(*noise, "s2").input.slices.at(0).noise);
    EXPECT_FALSE(stay(*noise, "s3").input.slices.at(0).noise);
    EXPECT_TRUE(stay(plain_run(), "s3").input.slices.at(0).noise);
}

TEST(FishAnswers, a_season_s_own_plausible_bounds_judge_the_numbers_of_its_stays) {
    const auto implausible = [](const std::string& sections) {
        const Opened opened(with_evening(sections));
        const auto run = opened.run();
        const auto results = results_of(*run->answers);
        return results.fish.at(0).metrics.implausible.size();
    };
    EXPECT_EQ(implausible("[season.peak]\nwindow_s = 60.0\n"), 0U);
    // Peak and rest of this fish are of the day, not of the evening.
    EXPECT_EQ(implausible("[season.plausible]\nresting_most_mg_per_kg_h = 20.0\n"), 0U);
    auto files = with_evening("[season.plausible]\nresting_most_mg_per_kg_h = 20.0\n");
    files["study.toml"] =
        test::with(files["study.toml"], "from = 2026-06-14T20:06:00Z", "from = 2026-06-14T08:00:00Z");
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_THAT(results_of(*run->answers).fish.at(0).metrics.implausible, testing::SizeIs(1));
    // And the report's settings show them.
    EXPECT_THAT(results_of(*run->answers).settings,
                Contains(AllOf(testing::Field(&report::Setting::section, "season evening: plausible"),
                               testing::Field(&report::Setting::value, "20"))));
}

TEST(StayAnswers, a_fixed_settle_time_of_a_role_holds_instead_of_the_rule) {
    const Opened opened(with_trace_setting("[settle]\nrest_s = 200.0\n"));
    const auto run = opened.run();
    EXPECT_NEAR((spell(*run, "s2", 3).from - spell(*run, "s2", 3).sealed_from).seconds(), 200.0, 2.0);
    EXPECT_EQ(spell(*run, "s1", 3).from, spell(plain_run(), "s1", 3).from);
}

TEST(Chambers, one_temperature_of_the_brief_serves_chambers_without_a_thermometer) {
    auto files = test::small_study();
    files["assemblies.csv"] = test::with(files["assemblies.csv"], "boat:o2_mgL,boat:temp_C,", "boat:o2_pc,,");
    std::string raw = "time,o2_pc (% air),pump\n";
    for (const auto& row : test::small_rows()) {
        raw += fmt::format("2026-06-14T{}Z,{:.4f},{}\n", test::clock_text(row.second),
                           row.oxygen_mg_per_l / water::saturation_mg_per_l(12.0, 30.0, 101.0) * 100.0,
                           row.pump);
    }
    files["raw/boat.csv"] = raw;
    const Opened without(files);
    const auto complaints = without.chambers().complaints;
    ASSERT_THAT(complaints, testing::SizeIs(1));
    EXPECT_THAT(complaints[0].error.text(), AllOf(HasSubstr("assemblies.csv line 2, column \"temperature\""),
                                                  HasSubstr("temperature_c")));

    files["study.toml"] =
        test::with(files["study.toml"], "salinity = 30.0",
                   "salinity = 30.0\ntemperature_c = 12.0\ntemperature_uncertainty_c = 0.4");
    const Opened opened(files);
    const auto run = opened.run();
    EXPECT_THAT(run->chambers.complaints, testing::IsEmpty());
    const auto& s2 = stay(*run, "s2");
    ASSERT_EQ(s2.uptake->spells.size(), stay(plain_run(), "s2").uptake->spells.size());
    for (const std::size_t i : {0U, 40U, 80U}) {
        // The readings are the same milligrams, rounded to 1e-4 % of 0.09 mg/L each.
        EXPECT_NEAR(spell(*run, "s2", i).slope_mg_per_l_h / spell(plain_run(), "s2", i).slope_mg_per_l_h, 1.0,
                    1e-3);
        EXPECT_EQ(spell(*run, "s2", i).temperature_mean_celsius, 12.0);
    }
    // d ln DO_sat / dT at 12 degC and salinity 30 by the same tables, over 0.4 degC: 0.8 %.
    const double per_degree = std::log(water::saturation_mg_per_l(12.5, 30.0, 101.0) /
                                       water::saturation_mg_per_l(11.5, 30.0, 101.0));
    EXPECT_NEAR(effect(s2.uptake->spells.at(0).scale, "temperature:study"), std::abs(0.4 * per_degree), 2e-5);
    EXPECT_THAT(run->chambers.list.at(0).notes, Contains(HasSubstr("12 ± 0.4 °C taken throughout")));
}

TEST(StayAnswers, the_last_weighing_before_a_stay_ends_is_its_mass) {
    auto files = test::small_study();
    auto& events = files["events.csv"];
    events = "at,event,fish,value,unit\n" + std::string("2026-06-14T08:01:00Z,back_in_water,T01,,\n"
                                                        "2026-06-14T20:09:30Z,air_end,T01,,\n"
                                                        "2026-06-14T20:08:00Z,weighed,T01,0.55,kg\n"
                                                        "2026-06-15T09:00:00Z,weighed,T01,530,g\n");
    const Opened opened(files);
    const auto run = opened.run();
    const auto kg = [&](const char* id) { return stay(*run, id).input.fish->mass_kg->value(); };
    EXPECT_EQ(kg("s1"), 0.5);
    EXPECT_EQ(kg("s2"), 0.5);
    EXPECT_EQ(kg("s3"), 0.55);
    // Another volume of water (10 - 0.55 L of fish) and another mass: as computed by hand from the same
    // slope.
    const auto& before = stay(plain_run(), "s3").uptake->spells.at(1);
    const auto& now = stay(*run, "s3").uptake->spells.at(1);
    EXPECT_EQ(now.answer.slope_mg_per_l_h, before.answer.slope_mg_per_l_h);
    EXPECT_NEAR(now.answer.total_mg_per_h.value() / before.answer.total_mg_per_h.value(), 9.45 / 9.5, 1e-12);
    EXPECT_NEAR(now.answer.uptake_mg_per_kg_h->value(), now.answer.uptake_mg_per_h.value() / 0.55, 1e-12);
    EXPECT_GT(effect(*now.answer.uptake_mg_per_kg_h, "mass:T01@2026-06-14T20:08:00Z"), 0.0);
    const auto results = results_of(*run->answers);
    EXPECT_THAT(results.fish.at(0).mass_source, HasSubstr("550 g weighed 2026-06-14T20:08:00Z for stay s3"));
    EXPECT_EQ(results.fish.at(0).mass_g.value, 500.0);
    std::vector<std::string> notes;
    for (const auto& one : results.fish.at(0).stays) {
        notes.insert(notes.end(), one.notes.begin(), one.notes.end());
    }
    EXPECT_THAT(notes, Contains(HasSubstr("mass 550 g as weighed 2026-06-14T20:08:00Z (events.csv line 4)")));

    // Never weighed before: the first weighing after the stay serves it.
    files["fish.csv"] = test::with(files["fish.csv"], "500,2", ",");
    const Opened late(files);
    const auto late_run = late.run();
    EXPECT_EQ(stay(*late_run, "s1").input.fish->mass_kg->value(), 0.55); // 20:08, not the next day's
    EXPECT_EQ(stay(*late_run, "s3").input.fish->mass_kg->value(), 0.55);
    EXPECT_THAT(results_of(*late_run->answers).fish.at(0).mass_g.value,
                testing::Optional(testing::DoubleEq(550.0)));
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

// What is pooled over stays (noise of a sensor, blanks) must forget the acts as well.
TEST(StayAnswers, with_human_acts_undone_the_numbers_are_those_of_a_study_without_decisions) {
    const std::string question = "[[question]]\nname = \"course\"\noutcome = \"mo2\"\ncompare = \"hours\"\n";
    const auto asked = [&](test::StudyFiles files) {
        files["study.toml"] += question;
        return files;
    };
    const Opened without(asked(test::small_study()));
    const auto expected = without.run();
    const auto& as_found = expected->findings.at(0).effects.at(0);
    for (const std::string rows :
         {"b1,,exclude,,a limpet in it,A. Keen\n", "s2,2026-06-14T12:05:00Z,exclude,,a knock,A. Keen\n"}) {
        const Opened with(asked(with_decisions(rows)));
        const auto run = with.run();
        const auto& fish = run->without->fish.at(0);
        const auto& plain_fish = expected->fish.at(0);
        EXPECT_TRUE(fish.rest->resting->value.corrected == plain_fish.rest->resting->value.corrected) << rows;
        EXPECT_TRUE(fish.after.at(0).peak->corrected == plain_fish.after.at(0).peak->corrected) << rows;
        const auto& undone = run->findings.at(0).without_human->effects.at(0);
        EXPECT_EQ(undone.value, as_found.value) << rows;
        EXPECT_EQ(undone.lower, as_found.lower) << rows;
        EXPECT_EQ(undone.p, as_found.p) << rows;
    }
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

TEST(FishAnswers, the_fish_s_own_zero_is_that_of_its_recovery) {
    for (const std::string choice : {"hook_up", "back_in_water", "landed"}) {
        auto files = test::small_study();
        files["study.toml"] += "[recovery]\ntime_zero = \"" + choice + "\"\n";
        const Opened opened(files);
        const auto run = opened.run();
        const auto& zero = after(*run, uptake::PeakEvent::capture).zero;
        EXPECT_EQ(zero.word, choice);
        const auto results = results_of(*run->answers);
        const auto& fish = results.fish.front();
        EXPECT_EQ(fish.time_zero_word, choice);
        EXPECT_EQ(fish.time_zero, std::optional(zero.at));
        for (const auto& event : fish.events) {
            ASSERT_TRUE(event.at && event.hours) << event.word;
            EXPECT_NEAR(*event.hours, (*event.at - zero.at).hours(), 1e-9) << event.word;
        }
    }
}

// Time zero of the small study is known to 2 s, its logger's clock, never checked, to the brief's 5 s.
TEST(FishAnswers, an_event_s_uncertainty_is_in_delay_excess_and_hours_of_its_recovery) {
    const auto of = [](const StudyRun& run) { return results_of(*run.answers).fish.front().metrics; };
    const auto effect = [](const report::Number& number) {
        double sum = 0.0;
        for (const auto& source : number.contributions) {
            sum += source.source.starts_with("time zero") ? source.effect : 0.0;
        }
        return sum;
    };
    auto files = test::small_study();
    files["events.csv"] = test::with(files["events.csv"], "2026-06-14T08:01:00Z,2,back_in_water",
                                     "2026-06-14T08:01:00Z,120,back_in_water");
    const Opened opened(files);
    const auto run = opened.run();
    const auto sharp = of(plain_run());
    const auto blunt = of(*run);
    const auto& before = sharp.recoveries.front().baselines.front();
    const auto& now = blunt.recoveries.front().baselines.front();
    const double u_before = std::hypot(2.0, 5.0) / 3600.0;
    const double u_now = std::hypot(120.0, 5.0) / 3600.0;
    EXPECT_NEAR(*blunt.peaks.front().delay_to_seal_s.standard_uncertainty, 3600.0 * u_now, 1e-6);
    ASSERT_LT(effect(before.excess_boat_hour), 0.0);
    EXPECT_NEAR(effect(now.excess_boat_hour) / effect(before.excess_boat_hour), u_now / u_before, 1e-3);
    EXPECT_EQ(*now.excess_boat_hour.value, *before.excess_boat_hour.value);
    EXPECT_GT(*now.excess_boat_hour.standard_uncertainty, *before.excess_boat_hour.standard_uncertainty);
    // Only a lower limit is known here, and it gives way by all of 1.96 uncertainties.
    ASSERT_TRUE(now.hours_by_data.is_at_least && before.hours_by_data.is_at_least);
    EXPECT_NEAR(*before.hours_by_data.value - *now.hours_by_data.value, 1.959964 * (u_now - u_before), 1e-6);
}

TEST(FishAnswers, scope_from_a_rest_that_was_never_reached_is_at_least) {
    auto files = test::small_study();
    files["stays.csv"] = test::with(files["stays.csv"], "2026-06-14T20:04:00Z", "2026-06-14T15:00:00Z");
    const Opened opened(files);
    const auto run = opened.run();
    const auto results = results_of(*run->answers);
    const auto& metrics = results.fish.front().metrics;
    ASSERT_EQ(metrics.resting->kind, "resting, not recovered");
    const auto& scope = metrics.scopes.front();
    EXPECT_TRUE(scope.absolute.is_at_least);
    EXPECT_TRUE(scope.factorial.is_at_least);
    EXPECT_THAT(scope.reasons, Contains(testing::Field(&uptake::Reason::word, "resting_not_recovered")));
    const auto table = report::fish_table(results);
    EXPECT_THAT(table, AllOf(HasSubstr("scope_after_capture_absolute_is_at_least"),
                             HasSubstr("the fish never came to rest")));
    const auto rested = results_of(*plain_run().answers);
    EXPECT_FALSE(rested.fish.front().metrics.scopes.front().absolute.is_at_least);
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

// ------------------------------------------------------------------------------------------- curves in time

TEST(Curves, every_fish_stay_has_one_broken_in_flushes_and_says_why) {
    const auto& run = plain_run();
    for (std::size_t i = 0; i < run.stays.list.size(); ++i) {
        const auto& curve = run.curves.at(i);
        ASSERT_EQ(curve.has_value(), run.stays.list[i].fish != nullptr);
        if (!curve) {
            continue;
        }
        ASSERT_TRUE(*curve) << curve->error().text();
        EXPECT_THAT((*curve)->reasons.front().text, HasSubstr("inflow_oxygen_channel"));
        EXPECT_GT((*curve)->piece.back(), 3);
    }
}

/// The small study with the inflow's own logger, every 5 min, and the flow of its flush: the tube's turnover
/// is 15 s.
test::StudyFiles with_inflow() {
    auto files = test::small_study();
    files["study.toml"] = test::with(files["study.toml"], "[[trace]]",
                                     "inflow_oxygen_channel = \"intake:o2_mgL\"\n\n[[trace]]");
    files["study.toml"] += "[[trace]]\nname = \"intake\"\nfiles = [\"raw/intake.csv\"]\n";
    std::string intake = "time,o2_mgL\n";
    for (int minute = 0; minute <= 14 * 60; minute += 5) {
        intake += fmt::format("2026-06-14T{}Z,9.6\n", test::clock_text(test::second_of(8, minute)));
    }
    files["raw/intake.csv"] = intake;
    return files;
}

/// The small study's fish in a tube that is flushed for half of each 8 min with 3 L/min, while it goes on
/// breathing: the mixed chamber's balance in steps of a tenth of a second.
std::vector<test::SmallRow> breathing_through_flushes(const test::SmallTruth& truth) {
    std::vector<test::SmallRow> rows;
    double oxygen = truth.full_mg_per_l;
    std::uint32_t noise = 99;
    for (double t = test::second_of(8, 0); t < test::second_of(22, 0); t += truth.step_s) {
        const bool flush = std::fmod(t, truth.period_s) < 0.5 * truth.period_s;
        noise = (noise * 1664525U) + 1013904223U;
        rows.push_back({.second = t,
                        .oxygen_mg_per_l = oxygen + (0.004 * ((noise >> 8U) / 16777216.0 - 0.5)),
                        .temperature_c = 12.0,
                        .pump = flush ? 1 : 0});
        for (double s = t; s < t + truth.step_s - 0.05; s += 0.1) {
            const double fish = test::fish_is_in(s) ? test::small_uptake_mg_per_h(truth, s) : 0.0;
            const double brought = flush ? 180.0 * (truth.full_mg_per_l - oxygen) : 0.0;
            oxygen += ((brought - fish) / truth.water_l - truth.microbes_mg_per_l_h) * 0.1 / 3600.0;
        }
    }
    return rows;
}

TEST(Curves, with_inflow_and_flow_it_runs_through_the_flushes_near_the_truth) {
    const test::SmallTruth truth;
    auto files = with_inflow();
    files["raw/boat.csv"] = test::small_trace(breathing_through_flushes(truth));
    auto& table = files["assemblies.csv"];
    table = test::with(table, "sensor_lag_s,mixing_s",
                       "sensor_lag_s,mixing_s,flow_l_per_min,flow_uncertainty_l_per_min");
    table = test::with(table, ",0,15\n", ",0,15,3.0,0.03\n");
    const Opened opened(files);
    const auto run = opened.run();
    for (std::size_t i = 0; i < run->stays.list.size(); ++i) {
        const auto& curve = run->curves.at(i);
        if (!curve) {
            continue;
        }
        ASSERT_TRUE(*curve) << curve->error().text();
        EXPECT_EQ((*curve)->how, "through flushes, inflow known");
        EXPECT_EQ((*curve)->piece.back(), 0);
        double squares = 0.0;
        double mean = 0.0;
        for (std::size_t k = 0; k < (*curve)->at.size(); ++k) {
            const double second =
                std::fmod(static_cast<double>((*curve)->at[k].unix_nanoseconds()) * 1e-9, 86400.0);
            const double away = ((*curve)->mg_per_h[k] / test::small_uptake_mg_per_h(truth, second)) - 1.0;
            squares += away * away;
            mean += away;
        }
        const auto n = static_cast<double>((*curve)->at.size());
        EXPECT_LT(std::abs(mean / n), 0.03) << run->stays.list[i].stay->id.text();
        EXPECT_LT(std::sqrt(squares / n), 0.10) << run->stays.list[i].stay->id.text();
    }
}

TEST(Curves, an_inflow_without_the_assembly_s_flow_says_what_is_missing) {
    const Opened opened(with_inflow());
    const auto run = opened.run();
    ASSERT_TRUE(run->curves.front() && *run->curves.front());
    EXPECT_THAT((*run->curves.front())->reasons.front().text, HasSubstr("flow of assembly tube"));
}

TEST(Road, a_fixed_settle_time_of_a_role_is_used) {
    auto files = test::small_study();
    files["study.toml"] += "[settle]\nafter_capture_s = 100\n";
    const Opened opened(files);
    const auto run = opened.run();
    const auto& first = spell(*run, "s1", 1);
    EXPECT_NEAR((first.from - first.sealed_from).seconds(), 100.0, 2.1);
    const auto& other = spell(*run, "s2", 1);
    EXPECT_NEAR((other.from - other.sealed_from).seconds(), 60.0, 2.1) << "the rule's for the others";
}

} // namespace
} // namespace backeddy::app
