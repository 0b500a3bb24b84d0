#include "app/journal_copy.hpp"

#include <utility>

namespace backeddy::app {

JournalCopy::JournalCopy(std::filesystem::path folder, std::filesystem::path copy_folder,
                         std::function<void(const store::CopyState&)> on_change)
    : folder_(std::move(folder)), copy_folder_(std::move(copy_folder)), on_change_(std::move(on_change)),
      thread_([this](const std::stop_token& stop) { work(stop); }) {}

JournalCopy::~JournalCopy() = default;

store::CopyState JournalCopy::state() const {
    const std::lock_guard lock(guard_);
    return state_;
}

void JournalCopy::work(const std::stop_token& stop) {
    store::Copy copy(copy_folder_);
    while (!stop.stop_requested()) {
        follow(copy);
        std::unique_lock lock(pause_guard_);
        pause_.wait_for(lock, stop, look_every, [] { return false; });
    }
    follow(copy);
}

void JournalCopy::follow(store::Copy& copy) {
    store::CopyState now;
    if (!journal_) {
        auto opened = store::Journal::open(folder_ / store::journal_name, store::Access::read);
        if (opened) {
            journal_ = std::move(*opened);
        } else if (opened.error().code != ErrorCode::file_missing) {
            now.trouble = std::move(opened).error();
        }
    }
    if (journal_) {
        now = copy.follow(*journal_);
    }
    bool is_news = false;
    {
        const std::lock_guard lock(guard_);
        is_news = now.behind != state_.behind || now.trouble != state_.trouble ||
                  now.complete.has_value() != state_.complete.has_value();
        state_ = now;
    }
    if (is_news) {
        on_change_(now);
    }
}

} // namespace backeddy::app
