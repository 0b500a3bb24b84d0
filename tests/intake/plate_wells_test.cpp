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
using study::WellRow;
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

WellRow row(std::uint64_t line, const char* well, WellKind kind, const char* label = "") {
    const auto place = condition::well_place(well).value();
    WellRow out;
    out.plate = study::PlateId("p1");
    out.row = place.row;
    out.column = place.column;
    out.kind = kind;
    out.label = label;
    out.place = {.file = "wells.csv", .line = line, .column = {}, .byte = {}};
    return out;
}

/// Nothing wrong with it: C3 was not read and C4 is set aside.
std::vector<WellRow> small_map() {
    std::vector<WellRow> map{row(2, "A1", WellKind::blank),        row(3, "A2", WellKind::zero),
                             row(4, "A3", WellKind::standard),     row(5, "A4", WellKind::standard),
                             row(6, "B1", WellKind::sample, "s1"), row(7, "B2", WellKind::sample, "s1"),
                             row(8, "B3", WellKind::control, "k"), row(9, "B4", WellKind::spiked, "s1"),
                             row(10, "C1", WellKind::empty),       row(11, "C2", WellKind::empty),
                             row(12, "C4", WellKind::sample, "s2")};
    map[2].concentration = 2.5;
    map[3].concentration = 10.0;
    map[4].dilution = 20.0;
    map[6].concentration = 4.0;
    map[7].added = 3.0;
    map[10].excluded = "over the reader's range";
    return map;
}

std::vector<std::string> texts(const std::vector<study::Complaint>& complaints) {
    std::vector<std::string> out;
    for (const auto& complaint : complaints) {
        EXPECT_EQ(complaint.severity, study::Severity::warning) << "a plate stops no run";
        out.push_back(complaint.error.text());
    }
    return out;
}

/// What is said when one row of the map is changed.
template <typename Change>
std::vector<std::string> said_after(Change change) {
    auto map = small_map();
    change(map);
    return texts(wells_from(small_plate(), map).complaints);
}

TEST(PlateWells, every_well_of_the_map_gets_its_response) {
    const auto joined = wells_from(small_plate(), small_map());
    EXPECT_THAT(texts(joined.complaints), IsEmpty());
    EXPECT_THAT(texts(unmapped_wells(small_plate(), small_map())), IsEmpty());
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
                                  HasSubstr("\"OVRFLW\" in well C4 (line 4)"), HasSubstr("exclude"),
                                  HasSubstr("left out"))));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "C3", WellKind::sample, "s3")); }),
                ElementsAre(HasSubstr("read.csv has no cell of well C3, or an empty one")));
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "C3", WellKind::empty)); }), IsEmpty());
    const auto damaged =
        read_plate(",1,2,3\nA,0.1,0.2,0.3x\nB,0.1,0.2,0.4\n", "read.csv", {.rows = 2, .columns = 3});
    ASSERT_TRUE(damaged.has_value()) << damaged.error().text();
    EXPECT_THAT(texts(wells_from(*damaged, std::vector{row(2, "A3", WellKind::sample, "s1")}).complaints),
                ElementsAre(HasSubstr("\"0.3x\" in well A3 (line 2), which was not read")));
}

TEST(PlateWells, a_well_without_a_number_is_left_out_and_the_others_stay) {
    auto map = small_map();
    map[10].excluded.clear();
    EXPECT_THAT(wells_from(small_plate(), map).wells, SizeIs(10));
}

TEST(PlateWells, a_map_that_does_not_cover_the_plate_lists_the_wells) {
    auto map = small_map();
    map.erase(map.begin() + 8, map.end());
    EXPECT_THAT(texts(unmapped_wells(small_plate(), map)),
                ElementsAre(AllOf(HasSubstr("read.csv"), HasSubstr("line 4"),
                                  HasSubstr("3 wells with a value"), HasSubstr("C1, C2, C4"))));
}

TEST(PlateWells, a_well_that_the_plate_does_not_have_is_told) {
    EXPECT_THAT(said_after([](auto& map) { map.push_back(row(13, "D1", WellKind::blank)); }),
                ElementsAre(AllOf(HasSubstr("line 13"), HasSubstr("\"D1\""), HasSubstr("C4 at most"))));
}

TEST(PlateWells, the_plate_sizes_begin_as_those_of_its_evaluation) {
    const condition::PlateSettings evaluated;
    const PlateFileSettings read;
    const study::PlateFileHelp typed;
    EXPECT_EQ(read.rows, evaluated.rows);
    EXPECT_EQ(read.columns, evaluated.columns);
    EXPECT_EQ(typed.rows, evaluated.rows);
    EXPECT_EQ(typed.columns, evaluated.columns);
}

TEST(PlateWells, what_plates_csv_says_of_a_file_is_what_is_asked_of_it) {
    study::PlateFileHelp help;
    help.rows = 16;
    help.columns = 24;
    help.block = "2";
    help.value_column = "450";
    help.only_column = "read";
    help.only_value = "end";
    help.delimiter = study::CellsPartedBy::semicolon;
    help.decimal = study::DecimalIs::comma;
    const auto settings = plate_settings(help);
    EXPECT_EQ(settings.rows, 16U);
    EXPECT_EQ(settings.columns, 24U);
    EXPECT_EQ(settings.block.number, 2U);
    EXPECT_TRUE(settings.block.name.empty());
    EXPECT_EQ(settings.value_column.name, "450") << "a wavelength, not a field";
    EXPECT_FALSE(settings.value_column.number);
    EXPECT_EQ(settings.only_column.name, "read");
    EXPECT_EQ(settings.only_value, "end");
    EXPECT_EQ(settings.delimiter, Delimiter::semicolon);
    EXPECT_EQ(settings.decimal, DecimalMark::comma);
    EXPECT_TRUE(plate_settings({}).block.says_nothing());
    EXPECT_FALSE(plate_settings({}).delimiter);
}

// Two grids: by its number, and by the words above it.
TEST(PlateWells, a_file_of_two_grids_is_read_by_what_plates_csv_says) {
    const std::string file = "first read\n,1,2,3\nA,0.1,0.2,0.3\nB,0.4,0.5,0.6\n\n"
                             "second read\n,1,2,3\nA,1.1,1.2,1.3\nB,1.4,1.5,1.6\n";
    study::PlateFileHelp help;
    help.rows = 2;
    help.columns = 3;
    EXPECT_FALSE(read_plate(file, "two.csv", plate_settings(help))) << "which of them nobody said";
    help.block = "2";
    const auto by_number = read_plate(file, "two.csv", plate_settings(help));
    ASSERT_TRUE(by_number) << by_number.error().text();
    EXPECT_EQ(by_number->wells.front().response, 1.1);
    help.block = "first read";
    const auto by_name = read_plate(file, "two.csv", plate_settings(help));
    ASSERT_TRUE(by_name) << by_name.error().text();
    EXPECT_EQ(by_name->wells.front().response, 0.1);
}

} // namespace
} // namespace backeddy::intake
