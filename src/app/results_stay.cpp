#include "app/detail/results_parts.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/stretch.hpp"
#include "base/number_text.hpp"
#include "report/thin.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using report::Number;

std::string role_word(uptake::StayRole role) {
    return std::string(uptake::word(role));
}

// Which spells a fish's answers used, and for what.
std::map<std::size_t, std::string> uses_of(const Answers& answers, const StayAnswer& stay) {
    std::map<std::size_t, std::string> uses;
    const auto add = [&](std::size_t spell, const std::string& what) {
        auto& text = uses[spell];
        text += (text.empty() ? "" : "; ") + what;
    };
    for (const auto& fish : answers.fish) {
        if (fish.fish != stay.fish || stay.fish == nullptr) {
            continue;
        }
        for (const auto& event : fish.after) {
            if (event.stay != &stay) {
                continue;
            }
            if (event.peak) {
                add(event.spells[event.peak->spell], "peak");
            }
            if (event.recovery) {
                for (const std::size_t i : event.spells) {
                    if (stay.uptake->spells[i].answer.is_usable()) {
                        add(i, "recovery");
                    }
                }
            }
        }
        if (fish.rest && fish.rest->stay == &stay && fish.rest->resting) {
            for (const std::size_t i : fish.rest->resting->counted) {
                add(fish.rest->spells[i], "rest");
            }
        }
    }
    return uses;
}

std::vector<report::Spell> spells_of(const Answers& answers, const StayAnswer& stay) {
    std::vector<report::Spell> out;
    const auto uses = uses_of(answers, stay);
    for (std::size_t i = 0; i < stay.uptake->spells.size(); ++i) {
        const auto& spell = stay.uptake->spells[i];
        const auto use = uses.find(i);
        out.push_back({.number = static_cast<std::uint32_t>(i + 1),
                       .role = role_word(spell.role),
                       .answer = spell.answer,
                       .background_share = spell.background_share,
                       .used_for = use == uses.end() ? std::string() : use->second,
                       .is_excluded_by_hand = spell.is_excluded_by_hand});
    }
    return out;
}

constexpr std::size_t blank_share = 4;

// Readings and states of the whole stay.
report::DrawnTrace drawn(const Answers& answers, const StayAnswer& stay) {
    // No figure draws a blank's trace: its outline is enough for whoever reads the document.
    const std::size_t share = stay.fish == nullptr ? blank_share : 1;
    return drawn_stretch(stay, {}, {}, answers.study.brief.report.drawn_points / share);
}

