#include "store/entry.hpp"

#include <array>
#include <charconv>
#include <random>
#include <tuple>
#include <utility>

#include <fmt/format.h>

#include "base/hash.hpp"
#include "base/html_text.hpp"

namespace backeddy::store {

DeviceId DeviceId::random() {
    std::random_device source;
    DeviceId out;
    out.bits_ = (std::uint64_t{source()} << 32) | source();
    return out;
}

std::optional<DeviceId> DeviceId::parse(std::string_view text) {
    if (text.size() != 16 || text.find_first_not_of("0123456789abcdef") != std::string_view::npos) {
        return std::nullopt;
    }
    DeviceId out;
    std::from_chars(text.data(), text.data() + text.size(), out.bits_, 16);
    return out;
}

std::string DeviceId::text() const {
    return fmt::format("{:016x}", bits_);
}

std::string text_of(const EntryId& id) {
    return fmt::format("entry {} of device {}", id.sequence, id.device.text());
}

namespace {

constexpr std::array<std::pair<Role, std::string_view>, 3> roles{
    {{Role::crew, "crew"}, {Role::scientist, "scientist"}, {Role::viewer, "viewer"}}};

} // namespace

std::string_view name_of(Role role) {
    for (const auto& [value, name] : roles) {
        if (value == role) {
            return name;
        }
    }
    return "";
}

std::optional<Role> parse_role(std::string_view text) {
    for (const auto& [value, name] : roles) {
        if (name == text) {
            return value;
        }
    }
    return std::nullopt;
}

bool comes_before(const Entry& a, const Entry& b) {
    return std::tie(a.time, a.id) < std::tie(b.time, b.id);
}

namespace {

Expected<void> check_number(const Entry& entry, std::string_view field, std::int64_t value,
                            std::int64_t least) {
    if (value < least || value > limits::whole_number) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} of {} is {}", field, text_of(entry.id), value),
                     .expected = fmt::format("a whole number from {} to {}", least, limits::whole_number),
                     .remedy = "look at the clock of the device that wrote it"});
    }
    return {};
}

struct TextField {
    std::string_view name;
    const std::string& value;
    std::size_t least_bytes;
    std::size_t most_bytes;
};

Expected<void> check_text(const Entry& entry, const TextField& field) {
    if (field.value.size() < field.least_bytes || field.value.size() > field.most_bytes) {
        return fail(
            {.code = ErrorCode::out_of_range,
             .found = fmt::format("{} of {} has {} bytes", field.name, text_of(entry.id), field.value.size()),
             .expected = fmt::format("{} to {} bytes", field.least_bytes, field.most_bytes),
             .remedy = "shorten it, or keep it as a file and name that in the entry"});
    }
    if (field.value.find('\0') != std::string::npos || valid_utf8(field.value) != field.value) {
        return fail(
            {.code = ErrorCode::bad_text,
             .found = fmt::format("{} of {} is no UTF-8, or has a NUL in it", field.name, text_of(entry.id)),
             .expected = "text in UTF-8",
             .remedy = "send it again as UTF-8"});
    }
    return {};
}

} // namespace

Expected<void> check(const Entry& entry) {
    // A sequence too large for the signed numbers of the file is too large anyway.
    const auto sequence = static_cast<std::int64_t>(
        std::min<std::uint64_t>(entry.id.sequence, std::uint64_t{limits::whole_number} + 1));
    const std::array numbers{
        std::tuple{std::string_view("the sequence"), sequence, std::int64_t{1}},
        std::tuple{std::string_view("the hybrid time"), entry.time.wall_us, std::int64_t{0}},
        std::tuple{std::string_view("the wall time"), entry.moment.wall_us, std::int64_t{0}},
        std::tuple{std::string_view("the monotonic time"), entry.moment.monotonic_us, std::int64_t{0}},
        std::tuple{std::string_view("the clock offset"), entry.moment.clock_offset_us.value_or(0),
                   -limits::whole_number}};
    for (const auto& [name, value, least] : numbers) {
        if (auto good = check_number(entry, name, value, least); !good) {
            return good;
        }
    }
    const std::array texts{TextField{"the boot", entry.moment.boot, 0, limits::boot_bytes},
                           TextField{"the author", entry.author, 1, limits::author_bytes},
                           TextField{"the act", entry.act, 1, limits::act_bytes},
                           TextField{"the content", entry.content, 0, limits::content_bytes},
                           TextField{"the reason", entry.reason, 0, limits::reason_bytes}};
    for (const auto& field : texts) {
        if (auto good = check_text(entry, field); !good) {
            return good;
        }
    }
    return {};
}

std::string canonical_bytes(const Entry& entry) {
    const auto& offset = entry.moment.clock_offset_us;
    const std::array<std::string, 13> fields{entry.id.device.text(),
                                             fmt::to_string(entry.id.sequence),
                                             fmt::to_string(entry.time.wall_us),
                                             fmt::to_string(entry.time.count),
                                             fmt::to_string(entry.moment.wall_us),
                                             fmt::to_string(entry.moment.monotonic_us),
                                             entry.moment.boot,
                                             offset ? fmt::to_string(*offset) : "",
                                             entry.author,
                                             std::string(name_of(entry.role)),
                                             entry.act,
                                             entry.content,
                                             entry.reason};
    std::string out = "backeddy entry 1\n";
    for (const auto& field : fields) {
        out += fmt::format("{}:{}\n", field.size(), field);
    }
    return out;
}

std::string sha256_of(const Entry& entry) {
    return sha256_hex(canonical_bytes(entry));
}

} // namespace backeddy::store
