#include "instruments/loop.hpp"

#include <chrono>

#include "instruments/detail/asio.hpp"

namespace backeddy::instruments {

namespace {
std::chrono::nanoseconds length(Duration duration) {
    return std::chrono::nanoseconds(duration.nanoseconds());
}
} // namespace

Loop::Loop() : context_(std::make_unique<LoopContext>()) {}
Loop::~Loop() = default;

void Loop::post(std::function<void()> work) {
    asio::post(context_->io, std::move(work));
}

void Loop::run() {
    const auto guard = asio::make_work_guard(context_->io);
    context_->io.restart();
    context_->io.run();
}

bool Loop::run_until(const std::function<bool()>& done, Duration at_most) {
    using namespace std::chrono_literals;
    const auto guard = asio::make_work_guard(context_->io);
    const auto end = std::chrono::steady_clock::now() + length(at_most);
    context_->io.restart();
    while (!done()) {
        if (std::chrono::steady_clock::now() >= end) {
            return false;
        }
        context_->io.run_one_for(10ms);
    }
    return true;
}

void Loop::stop() {
    context_->io.stop();
}

// A timer's work may end the timer: the state lives until the work has returned.

struct EveryTimer::State : std::enable_shared_from_this<EveryTimer::State> {
    State(asio::io_context& io, Duration each, std::function<void()> task)
        : timer(io), every(each), work(std::move(task)) {}

    void wait() {
        timer.expires_after(length(every));
        timer.async_wait([self = shared_from_this()](error_code error) {
            if (!error && self->going) {
                self->work();
                if (self->going) {
                    self->wait();
                }
            }
        });
    }

    asio::steady_timer timer;
    Duration every;
    std::function<void()> work;
    bool going = true;
};

EveryTimer::EveryTimer(Loop& loop, Duration every, std::function<void()> work)
    : state_(std::make_shared<State>(loop.context().io, every, std::move(work))) {
    state_->wait();
}

EveryTimer::~EveryTimer() {
    state_->going = false;
    state_->timer.cancel();
}

struct OnceTimer::State {
    explicit State(asio::io_context& io) : timer(io) {}
    asio::steady_timer timer;
    std::uint64_t turn = 0; ///< a wait that was replaced or ended must not do its work
};

OnceTimer::OnceTimer(Loop& loop) : state_(std::make_shared<State>(loop.context().io)) {}

OnceTimer::~OnceTimer() {
    cancel();
}

void OnceTimer::after(Duration wait, std::function<void()> work) {
    state_->timer.expires_after(length(wait));
    state_->timer.async_wait(
        [state = state_, turn = ++state_->turn, work = std::move(work)](error_code error) {
            if (!error && state->turn == turn) {
                work();
            }
        });
}

void OnceTimer::cancel() {
    ++state_->turn;
    state_->timer.cancel();
}

} // namespace backeddy::instruments
