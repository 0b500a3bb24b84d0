#include "study/likeness.hpp"

#include <cstddef>
#include <cstdint>

namespace backeddy::study {

namespace {

// Base letters of U+00C0 to U+017F by Unicode's canonical decompositions (UnicodeData.txt, field 5); '.'
// where a character has none.
constexpr std::string_view base_letters = "AAAAAA.CEEEEIIII.NOOOOO..UUUUY.."
                                          "aaaaaa.ceeeeiiii.nooooo..uuuuy.y"
                                          "AaAaAaCcCcCcCcDd..EeEeEeEeEeGgGg"
                                          "GgGgHh..IiIiIiIiI...JjKk.LlLlLl."
                                          "...NnNnNn...OoOoOo..RrRrRrSsSsSs"
                                          "SsTtTt..UuUuUuUuUuUuWwYyYZzZzZz.";
constexpr char32_t first_letter = 0x00C0;
constexpr char mark = '\x01'; ///< stands for any mark on the letter before it

/// The character at `at`, and the place after it; a byte that is no UTF-8 stands for itself.
char32_t next_character(std::string_view text, std::size_t& at) {
    const auto lead = static_cast<unsigned char>(text[at]);
    const std::size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : lead >= 0xC0 ? 2 : 1;
    if (length == 1 || at + length > text.size()) {
        ++at;
        return lead;
    }
    char32_t out = lead & (0xFFU >> (length + 1));
    for (std::size_t k = 1; k < length; ++k) {
        out = (out << 6U) | (static_cast<unsigned char>(text[at + k]) & 0x3FU);
    }
    at += length;
    return out;
}

} // namespace

std::string as_it_looks(std::string_view name) {
    std::string out;
    for (std::size_t at = 0; at < name.size();) {
        const std::size_t begin = at;
        const char32_t c = next_character(name, at);
        const bool has_no_width = (c >= 0x200B && c <= 0x200F) || (c >= 0x202A && c <= 0x202E) ||
                                  (c >= 0x2060 && c <= 0x2064) || c == 0xFEFF || c == 0xAD;
        if (has_no_width) {
            continue;
        }
        if (c >= 0x0300 && c <= 0x036F) {
            out += mark;
        } else if (c == 0xA0 || (c >= 0x2000 && c <= 0x200A) || c == 0x202F) {
            out += ' ';
        } else if (c >= first_letter && c < first_letter + base_letters.size() &&
                   base_letters[c - first_letter] != '.') {
            out += base_letters[c - first_letter];
            out += mark;
        } else {
            out += name.substr(begin, at - begin);
        }
    }
    return out;
}

std::optional<std::string> look_alike(std::string_view name, const std::vector<std::string>& names) {
    const std::string look = as_it_looks(name);
    for (const auto& other : names) {
        if (other != name && as_it_looks(other) == look) {
            return other;
        }
    }
    return std::nullopt;
}

std::string look_alike_remedy() {
    return "one that looks the same is there and is other bytes (a letter with its mark in one character or "
           "in "
           "two, or a character that does not show): copy the name from the one table into the other";
}

} // namespace backeddy::study
