#include "app/photos.hpp"

#include <algorithm>
#include <array>
#include <sstream>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <unistd.h>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/hash.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t hash_digits = 64;

struct KindOfPhoto {
    PhotoKind kind;
    std::string_view ending;
    std::string_view content_type;
};
constexpr std::array kinds{KindOfPhoto{PhotoKind::jpeg, ".jpg", "image/jpeg"},
                           KindOfPhoto{PhotoKind::png, ".png", "image/png"},
                           KindOfPhoto{PhotoKind::webp, ".webp", "image/webp"}};

const KindOfPhoto& words_of(PhotoKind kind) {
    return *std::ranges::find(kinds, kind, &KindOfPhoto::kind);
}

Error no_such_name(const std::string& name) {
    return {.code = ErrorCode::bad_usage,
            .found = fmt::format("\"{:.80}\" is no name of a photo", name),
            .expected = "the SHA-256 of its bytes: 64 digits, 0 to 9 and a to f",
            .remedy = "send it under its own hash"};
}

Error cannot_keep(const fs::path& path, const std::string& why) {
    return {.code = ErrorCode::cannot_write,
            .found = why,
            .expected = "a folder in which photos can be kept",
            .remedy = "look at the study's folder: photos must be a folder of its own",
            .place = {.file = path.string()}};
}

void sync_folder(const fs::path& folder) {
    const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        ::fsync(descriptor);
        ::close(descriptor);
    }
}

/// The folder, made where it is not there; a link could lead anywhere.
Expected<fs::path> photo_folder(const fs::path& study) {
    fs::path out = study / photos_name;
    std::error_code error;
    if (fs::create_directory(out, error)) {
        sync_folder(study);
    }
    const auto status = fs::symlink_status(out, error);
    if (error || !fs::is_directory(status)) {
        return fail(cannot_keep(out, error ? error.message() : "this is no folder"));
    }
    return out;
}

Expected<PhotoKind> checked(const std::string& sha256, std::string_view bytes) {
    if (!is_sha256(sha256)) {
        return fail(no_such_name(sha256));
    }
    if (bytes.size() > most_photo_bytes) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("a photo of {} bytes", bytes.size()),
                     .expected = fmt::format("at most {} MiB", most_photo_bytes >> 20U),
                     .remedy = "take it smaller"});
    }
    const auto kind = photo_kind(bytes);
    if (!kind) {
        return fail({.code = ErrorCode::bad_text,
                     .found = "bytes that begin like no photo",
                     .expected = "a JPEG, PNG or WebP",
                     .remedy = "save it as one of these"});
    }
    if (auto hash = sha256_hex(bytes); hash != sha256) {
        return fail({.code = ErrorCode::bad_text,
                     .found = fmt::format("bytes whose SHA-256 is {}", hash),
                     .expected = sha256,
                     .remedy = "it was changed on its way: send it again"});
    }
    return *kind;
}

} // namespace

std::optional<PhotoKind> photo_kind(std::string_view bytes) {
    if (bytes.starts_with("\xFF\xD8\xFF")) {
        return PhotoKind::jpeg;
    }
    if (bytes.starts_with("\x89PNG\r\n\x1A\n")) {
        return PhotoKind::png;
    }
    if (bytes.starts_with("RIFF") && bytes.size() >= 12 && bytes.substr(8, 4) == "WEBP") {
        return PhotoKind::webp;
    }
    return std::nullopt;
}

std::string_view content_type_of(PhotoKind kind) {
    return words_of(kind).content_type;
}

bool is_sha256(std::string_view text) {
    return text.size() == hash_digits && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

Expected<PhotoKept> keep_photo(const fs::path& folder, const std::string& sha256, std::string_view bytes) {
    const auto kind = checked(sha256, bytes);
    if (!kind) {
        return fail(kind.error());
    }
    auto photos = photo_folder(folder);
    if (!photos) {
        return fail(std::move(photos).error());
    }
    if (read_photo(folder, sha256)) {
        return PhotoKept::was_there;
    }
    auto written = write_file_whole(*photos / (sha256 + std::string(words_of(*kind).ending)), bytes);
    return written ? Expected<PhotoKept>(PhotoKept::is_new) : fail(std::move(written).error());
}

Expected<Photo> read_photo(const fs::path& folder, const std::string& sha256) {
    if (!is_sha256(sha256)) {
        return fail(no_such_name(sha256));
    }
    for (const auto& kind : kinds) {
        auto bytes = read_file(folder / photos_name / (sha256 + std::string(kind.ending)), most_photo_bytes);
        if (!bytes && bytes.error().code == ErrorCode::file_missing) {
            continue;
        }
        if (!bytes) {
            return fail(std::move(bytes).error());
        }
        if (sha256_hex(std::string_view(*bytes)) != sha256) {
            return fail(
                {.code = ErrorCode::file_unreadable,
                 .found = "its bytes are not those any more that it is named by",
                 .expected = "an unchanged photo",
                 .remedy = "bring it back from a copy, or from the device that took it",
                 .place = {.file = std::string(photos_name) + "/" + sha256 + std::string(kind.ending)}});
        }
        return Photo{.kind = kind.kind, .bytes = std::move(*bytes)};
    }
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("no photo {}", sha256),
                 .expected = "one that has come in",
                 .remedy = "it may still be on the device that took it"});
}

std::set<std::string> photos_of(const fs::path& folder) {
    std::set<std::string> out;
    std::error_code error;
    for (auto at = fs::directory_iterator(folder / photos_name, error); at != fs::directory_iterator();
         at.increment(error)) {
        const auto ending = at->path().extension().string();
        const bool is_photo = std::ranges::find(kinds, ending, &KindOfPhoto::ending) != kinds.end();
        if (is_photo && is_sha256(at->path().stem().string())) {
            out.insert(at->path().stem().string());
        }
        if (error) {
            break;
        }
    }
    return out;
}

std::vector<study::Complaint> check_photos(const fs::path& folder, const std::vector<study::Event>& events) {
    std::vector<study::Complaint> out;
    std::optional<std::set<std::string>> there; // looked for only where an event names one
    for (const auto& event : events) {
        std::istringstream names(event.photo);
        for (std::string name; names >> name;) {
            if (!there) {
                there = photos_of(folder);
            }
            if (there->contains(name)) {
                continue;
            }
            Place place = event.place;
            place.column = "photo";
            out.push_back(
                {study::Severity::warning,
                 {.code = ErrorCode::file_missing,
                  .found = is_sha256(name) ? fmt::format("the photo {} is not there", name)
                                           : fmt::format("\"{:.80}\" is no name of a photo", name),
                  .expected = is_sha256(name) ? "a file of that name in photos/"
                                              : "the SHA-256 of its bytes, 64 digits",
                  .remedy = "it may still be on the device that took it; what the event says counts "
                            "all the same",
                  .place = std::move(place)}});
        }
    }
    return out;
}

} // namespace backeddy::app
