#include "app/folder_watch.hpp"

#include <system_error>
#include <utility>

#include "store/segment.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

FolderWatch::FolderWatch(fs::path folder, fs::path except)
    : folder_(std::move(folder)), except_(std::move(except)), told_(look()), last_(told_) {}

FolderWatch::Look FolderWatch::look() const {
    Look out;
    std::error_code error;
    // A file that goes away between being listed and being looked at is simply not there.
    for (auto at = fs::recursive_directory_iterator(folder_, error); at != fs::recursive_directory_iterator();
         at.increment(error)) {
        if (error) {
            break;
        }
        std::error_code gone;
        const std::string name = at->path().filename().string();
        const bool is_private = name.starts_with('.') || name.starts_with('~'); // locks, editors' copies
        if (at->is_directory(gone)) {
            if (is_private || at->path() == folder_ / store::watch_folder ||
                fs::equivalent(at->path(), except_, gone)) {
                at.disable_recursion_pending();
            }
            continue;
        }
        if (is_private) {
            continue;
        }
        if (!at->is_regular_file(gone)) {
            continue;
        }
        const Seen seen{.bytes = at->file_size(gone), .written = at->last_write_time(gone)};
        if (!gone) {
            out.emplace(at->path().lexically_relative(folder_).generic_string(), seen);
        }
    }
    return out;
}

std::set<std::string> FolderWatch::changed() {
    auto now = look();
    std::set<std::string> out;
    if (now == last_ && now != told_) {
        for (const auto& [path, seen] : now) {
            const auto before = told_.find(path);
            if (before == told_.end() || !(before->second == seen)) {
                out.insert(path);
            }
        }
        for (const auto& [path, seen] : told_) {
            if (!now.contains(path)) {
                out.insert(path);
            }
        }
        told_ = now;
    }
    last_ = std::move(now);
    return out;
}

} // namespace backeddy::app
