#include "app/detail/observed_condition.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/condition_parts.hpp"
#include "app/detail/observed_rows.hpp"
#include "app/detail/results_condition_parts.hpp"
#include "app/detail/results_parts.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Analyte;
using findings::Absent;
using findings::Cell;
using findings::Observations;
using findings::Value;
using findings::Within;
using findings::Word;

struct AnalyteColumn {
    Analyte analyte;
    const char* name;
};

constexpr AnalyteColumn analyte_columns[] = {
    {Analyte::cortisol, "cortisol_ng_per_ml"},       {Analyte::glucose, "glucose_mmol_per_l"},
    {Analyte::lactate, "lactate_mmol_per_l"},        {Analyte::haematocrit, "haematocrit_percent"},
    {Analyte::osmolality, "osmolality_mosm_per_kg"}, {Analyte::sodium, "sodium_mmol_per_l"},
    {Analyte::potassium, "potassium_mmol_per_l"},    {Analyte::calcium, "calcium_mmol_per_l"},
    {Analyte::magnesium, "magnesium_mmol_per_l"},    {Analyte::chloride, "chloride_mmol_per_l"}};

Cell analyte_cell(const DrawAnswer* draw, Analyte analyte, const AnalyteMatrices& matrices) {
    const auto matrix = matrices.find(analyte);
    if (draw == nullptr || matrix == matrices.end()) {
        return Absent{draw == nullptr ? "no blood with a value after capture" : "not measured"};
    }
    const auto* value = draw->find(analyte, matrix->second);
    if (value == nullptr) {
        return Absent{
            fmt::format("not measured in {} at the first draw", spaced(study::word_of(matrix->second)))};
    }
    const auto& determined = value->determined;
    if (determined.known == condition::Known::exactly) {
        return Value{.value = determined.value, .uncertainty = determined.uncertainty};
    }
    return Within{.lower = determined.known_within.lower, .upper = determined.known_within.upper};
}

/// The first look that says how the hook's wound bled.
const BodyAnswer* first_bleeding(const FishCondition& fish) {
    const auto found = std::ranges::find_if(
        fish.body, [](const BodyAnswer& body) { return body.look.bleeding.has_value(); });
    return found == fish.body.end() ? nullptr : &*found;
}

Cell reflex_cell(const FishCondition& fish) {
    if (fish.reflexes.empty()) {
        return Absent{"no reflex was tested"};
    }
    const auto& first = fish.reflexes.front().impairment;
    if (!first) {
        return Absent{first.error().text()};
    }
    return first->share ? Cell(Value{.value = *first->share}) : Cell(Absent{"no reflex was tested"});
}

} // namespace

AnalyteMatrices matrices_of(const ConditionAnswers& condition) {
    std::map<Analyte, std::map<condition::Matrix, std::size_t>> counts;
    for (const auto& fish : condition.fish) {
        const auto* draw = first_draw(fish);
        if (draw == nullptr) {
            continue;
        }
        std::set<std::pair<Analyte, condition::Matrix>> seen;
        for (const auto& value : draw->values) {
            if (is_blood(value.matrix) && seen.emplace(value.analyte, value.matrix).second) {
                ++counts[value.analyte][value.matrix];
            }
        }
    }
    AnalyteMatrices out;
    for (const auto& [analyte, of] : counts) {
        const auto most = std::ranges::max_element(of, {}, [](const auto& one) { return one.second; });
        out.emplace(analyte, most->first);
    }
    return out;
}

void set_derived(Observations& rows, std::size_t row, const char* name, Cell cell) {
    const auto* column = rows.column(name);
    const bool has_typed = column != nullptr && !std::holds_alternative<Absent>(column->cells[row]);
    if (!std::holds_alternative<Absent>(cell) || !has_typed) {
        rows.set(row, name, std::move(cell));
    }
}

