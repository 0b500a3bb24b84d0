// What is written in the program counts in every run; what does not fit is refused before it is written.

#include "app/journal.hpp"

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

} // namespace
} // namespace backeddy::app
