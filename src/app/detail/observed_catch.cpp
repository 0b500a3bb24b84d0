#include <algorithm>

#include <fmt/format.h>

#include "angling/catch_log.hpp"
#include "app/catch_entries.hpp"
#include "app/detail/local_time.hpp"
#include "app/detail/observed_rows.hpp"

namespace backeddy::app::detail {

namespace {

using findings::Absent;
using findings::Cell;
using findings::Observations;
using findings::Value;
using findings::Word;

Cell yes_or_no(bool yes) {
    return Word{yes ? "yes" : "no"};
}

// How far a fish went, each link by itself: only a fish that was hooked can be landed.
void set_chain(const angling::Strike& strike, bool bites_are_written, Observations& rows, std::size_t row) {
    rows.set(row, "hooked",
             bites_are_written ? yes_or_no(strike.was_hooked())
                               : Cell(Absent{"bites were not written down"}));
    const bool has_ended = strike.landed || strike.lost;
    rows.set(row, "landed",
             !strike.was_hooked() ? Cell(Absent{"not hooked"})
             : has_ended          ? yes_or_no(strike.landed.has_value())
                                  : Cell(Absent{"hooked; what came of it was not written down"}));
    if (strike.hook_up && has_ended) {
        const auto end = strike.landed ? *strike.landed : *strike.lost;
        rows.set(row, "fight_s", Value{.value = (end - *strike.hook_up).seconds()});
    }
}

} // namespace

Observations strike_rows(const Study& study) {
    Observations out("bite", "bites");
    const auto log = angling::read_catch(catch_entries(study));
    const bool bites = std::any_of(log.strikes.begin(), log.strikes.end(),
                                   [](const angling::Strike& strike) { return strike.bite.has_value(); });
    for (const auto& strike : log.strikes) {
        const auto label = strike.fish.empty() ? "bite of " + iso_text(strike.at()) : strike.fish;
        const auto row = out.add_row(label, strike.fish);
        set_chain(strike, bites, out, row);
        out.set(row, "fish", word_cell(strike.fish));
        out.set(row, "rig", word_cell(strike.rig));
        out.set(row, "rod", word_cell(strike.rod));
        out.set(row, "angler", word_cell(strike.angler));
        out.set(row, "species", word_cell(strike.species));
        out.set(row, "bycatch",
                strike.species.empty() ? Cell(Absent{"the species was not written down"})
                                       : yes_or_no(angling::is_bycatch(strike, study.brief.study.species)));
        out.set(row, "day", Word{local_day(study.brief.study.zone, strike.at())});
    }
    return out;
}

Observations fishing_rows(const Study& study) {
    Observations out("stretch of fishing", "stretches of fishing");
    const auto by_line = angling::by_line(angling::read_catch(catch_entries(study)));
    for (const auto& line : by_line.lines) {
        const auto& effort = line.effort;
        const auto row = out.add_row(fmt::format("{} {}", effort.rod, iso_text(effort.from)), "");
        out.set(row, "rig", word_cell(effort.rig));
        out.set(row, "rod", word_cell(effort.rod));
        out.set(row, "angler", word_cell(effort.angler));
        out.set(row, "day", Word{local_day(study.brief.study.zone, effort.from)});
        out.set(row, "rod_hours", Value{.value = effort.rod_hours()});
        out.set(row, "bites", Value{.value = static_cast<double>(line.chain.bites)});
        out.set(row, "hook_ups", Value{.value = static_cast<double>(line.chain.hook_ups)});
        out.set(row, "landings", Value{.value = static_cast<double>(line.chain.landed)});
    }
    for (const char* count : {"bites", "hook_ups", "landings"}) {
        out.column_of(count).exposure = "rod_hours";
    }
    return out;
}

} // namespace backeddy::app::detail
