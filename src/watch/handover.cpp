#include "watch/handover.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace backeddy::watch {

namespace {

std::vector<std::string> sentences(const Alarms& group) {
    std::vector<std::string> out;
    for (const auto& row : all_causes()) {
        const auto& alarm = group[static_cast<std::size_t>(row.cause)];
        const bool is_shelved = alarm.state == AlarmState::shelved;
        if (!is_listed(alarm) && !is_shelved) {
            continue;
        }
        auto sentence = fmt::format("{} ({}", row.title, word(alarm.state));
        sentence += alarm.by.empty() ? "): " : fmt::format(" by {}): ", alarm.by);
        out.push_back(sentence + alarm.words + ". " + std::string(row.to_do));
    }
    return out;
}

HandoverChamber chamber_page(const Watch& watch, std::size_t i) {
    const auto& state = watch.state().chambers[i];
    HandoverChamber page{.now = watch.glance(i),
                         .role = state.stay.role,
                         .mass_kg = state.stay.mass_kg,
                         .hours_since_handled = std::nullopt,
                         .spells = state.stay.spells.size(),
                         .median_mg_per_h = median_uptake(state.stay),
                         .waits = sentences(state.alarms)};
    if (state.stay.has_fish()) {
        page.hours_since_handled = (watch.state().last.wall - state.stay.handled_at).hours();
    }
    for (const auto& due : state.stay.dues) {
        page.waits.push_back(fmt::format("{} due {}", word(due.what), iso_text(due.at)));
    }
    return page;
}

std::string in_it(const HandoverChamber& chamber) {
    if (chamber.now.use != Use::fish) {
        return std::string(word(chamber.now.use));
    }
    auto out = fmt::format("fish, {}", uptake::word(chamber.role));
    if (chamber.mass_kg) {
        out += fmt::format(", {:.2f} kg", *chamber.mass_kg);
    }
    return out + fmt::format(", {:.1f} h since handled", chamber.hours_since_handled.value_or(0.0));
}

std::string paragraph(const HandoverChamber& chamber) {
    const auto& now = chamber.now;
    auto out =
        fmt::format("{}: {}; {}", now.name, in_it(chamber), now.phase == Phase::flush ? "flush" : "sealed");
    out += now.oxygen_percent ? fmt::format(", oxygen {:.0f} %", *now.oxygen_percent) : ", oxygen not known";
    if (now.uptake) {
        out += fmt::format("; uptake {:.0f} ± {:.0f} mg/h", now.uptake->mg_per_h, now.uptake->error_mg_per_h);
    }
    if (chamber.median_mg_per_h) {
        out += fmt::format(", median of {} spells {:.0f}", chamber.spells, *chamber.median_mg_per_h);
    }
    out += "\n";
    for (const auto& wait : chamber.waits) {
        out += "  - " + wait + "\n";
    }
    return out;
}

} // namespace

Handover handover(const Watch& watch) {
    Handover page{.at = watch.state().last.wall,
                  .chambers = {},
                  .station = sentences(watch.state().station_alarms),
                  .raised = {}};
    for (std::size_t i = 0; i < watch.state().chambers.size(); ++i) {
        page.chambers.push_back(chamber_page(watch, i));
    }
    const auto need = [](const HandoverChamber& c) {
        return c.now.worst ? static_cast<int>(info(*c.now.worst).priority) : 99;
    };
    std::ranges::stable_sort(page.chambers, {}, need);
    for (const auto& row : all_causes()) {
        const int count = watch.state().raised[static_cast<std::size_t>(row.cause)];
        if (count > 0) {
            page.raised.push_back(fmt::format("{} {}", row.word, count));
        }
    }
    return page;
}

std::string to_text(const Handover& page) {
    auto out = fmt::format("Handover at {}\n", iso_text(page.at));
    for (const auto& sentence : page.station) {
        out += "Station: " + sentence + "\n";
    }
    for (const auto& chamber : page.chambers) {
        out += paragraph(chamber);
    }
    if (!page.raised.empty()) {
        out += fmt::format("Alarms so far: {}\n", fmt::join(page.raised, ", "));
    }
    return out;
}

} // namespace backeddy::watch
