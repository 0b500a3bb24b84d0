#include "simulate/simulate.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include <unistd.h>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "base/number_text.hpp"
#include "series/instant.hpp"
#include "simulate/readings.hpp"
#include "simulate/season.hpp"
#include "simulate/tables.hpp"
#include "simulate/trace_files.hpp"
#include "simulate/truth.hpp"
#include "water/oxygen.hpp"

namespace backeddy::simulate {
namespace {

namespace fs = std::filesystem;

/// Two fish, one tube, two shore chambers; `sensor` goes into each chamber, `tube` and `shore` into the
/// traces.
std::string small_plan(const std::string& sensor = "", const std::string& tube = "",
                       const std::string& shore = "", const std::string& rest = "") {
    return fmt::format(R"toml([study]
title = "Two fish (simulated)"
zone = "Europe/Oslo"
first_day = [2026, 6, 8]
fish_per_day = [2]
[fish]
mass_kg = [0.8, 1.2]
[[chamber]]
name = "tube"
kind = "tube"
volume_l = 15
sensor = "T"
{0}
[[chamber]]
name = "night_1"
kind = "shore"
volume_l = 40
flow_l_per_min = 25
sensor = "N1"
{0}
[[chamber]]
name = "night_2"
kind = "shore"
volume_l = 40
flow_l_per_min = 25
sensor = "N2"
{0}
[[trace]]
name = "boat"
chambers = ["tube"]
interval_s = 2
clock = "boat"
pump_clock = "pumps"
{1}
[[trace]]
name = "shore"
chambers = ["night_1", "night_2"]
interval_s = 10
clock = "shore"
pump_clock = "pumps"
{2}
[[clock]]
name = "boat"
[[clock]]
name = "shore"
[[clock]]
name = "pumps"
offset_s = 3
{3}
)toml",
                       sensor, tube, shore, rest);
}

const std::string perfect_sensor = R"(volume_error_share = 0
sensor_lag_s = 0
gain_spread = 0
offset_spread_percent = 0
drift_percent_per_day = 0
white_sd_mg_per_l = 0
coloured_sd_mg_per_l = 0)";

SimulationPlan plan_of(const std::string& text) {
    auto plan = parse_plan(text, "small.toml");
    EXPECT_TRUE(plan) << plan.error().text();
    return plan ? *plan : SimulationPlan{};
}

/// A folder that goes away with the test.
class Folder {
  public:
    Folder() {
        static int count = 0;
        const auto* info = testing::UnitTest::GetInstance()->current_test_info();
        path_ = fs::temp_directory_path() / fmt::format("backeddy_{}_{}_{}", info->name(), getpid(), ++count);
        fs::remove_all(path_);
    }
    ~Folder() {
        std::error_code ignored;
        fs::remove_all(path_, ignored);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    [[nodiscard]] const fs::path& path() const { return path_; }

  private:
    fs::path path_;
};

std::map<std::string, std::string> hashes(const fs::path& folder) {
    std::map<std::string, std::string> all;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (entry.is_regular_file()) {
            all[fs::relative(entry.path(), folder).string()] = *sha256_of_file(entry.path());
        }
    }
    return all;
}

std::string only_file(const fs::path& folder) {
    std::vector<fs::path> files;
    for (const auto& entry : fs::directory_iterator(folder)) {
        files.push_back(entry.path());
    }
    std::sort(files.begin(), files.end());
    return *read_file(files.at(0));
}

std::vector<std::vector<std::string>> rows(const std::string& text, char separator) {
    std::vector<std::vector<std::string>> all;
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
        all.emplace_back();
        std::istringstream fields(line);
        for (std::string field; std::getline(fields, field, separator);) {
            all.back().push_back(field);
        }
    }
    return all;
}

/// A table's rows by column name.
std::vector<std::map<std::string, std::string>> table(const fs::path& file) {
    const auto all = rows(*read_file(file), ',');
    std::vector<std::map<std::string, std::string>> out;
    for (std::size_t r = 1; r < all.size(); ++r) {
        auto& row = out.emplace_back();
        for (std::size_t c = 0; c < all[0].size(); ++c) {
            row[all[0][c]] = c < all[r].size() ? all[r][c] : "";
        }
    }
    return out;
}

