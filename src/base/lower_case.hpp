#pragma once
// Letters in lower case, so that "Left Pectoral" and "left pectoral" are one word.

#include <string>
#include <string_view>

namespace backeddy {

/// An ASCII letter in lower case; any other byte as it is. std::tolower asks the locale, and this does not.
[[nodiscard]] constexpr char lower_letter(char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

/// The ASCII letters of `text` in lower case; letters beyond ASCII, and all else, as they are.
[[nodiscard]] std::string lower_case(std::string_view text);

} // namespace backeddy
