#include "store/carried.hpp"

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/base64.hpp"

namespace backeddy::store {

namespace {

using Json = nlohmann::json;

// What is wrong, to be thrown within this file: an entry is read whole or not at all.
struct Unreadable {
    std::string found;
    std::string expected;
};

constexpr std::array entry_fields{"device",       "sequence", "hybrid_wall_us",  "hybrid_count", "wall_us",
                                  "monotonic_us", "boot",     "clock_offset_us", "author",       "role",
                                  "act",          "content",  "reason"};

const Json& field(const Json& object, const char* name) {
    const auto found = object.find(name);
    if (found == object.end()) {
        throw Unreadable{fmt::format("no \"{}\"", name), "all fields of docs/journal.md"};
    }
    return *found;
}

std::string text_of(const Json& object, const char* name) {
    const auto& value = field(object, name);
    if (!value.is_string()) {
        throw Unreadable{fmt::format("a \"{}\" that is no text", name), "a text"};
    }
    return value.get<std::string>();
}

template <typename Whole>
Whole whole_of(const Json& object, const char* name) {
    const auto& value = field(object, name);
    const bool fits = value.is_number_unsigned()  ? std::in_range<Whole>(value.get<std::uint64_t>())
                      : value.is_number_integer() ? std::in_range<Whole>(value.get<std::int64_t>())
                                                  : false;
    if (!fits) {
        throw Unreadable{fmt::format("a \"{}\" that is no whole number in its range", name),
                         "a whole number"};
    }
    return value.get<Whole>();
}

DeviceId device_of(const Json& object) {
    const auto text = text_of(object, "device");
    const auto device = DeviceId::parse(text);
    if (!device) {
        throw Unreadable{"a \"device\" that is none", "16 digits, 0 to 9 and a to f"};
    }
    return *device;
}

Role role_of(const Json& object) {
    const auto role = parse_role(text_of(object, "role"));
    if (!role) {
        throw Unreadable{"a \"role\" that is none", "crew, scientist or viewer"};
    }
    return *role;
}

// A field that is not known here would be lost: better to refuse what a newer program wrote.
void check_fields(const Json& object) {
    if (!object.is_object()) {
        throw Unreadable{"something that is no JSON object", "an entry"};
    }
    for (const auto& [name, value] : object.items()) {
        if (std::ranges::find(entry_fields, name) == entry_fields.end()) {
            throw Unreadable{fmt::format("a field \"{}\"", name),
                             "an entry as this version of the program knows it"};
        }
    }
}

Entry entry_of(const Json& object) {
    check_fields(object);
    const bool has_offset = !field(object, "clock_offset_us").is_null();
    return {.id = {.device = device_of(object), .sequence = whole_of<std::uint64_t>(object, "sequence")},
            .time = {.wall_us = whole_of<std::int64_t>(object, "hybrid_wall_us"),
                     .count = whole_of<std::uint32_t>(object, "hybrid_count")},
            .moment = {.wall_us = whole_of<std::int64_t>(object, "wall_us"),
                       .monotonic_us = whole_of<std::int64_t>(object, "monotonic_us"),
                       .boot = text_of(object, "boot"),
                       .clock_offset_us =
                           has_offset ? std::optional(whole_of<std::int64_t>(object, "clock_offset_us"))
                                      : std::nullopt},
            .author = text_of(object, "author"),
            .role = role_of(object),
            .act = text_of(object, "act"),
            .content = text_of(object, "content"),
            .reason = text_of(object, "reason")};
}

Error bad_text(std::string found, std::string expected) {
    return {.code = ErrorCode::bad_text,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "nothing was taken in: send it again from the device that wrote it"};
}

Expected<std::vector<Entry>> entries_of(const Json& document) {
    const auto list = document.find("entries");
    if (list == document.end() || !list->is_array()) {
        return fail(bad_text("no list \"entries\"", R"({"entries": [...]})"));
    }
    std::vector<Entry> out;
    for (const auto& each : *list) {
        try {
            out.push_back(entry_of(each));
        } catch (const Unreadable& unreadable) {
            return fail(
                bad_text(fmt::format("entry {} of {} has {}", out.size() + 1, list->size(), unreadable.found),
                         unreadable.expected));
        }
        if (auto good = check(out.back()); !good) {
            return fail(std::move(good).error());
        }
    }
    return out;
}

Json parsed(std::string_view text) {
    return Json::parse(text, nullptr, false);
}

std::vector<QueuePhoto> photos_of(const Json& document) {
    std::vector<QueuePhoto> out;
    const auto photos = document.find("photos");
    if (photos == document.end()) {
        return out;
    }
    if (!photos->is_object()) {
        throw Unreadable{"\"photos\" that are none", "{sha256: base64}"};
    }
    for (const auto& [sha256, text] : photos->items()) {
        const auto* encoded = text.get_ptr<const std::string*>();
        auto bytes = encoded == nullptr ? std::nullopt : from_base64(*encoded);
        if (!bytes) {
            throw Unreadable{fmt::format("a photo \"{:.64}\" that is no base64", sha256), "its bytes"};
        }
        out.push_back({.sha256 = sha256, .bytes = std::move(*bytes)});
    }
    return out;
}

} // namespace

std::string carried_text(const Entry& entry) {
    const auto& offset = entry.moment.clock_offset_us;
    return Json{{"device", entry.id.device.text()},
                {"sequence", entry.id.sequence},
                {"hybrid_wall_us", entry.time.wall_us},
                {"hybrid_count", entry.time.count},
                {"wall_us", entry.moment.wall_us},
                {"monotonic_us", entry.moment.monotonic_us},
                {"boot", entry.moment.boot},
                {"clock_offset_us", offset ? Json(*offset) : Json()},
                {"author", entry.author},
                {"role", name_of(entry.role)},
                {"act", entry.act},
                {"content", entry.content},
                {"reason", entry.reason}}
        .dump();
}

Expected<std::vector<Entry>> read_carried(std::string_view body) {
    const Json document = parsed(body);
    if (!document.is_object()) {
        return fail(bad_text("no JSON object", R"({"entries": [...]})"));
    }
    if (const auto list = document.find("entries");
        list != document.end() && list->is_array() && list->size() > most_carried) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} entries at once", list->size()),
                     .expected = fmt::format("at most {}", most_carried),
                     .remedy = "send them in several parts"});
    }
    return entries_of(document);
}

Expected<QueueFile> read_queue_file(std::string_view text) {
    const Json document = parsed(text);
    const auto version = document.is_object() ? document.find("backeddy_queue") : document.end();
    if (!document.is_object() || version == document.end()) {
        return fail(bad_text("this is no queue file", "one that Deck wrote: {\"backeddy_queue\": 1, ...}"));
    }
    if (*version != 1) {
        return fail({.code = ErrorCode::bad_text,
                     .found = fmt::format("a queue file of version {}", version->dump()),
                     .expected = "version 1",
                     .remedy = "bring this program up to date"});
    }
    auto entries = entries_of(document);
    if (!entries) {
        return fail(std::move(entries).error());
    }
    try {
        return QueueFile{.study = text_of(document, "study"),
                         .identity = text_of(document, "identity"),
                         .device = text_of(document, "device"),
                         .made_us = whole_of<std::int64_t>(document, "made_us"),
                         .entries = std::move(*entries),
                         .photos = photos_of(document)};
    } catch (const Unreadable& unreadable) {
        return fail(bad_text("the queue file has " + unreadable.found, unreadable.expected));
    }
}

} // namespace backeddy::store
