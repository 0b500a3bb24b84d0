#include "pages/detail/offered_files.hpp"

#include <algorithm>
#include <filesystem>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/hash.hpp"

namespace backeddy::pages::detail {

namespace fs = std::filesystem;

bool is_file_name(std::string_view name) {
    return !name.empty() && name.size() <= 200 && name.front() != '.' &&
           std::ranges::none_of(name, [](const char c) {
               return static_cast<unsigned char>(c) < 0x20 || c == '/' || c == '\\' || c == '\x7F';
           });
}

Expected<std::string> OfferedFiles::keep(std::string name, std::string_view bytes) {
    const std::lock_guard lock(guard_);
    std::error_code none;
    if (!folder_ || !fs::is_directory(folder_->path(), none)) {
        auto made = TemporaryFolder::make("offered");
        if (!made) {
            return fail(std::move(made).error());
        }
        folder_ = std::move(*made);
    }
    auto id = sha256_hex(bytes).substr(0, 32);
    const auto path = folder_->path() / id;
    std::erase_if(files_, [&](const auto& each) { return each.first == id; });
    if (!fs::exists(path, none)) {
        if (auto written = write_new_file(path, bytes); !written) {
            return fail(std::move(written).error());
        }
    }
    files_.emplace_back(id, app::OfferedFile{.path = path, .name = std::move(name)});
    if (files_.size() > most_files) {
        fs::remove(files_.front().second.path, none);
        files_.pop_front();
    }
    return id;
}

Expected<app::OfferedFile> OfferedFiles::find(std::string_view id) const {
    const std::lock_guard lock(guard_);
    const auto found = std::ranges::find_if(files_, [&](const auto& each) { return each.first == id; });
    if (found == files_.end()) {
        return fail({.code = ErrorCode::unknown_name,
                     .found = "this file is not held any more",
                     .expected = fmt::format("one of the last {} that were offered", most_files),
                     .remedy = "offer it again"});
    }
    return found->second;
}

} // namespace backeddy::pages::detail
