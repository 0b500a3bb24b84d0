#include "app/column_doubts.hpp"

#include <algorithm>
#include <array>
#include <set>
#include <string>
#include <string_view>

#include <fmt/format.h>

#include "study/observed.hpp"

namespace backeddy::app {

namespace {

// As set_fish_columns() lays them over each other: the fish's own, then its encounter's, then what was found.
constexpr std::array<std::string_view, 4> of_fish{"fish", "species", "mass_g", "fork_length_mm"};
constexpr std::array<std::string_view, 10> of_encounter{
    "method", "who", "angler", "where", "rig", "unhooking", "landing", "hook_location", "water_temperature_c",
    "day"};
/// Set where something was found, and left as typed elsewhere.
constexpr std::array<std::string_view, 20> filled_up{"cortisol_ng_per_ml",
                                                     "glucose_mmol_per_l",
                                                     "lactate_mmol_per_l",
                                                     "haematocrit_percent",
                                                     "osmolality_mosm_per_kg",
                                                     "sodium_mmol_per_l",
                                                     "potassium_mmol_per_l",
                                                     "calcium_mmol_per_l",
                                                     "magnesium_mmol_per_l",
                                                     "chloride_mmol_per_l",
                                                     "hook_up_to_blood_min",
                                                     "fin_index",
                                                     "worst_fin",
                                                     "bleeding",
                                                     "reflexes_lost_share",
                                                     "death_after_capture_h",
                                                     "bled_ml_per_kg",
                                                     "temperature_c",
                                                     "seal_delay_s",
                                                     "tube"};
/// Typed on the deck where no event measures them: there on purpose, and filled up as the others are.
constexpr std::array<std::string_view, 3> of_deck{"fight_s", "air_s", "handling_s"};
/// Of events, spells, bites and stretches of fishing alone.
constexpr std::array<std::string_view, 17> of_other_rows{
    "after", "peak",    "scope",  "scope_ratio", "excess", "mo2",      "role",     "stay",     "hours",
    "rod",   "bycatch", "landed", "hooked",      "bites",  "hook_ups", "landings", "rod_hours"};

template <typename Names>
bool has(const Names& names, const std::string& name) {
    return std::ranges::find(names, name) != names.end();
}

/// Own columns of a table in which some cell holds something.
template <typename Rows>
std::set<std::string> own_columns(const Rows& rows) {
    std::set<std::string> out;
    for (const auto& row : rows) {
        for (const auto& cell : row.free) {
            if (!cell.value.empty()) {
                out.insert(cell.column);
            }
        }
    }
    return out;
}

study::Complaint complaint(const char* file, const std::string& column, const std::string& whose,
                           const std::string& used) {
    return {
        .severity = study::Severity::warning,
        .error = {
            .code = ErrorCode::unknown_name,
            .found = fmt::format("a column \"{}\" of your own, and {} has that name too", column, whose),
            .expected = fmt::format("a name of its own: questions that say \"{}\" are told {}", column, used),
            .remedy = "give your column another name, and name that in the question",
            .place = {.file = file, .line = 1, .column = column, .byte = {}}}};
}

void add_program_names(const char* file, const std::set<std::string>& own,
                       std::vector<study::Complaint>& out) {
    for (const auto& name : own) {
        if (has(of_encounter, name) || has(of_deck, name) || study::find_observed(name) == nullptr) {
            continue;
        }
        out.push_back(complaint(
            file, name, "a column that the program fills",
            has(filled_up, name)       ? "what the program finds, and your cell where it finds nothing"
            : has(of_other_rows, name) ? "your cell where rows are fish, and what the program finds elsewhere"
                                       : "what the program finds, never your cell"));
    }
}

} // namespace

std::vector<study::Complaint> column_doubts(const Study& study) {
    std::vector<study::Complaint> out;
    const auto in_fish = own_columns(study.tables.fish);
    const auto in_encounters = own_columns(study.tables.encounters);
    add_program_names("fish.csv", in_fish, out);
    add_program_names("encounters.csv", in_encounters, out);
    for (const auto& name : in_fish) {
        if (has(of_encounter, name)) {
            out.push_back(complaint("fish.csv", name, "what the program knows of the encounter",
                                    "the encounter's wherever the fish has one"));
        } else if (in_encounters.contains(name)) {
            out.push_back(complaint("fish.csv", name, "a column of encounters.csv",
                                    "the cell of the fish's encounter, an empty one too"));
        }
    }
    for (const auto& name : in_encounters) {
        if (has(of_fish, name) || (name == "angler" || name == "day")) {
            out.push_back(complaint("encounters.csv", name,
                                    has(of_fish, name) ? "a column of fish.csv"
                                                       : "what the program knows of the encounter",
                                    "your cell of the fish's encounter"));
        }
    }
    return out;
}

} // namespace backeddy::app
