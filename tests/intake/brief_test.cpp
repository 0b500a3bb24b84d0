#include "intake/brief.hpp"

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "intake/template.hpp"
#include "study/settings.hpp"

namespace backeddy::intake {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;
using testing::UnorderedElementsAre;

std::vector<std::string> texts(const BriefRead& read) {
    std::vector<std::string> out;
    for (const auto& complaint : read.complaints) {
        out.push_back(complaint.error.text());
    }
    return out;
}

TEST(Brief, the_template_reads_without_a_complaint_and_changes_no_default) {
    const auto read = read_brief(brief_template(), "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    for (const auto& used : study::settings_used(read.brief)) {
        EXPECT_TRUE(used.is_default || used.section == "study") << used.section << "." << used.key;
    }
}

TEST(Brief, every_setting_reads_back_at_its_default) {
    std::string text;
    for (const auto& section : study::sections()) {
        text += "[" + section.name + "]\n";
        for (const auto& setting : study::settings()) {
            const auto usual = study::toml_text(setting.get(study::Brief()));
            if (setting.section == section.name && !usual.empty() && usual != "\"\"") {
                text += setting.key + " = " + usual + "\n";
            }
        }
    }
    const auto read = read_brief(text, "study.toml");
    EXPECT_THAT(texts(read), IsEmpty()) << text;
    for (const auto& used : study::settings_used(read.brief)) {
        EXPECT_TRUE(used.is_default) << used.section << "." << used.key << " = " << used.value;
    }
}

TEST(Brief, an_unknown_key_offers_a_near_name_with_its_line) {
    const auto read = read_brief("[peak]\nwindw_s = 90\n", "study.toml");
    ASSERT_THAT(read.complaints, SizeIs(1));
    EXPECT_EQ(read.complaints[0].error.place.line, 2U);
    EXPECT_EQ(read.complaints[0].error.code, ErrorCode::unknown_name);
    EXPECT_THAT(texts(read), ElementsAre(HasSubstr("window_s")));
}

TEST(Brief, all_faults_are_reported_each_with_its_line_and_the_defaults_stay) {
    const auto read =
        read_brief("[peak]\nwindow_s = \"60 s\"\n[resting]\ndraws = 5\n[background]\nvolume = \"whole\"\n"
                   "[reportt]\ndrawn_points = 500\n",
                   "study.toml");
    std::vector<std::uint64_t> lines;
    for (const auto& complaint : read.complaints) {
        lines.push_back(complaint.error.place.line.value_or(0));
        EXPECT_EQ(complaint.severity, study::Severity::stops_the_run);
    }
    EXPECT_THAT(lines, UnorderedElementsAre(2U, 4U, 6U, 7U));
    EXPECT_EQ(read.brief.peak.window, Duration::seconds(60.0));
    EXPECT_EQ(read.brief.resting.draws, 2000U);
}

TEST(Brief, bounds_the_wrong_way_round_stop_at_their_key) {
    for (const auto& [text, key] : std::vector<std::pair<std::string, std::string>>{
             {"[plausible]\nresting_least_mg_per_kg_h = 900\nresting_most_mg_per_kg_h = 10\n",
              "resting_least_mg_per_kg_h"},
             {"[plausible]\npeak_most_mg_per_kg_h = 0\n", "peak_most_mg_per_kg_h"},
             {"[marks]\ntoo_few_readings = 60\nfew_readings = 20\n", "too_few_readings"},
             {"[readings]\ntemperature_least_c = 30\ntemperature_most_c = 20\n", "temperature_least_c"},
             {"[[season]]\nname = \"spring\"\nfrom = \"2026-03-01 00:00\"\nto = \"2026-06-01 00:00\"\n"
              "[season.marks]\ntoo_few_readings = 60\nfew_readings = 20\n",
              "too_few_readings"}}) {
        const auto read = read_brief(text, "study.toml");
        ASSERT_THAT(read.complaints, SizeIs(1)) << text;
        EXPECT_EQ(read.complaints[0].severity, study::Severity::stops_the_run);
        EXPECT_EQ(read.complaints[0].error.code, ErrorCode::bad_relation);
        EXPECT_EQ(read.complaints[0].error.place.column, key);
        EXPECT_THAT(read.complaints[0].error.found, HasSubstr("lies above"));
    }
    EXPECT_THAT(texts(read_brief("[marks]\ntoo_few_readings = 20\nfew_readings = 20\n", "study.toml")),
                IsEmpty());
}

TEST(Brief, a_list_of_numbers_is_neither_empty_nor_says_one_twice) {
    for (const auto* text :
         {"[peak]\ncurve_windows_s = []\n", "[peak]\ncurve_windows_s = [60, 30, 60]\n",
          "[recovery]\nshares_above_resting = []\n", "[recovery]\nshares_above_resting = [0, 0.1]\n",
          "[recovery]\nshares_above_resting = [0.1, 0.1]\n"}) {
        const auto read = read_brief(text, "study.toml");
        ASSERT_THAT(read.complaints, SizeIs(1)) << text;
        EXPECT_EQ(read.complaints[0].error.place.line, 2U);
        EXPECT_EQ(read.complaints[0].severity, study::Severity::stops_the_run);
        EXPECT_THAT(read.complaints[0].error.expected, HasSubstr("at least one and none twice"));
    }
}

TEST(Brief, text_that_is_no_toml_is_one_complaint_with_its_line) {
    const auto read = read_brief("[study]\ntitle = \"open\n", "study.toml");
    ASSERT_THAT(read.complaints, SizeIs(1));
    EXPECT_EQ(read.complaints[0].error.place.line, 2U);
}

TEST(Brief, paths_stay_inside_the_folder) {
    for (const auto* path : {"../raw/a.csv", "/raw/a.csv", "raw/../../a.csv", "raw/.."}) {
        const auto read =
            read_brief(std::string("[[trace]]\nname = \"boat\"\nfiles = [\"") + path + "\"]\n", "study.toml");
        EXPECT_TRUE(study::stops_a_run(read.complaints)) << path;
    }
    EXPECT_THAT(texts(read_brief("[[trace]]\nname = \"boat\"\nfiles = [\"raw/b..t/*.csv\"]\n", "study.toml")),
                IsEmpty());
}

TEST(Brief, a_trace_becomes_what_the_reader_takes) {
    const auto read =
        read_brief("[study]\nzone = \"Europe/Oslo\"\n[[trace]]\nname = \"boat\"\nfiles = [\"raw/*.csv\"]\n"
                   "delimiter = \"semicolon\"\ndecimal = \"comma\"\ndate_order = \"day_month_year\"\n"
                   "assumed_salinity = 0\n[[trace.column]]\nheader = \"DO\"\nuse = \"oxygen\"\n"
                   "unit = \"% air\"\nchannel = \"O2\"\n",
                   "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.brief.traces, SizeIs(1));
    EXPECT_EQ(read.brief.traces[0].assumed_salinity->practical(), 0.0);
    const auto settings = read_settings(read.brief.traces[0], read.brief.study.zone);
    ASSERT_TRUE(settings.has_value());
    EXPECT_EQ(settings->delimiter, Delimiter::semicolon);
    EXPECT_EQ(settings->decimal, DecimalMark::comma);
    EXPECT_EQ(settings->date_order, DateOrder::day_month_year);
    EXPECT_EQ(settings->usual_zone, "Europe/Oslo");
    ASSERT_THAT(settings->columns, SizeIs(1));
    EXPECT_EQ(settings->columns[0].use, ColumnUse::oxygen);
    EXPECT_EQ(settings->columns[0].channel, "O2");
}

TEST(Brief, the_study_s_zone_stands_behind_what_a_file_says_of_itself) {
    const auto read = read_brief("[study]\nzone = \"Europe/Oslo\"\n[[trace]]\nname = \"boat\"\n"
                                 "files = [\"raw/boat.csv\"]\n",
                                 "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    const auto settings = read_settings(read.brief.traces.at(0), read.brief.study.zone);
    ASSERT_TRUE(settings.has_value());
    EXPECT_EQ(settings->zone, "");
    EXPECT_EQ(settings->usual_zone, "Europe/Oslo");
}

TEST(Brief, a_key_of_a_hundred_thousand_parts_is_refused_before_it_is_followed_down) {
    std::string key = "a";
    for (int i = 0; i < 100'000; ++i) {
        key += ".a";
    }
    for (const auto& text : {"\n" + key + " = 1\n", "\n[" + key + "]\n", "\nx = {" + key + " = 1}\n"}) {
        EXPECT_THAT(
            texts(read_brief(text, "study.toml")),
            ElementsAre(AllOf(HasSubstr("study.toml line 2: a line of 2000"), HasSubstr("break the line"))));
    }
    // As deep as a line allows: an unknown section, and no more.
    const auto deep = texts(read_brief(key.substr(0, 8001) + " = 1\n", "study.toml"));
    EXPECT_THAT(deep, ElementsAre(HasSubstr("there is no section \"a\"")));
}

TEST(Brief, a_study_has_the_zone_of_a_place) {
    EXPECT_THAT(
        texts(read_brief("[study]\nzone = \"+02:00\"\n", "study.toml")),
        ElementsAre(AllOf(HasSubstr("study.toml line 2, column \"zone\""), HasSubstr("is an offset"))));
    EXPECT_THAT(texts(read_brief("[study]\nzone = \"Europe/Osol\"\n", "study.toml")),
                ElementsAre(AllOf(HasSubstr("is no time zone"), HasSubstr("did you mean \"Europe/Oslo\"?"))));
}

TEST(Brief, a_season_holds_from_its_start_up_to_its_end) {
    const auto read =
        read_brief("[peak]\nwindow_s = 90\n[[season]]\nname = \"autumn\"\nfrom = \"2026-09-01 00:00\"\n"
                   "to = \"2026-12-01 00:00\"\n[season.peak]\nwindow_s = 120\n",
                   "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    const auto window_at = [&](const char* moment) {
        return read.brief.at(parse_iso(moment).value()).peak.window;
    };
    EXPECT_EQ(window_at("2026-08-31T23:59:59Z"), Duration::seconds(90.0));
    EXPECT_EQ(window_at("2026-09-01T00:00:00Z"), Duration::seconds(120.0));
    EXPECT_EQ(window_at("2026-12-01T00:00:00Z"), Duration::seconds(90.0));
}

std::string season(const std::string& name, const std::string& from, const std::string& to,
                   const std::string& sections) {
    return "[[season]]\nname = \"" + name + "\"\nfrom = \"" + from + "\"\nto = \"" + to + "\"\n" + sections;
}

TEST(Brief, a_season_cannot_change_what_holds_for_the_whole_study) {
    for (const std::string section : {"study]\nzone = \"Europe/Oslo\"\n", "report]\ndrawn_points = 500\n",
                                      "water]\ninflow_oxygen_channel = \"boat:in\"\n"}) {
        const auto read = read_brief(
            season("autumn", "2026-09-01 00:00", "2026-12-01 00:00", "[season." + section), "study.toml");
        EXPECT_THAT(texts(read), ElementsAre(AllOf(HasSubstr("study.toml line "), HasSubstr("\"autumn\""),
                                                   HasSubstr("take it out"))))
            << section;
    }
}

TEST(Brief, two_seasons_at_once_may_not_set_the_same) {
    const auto a = season("wet", "2026-09-01 00:00", "2026-12-01 00:00", "[season.peak]\nwindow_s = 120\n");
    const auto same = read_brief(
        a + season("late", "2026-11-01 00:00", "2027-01-01 00:00", "[season.peak]\nwindow_s = 90\n"),
        "study.toml");
    EXPECT_THAT(texts(same),
                ElementsAre(AllOf(HasSubstr("study.toml line 12"), HasSubstr("\"wet\" and by \"late\""),
                                  HasSubstr("2026-11-01T00:00:00Z to 2026-12-01T00:00:00Z"))));
    const auto other = read_brief(
        a + season("late", "2026-11-01 00:00", "2027-01-01 00:00", "[season.resting]\nblock_h = 2\n"),
        "study.toml");
    EXPECT_THAT(texts(other), IsEmpty());
    const auto after = read_brief(
        a + season("late", "2026-12-01 00:00", "2027-01-01 00:00", "[season.peak]\nwindow_s = 90\n"),
        "study.toml");
    EXPECT_THAT(texts(after), IsEmpty());
}

} // namespace
} // namespace backeddy::intake
