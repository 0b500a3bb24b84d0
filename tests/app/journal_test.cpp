// What is written in the program counts in every run; what does not fit is refused before it is written.

#include "app/journal.hpp"

#include <algorithm>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/result_set.hpp"
#include "app/run.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const Instant noon = *parse_iso("2026-06-20T12:00:00Z");
const Author scientist{.name = "A. Tester", .role = store::Role::scientist};
const Author crew{.name = "B. Tester", .role = store::Role::crew};

struct Folder : test::ScratchFolder {
    explicit Folder(const std::string& name) : ScratchFolder(name) { write_all(*this, test::small_study()); }

    JournalWriter writer{path(), [] { return noon; }};
};

Wished exclusion(const std::string& stay = "s2") {
    return {.act = "add",
            .content = R"({"table":"decisions","row":{"stay":")" + stay + R"(","act":"exclude"}})",
            .reason = "the tube leaked"};
}

std::vector<ResultFile> files_of(const std::filesystem::path& folder) {
    const auto run = answer_study(folder, false, {});
    return ResultSet(*run->study->run).all(Threads{});
}

TEST(JournalOfAStudy, WithoutOneThereIsNothing) {
    const Folder folder("journal_none");
    const auto read = read_journal(folder.path());
    EXPECT_THAT(read.entries, IsEmpty());
    EXPECT_FALSE(read.input);
    EXPECT_FALSE(std::filesystem::exists(folder.path() / store::journal_name));
}

TEST(JournalOfAStudy, ADecisionInItIsOneOfTheTable) {
    Folder folder("journal_decision");
    const auto ids = folder.writer.write({exclusion()}, scientist);
    ASSERT_TRUE(ids) << ids.error().text();
    const auto by_journal = files_of(folder.path());

    const Folder other("journal_table");
    other.write("decisions.csv", "stay,moment,act,value,reason,author,at\n"
                                 "s2,,exclude,,the tube leaked,A. Tester,2026-06-20T12:00:00Z\n");
    const auto by_table = files_of(other.path());
    for (std::size_t i = 0; i < by_table.size(); ++i) {
        if (by_table[i].name.ends_with(".csv")) {
            EXPECT_EQ(by_journal[i].bytes, by_table[i].bytes) << by_table[i].name;
        }
    }
    EXPECT_THAT(by_journal.front().bytes, HasSubstr(R"("journal.sqlite")"));
}

TEST(JournalOfAStudy, AnUndoneDecisionLeavesTheNumbersAsTheyWere) {
    Folder folder("journal_undone");
    const auto before = files_of(folder.path());
    const auto ids = folder.writer.write({exclusion()}, scientist);
    ASSERT_TRUE(ids);
    const auto undo = folder.writer.write(
        {{.act = "undo", .content = R"({"entry":")" + id_text(ids->front()) + "\"}", .reason = "a slip"}},
        scientist);
    ASSERT_TRUE(undo) << undo.error().text();
    const auto after = files_of(folder.path());
    for (std::size_t i = 0; i < before.size(); ++i) {
        if (before[i].name.ends_with(".csv")) {
            EXPECT_EQ(after[i].bytes, before[i].bytes) << before[i].name;
        }
    }
    EXPECT_THAT(read_journal(folder.path()).input->understood,
                Contains(HasSubstr("entries: 2, of which undone: 1; devices: 1")));
}

TEST(JournalOfAStudy, WhatDoesNotFitIsRefusedAndNothingOfItsBatchIsWritten) {
    Folder folder("journal_refused");
    const std::pair<Wished, const char*> cases[] = {
        {exclusion("s9"), "s9"},
        {{.act = "add", .content = R"({"table":"decisions","row":{"stay":"s2","act":"dance"}})"}, "dance"},
        {{.act = "set",
          .content = R"({"table":"fish","row":{"fish":"T01"},"cells":{"mass_g":{"was":"499","now":"512"}}})"},
         "holds \"500\" now"},
        {{.act = "set",
          .content =
              R"({"table":"fish","row":{"fish":"T01"},"cells":{"mass_g":{"was":"500","now":"heavy"}}})"},
         "heavy"},
        {{.act = "withdraw", .content = R"({"table":"fish","row":{"fish":"T01"}})"}, "T01"},
        {{.act = "dance", .content = "{}"}, "dance"}};
    for (const auto& [wish, words] : cases) {
        const auto refused = folder.writer.write({exclusion(), wish}, scientist);
        ASSERT_FALSE(refused) << words;
        EXPECT_THAT(refused.error().text(), HasSubstr(words));
    }
    EXPECT_FALSE(folder.writer.write({exclusion()}, crew));
    EXPECT_THAT(read_journal(folder.path()).entries, IsEmpty());
    EXPECT_TRUE(folder.writer.write({exclusion()}, scientist));
}

