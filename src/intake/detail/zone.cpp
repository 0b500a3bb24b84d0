#include "intake/detail/zone.hpp"

#include <algorithm>
#include <exception>
#include <vector>

#include <date/tz.h>
#include <fmt/format.h>

#include "intake/detail/moment.hpp"

namespace backeddy::intake {

Expected<Zone> Zone::named(std::string_view name) {
    Zone zone;
    if (const auto minutes = offset_minutes_from(name)) {
        zone.offset_ns_ = static_cast<std::int64_t>(*minutes) * 60 * nanoseconds_per_second;
        return zone;
    }
    std::string why;
    std::vector<std::string> known;
    try {
        zone.zone_ = date::locate_zone(std::string(name));
        zone.to_ns_ = zone.from_ns_; // nothing remembered yet
        return zone;
    } catch (const std::exception& problem) {
        why = problem.what();
    }
    try {
        for (const auto& each : date::get_tzdb().zones) {
            known.push_back(each.name());
        }
    } catch (const std::exception& problem) {
        return fail(
            {.code = ErrorCode::bad_setting,
             .found = fmt::format("the machine's table of time zones cannot be read ({})", problem.what()),
             .expected = "the IANA time zone database (Debian package tzdata)",
             .remedy = "install tzdata, or give the zone as a fixed offset like \"+01:00\""});
    }
    const auto near = nearest_name(name, known);
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("zone \"{}\" is no time zone", name),
                 .expected = "an IANA name like \"Europe/Oslo\", \"UTC\", or a fixed offset like \"+01:00\"",
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "set zone to one of these"});
}

ZonedTime Zone::look_up(std::int64_t local_ns) {
    using std::chrono::duration_cast;
    using std::chrono::seconds;
    const auto floor_seconds =
        (local_ns / nanoseconds_per_second) - (local_ns % nanoseconds_per_second < 0 ? 1 : 0);
    const date::local_seconds local{seconds(floor_seconds)};
    const date::local_info info = zone_->get_info(local);
    const auto offset_ns = [](const date::sys_info& i) { return i.offset.count() * nanoseconds_per_second; };
    if (info.result == date::local_info::ambiguous) {
        return {.kind = LocalKind::twice,
                .utc_ns = local_ns - offset_ns(info.first),
                .later_ns = local_ns - offset_ns(info.second)};
    }
    if (info.result == date::local_info::nonexistent) {
        return {.kind = LocalKind::never};
    }
    // Remember the local times between the changes around this one, without the hours that come twice.
    const auto local_bound = [&](date::sys_seconds change, seconds offset_a, seconds offset_b, bool later) {
        const auto offset = later ? std::max(offset_a, offset_b) : std::min(offset_a, offset_b);
        const std::int64_t at = change.time_since_epoch().count() + offset.count();
        constexpr std::int64_t far = 7'000'000'000; // beyond what nanoseconds hold
        return std::clamp(at, -far, far) * nanoseconds_per_second;
    };
    const auto& now = info.first;
    constexpr std::int64_t reach = 8'000'000'000;
    const bool has_before = now.begin.time_since_epoch().count() > -reach;
    const bool has_after = now.end.time_since_epoch().count() < reach;
    offset_ns_ = offset_ns(now);
    const seconds before = has_before ? zone_->get_info(now.begin - seconds(1)).offset : now.offset;
    const seconds after = has_after ? zone_->get_info(now.end).offset : now.offset;
    from_ns_ = local_bound(now.begin, before, now.offset, true);
    to_ns_ = local_bound(now.end, now.offset, after, false);
    return {.kind = LocalKind::once, .utc_ns = local_ns - offset_ns_};
}

} // namespace backeddy::intake
