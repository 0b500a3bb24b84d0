#include "live/sample_thread.hpp"

#include <atomic>
#include <chrono>
#include <mutex>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "live/plain.hpp"

namespace backeddy::live {
namespace {

using namespace std::chrono_literals;
using testing::HasSubstr;

/// The machine's files, but full or slow on request.
class MoodyFiles : public store::FileLayer {
  public:
    std::atomic<bool> is_full{false};
    std::atomic<int> sync_takes_ms{0};

    Expected<std::unique_ptr<store::AppendFile>> create(const std::filesystem::path& path) override {
        if (is_full) {
            return fail({.code = ErrorCode::cannot_write, .found = "the disk is full"});
        }
        auto below = below_->create(path);
        return below ? Expected<std::unique_ptr<store::AppendFile>>(
                           std::make_unique<File>(*this, std::move(*below)))
                     : fail(below.error());
    }
    void remove(const std::filesystem::path& path) override { below_->remove(path); }

  private:
    class File : public store::AppendFile {
      public:
        File(MoodyFiles& files, std::unique_ptr<store::AppendFile> below)
            : files_(files), below_(std::move(below)) {}
        Expected<void> append(std::string_view bytes) override {
            return files_.is_full ? fail({.code = ErrorCode::cannot_write, .found = "the disk is full"})
                                  : below_->append(bytes);
        }
        Expected<void> sync() override {
            std::this_thread::sleep_for(std::chrono::milliseconds(files_.sync_takes_ms));
            return below_->sync();
        }

      private:
        MoodyFiles& files_;
        std::unique_ptr<store::AppendFile> below_;
    };
    std::shared_ptr<store::FileLayer> below_ = store::machine_files();
};

class Samples : public testing::Test {
  protected:
    [[nodiscard]] std::unique_ptr<SampleThread> begin(std::size_t waiting_bytes = 1 << 20) {
        auto writer = store::SegmentWriter::open(
            folder_.path(), {.program = "p", .boot = "b", .station_sha256 = "s", .sources = {"meter"}},
            {.waiting_bytes = waiting_bytes, .layer = files_});
        return std::make_unique<SampleThread>(test::value_of(std::move(writer)), folder_.path() / "state",
                                              [this](const SampleThread::State& state) {
                                                  const std::lock_guard lock(mutex_);
                                                  state_ = state;
                                              });
    }
    [[nodiscard]] SampleThread::State state() {
        const std::lock_guard lock(mutex_);
        return state_;
    }
    template <typename Claim>
    bool soon(const Claim& claim) {
        const auto end = std::chrono::steady_clock::now() + 30s;
        while (!claim(state()) && std::chrono::steady_clock::now() < end) {
            std::this_thread::sleep_for(2ms);
        }
        return claim(state());
    }
    static std::vector<store::Heard> some(std::size_t count) {
        return std::vector<store::Heard>(
            count, {.number = 0, .source = 0, .received = {}, .monotonic_ns = 1, .bytes = "12345678"});
    }

    TemporaryFolder folder_ = test::value_of(TemporaryFolder::make("samples"));
    std::shared_ptr<MoodyFiles> files_ = std::make_shared<MoodyFiles>();
    std::mutex mutex_;
    SampleThread::State state_;
};

TEST_F(Samples, are_told_when_they_are_on_disk_and_so_is_the_state) {
    const auto thread = begin();
    thread->keep(some(3));
    thread->keep_state("one");
    thread->keep_state("two");
    EXPECT_TRUE(soon([](const auto& s) { return s.settled == 3 && s.states == 2; }));
    EXPECT_EQ(state().through, 3U);
    EXPECT_EQ(test::value_of(read_file(folder_.path() / "state")), "two");
}

TEST_F(Samples, never_keep_the_other_side_waiting) {
    files_->sync_takes_ms = 300;
    const auto thread = begin();
    const auto begun = std::chrono::steady_clock::now();
    for (int i = 0; i < 50; ++i) {
        thread->keep(some(1));
    }
    EXPECT_LT(std::chrono::steady_clock::now() - begun, 300ms) << "fifty syncs take fifteen seconds";
    EXPECT_TRUE(soon([](const auto& s) { return s.through == 50; }));
}

TEST_F(Samples, that_a_full_disk_cost_are_counted_and_those_after_it_are_told_again) {
    files_->is_full = true;
    const auto thread = begin(100); // a dozen pieces may wait
    for (int i = 0; i < 30; ++i) {
        thread->keep(some(1));
    }
    EXPECT_TRUE(soon([](const auto& s) { return s.settled >= 18; })) << "these are given up";
    EXPECT_THAT(state().fault, HasSubstr("disk"));
    files_->is_full = false;
    EXPECT_TRUE(soon([](const auto& s) { return s.settled == 30 && s.fault.empty(); }));
    EXPECT_EQ(state().through, 12U) << "what waited";
    thread->keep(some(2));
    EXPECT_TRUE(soon([](const auto& s) { return s.settled == 32; }));
    EXPECT_EQ(state().through, 14U);
    EXPECT_EQ(thread->pieces(), 32U);
}

TEST_F(Samples, that_are_left_are_written_at_the_end) {
    files_->sync_takes_ms = 50;
    {
        const auto thread = begin();
        thread->keep(some(5));
        thread->keep_state("last");
    }
    EXPECT_EQ(state().through, 5U);
    EXPECT_EQ(test::value_of(read_file(folder_.path() / "state")), "last");
}

} // namespace
} // namespace backeddy::live
