#include "report/detail/json_stream.hpp"

#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::report::detail {

namespace {

/// Length of the well-formed UTF-8 sequence at the start of `text` (Unicode 15, table 3-7), or 0.
std::size_t sequence_length(std::string_view text) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
    const auto within = [&](std::size_t i, unsigned low, unsigned high) {
        return i < text.size() && byte(i) >= low && byte(i) <= high;
    };
    const unsigned first = byte(0);
    if (first < 0x80) {
        return 1;
    }
    if (first >= 0xC2 && first <= 0xDF) {
        return within(1, 0x80, 0xBF) ? 2 : 0;
    }
    if (first >= 0xE0 && first <= 0xEF) {
        const unsigned low = first == 0xE0 ? 0xA0 : 0x80;
        const unsigned high = first == 0xED ? 0x9F : 0xBF;
        return within(1, low, high) && within(2, 0x80, 0xBF) ? 3 : 0;
    }
    if (first >= 0xF0 && first <= 0xF4) {
        const unsigned low = first == 0xF0 ? 0x90 : 0x80;
        const unsigned high = first == 0xF4 ? 0x8F : 0xBF;
        return within(1, low, high) && within(2, 0x80, 0xBF) && within(3, 0x80, 0xBF) ? 4 : 0;
    }
    return 0;
}

} // namespace

std::string valid_utf8(std::string_view text) {
    std::string out;
    out.reserve(text.size());
    while (!text.empty()) {
        const std::size_t length = sequence_length(text);
        if (length == 0) {
            out += "\xEF\xBF\xBD";
            text.remove_prefix(1);
        } else {
            out += text.substr(0, length);
            text.remove_prefix(length);
        }
    }
    return out;
}

std::string json_string(std::string_view text) {
    std::string out = "\"";
    for (const char c : valid_utf8(text)) {
        switch (c) {
        case '"':
            out += "\\\"";
            break;
        case '\\':
            out += "\\\\";
            break;
        case '\n':
            out += "\\n";
            break;
        case '\t':
            out += "\\t";
            break;
        case '<':
            out += "\\u003c";
            break;
        case '>':
            out += "\\u003e";
            break;
        default:
            if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) {
                out += fmt::format("\\u{:04x}", static_cast<unsigned>(static_cast<unsigned char>(c)));
            } else {
                out += c;
            }
        }
    }
    return out + '"';
}

void JsonStream::new_line() {
    if (depth_ <= open_depth_) {
        text_ += '\n';
        text_.append(static_cast<std::size_t>(depth_), ' ');
    }
}

void JsonStream::separate() {
    if (after_key_) {
        after_key_ = false;
        return;
    }
    if (!is_first_) {
        text_ += ',';
    }
    if (depth_ > 0) {
        new_line();
    }
}

void JsonStream::begin(char bracket) {
    separate();
    text_ += bracket;
    ++depth_;
    is_first_ = true;
}

void JsonStream::end(char bracket) {
    --depth_;
    if (!is_first_ && depth_ < open_depth_) {
        new_line();
    }
    text_ += bracket;
    is_first_ = false;
    if (depth_ == 0) {
        text_ += '\n';
    }
}

void JsonStream::key(std::string_view name) {
    separate();
    text_ += json_string(name);
    text_ += ':';
    is_first_ = false;
    after_key_ = true;
}

void JsonStream::literal(std::string_view text) {
    separate();
    text_ += text;
    is_first_ = false;
}

void JsonStream::value(std::string_view text) {
    literal(json_string(text));
}

void JsonStream::value(double number) {
    literal(std::isfinite(number) ? exact_text(number) : "null");
}

void JsonStream::value(std::uint64_t number) {
    literal(fmt::format("{}", number));
}

void JsonStream::value(bool truth) {
    literal(truth ? "true" : "false");
}

void JsonStream::value(Instant moment) {
    value(std::string_view(iso_text(moment)));
}

void JsonStream::null() {
    literal("null");
}

} // namespace backeddy::report::detail
