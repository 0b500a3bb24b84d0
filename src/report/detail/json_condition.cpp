#include "report/detail/json_condition.hpp"

#include "report/detail/json_values.hpp"

namespace backeddy::report::detail {

namespace {

/// One overload of put() per struct, its fields in the order of condition.hpp.
class ConditionWriter : public StructWriter<ConditionWriter> {
  public:
    using StructWriter::put;
    ConditionWriter(JsonStream& out, Detail detail) : StructWriter(out, detail) {}

    void put(const BloodValue& v) {
        object("analyte", v.analyte, "matrix", v.matrix, "value", v.value, "below", v.below, "above", v.above,
               "as_written", v.as_written, "device", v.device, "haemolysis", v.haemolysis, "sample", v.sample,
               "plate", v.plate, "wells", v.wells, "from", v.from, "range_low", v.range_low, "range_high",
               v.range_high, "range_source", v.range_source, "is_outside_range", v.is_outside_range, "notes",
               v.notes, "doubts", v.doubts);
    }
    void put(const BloodDraw& v) {
        object("at", v.at, "since_hook_up_min", v.since_hook_up_min, "since_sealed_min", v.since_sealed_min,
               "volume_ml", v.volume_ml, "ml_per_kg", v.ml_per_kg, "drawn_ml_per_kg", v.drawn_ml_per_kg,
               "ceiling_ml_per_kg", v.ceiling_ml_per_kg, "is_over_ceiling", v.is_over_ceiling,
               "is_first_after_event", v.is_first_after_event, "who", v.who, "values", v.values, "notes",
               v.notes);
    }
    void put(const ScoredPlace& v) {
        object("word", v.word, "title", v.title, "level", v.level, "level_word", v.level_word, "marks",
               v.marks);
    }
    void put(const ScoredLook& v) {
        object("occasion", v.occasion, "scorer", v.scorer, "at", v.at, "places", v.places, "mean", v.mean,
               "sum", v.sum, "worst", v.worst, "note", v.note);
    }
    void put(const ReflexLook& v) {
        object("at", v.at, "tests", v.tests, "impaired_percent", v.impaired_percent, "can_be_low_percent",
               v.can_be_low_percent, "can_be_high_percent", v.can_be_high_percent);
    }
    void put(const HandlingTime& v) {
        object("word", v.word, "title", v.title, "by_events", v.by_events, "typed", v.typed, "disagreement",
               v.disagreement);
    }
    void put(const KnownFate& v) {
        object("ending", v.ending, "last_alive", v.last_alive, "found_dead", v.found_dead, "lost", v.lost,
               "released", v.released, "stage", v.stage, "cause", v.cause, "tags", v.tags, "doubts",
               v.doubts);
    }
    void put(const FishCondition& v) {
        object("draws", v.draws, "fins", v.fins, "body", v.body, "reflexes", v.reflexes, "handling",
               v.handling, "bled_before", v.bled_before, "fate", v.fate, "reminders", v.reminders, "doubts",
               v.doubts);
    }
    void put(const PlateWell& v) {
        object("name", v.name, "row", v.row, "column", v.column, "kind", v.kind, "label", v.label, "response",
               v.response, "residual", v.residual, "excluded", v.excluded);
    }
    void put(const PlateStandard& v) {
        object("concentration", v.concentration, "wells", v.wells, "responses", v.responses, "response",
               v.response, "cv_percent", v.cv_percent, "read_back", v.read_back, "recovery_percent",
               v.recovery_percent, "is_accepted", v.is_accepted, "remarks", v.remarks);
    }
    void put(const PlateDilution& v) {
        object("dilution", v.dilution, "wells", v.wells, "response", v.response, "cv_percent", v.cv_percent,
               "concentration", v.concentration);
    }
    void put(const PlateMaterial& v) {
        object("kind", v.kind, "label", v.label, "fish", v.fish, "dilutions", v.dilutions, "concentration",
               v.concentration, "expected", v.expected, "recovery_percent", v.recovery_percent, "is_accepted",
               v.is_accepted, "change_per_doubling_percent", v.change_per_doubling_percent, "parallel",
               v.parallel, "remarks", v.remarks);
    }
    void put(const PlateResidual& v) {
        object("concentration", v.concentration, "percent", v.percent, "well", v.well);
    }
    void put(const PlateLimit& v) { object("definition", v.definition, "concentration", v.concentration); }
    void put(const AssayPlate& v) {
        object("id", v.id, "file", v.file, "analyte", v.analyte, "unit", v.unit, "run_at", v.run_at, "who",
               v.who, "unanswered", v.unanswered, "understood", v.understood, "rows", v.rows, "columns",
               v.columns, "wells", v.wells, "curve_kind", v.curve_kind, "parameters", v.parameters, "weights",
               v.weights, "curve", v.curve, "residuals", v.residuals, "standards", v.standards, "samples",
               v.samples, "controls", v.controls, "spikes", v.spikes, "edge_percent", v.edge_percent,
               "is_edge_clear", v.is_edge_clear, "limits", v.limits, "quantified_from", v.quantified_from,
               "quantified_to", v.quantified_to, "blank", v.blank, "response_cv_percent",
               v.response_cv_percent, "concentration_cv_percent", v.concentration_cv_percent, "excluded",
               v.excluded, "remarks", v.remarks);
    }
    void put(const InterAssay& v) {
        object("analyte", v.analyte, "label", v.label, "plates", v.plates, "wells", v.wells, "mean", v.mean,
               "cv_of_means_percent", v.cv_of_means_percent, "within_percent", v.within_percent,
               "between_percent", v.between_percent, "total_percent", v.total_percent, "left_out",
               v.left_out);
    }
    void put(const AnalyteSummary& v) {
        object("analyte", v.analyte, "matrix", v.matrix, "group", v.group, "is_all", v.is_all, "fish", v.fish,
               "below", v.below, "above", v.above, "median", v.median, "lower_quartile", v.lower_quartile,
               "upper_quartile", v.upper_quartile, "minutes_since_hook_up", v.minutes_since_hook_up);
    }
    void put(const ScorerAgreement& v) {
        object("of", v.of, "first", v.first, "second", v.second, "fish", v.fish, "pairs", v.pairs, "same",
               v.same, "kappa", v.kappa, "note", v.note);
    }
    void put(const MortalityRow& v) {
        object("from", v.from, "horizon_h", v.horizon_h, "group", v.group, "dead", v.dead, "known", v.known,
               "unknown", v.unknown, "percent", v.percent, "can_be_low_percent", v.can_be_low_percent,
               "can_be_high_percent", v.can_be_high_percent, "corrected_percent", v.corrected_percent,
               "relative_risk", v.relative_risk);
    }
    void put(const ConditionPoint& v) {
        object("fish", v.fish, "group", v.group, "fin_mean", v.fin_mean, "impaired_percent",
               v.impaired_percent, "peak_after_capture", v.peak_after_capture, "recovery_h", v.recovery_h);
    }
    void put(const StudyCondition& v) {
        object("has_any", v.has_any, "plates", v.plates, "inter_assay", v.inter_assay, "analytes", v.analytes,
               "agreements", v.agreements, "mortality", v.mortality, "points", v.points, "fin_scale",
               v.fin_scale, "body_scale", v.body_scale, "cautions", v.cautions, "notes", v.notes);
    }
};

} // namespace

void put_condition(JsonStream& out, Detail detail, const FishCondition& condition) {
    ConditionWriter(out, detail).put(condition);
}

void put_condition(JsonStream& out, Detail detail, const StudyCondition& condition) {
    ConditionWriter(out, detail).put(condition);
}

} // namespace backeddy::report::detail