TEST(Simulate, the_same_seed_gives_the_same_bytes_whatever_the_threads) {
    const auto plan = plan_of(small_plan());
    const Folder one;
    const Folder two;
    const Folder other;
    ASSERT_TRUE(simulate_study(plan, 7, one.path(), Threads{1}));
    ASSERT_TRUE(simulate_study(plan, 7, two.path(), Threads{4}));
    ASSERT_TRUE(simulate_study(plan, 8, other.path()));
    EXPECT_EQ(hashes(one.path()), hashes(two.path()));
    EXPECT_NE(hashes(one.path()).at("truth/fish.csv"), hashes(other.path()).at("truth/fish.csv"));
    EXPECT_EQ(hashes(one.path()).at("truth/simulation.toml"),
              hashes(other.path()).at("truth/simulation.toml"));
}

// Each with the line, the key, what stands there and what may.
TEST(Simulate, a_number_beyond_what_can_be_is_refused_by_name) {
    const auto said = [](const std::string& text) {
        const auto plan = parse_plan(text, "plan.toml");
        return plan ? std::string("taken") : plan.error().text();
    };
    EXPECT_THAT(said("[water]\nsalinity = -400\n"),
                testing::StartsWith("plan.toml line 2: salinity = -400 in [water]; a number from 0 to 45"));
    EXPECT_THAT(said("[study]\nfirst_day = [99999, 1, 1]\n"),
                testing::StartsWith("plan.toml line 2: first_day = [ 99999, 1, 1 ] in [study]"));
    EXPECT_THAT(said("[study]\nfirst_day = [2026, 2, 30]\n"),
                testing::HasSubstr("[year, month, day] of a day"));
    EXPECT_THAT(said("[study]\nfish_per_day = [2.5]\n"),
                testing::HasSubstr(
                    "fish_per_day = [ 2.5 ] in [study]; a list of 1 to 1000 whole numbers from 0 to 1000"));
    EXPECT_THAT(said("[study]\nfish_per_day = [-1]\n"), testing::HasSubstr("whole numbers from 0 to 1000"));
    EXPECT_THAT(said("[protocol]\ntube_min = 0\n"),
                testing::HasSubstr("tube_min = 0 in [protocol]; a number from 1 to 1440"));
    EXPECT_THAT(said("[protocol]\ntube_min = 1e9\n"), testing::HasSubstr("a number from 1 to 1440"));
    EXPECT_THAT(said("[protocol]\ntube_cycle_s = [0, 1e-9]\n"), testing::HasSubstr("sealed at least 1"));
    EXPECT_THAT(said("[study]\nfish_per_day = [1]\n[[trace]]\nname = \"../../evil\"\n"),
                testing::HasSubstr("trace \"../../evil\"; a name that can be a folder's"));
    EXPECT_THAT(said("[fish]\nresting_mg_per_kg_h = nan\n"), testing::HasSubstr("resting_mg_per_kg_h = nan"));
    EXPECT_THAT(said("[fish]\nresting_mg_per_kg_h = inf\n"), testing::HasSubstr("from 1 to 2000"));
    EXPECT_THAT(said("[fish]\nmass_kg = [1, \"x\"]\n"), testing::HasSubstr("mass_kg"));
}

TEST(Simulate, a_study_of_many_gigabytes_is_refused_before_it_is_made) {
    auto plan = plan_of(small_plan());
    plan.study.fish_per_day.assign(300, plan.study.fish_per_day.front());
    for (auto& trace : plan.traces) {
        trace.interval_s = 0.1;
    }
    const Folder folder;
    const auto made = simulate_study(plan, 7, folder.path());
    ASSERT_FALSE(made);
    EXPECT_THAT(made.error().text(), testing::HasSubstr("at most 4 GB"));
    EXPECT_FALSE(fs::exists(folder.path()));
}

TEST(Simulate, writes_over_nothing) {
    const auto plan = plan_of(small_plan());
    const Folder folder;
    fs::create_directories(folder.path());
    ASSERT_TRUE(write_file_whole(folder.path() / "mine.txt", "mine"));
    EXPECT_EQ(simulate_study(plan, 7, folder.path()).error().code, ErrorCode::bad_usage);
    EXPECT_EQ(simulate_study(plan, 7, "").error().code, ErrorCode::bad_usage);
    EXPECT_EQ(*read_file(folder.path() / "mine.txt"), "mine");
}

