#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "app/detail/condition_parts.hpp"
#include "app/detail/results_condition_parts.hpp"
#include "app/detail/results_parts.hpp"
#include "base/number_text.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Known;
using report::Number;

// ---------------------------------------------------------------- blood

Number minutes(const std::optional<condition::Elapsed>& elapsed, const char* none, const char* method) {
    if (!elapsed) {
        return report::no_number(none, "min");
    }
    const double value = elapsed->seconds / 60.0;
    return elapsed->uncertainty_s
               ? report::number(Measured(value, *elapsed->uncertainty_s / 60.0, "times"), "min", method)
               : report::number(value, "min", method);
}

std::string limit_text(const condition::Determined& determined) {
    const auto& within = determined.known_within;
    const auto text = [](double value) { return significant_text(value, 3); };
    if (!std::isfinite(within.upper)) {
        return fmt::format("above {} {}", text(within.lower), determined.unit);
    }
    return within.lower > 0.0
               ? fmt::format("between {} and {} {}", text(within.lower), text(within.upper), determined.unit)
               : fmt::format("below {} {}", text(within.upper), determined.unit);
}

Number value_number(const BloodValue& value) {
    const auto& determined = value.determined;
    if (determined.known != Known::exactly) {
        return report::no_number(limit_text(determined), determined.unit);
    }
    if (value.interval) {
        auto out = report::number(determined.value, determined.unit, "read from the plate's standard curve");
        out.interval = report::Interval{.low = value.interval->lower,
                                        .high = value.interval->upper,
                                        .level = 0.95,
                                        .method = "curve and replicates"};
        return out;
    }
    return determined.uncertainty
               ? report::number(Measured(determined.value, *determined.uncertainty, "meter"), determined.unit,
                                "set right by the meter's pairs")
               : report::number(determined.value, determined.unit);
}

void add_range(const BloodValue& value, report::BloodValue& out) {
    const auto& unit = value.determined.unit;
    if (!is_blood(value.matrix) || value.determined.is_matrix_unknown) {
        const auto none = value.determined.is_matrix_unknown
                              ? "what it was measured in was not written down"
                              : fmt::format("published ranges are of blood, not of {}", out.matrix);
        out.range_low = report::no_number(none, unit);
        out.range_high = report::no_number(none, unit);
        return;
    }
    const auto& published = condition::published_range(value.analyte);
    out.range_low = report::as_written(report::number(published.range.lower, unit));
    out.range_high = report::as_written(report::number(published.range.upper, unit));
    out.range_source = std::string(published.source);
    out.is_outside_range =
        value.determined.known == Known::exactly && !published.range.holds(value.determined.value);
}

report::BloodValue value_of(const BloodValue& value) {
    const auto& determined = value.determined;
    report::BloodValue out{.analyte = study::word_of(value.analyte),
                           .matrix = spaced(study::word_of(value.matrix)),
                           .value = value_number(value),
                           .as_written = value.as_written,
                           .device = value.device,
                           .sample = value.sample,
                           .plate = value.plate,
                           .wells = value.wells,
                           .from = value.from,
                           .notes = determined.notes,
                           .doubts = value.doubts};
    if (determined.known != Known::exactly) {
        const auto& within = determined.known_within;
        out.below = std::isfinite(within.upper) ? std::optional(within.upper) : std::nullopt;
        out.above = within.lower > 0.0 ? std::optional(within.lower) : std::nullopt;
    }
    if (value.haemolysis != condition::Haemolysis::not_said) {
        out.haemolysis = study::word_of(value.haemolysis);
    }
    if (value.response_cv) {
        out.notes.push_back(
            fmt::format("CV of its wells' responses: {} %", significant_text(100.0 * *value.response_cv, 2)));
    }
    add_range(value, out);
    return out;
}

// Where nobody wrote down when the tube was sealed, its readings say when its chamber first closed.
std::optional<condition::Elapsed> since_closed(const FishAnswer& fish, Instant drawn_at) {
    std::optional<Instant> last;
    for (const auto& event : fish.after) {
        if (event.closed <= drawn_at && (!last || event.closed > *last)) {
            last = event.closed;
        }
    }
    return last ? std::optional(
                      condition::Elapsed{.seconds = (drawn_at - *last).seconds(), .uncertainty_s = {}})
                : std::nullopt;
}

