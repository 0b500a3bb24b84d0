#include "intake/condition_tables.hpp"

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "series/instant.hpp"

namespace backeddy::intake {
namespace {

using condition::Known;
using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const TableContext oslo{.zone = "Europe/Oslo", .clock_zones = {}, .edits = {}};

template <typename Row>
std::vector<std::string> texts(const TableRead<Row>& read) {
    std::vector<std::string> out;
    for (const auto& complaint : read.complaints) {
        out.push_back(std::string(study::word(complaint.severity)) + " " + complaint.error.text());
    }
    return out;
}

TEST(ConditionTables, blood_is_read_with_limits_kept_as_limits) {
    const auto read =
        read_blood("fish,drawn_at,analyte,value,unit,device,volume_ml,matrix,haemolysis,sample,who\n"
                   "st01,2026-06-14 12:05,cortisol,<0.5,ng/mL,elisa,0.4,plasma,slight,a1,AB\n"
                   "st01,2026-06-14 12:05,Lactate,> 20,mmol/L,meter,,,,,\n"
                   "st01,2026-06-14 12:05,glucose,4.2,mmol/L,meter,,,,,\n"
                   "st02,2026-06-14 13:05,,,,,0.3,,,,\n",
                   "blood.csv", oslo);
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(4));
    const auto& row = read.rows[0];
    EXPECT_EQ(row.drawn_at, parse_iso("2026-06-14T10:05:00Z"));
    EXPECT_EQ(row.analyte, condition::Analyte::cortisol);
    EXPECT_EQ(row.value, (study::ValueOrLimit{.value = 0.5, .known = Known::below}));
    EXPECT_EQ(row.matrix, condition::Matrix::plasma);
    EXPECT_EQ(row.haemolysis, condition::Haemolysis::slight);
    EXPECT_EQ(row.volume_ml, 0.4);
    EXPECT_EQ(row.sample.text(), "a1");
    EXPECT_EQ(read.rows[1].value, (study::ValueOrLimit{.value = 20.0, .known = Known::above}));
    EXPECT_EQ(read.rows[2].value, (study::ValueOrLimit{.value = 4.2, .known = Known::exactly}));
    EXPECT_FALSE(read.rows[3].analyte.has_value());
    EXPECT_FALSE(read.rows[3].value.has_value());
    EXPECT_EQ(read.rows[3].haemolysis, condition::Haemolysis::not_said);
}

TEST(ConditionTables, a_decimal_comma_is_one_in_limits_too) {
    const auto read = read_blood(
        "fish;drawn_at;analyte;value;unit\nst01;2026-06-14 12:05;cortisol;<0,5;ng/mL\n", "blood.csv", oslo);
    EXPECT_THAT(texts(read), IsEmpty());
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.rows[0].value->value, 0.5);
    EXPECT_THAT(read.summary.understood, testing::Contains("decimal comma"));
}

TEST(ConditionTables, a_row_with_a_cell_that_cannot_be_read_is_left_out_and_the_run_goes_on) {
    const auto read = read_blood("fish,drawn_at,analyte,value,unit,volume_ml\n"
                                 "st01,2026-06-14 12:05,cortisol,<LOD,ng/mL,\n"
                                 "st01,2026-06-14 12:05,cortsol,4,ng/mL,\n"
                                 "st01,2026-06-14 12:05,cortisol,-4,ng/mL,\n"
                                 "st01,2026-06-14 12:05,cortisol,4,ng/mL,0\n"
                                 "st01,2026-06-14 12:05,cortisol,4,ng/mL,0.4\n",
                                 "blood.csv", oslo);
    EXPECT_THAT(
        texts(read),
        ElementsAre(AllOf(HasSubstr("beware blood.csv line 2, column \"value\": \"<LOD\" is not a number; a "
                                    "number, or the limit itself"),
                          HasSubstr("write the limit, as \"<0.5\""),
                          HasSubstr("until then the row is left out")),
                    AllOf(HasSubstr("line 3, column \"analyte\": \"cortsol\""),
                          HasSubstr("did you mean cortisol?; until then the row is left out")),
                    HasSubstr("line 4, column \"value\": \"-4\"; 0 or more"),
                    HasSubstr("line 5, column \"volume_ml\": \"0\"; more than 0 to 1000 mL")));
    EXPECT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.summary.refused, 4U);
    EXPECT_FALSE(study::stops_a_run(read.complaints));
}

