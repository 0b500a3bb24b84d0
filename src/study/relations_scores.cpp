// Fins, body, reflexes and fates.

#include <algorithm>
#include <set>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "condition/reflexes.hpp"
#include "study/condition_sheets.hpp"
#include "study/detail/sheet_faults.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

/// A setting that a whole sheet rests on: told at the brief, and no row of the sheet counts.
template <typename Rows>
void leave_out_all(SheetFaults& faults, const Rows& rows, const Brief& brief, std::string key, Error error,
                   const std::string& file) {
    for (const auto& row : rows) {
        faults.leave_out_silently(row.place);
    }
    faults.tell({.file = brief.file, .line = {}, .column = {}, .byte = {}}, std::move(key),
                {.code = error.code,
                 .found = std::move(error.found),
                 .expected = std::move(error.expected),
                 .remedy = "correct it; until then no row of " + file + " counts"});
}

void check_level(SheetFaults& faults, const condition::OrdinalScale& scale, const std::string& score,
                 const Place& place) {
    if (score.empty()) {
        return;
    }
    if (auto level = condition::level_of(scale, score); !level) {
        faults.leave_out(place, "score", std::move(level).error());
    }
}

template <typename Row>
auto look_of(const Row& row) {
    return std::tuple(row.fish, row.occasion, row.scorer, row.at);
}

void check_fins(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    const auto& rows = tables.sheets.fins;
    if (rows.empty()) {
        return;
    }
    const auto& scale = brief.fins.scale;
    if (auto fine = condition::fin_index({}, scale, brief.fins.options); !fine) {
        leave_out_all(faults, rows, brief, "fins", std::move(fine).error(), "fins.csv");
        return;
    }
    leave_out_unknown_fish(faults, rows, tables);
    faults.leave_out_repeated(
        rows, "fin", [](const FinRow& r) { return std::tuple(look_of(r), r.fin); },
        [](const FinRow& r) {
            return fmt::format("{} of {} at {}", word_of(r.fin), quote(r.fish.text()), word_of(r.occasion));
        });
    for (const auto& row : rows) {
        check_level(faults, scale, row.score, row.place);
    }
}

void check_body(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    const auto& rows = tables.sheets.body;
    if (rows.empty()) {
        return;
    }
    if (auto fine = condition::level_of(brief.body.scale, "0"); !fine) {
        leave_out_all(faults, rows, brief, "body", std::move(fine).error(), "body.csv");
        return;
    }
    const condition::OrdinalScale bleeding{words_of(condition::Bleeding{})};
    leave_out_unknown_fish(faults, rows, tables);
    faults.leave_out_repeated(
        rows, "area", [](const BodyRow& r) { return std::tuple(look_of(r), r.part); },
        [](const BodyRow& r) {
            return fmt::format("{} of {} at {}", word_of(r.part), quote(r.fish.text()), word_of(r.occasion));
        });
    for (const auto& row : rows) {
        check_level(faults, row.part == ScoredPart::hook_wound ? bleeding : brief.body.scale, row.score,
                    row.place);
    }
}

void check_reflexes(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    const auto& rows = tables.sheets.reflexes;
    if (rows.empty()) {
        return;
    }
    const auto& tests = brief.reflexes.tests;
    if (auto fine = condition::reflex_impairment(tests, {}); !fine) {
        leave_out_all(faults, rows, brief, "reflexes", std::move(fine).error(), "reflexes.csv");
        return;
    }
    leave_out_unknown_fish(faults, rows, tables);
    faults.leave_out_repeated(
        rows, "test", [](const ReflexRow& r) { return std::tuple(r.fish, r.at, r.test); },
        [](const ReflexRow& r) { return fmt::format("{} of {}", quote(r.test), quote(r.fish.text())); });
    for (const auto& row : rows) {
        const std::vector<condition::ReflexTest> one{{.name = row.test}};
        if (auto known = condition::reflex_impairment(tests, one); !known) {
            faults.leave_out(row.place, "test", std::move(known).error());
        }
    }
}

} // namespace

void check_scores(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    check_fins(faults, brief, tables);
    check_body(faults, brief, tables);
    check_reflexes(faults, brief, tables);
}

void check_fates(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    std::set<FishId> told;
    for (const auto& row : tables.sheets.fates) {
        if (tables.find(row.fish) == nullptr) {
            faults.stop(unknown_fish(row.place, row.fish, tables));
            continue;
        }
        if (!told.insert(row.fish).second) {
            continue;
        }
        const auto all = fate_records(row.fish, tables);
        for (const auto& doubt : condition::fate_of(all.records, brief.fates).doubts) {
            const Place& place = all.places.at(doubt.row);
            faults.tell(place, place.file == "stays.csv" ? "to" : "at",
                        {.found = fmt::format("{}: {}", quote(row.fish.text()), doubt.found),
                         .expected = "one story of each fish; until it is mended the first death stands, and "
                                     "nothing after it shows life",
                         .remedy = doubt.remedy});
        }
    }
}

} // namespace backeddy::study
