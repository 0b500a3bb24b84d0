#pragma once
// Start here: everything one run has to say, as plain structs. `app` fills them; the writers of this folder
// turn them into results.json (json.hpp; its shape is results.schema.json), CSV tables (tables.hpp) and
// report.html (page.hpp). Field names are the same in all of them.
//
//   report::Results results;
//   results.study.title = "Skerry Voe";
//   results.fish.push_back({.id = "st01", .mass_g = report::number(Measured(812, 6, "mass of st01"), "g",
//   "weighed")}); std::string json = report::json_text(results);
//
// Nothing here holds the wall clock's time or an absolute path. A number that could not be had is a Number
// without a value and with the reason in words: never a zero, never left out.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "findings/finding.hpp"
#include "quantity/measured.hpp"
#include "report/condition.hpp"
#include "report/number.hpp"
#include "series/instant.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::report {

/// The version of the results document. The first number changes when a reader of the old shape would be
/// misled.
inline constexpr std::string_view schema_version = "1.7";

// ---------------------------------------------------------------- the study, its inputs and settings

struct StudyHeader {
    std::string title;
    std::string place;
    std::string permit;
    std::string zone; ///< IANA name of the zone in which the tables' local times are
    std::vector<std::string> species;
    bool is_simulated = false;   ///< made by `simulate`: said at the top of every page
    std::string simulated_label; ///< "Simulated study: no fish was caught", printed when is_simulated
    std::string program = "backeddy";
    std::string program_version;
};

/// One treatment or covariate column of the tables.
struct Column {
    std::string name;
    std::string
        stage; ///< "assigned", "before", "during", "after" the treatment, or "" when the brief does not say
    std::vector<std::string> levels; ///< in order of first appearance; empty for a covariate
};

/// A treatment group as drawn: the same colour and point shape wherever it appears.
struct Group {
    std::string key;   ///< what Fish::group holds
    std::string label; ///< "barbless, in water"
};

struct RefusedRow {
    std::uint64_t line = 0;
    std::string reason;
    std::string raw;
};

struct Input {
    std::string path; ///< relative to the study folder
    std::string kind; ///< "brief", "table", "trace", "pump log", "plate", "journal"
    std::string sha256;
    std::uint64_t bytes = 0;
    std::vector<std::string>
        understood; ///< "semicolon; decimal comma; UTF-16 LE", "clock boat logger, zone ..."
    std::optional<std::uint64_t> rows_kept;
    std::optional<std::uint64_t> rows_refused;
    std::vector<RefusedRow> refused; ///< the first of them
};

struct Setting {
    std::string section;
    std::string key;
    std::string value;
    std::string unit;
    std::string default_value;
    std::string why; ///< why this default
    bool is_default = true;
};

struct Water {
    Number salinity;
    Number pressure_kpa;
    std::string salinity_from; ///< "brief", "trace ctd:salinity", "conductivity referred to 25 degC"
    std::string pressure_from; ///< "trace, at the station", "brief, reduced to sea level"
    std::vector<std::string> assumptions; ///< of the loggers, and that they were undone
};

struct Calibration {
    std::optional<Instant> at;
    std::string point; ///< "zero", "air"
    Number reading;
    Number temperature_celsius;
    Number pressure_kpa;
    Number salinity;
    std::string who;
    std::string note;
};

/// How noisy a sensor was found to be: white noise plus a first-order autoregressive part.
struct NoiseModel {
    Number white_sd_mg_per_l;
    Number autoregressive_sd_mg_per_l;
    Number correlation_time_s;
    std::string from; ///< "2 blanks and 41 long spells, pooled"
};

struct Sensor {
    std::string name;
    std::vector<std::string> assemblies;
    Number lag_s;
    Number sampling_interval_s;
    NoiseModel noise;
    std::vector<Calibration> calibrations;
    Number drift; ///< between the calibrations before and after
    std::string note;
};

struct ClockCheck {
    std::string shown;
    std::optional<Instant> true_time;
    Number uncertainty_s;
    std::string how;
};