TEST(JournalOfAStudy, AWishThatComesTwiceIsWrittenOnce) {
    Folder folder("journal_twice");
    const auto wished = [](const std::string& word, const std::string& act = "exclude") {
        return Wished{.act = "add",
                      .content = R"({"table":"decisions","row":{"stay":"s2","act":")" + act +
                                 R"("},"wish":")" + word + "\"}",
                      .reason = "the tube leaked"};
    };
    const auto first = folder.writer.write({wished("w1")}, scientist);
    ASSERT_TRUE(first) << first.error().text();
    // Its answer was lost: it comes again, with another one behind it, and from a program that was started
    // anew.
    JournalWriter restarted(folder.path(), [] { return noon; });
    const auto again = restarted.write({wished("w1"), wished("w2", "include")}, scientist);
    ASSERT_TRUE(again) << again.error().text();
    ASSERT_THAT(*again, SizeIs(2));
    EXPECT_EQ(again->front(), first->front());
    EXPECT_THAT(read_journal(folder.path()).entries, SizeIs(2));
    EXPECT_EQ(*folder.writer.write({wished("w2", "include")}, scientist), std::vector{again->back()});
    // The same word with something else, or from somebody else, is another wish; so is one without a word.
    ASSERT_TRUE(folder.writer.write({wished("w1", "note")}, scientist));
    ASSERT_TRUE(folder.writer.write({wished("w1")}, {.name = "C. Tester", .role = store::Role::scientist}));
    ASSERT_TRUE(folder.writer.write({exclusion(), exclusion()}, scientist));
    EXPECT_THAT(read_journal(folder.path()).entries, SizeIs(6));
}

TEST(JournalOfAStudy, AStudyThatIsStoppedAlreadyCanBeMendedInIt) {
    Folder folder("journal_mended");
    auto files = test::small_study();
    folder.write("fish.csv", test::with(files["fish.csv"], "500", "heavy"));
    ASSERT_FALSE(answer_study(folder.path(), false, {})->study);
    const auto mended = folder.writer.write(
        {{.act = "set",
          .content =
              R"({"table":"fish","row":{"fish":"T01"},"cells":{"mass_g":{"was":"heavy","now":"500"}}})",
          .reason = "weighed again"}},
        crew);
    ASSERT_TRUE(mended) << mended.error().text();
    EXPECT_TRUE(answer_study(folder.path(), false, {})->study);
}

TEST(JournalOfAStudy, WritersOfOneFolderGoOnFromEachOther) {
    Folder folder("journal_two");
    JournalWriter other(folder.path(), [] { return noon - Duration::hours(5.0); }); // its clock is behind
    ASSERT_TRUE(folder.writer.write({exclusion()}, scientist));
    const auto ids = other.write({exclusion("s1")}, scientist);
    ASSERT_TRUE(ids);
    const auto read = read_journal(folder.path());
    ASSERT_THAT(read.entries, SizeIs(2));
    EXPECT_EQ(read.entries[1].id, ids->front()); // after what it had seen, whatever its clock says
}

TEST(JournalOfAStudy, ADamagedOneStopsTheRun) {
    Folder folder("journal_damaged");
    folder.write(store::journal_name, "this is no journal");
    const auto answered = answer_study(folder.path(), false, {});
    ASSERT_TRUE(answered);
    ASSERT_FALSE(answered->study);
    EXPECT_THAT(answered->refusal.complaints.front().error.text(), HasSubstr("journal.sqlite"));
    EXPECT_FALSE(folder.writer.write({exclusion()}, scientist));
}

