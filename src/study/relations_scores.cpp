// Fins, body, reflexes and fates.

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "condition/reflexes.hpp"
#include "study/condition_sheets.hpp"
#include "study/detail/catches.hpp"
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

/// Looks at a fish before it was first met, told once for all rows of a look.
template <typename Row>
void leave_out_before_catch(SheetFaults& faults, const std::vector<Row>& rows, const Brief& brief,
                            const Tables& tables, const std::string& of) {
    std::map<std::pair<FishId, Instant>, std::vector<Place>> looks;
    for (const auto& row : rows) {
        if (const std::optional<Instant> at = row.at; at && !faults.is_left_out(row.place)) {
            looks[{row.fish, *at}].push_back(row.place);
        }
    }
    for (const auto& [look, places] : looks) {
        const auto& [fish, at] = look;
        const auto catches = catches_of(fish, brief, tables);
        if (is_before_all(at, catches)) {
            faults.leave_out(places, "at",
                             {.code = ErrorCode::bad_time,
                              .found = fmt::format("{} of {} at {}, and it was first {}", of,
                                                   quote(fish.text()), iso_text(at), catches.front().what),
                              .expected = "a look at the fish after the catch",
                              .remedy = "correct the fish or one of the times"});
        }
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
    for (const auto& row : rows) {
        check_level(faults, scale, row.score, row.place);
    }
    leave_out_before_catch(faults, rows, brief, tables, "fins");
    faults.leave_out_repeated(
        rows, "fin", [](const FinRow& r) { return std::tuple(look_of(r), r.fin); },
        [](const FinRow& r) {
            return fmt::format("{} of {} at {}", word_of(r.fin), quote(r.fish.text()), word_of(r.occasion));
        });
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
    for (const auto& row : rows) {
        check_level(faults, row.part == ScoredPart::hook_wound ? bleeding : brief.body.scale, row.score,
                    row.place);
    }
    leave_out_before_catch(faults, rows, brief, tables, "body");
    faults.leave_out_repeated(
        rows, "area", [](const BodyRow& r) { return std::tuple(look_of(r), r.part); },
        [](const BodyRow& r) {
            return fmt::format("{} of {} at {}", word_of(r.part), quote(r.fish.text()), word_of(r.occasion));
        });
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
    for (const auto& row : rows) {
        const std::vector<condition::ReflexTest> one{{.name = row.test}};
        if (auto known = condition::reflex_impairment(tests, one); !known) {
            faults.leave_out(row.place, "test", std::move(known).error());
        }
    }
    leave_out_before_catch(faults, rows, brief, tables, "reflexes");
    faults.leave_out_repeated(
        rows, "test", [](const ReflexRow& r) { return std::tuple(r.fish, r.at, r.test); },
        [](const ReflexRow& r) { return fmt::format("{} of {}", quote(r.test), quote(r.fish.text())); });
}

/// Where the hook sat, in a word that tells nothing: a reminder may hang on it.
void check_hook_places(SheetFaults& faults, const Tables& tables) {
    for (const auto& row : tables.encounters) {
        if (row.hook_location.empty() || hook_place_of(row.hook_location)) {
            continue;
        }
        faults.tell(row.place, "hook_location",
                    {.code = ErrorCode::unknown_name,
                     .found = quote(row.hook_location) + " as the place of the hook",
                     .expected = fmt::format("one of {}, deep or swallowed",
                                             fmt::join(words_of(condition::HookPlace{}), ", ")),
                     .remedy = "choose one of them; until then the hook does not count as deep, and bleeding "
                               "there brings up no reminder but where it is heavy"});
    }
}

} // namespace

void check_scores(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    check_fins(faults, brief, tables);
    check_body(faults, brief, tables);
    check_reflexes(faults, brief, tables);
    check_hook_places(faults, tables);
}

