#include "server/target.hpp"

#include <algorithm>
#include <optional>

#include <fmt/format.h>

#include "base/html_text.hpp"

namespace backeddy::server {

namespace {

Error refused(std::string found) {
    return {.code = ErrorCode::bad_text,
            .found = std::move(found),
            .expected = "a path of plain words and a query, percent-encoded as in RFC 3986",
            .remedy = "open an address that the program printed, or follow a link of its pages"};
}

constexpr bool is_alphanumeric(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

/// RFC 3986, section 2.3.
constexpr bool is_unreserved(char c) {
    return is_alphanumeric(c) || std::string_view("-._~").find(c) != std::string_view::npos;
}

/// pchar of RFC 3986, section 3.3, and in a query also "/" and "?" (section 3.4).
constexpr bool may_stand(char c) {
    return is_unreserved(c) || std::string_view("!$&'()*+,;=:@/?%").find(c) != std::string_view::npos;
}

std::optional<unsigned> hexadecimal(char c) {
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    if (c >= 'a' && c <= 'f') {
        return c - 'a' + 10;
    }
    if (c >= 'A' && c <= 'F') {
        return c - 'A' + 10;
    }
    return std::nullopt;
}

enum class Part { path, query };

/// One segment, name or text, decoded.
Expected<std::string> decode(std::string_view text, Part part) {
    std::string out;
    out.reserve(text.size());
    for (std::size_t i = 0; i < text.size(); ++i) {
        char c = text[i];
        if (!may_stand(c)) {
            return fail(refused("a character that has to be percent-encoded"));
        }
        if (c == '+' && part == Part::query) {
            c = ' ';
        } else if (c == '%') {
            const auto high = i + 2 < text.size() ? hexadecimal(text[i + 1]) : std::nullopt;
            const auto low = i + 2 < text.size() ? hexadecimal(text[i + 2]) : std::nullopt;
            if (!high || !low) {
                return fail(refused("a \"%\" without two hexadecimal digits after it"));
            }
            c = static_cast<char>(*high * 16 + *low);
            i += 2;
            if (part == Part::path && c == '/') {
                return fail(refused("an encoded slash"));
            }
        }
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x20 || byte == 0x7f) {
            return fail(refused("a control character"));
        }
        if (part == Part::path && c == '\\') {
            return fail(refused("a backslash"));
        }
        out += c;
    }
    if (valid_utf8(out) != out) {
        return fail(refused("bytes that are no UTF-8"));
    }
    return out;
}

/// `text` up to the first `mark`; what follows it stays in `text`, which is null when there was no mark.
std::string_view take(std::optional<std::string_view>& text, char mark) {
    const auto end = text->find(mark);
    const auto taken = text->substr(0, end);
    text = end == std::string_view::npos ? std::nullopt : std::optional(text->substr(end + 1));
    return taken;
}

Expected<std::vector<std::string>> decode_path(std::string_view text) {
    std::vector<std::string> path;
    std::optional<std::string_view> rest = text.substr(1);
    if (rest->empty()) {
        return path;
    }
    while (rest) {
        auto segment = decode(take(rest, '/'), Part::path);
        if (!segment) {
            return fail(std::move(segment).error());
        }
        if (segment->empty() || *segment == "." || *segment == "..") {
            return fail(refused(fmt::format("the path segment \"{}\"", *segment)));
        }
        if (path.size() == most_segments) {
            return fail(refused(fmt::format("a path of more than {} segments", most_segments)));
        }
        path.push_back(std::move(*segment));
    }
    return path;
}

Expected<std::vector<Field>> decode_query(std::optional<std::string_view> rest) {
    std::vector<Field> query;
    while (rest) {
        std::optional<std::string_view> part = take(rest, '&');
        if (part->empty()) {
            continue;
        }
        auto name = decode(take(part, '='), Part::query);
        if (!name) {
            return fail(std::move(name).error());
        }
        auto value = decode(part.value_or(std::string_view()), Part::query);
        if (!value) {
            return fail(std::move(value).error());
        }
        if (query.size() == most_query_parts) {
            return fail(refused(fmt::format("a query of more than {} parts", most_query_parts)));
        }
        query.emplace_back(std::move(*name), std::move(*value));
    }
    return query;
}

std::string encode(std::string_view text) {
    std::string out;
    for (const char c : text) {
        out += is_unreserved(c) ? std::string(1, c) : fmt::format("%{:02X}", static_cast<unsigned char>(c));
    }
    return out;
}

} // namespace

Expected<Target> parse_target(std::string_view target) {
    if (target.size() > longest_target) {
        return fail(
            refused(fmt::format("an address of {} bytes, more than {}", target.size(), longest_target)));
    }
    if (!target.starts_with('/')) {
        return fail(refused("an address that does not begin with \"/\""));
    }
    std::optional<std::string_view> rest = target;
    auto path = decode_path(take(rest, '?'));
    if (!path) {
        return fail(std::move(path).error());
    }
    auto query = decode_query(rest);
    if (!query) {
        return fail(std::move(query).error());
    }
    return Target{.path = std::move(*path), .query = std::move(*query)};
}

std::string target_text(const Target& target) {
    std::string out;
    for (const auto& segment : target.path) {
        out += '/' + encode(segment);
    }
    out += out.empty() ? "/" : "";
    char mark = '?';
    for (const auto& [name, value] : target.query) {
        out += mark + encode(name) + '=' + encode(value);
        mark = '&';
    }
    return out;
}

} // namespace backeddy::server
