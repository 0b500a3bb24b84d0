#pragma once
// Moments in the study's own zone.

#include <string>

#include "series/instant.hpp"

namespace backeddy::app::detail {

/// Local time less UTC at a moment; 0 for a zone that nobody knows (the brief's check has complained of it).
[[nodiscard]] Duration utc_offset(const std::string& zone, Instant at);
/// "2026-06-14": the local day of a moment.
[[nodiscard]] std::string local_day(const std::string& zone, Instant at);

} // namespace backeddy::app::detail
