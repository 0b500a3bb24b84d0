#include "app/stay_doubts.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <utility>

#include <fmt/format.h>

#include "app/catch_entries.hpp"
#include "base/number_text.hpp"
#include "fit/quantile.hpp"
#include "study/words.hpp"

namespace backeddy::app {

namespace {

using uptake::ChamberState;

// ---------------------------------------------------------------- the pump upside down

constexpr std::size_t fewest_runs = 3;
constexpr double most_runs = 0.75;             ///< share of runs that go the wrong way (choice)
constexpr double least_change_mg_per_l = 0.05; ///< of each run: less is noise (choice)

/// Runs of one state by where oxygen went in them.
struct Ways {
    std::size_t up = 0;
    std::size_t down = 0;

    [[nodiscard]] bool mostly(std::size_t wanted) const {
        return up + down >= fewest_runs &&
               static_cast<double>(wanted) >= most_runs * static_cast<double>(up + down);
    }
};

/// Mean of the last quarter less that of the first; nothing where there are too few readings.
std::optional<double> change_over(const uptake::ChamberTrace& trace, const uptake::StateRun& run) {
    const auto row = [&](Instant at) {
        return static_cast<std::size_t>(
            std::lower_bound(trace.times_ns.begin(), trace.times_ns.end(), at.unix_nanoseconds()) -
            trace.times_ns.begin());
    };
    const std::size_t begin = row(run.from);
    const auto values = std::span(trace.oxygen_mg_per_l).subspan(begin, std::max(begin, row(run.to)) - begin);
    const auto is_there = [](double value) { return std::isfinite(value); };
    const auto part = static_cast<std::size_t>(std::count_if(values.begin(), values.end(), is_there)) / 4;
    if (part == 0) {
        return std::nullopt;
    }
    const auto sum_of_part = [&](auto from, const auto& end) {
        double sum = 0.0;
        for (std::size_t taken = 0; from != end && taken < part; ++from) {
            if (is_there(*from)) {
                sum += *from;
                ++taken;
            }
        }
        return sum;
    };
    const double first = sum_of_part(values.begin(), values.end());
    const double last = sum_of_part(values.rbegin(), values.rend());
    return (last - first) / static_cast<double>(part);
}

bool is_inverted(const StayAnswer& answer) {
    Ways sealed;
    Ways flush;
    const auto& states = answer.uptake->states;
    for (std::size_t i = 0; i < states.size(); ++i) {
        auto state = states[i];
        if (state.run.state != ChamberState::sealed && state.run.state != ChamberState::flush) {
            continue;
        }
        const bool settled = i > 0 && states[i - 1].run.state == ChamberState::settle &&
                             states[i - 1].slice == state.slice && states[i - 1].run.to == state.run.from;
        state.run.from = settled ? states[i - 1].run.from : state.run.from;
        const auto change = change_over(answer.slices[state.slice]->trace, state.run);
        if (!change || std::fabs(*change) < least_change_mg_per_l) {
            continue;
        }
        auto& ways = state.run.state == ChamberState::sealed ? sealed : flush;
        ++(*change > 0.0 ? ways.up : ways.down);
    }
    return sealed.mostly(sealed.up) && flush.mostly(flush.down);
}

bool is_told(uptake::StatesFrom from) {
    return from == uptake::StatesFrom::pump_column || from == uptake::StatesFrom::pump_log ||
           from == uptake::StatesFrom::timetable;
}

// ---------------------------------------------------------------- decisions

/// What a decision settles, and how: two of the first with different seconds are rivals.
std::optional<std::pair<std::string, std::string>> settles(const study::Decision& decision) {
    switch (decision.act) {
    case study::DecisionAct::exclude:
        return std::pair<std::string, std::string>("mark", "unusable");
    case study::DecisionAct::include:
        return std::pair<std::string, std::string>("mark", "as the program marks it");
    case study::DecisionAct::mark:
        return std::pair("mark", decision.value);
    case study::DecisionAct::move_start:
    case study::DecisionAct::move_end:
        return std::pair(study::word_of(decision.act), decision.value);
    case study::DecisionAct::note:
        break;
    }
    return std::nullopt;
}

template <typename Wanted>
std::vector<const study::Decision*> pointers_to(const std::vector<study::Decision>& decisions,
                                                const Wanted& wanted) {
    std::vector<const study::Decision*> out;
    for (const auto& decision : decisions) {
        if (wanted(decision)) {
            out.push_back(&decision);
        }
    }
    return out;
}

void find_rivals(std::vector<study::Complaint>& out, const std::vector<const study::Decision*>& together,
                 const std::string& about) {
    std::map<std::string, const study::Decision*> latest;
    for (const auto* decision : together) {
        const auto what = settles(*decision);
        if (!what) {
            continue;
        }
        const auto [place, is_new] = latest.emplace(what->first, decision);
        const auto* before = place->second;
        place->second = decision;
        if (is_new || settles(*before)->second == what->second) {
            continue;
        }
        out.push_back(
            study::warn(decision->place, "act",
                        {ErrorCode::bad_relation,
                         fmt::format("{} ({}) contradicts {} ({}) about {}", study::word_of(decision->act),
                                     study::line_text(decision->place), study::word_of(before->act),
                                     study::line_text(before->place), about),
                         "one decision; of two the later row holds", "delete the one that no longer holds"}));
    }
}

/// Sealed spells, their settling at the start included.
std::vector<uptake::StateRun> sealed_spells(const uptake::StayUptake& stay) {
    std::vector<uptake::StateRun> out;
    for (const auto& state : stay.states) {
        const bool is_sealed =
            state.run.state == ChamberState::settle || state.run.state == ChamberState::sealed;
        if (!is_sealed) {
            continue;
        }
        const bool goes_on = !out.empty() && out.back().state == ChamberState::settle &&
                             state.run.state == ChamberState::sealed && out.back().to == state.run.from;
        if (goes_on) {
            out.back().to = state.run.to;
            out.back().state = ChamberState::sealed;
        } else {
            out.push_back(state.run);
        }
    }
    return out;
}

} // namespace

std::vector<study::Complaint> inverted_pumps(std::span<const StayAnswer> stays, Threads threads) {
    std::vector<char> inverted(stays.size(), 0);
    parallel_for(stays.size(), threads, [&](std::size_t i) {
        const auto& uptake = stays[i].uptake;
        inverted[i] = uptake && is_told(uptake->states_from) && is_inverted(stays[i]) ? 1 : 0;
    });
    std::vector<study::Complaint> out;
    for (std::size_t i = 0; i < stays.size(); ++i) {
        if (inverted[i] == 0) {
            continue;
        }
        const auto& answer = stays[i];
        const auto from = answer.uptake->states_from;
        out.push_back(study::warn(
            answer.stay->place, "assembly",
            {ErrorCode::bad_relation,
             fmt::format(
                 "in the stay \"{}\" oxygen falls while the {} says flush, and rises while it says sealed",
                 answer.stay->id.text(), uptake::text(from)),
             "the other way round",
             from == uptake::StatesFrom::timetable
                 ? "look at start, period_s and flush_s of its [[states.timetable]]"
                 : "look whether its words are swapped: flush_words and sealed_words of the [[trace]] put "
                   "them "
                   "right, or the clock of the pump's logger is off by half a cycle"}));
    }
    return out;
}

std::vector<study::Complaint> rival_decisions(std::span<const StayAnswer> stays) {
    std::vector<study::Complaint> out;
    for (const auto& answer : stays) {
        find_rivals(out, pointers_to(answer.whole_stay, [](const study::Decision&) { return true; }),
                    fmt::format("the whole stay \"{}\"", answer.stay->id.text()));
        if (!answer.uptake || answer.on_spells.size() < 2) {
            continue;
        }
        for (const auto& spell : sealed_spells(*answer.uptake)) {
            const auto together = pointers_to(answer.on_spells, [&](const study::Decision& decision) {
                return *decision.moment >= spell.from && *decision.moment <= spell.to;
            });
            find_rivals(
                out, together,
                fmt::format("the spell sealed from {} to {}", iso_text(spell.from), iso_text(spell.to)));
        }
    }
    return out;
}

std::vector<study::Complaint> fish_without_blank(const Study& study) {
    struct Lacking {
        const study::Stay* first = nullptr;
        std::size_t stays = 0;
        double reach_h = 0.0;
    };
    std::map<study::AssemblyId, Lacking> lacking;
    const auto& stays = study.tables.stays;
    for (const auto& stay : stays) {
        if (!stay.has_fish()) {
            continue;
        }
        const auto background = study.brief.at(stay.from()).background;
        if (background.blanks_used == uptake::BlanksUsed::none ||
            background.blanks_used == uptake::BlanksUsed::side_by_side) {
            continue;
        }
        const bool has_blank = std::any_of(stays.begin(), stays.end(), [&](const study::Stay& other) {
            const bool is_blank =
                std::any_of(other.parts.begin(), other.parts.end(),
                            [](const study::StayPart& part) { return part.role == uptake::StayRole::blank; });
            return is_blank && other.assembly == stay.assembly &&
                   other.from() <= stay.to() + background.reach &&
                   stay.from() <= other.to() + background.reach;
        });
        if (!has_blank) {
            auto& entry = lacking[stay.assembly];
            entry.first = entry.first == nullptr ? &stay : entry.first;
            entry.reach_h = background.reach.seconds() / 3600.0;
            ++entry.stays;
        }
    }
    std::vector<study::Complaint> out;
    for (const auto& [assembly, entry] : lacking) {
        out.push_back(study::warn(
            entry.first->place, "assembly",
            {ErrorCode::too_few,
             fmt::format("no blank of \"{}\" within {} h of {}", assembly.text(),
                         significant_text(entry.reach_h, 3),
                         entry.stays == 1 ? fmt::format("the stay \"{}\"", entry.first->id.text())
                                          : fmt::format("{} stays, the first \"{}\"", entry.stays,
                                                        entry.first->id.text())),
             "a blank before or after: what microbes take is counted as the fish's own",
             "add its blanks to stays.csv, say [background] blanks_used = \"side_by_side\", or \"none\" if "
             "that is "
             "meant"}));
    }
    return out;
}

std::vector<study::Complaint> stays_without_spell(const Chambers& chambers,
                                                  std::span<const StayAnswer> stays) {
    std::vector<study::Complaint> out;
    for (const auto& answer : stays) {
        const auto& stay = *answer.stay;
        if (!answer.uptake) {
            const bool is_built =
                std::any_of(chambers.list.begin(), chambers.list.end(),
                            [&](const Chamber& chamber) { return chamber.assembly->id == stay.assembly; });
            if (is_built) {
                out.push_back({.severity = study::Severity::warning,
                               .error = Error(answer.uptake.error()).at(stay.place)});
            }
        } else if (sealed_spells(*answer.uptake).empty()) {
            out.push_back(study::warn(
                stay.place, "stay",
                {ErrorCode::too_few,
                 fmt::format("no sealed spell in the stay \"{}\" ({})", stay.id.text(),
                             answer.uptake->states_from == uptake::StatesFrom::nothing
                                 ? std::string("nothing says when it was sealed")
                                 : fmt::format("states: {}", uptake::text(answer.uptake->states_from))),
                 "spells in which oxygen falls: nothing is computed of it",
                 "look at its pump, its times, or [states] source"}));
        }
    }
    return out;
}

namespace {

struct Hole {
    Instant from;
    Instant to;

