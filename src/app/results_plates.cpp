#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "app/detail/results_condition_parts.hpp"
#include "base/number_text.hpp"
#include "condition/plate_precision.hpp"
#include "fit/student.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Material;
using condition::WellKind;
using report::Number;

constexpr const char* interval_method = "curve and replicates";

Number percent(const std::optional<double>& share, const char* none) {
    return share ? report::number(100.0 * *share, "%") : report::no_number(none, "%");
}

Number with_limits(Number number, double low, double high, const char* method) {
    number.interval = report::Interval{.low = low, .high = high, .level = 0.95, .method = method};
    return number;
}

using WellPlace = std::pair<std::size_t, std::size_t>;

// ---------------------------------------------------------------- wells

std::string label_of(const condition::Well& well) {
    return well.kind == WellKind::standard ? exact_text(well.concentration) : well.label;
}

report::PlateWell well_of(const condition::Well& well) {
    report::PlateWell out{.name = condition::well_name(well.row, well.column),
                          .row = well.row,
                          .column = well.column,
                          .kind = study::word_of(well.kind),
                          .label = label_of(well),
                          .excluded = well.excluded};
    if (std::isfinite(well.response)) {
        out.response = well.response;
    }
    return out;
}

/// Wells of the map, and those that the file has a value of and nobody mapped.
std::vector<report::PlateWell> wells_of(const PlateAnswer& plate) {
    std::map<WellPlace, report::PlateWell> wells;
    for (const auto& well : plate.wells) {
        wells.insert_or_assign({well.row, well.column}, well_of(well));
    }
    if (plate.reading) {
        for (const auto& cell : plate.reading->wells) {
            condition::Well unmapped{.row = cell.row, .column = cell.column};
            unmapped.response = cell.response.value_or(std::nan(""));
            wells.try_emplace({cell.row, cell.column}, well_of(unmapped));
        }
    }
    if (plate.result) {
        for (const auto& one : plate.result->edge.residuals) {
            if (const auto found = wells.find({one.row, one.column}); found != wells.end()) {
                found->second.residual = one.residual;
            }
        }
    }
    std::vector<report::PlateWell> out;
    for (auto& [place, well] : wells) {
        out.push_back(std::move(well));
    }
    return out;
}

// ---------------------------------------------------------------- the curve

/// Standard deviation of the curve's own response there.
double curve_sd(const condition::LogisticFit& fit, double concentration) {
    return std::sqrt(std::max(0.0, fit.variance(fit.gradient(concentration))));
}

/// Between the lowest and the highest standard: beyond them nothing is read.
report::Curve curve_of(const condition::LogisticFit& fit) {
    constexpr int points = 81;
    const double t = fit::two_sided_t(0.95, static_cast<double>(fit.freedom));
    report::Curve out;
    for (int i = 0; i < points; ++i) {
        const double share = static_cast<double>(i) / (points - 1);
        const double x = fit.lowest * std::pow(fit.highest / fit.lowest, share);
        const double y = fit.curve.response(x);
        const double reach = t * curve_sd(fit, x);
        out.x.push_back(x);
        out.y.push_back(y);
        out.low.push_back(y - reach);
        out.high.push_back(y + reach);
    }
    return out;
}

std::vector<report::NamedNumber> parameters_of(const condition::LogisticFit& fit, const std::string& unit) {
    const auto sd = [&](std::size_t i) {
        condition::LogisticGradient one{};
        one.at(i) = 1.0;
        return std::sqrt(std::max(0.0, fit.variance(one)));
    };
    const auto as_is = [&](double value, std::size_t i) {
        return report::number(Measured(value, sd(i), "standards"), "");
    };
    // Fitted as logarithms: their error is a relative one.
    const auto logarithmic = [&](double value, std::size_t i, const std::string& in) {
        return report::number(Measured(value, value * sd(i), "standards"), in);
    };
    const auto& curve = fit.curve;
    std::vector<report::NamedNumber> out{
        {.word = "at_zero", .title = "response without analyte", .number = as_is(curve.at_zero, 0)},
        {.word = "at_infinity",
         .title = "response at the greatest concentrations",
         .number = as_is(curve.at_infinity, 1)},
        {.word = "half", .title = "concentration half way", .number = logarithmic(curve.half, 2, unit)},
        {.word = "slope", .title = "slope", .number = logarithmic(curve.slope, 3, "")}};
    if (fit.kind == condition::LogisticKind::five) {
        out.push_back(
            {.word = "asymmetry", .title = "asymmetry", .number = logarithmic(curve.asymmetry, 4, "")});
    }
    return out;
}