struct Clock {
    std::string name;
    std::vector<ClockCheck> checks;
    Number offset_s; ///< shown less true, at the first check
    Number drift_s_per_day;
    Number remaining_s; ///< uncertainty left after the correction
    std::string note;   ///< "never checked"
};

struct Assembly {
    std::string name;
    std::optional<Instant> from;
    std::optional<Instant> to;
    Number chamber_volume_l;
    Number loop_volume_l;
    Number flow_l_per_min;
    std::string sensor;
    std::string channels; ///< "oxygen boat:O2_1, temperature boat:T_1, pump boat:pump_1"
    Number mixing_s;
    std::string note;
};

// ---------------------------------------------------------------- fish accounting

/// One that went no further than the stage it stands under.
struct Leaving {
    std::string encounter;
    std::string fish; ///< empty for a fish never landed
    std::string group;
    std::string reason;
};

/// Stage words, in order: bite, hook_up, landed, eligible, sealed, usable_peak, night, chase. Every row
/// counts those who reached it; `left` names each who did not get from it to the next, with the reason.
struct AccountingStage {
    std::string word;
    std::string title;
    std::uint64_t count = 0;
    std::vector<Leaving> left;
};

struct FateCount {
    std::string fate; ///< "released", "died in the chamber" ...
    std::uint64_t count = 0;
    std::vector<std::string> fish;
};

struct Accounting {
    std::vector<AccountingStage> stages;
    std::vector<FateCount> fates;
    std::vector<std::string> notes; ///< "bites were not written down on 14 June"
};

// ---------------------------------------------------------------- the catch, rig by rig

/// How many fish got that far on one rig. Intervals are exact at 95 %.
struct CatchStep {
    std::string word; ///< "bite", "hook_up", "landed", "wanted" (landed, of a species the study is after)
    std::string title;
    std::uint64_t count = 0;
    std::uint64_t of = 0;       ///< of how many that could have; 0: of none, or nobody counted them
    Number share_percent;       ///< count of `of` (Clopper and Pearson)
    std::uint64_t in_hours = 0; ///< of the count: while the lines were in for rod-hours that are known
    Number per_rod_hour;        ///< these by the rod-hours (Garwood)
    Number ratio;               ///< of this rate over the first rig's, given the sum of both counts
};

struct CatchCount {
    std::string name; ///< a reason or a species; empty: not written down
    std::uint64_t count = 0;
};

struct SpeciesCount {
    std::string species; ///< empty: not written down
    std::uint64_t count = 0;
    bool is_bycatch = false;
};

struct RigCatch {
    std::string rig; ///< empty: not written down
    std::uint64_t lines = 0;
    Number rod_hours;            ///< of these lines
    std::uint64_t never_out = 0; ///< lines whose hours are not known
    std::vector<CatchStep> steps;
    std::vector<CatchCount> misses;    ///< bites that came to no hook-up, by reason
    std::vector<CatchCount> losses;    ///< of the hooked, by reason
    std::uint64_t open_ends = 0;       ///< hooked, and neither landed nor lost as far as anybody wrote down
    std::vector<SpeciesCount> species; ///< of the landed
};

/// From the deck's log; species of the study's brief are wanted, others bycatch.
struct Fishing {
    std::vector<RigCatch> rigs; ///< by name: the first is what ratios are over; the one without a name last
    std::vector<std::string> notes; ///< what was not written down and what that does to the numbers
};

// ---------------------------------------------------------------- stays, traces, spells

/// A stretch of raw file that a stay's trace came from.
struct SourceSpan {
    std::string path;
    std::uint64_t first_line = 0;
    std::uint64_t last_line = 0;
};

struct RoleInterval {
    std::string
        role; ///< "after_capture", "rest", "after_chase", "handled_only", "control", "held", "blank", ...
    std::optional<Instant> from;
    std::optional<Instant> to;
};

struct Ending {
    std::string word; ///< "done", "died", "escaped", "welfare_stop", "equipment", "opened"
    std::optional<Instant> last_good;
    std::string note;
};

