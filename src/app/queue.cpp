#include "app/queue.hpp"

#include <map>

#include <fmt/format.h>

#include "app/photos.hpp"

namespace backeddy::app {

QueueLook look_at_queue(const std::filesystem::path& folder, const store::QueueFile& file,
                        std::span<const store::Entry> standing, const std::string& identity) {
    std::map<store::EntryId, const store::Entry*> there;
    for (const auto& entry : standing) {
        there.emplace(entry.id, &entry);
    }
    QueueLook out{.is_of_this_study = is_of_study(file, identity).has_value()};
    for (const auto& entry : file.entries) {
        out.authors.insert(entry.author);
        const auto [found, is_new] = there.emplace(entry.id, &entry);
        if (is_new) {
            ++out.added;
        } else if (*found->second == entry) {
            ++out.duplicates;
        } else {
            ++out.differing;
        }
    }
    const auto photos = photos_of(folder);
    for (const auto& photo : file.photos) {
        out.photos_added += photos.contains(photo.sha256) ? 0 : 1;
    }
    return out;
}

Expected<void> is_of_study(const store::QueueFile& file, const std::string& identity) {
    if (file.identity == identity) {
        return {};
    }
    return fail({.code = ErrorCode::bad_relation,
                 .found = fmt::format("this queue file is of another study: \"{:.200}\", whose journal is "
                                      "{:.40}",
                                      file.study, file.identity.empty() ? "not named" : file.identity),
                 .expected = fmt::format("one of the journal {}", identity),
                 .remedy = "open that study and take it in there; where both are one study (its journal was "
                           "begun anew), say so"});
}

PhotosTaken take_in_photos(const std::filesystem::path& folder, const store::QueueFile& file) {
    PhotosTaken out;
    for (const auto& photo : file.photos) {
        const auto kept = keep_photo(folder, photo.sha256, photo.bytes);
        if (!kept) {
            out.refused.push_back(fmt::format("photo {:.64}: {}", photo.sha256, kept.error().text()));
        } else if (*kept == PhotoKept::is_new) {
            ++out.added;
        } else {
            ++out.were_there;
        }
    }
    return out;
}

} // namespace backeddy::app