TEST(ConditionTables, a_sheet_without_a_needed_column_loses_its_rows_and_stops_nothing) {
    const auto read = read_blood("fish,analyte\nst01,cortisol\n", "blood.csv", oslo);
    EXPECT_THAT(texts(read), ElementsAre(AllOf(HasSubstr("beware blood.csv line 1: no column \"drawn_at\""),
                                               HasSubstr("until then no row of the table counts"))));
    EXPECT_THAT(read.rows, IsEmpty());
    EXPECT_EQ(read.summary.refused, 1U);
}

TEST(ConditionTables, a_sample_is_read) {
    const auto read = read_samples("sample,fish,taken_at,matrix,split_of,volume_ul,freezer,thaws\n"
                                   "a2,st01,2026-06-14 12:05,plasma,a1,50,B3,1\n"
                                   "a3,st01,2026-06-14 12:05,,,,,-1\n"
                                   "a4,st01,2026-06-14 12:05,,,,,0.5\n",
                                   "samples.csv", oslo);
    EXPECT_THAT(texts(read), ElementsAre(HasSubstr("beware samples.csv line 3, column \"thaws\": \"-1\""),
                                         HasSubstr("line 4, column \"thaws\": \"0.5\"; a whole number")));
    ASSERT_THAT(read.rows, SizeIs(1));
    EXPECT_EQ(read.rows[0].id.text(), "a2");
    EXPECT_EQ(read.rows[0].split_of.text(), "a1");
    EXPECT_EQ(read.rows[0].volume_ul, 50.0);
    EXPECT_EQ(read.rows[0].thaws, 1U);
    EXPECT_EQ(read.rows[0].freezer, "B3");
}

TEST(ConditionTables, a_plate_and_its_map_are_read) {
    const auto plates =
        read_plates("plate,file,analyte,unit,run_at\np1,raw/p1.csv,cortisol,ng/mL,2026-07-01 09:00\n",
                    "plates.csv", oslo);
    EXPECT_THAT(texts(plates), IsEmpty());
    ASSERT_THAT(plates.rows, SizeIs(1));
    EXPECT_EQ(plates.rows[0].file, "raw/p1.csv");
    EXPECT_EQ(plates.rows[0].help.rows, 8U);
    EXPECT_EQ(plates.rows[0].help.columns, 12U);
    const auto helped =
        read_plates("plate,file,analyte,unit,rows,columns,block,first_line,value_column,decimal\n"
                    "p1,raw/p1.csv,cortisol,ng/mL,16,24,second read,7,OD,comma\n",
                    "plates.csv", oslo);
    EXPECT_THAT(texts(helped), IsEmpty());
    ASSERT_THAT(helped.rows, SizeIs(1));
    EXPECT_EQ(helped.rows[0].help.rows, 16U);
    EXPECT_EQ(helped.rows[0].help.columns, 24U);
    EXPECT_EQ(helped.rows[0].help.block, "second read");
    EXPECT_EQ(helped.rows[0].help.first_line, 7U);
    EXPECT_EQ(helped.rows[0].help.value_column, "OD");
    EXPECT_EQ(helped.rows[0].help.decimal, study::DecimalIs::comma);
    EXPECT_FALSE(helped.rows[0].help.delimiter);
    const auto wells = read_wells("plate,well,holds,label,concentration,dilution,added,excluded\n"
                                  "p1,C7,standard,,12.5,,,\n"
                                  "p1,h012,spiked,a1,,20,5,bubble\n",
                                  "wells.csv", oslo);
    EXPECT_THAT(texts(wells), IsEmpty());
    ASSERT_THAT(wells.rows, SizeIs(2));
    EXPECT_EQ(wells.rows[0].row, 3U);
    EXPECT_EQ(wells.rows[0].column, 7U);
    EXPECT_EQ(wells.rows[0].kind, condition::WellKind::standard);
    EXPECT_EQ(wells.rows[0].concentration, 12.5);
    EXPECT_EQ(wells.rows[1].row, 8U);
    EXPECT_EQ(wells.rows[1].column, 12U);
    EXPECT_EQ(wells.rows[1].dilution, 20.0);
    EXPECT_EQ(wells.rows[1].added, 5.0);
    EXPECT_EQ(wells.rows[1].excluded, "bubble");
}

// Left out, not taken for undiluted.
TEST(ConditionTables, a_dilution_of_zero_and_a_well_that_is_none_lose_the_row) {
    const auto read = read_wells("plate,well,holds,label,dilution\n"
                                 "p1,C7,sample,a1,0\np1,7C,sample,a1,2\np1,C,sample,a1,2\np1,C0,sample,a1,2\n"
                                 "p1,C-7,sample,a1,2\np1,C7,sampel,a1,2\n",
                                 "wells.csv", oslo);
    EXPECT_THAT(texts(read),
                ElementsAre(AllOf(HasSubstr("beware wells.csv line 2, column \"dilution\": \"0\"; more "
                                            "than 0"),
                                  HasSubstr("until then the row is left out")),
                            HasSubstr("line 3, column \"well\": \"7C\"; a well"),
                            HasSubstr("line 4, column \"well\": \"C\""),
                            HasSubstr("line 5, column \"well\": \"C0\""),
                            HasSubstr("line 6, column \"well\": \"C-7\""),
                            HasSubstr("line 7, column \"holds\": \"sampel\"")));
    EXPECT_THAT(read.rows, IsEmpty());
}

