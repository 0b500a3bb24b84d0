#pragma once
// Local times of a named zone to UTC, with the hours that come twice or never.

#include <cstdint>
#include <limits>
#include <string>
#include <string_view>

#include "base/error.hpp"

namespace date {
class time_zone;
}

namespace backeddy::intake {

enum class LocalKind : std::uint8_t { once, twice, never };

struct ZonedTime {
    LocalKind kind = LocalKind::once;
    std::int64_t utc_ns = 0;   ///< the first reading, where there are two
    std::int64_t later_ns = 0; ///< the second reading
};

/// A zone by IANA name ("Europe/Oslo"), or a fixed offset ("UTC", "+01:00"). A copy per thread: it remembers
/// the last stretch without a change.
class Zone {
  public:
    /// Fails with bad_setting, offering near names.
    static Expected<Zone> named(std::string_view name);
    /// UTC.
    Zone() = default;

    [[nodiscard]] ZonedTime to_utc(std::int64_t local_ns) {
        if (local_ns >= from_ns_ && local_ns < to_ns_) {
            return {.kind = LocalKind::once, .utc_ns = local_ns - offset_ns_};
        }
        return look_up(local_ns);
    }

  private:
    ZonedTime look_up(std::int64_t local_ns);
    const date::time_zone* zone_ = nullptr; ///< none: a fixed offset, always in range
    std::int64_t from_ns_ = std::numeric_limits<std::int64_t>::min();
    std::int64_t to_ns_ = std::numeric_limits<std::int64_t>::max();
    std::int64_t offset_ns_ = 0;
};

} // namespace backeddy::intake
