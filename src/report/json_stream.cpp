#include "report/json_stream.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/html_text.hpp"
#include "base/number_text.hpp"

namespace backeddy::report {

namespace {

// Most strings are words of ours, and stand as they are.
bool is_plain(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) {
        return c >= 0x20 && c < 0x7F && c != '"' && c != '\\' && c != '<' && c != '>';
    });
}

} // namespace

std::string json_string(std::string_view text) {
    std::string out = "\"";
    if (is_plain(text)) {
        out.reserve(text.size() + 2);
        out += text;
        return out += '"';
    }
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

} // namespace backeddy::report
