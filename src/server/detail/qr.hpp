#pragma once
// Addresses as squares that a phone's camera reads.

#include <string>
#include <string_view>

namespace backeddy::server {

/// A QR code (ISO/IEC 18004, error correction M) as an SVG document, dark on white whatever lies around it,
/// with the quiet border of four modules. `text`: at most 1 KB.
[[nodiscard]] std::string qr_svg(std::string_view text);

} // namespace backeddy::server
