#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "angling/catch_log.hpp"
#include "app/catch_entries.hpp"
#include "app/detail/results_parts.hpp"
#include "base/number_text.hpp"
#include "stats/counts.hpp"

namespace backeddy::app::detail {

namespace {

using angling::CatchLog;
using report::Number;

constexpr double level = 0.95;

Number exact(double value, const stats::Interval& limits, std::string unit, const char* method) {
    Number out = report::number(value, std::move(unit));
    out.interval =
        report::Interval{.low = limits.lower, .high = limits.upper, .level = level, .method = method};
    return out;
}

/// What of the chain anybody wrote down at all.
struct Written {
    bool bites = false;
    bool hook_ups = false;
};

Written written_in(const CatchLog& log) {
    return {.bites = std::ranges::any_of(log.strikes, [](const auto& each) { return each.bite.has_value(); }),
            .hook_ups =
                std::ranges::any_of(log.strikes, [](const auto& each) { return each.hook_up.has_value(); })};
}

Number share_number(std::uint64_t count, std::uint64_t of) {
    const auto share = stats::proportion({count, of}, level);
    if (!share) {
        return report::no_number("of none", "%");
    }
    return exact(100.0 * share->value, {100.0 * share->exact.lower, 100.0 * share->exact.upper}, "%",
                 "Clopper and Pearson");
}

Number rate_number(std::uint64_t count, double rod_hours) {
    const auto rate = stats::rate_of({count, rod_hours}, level);
    return rate ? exact(rate->value, rate->interval, "/h", "Garwood")
                : report::no_number("no rod-hours are known", "/h");
}

Number ratio_number(stats::Counted own, stats::Counted first, const std::string& first_rig) {
    if (!(own.exposure > 0.0) || !(first.exposure > 0.0)) {
        return report::no_number("no rod-hours are known", "");
    }
    const auto ratio = stats::ratio_of_rates(own, first, 1.0, level);
    if (!ratio) {
        return report::no_number("none on either rig", "");
    }
    if (!std::isfinite(ratio->value)) {
        return report::no_number(fmt::format("none on {}: {} or more (95 %)", first_rig,
                                             significant_text(ratio->interval.lower, 2)),
                                 "");
    }
    return exact(ratio->value, ratio->interval, "", "given the sum of both counts");
}

struct StepOf {
    const char* word;
    const char* title;
    std::size_t angling::Chain::* count;
};

constexpr StepOf all_steps[] = {
    {"bite", "bites", &angling::Chain::bites},
    {"hook_up", "hook-ups", &angling::Chain::hook_ups},
    {"landed", "landed", &angling::Chain::landed},
    {"wanted", "landed, of the study's species", &angling::Chain::wanted},
};

/// Of how many a step's count is: only a fish whose end is known could have been landed for all we know.
std::uint64_t whole_of(const angling::RigCatch& rig, std::string_view word, const Written& written) {
    if (word == "hook_up") {
        return written.bites ? rig.all.bites : 0;
    }
    if (word == "landed") {
        return rig.all.landed + rig.lost;
    }
    const auto unnamed = rig.species.find("");
    return word == "wanted" ? rig.all.landed - (unnamed == rig.species.end() ? 0 : unnamed->second) : 0;
}

std::string why_no_whole(std::string_view word, const Written& written) {
    return word == "bite"                        ? "the first step"
           : word == "hook_up" && !written.bites ? "bites were not written down"
                                                 : "of none";
}

report::CatchStep step_of(const angling::RigCatch& rig, const angling::RigCatch& first, const StepOf& step,
                          const Written& written) {
    report::CatchStep out{.word = step.word, .title = step.title, .count = rig.all.*step.count};
    out.of = whole_of(rig, step.word, written);
    out.share_percent = out.of > 0 ? share_number(out.count, out.of)
                                   : report::no_number(why_no_whole(step.word, written), "%");
    out.in_hours = rig.in_hours.*step.count;
    if (out.word == "bite" && !written.bites) {
        out.per_rod_hour = report::no_number("bites were not written down", "/h");
        out.ratio = report::no_number("bites were not written down", "");
        return out;
    }
    out.per_rod_hour = rate_number(out.in_hours, rig.rod_hours);
    out.ratio = &rig == &first    ? report::no_number("ratios are over this rig", "")
                : rig.rig.empty() ? report::no_number("no rig to compare", "")
                                  : ratio_number({out.in_hours, rig.rod_hours},
                                                 {first.in_hours.*step.count, first.rod_hours}, first.rig);
    return out;
}

std::vector<report::CatchCount> counts_of(const std::map<std::string, std::size_t>& counts) {
    std::vector<report::CatchCount> out;
    for (const auto& [name, count] : counts) {
        out.push_back({.name = name, .count = count});
    }
    return out;
}

report::RigCatch rig_of(const angling::RigCatch& rig, const angling::RigCatch& first, const Written& written,
                        const std::vector<std::string>& wanted) {
    report::RigCatch out{.rig = rig.rig,
                         .lines = rig.lines,
                         .rod_hours = rig.lines > 0
                                          ? report::number(rig.rod_hours, "h")
                                          : report::no_number("no line is known to have been in", "h"),
                         .never_out = rig.never_out,
                         .misses = counts_of(rig.misses),
                         .losses = counts_of(rig.losses),
                         .open_ends = rig.open_ends()};
    for (const auto& step : all_steps) {
        if (!wanted.empty() || std::string_view(step.word) != "wanted") {
            out.steps.push_back(step_of(rig, first, step, written));
        }
    }
    for (const auto& [species, count] : rig.species) {
        out.species.push_back({.species = species,
                               .count = count,
                               .is_bycatch = angling::is_bycatch({.species = species}, wanted)});
    }
    return out;
}

// ---------------------------------------------------------------- what is not known

std::string counted(std::size_t count, const char* one, const char* more) {
    return fmt::format("{} {}", count, count == 1 ? one : more);
}

void note_steps(const std::vector<angling::RigCatch>& rigs, const Written& written,
                std::vector<std::string>& notes) {
    std::size_t unseen = 0;
    std::size_t open = 0;
    for (const auto& rig : rigs) {
        unseen += rig.unseen_bites;
        open += rig.open_ends();
    }
    if (!written.bites) {
        notes.emplace_back(
            "No bite was written down: of bites there is neither a share nor a rate; their count "
            "is that of the hooked.");
    } else if (unseen > 0) {
        notes.push_back(
            fmt::format("Hooked without a bite written down: {} fish. They count as bites too, since "
                        "every hooked fish had bitten; bites that came to nothing may be missing "
                        "likewise.",
                        unseen));
    }
    if (!written.hook_ups) {
        notes.emplace_back("No hook-up was written down: who was landed or lost counts as hooked.");
    }
    if (open > 0) {
        notes.push_back(
            fmt::format("Hooked, and nobody wrote down whether landed or lost: {} fish. In no share "
                        "of the landed.",
                        open));
    }
}

void note_hours(const std::vector<angling::RigCatch>& rigs, const angling::ByLine& lines,
                std::vector<std::string>& notes) {
    std::size_t never_out = 0;
    for (const auto& rig : rigs) {
        never_out += rig.never_out;
    }
    if (lines.lines.empty()) {
        notes.emplace_back("No hours of fishing are known (lines_in, lines_out): there are no rates.");
    }
    if (never_out > 0) {
        notes.push_back(
            fmt::format("Went in, and nobody wrote down when they came out: {}. Their hours are not "
                        "known and count for nothing.",
                        counted(never_out, "line", "lines")));
    }
    if (!lines.lines.empty() && lines.unplaced > 0) {
        notes.push_back(fmt::format("Outside of all known hours of their rod and rig: {}. Counted and in the "
                                    "shares, but in no rate.",
                                    counted(lines.unplaced, "bite", "bites")));
    }
    if (const auto dispersion = angling::bite_dispersion(lines)) {
        notes.push_back(fmt::format(
            "Limits of rates and ratios take every bite as independent of the others (Poisson). From line to "
            "line bites scatter {} times as much as that (1: no more); where it is much above 1, days or "
            "shoals differ, and the limits are too narrow.",
            significant_text(*dispersion, 2)));
    }
}

void note_fish(const Study& study, const CatchLog& log, const std::vector<angling::RigCatch>& rigs,
               std::vector<std::string>& notes) {
    const auto is_in_log = [&](const std::string& fish) {
        return std::ranges::any_of(log.strikes,
                                   [&](const auto& each) { return each.landed && each.fish == fish; });
    };
    std::size_t without = 0;
    for (const auto& fish : study.tables.fish) {
        const auto* capture = capture_of(study, fish.id);
        without += capture != nullptr && !capture->rig.empty() && !is_in_log(fish.id.text()) ? 1 : 0;
    }
    if (without > 0) {
        notes.push_back(
            fmt::format("With a rig in encounters.csv and no landing in the deck's log (events.csv): "
                        "{} fish, counted nowhere here.",
                        without));
    }
    std::size_t unnamed = 0;
    for (const auto& rig : rigs) {
        const auto found = rig.species.find("");
        unnamed += found == rig.species.end() ? 0 : found->second;
    }
    if (unnamed > 0) {
        notes.push_back(fmt::format(
            "Landed without a species written down: {} fish, neither wanted nor bycatch.", unnamed));
    }
}

} // namespace

report::Fishing fishing_of(const Study& study) {
    const auto& wanted = study.brief.study.species;
    const auto log = angling::read_catch(catch_entries(study));
    auto rigs = angling::by_rig(log, wanted);
    report::Fishing out;
    if (rigs.empty()) {
        return out;
    }
    // The rig that nobody named stands last: it is none to compare with.
    std::ranges::stable_partition(rigs, [](const auto& rig) { return !rig.rig.empty(); });
    const auto written = written_in(log);
    for (const auto& rig : rigs) {
        out.rigs.push_back(rig_of(rig, rigs.front(), written, wanted));
    }
    note_steps(rigs, written, out.notes);
    note_hours(rigs, angling::by_line(log, wanted), out.notes);
    note_fish(study, log, rigs, out.notes);
    return out;
}

} // namespace backeddy::app::detail
