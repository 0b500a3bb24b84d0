// Edits laid over the tables of a folder: a row added, a cell changed, a row withdrawn, and what is told when
// the file has changed since.

#include <algorithm>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "intake/tables.hpp"

namespace backeddy::intake {
namespace {

using study::Edit;
using study::Edits;
using study::TableName;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

const std::string fish_file = "# weighed ashore\n"
                              "fish,species,mass_g,rig_of_mine\n"
                              "T01,Salmo trutta,500,a\n"
                              "T02,Salmo trutta,,b\n";

TableRead<study::Fish> fish_with(const Edits& edits, const std::string& file = fish_file) {
    return read_fish(file, "fish.csv", {.zone = "UTC", .clock_zones = {}, .edits = edits});
}

Edit set_mass(std::uint64_t number, const std::string& fish, const std::string& was, const std::string& now) {
    return {.number = number,
            .id = "e" + std::to_string(number),
            .table = TableName::fish,
            .act = Edit::Act::set,
            .row = {{"fish", fish}},
            .cells = {{"mass_g", {.was = was, .now = now}}}};
}

Edit added_fish(std::uint64_t number, study::RowText row) {
    return {.number = number,
            .id = "e" + std::to_string(number),
            .table = TableName::fish,
            .act = Edit::Act::add,
            .row = std::move(row)};
}

std::vector<std::string> ids(const TableRead<study::Fish>& read) {
    std::vector<std::string> out;
    for (const auto& fish : read.rows) {
        out.push_back(fish.id.text());
    }
    return out;
}

TEST(Edits, WithoutAnyTheTableIsAsItWas) {
    const auto read = fish_with({});
    EXPECT_THAT(ids(read), ElementsAre("T01", "T02"));
    EXPECT_THAT(read.complaints, IsEmpty());
}

TEST(Edits, ACellIsChangedWhereItHoldsWhatItHeld) {
    const auto read = fish_with({set_mass(1, "T01", "500", "512.5"), set_mass(2, "T02", "", "430")});
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 512.5);
    EXPECT_DOUBLE_EQ(read.rows[1].mass->grams(), 430.0);
    EXPECT_EQ(read.rows[0].place.line, 3U);
    EXPECT_EQ(read.rows[0].place.file, "fish.csv");
}

TEST(Edits, ALaterChangeOfTheSameCellGoesOnFromTheEarlier) {
    const auto read = fish_with({set_mass(1, "T01", "500", "512"), set_mass(2, "T01", "512", "521")});
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 521.0);
}

TEST(Edits, ACellThatHoldsSomethingElseByNowIsLeftAndTold) {
    const auto read = fish_with({set_mass(7, "T01", "480", "512")});
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 500.0);
    ASSERT_EQ(read.complaints.size(), 1U);
    const auto& complaint = read.complaints.front();
    EXPECT_EQ(complaint.severity, study::Severity::warning);
    EXPECT_EQ(complaint.error.place.file, "journal");
    EXPECT_EQ(complaint.error.place.line, 7U);
    EXPECT_EQ(complaint.error.place.column, "mass_g");
    EXPECT_THAT(complaint.error.text(), HasSubstr("fish.csv line 3 holds \"500\" now"));
    EXPECT_THAT(complaint.error.text(), HasSubstr("\"480\""));
}

TEST(Edits, ARowThatIsGoneOrThereTwiceIsTold) {
    const auto gone = fish_with({set_mass(1, "T09", "1", "2")});
    ASSERT_EQ(gone.complaints.size(), 1U);
    EXPECT_THAT(gone.complaints[0].error.text(), HasSubstr("fish = \"T09\""));
    const auto twice = fish_with({set_mass(1, "T01", "500", "2")}, fish_file + "T01,Salmo trutta,500,c\n");
    EXPECT_THAT(twice.complaints[0].error.text(), HasSubstr("lines 3 and 5"));
    EXPECT_DOUBLE_EQ(twice.rows[0].mass->grams(), 500.0);
}

