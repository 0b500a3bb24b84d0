// A study that stays open: what is saved is answered, what stops a run leaves the earlier answer, and a
// reader never waits for long.

#include "app/desk.hpp"

#include <chrono>
#include <fstream>
#include <mutex>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/run.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using namespace std::chrono_literals;

const Instant noon = *parse_iso("2026-06-20T12:00:00Z");

/// A desk over a study folder of its own, with what it told.
struct Watched {
    explicit Watched(const std::string& name, const test::StudyFiles& files = test::small_study())
        : folder(name) {
        test::write_all(folder, files);
        desk = std::make_unique<Desk>(DeskWish{.folder = folder.path(),
                                               .now = [] { return noon; },
                                               .on_change =
                                                   [this](const DeskState& state) {
                                                       const std::lock_guard lock(guard);
                                                       told.push_back(state);
                                                   }});
    }

    void save(const std::string& name, const std::string& text) const {
        std::ofstream(folder.path() / name, std::ios::binary) << text;
    }

    /// Waits until `is_so`, or gives up after a minute (a busy machine takes its time).
    template <typename Question>
    [[nodiscard]] bool until(const Question& is_so) const {
        for (const auto end = std::chrono::steady_clock::now() + 60s;
             std::chrono::steady_clock::now() < end;) {
            if (is_so(desk->state())) {
                return true;
            }
            std::this_thread::sleep_for(5ms);
        }
        return false;
    }
    [[nodiscard]] bool until_revision(std::uint64_t revision) const {
        return until([=](const DeskState& state) {
            return state.revision == revision && state.phase == DeskPhase::ready;
        });
    }

    std::mutex guard;
    std::vector<DeskState> told;
    test::ScratchFolder folder;
    std::unique_ptr<Desk> desk;
};

TEST(Desk, GivesTheBytesThatARunWrites) {
    const Watched watched("desk_bytes");
    ASSERT_TRUE(watched.until_revision(1));
    const auto answer = watched.desk->answer();
    ASSERT_TRUE(answer);
    EXPECT_EQ(watched.desk->state().answered_at, noon);

    const auto run = answer_study(watched.folder.path(), false, {});
    ASSERT_TRUE(run);
    ASSERT_TRUE(run->study);
    const ResultSet set(*run->study->run);
    const auto& files = set.all(Threads{});
    ASSERT_EQ(answer->results.all(Threads{}).size(), files.size());
    for (const auto& file : files) {
        ASSERT_TRUE(answer->results.file(file.name)) << file.name;
        EXPECT_EQ(answer->results.file(file.name)->bytes, file.bytes) << file.name;
    }
    EXPECT_EQ(answer->results.file("../study.toml"), nullptr);
}

TEST(Desk, LeavesTheResultSetInTheFolderSoThatADeclarationKnowsOfIt) {
    const Watched watched("desk_results");
    ASSERT_TRUE(watched.until_revision(1));
    EXPECT_TRUE(std::filesystem::exists(watched.folder.path() / "results" / "results.json"));
}

TEST(Desk, BringsLaterResultSetsIntoTheFolderTheLastOneAtItsEnd) {
    Watched watched("desk_later");
    ASSERT_TRUE(watched.until_revision(1));
    const auto in_folder = [&] {
        return read_file(watched.folder.path() / "results" / "results.json").value_or("");
    };
    const auto shown = [&] { return watched.desk->answer()->results.file("results.json")->bytes; };
    const auto exclude = [&](const std::string& stay) {
        const Wished wish{.act = "add",
                          .content =
                              R"({"table":"decisions","row":{"act":"exclude","stay":")" + stay + "\"}}",
                          .reason = "the tube leaked"};
        return watched.desk->write({wish}, {.name = "A. Tester", .role = store::Role::scientist});
    };
    ASSERT_TRUE(exclude("s2"));
    ASSERT_TRUE(watched.until_revision(2));
    EXPECT_TRUE(watched.until([&](const DeskState&) { return in_folder() == shown(); }));
    ASSERT_TRUE(exclude("s1"));
    ASSERT_TRUE(watched.until_revision(3));
    const auto last = shown();
    watched.desk.reset();
    EXPECT_EQ(in_folder(), last);
}

TEST(Desk, TellsEachPhaseAndTheWorkInIt) {
    Watched watched("desk_phases");
    ASSERT_TRUE(watched.until_revision(1));
    watched.desk.reset();
    std::vector<DeskPhase> phases;
    for (const auto& state : watched.told) {
        if (phases.empty() || phases.back() != state.phase) {
            phases.push_back(state.phase);
        }
    }
    EXPECT_THAT(phases, ElementsAre(DeskPhase::reading, DeskPhase::computing, DeskPhase::ready));
    EXPECT_THAT(watched.told, Contains(testing::Field(&DeskState::what, "chambers")));
    EXPECT_TRUE(watched.told.back().what.empty());
}

