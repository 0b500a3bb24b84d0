#pragma once
// A moment in UTC and a length of time, as types: moments subtract to lengths, two moments never add.

#include <cmath>
#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace backeddy {

/// A length of time, stored in whole nanoseconds.
class Duration {
  public:
    constexpr Duration() = default;
    static constexpr Duration nanoseconds(std::int64_t v) { return Duration(v); }
    /// Rounded to the nearest nanosecond; |v| < 9.2e9 s.
    static Duration seconds(double v) { return Duration(std::llround(v * 1e9)); }
    static Duration minutes(double v) { return seconds(v * 60.0); }
    static Duration hours(double v) { return seconds(v * 3600.0); }
    [[nodiscard]] constexpr std::int64_t nanoseconds() const { return nanoseconds_; }
    [[nodiscard]] constexpr double seconds() const { return static_cast<double>(nanoseconds_) * 1e-9; }
    [[nodiscard]] constexpr double minutes() const { return seconds() / 60.0; }
    [[nodiscard]] constexpr double hours() const { return seconds() / 3600.0; }
    friend constexpr auto operator<=>(Duration, Duration) = default;
    friend constexpr Duration operator+(Duration a, Duration b) {
        return Duration(a.nanoseconds_ + b.nanoseconds_);
    }
    friend constexpr Duration operator-(Duration a, Duration b) {
        return Duration(a.nanoseconds_ - b.nanoseconds_);
    }
    friend constexpr Duration operator-(Duration a) { return Duration(-a.nanoseconds_); }
    friend constexpr Duration operator*(Duration a, std::int64_t k) { return Duration(a.nanoseconds_ * k); }

  private:
    explicit constexpr Duration(std::int64_t v) : nanoseconds_(v) {}
    std::int64_t nanoseconds_ = 0;
};

/// A moment in UTC, stored in whole nanoseconds since 1970-01-01T00:00:00Z; leap seconds do not count (POSIX
/// time).
class Instant {
  public:
    constexpr Instant() = default;
    static constexpr Instant unix_nanoseconds(std::int64_t v) { return Instant(v); }
    /// Rounded to the nearest nanosecond, as far as a double can say it (about 0.2 microseconds today).
    static Instant unix_seconds(double v) { return Instant(std::llround(v * 1e9)); }
    [[nodiscard]] constexpr std::int64_t unix_nanoseconds() const { return nanoseconds_; }
    [[nodiscard]] constexpr double unix_seconds() const { return static_cast<double>(nanoseconds_) * 1e-9; }
    friend constexpr auto operator<=>(Instant, Instant) = default;
    friend constexpr Duration operator-(Instant a, Instant b) {
        return Duration::nanoseconds(a.nanoseconds_ - b.nanoseconds_);
    }
    friend constexpr Instant operator+(Instant a, Duration d) {
        return Instant(a.nanoseconds_ + d.nanoseconds());
    }
    friend constexpr Instant operator-(Instant a, Duration d) {
        return Instant(a.nanoseconds_ - d.nanoseconds());
    }

  private:
    explicit constexpr Instant(std::int64_t v) : nanoseconds_(v) {}
    std::int64_t nanoseconds_ = 0;
};

/// "2026-06-14T21:05:03Z"; a fraction only when there is one, with as many digits as it needs (at most nine).
[[nodiscard]] std::string iso_text(Instant moment);

/// Reads ISO 8601 with a date, 'T' or one blank, a time with optional seconds and fraction, and an offset
/// ("Z", "+01:00", "+0100"); years 1678 to 2261, what an Instant can hold. Nothing when it is not exactly
/// that, the date does not exist, or the offset is missing.
[[nodiscard]] std::optional<Instant> parse_iso(std::string_view text);

} // namespace backeddy
