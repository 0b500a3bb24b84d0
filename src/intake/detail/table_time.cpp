#include "intake/detail/table_time.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <optional>
#include <vector>

#include <date/date.h>
#include <fmt/format.h>

#include "base/number_text.hpp"
#include "intake/detail/csv_table.hpp"
#include "intake/detail/moment.hpp"

namespace backeddy::intake {

namespace {

struct Written {
    int year = 0;
    int month = 0;
    int day = 0;
    int hour = 0;
    int minute = 0;
    std::int64_t nanoseconds = 0; ///< of the minute
};

class Scanner {
  public:
    explicit Scanner(std::string_view text) : rest_(text) {}
    [[nodiscard]] bool at_end() const { return rest_.empty(); }
    [[nodiscard]] std::string_view rest() const { return rest_; }

    bool take(std::string_view any_of) {
        if (rest_.empty() || any_of.find(rest_.front()) == std::string_view::npos) {
            return false;
        }
        rest_.remove_prefix(1);
        return true;
    }
    std::optional<int> digits(std::size_t least, std::size_t most) {
        std::size_t n = 0;
        int value = 0;
        while (n < rest_.size() && n < most && rest_[n] >= '0' && rest_[n] <= '9') {
            value = value * 10 + (rest_[n] - '0');
            ++n;
        }
        if (n < least) {
            return std::nullopt;
        }
        rest_.remove_prefix(n);
        return value;
    }

  private:
    std::string_view rest_;
};

/// Behind "hh:mm:ss" a fraction with up to nine digits that count.
std::optional<std::int64_t> fraction(Scanner& scan) {
    std::int64_t out = 0;
    std::int64_t place = 100'000'000;
    bool any = false;
    while (const auto digit = scan.digits(1, 1)) {
        out += *digit * place;
        place /= 10;
        any = true;
    }
    return any ? std::optional(out) : std::nullopt;
}

bool read_clock(Scanner& scan, Written& out) {
    const auto hour = scan.digits(1, 2);
    if (!hour || !scan.take(":")) {
        return false;
    }
    const auto minute = scan.digits(2, 2);
    if (!minute) {
        return false;
    }
    out.hour = *hour;
    out.minute = *minute;
    if (scan.take(":")) {
        const auto second = scan.digits(2, 2);
        if (!second || *second > 59) {
            return false;
        }
        out.nanoseconds = *second * std::int64_t{1'000'000'000};
        if (scan.take(".,")) {
            const auto part = fraction(scan);
            if (!part) {
                return false;
            }
            out.nanoseconds += *part;
        }
    }
    return scan.at_end() && out.hour < 24 && out.minute < 60;
}

enum class Shape : std::uint8_t { none, date_only, whole };

/// "2026-06-14", "2026-06-14T21:05" and the like.
Shape read_local(std::string_view text, Written& out) {
    Scanner scan(text);
    const auto year = scan.digits(4, 4);
    if (!year || !scan.take("-/")) {
        return Shape::none;
    }
    const auto month = scan.digits(1, 2);
    if (!month || !scan.take("-/")) {
        return Shape::none;
    }
    const auto day = scan.digits(1, 2);
    if (!day) {
        return Shape::none;
    }
    out.year = *year;
    out.month = *month;
    out.day = *day;
    if (scan.at_end()) {
        return Shape::date_only;
    }
    if (!scan.take("T") && !scan.take("t")) {
        if (!scan.take(" ")) {
            return Shape::none;
        }
        while (scan.take(" ")) {
        }
    }
    return read_clock(scan, out) ? Shape::whole : Shape::none;
}

/// "14/06/2026 21:05", "6.14.26": the three numbers of a date that is not written year first.
std::optional<std::array<int, 3>> numbers_first(std::string_view text) {
    Scanner scan(text);
    std::array<int, 3> out{};
    for (std::size_t i = 0; i < 3; ++i) {
        const auto part = scan.digits(1, i == 2 ? 4 : 2);
        if (!part || (i < 2 && !scan.take("/.-"))) {
            return std::nullopt;
        }
        out[i] = *part;
    }
    return out;
}

Error bad(std::string_view text, std::string expected, std::string remedy) {
    return {.code = ErrorCode::bad_time,
            .found = in_quotes(text) + " is not a time",
            .expected = std::move(expected),
            .remedy = std::move(remedy),
            .place = {},
            .context = {}};
}

const std::string iso_form = "a time as 2026-06-14 21:05, or with an offset, 2026-06-14T21:05+02:00";

/// What stands in a cell that is no ISO time, as far as one can tell.
Error not_iso(std::string_view text) {
    if (const auto parts = numbers_first(text)) {
        const auto [a, b, c] = *parts;
        const int year = c < 100 ? 2000 + c : c;
        if (a >= 1 && a <= 12 && b >= 1 && b <= 12 && a != b) {
            return {.code = ErrorCode::ambiguous_time,
                    .found = fmt::format("{} can be {:04}-{:02}-{:02} or {:04}-{:02}-{:02}", in_quotes(text),
                                         year, b, a, year, a, b),
                    .expected = iso_form,
                    .remedy = "format the column as yyyy-mm-dd hh:mm:ss before saving",
                    .place = {},
                    .context = {}};
        }
        return bad(text, iso_form, "format the column as yyyy-mm-dd hh:mm:ss before saving");
    }
    if (const auto days = parse_number(text); days && *days > 20000.0 && *days < 80000.0) {
        const auto day = date::sys_days{date::year{1899} / 12 / 30} + date::days{static_cast<int>(*days)};
        const date::year_month_day ymd{day};
        return bad(
            text, iso_form,
            fmt::format("it looks like a spreadsheet's day number ({:04}-{:02}-{:02}): format the column as "
                        "yyyy-mm-dd hh:mm:ss before saving",
                        static_cast<int>(ymd.year()), static_cast<unsigned>(ymd.month()),
                        static_cast<unsigned>(ymd.day())));
    }
    return bad(text, iso_form, "write it so");
}

std::string offset_text(std::int64_t offset_ns) {
    const auto minutes = offset_ns / (60 * nanoseconds_per_second);
    return fmt::format("{}{:02}:{:02}", minutes < 0 ? '-' : '+', std::abs(minutes) / 60,
                       std::abs(minutes) % 60);
}

} // namespace

Expected<TableZone> TableZone::named(const std::string& name) {
    TableZone out;
    out.name_ = name;
    if (offset_minutes_from(name) && name.find_first_of("0123456789") != std::string::npos) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = in_quotes(name) + " is an offset",
                     .expected = "the zone of a place, an IANA name such as Europe/Oslo",
                     .remedy = "name the zone; times in the tables may carry an offset of their own",
                     .place = {},
                     .context = {}});
    }
    auto zone = Zone::named(name);
    if (!zone) {
        return fail(std::move(zone).error());
    }
    out.zone_ = *zone;
    return out;
}

