#include "report/checklist.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <set>

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::report {

namespace {

using Answer = std::optional<std::string>;

struct Row {
    std::string_view word;
    std::uint32_t number; ///< 0 for a row of our own
    std::string_view criterion;
    std::string_view source; ///< where the answer comes from when `answer` gives one
    Answer (*answer)(const Results&);
};

Answer nobody(const Results&) {
    return std::nullopt;
}

// ---- helpers over the results

template <typename Visit>
void each_stay(const Results& results, const Visit& visit) {
    for (const Fish& fish : results.fish) {
        for (const Stay& stay : fish.stays) {
            visit(stay);
        }
    }
}

std::string joined(const std::set<std::string>& words, std::string_view between = "; ") {
    std::string text;
    for (const std::string& word : words) {
        if (!word.empty()) {
            text += (text.empty() ? "" : std::string(between)) + word;
        }
    }
    return text;
}

Answer if_any(std::string text) {
    return text.empty() ? std::nullopt : Answer(std::move(text));
}

/// "median 13 °C, from 12.1 to 14.3 (24 stays)"; nothing for no values.
Answer spread(std::vector<double> values, std::string_view unit, std::string_view counted, int digits = 4) {
    std::erase_if(values, [](double v) { return !std::isfinite(v); });
    if (values.empty()) {
        return std::nullopt;
    }
    std::ranges::sort(values);
    const std::size_t n = values.size();
    const double median = n % 2 == 1 ? values[n / 2] : 0.5 * (values[n / 2 - 1] + values[n / 2]);
    const auto shown = [&](double value) {
        std::string text = significant_text(value, digits);
        if (text.find('.') != std::string::npos) {
            text.erase(text.find_last_not_of('0') + 1);
        }
        return text.ends_with('.') ? text.substr(0, text.size() - 1) : text;
    };
    const std::string blank = unit.empty() ? "" : " ";
    return fmt::format("median {}{}{}, from {} to {} ({} {})", shown(median), blank, shown_unit(unit),
                       shown(values.front()), shown(values.back()), n, counted);
}

void take(std::vector<double>& values, const Number& number) {
    if (number.has_value()) {
        values.push_back(*number.value);
    }
}

/// Settings of a section whose key holds `part`: "window_s = 60 s; ...".
Answer settings_of(const Results& results, std::string_view section, std::string_view part = {}) {
    std::string text;
    for (const Setting& each : results.settings) {
        if (each.section == section && each.key.find(part) != std::string::npos) {
            text += fmt::format("{}{} = {}{}{}", text.empty() ? "" : "; ", each.key, each.value,
                                each.unit.empty() ? "" : " ", each.unit);
        }
    }
    return if_any(text);
}

template <typename Get>
Answer over_peaks(const Results& results, std::string_view unit, const Get& get) {
    std::string text;
    for (const std::string_view after : {"capture", "chase"}) {
        std::vector<double> values;
        for (const Fish& fish : results.fish) {
            for (const Peak& peak : fish.metrics.peaks) {
                if (peak.after == after) {
                    take(values, get(peak));
                }
            }
        }
        if (const auto found = spread(values, unit, "fish")) {
            text += fmt::format("{}after {}: {}", text.empty() ? "" : "; ", after, *found);
        }
    }
    return if_any(text);
}

template <typename Get>
Answer over_resting(const Results& results, std::string_view unit, const Get& get) {
    std::vector<double> values;
    for (const Fish& fish : results.fish) {
        if (fish.metrics.resting) {
            take(values, get(*fish.metrics.resting));
        }
    }
    return spread(values, unit, "fish");
}

// ---- the answers

Answer body_mass(const Results& results) {
    std::vector<double> values;
    double sum = 0.0;
    for (const Fish& fish : results.fish) {
        take(values, fish.mass_g);
    }
    for (const double value : values) {
        sum += value;
    }
    const auto text = spread(values, "g", "fish");
    return text ? Answer(fmt::format("mean {} g, {}",
                                     significant_text(sum / static_cast<double>(values.size()), 4), *text))
                : std::nullopt;
}

Answer volumes(const Results& results, Number Assembly::* member) {
    std::set<std::string> texts;
    for (const Assembly& each : results.assemblies) {
        if ((each.*member).has_value()) {
            texts.insert(each.name + ": " + text_of(each.*member));
        }
    }
    return if_any(joined(texts));
}

Answer ratio(const Results& results) {
    std::vector<double> values;
    each_stay(results, [&](const Stay& stay) { take(values, stay.volume_mass_ratio); });
    return spread(values, "L/kg", "stays", 3);
}

Answer recording_interval(const Results& results) {
    std::set<std::string> texts;
    for (const Sensor& each : results.sensors) {
        if (each.sampling_interval_s.has_value()) {
            texts.insert(each.name + ": every " + text_of(each.sampling_interval_s));
        }
    }
    return if_any(joined(texts));
}

/// Lengths of the runs of a state over all stays, minutes.
Answer run_lengths(const Results& results, uptake::ChamberState state, std::string_view what) {
    std::vector<double> minutes;
    each_stay(results, [&](const Stay& stay) {
        for (const StateRun& run : stay.trace.states) {
            if (run.state == state) {
                minutes.push_back((run.to - run.from).minutes());
            }
        }
    });
    return spread(minutes, "min", what, 3);
}

Answer closed_and_flush(const Results& results) {
    const auto flush = run_lengths(results, uptake::ChamberState::flush, "flushes");
    const auto sealed = run_lengths(results, uptake::ChamberState::sealed, "sealed spells, settle set aside");
    return flush && sealed ? Answer("flush " + *flush + "; sealed " + *sealed) : std::nullopt;
}

Answer flow(const Results& results) {
    return volumes(results, &Assembly::flow_l_per_min);
}

Answer calibrations(const Results& results) {
    std::set<std::string> texts;
    for (const Sensor& sensor : results.sensors) {
        for (const Calibration& each : sensor.calibrations) {
            texts.insert(
                fmt::format("{} {} {}", sensor.name, each.point, each.at ? iso_text(*each.at) : "undated"));
        }
    }
    return if_any(joined(texts));
}

Answer temperature(const Results& results) {
    std::vector<double> means;
    std::vector<double> drifts;
    each_stay(results, [&](const Stay& stay) {
        take(means, stay.temperature_celsius);
        for (const Spell& spell : stay.spells) {
            drifts.push_back(spell.answer.temperature_drift_c_per_h);
        }
    });
    const auto text = spread(means, "degC", "stays", 3);
    const auto drift = spread(drifts, "degC/h", "sealed spells", 2);
    return text ? Answer(*text + (drift ? "; drift " + *drift : "")) : std::nullopt;
}

Answer lowest_oxygen(const Results& results) {
    double lowest = std::numeric_limits<double>::infinity();
    each_stay(results, [&](const Stay& stay) {
        for (const Spell& spell : stay.spells) {
            if (std::isfinite(spell.answer.saturation_end_percent)) {
                lowest = std::min(lowest, spell.answer.saturation_end_percent);
            }
        }
    });
    return std::isfinite(lowest) ? Answer(fixed_text(lowest, 1) + " % of air saturation at a spell's end")
                                 : std::nullopt;
}

Answer trial_days(const Results& results) {
    std::optional<Instant> first;
    std::optional<Instant> last;
    each_stay(results, [&](const Stay& stay) {
        if (stay.from && (!first || *stay.from < *first)) {
            first = stay.from;
        }
        if (stay.to && (!last || *stay.to > *last)) {
            last = stay.to;
        }
    });
    return first && last
               ? Answer(fmt::format("{} days, {} to {}", significant_text((*last - *first).hours() / 24.0, 3),
                                    iso_text(*first), iso_text(*last)))
               : std::nullopt;
}

Answer background_method(const Results& results) {
    std::set<std::string> ways;
    each_stay(results, [&](const Stay& stay) { ways.insert(stay.background.how); });
    return if_any(joined(ways));
}

Answer background_slopes(const Results& results) {
    std::size_t spells = 0;
    for (const Stay& blank : results.blanks) {
        spells += blank.spells.size();
    }
    return results.blanks.empty()
               ? std::nullopt
               : Answer(fmt::format("{} slopes in {} blank stays", spells, results.blanks.size()));
}

Answer background_size(const Results& results) {
    std::vector<double> shares;
    each_stay(results, [&](const Stay& stay) { take(shares, stay.background.share_of_uptake); });
    const auto of_rest = over_resting(results, "% of resting uptake",
                                      [](const Resting& r) { return r.background_share_percent; });
    const auto of_stays = spread(shares, "% of the stay's uptake", "stays", 2);
    return of_rest && of_stays ? Answer(*of_rest + "; " + *of_stays) : (of_rest ? of_rest : of_stays);
}

Answer first_value_hours(const Results& results) {
    return over_resting(results, "h after handling", [](const Resting& r) { return r.cut_off_hours; });
}

Answer hours_measured(const Results& results) {
    return over_resting(results, "h in the chamber", [](const Resting& r) { return r.stay_hours; });
}

Answer resting_estimator(const Results& results) {
    std::set<std::string> rules;
    for (const Fish& fish : results.fish) {
        if (fish.metrics.resting) {
            rules.insert(fish.metrics.resting->picked);
        }
    }
    const std::string picks = joined(rules, ", ");
    const auto settings = settings_of(results, "resting");
    return picks.empty() ? settings
                         : Answer("picked by the rule: " + picks + (settings ? "; " + *settings : ""));
}

Answer resting_slopes(const Results& results) {
    return over_resting(results, "spells", [](const Resting& r) {
        for (const RestingEstimate& each : r.estimates) {
            if (each.is_picked) {
                return number(static_cast<double>(each.values), "");
            }
        }
        return no_number("none picked", "");
    });
}

Answer left_out(const Results& results) {
    const auto by_hand = std::ranges::count_if(results.exclusions,
                                               [](const Exclusion& e) { return e.by == ExcludedBy::human; });
    return fmt::format(
        "{} decisions by hand and {} exclusions by rule, each with its reason in the table of exclusions",
        by_hand, results.exclusions.size() - static_cast<std::size_t>(by_hand));
}

Answer r_squared(const Results& results) {
    std::vector<double> values;
    each_stay(results, [&](const Stay& stay) {
        for (const Spell& spell : stay.spells) {
            values.push_back(spell.answer.r_squared);
        }
    });
    const auto text = spread(values, "", "sealed spells", 3);
    return text ? Answer("no threshold: r² is reported and decides nothing; " + *text) : std::nullopt;
}

Answer r_squared_dropped(const Results&) {
    return "none: no slope is dropped for its r²";
}

Answer order_of_events(const Results& results) {
    return over_resting(results, "h from handling to the first value that counts at rest",
                        [](const Resting& r) { return r.cut_off_hours; });
}

Answer provoked(const Results& results) {
    std::set<std::string> names;
    for (const Fish& fish : results.fish) {
        for (const Peak& peak : fish.metrics.peaks) {
            names.insert(peak.name);
        }
    }
    return if_any(joined(names));
}

Answer peak_value(const Results& results) {
    const auto settings = settings_of(results, "peak");
    return settings ? Answer("steepest sliding window within one sealed spell; " + *settings) : std::nullopt;
}

Answer air(const Results& results) {
    return over_peaks(results, "s", [](const Peak& p) { return p.air_s; });
}

Answer delay(const Results& results) {
    const auto sealed = over_peaks(results, "s to the seal", [](const Peak& p) { return p.delay_to_seal_s; });
    const auto window =
        over_peaks(results, "s to the window", [](const Peak& p) { return p.delay_to_window_s; });
    return sealed && window ? Answer(*sealed + "; " + *window) : sealed;
}

Answer window_length(const Results& results) {
    return over_peaks(results, "s", [](const Peak& p) { return p.window_s; });
}

Answer rolling(const Results&) {
    return "a window slid by one reading within one sealed spell, after settle, never across a flush or a "
           "gap";
}

Answer scope_made(const Results& results) {
    const auto settings = settings_of(results, "adjust");
    return "absolute: peak less rest; factorial: peak over rest, interval on the log scale" +
           (settings ? "; adjusted values stand beside the measured: " + *settings : std::string{});
}

Answer sample_size(const Results& results) {
    std::string text;
    for (const AccountingStage& stage : results.accounting.stages) {
        text += fmt::format("{}{} {}", text.empty() ? "" : ", ", stage.title, stage.count);
    }
    return if_any(text);
}

Answer calculation(const Results& results) {
    return fmt::format(
        "{} {}: uptake = −slope × (chamber + loop − fish) less background, mg/h; divided by mass, mg/kg/h",
        results.study.program, results.study.program_version);
}

Answer fish_volume(const Results&) {
    return "yes: mass over density was subtracted from chamber and loop";
}

Answer loop_volume(const Results& results) {
    const bool all = !results.assemblies.empty() &&
                     std::ranges::all_of(results.assemblies,
                                         [](const Assembly& each) { return each.loop_volume_l.has_value(); });
    return all ? Answer("yes: the loop's volume is part of every assembly's volume") : std::nullopt;
}

Answer mass_allowed(const Results& results) {
    return settings_of(results, "adjust", "mass");
}

Answer pressure_and_salinity(const Results& results) {
    const Water& water = results.water;
    if (!water.pressure_kpa.has_value() && !water.salinity.has_value()) {
        return std::nullopt;
    }
    return fmt::format("pressure {} ({}); salinity {} ({})", text_of(water.pressure_kpa), water.pressure_from,
                       text_of(water.salinity), water.salinity_from);
}

Answer clock_offsets(const Results& results) {
    std::set<std::string> texts;
    for (const Clock& each : results.clocks) {
        texts.insert(each.name + ": " + (each.checks.empty() ? "never checked" : text_of(each.offset_s)));
    }
    return if_any(joined(texts));
}

Answer window_curve(const Results& results) {
    const bool any = std::ranges::any_of(results.fish, [](const Fish& fish) {
        return std::ranges::any_of(fish.metrics.peaks, [](const Peak& p) { return !p.curve.empty(); });
    });
    return any ? Answer("drawn for every fish") : std::nullopt;
}

Answer every_estimator(const Results& results) {
    const bool any =
        std::ranges::any_of(results.fish, [](const Fish& fish) { return fish.metrics.resting.has_value(); });
    return any ? Answer("tabled for every fish") : std::nullopt;
}

Answer temperatures_apart(const Results& results) {
    std::vector<double> at_capture;
    for (const Fish& fish : results.fish) {
        for (const Encounter& each : fish.encounters) {
            take(at_capture, each.water_temperature_celsius);
        }
    }
    const auto caught = spread(at_capture, "degC", "captures", 3);
    const auto chamber = temperature(results);
    return caught && chamber ? Answer("at capture " + *caught + "; in the chambers " + *chamber)
                             : std::nullopt;
}

Answer permit(const Results& results) {
    return if_any(results.study.permit);
}

Answer fates(const Results& results) {
    std::string text;
    for (const FateCount& each : results.accounting.fates) {
        text += fmt::format("{}{} {}", text.empty() ? "" : ", ", each.fate, each.count);
    }
    return if_any(text);
}

struct Section {
    std::string_view title;
    std::vector<Row> rows;
};

const std::vector<Section>& sections() {
    using R = const Results&;
    static const std::vector<Section> all{
        {"Equipment and set-up",
         {
             {"body_mass", 1, "Body mass of the animals when measured", "journal", body_mass},
             {"chamber_volume", 2, "Volume of each respirometer when empty", "brief",
              [](R r) { return volumes(r, &Assembly::chamber_volume_l); }},
             {"mixing", 3, "How the water in the closed chamber was mixed", "brief", nobody},
             {"volume_mass_ratio", 4, "Net volume, loop included, to the animal's mass", "results", ratio},
             {"loop_material", 5, "What the loop's tubing is made of", "brief", nobody},
             {"loop_volume", 6, "Volume of the loop's tubing", "brief",
              [](R r) { return volumes(r, &Assembly::loop_volume_l); }},
             {"loop_counted", 7, "Whether the loop's volume entered the uptake", "results", loop_volume},
             {"chamber_material", 8, "What the respirometer is made of", "brief", nobody},
             {"probe", 9, "Kind of oxygen probe and of recorder", "brief", nobody},
             {"recording", 10, "How often oxygen was recorded", "stays", recording_interval},
             {"probe_place", 11, "Where the probe sat: loop or chamber", "brief", nobody},
             {"flush_flow", 12, "Flow of the flush, or evidence that it restored oxygen", "brief", flow},
             {"periods", 13, "Length of flush and closed periods", "stays", closed_and_flush},
             {"settle", 14, "How much of the start of a closed period was set aside", "brief",
              [](R r) { return settings_of(r, "settle"); }},
             {"calibration", 15,
              "Calibrations of the probe: when, and what stood for zero and for full saturation (sulfite: "
              "never with "
              "acid, fresh air, gloves and eye protection, rinse the probe; the site's rules come first)",
              "journal", calibrations},
             {"compensation", 16, "Whether the recorder compensated for temperature", "brief", nobody},
         }},
        {"Conditions",
         {
             {"temperature", 17, "Water temperature during measurement", "stays", temperature},
             {"temperature_control", 18, "What kept the temperature, and how closely", "brief", nobody},
             {"light", 19, "Light during measurement", "brief", nobody},
             {"water_treatment", 20, "How the surrounding water was cleaned and aerated", "brief", nobody},
             {"bath_volume", 21, "Volume of the surrounding bath and reservoirs", "brief", nobody},
             {"lowest_oxygen", 22, "Lowest oxygen reached in closed periods", "stays", lowest_oxygen},
             {"screening", 23, "Whether chambers were screened from disturbance", "brief", nobody},
             {"fish_sharing_water", 24, "Fish drawing on the same water at the same time", "brief", nobody},
             {"sight", 25, "Sight between neighbouring chambers", "brief", nobody},
             {"fasting", 26, "Time without food beforehand", "journal", nobody},
             {"duration", 27, "Length of the whole set of trials", "stays", trial_days},
             {"time_since_capture", 28, "Time since capture before measuring", "journal", delay},
         }},
        {"Background",
         {
             {"background", 29, "Whether microbial uptake was allowed for, from which blanks", "brief",
              background_method},
             {"background_slopes", 30, "How many background slopes, over what time", "stays",
              background_slopes},
             {"background_model", 31, "How the change of background with time was modelled", "brief",
              [](R r) { return settings_of(r, "background"); }},
             {"background_size", 32, "Size of the background", "results", background_size},
             {"cleaning", 33,
              "What the rig was cleaned with, and when (bleach: rinsed, neutralised and tested before a fish "
              "goes in, "
              "never with acid or ammonia, not into open water; the site's rules come first)",
              "journal", nobody},
         }},
        {"Resting uptake",
         {
             {"first_value", 34, "Time before the first value that counted", "stays", first_value_hours},
             {"rest_length", 35, "Length of the period over which rest was measured", "stays",
              hours_measured},
             {"rest_estimator", 36, "Which value was taken as resting uptake", "brief", resting_estimator},
             {"rest_slopes", 37, "How many slopes went into that value", "results", resting_slopes},
             {"left_out", 38, "Which periods were left out", "journal", left_out},
             {"r_squared", 39, "Threshold or mean of r² for slopes", "results", r_squared},
             {"r_squared_dropped", 40, "Share of slopes dropped for low r²", "results", r_squared_dropped},
         }},
        {"Peak uptake",
         {
             {"order", 41, "Order of peak and rest, and the hours between", "stays", order_of_events},
             {"provoked", 42, "How peak uptake was provoked", "brief", provoked},
             {"peak_value", 43, "Which value was taken as peak", "brief", peak_value},
             {"chase", 44, "Length of the chase and size of the arena", "journal", nobody},
             {"air", 45, "Air exposure after exhaustion, and how long", "journal", air},
             {"delay", 46, "Time from exhaustion to chamber and first record", "stays", delay},
             {"peak_window", 47, "Length of the slopes used for peak", "brief", window_length},
             {"peak_search", 48, "How the slopes were located", "brief", rolling},
             {"scope", 49, "How scope was calculated, and whether mass-adjusted", "brief", scope_made},
         }},
        {"Data handling",
         {
             {"sample_size", 50, "Sample size, with losses", "results", sample_size},
             {"calculation", 51, "How uptake was calculated: program, equation, units", "results",
              calculation},
             {"fish_volume", 52, "Whether the animal's volume was subtracted", "results", fish_volume},
             {"mass_allowed", 53, "Whether body mass was allowed for, and by what exponent", "brief",
              mass_allowed},
         }},
        {"Field rows of our own",
         {
             {"pressure_salinity", 0, "Barometric pressure and salinity, and where they came from", "results",
              pressure_and_salinity},
             {"before_seal", 0, "Fight, handling and air before the first seal", "journal", delay},
             {"clocks", 0, "Clock offsets between devices", "journal", clock_offsets},
             {"darkness", 0, "Hours of darkness in the overnight stay", "brief", nobody},
             {"window_curve", 0, "Peak against window length", "results", window_curve},
             {"estimators", 0, "Resting uptake by every estimator", "results", every_estimator},
             {"background_convention", 0, "Background by whole chamber or by water volume", "brief",
              [](R r) { return settings_of(r, "background", "volume"); }},
             {"two_temperatures", 0, "Temperature at capture and in the chamber", "stays",
              temperatures_apart},
             {"blood", 0, "Number of blood draws and volume per kg", "journal", nobody},
             {"permit", 0, "Permit number", "brief", permit},
             {"fates", 0, "Fish that died or were withdrawn, with reasons", "journal", fates},
         }},
    };
    return all;
}

const NamedText* answer_by_hand(const Results& results, std::string_view word) {
    const auto found = std::ranges::find(results.answers, word, &NamedText::name);
    return found != results.answers.end() && !found->text.empty() ? &*found : nullptr;
}

} // namespace

std::string_view word_of(AnswerState state) {
    switch (state) {
    case AnswerState::answered:
        return "answered";
    case AnswerState::not_applicable:
        return "not_applicable";
    case AnswerState::unanswered:
        break;
    }
    return "unanswered";
}

std::vector<ChecklistRow> checklist(const Results& results) {
    std::vector<ChecklistRow> rows;
    for (const Section& section : sections()) {
        for (const Row& row : section.rows) {
            ChecklistRow filled{.word = std::string(row.word),
                                .section = std::string(section.title),
                                .criterion = std::string(row.criterion),
                                .filled_from = "nobody yet"};
            if (row.number != 0) {
                filled.number = row.number;
            }
            if (const NamedText* by_hand = answer_by_hand(results, row.word)) {
                filled.answer = by_hand->text;
                filled.filled_from = "answered by hand";
                filled.state = by_hand->text.starts_with("not applicable") ? AnswerState::not_applicable
                                                                           : AnswerState::answered;
            } else if (const Answer found = row.answer(results)) {
                filled.answer = *found;
                filled.filled_from = std::string(row.source);
                filled.state = AnswerState::answered;
            }
            rows.push_back(std::move(filled));
        }
    }
    return rows;
}

} // namespace backeddy::report
