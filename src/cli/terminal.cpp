#include "cli/terminal.hpp"

#include <cstdio>

#include <fmt/format.h>
#include <unistd.h>

namespace backeddy::cli {

int report_error(const Error& error) {
    fmt::print(stderr, "backeddy: {}\n", error.text());
    return error.code == ErrorCode::bad_usage ? exit_usage : exit_complaints;
}

ProgressLine::ProgressLine()
    : is_terminal_(::isatty(STDERR_FILENO) == 1), began_(Clock::now()),
      last_shown_(began_ - std::chrono::hours(1)) {}

ProgressLine::~ProgressLine() {
    clear();
}

void ProgressLine::clear() {
    if (anything_shown_) {
        fmt::print(stderr, "\r\033[K");
        anything_shown_ = false;
    }
}

void ProgressLine::show(std::string_view what, std::size_t done, std::size_t total, std::string_view unit) {
    const auto now = Clock::now();
    if (!is_terminal_ ||
        (what == what_ && done != total && now - last_shown_ < std::chrono::milliseconds(100))) {
        return;
    }
    if (what != what_) {
        what_ = what;
        began_ = now;
    }
    last_shown_ = now;
    anything_shown_ = true;
    const double seconds = std::chrono::duration<double>(now - began_).count();
    const double rate = seconds > 0.0 ? static_cast<double>(done) / seconds : 0.0;
    std::string line = fmt::format("\r\033[K{}: {}", what, done);
    if (total > 0) {
        line += fmt::format(" of {} {}", total, unit);
        if (rate > 0.0 && done < total && seconds > 1.0) {
            line += fmt::format(", {:.0f} {}/s, {:.0f} s left", rate, unit,
                                static_cast<double>(total - done) / rate);
        }
    }
    fmt::print(stderr, "{}", line);
    std::fflush(stderr);
}

} // namespace backeddy::cli