struct StateRun {
    uptake::ChamberState state = uptake::ChamberState::unknown;
    Instant from;
    Instant to;
};

/// A trace thinned for drawing (thin.hpp): in each slice of time the lowest and the highest reading are kept,
/// so no extreme is hidden. at_s counts from `from`. A NaN in oxygen_mg_per_l is a gap.
struct DrawnTrace {
    Instant from;
    std::vector<double> at_s;
    std::vector<double> oxygen_mg_per_l;
    std::vector<double> saturation_percent;  ///< same length, or empty
    std::vector<double> temperature_celsius; ///< same length, or empty
    std::vector<StateRun> states;
    std::uint64_t rows = 0; ///< readings before thinning
};

struct Spell {
    std::uint32_t number = 0; ///< its place within the stay, from 1 (for reading; decisions name moments)
    std::string role;
    uptake::SpellUptake answer;
    std::optional<double> background_share; ///< of the total uptake, 0 to 1
    std::string used_for; ///< "peak", "rest", "recovery", several parted by "; "; empty when by none
    bool is_excluded_by_hand = false;
};

struct BackgroundPoint {
    std::string stay; ///< the blank's
    std::optional<Instant> at;
    Number slope_mg_per_l_h;
    Number uptake_mg_per_h;
    std::string place; ///< "before", "after", "side by side"
    bool is_used = true;
    std::string note;
};

struct Background {
    std::string how; ///< "both blanks, straight between them, whole chamber volume"
    std::vector<BackgroundPoint> points;
    Number share_of_uptake;         ///< median over the stay's spells, per cent
    std::vector<std::string> notes; ///< "cleaned between: only the blank before was used"
};

/// Uptake as a curve in time with its pointwise band (state-space smoother), thinned for drawing. x in hours
/// since `from`; a NaN parts pieces between which nothing is known. No answer rests on it.
struct Continuous {
    Instant from;
    Curve uptake; ///< in the fish's Metrics::drawn_unit
    double level = 0.95;
    std::uint64_t points = 0; ///< before thinning
    std::string method;
    Number scale_uncertainty_percent;    ///< the part of the band that moves the whole curve together
    std::vector<uptake::Reason> reasons; ///< why it is broken in flushes, spells without a curve
    std::string missing;                 ///< why there is no curve; empty when there is one
};

struct Stay {
    std::string id;
    std::string fish; ///< empty for a blank
    std::string assembly;
    std::vector<std::string> sensors; ///< more than one after a swap
    std::optional<Instant> from;
    std::optional<Instant> to;
    std::vector<RoleInterval> roles;
    Ending ending;
    std::string states_from;    ///< "pump column", "pump log", "timetable", "found in the trace"
    std::string unanswered;     ///< why nothing could be computed; empty when something could
    Number temperature_celsius; ///< mean over the stay
    Number volume_mass_ratio;   ///< net volume, loop included, per mass of fish, L/kg
    DrawnTrace trace;
    std::vector<Spell> spells;
    Background background;
    std::optional<Continuous> continuous;
    std::vector<SourceSpan> sources;
    std::vector<std::string> notes;
};

// ---------------------------------------------------------------- metrics

// Members named for a unit are in it. Bare doubles of the drawn curves are in Metrics::drawn_unit: mg/kg/h,
// or mg/h for a fish that was never weighed; a Number says its own unit.

/// The steepest window of one length. Of a length that fits into no spell nothing is known but the reason.
struct PeakCurvePoint {
    double window_s = 0.0;
    std::optional<std::uint64_t> readings;
    std::optional<double> steepest;
    std::optional<double> standard_uncertainty; ///< of the slope alone
    std::optional<double> selection_bias;       ///< how much picking the steepest flatters it
    std::optional<double>
        averaging; ///< what the mean over the window hides of its start (negative), where known
    std::optional<double> corrected; ///< steepest less the selection bias
    std::optional<double> start_after_event_s;
    std::optional<double> relative_slope_error; ///< standard error of the slope over the slope
    std::optional<double> saturation_end_percent;
    std::string reason; ///< why there is no value (all else is then absent); empty when there is one
};