/// As a phone would have written it.
store::Entry carried(std::uint64_t sequence, std::string content, std::string_view act = "add",
                     const std::string& device = "00c0ffee00c0ffee") {
    const std::int64_t wall_us =
        (noon.unix_nanoseconds() / 1000) - 3'600'000'000 + static_cast<std::int64_t>(sequence);
    return {.id = {.device = *store::DeviceId::parse(device), .sequence = sequence},
            .time = {.wall_us = wall_us},
            .moment = {.wall_us = wall_us, .boot = "b"},
            .author = "C. Phone",
            .role = store::Role::crew,
            .act = std::string(act),
            .content = std::move(content)};
}

const std::string fish_of_phone = R"({"table":"fish","row":{"fish":"0614-C1","species":"Salmo trutta"}})";

TEST(TakenIn, IsThereAsItWasWrittenAndTakenTwiceIsThereOnce) {
    Folder folder("taken_in");
    const std::vector entries{carried(1, fish_of_phone),
                              carried(2, R"({"table":"decisions","row":{"stay":"s2","act":"exclude"}})"),
                              carried(3, "no JSON")};
    const auto taken = folder.writer.take_in(entries);
    ASSERT_TRUE(taken) << taken.error().text();
    EXPECT_EQ(taken->appended.added, 3U);
    EXPECT_EQ(read_journal(folder.path()).entries, entries);
    // What counts for nothing is kept all the same, and told: by whom and which.
    ASSERT_THAT(taken->complaints, SizeIs(2));
    EXPECT_EQ(taken->complained_of, (std::vector{entries[1].id, entries[2].id}));
    EXPECT_THAT(taken->complaints[0].error.text(), HasSubstr("C. Phone (crew)"));
    JournalWriter other(folder.path(), [] { return noon; });
    const auto again = other.take_in(entries);
    ASSERT_TRUE(again);
    EXPECT_EQ(again->appended.added, 0U);
    EXPECT_EQ(again->appended.duplicates, 3U);
    EXPECT_THAT(again->complaints, SizeIs(2));
    EXPECT_THAT(read_journal(folder.path()).entries, SizeIs(3));
    EXPECT_TRUE(folder.writer.take_in({}));
}

TEST(TakenIn, ChangesOfOneCellByTwoDevicesAreBothToldWithTheirAuthors) {
    Folder folder("taken_in_rivals");
    const auto set = [](std::uint64_t sequence, const std::string& now, const std::string& device) {
        return carried(sequence,
                       R"({"table":"fish","row":{"fish":"T01"},"cells":{"mass_g":{"was":"500","now":")" +
                           now + R"("}}})",
                       "set", device);
    };
    auto other = set(2, "498", "00000000000000bb");
    other.author = "D. Phone";
    ASSERT_TRUE(folder.writer.take_in(std::vector{other}));
    const auto taken = folder.writer.take_in(std::vector{set(1, "512", "00000000000000aa")});
    ASSERT_TRUE(taken);
    EXPECT_THAT(taken->complaints, IsEmpty()); // the earlier one stands
    const auto opened = open_study(folder.path(), {});
    ASSERT_TRUE(opened);
    EXPECT_DOUBLE_EQ(opened->study.tables.fish.front().mass->grams(), 512.0);
    const auto told = std::ranges::find_if(
        opened->complaints, [](const auto& each) { return each.error.place.column == "mass_g"; });
    ASSERT_NE(told, opened->complaints.end());
    for (const char* word : {"\"512\" now, by C. Phone (entry 00000000000000aa:1)",
                             "D. Phone (entry 00000000000000bb:2)", "\"498\""}) {
        EXPECT_THAT(told->error.text(), HasSubstr(word));
    }
    EXPECT_FALSE(study::stops_a_run(opened->complaints));
}

