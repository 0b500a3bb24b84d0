#pragma once
// The brief as people edit it: its text, what would be wrong with another one, and the change from one to the
// other.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

inline constexpr const char* brief_name = "study.toml";
inline constexpr std::uint64_t most_brief_bytes = std::uint64_t{16} << 20;

struct BriefText {
    std::string text;
    std::string sha256;
};

/// Fails as read_file does.
[[nodiscard]] Expected<BriefText> read_brief_text(const std::filesystem::path& folder);

/// What there would be to say of the study with this text as its brief: of the text, and of the tables read
/// by it. The folder stays as it is.
[[nodiscard]] std::vector<study::Complaint> complaints_of_brief(const std::filesystem::path& folder,
                                                                std::string_view text);

/// Of these complaints the first that stops a run and is not made by the brief as it stands.
[[nodiscard]] std::optional<Error> made_worse_by(const std::filesystem::path& folder,
                                                 const std::vector<study::Complaint>& complaints);

/// Puts `text` in the place of the brief whose SHA-256 was `was`, whole or not at all. Fails with
/// bad_relation where another one stands there by now, and with cannot_write.
[[nodiscard]] Expected<void> replace_brief(const std::filesystem::path& folder, const std::string& was,
                                           std::string_view text);

} // namespace backeddy::app
