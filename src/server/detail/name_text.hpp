#pragma once
// Words of people that go into our files.

#include <string_view>

namespace backeddy::server {

/// UTF-8 without control characters.
[[nodiscard]] bool is_text(std::string_view text);

/// 1 to 64 bytes of text without quotes, backslashes or a space at either end: stands in quotes as it is.
[[nodiscard]] bool is_name(std::string_view name);

} // namespace backeddy::server