namespace {
// 2926 for 2026 is a slip of a finger that no later check could tell from a quiet day.
constexpr int first_year = 1950;
constexpr int last_year = 2100;
const Instant first_moment = Instant::unix_nanoseconds(-631'152'000LL * 1'000'000'000);
const Instant last_moment = Instant::unix_nanoseconds(4'102'444'800LL * 1'000'000'000);
const std::string years_meant = "a year from 1950 to 2099";
} // namespace

Expected<Instant> TableZone::read(std::string_view text) const {
    text = without_margins(text);
    if (const auto with_offset = parse_iso(text)) {
        if (*with_offset < first_moment || *with_offset >= last_moment) {
            return fail(bad(text, years_meant, "correct the year"));
        }
        return *with_offset;
    }
    Written written;
    const Shape shape = read_local(text, written);
    if (shape == Shape::none) {
        return fail(not_iso(text));
    }
    const date::year_month_day day{date::year{written.year},
                                   date::month{static_cast<unsigned>(written.month)},
                                   date::day{static_cast<unsigned>(written.day)}};
    if (!day.ok()) {
        return fail(bad(text, "a day that exists", "correct the date"));
    }
    if (written.year < first_year || written.year >= last_year) {
        return fail(bad(text, years_meant, "correct the year"));
    }
    if (shape == Shape::date_only) {
        return fail(bad(text, "a time of day behind the date", "add it: " + std::string(text) + " 21:05"));
    }
    const std::int64_t local_ns =
        (((date::local_days{day}.time_since_epoch().count() * std::int64_t{24} + written.hour) * 60 +
          written.minute) *
         60 * nanoseconds_per_second) +
        written.nanoseconds;
    auto zone = zone_; // it remembers what it looked up last
    const ZonedTime moment = zone.to_utc(local_ns);
    if (moment.kind == LocalKind::once) {
        return Instant::unix_nanoseconds(moment.utc_ns);
    }
    if (moment.kind == LocalKind::twice) {
        const auto first = std::string(text) + offset_text(local_ns - moment.utc_ns);
        const auto second = std::string(text) + offset_text(local_ns - moment.later_ns);
        return fail({.code = ErrorCode::ambiguous_time,
                     .found = in_quotes(text) + " came twice in " + name_ + ", as the clocks went back",
                     .expected = "a time with one reading",
                     .remedy = "write " + first + " or " + second,
                     .place = {},
                     .context = {}});
    }
    return fail(bad(text, "a time that existed in " + name_ + ": the clocks went forward over this one",
                    "correct it, or write its offset"));
}

} // namespace backeddy::intake