void add_volumes(const DrawAnswer& draw, report::BloodDraw& out) {
    const std::string unit = "mL/kg";
    const char* why = !draw.is_blood    ? "no blood was drawn"
                      : !draw.volume_ml ? "no volume was written down"
                      : !draw.mass_kg   ? not_weighed
                                        : "";
    out.volume_ml = draw.volume_ml ? report::as_written(report::number(*draw.volume_ml, "mL"))
                                   : report::no_number(draw.is_blood ? why : "no blood was drawn", "mL");
    out.ml_per_kg = draw.volume_ml && draw.mass_kg ? report::number(*draw.volume_ml / *draw.mass_kg, unit)
                                                   : report::no_number(why, unit);
    out.drawn_ml_per_kg = draw.drawn_ml_per_kg
                              ? report::number(*draw.drawn_ml_per_kg, unit,
                                               draw.volume_ml ? "" : "of the draws of a known volume")
                              : report::no_number(draw.is_blood ? not_weighed : why, unit);
    out.ceiling_ml_per_kg =
        draw.ceiling_ml_per_kg
            ? report::as_written(report::number(*draw.ceiling_ml_per_kg, unit, "[blood] ceiling_ml_per_kg"))
            : report::no_number("no ceiling is set: [blood] ceiling_ml_per_kg", unit);
    out.is_over_ceiling = draw.is_over_ceiling;
}

report::BloodDraw draw_of(const FishAnswer& fish, const DrawAnswer& draw) {
    const auto closed = draw.times.since_sealed ? std::nullopt : since_closed(fish, draw.at);
    report::BloodDraw out{
        .at = draw.at,
        .since_hook_up_min =
            minutes(draw.times.since_hook_up, "no hook-up before it was written down", "by events.csv"),
        .since_sealed_min =
            closed ? minutes(closed, "", "since its chamber first closed, by its readings")
                   : minutes(draw.times.since_sealed, "it was in no sealed chamber before", "by events.csv"),
        .who = draw.who,
        .notes = draw.notes};
    add_volumes(draw, out);
    for (const auto& value : draw.values) {
        out.values.push_back(value_of(value));
    }
    return out;
}

std::vector<report::NamedNumber> bled_before_peaks(const Answers& answers, const FishAnswer& fish,
                                                   const FishCondition& condition) {
    std::vector<report::NamedNumber> out;
    for (const auto& event : fish.after) {
        if (!event.peak) {
            continue;
        }
        const auto bled = bled_before(condition, answers.study, *fish.fish, event.peak->window_from);
        out.push_back({.word = "peak_after_" + event_word(event.event),
                       .title = "drawn before the " + event.peak->name,
                       .number = bled ? report::number(*bled, "mL/kg", "draws of a known volume")
                                      : report::no_number(not_weighed, "mL/kg")});
    }
    return out;
}

// ---------------------------------------------------------------- scores

void add_index(const Expected<condition::ScoreIndex>& index, report::ScoredLook& out) {
    if (!index) {
        out.mean = report::no_number(index.error().text(), "");
        out.sum = report::no_number(index.error().text(), "");
        return;
    }
    const auto none = index->words.empty() ? std::string("too few were scored") : index->words;
    out.mean = index->mean ? report::number(*index->mean, "", "mean level of what was scored")
                           : report::no_number(none, "");
    out.sum = index->sum ? report::number(static_cast<double>(*index->sum), "", "sum of levels")
                         : report::no_number(none, "");
    out.worst = index->worst;
    out.note = index->words;
}

report::ScoredLook look_of(const study::Look& look) {
    return {.occasion = study::word_of(look.occasion), .scorer = look.scorer, .at = look.at};
}

report::ScoredPlace place_of(std::string word, std::optional<std::size_t> level,
                             const std::vector<std::string>& levels) {
    report::ScoredPlace out{.word = word, .title = spaced(std::move(word))};
    if (level) {
        out.level = level;
        out.level_word = levels.at(*level);
    }
    return out;
}

report::ScoredLook fins_of(const FinAnswer& fins, const study::FinSettings& settings) {
    auto out = look_of(fins.look.look);
    add_index(fins.index, out);
    for (const auto& score : fins.look.scores) {
        auto place = place_of(study::word_of(score.fin), score.level, settings.scale.levels);
        for (const auto& [is_there, mark] :
             {std::pair(score.is_split, "split"), std::pair(score.is_frayed, "frayed"),
              std::pair(score.has_net_marks, "net marks")}) {
            if (is_there.value_or(false)) {
                place.marks.emplace_back(mark);
            }
        }
        out.places.push_back(std::move(place));
    }
    return out;
}

report::ScoredLook body_of(const BodyAnswer& body, const study::BodySettings& settings) {
    auto out = look_of(body.look.look);
    add_index(body.index, out);
    for (const auto& score : body.look.areas) {
        out.places.push_back(place_of(study::word_of(score.area), score.level, settings.scale.levels));
    }
    for (const auto& [level, part] : {std::pair(body.look.left_eye, study::ScoredPart::left_eye),
                                      std::pair(body.look.right_eye, study::ScoredPart::right_eye)}) {
        if (level) {
            out.places.push_back(place_of(study::word_of(part), level, settings.scale.levels));
        }
    }
    if (body.look.bleeding) {
        out.places.push_back(place_of(study::word_of(study::ScoredPart::hook_wound),
                                      static_cast<std::size_t>(*body.look.bleeding),
                                      study::words_of(condition::Bleeding{})));
    }
    return out;
}

