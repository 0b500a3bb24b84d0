// What loggers and people do to files, and what is said of it. Wordings are pinned.

#include <cmath>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "intake/refusals.hpp"
#include "written_file.hpp"

namespace backeddy::intake {
namespace {

using testing::ElementsAre;

const ReadSettings oslo{.zone = "Europe/Oslo"};
constexpr std::int64_t second = 1'000'000'000;

std::string refusal(const TraceFile& file, std::size_t i) {
    return text_of(file.report.refused.at(i).reason);
}

void expect_all_accounted(const TraceFile& file) {
    const auto& r = file.report;
    EXPECT_EQ(r.rows, r.kept + r.refused.size() + r.refused_not_listed);
    EXPECT_EQ(r.lines, r.before + r.blank + r.set_aside.size() + r.rows);
}

TEST(Fault, day_and_month_that_nothing_tells_apart_are_a_complaint) {
    const auto file = load_text("time,o2 [mg/L]\n03/04/2026 10:00:00,8.1\n03/04/2026 10:00:01,8.0\n", oslo);
    ASSERT_FALSE(file);
    EXPECT_EQ(file.error().code, ErrorCode::ambiguous_time);
    EXPECT_EQ(text_of(file.error()),
              "f.csv line 2, column \"time\": \"03/04/2026\" may be 3 April 2026 (day first) or 4 March 2026 "
              "(month "
              "first); nothing in the whole file tells which; set date_order = \"day_month_year\" or "
              "\"month_day_year\"");
    ReadSettings settings = oslo;
    settings.date_order = DateOrder::month_day_year;
    const auto set =
        load_text("time,o2 [mg/L]\n03/04/2026 10:00:00,8.1\n03/04/2026 10:00:01,8.0\n", settings);
    ASSERT_TRUE(set);
    EXPECT_EQ(set->streams[0].times_ns[0], ns("2026-03-04T09:00:00Z"));
}

TEST(Fault, a_two_digit_year_may_have_three_readings) {
    const auto file = load_text("time,o2 [mg/L]\n03-04-05 10:00:00,8.1\n03-04-05 10:00:01,8.0\n", oslo);
    ASSERT_FALSE(file);
    EXPECT_EQ(text_of(file.error()),
              "f.csv line 2, column \"time\": \"03-04-05\" may be 3 April 2005 (day first) or 4 March 2005 "
              "(month first) "
              "or 5 April 2003 (year first); nothing in the whole file tells which; set date_order = "
              "\"day_month_year\" or \"month_day_year\"");
}

TEST(Fault, evidence_for_the_order_of_day_and_month_is_sought_in_the_whole_file) {
    // 40,000 rows of 3 April, then a 13th: the beginning alone does not tell.
    std::string text = "time,o2 [mg/L]\n";
    for (int i = 0; i < 40000; ++i) {
        text += fmt::format("03/04/2026 {:02}:{:02}:{:02},8.1\n", i / 3600, i / 60 % 60, i % 60);
    }
    std::string tail;
    for (int i = 0; i < 6000; ++i) {
        tail += fmt::format("04/04/2026 {:02}:{:02}:{:02},8.1\n", i / 3600, i / 60 % 60, i % 60);
    }
    const auto file = load_text(text + "13/04/2026 10:00:00,8.1\n" + tail, oslo);
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_EQ(file->dialect.date_order.value, DateOrder::day_month_year);
    EXPECT_EQ(file->dialect.date_order.evidence, "13/04/2026 is no date month first");
}

TEST(Fault, a_midnight_without_a_gap_tells_day_from_month) {
    const auto text = [](const char* one, const char* two) {
        return fmt::format(
            "time,o2 [mg/L]\n{0} 23:59:57,8.1\n{0} 23:59:58,8.1\n{0} 23:59:59,8.1\n{1} 00:00:00,8.0\n", one,
            two);
    };
    const auto day = load_text(text("03/04/2026", "04/04/2026"), oslo);
    ASSERT_TRUE(day) << day.error().text();
    EXPECT_EQ(day->dialect.date_order.value, DateOrder::day_month_year);
    EXPECT_EQ(day->dialect.date_order.evidence, "03/04/2026 is followed by 04/04/2026 without a gap");
    const auto month = load_text(text("03/04/2026", "03/05/2026"), oslo);
    ASSERT_TRUE(month) << month.error().text();
    EXPECT_EQ(month->dialect.date_order.value, DateOrder::month_day_year);
}

TEST(Fault, dates_that_contradict_each_other_are_a_complaint) {
    const auto file = load_text("time,o2 [mg/L]\n13/04/2026 10:00:00,8.1\n04/13/2026 10:00:01,8.0\n", oslo);
    ASSERT_FALSE(file);
    EXPECT_EQ(file.error().code, ErrorCode::bad_time);
    EXPECT_THAT(
        text_of(file.error()),
        testing::HasSubstr("\"04/13/2026\" is no date day first and \"13/04/2026\" is none month first"));
}

TEST(Fault, times_without_offset_need_a_zone) {
    const auto file = load_text("time,o2 [mg/L]\n2026-06-14 10:00:00,8.1\n2026-06-14 10:00:01,8.0\n");
    ASSERT_FALSE(file);
    EXPECT_EQ(text_of(file.error()),
              "f.csv, column \"time\": times carry no offset from UTC and no zone is set; the zone "
              "of the logger's clock; set zone = \"Area/Place\" or a fixed offset like \"+01:00\"");
    const auto wrong = load_text("time,o2 [mg/L]\n2026-06-14 10:00:00,8.1\n2026-06-14 10:00:01,8.0\n",
                                 {.zone = "Europe/Osol"});
    ASSERT_FALSE(wrong);
    EXPECT_EQ(text_of(wrong.error()),
              "f.csv: zone \"Europe/Osol\" is no time zone; an IANA name like \"Europe/Oslo\", "
              "\"UTC\", or a fixed offset like \"+01:00\"; did you mean \"Europe/Oslo\"?");
}

TEST(Fault, elapsed_times_need_a_start) {
    const auto file = load_text("time (s),o2 [mg/L]\n0,8.1\n1,8.0\n");
    ASSERT_FALSE(file);
    EXPECT_EQ(text_of(file.error()),
              "f.csv: times count from a start that the file does not name; a start like "
              "\"2026-06-14T10:00:00\"; set start (local in zone, or with an offset)");
    const auto unit = load_text("time,o2 [mg/L]\n0,8.1\n1,8.0\n");
    ASSERT_FALSE(unit);
    EXPECT_EQ(text_of(unit.error()),
              "f.csv, column \"time\": values from 0.000 to 1.000 may be seconds, minutes or hours; a unit "
              "in the header, "
              "such as \"time (s)\"; set time_form = \"elapsed_seconds\", \"elapsed_minutes\" or another");
}

TEST(Fault, oxygen_without_a_unit_is_a_complaint_and_so_is_an_unknown_one) {
    const auto none = load_text("time,O2\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,8.0\n");
    ASSERT_FALSE(none);
    EXPECT_EQ(
        text_of(none.error()),
        "f.csv, column \"O2\": no unit named; values from 8.000 to 8.100 may be mg/L, umol/L, mL/L, % air "
        "saturation, kPa, hPa or mmHg; a unit of oxygen; set unit in [[trace.column]] for header = \"O2\", "
        "or use "
        "= \"ignore\"");
    const auto unknown =
        load_text("time,O2 [mg/kg/day]\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,8.0\n");
    ASSERT_FALSE(unknown);
    EXPECT_THAT(text_of(unknown.error()), testing::HasSubstr("unit \"mg/kg/day\" is not known"));
    const auto percent = load_text("time,O2 %\n2026-06-14T10:00:00Z,20.9\n2026-06-14T10:00:01Z,20.8\n");
    ASSERT_FALSE(percent);
    EXPECT_THAT(text_of(percent.error()), testing::HasSubstr("may be % of air saturation or % of gas"));
    ReadSettings settings;
    settings.columns = {{.header = "O2", .unit = "mg/l"}};
    EXPECT_TRUE(load_text("time,O2\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,8.0\n", settings));
    settings.columns = {{.header = "O2", .unit = "mgg/L"}};
    const auto wrong = load_text("time,O2\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,8.0\n", settings);
    ASSERT_FALSE(wrong);
    EXPECT_EQ(wrong.error().code, ErrorCode::bad_unit);
}

TEST(Fault, a_comma_that_parts_fields_and_decimals_is_a_complaint) {
    const auto file = load_text(
        "time,o2 [mg/L],temp [degC]\n2026-06-14T10:00:00Z,8,41,12,3\n2026-06-14T10:00:01Z,8,42,12,3\n");
    ASSERT_FALSE(file);
    EXPECT_EQ(text_of(file.error()),
              "f.csv line 1: the header names 3 columns and the rows have 5 fields; fields and "
              "decimals marked apart; a comma seems to do both here; export the file again with "
              "semicolons or decimal points");
}

TEST(Fault, empty_and_foreign_files_are_complaints) {
    const auto empty = load_text("");
    ASSERT_FALSE(empty);
    EXPECT_EQ(empty.error().code, ErrorCode::bad_text);
    const auto prose = load_text("There is no trace here.\nOnly words.\n");
    ASSERT_FALSE(prose);
    EXPECT_EQ(prose.error().code, ErrorCode::missing_column);
    const auto missing = load_trace("/nowhere/at/all.csv", {});
    ASSERT_FALSE(missing);
    EXPECT_EQ(missing.error().code, ErrorCode::file_missing);
}

TEST(Fault, missing_words_become_missing_cells_and_the_rows_stay) {
    std::string text = "time,o2 [mg/L],temp [degC]\n";
    int i = 0;
    for (const char* word :
         {"8.1", "NaN", "NA", "---", "", "Err", "OVER", "#N/A", "inf", "*****", "n/a", "8.2"}) {
        text += fmt::format("2026-06-14T10:00:{:02}Z,{},12.5\n", i++, word);
    }
    const auto file = load_text(text);
    ASSERT_TRUE(file) << file.error().text();
    expect_all_accounted(*file);
    EXPECT_EQ(file->report.kept, 12U);
    EXPECT_EQ(file->report.missing[0].count, 10U);
    EXPECT_EQ(file->report.missing[0].unreadable, 0U);
    EXPECT_EQ(file->report.missing[0].words.at("---"), 1U);
    EXPECT_EQ(file->report.missing[1].count, 0U);
    EXPECT_TRUE(std::isnan(file->streams[0].columns[0][4]));
    EXPECT_EQ(file->streams[0].columns[0][11], 8.2);
    EXPECT_EQ(file->streams[0].columns[1][4], 12.5);
}

TEST(Fault, a_number_that_means_nothing_is_named_by_the_brief) {
    ReadSettings settings;
    settings.missing_words = {"-9999"};
    const auto file =
        load_text("time,o2 [mg/L]\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,-9999\n", settings);
    ASSERT_TRUE(file);
    EXPECT_TRUE(std::isnan(file->streams[0].columns[0][1]));
    EXPECT_EQ(file->report.missing[0].words.at("-9999"), 1U);
}

TEST(Fault, an_unreadable_cell_costs_the_cell_and_not_the_row) {
    const auto file = load_text(
        "time;DO [mg/L];temp [degC]\n2026-06-14T10:00:00Z;8.40;12.5\n2026-06-14T10:00:01Z;8,41;12.6\n"
        "2026-06-14T10:00:02Z;8.4x;12.7\n2026-06-14T10:00:03Z;8.42;12.7\n");
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_EQ(file->report.kept, 4U);
    ASSERT_EQ(file->report.missing[0].unreadable_cells.size(), 2U);
    EXPECT_EQ(text_of(file->report.missing[0].unreadable_cells[0]),
              "f.csv line 3, column \"DO [mg/L]\": \"8,41\" is not a number; decimal is point (guessed); set "
              "decimal = "
              "\"comma\"");
    EXPECT_EQ(text_of(file->report.missing[0].unreadable_cells[1]),
              "f.csv line 4, column \"DO [mg/L]\": \"8.4x\" is not a number; decimal is point (guessed); if "
              "it stands for "
              "no reading, add it to missing_words of the file's [[trace]] in the brief");
    EXPECT_EQ(file->streams[0].columns[1][1], 12.6);
}

TEST(Fault, bad_rows_are_refused_with_reason_line_and_raw_text) {
    using namespace std::string_literals;
    std::string text =
        "time,o2 [mg/L],temp [degC]\n2026-06-14T10:00:00Z,8.4,12.5\n2026-06-14T10:00:01Z,8.4,12.5\n"
        "2026-06-14T10:0,8.4,12.5\n2026-06-14T10:00:03Z,8.4\n2026-06-14T10:00:04Z,8.4,12.5,7\n";
    text += "2026-06-14T10:\0\0\0\0Z,8.4,12.5\n"s; // NUL bytes inside: the literal knows its own length
    text += "\0\0\0\0\0\0\n"s;
    text += "\n2026-06-14T10:00:07Z,8.4,12.5\ntime,o2 [mg/L],temp [degC]\n# battery "
            "changed\n2026-06-14T10:00:09Z,8.4,12.5\n";
    const auto file = load_text(text);
    ASSERT_TRUE(file) << file.error().text();
    expect_all_accounted(*file);
    EXPECT_EQ(file->report.kept, 4U);
    EXPECT_EQ(file->report.blank, 1U);
    ASSERT_EQ(file->report.refused.size(), 5U);
    EXPECT_EQ(refusal(*file, 0),
              "f.csv line 4, column \"time\": \"2026-06-14T10:0\" is not a time; dates are year, month, "
              "day (guessed); set date_order or time_form if all rows are like this");
    EXPECT_EQ(file->report.refused[0].raw, "2026-06-14T10:0,8.4,12.5");
    EXPECT_EQ(refusal(*file, 1),
              "f.csv line 5: this row has 2 fields; 3 fields, parted by comma (guessed); the row was "
              "probably cut; if all rows are like this, set delimiter");
    EXPECT_EQ(refusal(*file, 2),
              "f.csv line 6: this row has 4 fields; 3 fields, parted by comma (guessed); if all rows are "
              "like this, set delimiter or decimal");
    EXPECT_EQ(refusal(*file, 3),
              "f.csv line 7: there are NUL bytes in this row; text; such bytes are left when a logger "
              "loses power while writing; nothing needs doing: the row is lost, the others are read");
    EXPECT_EQ(file->report.refused[3].raw, "2026-06-14T10:\\x00\\x00\\x00\\x00Z,8.4,12.5");
    EXPECT_EQ(file->report.refused[4].line, 8U);
    ASSERT_EQ(file->report.set_aside.size(), 2U);
    EXPECT_EQ(file->report.set_aside[0].what, "the header again");
    EXPECT_EQ(file->report.set_aside[1].what, "a remark");
    EXPECT_EQ(file->report.set_aside[1].line, 12U);
}

TEST(Fault, a_last_line_cut_in_the_middle_is_refused_and_a_whole_one_kept) {
    const std::string rows =
        "time,o2 [mg/L],temp [degC]\n2026-06-14T10:00:00Z,8.41,12.51\n2026-06-14T10:00:01Z,8.42,12.52\n";
    for (const auto* cut :
         {"2026-06-14T10:00:02Z,8.43,12.5", "2026-06-14T10:00:02Z,8.43,1", "2026-06-14T10:00:02Z,8.43,",
          "2026-06-14T10:00:02Z,8.4", "2026-06-14T10:0", "20"}) {
        const auto file = load_text(rows + cut);
        ASSERT_TRUE(file) << cut;
        expect_all_accounted(*file);
        const bool empty_cell = std::string_view(cut).ends_with(",");
        EXPECT_EQ(file->report.kept, empty_cell ? 3U : 2U) << cut;
        EXPECT_EQ(file->report.torn_last_line, !empty_cell) << cut;
        if (!empty_cell) {
            EXPECT_EQ(file->report.refused.at(0).raw, cut);
        }
    }
    const auto whole = load_text(rows + "2026-06-14T10:00:02Z,8.43,12.53");
    ASSERT_TRUE(whole);
    EXPECT_EQ(whole->report.kept, 3U);
    EXPECT_FALSE(whole->report.torn_last_line);
}

TEST(Fault, duplicate_times_are_kept_and_reported_backward_ones_refused) {
    const auto file = load_text(
        "time,o2 [mg/L]\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,8.2\n2026-06-14T10:00:01Z,8.3\n"
        "2026-06-14T10:00:02Z,8.4\n2026-06-14T10:00:00Z,8.5\n2026-06-14T10:00:03Z,8.6\n");
    ASSERT_TRUE(file) << file.error().text();
    expect_all_accounted(*file);
    EXPECT_THAT(file->streams[0].columns[0], ElementsAre(8.1, 8.2, 8.3, 8.4, 8.6));
    ASSERT_EQ(file->report.duplicates.size(), 1U);
    EXPECT_EQ(file->report.duplicates[0].first_line, 4U);
    ASSERT_EQ(file->report.refused.size(), 1U);
    EXPECT_EQ(refusal(*file, 0),
              "f.csv line 6: the time runs backward, to 2026-06-14T10:00:00Z after "
              "2026-06-14T10:00:02Z; times that run forward within a stream; if the logger's clock was "
              "set back here, the rows until it caught up stay refused");
    EXPECT_EQ(file->report.refused[0].raw, "2026-06-14T10:00:00Z,8.5");
    EXPECT_TRUE(file->report.clock_steps.empty());
}

// The difference of the two ends of what a time can hold fits no signed number of 64 bits: 2^64 ns less
// 1.8446744072e19 ns looks like 1.7 s forward.
TEST(Fault, from_the_last_time_there_is_to_the_first_is_backward) {
    const auto file = load_text("time,o2 [mg/L]\n9223372036,8.1\n-9223372036,8.2\n-9223372035,8.3\n",
                                {.time_form = TimeForm::epoch_seconds});
    ASSERT_TRUE(file) << file.error().text();
    expect_all_accounted(*file);
    EXPECT_THAT(file->streams[0].columns[0], ElementsAre(8.1));
    EXPECT_EQ(file->report.refused.size(), 2U);
}

TEST(Fault, a_clock_set_back_is_one_step_and_a_garbled_time_one_row) {
    std::string text = "time,o2 [mg/L]\n";
    const auto row = [&](int s) { text += fmt::format("2026-06-14T10:{:02}:{:02}Z,8.1\n", s / 60, s % 60); };
    for (int i = 0; i < 100; ++i) {
        row(i);
    }
    text += "2086-06-14T10:01:40Z,8.1\n"; // stands alone
    for (int i = 101; i < 200; ++i) {
        row(i);
    }
    for (int i = 150; i < 300; ++i) { // back by 50 s
        row(i);
    }
    const auto file = load_text(text);
    ASSERT_TRUE(file) << file.error().text();
    expect_all_accounted(*file);
    ASSERT_EQ(file->report.clock_steps.size(), 1U);
    EXPECT_EQ(file->report.clock_steps[0].line, 202U);
    EXPECT_EQ(file->report.clock_steps[0].rows, 49U);
    EXPECT_EQ(file->report.refused.size(), 50U);
    EXPECT_EQ(refusal(*file, 0),
              "f.csv line 102: the time 2086-06-14T10:01:40Z stands alone: the row before has "
              "2026-06-14T10:01:39Z, the row after 2026-06-14T10:01:41Z; times that run forward within "
              "a stream; nothing needs doing if the logger garbled one time; the other rows are read");
    EXPECT_EQ(file->report.kept, 300U);
}

TEST(Fault, gaps_and_changes_of_pace_are_told_apart) {
    std::string text = "time,o2 [mg/L]\n";
    std::int64_t at = 0;
    const auto row = [&](std::int64_t step) {
        at += step;
        text += fmt::format("{},8.1\n", 1781424000 + at);
    };
    for (int i = 0; i < 50; ++i) {
        row(1);
    }
    row(600); // a gap
    for (int i = 0; i < 50; ++i) {
        row(1);
    }
    for (int i = 0; i < 50; ++i) {
        row(10); // a new pace
    }
    const auto file = load_text(text);
    ASSERT_TRUE(file) << file.error().text();
    ASSERT_EQ(file->report.gaps.size(), 1U);
    EXPECT_EQ(file->report.gaps[0].line, 52U);
    EXPECT_EQ((file->report.gaps[0].to - file->report.gaps[0].from).seconds(), 600.0);
    ASSERT_EQ(file->report.interval_changes.size(), 1U);
    EXPECT_EQ(file->report.interval_changes[0].line, 103U);
    EXPECT_EQ(file->report.interval_changes[0].before_s, 1.0);
    EXPECT_EQ(file->report.interval_changes[0].after_s, 10.0);
}

// EU clocks in 2026: forward on 29 March, 02:00 to 03:00, back on 25 October, 03:00 to 02:00 (Directive
// 2000/84/EC).
std::string local_rows(std::string_view from_utc, std::string_view to_utc, std::int64_t step_s,
                       std::int64_t change_ns) {
    std::string text = "time,o2 [mg/L]\n";
    for (std::int64_t t = ns(from_utc); t < ns(to_utc); t += step_s * second) {
        const std::int64_t local = t + (t < change_ns ? 7200 : 3600) * second;
        auto stamp = iso_text(Instant::unix_nanoseconds(local));
        stamp.pop_back();
        text += stamp + ",8.1\n";
    }
    return text;
}

TEST(Fault, an_hour_that_came_twice_is_told_apart_by_the_order_of_rows) {
    const auto change = ns("2026-10-25T01:00:00Z");
    const auto text = local_rows("2026-10-24T23:00:00Z", "2026-10-25T03:00:00Z", 60, change);
    for (const std::size_t block : {std::size_t{1} << 19, std::size_t{1}, std::size_t{300}}) {
        const auto file = load_text(text, oslo, {.block_bytes = block});
        ASSERT_TRUE(file) << file.error().text();
        EXPECT_EQ(file->report.kept, 240U);
        ASSERT_EQ(file->report.folds.size(), 1U);
        EXPECT_EQ(file->report.folds[0].rows, 120U);
        EXPECT_EQ(file->report.folds[0].first_line, 62U);
        EXPECT_EQ(file->report.folds[0].how,
                  "the local time steps back at line 122: rows before it belong to the first "
                  "pass, the others to the second");
        for (std::size_t i = 0; i < 240; ++i) {
            ASSERT_EQ(file->streams[0].times_ns[i],
                      ns("2026-10-24T23:00:00Z") + static_cast<std::int64_t>(i) * 60 * second);
        }
        EXPECT_TRUE(file->report.gaps.empty());
    }
}

TEST(Fault, half_an_hour_that_came_twice_is_told_by_its_neighbours_or_refused) {
    const auto change = ns("2026-10-25T01:00:00Z");
    const auto first =
        load_text(local_rows("2026-10-24T23:00:00Z", "2026-10-25T00:30:00Z", 60, change), oslo);
    ASSERT_TRUE(first) << first.error().text();
    EXPECT_EQ(first->streams[0].times_ns.back(), ns("2026-10-25T00:29:00Z"));
    const auto last = load_text(local_rows("2026-10-25T01:30:00Z", "2026-10-25T03:00:00Z", 60, change), oslo);
    ASSERT_TRUE(last) << last.error().text();
    EXPECT_EQ(last->streams[0].times_ns.front(), ns("2026-10-25T01:30:00Z"));
    const auto neither =
        load_text(local_rows("2026-10-25T01:10:00Z", "2026-10-25T01:40:00Z", 60, change), oslo);
    ASSERT_TRUE(neither);
    EXPECT_EQ(neither->report.kept, 0U);
    expect_all_accounted(*neither);
    EXPECT_EQ(refusal(*neither, 0), "f.csv line 2: this local time came twice: 2026-10-25T00:10:00Z or "
                                    "2026-10-25T01:10:00Z; rows of zone "
                                    "Europe/Oslo (set) whose order tells which; if this logger does not "
                                    "follow daylight saving, set zone to a "
                                    "fixed offset like \"+01:00\"");
    // A logger that stays on winter time runs through the hour once: no clock of this zone shows that.
    const auto winter = load_text(local_rows("2026-10-24T22:00:00Z", "2026-10-25T03:00:00Z", 60, 0), oslo);
    ASSERT_TRUE(winter);
    EXPECT_EQ(winter->report.refused.size(), 60U);
    EXPECT_EQ(winter->report.folds[0].how,
              "refused: the hour runs through once, which no clock with daylight saving shows");
}

TEST(Fault, an_hour_that_never_was_is_refused) {
    std::string text = "time,o2 [mg/L]\n";
    for (int m = 0; m < 180; m += 10) {
        text += fmt::format("2026-03-29 {:02}:{:02}:00,8.1\n", 1 + m / 60, m % 60);
    }
    const auto file = load_text(text, oslo);
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_EQ(file->report.kept, 12U);
    ASSERT_EQ(file->report.refused.size(), 6U);
    EXPECT_EQ(refusal(*file, 0), "f.csv line 8, column \"time\": \"2026-03-29 02:00:00\" never was: clocks "
                                 "went forward over this hour; a local "
                                 "time of zone Europe/Oslo (set); if this logger does not follow daylight "
                                 "saving, set zone to a fixed offset "
                                 "like \"+01:00\"");
    const auto fixed = load_text(text, {.zone = "+01:00"});
    ASSERT_TRUE(fixed);
    EXPECT_EQ(fixed->report.kept, 18U);
}

TEST(Fault, a_stray_quote_refuses_its_row_only) {
    std::string text = "time,o2 [mg/L],note\n";
    for (int i = 0; i < 50; ++i) {
        text += fmt::format("2026-06-14T10:00:{:02}Z,8.1,{}\n", i,
                            i == 20  ? "\"open"
                            : i == 5 ? "\"fine, this\""
                                     : "");
    }
    const auto file = load_text(text);
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_EQ(file->report.kept, 49U);
    ASSERT_EQ(file->report.refused.size(), 1U);
    EXPECT_EQ(refusal(*file, 0),
              "f.csv line 22: a quoted field is not closed on this line; fields quoted whole, parted by "
              "comma (guessed); mend the quotes in a copy of the file");
}

TEST(Fault, a_header_that_says_utc_wins_over_the_study_s_zone_but_not_over_the_logger_s) {
    const std::string rows = "2026-06-14 10:00:00,8.1\n2026-06-14 10:00:01,8.1\n2026-06-14 10:00:02,8.0\n";
    const auto first = [&](const std::string& header, const ReadSettings& settings) {
        const auto file = load_text(header + ",o2 [mg/L]\n" + rows, settings);
        EXPECT_TRUE(file) << file.error().text();
        return file->streams.at(0).times_ns.at(0);
    };
    const ReadSettings study{.usual_zone = "Europe/Oslo"}; // two hours ahead in June
    EXPECT_EQ(first("time (UTC)", study), ns("2026-06-14T10:00:00Z"));
    EXPECT_EQ(first("time", study), ns("2026-06-14T08:00:00Z"));
    EXPECT_EQ(first("time (UTC)", oslo), ns("2026-06-14T08:00:00Z"));
}

// More bad rows than are listed: every one keeps its line and its reason, whatever the blocks.
// However the file is cut into blocks, whatever its encoding, and whether lines are quoted.
TEST(Fault, a_line_without_end_is_one_refused_row_and_the_rest_is_read) {
    const std::string head = "time,o2 [mg/L],note\n2026-06-11T10:00:00Z,8.1,a\n2026-06-11T10:00:01Z,8.2,b\n";
    const std::string more = "2026-06-11T10:00:02Z,8.3,c\n2026-06-11T10:00:03Z,8.4,d\n";
    const std::string row = "2026-06-11T10:00:01.5Z,8.2,"; // a row but for its length
    for (const std::string open : {"", "2026-06-11T10:00:01.2Z,8.2,\"two\nlines\"\n"}) {
        for (const std::size_t bytes : {std::size_t{1} << 21, std::size_t{3} << 20, std::size_t{11} << 20}) {
            const std::string text = head + open + row + std::string(bytes, '9') + "\n" + more;
            for (const auto encoding : {Encoding::utf8, Encoding::latin1, Encoding::utf16_le}) {
                if (encoding == Encoding::utf16_le && !open.empty()) {
                    continue; // there, quoted line ends are refused row by row
                }
                std::string written = text;
                if (encoding == Encoding::utf16_le) {
                    written = "\xff\xfe";
                    for (const char c : text) {
                        written += c;
                        written += '\0';
                    }
                }
                ReadSettings settings;
                settings.encoding = encoding;
                for (const std::size_t block :
                     {std::size_t{1} << 16, std::size_t{1} << 19, std::size_t{1} << 24}) {
                    const auto file = load_text(written, settings, {.block_bytes = block});
                    ASSERT_TRUE(file) << text_of(file.error());
                    const std::size_t kept = open.empty() ? 4 : 5;
                    EXPECT_EQ(file->report.kept, kept);
                    ASSERT_EQ(file->report.refused.size(), 1U);
                    EXPECT_EQ(
                        refusal(*file, 0),
                        fmt::format("f.csv line {}: this line is longer than a megabyte; one row a line, of "
                                    "at most 1048576 bytes; the file is damaged here: copy it again",
                                    open.empty() ? 4 : 6));
                    EXPECT_EQ(file->report.refused[0].raw, row + std::string(200 - row.size(), '9') + "...");
                    EXPECT_EQ(file->report.lines, open.empty() ? 6U : 8U);
                    EXPECT_EQ(file->streams[0].times_ns.back(), ns("2026-06-11T10:00:03Z"));
                }
            }
        }
    }
}

// The limit is one of the row's own bytes, not of where a block ends.
TEST(Fault, the_longest_line_is_kept_and_one_byte_more_is_not) {
    const std::string row = "2026-06-11T10:00:01Z,8.2,";
    for (const std::size_t over : {0U, 1U}) {
        const std::string text = "time,o2 [mg/L],note\n2026-06-11T10:00:00Z,8.1,a\n" + row +
                                 std::string((std::size_t{1} << 20) - row.size() + over, 'x') +
                                 "\n2026-06-11T10:00:02Z,8.3,c\n";
        for (const std::size_t block : {std::size_t{1} << 16, std::size_t{1} << 22}) {
            for (const auto paths : {ReadPaths::plain_then_general, ReadPaths::general_only}) {
                const auto file = load_text(text, {}, {.block_bytes = block, .paths = paths});
                ASSERT_TRUE(file) << text_of(file.error());
                EXPECT_EQ(file->report.kept, 3U - over);
                EXPECT_EQ(file->report.refused.size(), over);
            }
        }
    }
}

TEST(Fault, folders_pipes_and_devices_are_named_and_not_waited_for) {
    const auto pipe =
        std::filesystem::temp_directory_path() / ("backeddy_pipe_" + std::to_string(::getpid()));
    ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
    const auto said = [](const std::filesystem::path& path) { return text_of(detect(path, {}).error()); };
    EXPECT_EQ(said(pipe),
              "f.csv: this is a pipe, not a file; a logger's file; copy the logger's data into a file "
              "and name that");
    std::filesystem::remove(pipe);
    EXPECT_THAT(said(std::filesystem::temp_directory_path()),
                testing::HasSubstr("this is a folder, not a file"));
    EXPECT_THAT(said("/dev/zero"), testing::HasSubstr("this is a device, not a file"));
}

TEST(Fault, of_very_many_refused_rows_none_is_lost) {
    std::string text = "time,o2 [mg/L]\n";
    constexpr std::uint64_t rows = 120'000;
    std::uint64_t cut = 0;
    std::uint64_t backward = 0;
    for (std::uint64_t i = 0; i < rows; ++i) {
        if (i >= 1000 && i % 4 == 0) { // a cut row
            text += "2026-06-14T1\n";
            ++cut;
        } else if (i >= 1000 && i % 4 == 2) { // and one of a clock that was set back
            text += "2026-06-01T00:00:00Z,8.1\n";
            ++backward;
        } else {
            text += fmt::format("2026-06-{:02}T{:02}:{:02}:{:02}Z,8.1\n", 14 + (i / 86400), (i / 3600) % 24,
                                (i / 60) % 60, i % 60);
        }
    }
    const WrittenFile file(text);
    const ReadSettings settings{.delimiter = Delimiter::comma}; // every other line is spoilt
    const auto dialect = detect(file.path(), settings);
    ASSERT_TRUE(dialect) << dialect.error().text();
    const auto read = [&](std::size_t block_bytes) {
        auto report =
            read_trace(file.path(), settings, *dialect, {.threads = {.count = 2}, .block_bytes = block_bytes},
                       [](const StreamId&, const TraceChunk&) {});
        EXPECT_TRUE(report) << report.error().text();
        return *report;
    };
    const auto report = read(std::size_t{1} << 19);
    EXPECT_EQ(report.rows, rows);
    EXPECT_EQ(report.kept, rows - cut - backward);
    EXPECT_EQ(report.refused.size(), most_rows_listed);
    EXPECT_EQ(report.refused_not_listed, cut + backward - most_rows_listed);
    // The first of the file are those listed: every other row, from line 1002 on.
    EXPECT_EQ(report.refused.front().line, 1002U);
    EXPECT_EQ(report.refused[3].line, 1008U);
    EXPECT_EQ(report.refused[1].raw, "2026-06-01T00:00:00Z,8.1");
    EXPECT_LT(report.refused.back().line, report.refused_beyond.front().first_line);

    const auto groups = refusals_of(report);
    ASSERT_EQ(groups.size(), 2U);
    EXPECT_EQ(groups[0].rows, cut);
    EXPECT_EQ(groups[1].rows, backward);
    EXPECT_EQ(groups[0].listed.size(), 200U);
    EXPECT_EQ(groups[0].lines.size(), (rows - 1000) / 4);
    EXPECT_EQ(groups[0].lines.front(), (LineRange{.first = 1002, .last = 1002}));
    EXPECT_EQ(groups[0].lines.back(), (LineRange{.first = rows - 2, .last = rows - 2}));
    EXPECT_EQ(groups[1].lines.back(), (LineRange{.first = rows, .last = rows}));

    const auto other = read(4096);
    ASSERT_EQ(other.refused.size(), report.refused.size());
    for (std::size_t i = 0; i < report.refused.size(); ++i) {
        ASSERT_EQ(other.refused[i].line, report.refused[i].line);
        ASSERT_EQ(other.refused[i].reason, report.refused[i].reason);
        ASSERT_EQ(other.refused[i].raw, report.refused[i].raw);
    }
    EXPECT_EQ(other.refused_beyond, report.refused_beyond);
    EXPECT_EQ(other.beyond_reasons, report.beyond_reasons);
    const auto words = in_words(report);
    EXPECT_THAT(words, testing::Contains(
                           testing::AllOf(testing::StartsWith("29750 rows refused, lines 1002, 1006, 1010"),
                                          testing::HasSubstr("more stretches"))));
    EXPECT_THAT(words, testing::Contains(testing::StartsWith("refused: 29550 rows more for this reason")));
}

TEST(Fault, the_report_says_all_of_it_in_words) {
    const auto file = load_text(
        "time,o2 [mg/L]\n2026-06-14T10:00:00Z,8.1\n2026-06-14T10:00:01Z,NaN\n2026-06-14T10:00:02Z\n");
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_THAT(
        in_words(file->report),
        ElementsAre("3 rows: 2 kept, 1 refused; 0 lines blank, 0 set aside, 1 before the rows",
                    "2 rows: 2026-06-14T10:00:00Z to 2026-06-14T10:00:01Z, usually every 1.000 s",
                    "column \"o2 [mg/L]\": 1 cell missing (1 \"NaN\")",
                    "1 row refused, line 4: this row has 1 field; 2 fields, parted by comma (guessed)",
                    testing::HasSubstr("this row has 1 field; 2 fields, parted by comma (guessed)")));
    EXPECT_THAT(in_words(file->dialect),
                testing::Contains(testing::StartsWith("delimiter: comma (guessed:")));
}

} // namespace
} // namespace backeddy::intake
