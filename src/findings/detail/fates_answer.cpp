#include <algorithm>
#include <functional>
#include <limits>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "stats/competing.hpp"

namespace backeddy::findings::detail {

namespace {

constexpr const char* event_name = "came to it";

const std::optional<Ending>* ending_in(const Cell& cell) {
    if (const auto* within = std::get_if<Within>(&cell)) {
        return &within->ending;
    }
    const auto* absent = std::get_if<Absent>(&cell);
    return absent == nullptr ? nullptr : &absent->ending;
}

std::vector<std::string> names_of(const Frame& frame) {
    std::set<std::string> endings;
    for (const auto& cell : frame.outcome.cells) {
        if (const auto* ending = ending_in(cell); ending != nullptr && *ending) {
            endings.insert((*ending)->word);
        }
    }
    std::vector<std::string> out{event_name};
    out.insert(out.end(), endings.begin(), endings.end());
    return out;
}

std::size_t place_of(const std::vector<std::string>& names, const std::string& name) {
    return static_cast<std::size_t>(std::ranges::find(names, name) - names.begin());
}

/// The level of a row that is not in the table; nothing where it has none of those that are compared.
std::optional<std::size_t> level_of(const Frame& frame, std::size_t row) {
    if (!frame.compares_groups) {
        return 0;
    }
    const auto* word = std::get_if<Word>(&frame.compare.cells[row]);
    const auto& levels = frame.levels();
    const std::size_t place = word == nullptr ? levels.size() : place_of(levels, word->text);
    return place < levels.size() ? std::optional(place) : std::nullopt;
}

RowFate fate_of_kept(const Cell& cell, const std::vector<std::string>& names) {
    if (const auto* value = std::get_if<Value>(&cell)) {
        return {.time = value->value, .fate = 0};
    }
    const auto& within = std::get<Within>(cell);
    if (within.ending) {
        return {.time = within.ending->at, .fate = place_of(names, within.ending->word)};
    }
    return {.time = within.at.value_or(within.lower),
            .fate = within.at ? std::optional<std::size_t>(0) : std::nullopt};
}

std::string group_name(const Frame& frame, std::size_t level) {
    return frame.compares_groups ? frame.levels()[level] : "all";
}

std::size_t groups_in(const Frame& frame) {
    return frame.compares_groups ? frame.levels().size() : 1;
}

std::vector<stats::FateTime> times_of(const RowFates& fates, std::size_t level) {
    std::vector<stats::FateTime> out;
    for (const auto& row : fates.rows) {
        if (row.level == level) {
            out.push_back({.time = row.time, .fate = row.fate});
        }
    }
    return out;
}

/// The last moment at which three of every group still waited, so that no share rests on one or two (our
/// choice); of a group of fewer the last to which one was followed.
double followed_in_all(const Frame& frame, const RowFates& fates) {
    constexpr std::size_t waiting = 3;
    double out = std::numeric_limits<double>::infinity();
    for (std::size_t level = 0; level < groups_in(frame); ++level) {
        std::vector<double> times;
        for (const auto& row : fates.rows) {
            if (row.level == level) {
                times.push_back(row.time);
            }
        }
        std::ranges::sort(times, std::ranges::greater());
        out = std::min(out, times.size() < waiting ? times.front() : times[waiting - 1]);
    }
    return out;
}

FoundNumber share_of(const stats::FateIncidence& fate, double until) {
    FoundNumber out{.name = fate.name, .value = 0.0, .method = "Aalen and Johansen"};
    if (const auto step = stats::at_time(fate, until)) {
        out.value = step->incidence;
        out.se = step->se;
        if (step->limits) {
            out.lower = step->limits->lower;
            out.upper = step->limits->upper;
        }
    }
    return out;
}

FoundCurve curve_of(const stats::FateIncidence& fate, const std::string& group) {
    FoundCurve out{.group = group, .x = {0.0}, .y = {0.0}, .lower = {0.0}, .upper = {0.0}};
    for (const auto& step : fate.steps) {
        out.x.push_back(step.time);
        out.y.push_back(step.incidence);
        out.lower.push_back(step.limits ? step.limits->lower : step.incidence);
        out.upper.push_back(step.limits ? step.limits->upper : step.incidence);
    }
    return out;
}

/// The first time at which a height of the curve has come to one half.
std::optional<double> half_time(const FoundCurve& curve, const std::vector<double>& height) {
    for (std::size_t k = 0; k < height.size(); ++k) {
        if (height[k] >= 0.5) {
            return curve.x[k];
        }
    }
    return std::nullopt;
}

FoundTest median_of(const FoundCurve& curve, const stats::FateIncidence& fate, std::size_t of,
                    const std::string& unit) {
    // The curve's upper limit comes to one half first (Brookmeyer and Crowley 1982, of the incidence).
    const FoundNumber number{.name = curve.group,
                             .value = half_time(curve, curve.y),
                             .reason = "fewer than half of all come to it",
                             .lower = half_time(curve, curve.upper),
                             .upper = half_time(curve, curve.lower),
                             .unit = unit};
    return {.name = "time by which half of all came to it, " + curve.group,
            .text = fmt::format("{}; {} of {} came to it (Aalen and Johansen)", with_interval(number),
                                fate.events, of)};
}

void add_group(const Frame& frame, const RowFates& fates, std::size_t level, Finding& out) {
    const auto fish = times_of(fates, level);
    const auto group = group_name(frame, level);
    const auto shares = stats::cumulative_incidence(fish, fates.names);
    for (std::size_t fate = 0; fate < fates.names.size(); ++fate) {
        FoundFate found{.group = group, .fate = fates.names[fate], .of = fish.size()};
        if (shares) {
            found.count = shares->fates[fate].events;
            found.share = share_of(shares->fates[fate], *out.fates_until);
        } else {
            found.share = {.name = found.fate, .reason = shares.error().text()};
        }
        out.fates.push_back(std::move(found));
    }
    if (shares && frame.compares_groups) {
        auto curve = curve_of(shares->fates[0], group);
        out.tests.push_back(median_of(curve, shares->fates[0], fish.size(), frame.outcome.unit));
        out.curves.push_back(std::move(curve));
    }
}

void add_gray(const Frame& frame, const RowFates& fates, Finding& out) {
    stats::Factor group{.levels = frame.levels()};
    std::vector<stats::FateTime> fish;
    for (const auto& row : fates.rows) {
        fish.push_back({.time = row.time, .fate = row.fate});
        group.codes.push_back(row.level);
    }
    for (std::size_t fate = 0; fate < fates.names.size(); ++fate) {
        const auto test = stats::gray_test(fish, fates.names, fate, group);
        out.tests.push_back({.name = "Gray's test, " + fates.names[fate],
                             .text = test ? fmt::format("chi-squared({:.0f}) = {:.2f}, {}", test->freedom,
                                                        test->chi_squared, p_text(test->p))
                                          : "none: " + test.error().text(),
                             .p = test ? std::optional(test->p) : std::nullopt});
    }
}

std::string counts_text(const RowFates& fates) {
    std::vector<std::string> out;
    for (std::size_t fate = 1; fate < fates.names.size(); ++fate) {
        out.push_back(fmt::format("{} {}", fates.count(fate), fates.names[fate]));
    }
    return fmt::format("{}", fmt::join(out, ", "));
}

std::string fates_text(const Frame& frame, const RowFates& fates) {
    const auto open = static_cast<std::size_t>(
        std::ranges::count_if(fates.rows, [](const RowFate& row) { return !row.fate; }));
    if (!fates.any_competed()) {
        return frame.outcome.tells_endings
                   ? "Nothing competed: no fish died, escaped or was withdrawn before it came."
               : open > 0
                   ? fmt::format("Whether anything kept the other {} from coming to it the column does not "
                                 "say: they count as still waiting when last seen.",
                                 open)
                   : "";
    }
    const auto outside =
        static_cast<std::size_t>(std::ranges::count(fates.rows, false, &RowFate::is_in_model));
    std::string out = fmt::format("Before it came: {}, of {} {}. To these it cannot come any more: curves, "
                                  "shares and Gray's test count "
                                  "them so. The ratio of times, log-rank and hazards are about those who "
                                  "still wait, as if nothing took "
                                  "any away",
                                  counts_text(fates), fates.rows.size(), frame.rows.nouns());
    if (outside > 0) {
        out += fmt::format("; {} of whom nothing but that is known {} left out there", outside,
                           outside == 1 ? "is" : "are");
    }
    return out + ".";
}

} // namespace

std::size_t RowFates::count(std::size_t fate) const {
    return static_cast<std::size_t>(
        std::ranges::count_if(rows, [&](const RowFate& row) { return row.fate == fate; }));
}

RowFates fates_of(const Frame& frame) {
    RowFates out{.names = names_of(frame), .rows = {}};
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        auto row = fate_of_kept(frame.outcome.cells[frame.kept[place]], out.names);
        row.level = frame.compares_groups ? frame.table.factor(frame.compare_name).codes[place] : 0;
        out.rows.push_back(row);
    }
    for (std::size_t row = 0; row < frame.outcome.cells.size(); ++row) {
        const auto* absent = std::get_if<Absent>(&frame.outcome.cells[row]);
        const auto level = level_of(frame, row);
        if (absent != nullptr && absent->ending && level) {
            out.rows.push_back({.time = absent->ending->at,
                                .fate = place_of(out.names, absent->ending->word),
                                .level = *level,
                                .is_in_model = false});
        }
    }
    std::size_t kept = 1; // names of rows that take no part are none
    for (std::size_t fate = 1; fate < out.names.size(); ++fate) {
        if (out.count(fate) == 0) {
            continue;
        }
        for (auto& row : out.rows) {
            row.fate = row.fate == fate ? std::optional(kept) : row.fate;
        }
        out.names[kept++] = out.names[fate];
    }
    out.names.resize(kept);
    return out;
}

void add_fates(const Frame& frame, const RowFates& fates, Finding& out) {
    out.fates_text = fates_text(frame, fates);
    if (!fates.any_competed()) {
        return;
    }
    out.fates_until = followed_in_all(frame, fates);
    for (std::size_t level = 0; level < groups_in(frame); ++level) {
        add_group(frame, fates, level, out);
    }
    if (frame.compares_groups) {
        add_gray(frame, fates, out);
    }
}

void warn_of_fates(const Frame& frame, Finding& out) {
    std::size_t ended = 0;
    for (const auto& cell : frame.outcome.cells) {
        const auto* ending = ending_in(cell);
        ended += ending != nullptr && *ending ? 1 : 0;
    }
    if (ended > 0) {
        out.warnings.push_back(fmt::format("{} {} died, escaped or {} withdrawn before it came, and this "
                                           "answer does not know of it: ask with "
                                           "family = \"time\"",
                                           ended, ended == 1 ? frame.rows.noun() : frame.rows.nouns(),
                                           ended == 1 ? "was" : "were"));
    }
}

} // namespace backeddy::findings::detail