namespace {

/// A fish dies, or is lost, once it is in the study: earlier, the row is of another fish, or mistyped. Alive
/// before it was met it may have been (a fish marked earlier), so that is told and stands.
void check_met(SheetFaults& faults, const FateRow& row, const Brief& brief, const Tables& tables) {
    using condition::FateKind;
    constexpr std::array ends{FateKind::dead, FateKind::lost};
    constexpr std::array in_hand{FateKind::seen_alive, FateKind::released, FateKind::held,
                                 FateKind::recaptured};
    const bool is_end = std::ranges::find(ends, row.what) != ends.end();
    const bool is_in_hand = std::ranges::find(in_hand, row.what) != in_hand.end();
    const auto catches = catches_of(row.fish, brief, tables);
    if (!(is_end || is_in_hand) || !is_before_all(row.at, catches)) {
        return;
    }
    Saying saying{.code = ErrorCode::bad_time,
                  .found =
                      fmt::format("{} {} at {}, before it was met: it was first {}", quote(row.fish.text()),
                                  word_of(row.what), iso_text(row.at), catches.front().what),
                  .expected = "what became of the fish after the catch",
                  .remedy = is_end ? "correct the fish or one of the times"
                                   : "correct the fish or one of the times, or add the earlier encounter"};
    if (is_end) {
        faults.leave_out(row.place, "at", std::move(saying));
    } else {
        faults.tell(row.place, "at", std::move(saying));
    }
}

bool is_same_tag(const FateRow& a, const FateRow& b) {
    const auto agree = [](const std::string& x, const std::string& y) {
        return x.empty() || y.empty() || x == y;
    };
    return a.tag && b.tag && !a.tag->serial.empty() && a.tag->serial == b.tag->serial &&
           a.tag->place == b.tag->place && agree(a.tag->type, b.tag->type);
}

std::string tag_text(const FateRow& row) {
    return quote(row.tag->type.empty() ? row.tag->serial : row.tag->type + " " + row.tag->serial);
}

/// Whether the fish of `row` had lost the tag, or its life, by a moment.
bool is_over_by(Instant moment, const FateRow& row, const std::vector<FateRow>& fates) {
    return std::ranges::any_of(fates, [&](const FateRow& other) {
        const bool ends = other.what == condition::FateKind::dead ||
                          (other.what == condition::FateKind::tag_shed && is_same_tag(row, other));
        return other.fish == row.fish && ends && row.at <= other.at && other.at <= moment;
    });
}

void check_tags(SheetFaults& faults, const std::vector<FateRow>& fates) {
    using condition::FateKind;
    for (const auto& row : fates) {
        if (!row.tag || row.tag->serial.empty()) {
            continue;
        }
        const FateRow* of_another = nullptr;
        bool is_given = false;
        for (const auto& other : fates) {
            if (other.what != FateKind::tagged || !is_same_tag(row, other) || other.at > row.at) {
                continue;
            }
            is_given = is_given || other.fish == row.fish;
            of_another = other.fish != row.fish ? &other : of_another;
        }
        const auto another = of_another == nullptr
                                 ? std::string()
                                 : fmt::format("{} was given it at {} ({})", quote(of_another->fish.text()),
                                               iso_text(of_another->at), line_text(of_another->place));
        if (row.what == FateKind::tagged && of_another != nullptr &&
            !is_over_by(row.at, *of_another, fates)) {
            faults.tell(row.place, "tag_serial",
                        {.code = ErrorCode::duplicate,
                         .found = fmt::format("{} given the tag {}, and {}", quote(row.fish.text()),
                                              tag_text(row), another),
                         .expected = "a tag on one fish at a time",
                         .remedy = "correct the serial or the fish, or write down when it was shed"});
        } else if (row.what == FateKind::recaptured && !is_given) {
            faults.tell(row.place, "tag_serial",
                        {.code = ErrorCode::unknown_name,
                         .found = fmt::format("{} recaptured with the tag {}, which it was never given{}",
                                              quote(row.fish.text()), tag_text(row),
                                              another.empty() ? another : "; " + another),
                         .expected = "a tag that a row \"tagged\" gave to this fish before",
                         .remedy = "correct the serial or the fish, or add the row of its tagging"});
        }
    }
}

/// A death or loss that events.csv or stays.csv dates before the fish was met, told where no row stops for
/// it.
void check_set_aside(SheetFaults& faults, const FishId& fish, const std::vector<FateRow>& fates,
                     const Brief& brief, const Tables& tables) {
    const auto catches = catches_of(fish, brief, tables);
    for (const auto& one : fate_records(fish, fates, brief, tables).set_aside) {
        const bool is_stay = one.place.file == "stays.csv";
        faults.tell(
            one.place, is_stay ? "to" : "at",
            {.code = ErrorCode::bad_time,
             .found = fmt::format("{} {} at {}, before it was met: it was first {}", quote(fish.text()),
                                  word_of(one.kind), iso_text(one.at), catches.front().what),
             .expected = "an end after the catch",
             .remedy = fmt::format("correct the fish or one of the times; until then this {} does not "
                                   "count, and what became of the fish is not known by it",
                                   one.kind == condition::FateKind::dead ? "death" : "loss")});
    }
}

} // namespace

void check_fates(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    for (const auto& row : tables.sheets.fates) {
        if (tables.find(row.fish) != nullptr) {
            check_met(faults, row, brief, tables);
        }
    }
    const auto fates = kept(tables.sheets.fates, faults);
    check_tags(faults, fates);
    for (const auto& fish : tables.fish) {
        check_set_aside(faults, fish.id, fates, brief, tables);
    }
    std::set<FishId> told;
    for (const auto& row : tables.sheets.fates) {
        if (tables.find(row.fish) == nullptr) {
            faults.stop(unknown_fish(row.place, row.fish, tables));
            continue;
        }
        if (!told.insert(row.fish).second) {
            continue;
        }
        const auto all = fate_records(row.fish, fates, brief, tables);
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
