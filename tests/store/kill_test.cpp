// A program that is killed in mid-work, at a random moment, many times over the same journal. BACKEDDY_KILLS
// sets how often (20 when not set). A kill leaves the machine's memory as it is, so that this says nothing of
// a power cut; power_cut_test.cpp does.

#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/number_text.hpp"
#include "base/random.hpp"
#include "store/invented.hpp"
#include "store/journal.hpp"

namespace backeddy::store {
namespace {

using test::entry;
using test::Folder;
using test::value_of;
using testing::IsEmpty;

long long kills() {
    const char* said = std::getenv("BACKEDDY_KILLS");
    return said == nullptr ? 20 : parse_whole(said).value_or(0);
}

std::uint64_t last_sequence(const Journal& journal) {
    const auto devices = value_of(journal.devices());
    return devices.empty() ? 0 : devices[0].last_sequence;
}

std::size_t padding(std::uint64_t sequence) {
    return sequence % 10 == 0 ? 20'000 : 0; // the log is moved into the file often
}

/// Appends until it is killed, and writes each acknowledged sequence into the pipe.
[[noreturn]] void append_for_ever(const std::filesystem::path& file, int pipe) {
    auto journal = Journal::open(file);
    if (!journal) {
        ::_exit(3);
    }
    std::uint64_t sequence = last_sequence(*journal);
    while (true) {
        ++sequence;
        if (!journal->append({{entry(1, sequence, padding(sequence))}}) ||
            ::write(pipe, &sequence, sizeof sequence) != sizeof sequence) {
            ::_exit(4);
        }
    }
}

/// The last sequence that the child acknowledged before it was killed; 0 for none.
std::uint64_t killed_after(const std::filesystem::path& file, std::chrono::microseconds wait) {
    int ends[2];
    if (::pipe(ends) != 0) {
        ADD_FAILURE() << "no pipe";
        return 0;
    }
    const ::pid_t child = ::fork();
    if (child == 0) {
        ::close(ends[0]);
        append_for_ever(file, ends[1]);
    }
    ::close(ends[1]);
    std::this_thread::sleep_for(wait);
    ::kill(child, SIGKILL);
    std::uint64_t last = 0;
    std::uint64_t sequence = 0;
    while (::read(ends[0], &sequence, sizeof sequence) == sizeof sequence) {
        last = sequence;
    }
    ::close(ends[0]);
    int status = 0;
    ::waitpid(child, &status, 0);
    EXPECT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL)
        << "it ended by itself, status " << status;
    return last;
}

/// Kills `times` in a row over one journal; how many of them came after something new was acknowledged.
long long kills_with_work(long long times, Random& random) {
    const Folder folder;
    std::uint64_t acknowledged = 0;
    long long with_work = 0;
    for (long long i = 0; i < times; ++i) {
        const auto last =
            killed_after(folder.journal(), std::chrono::microseconds(500 + random.below(40'000)));
        with_work += last > acknowledged ? 1 : 0;
        acknowledged = std::max(acknowledged, last);
        const auto journal = value_of(Journal::open(folder.journal()));
        EXPECT_GE(last_sequence(journal), acknowledged) << "kill " << i;
        EXPECT_THAT(value_of(journal.readable()).damage, IsEmpty()) << "kill " << i;
    }
    const auto entries = value_of(value_of(Journal::open(folder.journal())).entries());
    EXPECT_GE(entries.size(), acknowledged);
    for (std::size_t i = 0; i < entries.size(); ++i) {
        EXPECT_EQ(entries[i], entry(1, i + 1, padding(i + 1)));
    }
    return with_work;
}

TEST(Kill, at_a_random_moment_loses_nothing_acknowledged_and_the_file_opens) {
    const long long all = kills();
    ASSERT_GT(all, 0) << "BACKEDDY_KILLS is no number";
    Random random(20'261'129);
    long long with_work = 0;
    constexpr long long in_a_row = 20; // then a new journal, since each kill reads through the whole of it
    for (long long done = 0; done < all && !HasFailure(); done += in_a_row) {
        with_work += kills_with_work(std::min(in_a_row, all - done), random);
    }
    EXPECT_GT(with_work, all / 4);
}

} // namespace
} // namespace backeddy::store
