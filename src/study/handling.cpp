#include "study/handling.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <span>
#include <string_view>
#include <utility>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"

namespace backeddy::study {

namespace {

using condition::Elapsed;
using condition::HandlingKind;
using condition::HandlingTimes;

std::optional<HandlingKind> kind_of(EventKind kind) {
    switch (kind) {
    case EventKind::hook_up:
        return HandlingKind::hook_up;
    case EventKind::landed:
        return HandlingKind::landed;
    case EventKind::air_start:
        return HandlingKind::air_start;
    case EventKind::air_end:
        return HandlingKind::air_end;
    case EventKind::back_in_water:
        return HandlingKind::back_in_water;
    case EventKind::sealed:
        return HandlingKind::sealed;
    case EventKind::chase_start:
        return HandlingKind::chase_start;
    case EventKind::chase_end:
        return HandlingKind::chase_end;
    case EventKind::blood:
        return HandlingKind::blood;
    case EventKind::released:
        return HandlingKind::released;
    default:
        return std::nullopt;
    }
}

struct Kind {
    std::string_view word;
    std::string_view title;
    std::optional<Elapsed> HandlingTimes::* time;
    std::array<std::string_view, 2> also; ///< other names of the typed column
};

constexpr std::array<Kind, 7> kinds{{
    {"fight_s", "fight", &HandlingTimes::fight, {"fight_time_s", ""}},
    {"air_s", "air", &HandlingTimes::air, {"air_time_s", "air_exposure_s"}},
    {"handling_s", "landed until back in water", &HandlingTimes::handling, {"handling_time_s", ""}},
    {"landed_to_sealed_s", "landed until sealed", &HandlingTimes::landed_to_sealed, {"", ""}},
    {"back_in_water_to_sealed_s",
     "back in water until sealed",
     &HandlingTimes::back_in_water_to_sealed,
     {"", ""}},
    {"chase_s", "chase", &HandlingTimes::chase, {"chase_time_s", ""}},
    {"air_after_chase_s", "air after chase", &HandlingTimes::air_after_chase, {"", ""}},
}};

std::vector<const Event*> events_of(const FishId& fish, const Tables& tables) {
    std::vector<const Event*> out;
    for (const auto& event : tables.events) {
        if (kind_of(event.kind) && is_event_of(fish, event, tables)) {
            out.push_back(&event);
        }
    }
    std::ranges::stable_sort(out, {}, [](const Event* event) { return event->at; });
    return out;
}

/// Those with a time by it, then the others.
std::vector<const Encounter*> encounters_of(const FishId& fish, const Tables& tables) {
    constexpr auto end = Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::max());
    std::vector<const Encounter*> out;
    for (const auto& row : tables.encounters) {
        if (row.fish == fish) {
            out.push_back(&row);
        }
    }
    std::ranges::stable_sort(out, {}, [&](const Encounter* row) { return row->at.value_or(end); });
    return out;
}

/// From when on events are those of an encounter that follows another: its hook-up, where it was written down
/// up to an hour before; else a minute before it.
Instant beginning_of(const Encounter& encounter, Instant previous, std::span<const Event* const> events) {
    const Instant at = *encounter.at;
    const Instant minute = at - Duration::seconds(60.0);
    for (const Event* event : events) {
        const bool is_its = event->at > previous && event->at > at - Duration::hours(1.0) &&
                            event->at <= at + Duration::seconds(60.0);
        if (event->kind == EventKind::hook_up && is_its) {
            return std::min(event->at, minute);
        }
    }
    return minute;
}

std::optional<Elapsed> typed_in(const std::vector<FreeCell>& cells, const Kind& kind, std::string& header) {
    for (const auto& cell : cells) {
        const bool is_named =
            cell.column == kind.word ||
            (!cell.column.empty() && std::ranges::find(kind.also, cell.column) != kind.also.end());
        const auto value = is_named ? parse_number(cell.value) : std::nullopt;
        if (value) {
            header = cell.column;
            return Elapsed{.seconds = *value, .uncertainty_s = {}};
        }
    }
    return std::nullopt;
}

void compare(Handling& handling, const Fish* fish) {
    handling.times = condition::handling_times(handling.moments);
    for (const auto& kind : kinds) {
        HandledFor one{.word = std::string(kind.word),
                       .title = std::string(kind.title),
                       .by_events = handling.times.*kind.time};
        if (handling.encounter != nullptr) {
            one.typed = typed_in(handling.encounter->free, kind, one.typed_column);
        }
        if (!one.typed && fish != nullptr) {
            one.typed = typed_in(fish->free, kind, one.typed_column);
        }
        one.disagreement =
            condition::disagreement(one.title, one.by_events, one.typed).value_or(std::string());
        if (one.by_events || one.typed) {
            handling.all.push_back(std::move(one));
        }
    }
}

} // namespace

std::vector<Handling> handling_of(const Fish& fish, const Tables& tables) {
    const auto events = events_of(fish.id, tables);
    const auto encounters = encounters_of(fish.id, tables);
    std::vector<Handling> out(1);
    std::vector<Instant> beginnings{Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::min())};
    for (std::size_t i = 0; i < encounters.size(); ++i) {
        if (i > 0 && encounters[i]->at && encounters[i - 1]->at) {
            beginnings.push_back(beginning_of(*encounters[i], *encounters[i - 1]->at, events));
            out.emplace_back();
        }
        if (i == 0 || encounters[i]->at) {
            out.back().encounter = encounters[i];
        }
    }
    for (const Event* event : events) {
        const auto after = std::ranges::upper_bound(beginnings, event->at);
        auto& part = out[static_cast<std::size_t>(after - beginnings.begin()) - 1];
        part.moments.push_back({.kind = *kind_of(event->kind),
                                .at = event->at,
                                .uncertainty = event->at_uncertainty,
                                .row = part.places.size()});
        part.places.push_back(event->place);
    }
    for (auto& part : out) {
        compare(part, &part == &out.front() ? &fish : nullptr);
    }
    return out;
}

namespace {

bool has_typed(const std::vector<FreeCell>& cells) {
    std::string header;
    return std::ranges::any_of(kinds,
                               [&](const Kind& kind) { return typed_in(cells, kind, header).has_value(); });
}

/// Where the typed cell stands.
const Place& place_of_typed(const Handling& handling, const HandledFor& one, const Fish& fish) {
    const bool is_of_encounter = handling.encounter != nullptr &&
                                 std::ranges::any_of(handling.encounter->free, [&](const FreeCell& cell) {
                                     return cell.column == one.typed_column && parse_number(cell.value);
                                 });
    return is_of_encounter ? handling.encounter->place : fish.place;
}

} // namespace

std::vector<Complaint> check_handling(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& fish : tables.fish) {
        const bool is_typed =
            has_typed(fish.free) || std::ranges::any_of(tables.encounters, [&](const Encounter& row) {
                return row.fish == fish.id && has_typed(row.free);
            });
        for (const auto& handling : is_typed ? handling_of(fish, tables) : std::vector<Handling>()) {
            for (const auto& one : handling.all) {
                if (!one.disagreement.empty()) {
                    out.push_back(warn(place_of_typed(handling, one, fish), one.typed_column,
                                       {.code = ErrorCode::bad_relation,
                                        .found = quote(fish.id.text()) + ": " + one.disagreement,
                                        .expected = "the same by events.csv and by this cell",
                                        .remedy = "mend one of the two"}));
                }
            }
        }
    }
    return out;
}

} // namespace backeddy::study
