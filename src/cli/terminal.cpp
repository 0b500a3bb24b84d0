#include "cli/terminal.hpp"

#include <cstdio>
#include <filesystem>

#include <fmt/format.h>
#include <unistd.h>

namespace backeddy::cli {

int report_error(const Error& error) {
    fmt::print(stderr, "backeddy: {}\n", error.text());
    return error.code == ErrorCode::bad_usage ? exit_usage : exit_complaints;
}

std::string shell_word(const std::string& path) {
    // A word that begins with a dash would be taken for an option.
    std::string word = path.starts_with('-') ? "./" + path : path;
    constexpr std::string_view plain =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_./+-,:@%=";
    if (!word.empty() && word.find_first_not_of(plain) == std::string::npos) {
        return word;
    }
    std::string out = "'";
    for (const char c : word) {
        out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    }
    return out + "'";
}

Error empty_name(std::string_view what) {
    return {.code = ErrorCode::bad_usage,
            .found = fmt::format("no folder is named by {}: the name is empty", what),
            .expected = "the name of a folder",
            .remedy = "name it; where it came from a variable, that is empty"};
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

Instant wall_clock() {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(now).count());
}

Expected<void> is_study(const std::string& folder) {
    if (folder.empty()) {
        return fail(empty_name("DIR"));
    }
    std::error_code ignored;
    if (std::filesystem::is_regular_file(std::filesystem::path(folder) / "study.toml", ignored)) {
        return {};
    }
    return fail({.code = ErrorCode::file_missing,
                 .found = "there is no study.toml in this folder",
                 .expected = "a study's folder",
                 .remedy = "make one with `backeddy new DIR`, or check the name",
                 .place = {.file = folder}});
}

} // namespace backeddy::cli