void set_blood(Observations& rows, std::size_t row, const FishCondition& fish,
               const AnalyteMatrices& matrices) {
    const auto* draw = first_draw(fish);
    for (const auto& [analyte, name] : analyte_columns) {
        set_derived(rows, row, name, analyte_cell(draw, analyte, matrices));
        const auto matrix = matrices.find(analyte);
        const auto* value =
            draw == nullptr || matrix == matrices.end() ? nullptr : draw->find(analyte, matrix->second);
        if (value != nullptr && !value->doubts.empty()) {
            rows.column_of(name).doubts[row] = fmt::format("{}", fmt::join(value->doubts, "; "));
        }
    }
    const auto since = draw == nullptr ? std::nullopt : draw->times.since_hook_up;
    set_derived(rows, row, "hook_up_to_blood_min",
                since ? Cell(Value{.value = since->seconds / 60.0})
                      : Cell(Absent{"no hook-up, or no blood, was written down"}));
}

void set_scores(Observations& rows, std::size_t row, const FishCondition& fish, const study::Brief& brief) {
    const auto* fins = at_landing(fish);
    const auto* index = fins != nullptr && fins->index ? &*fins->index : nullptr;
    const char* none = fins == nullptr ? "its fins were not scored at landing" : "too few fins were scored";
    set_derived(rows, row, "fin_index",
                index != nullptr && index->mean ? Cell(Value{.value = *index->mean}) : Cell(Absent{none}));
    set_derived(rows, row, "worst_fin",
                index != nullptr && index->worst ? word_cell(brief.fins.scale.levels.at(*index->worst))
                                                 : Cell(Absent{none}));
    const auto* body = first_bleeding(fish);
    set_derived(rows, row, "bleeding",
                body == nullptr ? Cell(Absent{"not looked at"})
                                : Cell(Word{study::word_of(*body->look.bleeding)}));
    set_derived(rows, row, "reflexes_lost_share", reflex_cell(fish));
}

void order_scores(Observations& rows, const study::Brief& brief) {
    rows.column_of("worst_fin").levels = brief.fins.scale.levels;
    rows.column_of("bleeding").levels = study::words_of(condition::Bleeding{});
}

void set_handling(Observations& rows, std::size_t row, const FishCondition& fish,
                  const study::Encounter* met) {
    const auto own = std::ranges::find(fish.handling, met, &study::Handling::encounter);
    const auto& times = (own == fish.handling.end() ? fish.handling.front() : *own).times;
    const auto seconds = [](const std::optional<condition::Elapsed>& elapsed, const char* none) {
        return elapsed ? Cell(Value{.value = elapsed->seconds}) : Cell(Absent{none});
    };
    set_derived(rows, row, "fight_s", seconds(times.fight, "hook_up or landed was not written down"));
    // No air spell written down is none of known length, not one of 0 s.
    set_derived(rows, row, "air_s", seconds(times.air, "no air spell was written down"));
    set_derived(rows, row, "handling_s",
                seconds(times.handling, "landed or back_in_water was not written down"));
}

Cell death_cell(const FishCondition& fish) {
    const auto caught = caught_at(fish);
    if (!caught || !fish.fate) {
        return Absent{caught ? "nothing is written down of its fate" : "no capture was written down"};
    }
    const auto hours = condition::hours_from(fish.fate->fate, *caught);
    if (!hours) {
        return Absent{hours.error().text()};
    }
    if (!std::isfinite(hours->upper)) {
        return Within{.lower = hours->lower, .upper = hours->upper};
    }
    // Curves that want one time draw it when it was found.
    return hours->lower == hours->upper
               ? Cell(Value{.value = hours->upper})
               : Cell(Within{.lower = hours->lower, .upper = hours->upper, .at = hours->upper});
}

Cell bled_cell(const Study& study, const FishAnswer& fish, const FishCondition& condition,
               const EventAnswer* event) {
    if (event == nullptr) {
        return Absent{"not chased"};
    }
    const auto before = event->peak ? event->peak->window_from : event->zero.at;
    const auto bled = bled_before(condition, study, *fish.fish, before);
    return bled ? Cell(Value{.value = *bled}) : Cell(Absent{not_weighed});
}

} // namespace backeddy::app::detail
