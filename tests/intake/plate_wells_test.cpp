#include "intake/plate_wells.hpp"

#include <cmath>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "condition/plate.hpp"

namespace backeddy::intake {
namespace {

using condition::WellKind;
using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

/// Three rows of four: A1 0.11, A2 0.12 ... C4, whose reader overflowed.
PlateReading small_plate() {
    return read_plate(",1,2,3,4\nA,0.11,0.12,0.13,0.14\nB,0.21,0.22,0.23,0.24\nC,0.31,0.32,,OVRFLW\n",
                      "read.csv", {.rows = 3, .columns = 4})
        .value();
}

PlateMapRow row(std::uint64_t line, std::string well, std::string holds, std::string label = {}) {
    PlateMapRow out;
    out.place = {.file = "wells.csv", .line = line};
    out.well = std::move(well);
    out.holds = std::move(holds);
    out.label = std::move(label);
    return out;
}

/// Nothing wrong with it: C3 was not read and C4 is set aside.
std::vector<PlateMapRow> small_map() {
    std::vector<PlateMapRow> map{
        row(2, "A1", "blank"),        row(3, "A2", "zero"),          row(4, "A3", "standard"),
        row(5, "A4", "standard"),     row(6, "b01", "Sample", "s1"), row(7, "B2", "sample", "s1"),
        row(8, "B3", "control", "k"), row(9, "B4", "spiked", "s1"),  row(10, "C1", "empty"),
        row(11, "C2", "empty"),       row(12, "C4", "sample", "s2")};
    map[2].concentration = 2.5;
    map[3].concentration = 10.0;
    map[4].dilution = 20.0;
    map[6].concentration = 4.0;
    map[7].added = 3.0;
    map[10].excluded = "over the reader's range";
    return map;
}

std::vector<std::string> texts(const PlateWells& wells) {
    std::vector<std::string> out;
    for (const auto& complaint : wells.complaints) {
        out.push_back(complaint.error.text());
    }
    return out;
}

/// What is said when one row of the map is changed.
template <typename Change>
std::vector<std::string> said_after(Change change) {
    auto map = small_map();
    change(map);
    return texts(wells_from(small_plate(), map));
}

TEST(PlateWells, every_well_of_the_map_gets_its_response) {
    const auto joined = wells_from(small_plate(), small_map());
    EXPECT_THAT(texts(joined), IsEmpty());
    ASSERT_THAT(joined.wells, SizeIs(11));
    EXPECT_EQ(joined.wells[0].kind, WellKind::blank);
    EXPECT_EQ(joined.wells[0].response, 0.11);
    EXPECT_EQ(joined.wells[2].concentration, 2.5);
    EXPECT_EQ(joined.wells[2].response, 0.13);
    EXPECT_EQ(joined.wells[4].row, 2U);
    EXPECT_EQ(joined.wells[4].column, 1U);
    EXPECT_EQ(joined.wells[4].kind, WellKind::sample);
    EXPECT_EQ(joined.wells[4].label, "s1");
    EXPECT_EQ(joined.wells[4].dilution, 20.0);
    EXPECT_EQ(joined.wells[5].dilution, 1.0);
    EXPECT_EQ(joined.wells[6].expected, 4.0);
    EXPECT_EQ(joined.wells[7].added, 3.0);
    EXPECT_EQ(joined.wells[10].excluded, "over the reader's range");
    EXPECT_TRUE(std::isnan(joined.wells[10].response)) << "no number stands there, and a person said why";
}

TEST(PlateWells, a_mapped_well_without_a_number_names_what_stands_there) {
    EXPECT_THAT(said_after([](auto& map) { map[10].excluded.clear(); }),
                ElementsAre(AllOf(HasSubstr("wells.csv"), HasSubstr("line 12"),
                                  HasSubstr("\"OVRFLW\" in well C4 (line 4)"), HasSubstr("exclude"))));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "C3", "sample", "s3")); }),
                ElementsAre(HasSubstr("read.csv has no cell of well C3, or an empty one")));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "C3", "empty")); }), IsEmpty());
    const auto damaged =
        read_plate(",1,2,3\nA,0.1,0.2,0.3x\nB,0.1,0.2,0.4\n", "read.csv", {.rows = 2, .columns = 3});
    ASSERT_TRUE(damaged.has_value()) << damaged.error().text();
    EXPECT_THAT(texts(wells_from(*damaged, std::vector{row(2, "A3", "sample", "s1"), row(3, "A1", "empty"),
                                                       row(4, "A2", "empty"), row(5, "B1", "empty"),
                                                       row(6, "B2", "empty"), row(7, "B3", "empty")})),
                ElementsAre(HasSubstr("\"0.3x\" in well A3 (line 2), which was not read")));
}

