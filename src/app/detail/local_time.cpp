#include "app/detail/local_time.hpp"

#include <chrono>

#include <date/tz.h>

namespace backeddy::app::detail {

Duration utc_offset(const std::string& zone, Instant at) {
    using namespace std::chrono;
    try {
        const auto* place = date::locate_zone(zone);
        const auto info = place->get_info(date::sys_seconds{seconds{at.unix_nanoseconds() / 1'000'000'000}});
        return Duration::seconds(static_cast<double>(info.offset.count()));
    } catch (const std::runtime_error&) {
        return {};
    }
}

std::string local_day(const std::string& zone, Instant at) {
    return iso_text(at + utc_offset(zone, at)).substr(0, 10);
}

} // namespace backeddy::app::detail