// Median of what is there.
double median_of(std::vector<double> values) {
    if (values.empty()) {
        return missing;
    }
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

report::Background background_of(const Answers& answers, const StayAnswer& stay) {
    report::Background out{.how = stay.uptake->background_how};
    std::set<std::string> used;
    std::vector<double> shares;
    for (const auto& spell : stay.uptake->spells) {
        used.insert(spell.blanks.begin(), spell.blanks.end());
        if (spell.background_share && spell.answer.is_usable()) {
            shares.push_back(100.0 * *spell.background_share);
        }
    }
    for (const auto& blank : answers.stays.blanks) {
        const bool is_used = used.count(blank.id) > 0;
        // Those passed over are told where a reader may ask why: the chamber's own, within a day of the stay.
        const bool is_near = blank.assembly == stay.stay->assembly.text() &&
                             blank.at > stay.stay->from() - Duration::hours(24.0) &&
                             blank.at < stay.stay->to() + Duration::hours(24.0);
        if (!is_used && !is_near) {
            continue;
        }
        const bool same = blank.assembly == stay.stay->assembly.text();
        out.points.push_back(
            {.stay = blank.id,
             .at = blank.at,
             .slope_mg_per_l_h = report::number(blank.slope_mg_per_l_h, "mg/L/h", "blank run"),
             .uptake_mg_per_h =
                 report::number(blank.slope_mg_per_l_h * -1.0 * stay.input.slices.front().chamber.volume_l,
                                "mg/h", "-slope times the whole chamber's volume"),
             .place = !same ? "side by side" : (blank.at < stay.stay->from() ? "before" : "after"),
             .is_used = is_used});
    }
    out.share_of_uptake = shares.empty()
                              ? report::no_number("no background was taken off", "%")
                              : report::number(median_of(shares), "%", "median over the usable spells");
    return out;
}

std::vector<report::SourceSpan> sources_of(const Answers& answers, const StayAnswer& stay) {
    std::vector<report::SourceSpan> out;
    for (std::size_t s = 0; s < stay.slices.size(); ++s) {
        const auto& slice = stay.input.slices[s];
        const auto& chamber = *stay.slices[s];
        for (std::size_t p = 0; p < chamber.sources.size(); ++p) {
            const auto& source = chamber.sources[p];
            const std::size_t end =
                p + 1 < chamber.sources.size() ? chamber.sources[p + 1].first_row : chamber.trace.rows();
            const std::size_t first = std::max(source.first_row, slice.first_row);
            const std::size_t last = std::min(end, slice.end_row);
            if (first >= last) {
                continue;
            }
            const auto& path = answers.traces.files[source.file].path;
            const std::uint64_t first_line =
                source.first_line + ((first - source.first_row) * source.line_step);
            const std::uint64_t last_line =
                source.first_line + ((last - 1 - source.first_row) * source.line_step);
            if (!out.empty() && out.back().path == path) {
                out.back().last_line = last_line; // one span a file, whatever stood between
            } else {
                out.push_back({.path = path, .first_line = first_line, .last_line = last_line});
            }
        }
    }
    return out;
}

Number mean_temperature(const StayAnswer& stay) {
    double sum = 0.0;
    std::size_t n = 0;
    for (const auto& slice : stay.input.slices) {
        for (std::size_t i = slice.first_row; i < slice.end_row; ++i) {
            const double t = slice.trace->temperature_celsius[i];
            if (std::isfinite(t)) {
                sum += t;
                ++n;
            }
        }
    }
    return n == 0 ? report::no_number("no temperature", "°C")
                  : report::number(sum / static_cast<double>(n), "°C", "mean over the stay");
}

Number volume_mass_ratio(const StayAnswer& stay) {
    if (!stay.input.fish) {
        return report::no_number("no fish in it", "L/kg");
    }
    if (!stay.input.fish->mass_kg || stay.input.slices.empty()) {
        return report::no_number(not_weighed, "L/kg");
    }
    const auto& mass = *stay.input.fish->mass_kg;
    const auto net = stay.input.slices.front().chamber.volume_l - (mass / stay.input.fish->density_kg_per_l);
    return report::number(net / mass, "L/kg", "net volume, loop included, over the fish's mass");
}

// Slices of the drawn curve: a few hundred points show all that a figure of a stay can.
constexpr std::size_t curve_slices = 150;
constexpr double standard_widths = 1.959963984540054; ///< of a normal 95 % interval, the curve's level

std::optional<report::Continuous> continuous_of(const Answers& answers, const StayAnswer& stay) {
    const auto& found = answers.curves[static_cast<std::size_t>(&stay - answers.stays.list.data())];
    if (!found) {
        return std::nullopt;
    }
    report::Continuous out{.from = stay.stay->from(),
                           .scale_uncertainty_percent = report::no_number("no curve", "%")};
    if (!*found) {
        out.missing = found->error().text();
        return out;
    }
    const auto& curve = **found;
    const double kg = stay.input.fish && stay.input.fish->mass_kg ? stay.input.fish->mass_kg->value() : 1.0;
    report::Curve all;
    for (std::size_t i = 0; i < curve.at.size(); ++i) {
        all.x.push_back((curve.at[i] - out.from).hours());
        all.y.push_back(curve.mg_per_h[i] / kg);
        // What scales the whole curve is part of how far it may be off, so the band that is drawn holds it.
        const double scale = standard_widths * curve.scale_uncertainty * curve.mg_per_h[i];
        const double half = std::hypot(0.5 * (curve.high_mg_per_h[i] - curve.low_mg_per_h[i]), scale);
        all.low.push_back((curve.mg_per_h[i] - half) / kg);
        all.high.push_back((curve.mg_per_h[i] + half) / kg);
    }
    out.points = all.x.size();
    out.uptake = report::thinned(all, curve.piece, curve_slices);
    out.method = curve.how;
    out.scale_uncertainty_percent =
        report::number(100.0 * curve.scale_uncertainty, "%", "volume and calibration, flow where it is used");
    out.reasons = curve.reasons;
    return out;
}

} // namespace