/// "Peak after capture", "peak after chase".
struct Peak {
    std::string name;  ///< "peak after capture"
    std::string after; ///< "capture", "chase", "handling"
    std::optional<Instant> event_at;
    std::string stay;
    std::uint32_t spell = 0; ///< number of the spell the window lies in
    std::optional<Instant> from;
    std::optional<Instant> to;
    Number
        uptake_mg_per_kg_h; ///< the headline: steepest window of the stated length, selection bias taken off
    Number uptake_mg_per_h;
    Number steepest; ///< as found, before the bias is taken off
    Number selection_bias;
    Number whole_spell; ///< mean over the first sealed spell, which no search has touched
    Number window_s;
    Number delay_to_seal_s;   ///< event to chamber closed
    Number delay_to_window_s; ///< event to the window's first reading
    Number air_s;
    Number saturation_start_percent;
    Number saturation_end_percent;
    Number temperature_celsius;
    Number relative_slope_error; ///< per cent
    std::vector<PeakCurvePoint> curve;
    uptake::Mark mark = uptake::Mark::good;
    std::vector<uptake::Reason> reasons;
};

/// One way to say what rest costs.
struct RestingEstimate {
    std::string word;  ///< "lowest_normal", "quantile_20", "mean_of_ten_lowest", ...
    std::string title; ///< "0.2 quantile"
    Number raw;
    Number corrected; ///< after the noise of the values themselves is allowed for
    Number noise_bias;
    std::uint64_t values = 0; ///< how many spells carry weight
    bool is_picked = false;
};

struct CutOffPoint {
    double hours_since_handling = 0.0;
    std::uint64_t values = 0;
    std::optional<double> resting; ///< the rule's quantile, raw, of the values from here on
    double fall = 0.0;             ///< over the trend window that begins here; positive is falling
    double fall_uncertainty = 0.0;
    bool is_falling = false; ///< a downward trend is left
};

struct NormalComponent {
    double mean = 0.0;
    double sd = 0.0;
    double weight = 0.0;
};

/// The mixture of normal distributions behind the lowest-normal estimator.
struct LowestNormal {
    std::vector<NormalComponent> components; ///< ascending by mean
    std::uint64_t lowest = 0;                ///< index of the component taken
    std::uint64_t classified = 0;            ///< values classified into it
    Number cv_percent;                       ///< of the values classified into it: what the rule judges
    std::string reason;                      ///< why there is no fit
};

/// One value of the distribution: a sealed spell's uptake at rest.
struct RestingValue {
    std::uint32_t spell = 0;
    double hours_since_handling = 0.0;
    double uptake = 0.0;
    double standard_uncertainty = 0.0;
    bool counts = true; ///< after the cut-off and usable
};

/// How far the answer depends on which estimator is asked: lowest and highest of some of them. A choice, not
/// an error of measurement, and in no standard uncertainty.
struct EstimatorSpread {
    std::string of; ///< which estimators, in words
    Number low;
    Number high;
};

/// The fish's own median by hour of the day: the baseline of recovery.
struct RoutineHour {
    std::uint32_t hour_of_day = 0; ///< local
    std::uint64_t values = 0;
    Number median;
};

struct Resting {
    std::string stay;
    std::string kind;          ///< "SMR", "resting, overnight", "resting, not recovered"
    Number uptake_mg_per_kg_h; ///< the rule's pick, noise-corrected where the settings say so
    Number uptake_mg_per_h;
    Number raw;         ///< of the pick
    Number corrected;   ///< of the pick
    std::string picked; ///< word of the estimator
    std::string rule;   ///< the rule's sentence with its numbers filled in
    std::vector<RestingEstimate> estimates;
    EstimatorSpread family_spread; ///< of those that the rule chooses from
    EstimatorSpread all_spread;    ///< of all that could be computed
    Number cut_off_hours;          ///< since handling
    std::string cut_off_reason;
    std::vector<CutOffPoint> cut_off_curve;
    std::vector<RestingValue> values;
    LowestNormal lowest_normal;
    std::vector<RoutineHour> routine_hours;
    Number routine_whole_night;
    Number temperature_celsius;
    Number background_share_percent;
    Number hours_counted;
    Number stay_hours;
    std::vector<uptake::Reason> reasons;
};

