// Samples through power cuts, lying and failing disks, and kills: what was acknowledged is there.

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/number_text.hpp"
#include "base/random.hpp"
#include "store/heard.hpp"
#include "store/recording_files.hpp"

namespace backeddy::store {
namespace {

using test::CutDisk;
using test::Folder;
using test::head;
using test::heard;
using test::kept_in;
using test::Operation;
using test::RecordingFiles;
using test::value_of;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;

Heard invented(std::uint64_t number) {
    return heard(number, number % 9 == 0 ? 900 : 0);
}

/// From operation `after` on, pieces 1 to `through` are acknowledged.
struct Acknowledged {
    std::size_t after = 0;
    std::uint64_t through = 0;
};

struct Recorded {
    std::vector<Operation> operations;
    std::vector<Acknowledged> acknowledged;
};

/// Three programs one after the other over one folder, on a disk that fails now and then.
Recorded recorded_work(bool syncs) {
    const Folder folder;
    auto files = std::make_shared<RecordingFiles>();
    files->sync_does_nothing = !syncs;
    Random random(20'261'130);
    Recorded out;
    std::uint64_t number = 0;
    for (int opened = 0; opened < 3; ++opened) {
        auto writer =
            value_of(SegmentWriter::open(folder.path(), head(), {.file_bytes = 1'500, .layer = files}));
        number = writer.through();
        for (int i = 0; i < 30; ++i) {
            for (std::uint64_t some = random.below(4); some > 0; --some) {
                ++number;
                value_of(writer.hear(invented(number)));
            }
            files->syncs_left.reset();
            files->room.reset();
            if (random.below(8) == 0) {
                files->syncs_left = 0;
            } else if (random.below(8) == 0) {
                files->room = random.below(300);
            }
            if (const auto through = writer.commit()) {
                out.acknowledged.push_back({.after = files->operations.size(), .through = *through});
            }
        }
        files->syncs_left.reset();
        files->room.reset();
    }
    out.operations = files->operations;
    return out;
}

/// What is wrong with the folder that a cut left, or nothing.
std::string wrong_with(const std::filesystem::path& folder, std::uint64_t acknowledged) {
    const auto kept = kept_in(folder);
    for (std::size_t i = 0; i < kept.size(); ++i) {
        const auto number = kept[i].number;
        if (kept[i] != invented(number)) {
            return "holds what was never heard";
        }
        if (i < acknowledged && number != i + 1) {
            return fmt::format("lost: piece {} of {} acknowledged", i + 1, acknowledged);
        }
    }
    if (kept.size() < acknowledged) {
        return fmt::format("lost: {} of {} acknowledged pieces are there", kept.size(), acknowledged);
    }
    auto writer = SegmentWriter::open(folder, head());
    if (!writer) {
        return "does not open: " + writer.error().text();
    }
    if (writer->through() < acknowledged) {
        return "would give a number a second time";
    }
    const auto next = writer->through() + 1;
    value_of(writer->hear(invented(next)));
    value_of(writer->commit());
    const auto after = kept_in(folder);
    return after.empty() || after.back() != invented(next) ? "takes nothing more" : "";
}

/// The power cut after every operation, three ways each; complaints.
std::vector<std::string> cut_everywhere(const Recorded& work, std::size_t step = 1) {
    std::vector<std::string> out;
    CutDisk disk(CutDisk::Honours::syncs);
    Random random(7);
    std::uint64_t acknowledged = 0;
    auto next = work.acknowledged.begin();
    for (std::size_t done = 0; done <= work.operations.size(); ++done) {
        for (; next != work.acknowledged.end() && next->after <= done; ++next) {
            acknowledged = next->through;
        }
        for (const auto unsynced :
             {CutDisk::Unsynced::lost, CutDisk::Unsynced::kept, CutDisk::Unsynced::some}) {
            if (done % step != 0) {
                continue;
            }
            const Folder folder;
            disk.write_to(folder.path(), unsynced, random);
            if (const auto wrong = wrong_with(folder.path(), acknowledged); !wrong.empty()) {
                out.push_back(fmt::format("cut after {} operations, kind {}: {}", done,
                                          static_cast<int>(unsynced), wrong));
            }
        }
        if (done < work.operations.size()) {
            disk.apply(work.operations[done]);
        }
    }
    return out;
}

TEST(SegmentPowerCut, at_every_moment_leaves_every_acknowledged_piece) {
    const Recorded work = recorded_work(true);
    const auto count = [&](Operation::Kind kind) {
        return std::count_if(work.operations.begin(), work.operations.end(),
                             [&](const Operation& o) { return o.kind == kind; });
    };
    // The work reaches what can go wrong: many files, some taken away again.
    EXPECT_GE(count(Operation::Kind::make), 10);
    EXPECT_GE(count(Operation::Kind::remove), 2);
    EXPECT_GE(work.acknowledged.back().through, 60U);
    EXPECT_THAT(cut_everywhere(work), IsEmpty());
}

// The check is one only if it fails where nothing is synced.
TEST(SegmentPowerCut, would_be_found_to_lose_pieces_where_nothing_is_synced) {
    EXPECT_THAT(cut_everywhere(recorded_work(false), 7), Contains(HasSubstr("lost: ")));
}

long long kills() {
    const char* said = std::getenv("BACKEDDY_KILLS");
    return said == nullptr ? 20 : parse_whole(said).value_or(0);
}

/// Hears and commits until it is killed, and writes each acknowledged number into the pipe.
[[noreturn]] void write_for_ever(const std::filesystem::path& folder, int pipe) {
    auto writer = SegmentWriter::open(folder, head(), {.file_bytes = 100'000});
    if (!writer) {
        ::_exit(3);
    }
    while (true) {
        for (int i = 0; i < 3; ++i) {
            const auto next = writer->through() + writer->waiting() + 1;
            if (!writer->hear(invented(next))) {
                ::_exit(4);
            }
        }
        const auto through = writer->commit();
        if (!through || ::write(pipe, &*through, sizeof *through) != sizeof *through) {
            ::_exit(5);
        }
    }
}

std::uint64_t killed_after(const std::filesystem::path& folder, std::chrono::microseconds wait) {
    int ends[2];
    if (::pipe(ends) != 0) {
        ADD_FAILURE() << "no pipe";
        return 0;
    }
    const ::pid_t child = ::fork();
    if (child == 0) {
        ::close(ends[0]);
        write_for_ever(folder, ends[1]);
    }
    ::close(ends[1]);
    std::this_thread::sleep_for(wait);
    ::kill(child, SIGKILL);
    std::uint64_t last = 0;
    std::uint64_t number = 0;
    while (::read(ends[0], &number, sizeof number) == sizeof number) {
        last = number;
    }
    ::close(ends[0]);
    int status = 0;
    ::waitpid(child, &status, 0);
    EXPECT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL)
        << "it ended by itself, status " << status;
    return last;
}

// A kill leaves the machine's memory as it is: this says nothing of a power cut. BACKEDDY_KILLS sets how
// often.
TEST(SegmentKill, at_a_random_moment_loses_no_acknowledged_piece) {
    const long long all = kills();
    ASSERT_GT(all, 0) << "BACKEDDY_KILLS is no number";
    Random random(20'261'130);
    long long with_work = 0;
    constexpr long long in_a_row = 20; // then a new folder, since each kill reads through the whole of it
    for (long long done = 0; done < all && !HasFailure(); done += in_a_row) {
        const Folder folder;
        std::uint64_t acknowledged = 0;
        for (long long i = done; i < std::min(all, done + in_a_row); ++i) {
            const auto last =
                killed_after(folder.path(), std::chrono::microseconds(500 + random.below(30'000)));
            with_work += last > acknowledged ? 1 : 0;
            acknowledged = std::max(acknowledged, last);
            ASSERT_EQ(wrong_with(folder.path(), acknowledged), "") << "kill " << i;
            ++acknowledged; // wrong_with wrote one more, or it was there
        }
    }
    EXPECT_GT(with_work, all / 4);
}

} // namespace
} // namespace backeddy::store
