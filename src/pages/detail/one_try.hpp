#pragma once
// Of questions that are tried one is computed at a time: what is being computed, how far it is, and its end.

#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <utility>

namespace backeddy::pages::detail {

/// May be used from several threads.
class OneTry {
  public:
    /// A try ends by itself after this.
    static constexpr std::chrono::seconds longest{120};
    /// So long whoever tries another question waits for their own last one to end.
    static constexpr std::chrono::seconds patience{10};

    /// The turn of one try; it ends with it.
    class Turn {
      public:
        Turn(OneTry& all, std::stop_token stop) : all_(all), stop_(std::move(stop)) {}
        ~Turn() { all_.end(); }
        Turn(const Turn&) = delete;
        Turn& operator=(const Turn&) = delete;

        [[nodiscard]] std::stop_token stop() const { return stop_; }
        /// So much is done; asks to stop where it takes too long.
        void tell(std::size_t done, std::size_t total) { all_.tell(done, total); }

      private:
        OneTry& all_;
        std::stop_token stop_;
    };

    /// Takes the turn for `who`. Their own last try is asked to stop and waited for; while another person's
    /// goes on there is no turn.
    [[nodiscard]] bool begin(const std::string& who) {
        std::unique_lock lock(guard_);
        if (is_busy_ && who_ != who) {
            return false;
        }
        stop_.request_stop();
        if (!ended_.wait_for(lock, patience, [this] { return !is_busy_; })) {
            return false;
        }
        is_busy_ = true;
        who_ = who;
        stop_ = std::stop_source();
        done_ = total_ = 0;
        began_ = std::chrono::steady_clock::now();
        return true;
    }
    /// Of whoever has begun.
    [[nodiscard]] std::stop_token token() const {
        const std::lock_guard lock(guard_);
        return stop_.get_token();
    }
    /// Ends the try of `who`, where it goes on.
    void stop(const std::string& who) {
        const std::lock_guard lock(guard_);
        if (is_busy_ && who_ == who) {
            stop_.request_stop();
        }
    }

    struct Far {
        std::size_t done = 0;
        std::size_t total = 0; ///< 0: nothing is simulated yet
        bool is_own = false;
    };
    /// Nothing where nothing is computed.
    [[nodiscard]] std::optional<Far> far(const std::string& who) const {
        const std::lock_guard lock(guard_);
        return is_busy_ ? std::optional(Far{.done = done_, .total = total_, .is_own = who_ == who})
                        : std::nullopt;
    }
    [[nodiscard]] bool was_too_long() const {
        const std::lock_guard lock(guard_);
        return std::chrono::steady_clock::now() - began_ > longest;
    }

  private:
    void tell(std::size_t done, std::size_t total) {
        const std::lock_guard lock(guard_);
        done_ = done;
        total_ = total;
        if (std::chrono::steady_clock::now() - began_ > longest) {
            stop_.request_stop();
        }
    }
    void end() {
        {
            const std::lock_guard lock(guard_);
            is_busy_ = false;
        }
        ended_.notify_all();
    }

    mutable std::mutex guard_;
    std::condition_variable ended_;
    bool is_busy_ = false;
    std::string who_;
    std::stop_source stop_;
    std::chrono::steady_clock::time_point began_;
    std::size_t done_ = 0;
    std::size_t total_ = 0;
};

} // namespace backeddy::pages::detail
