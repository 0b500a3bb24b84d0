#pragma once
// What the commands share: where words go, and how long work shows that it is alive.

#include <chrono>
#include <cstddef>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "series/instant.hpp"

namespace backeddy::cli {

/// Exit statuses: 0 all is well; 1 complaints that stop the work; 2 the command line makes no sense.
inline constexpr int exit_clean = 0;
inline constexpr int exit_complaints = 1;
inline constexpr int exit_usage = 2;

/// Prints an error to standard error, one line, and gives the exit status that goes with it.
int report_error(const Error& error);

/// A path as a word that a shell takes for this one path: quoted where it has to be.
[[nodiscard]] std::string shell_word(const std::string& path);

/// Fails where the folder is no study's: it holds no study.toml.
[[nodiscard]] Expected<void> is_study(const std::string& folder);

/// The machine's clock.
[[nodiscard]] Instant wall_clock();

/// An empty name where a file or folder is wanted, mostly an unset variable in quotes. `what` names it.
[[nodiscard]] Error empty_name(std::string_view what);

/// One line on standard error that is written over as work goes on, with rate and time left; silent when
/// standard error is not a terminal, so that logs stay clean.
class ProgressLine {
  public:
    ProgressLine();
    ~ProgressLine();
    ProgressLine(const ProgressLine&) = delete;
    ProgressLine& operator=(const ProgressLine&) = delete;

    /// `done` of `total` units (bytes, stays ...) of `what`. Call as often as you like: it prints at most ten
    /// times a second. `total` 0 means unknown.
    void show(std::string_view what, std::size_t done, std::size_t total, std::string_view unit);
    /// Takes the line away, before other words are printed.
    void clear();

  private:
    using Clock = std::chrono::steady_clock;
    bool is_terminal_;
    bool anything_shown_ = false;
    std::string_view what_;
    Clock::time_point began_;
    Clock::time_point last_shown_;
};

} // namespace backeddy::cli