    [[nodiscard]] Duration length() const { return to - from; }
};

/// The longest time of a stay without a reading of oxygen, its ends included.
Hole longest_hole(const StayAnswer& answer) {
    Hole longest{answer.stay->from(), answer.stay->from()};
    Instant last = answer.stay->from();
    const Instant end = answer.stay->usable_to();
    const auto meet = [&](Instant at) {
        if (at - last > longest.length()) {
            longest = {last, at};
        }
        last = at;
    };
    for (const auto* slice : answer.slices) {
        const auto& trace = slice->trace;
        const auto after = std::ranges::upper_bound(trace.times_ns, last.unix_nanoseconds());
        for (auto i = static_cast<std::size_t>(after - trace.times_ns.begin());
             i < trace.times_ns.size() && trace.times_ns[i] < end.unix_nanoseconds(); ++i) {
            const auto at = Instant::unix_nanoseconds(trace.times_ns[i]);
            if (at > last && std::isfinite(trace.oxygen_mg_per_l[i])) {
                meet(at);
            }
        }
    }
    meet(end);
    return longest;
}

constexpr double hole_share = 0.1;
const Duration least_hole = Duration::minutes(2.0);

} // namespace

std::vector<study::Complaint> stays_with_holes(std::span<const StayAnswer> stays) {
    std::vector<study::Complaint> out;
    for (const auto& answer : stays) {
        if (!answer.uptake || sealed_spells(*answer.uptake).empty()) {
            continue;
        }
        const auto& stay = *answer.stay;
        const auto hole = longest_hole(answer);
        const auto whole = stay.usable_to() - stay.from();
        if (hole.length() <= least_hole || hole.length().seconds() <= hole_share * whole.seconds()) {
            continue;
        }
        out.push_back(study::warn(
            stay.place, "stay",
            {ErrorCode::too_few,
             fmt::format("no reading of oxygen from {} to {} in the stay \"{}\": {} of its {} min",
                         iso_text(hole.from), iso_text(hole.to), stay.id.text(),
                         significant_text(hole.length().minutes(), 3), significant_text(whole.minutes(), 3)),
             "readings over the whole stay: what was missed is in none of its numbers",
             "look whether its file is torn or missing, or correct the stay's times; last_good ends it where "
             "the readings do"}));
    }
    return out;
}

std::vector<study::Complaint> large_backgrounds(std::span<const StayAnswer> stays) {
    constexpr double most_share = 0.2;
    std::vector<study::Complaint> out;
    std::set<study::AssemblyId> said;
    for (const auto& answer : stays) {
        if (!answer.uptake || !answer.stay->has_fish()) {
            continue;
        }
        std::vector<double> shares;
        for (const auto& spell : answer.uptake->spells) {
            if (spell.background_share) {
                shares.push_back(*spell.background_share);
            }
        }
        const double median = shares.empty() ? 0.0 : fit::quantile(shares, 0.5).value_or(0.0);
        if (median <= most_share || !said.insert(answer.stay->assembly).second) {
            continue;
        }
        out.push_back(study::warn(
            answer.stay->place, "stay",
            {ErrorCode::out_of_range,
             fmt::format("{:.0f} % of the uptake in \"{}\", stay \"{}\", is background (median of {} spells)",
                         100.0 * median, answer.stay->assembly.text(), answer.stay->id.text(), shares.size()),
             fmt::format("at most {:.0f} %", 100.0 * most_share),
             "look at the blanks of this assembly: a fish left in one, a flush taken for a sealed spell, or "
             "a chamber "
             "to be cleaned"}));
    }
    return out;
}

std::vector<study::Complaint> strange_water(std::span<const StayAnswer> stays) {
    constexpr double least_percent = 75.0;
    constexpr double most_percent = 130.0;
    struct Starts {
        const study::Stay* first = nullptr;
        std::vector<double> percent;
    };
    std::map<study::AssemblyId, Starts> by_assembly;
    for (const auto& answer : stays) {
        if (answer.uptake) {
            auto& starts = by_assembly[answer.stay->assembly];
            starts.first = starts.first == nullptr ? answer.stay : starts.first;
            for (const auto& spell : answer.uptake->spells) {
                if (const double percent = spell.answer.saturation_start_percent; std::isfinite(percent)) {
                    starts.percent.push_back(percent);
                }
            }
        }
    }
    std::vector<study::Complaint> out;
    for (auto& [assembly, starts] : by_assembly) {
        const double median =
            starts.percent.empty() ? 100.0 : fit::quantile(starts.percent, 0.5).value_or(100.0);
        if (median < least_percent || median > most_percent) {
            out.push_back(study::warn(
                starts.first->place, "assembly",
                {ErrorCode::out_of_range,
                 fmt::format("sealed spells in \"{}\" begin at {} % of air saturation (median of {})",
                             assembly.text(), significant_text(median, 3), starts.percent.size()),
                 fmt::format("flushed water, {:.0f} to {:.0f} %", least_percent, most_percent),
                 "look at the unit of its oxygen, its calibrations, and the water's salinity and pressure"}));
        }
    }
    return out;
}

std::vector<study::Complaint> doubtful_lines(const Study& study) {
    std::vector<study::Complaint> out;
    for (const auto& doubt : angling::read_catch(catch_entries(study)).doubts) {
        const auto& events = study.tables.events;
        const auto event = std::ranges::find_if(
            events, [&](const study::Event& e) { return e.place.line.value_or(0) == doubt.row; });
        if (event != events.end()) {
            out.push_back(study::warn(event->place, "event",
                                      {.code = ErrorCode::bad_relation,
                                       .found = doubt.found,
                                       .expected = "lines that go in and come out in turn, for rod-hours",
                                       .remedy = doubt.remedy}));
        }
    }
    return out;
}

std::vector<study::Complaint> stay_doubts(const Study& study, const Chambers& chambers,
                                          std::span<const StayAnswer> stays, Threads threads) {
    std::vector<study::Complaint> out = inverted_pumps(stays, threads);
    const auto take = [&](std::vector<study::Complaint> more) {
        std::move(more.begin(), more.end(), std::back_inserter(out));
    };
    take(stays_without_spell(chambers, stays));
    take(stays_with_holes(stays));
    take(rival_decisions(stays));
    take(fish_without_blank(study));
    take(large_backgrounds(stays));
    take(strange_water(stays));
    take(doubtful_lines(study));
    return out;
}

} // namespace backeddy::app
