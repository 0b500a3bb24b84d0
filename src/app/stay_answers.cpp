#include "app/stay_answers.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>
#include <set>
#include <utility>

#include <fmt/format.h>

#include "study/relations.hpp"
#include "study/words.hpp"

namespace backeddy::app {

namespace {

// The two enumerations list the same acts in the same order; the words of the table are the study's.
uptake::DecisionAct act_of(study::DecisionAct act) {
    switch (act) {
    case study::DecisionAct::exclude:
        return uptake::DecisionAct::exclude;
    case study::DecisionAct::include:
        return uptake::DecisionAct::include;
    case study::DecisionAct::mark:
        return uptake::DecisionAct::mark;
    case study::DecisionAct::move_start:
        return uptake::DecisionAct::move_start;
    case study::DecisionAct::move_end:
        return uptake::DecisionAct::move_end;
    case study::DecisionAct::note:
        break;
    }
    return uptake::DecisionAct::note;
}

// Decisions about one spell go in with the stay; one without a moment means the whole stay and is applied to
// every spell afterwards.
void add_decisions(const Study& study, StayAnswer& answer) {
    for (const auto& decision : study.tables.decisions) {
        if (decision.stay != answer.stay->id) {
            continue;
        }
        if (!decision.moment) {
            answer.whole_stay.push_back(decision);
            continue;
        }
        answer.on_spells.push_back(decision);
        answer.input.decisions.push_back({.act = act_of(decision.act),
                                          .moment = *decision.moment,
                                          .moved_to = decision.moved_to.value_or(*decision.moment),
                                          .mark = decision.mark.value_or(uptake::Mark::doubtful),
                                          .reason = decision.reason,
                                          .author = decision.author});
    }
}

// Whether an event says something of the chamber of this stay. What names neither stay, fish nor assembly
// holds for all chambers, as a cleaning does.
bool concerns(const study::Event& event, const study::Stay& stay) {
    return (event.stay.is_empty() || event.stay == stay.id) &&
           (event.assembly.is_empty() || event.assembly == stay.assembly) &&
           (event.fish.is_empty() || event.fish == stay.fish);
}

// A swap that assemblies.csv tells too: there the stay splits, and no slope crosses it.
bool is_split_there(const study::Event& swap, const study::Stay& stay, const study::Tables& tables,
                    double standing_s) {
    const double reach_s = 2.0 * (swap.at_uncertainty ? swap.at_uncertainty->seconds() : standing_s);
    const auto splits = study::splits_of(stay, tables);
    for (std::size_t i = 1; i < splits.size(); ++i) {
        if (std::abs((splits[i].from - swap.at).seconds()) <= reach_s) {
            return true;
        }
    }
    return false;
}

// What an event does to a sealed spell it falls into; nothing for most kinds.
std::optional<uptake::ChamberAct> act_of(const study::Event& event) {
    const auto act = [&](uptake::Mark mark, std::string word, std::string text) {
        return uptake::ChamberAct{.at = event.at,
                                  .uncertainty = event.at_uncertainty.value_or(Duration()),
                                  .mark = mark,
                                  .reason = {.word = std::move(word), .text = std::move(text)}};
    };
    switch (event.kind) {
    case study::EventKind::opened:
        return act(uptake::Mark::unusable, "opened_inside", "the chamber was opened");
    case study::EventKind::cleaning:
        return act(uptake::Mark::unusable, "cleaned_inside", "the chamber was cleaned");
    case study::EventKind::sensor_swap:
        return act(uptake::Mark::unusable, "sensor_swapped_inside", "the sensor was swapped");
    case study::EventKind::disturbance:
        return act(uptake::Mark::doubtful, "disturbed_inside", "a disturbance");
    case study::EventKind::anaesthetic:
        return act(uptake::Mark::doubtful, "anaesthetic_inside", "an anaesthetic");
    default:
        return std::nullopt;
    }
}

// At the stay's own bounds a chamber is opened as a matter of course.
std::vector<uptake::ChamberAct> acts_on(const study::Stay& stay, const study::Tables& tables,
                                        double standing_s) {
    std::vector<uptake::ChamberAct> out;
    for (const auto& event : tables.events) {
        if (!concerns(event, stay) || event.at <= stay.from() || event.at >= stay.to()) {
            continue;
        }
        auto act = act_of(event);
        const bool is_told =
            event.kind == study::EventKind::sensor_swap && is_split_there(event, stay, tables, standing_s);
        if (act && !is_told) {
            act->reason.text += fmt::format(" (events.csv, {})", study::line_text(event.place));
            out.push_back(*std::move(act));
        }
    }
    return out;
}

uptake::FishBody body_of(const study::Fish& fish, const std::optional<study::MassAt>& known,
                         const study::Uncertainty& standing) {
    const double density = fish.density ? fish.density->kg_per_l() : standing.density_kg_per_l;
    uptake::FishBody body{.fish = fish.id.text(),
                          .density_kg_per_l = Measured(density, standing.density_uncertainty_kg_per_l,
                                                       "density:" + fish.id.text())};
    if (known) {
        const double kg = known->mass.kilograms();
        const double uncertainty =
            known->uncertainty ? known->uncertainty->kilograms() : standing.mass_percent / 100.0 * kg;
        // Another weighing is another error; stays on the same one share it.
        const std::string which = known->weighed == nullptr ? "" : "@" + iso_text(known->weighed->at);
        body.mass_kg = Measured(kg, uncertainty, "mass:" + fish.id.text() + which);
    }
    return body;
}

std::optional<uptake::StatesFrom> asked_source(study::StatesSource source) {
    switch (source) {
    case study::StatesSource::automatic:
        return std::nullopt;
    case study::StatesSource::pump_column:
        return uptake::StatesFrom::pump_column;
    case study::StatesSource::pump_log:
        return uptake::StatesFrom::pump_log;
    case study::StatesSource::timetable:
        return uptake::StatesFrom::timetable;
    case study::StatesSource::found:
        return uptake::StatesFrom::found;
    case study::StatesSource::sealed_throughout:
        return uptake::StatesFrom::sealed_throughout;
    }
    return std::nullopt;
}

// The assembly's own timetable, else the one for all, that begins last before the stay does.
std::optional<uptake::Timetable> timetable_of(const study::States& states, const study::AssemblyId& assembly,
                                              const study::Stay& stay) {
    const study::TimetableEntry* best = nullptr;
    for (const auto& entry : states.timetables) {
        const bool fits = (entry.assembly.is_empty() || entry.assembly == assembly) &&
                          entry.start < stay.to() && (!entry.until || *entry.until > stay.from());
        const bool is_better = best == nullptr || (best->assembly.is_empty() && !entry.assembly.is_empty()) ||
                               (best->assembly == entry.assembly && entry.start > best->start);
        if (fits && is_better) {
            best = &entry;
        }
    }
    if (best == nullptr) {
        return std::nullopt;
    }
    return uptake::Timetable{.start = best->start, .period = best->period, .flush = best->flush};
}

uptake::StateInputs states_of(const study::States& states, const Chamber& chamber, const study::Stay& stay) {
    uptake::StateInputs out{.asked = asked_source(states.source),
                            .log = chamber.pump_log ? &*chamber.pump_log : nullptr,
                            .timetable = timetable_of(states, chamber.assembly->id, stay),
                            .find = states.find};
    out.find.sensor_lag_s = chamber.usual.physics.sensor_lag_s;
    return out;
}

uptake::StaySettings stay_settings(const study::Brief& brief) {
    return {.settle = brief.settle.rule,
            .fixed_settle = brief.settle.fixed,
            .model_lag_when_fast = brief.settle.model_lag_when_fast,
            .gap_factor = brief.settle.gap_factor,
            .least_gap = brief.settle.least_gap,
            .found_margin = brief.settle.found_margin,
            .marks = brief.marks,
            .background = brief.background};
}

// Rows of the chamber's trace within the stay.
uptake::StaySlice slice_of(const Chamber& chamber, const study::Stay& stay, const study::Brief& brief) {
    const auto& times = chamber.trace.times_ns;
    const auto row = [&](std::int64_t ns, bool after) {
        const auto found = after ? std::upper_bound(times.begin(), times.end(), ns)
                                 : std::lower_bound(times.begin(), times.end(), ns);
        return static_cast<std::size_t>(found - times.begin());
    };
    return {.trace = &chamber.trace,
            .first_row = row(stay.from().unix_nanoseconds(), false),
            .end_row = row(stay.to().unix_nanoseconds(), true),
            .chamber = chamber.at(stay.from()).physics,
            .oxygen = chamber.at(stay.from()).oxygen,
            .states = states_of(brief.states, chamber, stay)};
}

// Seasons that hold at once may each set a part of [noise].
std::string noise_season(const study::Brief& brief, Instant moment) {
    std::string out;
    for (const auto& season : brief.seasons) {
        if (season.holds_at(moment) && season.overrides_section("noise")) {
            out += (out.empty() ? "" : " and ") + season.label();
        }
    }
    return out;
}

StayAnswer prepared(const Study& study, const Chambers& chambers, const study::Stay& stay) {
    StayAnswer answer{.stay = &stay,
                      .fish = stay.has_fish() ? study.tables.find(stay.fish) : nullptr,
                      .uptake = Expected<uptake::StayUptake>(
                          fail({.code = ErrorCode::our_bug, .found = "not computed yet"}))};
    const auto brief = study.brief.at(stay.from());
    answer.input = {.stay = stay.id.text(),
                    .roles = stay.roles(),
                    .last_good = study::last_good_of(stay, study.tables),
                    .cleanings = study::cleanings_of(stay.assembly, study.tables),
                    .acts = acts_on(stay, study.tables, brief.uncertainty.event_s),
                    .settings = stay_settings(brief)};
    answer.blank_part = brief.blank_part;
    answer.noise_settings = brief.noise;
    answer.noise_season = noise_season(study.brief, stay.from());
    add_decisions(study, answer);
    if (answer.fish != nullptr) {
        answer.mass = study::mass_for(*answer.fish, stay, study.tables);
        answer.input.fish = body_of(*answer.fish, answer.mass, brief.uncertainty);
    }
    // The rows of assemblies.csv may stand in any order; the slices follow each other in time.
    for (const auto& chamber : chambers.list) {
        if (chamber.assembly->id == stay.assembly && !chamber.trace.times_ns.empty()) {
            answer.slices.push_back(&chamber);
        }
    }
    std::stable_sort(answer.slices.begin(), answer.slices.end(), [](const Chamber* a, const Chamber* b) {
        return a->trace.times_ns.front() < b->trace.times_ns.front();
    });
    std::erase_if(answer.slices, [&](const Chamber* chamber) {
        auto slice = slice_of(*chamber, stay, brief);
        const bool is_empty = slice.first_row >= slice.end_row;
        if (!is_empty) {
            answer.input.slices.push_back(std::move(slice));
        }
        return is_empty;
    });
    return answer;
}

bool is_settled_by_itself(const uptake::SealedSpell& spell) {
    return std::any_of(spell.answer.reasons.begin(), spell.answer.reasons.end(), [](const uptake::Reason& r) {
        return r.word == "excluded_by_hand" || r.word == "included_by_hand" || r.word == "marked_by_hand";
    });
}

// A decision without a moment means every spell of its stay, but not one that has a decision of its own: the
// lid was open all day, yet not here. Of several the last one stands, and all are told.
void apply_to_whole_stay(std::span<const study::Decision> decisions, uptake::SealedSpell& spell) {
    if (is_settled_by_itself(spell)) {
        return;
    }
    for (const auto& decision : decisions) {
        const std::string said = fmt::format("whole stay, by {}: {}", decision.author, decision.reason);
        if (decision.act == study::DecisionAct::exclude) {
            spell.answer.mark = uptake::Mark::unusable;
            spell.is_excluded_by_hand = true;
            spell.answer.reasons.push_back({.word = "excluded_by_hand", .text = said});
        } else if (decision.act == study::DecisionAct::mark && decision.mark) {
            spell.answer.mark = *decision.mark;
            spell.is_excluded_by_hand = *decision.mark == uptake::Mark::unusable;
            spell.answer.reasons.push_back({.word = "marked_by_hand", .text = said});
        } else if (decision.act == study::DecisionAct::include) {
            spell.answer.mark = spell.mark_by_machine;
            spell.is_excluded_by_hand = false;
            spell.answer.reasons.push_back({.word = "included_by_hand", .text = said});
        } else if (decision.act == study::DecisionAct::note) {
            spell.answer.reasons.push_back({.word = "note", .text = said});
        }
    }
}

} // namespace

namespace {

Expected<void> has_readings(const StayAnswer& answer) {
    if (!answer.input.slices.empty()) {
        return {};
    }
    return fail(
        {.code = ErrorCode::too_few,
         .found = fmt::format("stay {} has no readings: nothing of assembly {} between {} and {}",
                              answer.stay->id.text(), answer.stay->assembly.text(),
                              iso_text(answer.stay->from()), iso_text(answer.stay->to())),
         .expected = "a trace that covers the stay",
         .remedy = "check the stay's times, the assembly's name and dates, and the logger's clock and zone"});
}

} // namespace

namespace {

using Compute = Expected<uptake::StayUptake> (*)(const uptake::StayInput&);

// `input` is the stay's own, or one with less in it.
Expected<uptake::StayUptake> computed(const StayAnswer& answer, const uptake::StayInput& input,
                                      Compute compute) {
    if (auto fine = has_readings(answer); !fine) {
        return fail(std::move(fine).error());
    }
    auto result = compute(input);
    if (result) {
        for (auto& spell : result->spells) {
            apply_to_whole_stay(answer.whole_stay, spell);
        }
    }
    return result;
}

} // namespace

Expected<uptake::StayUptake> compute_stay(const StayAnswer& answer) {
    return computed(answer, answer.input, uptake::stay_uptake);
}

namespace {

bool is_blank(const StayAnswer& answer) {
    const auto& roles = answer.input.roles;
    return std::any_of(roles.begin(), roles.end(),
                       [](const uptake::RoleInterval& r) { return r.role == uptake::StayRole::blank; });
}

// Steps of one answer_stays call, so that progress and threads are passed once.
class Pass {
  public:
    Pass(std::vector<StayAnswer>& answers, Threads threads, const Progress& progress)
        : answers_(answers), threads_(threads), progress_(progress) {}