// The oxygen that the files say has gone from each sealed spell is what fish and microbes took up by the
// truth: with a perfect sensor, one cell and nine decimals only the two-second reading grid is between them.
TEST(Simulate, the_files_hold_the_physics_that_the_truth_tells) {
    const auto plan =
        plan_of(small_plan(perfect_sensor + "\nloop_l = 0", "oxygen_decimals = 9", "oxygen_decimals = 9"));
    const Folder folder;
    ASSERT_TRUE(simulate_study(plan, 7, folder.path()));
    std::map<std::string, double> level; // by "chamber time"
    for (const auto* trace : {"boat", "shore"}) {
        const auto& chambers = plan.traces[trace == std::string("boat") ? 0 : 1].chambers;
        for (const auto& entry : fs::directory_iterator(folder.path() / "raw" / trace)) {
            const auto all = rows(*read_file(entry.path()), ',');
            for (std::size_t r = 1; r < all.size(); ++r) {
                for (std::size_t c = 0; c < chambers.size(); ++c) {
                    level[chambers[c] + " " + all[r][0]] = *parse_number(all[r][1 + (3 * c)]);
                }
            }
        }
    }
    std::size_t checked = 0;
    for (const auto& spell : table(folder.path() / "truth/spells.csv")) {
        const auto from = *parse_iso(spell.at("settled"));
        const auto to = *parse_iso(spell.at("sealed_to"));
        const auto first = level.find(spell.at("assembly") + " " + spell.at("settled"));
        const auto last = level.find(spell.at("assembly") + " " + spell.at("sealed_to"));
        if (first == level.end() || last == level.end()) {
            continue; // its ends fall between two readings
        }
        const double breathed =
            (spell.at("uptake_mg_per_h").empty() ? 0.0 : *parse_number(spell.at("uptake_mg_per_h"))) +
            *parse_number(spell.at("microbes_mg_per_h"));
        const double gone =
            (first->second - last->second) * *parse_number(spell.at("water_l")) / (to - from).hours();
        // The truth is printed with 7 digits.
        EXPECT_NEAR(gone, breathed, breathed * 2e-6 + 1e-6) << spell.at("stay") << " " << spell.at("settled");
        ++checked;
    }
    EXPECT_GT(checked, 40U);
}

TEST(Simulate, every_oxygen_unit_says_the_same_water) {
    for (const auto* unit : {"mg/L", "umol/L", "mL/L", "%", "kPa", "hPa", "mmHg"}) {
        const auto plan = plan_of(small_plan(
            perfect_sensor,
            fmt::format("oxygen_unit = \"{}\"\noxygen_decimals = 7\ntemperature_decimals = 7", unit)));
        const auto season = lay_out(plan, 3);
        const Folder folder;
        const auto written = write_trace(plan, *season, 0, 3, folder.path());
        ASSERT_TRUE(written) << written.error().text();
        const auto all = rows(*read_file(folder.path() / written->files.at(0)), ',');
        const auto readings = read_session(plan, *season, 0, 0, 3);
        const double value = *parse_number(all[500][1]);
        const water::WaterConditions water{.temperature = Temperature::celsius(*parse_number(all[500][2])),
                                           .salinity = Salinity::practical(plan.water.salinity),
                                           .pressure = Pressure::kilopascals(plan.water.pressure_kpa)};
        const std::string name(unit);
        const double mg =
            name == "mg/L"     ? value
            : name == "umol/L" ? Oxygen::umol_per_l(value).mg_per_l()
            : name == "mL/L"   ? Oxygen::ml_per_l(value).mg_per_l()
            : name == "%"      ? water::oxygen_from(AirSaturation::percent(value), water).mg_per_l()
            : name == "kPa"    ? water::oxygen_from(OxygenPressure::kilopascals(value), water).mg_per_l()
            : name == "hPa"    ? water::oxygen_from(OxygenPressure::hectopascals(value), water).mg_per_l()
                               : water::oxygen_from(OxygenPressure::mmhg(value), water).mg_per_l();
        EXPECT_NEAR(mg, readings->chambers[0].oxygen_mg_per_l[499], 1e-6) << unit;
    }
}

TEST(Simulate, a_logger_in_the_wrong_water_is_wrong_by_the_solubility) {
    const auto plan =
        plan_of(small_plan(perfect_sensor, "assumed_salinity = 0\nassumed_pressure_kpa = "
                                           "101.325\noxygen_decimals = 7\ntemperature_decimals = 7"));
    const auto season = lay_out(plan, 3);
    const Folder folder;
    const auto written = write_trace(plan, *season, 0, 3, folder.path());
    const auto all = rows(*read_file(folder.path() / written->files.at(0)), ',');
    const auto t = Temperature::celsius(*parse_number(all[500][2]));
    const auto undone =
        water::with_true_water(Oxygen::mg_per_l(*parse_number(all[500][1])), {.temperature = t},
                               {.temperature = t,
                                .salinity = Salinity::practical(plan.water.salinity),
                                .pressure = Pressure::kilopascals(plan.water.pressure_kpa)});
    EXPECT_NEAR(undone.mg_per_l(), read_session(plan, *season, 0, 0, 3)->chambers[0].oxygen_mg_per_l[499],
                1e-6);
}

