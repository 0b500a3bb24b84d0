#include "server/detail/name_text.hpp"

#include <algorithm>

#include "base/html_text.hpp"

namespace backeddy::server {

bool is_text(std::string_view text) {
    return valid_utf8(text) == text &&
           std::ranges::none_of(text, [](unsigned char c) { return c < 0x20 || c == 0x7f; });
}

bool is_name(std::string_view name) {
    return !name.empty() && name.size() <= 64 && is_text(name) && name.front() != ' ' && name.back() != ' ' &&
           name.find_first_of("\"'\\") == std::string_view::npos;
}

} // namespace backeddy::server
