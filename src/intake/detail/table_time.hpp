#pragma once
// Times as the tables hold them: ISO 8601, with an offset or local in a zone.

#include <string>
#include <string_view>

#include "base/error.hpp"
#include "intake/detail/zone.hpp"
#include "series/instant.hpp"

namespace backeddy::intake {

/// A zone by IANA name, for local times of tables and brief.
class TableZone {
  public:
    /// Fails with bad_setting when there is no such zone, or it is a bare offset: a study has a place, and
    /// its nights and days go by that place's clocks.
    [[nodiscard]] static Expected<TableZone> named(const std::string& name);
    /// UTC.
    TableZone() = default;

    /// "2026-06-14T21:05:03.5+02:00", or local: "2026-06-14 21:05", "2026/06/14 21:05:03". Fails with
    /// bad_time (no time of day, no such date, a local time that the clocks skipped, another form) or
    /// ambiguous_time (a local time that came twice, a date in numbers with two readings), naming the
    /// readings and what to write; never guesses.
    [[nodiscard]] Expected<Instant> read(std::string_view text) const;
    [[nodiscard]] const std::string& name() const { return name_; }

  private:
    std::string name_ = "UTC";
    Zone zone_;
};

} // namespace backeddy::intake