/// The boat's first file under the given settings.
std::string boat_file(const std::string& settings) {
    const auto plan = plan_of(small_plan("", settings));
    const Folder folder;
    EXPECT_TRUE(simulate_study(plan, 7, folder.path()));
    return only_file(folder.path() / "raw/boat");
}

TEST(Simulate, dialects_are_what_the_plan_says) {
    // Europe/Oslo in June is UTC+2; the session's first second is the same in all.
    const auto plain = boat_file("");
    EXPECT_TRUE(plain.starts_with("time,O2_tube (mg/L),Temp_tube (\xC2\xB0"
                                  "C),Pump_tube\n2026-06-08T"))
        << plain.substr(0, 80);
    const auto moment = parse_iso(rows(plain, ',')[1][0]);
    ASSERT_TRUE(moment);
    const auto local = iso_text(*moment + Duration::hours(2));

    const auto comma = boat_file(
        "time = \"day_first\"\nseparator = \"semicolon\"\ndecimal = \"comma\"\nwindows_lines = true");
    const auto comma_rows = rows(comma, ';');
    EXPECT_EQ(comma_rows[1][0], fmt::format("{}.{}.{} {}", local.substr(8, 2), local.substr(5, 2),
                                            local.substr(0, 4), local.substr(11, 8)));
    EXPECT_NE(comma_rows[1][1].find(','), std::string::npos);
    EXPECT_NE(comma.find("\r\n"), std::string::npos);

    const auto wide_characters = boat_file("encoding = \"utf16\"");
    EXPECT_EQ(wide_characters.substr(0, 4), std::string("\xFF\xFEt\0", 4));
    EXPECT_EQ(wide_characters.size(), 2 + (2 * (plain.size() - 1))); // the degree sign has two bytes in UTF-8
    EXPECT_NE(boat_file("encoding = \"latin1\"")
                  .find("(\xB0"
                        "C)"),
              std::string::npos);
    EXPECT_TRUE(boat_file("encoding = \"utf8_bom\"").starts_with("\xEF\xBB\xBFtime"));

    const auto elapsed = boat_file("time = \"elapsed\"\nfiles = \"by_session\"\npreamble = true");
    EXPECT_NE(elapsed.find("Start time: " + local.substr(0, 19) + "\n"), std::string::npos)
        << elapsed.substr(0, 200);
    EXPECT_NE(elapsed.find("\n0,"), std::string::npos);
    EXPECT_NE(elapsed.find("\n2,"), std::string::npos);

    const auto spreadsheet = rows(boat_file("time = \"spreadsheet\""), ',');
    // 2026-06-08 is day 46181 of spreadsheets (2026-01-01 is 46023).
    EXPECT_EQ(std::floor(*parse_number(spreadsheet[1][0])), 46181.0);
    EXPECT_EQ(rows(boat_file("time = \"epoch\""), ',')[1][0], fmt::format("{:.0f}", moment->unix_seconds()));
    EXPECT_NE(boat_file("time = \"month_first_12h\"").find("\n06/08/2026 "), std::string::npos);

    const auto long_form = rows(boat_file("shape = \"long\""), ',');
    EXPECT_EQ(long_form[0][1], "chamber");
    EXPECT_EQ(long_form[1][1], "tube");
    const auto fahrenheit = rows(boat_file("temperature_unit = \"F\""), ',');
    EXPECT_NEAR(*parse_number(fahrenheit[1][2]), (*parse_number(rows(plain, ',')[1][2]) * 1.8) + 32.0, 0.02);
}

TEST(Simulate, a_pump_log_tells_what_the_column_would_have) {
    const auto plan = plan_of(small_plan("", "pump = \"log\""));
    const Folder folder;
    ASSERT_TRUE(simulate_study(plan, 7, folder.path()));
    const auto log = table(folder.path() / "raw/boat_pumps/pumps.csv");
    const auto season = lay_out(plan, 7);
    ASSERT_FALSE(log.empty());
    for (const auto& row : log) {
        const auto shown = parse_iso(row.at("time"));
        ASSERT_TRUE(shown) << row.at("time");
        const double t = (*shown - season->zero).seconds() - 3.0; // the controller's clock is 3 s ahead
        EXPECT_EQ(row.at("pump") == "flush", flush_commanded(season->chambers[0], t + 0.6));
    }
    EXPECT_EQ(boat_file("pump = \"log\"").find("Pump"), std::string::npos);
}

// --- faults: each is seen where it was planted, against the same study without it
// ------------------------------------

