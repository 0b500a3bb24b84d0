#pragma once
// What changes in a study folder while somebody works in it.

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <set>
#include <string>

namespace backeddy::app {

/// Looks at sizes and times of all files below `folder` but those below `except`, those of its watch over
/// live chambers, and those whose names begin with a dot or a tilde; no file is opened.
class FolderWatch {
  public:
    FolderWatch(std::filesystem::path folder, std::filesystem::path except);

    /// Paths relative to the folder that were added, changed or removed since the last call (or the start).
    /// Empty while a file is still changing: two looks in a row must agree before anything is told.
    [[nodiscard]] std::set<std::string> changed();

    /// Between two looks.
    static constexpr std::chrono::milliseconds pause{200};

  private:
    struct Seen {
        std::uintmax_t bytes = 0;
        std::filesystem::file_time_type written;

        friend bool operator==(const Seen&, const Seen&) = default;
    };
    using Look = std::map<std::string, Seen>;
    [[nodiscard]] Look look() const;

    std::filesystem::path folder_;
    std::filesystem::path except_;
    Look told_;
    Look last_;
};

} // namespace backeddy::app
