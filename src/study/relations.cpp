#include "study/relations.hpp"

#include <algorithm>
#include <iterator>
#include <map>
#include <string>
#include <tuple>

#include <fmt/format.h>

#include "study/condition_sheets.hpp"
#include "study/detail/relation_words.hpp"
#include "study/doubts.hpp"
#include "study/event_doubts.hpp"
#include "study/handling.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

void append(std::vector<Complaint>& out, std::vector<Complaint> more) {
    out.insert(out.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

/// Rows whose key was there before.
template <typename Rows, typename Key, typename Text>
void duplicates(std::vector<Complaint>& out, const Rows& rows, const std::string& column, Severity severity,
                Key key_of, Text text_of) {
    std::map<decltype(key_of(rows.front())), Place> seen;
    for (const auto& row : rows) {
        const auto [first, is_new] = seen.emplace(key_of(row), row.place);
        if (!is_new) {
            out.push_back(
                complaint(severity, row.place, column,
                          {.code = ErrorCode::duplicate,
                           .found = text_of(row) + " stands in " + line_text(first->second) + " already",
                           .expected = "each once",
                           .remedy = "delete one, or give it a name of its own"}));
        }
    }
}

} // namespace

// ---------------------------------------------------------------------------------------------- keys

std::vector<Complaint> check_keys(const Tables& tables) {
    std::vector<Complaint> out;
    constexpr auto stops = Severity::stops_the_run;
    duplicates(
        out, tables.fish, "fish", stops, [](const Fish& r) { return r.id.text(); },
        [](const Fish& r) { return "the fish " + quote(r.id.text()); });
    duplicates(
        out, tables.encounters, "encounter", stops, [](const Encounter& r) { return r.id.text(); },
        [](const Encounter& r) { return "the encounter " + quote(r.id.text()); });
    duplicates(
        out, tables.stays, "stay", stops, [](const Stay& r) { return r.id.text(); },
        [](const Stay& r) {
            return "the stay " + quote(r.id.text()) + " (its rows must follow each other)";
        });
    duplicates(
        out, tables.calibrations, "at", stops,
        [](const Calibration& r) { return std::tuple(r.sensor, r.at, r.point); },
        [](const Calibration& r) {
            return fmt::format("the {} point of {} at {}", word_of(r.point), quote(r.sensor.text()),
                               iso_text(r.at));
        });
    duplicates(
        out, tables.clock_checks, "shown", Severity::warning,
        [](const ClockCheck& r) { return std::tuple(r.clock, r.shown, r.true_time, r.reference); },
        [](const ClockCheck& r) { return "this check of " + quote(r.clock.text()); });
    duplicates(
        out, tables.events, "event", Severity::warning,
        [](const Event& r) {
            return std::tuple(r.at, r.kind, r.fish, r.stay, r.assembly, r.rod, r.value, r.note);
        },
        [](const Event& r) { return "the same " + word_of(r.kind); });
    return out;
}

// ---------------------------------------------------------------------------------------------- encounters

std::vector<Complaint> check_encounters(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& row : tables.encounters) {
        if (!row.fish.is_empty() && tables.find(row.fish) == nullptr) {
            out.push_back(unknown_fish(row.place, row.fish, tables));
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- decisions

namespace {

/// A start moved to or past the end of the same spell, which leaves nothing of it. The later rows hold.
void check_moves(std::vector<Complaint>& out, const Tables& tables) {
    std::map<std::pair<StayId, Instant>, std::pair<const Decision*, const Decision*>> moves;
    for (const auto& row : tables.decisions) {
        if (row.moment && row.moved_to && row.act == DecisionAct::move_start) {
            moves[{row.stay, *row.moment}].first = &row;
        } else if (row.moment && row.moved_to && row.act == DecisionAct::move_end) {
            moves[{row.stay, *row.moment}].second = &row;
        }
    }
    for (const auto& [spell, both] : moves) {
        const auto [start, end] = both;
        if (start == nullptr || end == nullptr || *start->moved_to < *end->moved_to) {
            continue;
        }
        out.push_back(stop(start->place, "value",
                           {.code = ErrorCode::bad_time,
                            .found = fmt::format(
                                "move_start to {}, and move_end of the same spell to {} ({})",
                                iso_text(*start->moved_to), iso_text(*end->moved_to), line_text(end->place)),
                            .expected = "a start before the end",
                            .remedy = "correct one of the two, or exclude the spell"}));
    }
}

} // namespace

std::vector<Complaint> check_decisions(const Tables& tables) {
    std::vector<Complaint> out;
    check_moves(out, tables);
    for (const auto& row : tables.decisions) {
        const Stay* stay = tables.find(row.stay);
        if (stay == nullptr) {
            out.push_back(unknown_stay(row.place, row.stay, tables));
        }
        const auto outside = [&](const std::string& column, Instant moment) {
            if (stay != nullptr && (moment < stay->from() || moment > stay->to())) {
                out.push_back(
                    stop(row.place, column,
                         {.code = ErrorCode::bad_time,
                          .found = fmt::format("{} lies outside the stay {} ({})", iso_text(moment),
                                               quote(stay->id.text()), from_to(stay->from(), stay->to())),
                          .expected = "a moment inside it",
                          .remedy = "correct it"}));
            }
        };
        const bool moves = row.act == DecisionAct::move_start || row.act == DecisionAct::move_end;
        if (row.moment) {
            outside("moment", *row.moment);
        } else if (moves) {
            out.push_back(stop(row.place, "moment",
                               {.code = ErrorCode::bad_row,
                                .found = "no moment for " + word_of(row.act),
                                .expected = "an instant inside the one spell that is meant",
                                .remedy = "fill it in"}));
        }
        if (row.moved_to) {
            outside("value", *row.moved_to);
        }
        if (row.reason.empty() && row.act != DecisionAct::note) {
            out.push_back(stop(row.place, "reason",
                               {.code = ErrorCode::bad_row,
                                .found = word_of(row.act) + " without a reason",
                                .expected = "why: every decision is printed with its reason",
                                .remedy = "fill it in"}));
        }
        if (row.author.empty()) {
            out.push_back(warn(row.place, "author",
                               {.code = ErrorCode::bad_row,
                                .found = word_of(row.act) + " by nobody",
                                .expected = "who decided",
                                .remedy = "fill it in"}));
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- all

namespace {

void check_water_channels(std::vector<Complaint>& out, const Brief& brief, const Place& place,
                          const Water& water) {
    check_channel(out, brief, place, "salinity_channel", water.salinity_channel);
    check_channel(out, brief, place, "conductivity_channel", water.conductivity_channel);
    check_channel(out, brief, place, "pressure_channel", water.pressure_channel);
    check_channel(out, brief, place, "inflow_oxygen_channel", water.inflow_oxygen_channel);
    check_channel(out, brief, place, "inflow_temperature_channel", water.inflow_temperature_channel);
    if (water.inflow_oxygen_channel.is_empty() && !water.inflow_temperature_channel.is_empty()) {
        out.push_back(warn(place, "inflow_temperature_channel",
                           {.code = ErrorCode::bad_relation,
                            .found = "a temperature of the inflow without its oxygen",
                            .expected = "both, or neither: the temperature only turns the inflow's oxygen "
                                        "into mg/L",
                            .remedy = "name inflow_oxygen_channel too, or take the line out"}));
    }
}

/// Two sources of one thing, of which one would be left aside; a pressure that cannot be brought to the
/// station.
void check_water_sources(std::vector<Complaint>& out, const Place& place, const Water& water) {
    const bool by_salinity = water.salinity.has_value() || !water.salinity_channel.is_empty();
    const bool by_conductivity =
        water.conductivity_ms_per_cm.has_value() || !water.conductivity_channel.is_empty();
    if (by_salinity && by_conductivity) {
        out.push_back(stop(place, {},
                           {.code = ErrorCode::bad_setting,
                            .found = "[water] gives salinity and conductivity both",
                            .expected = "one of the two: salinity is made from conductivity",
                            .remedy = "take one out"}));
    }
    const bool has_pressure = water.pressure.has_value() || !water.pressure_channel.is_empty();
    if (water.pressure_is == PressureIs::sea_level && has_pressure && !water.altitude_m) {
        out.push_back(
            stop(place, {},
                 {.code = ErrorCode::bad_setting,
                  .found = "[water] pressure_is = \"sea_level\" without an altitude",
                  .expected = "altitude_m, by which the pressure is brought to the station (0 at the shore)",
                  .remedy = "write altitude_m, or pressure_is = \"station\""}));
    }
}

/// What the brief leaves open although it matters.
std::vector<Complaint> check_water(const Brief& brief) {
    std::vector<Complaint> out;
    const Place place{.file = brief.file, .line = {}, .column = {}, .byte = {}};
    const auto is_refused = [&](const char* key) {
        return std::ranges::find(brief.refused, std::string("water.") + key) != brief.refused.end();
    };
    if (!brief.water.says_salinity() && !is_refused("salinity") && !is_refused("conductivity_ms_per_cm")) {
        out.push_back(warn(
            place, {},
            {.code = ErrorCode::bad_setting,
             .found = "[water] says nothing of salinity",
             .expected = "a number or a channel; 0, fresh water, is taken (in sea water that costs 20 %)",
             .remedy = "write salinity = 0.0 if the water is fresh"}));
    }
    if (!brief.water.says_pressure() && !is_refused("pressure_kpa") && !is_refused("altitude_m")) {
        out.push_back(warn(place, {},
                           {.code = ErrorCode::bad_setting,
                            .found = "[water] says nothing of barometric pressure",
                            .expected = "a number, a channel or an altitude; 101.325 kPa is taken",
                            .remedy = "write pressure_kpa, or altitude_m"}));
    }
    check_water_channels(out, brief, place, brief.water);
    check_water_sources(out, place, brief.water);
    return out;
}

/// A season is told from the next by the start of its stays (and calibrations, checks and events by their own
/// times): one in which nothing begins changes nothing, which a slip in its dates looks like.
std::vector<Complaint> check_seasons(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& season : brief.seasons) {
        if (season.overrides_section("water")) {
            const auto water = brief.at(season.from).water;
            check_water_channels(out, brief, season.place, water);
            check_water_sources(out, season.place, water);
        }
        const bool is_used =
            std::ranges::any_of(tables.stays, [&](const Stay& stay) { return season.holds_at(stay.from()); });
        if (!is_used && !tables.stays.empty() && !season.overrides.empty()) {
            out.push_back(warn(season.place, {},
                               {.found = fmt::format("no stay begins in the season {} ({})",
                                                     quote(season.label()), from_to(season.from, season.to)),
                                .expected = "a season with stays: settings hold for stays that begin in it",
                                .remedy = "correct its dates, or leave it until it comes"}));
        }
    }
    return out;
}

} // namespace

std::vector<Complaint> check_relations(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out = check_water(brief);
    append(out, check_seasons(brief, tables));
    append(out, check_keys(tables));
    append(out, check_encounters(tables));
    append(out, check_any_stay(brief, tables));
    append(out, check_stays(brief, tables));
    append(out, check_events(brief, tables));
    append(out, check_assemblies(brief, tables));
    append(out, check_calibrations(tables));
    append(out, check_clocks(brief, tables));
    append(out, check_decisions(tables));
    append(out, check_declarations(brief, tables));
    append(out, check_named_columns(brief, tables));
    append(out, check_doubts(brief, tables));
    append(out, check_event_doubts(tables));
    append(out, check_sheets(brief, tables).complaints);
    append(out, check_handling(tables));
    sort_by_place(out);
    return out;
}

std::vector<Instant> cleanings_of(const AssemblyId& assembly, const Tables& tables) {
    std::vector<Instant> out;
    for (const auto& event : tables.events) {
        const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
        const AssemblyId& where =
            event.assembly.is_empty() && stay != nullptr ? stay->assembly : event.assembly;
        if (event.kind == EventKind::cleaning && (where.is_empty() || where == assembly)) {
            out.push_back(event.at);
        }
    }
    std::ranges::sort(out);
    return out;
}

} // namespace backeddy::study