Readings shore(const std::string& faults, std::uint64_t seed = 7, std::size_t session = 0) {
    const auto plan = plan_of(small_plan(perfect_sensor, "", "", faults));
    const auto season = lay_out(plan, seed);
    EXPECT_TRUE(season) << season.error().text();
    return *read_session(plan, *season, 1, session, seed);
}

struct Planted {
    Season season;
    SimulationPlan plan;
    Span span;
    std::size_t chamber = 0; ///< within the shore trace
};

Planted planted(const std::string& faults) {
    Planted p;
    p.plan = plan_of(small_plan(perfect_sensor, "", "", faults));
    p.season = *lay_out(p.plan, 7);
    const auto& stay = p.season.stays[p.season.fish[0].night_stay];
    p.chamber = stay.chamber - 1;
    p.span = {p.season.planted.back().from_s, p.season.planted.back().to_s};
    return p;
}

double at(const Readings& readings, std::size_t chamber, double t_s) {
    const auto after = std::lower_bound(readings.true_s.begin(), readings.true_s.end(), t_s);
    return readings.chambers[chamber]
        .oxygen_mg_per_l[static_cast<std::size_t>(after - readings.true_s.begin())];
}

TEST(SimulateFaults, a_dead_pump_lets_the_oxygen_fall_while_its_record_says_flush) {
    const std::string fault = "[[fault]]\nkind = \"dead_pump\"\nfish = 1\nafter_h = 6\nhours = 1.5\n";
    const auto p = planted(fault);
    const auto with = shore(fault);
    const auto without = shore("");
    EXPECT_EQ(with.chambers[p.chamber].flush, without.chambers[p.chamber].flush);
    EXPECT_NEAR(at(with, p.chamber, p.span.from_s - 20), at(without, p.chamber, p.span.from_s - 20), 1e-12);
    EXPECT_LT(at(with, p.chamber, p.span.to_s - 10), at(without, p.chamber, p.span.to_s - 10) - 1.5);
    EXPECT_NEAR(at(with, p.chamber, p.span.to_s + 7200), at(without, p.chamber, p.span.to_s + 7200), 0.01);
}

TEST(SimulateFaults, a_leak_and_a_bubble_flatten_the_fall) {
    for (const auto* text :
         {"[[fault]]\nkind = \"leak\"\nfish = 1\nafter_h = 6\nhours = 2\namount = 0.5\n",
          "[[fault]]\nkind = \"bubble\"\nfish = 1\nafter_h = 6\nhours = 2\namount = 400\n"}) {
        const auto p = planted(text);
        const auto with = shore(text);
        const auto without = shore("");
        // A sealed spell well inside the fault.
        const auto& stay = p.season.stays[p.season.fish[0].night_stay];
        const auto spell = *std::find_if(stay.sealed.begin(), stay.sealed.end(),
                                         [&](const Span& s) { return s.from_s > p.span.from_s + 3600; });
        const auto fall = [&](const Readings& r) {
            return at(r, p.chamber, spell.from_s + 10) - at(r, p.chamber, spell.to_s - 10);
        };
        EXPECT_LT(fall(with), 0.97 * fall(without)) << text;
        EXPECT_GT(fall(with), 0.3 * fall(without)) << text;
    }
}

TEST(SimulateFaults, a_bubble_on_the_sensor_steps_up_and_back) {
    const std::string fault =
        "[[fault]]\nkind = \"sensor_bubble\"\nfish = 1\nafter_h = 6.1\nhours = 0.05\namount = 0.5\n";
    const auto p = planted(fault);
    const auto with = shore(fault);
    const auto without = shore("");
    EXPECT_GT(at(with, p.chamber, p.span.from_s + 20), at(without, p.chamber, p.span.from_s + 20) + 0.02);
    EXPECT_NEAR(at(with, p.chamber, p.span.to_s + 20), at(without, p.chamber, p.span.to_s + 20), 1e-12);
}

TEST(SimulateFaults, a_gap_leaves_rows_out_and_touches_no_other) {
    const std::string fault = "[[fault]]\nkind = \"gap\"\nfish = 1\nafter_h = 6\nhours = 0.5\n";
    const auto p = planted(fault);
    const auto with = shore(fault);
    const auto without = shore("");
    EXPECT_EQ(without.true_s.size() - with.true_s.size(), 180U); // half an hour of readings every 10 s
    EXPECT_EQ(at(with, p.chamber, p.span.to_s + 100), at(without, p.chamber, p.span.to_s + 100));
}

