// Journal entries as edits: what each act means, undo and redo, who may what, and what is told of the rest.

#include "app/edits.hpp"

#include <algorithm>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::app {
namespace {

using study::Edit;
using study::TableName;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

store::Entry entry(std::uint64_t sequence, std::string_view act, std::string content,
                   store::Role role = store::Role::scientist) {
    return {.id = {.device = *store::DeviceId::parse("00c0ffee00c0ffee"), .sequence = sequence},
            .time = {.wall_us = static_cast<std::int64_t>(sequence)},
            .moment = {.wall_us = 1'781'424'000'900'000, .boot = "b", .clock_offset_us = 2'000'000},
            .author = "A. Tester",
            .role = role,
            .act = std::string(act),
            .content = std::move(content),
            .reason = "the pump stood still"};
}

const std::string a_fish = R"({"table":"fish","row":{"fish":"T03","species":"Salmo trutta"}})";

std::string undo_of(std::uint64_t sequence) {
    return R"({"entry":"00c0ffee00c0ffee:)" + std::to_string(sequence) + R"("})";
}

TEST(JournalEdits, AreWhatTheirContentSays) {
    const Edit edits[] = {
        {.table = TableName::events,
         .act = Edit::Act::add,
         .row = {{"at", "2026-06-14T08:00:00Z"}, {"event", "landed"}}},
        {.table = TableName::fish,
         .act = Edit::Act::set,
         .row = {{"fish", "T01"}},
         .cells = {{"mass_g", {.was = "", .now = "512"}}, {"note", {.was = "a \"b\"", .now = "é"}}}},
        {.table = TableName::events, .act = Edit::Act::withdraw, .added_by = "00c0ffee00c0ffee:1"}};
    std::vector<store::Entry> entries;
    for (const auto& edit : edits) {
        entries.push_back(entry(entries.size() + 1, act_of(edit), content_of(edit)));
    }
    const auto read = read_entries(entries);
    EXPECT_THAT(read.complaints, IsEmpty());
    const auto back = read.edits();
    ASSERT_THAT(back, SizeIs(3));
    for (std::size_t i = 0; i < back.size(); ++i) {
        Edit want = edits[i];
        want.number = i + 1;
        want.id = "00c0ffee00c0ffee:" + std::to_string(i + 1);
        want.author = "A. Tester";
        EXPECT_EQ(back[i], want);
    }
}

TEST(JournalEdits, OfADecisionCarryWhoDecidedWhenAndWhy) {
    const auto read = read_entries(std::vector{entry(
        1, act_add,
        R"({"table":"decisions","row":{"stay":"s2","act":"exclude","moment":"2026-06-14T10:00:00Z"}})")});
    const auto edits = read.edits();
    ASSERT_THAT(edits, SizeIs(1));
    EXPECT_EQ(edits[0].row.at("author"), "A. Tester");
    EXPECT_EQ(edits[0].row.at("reason"), "the pump stood still");
    EXPECT_EQ(edits[0].row.at("at"),
              "2026-06-14T08:00:02Z"); // the device's clock was 2 s behind the server's
}

TEST(JournalEdits, AreUndoneAndDoneAgain) {
    std::vector entries{entry(1, act_add, a_fish)};
    EXPECT_THAT(read_entries(entries).edits(), SizeIs(1));
    entries.push_back(entry(2, act_undo, undo_of(1)));
    auto read = read_entries(entries);
    EXPECT_THAT(read.edits(), IsEmpty());
    EXPECT_TRUE(read.entries[0].is_undone);
    entries.push_back(entry(3, act_undo, undo_of(2)));
    read = read_entries(entries);
    EXPECT_THAT(read.edits(), SizeIs(1));
    EXPECT_FALSE(read.entries[0].is_undone);
    EXPECT_TRUE(read.entries[1].is_undone);
    entries.push_back(entry(4, act_undo, undo_of(1))); // undone once more
    EXPECT_THAT(read_entries(entries).edits(), IsEmpty());
    EXPECT_THAT(read.complaints, IsEmpty());
}

TEST(JournalEdits, TwoUndosOfOneEntryFromTwoDevicesAreOne) {
    const std::vector entries{entry(1, act_add, a_fish), entry(2, act_undo, undo_of(1)),
                              entry(3, act_undo, undo_of(1))};
    const auto read = read_entries(entries);
    EXPECT_THAT(read.edits(), IsEmpty());
    EXPECT_THAT(read.complaints, IsEmpty());
}

TEST(JournalEdits, ARecordOfAFileChangesNoTable) {
    const auto read = read_entries(std::vector{entry(
        1, act_record, R"({"file":"study.toml","was":{"sha256":"ab","text":"x"},"now":{"sha256":"cd"}})")});
    EXPECT_THAT(read.edits(), IsEmpty());
    EXPECT_THAT(read.complaints, IsEmpty());
}

TEST(JournalEdits, AreHeldToTheRoleOfTheirAuthor) {
    const std::string decision = R"({"table":"decisions","row":{"stay":"s2","act":"exclude"}})";
    const std::vector entries{entry(1, act_add, a_fish, store::Role::crew),
                              entry(2, act_add, decision, store::Role::crew),
                              entry(3, act_add, a_fish, store::Role::viewer),
                              entry(4, act_add, decision),
                              entry(5, act_undo, undo_of(4), store::Role::crew),
                              entry(6, act_undo, undo_of(1), store::Role::viewer)};
    const auto read = read_entries(entries);
    const auto edits = read.edits();
    ASSERT_THAT(edits, SizeIs(2));
    EXPECT_EQ(edits[0].number, 1U);
    EXPECT_EQ(edits[1].number, 4U);
    ASSERT_THAT(read.complaints, SizeIs(4));
    EXPECT_THAT(read.complaints[0].error.text(), HasSubstr("decisions.csv by A. Tester (crew)"));
    EXPECT_EQ(read.complaints[0].error.place.line, 2U);
}

TEST(JournalEdits, WhatCannotBeReadIsLeftOutAndTold) {
    const std::pair<store::Entry, const char*> cases[] = {
        {entry(1, act_add, "{"), "no JSON object"},
        {entry(1, act_add, "[]"), "no JSON object"},
        {entry(1, act_add, R"({"row":{"fish":"T"}})"), "\"table\""},
        {entry(1, act_add, R"({"table":"trees","row":{"fish":"T"}})"), "trees"},
        {entry(1, act_add, R"({"table":"fish"})"), "\"row\""},
        {entry(1, act_add, R"({"table":"fish","row":{"mass_g":5}})"), "no text"},
        {entry(1, act_set, R"({"table":"fish","row":{"fish":"T"}})"), "\"cells\""},
        {entry(1, act_set, R"({"table":"fish","row":{"fish":"T"},"cells":{"mass_g":{"now":"5"}}})"),
         "\"was\""},
        {entry(1, act_undo, "{}"), "\"entry\""},
        {entry(1, act_undo, R"({"entry":"T:1"})"), "T:1"},
        {entry(1, act_undo, undo_of(1)), "comes later"},
        {entry(1, act_undo, undo_of(9)), "not here"},
        {entry(1, act_record, "7"), "no JSON object"},
        {entry(1, act_record, "{}"), "\"file\""},
        {entry(1, act_record, R"({"file":"study.toml"})", store::Role::crew), "(crew)"},
        {entry(1, "dance", "{}"), "dance"}};
    for (const auto& [bad, words] : cases) {
        const auto read = read_entries(std::vector{bad});
        EXPECT_THAT(read.edits(), IsEmpty());
        ASSERT_THAT(read.complaints, SizeIs(1)) << words;
        EXPECT_THAT(read.complaints[0].error.text(), HasSubstr(words));
        EXPECT_EQ(read.complaints[0].severity, study::Severity::warning);
    }
}

TEST(JournalEdits, IdsAreReadBack) {
    const store::EntryId id{.device = *store::DeviceId::parse("00c0ffee00c0ffee"), .sequence = 12};
    EXPECT_EQ(parse_entry_id(id_text(id)), id);
    for (const char* bad :
         {"", ":", "00c0ffee00c0ffee", "00c0ffee00c0ffee:", "00c0ffee00c0ffee:0", "00c0ffee00c0ffee:1x",
          "00c0ffee00c0ffe:1", "00c0ffee00c0ffee:-1", "00c0ffee00c0ffee:99999999999999999999"}) {
        EXPECT_FALSE(parse_entry_id(bad)) << bad;
    }
}

TEST(JournalEdits, OfARowThatAnotherEntryAddedHaveToFindThatOneBefore) {
    const std::string by_first =
        R"({"table":"fish","added_by":"00c0ffee00c0ffee:1","cells":{"mass_g":{"was":"","now":"5"}}})";
    const auto complaints = [](const std::vector<store::Entry>& entries) {
        return read_entries(entries).complaints;
    };
    EXPECT_THAT(complaints({entry(1, act_add, a_fish), entry(2, act_set, by_first)}), IsEmpty());
    // Undone, it leaves nothing to change, and nothing to say.
    EXPECT_THAT(
        complaints({entry(1, act_add, a_fish), entry(2, act_set, by_first), entry(3, act_undo, undo_of(1))}),
        IsEmpty());

    auto missing = read_entries(std::vector{entry(2, act_set, by_first)});
    ASSERT_THAT(missing.complaints, SizeIs(1));
    EXPECT_THAT(missing.complaints[0].error.text(), HasSubstr("which is not here"));
    EXPECT_THAT(missing.edits(), IsEmpty());

    std::vector later{entry(1, act_add, a_fish), entry(2, act_set, by_first)};
    later[0].time.wall_us = 9; // by a clock that is far ahead
    std::ranges::reverse(later);
    EXPECT_THAT(complaints(later)[0].error.text(), HasSubstr("comes later"));

    const std::string event = R"({"table":"events","row":{"at":"2026-06-14T08:00:00Z","event":"note"}})";
    EXPECT_THAT(complaints({entry(1, act_add, event), entry(2, act_set, by_first)})[0].error.text(),
                HasSubstr("none of this table"));
    const std::string nonsense =
        R"({"table":"fish","added_by":"me","cells":{"mass_g":{"was":"","now":"5"}}})";
    EXPECT_THAT(complaints({entry(1, act_set, nonsense)})[0].error.text(), HasSubstr("entry me"));
}

TEST(JournalEdits, OfAnyRoleChangeWhatThatRoleMayWhoeverBringsThem) {
    for (const auto& table : study::tables()) {
        const std::string content = R"({"table":")" + std::string(table.word()) + R"(","row":{"note":"x"}})";
        for (const auto role : {store::Role::viewer, store::Role::crew, store::Role::scientist}) {
            for (const auto act : {act_add, act_withdraw}) {
                const auto read = read_entries(std::vector{entry(1, act, content, role)});
                EXPECT_EQ(read.edits().size(), may_edit(role, table.name) ? 1U : 0U) << table.file;
                EXPECT_EQ(read.complaints.size(), may_edit(role, table.name) ? 0U : 1U) << table.file;
            }
        }
        EXPECT_TRUE(may_edit(store::Role::scientist, table.name));
        EXPECT_FALSE(may_edit(store::Role::viewer, table.name));
    }
}

} // namespace
} // namespace backeddy::app