TEST(Edits, ARowIsAddedChangedAndWithdrawn) {
    Edits edits{added_fish(1, {{"fish", "T03"}, {"species", "Salmo trutta"}, {"tag", "A-17"}})};
    auto read = fish_with(edits);
    EXPECT_THAT(read.complaints, IsEmpty());
    ASSERT_THAT(ids(read), ElementsAre("T01", "T02", "T03"));
    EXPECT_EQ(read.rows[2].tag, "A-17"); // a column that the file does not have
    EXPECT_EQ(read.rows[2].place.file, "journal");
    EXPECT_EQ(read.rows[2].place.line, 1U);
    EXPECT_EQ(read.rows[0].free.front().value, "a");

    edits.push_back({.number = 2,
                     .id = "e2",
                     .table = TableName::fish,
                     .act = Edit::Act::set,
                     .added_by = "e1",
                     .cells = {{"mass_g", {.was = "", .now = "333"}}}});
    read = fish_with(edits);
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_DOUBLE_EQ(read.rows[2].mass->grams(), 333.0);

    edits.push_back(
        {.number = 3, .id = "e3", .table = TableName::fish, .act = Edit::Act::withdraw, .added_by = "e1"});
    edits.push_back({.number = 4,
                     .id = "e4",
                     .table = TableName::fish,
                     .act = Edit::Act::withdraw,
                     .row = {{"fish", "T01"}, {"mass_g", "500"}}});
    read = fish_with(edits);
    EXPECT_THAT(ids(read), ElementsAre("T02"));
    EXPECT_THAT(read.complaints, IsEmpty());
}

TEST(Edits, ARowIsFoundByWhatTheFileHoldsWhateverWasChangedInIt) {
    Edit rename{.number = 1,
                .id = "e1",
                .table = TableName::fish,
                .act = Edit::Act::set,
                .row = {{"fish", "T01"}},
                .cells = {{"fish", {.was = "T01", .now = "T10"}}}};
    const auto read = fish_with({rename, set_mass(2, "T01", "500", "501")});
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_THAT(ids(read), ElementsAre("T10", "T02"));
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 501.0);
}

TEST(Edits, ANumberIsWrittenAsTheTableWritesItsNumbers) {
    const std::string file = "fish;species;mass_g\nT01;Salmo trutta;500,5\nT02;Salmo trutta;\n";
    const auto read = fish_with({set_mass(1, "T02", "", "430.25"), set_mass(2, "T01", "500,5", "501.5"),
                                 set_mass(3, "T01", "501.5", "502.5")},
                                file);
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_DOUBLE_EQ(read.rows[1].mass->grams(), 430.25);
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 502.5);
}

TEST(Edits, AFaultOfAnAddedRowNamesTheJournal) {
    const auto read =
        fish_with({added_fish(12, {{"fish", "T03"}, {"species", "Salmo trutta"}, {"mass_g", "heavy"}})});
    ASSERT_FALSE(read.complaints.empty());
    EXPECT_EQ(read.complaints.front().error.place.file, "journal");
    EXPECT_EQ(read.complaints.front().error.place.line, 12U);
    EXPECT_THAT(read.complaints.front().error.text(), HasSubstr("heavy"));
}

TEST(Edits, AloneTheyMakeATableThatHasNoFile) {
    const auto read = fish_with({added_fish(1, {{"fish", "T03"}, {"species", "Salmo trutta"}})}, "");
    EXPECT_THAT(read.complaints, IsEmpty());
    EXPECT_THAT(ids(read), ElementsAre("T03"));
}

