#pragma once
// A study's journal followed by its copy in another folder while the program serves (store/backup.hpp).

#include <chrono>
#include <condition_variable>
#include <filesystem>
#include <functional>
#include <mutex>
#include <optional>
#include <thread>

#include "base/error.hpp"
#include "store/backup.hpp"

namespace backeddy::app {

/// Owns one thread, so that a slow disk keeps nobody waiting.
class JournalCopy {
  public:
    /// `folder` holds the study, `copy_folder` the copy, which store::begin_copy has made. `on_change` is
    /// told when the copy gets behind for a reason, or has caught up, by the thread.
    JournalCopy(std::filesystem::path folder, std::filesystem::path copy_folder,
                std::function<void(const store::CopyState&)> on_change);
    /// Follows once more, then ends.
    ~JournalCopy();
    JournalCopy(const JournalCopy&) = delete;
    JournalCopy& operator=(const JournalCopy&) = delete;

    [[nodiscard]] store::CopyState state() const;
    [[nodiscard]] const std::filesystem::path& copy_folder() const { return copy_folder_; }

    /// How soon after an entry the copy is written, about.
    static constexpr std::chrono::milliseconds look_every{250};

  private:
    void work(const std::stop_token& stop);
    void follow(store::Copy& copy);

    std::filesystem::path folder_;
    std::filesystem::path copy_folder_;
    std::function<void(const store::CopyState&)> on_change_;
    std::optional<store::Journal> journal_; ///< of the thread alone
    mutable std::mutex guard_;
    store::CopyState state_;
    std::mutex pause_guard_;
    std::condition_variable_any pause_;
    std::jthread thread_; // last: it uses all the others, and goes first
};

} // namespace backeddy::app
