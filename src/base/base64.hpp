#pragma once
// Bytes as text and back, for files in JSON.

#include <optional>
#include <string>
#include <string_view>

namespace backeddy {

/// Standard alphabet with padding (RFC 4648, section 4).
[[nodiscard]] std::string to_base64(std::string_view bytes);

/// Back. Nothing unless the text is just what to_base64 writes: no blanks, no line ends, its padding there,
/// and no bits left over.
[[nodiscard]] std::optional<std::string> from_base64(std::string_view text);

} // namespace backeddy
