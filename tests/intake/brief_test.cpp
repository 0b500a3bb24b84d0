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
using testing::Not;
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

TEST(Brief, a_number_is_shown_as_it_is_written) {
    EXPECT_THAT(texts(read_brief("[recovery]\nflat_share = -0.1\n", "study.toml")),
                ElementsAre(AllOf(HasSubstr("-0.1"), Not(HasSubstr("-0.10000")))));
    EXPECT_THAT(texts(read_brief("[recovery]\nshares_above_resting = [0.1, 0.1]\n", "study.toml")),
                ElementsAre(HasSubstr("[0.1, 0.1]")));
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

// ------------------------------------------------------------------------------------------- meters

TEST(BriefMeters, are_read_with_their_pairs_the_meter_first) {
    const auto read = read_brief("[[meter]]\ndevice = \"strip\"\nanalyte = \"lactate\"\nunit = \"mg/dL\"\n"
                                 "error_ratio = 6.25\npairs = [[50, 43.5], [90.5, 80]]\n"
                                 "[[meter]]\ndevice = \"strip\"\nanalyte = \"glucose\"\npairs = []\n",
                                 "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.brief.meters, SizeIs(2));
    const auto& meter = read.brief.meters[0];
    EXPECT_EQ(meter.device, "strip");
    EXPECT_EQ(meter.analyte, condition::Analyte::lactate);
    EXPECT_EQ(meter.unit, "mg/dL");
    EXPECT_EQ(meter.options.error_ratio, 6.25);
    ASSERT_THAT(meter.pairs, SizeIs(2));
    EXPECT_EQ(meter.pairs[0].meter, 50.0);
    EXPECT_EQ(meter.pairs[0].reference, 43.5);
    EXPECT_EQ(meter.place.line, 1U);
    EXPECT_EQ(read.brief.meters[1].analyte, condition::Analyte::glucose);
}

TEST(BriefMeters, what_is_no_pair_is_told_at_its_line) {
    EXPECT_THAT(texts(read_brief("[[meter]]\ndevice = \"strip\"\nanalyte = \"lactat\"\n"
                                 "pairs = [[1, 2],\n [3],\n [4, 5, 6],\n 7]\n",
                                 "study.toml")),
                UnorderedElementsAre(AllOf(HasSubstr("line 3"), HasSubstr("did you mean \"lactate\"?")),
                                     AllOf(HasSubstr("line 5"), HasSubstr("two numbers")),
                                     HasSubstr("line 6"), HasSubstr("line 7")));
    EXPECT_THAT(texts(read_brief("[[meter]]\ndevice = \"\"\npairs = 3\n", "study.toml")),
                UnorderedElementsAre(HasSubstr("[[meter]] has no analyte"), HasSubstr("device is empty"),
                                     HasSubstr("a list of pairs")));
}

// ------------------------------------------------------------------------------------------- questions

TEST(BriefQuestions, are_read_with_every_key_in_the_order_of_the_file) {
    const auto read = read_brief(
        "[[question]]\nname = \"rig_peak\"\nask = \"Does it?\"\noutcome = \"resting\"\n"
        "compare = \"rig\"\nadjust_for = [\"log(mass_g)\", \"rig x day\"]\n"
        "reference = \"single_hook\"\nwithin = \"fish\"\nrandom = [\"day\", \"hours within fish\"]\n"
        "family = \"log_normal\"\nfamily_of_tests = \"peaks\"\nmargin = 0.8\n"
        "better = \"higher\"\nweigh_by_uncertainty = true\n"
        "[[question]]\nname = \"second\"\noutcome = \"died\"\ncompare = \"log(mass_g)\"\n",
        "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.brief.questions, SizeIs(2));
    const auto& first = read.brief.questions[0];
    EXPECT_EQ(first.declared_form(),
              "name = rig_peak; outcome = resting; compare = rig; reference = single_hook; adjust_for = "
              "log(mass_g), rig x day; within = fish; random = day, hours within fish; family = log_normal; "
              "family_of_tests = peaks; better = higher; weigh_by_uncertainty = true; margin = 0.8");
    EXPECT_EQ(first.ask, "Does it?");
    EXPECT_EQ(first.place.line, 1U);
    EXPECT_EQ(read.brief.questions[1].name, "second");
    EXPECT_EQ(read.brief.questions[1].place.line, 15U);
    EXPECT_FALSE(read.brief.questions[1].margin);
}

TEST(BriefQuestions, without_name_outcome_or_compare_or_with_an_empty_one_are_complaints) {
    EXPECT_THAT(
        texts(read_brief("\n[[question]]\nask = \"Why?\"\n", "study.toml")),
        ElementsAre(AllOf(HasSubstr("line 2, column \"name\""), HasSubstr("[[question]] has no name")),
                    HasSubstr("has no outcome"), HasSubstr("has no compare")));
    EXPECT_THAT(
        texts(read_brief("[[question]]\nname = \"\"\noutcome = \"peak\"\ncompare = \"\"\n", "study.toml")),
        ElementsAre(AllOf(HasSubstr("line 2"), HasSubstr("name is empty")),
                    AllOf(HasSubstr("line 4"), HasSubstr("compare is empty"))));
}

TEST(BriefQuestions, of_one_name_are_a_complaint_that_names_the_first) {
    const std::string one = "[[question]]\nname = \"q\"\noutcome = \"peak\"\ncompare = \"rig\"\n";
    EXPECT_THAT(
        texts(read_brief(one + one, "study.toml")),
        ElementsAre(AllOf(HasSubstr("line 6, column \"name\""), HasSubstr("stands in line 1 already"))));
}

TEST(BriefQuestions, whose_texts_do_not_read_are_complaints_at_the_text_s_own_line) {
    const auto read = read_brief(
        "[[question]]\nname = \"#q\"\noutcome = \"peak\"\ncompare = \"rig x \"\n"
        "adjust_for = [\"day\",\n  \"log(mass_g\",\n  \"rig x \"]\nrandom = [\"a within b within c\"]\n"
        "familly = \"normal\"\nfamily = \"gamma\"\n",
        "study.toml");
    EXPECT_THAT(texts(read),
                UnorderedElementsAre(
                    AllOf(HasSubstr("line 2, column \"name\""), HasSubstr("a letter or digit first")),
                    AllOf(HasSubstr("line 4, column \"compare\""), HasSubstr("\"rig x \"")),
                    AllOf(HasSubstr("line 6, column \"adjust_for\""), HasSubstr("\"log(mass_g\"")),
                    AllOf(HasSubstr("line 7, column \"adjust_for\""), HasSubstr("\"rig x \"")),
                    AllOf(HasSubstr("line 8, column \"random\""), HasSubstr("a slope within one")),
                    AllOf(HasSubstr("line 9"), HasSubstr("did you mean \"family\"?")),
                    AllOf(HasSubstr("line 10, column \"family\""), HasSubstr("log_normal"))));
    EXPECT_THAT(texts(read_brief("[question]\nname = \"q\"\n", "study.toml")),
                ElementsAre(HasSubstr("double the brackets")));
}

TEST(BriefQuestions, an_effect_that_is_none_is_a_complaint) {
    const std::string one = "[[question]]\nname = \"q\"\noutcome = \"peak\"\ncompare = \"rig\"\n";
    const auto read = read_brief(one + "effect_wanted = -40\n", "study.toml");
    EXPECT_THAT(texts(read), IsEmpty());
    EXPECT_EQ(read.brief.questions[0].effect_wanted, -40.0);
    EXPECT_THAT(read.brief.questions[0].declared_form(), Not(HasSubstr("effect")));
    EXPECT_THAT(texts(read_brief(one + "effect_wanted = 0\n", "study.toml")),
                ElementsAre(AllOf(HasSubstr("line 5, column \"effect_wanted\""), HasSubstr("other than 0"))));
    for (const char* none : {"1", "-0.2", "0"}) {
        EXPECT_THAT(
            texts(read_brief(one + "family = \"log_normal\"\neffect_wanted = " + none + "\n", "study.toml")),
            ElementsAre(HasSubstr("a ratio above 0 other than 1")));
    }
    EXPECT_THAT(texts(read_brief(one + "family = \"binomial\"\neffect_wanted = 20\n", "study.toml")),
                ElementsAre(HasSubstr("between -1 and 1")));
}

TEST(BriefQuestions, a_margin_and_its_side_come_together) {
    const std::string one = "[[question]]\nname = \"q\"\noutcome = \"peak\"\ncompare = \"rig\"\n";
    EXPECT_THAT(texts(read_brief(one + "margin = 0.8\nbetter = \"lower\"\n", "study.toml")), IsEmpty());
    EXPECT_THAT(texts(read_brief(one + "better = \"not_said\"\n", "study.toml")), IsEmpty());
    for (const char* rest : {"margin = 20\n", "margin = 20\nbetter = \"not_said\"\n"}) {
        EXPECT_THAT(
            texts(read_brief(one + rest, "study.toml")),
            ElementsAre(AllOf(HasSubstr("line 5, column \"margin\""), HasSubstr("a margin without better"))));
    }
    EXPECT_THAT(
        texts(read_brief(one + "better = \"higher\"\n", "study.toml")),
        ElementsAre(AllOf(HasSubstr("line 5, column \"better\""), HasSubstr("better without a margin"))));
    EXPECT_THAT(texts(read_brief(one + "margin = 0\nbetter = \"higher\"\n", "study.toml")),
                ElementsAre(HasSubstr("a margin of 0")));
    EXPECT_THAT(texts(read_brief(one + "margin = -3\nbetter = \"higher\"\n", "study.toml")),
                ElementsAre(HasSubstr("a number of at least 0")));
    // One slip, one complaint.
    EXPECT_THAT(texts(read_brief(one + "margin = 3\nbetter = \"hihger\"\n", "study.toml")),
                ElementsAre(HasSubstr("did you mean \"higher\"?")));
}

TEST(BriefQuestions, those_of_the_template_read_once_their_remarks_are_taken_off) {
    const auto page = brief_template();
    const auto from = page.find("#[[question]]");
    const auto to = page.find("# Every key of a question");
    ASSERT_NE(from, std::string::npos);
    ASSERT_NE(to, std::string::npos);
    std::string text;
    for (std::size_t at = from; at < to;) {
        const auto end = page.find('\n', at);
        if (page[at + 1] != ' ') {
            text += page.substr(at + 1, end - at);
        }
        at = end + 1;
    }
    const auto read = read_brief(text, "study.toml");
    EXPECT_THAT(texts(read), IsEmpty()) << text;
    EXPECT_THAT(read.brief.questions, SizeIs(3));
    for (const auto& setting : study::question_settings()) {
        EXPECT_THAT(page.substr(to), HasSubstr("\n#" + setting.key + " = ")) << setting.key;
    }
}

TEST(Brief, a_stage_of_a_column_knows_its_line) {
    const auto read = read_brief("[columns]\nrig = \"assigned\"\nbait = \"before\"\n", "study.toml");
    ASSERT_TRUE(read.brief.column_places.contains("bait"));
    EXPECT_EQ(read.brief.column_places.at("bait").line, 3U);
}

} // namespace
} // namespace backeddy::intake
