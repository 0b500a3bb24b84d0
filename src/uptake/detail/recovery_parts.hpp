#pragma once
// What the two ways of computing recovery (data alone, fitted decay) share. Not for use outside this folder.

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "uptake/recovery.hpp"

namespace backeddy::uptake::detail {

enum class Place : std::uint8_t { tube, after };

/// One usable spell on the recovery's own clock.
struct Point {
    double h = 0.0; ///< middle of the spell, hours after time zero
    Instant at;
    UptakeRate rate;
    Place place = Place::tube;
    double celsius = 0.0; ///< NaN where it was not measured
    [[nodiscard]] double mg_per_h() const { return rate.mg_per_h.value(); }
};

/// Usable spells whose middle lies after time zero, in time order.
[[nodiscard]] std::vector<Point> points_of(const RecoveryInput& input);

/// A sum of weights times rates.
struct Term {
    const UptakeRate* rate = nullptr;
    double weight = 0.0;
};

/// Sources that stand in one spell only: their slopes. With fewer than two points nothing is called own.
[[nodiscard]] std::set<std::string> own_sources(std::span<const Point> points);

/// The sum, in which all own sources are drawn together into one named `own_name` (a results file need not
/// carry the slope of every spell of a night).
[[nodiscard]] OxygenAmount summed(std::span<const Term> terms, const std::set<std::string>& own,
                                  const std::string& own_name);

/// Two rates and the share of the second.
struct Level {
    const UptakeRate* before = nullptr;
    const UptakeRate* after = nullptr;
    double share = 0.0;
    [[nodiscard]] double mg_per_h() const {
        return ((1.0 - share) * before->mg_per_h.value()) + (share * after->mg_per_h.value());
    }
    [[nodiscard]] Measured measured() const {
        return before == after ? before->mg_per_h
                               : (before->mg_per_h * (1.0 - share)) + (after->mg_per_h * share);
    }
};

/// A level that uptake comes back to: the routine median by the hour (straight between the middles of hours,
/// as RoutineUptake::at() has it), or a multiple of the resting value.
class Baseline {
  public:
    static Baseline routine(const RoutineUptake& routine);
    static Baseline resting_plus(const UptakeRate& resting, const std::string& resting_name, double share);

    [[nodiscard]] BaselineKind kind() const { return kind_; }
    [[nodiscard]] const std::string& name() const { return name_; }
    /// Of a multiple of the resting value, the part of the level that lies above rest; 0 of a routine median.
    [[nodiscard]] double part_above_rest() const { return part_above_rest_; }
    /// The level at a moment; its rates live as long as this object.
    [[nodiscard]] Level at(Instant moment) const;
    [[nodiscard]] double level(Instant moment) const { return at(moment).mg_per_h(); }
    [[nodiscard]] bool hour_matched(Instant moment) const;
    /// All rates that a level may be made of.
    [[nodiscard]] std::vector<const UptakeRate*> rates() const;