report::Stay stay_of(const Answers& answers, const StayAnswer& stay) {
    report::Stay out{.id = stay.stay->id.text(),
                     .fish = stay.stay->fish.text(),
                     .assembly = stay.stay->assembly.text(),
                     .from = stay.stay->from(),
                     .to = stay.stay->to(),
                     .temperature_celsius = mean_temperature(stay),
                     .volume_mass_ratio = volume_mass_ratio(stay),
                     .trace = drawn(answers, stay),
                     .sources = sources_of(answers, stay)};
    for (const auto* chamber : stay.slices) {
        if (out.sensors.empty() || out.sensors.back() != chamber->trace.sensor) {
            out.sensors.push_back(chamber->trace.sensor);
        }
        out.notes.insert(out.notes.end(), chamber->notes.begin(), chamber->notes.end());
    }
    for (const auto& role : stay.input.roles) {
        out.roles.push_back({.role = role_word(role.role), .from = role.from, .to = role.to});
    }
    if (stay.stay->ended) {
        out.ending = {.word = study::word_of(*stay.stay->ended),
                      .last_good = stay.stay->last_good,
                      .note = stay.stay->note};
    }
    if (stay.mass && stay.mass->weighed != nullptr) {
        out.notes.push_back(fmt::format("mass {} g as weighed {} (events.csv line {})",
                                        exact_text(stay.mass->mass.grams()), iso_text(stay.mass->weighed->at),
                                        stay.mass->weighed->place.line.value_or(0)));
    }
    if (!stay.uptake) {
        out.unanswered = stay.uptake.error().text();
        return out;
    }
    out.states_from = std::string(uptake::text(stay.uptake->states_from));
    out.spells = spells_of(answers, stay);
    out.continuous = continuous_of(answers, stay);
    if (!stay.input.slices.empty() && stay.fish != nullptr) {
        out.background = background_of(answers, stay);
    }
    out.notes.insert(out.notes.end(), stay.uptake->notes.begin(), stay.uptake->notes.end());
    for (const auto& lost : stay.uptake->lost) {
        out.notes.push_back(fmt::format("sealed {} to {} gave no slope: {}", iso_text(lost.from),
                                        iso_text(lost.to), lost.reason.text));
    }
    return out;
}

std::vector<report::Exclusion> exclusions_of(const Answers& answers) {
    std::vector<report::Exclusion> out;
    for (const auto& stay : answers.stays.list) {
        if (!stay.uptake) {
            continue;
        }
        const auto& spells = stay.uptake->spells;
        for (std::size_t i = 0; i < spells.size(); ++i) {
            if (spells[i].mark_by_machine == uptake::Mark::unusable) {
                out.push_back({.by = report::ExcludedBy::automatic,
                               .act = "exclude",
                               .fish = stay.stay->fish.text(),
                               .stay = stay.stay->id.text(),
                               .spell = static_cast<std::uint32_t>(i + 1),
                               .moment = spells[i].answer.middle(),
                               .reasons = spells[i].answer.reasons});
            }
        }
        for (const auto& lost : stay.uptake->lost) {
            out.push_back({.by = report::ExcludedBy::automatic,
                           .act = "exclude",
                           .fish = stay.stay->fish.text(),
                           .stay = stay.stay->id.text(),
                           .moment = lost.from,
                           .reasons = {lost.reason}});
        }
    }
    for (const auto& decision : answers.study.tables.decisions) {
        report::Exclusion act{.by = report::ExcludedBy::human,
                              .act = study::word_of(decision.act),
                              .stay = decision.stay.text(),
                              .moment = decision.moment,
                              .reasons = {{.word = study::word_of(decision.act), .text = decision.reason}},
                              .author = decision.author,
                              .decided = decision.at};
        if (const auto* stay = answers.study.tables.find(decision.stay)) {
            act.fish = stay->fish.text();
        }
        for (const auto& stay : answers.stays.list) {
            if (stay.stay->id != decision.stay || !stay.uptake || !decision.moment) {
                continue;
            }
            for (std::size_t i = 0; i < stay.uptake->spells.size(); ++i) {
                const auto& spell = stay.uptake->spells[i].answer;
                if (*decision.moment >= spell.sealed_from && *decision.moment <= spell.to) {
                    act.spell = static_cast<std::uint32_t>(i + 1);
                }
            }
        }
        out.push_back(std::move(act));
    }
    return out;
}

} // namespace backeddy::app::detail
