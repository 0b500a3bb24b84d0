#include "base/base64.hpp"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <utility>

namespace backeddy {

namespace {

constexpr std::string_view alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
constexpr std::uint8_t no_digit = 64;

constexpr std::array<std::uint8_t, 256> digits = [] {
    std::array<std::uint8_t, 256> out{};
    out.fill(no_digit);
    for (std::size_t i = 0; i < alphabet.size(); ++i) {
        out[static_cast<unsigned char>(alphabet[i])] = static_cast<std::uint8_t>(i);
    }
    return out;
}();

} // namespace

std::string to_base64(std::string_view bytes) {
    std::string out;
    out.reserve((bytes.size() + 2) / 3 * 4);
    for (std::size_t at = 0; at < bytes.size(); at += 3) {
        const std::size_t count = std::min<std::size_t>(3, bytes.size() - at);
        std::uint32_t bits = 0;
        for (std::size_t i = 0; i < 3; ++i) {
            bits = (bits << 8U) | (i < count ? static_cast<unsigned char>(bytes[at + i]) : 0U);
        }
        for (std::size_t i = 0; i < 4; ++i) {
            out += i <= count ? alphabet[(bits >> (18U - (6U * i))) & 63U] : '=';
        }
    }
    return out;
}

std::optional<std::string> from_base64(std::string_view text) {
    if (text.size() % 4 != 0) {
        return std::nullopt;
    }
    const std::size_t padding = text.ends_with("==") ? 2 : text.ends_with('=') ? 1 : 0;
    std::string out;
    out.reserve(text.size() / 4 * 3);
    std::uint32_t bits = 0;
    unsigned held = 0;
    for (const char c : text.substr(0, text.size() - padding)) {
        const auto digit = digits[static_cast<unsigned char>(c)];
        if (digit == no_digit) {
            return std::nullopt;
        }
        bits = (bits << 6U) | digit;
        held += 6;
        if (held >= 8) {
            held -= 8;
            out += static_cast<char>((bits >> held) & 255U);
        }
    }
    const bool is_left_over = (bits & ((1U << held) - 1U)) != 0;
    return is_left_over ? std::nullopt : std::optional(std::move(out));
}

} // namespace backeddy
