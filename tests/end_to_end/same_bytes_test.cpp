// The same study gives the same bytes, and the same data written in another way the same numbers.

#include <array>
#include <fstream>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "app/run.hpp"
#include "report/schema_check.hpp"
#include "simulate/simulate.hpp"
#include "support/lines_of.hpp"
#include "support/small_study.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;

constexpr std::array<const char*, 10> result_names{
    "uptake_by_spell.csv", "uptake_by_stay.csv",   "uptake_by_fish.csv", "catch_by_rig.csv",
    "findings.csv",        "results.json",         "report.html",        "condition_by_fish.csv",
    "blood_by_value.csv",  "plate_by_material.csv"};
constexpr std::array<const char*, 3> table_names{"uptake_by_spell.csv", "uptake_by_stay.csv",
                                                 "uptake_by_fish.csv"};

using Files = std::map<std::string, std::string>;

Files results_of_study(const fs::path& study, const fs::path& out, unsigned threads) {
    const app::Work work{.threads = {.count = threads}};
    auto opened = app::open_study(study, work);
    EXPECT_TRUE(opened) << opened.error().text();
    for (const auto& complaint : opened->complaints) {
        EXPECT_EQ(complaint.severity, study::Severity::warning) << complaint.error.text();
    }
    const auto run = app::run_study(*opened, work);
    EXPECT_FALSE(study::stops_a_run(run->complaints));
    const auto written = app::write_results(*run, out);
    EXPECT_TRUE(written) << written.error().text();
    Files files;
    for (const char* name : result_names) {
        files[name] = read_file(out / name).value();
    }
    return files;
}

Files results_of_files(const test::StudyFiles& study) {
    test::ScratchFolder folder("same_bytes_hand");
    test::write_all(folder, study);
    return results_of_study(folder.path(), folder.path() / "results", 2);
}

void expect_same_tables(const Files& a, const Files& b) {
    for (const char* name : table_names) {
        EXPECT_EQ(a.at(name), b.at(name)) << name;
    }
}

/// The demo's plan cut down to four fish of two days and without its faults, which name fish that are gone.
std::string small_plan() {
    auto text = read_file(fs::path(BACKEDDY_SOURCE_DIR) / "demo/demo.toml").value();
    text = text.substr(0, text.find("# What went wrong."));
    return test::with(text, "fish_per_day = [2, 3, 3, 2, 3, 3, 2, 3, 3]", "fish_per_day = [2, 2]");
}

class SameBytes : public testing::Test {
  protected:
    static void SetUpTestSuite() {
        scratch() = std::make_unique<test::ScratchFolder>("same_bytes");
        scratch()->write("plan.toml", small_plan());
        const auto plan = simulate::read_plan(scratch()->path() / "plan.toml");
        ASSERT_TRUE(plan) << plan.error().text();
        const auto made = simulate::simulate_study(*plan, 11, study(), {.count = 2});
        ASSERT_TRUE(made) << made.error().text();
        ASSERT_EQ(made->fish, 4U);
        first() = results_of_study(study(), scratch()->path() / "first", 2);
    }
    static void TearDownTestSuite() { scratch().reset(); }

    static std::unique_ptr<test::ScratchFolder>& scratch() {
        static std::unique_ptr<test::ScratchFolder> value;
        return value;
    }
    static fs::path study() { return scratch()->path() / "study"; }
    static Files& first() {
        static Files value;
        return value;
    }
};

TEST_F(SameBytes, one_two_or_five_threads_and_a_second_run_write_the_same_five_files) {
    for (const unsigned threads : {2U, 1U, 5U}) {
        const auto again = results_of_study(study(), scratch()->path() / "again", threads);
        for (const char* name : result_names) {
            EXPECT_EQ(again.at(name) == first().at(name), true)
                << name << " differs with " << threads << " threads";
        }
    }
}

TEST_F(SameBytes, the_study_may_lie_anywhere) {
    const auto elsewhere = scratch()->path() / "a folder [of] others*";
    fs::copy(study(), elsewhere, fs::copy_options::recursive);
    const auto moved = results_of_study(elsewhere, scratch()->path() / "moved", 2);
    for (const char* name : result_names) {
        EXPECT_EQ(moved.at(name) == first().at(name), true) << name;
    }
}

TEST_F(SameBytes, results_hold_to_their_schema) {
    std::ifstream file(fs::path(BACKEDDY_SOURCE_DIR) / "src/report/results.schema.json");
    const auto schema = nlohmann::json::parse(file);
    const auto document = nlohmann::json::parse(first().at("results.json"));
    EXPECT_THAT(report::schema_errors(schema, document), testing::IsEmpty());
    EXPECT_EQ(document.at("fish").size(), 4U);
}

