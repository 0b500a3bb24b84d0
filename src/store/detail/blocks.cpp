#include "store/detail/blocks.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/hash.hpp"
#include "base/number_text.hpp"

namespace backeddy::store::detail {

namespace {

constexpr std::string_view head_magic = "BKYHEAD\n";
constexpr std::string_view data_magic = "BKYDATA\n";
constexpr std::size_t magic_bytes = 8;
constexpr std::size_t before_checksum = magic_bytes + 4 + 4 + 8;
constexpr std::size_t checksum_bytes = 16;
constexpr std::size_t before_payload = before_checksum + checksum_bytes;
constexpr std::size_t before_piece = 2 + 4 + 8 + 8;
constexpr std::uint64_t most_number = std::uint64_t{1}
                                      << 62U; // a thousand a second for a hundred million years
constexpr std::size_t most_payload = block_bytes + before_piece + most_heard_bytes;

template <typename Integer>
void put(std::string& out, Integer value) {
    auto rest = static_cast<std::uint64_t>(value);
    for (std::size_t i = 0; i < sizeof(Integer); ++i) {
        out.push_back(static_cast<char>(rest & 0xFFU));
        rest >>= 8U;
    }
}

/// The integer at the front, which is taken off; the bytes are there.
template <typename Integer>
Integer take(std::string_view& bytes) {
    std::uint64_t value = 0;
    for (std::size_t i = sizeof(Integer); i > 0; --i) {
        value = (value << 8U) | static_cast<unsigned char>(bytes[i - 1]);
    }
    bytes.remove_prefix(sizeof(Integer));
    return static_cast<Integer>(value);
}

std::string checksum(std::string_view before, std::string_view payload) {
    const std::string hex = sha256_hex(std::string(before) + std::string(payload));
    std::string out;
    for (std::size_t i = 0; i < checksum_bytes; ++i) {
        const auto digit = [&](char c) { return c <= '9' ? c - '0' : c - 'a' + 10; };
        out.push_back(static_cast<char>((digit(hex[2 * i]) << 4) | digit(hex[2 * i + 1])));
    }
    return out;
}

std::string block(std::string_view magic, std::size_t pieces, std::uint64_t first,
                  const std::string& payload) {
    std::string out(magic);
    put(out, static_cast<std::uint32_t>(payload.size()));
    put(out, static_cast<std::uint32_t>(pieces));
    put(out, first);
    return out + checksum(out, payload) + payload;
}

std::optional<SegmentHead> head_of(std::string_view payload) {
    const auto json = nlohmann::json::parse(payload, nullptr, false);
    if (!json.is_object()) {
        return {};
    }
    const auto text = [&](const char* key) {
        const auto found = json.find(key);
        return found != json.end() && found->is_string() ? found->get<std::string>() : std::string();
    };
    SegmentHead head{.program = text("program"),
                     .boot = text("boot"),
                     .station_sha256 = text("station_sha256"),
                     .sources = {}};
    if (const auto sources = json.find("sources"); sources != json.end() && sources->is_array()) {
        for (const auto& each : *sources) {
            head.sources.push_back(each.is_string() ? each.get<std::string>() : std::string());
        }
    }
    return head;
}

std::optional<std::vector<Heard>> pieces_of(std::string_view payload, std::size_t count,
                                            std::uint64_t first) {
    std::vector<Heard> out;
    for (std::size_t i = 0; i < count; ++i) {
        if (payload.size() < before_piece) {
            return {};
        }
        Heard heard{.number = first + i};
        heard.source = take<std::uint16_t>(payload);
        const auto bytes = take<std::uint32_t>(payload);
        heard.received = Instant::unix_nanoseconds(take<std::int64_t>(payload));
        heard.monotonic_ns = take<std::int64_t>(payload);
        if (payload.size() < bytes) {
            return {};
        }
        heard.bytes = payload.substr(0, bytes);
        payload.remove_prefix(bytes);
        out.push_back(std::move(heard));
    }
    return payload.empty() ? std::optional(std::move(out)) : std::nullopt;
}

} // namespace

std::string head_block(const SegmentHead& head, std::uint64_t next_number) {
    const nlohmann::json json = {{"program", head.program},
                                 {"boot", head.boot},
                                 {"station_sha256", head.station_sha256},
                                 {"sources", head.sources}};
    return block(head_magic, 0, next_number,
                 json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace));
}

