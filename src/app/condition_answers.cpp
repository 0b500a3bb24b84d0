#include "app/condition_answers.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "app/detail/condition_parts.hpp"
#include "base/lower_case.hpp"
#include "study/words.hpp"

namespace backeddy::app {

namespace {

using condition::HandlingKind;
using detail::row_text;

std::vector<condition::HandlingMoment> moments_of(const std::vector<study::Handling>& handling) {
    std::vector<condition::HandlingMoment> out;
    for (const auto& part : handling) {
        out.insert(out.end(), part.moments.begin(), part.moments.end());
    }
    return out;
}

// ---------------------------------------------------------------- scores

/// Of all fish.
struct Looks {
    std::vector<study::FinLook> fins;
    std::vector<study::BodyLook> body;
    std::vector<study::ReflexLook> reflexes;
};

void add_scores(FishCondition& out, const study::FishId& fish, const Looks& looks,
                const study::Brief& brief) {
    for (const auto& look : looks.fins) {
        if (look.look.fish == fish) {
            out.fins.push_back(
                {.look = look,
                 .index = condition::fin_index(look.scores, brief.fins.scale, brief.fins.options)});
        }
    }
    for (const auto& look : looks.body) {
        if (look.look.fish == fish) {
            out.body.push_back({.look = look,
                                .index = condition::scale_loss_index(look.areas, brief.body.scale,
                                                                     brief.body.areas, brief.body.least)});
        }
    }
    for (const auto& look : looks.reflexes) {
        if (look.fish == fish) {
            out.reflexes.push_back(
                {.look = look, .impairment = condition::reflex_impairment(brief.reflexes.tests, look.tests)});
        }
    }
}

// ---------------------------------------------------------------- reminders

/// The study names its tests itself: those of righting and of the gills' beat by this word in them.
std::optional<bool> is_lost(const study::ReflexLook& look, std::string_view word) {
    for (const auto& test : look.tests) {
        if (lower_case(test.name).find(word) != std::string::npos) {
            return test.is_impaired;
        }
    }
    return std::nullopt;
}

std::optional<condition::HookPlace> hook_place(const FishCondition& fish) {
    const auto* encounter = fish.handling.front().encounter;
    return encounter == nullptr ? std::nullopt : study::hook_place_of(encounter->hook_location);
}

void remind(FishCondition& out, std::optional<Instant> at, const condition::WelfareSigns& signs) {
    const auto words = condition::endpoint_reminder(signs);
    if (!words) {
        return;
    }
    auto text = at ? iso_text(*at) + ": " + *words : *words;
    if (std::ranges::find(out.reminders, text) == out.reminders.end()) {
        out.reminders.push_back(std::move(text));
    }
}

void add_reminders(FishCondition& out, const study::FishId& fish, const study::Tables& tables) {
    for (const auto& event : tables.events) {
        if (event.kind == study::EventKind::righting_lost && event.fish == fish) {
            remind(out, event.at, {.is_righting_lost = true});
        }
    }
    for (const auto& one : out.reflexes) {
        remind(out, one.look.at,
               {.is_righting_lost = is_lost(one.look, "righting"),
                .is_gill_beat_lost = is_lost(one.look, "gill")});
    }
    for (const auto& one : out.body) {
        remind(out, one.look.look.at, {.bleeding = one.look.bleeding, .hook = hook_place(out)});
    }
}

// ---------------------------------------------------------------- fate

std::string tag_text(const condition::Tag& tag) {
    std::string out = study::word_of(tag.place);
    for (const auto* part : {&tag.type, &tag.serial}) {
        out += part->empty() ? "" : " " + *part;
    }
    return out;
}

std::optional<FateAnswer> fate_answer(const study::FishId& fish, const detail::DrawInputs& inputs) {
    const auto& study = inputs.study;
    const auto known = study::fate_records(fish, inputs.sheets.fates, study.brief, study.tables);
    if (known.records.empty()) {
        return std::nullopt;
    }
    FateAnswer out{.fate = condition::fate_of(known.records, study.brief.fates)};
    for (const auto& record : known.records) {
        if (record.tag) {
            auto text = tag_text(*record.tag);
            if (std::ranges::find(out.tags, text) == out.tags.end()) {
                out.tags.push_back(std::move(text));
            }
        }
    }
    for (const auto& doubt : out.fate.doubts) {
        out.doubts.push_back(
            fmt::format("{}: {}; {}", row_text(known.places.at(doubt.row)), doubt.found, doubt.remedy));
    }
    return out;
}

// ---------------------------------------------------------------- one fish

FishCondition answer_one(const study::Fish& fish, const Looks& looks, const detail::DrawInputs& inputs) {
    const auto& study = inputs.study;
    FishCondition out;
    out.handling = study::handling_of(fish, study.tables);
    for (const auto& part : out.handling) {
        for (const auto& doubt : part.times.doubts) {
            out.doubts.push_back(
                fmt::format("{}: {}; {}", row_text(part.places.at(doubt.row)), doubt.found, doubt.remedy));
        }
    }
    out.draws = detail::draws_of(fish, moments_of(out.handling), inputs);
    for (const auto& draw : out.draws) {
        for (const auto& value : draw.values) {
            for (const auto& doubt : value.doubts) {
                out.doubts.push_back(
                    fmt::format("{}, {}: {}", study::word_of(value.analyte), value.from, doubt));
            }
        }
        if (draw.is_blood && draw.volume_ml) {
            out.volumes.push_back({.at = draw.at, .volume_ml = *draw.volume_ml});
        }
    }
    add_scores(out, fish.id, looks, study.brief);
    add_reminders(out, fish.id, study.tables);
    out.fate = fate_answer(fish.id, inputs);
    return out;
}

/// When something else began that blood may show: a chase, or another encounter.
std::optional<Instant> over_at(const FishCondition& fish) {
    std::optional<Instant> out;
    const auto take = [&](Instant at) { out = std::min(out.value_or(at), at); };
    for (std::size_t i = 0; i < fish.handling.size(); ++i) {
        const auto& part = fish.handling[i];
        if (i > 0 && part.encounter->at) {
            take(*part.encounter->at);
        }
        for (const auto& moment : part.moments) {
            if (i > 0 || moment.kind == HandlingKind::chase_start) {
                take(moment.at);
            }
        }
    }
    return out;
}

bool holds_any(const study::ConditionSheets& sheets) {
    return !(sheets.blood.empty() && sheets.samples.empty() && sheets.plates.empty() &&
             sheets.wells.empty() && sheets.fins.empty() && sheets.body.empty() && sheets.reflexes.empty() &&
             sheets.fates.empty());
}

} // namespace

const BloodValue* DrawAnswer::find(condition::Analyte analyte, condition::Matrix matrix) const {
    const auto found = std::ranges::find_if(
        values, [&](const BloodValue& value) { return value.analyte == analyte && value.matrix == matrix; });
    return found == values.end() ? nullptr : &*found;
}

ConditionAnswers answer_condition(const Study& study, const PlateAnswers& plates) {
    ConditionAnswers out{.has_any = holds_any(study.tables.sheets),
                         .sheets = study::check_sheets(study.brief, study.tables).sound};
    const study::Meters meters(study.brief);
    const Looks looks{.fins = study::fin_looks(out.sheets, study.brief.fins),
                      .body = study::body_looks(out.sheets, study.brief.body),
                      .reflexes = study::reflex_looks(out.sheets)};
    for (const auto& fish : study.tables.fish) {
        out.fish.push_back(answer_one(
            fish, looks, {.study = study, .sheets = out.sheets, .plates = plates, .meters = meters}));
    }
    return out;
}

std::optional<Instant> caught_at(const FishCondition& fish) {
    const auto& first = fish.handling.front();
    for (const auto kind : {HandlingKind::hook_up, HandlingKind::landed}) {
        const auto found = std::ranges::find(first.moments, kind, &condition::HandlingMoment::kind);
        if (found != first.moments.end()) {
            return found->at;
        }
    }
    return first.encounter == nullptr ? std::nullopt : first.encounter->at;
}

const DrawAnswer* first_draw(const FishCondition& fish) {
    const auto caught = caught_at(fish);
    const auto over = over_at(fish);
    for (const auto& draw : fish.draws) {
        const bool has_value = std::ranges::any_of(
            draw.values, [](const BloodValue& value) { return detail::is_blood(value.matrix); });
        const bool is_after = !caught || draw.at + Duration::seconds(60.0) >= *caught;
        if (has_value && is_after) {
            return over && draw.at > *over ? nullptr : &draw;
        }
    }
    return nullptr;
}

const FinAnswer* at_landing(const FishCondition& fish) {
    const FinAnswer* first = nullptr;
    for (const auto& one : fish.fins) {
        const auto& look = one.look.look;
        const bool is_earlier =
            first == nullptr || (look.at && first->look.look.at && *look.at < *first->look.look.at);
        if (look.occasion == condition::Occasion::landing && is_earlier) {
            first = &one;
        }
    }
    return first;
}

} // namespace backeddy::app
