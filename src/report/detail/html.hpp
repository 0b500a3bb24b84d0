#pragma once
// HTML as text, escaped.

#include <string>
#include <string_view>

namespace backeddy::report::detail {

/// `text` for an element's content or a quoted attribute: & < > " ' escaped, bytes that are no UTF-8
/// replaced.
[[nodiscard]] std::string html(std::string_view text);

/// The bytes in base 64 (RFC 4648, section 4).
[[nodiscard]] std::string base64(std::string_view bytes);

} // namespace backeddy::report::detail
