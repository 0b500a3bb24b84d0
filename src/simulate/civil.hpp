#pragma once
// Local time of one zone, both ways.

#include <memory>
#include <string>

#include "base/error.hpp"
#include "series/instant.hpp"

namespace backeddy::simulate {

struct ZoneRules; ///< the zone database's, known in civil.cpp only

/// The parts of a local time.
struct Civil {
    int year = 0;
    int month = 0;
    int day = 0;
    int hour = 0;
    int minute = 0;
    double second = 0.0; ///< to the millisecond
};

class Zone {
  public:
    /// By IANA name; fails with unknown_name.
    [[nodiscard]] static Expected<Zone> named(const std::string& name);
    [[nodiscard]] const std::string& name() const { return name_; }
    /// The first moment of a local day. Fails with bad_time when there is no such date.
    [[nodiscard]] Expected<Instant> midnight(int year, int month, int day) const;
    [[nodiscard]] Civil civil(Instant moment) const;
    /// Local less UTC.
    [[nodiscard]] Duration offset(Instant moment) const;
    /// "2026-06-08T11:05:30+01:00", whole seconds.
    [[nodiscard]] std::string iso_with_offset(Instant moment) const;
    /// "2026-06-08T11:05:30", whole seconds.
    [[nodiscard]] std::string iso_local(Instant moment) const;
    /// "2026-06-08"
    [[nodiscard]] std::string day(Instant moment) const;

  private:
    std::string name_;
    std::shared_ptr<const ZoneRules> rules_;
};

} // namespace backeddy::simulate