struct Scope {
    std::string after; ///< "capture", "chase"
    std::string peak_name;
    std::string resting_name; ///< "SMR", "resting, overnight" ...
    Number absolute;
    Number factorial;
    Number adjusted_absolute; ///< rest brought to the peak's temperature by Q10; stands beside the measured
    Number adjusted_factorial;
    std::string adjusted_how;
    Number temperature_difference_celsius; ///< peak less rest
    std::vector<uptake::Reason> reasons;
};

/// Excess and recovery above one baseline. A Number that is_at_least is censored: the baseline was not met.
struct BaselineVariant {
    std::string word;  ///< "hour_matched_median", "resting_plus_10", "resting_plus_20"
    std::string title; ///< "own overnight median, hour-matched", "SMR + 10 %"
    bool is_headline = false;
    Number level; ///< mean over the span where it varies with the hour
    Number excess_boat_hour;
    Number excess_after_transfer;
    Number capture_plus_handling;
    Number held_back_share_percent; ///< of the excess: rests on holding the peak back to time zero
    Number bridged_share_percent;   ///< of the excess: lies in gaps between the stays
    Number hours_by_data;
    Number hours_by_fit;
    Number fitted_excess;
};

/// What is drawn: uptake at mid-spell against hours since time zero, and the headline baseline at that hour.
struct RecoveryPoint {
    double hours = 0.0;
    double uptake = 0.0;
    double standard_uncertainty = 0.0;
    double baseline = 0.0;
    std::string part; ///< "boat_hour", "after_transfer": which excess it belongs to; "" once recovered
};

struct RecoveryEvent {
    double hours = 0.0;
    std::string what; ///< "blood", "transfer"
};

struct DecayFit {
    std::string span;  ///< "through_events", "events_allowed_for", "ended_at_first_event"
    std::string title; ///< the same for people
    std::uint32_t phases = 0;
    std::uint64_t spells = 0;
    std::string formula;
    std::vector<NamedNumber> parameters;
    Number half_time_h;
    Number excess_first_hour;
    Number excess_all;
    Curve curve;        ///< x hours since time zero
    std::string reason; ///< why there is no fit
};

struct Recovery {
    std::string after;     ///< "capture", "chase"
    std::string time_zero; ///< the event's word
    std::optional<Instant> time_zero_at;
    std::vector<BaselineVariant> baselines; ///< the headline first
    Number half_time_by_data_h;
    Number recovered_share_percent; ///< at the tube's last spell
    DecayFit fit;                   ///< the plain one
    std::vector<DecayFit> sensitivity;
    std::vector<RecoveryPoint> points;
    std::vector<RecoveryEvent> events;
    std::vector<uptake::Reason> reasons;
};

/// The same fish after capture and after chase: a comparison of protocols, with what else differed.
struct PairedPeaks {
    Number after_capture;
    Number after_chase;
    Number difference; ///< capture less chase; shared errors cancel
    Number ratio;      ///< capture over chase
    Number hours_between;
    Number temperature_difference_celsius;
    Number chase_adjusted; ///< chase brought to the temperature at capture, where they differ enough
    Number ratio_adjusted;
    std::vector<std::string> differences; ///< in words: temperature, tube, sensor, bleed, air, hours between
    std::vector<uptake::Reason> reasons;
    std::string missing; ///< why there is no pair; empty when there is one
};

struct Metrics {
    std::string drawn_unit = "mg/kg/h";
    std::vector<Peak> peaks;
    std::optional<Resting> resting;
    std::vector<Scope> scopes;
    std::vector<Recovery> recoveries;
    std::optional<PairedPeaks> pair;
    std::vector<NamedNumber> adjusted; ///< to a common mass or temperature, beside the measured
    std::vector<uptake::Reason>
        implausible;                ///< what lies outside the plausible bounds: look before believing
    std::vector<NamedText> missing; ///< metric word and why this fish has none
};

