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

} // namespace
} // namespace backeddy::intake
