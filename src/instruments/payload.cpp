#include "instruments/payload.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/number_text.hpp"

namespace backeddy::instruments {

namespace {

using nlohmann::json;

/// `part` with its escapes undone; nothing where a '~' is none.
std::optional<std::string> unescaped(std::string_view part) {
    std::string out;
    for (std::size_t i = 0; i < part.size(); ++i) {
        if (part[i] != '~') {
            out += part[i];
            continue;
        }
        ++i;
        if (i == part.size() || (part[i] != '0' && part[i] != '1')) {
            return std::nullopt;
        }
        out += part[i] == '0' ? '~' : '/';
    }
    return out;
}

Error no_pointer(std::string_view text) {
    return {.code = ErrorCode::bad_setting,
            .found = fmt::format("\"{}\"", text),
            .expected =
                "a JSON pointer (RFC 6901): empty, or parts that each begin with \"/\", in which \"~0\" "
                "stands for ~ and \"~1\" for /",
            .remedy = "write for example \"/tubes/0/oxygen\""};
}

const json* member(const json& node, const std::string& part) {
    if (node.is_object()) {
        const auto found = node.find(part);
        return found == node.end() ? nullptr : &*found;
    }
    const auto index = parse_whole(part);
    const bool plain = !part.empty() && part.find_first_not_of("0123456789") == std::string::npos &&
                       (part.size() == 1 || part.front() != '0');
    if (!node.is_array() || !plain || !index || static_cast<std::size_t>(*index) >= node.size()) {
        return nullptr;
    }
    return &node[static_cast<std::size_t>(*index)];
}

const json* find(const json& root, const JsonPointer& pointer) {
    const json* node = &root;
    for (const auto& part : pointer.parts()) {
        node = member(*node, part);
        if (node == nullptr) {
            return nullptr;
        }
    }
    return node;
}

std::optional<Instant> instant_in(const json* node) {
    if (node == nullptr) {
        return std::nullopt;
    }
    if (node->is_string()) {
        return parse_iso(node->get_ref<const std::string&>());
    }
    constexpr double latest = 9.2e9; // what an Instant can hold
    if (node->is_number() && std::abs(node->get<double>()) < latest) {
        return Instant::unix_seconds(node->get<double>());
    }
    return std::nullopt;
}

Reading read_node(const Channel& channel, const json& node, const Stamp& received,
                  std::optional<Instant> device_time) {
    if (node.is_null()) {
        return without_number(channel, Missing::not_a_number, received, device_time);
    }
    if (node.is_number()) {
        return finished(channel, node.get<double>(), received, device_time);
    }
    if (node.is_string()) {
        return read_text(channel, node.get_ref<const std::string&>(), '.', received, device_time);
    }
    if (node.is_boolean()) {
        return finished(channel, node.get<bool>() ? 1.0 : 0.0, received, device_time);
    }
    return without_number(channel, Missing::no_number, received, device_time);
}

PayloadRead read_json(const PayloadChannel& channel, std::string_view payload, const Stamp& received) {
    const json root = json::parse(payload, nullptr, false);
    if (root.is_discarded()) {
        return {.complaint = "no JSON"};
    }
    const json* node = find(root, *channel.pointer);
    if (node == nullptr) {
        return {.complaint = "nothing at the channel's pointer"};
    }
    const auto device_time = channel.time ? instant_in(find(root, *channel.time)) : std::nullopt;
    return {.reading = read_node(channel.channel, *node, received, device_time)};
}

} // namespace

Expected<JsonPointer> JsonPointer::parse(std::string_view text) {
    JsonPointer out;
    if (text.empty()) {
        return out;
    }
    if (text.front() != '/') {
        return fail(no_pointer(text));
    }
    for (std::size_t from = 1; from <= text.size();) {
        const auto end = std::min(text.find('/', from), text.size());
        auto part = unescaped(text.substr(from, end - from));
        if (!part) {
            return fail(no_pointer(text));
        }
        out.parts_.push_back(std::move(*part));
        from = end + 1;
    }
    return out;
}

PayloadRead read_payload(const PayloadChannel& channel, std::string_view payload, const Stamp& received) {
    if (payload.size() > longest_payload) {
        return {.complaint = fmt::format("{} bytes, more than {}", payload.size(), longest_payload)};
    }
    if (channel.pointer) {
        return read_json(channel, payload, received);
    }
    auto reading = read_text(channel.channel, payload, '.', received, std::nullopt);
    if (reading.missing == Missing::no_number) {
        return {.complaint = "no number"};
    }
    return {.reading = std::move(reading)};
}

} // namespace backeddy::instruments
