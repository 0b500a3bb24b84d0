#include "report/tables.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "base/html_text.hpp"
#include "report/detail/csv_table.hpp"
#include "report/detail/html_parts.hpp"
#include "report/words.hpp"

namespace backeddy::report {

namespace {

using detail::joined;
using Table = detail::CsvTable;

std::string joined(const std::vector<uptake::Reason>& reasons) {
    std::string text;
    for (const uptake::Reason& reason : reasons) {
        text += (text.empty() ? "" : "; ") + reason.text;
    }
    return text;
}

std::string joined(const std::vector<RoleInterval>& roles) {
    std::string text;
    for (const RoleInterval& each : roles) {
        text += (text.empty() ? "" : "; ") + each.role;
    }
    return text;
}

template <typename Visit>
void each_stay(const Results& results, const Visit& visit) {
    for (const Fish& fish : results.fish) {
        for (const Stay& stay : fish.stays) {
            visit(stay, &fish);
        }
    }
    for (const Stay& stay : results.blanks) {
        visit(stay, nullptr);
    }
}

void spell_row(Table& table, const Stay& stay, const Fish* fish, const Spell& spell) {
    const uptake::SpellUptake& a = spell.answer;

    table.begin_row();
    table.text("fish", stay.fish);
    table.text("stay", stay.id);
    table.count("spell", spell.number);
    table.text("assembly", stay.assembly);
    table.text("role", spell.role);
    table.moment("sealed_from", a.sealed_from);
    table.moment("from", a.from);
    table.moment("to", a.to);

    // In nested ifs: GCC 12 takes the optional in a conditional expression for uninitialised.
    std::optional<double> hours;
    if (fish != nullptr) {
        if (fish->time_zero) {
            hours = (a.middle() - *fish->time_zero).hours();
        }
    }
    table.plain("hours_since_time_zero", hours);
    table.count("readings", a.readings);
    table.plain("slope_mg_per_l_h", a.slope_mg_per_l_h);
    table.plain("slope_error_mg_per_l_h", a.slope_error);
    table.plain("slope_error_ordinary_mg_per_l_h", a.slope_error_ordinary);
    table.plain("slope_error_newey_west_mg_per_l_h", a.slope_error_newey_west);
    table.plain("effective_readings", a.effective_readings);
    table.plain("r_squared", a.r_squared);
    table.plain("residual_sd_mg_per_l", a.residual_sd_mg_per_l);
    table.plain("curvature_share", a.curvature_share);
    table.plain("curvature_share_error", a.curvature_share_error);
    table.plain("oxygen_start_mg_per_l", a.oxygen_start_mg_per_l);
    table.plain("oxygen_end_mg_per_l", a.oxygen_end_mg_per_l);
    table.plain("saturation_start_percent", a.saturation_start_percent);
    table.plain("saturation_end_percent", a.saturation_end_percent);
    table.plain("temperature_celsius", a.temperature_mean_celsius);
    table.plain("temperature_drift_celsius_per_h", a.temperature_drift_c_per_h);
    table.plain("total_mg_per_h", a.total_mg_per_h.value());
    table.plain("total_uncertainty_mg_per_h", a.total_mg_per_h.standard_uncertainty());
    table.plain("background_mg_per_h", a.background_mg_per_h.value());
    table.plain("background_uncertainty_mg_per_h", a.background_mg_per_h.standard_uncertainty());
    table.plain("background_share", spell.background_share);
    table.plain("uptake_mg_per_h", a.uptake_mg_per_h.value());
    table.plain("uptake_uncertainty_mg_per_h", a.uptake_mg_per_h.standard_uncertainty());
    const auto& specific = a.uptake_mg_per_kg_h;
    table.plain("uptake_mg_per_kg_h", specific ? std::optional<double>(specific->value()) : std::nullopt);
    table.plain("uptake_uncertainty_mg_per_kg_h",
                specific ? std::optional<double>(specific->standard_uncertainty()) : std::nullopt);
    table.text("mark", word_of(a.mark));
    table.text("reasons", joined(a.reasons));
    table.text("used_for", spell.used_for);
    table.truth("excluded_by_hand", spell.is_excluded_by_hand);
    table.end_row();
}

std::optional<double> median_uptake(const Stay& stay) {
    std::vector<double> values;
    for (const Spell& spell : stay.spells) {
        if (spell.answer.is_usable() && !spell.is_excluded_by_hand) {
            values.push_back(spell.answer.uptake_mg_per_h.value());
        }
    }
    std::erase_if(values, [](double v) { return !std::isfinite(v); });
    if (values.empty()) {
        return std::nullopt;
    }
    std::ranges::sort(values);
    const std::size_t n = values.size();
    return n % 2 == 1 ? values[n / 2] : 0.5 * (values[n / 2 - 1] + values[n / 2]);
}

void stay_row(Table& table, const Stay& stay) {
    const auto marked = [&](uptake::Mark mark) {
        return static_cast<std::uint64_t>(
            std::ranges::count_if(stay.spells, [&](const Spell& s) { return s.answer.mark == mark; }));
    };
    table.begin_row();
    table.text("stay", stay.id);
    table.text("fish", stay.fish);
    table.text("assembly", stay.assembly);
    table.text("sensors", joined(stay.sensors));
    table.text("roles", joined(stay.roles));
    table.moment("from", stay.from);
    table.moment("to", stay.to);
    table.text("ended", stay.ending.word);
    table.moment("last_good", stay.ending.last_good);
    table.text("states_from", stay.states_from);
    table.count("spells", stay.spells.size());
    table.count("spells_good", marked(uptake::Mark::good));
    table.count("spells_doubtful", marked(uptake::Mark::doubtful));
    table.count("spells_unusable", marked(uptake::Mark::unusable));
    table.count("spells_excluded_by_hand",
                static_cast<std::uint64_t>(std::ranges::count_if(
                    stay.spells, [](const Spell& s) { return s.is_excluded_by_hand; })));
    table.plain("median_uptake_mg_per_h", median_uptake(stay));
    table.number("background_share_percent", stay.background.share_of_uptake);
    table.text("background", stay.background.how);
    table.number("temperature_celsius", stay.temperature_celsius);
    table.number("volume_mass_ratio_l_per_kg", stay.volume_mass_ratio);
    table.text("unanswered", stay.unanswered);
    table.text("notes", joined(stay.notes));
    table.end_row();
}

const Peak* peak_after(const Fish& fish, std::string_view after) {
    const auto found = std::ranges::find(fish.metrics.peaks, after, &Peak::after);
    return found != fish.metrics.peaks.end() ? &*found : nullptr;
}

/// Numbers with a unit of their own choosing (mg/kg/h or mg/h) stand in a column of the mass-specific unit
/// only when they are in it: a value in mg/h must never be read as one per kilogram.
Number in_unit(const Number& number, std::string_view unit) {
    return number.unit == unit ? number : no_number("in another unit", std::string(unit));
}

void peak_cells(Table& table, std::string_view after, const Peak* found) {
    const Peak none;
    const Peak& peak = found != nullptr ? *found : none;
    const std::string stem = fmt::format("peak_after_{}", after);
    const std::string_view specific = "_mg_per_kg_h";
    table.measured(stem, specific, peak.uptake_mg_per_kg_h);
    table.measured(stem, "_mg_per_h", peak.uptake_mg_per_h);
    table.number(stem + "_steepest_mg_per_kg_h", in_unit(peak.steepest, "mg/kg/h"));
    table.number(stem + "_selection_bias_mg_per_kg_h", in_unit(peak.selection_bias, "mg/kg/h"));
    table.measured(stem + "_whole_spell", specific, in_unit(peak.whole_spell, "mg/kg/h"));
    table.number(stem + "_window_s", peak.window_s);
    table.number(stem + "_delay_to_seal_s", peak.delay_to_seal_s);
    table.number(stem + "_delay_to_window_s", peak.delay_to_window_s);
    table.number(stem + "_air_s", peak.air_s);
    table.number(stem + "_saturation_start_percent", peak.saturation_start_percent);
    table.number(stem + "_saturation_end_percent", peak.saturation_end_percent);
    table.number(stem + "_temperature_celsius", peak.temperature_celsius);
    table.number(stem + "_relative_slope_error_percent", peak.relative_slope_error);
    table.text(stem + "_stay", peak.stay);
    table.moment(stem + "_window_from", peak.from);
    table.moment(stem + "_window_to", peak.to);
    table.text(stem + "_mark", found != nullptr ? word_of(peak.mark) : std::string_view{});
    table.text(stem + "_reasons", joined(peak.reasons));
}

/// Every fish has the same columns: the estimators are those that any fish of the study has.
std::vector<std::string> estimator_words(const Results& results) {
    std::vector<std::string> words;
    for (const Fish& fish : results.fish) {
        if (fish.metrics.resting) {
            for (const RestingEstimate& each : fish.metrics.resting->estimates) {
                if (std::ranges::find(words, each.word) == words.end()) {
                    words.push_back(each.word);
                }
            }
        }
    }
    return words;
}

void resting_cells(Table& table, const std::vector<std::string>& estimators,
                   const std::optional<Resting>& found) {
    const Resting none;
    const Resting& rest = found ? *found : none;
    table.measured("resting", "_mg_per_kg_h", rest.uptake_mg_per_kg_h);
    table.measured("resting", "_mg_per_h", rest.uptake_mg_per_h);
    table.text("resting_kind", rest.kind);
    table.text("resting_estimator", rest.picked);
    table.number("resting_raw_mg_per_kg_h", in_unit(rest.raw, "mg/kg/h"));
    table.number("resting_corrected_mg_per_kg_h", in_unit(rest.corrected, "mg/kg/h"));
    table.number("resting_cut_off_h", rest.cut_off_hours);
    table.number("resting_stay_h", rest.stay_hours);
    table.number("resting_temperature_celsius", rest.temperature_celsius);
    table.number("resting_background_share_percent", rest.background_share_percent);
    table.number("resting_family_low_mg_per_kg_h", in_unit(rest.family_spread.low, "mg/kg/h"));
    table.number("resting_family_high_mg_per_kg_h", in_unit(rest.family_spread.high, "mg/kg/h"));
    for (const std::string& word : estimators) {
        const auto each = std::ranges::find(rest.estimates, word, &RestingEstimate::word);
        const RestingEstimate value = each != rest.estimates.end() ? *each : RestingEstimate{};
        table.measured("resting_" + word, "_mg_per_kg_h", in_unit(value.raw, "mg/kg/h"));
    }
    table.text("resting_reasons", joined(rest.reasons));
}

void censored(Table& table, const std::string& stem, std::string_view unit, const Number& number) {
    table.measured(stem, unit, number);
    table.text(stem + "_is_at_least", !number.has_value() ? "" : number.is_at_least ? "yes" : "no");
}

void scope_cells(Table& table, std::string_view after, const Metrics& metrics) {
    const auto found = std::ranges::find(metrics.scopes, after, &Scope::after);
    const Scope scope = found != metrics.scopes.end() ? *found : Scope{};
    const std::string stem = fmt::format("scope_after_{}", after);
    censored(table, stem + "_absolute", "_mg_per_kg_h", in_unit(scope.absolute, "mg/kg/h"));
    censored(table, stem + "_factorial", "", scope.factorial);
    censored(table, stem + "_adjusted_absolute", "_mg_per_kg_h", in_unit(scope.adjusted_absolute, "mg/kg/h"));
    censored(table, stem + "_adjusted_factorial", "", scope.adjusted_factorial);
    table.number(stem + "_temperature_difference_celsius", scope.temperature_difference_celsius);
    table.text(stem + "_reasons", joined(scope.reasons));
}

void recovery_cells(Table& table, std::string_view after, const Metrics& metrics) {
    const auto found = std::ranges::find(metrics.recoveries, after, &Recovery::after);
    const Recovery recovery = found != metrics.recoveries.end() ? *found : Recovery{};
    const BaselineVariant headline =
        recovery.baselines.empty() ? BaselineVariant{} : recovery.baselines.front();
    const std::string stem = fmt::format("recovery_after_{}", after);
    table.text(stem + "_baseline", headline.title);
    censored(table, stem + "_excess_boat_hour", "_mg_per_kg", in_unit(headline.excess_boat_hour, "mg/kg"));
    censored(table, stem + "_excess_after_transfer", "_mg_per_kg",
             in_unit(headline.excess_after_transfer, "mg/kg"));
    censored(table, stem + "_capture_plus_handling", "_mg_per_kg",
             in_unit(headline.capture_plus_handling, "mg/kg"));
    censored(table, stem + "_by_data", "_h", headline.hours_by_data);
    censored(table, stem + "_by_fit", "_h", headline.hours_by_fit);
    censored(table, stem + "_half_time_by_data", "_h", recovery.half_time_by_data_h);
    censored(table, stem + "_half_time_by_fit", "_h", recovery.fit.half_time_h);
    table.number(stem + "_recovered_share_percent", recovery.recovered_share_percent);
    table.text(stem + "_reasons", joined(recovery.reasons));
}

void pair_cells(Table& table, const std::optional<PairedPeaks>& found) {
    const PairedPeaks pair = found.value_or(PairedPeaks{});
    table.measured("peak_difference", "_mg_per_kg_h", in_unit(pair.difference, "mg/kg/h"));
    table.measured("peak_ratio", "", pair.ratio);
    table.number("peak_hours_between", pair.hours_between);
    table.number("peak_temperature_difference_celsius", pair.temperature_difference_celsius);
    table.text("peak_differences", joined(pair.differences));
}

std::string treatment_of(const Fish& fish, const std::string& column) {
    const auto found = std::ranges::find(fish.treatments, column, &NamedText::name);
    return found != fish.treatments.end() ? found->text : std::string{};
}

void fish_row(Table& table, const Results& results, const std::vector<std::string>& estimators,
              const Fish& fish) {
    table.begin_row();
    table.text("fish", fish.id);
    table.text("species", fish.species);
    table.text("tag", fish.tag);
    table.text("group", fish.group);
    for (const Column& column : results.columns) {
        table.text("treatment_" + column.name, treatment_of(fish, column.name));
    }
    table.plain("mass_g", fish.mass_g.value);
    table.plain("mass_uncertainty_g", fish.mass_g.standard_uncertainty);
    table.text("mass_source", fish.mass_source);
    table.number("fork_length_mm", fish.fork_length_mm);
    table.text("time_zero_event", fish.time_zero_word);
    table.moment("time_zero", fish.time_zero);
    for (const std::string_view after : {"capture", "chase"}) {
        peak_cells(table, after, peak_after(fish, after));
    }
    resting_cells(table, estimators, fish.metrics.resting);
    for (const std::string_view after : {"capture", "chase"}) {
        scope_cells(table, after, fish.metrics);
        recovery_cells(table, after, fish.metrics);
    }
    pair_cells(table, fish.metrics.pair);
    table.text("fate", fish.fate.word);
    std::string missing;
    for (const NamedText& each : fish.metrics.missing) {
        missing += fmt::format("{}{}: {}", missing.empty() ? "" : "; ", each.name, each.text);
    }
    table.text("missing", missing);
    table.text("implausible", joined(fish.metrics.implausible));
    table.text("notes", joined(fish.notes));
    table.end_row();
}

// The effect of the same name, human exclusions undone. Where these change nothing the variant need not
// repeat the effects: they are the finding's.
const findings::FoundNumber* undone_of(const findings::Finding& finding,
                                       const findings::FoundNumber& effect) {
    if (!finding.without_human) {
        return nullptr;
    }
    const auto& effects = finding.without_human->effects;
    const auto found = std::ranges::find(effects, effect.name, &findings::FoundNumber::name);
    if (found != effects.end()) {
        return &*found;
    }
    return finding.without_human->is_same ? &effect : nullptr;
}

void undone_cells(Table& table, const findings::Finding& finding, const findings::FoundNumber& effect) {
    const findings::FoundNumber none;
    const auto* found = undone_of(finding, effect);
    const auto& undone = found != nullptr ? *found : none;
    const auto& variant = finding.without_human;
    table.plain("value_without_human", undone.value);
    table.plain("low_95_without_human", undone.lower);
    table.plain("high_95_without_human", undone.upper);
    table.plain("p_without_human", undone.p);
    table.text("rows_without_human", variant ? fmt::format("{}", variant->rows) : std::string());
    table.text("fish_without_human", variant ? fmt::format("{}", variant->fish) : std::string());
    table.text("unanswered_without_human", variant ? variant->unanswered : std::string());
}

void effect_row(Table& table, const findings::Finding& finding, const findings::FoundNumber& effect) {
    table.begin_row();
    table.text("question", finding.name);
    table.text("ask", finding.ask);
    table.text("outcome", finding.outcome);
    table.text("outcome_unit", finding.outcome_unit);
    table.text("compare", finding.compare);
    table.text("within", finding.within);
    table.text("adjusted_for", joined(finding.adjusted_for));
    table.text("random", joined(finding.random));
    table.text("effect", effect.name);
    table.text("scale", word_of(finding.scale));
    table.plain("value", effect.value);
    table.text("unit", effect.unit);
    table.plain("standard_error", effect.se);
    table.plain("low_95", effect.lower);
    table.plain("high_95", effect.upper);
    table.plain("degrees_of_freedom", effect.freedom);
    table.plain("p", effect.p);
    table.plain("p_corrected", effect.p_corrected);
    table.text("missing", effect.value ? std::string() : effect.reason);
    table.count("rows", finding.rows);
    table.count("fish", finding.fish);
    table.count("rows_left_out", finding.left_out.size());
    table.text("family", finding.family);
    table.text("model", finding.model);
    table.text("method", effect.method.empty() ? finding.method : effect.method);
    table.text("family_of_tests", finding.family_of_tests);
    table.text("correction", finding.correction);
    table.text("declared", word_of(finding.declared));
    table.text("declared_how", finding.declared_text);
    undone_cells(table, finding, effect);
    table.text("margin", finding.margin_text);
    table.text("fates", finding.fates_text);
    table.text("fish_for_effect_wanted", finding.plan ? finding.plan->text : "");
    table.text("warnings", joined(finding.warnings));
    table.text("sentence", finding.sentence);
    table.text("unanswered", finding.unanswered);
    table.end_row();
}

// ---------------------------------------------------------------- the catch

/// A row of the catch: a step with all its numbers, or a count alone.
void catch_row(Table& table, const RigCatch& rig, std::string_view kind, std::string_view name,
               const CatchStep& step) {
    const bool is_step = kind == "step";
    const auto whole = [&](std::string_view column, std::uint64_t value) {
        table.plain(column, is_step ? std::optional(static_cast<double>(value)) : std::nullopt);
    };
    table.begin_row();
    table.text("rig", rig.rig);
    table.count("lines", rig.lines);
    table.number("rod_hours", rig.rod_hours);
    table.count("lines_never_out", rig.never_out);
    table.text("kind", kind);
    table.text("name", name);
    table.count("count", step.count);
    whole("of", step.of);
    table.limited("share_percent", "", step.share_percent);
    whole("count_in_hours", step.in_hours);
    table.limited("per_rod_hour", "", step.per_rod_hour);
    table.limited("ratio_to_first_rig", "", step.ratio);
    table.text("missing_ratio", is_step ? step.ratio.reason : "");
    table.end_row();
}

void catch_rows(Table& table, const RigCatch& rig) {
    for (const CatchStep& step : rig.steps) {
        catch_row(table, rig, "step", step.word, step);
    }
    for (const CatchCount& miss : rig.misses) {
        catch_row(table, rig, "missed", miss.name, {.count = miss.count});
    }
    for (const CatchCount& loss : rig.losses) {
        catch_row(table, rig, "lost", loss.name, {.count = loss.count});
    }
    if (rig.open_ends > 0) {
        catch_row(table, rig, "end_not_written", "", {.count = rig.open_ends});
    }
    for (const SpeciesCount& each : rig.species) {
        catch_row(table, rig, each.is_bycatch ? "bycatch" : "landed_species", each.species,
                  {.count = each.count});
    }
}

} // namespace

std::string text_cell(std::string_view text) {
    std::string value = valid_utf8(text);
    if (!value.empty() && std::string_view("=+-@\t\r").find(value.front()) != std::string_view::npos) {
        value.insert(value.begin(), '\'');
    }
    if (value.find_first_of(",\"\n\r") == std::string::npos) {
        return value;
    }
    std::string quoted = "\"";
    for (const char c : value) {
        quoted += c == '"' ? "\"\"" : std::string(1, c);
    }
    return quoted + '"';
}

std::string spell_table(const Results& results) {
    Table table;
    each_stay(results, [&](const Stay& stay, const Fish* fish) {
        for (const Spell& spell : stay.spells) {
            spell_row(table, stay, fish, spell);
        }
    });
    if (table.is_empty()) {
        spell_row(table, Stay{}, nullptr, Spell{});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

std::string stay_table(const Results& results) {
    Table table;
    each_stay(results, [&](const Stay& stay, const Fish*) { stay_row(table, stay); });
    if (table.is_empty()) {
        stay_row(table, Stay{});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

std::string fish_table(const Results& results) {
    Table table;
    const auto estimators = estimator_words(results);
    for (const Fish& fish : results.fish) {
        fish_row(table, results, estimators, fish);
    }
    if (table.is_empty()) {
        fish_row(table, results, estimators, Fish{});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

std::string catch_table(const Results& results) {
    Table table;
    for (const RigCatch& rig : results.fishing.rigs) {
        catch_rows(table, rig);
    }
    if (table.is_empty()) {
        catch_row(table, {}, "step", "", {});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

std::string findings_table(const Results& results) {
    Table table;
    for (const findings::Finding& finding : results.findings) {
        if (finding.effects.empty()) {
            effect_row(table, finding, {});
        }
        for (const findings::FoundNumber& effect : finding.effects) {
            effect_row(table, finding, effect);
        }
    }
    if (table.is_empty()) {
        effect_row(table, {}, {});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

} // namespace backeddy::report
