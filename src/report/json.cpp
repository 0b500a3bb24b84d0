#include "report/json.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <span>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "report/checklist.hpp"
#include "report/detail/json_condition.hpp"
#include "report/detail/json_values.hpp"
#include "report/methods.hpp"
#include "report/words.hpp"

namespace backeddy::report {

namespace {

/// Digits after the point of drawn readings.
struct TraceDigits {
    int seconds, oxygen, saturation, temperature;
};
/// Of a whole stay in a figure 0.1 s, 0.0001 mg/L, 0.1 % and 0.01 degC are below a pixel.
constexpr TraceDigits whole_stay_digits{.seconds = 1, .oxygen = 4, .saturation = 1, .temperature = 2};
/// A stretch of it may be a few readings wide.
constexpr TraceDigits stretch_digits{.seconds = 3, .oxygen = 6, .saturation = 3, .temperature = 4};
/// A curve in time is for the eye: 0.001 h and 0.01 mg/kg/h.
constexpr int curve_time_digits = 4;
constexpr int curve_digits = 2;

std::string rounded_json(double value, int digits) {
    if (!std::isfinite(value)) {
        return "null";
    }
    std::string text = fixed_text(value, digits);
    if (text.find('.') != std::string::npos) {
        text.erase(text.find_last_not_of('0') + 1);
        if (text.back() == '.') {
            text.pop_back();
        }
    }
    return text;
}

/// One overload of put() per struct, its fields in the order of results.hpp.
class DocumentWriter : public detail::StructWriter<DocumentWriter> {
  public:
    using StructWriter::put;
    DocumentWriter(JsonStream& out, Detail detail) : StructWriter(out, detail) {}
    DocumentWriter(JsonStream& out, Detail detail, const PartTexts& parts)
        : StructWriter(out, detail), parts_(&parts) {}
    void put(const Results& results);
    void put(const DrawnTrace& v, const TraceDigits& digits);
    void put(const findings::Finding& v);
    void put(const Complaint& v) {
        object("severity", v.severity, "file", v.file, "line", v.line, "column", v.column, "found", v.found,
               "expected", v.expected, "remedy", v.remedy, "text", v.text);
    }

    void put(const Stay& v);
    void put(const Fish& v) {
        object("id", v.id, "species", v.species, "tag", v.tag, "group", v.group, "treatments", v.treatments,
               "mass_g", v.mass_g, "mass_source", v.mass_source, "fork_length_mm", v.fork_length_mm,
               "density_kg_per_l", v.density_kg_per_l, "time_zero_word", v.time_zero_word, "time_zero",
               v.time_zero, "encounters", v.encounters, "events", v.events, "stays", v.stays, "metrics",
               v.metrics, "condition", v.condition, "fate", v.fate, "note", v.note, "notes", v.notes);
    }

  private:
    friend StructWriter;
    void put(const std::vector<std::shared_ptr<const std::string>>& parts) {
        out_.begin_array();
        for (const auto& text : parts) {
            out_.literal(*text);
        }
        out_.end_array();
    }
    void put(uptake::Mark v) { out_.value(word_of(v)); }
    void put(uptake::ChamberState v) { out_.value(word_of(v)); }
    void put(ExcludedBy v) { out_.value(word_of(v)); }
    void put(findings::EffectScale v) { out_.value(word_of(v)); }
    void put(findings::FoundCheck::Verdict v) { out_.value(word_of(v)); }
    void put(findings::Declared v) { out_.value(word_of(v)); }

    /// A column of a spell table: what `pick` takes from each spell.
    template <typename Pick>
    void column(std::string_view name, const std::vector<Spell>& spells, const Pick& pick) {
        out_.key(name);
        out_.begin_array();
        for (const Spell& spell : spells) {
            put(pick(spell));
        }
        out_.end_array();
    }

