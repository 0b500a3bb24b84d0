#pragma once
// Photos of a study: files in its folder `photos`, named by the SHA-256 of their bytes, which is how
// events.csv names them too.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::app {

inline constexpr const char* photos_name = "photos";
inline constexpr std::size_t most_photo_bytes = std::size_t{20} << 20;

enum class PhotoKind : std::uint8_t { jpeg, png, webp };

/// By the first bytes; nothing where they are those of no photo.
[[nodiscard]] std::optional<PhotoKind> photo_kind(std::string_view bytes);
/// "image/jpeg"
[[nodiscard]] std::string_view content_type_of(PhotoKind kind);

/// Whether this is 64 lower-case hexadecimal digits: only such a name ever becomes part of a path.
[[nodiscard]] bool is_sha256(std::string_view text);

struct Photo {
    PhotoKind kind = PhotoKind::jpeg;
    std::string bytes;
};

enum class PhotoKept : std::uint8_t { is_new, was_there };

/// Keeps a photo; whole and on disk when it returns a value. Fails with bad_usage for a name that is no
/// SHA-256, with bad_text where the bytes have another one or are no JPEG, PNG or WebP, with out_of_range for
/// more than most_photo_bytes, and with cannot_write.
[[nodiscard]] Expected<PhotoKept> keep_photo(const std::filesystem::path& folder, const std::string& sha256,
                                             std::string_view bytes);

/// Fails with unknown_name where it is not there, with file_unreadable where it cannot be read or its bytes
/// are not those any more that it is named by.
[[nodiscard]] Expected<Photo> read_photo(const std::filesystem::path& folder, const std::string& sha256);

/// Hashes by which the folder's photos are named; whether their bytes fit is not looked at.
[[nodiscard]] std::set<std::string> photos_of(const std::filesystem::path& folder);

/// Warnings: events that name a photo which is not there, or by something that is no SHA-256.
[[nodiscard]] std::vector<study::Complaint> check_photos(const std::filesystem::path& folder,
                                                         const std::vector<study::Event>& events);

} // namespace backeddy::app
