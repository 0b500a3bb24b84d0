#include "study/relations.hpp"

#include <algorithm>
#include <map>
#include <string>
#include <type_traits>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::study {

std::vector<StaySplit> splits_of(const Stay& stay, const Tables& tables) {
    std::vector<StaySplit> out;
    for (const auto& row : tables.assemblies) {
        if (row.id != stay.assembly) {
            continue;
        }
        const Instant from = std::max(stay.from(), from_or_ever(row));
        const Instant to = std::min(stay.to(), to_or_ever(row));
        if (from < to) {
            out.push_back({.assembly = &row, .from = from, .to = to});
        }
    }
    std::ranges::stable_sort(out, {}, &StaySplit::from);
    return out;
}

namespace {

bool is_without_fish(uptake::StayRole role) {
    return role == uptake::StayRole::blank || role == uptake::StayRole::leak_test;
}

void check_parts(std::vector<Complaint>& out, const Stay& stay) {
    for (std::size_t i = 0; i < stay.parts.size(); ++i) {
        const auto& part = stay.parts[i];
        if (part.to <= part.from) {
            out.push_back(stop(part.place, "to",
                               {.code = ErrorCode::bad_time,
                                .found = "it ends (" + iso_text(part.to) + ") before it starts (" +
                                         iso_text(part.from) + ")",
                                .expected = "a later \"to\"",
                                .remedy = "look whether the two are swapped, or a date is a day off"}));
        }
        if (is_without_fish(part.role) == stay.has_fish()) {
            out.push_back(stop(
                part.place, stay.has_fish() ? "role" : "fish",
                {.found = stay.has_fish() ? word_of(part.role) + " with the fish " + quote(stay.fish.text())
                                          : word_of(part.role) + " without a fish",
                 .expected = "blank and leak_test without a fish, all other roles with one",
                 .remedy = "correct the role or the fish"}));
        }
        if (i == 0) {
            continue;
        }
        const auto& before = stay.parts[i - 1];
        if (part.from < before.to) {
            out.push_back(stop(part.place, "from",
                               {.found = iso_text(part.from) + " lies before the end of the row above (" +
                                         iso_text(before.to) + ")",
                                .expected = "roles of one stay that follow each other",
                                .remedy = "correct one of the two"}));
        } else if (part.from > before.to) {
            out.push_back(warn(part.place, "from",
                               {.found = "the stay " + quote(stay.id.text()) + " has no role from " +
                                         from_to(before.to, part.from),
                                .expected = "roles that follow each other; nothing in between is used",
                                .remedy = "close the hole, or leave it"}));
        }
    }
}

void check_last_good(std::vector<Complaint>& out, const Stay& stay) {
    const Place& place = stay.parts.back().place;
    if (stay.last_good && (*stay.last_good > stay.to() || *stay.last_good < stay.from())) {
        out.push_back(stop(place, "last_good",
                           {.code = ErrorCode::bad_time,
                            .found = iso_text(*stay.last_good) + " lies outside the stay (" +
                                     from_to(stay.from(), stay.to()) + ")",
                            .expected = "an instant inside it",
                            .remedy = "correct it, or leave it empty"}));
    }
    const bool ended_badly =
        stay.ended && *stay.ended != StayEnding::done && *stay.ended != StayEnding::opened;
    if (ended_badly && !stay.last_good) {
        out.push_back(warn(place, "last_good",
                           {.code = ErrorCode::bad_row,
                            .found = "no last good instant of a stay that ended with " + word_of(*stay.ended),
                            .expected = "the last moment at which all was well; everything up to " +
                                        iso_text(stay.to()) + " is used",
                            .remedy = "fill it in when it is known"}));
    }
}

/// Pieces of the stay that no row of its assembly covers, and swaps inside it.
void check_cover(std::vector<Complaint>& out, const Stay& stay, const Tables& tables) {
    const auto splits = splits_of(stay, tables);
    Instant covered = stay.from();
    const auto hole = [&](Instant from, Instant to) {
        out.push_back(stop(stay.place, "assembly",
                           {.found = "no row of " + quote(stay.assembly.text()) +
                                     " in assemblies.csv holds from " + from_to(from, to),
                            .expected = "one that does, for the whole stay " + quote(stay.id.text()),
                            .remedy = "correct from and to there, or add a row"}));
    };
    for (const auto& split : splits) {
        if (split.from > covered) {
            hole(covered, split.from);
        }
        covered = std::max(covered, split.to);
    }
    if (covered < stay.to()) {
        hole(covered, stay.to());
    }
    for (std::size_t i = 1; i < splits.size(); ++i) {
        const auto& a = *splits[i - 1].assembly;
        const auto& b = *splits[i].assembly;
        const bool is_swap = a.sensor != b.sensor;
        out.push_back(
            warn(stay.place, "assembly",
                 {.found = fmt::format("the stay {} splits at {}: {}", quote(stay.id.text()),
                                       iso_text(splits[i].from),
                                       is_swap ? "the sensor changed from " + quote(a.sensor.text()) +
                                                     " to " + quote(b.sensor.text())
                                               : "another row of " + quote(stay.assembly.text()) + " begins"),
                  .expected = fmt::format("no slope crosses it (assemblies.csv {} and {})",
                                          line_text(a.place), line_text(b.place)),
                  .remedy = "nothing, if so it was"}));
    }
}

void check_size(std::vector<Complaint>& out, const Brief& brief, const Stay& stay, const Tables& tables) {
    const Fish* fish = stay.has_fish() ? tables.find(stay.fish) : nullptr;
    const auto known = fish == nullptr ? std::nullopt : mass_for(*fish, stay, tables);
    if (!known) {
        return;
    }
    const Density density =
        fish->density.value_or(Density::kg_per_l(brief.uncertainty_at(stay.from()).density_kg_per_l));
    const Volume body = known->mass / density;
    for (const auto& split : splits_of(stay, tables)) {
        const Volume chamber = split.assembly->chamber_volume;
        if (body >= chamber) {
            out.push_back(
                stop(stay.place, "fish",
                     {.code = ErrorCode::out_of_range,
                      .found = fmt::format("{} weighs {} g, and {} holds {} L", quote(fish->id.text()),
                                           exact_text(known->mass.grams()), quote(stay.assembly.text()),
                                           exact_text(chamber.litres())),
                      .expected = "a fish that is smaller than its chamber",
                      .remedy = "look at mass_g (in g) and chamber_volume_l (in L)"}));
            return;
        }
    }
}

/// Pairs of stays that share `key` and overlap in time.
template <typename Key>
void overlaps(std::vector<Complaint>& out, const Tables& tables, Key key_of, const std::string& column,
              const std::string& what) {
    std::vector<const Stay*> stays;
    for (const auto& stay : tables.stays) {
        if (!key_of(stay).is_empty()) {
            stays.push_back(&stay);
        }
    }
    std::ranges::stable_sort(stays, {}, [](const Stay* s) { return s->from(); });
    std::map<std::remove_cvref_t<decltype(key_of(*stays.front()))>, const Stay*>
        latest; // the one that reaches furthest so far
    for (const Stay* stay : stays) {
        auto [place, is_new] = latest.emplace(key_of(*stay), stay);
        if (is_new) {
            continue;
        }
        const Stay* before = place->second;
        if (stay->from() < before->to()) {
            const Instant until = std::min(stay->to(), before->to());
            out.push_back(stop(stay->place, column,
                               {.found = fmt::format("{} {} in the stays {} ({}) and {} at once, {}", what,
                                                     quote(key_of(*stay).text()), quote(before->id.text()),
                                                     line_text(before->place), quote(stay->id.text()),
                                                     from_to(stay->from(), until)),
                                .expected = "one after the other",
                                .remedy = "correct from and to of one of them"}));
        }
        if (stay->to() > before->to()) {
            place->second = stay;
        }
    }
}

} // namespace