TEST(PlateWells, a_map_that_does_not_cover_the_plate_lists_the_wells) {
    EXPECT_THAT(said_after([](auto& map) { map.erase(map.begin() + 8, map.end()); }),
                ElementsAre(AllOf(HasSubstr("read.csv"), HasSubstr("line 4"),
                                  HasSubstr("3 wells with a value"), HasSubstr("C1, C2, C4"))));
}

TEST(PlateWells, what_cannot_be_is_told_with_line_and_column) {
    EXPECT_THAT(said_after([](auto& map) { map[4].dilution = 0.0; }),
                ElementsAre(AllOf(HasSubstr("line 6, column \"dilution\""), HasSubstr("a dilution of 0"))));
    EXPECT_THAT(said_after([](auto& map) { map[4].dilution = -2.0; }), SizeIs(1));
    EXPECT_THAT(said_after([](auto& map) { map[4].dilution = std::nan(""); }), SizeIs(1));
    EXPECT_THAT(said_after([](auto& map) { map[2].dilution = 2.0; }),
                ElementsAre(HasSubstr("a dilution of 2 in a well that holds \"standard\"")));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "A01", "blank")); }),
                ElementsAre(AllOf(HasSubstr("line 13"), HasSubstr("\"A01\" a second time, after line 2"))));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "D1", "blank")); }),
                ElementsAre(AllOf(HasSubstr("\"D1\""), HasSubstr("C4 at most"))));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "7C", "blank")); }),
                ElementsAre(HasSubstr("\"7C\" is no well")));
    EXPECT_THAT(said_after([](auto& map) { map[8].holds = "emty"; }),
                ElementsAre(HasSubstr("did you mean \"empty\"?")));
    EXPECT_THAT(said_after([](auto& map) { map[5].label = " "; }),
                ElementsAre(HasSubstr("no label in well B2")));
    EXPECT_THAT(said_after([](auto& map) { map[2].concentration = 0.0; }),
                ElementsAre(HasSubstr("a standard of 0")));
    EXPECT_THAT(said_after([](auto& map) { map[2].concentration.reset(); }),
                ElementsAre(HasSubstr("a standard without one")));
    EXPECT_THAT(said_after([](auto& map) { map[1].concentration = 1.0; }),
                ElementsAre(HasSubstr("a zero of 1")));
    EXPECT_THAT(said_after([](auto& map) { map[6].concentration = -4.0; }),
                ElementsAre(HasSubstr("-4 expected of a control")));
    EXPECT_THAT(said_after([](auto& map) { map[7].added.reset(); }),
                ElementsAre(HasSubstr("a spiked sample without it")));
    EXPECT_THAT(said_after([](auto& map) { map[7].added = 0.0; }), ElementsAre(HasSubstr("0 added")));
    EXPECT_THAT(said_after([](auto& map) { map[4].added = 1.0; }),
                ElementsAre(HasSubstr("1 added to a well that holds \"Sample\"")));
}

TEST(PlateWells, a_wrong_row_gives_no_well_and_the_others_stay) {
    auto map = small_map();
    map[4].dilution = 0.0;
    const auto joined = wells_from(small_plate(), map);
    EXPECT_THAT(joined.wells, SizeIs(10));
    map = small_map();
    map[4].concentration = 7.0;
    const auto warned = wells_from(small_plate(), map);
    EXPECT_THAT(warned.wells, SizeIs(11)) << "a concentration that nothing reads only warns";
    ASSERT_THAT(warned.complaints, SizeIs(1));
    EXPECT_EQ(warned.complaints[0].severity, study::Severity::warning);
}

TEST(PlateWells, the_plate_sizes_begin_as_those_of_its_evaluation) {
    const condition::PlateSettings evaluated;
    const PlateFileSettings read;
    EXPECT_EQ(read.rows, evaluated.rows);
    EXPECT_EQ(read.columns, evaluated.columns);
}

} // namespace
} // namespace backeddy::intake
