// Tables as people edit them: cells as they stand, and by what an edit finds a row again.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "intake/grid.hpp"
#include "support/small_study.hpp"

namespace backeddy::intake {
namespace {

using study::Edit;
using study::TableName;
using testing::ElementsAre;
using testing::IsEmpty;

const std::string fish_file = "# weighed ashore\n"
                              "Fish,species,mass_g,rig_of_mine\n"
                              "T01,Salmo trutta,500,a\n"
                              "T02,Salmo trutta,heavy,b\n"
                              "T03,Salmo trutta,,c\n";

Grid grid_with(const study::Edits& edits, const std::string& file = fish_file) {
    const test::ScratchFolder scratch("grid");
    scratch.write("fish.csv", file);
    auto read = read_grid(scratch.path(), TableName::fish, edits);
    EXPECT_TRUE(read) << (read ? "" : read.error().text());
    return read ? *read : Grid{};
}

TEST(Grid, ShowsTheFileAsItStandsWhateverIsWrongWithIt) {
    const auto grid = grid_with({});
    EXPECT_THAT(grid.columns, ElementsAre("Fish", "species", "mass_g", "rig_of_mine"));
    ASSERT_EQ(grid.rows.size(), 3U);
    EXPECT_EQ(grid.rows[1].line, 4U);
    EXPECT_THAT(grid.rows[1].cells, ElementsAre("T02", "Salmo trutta", "heavy", "b"));
    EXPECT_EQ(grid.rows[1].in_file, grid.rows[1].cells);
    EXPECT_EQ(grid.rows[1].added_by, "");
}

TEST(Grid, HoldsWhatEditsMadeOfItBesideWhatTheFileHas) {
    const Edit heavier{
        .number = 1,
        .id = "00c0ffee00c0ffee:1",
        .table = TableName::fish,
        .act = Edit::Act::set,
        .row = {{"fish", "T01"}},
        .cells = {{"mass_g", {.was = "500", .now = "512"}}, {"fork_length_mm", {.was = "", .now = "340"}}}};
    const Edit more{.number = 2,
                    .id = "00c0ffee00c0ffee:2",
                    .table = TableName::fish,
                    .row = {{"fish", "T09"}, {"species", "Salmo trutta"}}};
    const Edit gone{.number = 3,
                    .id = "00c0ffee00c0ffee:3",
                    .table = TableName::fish,
                    .act = Edit::Act::withdraw,
                    .row = {{"fish", "T02"}}};
    const auto grid = grid_with({heavier, more, gone});
    EXPECT_THAT(grid.columns, ElementsAre("Fish", "species", "mass_g", "rig_of_mine", "fork_length_mm"));
    ASSERT_EQ(grid.rows.size(), 3U);
    EXPECT_THAT(grid.rows[0].cells, ElementsAre("T01", "Salmo trutta", "512", "a", "340"));
    EXPECT_THAT(grid.rows[0].in_file, ElementsAre("T01", "Salmo trutta", "500", "a"));
    EXPECT_EQ(grid.rows[1].line, 5U);
    EXPECT_EQ(grid.rows[2].added_by, "00c0ffee00c0ffee:2");
    EXPECT_THAT(grid.rows[2].cells, ElementsAre("T09", "Salmo trutta", "", "", ""));
    EXPECT_THAT(grid.rows[2].in_file, IsEmpty());
}

TEST(Grid, OfATableThatIsNotThereHasTheColumnsItWouldHave) {
    const test::ScratchFolder scratch("grid_none");
    const auto grid = read_grid(scratch.path(), TableName::clock_checks, {});
    ASSERT_TRUE(grid);
    EXPECT_FALSE(grid->exists);
    EXPECT_EQ(grid->columns, study::table(TableName::clock_checks).column_names());
    EXPECT_THAT(grid->rows, IsEmpty());
}

TEST(Grid, SaysWhetherNumbersHaveADecimalComma) {
    EXPECT_FALSE(grid_with({}).has_decimal_comma);
    EXPECT_TRUE(grid_with({}, "fish;mass_g\nT01;512,5\n").has_decimal_comma);
}

TEST(FileRows, AreAsEntriesWriteThemAndSayHowTheFileHasThem) {
    const test::ScratchFolder scratch("file_rows");
    scratch.write("events.csv", "at;event;Value;liver,colour\n"
                                "2026-06-14 21:05;blood;0,8;1,5\n"
                                "2026-06-14T21:06:00.25+02:00;note;;\n"
                                "yesterday;note;;\n");
    const auto rows = read_file_rows(scratch.path(), TableName::events, "Europe/Oslo");
    ASSERT_TRUE(rows) << rows.error().text();
    ASSERT_EQ(rows->size(), 3U);
    const auto& first = rows->front();
    EXPECT_EQ(
        first.cells,
        (study::RowText{
            {"at", "2026-06-14T19:05:00Z"}, {"event", "blood"}, {"value", "0.8"}, {"liver,colour", "1,5"}}));
    EXPECT_EQ(first.in_file, (study::RowText{{"at", "2026-06-14 21:05"}, {"value", "0,8"}}));
    EXPECT_EQ((*rows)[1].cells.at("at"), "2026-06-14T19:06:00.25Z");
    EXPECT_EQ((*rows)[1].cells.at("value"), "");
    EXPECT_EQ((*rows)[2].cells.at("at"), "yesterday");
    EXPECT_THAT((*rows)[2].in_file, IsEmpty());
    EXPECT_THAT(*read_file_rows(scratch.path(), TableName::fish, "UTC"), IsEmpty());
}

TEST(FileRows, AreFoundAgainByTheirCellsAsTheFileHasThem) {
    const test::ScratchFolder scratch("file_rows_found");
    scratch.write("fish.csv", "fish;mass_g\nT01;500,5\nT02;499,5\n");
    const auto rows = read_file_rows(scratch.path(), TableName::fish, "UTC");
    ASSERT_TRUE(rows);
    Edit heavier{.number = 1,
                 .id = "e1",
                 .table = TableName::fish,
                 .act = Edit::Act::set,
                 .row = rows->front().in_file,
                 .cells = {{"mass_g", {.was = rows->front().in_file.at("mass_g"), .now = "512.5"}}}};
    heavier.row.insert(rows->front().cells.begin(), rows->front().cells.end());
    const auto grid = read_grid(scratch.path(), TableName::fish, {heavier});
    ASSERT_TRUE(grid);
    EXPECT_THAT(grid->rows.front().cells, ElementsAre("T01", "512,5"));
}

} // namespace
} // namespace backeddy::intake