std::vector<report::PlateResidual> residuals_of(const PlateAnswer& plate) {
    std::vector<report::PlateResidual> out;
    for (const auto& well : plate.wells) {
        if (well.kind == WellKind::standard && well.excluded.empty()) {
            const double expected = plate.result->curve.curve.response(well.concentration);
            out.push_back({.concentration = well.concentration,
                           .percent = 100.0 * ((well.response / expected) - 1.0),
                           .well = condition::well_name(well.row, well.column)});
        }
    }
    return out;
}

// ---------------------------------------------------------------- standards, samples, controls, spikes

report::PlateStandard standard_of(const condition::StandardLevel& level, const PlateAnswer& plate) {
    const char* none = level.nominal > 0.0 ? "its response lies beyond the curve" : "nothing to read back";
    report::PlateStandard out{.concentration = level.nominal,
                              .wells = level.responses.wells,
                              .response = report::number(level.responses.as_read, "", "mean, as read"),
                              .cv_percent = percent(level.responses.cv, "one well, or not above the blank"),
                              .read_back = level.concentration
                                               ? report::number(*level.concentration, plate.row.unit)
                                               : report::no_number(none, plate.row.unit),
                              .recovery_percent = percent(level.recovery, none),
                              .is_accepted = level.is_accepted,
                              .remarks = level.remarks};
    for (const auto& well : plate.wells) {
        const auto name = condition::well_name(well.row, well.column);
        if (std::ranges::find(out.wells, name) != out.wells.end()) {
            out.responses.push_back(well.response);
        }
    }
    return out;
}

std::string reach_text(const condition::DilutionStep& step, const condition::LogisticFit& curve) {
    const bool is_below = step.read.reach == condition::Reach::below;
    return fmt::format("{} {}", is_below ? "below" : "above",
                       short_text((is_below ? curve.lowest : curve.highest) * step.dilution));
}

report::PlateDilution dilution_of(const condition::DilutionStep& step, const PlateAnswer& plate) {
    const auto& unit = plate.row.unit;
    report::PlateDilution out{.dilution = step.dilution,
                              .wells = step.responses.wells,
                              .response = report::number(step.responses.mean, "", "mean"),
                              .cv_percent = percent(step.responses.cv, "one well, or not above the blank")};
    out.concentration =
        step.read.reach == condition::Reach::on_curve
            ? with_limits(report::number(step.read.concentration * step.dilution, unit),
                          step.read.lower * step.dilution, step.read.upper * step.dilution, interval_method)
            : report::no_number(reach_text(step, plate.result->curve), unit);
    return out;
}

std::string word_of(condition::Parallel verdict) {
    switch (verdict) {
    case condition::Parallel::yes:
        return "yes";
    case condition::Parallel::no:
        return "no";
    case condition::Parallel::undecided:
        break;
    }
    return "undecided";
}

void add_recovery(const Material& material, const std::string& unit, report::PlateMaterial& out) {
    const auto& expected = material.added ? material.added : material.expected;
    out.expected =
        expected ? report::as_written(report::number(*expected, unit, material.added ? "added" : "expected"))
                 : report::no_number("nothing is known of it", unit);
    if (material.recovery) {
        out.recovery_percent =
            with_limits(report::number(100.0 * material.recovery->value, "%"),
                        100.0 * material.recovery->lower, 100.0 * material.recovery->upper, interval_method);
        out.is_accepted = material.recovery->is_accepted;
    } else {
        out.recovery_percent = report::no_number(
            material.has_failed ? "failed: it reads " + material.beyond
            : expected          ? std::string("it, or its sample, lies beyond the curve or does not count")
                                : std::string("nothing to hold it against"),
            "%");
        if (material.has_failed) {
            out.is_accepted = false;
        }
    }
}

