#pragma once
// Start here for resting uptake: the published estimators of the standard rate side by side, the rule that
// picks one, the hour at which values begin to count, and how sure all that is.
//
// Estimators and rule: Chabot, Steffensen and Farrell 2016, J Fish Biol 88:81. What the field gives is the
// lowest quiet stretch of an unquiet night; `RestingUptake::name` says what the value may be called.

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "uptake/rate.hpp"

namespace backeddy::uptake {

enum class RestingMethod : std::uint8_t {
    mean_of_ten_lowest,
    lowest_tenth,  ///< after the five lowest are dropped
    lowest_normal, ///< mean of the lowest component of a mixture of one to four normals chosen by BIC
    quantile_10,
    quantile_15,
    quantile_20,
    quantile_25,
    quantile_30
};
inline constexpr std::array all_resting_methods{
    RestingMethod::mean_of_ten_lowest, RestingMethod::lowest_tenth, RestingMethod::lowest_normal,
    RestingMethod::quantile_10,        RestingMethod::quantile_15,  RestingMethod::quantile_20,
    RestingMethod::quantile_25,        RestingMethod::quantile_30};
/// "mean_of_ten_lowest", ... : the word in tables; see `description` for prose.
[[nodiscard]] std::string word(RestingMethod method);
[[nodiscard]] std::string description(RestingMethod method);

struct RestingSettings {
    double cv_limit_percent =
        5.4; ///< lowest normal up to here (inclusive), else the quantile; Chabot and others 2016
    double rule_quantile = 0.20;              ///< 0.20 or 0.25 in the rule; must be one of the five
    double least_component_share = 0.10;      ///< a lowest component holds at least this share of the values
    std::size_t least_for_lowest_normal = 20; ///< fewer values: skipped, with the reason (our choice)
    std::size_t least_values = 5;             ///< fewer counted values: no resting value at all (our choice)

    double least_hours_after_handling =
        10.0; ///< values count from here at the earliest where the stay allows (our choice)
    double trend_window_h = 6.0; ///< a downward trend is looked for in the hours after each candidate cut-off
    double trend_share = 0.10; ///< a fall smaller than this share of the median over that window is no trend
    double trend_errors = 1.645;  ///< nor one smaller than so many of its own standard errors
    double least_counted_h = 3.0; ///< a cut-off must leave at least this much of the stay
    double short_stay_h =
        24.0; ///< below: "resting, overnight" (12 h found too short: Chabot and others 2016)
    double cut_off_step_h = 1.0; ///< spacing of the curve of the resting value against its cut-off

    double block_h = 1.5; ///< of the bootstrap, since neighbouring values are alike (1-2 h; our choice)
    std::size_t draws = 2000;
    std::uint64_t seed = 1;
    std::size_t noise_draws = 400; ///< simulated nights for the noise bias

