#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numeric>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "stats/power.hpp"

namespace backeddy::findings::detail {

namespace {

constexpr std::array<double, 2> powers{0.8, 0.9};

/// What is counted in the number of fish, and how many of it are here: in all, or group by group.
struct Here {
    std::string counted;                                   ///< "pairs", "fish in each group"
    std::vector<std::pair<std::string, std::size_t>> have; ///< a group's name and its count; of pairs ""
};

void say_none(const Frame& frame, const std::string& why, Finding& out) {
    out.plan =
        FoundPlan{.effect = *frame.question.effect_wanted,
                  .text = fmt::format("How many fish would show the effect wanted is not given: {}.", why)};
}

bool is_ratio(const Finding& out) {
    return out.scale != EffectScale::difference;
}

std::string unit_after(const std::string& unit) {
    return unit.empty() ? std::string() : " " + unit;
}

std::string effect_text(const Frame& frame, const Finding& out) {
    const auto number = exact_text(*frame.question.effect_wanted);
    return is_ratio(out) ? fmt::format("a ratio of {}", number)
           : frame.family == study::QuestionFamily::binomial
               ? fmt::format("a difference of shares of {}", number)
               : fmt::format("a difference of {}{}", number, unit_after(frame.outcome.unit));
}

/// "23 pairs (5 more than here)", "34 fish in each group (22 more with single_hook, none more with ...)".
std::string size_text(const Frame& frame, const Here& here, const FoundSize& size) {
    std::vector<std::string> more;
    for (const auto& [group, have] : here.have) {
        const auto missing = size.n > have ? fmt::format("{} more", size.n - have) : std::string("no more");
        more.push_back(group.empty() ? missing + " than here"
                                     : fmt::format("{} {} {}", missing, frame.compare.preposition, group));
    }
    return fmt::format("{} {} for {:.0f} % power ({})", size.n, here.counted, 100.0 * size.power,
                       fmt::join(more, ", "));
}

template <typename SizeFor>
void add_plan(const Frame& frame, const Here& here, std::optional<double> scatter, const SizeFor& size_for,
              const std::string& assumes, Finding& out) {
    FoundPlan plan{.effect = *frame.question.effect_wanted, .scatter = scatter, .counted = here.counted};
    std::vector<std::string> words;
    for (const double power : powers) {
        const Expected<stats::SampleSize> size = size_for(power);
        if (!size) {
            return say_none(frame, size.error().text(), out);
        }
        plan.sizes.push_back({.power = power, .n = size->n});
        words.push_back(size_text(frame, here, plan.sizes.back()));
    }
    plan.text = fmt::format("To show {} at 5 % (two-sided) takes {}. {}", effect_text(frame, out),
                            fmt::join(words, ", "), assumes);
    out.plan = std::move(plan);
}

/// The effect on the model's scale; nothing where it is none there.
std::optional<double> effect_of(const Frame& frame, const Finding& out) {
    const double asked = *frame.question.effect_wanted;
    if (is_ratio(out)) {
        return asked > 0.0 && asked != 1.0 ? std::optional(std::log(asked)) : std::nullopt;
    }
    return asked != 0.0 ? std::optional(asked) : std::nullopt;
}

void plan_means(const Frame& frame, const Here& here, stats::Compared compared, double sd,
                const std::string& assumes, Finding& out) {
    const auto effect = effect_of(frame, out);
    if (!effect) {
        return say_none(frame, "the answer is a ratio, and effect_wanted is none above 0 other than 1", out);
    }
    add_plan(
        frame, here, sd,
        [&](double power) {
            return stats::n_for(stats::MeansPlan{.compared = compared, .effect = *effect, .sd = sd}, power);
        },
        assumes, out);
}

std::string scatter_text(const Frame& frame, const Finding& out, double sd) {
    return is_ratio(out) ? fmt::format("a standard deviation of {} of the logarithm", significant_text(sd, 3))
                         : fmt::format("a standard deviation of {}{}", significant_text(sd, 3),
                                       unit_after(frame.outcome.unit));
}

const std::string& fish_at(const Frame& frame, std::size_t place) {
    return frame.rows.fish(frame.kept[place]);
}

/// The levels of `compare` under which each fish stands.
std::map<std::string, std::set<std::size_t>> levels_by_fish(const Frame& frame) {
    std::map<std::string, std::set<std::size_t>> out;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        out[fish_at(frame, place)].insert(frame.table.factor(frame.compare_name).codes[place]);
    }
    return out;
}

/// How many fish, or rows, each group has.
Here groups_here(const Frame& frame, bool count_fish) {
    Here out{.counted = (count_fish ? std::string("fish") : frame.rows.nouns()) + " in each group",
             .have = {}};
    for (std::size_t level = 0; level < frame.levels().size(); ++level) {
        std::set<std::string> fish;
        std::size_t rows = 0;
        for (std::size_t place = 0; place < frame.kept.size(); ++place) {
            if (frame.table.factor(frame.compare_name).codes[place] == level) {
                fish.insert(fish_at(frame, place));
                ++rows;
            }
        }
        out.have.emplace_back(frame.levels()[level], count_fish ? fish.size() : rows);
    }
    return out;
}

/// Of a random group: how many of its levels hold rows of several compared groups, and of one alone.
struct Holding {
    std::size_t both = 0;
    std::vector<std::size_t> alone; ///< by compared group
    std::size_t rows_in_both = 0;
    std::size_t rows = 0;

