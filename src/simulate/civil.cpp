#include "simulate/civil.hpp"

#include <cmath>
#include <exception>

#include <date/tz.h>
#include <fmt/format.h>

namespace backeddy::simulate {

struct ZoneRules {
    const date::time_zone* zone = nullptr;
};

namespace {

using Nanoseconds = std::chrono::nanoseconds;

date::sys_time<Nanoseconds> sys_of(Instant moment) {
    return date::sys_time<Nanoseconds>{Nanoseconds{moment.unix_nanoseconds()}};
}

Civil civil_of(date::local_time<Nanoseconds> local) {
    const auto day = date::floor<date::days>(local);
    const date::year_month_day ymd{day};
    const auto of_day = static_cast<double>((local - day).count()) * 1e-9;
    Civil c{.year = static_cast<int>(ymd.year()),
            .month = static_cast<int>(static_cast<unsigned>(ymd.month())),
            .day = static_cast<int>(static_cast<unsigned>(ymd.day()))};
    const auto whole = static_cast<int>(of_day);
    c.hour = whole / 3600;
    c.minute = whole / 60 % 60;
    c.second = std::round((of_day - (c.hour * 3600) - (c.minute * 60)) * 1000.0) / 1000.0;
    return c;
}

Instant whole_second(Instant moment) {
    constexpr std::int64_t second = 1'000'000'000;
    const auto ns = moment.unix_nanoseconds() + (second / 2);
    return Instant::unix_nanoseconds(ns - (((ns % second) + second) % second));
}

} // namespace

Expected<Zone> Zone::named(const std::string& name) {
    Zone zone;
    zone.name_ = name;
    try {
        zone.rules_ = std::make_shared<const ZoneRules>(ZoneRules{date::locate_zone(name)});
    } catch (const std::exception&) {
        return fail({.code = ErrorCode::unknown_name,
                     .found = fmt::format("zone \"{}\"", name),
                     .expected = "the IANA name of a time zone, as Europe/Oslo",
                     .remedy = "set zone in [study]"});
    }
    return zone;
}

Expected<Instant> Zone::midnight(int year, int month, int day) const {
    const auto ymd = date::year{year} / month / day;
    if (!ymd.ok()) {
        return fail({.code = ErrorCode::bad_time,
                     .found = fmt::format("{}-{}-{}", year, month, day),
                     .expected = "a date that exists",
                     .remedy = "set first_day in [study]"});
    }
    const auto sys = rules_->zone->to_sys(date::local_days{ymd}, date::choose::earliest);
    return Instant::unix_nanoseconds(Nanoseconds{sys.time_since_epoch()}.count());
}

Civil Zone::civil(Instant moment) const {
    return civil_of(rules_->zone->to_local(sys_of(moment)));
}

Duration Zone::offset(Instant moment) const {
    const auto info = rules_->zone->get_info(sys_of(moment));
    return Duration::nanoseconds(Nanoseconds{info.offset}.count());
}

std::string Zone::iso_local(Instant moment) const {
    const auto c = civil(whole_second(moment));
    return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", c.year, c.month, c.day, c.hour, c.minute,
                       static_cast<int>(c.second));
}

std::string Zone::iso_with_offset(Instant moment) const {
    const auto minutes = static_cast<int>(offset(moment).minutes());
    return fmt::format("{}{}{:02}:{:02}", iso_local(moment), minutes < 0 ? '-' : '+', std::abs(minutes) / 60,
                       std::abs(minutes) % 60);
}

std::string Zone::day(Instant moment) const {
    const auto c = civil(moment);
    return fmt::format("{:04}-{:02}-{:02}", c.year, c.month, c.day);
}

} // namespace backeddy::simulate