TEST(Desk, AnswersASavedDecisionAsARunWould) {
    const Watched watched("desk_decision");
    ASSERT_TRUE(watched.until_revision(1));
    const auto before = watched.desk->answer();
    const std::string stay = "s2";
    watched.save("decisions.csv", "stay,moment,act,value,reason,author,at,treatment\n" + stay +
                                      ",,exclude,,the tube leaked,A. Tester,2026-06-20T10:00:00Z,hidden\n");
    ASSERT_TRUE(watched.until_revision(2));
    const auto after = watched.desk->answer();
    EXPECT_NE(before->results.file("results.json")->bytes, after->results.file("results.json")->bytes);
    const auto run = answer_study(watched.folder.path(), false, {});
    ASSERT_TRUE(run && run->study);
    EXPECT_EQ(after->results.file("results.json")->bytes,
              ResultSet(*run->study->run).file("results.json")->bytes);
}

TEST(Desk, AnswersWhatIsWrittenInTheJournal) {
    const Watched watched("desk_journal");
    ASSERT_TRUE(watched.until_revision(1));
    const Author author{.name = "A. Tester", .role = store::Role::scientist};
    const Wished exclusion{.act = "add",
                           .content = R"({"table":"decisions","row":{"stay":"s2","act":"exclude"}})",
                           .reason = "the tube leaked"};
    ASSERT_TRUE(watched.desk->write({exclusion}, author));
    ASSERT_TRUE(watched.until_revision(2));
    const Wished mass{
        .act = "set",
        .content = R"({"table":"fish","row":{"fish":"T01"},"cells":{"mass_g":{"was":"500","now":"510"}}})"};
    ASSERT_TRUE(watched.desk->write({mass}, author));
    ASSERT_TRUE(watched.until_revision(3));
    const auto run = answer_study(watched.folder.path(), false, {});
    ASSERT_TRUE(run && run->study);
    EXPECT_EQ(watched.desk->answer()->results.file("results.json")->bytes,
              ResultSet(*run->study->run).file("results.json")->bytes);
    EXPECT_EQ(watched.desk->journal().entries.size(), 2U);
    EXPECT_EQ(watched.desk->state().entries, 2U);
    // The journal's own files have changed; nobody asked for another answer.
    std::this_thread::sleep_for(5 * Desk::look_every);
    EXPECT_EQ(watched.desk->state().revision, 3U);
}

TEST(Desk, SaysThatItHasLookedAtEntriesWhichChangeNoNumber) {
    const Watched watched("desk_entries");
    ASSERT_TRUE(watched.until_revision(1));
    const Author author{.name = "A. Tester", .role = store::Role::scientist};
    const Wished saved{.act = "record",
                       .content =
                           R"({"file":"study.toml","was":{"sha256":"","text":""},"now":{"sha256":""}})"};
    ASSERT_TRUE(watched.desk->write({saved}, author));
    ASSERT_TRUE(watched.until([](const DeskState& state) { return state.entries == 1; }));
    EXPECT_EQ(watched.desk->state().phase, DeskPhase::ready);
    EXPECT_EQ(watched.desk->state().revision, 1U);
}

TEST(Desk, KeepsTheEarlierAnswerWhileComplaintsStopTheRun) {
    const Watched watched("desk_stopped");
    ASSERT_TRUE(watched.until_revision(1));
    auto files = test::small_study();
    watched.save("fish.csv", "fish,mass_g\n,nothing\n");
    ASSERT_TRUE(watched.until([](const DeskState& state) { return state.phase == DeskPhase::stopped; }));
    const auto state = watched.desk->state();
    EXPECT_EQ(state.revision, 1U);
    ASSERT_FALSE(state.complaints.empty());
    EXPECT_THAT(state.complaints.front().error.text(), HasSubstr("fish.csv"));
    EXPECT_EQ(state.entries, 0U);
    EXPECT_TRUE(watched.desk->answer());
    watched.save("fish.csv", files["fish.csv"]);
    EXPECT_TRUE(watched.until_revision(2));
    EXPECT_THAT(watched.desk->state().complaints,
                testing::Each(testing::Field(&study::Complaint::severity, study::Severity::warning)));
}

TEST(Desk, SaysThatThereIsNoStudyInAFolderWithoutOne) {
    const Watched watched("desk_nothing", {});
    ASSERT_TRUE(watched.until([](const DeskState& state) { return state.phase == DeskPhase::stopped; }));
    EXPECT_THAT(watched.desk->state().complaints.front().error.text(), HasSubstr("backeddy new"));
    EXPECT_EQ(watched.desk->answer(), nullptr);
    const auto trace = watched.desk->trace("s1", noon, noon);
    ASSERT_FALSE(trace);
    EXPECT_THAT(trace.error().text(), HasSubstr("no answer yet"));
}