    [[nodiscard]] std::size_t levels() const { return std::accumulate(alone.begin(), alone.end(), both); }
    /// Nothing of what differs between levels cancels, or nearly all of it does (shares by choice).
    [[nodiscard]] bool is_apart() const { return 10 * rows_in_both <= rows; }
    [[nodiscard]] bool is_crossed() const { return 10 * rows_in_both >= 8 * rows; }
};

Holding holding_of(const Frame& frame, const std::string& group) {
    const auto& compared = frame.table.factor(frame.compare_name);
    const auto& levels = frame.table.factor(group);
    std::vector<std::set<std::size_t>> held(levels.levels.size());
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        held[levels.codes[place]].insert(compared.codes[place]);
    }
    Holding out{.alone = std::vector<std::size_t>(compared.levels.size()), .rows = frame.kept.size()};
    for (const auto& groups : held) {
        if (groups.size() > 1) {
            ++out.both;
        } else if (!groups.empty()) {
            ++out.alone[*groups.begin()];
        }
    }
    for (const auto code : levels.codes) {
        out.rows_in_both += held[code].size() > 1 ? 1 : 0;
    }
    return out;
}

double spread_named(const std::vector<FoundNumber>& spreads, const std::string& name) {
    const auto found = std::ranges::find(spreads, name, &FoundNumber::name);
    return found == spreads.end() ? 0.0 : found->value.value_or(0.0);
}

/// What else is assumed of groups: each in a clause.
std::string group_clauses(const Frame& frame, const std::vector<study::QuestionRandom>& random) {
    std::string out;
    if (!frame.adjust.empty()) {
        out += ", the same columns are adjusted for";
    }
    for (const auto& each : random) {
        if (each.group != "fish") {
            out += fmt::format(", each {} has both groups (as {} of {} have here), so that what differs "
                               "between them cancels",
                               each.group, holding_of(frame, each.group).both,
                               holding_of(frame, each.group).levels());
        }
    }
    if (frame.levels().size() > 2) {
        out += ", two groups are compared and nothing is corrected for the others";
    }
    return out;
}