TEST(Edits, ThePartsOfAStayStandTogether) {
    const std::string file = "stay,fish,assembly,role,from,to,ended\n"
                             "s1,T01,tube,after_capture,2026-06-14T08:05:00Z,2026-06-14T09:04:00Z,\n"
                             "s2,T02,tube,rest,2026-06-14T09:10:00Z,2026-06-14T20:04:00Z,done\n";
    const Edit part{.number = 1,
                    .id = "e1",
                    .table = TableName::stays,
                    .act = Edit::Act::add,
                    .row = {{"stay", "s1"},
                            {"fish", "T01"},
                            {"assembly", "tube"},
                            {"role", "held"},
                            {"from", "2026-06-14T09:04:00Z"},
                            {"to", "2026-06-14T09:08:00Z"}}};
    const auto read = read_stays(file, "stays.csv", {.zone = "UTC", .clock_zones = {}, .edits = {part}});
    EXPECT_THAT(read.complaints, IsEmpty());
    ASSERT_EQ(read.rows.size(), 2U);
    EXPECT_EQ(read.rows[0].parts.size(), 2U);
}

TEST(Edits, OfOtherTablesDoNothing) {
    auto edit = added_fish(1, {{"fish", "T03"}});
    edit.table = TableName::encounters;
    EXPECT_THAT(ids(fish_with({edit})), ElementsAre("T01", "T02"));
}

Edit by(std::string author, Edit edit) {
    edit.author = std::move(author);
    return edit;
}

TEST(Edits, OfTwoWhoChangedOneCellUnknownToEachOtherTheFirstStandsAndBothAreNamed) {
    const auto read = fish_with(
        {by("A. Keen", set_mass(3, "T01", "500", "512")), by("B. Reel", set_mass(4, "T01", "500", "498"))});
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 512.0);
    ASSERT_EQ(read.complaints.size(), 1U);
    const auto text = read.complaints.front().error.text();
    for (const char* word :
         {"fish.csv line 3", "\"512\"", "A. Keen (entry e3)", "\"500\"", "B. Reel (entry e4)", "\"498\""}) {
        EXPECT_THAT(text, HasSubstr(word));
    }
    EXPECT_EQ(read.complaints.front().error.place.line, 4U);
    // With the first undone the other holds.
    const auto second = fish_with({by("B. Reel", set_mass(4, "T01", "500", "498"))});
    EXPECT_DOUBLE_EQ(second.rows[0].mass->grams(), 498.0);
    EXPECT_THAT(second.complaints, IsEmpty());
}

TEST(Edits, TwoWhoWriteTheSameAgree) {
    const auto read = fish_with({set_mass(3, "T01", "500", "512"), set_mass(4, "T01", "500", "512")});
    EXPECT_DOUBLE_EQ(read.rows[0].mass->grams(), 512.0);
    EXPECT_THAT(read.complaints, IsEmpty());
}

TEST(Edits, ACellOfAnAddedRowNamesWhoAddedIt) {
    const auto read = fish_with({by("A. Keen", added_fish(1, {{"fish", "T03"}, {"mass_g", "300"}})),
                                 by("B. Reel", {.number = 2,
                                                .id = "e2",
                                                .table = TableName::fish,
                                                .act = Edit::Act::set,
                                                .added_by = "e1",
                                                .cells = {{"mass_g", {.was = "", .now = "310"}}}})});
    ASSERT_EQ(read.complaints.size(), 1U);
    EXPECT_THAT(read.complaints.front().error.text(), HasSubstr("holds \"300\" now, by A. Keen (entry e1)"));
}

TEST(Edits, AChangeOfARowThatWasTakenOutIsTold) {
    const auto read = fish_with({by("A. Keen", {.number = 1,
                                                .id = "e1",
                                                .table = TableName::fish,
                                                .act = Edit::Act::withdraw,
                                                .row = {{"fish", "T01"}}}),
                                 by("B. Reel", set_mass(2, "T01", "500", "498"))});
    EXPECT_THAT(ids(read), ElementsAre("T02"));
    ASSERT_EQ(read.complaints.size(), 1U);
    EXPECT_THAT(read.complaints.front().error.text(), HasSubstr("A. Keen (entry e1) took it out"));
    EXPECT_THAT(read.complaints.front().error.text(), HasSubstr("B. Reel (entry e2)"));
}

} // namespace
} // namespace backeddy::intake
