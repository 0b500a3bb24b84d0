#include "series/instant.hpp"

#include <chrono>

#include <fmt/format.h>

namespace backeddy {

std::string iso_text(Instant moment) {
    using namespace std::chrono;
    // By hand: the library's floor turns the day back into nanoseconds, which the first day of all does not
    // fit.
    constexpr std::int64_t day_ns = nanoseconds{days{1}}.count();
    const std::int64_t into_day = ((moment.unix_nanoseconds() % day_ns) + day_ns) % day_ns;
    const auto day = moment.unix_nanoseconds() / day_ns - (moment.unix_nanoseconds() % day_ns < 0 ? 1 : 0);
    const year_month_day date{sys_days{days{day}}};
    const hh_mm_ss clock{nanoseconds{into_day}};
    std::string text = fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", static_cast<int>(date.year()),
                                   static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                                   clock.hours().count(), clock.minutes().count(), clock.seconds().count());
    if (const auto fraction = clock.subseconds().count(); fraction != 0) {
        std::string digits = fmt::format("{:09}", fraction);
        digits.erase(digits.find_last_not_of('0') + 1);
        text += "." + digits;
    }
    return text + "Z";
}

namespace {

// Takes exactly `count` digits off the front of `text`.
std::optional<int> take_digits(std::string_view& text, std::size_t count) {
    if (text.size() < count) {
        return std::nullopt;
    }
    int value = 0;
    for (std::size_t i = 0; i < count; ++i) {
        if (text[i] < '0' || text[i] > '9') {
            return std::nullopt;
        }
        value = (value * 10) + (text[i] - '0');
    }
    text.remove_prefix(count);
    return value;
}

bool take(std::string_view& text, char wanted) {
    if (text.empty() || text.front() != wanted) {
        return false;
    }
    text.remove_prefix(1);
    return true;
}

std::optional<std::int64_t> take_fraction(std::string_view& text) {
    std::int64_t nanoseconds = 0;
    std::int64_t place = 100'000'000;
    bool any = false;
    while (!text.empty() && text.front() >= '0' && text.front() <= '9') {
        nanoseconds += place * (text.front() - '0');
        place /= 10;
        text.remove_prefix(1);
        any = true;
    }
    return any ? std::optional(nanoseconds) : std::nullopt;
}

std::optional<int> take_offset_minutes(std::string_view& text) {
    if (take(text, 'Z')) {
        return 0;
    }
    const int sign = take(text, '+') ? 1 : (take(text, '-') ? -1 : 0);
    const auto hours = sign == 0 ? std::nullopt : take_digits(text, 2);
    take(text, ':');
    const auto minutes = hours ? take_digits(text, 2) : std::nullopt;
    if (!minutes || *hours > 18 || *minutes > 59) {
        return std::nullopt;
    }
    return sign * ((*hours * 60) + *minutes);
}

// The whole years that 64 bits of nanoseconds around 1970 can hold.
constexpr int first_year = 1678;
constexpr int last_year = 2261;

} // namespace

std::optional<Instant> parse_iso(std::string_view text) {
    using namespace std::chrono;
    const auto y = take_digits(text, 4);
    const auto mo = y && take(text, '-') ? take_digits(text, 2) : std::nullopt;
    const auto d = mo && take(text, '-') ? take_digits(text, 2) : std::nullopt;
    if (!d || !(take(text, 'T') || take(text, ' '))) {
        return std::nullopt;
    }
    const auto h = take_digits(text, 2);
    const auto mi = h && take(text, ':') ? take_digits(text, 2) : std::nullopt;
    if (!mi || *h > 23 || *mi > 59) {
        return std::nullopt;
    }
    int s = 0;
    std::int64_t fraction = 0;
    if (take(text, ':')) {
        const auto whole = take_digits(text, 2);
        if (!whole || *whole > 59) {
            return std::nullopt;
        }
        s = *whole;
        if (take(text, '.') || take(text, ',')) {
            const auto part = take_fraction(text);
            if (!part) {
                return std::nullopt;
            }
            fraction = *part;
        }
    }
    const auto offset = take_offset_minutes(text);
    const year_month_day date{year{*y}, month{static_cast<unsigned>(*mo)}, day{static_cast<unsigned>(*d)}};
    if (!offset || !text.empty() || !date.ok() || *y < first_year || *y > last_year) {
        return std::nullopt;
    }
    const std::int64_t seconds_of_day = (*h * 3600) + (*mi * 60) + s - (*offset * 60);
    const std::int64_t whole =
        (static_cast<std::int64_t>(sys_days{date}.time_since_epoch().count()) * 86400) + seconds_of_day;
    return Instant::unix_nanoseconds((whole * 1'000'000'000) + fraction);
}

} // namespace backeddy