TEST(Desk, CutsAStretchOutOfAStay) {
    const Watched watched("desk_stretch");
    ASSERT_TRUE(watched.until_revision(1));
    const auto run = answer_study(watched.folder.path(), false, {});
    const auto& stay = run->study->run->stays.list.front();
    const auto& slice = stay.input.slices.front();
    const auto& times = slice.trace->times_ns;
    const auto from = Instant::unix_nanoseconds(times[slice.first_row + 10]);
    const auto to = Instant::unix_nanoseconds(times[slice.first_row + 40]);
    const auto drawn = watched.desk->trace(stay.stay->id.text(), from, to);
    ASSERT_TRUE(drawn) << drawn.error().text();
    EXPECT_EQ(drawn->rows, 31U);
    ASSERT_EQ(drawn->at_s.size(), 31U); // few enough to be drawn each
    EXPECT_DOUBLE_EQ(drawn->at_s.front(), 0.0);
    EXPECT_DOUBLE_EQ(drawn->at_s.back(), (to - from).seconds());
    EXPECT_EQ(drawn->oxygen_mg_per_l[5], slice.trace->oxygen_mg_per_l[slice.first_row + 15]);
    ASSERT_FALSE(drawn->states.empty());
    for (const auto& state : drawn->states) {
        EXPECT_TRUE(state.to >= from && state.from <= to);
    }
    const auto misspelt = watched.desk->trace(stay.stay->id.text() + "x", from, to);
    ASSERT_FALSE(misspelt);
    EXPECT_THAT(misspelt.error().text(), HasSubstr("did you mean"));
    const auto elsewhere =
        watched.desk->trace(stay.stay->id.text(), noon + Duration::hours(9000), noon + Duration::hours(9001));
    ASSERT_FALSE(elsewhere);
    EXPECT_THAT(elsewhere.error().text(), HasSubstr("no reading from"));
}

TEST(Desk, AnswersAnewWhatCameFromElsewhereWhereverItStandsInTheOrder) {
    const Watched watched("desk_taken_in");
    ASSERT_TRUE(watched.until_revision(1));
    const Wished exclusion{.act = "add",
                           .content = R"({"table":"decisions","row":{"stay":"s2","act":"exclude"}})",
                           .reason = "the tube leaked"};
    ASSERT_TRUE(watched.desk->write({exclusion}, {.name = "A. Tester", .role = store::Role::scientist}));
    ASSERT_TRUE(watched.until_revision(2));
    // Before the decision, which thereby stands second: more than the decision has changed.
    const store::Entry heavier{
        .id = {.device = *store::DeviceId::parse("00c0ffee00c0ffee"), .sequence = 1},
        .time = {.wall_us = 1},
        .moment = {.wall_us = 1, .boot = "b"},
        .author = "C. Phone",
        .role = store::Role::crew,
        .act = "set",
        .content = R"({"table":"fish","row":{"fish":"T01"},"cells":{"mass_g":{"was":"500","now":"510"}}})"};
    ASSERT_TRUE(watched.desk->take_in(std::vector{heavier}));
    ASSERT_TRUE(watched.until_revision(3));
    const auto run = answer_study(watched.folder.path(), false, {});
    ASSERT_TRUE(run && run->study);
    EXPECT_EQ(watched.desk->answer()->results.file("results.json")->bytes,
              ResultSet(*run->study->run).file("results.json")->bytes);
    EXPECT_DOUBLE_EQ(run->study->opened.study.tables.fish.front().mass->grams(), 510.0);
    // The same once more changes nothing, and is not answered again.
    ASSERT_TRUE(watched.desk->take_in(std::vector{heavier}));
    std::this_thread::sleep_for(5 * Desk::look_every);
    EXPECT_EQ(watched.desk->state().revision, 3U);
    EXPECT_EQ(watched.desk->arrived({}, 10)->entries.size(), 2U);
    // One that counts for nothing changes no number, and is told all the same.
    auto judging = heavier;
    judging.id.sequence = 2;
    judging.act = "add";
    judging.content = R"({"table":"decisions","row":{"stay":"s2","act":"include"}})";
    ASSERT_TRUE(watched.desk->take_in(std::vector{judging}));
    ASSERT_TRUE(watched.until([](const DeskState& state) {
        return std::ranges::any_of(state.complaints, [](const auto& each) {
            return each.error.text().find("C. Phone (crew)") != std::string::npos;
        });
    }));
}

TEST(Desk, ends_within_a_moment_when_nothing_is_in_hand_and_writes_what_it_answered) {
    const Watched it("desk_ends");
    ASSERT_TRUE(it.until_revision(1));
    EXPECT_TRUE(it.desk->ends_within(2s));
    EXPECT_TRUE(it.desk->ends_within(0s)) << "once more";
}

} // namespace
} // namespace backeddy::app
