#include "intake/tables.hpp"

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "series/instant.hpp"

namespace backeddy::intake {
namespace {

using study::Severity;
using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const TableContext oslo{.zone = "Europe/Oslo", .clock_zones = {{"boat", "UTC"}}, .edits = {}};

template <typename Row>
std::vector<std::string> texts(const TableRead<Row>& read) {
    std::vector<std::string> out;
    for (const auto& complaint : read.complaints) {
        out.push_back(complaint.error.text());
    }
    return out;
}

Instant at(const char* iso) {
    return parse_iso(iso).value();
}

TEST(Tables, a_fish_is_read_with_its_units_and_its_free_columns) {
    const auto read =
        read_fish("fish,mass_g,fork_length_mm,batch\nst01,812.5,401,A\nst02,,,B\n", "fish.csv", oslo);
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(2));
    EXPECT_EQ(read.rows[0].id.text(), "st01");
    EXPECT_DOUBLE_EQ(read.rows[0].mass->kilograms(), 0.8125);
    EXPECT_EQ(read.rows[0].fork_length_mm, 401.0);
    EXPECT_EQ(read.rows[0].free.at(0).column, "batch");
    EXPECT_EQ(read.rows[0].free.at(0).value, "A");
    EXPECT_FALSE(read.rows[1].mass.has_value()) << "a fish not weighed is no complaint";
    EXPECT_EQ(read.rows[1].place.line, 3U);
    EXPECT_THAT(read.summary.free_columns, ElementsAre("batch"));
}

TEST(Tables, every_way_a_spreadsheet_saves_the_same_table_reads_the_same) {
    const std::string utf16 = [] {
        const std::string text = "fish\tmass_g\tnote\r\nst01\t812,5\tall \"well\"\r\n";
        std::string out = "\xFF\xFE";
        for (const char c : text) {
            out += c;
            out += '\0';
        }
        return out;
    }();
    const std::vector<std::string> forms{
        "fish,mass_g,note\nst01,812.5,\"all \"\"well\"\"\"\n",
        "fish,mass_g,note\nst01,812.5,\"all \"\"well\"\"\"",
        ("\xEF\xBB\xBF"
         "fish;mass_g;note\r\nst01;812,5;\"all \"\"well\"\"\"\r\n"),
        "fish\tmass_g\tnote\nst01\t812,5\tall \"well\"\n",
        "fish,mass_g,note\rst01,\"812,5\",\"all \"\"well\"\"\"\r",
        "sep=;\nfish;mass_g;note\nst01;812,5;\"all \"\"well\"\"\"\n",
        "# sheet 3,,\n\n,,\n Fish , Mass (g) ,NOTE,,\nst01,812.5,\"all \"\"well\"\"\",,\n,,,,\n",
        utf16,
    };
    for (const auto& form : forms) {
        const auto read = read_fish(form, "fish.csv", oslo);
        EXPECT_THAT(texts(read), IsEmpty()) << form;
        ASSERT_THAT(read.rows, SizeIs(1)) << form;
        EXPECT_DOUBLE_EQ(read.rows[0].mass.value().grams(), 812.5) << form;
        EXPECT_EQ(read.rows[0].note, "all \"well\"") << form;
    }
}

TEST(Tables, a_quoted_cell_may_run_over_lines_and_the_next_row_keeps_its_line) {
    const auto read = read_fish("fish,note\nst01,\"one\ntwo\"\nst02,three\n", "fish.csv", oslo);
    ASSERT_THAT(read.rows, SizeIs(2));
    EXPECT_EQ(read.rows[0].note, "one\ntwo");
    EXPECT_EQ(read.rows[1].place.line, 4U);
}

TEST(Tables, all_faults_of_a_table_are_reported_with_line_and_column) {
    const auto read = read_fish(
        "fish,mass_g,fork_length_mm\nst01,812 g,400\nst02,0,-3\n,500,400\nst04,1,2,3\n", "fish.csv", oslo);
    EXPECT_THAT(
        texts(read),
        ElementsAre(
            "fish.csv line 2, column \"mass_g\": \"812 g\" is not a number; a number, in g; write the "
            "number alone; leave the cell empty when it is not known",
            "fish.csv line 3, column \"mass_g\": \"0\"; more than 0 to 1000000 g; check the number and "
            "its unit",
            "fish.csv line 3, column \"fork_length_mm\": \"-3\"; more than 0 to 5000 mm; check the "
            "number and its unit",
            "fish.csv line 4, column \"fish\": an empty cell; Its name in all other tables.; fill it "
            "in, or delete the row",
            HasSubstr("fish.csv line 5: 4 cells: \"st04,1,2,3\"; 3, as many as the header has")));
    EXPECT_THAT(read.rows, SizeIs(2));
    EXPECT_EQ(read.summary.rows, 4U);
    EXPECT_EQ(read.summary.refused, 2U);
}

TEST(Tables, rows_kept_and_refused_are_the_rows_of_the_file) {
    const auto read = read_events("at,event\n2026-06-14 21:05,blood\nnoon,blood\n2026-06-14 21:05,blod\n",
                                  "events.csv", oslo);
    EXPECT_EQ(read.rows.size() + read.summary.refused, read.summary.rows);
    EXPECT_EQ(read.summary.refused, 2U);
    EXPECT_THAT(texts(read), ElementsAre(HasSubstr("line 3, column \"at\": \"noon\" is not a time"),
                                         HasSubstr("line 4, column \"event\": \"blod\"; one of lines_in, ")));
    EXPECT_THAT(texts(read)[1], HasSubstr("did you mean blood?"));
}

TEST(Tables, a_mistyped_column_is_a_complaint_and_one_of_the_studys_own_is_not) {
    EXPECT_THAT(
        texts(read_fish("fish,mas_g\nst01,800\n", "fish.csv", oslo)),
        ElementsAre(
            "fish.csv line 1, column \"mas_g\": the column \"mas_g\" is none of this table's; \"mass_g\", "
            "in g, which is missing; rename it; or, if it is a column of your own, add an empty column "
            "\"mass_g\""));
    EXPECT_THAT(texts(read_fish("fish,mass_kg\nst01,0.8\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("\"mass_g\", in g")));
    EXPECT_THAT(texts(read_fish("fish,Mass\nst01,0.8\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("\"mass_g\", in g")));
    EXPECT_THAT(
        texts(read_encounters("encounter,fish,fight_time_s,bait\ne1,st01,120,fly\n", "encounters.csv", oslo)),
        IsEmpty());
    EXPECT_THAT(texts(read_fish("fish,mass_g,mass_kg\nst01,800,0.8\n", "fish.csv", oslo)), IsEmpty())
        << "beside the table's own column another of a like name is the study's affair";
}

TEST(Tables, a_column_of_another_usual_name_is_kept_and_told) {
    for (const std::string name : {"weight", "wt_g", "Weight (kg)", "body mass"}) {
        const auto read = read_fish("fish," + name + "\nst01,800\n", "fish.csv", oslo);
        EXPECT_THAT(texts(read),
                    ElementsAre(AllOf(HasSubstr("\"" + name + "\" is kept as one of the study's own"),
                                      HasSubstr("\"mass_g\", in g, which is missing"),
                                      HasSubstr("rename it, if it is that and in g"))));
        EXPECT_FALSE(study::stops_a_run(read.complaints)) << name;
        EXPECT_EQ(read.rows.at(0).free.at(0).value, "800");
    }
    EXPECT_THAT(texts(read_fish("fish,length\nst01,480\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("\"fork_length_mm\", in mm, which is missing")));
    EXPECT_THAT(texts(read_fish("fish,mass_g,weight\nst01,800,790\n", "fish.csv", oslo)), IsEmpty());
    EXPECT_THAT(texts(read_fish("fish,weight_class,lengthy\nst01,big,no\n", "fish.csv", oslo)), IsEmpty());
}

TEST(Tables, a_missing_needed_column_and_a_column_twice_are_complaints) {
    EXPECT_THAT(texts(read_stays("stay,fish,assembly,role,from\n", "stays.csv", oslo)),
                ElementsAre("stays.csv line 1: no column \"to\"; End of the role.; add it to the header"));
    EXPECT_THAT(texts(read_fish("fish,tag,Tag\nst01,1,2\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("the column \"Tag\" twice")));
    EXPECT_THAT(texts(read_fish("", "fish.csv", oslo)), ElementsAre(HasSubstr("no header line")));
    EXPECT_THAT(texts(read_fish("fish,,tag\nst01,5,2\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("cells in column 2, which has no name")));
}

TEST(Tables, a_comma_that_may_part_thousands_is_never_guessed) {
    EXPECT_THAT(texts(read_fish("fish\tmass_g\nst01\t1,812\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("its comma can part decimals or thousands")));
    EXPECT_THAT(texts(read_fish("fish;mass_g;fork_length_mm\nst01;1,812;40.5\n", "fish.csv", oslo)),
                ElementsAre(HasSubstr("its comma can part decimals or thousands")));
    const auto read = read_fish("fish;mass_g\nst01;1,812\n", "fish.csv", oslo);
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_DOUBLE_EQ(read.rows[0].mass.value().grams(), 1.812)
        << "semicolons are there because commas part decimals";
}

TEST(Tables, times_with_an_offset_and_local_ones_meet) {
    const auto read =
        read_events("at,event\n2026-06-14T21:05:03+02:00,blood\n2026-06-14 21:05:03,blood\n"
                    "2026-06-14T19:05:03Z,blood\n2026-06-14T21:05:03.25,blood\n2026-12-14 21:05,blood\n",
                    "events.csv", oslo);
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(5));
    for (std::size_t i = 0; i < 3; ++i) {
        EXPECT_EQ(iso_text(read.rows[i].at), "2026-06-14T19:05:03Z");
    }
    EXPECT_EQ(iso_text(read.rows[3].at), "2026-06-14T19:05:03.25Z");
    EXPECT_EQ(iso_text(read.rows[4].at), "2026-12-14T20:05:00Z") << "winter time";
}

TEST(Tables, a_local_time_that_came_twice_or_never_is_a_complaint) {
    // The clocks of Europe went back on 2026-10-25 at 03:00 and forward on 2026-03-29 at 02:00 (IANA tz).
    const auto read = read_events(
        "at,event\n2026-10-25 02:30,blood\n2026-03-29 02:30,blood\n2026-10-25T02:30+01:00,blood\n",
        "events.csv", oslo);
    EXPECT_THAT(
        texts(read),
        ElementsAre(
            "events.csv line 2, column \"at\": \"2026-10-25 02:30\" came twice in Europe/Oslo, as the "
            "clocks went back; a time with one reading; write 2026-10-25 02:30+02:00 or 2026-10-25 "
            "02:30+01:00",
            HasSubstr("line 3, column \"at\": \"2026-03-29 02:30\" is not a time; a time that existed in "
                      "Europe/Oslo")));
    EXPECT_EQ(read.complaints[0].error.code, ErrorCode::ambiguous_time);
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.rows[0].at, at("2026-10-25T01:30:00Z"));
}

TEST(Tables, what_spreadsheets_make_of_times_is_named_and_not_guessed) {
    const auto read = read_events(
        "at,event\n3/4/2026 21:05,blood\n14/06/2026 21:05,blood\n46187.878,blood\n2026-06-14,blood\n"
        "2026-02-30 10:00,blood\n2026-06-14 25:00,blood\n",
        "events.csv", oslo);
    EXPECT_THAT(texts(read),
                ElementsAre(HasSubstr("\"3/4/2026 21:05\" can be 2026-04-03 or 2026-03-04"),
                            HasSubstr("\"14/06/2026 21:05\" is not a time; a time as 2026-06-14 21:05"),
                            HasSubstr("it looks like a spreadsheet's day number (2026-06-14)"),
                            HasSubstr("a time of day behind the date"), HasSubstr("a day that exists"),
                            HasSubstr("\"2026-06-14 25:00\" is not a time")));
}

TEST(Tables, rows_of_one_stay_become_one_stay_with_role_intervals) {
    const auto read =
        read_stays("stay,fish,assembly,role,from,to,ended,last_good,note\n"
                   "s1,st01,tube1,after_capture,2026-06-14 12:00,2026-06-14 12:50,,,calm\n"
                   "s1,st01,tube1,rest,2026-06-14 12:50,2026-06-15 08:00,died,2026-06-15 03:00,\n"
                   "s2,,tube1,blank,2026-06-15 09:00,2026-06-15 10:00,,,\n",
                   "stays.csv", {.zone = "UTC", .clock_zones = {}});
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(2));
    const auto& stay = read.rows[0];
    EXPECT_EQ(stay.from(), at("2026-06-14T12:00:00Z"));
    EXPECT_EQ(stay.to(), at("2026-06-15T08:00:00Z"));
    EXPECT_EQ(stay.usable_to(), at("2026-06-15T03:00:00Z"));
    EXPECT_EQ(stay.ended, study::StayEnding::died);
    EXPECT_EQ(stay.note, "calm");
    EXPECT_EQ(stay.role_at(at("2026-06-14T12:49:59Z")), uptake::StayRole::after_capture);
    EXPECT_EQ(stay.role_at(at("2026-06-14T12:50:00Z")), uptake::StayRole::rest);
    EXPECT_FALSE(stay.role_at(at("2026-06-15T08:00:00Z")).has_value());
    EXPECT_FALSE(read.rows[1].has_fish());
}

TEST(Tables, rows_of_one_stay_that_name_two_fish_are_a_complaint) {
    const auto read = read_stays("stay,fish,assembly,role,from,to\n"
                                 "s1,st01,tube1,rest,2026-06-14 12:00,2026-06-14 12:50\n"
                                 "s1,st02,tube2,rest,2026-06-14 12:50,2026-06-14 13:50\n",
                                 "stays.csv", oslo);
    EXPECT_THAT(texts(read),
                ElementsAre(HasSubstr("line 3, column \"fish\": \"st02\"; \"st01\", as in line 2"),
                            HasSubstr("line 3, column \"assembly\"")));
}

TEST(Tables, an_assembly_is_read_with_channels_and_open_ends) {
    const auto read = read_assemblies("assembly,from,to,chamber_volume_l,chamber_volume_uncertainty_l,loop_"
                                      "volume_l,flow_l_per_min,sensor,oxygen,pump,sensor_lag_s\n"
                                      "tube1,,2026-06-14 12:00,14.2,0.05,0.5,15,ox7,boat:O2_1,pumps:1,6\n"
                                      "tube2,,,14.2,,,,ox8,O2_2,,\n",
                                      "assemblies.csv", oslo);
    EXPECT_THAT(texts(read),
                ElementsAre(HasSubstr("line 3, column \"oxygen\": \"O2_2\"; \"trace:channel\"")));
    ASSERT_THAT(read.rows, SizeIs(1));
    const auto& row = read.rows[0];
    EXPECT_FALSE(row.from.has_value());
    EXPECT_TRUE(row.holds_at(at("2026-06-14T09:59:59Z")));
    EXPECT_FALSE(row.holds_at(at("2026-06-14T10:00:00Z")));
    EXPECT_DOUBLE_EQ(row.chamber_and_loop().litres(), 14.7);
    EXPECT_EQ(row.oxygen, (study::Channel{.trace = "boat", .channel = "O2_1"}));
}

TEST(Tables, a_clock_shows_its_time_in_its_own_zone) {
    const auto read = read_clock_checks(
        "clock,shown,true,uncertainty_s,how\nboat,2026-06-14 10:00:12,2026-06-14 12:00:00,1,phone\n",
        "clock_checks.csv", oslo);
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.rows[0].shown - read.rows[0].true_time, Duration::seconds(12.0));
}

TEST(Tables, a_decision_carries_the_value_its_act_needs) {
    const auto read =
        read_decisions("stay,moment,act,value,reason,author,at\n"
                       "s1,2026-06-14 12:05,move_end,2026-06-14 12:07,fish turned,AB,2026-06-20 10:00\n"
                       "s1,2026-06-14 12:15,mark,doubtful,bubble,AB,\n"
                       "s1,2026-06-14 12:25,mark,,bubble,AB,\n"
                       "s1,2026-06-14 12:25,mark,bad,bubble,AB,\n"
                       "s1,,exclude,,escaped,AB,\n",
                       "decisions.csv", oslo);
    EXPECT_THAT(texts(read),
                ElementsAre(HasSubstr("line 4, column \"value\": an empty cell; good, doubtful or unusable"),
                            HasSubstr("line 5, column \"value\": \"bad\"; one of good, doubtful, unusable")));
    ASSERT_GE(read.rows.size(), 2U);
    EXPECT_EQ(read.rows[0].moved_to, at("2026-06-14T10:07:00Z"));
    EXPECT_EQ(read.rows[1].mark, uptake::Mark::doubtful);
    EXPECT_FALSE(read.rows.back().moment.has_value());
}

TEST(Tables, bytes_that_are_not_utf8_are_read_and_said) {
    const auto read = read_fish("fish,species\nst01,\xD8rret\n", "fish.csv", oslo);
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.rows[0].species, "\xC3\x98rret");
    ASSERT_THAT(read.complaints, SizeIs(1));
    EXPECT_EQ(read.complaints[0].severity, Severity::warning);
    EXPECT_EQ(read.complaints[0].error.place.line, 2U);
}

TEST(Tables, a_quote_never_closed_costs_one_row_and_is_said) {
    const auto read = read_fish("fish,note\nst01,\"open\nst02,fine\n", "fish.csv", oslo);
    EXPECT_THAT(texts(read), ElementsAre(HasSubstr("line 2: a quote that is never closed")));
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.rows[0].id.text(), "st02");
}

TEST(Tables, a_missing_needed_file_is_a_complaint_and_another_is_not) {
    study::Brief brief;
    const auto missed = [&] {
        std::vector<std::string> files;
        for (const auto& complaint : read_tables("no/such/folder", brief).complaints) {
            files.push_back(complaint.error.place.file);
        }
        return files;
    };
    EXPECT_THAT(missed(), ElementsAre("fish.csv")) << "a study of blood and fates alone has no chambers";
    brief.traces.push_back({.name = "boat"});
    EXPECT_THAT(missed(), ElementsAre("fish.csv", "stays.csv", "assemblies.csv"));
    EXPECT_THAT(read_tables("no/such/folder", brief).summaries, SizeIs(study::tables().size()));
}

} // namespace
} // namespace backeddy::intake
