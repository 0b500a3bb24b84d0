// The journal's copy while the program runs: it follows, it tells when it cannot, and it catches up.

#include "app/journal_copy.hpp"

#include <chrono>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/journal.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

class FollowedJournal : public testing::Test {
  protected:
    FollowedJournal() { test::write_all(study_, test::small_study()); }

    void write(int times) {
        for (int i = 0; i < times; ++i) {
            const Wished wish{.act = "add",
                              .content = R"({"table":"decisions","row":{"stay":"s2","act":"note"}})",
                              .reason = "a look"};
            ASSERT_TRUE(writer_.write({wish}, {.name = "A. Tester", .role = store::Role::scientist}));
        }
    }
    [[nodiscard]] std::size_t entries_in_copy() const {
        const auto copy = store::Journal::open(stick_.path() / store::copy_name, store::Access::read);
        return copy ? copy->entries()->size() : 0;
    }
    template <typename Question>
    [[nodiscard]] static bool until(const Question& is_so) {
        for (const auto end = std::chrono::steady_clock::now() + 30s;
             std::chrono::steady_clock::now() < end;) {
            if (is_so()) {
                return true;
            }
            std::this_thread::sleep_for(10ms);
        }
        return false;
    }

    test::ScratchFolder study_{std::string("copied_") +
                               testing::UnitTest::GetInstance()->current_test_info()->name()};
    test::ScratchFolder stick_{std::string("stick_") +
                               testing::UnitTest::GetInstance()->current_test_info()->name()};
    JournalWriter writer_{study_.path(), [] { return *parse_iso("2026-06-20T12:00:00Z"); }};
};

TEST_F(FollowedJournal, IsThereInTheOtherFolderSoonAfter) {
    write(1);
    const auto journal = store::Journal::open(study_.path() / store::journal_name);
    ASSERT_TRUE(store::begin_copy(*journal, stick_.path()));
    {
        const JournalCopy copy(study_.path(), stick_.path(), [](const store::CopyState&) {});
        EXPECT_TRUE(until([&] { return entries_in_copy() == 1; }));
        write(2);
        EXPECT_TRUE(until([&] { return entries_in_copy() == 3; }));
        EXPECT_TRUE(until([&] { return copy.state().behind == 0 && copy.state().complete; }));
        write(1);
    }
    EXPECT_EQ(entries_in_copy(), 4U) << "its end follows once more";
}

TEST_F(FollowedJournal, TellsWhenTheOtherDiskIsAwayAndCatchesUp) {
    write(1);
    const auto journal = store::Journal::open(study_.path() / store::journal_name);
    ASSERT_TRUE(store::begin_copy(*journal, stick_.path()));
    const auto away = stick_.path().string() + "_away";
    fs::rename(stick_.path(), away);
    const JournalCopy copy(study_.path(), stick_.path(), [](const store::CopyState&) {});
    EXPECT_TRUE(until([&] { return copy.state().trouble.has_value(); }));
    EXPECT_FALSE(fs::exists(stick_.path())) << "an empty folder where a stick should be is not taken for it";
    fs::rename(away, stick_.path());
    EXPECT_TRUE(until([&] { return !copy.state().trouble && entries_in_copy() == 1; }));
}

} // namespace
} // namespace backeddy::app
