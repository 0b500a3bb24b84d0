#pragma once
// The files that were offered to the pages and have not been taken in.

#include <cstddef>
#include <deque>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "app/bring_in.hpp"
#include "base/error.hpp"
#include "base/temporary_folder.hpp"

namespace backeddy::pages::detail {

/// A name without folders, so that it can stand at the end of a place inside the study.
[[nodiscard]] bool is_file_name(std::string_view name);

/// The last few, in a folder of their own that goes with this. May be asked from several threads.
class OfferedFiles {
  public:
    static constexpr std::size_t most_files = 8;

    /// Its id. Fails with cannot_write.
    [[nodiscard]] Expected<std::string> keep(std::string name, std::string_view bytes);
    /// Fails with unknown_name when it is not held, or not any more.
    [[nodiscard]] Expected<app::OfferedFile> find(std::string_view id) const;

  private:
    mutable std::mutex guard_;
    std::optional<TemporaryFolder> folder_; ///< once there is a file
    std::deque<std::pair<std::string, app::OfferedFile>> files_;
};

} // namespace backeddy::pages::detail