TEST(SimulateFaults, a_slipped_clock_shows_another_time_and_its_checks_tell) {
    const std::string fault = "[[fault]]\nkind = \"clock_slip\"\nname = \"boat\"\nday = 2\namount = -300\n";
    const auto plan = plan_of(small_plan("", "", "", fault));
    const auto season = lay_out(plan, 7);
    const auto last = season->sessions[0].size() - 1;
    const auto slipped = read_session(plan, *season, 0, last, 7);
    const auto straight = read_session(plan_of(small_plan()), *season, 0, last, 7);
    EXPECT_EQ(straight->shown_ns.size(), slipped->shown_ns.size());
    EXPECT_NEAR(static_cast<double>(season->zero.unix_nanoseconds()) * 1e-9 + slipped->true_s[10] -
                    static_cast<double>(slipped->shown_ns[10]) * 1e-9,
                300.0, 1e-3);
    const Folder folder;
    ASSERT_TRUE(simulate_study(plan, 7, folder.path()));
    for (const auto& check : table(folder.path() / "clock_checks.csv")) {
        if (check.at("clock") == "boat") {
            const double error = (*parse_iso(check.at("shown")) - *parse_iso(check.at("true"))).seconds();
            const bool second_day = *parse_iso(check.at("true")) > season->instant(86400 + 18000);
            EXPECT_NEAR(error, second_day ? -300.0 : 0.0, 2.5) << check.at("true");
        }
    }
}

TEST(SimulateFaults, a_torn_file_ends_inside_a_line) {
    const std::string fault = "[[fault]]\nkind = \"torn_file\"\nname = \"boat\"\nday = 2\n";
    const auto plan = plan_of(small_plan("", "", "", fault));
    const Folder torn;
    const Folder whole;
    ASSERT_TRUE(simulate_study(plan, 7, torn.path()));
    ASSERT_TRUE(simulate_study(plan_of(small_plan()), 7, whole.path()));
    const auto text = *read_file(torn.path() / "raw/boat/2026-06-09.csv");
    const auto full = *read_file(whole.path() / "raw/boat/2026-06-09.csv");
    EXPECT_NE(text.back(), '\n');
    EXPECT_TRUE(full.starts_with(text));
    EXPECT_LT(full.size() - text.size(), 40U);
}

TEST(SimulateFaults, a_swapped_sensor_is_another_sensor_from_then_on) {
    const std::string fault = "[[fault]]\nkind = \"sensor_swap\"\nfish = 1\nafter_h = 6\nname = \"spare\"\n";
    const auto plan = plan_of(small_plan("", "", "", fault));
    const Folder folder;
    ASSERT_TRUE(simulate_study(plan, 7, folder.path()));
    const auto season = lay_out(plan, 7);
    const auto& room = season->chambers[season->stays[season->fish[0].night_stay].chamber];
    ASSERT_EQ(room.sensors.size(), 2U);
    EXPECT_NE(room.sensors[0].gain, room.sensors[1].gain);
    std::size_t assemblies = 0;
    for (const auto& row : table(folder.path() / "assemblies.csv")) {
        assemblies += row.at("sensor") == "spare" ? 1 : 0;
    }
    EXPECT_EQ(assemblies, 1U);
    std::size_t calibrations = 0;
    for (const auto& row : table(folder.path() / "calibrations.csv")) {
        calibrations += row.at("sensor") == "spare" ? 1 : 0;
    }
    EXPECT_EQ(calibrations, 4U); // zero and air, before and after
}

TEST(SimulateFaults, a_dead_fish_breathes_no_more_and_is_not_chased) {
    const std::string fault = "[[fault]]\nkind = \"death\"\nfish = 1\nafter_h = 7\nhours = 1\n";
    const auto plan = plan_of(small_plan("", "", "", fault));
    const auto season = lay_out(plan, 7);
    const auto& fish = season->fish[0];
    const double died = *fish.respiration.fish().dies_at_s;
    EXPECT_LT(fish.respiration.at(died + 1800), 0.01);
    EXPECT_FALSE(fish.chase_stay);
    EXPECT_TRUE(season->fish[1].chase_stay);
    const Folder folder;
    ASSERT_TRUE(simulate_study(plan, 7, folder.path()));
    std::string ended;
    for (const auto& row : table(folder.path() / "stays.csv")) {
        if (row.at("fish") == "F01" && row.at("role") == "rest") {
            ended = row.at("ended");
            EXPECT_LT(*parse_iso(row.at("last_good")), season->instant(died));
        }
    }
    EXPECT_EQ(ended, "died");
}

// --- the brief
// ---------------------------------------------------------------------------------------------------------