report::ReflexLook reflexes_of(const ReflexAnswer& reflexes) {
    report::ReflexLook out{.at = reflexes.look.at};
    for (const auto& test : reflexes.look.tests) {
        out.tests.push_back({.name = test.name,
                             .text = !test.is_impaired   ? "not tested"
                                     : *test.is_impaired ? "lost"
                                                         : "there"});
    }
    if (!reflexes.impairment) {
        const auto why = reflexes.impairment.error().text();
        out.impaired_percent = report::no_number(why, "%");
        out.can_be_low_percent = report::no_number(why, "%");
        out.can_be_high_percent = report::no_number(why, "%");
        return out;
    }
    for (const auto& name : reflexes.impairment->missing) {
        const bool is_listed =
            std::ranges::find(out.tests, name, &report::NamedText::name) != out.tests.end();
        if (!is_listed) {
            out.tests.push_back({.name = name, .text = "not tested"});
        }
    }
    const auto& impairment = *reflexes.impairment;
    out.impaired_percent = impairment.share
                               ? report::number(100.0 * *impairment.share, "%", "lost of those tested")
                               : report::no_number("none was tested", "%");
    out.can_be_low_percent = report::number(100.0 * impairment.can_be.lower, "%");
    out.can_be_high_percent = report::number(100.0 * impairment.can_be.upper, "%");
    return out;
}

// ---------------------------------------------------------------- handling and fate

Number seconds_of(const std::optional<condition::Elapsed>& elapsed, const char* none) {
    if (!elapsed) {
        return report::no_number(none, "s");
    }
    return elapsed->uncertainty_s
               ? report::number(Measured(elapsed->seconds, *elapsed->uncertainty_s, "times"), "s")
               : report::number(elapsed->seconds, "s");
}

std::vector<report::HandlingTime> handling_times_of(const std::vector<study::Handling>& handling) {
    std::vector<report::HandlingTime> out;
    for (const auto& part : handling) {
        const bool is_again = &part != &handling.front();
        const auto when =
            is_again && part.encounter->at ? ", met again " + iso_text(*part.encounter->at) : std::string();
        for (const auto& one : part.all) {
            out.push_back({.word = one.word,
                           .title = one.title + when,
                           .by_events = seconds_of(one.by_events, "not written down"),
                           .typed = report::as_written(seconds_of(one.typed, "not typed")),
                           .disagreement = one.disagreement});
        }
    }
    return out;
}

report::KnownFate known_fate(const FateAnswer& answer) {
    const auto& fate = answer.fate;
    const char* ending = fate.ending == condition::FateEnding::dead   ? "dead"
                         : fate.ending == condition::FateEnding::lost ? "lost"
                                                                      : "alive";
    return {.ending = ending,
            .last_alive = fate.last_alive,
            .found_dead = fate.found_dead,
            .lost = fate.lost,
            .released = fate.released,
            .stage = fate.stage ? study::word_of(*fate.stage) : std::string(),
            .cause = fate.cause,
            .tags = answer.tags,
            .doubts = answer.doubts};
}

} // namespace

std::string spaced(std::string word) {
    std::ranges::replace(word, '_', ' ');
    return word;
}

std::optional<double> bled_before(const FishCondition& condition, const Study& study, const study::Fish& fish,
                                  Instant moment) {
    const auto mass = study::mass_by(fish, moment, study.tables);
    if (!mass) {
        return std::nullopt;
    }
    const auto bled = condition::bled_ml_per_kg(mass->mass.kilograms(), condition.volumes, moment);
    return bled ? std::optional(*bled) : std::nullopt;
}

report::FishCondition condition_of(const Answers& answers, const FishAnswer& fish,
                                   const FishCondition& condition) {
    const auto& brief = answers.study.brief;
    report::FishCondition out{.handling = handling_times_of(condition.handling),
                              .bled_before = bled_before_peaks(answers, fish, condition),
                              .reminders = condition.reminders,
                              .doubts = condition.doubts};
    const auto* first = first_draw(condition);
    for (const auto& draw : condition.draws) {
        out.draws.push_back(draw_of(fish, draw));
        out.draws.back().is_first_after_event = &draw == first;
    }
    for (const auto& fins : condition.fins) {
        out.fins.push_back(fins_of(fins, brief.fins));
    }
    for (const auto& body : condition.body) {
        out.body.push_back(body_of(body, brief.body));
    }
    for (const auto& reflexes : condition.reflexes) {
        out.reflexes.push_back(reflexes_of(reflexes));
    }
    if (condition.fate) {
        out.fate = known_fate(*condition.fate);
    }
    return out;
}

} // namespace backeddy::app::detail
