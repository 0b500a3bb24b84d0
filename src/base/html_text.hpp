#pragma once
// Text into HTML and JSON: bytes made valid, what means something there escaped.

#include <string>
#include <string_view>

namespace backeddy {

/// Bytes that are no UTF-8 replaced by U+FFFD.
[[nodiscard]] std::string valid_utf8(std::string_view text);

/// `text` for an element's content or a quoted attribute: & < > " ' escaped, NUL and bytes that are no UTF-8
/// replaced.
[[nodiscard]] std::string html_text(std::string_view text);

} // namespace backeddy
