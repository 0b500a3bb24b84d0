#pragma once
// Bytes as text.

#include <string>
#include <string_view>

namespace backeddy::report::detail {

/// The bytes in base 64 (RFC 4648, section 4).
[[nodiscard]] std::string base64(std::string_view bytes);

} // namespace backeddy::report::detail