TEST(SimulationBrief, offers_the_nearest_name) {
    const auto key = parse_plan("[fish]\nmas_kg = [1, 2]\n", "plan.toml");
    ASSERT_FALSE(key);
    EXPECT_EQ(key.error().code, ErrorCode::unknown_name);
    EXPECT_EQ(key.error().remedy, "did you mean \"mass_kg\"?");
    EXPECT_EQ(key.error().place.line, 2U);
    const auto word = parse_plan("[[chamber]]\nkind = \"tuve\"\n", "plan.toml");
    ASSERT_FALSE(word);
    EXPECT_EQ(word.error().remedy, "did you mean \"tube\"?");
    EXPECT_EQ(parse_plan("[fish\n", "plan.toml").error().place.line, 1U);
    EXPECT_EQ(parse_plan("[fisch]\n", "plan.toml").error().code, ErrorCode::unknown_name);
    EXPECT_EQ(parse_plan("[[fish]]\n", "plan.toml").error().code, ErrorCode::bad_setting);
    EXPECT_EQ(parse_plan("[fish]\nq10 = \"two\"\n", "plan.toml").error().code, ErrorCode::bad_setting);
}

TEST(SimulationBrief, refuses_a_key_that_nests_without_end) {
    std::string key = "a";
    for (int part = 0; part < 40'000; ++part) {
        key += ".a";
    }
    const auto plan = parse_plan("[study]\n" + key + " = 1\n", "plan.toml");
    ASSERT_FALSE(plan);
    EXPECT_EQ(plan.error().code, ErrorCode::bad_text);
    EXPECT_EQ(plan.error().place.line, 2U);
}

TEST(SimulationBrief, refuses_what_cannot_be) {
    EXPECT_EQ(parse_plan(small_plan("", "clock = \"none\""), "p").error().code, ErrorCode::bad_setting);
    EXPECT_EQ(parse_plan(small_plan("volume_l = 0"), "p").error().code, ErrorCode::bad_setting);
    EXPECT_EQ(parse_plan(small_plan("", "decimal = \"comma\""), "p").error().code, ErrorCode::bad_setting);
    EXPECT_EQ(parse_plan(small_plan("", "", "", "[[fault]]\nkind = \"gap\"\nfish = 9\n"), "p").error().code,
              ErrorCode::bad_setting);
    EXPECT_EQ(parse_plan(small_plan("", "time = \"elapsed\"\nfiles = \"by_session\""), "p").error().code,
              ErrorCode::bad_setting); // nothing would say since when
    // A fish too big for every chamber.
    const auto plan = plan_of(small_plan("mass_kg = [0.1, 0.2]"));
    EXPECT_EQ(lay_out(plan, 7).error().code, ErrorCode::bad_setting);
}

// --- the demo
// ----------------------------------------------------------------------------------------------------------

class Demo : public testing::Test {
  protected:
    static const SimulationPlan& plan() {
        static const auto made = read_plan(fs::path(BACKEDDY_SOURCE_DIR) / "demo/demo.toml");
        EXPECT_TRUE(made) << made.error().text();
        return *made;
    }
    static const Season& season() {
        static const auto made = lay_out(plan(), 7);
        EXPECT_TRUE(made) << made.error().text();
        return *made;
    }
};

TEST_F(Demo, is_the_study_that_was_promised) {
    EXPECT_EQ(season().fish.size(), 24U);
    EXPECT_EQ(plan().rigs.size(), 2U);
    EXPECT_EQ(plan().unhookings.size(), 2U);
    const auto count = [&](ChamberKind kind) {
        return std::count_if(plan().chambers.begin(), plan().chambers.end(),
                             [&](const ChamberPlan& c) { return c.kind == kind; });
    };
    EXPECT_EQ(count(ChamberKind::tube), 3);
    EXPECT_EQ(count(ChamberKind::shore), 8);
    std::map<std::pair<std::size_t, std::size_t>, int> groups;
    for (const auto& fish : season().fish) {
        ++groups[{fish.rig, fish.unhooking}];
    }
    for (const auto& [group, fish] : groups) {
        EXPECT_EQ(fish, 6) << group.first << " " << group.second;
    }
    std::map<std::string, int> faults;
    for (const auto& fault : season().planted) {
        ++faults[fault.kind];
    }
    EXPECT_EQ(
        faults,
        (std::map<std::string, int>{
            {"clock_slip", 1}, {"dead_pump", 1}, {"death", 1}, {"mistyped_fight", 1}, {"sensor_swap", 1}}));
}