    std::size_t least_per_hour = 3; ///< values for an hour of the day to have a routine median of its own
    Duration utc_offset;            ///< local time less UTC, for hours of the day
};

/// One estimator's answer.
struct RestingEstimate {
    RestingMethod method = RestingMethod::quantile_20;
    /// The value as computed. Contributions: the systematic sources of the spells (volume, mass, calibration,
    /// background) and one of its own for the night's sampling (block bootstrap).
    UptakeRate raw;
    /// Less what measurement noise alone is expected to add (negative bias: low estimators are dragged down).
    UptakeRate corrected;
    double noise_bias_mg_per_h = 0.0;       ///< raw minus what noise-free values would give
    double noise_bias_error_mg_per_h = 0.0; ///< Monte Carlo error of that
    double sampling_sd_mg_per_h = 0.0;      ///< of the bootstrap
    Interval sampling_interval_mg_per_h;    ///< block bootstrap, percentiles, about the raw value
    /// Sampling and systematic parts together, about the corrected value: the halves of the bootstrap
    /// interval and z times the systematic uncertainty added in quadrature on each side (common practice, no
    /// source).
    Interval interval_mg_per_h;
    /// The same per kilogram, with the uncertainty of the mass; absent until the fish is weighed.
    std::optional<Interval> interval_mg_per_kg_h;
    Interval raw_interval_mg_per_h; ///< likewise of the raw value, without the doubt of the correction
    std::optional<Interval> raw_interval_mg_per_kg_h;
    std::size_t values_used = 0; ///< that carry weight
};

/// An estimator that was skipped and why, or its answer.
struct RestingEntry {
    RestingMethod method = RestingMethod::quantile_20;
    std::optional<RestingEstimate> estimate;
    Reason skipped; ///< empty words when there is an estimate
};

/// The mixture behind the lowest normal, for the figure.
struct LowestNormal {
    std::vector<double> weights;
    std::vector<double> means_mg_per_h;
    std::vector<double> sds_mg_per_h;
    std::size_t lowest = 0;     ///< index of the component used
    std::size_t classified = 0; ///< values classified into it
    double cv_percent = 0.0;    ///< 100 sd/mean of the values classified into it: what the rule judges
};

struct CutOffPoint {
    double hours_after_handling = 0.0;
    std::size_t values = 0;
    std::optional<double> mg_per_h; ///< the rule's quantile, raw, of the values from here on
    double fall_mg_per_h = 0.0;     ///< over the trend window that begins here (positive = falling)
    double fall_error_mg_per_h = 0.0;
    bool falling = false; ///< a downward trend is left
};

enum class RestingStanding : std::uint8_t {
    standard,     ///< recovered, and the stay long enough: may be called SMR
    overnight,    ///< recovered, stay under 24 h: "resting, overnight"
    not_recovered ///< a trend is left, or the stay ends before 10 h after handling: "resting, not recovered";
                  ///< no SMR
};

struct RoutineHour {
    int hour_of_day = 0; ///< local
    std::size_t values = 0;
    UptakeRate median;
};

/// The fish's own overnight median, by hour of the day where the night holds that hour, else of the whole
/// night; only of values that count, from the cut-off on. Between the middles of hours the level runs
/// straight, round the clock: a level with a step on the hour would put every crossing there.
struct RoutineUptake {
    std::vector<RoutineHour> hours; ///< ascending; only those with enough values
    UptakeRate whole_night;
    std::size_t values = 0;
    Duration utc_offset;
    RestingStanding standing = RestingStanding::standard; ///< of the stay it comes from
    std::optional<Instant> from;                          ///< first and last moment of the values behind it
    std::optional<Instant> to;
    /// Over those values and through the last of them uptake still falls, if little: beyond `trend_errors` of
    /// the fall's errors and by a quarter of `trend_share` per trend window. A slow recovery looks like this.
    bool still_falling = false;

    struct Level {
        UptakeRate rate;
        bool hour_matched = false; ///< the hour of that moment has a median of its own
    };
    [[nodiscard]] Level at(Instant moment) const;
};

struct RestingUptake {
    std::string name; ///< "SMR" | "resting, overnight" | "resting, not recovered"
    RestingStanding standing = RestingStanding::overnight;
    Instant counted_from;
    double cut_off_h = 0.0; ///< `counted_from` in hours after handling
    std::string cut_off_why;
    double stay_h = 0.0;                 ///< from the first usable spell's seal to the last reading used
    std::vector<std::size_t> counted;    ///< indices into the spells given
    std::vector<RestingEntry> estimates; ///< one per method, in the order of `all_resting_methods`
    std::optional<LowestNormal> mixture;
    RestingMethod chosen = RestingMethod::quantile_20;
    std::string chosen_why;
    RestingEstimate value; ///< the chosen one
    std::vector<CutOffPoint> cut_off_curve;
    RoutineUptake routine;
    double temperature_mean_celsius = 0.0;
    std::optional<double> background_share; ///< mean background over mean total uptake of the counted spells
    std::vector<Reason> reasons;            ///< cautions: "short_stay", "few_values", "most_spells_doubtful",
                                            ///< "not_recovered", "equal_values" ...
};

/// Who is asked: names for uncertainties that belong to this stay alone.
struct RestingInput {
    std::span<const SpellUptake>
        spells;       ///< of the resting stay, ascending in time; unusable ones are passed over
    Instant handled;  ///< end of the last handling before or in the stay (capture, transfer, chase)
    std::string stay; ///< its name
};

/// Resting uptake of one stay; an Error in words when fewer than `least_values` usable spells count.
[[nodiscard]] Expected<RestingUptake> resting_uptake(const RestingInput& input,
                                                     const RestingSettings& settings = {});

/// The rule alone: lowest normal when its CV is at most the limit, else the quantile; Chabot and others 2016,
/// abstract.
[[nodiscard]] RestingMethod method_by_rule(std::optional<double> lowest_normal_cv_percent,
                                           const RestingSettings& settings = {});

/// The estimator alone, on plain values (any unit): no weights, no errors. Error where it needs more values.
[[nodiscard]] Expected<double> estimate_plain(RestingMethod method, std::span<const double> values,
                                              const RestingSettings& settings = {});

} // namespace backeddy::uptake