TEST_F(SameBytes, no_path_of_the_machine_and_no_time_of_the_run_is_inside) {
    for (const char* name : result_names) {
        const auto& text = first().at(name);
        EXPECT_EQ(text.find(scratch()->path().string()), std::string::npos) << name;
        EXPECT_EQ(text.find(scratch()->path().filename().string()), std::string::npos) << name;
        const auto today =
            iso_text(Instant::unix_nanoseconds(std::chrono::system_clock::now().time_since_epoch().count()));
        EXPECT_EQ(text.find(today.substr(0, 10)), std::string::npos) << name;
    }
}

// ---------------------------------------------------------------- the same readings, written in another way

std::string joined_lines(const std::vector<std::string>& lines, std::size_t from, std::size_t to) {
    std::string out = lines.front() + "\n";
    for (std::size_t i = from; i < to; ++i) {
        out += lines[i] + "\n";
    }
    return out;
}

std::string utf16_le(const std::string& ascii) {
    std::string out = "\xFF\xFE";
    for (const char c : ascii) {
        out += c;
        out += '\0';
    }
    return out;
}

TEST(SameBytesRewritten, a_raw_file_split_in_two_gives_the_same_numbers) {
    const auto whole = test::small_study();
    const auto lines = test::lines_of(whole.at("raw/boat.csv"));
    auto split = whole;
    split.erase("raw/boat.csv");
    // In the middle of a sealed spell of the night, and the later part under the name that sorts first.
    split["raw/boat_b.csv"] = joined_lines(lines, 1, 9001);
    split["raw/boat_a.csv"] = joined_lines(lines, 9001, lines.size());
    expect_same_tables(results_of_files(whole), results_of_files(split));
}

TEST(SameBytesRewritten, another_dialect_of_the_same_readings_gives_the_same_numbers) {
    const auto plain = test::small_study();
    std::string text = "Zeit;o2_mgL;temp_C;pump\r\n";
    std::istringstream stream(plain.at("raw/boat.csv"));
    std::string line;
    std::getline(stream, line);
    while (std::getline(stream, line)) {
        // 2026-06-14T08:00:00Z,9.5,12.0,1 -> 14/06/2026 08:00:00;9,5;12,0;1
        std::string rest = line.substr(20);
        for (char& c : rest) {
            c = c == ',' ? ';' : c == '.' ? ',' : c;
        }
        text += "14/06/2026 " + line.substr(11, 8) + rest + "\r\n";
    }
    auto other = plain;
    other["raw/boat.csv"] = utf16_le(text);
    other["study.toml"] += "date_order = \"day_month_year\"\nzone = \"UTC\"\n";
    expect_same_tables(results_of_files(plain), results_of_files(other));
}

TEST(SameBytesRewritten, tables_of_a_spreadsheet_with_semicolons_and_decimal_commas_give_the_same_numbers) {
    const auto plain = test::small_study();
    auto other = plain;
    for (const char* name : {"fish.csv", "assemblies.csv", "calibrations.csv", "stays.csv", "events.csv"}) {
        auto& text = other[name];
        for (char& c : text) {
            c = c == ',' ? ';' : c == '.' ? ',' : c;
        }
    }
    expect_same_tables(results_of_files(plain), results_of_files(other));
}

TEST(SameBytesRewritten, a_clock_an_hour_ahead_and_said_so_gives_the_same_numbers) {
    const auto plain = test::small_study();
    auto other = plain;
    auto& raw = other["raw/boat.csv"];
    std::string moved = "time,o2_mgL,temp_C,pump\n";
    std::istringstream stream(raw);
    std::string line;
    std::getline(stream, line);
    while (std::getline(stream, line)) {
        const auto at = *parse_iso(line.substr(0, 20));
        moved += iso_text(at + Duration::hours(1.0)) + line.substr(20) + "\n";
    }
    raw = moved;
    other["clock_checks.csv"] = "clock,shown,true,uncertainty_s\n"
                                "boat,2026-06-14T09:00:00Z,2026-06-14T08:00:00Z,5\n";
    auto checked = plain;
    checked["clock_checks.csv"] = "clock,shown,true,uncertainty_s\n"
                                  "boat,2026-06-14T08:00:00Z,2026-06-14T08:00:00Z,5\n";
    expect_same_tables(results_of_files(checked), results_of_files(other));
}

} // namespace
} // namespace backeddy
