#include "live/sample_thread.hpp"

#include <chrono>
#include <condition_variable>
#include <iterator>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>

#include "base/file.hpp"

namespace backeddy::live {

namespace {

/// A disk that took nothing is tried again after this.
constexpr std::chrono::milliseconds retry_after{500};

struct Handed {
    std::vector<store::Heard> pieces;
    std::optional<std::string> state; ///< the last of them
    std::uint64_t states = 0;         ///< so many were handed over with it
};

} // namespace

struct SampleThread::Self {
    Self(store::SegmentWriter segment_writer, std::filesystem::path state, std::function<void(State)> teller)
        : writer(std::move(segment_writer)), state_file(std::move(state)), told(std::move(teller)) {
        done.through = writer.through();
    }

    store::SegmentWriter writer; ///< the thread's alone, as the next four
    std::filesystem::path state_file;
    std::function<void(State)> told;
    State done;
    std::uint64_t taken = 0;  ///< pieces that came over from the other side
    std::uint64_t pieces = 0; ///< the other side's alone, as the next
    std::uint64_t states = 0;
    std::mutex mutex;
    std::condition_variable news;
    Handed handed;
    bool is_ending = false;
    std::thread thread;

    void run() {
        Handed waiting;
        for (bool is_last = false; !is_last;) {
            {
                std::unique_lock lock(mutex);
                const auto has_news = [&] { return !handed.pieces.empty() || handed.state || is_ending; };
                if (done.fault.empty()) {
                    news.wait(lock, has_news);
                } else {
                    news.wait_for(lock, retry_after, has_news);
                }
                waiting.pieces = std::exchange(handed.pieces, {});
                if (handed.state) {
                    waiting.state = std::exchange(handed.state, {});
                    waiting.states = handed.states;
                }
                is_last = is_ending;
            }
            done.fault = write(waiting);
            done.through = writer.through();
            done.settled = taken - writer.waiting();
            told(done);
        }
    }

    /// What did not succeed, in words.
    std::string write(Handed& waiting) {
        std::string fault;
        taken += waiting.pieces.size();
        for (auto& piece : waiting.pieces) {
            if (const auto heard = writer.hear(std::move(piece)); !heard) {
                fault = heard.error().text();
            }
        }
        if (const auto committed = writer.commit(); !committed) {
            fault = committed.error().text();
        }
        if (waiting.state) {
            if (const auto written = write_file_whole(state_file, *waiting.state); !written) {
                return written.error().text();
            }
            done.states = waiting.states;
            waiting.state.reset();
        }
        return fault;
    }
};

SampleThread::SampleThread(store::SegmentWriter writer, std::filesystem::path state,
                           std::function<void(State)> told)
    : self_(std::make_unique<Self>(std::move(writer), std::move(state), std::move(told))) {
    self_->thread = std::thread([self = self_.get()] { self->run(); });
}

SampleThread::~SampleThread() {
    {
        const std::lock_guard lock(self_->mutex);
        self_->is_ending = true;
    }
    self_->news.notify_one();
    self_->thread.join();
}

void SampleThread::keep(std::vector<store::Heard> pieces) {
    self_->pieces += pieces.size();
    {
        const std::lock_guard lock(self_->mutex);
        std::move(pieces.begin(), pieces.end(), std::back_inserter(self_->handed.pieces));
    }
    self_->news.notify_one();
}

void SampleThread::keep_state(std::string text) {
    ++self_->states;
    {
        const std::lock_guard lock(self_->mutex);
        self_->handed.state = std::move(text);
        self_->handed.states = self_->states;
    }
    self_->news.notify_one();
}

std::uint64_t SampleThread::pieces() const {
    return self_->pieces;
}

std::uint64_t SampleThread::states() const {
    return self_->states;
}

} // namespace backeddy::live
