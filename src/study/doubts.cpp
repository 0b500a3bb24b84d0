#include "study/doubts.hpp"

#include <algorithm>
#include <iterator>
#include <optional>
#include <set>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "study/columns.hpp"
#include "study/likeness.hpp"
#include "study/relations.hpp"
#include "study/weighing.hpp"

namespace backeddy::study {

namespace {

constexpr double least_condition = 0.3;
constexpr double most_condition = 3.0;
constexpr double most_litres_per_kg = 1000.0;
constexpr double most_condition_ratio = 2.0;
constexpr std::size_t least_others_for_condition = 4;
constexpr double most_mass_ratio = 30.0;

template <typename Rows, typename Name>
std::vector<std::string> names_of(const Rows& rows, Name name) {
    std::vector<std::string> out;
    for (const auto& row : rows) {
        out.push_back(name(row));
    }
    return out;
}

void check_clock_names(std::vector<Complaint>& out, const Brief& brief, const Tables& tables) {
    const auto checked = names_of(tables.clock_checks, [](const ClockCheck& c) { return c.clock.text(); });
    for (const auto& trace : brief.traces) {
        const std::string& clock = trace.clock.text();
        if (clock.empty() || std::ranges::find(checked, clock) != checked.end()) {
            continue;
        }
        if (const auto near = nearest_name(clock, checked)) {
            out.push_back(warn(trace.place, "clock",
                               {ErrorCode::unknown_name,
                                fmt::format("clock_checks.csv has no check of the clock \"{}\"", clock),
                                "a check; its times are taken as they are",
                                fmt::format("did you mean \"{}\"?", *near)}));
        }
    }
}

void check_timetables(std::vector<Complaint>& out, const Brief& brief, const Tables& tables) {
    const auto names = names_of(tables.assemblies, [](const Assembly& a) { return a.id.text(); });
    for (const auto& entry : brief.states.timetables) {
        const std::string& name = entry.assembly.text();
        if (name.empty() || std::ranges::find(names, name) != names.end()) {
            continue;
        }
        const auto near = nearest_name(name, names);
        out.push_back(stop(entry.place, "assembly",
                           {ErrorCode::unknown_name,
                            fmt::format("a timetable of \"{}\", which is not in assemblies.csv", name),
                            fmt::format("one of {}", fmt::join(std::set(names.begin(), names.end()), ", ")),
                            near ? fmt::format("did you mean \"{}\"?", *near)
                                 : "correct it, or leave it out: then it holds for all without one",
                            "assemblies.csv"}));
    }
}

void check_species(std::vector<Complaint>& out, const Brief& brief, const Tables& tables) {
    const auto& listed = brief.study.species;
    if (listed.empty()) {
        return;
    }
    std::set<std::string> said;
    for (const auto& fish : tables.fish) {
        if (fish.species.empty() || std::ranges::find(listed, fish.species) != listed.end() ||
            !said.insert(fish.species).second) {
            continue;
        }
        const auto near = nearest_name(fish.species, listed);
        out.push_back(
            warn(fish.place, "species",
                 {ErrorCode::unknown_name, fmt::format("[study] species does not list \"{}\"", fish.species),
                  fmt::format("one of {}", fmt::join(listed, ", ")),
                  near ? fmt::format("did you mean \"{}\"?", *near) : "list it, or correct it"}));
    }
}

void add_columns(std::set<std::string>& names, TableName table, const std::vector<FreeCell>* free) {
    for (const auto& definition : study::tables()) {
        if (definition.name == table) {
            for (const auto& name : definition.column_names()) {
                names.insert(name);
            }
        }
    }
    if (free != nullptr) {
        for (const auto& cell : *free) {
            names.insert(cell.column);
        }
    }
}

void check_groups(std::vector<Complaint>& out, const Brief& brief, const Tables& tables) {
    const std::string& wanted = brief.report.group_by;
    if (wanted.empty()) {
        return;
    }
    std::set<std::string> names;
    add_columns(names, TableName::fish, tables.fish.empty() ? nullptr : &tables.fish.front().free);
    add_columns(names, TableName::encounters,
                tables.encounters.empty() ? nullptr : &tables.encounters.front().free);
    if (names.contains(wanted)) {
        return;
    }
    const auto near = nearest_name(wanted, {names.begin(), names.end()});
    out.push_back(warn({.file = brief.file}, "group_by",
                       {ErrorCode::unknown_name, fmt::format("[report] group_by = \"{}\"", wanted),
                        "a column of fish.csv or encounters.csv; no fish is in a group",
                        near ? fmt::format("did you mean \"{}\"?", *near) : "correct it, or take it out"}));
}

/// 100 g/cm3 times mass over length cubed (Fulton); nothing without both.
std::optional<double> condition_of(const Fish& fish) {
    if (!fish.mass || !fish.fork_length_mm || !(*fish.fork_length_mm > 0.0)) {
        return std::nullopt;
    }
    const double cm = *fish.fork_length_mm / 10.0;
    return 100.0 * fish.mass->grams() / (cm * cm * cm);
}

std::optional<double> grams_of(const Fish& fish) {
    return fish.mass ? std::optional(fish.mass->grams()) : std::nullopt;
}

double median_of(std::vector<double> values) {
    std::ranges::sort(values);
    const std::size_t half = values.size() / 2;
    return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

/// Of the other fish of its species, those that have it.
template <typename Value>
std::vector<double> of_others(const Tables& tables, const Fish& fish, Value value) {
    std::vector<double> out;
    for (const auto& other : tables.fish) {
        const auto known = &other != &fish && other.species == fish.species ? value(other) : std::nullopt;
        if (known) {
            out.push_back(*known);
        }
    }
    return out;
}

bool is_far(double value, double from, double ratio) {
    return value > from * ratio || value * ratio < from;
}

std::string others_of(const Fish& fish, std::size_t count) {
    return fmt::format("{} other{}{}", count, count == 1 ? "" : "s",
                       fish.species.empty() ? "" : " of " + fish.species);
}

} // namespace

std::vector<Complaint> check_condition(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& fish : tables.fish) {
        const auto known = condition_of(fish);
        if (!known) {
            continue;
        }
        const double factor = *known;
        if (factor >= least_condition && factor <= most_condition) {
            continue;
        }
        out.push_back(warn(
            fish.place, "mass_g",
            {ErrorCode::out_of_range,
             fmt::format("\"{}\" weighs {} g at a fork length of {} mm: a condition factor of {}",
                         fish.id.text(), exact_text(fish.mass->grams()), exact_text(*fish.fork_length_mm),
                         significant_text(factor, 2)),
             "between 0.3 and 3 (100 g/cm3) for a fish of usual shape",
             "look whether the mass is in g (not kg) and the length in mm; nothing, if the fish is so"}));
    }
    return out;
}

std::vector<Complaint> check_masses(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& fish : tables.fish) {
        const auto grams = grams_of(fish);
        if (!grams) {
            continue;
        }
        if (const auto factor = condition_of(fish)) {
            const auto others = of_others(tables, fish, condition_of);
            const bool is_told = *factor < least_condition || *factor > most_condition;
            if (is_told || others.size() < least_others_for_condition ||
                !is_far(*factor, median_of(others), most_condition_ratio)) {
                continue;
            }
            out.push_back(warn(
                fish.place, "mass_g",
                {ErrorCode::out_of_range,
                 fmt::format("\"{}\" weighs {} g at a fork length of {} mm: a condition factor of {}, the "
                             "median of {} is {}",
                             fish.id.text(), exact_text(*grams), exact_text(*fish.fork_length_mm),
                             significant_text(*factor, 2), others_of(fish, others.size()),
                             significant_text(median_of(others), 2)),
                 "between half and twice that of its kind",
                 "look whether mass and length are of this fish, the mass in g (not in pounds) and the "
                 "length to the fork in mm; nothing, if the fish is so"}));
            continue;
        }
        const auto others = of_others(tables, fish, grams_of);
        if (others.empty() || !is_far(*grams, median_of(others), most_mass_ratio)) {
            continue;
        }
        out.push_back(warn(
            fish.place, "mass_g",
            {ErrorCode::out_of_range,
             fmt::format("\"{}\" weighs {} g, the median of {} is {} g", fish.id.text(), exact_text(*grams),
                         others_of(fish, others.size()), significant_text(median_of(others), 3)),
             "within 30 times of its kind; uptake per kilogram goes with the mass, and into the means",
             "look whether it is in g (not kg); nothing, if the fish is so: a fork_length_mm says more"}));
    }
    return out;
}