  private:
    BaselineKind kind_ = BaselineKind::resting_plus;
    std::string name_;
    double part_above_rest_ = 0.0;
    UptakeRate constant_;
    std::map<int, UptakeRate> by_hour_;
    Duration utc_offset_;
};

/// Local hour of the day, 0 to 23.
[[nodiscard]] int hour_of_day(Instant moment, Duration utc_offset);

/// The hours of the day whose middles lie about a moment, and the moment's share of the way between them.
struct MidHours {
    int before = 0;
    int after = 0;
    double share = 0.0;
};
[[nodiscard]] MidHours mid_hours(Instant moment, Duration utc_offset);

/// Why a meeting with this baseline at `h` is no recovery but a time that recovery took at least.
struct Doubt {
    double at_least_h = 0.0;
    Reason reason;
};
/// Three reasons: the resting stay never got to rest, so that its levels are too high; its counted values
/// still fall; the meeting lies among the very values that make up an hour-matched median, which half of them
/// lie below by construction.
[[nodiscard]] std::optional<Doubt> doubt_of(const RecoveryInput& input, const Baseline& baseline, double h);
/// The first two: whatever is measured from these levels is too small.
[[nodiscard]] std::optional<Reason> levels_too_high(const RecoveryInput& input);

/// Robust standard deviation of what single spells do beyond a line between their neighbours (median of the
/// absolute deviations over 0.6745, each scaled to one spell's own); 0 for fewer than five points.
[[nodiscard]] double scatter_about_neighbours(std::span<const Point> points);

/// Everything of one baseline that the data alone can say, but for the limits of its time.
struct DataAnswer {
    BaselineRecovery baseline;
    Place answered_in = Place::after; ///< the stay whose spells gave the time
};
[[nodiscard]] DataAnswer recovery_by_data(const RecoveryInput& input, const RecoverySettings& settings,
                                          std::span<const Point> points, const Baseline& baseline);

/// The points of one stay.
[[nodiscard]] std::span<const Point> part(std::span<const Point> points, Place place);

/// How far uptake may lie from a baseline, mg/h, where it has in truth come down to it.
struct LevelDoubt {
    double own = 0.0;        ///< one uncertainty of (curve less baseline) as measured
    double elsewhere = 0.0;  ///< one uncertainty more, since rest at that hour may be another
    double form = 0.0;       ///< one more of a fitted curve: by how much it passes the spells about there by
    double left = 0.0;       ///< the level may be so much too high: recovery left in it
    double left_error = 0.0; ///< one uncertainty of that
    [[nodiscard]] double up() const;   ///< 1.96 uncertainties: uptake that is down may lie so much higher
    [[nodiscard]] double down() const; ///< and so much lower, what is left in the level included
    [[nodiscard]] std::string text() const; ///< what limits are made of
};

/// A point of the day's circle, midnight wherever.
struct OnCircle {
    double x = 0.0;
    double y = 0.0;
};

/// How far rest at one hour may lie from a level that was measured at others: it swings over the day, and it
/// follows the water's temperature.
class RestElsewhere {
  public:
    /// `points` of the whole recovery; they must outlive this.
    RestElsewhere(const RecoveryInput& input, const RecoverySettings& settings,
                  std::span<const Point> points);
    /// One standard uncertainty of the level at `h` hours after time zero, mg/h; 0 where the baseline has a
    /// median of that very hour.
    [[nodiscard]] double uncertainty(const Baseline& baseline, double h) const;

  private:
    Instant time_zero_;
    double share_;
    double q10_;
    std::span<const Point> points_;
    OnCircle counted_;                      ///< mean of the hours that the level comes from
    std::optional<double> counted_celsius_; ///< mean of theirs, where they are among the points
};

/// The limits of the time by the data: where a never-rising curve through the spells, which a burst does not
/// lift, comes down to the baseline with all its doubt added, and with all of it taken away.
void add_limits(RecoveryTime& time, const RestElsewhere& elsewhere, std::span<const Point> points,
                Place answered_in, const Baseline& baseline, const std::optional<DecayFit>& fit);

/// "time zero:<fish>@<time>": the source of uncertainty that all excess after one event shares.
[[nodiscard]] std::string time_zero_source(const RecoveryInput& input);

/// Adds what time zero's uncertainty does to each excess of the baseline, found by beginning so much earlier.
void add_time_zero(BaselineRecovery& answer, const RecoveryInput& input, const RecoverySettings& settings,
                   std::span<const Point> points, const Baseline& baseline);

/// Widens 95 % limits by time zero's: in quadrature about the hours; a lower limit without hours by all of
/// it.
void widen_by_time_zero(RecoveryTime& time, Duration uncertainty);

/// Beyond its measured error a spell may stand for its neighbours badly (spontaneous activity): only that
/// surplus, mg/h. `own` as own_sources(points).
[[nodiscard]] double surplus_scatter(std::span<const Point> points, const std::set<std::string>& own);

/// exp(log(value) -+ factor u / value) with the value's standard uncertainty u; from 0 to infinity when the
/// value is not above 0.
[[nodiscard]] Interval log_interval(const Measured& value, double factor);

/// First fall of the excess to half of what it was at time zero; nothing when it does not.
[[nodiscard]] std::optional<HalfTime>
half_time_by_data(const RecoveryInput& input, std::span<const Point> points, const Baseline& baseline);

/// The plain fit and its sensitivity lines; reasons are added for what cannot be fitted. Fills `by_fit` and
/// `fitted_excess` of each baseline.
void add_fits(Recovery& out, const RecoveryInput& input, const RecoverySettings& settings,
              std::span<const Point> points, std::span<const Baseline> baselines,
              const RestElsewhere& elsewhere);

} // namespace backeddy::uptake::detail