    template <typename Wanted, typename Do>
    void run(std::string_view what, const Wanted& wanted, const Do& what_is_done) {
        std::atomic<std::size_t> done{0};
        std::mutex guard;
        parallel_for(answers_.size(), threads_, [&](std::size_t i) {
            if (wanted(answers_[i])) {
                what_is_done(answers_[i]);
            }
            const std::lock_guard lock(guard);
            progress_(what, ++done, answers_.size(), "stays");
        });
    }

  private:
    std::vector<StayAnswer>& answers_;
    Threads threads_;
    const Progress& progress_;
};

void compute(StayAnswer& answer) {
    answer.uptake = compute_stay(answer);
}

NoiseKey noise_key(const StayAnswer& answer, std::size_t slice) {
    return {.sensor = answer.slices[slice]->trace.sensor, .season = answer.noise_season};
}

std::set<NoiseKey> noise_keys(const StayAnswer& answer) {
    std::set<NoiseKey> out;
    for (std::size_t s = 0; s < answer.slices.size(); ++s) {
        out.insert(noise_key(answer, s));
    }
    return out;
}

// A first look, for which no noise is known yet and no blank.
void look_for_noise(StayAnswer& answer) {
    auto input = answer.input;
    input.blanks.clear();
    for (auto& slice : input.slices) {
        slice.noise.reset();
    }
    const auto seen = computed(answer, input, uptake::stay_for_noise);
    answer.for_noise = seen ? uptake::noise_stretches(input, *seen) : std::vector<uptake::StayStretch>();
}

// The noise of these sensors, from what all stays tell of them.
void estimate_noise(StayAnswers& stays, const std::set<NoiseKey>& keys, Threads threads) {
    std::map<NoiseKey, std::vector<uptake::NoiseStretch>> stretches;
    std::map<std::string, uptake::NoiseSettings> settings;
    for (const auto& answer : stays.list) {
        settings[answer.noise_season] = answer.noise_settings;
        for (const auto& one : answer.for_noise) {
            if (const auto key = noise_key(answer, one.slice); keys.contains(key)) {
                stretches[key].push_back(one.stretch);
            }
        }
    }
    const std::vector<std::pair<NoiseKey, std::vector<uptake::NoiseStretch>>> list(stretches.begin(),
                                                                                   stretches.end());
    std::vector<std::optional<Expected<uptake::SensorNoise>>> results(list.size());
    parallel_for(list.size(), threads, [&](std::size_t i) {
        results[i] =
            uptake::sensor_noise(list[i].first.sensor, list[i].second, settings.at(list[i].first.season));
    });
    for (const auto& key : keys) {
        stays.noise.erase(key);
        stays.no_noise.erase(key);
    }
    for (std::size_t i = 0; i < list.size(); ++i) {
        if (*results[i]) {
            stays.noise.emplace(list[i].first, std::move(**results[i]));
        } else {
            stays.no_noise.emplace(list[i].first, results[i]->error().text());
        }
    }
}

// Whether any of the stay's models is another than it had.
bool take_noise(const std::map<NoiseKey, uptake::SensorNoise>& noise, StayAnswer& answer) {
    bool is_other = false;
    for (std::size_t s = 0; s < answer.slices.size(); ++s) {
        const auto found = noise.find(noise_key(answer, s));
        const auto model =
            found == noise.end() ? std::nullopt : std::optional<fit::NoiseModel>(found->second.model);
        is_other = is_other || model != answer.input.slices[s].noise;
        answer.input.slices[s].noise = model;
    }
    return is_other;
}

} // namespace

std::vector<study::Complaint> unheard_decisions(std::span<const StayAnswer> stays) {
    std::vector<study::Complaint> out;
    for (const auto& answer : stays) {
        if (!answer.uptake) {
            continue; // the stay's own reason is said
        }
        for (const std::size_t i : answer.uptake->decisions_without_spell) {
            const auto& decision = answer.on_spells[i];
            Place place = decision.place;
            place.column = "moment";
            out.push_back(
                {.severity = study::Severity::warning,
                 .error = {.code = ErrorCode::bad_relation,
                           .found = fmt::format("{} at {} lies in no sealed spell of the stay \"{}\"",
                                                study::word_of(decision.act), iso_text(*decision.moment),
                                                answer.stay->id.text()),
                           .expected = "an instant inside the sealed spell that is meant: this "
                                       "decision changed nothing",
                           .remedy = "take a moment between sealed_from and to of its row in "
                                     "uptake_by_spell.csv",
                           .place = std::move(place)}});
        }
    }
    return out;
}

std::vector<study::Complaint> refused_moves(std::span<const StayAnswer> stays) {
    std::vector<study::Complaint> out;
    for (const auto& answer : stays) {
        if (!answer.uptake) {
            continue; // the stay's own reason is said
        }
        for (const auto& refused : answer.uptake->refused_moves) {
            const auto& decision = answer.on_spells[refused.decision];
            const bool nothing = refused.leaves_nothing;
            out.push_back(study::warn(
                decision.place, "value",
                {ErrorCode::bad_time,
                 fmt::format(
                     "{} to {}{}; the spell of the stay \"{}\" was sealed from {} to {}",
                     study::word_of(decision.act), iso_text(decision.moved_to.value_or(*decision.moment)),
                     nothing ? " leaves no reading: the start is not before the end" : "",
                     answer.stay->id.text(), iso_text(refused.sealed_from), iso_text(refused.sealed_to)),
                 nothing ? "a start before the end; this spell gives no uptake"
                         : "a moment inside that spell, since no slope reaches into a flush; this bound was "
                           "not moved",
                 nothing ? "correct one of the two bounds, or exclude the spell"
                         : "correct the time, or take the row out"}));
        }
    }
    return out;
}

namespace {

std::vector<uptake::Blank> blanks_of(const StayAnswers& stays) {
    std::vector<uptake::Blank> out;
    for (const auto& answer : stays.list) {
        if (is_blank(answer) && answer.uptake) {
            for (auto& blank : uptake::blank_points(answer.input, *answer.uptake, answer.blank_part)) {
                out.push_back(std::move(blank));
            }
        }
    }
    return out;
}

// Blanks of its own chamber; side by side those of all.
std::vector<uptake::Blank> blanks_for(const StayAnswer& answer, const std::vector<uptake::Blank>& all) {
    const bool wants_all = answer.input.settings.background.blanks_used == uptake::BlanksUsed::side_by_side;
    std::vector<uptake::Blank> out;
    std::ranges::copy_if(all, std::back_inserter(out), [&](const uptake::Blank& blank) {
        return wants_all || blank.assembly == answer.stay->assembly.text();
    });
    return out;
}

bool is_same_blank(const uptake::Blank& a, const uptake::Blank& b) {
    return a.id == b.id && a.assembly == b.assembly && a.at == b.at &&
           a.slope_mg_per_l_h == b.slope_mg_per_l_h && a.spells == b.spells;
}

// Whether any of a fish's blanks is another than it had.
bool take_blanks(const std::vector<uptake::Blank>& all, StayAnswer& answer) {
    if (is_blank(answer)) {
        return false;
    }
    auto blanks = blanks_for(answer, all);
    const bool is_other = !std::ranges::equal(blanks, answer.input.blanks, is_same_blank);
    answer.input.blanks = std::move(blanks);
    return is_other;
}

} // namespace

StayAnswers answer_stays(const Study& study, const Chambers& chambers, Threads threads,
                         const Progress& progress) {
    StayAnswers out;
    std::set<NoiseKey> keys;
    for (const auto& stay : study.tables.stays) {
        out.list.push_back(prepared(study, chambers, stay));
        keys.merge(noise_keys(out.list.back()));
    }
    Pass pass(out.list, threads, progress);
    pass.run("first look", [](const StayAnswer&) { return true; }, look_for_noise);
    estimate_noise(out, keys, threads);
    for (auto& answer : out.list) {
        take_noise(out.noise, answer);
    }
    pass.run("blanks", is_blank, compute);
    out.blanks = blanks_of(out);
    for (auto& answer : out.list) {
        take_blanks(out.blanks, answer);
    }
    pass.run("slopes", [](const StayAnswer& answer) { return !is_blank(answer); }, compute);
    return out;
}

namespace {

bool are_same(const study::Decision& a, const study::Decision& b) {
    return a.act == b.act && a.mark == b.mark && a.reason == b.reason && a.author == b.author;
}

// The stay's decisions as the table has them now; whether they differ from those it had.
bool take_decisions(const Study& study, StayAnswer& answer) {
    const auto acts = std::exchange(answer.input.decisions, {});
    const auto whole = std::exchange(answer.whole_stay, {});
    answer.on_spells.clear();
    add_decisions(study, answer);
    return acts != answer.input.decisions ||
           !std::equal(whole.begin(), whole.end(), answer.whole_stay.begin(), answer.whole_stay.end(),
                       are_same);
}

bool are_same_readings(const uptake::StayStretch& a, const uptake::StayStretch& b) {
    const auto same = [](const auto& left, const auto& right) {
        return left.data() == right.data() && left.size() == right.size();
    };
    const auto& [one, other] = std::pair(a.stretch.view, b.stretch.view);
    return a.slice == b.slice && a.stretch.role == b.stretch.role && same(one.times_ns, other.times_ns) &&
           same(one.oxygen_mg_per_l, other.oxygen_mg_per_l);
}

// Looks again; whether it tells something else of its sensors' noise than it did.
bool looks_other(StayAnswer& answer) {
    const auto before = std::move(answer.for_noise);
    look_for_noise(answer);
    return !std::ranges::equal(before, answer.for_noise, are_same_readings);
}

} // namespace

namespace {

// After stays' decisions have changed: the noise of their sensors, their blanks, and whatever rests on these.
// Of each stay, whether it was computed anew; it begins with those whose own decisions changed.
std::vector<bool> follow(StayAnswers& stays, std::vector<bool> is_changed, Threads threads,
                         const Progress& progress) {
    std::vector<char> is_other(stays.list.size(), 0); // vector<bool> cannot be written to side by side
    parallel_for(stays.list.size(), threads,
                 [&](std::size_t i) { is_other[i] = is_changed[i] && looks_other(stays.list[i]) ? 1 : 0; });
    std::set<NoiseKey> touched;
    for (std::size_t i = 0; i < stays.list.size(); ++i) {
        if (is_other[i] != 0) {
            touched.merge(noise_keys(stays.list[i]));
        }
    }
    estimate_noise(stays, touched, threads);
    for (std::size_t i = 0; i < stays.list.size(); ++i) {
        const bool has_other_noise = take_noise(stays.noise, stays.list[i]);
        is_changed[i] = is_changed[i] || has_other_noise;
    }
    const auto wanted = [&](bool blanks) {
        return [&, blanks](const StayAnswer& answer) {
            return is_blank(answer) == blanks &&
                   is_changed[static_cast<std::size_t>(&answer - stays.list.data())];
        };
    };
    Pass pass(stays.list, threads, progress);
    if (std::any_of(stays.list.begin(), stays.list.end(), wanted(true))) {
        pass.run("blanks", wanted(true), compute);
        stays.blanks = blanks_of(stays);
        for (std::size_t i = 0; i < stays.list.size(); ++i) {
            const bool has_other_blanks = take_blanks(stays.blanks, stays.list[i]);
            is_changed[i] = is_changed[i] || has_other_blanks;
        }
    }
    pass.run("slopes", wanted(false), compute);
    return is_changed;
}

} // namespace

std::vector<bool> answer_stays_again(const Study& study, StayAnswers& stays, Threads threads,
                                     const Progress& progress) {
    std::vector<bool> is_changed(stays.list.size(), false);
    for (std::size_t i = 0; i < stays.list.size(); ++i) {
        is_changed[i] = take_decisions(study, stays.list[i]);
    }
    return follow(stays, std::move(is_changed), threads, progress);
}

std::vector<StayAnswer> look_at_states(const Study& study, const Chambers& chambers, Threads threads) {
    std::vector<StayAnswer> out;
    for (const auto& stay : study.tables.stays) {
        out.push_back(prepared(study, chambers, stay));
    }
    parallel_for(out.size(), threads, [&](std::size_t i) {
        auto& answer = out[i];
        if (auto fine = has_readings(answer); fine) {
            answer.uptake = uptake::stay_states(answer.input);
        } else {
            answer.uptake = Expected<uptake::StayUptake>(fail(std::move(fine).error()));
        }
    });
    return out;
}

bool has_human_acts(const StayAnswer& stay) {
    const auto& acts = stay.input.decisions;
    return std::any_of(acts.begin(), acts.end(),
                       [](const uptake::SpellDecision& d) { return d.act != uptake::DecisionAct::note; }) ||
           std::any_of(stay.whole_stay.begin(), stay.whole_stay.end(),
                       [](const study::Decision& d) { return d.act != study::DecisionAct::note; });
}

Undone without_human_acts(const StayAnswers& stays, Threads threads) {
    Undone undone{.stays = stays, .is_changed = std::vector<bool>(stays.list.size(), false)};
    for (std::size_t i = 0; i < undone.stays.list.size(); ++i) {
        auto& answer = undone.stays.list[i];
        if (has_human_acts(answer)) {
            answer.input.decisions.clear();
            answer.on_spells.clear();
            answer.whole_stay.clear();
            undone.is_changed[i] = true;
        }
    }
    const Progress silent = [](std::string_view, std::size_t, std::size_t, std::string_view) {};
    undone.is_changed = follow(undone.stays, std::move(undone.is_changed), threads, silent);
    return undone;
}

} // namespace backeddy::app