TEST(ConditionTables, scores_are_read_and_an_unknown_fin_is_left_out) {
    const auto fins = read_fins("fish,occasion,fin,score,split,fray,net_marks,scorer,at\n"
                                "st01,landing,Left pectoral,slight,yes,no,,AB,2026-06-14 12:05\n"
                                "st01,after_holding,all,0,,,,,\n"
                                "st01,landing,left_pectral,slight,,,,,\n",
                                "fins.csv", oslo);
    EXPECT_THAT(texts(fins),
                ElementsAre(AllOf(HasSubstr("beware fins.csv line 4, column \"fin\": \"left_pectral\""),
                                  HasSubstr("did you mean left_pectoral?"))));
    ASSERT_THAT(fins.rows, SizeIs(2));
    EXPECT_EQ(fins.rows[0].fin, study::ScoredFin::left_pectoral);
    EXPECT_EQ(fins.rows[0].is_split, true);
    EXPECT_EQ(fins.rows[0].is_frayed, false);
    EXPECT_FALSE(fins.rows[0].has_net_marks.has_value());
    EXPECT_TRUE(fins.rows[0].at.has_value());
    EXPECT_EQ(fins.rows[1].fin, study::ScoredFin::all);
    EXPECT_EQ(fins.rows[1].occasion, condition::Occasion::after_holding);

    const auto body =
        read_body("fish,occasion,area,score\nst01,landing,hook_wound,heavy\n", "body.csv", oslo);
    EXPECT_THAT(texts(body), IsEmpty());
    ASSERT_THAT(body.rows, SizeIs(1));
    EXPECT_EQ(body.rows[0].part, study::ScoredPart::hook_wound);

    for (const char* untested : {"NA", "n/a", "?", "-"}) {
        const auto read = read_reflexes(std::string("fish,at,test,there\nst01,2026-06-14 12:05,righting,") +
                                            untested + "\n",
                                        "reflexes.csv", oslo);
        EXPECT_THAT(texts(read), IsEmpty()) << untested;
        ASSERT_THAT(read.rows, SizeIs(1)) << untested;
        EXPECT_FALSE(read.rows[0].is_there.has_value())
            << untested << ": not tested is neither lost nor there";
    }
    const auto reflexes = read_reflexes("fish,at,test,there\nst01,2026-06-14 12:05,righting,no\n"
                                        "st01,2026-06-14 12:05,body flex,\n",
                                        "reflexes.csv", oslo);
    EXPECT_THAT(texts(reflexes), IsEmpty());
    ASSERT_THAT(reflexes.rows, SizeIs(2));
    EXPECT_EQ(reflexes.rows[0].is_there, false);
    EXPECT_FALSE(reflexes.rows[1].is_there.has_value());
}

// A fish whose death is left out would count as living.
TEST(ConditionTables, a_fate_that_cannot_be_read_stops_a_run) {
    const auto read = read_fates("fish,at,what,last_alive,stage,cause,tag_type,tag_serial,tag_place\n"
                                 "st01,2026-06-14 12:05,tagged,,tube,,radio,17,implant\n"
                                 "st01,2026-06-15 12:05,dead,2026-06-15 08:00,holding,not known,,,\n"
                                 "st02,2026-06-15 12:05,ded,,,,,,\n",
                                 "fates.csv", oslo);
    EXPECT_THAT(texts(read), ElementsAre(HasSubstr("stops fates.csv line 4, column \"what\": \"ded\"")));
    ASSERT_THAT(read.rows, SizeIs(2));
    ASSERT_TRUE(read.rows[0].tag.has_value());
    EXPECT_EQ(read.rows[0].tag->serial, "17");
    EXPECT_EQ(read.rows[0].tag->place, condition::TagPlace::implant);
    EXPECT_EQ(read.rows[1].what, condition::FateKind::dead);
    EXPECT_EQ(read.rows[1].last_alive, parse_iso("2026-06-15T06:00:00Z"));
    EXPECT_EQ(read.rows[1].stage, condition::FateStage::holding);
    EXPECT_FALSE(read.rows[1].tag.has_value());
}

} // namespace
} // namespace backeddy::intake