TEST_F(Demo, its_chambers_are_shared_and_never_hold_two) {
    for (std::size_t c = 0; c < plan().chambers.size(); ++c) {
        const auto& stays = season().chambers[c].stays;
        std::set<std::size_t> fish;
        for (std::size_t i = 0; i < stays.size(); ++i) {
            const auto& stay = season().stays[stays[i]];
            EXPECT_LT(stay.span.from_s, stay.span.to_s) << stay.id;
            if (i > 0) {
                EXPECT_LE(season().stays[stays[i - 1]].span.to_s, stay.span.from_s) << stay.id;
            }
            if (stay.fish) {
                fish.insert(*stay.fish);
            }
        }
        EXPECT_GE(fish.size(), 2U) << plan().chambers[c].name;
    }
}

// Plausible salmonids: rest 15-200, peak 150-1000 mg/kg/h, peak over rest 1.5-15 (choice of bounds after
// Brett 1964, Zhang et al. 2020, Mesa et al. 2013).
TEST_F(Demo, its_fish_are_plausible_and_sealed_in_time) {
    for (const auto& fish : season().fish) {
        const auto& tube = season().stays[fish.tube_stay];
        const double wait = tube.span.from_s - fish.back_in_water_s;
        EXPECT_GE(wait, 20.0) << fish.id;
        EXPECT_LE(wait, 120.0) << fish.id;
        const double mass = fish.respiration.fish().mass_kg;
        const auto best = best_minute(plan(), season(), tube);
        ASSERT_TRUE(best) << fish.id;
        const double rest = fish.respiration.fish().resting_mg_per_h;
        EXPECT_GT(rest / mass, 15.0);
        EXPECT_LT(rest / mass, 200.0);
        EXPECT_GT(best->mg_per_h / mass, 150.0) << fish.id;
        EXPECT_LT(best->mg_per_h / mass, 1000.0) << fish.id;
        EXPECT_GT(best->mg_per_h / rest, 1.5);
        EXPECT_LT(best->mg_per_h / rest, 15.0);
        const auto& chamber = season().chambers[tube.chamber];
        const double ratio = (chamber.volume_l + chamber.loop_l) / fish.respiration.fish().volume_l();
        EXPECT_GT(ratio, 9.5) << fish.id;
        EXPECT_LT(ratio, 21.5) << fish.id;
        const auto& night = season().chambers[season().stays[fish.night_stay].chamber];
        EXPECT_GT(night.volume_l / fish.respiration.fish().volume_l(), 28.0) << fish.id;
        EXPECT_LT(night.volume_l / fish.respiration.fish().volume_l(), 55.0) << fish.id;
    }
}

// With other seeds a chamber may stand idle for days between two fish: what grows on its walls from a stay on
// ends with the cleaning. Never to take a twentieth of what the flush brings is a choice; a film that was not
// cleaned off took more than all of it (seeds 6, 10 and 14).
TEST_F(Demo, its_microbes_never_outgrow_a_cleaning_whatever_the_seed) {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const auto other = lay_out(plan(), seed);
        ASSERT_TRUE(other) << seed << ": " << other.error().text();
        for (std::size_t c = 0; c < other->chambers.size(); ++c) {
            const auto& film = other->chambers[c].microbes;
            for (std::size_t i = 0; i < film.size(); ++i) {
                const double until_s = i + 1 < film.size() ? film[i + 1].first : other->end_s;
                EXPECT_LE(film[i].first, until_s);
                const double flush_mg_per_h =
                    60.0 * plan().chambers[c].flow_l_per_min * other->inflow.at(until_s);
                EXPECT_LT(film[i].second.at(until_s), 0.05 * flush_mg_per_h)
                    << "seed " << seed << ", " << plan().chambers[c].name;
            }
        }
        for (const auto& event : other->events) {
            if (event.word != "cleaning") {
                continue;
            }
            const auto& film = other->chambers[chamber_named(plan(), event.assembly)].microbes;
            const auto after = std::upper_bound(film.begin(), film.end(), event.at_s + 1.0,
                                                [](double t, const auto& entry) { return t < entry.first; });
            ASSERT_NE(after, film.begin());
            EXPECT_EQ(std::prev(after)->second.at(event.at_s + 1.0), 0.0)
                << "seed " << seed << ", " << event.assembly;
        }
    }
}

TEST_F(Demo, every_event_of_a_stay_lies_inside_it) {
    std::map<std::string, Span> spans;
    for (const auto& stay : season().stays) {
        spans[stay.id] = stay.span;
    }
    for (const auto& event : season().events) {
        if (!event.stay.empty()) {
            ASSERT_TRUE(spans.contains(event.stay)) << event.stay;
            EXPECT_GE(event.at_s, spans[event.stay].from_s) << event.word;
            EXPECT_LE(event.at_s, spans[event.stay].to_s) << event.word;
        }
    }
}

} // namespace
} // namespace backeddy::simulate