/// Each level holds one group alone: what differs between levels stands in the comparison whole, and the unit
/// is the level, however many rows it has.
void plan_levels(const Frame& frame, const std::string& group, double between, double left, Finding& out) {
    const auto holding = holding_of(frame, group);
    if (frame.fish() > 0 && frame.fish() < holding.levels()) {
        return say_none(
            frame,
            fmt::format("{} levels of {} come from {} fish, and the model takes them for independent; "
                        "ask with random = [\"fish\"]",
                        holding.levels(), group, frame.fish()),
            out);
    }
    const double rows = static_cast<double>(frame.kept.size()) / static_cast<double>(holding.levels());
    const double sd = std::sqrt(between * between + left * left / rows);
    Here here{.counted = fmt::format("levels of {} in each group", group), .have = {}};
    for (std::size_t level = 0; level < frame.levels().size(); ++level) {
        here.have.emplace_back(frame.levels()[level], holding.alone[level]);
    }
    plan_means(
        frame, here, stats::Compared::two_groups, sd,
        fmt::format("Assumes that each {0} has one group alone, as here, so that it counts once however "
                    "many {1} it has: Student's t on the means of {2} {1} of each {0}, groups of equal "
                    "size, and levels of {0} that scatter as these do, such a mean by {3}{4}.",
                    group, frame.rows.nouns(), significant_text(rows, 3), scatter_text(frame, out, sd),
                    frame.adjust.empty() ? "" : ", the same columns are adjusted for"),
        out);
}

/// Why no closed form fits what random groups other than fish hold; empty where one does.
std::string why_no_form(const Frame& frame, const std::vector<study::QuestionRandom>& random) {
    for (const auto& each : random) {
        const auto holding = holding_of(frame, each.group);
        if (each.group == "fish" || holding.is_crossed()) {
            continue;
        }
        const auto levels = holding.levels();
        if (!holding.is_apart()) {
            return fmt::format(
                "of {} levels of {} {} hold several groups of {} and {} one alone, so that what "
                "differs between them cancels in part only",
                levels, each.group, holding.both, frame.compare.name, levels - holding.both);
        }
        if (random.size() > 1) {
            return fmt::format(
                "each level of {} holds one group of {} alone and is the unit that counts, and "
                "there are other random groups beside it",
                each.group, frame.compare.name);
        }
    }
    return {};
}

void plan_independent(const Frame& frame, const std::vector<study::QuestionRandom>& random, double left,
                      Finding& out) {
    const bool is_fish = frame.fish() == frame.kept.size();
    if (!is_fish && frame.fish() > 0) {
        return say_none(frame,
                        fmt::format("{} {} come from {} fish, and the model takes them for independent; "
                                    "ask with random = [\"fish\"]",
                                    frame.kept.size(), frame.rows.nouns(), frame.fish()),
                        out);
    }
    plan_means(
        frame, groups_here(frame, is_fish), stats::Compared::two_groups, left,
        fmt::format("Assumes Student's t on groups of equal size and independent {} that scatter as these "
                    "do, by {} (what the model leaves over){}.",
                    is_fish ? "fish" : frame.rows.nouns(), scatter_text(frame, out, left),
                    group_clauses(frame, random)),
        out);
}

/// Several rows of each fish, and the fish among the random groups.
void plan_repeated(const Frame& frame, const std::vector<study::QuestionRandom>& random, double fish,
                   double left, Finding& out) {
    const auto levels = levels_by_fish(frame);
    const auto in_one = static_cast<std::size_t>(
        std::ranges::count_if(levels, [](const auto& each) { return each.second.size() == 1; }));
    const double rows = static_cast<double>(frame.kept.size()) / static_cast<double>(levels.size());
    const stats::VarianceComponents parts{.fish = fish * fish, .measurement = left * left};
    if (in_one == levels.size()) {
        const auto sd = stats::fish_sd(parts, rows);
        return sd ? plan_means(
                        frame, groups_here(frame, true), stats::Compared::two_groups, *sd,
                        fmt::format("Assumes Student's t on the means of {} rows of each fish, groups of "
                                    "equal size, and fish that scatter as these do, such a mean by {}{}.",
                                    significant_text(rows, 3), scatter_text(frame, out, *sd),
                                    group_clauses(frame, random)),
                        out)
                  : say_none(frame, sd.error().text(), out);
    }
    if (in_one > 0 || frame.levels().size() > 2) {
        return say_none(frame, "fish stand in one group and in several, or in more than two", out);
    }
    const auto sd = stats::paired_sd(parts, rows / 2.0);
    return sd ? plan_means(
                    frame, {"fish in both", {{"", levels.size()}}}, stats::Compared::within_fish, *sd,
                    fmt::format("Assumes a paired t on the two means of each fish, of {} rows each, whose "
                                "difference scatters by {}, and that all fish answer alike{}.",
                                significant_text(rows / 2.0, 3), scatter_text(frame, out, *sd),
                                group_clauses(frame, random)),
                    out)
              : say_none(frame, sd.error().text(), out);
}

} // namespace

