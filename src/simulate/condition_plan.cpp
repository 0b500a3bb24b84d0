// What a plan of the condition may not be.

#include <algorithm>
#include <iterator>
#include <set>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "simulate/assay.hpp"
#include "simulate/condition.hpp"

namespace backeddy::simulate {

namespace {

Error bad(std::string found, std::string expected) {
    return {.code = ErrorCode::bad_setting,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "mend the brief"};
}

std::set<int> as_set(const std::vector<int>& fish) {
    return {fish.begin(), fish.end()};
}

std::set<int> dying_at_night(const SimulationPlan& plan) {
    std::set<int> out;
    for (const auto& fault : plan.faults) {
        if (fault.kind == FaultKind::death) {
            out.insert(fault.fish);
        }
    }
    return out;
}

/// One list of fish of [fates], and the fish that may stand in it.
struct Listed {
    const char* key;
    const std::vector<int>& fish;
    std::set<int> may;
    const char* which;
};

std::optional<Error> check_listed(const Listed& list) {
    std::set<int> seen;
    for (const int fish : list.fish) {
        if (!list.may.contains(fish) || !seen.insert(fish).second) {
            return bad(fmt::format("fish {} in {} of [fates]", fish, list.key), list.which);
        }
    }
    return std::nullopt;
}

std::optional<Error> check_fates(const SimulationPlan& plan) {
    if (!plan.fates) {
        return std::nullopt;
    }
    const auto& fates = *plan.fates;
    const auto dying = dying_at_night(plan);
    const auto dead_in_pen = as_set(fates.dead_in_pen);
    std::set<int> living;
    std::set<int> free;
    for (int fish = 1; fish <= plan.fish_count(); ++fish) {
        if (!dying.contains(fish)) {
            living.insert(fish);
            if (!dead_in_pen.contains(fish)) {
                free.insert(fish);
            }
        }
    }
    const char* of_living = "fish of the season that outlive the night, each once";
    const char* of_free = "fish that outlive night and pen, each once";
    std::set<int> with_transmitter;
    std::ranges::set_intersection(as_set(fates.implanted), free,
                                  std::inserter(with_transmitter, with_transmitter.end()));
    for (const auto& list :
         {Listed{"implanted", fates.implanted, living, of_living},
          Listed{"held", fates.held, living, of_living},
          Listed{"dead_in_pen", fates.dead_in_pen, as_set(fates.held), "fish of held, each once"},
          Listed{"detected", fates.detected, with_transmitter,
                 "fish of implanted that outlive the pen, each once"},
          Listed{"recaptured", fates.recaptured, free, of_free}, Listed{"lost", fates.lost, free, of_free}}) {
        if (auto error = check_listed(list)) {
            return error;
        }
    }
    return std::nullopt;
}

std::optional<Error> check_plate(const SimulationPlan& plan, const PlatePlan& plate) {
    // Its file bears its name.
    if (plate.name.empty() || plate.name.front() == '.' ||
        plate.name.find_first_of("/\\") != std::string::npos) {
        return bad(fmt::format("plate \"{}\"", plate.name),
                   "a name that can be a file's: no slash, no dot in front");
    }
    const std::set<double> standards(plate.standards_ng_per_ml.begin(), plate.standards_ng_per_ml.end());
    if (standards.size() != plate.standards_ng_per_ml.size() ||
        plate.bad_standard > static_cast<int>(standards.size())) {
        return bad(fmt::format("standards of plate {}", plate.name),
                   "each concentration once, and bad_standard the place of one of them");
    }
    if (!(plate.top > plate.bottom)) {
        return bad(fmt::format("plate {} with a top that is not above its bottom", plate.name),
                   "a signal that falls with the concentration");
    }
    const auto samples = samples_of_plate(plan, static_cast<std::size_t>(&plate - plan.plates.data()));
    if (samples.empty() || samples.size() > most_samples_of_plate) {
        return bad(fmt::format("{} fish on plate {}", samples.size(), plate.name),
                   fmt::format("1 to {} fish a plate, in the order of the season", most_samples_of_plate));
    }
    return std::nullopt;
}

std::optional<Error> check_assays(const SimulationPlan& plan) {
    if (!plan.blood && (!plan.meters.empty() || !plan.plates.empty())) {
        return bad("a [[meter]] or [[plate]] without [blood]", "[blood], from which they take their samples");
    }
    std::set<std::string> plates;
    for (const auto& plate : plan.plates) {
        if (!plates.insert(plate.name).second) {
            return bad(fmt::format("plate {} twice", plate.name), "names that differ");
        }
        if (auto error = check_plate(plan, plate)) {
            return error;
        }
    }
    std::set<MeterAnalyte> analytes;
    for (const auto& meter : plan.meters) {
        if (meter.name.empty() || !analytes.insert(meter.analyte).second) {
            return bad(fmt::format("meter \"{}\"", meter.name), "a name, and one meter for each analyte");
        }
    }
    return std::nullopt;
}

std::optional<Error> check_fish(const SimulationPlan& plan) {
    std::vector<std::pair<std::string, int>> named;
    if (plan.blood) {
        named.insert(named.end(), {{"haemolysed_fish of [blood]", plan.blood->haemolysed_fish},
                                   {"low_fish of [blood]", plan.blood->low_fish},
                                   {"high_fish of [blood]", plan.blood->high_fish}});
        if (plan.blood->low_fish > 0 && plan.blood->low_fish == plan.blood->high_fish) {
            return bad(fmt::format("fish {} both low_fish and high_fish of [blood]", plan.blood->low_fish),
                       "two fish");
        }
    }
    if (plan.reflexes) {
        named.emplace_back("untested_fish of [reflexes]", plan.reflexes->untested_fish);
    }
    for (const auto& [key, fish] : named) {
        if (fish > plan.fish_count()) {
            return bad(fmt::format("{} = {}", key, fish),
                       fmt::format("the number of a fish, at most {}; 0 for none", plan.fish_count()));
        }
    }
    return std::nullopt;
}

} // namespace

std::optional<Error> check_condition(const SimulationPlan& plan) {
    for (const auto check : {check_fish, check_assays, check_fates}) {
        if (auto error = check(plan)) {
            return error;
        }
    }
    return std::nullopt;
}

} // namespace backeddy::simulate
