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
    /// The level at a moment; its rates live as long as this object.
    [[nodiscard]] Level at(Instant moment) const;
    [[nodiscard]] double level(Instant moment) const { return at(moment).mg_per_h(); }
    [[nodiscard]] bool hour_matched(Instant moment) const;
    /// All rates that a level may be made of.
    [[nodiscard]] std::vector<const UptakeRate*> rates() const;

  private:
    BaselineKind kind_ = BaselineKind::resting_plus;
    std::string name_;
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

/// Everything of one baseline that the data alone can say.
[[nodiscard]] BaselineRecovery recovery_by_data(const RecoveryInput& input, const RecoverySettings& settings,
                                                std::span<const Point> points, const Baseline& baseline);

/// First fall of the excess to half of what it was at time zero, hours; nothing when it does not.
[[nodiscard]] std::optional<double>
half_time_by_data(const RecoveryInput& input, std::span<const Point> points, const Baseline& baseline);

/// The plain fit and its sensitivity lines; reasons are added for what cannot be fitted. Fills `by_fit` and
/// `fitted_excess` of each baseline.
void add_fits(Recovery& out, const RecoveryInput& input, const RecoverySettings& settings,
              std::span<const Point> points, std::span<const Baseline> baselines);

} // namespace backeddy::uptake::detail