void plan_pairs(const Frame& frame, std::size_t pairs, double sd, Finding& out) {
    if (!frame.question.effect_wanted) {
        return;
    }
    plan_means(frame, {"pairs", {{"", pairs}}}, stats::Compared::within_fish, sd,
               fmt::format(
                   "Assumes a paired t and that the differences of further pairs scatter as these do, by {}.",
                   scatter_text(frame, out, sd)),
               out);
}

void plan_groups(const Frame& frame, const std::vector<study::QuestionRandom>& random,
                 const std::vector<FoundNumber>& spreads, Finding& out) {
    if (!frame.question.effect_wanted) {
        return;
    }
    const bool has_slope = std::ranges::any_of(random, [](const auto& each) { return !each.slope.empty(); });
    if (!frame.compares_groups || has_slope || frame.question.weigh_by_uncertainty) {
        return say_none(frame,
                        !frame.compares_groups ? "there is a closed form for groups, not for a slope"
                        : has_slope ? "there is a closed form without slopes of each fish or day alone"
                                    : "values that weigh by their uncertainty have no one scatter",
                        out);
    }
    const double left = spread_named(spreads, "left over");
    if (const auto why = why_no_form(frame, random); !why.empty()) {
        return say_none(frame, why, out);
    }
    if (random.size() == 1 && random[0].group != "fish" && holding_of(frame, random[0].group).is_apart()) {
        return plan_levels(frame, random[0].group, spread_named(spreads, "between " + random[0].group), left,
                           out);
    }
    const auto is_fish = [](const study::QuestionRandom& each) { return each.group == "fish"; };
    std::ranges::any_of(random, is_fish)
        ? plan_repeated(frame, random, spread_named(spreads, "between fish"), left, out)
        : plan_independent(frame, random, left, out);
}

void plan_shares(const Frame& frame, double reference, const std::array<std::size_t, 2>& of, Finding& out) {
    if (!frame.question.effect_wanted) {
        return;
    }
    const double other = reference + *frame.question.effect_wanted;
    if (!(reference > 0.0 && reference < 1.0 && other > 0.0 && other < 1.0)) {
        return say_none(frame,
                        fmt::format("it takes {} {} from {} to {}, and both have to lie between 0 and 1",
                                    frame.compare.preposition, frame.levels()[0],
                                    significant_text(reference, 2), significant_text(other, 2)),
                        out);
    }
    Here here{.counted = frame.rows.nouns() + " in each group",
              .have = {{frame.levels()[0], of[0]}, {frame.levels()[1], of[1]}}};
    add_plan(
        frame, here, std::nullopt,
        [&](double power) {
            return stats::n_for(stats::SharesPlan{.first = reference, .second = other}, power);
        },
        fmt::format("Assumes groups of equal size, independent {}, {} {} the share seen here, {}, and the "
                    "chi-squared test of large samples (Fisher's takes a few more).",
                    frame.rows.nouns(), frame.compare.preposition, frame.levels()[0],
                    significant_text(reference, 2)),
        out);
}

void plan_nothing(const Frame& frame, Finding& out) {
    if (frame.question.effect_wanted && !out.plan) {
        say_none(
            frame,
            out.unanswered.empty()
                ? "there is a closed form for means and for two plain shares, not for this kind of answer"
                : "the question has no answer to take the scatter from",
            out);
    }
}

} // namespace backeddy::findings::detail
