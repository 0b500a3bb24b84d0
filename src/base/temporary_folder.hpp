#pragma once
// A folder for what is wanted only for a while.

#include <filesystem>
#include <string_view>

#include "base/error.hpp"

namespace backeddy {

/// Lies in the system's place for temporary files, for the owner's eyes alone, and goes with all it holds
/// when this goes.
class TemporaryFolder {
  public:
    /// `word` becomes part of its name. Fails with cannot_write.
    [[nodiscard]] static Expected<TemporaryFolder> make(std::string_view word);

    TemporaryFolder(TemporaryFolder&& other) noexcept;
    TemporaryFolder& operator=(TemporaryFolder&& other) noexcept;
    ~TemporaryFolder();

    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

  private:
    explicit TemporaryFolder(std::filesystem::path path);
    std::filesystem::path path_; ///< empty: moved away
};

} // namespace backeddy
