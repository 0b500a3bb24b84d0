#pragma once
// Between a driver on the loop and the thread on which its blocking library lives.

#include <chrono>
#include <condition_variable>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <thread>
#include <utility>

#include "instruments/loop.hpp"
#include "instruments/pump_heart.hpp"

namespace backeddy::instruments {

/// What a pump is to be told, and when that was wished.
struct Wish {
    PumpState state = PumpState::flush;
    std::int64_t at_ns = 0;
};

/// The latest wish of each pump, and the end. All of it from any thread.
class WishBox {
  public:
    void put(std::size_t pump, Wish wish) {
        const std::lock_guard lock(mutex_);
        wishes_[pump] = wish;
        changed_.notify_all();
    }
    [[nodiscard]] std::map<std::size_t, Wish> take() {
        const std::lock_guard lock(mutex_);
        return std::exchange(wishes_, {});
    }
    void end() {
        const std::lock_guard lock(mutex_);
        ended_ = true;
        changed_.notify_all();
    }
    [[nodiscard]] bool ended() const {
        const std::lock_guard lock(mutex_);
        return ended_;
    }
    /// Until then, or a wish, or the end.
    void wait(std::chrono::steady_clock::time_point until) {
        std::unique_lock lock(mutex_);
        changed_.wait_until(lock, until, [this] { return ended_ || !wishes_.empty(); });
    }
    /// Until then, or the end: there is nobody to tell a wish.
    void wait_for_end(Duration at_most) {
        std::unique_lock lock(mutex_);
        changed_.wait_for(lock, std::chrono::nanoseconds(at_most.nanoseconds()), [this] { return ended_; });
    }

  private:
    mutable std::mutex mutex_;
    std::condition_variable changed_;
    std::map<std::size_t, Wish> wishes_;
    bool ended_ = false;
};

/// Hands work from a thread to the loop, where it is left undone once this is gone.
class Handover {
  public:
    explicit Handover(Loop& loop) : loop_(loop) {}
    /// From any thread.
    void post(std::function<void()> work) {
        loop_.post([alive = alive_, work = std::move(work)] {
            if (*alive) {
                work();
            }
        });
    }
    /// On the loop's thread.
    void end() { *alive_ = false; }

  private:
    Loop& loop_;
    std::shared_ptr<bool> alive_ = std::make_shared<bool>(true);
};

} // namespace backeddy::instruments