    void rounded(std::string_view name, const std::vector<double>& values, int digits) {
        out_.key(name);
        out_.begin_array();
        for (const double value : values) {
            out_.literal(rounded_json(value, digits));
        }
        out_.end_array();
    }

    void put(const DrawnTrace& v);
    void put_spells(const std::vector<Spell>& spells);
    void put_spell_contributions(const std::vector<Spell>& spells);

    void put(const uptake::Reason& v) { object("word", v.word, "text", v.text); }
    void put(const ChecklistRow& v) {
        object("word", v.word, "number", v.number, "section", v.section, "criterion", v.criterion, "state",
               word_of(v.state), "answer", v.answer, "filled_from", v.filled_from);
    }
    void put(const Paragraph& v) { object("title", v.title, "text", v.text); }
    void put(const StudyHeader& v) {
        object("title", v.title, "place", v.place, "permit", v.permit, "zone", v.zone, "species", v.species,
               "is_simulated", v.is_simulated, "simulated_label", v.simulated_label, "program", v.program,
               "program_version", v.program_version);
    }
    void put(const Column& v) { object("name", v.name, "stage", v.stage, "levels", v.levels); }
    void put(const Group& v) { object("key", v.key, "label", v.label); }
    void put(const RefusedRow& v) { object("line", v.line, "reason", v.reason, "raw", v.raw); }
    void put(const Input& v) {
        object("path", v.path, "kind", v.kind, "sha256", v.sha256, "bytes", v.bytes, "understood",
               v.understood, "rows_kept", v.rows_kept, "rows_refused", v.rows_refused, "refused", v.refused);
    }
    void put(const Setting& v) {
        object("section", v.section, "key", v.key, "value", v.value, "unit", v.unit, "default_value",
               v.default_value, "why", v.why, "is_default", v.is_default);
    }
    void put(const Water& v) {
        object("salinity", v.salinity, "pressure_kpa", v.pressure_kpa, "salinity_from", v.salinity_from,
               "pressure_from", v.pressure_from, "assumptions", v.assumptions);
    }
    void put(const Calibration& v) {
        object("at", v.at, "point", v.point, "reading", v.reading, "temperature_celsius",
               v.temperature_celsius, "pressure_kpa", v.pressure_kpa, "salinity", v.salinity, "who", v.who,
               "note", v.note);
    }
    void put(const NoiseModel& v) {
        object("white_sd_mg_per_l", v.white_sd_mg_per_l, "autoregressive_sd_mg_per_l",
               v.autoregressive_sd_mg_per_l, "correlation_time_s", v.correlation_time_s, "from", v.from);
    }
    void put(const Sensor& v) {
        object("name", v.name, "assemblies", v.assemblies, "lag_s", v.lag_s, "sampling_interval_s",
               v.sampling_interval_s, "noise", v.noise, "calibrations", v.calibrations, "drift", v.drift,
               "note", v.note);
    }
    void put(const ClockCheck& v) {
        object("shown", v.shown, "true_time", v.true_time, "uncertainty_s", v.uncertainty_s, "how", v.how);
    }
    void put(const Clock& v) {
        object("name", v.name, "checks", v.checks, "offset_s", v.offset_s, "drift_s_per_day",
               v.drift_s_per_day, "remaining_s", v.remaining_s, "note", v.note);
    }
    void put(const Assembly& v) {
        object("name", v.name, "from", v.from, "to", v.to, "chamber_volume_l", v.chamber_volume_l,
               "loop_volume_l", v.loop_volume_l, "flow_l_per_min", v.flow_l_per_min, "sensor", v.sensor,
               "channels", v.channels, "mixing_s", v.mixing_s, "note", v.note);
    }
    void put(const Leaving& v) {
        object("encounter", v.encounter, "fish", v.fish, "group", v.group, "reason", v.reason);
    }
    void put(const AccountingStage& v) {
        object("word", v.word, "title", v.title, "count", v.count, "left", v.left);
    }
    void put(const FateCount& v) { object("fate", v.fate, "count", v.count, "fish", v.fish); }
    void put(const Accounting& v) { object("stages", v.stages, "fates", v.fates, "notes", v.notes); }
    void put(const CatchStep& v) {
        object("word", v.word, "title", v.title, "count", v.count, "of", v.of, "share_percent",
               v.share_percent, "in_hours", v.in_hours, "per_rod_hour", v.per_rod_hour, "ratio", v.ratio);
    }
    void put(const CatchCount& v) { object("name", v.name, "count", v.count); }
    void put(const SpeciesCount& v) {
        object("species", v.species, "count", v.count, "is_bycatch", v.is_bycatch);
    }
    void put(const RigCatch& v) {
        object("rig", v.rig, "lines", v.lines, "rod_hours", v.rod_hours, "never_out", v.never_out, "steps",
               v.steps, "misses", v.misses, "losses", v.losses, "open_ends", v.open_ends, "species",
               v.species);
    }
    void put(const Fishing& v) { object("rigs", v.rigs, "notes", v.notes); }
    void put(const SourceSpan& v) {
        object("path", v.path, "first_line", v.first_line, "last_line", v.last_line);
    }
    void put(const RoleInterval& v) { object("role", v.role, "from", v.from, "to", v.to); }
    void put(const Ending& v) { object("word", v.word, "last_good", v.last_good, "note", v.note); }
    void put(const StateRun& v) { object("state", v.state, "from", v.from, "to", v.to); }
    /// No figure and no card explains a blank's number: in the report its sources stay out.
    Number without_sources(Number number) const {
        if (detail_ == Detail::drawn) {
            number.contributions.clear();
        }
        return number;
    }
    void put(const BackgroundPoint& v) {
        object("stay", v.stay, "at", v.at, "slope_mg_per_l_h", without_sources(v.slope_mg_per_l_h),
               "uptake_mg_per_h", without_sources(v.uptake_mg_per_h), "place", v.place, "is_used", v.is_used,
               "note", v.note);
    }
    void put(const Background& v) {
        object("how", v.how, "points", v.points, "share_of_uptake", v.share_of_uptake, "notes", v.notes);
    }
    void put(const Continuous& v) {
        out_.begin_object();
        field("from", v.from);
        out_.key("uptake");
        out_.begin_object();
        rounded("x", v.uptake.x, curve_time_digits);
        for (const auto& [name, values] : {std::pair{"y", &v.uptake.y}, std::pair{"low", &v.uptake.low},
                                           std::pair{"high", &v.uptake.high}}) {
            rounded(name, *values, curve_digits);
        }
        out_.end_object();
        fields("level", v.level, "points", v.points, "method", v.method, "scale_uncertainty_percent",
               v.scale_uncertainty_percent, "reasons", v.reasons, "missing", v.missing);
        out_.end_object();
    }
    void put(const PeakCurvePoint& v) {
        object("window_s", v.window_s, "readings", v.readings, "steepest", v.steepest, "standard_uncertainty",
               v.standard_uncertainty, "selection_bias", v.selection_bias, "averaging", v.averaging,
               "corrected", v.corrected, "start_after_event_s", v.start_after_event_s, "relative_slope_error",
               v.relative_slope_error, "saturation_end_percent", v.saturation_end_percent, "reason",
               v.reason);
    }
    void put(const Peak& v) {
        object("name", v.name, "after", v.after, "event_at", v.event_at, "stay", v.stay, "spell", v.spell,
               "from", v.from, "to", v.to, "uptake_mg_per_kg_h", v.uptake_mg_per_kg_h, "uptake_mg_per_h",
               v.uptake_mg_per_h, "steepest", v.steepest, "selection_bias", v.selection_bias, "whole_spell",
               v.whole_spell, "window_s", v.window_s, "delay_to_seal_s", v.delay_to_seal_s,
               "delay_to_window_s", v.delay_to_window_s, "air_s", v.air_s, "saturation_start_percent",
               v.saturation_start_percent, "saturation_end_percent", v.saturation_end_percent,
               "temperature_celsius", v.temperature_celsius, "relative_slope_error", v.relative_slope_error,
               "curve", v.curve, "mark", v.mark, "reasons", v.reasons);
    }
    void put(const RestingEstimate& v) {
        object("word", v.word, "title", v.title, "raw", v.raw, "corrected", v.corrected, "noise_bias",
               v.noise_bias, "values", v.values, "is_picked", v.is_picked);
    }
    void put(const CutOffPoint& v) {
        object("hours_since_handling", v.hours_since_handling, "values", v.values, "resting", v.resting,
               "fall", v.fall, "fall_uncertainty", v.fall_uncertainty, "is_falling", v.is_falling);
    }
    void put(const NormalComponent& v) { object("mean", v.mean, "sd", v.sd, "weight", v.weight); }
    void put(const LowestNormal& v) {
        object("components", v.components, "lowest", v.lowest, "classified", v.classified, "cv_percent",
               v.cv_percent, "reason", v.reason);
    }
    void put(const RestingValue& v) {
        object("spell", v.spell, "hours_since_handling", v.hours_since_handling, "uptake", v.uptake,
               "standard_uncertainty", v.standard_uncertainty, "counts", v.counts);
    }
    void put(const EstimatorSpread& v) { object("of", v.of, "low", v.low, "high", v.high); }
    void put(const RoutineHour& v) {
        object("hour_of_day", v.hour_of_day, "values", v.values, "median", v.median);
    }
    void put(const Resting& v) {
        object("stay", v.stay, "kind", v.kind, "uptake_mg_per_kg_h", v.uptake_mg_per_kg_h, "uptake_mg_per_h",
               v.uptake_mg_per_h, "raw", v.raw, "corrected", v.corrected, "picked", v.picked, "rule", v.rule,
               "estimates", v.estimates, "family_spread", v.family_spread, "all_spread", v.all_spread,
               "cut_off_hours", v.cut_off_hours, "cut_off_reason", v.cut_off_reason, "cut_off_curve",
               v.cut_off_curve, "values", v.values, "lowest_normal", v.lowest_normal, "routine_hours",
               v.routine_hours, "routine_whole_night", v.routine_whole_night, "temperature_celsius",
               v.temperature_celsius, "background_share_percent", v.background_share_percent, "hours_counted",
               v.hours_counted, "stay_hours", v.stay_hours, "reasons", v.reasons);
    }
    void put(const Scope& v) {
        object("after", v.after, "peak_name", v.peak_name, "resting_name", v.resting_name, "absolute",
               v.absolute, "factorial", v.factorial, "adjusted_absolute", v.adjusted_absolute,
               "adjusted_factorial", v.adjusted_factorial, "adjusted_how", v.adjusted_how,
               "temperature_difference_celsius", v.temperature_difference_celsius, "reasons", v.reasons);
    }
    void put(const BaselineVariant& v) {
        object("word", v.word, "title", v.title, "is_headline", v.is_headline, "level", v.level,
               "excess_boat_hour", v.excess_boat_hour, "excess_after_transfer", v.excess_after_transfer,
               "capture_plus_handling", v.capture_plus_handling, "held_back_share_percent",
               v.held_back_share_percent, "bridged_share_percent", v.bridged_share_percent, "hours_by_data",
               v.hours_by_data, "hours_by_fit", v.hours_by_fit, "fitted_excess", v.fitted_excess);
    }
    void put(const RecoveryPoint& v) {
        object("hours", v.hours, "uptake", v.uptake, "standard_uncertainty", v.standard_uncertainty,
               "baseline", v.baseline, "part", v.part);
    }
    void put(const RecoveryEvent& v) { object("hours", v.hours, "what", v.what); }
    void put(const DecayFit& v) {
        object("span", v.span, "title", v.title, "phases", v.phases, "spells", v.spells, "formula", v.formula,
               "parameters", v.parameters, "half_time_h", v.half_time_h, "excess_first_hour",
               v.excess_first_hour, "excess_all", v.excess_all, "curve", v.curve, "reason", v.reason);
    }
    void put(const Recovery& v) {
        object("after", v.after, "time_zero", v.time_zero, "time_zero_at", v.time_zero_at, "baselines",
               v.baselines, "half_time_by_data_h", v.half_time_by_data_h, "recovered_share_percent",
               v.recovered_share_percent, "fit", v.fit, "sensitivity", v.sensitivity, "points", v.points,
               "events", v.events, "reasons", v.reasons);
    }
    void put(const PairedPeaks& v) {
        object("after_capture", v.after_capture, "after_chase", v.after_chase, "difference", v.difference,
               "ratio", v.ratio, "hours_between", v.hours_between, "temperature_difference_celsius",
               v.temperature_difference_celsius, "chase_adjusted", v.chase_adjusted, "ratio_adjusted",
               v.ratio_adjusted, "differences", v.differences, "reasons", v.reasons, "missing", v.missing);
    }
    void put(const Metrics& v) {
        object("drawn_unit", v.drawn_unit, "peaks", v.peaks, "resting", v.resting, "scopes", v.scopes,
               "recoveries", v.recoveries, "pair", v.pair, "adjusted", v.adjusted, "implausible",
               v.implausible, "missing", v.missing);
    }
    void put(const Encounter& v) {
        object("id", v.id, "at", v.at, "at_uncertainty_s", v.at_uncertainty_s, "method", v.method, "who",
               v.who, "where", v.where, "rig", v.rig, "unhooking", v.unhooking, "landing", v.landing,
               "hook_location", v.hook_location, "water_temperature_celsius", v.water_temperature_celsius,
               "note", v.note, "columns", v.columns);
    }
    void put(const Event& v) {
        object("at", v.at, "at_uncertainty_s", v.at_uncertainty_s, "word", v.word, "stay", v.stay, "assembly",
               v.assembly, "value", v.value, "who", v.who, "note", v.note, "hours", v.hours);
    }
    void put(const Fate& v) { object("word", v.word, "at", v.at, "text", v.text); }
    void put(const Exclusion& v) {
        object("by", v.by, "act", v.act, "fish", v.fish, "stay", v.stay, "spell", v.spell, "moment", v.moment,
               "reasons", v.reasons, "author", v.author, "decided", v.decided);
    }
    void put(const Headline& v) {
        object("word", v.word, "title", v.title, "group", v.group, "fish", v.fish, "mean", v.mean,
               "between_fish_sd", v.between_fish_sd, "median", v.median, "fish_without_human",
               v.fish_without_human, "mean_without_human", v.mean_without_human);
    }
    void put(const findings::FoundNumber& v);
    void put(const findings::FoundPoint& v) {
        object("row", v.row, "fish", v.fish, "group", v.group, "x", v.x, "value", v.value, "uncertainty",
               v.uncertainty, "lower", v.lower, "upper", v.upper, "weight", v.weight);
    }
    void put(const findings::FoundCurve& v) {
        object("group", v.group, "x", v.x, "y", v.y, "lower", v.lower, "upper", v.upper);
    }
    void put(const findings::FoundCheck& v) { object("name", v.name, "verdict", v.verdict, "text", v.text); }
    void put(const findings::LeftOutRow& v) { object("row", v.row, "column", v.column, "why", v.why); }
    void put(const findings::FoundTest& v) { object("name", v.name, "text", v.text, "p", v.p); }
    void put(const findings::FoundFate& v) {
        object("group", v.group, "fate", v.fate, "count", v.count, "of", v.of, "share", v.share);
    }
    void put(const findings::FoundSize& v) { object("power", v.power, "n", v.n); }
    void put(const findings::FoundPlan& v) {
        object("effect", v.effect, "scatter", v.scatter, "counted", v.counted, "sizes", v.sizes, "text",
               v.text);
    }
    void put(const findings::FoundVariant& v) {
        object("rows", v.rows, "fish", v.fish, "effects", v.effects, "unanswered", v.unanswered, "is_same",
               v.is_same);
    }
    void put(const FishCondition& v) { detail::put_condition(out_, detail_, v); }
    void put(const StudyCondition& v) { detail::put_condition(out_, detail_, v); }
    const PartTexts* parts_ = nullptr;
    bool is_blank_ = false; ///< the stay being written is a blank that no figure draws
};

void DocumentWriter::put(const findings::FoundNumber& v) {
    out_.begin_object();
    fields("name", v.name, "value", v.value, "unit", v.unit);
    const std::string interval = findings::interval_text(v);
    // A value that is not finite is none: it is written as null, and a null gives its reason.
    if (v.value && std::isfinite(*v.value)) {
        const std::string value = findings::value_text(v);
        field("text", interval.empty() ? value : fmt::format("{} ({})", value, interval));
    } else {
        const std::string reason = v.reason.empty() ? "the data do not bound it" : v.reason;
        fields("text", reason, "reason", reason);
    }
    fields("se", v.se, "lower", v.lower, "upper", v.upper, "freedom", v.freedom, "p", v.p, "p_corrected",
           v.p_corrected, "method", v.method);
    out_.end_object();
}

void DocumentWriter::put(const findings::Finding& v) {
    out_.begin_object();
    fields("name", v.name, "ask", v.ask, "outcome", v.outcome, "outcome_title", v.outcome_title,
           "outcome_unit", v.outcome_unit, "compare", v.compare, "within", v.within, "adjusted_for",
           v.adjusted_for, "random", v.random, "family", v.family, "family_of_tests", v.family_of_tests,
           "correction", v.correction, "declared", v.declared, "declared_text", v.declared_text);
    fields("sentence", v.sentence, "unanswered", v.unanswered, "scale", v.scale, "model", v.model, "method",
           v.method, "effects", v.effects, "groups", v.groups, "coefficients", v.coefficients, "spreads",
           v.spreads, "tests", v.tests, "checks", v.checks, "warnings", v.warnings, "margin_text",
           v.margin_text, "plan", v.plan, "fates_text", v.fates_text, "fates", v.fates, "fates_until",
           v.fates_until);
    fields("rows", v.rows, "fish", v.fish, "row_noun", v.row_noun, "levels", v.levels, "scores", v.scores,
           "points", v.points, "curves", v.curves, "left_out", v.left_out, "without_human", v.without_human);
    out_.end_object();
}

void DocumentWriter::put(const DrawnTrace& v) {
    put(v, whole_stay_digits);
}

void DocumentWriter::put(const DrawnTrace& v, const TraceDigits& digits) {
    out_.begin_object();
    field("from", v.from);
    const std::vector<double> none;
    const bool is_whole = detail_ == Detail::whole;
    rounded("at_s", is_blank_ ? none : v.at_s, digits.seconds);
    rounded("oxygen_mg_per_l", is_blank_ ? none : v.oxygen_mg_per_l, digits.oxygen);
    rounded("saturation_percent", is_whole ? v.saturation_percent : none, digits.saturation);
    rounded("temperature_celsius", is_whole ? v.temperature_celsius : none, digits.temperature);
    fields("states", v.states, "rows", v.rows);
    out_.end_object();
}

void DocumentWriter::put(const Stay& v) {
    out_.begin_object();
    is_blank_ = detail_ == Detail::drawn && v.fish.empty();
    fields("id", v.id, "fish", v.fish, "assembly", v.assembly, "sensors", v.sensors, "from", v.from, "to",
           v.to, "roles", v.roles, "ending", v.ending, "states_from", v.states_from, "unanswered",
           v.unanswered, "temperature_celsius", v.temperature_celsius, "volume_mass_ratio",
           v.volume_mass_ratio, "trace", v.trace);
    put_spells(v.spells);
    fields("background", v.background, "continuous", v.continuous, "sources", v.sources, "notes", v.notes);
    out_.end_object();
}

void DocumentWriter::put_spell_contributions(const std::vector<Spell>& spells) {
    const auto contributions = [this](const Spell& spell) -> std::span<const Contribution> {
        const auto& answer = spell.answer;
        if (detail_ == Detail::drawn) {
            return {};
        }
        return (answer.uptake_mg_per_kg_h ? *answer.uptake_mg_per_kg_h : answer.uptake_mg_per_h)
            .contributions();
    };
    std::map<std::string, std::size_t> spells_with;
    for (const Spell& spell : spells) {
        for (const Contribution& each : contributions(spell)) {
            ++spells_with[each.source];
        }
    }
    // A source absent from a spell has no effect on it: 0. What belongs to one spell alone (its slope) stands
    // in one column of its kind: as columns of their own they would grow with the square of the spells.
    std::map<std::string, std::vector<double>> effects;
    for (std::size_t i = 0; i < spells.size(); ++i) {
        for (const Contribution& each : contributions(spells[i])) {
            const bool is_shared = spells_with[each.source] > 1 || spells.size() == 1;
            auto& column = effects[is_shared ? each.source : detail::kind_of(each.source)];
            column.resize(spells.size());
            column[i] = column[i] == 0.0 ? each.effect : std::hypot(column[i], each.effect);
        }
    }
    out_.key("contributions");
    out_.begin_array();
    for (const auto& [source, column] : effects) {
        object("source", source, "effect", column);
    }
    out_.end_array();
}

void DocumentWriter::put_spells(const std::vector<Spell>& spells) {
    const auto plain = [&](std::string_view name, auto uptake::SpellUptake::* member) {
        column(name, spells, [member](const Spell& s) { return s.answer.*member; });
    };
    const auto measured = [&](std::string_view name, std::string_view uncertainty,
                              Measured uptake::SpellUptake::* member) {
        column(name, spells, [member](const Spell& s) { return (s.answer.*member).value(); });
        column(uncertainty, spells,
               [member](const Spell& s) { return (s.answer.*member).standard_uncertainty(); });
    };
    using Answer = uptake::SpellUptake;
    out_.key("spells");
    out_.begin_object();
    column("number", spells, [](const Spell& s) { return s.number; });
    column("role", spells, [](const Spell& s) { return s.role; });
    plain("sealed_from", &Answer::sealed_from);
    plain("from", &Answer::from);
    plain("to", &Answer::to);
    column("readings", spells, [](const Spell& s) { return std::uint64_t{s.answer.readings}; });
    plain("slope_mg_per_l_h", &Answer::slope_mg_per_l_h);
    plain("slope_error_mg_per_l_h", &Answer::slope_error);
    plain("slope_error_ordinary_mg_per_l_h", &Answer::slope_error_ordinary);
    plain("slope_error_newey_west_mg_per_l_h", &Answer::slope_error_newey_west);
    plain("effective_readings", &Answer::effective_readings);
    plain("r_squared", &Answer::r_squared);
    plain("residual_sd_mg_per_l", &Answer::residual_sd_mg_per_l);
    plain("curvature_share", &Answer::curvature_share);
    plain("curvature_share_error", &Answer::curvature_share_error);
    plain("oxygen_start_mg_per_l", &Answer::oxygen_start_mg_per_l);
    plain("oxygen_end_mg_per_l", &Answer::oxygen_end_mg_per_l);
    plain("saturation_start_percent", &Answer::saturation_start_percent);
    plain("saturation_end_percent", &Answer::saturation_end_percent);
    plain("temperature_celsius", &Answer::temperature_mean_celsius);
    plain("temperature_drift_celsius_per_h", &Answer::temperature_drift_c_per_h);
    measured("total_mg_per_h", "total_uncertainty_mg_per_h", &Answer::total_mg_per_h);
    measured("background_mg_per_h", "background_uncertainty_mg_per_h", &Answer::background_mg_per_h);
    column("background_share", spells, [](const Spell& s) { return s.background_share; });
    measured("uptake_mg_per_h", "uptake_uncertainty_mg_per_h", &Answer::uptake_mg_per_h);
    const auto specific = [](const Spell& s, auto part) {
        const auto& uptake = s.answer.uptake_mg_per_kg_h;
        return uptake ? std::optional<double>(part(*uptake)) : std::nullopt;
    };
    column("uptake_mg_per_kg_h", spells,
           [&](const Spell& s) { return specific(s, [](const Measured& m) { return m.value(); }); });
    column("uptake_uncertainty_mg_per_kg_h", spells, [&](const Spell& s) {
        return specific(s, [](const Measured& m) { return m.standard_uncertainty(); });
    });
    plain("mark", &Answer::mark);
    plain("reasons", &Answer::reasons);
    column("used_for", spells, [](const Spell& s) { return s.used_for; });
    column("is_excluded_by_hand", spells, [](const Spell& s) { return s.is_excluded_by_hand; });
    put_spell_contributions(spells);
    out_.end_object();
}

void DocumentWriter::put(const Results& v) {
    object("schema", std::string_view("backeddy results"), "schema_version", schema_version, "study", v.study,
           "columns", v.columns, "groups", v.groups, "inputs", v.inputs, "settings", v.settings, "water",
           v.water, "sensors", v.sensors, "clocks", v.clocks, "assemblies", v.assemblies, "accounting",
           v.accounting, "fishing", v.fishing, "fish", parts_->fish, "blanks", parts_->blanks, "headlines",
           v.headlines, "condition", v.condition, "findings", v.findings, "exclusions", v.exclusions,
           "complaints", v.complaints, "notes", v.notes, "answers", v.answers, "methods", methods_text(v),
           "checklist", checklist(v), "cautions", cautions());
}

} // namespace

namespace {

constexpr int open_depth = 3; ///< of the document: its lists' entries have a line for each of their fields
constexpr int part_depth = 2; ///< of a fish or a blank: within the document and a list of it

template <typename T>
void write_parts(const std::vector<T>& all, Detail detail, Threads threads,
                 std::vector<std::shared_ptr<const std::string>>& texts) {
    texts.resize(all.size());
    parallel_for(all.size(), threads, [&](std::size_t i) {
        if (!texts[i]) {
            JsonStream out(open_depth, part_depth);
            DocumentWriter(out, detail).put(all[i]);
            texts[i] = std::make_shared<const std::string>(std::move(out).take());
        }
    });
}

} // namespace

std::string json_text(const Results& results, Detail detail, Threads threads, PartTexts& parts) {
    write_parts(results.fish, detail, threads, parts.fish);
    write_parts(results.blanks, detail, threads, parts.blanks);
    JsonStream out(open_depth);
    DocumentWriter(out, detail, parts).put(results);
    return std::move(out).take();
}

std::string json_text(const Results& results, Detail detail) {
    PartTexts none;
    return json_text(results, detail, {.count = 1}, none);
}

std::string stretch_text(const DrawnTrace& stretch) {
    JsonStream out(0);
    DocumentWriter(out, Detail::whole).put(stretch, stretch_digits);
    return std::move(out).take();
}

std::string finding_text(const findings::Finding& finding) {
    JsonStream out(0);
    DocumentWriter(out, Detail::whole).put(finding);
    return std::move(out).take();
}

void put_complaint(JsonStream& out, const Complaint& complaint) {
    DocumentWriter(out, Detail::whole).put(complaint);
}

} // namespace backeddy::report