DataBlock data_block(std::span<const Heard> pieces) {
    std::string payload;
    std::size_t count = 0;
    for (; count < pieces.size() && payload.size() < block_bytes; ++count) {
        const Heard& heard = pieces[count];
        put(payload, heard.source);
        put(payload, static_cast<std::uint32_t>(heard.bytes.size()));
        put(payload, heard.received.unix_nanoseconds());
        put(payload, heard.monotonic_ns);
        payload += heard.bytes;
    }
    return {.bytes = block(data_magic, count, pieces.front().number, payload), .pieces = count};
}

std::variant<Block, Unfinished, NoBlock> read_block(std::string_view bytes) {
    const std::string_view magic = bytes.substr(0, magic_bytes);
    if (magic != head_magic.substr(0, magic.size()) && magic != data_magic.substr(0, magic.size())) {
        return NoBlock{};
    }
    if (bytes.size() < before_payload) {
        return Unfinished{};
    }
    std::string_view rest = bytes.substr(magic_bytes);
    const auto payload_bytes = take<std::uint32_t>(rest);
    const auto count = take<std::uint32_t>(rest);
    const auto first = take<std::uint64_t>(rest);
    if (payload_bytes > most_payload || first == 0 || first > most_number) {
        return NoBlock{};
    }
    if (bytes.size() < before_payload + payload_bytes) {
        return Unfinished{};
    }
    const std::string_view payload = bytes.substr(before_payload, payload_bytes);
    if (bytes.substr(before_checksum, checksum_bytes) !=
        checksum(bytes.substr(0, before_checksum), payload)) {
        return NoBlock{};
    }
    Block block{.bytes = before_payload + payload_bytes, .first = first, .head = {}, .pieces = {}};
    if (magic == head_magic) {
        block.head = head_of(payload);
        return block;
    }
    auto pieces = pieces_of(payload, count, first);
    if (!pieces || pieces->empty()) {
        return NoBlock{};
    }
    block.pieces = std::move(*pieces);
    return block;
}

std::size_t find_block(std::string_view bytes) {
    for (std::size_t at = bytes.find("BKY", 1); at != std::string_view::npos;
         at = bytes.find("BKY", at + 1)) {
        if (std::holds_alternative<Block>(read_block(bytes.substr(at)))) {
            return at;
        }
    }
    return std::string_view::npos;
}

std::string file_name(std::uint64_t counter) {
    return fmt::format("{:06}.segment", counter);
}

Expected<std::vector<std::uint64_t>> counters_in(const std::filesystem::path& folder) {
    std::error_code reason;
    std::vector<std::uint64_t> out;
    for (std::filesystem::directory_iterator each(folder, reason), end; !reason && each != end;
         each.increment(reason)) {
        const std::filesystem::path& path = each->path();
        const auto counter = parse_whole(path.stem().string());
        if (path.extension() == ".segment" && counter && *counter > 0 &&
            path.filename() == file_name(static_cast<std::uint64_t>(*counter))) {
            out.push_back(static_cast<std::uint64_t>(*counter));
        }
    }
    if (reason) {
        return fail({.code = ErrorCode::file_unreadable,
                     .found = "this folder cannot be read (" + reason.message() + ")",
                     .expected = "the folder of a watch's samples",
                     .remedy = "check its name and its permissions",
                     .place = {.file = folder.string()}});
    }
    std::sort(out.begin(), out.end());
    return out;
}

} // namespace backeddy::store::detail