std::vector<Complaint> check_any_mass(const Tables& tables) {
    const auto is_weighed = [&](const Fish& fish) {
        return fish.mass || std::ranges::any_of(tables.events, [&](const Event& event) {
                   return is_weighing_of(fish, event, tables);
               });
    };
    if (tables.fish.empty() || std::ranges::any_of(tables.fish, is_weighed)) {
        return {};
    }
    return {warn(
        {.file = "fish.csv"}, "mass_g",
        {ErrorCode::too_few, fmt::format("no fish has a mass ({} in the table)", tables.fish.size()),
         "the mass of each in mass_g: without it all uptake is per fish (mg/h), nothing is per kilogram, "
         "no mean is made, and the fish's own volume is not taken off the chamber's",
         "fill mass_g, in g, or add events \"weighed\" with value and unit; nothing, if none was "
         "weighed"})};
}

std::vector<Complaint> check_room(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& row : tables.assemblies) {
        if (row.loop_volume > row.chamber_volume) {
            out.push_back(warn(
                row.place, "loop_volume_l",
                {ErrorCode::out_of_range,
                 fmt::format("the loop of \"{}\" holds {} L, its chamber {} L", row.id.text(),
                             exact_text(row.loop_volume.litres()), exact_text(row.chamber_volume.litres())),
                 "tubing that holds less than the chamber; uptake goes with the sum of both",
                 "look whether loop_volume_l is in L (not mL)"}));
        }
    }
    std::set<std::pair<FishId, const Assembly*>> said;
    for (const auto& stay : tables.stays) {
        const Fish* fish = stay.has_fish() ? tables.find(stay.fish) : nullptr;
        const auto known = fish == nullptr ? std::nullopt : mass_for(*fish, stay, tables);
        if (!known || stay.to() <= stay.from()) {
            continue;
        }
        for (const auto& split : splits_of(stay, tables)) {
            const double litres = split.assembly->chamber_volume.litres();
            const double ratio = litres / known->mass.kilograms();
            if (ratio <= most_litres_per_kg || !said.emplace(fish->id, split.assembly).second) {
                continue;
            }
            out.push_back(warn(stay.place, "assembly",
                               {ErrorCode::out_of_range,
                                fmt::format("\"{}\" holds {} L for \"{}\" of {} g: {} L for each kg",
                                            stay.assembly.text(), exact_text(litres), fish->id.text(),
                                            exact_text(known->mass.grams()), significant_text(ratio, 2)),
                                "some 5 to 200 L for each kg; uptake goes with the volume",
                                "look whether chamber_volume_l is in L (not mL) and mass_g in g (not kg)"}));
        }
    }
    return out;
}

std::vector<Complaint> check_brief_names(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    check_timetables(out, brief, tables);
    check_clock_names(out, brief, tables);
    check_species(out, brief, tables);
    check_groups(out, brief, tables);
    return out;
}

std::vector<Complaint> check_look_alikes(const Tables& tables) {
    std::vector<Complaint> out;
    std::vector<std::string> before;
    for (const auto& fish : tables.fish) {
        if (look_alike(fish.id.text(), before)) {
            out.push_back(
                warn(fish.place, "fish",
                     {ErrorCode::duplicate, fmt::format("\"{}\" is a fish of its own", fish.id.text()),
                      "names that can be told apart", look_alike_remedy()}));
        }
        before.push_back(fish.id.text());
    }
    return out;
}

std::vector<Complaint> check_doubts(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (auto&& some : {check_condition(tables), check_masses(tables), check_any_mass(tables),
                        check_room(tables), check_brief_names(brief, tables), check_look_alikes(tables)}) {
        std::ranges::copy(some, std::back_inserter(out));
    }
    return out;
}

} // namespace backeddy::study
