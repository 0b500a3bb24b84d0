#pragma once
// The one event loop of a live program: what devices, timers and other threads hand in is done one after
// another, on the thread that runs it.

#include <functional>
#include <memory>

#include "series/instant.hpp"

namespace backeddy::instruments {

/// The library's own loop inside, for code that waits on sockets: detail/asio.hpp.
struct LoopContext;

class Loop {
  public:
    Loop();
    ~Loop();
    Loop(const Loop&) = delete;
    Loop& operator=(const Loop&) = delete;
    Loop(Loop&&) = delete;
    Loop& operator=(Loop&&) = delete;

    /// From any thread: done soon, in order.
    void post(std::function<void()> work);

    /// Does what comes until stop().
    void run();
    /// Does what comes until `done`, asked after each piece of work and every 10 ms, or for at most so long.
    /// Returns whether it was done.
    bool run_until(const std::function<bool()>& done, Duration at_most);
    /// From any thread.
    void stop();

    [[nodiscard]] LoopContext& context() { return *context_; }

  private:
    std::unique_ptr<LoopContext> context_;
};

/// Work again and again until the timer is gone; only on the loop's thread.
class EveryTimer {
  public:
    EveryTimer(Loop& loop, Duration every, std::function<void()> work);
    ~EveryTimer();
    EveryTimer(const EveryTimer&) = delete;
    EveryTimer& operator=(const EveryTimer&) = delete;
    EveryTimer(EveryTimer&&) = delete;
    EveryTimer& operator=(EveryTimer&&) = delete;

  private:
    struct State;
    std::shared_ptr<State> state_;
};

/// Work once, later; anew replaces what was waiting, and nothing waits when the timer is gone. Only on the
/// loop's thread.
class OnceTimer {
  public:
    explicit OnceTimer(Loop& loop);
    ~OnceTimer();
    OnceTimer(const OnceTimer&) = delete;
    OnceTimer& operator=(const OnceTimer&) = delete;
    OnceTimer(OnceTimer&&) = delete;
    OnceTimer& operator=(OnceTimer&&) = delete;

    void after(Duration wait, std::function<void()> work);
    void cancel();

  private:
    struct State;
    std::shared_ptr<State> state_;
};

} // namespace backeddy::instruments