TEST(TakenIn, UnderAnIdThatIsTakenIsKeptAsideAndToldWithBoth) {
    Folder folder("taken_in_aside");
    auto other = carried(1, R"({"table":"fish","row":{"fish":"0614-X9"}})");
    other.author = "D. Phone";
    ASSERT_TRUE(folder.writer.take_in(std::vector{carried(1, fish_of_phone)}));
    const auto taken = folder.writer.take_in(std::vector{other});
    ASSERT_TRUE(taken);
    ASSERT_THAT(taken->appended.conflicts, SizeIs(1));
    const auto read = read_journal(folder.path());
    EXPECT_THAT(read.entries, SizeIs(1));
    ASSERT_THAT(read.complaints, SizeIs(1));
    for (const char* word : {"C. Phone", "0614-C1", "D. Phone", "0614-X9", "00c0ffee00c0ffee:1"}) {
        EXPECT_THAT(read.complaints[0].error.text(), HasSubstr(word));
    }
    EXPECT_EQ(read.complaints[0].severity, study::Severity::warning);
}

TEST(TakenIn, IsFollowedByTheClockOfWhoeverWritesNextUnlessItIsFarAhead) {
    Folder folder("taken_in_clock");
    auto near = carried(1, fish_of_phone);
    near.time = {.wall_us = (noon.unix_nanoseconds() / 1000) + 3'600'000'000}; // an hour ahead
    auto far = carried(1, R"({"table":"fish","row":{"fish":"0614-D1"}})", "add", "00000000000000dd");
    far.time = {.wall_us = (noon.unix_nanoseconds() / 1000) + (10 * store::most_ahead_us)};
    ASSERT_TRUE(folder.writer.take_in(std::vector{near, far}));
    const auto undo = folder.writer.write(
        {{.act = "undo", .content = R"({"entry":")" + id_text(near.id) + "\"}", .reason = "a slip"}},
        scientist);
    ASSERT_TRUE(undo) << undo.error().text();
    const auto read = read_journal(folder.path());
    ASSERT_THAT(read.entries, SizeIs(3));
    EXPECT_EQ(read.entries[1].id, undo->front()); // behind the one, before the other
    EXPECT_TRUE(read.read.entries[0].is_undone);
    // What goes on from the one that is far ahead stands behind it all the same, and what does not, before
    // it.
    const auto set = folder.writer.write(
        {{.act = "set",
          .content =
              R"({"table":"fish","added_by":"00000000000000dd:1","cells":{"mass_g":{"was":"","now":"300"}}})"},
         {.act = "add", .content = R"({"table":"fish","row":{"fish":"0614-Z1"}})"}},
        scientist);
    ASSERT_TRUE(set) << set.error().text();
    const auto after = read_journal(folder.path());
    ASSERT_THAT(after.entries, SizeIs(5));
    EXPECT_EQ(after.entries[2].id, set->back());
    EXPECT_EQ(after.entries[4].id, set->front());
    EXPECT_THAT(after.complaints, IsEmpty());
}

TEST(Arrived, IsToldInItsOrderOfArrivalFromAnyPlace) {
    Folder folder("arrived");
    EXPECT_FALSE(arrived_since(folder.path(), {}, 10));
    ASSERT_TRUE(folder.writer.take_in(std::vector{carried(2, fish_of_phone)}));
    ASSERT_TRUE(folder.writer.take_in(std::vector{carried(1, "{}"), carried(3, "{}")}));
    const auto all = arrived_since(folder.path(), {}, 10);
    ASSERT_TRUE(all);
    EXPECT_EQ(all->identity, *folder.writer.identity());
    ASSERT_THAT(all->entries, SizeIs(3));
    EXPECT_EQ(all->entries[0].id.sequence, 2U);
    EXPECT_EQ(all->through, store::Position{3});
    const auto first = arrived_since(folder.path(), {}, 1);
    EXPECT_THAT(first->entries, SizeIs(1));
    EXPECT_EQ(first->through, store::Position{1});
    EXPECT_THAT(arrived_since(folder.path(), first->through, 10)->entries, SizeIs(2));
    const auto none = arrived_since(folder.path(), store::Position{3}, 10);
    EXPECT_THAT(none->entries, IsEmpty());
    EXPECT_EQ(none->through, store::Position{3});
    EXPECT_EQ(arrived_since(folder.path(), store::Position{99}, 10)->through, store::Position{3}); // restored
}

} // namespace
} // namespace backeddy::app