void add_parallelism(const Material& material, report::PlateMaterial& out) {
    if (!material.parallelism) {
        out.change_per_doubling_percent = report::no_number("fewer than two dilutions on the curve", "%");
        return;
    }
    const auto& parallelism = *material.parallelism;
    out.change_per_doubling_percent =
        with_limits(report::number(100.0 * parallelism.change_per_doubling, "%"), 100.0 * parallelism.lower,
                    100.0 * parallelism.upper, "t, of the curve's errors and the replicates'");
    out.parallel = word_of(parallelism.verdict);
}

report::PlateMaterial material_of(const Material& material, WellKind kind, const PlateAnswer& plate,
                                  const study::ConditionSheets& sheets) {
    const auto& unit = plate.row.unit;
    report::PlateMaterial out{
        .kind = study::word_of(kind), .label = material.label, .remarks = material.remarks};
    const auto* sample = kind == WellKind::control ? nullptr : sheets.find(study::SampleId(material.label));
    out.fish = sample == nullptr ? std::string() : sample->fish.text();
    for (const auto& step : material.steps) {
        out.dilutions.push_back(dilution_of(step, plate));
    }
    const auto& read = material.concentration;
    out.concentration =
        read ? with_limits(report::number(read->value, unit), read->lower, read->upper, interval_method)
             : report::no_number(material.beyond, unit);
    add_recovery(material, unit, out);
    add_parallelism(material, out);
    return out;
}

// ---------------------------------------------------------------- limits and the whole plate

Number limit_of(const std::optional<double>& limit, const std::string& none, const std::string& unit) {
    return limit ? report::number(*limit, unit) : report::no_number(none, unit);
}

void add_limits(const condition::DetectionLimits& limits, const std::string& unit, report::AssayPlate& out) {
    for (const auto& limit : limits.by_zero_wells) {
        out.limits.push_back({.definition = limit.definition,
                              .concentration = limit_of(limit.concentration, limit.why_none, unit)});
    }
    if (!limits.why_none.empty()) {
        out.remarks.push_back("limits of detection: " + limits.why_none);
    }
    out.quantified_from =
        report::as_written(limit_of(limits.quantified_from, "no standard is accepted", unit));
    out.quantified_to = report::as_written(limit_of(limits.quantified_to, "no standard is accepted", unit));
}

void add_edge(const condition::EdgeEffect& edge, report::AssayPlate& out) {
    if (!edge.difference) {
        out.edge_percent = report::no_number(edge.why_none, "%");
        return;
    }
    const auto& difference = *edge.difference;
    out.edge_percent =
        with_limits(report::number(100.0 * difference.value, "%", "outer wells over inner ones"),
                    100.0 * difference.lower, 100.0 * difference.upper, "t");
    out.is_edge_clear = difference.lower > 0.0 || difference.upper < 0.0;
}