std::vector<Complaint> check_any_stay(const Brief& brief, const Tables& tables) {
    if (!tables.stays.empty()) {
        return {};
    }
    const auto& sheets = tables.sheets;
    const bool tells_of_fish =
        !(tables.encounters.empty() && sheets.blood.empty() && sheets.samples.empty() &&
          sheets.fins.empty() && sheets.body.empty() && sheets.reflexes.empty() && sheets.fates.empty());
    if (tells_of_fish && brief.traces.empty()) {
        return {warn({.file = "stays.csv", .line = {}, .column = {}, .byte = {}}, {},
                     {.code = ErrorCode::too_few,
                      .found = "no stay, and no trace in the brief: no uptake is computed",
                      .expected = "a study of catch, blood, scores and fates alone, which this is taken for",
                      .remedy = "nothing, if no fish was in a chamber; else name the loggers' files with "
                                "[[trace]] in study.toml, and fill in assemblies.csv and stays.csv"})};
    }
    return {stop({.file = "stays.csv", .line = {}, .column = {}, .byte = {}}, {},
                 {.code = ErrorCode::too_few,
                  .found = "no stay: there is nothing to compute",
                  .expected = "a row for each time that a fish, or water alone (a blank), was in a chamber",
                  .remedy = "put the loggers' files into raw/, name them with [[trace]] in study.toml, and "
                            "fill in fish.csv, assemblies.csv and stays.csv"})};
}

std::vector<Complaint> check_stays(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& stay : tables.stays) {
        check_parts(out, stay);
        check_last_good(out, stay);
        if (stay.has_fish() && tables.find(stay.fish) == nullptr) {
            out.push_back(unknown_fish(stay.place, stay.fish, tables));
        }
        if (!tables.has(stay.assembly)) {
            out.push_back(unknown_assembly(stay.place, stay.assembly, tables));
        } else if (stay.from() < stay.to()) {
            check_cover(out, stay, tables);
            check_size(out, brief, stay, tables);
        }
    }
    overlaps(
        out, tables, [](const Stay& s) -> const AssemblyId& { return s.assembly; }, "assembly",
        "the assembly");
    overlaps(out, tables, [](const Stay& s) -> const FishId& { return s.fish; }, "fish", "the fish");
    return out;
}

} // namespace backeddy::study