// ---------------------------------------------------------------- the fish

struct Encounter {
    std::string id;
    std::optional<Instant> at;
    Number at_uncertainty_s;
    std::string method;
    std::string who;
    std::string where;
    std::string rig;
    std::string unhooking;
    std::string landing;
    std::string hook_location;
    Number water_temperature_celsius;
    std::string note;
    std::vector<NamedText> columns; ///< free columns of the table
};

struct Event {
    std::optional<Instant> at;
    Number at_uncertainty_s;
    std::string word; ///< "hook_up"
    std::string stay;
    std::string assembly;
    std::optional<Number> value;
    std::string who;
    std::string note;
    std::optional<double> hours; ///< since the fish's time zero
};

struct Fate {
    std::string word; ///< "released", "died" ...
    std::optional<Instant> at;
    std::string text;
};

struct Fish {
    std::string id;
    std::string species;
    std::string tag;
    std::string group;
    std::vector<NamedText> treatments; ///< column and value
    Number mass_g;
    std::string mass_source;
    Number fork_length_mm;
    Number density_kg_per_l;
    std::string time_zero_word; ///< "hook_up"
    std::optional<Instant> time_zero;
    std::vector<Encounter> encounters;
    std::vector<Event> events;
    std::vector<Stay> stays;
    Metrics metrics;
    FishCondition condition;
    Fate fate;
    std::string note;
    std::vector<std::string> notes;
};

// ---------------------------------------------------------------- exclusions, headline, the rest

enum class ExcludedBy : std::uint8_t { human, automatic };

struct Exclusion {
    ExcludedBy by = ExcludedBy::automatic;
    std::string act; ///< "exclude", "include", "mark", "move_start", "move_end"
    std::string fish;
    std::string stay;
    std::uint32_t spell = 0; ///< 0 when the whole stay is meant
    std::optional<Instant> moment;
    std::vector<uptake::Reason> reasons;
    std::string author; ///< of a human decision
    std::optional<Instant> decided;
};

/// A number of the study's first table, over fish. Words that the figures know: peak_after_capture,
/// peak_after_chase, resting, scope_absolute, scope_factorial, excess_boat_hour.
struct Headline {
    std::string word; ///< "peak_after_capture"
    std::string title;
    std::string group; ///< empty: all fish
    std::uint32_t fish = 0;
    Number mean; ///< with the standard error over fish and Student's t interval; of ratios the geometric mean
    Number between_fish_sd;
    Number median;
    std::uint32_t fish_without_human = 0;
    Number mean_without_human; ///< the same, human exclusions undone
};

struct Complaint {
    std::string severity; ///< "stops", "beware"
    std::string file;
    std::optional<std::uint64_t> line;
    std::string column;
    std::string found;
    std::string expected;
    std::string remedy;
    std::string text; ///< the whole sentence as `check` prints it
};

struct Results {
    StudyHeader study;
    std::vector<Column> columns;
    std::vector<Group> groups;
    std::vector<Input> inputs;
    std::vector<Setting> settings;
    Water water;
    std::vector<Sensor> sensors;
    std::vector<Clock> clocks;
    std::vector<Assembly> assemblies;
    Accounting accounting;
    Fishing fishing;
    std::vector<Fish> fish;
    std::vector<Stay> blanks; ///< stays without a fish
    std::vector<Headline> headlines;
    StudyCondition condition;
    std::vector<findings::Finding> findings; ///< an answer per question of the study, in its order
    std::vector<Exclusion> exclusions;
    std::vector<Complaint> complaints;
    std::vector<std::string> notes;
    /// What a person answered, once, to the reporting rows that no data can know (`[report.answers]` of the
    /// brief): row word (checklist.hpp) and answer.
    std::vector<NamedText> answers;
};

} // namespace backeddy::report