void add_result(const PlateAnswer& plate, const study::ConditionSheets& sheets, report::AssayPlate& out) {
    const auto& result = *plate.result;
    const auto& unit = plate.row.unit;
    out.curve_kind = result.curve.kind == condition::LogisticKind::four ? "four-parameter logistic"
                                                                        : "five-parameter logistic";
    out.parameters = parameters_of(result.curve, unit);
    out.weights = result.noise_from;
    out.curve = curve_of(result.curve);
    out.residuals = residuals_of(plate);
    for (const auto& level : result.standards) {
        out.standards.push_back(standard_of(level, plate));
    }
    const auto fill = [&](const std::vector<Material>& from, WellKind kind,
                          std::vector<report::PlateMaterial>& to) {
        for (const auto& material : from) {
            to.push_back(material_of(material, kind, plate, sheets));
        }
    };
    fill(result.samples, WellKind::sample, out.samples);
    fill(result.controls, WellKind::control, out.controls);
    fill(result.spikes, WellKind::spiked, out.spikes);
    out.remarks = result.remarks;
    add_edge(result.edge, out);
    add_limits(result.limits, unit, out);
    out.blank = result.blank ? report::number(*result.blank, "", "mean of the blanks, as read")
                             : report::no_number("no blank wells", "");
    const auto cv = [](const std::optional<condition::PooledCv>& pooled, const char* none) {
        return pooled ? report::number(
                            100.0 * pooled->cv, "%",
                            fmt::format("root mean square over {} groups of replicates", pooled->groups))
                      : report::no_number(none, "%");
    };
    out.response_cv_percent = cv(result.response_cv, "no replicates");
    out.concentration_cv_percent = cv(result.concentration_cv, "no replicates with all wells on the curve");
    out.excluded = result.excluded;
}

void leave_numbers_out(const std::string& why, report::AssayPlate& out) {
    for (auto* number : {&out.edge_percent, &out.response_cv_percent, &out.concentration_cv_percent}) {
        *number = report::no_number(why, "%");
    }
    for (auto* number : {&out.quantified_from, &out.quantified_to}) {
        *number = report::no_number(why, out.unit);
    }
    out.blank = report::no_number(why, "");
}

} // namespace

report::AssayPlate plate_of(const PlateAnswer& plate, const study::ConditionSheets& sheets) {
    const auto& row = plate.row;
    report::AssayPlate out{.id = row.id.text(),
                           .file = row.file,
                           .analyte = study::word_of(row.analyte),
                           .unit = row.unit,
                           .run_at = row.run_at,
                           .who = row.who,
                           .unanswered = plate.unanswered,
                           .rows = row.help.rows,
                           .columns = row.help.columns,
                           .wells = wells_of(plate)};
    if (plate.reading) {
        out.understood = plate.reading->understood;
    }
    if (plate.result) {
        add_result(plate, sheets, out);
    } else {
        leave_numbers_out(plate.unanswered, out);
    }
    return out;
}

std::vector<report::InterAssay> inter_assay_of(const PlateAnswers& plates) {
    struct Together {
        std::vector<condition::PlateResult> results;
        std::vector<std::string> names;
    };
    std::map<std::pair<condition::Analyte, std::string>, Together> by_analyte;
    for (const auto& plate : plates.list) {
        if (plate.result) {
            auto& together = by_analyte[{plate.row.analyte, plate.row.unit}];
            together.results.push_back(*plate.result);
            together.names.push_back(plate.row.id.text());
        }
    }
    const char* too_few = "fewer than two plates with all of its wells on the curve";
    const auto left_out = [](const condition::InterAssay& control, const std::vector<std::string>& names) {
        std::vector<std::string> texts;
        for (const std::size_t plate : control.left_out) {
            texts.push_back(fmt::format("{}: not all of its wells lie on the curve", names.at(plate)));
        }
        return texts;
    };
    const auto share = [](const std::optional<double>& cv) {
        return percent(cv, "no plate has replicates of it on the curve");
    };
    std::vector<report::InterAssay> out;
    for (const auto& [key, together] : by_analyte) {
        for (const auto& control : condition::inter_assay(together.results)) {
            out.push_back({.analyte = study::word_of(key.first),
                           .label = control.label,
                           .plates = control.plates,
                           .wells = control.wells,
                           .mean = std::isnan(control.mean)
                                       ? report::no_number(too_few, key.second)
                                       : report::number(control.mean, key.second, "of the plates' results"),
                           .cv_of_means_percent = std::isnan(control.mean)
                                                      ? report::no_number(too_few, "%")
                                                      : report::number(100.0 * control.cv_of_means, "%"),
                           .within_percent = share(control.within_cv),
                           .between_percent = share(control.between_cv),
                           .total_percent = share(control.total_cv),
                           .left_out = left_out(control, together.names)});
        }
    }
    return out;
}

} // namespace backeddy::app::detail
