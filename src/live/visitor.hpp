#pragma once
// The other side of the watch's socket: for programs that look at a watch or act for a hand.

#include <chrono>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "base/error.hpp"

namespace backeddy::live {

/// Says one line and waits for its answer. Fails with file_missing where no watch is there, file_unreadable
/// where none answers in time.
[[nodiscard]] Expected<std::string> ask_watch(const std::filesystem::path& socket, const std::string& line,
                                              std::chrono::milliseconds patience);

/// Looks on, on a thread of its own, until it goes: `on_line` gets each news, `on_gone` is called once each
/// time that no watch is there any more; it comes back by itself when one is. Both on the thread.
class WatchLook {
  public:
    WatchLook(std::filesystem::path socket, std::function<void(std::string)> on_line,
              std::function<void()> on_gone);
    ~WatchLook();
    WatchLook(const WatchLook&) = delete;
    WatchLook& operator=(const WatchLook&) = delete;
    WatchLook(WatchLook&&) = delete;
    WatchLook& operator=(WatchLook&&) = delete;

  private:
    struct Self;
    std::unique_ptr<Self> self_;
};

} // namespace backeddy::live
