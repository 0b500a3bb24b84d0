// validate_questions [RUNS [CELL]]: simulated studies with known answers, asked as the brief asks; writes a
// Markdown table to standard output, how far it is to standard error. 10,000 runs a cell unless said
// otherwise, a tenth or a fiftieth of it where each answer simulates by itself.
//
// Of each cell: how often the headline p is below 0.05 where there is no effect, how often the 95 % interval
// holds the true effect where there is one, each with its Monte Carlo error.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <limits>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "base/parallel.hpp"
#include "base/random.hpp"
#include "findings/answer.hpp"

namespace backeddy {
namespace {

using findings::Finding;
using findings::Observations;
using findings::Value;
using findings::Within;
using findings::Word;

/// One simulated study: rows, the question, and the effect that is true.
struct Asked {
    Observations rows;
    study::Question question;
    double truth = 0.0;
};

struct Cell {
    std::string what;
    std::size_t fish = 0;
    std::string setting;
    std::function<Asked(Random&, bool has_effect)> make;
    std::size_t times_dearer = 1; ///< than others: so many times fewer runs
    std::string judged;           ///< a test beside the headline, by how its name begins: its p, no interval
};

study::Question question(const char* outcome, const char* compare, study::QuestionFamily family) {
    study::Question out;
    out.name = "q";
    out.outcome = outcome;
    out.compare = compare;
    out.family = family;
    return out;
}

const char* rig_of(std::size_t i) {
    return i % 2 == 0 ? "single" : "treble";
}

std::string fish_name(std::size_t i) {
    return fmt::format("f{:03}", i);
}

// Both peaks of each fish: 400 with a standard deviation of 60 between fish, 25 within.
Asked pairs(Random& random, std::size_t n, bool has_effect) {
    Asked out{.rows = Observations("event", "events"),
              .question = question("peak", "after", study::QuestionFamily::normal),
              .truth = has_effect ? -20.0 : 0.0};
    out.question.within = "fish";
    for (std::size_t i = 0; i < n; ++i) {
        const double own = 400.0 + 60.0 * random.normal();
        for (const bool is_chase : {false, true}) {
            const auto row =
                out.rows.add_row(fish_name(i) + (is_chase ? " chase" : " capture"), fish_name(i));
            out.rows.set(row, "fish", Word{fish_name(i)});
            out.rows.set(row, "after", Word{is_chase ? "chase" : "capture"});
            out.rows.set(row, "peak",
                         Value{.value = own + (is_chase ? out.truth : 0.0) + 25.0 * random.normal()});
        }
    }
    return out;
}

struct Rigs {
    std::size_t fish = 24;
    std::size_t days = 0; ///< 0: no day in the model
    double day_sd = 0.0;
};

// What each day gives; one day that gives nothing where there are none.
std::vector<double> day_effects(Random& random, const Rigs& plan) {
    std::vector<double> days(std::max<std::size_t>(plan.days, 1));
    for (auto& day : days) {
        day = plan.day_sd * random.normal();
    }
    return days;
}

// A fish on one of two rigs: residual 40, 0.05 a gram, and what its day gives.
Asked rigs(Random& random, const Rigs& plan, bool has_effect) {
    Asked out{.rows = Observations("fish", "fish"),
              .question = question("peak", "rig", study::QuestionFamily::normal),
              .truth = has_effect ? 30.0 : 0.0};
    out.question.adjust_for = {"mass_g"};
    const auto days = day_effects(random, plan);
    for (std::size_t i = 0; i < plan.fish; ++i) {
        const auto row = out.rows.add_row(fish_name(i), fish_name(i));
        const double mass = 550.0 + 1400.0 * random.uniform();
        const auto day = random.below(days.size());
        out.rows.set(row, "rig", Word{rig_of(i)});
        out.rows.set(row, "mass_g", Value{.value = mass});
        out.rows.set(row, "day", Word{fmt::format("d{}", day)});
        out.rows.set(row, "peak",
                     Value{.value = 350.0 + (i % 2 == 0 ? 0.0 : out.truth) + 0.05 * mass + days[day] +
                                    40.0 * random.normal()});
    }
    if (plan.days > 0) {
        out.question.random = {"day"};
    }
    return out;
}

// Spells of each fish through recovery, logarithms: fish differ by 0.15, spells of one by 0.08.
Asked spells(Random& random, std::size_t n, bool has_effect) {
    Asked out{.rows = Observations("spell", "spells"),
              .question = question("mo2", "rig", study::QuestionFamily::log_normal),
              .truth = has_effect ? 1.1 : 1.0};
    out.question.adjust_for = {"log(hours)"};
    out.question.random = {"fish"};
    for (std::size_t i = 0; i < n; ++i) {
        const double own = 0.15 * random.normal() + (i % 2 == 0 ? 0.0 : std::log(out.truth));
        for (std::size_t spell = 0; spell < 5 + random.below(4); ++spell) {
            const double hours = 0.1 + 0.15 * static_cast<double>(spell);
            const auto row = out.rows.add_row(fmt::format("{} {}", fish_name(i), spell), fish_name(i));
            out.rows.set(row, "fish", Word{fish_name(i)});
            out.rows.set(row, "rig", Word{rig_of(i)});
            out.rows.set(row, "hours", Value{.value = hours});
            out.rows.set(
                row, "mo2",
                Value{.value = std::exp(5.5 + own - 0.3 * std::log(hours) + 0.08 * random.normal())});
        }
    }
    return out;
}

// So many hooked fish, landed or lost: 60 % on single hooks, 60 or 75 % on trebles.
Asked shares(Random& random, std::size_t n, bool has_effect) {
    Asked out{.rows = Observations("bite", "bites"),
              .question = question("landed", "rig", study::QuestionFamily::binomial),
              .truth = has_effect ? 0.15 : 0.0};
    for (std::size_t i = 0; i < n; ++i) {
        const auto row = out.rows.add_row(fish_name(i), "");
        out.rows.set(row, "rig", Word{rig_of(i)});
        out.rows.set(row, "landed",
                     Word{random.uniform() < 0.6 + (i % 2 == 0 ? 0.0 : out.truth) ? "yes" : "no"});
    }
    return out;
}

// Hours to recovery: log-normal, known to 5 %, looked for during 11 h (about a third are not seen to recover)
// or 8 h (about half).
Asked times(Random& random, std::size_t n, double watched, bool has_effect) {
    Asked out{.rows = Observations("fish", "fish"),
              .question = question("recovery_h", "rig", study::QuestionFamily::time),
              .truth = has_effect ? 1.4 : 1.0};
    for (std::size_t i = 0; i < n; ++i) {
        const double hours =
            std::exp(2.1 + (i % 2 == 0 ? 0.0 : std::log(out.truth)) + 0.45 * random.normal());
        const auto row = out.rows.add_row(fish_name(i), fish_name(i));
        out.rows.set(row, "rig", Word{rig_of(i)});
        out.rows.set(row, "recovery_h",
                     hours < watched
                         ? Within{.lower = 0.95 * hours, .upper = 1.05 * hours, .at = hours}
                         : Within{.lower = watched, .upper = std::numeric_limits<double>::infinity()});
    }
    return out;
}

// A blood value, log-normal, of which about a third lies below what the assay tells.
Asked blood(Random& random, std::size_t n, bool has_effect) {
    Asked out{.rows = Observations("fish", "fish"),
              .question = question("cortisol", "rig", study::QuestionFamily::log_normal),
              .truth = has_effect ? 1.6 : 1.0};
    constexpr double least = 12.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double value = std::exp(2.7 + (i % 2 == 0 ? 0.0 : std::log(out.truth)) + 0.6 * random.normal());
        const auto row = out.rows.add_row(fish_name(i), fish_name(i));
        out.rows.set(row, "rig", Word{rig_of(i)});
        if (value < least) {
            out.rows.set(row, "cortisol", Within{.lower = 0.0, .upper = least});
        } else {
            out.rows.set(row, "cortisol", Value{.value = value});
        }
    }
    return out;
}

// Injury in three steps of a hidden logistic, the odds of more 1 or 3 times as high.
Asked scores(Random& random, std::size_t n, bool has_effect) {
    Asked out{.rows = Observations("fish", "fish"),
              .question = question("injury", "rig", study::QuestionFamily::ordinal),
              .truth = has_effect ? 3.0 : 1.0};
    for (std::size_t i = 0; i < n; ++i) {
        const double u = random.uniform();
        const double hidden = std::log(u / (1.0 - u)) + (i % 2 == 0 ? 0.0 : std::log(out.truth));
        const auto row = out.rows.add_row(fish_name(i), fish_name(i));
        out.rows.set(row, "rig", Word{rig_of(i)});
        out.rows.set(row, "injury", Value{.value = hidden < 0.0 ? 0.0 : hidden < 1.5 ? 1.0 : 2.0});
    }
    return out;
}

// Landed of hooked fish with the depth of the water as covariate, which does nothing; of a day's own odds
// where there are days.
Asked landings(Random& random, const Rigs& plan, bool has_effect) {
    Asked out{.rows = Observations("bite", "bites"),
              .question = question("landed", "rig", study::QuestionFamily::binomial),
              .truth = has_effect ? 3.0 : 1.0};
    const auto days = day_effects(random, plan);
    for (std::size_t i = 0; i < plan.fish; ++i) {
        const auto row = out.rows.add_row(fish_name(i), "");
        const auto day = random.below(days.size());
        const double odds = 1.2 * std::exp(days[day]) * (i % 2 == 0 ? 1.0 : out.truth);
        out.rows.set(row, "rig", Word{rig_of(i)});
        out.rows.set(row, "day", Word{fmt::format("d{}", day)});
        out.rows.set(row, "depth_m", Value{.value = 2.0 + random.uniform()});
        out.rows.set(row, "landed", Word{random.uniform() < odds / (1.0 + odds) ? "yes" : "no"});
    }
    out.question.adjust_for = {"depth_m"};
    if (plan.days > 0) {
        out.question.random = {"day"};
    }
    return out;
}

// A Poisson count, by waiting times.
double count_of(Random& random, double mean) {
    double count = -1.0;
    for (; mean > 0.0; ++count) {
        mean += std::log(random.uniform());
    }
    return count;
}

// Bites on both rigs of each stretch of about 8 rod-hours, 0.4 an hour on single hooks, times what the day
// gives; `family` poisson with a random day, or negative binomial of stretches that each have a shift of
// their own.
Asked stretches(Random& random, const Rigs& plan, study::QuestionFamily family, bool has_effect) {
    Asked out{.rows = Observations("stretch", "stretches"),
              .question = question("bites", "rig", family),
              .truth = has_effect ? 0.6 : 1.0};
    const bool is_shared = family == study::QuestionFamily::poisson;
    const auto days = day_effects(random, plan);
    for (std::size_t i = 0; i < 2 * plan.days; ++i) {
        const auto row = out.rows.add_row(fmt::format("s{}", i), "");
        const double hours = 6.0 + 4.0 * random.uniform();
        const double own = is_shared ? days[i / 2] : plan.day_sd * random.normal();
        out.rows.set(row, "rig", Word{rig_of(i)});
        out.rows.set(row, "day", Word{fmt::format("d{}", i / 2)});
        out.rows.set(row, "rod_hours", Value{.value = hours});
        out.rows.set(
            row, "bites",
            Value{.value = count_of(random, 0.4 * hours * std::exp(own) * (i % 2 == 0 ? 1.0 : out.truth))});
    }
    out.rows.column_of("bites").exposure = "rod_hours";
    if (is_shared) {
        out.question.random = {"day"};
    }
    return out;
}

std::vector<Cell> cells() {
    std::vector<Cell> out;
    for (const std::size_t n : {8, 12, 24, 40}) {
        out.push_back({"pairs within fish", n, "paired t",
                       [n](Random& random, bool effect) { return pairs(random, n, effect); }});
    }
    for (const std::size_t n : {8, 12, 24, 40}) {
        out.push_back({"two rigs and mass", n, "least squares",
                       [n](Random& random, bool effect) { return rigs(random, {.fish = n}, effect); }});
    }
    for (const std::size_t n : {12, 24, 40}) {
        for (const double sd : {0.0, 20.0, 40.0}) {
            const Rigs plan{.fish = n, .days = n / 3, .day_sd = sd};
            out.push_back({"two rigs, mass, day random", n,
                           fmt::format("{} days, sd {:.0f} of a residual of 40", n / 3, sd),
                           [plan](Random& random, bool effect) { return rigs(random, plan, effect); }});
        }
    }
    for (const std::size_t n : {8, 12, 24}) {
        out.push_back({"5 to 8 spells a fish, fish random", n, "Kenward and Roger",
                       [n](Random& random, bool effect) { return spells(random, n, effect); }});
    }
    for (const std::size_t n : {16, 24, 40, 80}) {
        out.push_back({"shares of two rigs", n, "Fisher; Newcombe",
                       [n](Random& random, bool effect) { return shares(random, n, effect); }});
    }
    for (const std::size_t n : {12, 24, 40}) {
        out.push_back({"times to recovery of two rigs", n,
                       "accelerated failure time, a third longer than watched",
                       [n](Random& random, bool effect) { return times(random, n, 11.0, effect); }});
    }
    for (const std::size_t n : {12, 24, 40}) {
        out.push_back({"times to recovery of two rigs", n,
                       "accelerated failure time, half longer than watched",
                       [n](Random& random, bool effect) { return times(random, n, 8.0, effect); }});
    }
    for (const std::size_t n : {12, 24, 40}) {
        out.push_back({"times to recovery of two rigs", n, "Cox, Wald's p beside the headline",
                       [n](Random& random, bool effect) { return times(random, n, 11.0, effect); }, 1,
                       "hazard ratio"});
    }
    for (const std::size_t n : {12, 24, 40}) {
        out.push_back({"blood value of two rigs", n, "censored regression, a third below the assay",
                       [n](Random& random, bool effect) { return blood(random, n, effect); }});
    }
    for (const std::size_t n : {16, 24, 40, 80}) {
        out.push_back({"injury scores of two rigs", n, "proportional odds",
                       [n](Random& random, bool effect) { return scores(random, n, effect); }});
    }
    for (const std::size_t n : {24, 40, 80}) {
        out.push_back({"landed of two rigs, depth", n, "logistic, profile likelihood",
                       [n](Random& random, bool effect) { return landings(random, {.fish = n}, effect); }});
    }
    for (const std::size_t days : {6, 12, 24}) {
        const Rigs plan{.fish = 4 * days, .days = days, .day_sd = 0.7};
        out.push_back({"landed by rig and depth, day random", plan.fish,
                       fmt::format("{} days, simulated p", days),
                       [plan](Random& random, bool effect) { return landings(random, plan, effect); }, 50});
    }
    for (const std::size_t days : {6, 12, 24}) {
        const Rigs plan{.fish = 2 * days, .days = days, .day_sd = 0.5};
        using study::QuestionFamily;
        out.push_back({"bites by rig, day random", plan.fish, fmt::format("{} days, simulated p", days),
                       [plan](Random& random, bool effect) {
                           return stretches(random, plan, QuestionFamily::poisson, effect);
                       },
                       50});
        out.push_back({"bites of two rigs", plan.fish, "negative binomial, simulated p",
                       [plan](Random& random, bool effect) {
                           return stretches(random, plan, QuestionFamily::negative_binomial, effect);
                       },
                       10});
    }
    return out;
}

struct Tally {
    std::size_t answered = 0;
    std::size_t hits = 0;

    [[nodiscard]] double share() const { return static_cast<double>(hits) / static_cast<double>(answered); }
    [[nodiscard]] double error() const {
        return std::sqrt(share() * (1.0 - share()) / static_cast<double>(answered));
    }
};

bool rejects(const Finding& found, const std::string& judged) {
    if (judged.empty()) {
        return found.effects.front().p.value_or(1.0) < 0.05;
    }
    return std::any_of(found.tests.begin(), found.tests.end(), [&](const auto& test) {
        return test.name.starts_with(judged) && test.p.value_or(1.0) < 0.05;
    });
}

// A limit that is not there is none: the interval is open on that side.
bool holds(const Finding& found, double truth) {
    const auto& effect = found.effects.front();
    return (!effect.lower || *effect.lower <= truth) && (!effect.upper || truth <= *effect.upper);
}

Tally tally(const Cell& cell, std::size_t runs, bool has_effect, std::uint64_t seed) {
    std::vector<char> outcome(runs, 'n'); // not answered, hit, miss
    parallel_for(runs, Threads{}, [&](std::size_t run) {
        Random random(seed, run);
        const auto asked = cell.make(random, has_effect);
        const auto found = findings::answer_question(asked.question, asked.rows);
        if (found.unanswered.empty()) {
            outcome[run] = (has_effect ? holds(found, asked.truth) : rejects(found, cell.judged)) ? 'h' : 'm';
        }
    });
    Tally out;
    for (const char c : outcome) {
        out.answered += c == 'n' ? 0 : 1;
        out.hits += c == 'h' ? 1 : 0;
    }
    return out;
}

const char* verdict(double false_alarms) {
    return false_alarms > 0.06 ? "too often" : false_alarms < 0.04 ? "conservative" : "";
}

// Its question, and how that is answered, where the setting does not count days.
std::string kind_of(const Cell& cell) {
    return cell.setting.find(" days") == std::string::npos ? fmt::format("{} ({})", cell.what, cell.setting)
                                                           : cell.what;
}

/// What is said of a cell after the table, once for all its sizes.
struct Judged {
    std::string kind; ///< question and how it is answered
    std::size_t rows = 0;
    bool holds = true;
};

// One line of the table; nothing where no run was answered.
std::optional<Judged> print(const Cell& cell, std::size_t runs, std::uint64_t seed) {
    const auto none = tally(cell, runs, false, seed);
    const auto some = cell.judged.empty() ? tally(cell, runs, true, seed + 1'000'000) : Tally{};
    fmt::print("| {} | {} | {} | {} | ", cell.what, cell.fish, cell.setting, runs);
    if (none.answered == 0) {
        fmt::print("| | none answered |\n");
        return std::nullopt;
    }
    const auto of_none = fmt::format("{:.1f} ± {:.1f}", 100.0 * none.share(), 100.0 * none.error());
    const auto of_some = some.answered == 0
                             ? std::string()
                             : fmt::format("{:.1f} ± {:.1f}", 100.0 * some.share(), 100.0 * some.error());
    const auto left = (cell.judged.empty() ? 2 : 1) * runs - none.answered - some.answered;
    fmt::print("{} | {} | {}{} |\n", of_none, of_some, verdict(none.share()),
               left == 0 ? "" : fmt::format(" ({} not answered)", left));
    return Judged{.kind = kind_of(cell), .rows = cell.fish, .holds = none.share() <= 0.06};
}

// Of each kind of question that found effects too often at some size: up to which.
void print_sizes(const std::vector<Judged>& lines) {
    std::map<std::string, std::size_t> too_few;
    for (const auto& line : lines) {
        auto& rows = too_few[line.kind];
        rows = line.holds ? rows : std::max(rows, line.rows);
    }
    fmt::print("\nNot to be trusted where rows are so few, since p was below 0.05 in more than 6 % of runs "
               "without an "
               "effect:\n\n");
    bool is_any = false;
    for (const auto& [kind, rows] : too_few) {
        if (rows > 0) {
            fmt::print("- {}: {} rows and fewer\n", kind, rows);
            is_any = true;
        }
    }
    fmt::print("{}", is_any ? "" : "none of these.\n");
}

int run(std::size_t runs, const std::string& only) {
    fmt::print(
        "# Questions against simulated truth\n\n"
        "Written by `script/validate questions`; not edited by hand. Each line is a kind of study, simulated "
        "anew in each\nrun (tests/validation/questions.cpp says how) and asked as a brief asks. Without an "
        "effect the headline p should be\nbelow 0.05 in 5 % of runs: above 6 % is said to be too often, "
        "below "
        "4 % conservative. With an effect the 95 %\ninterval should hold the true one in 95 %. Behind ± is "
        "the "
        "Monte Carlo error (one standard error). Questions whose\np is simulated are asked fewer times, "
        "since "
        "each answer is itself 400 simulated studies. Runs that gave no answer (all\nof a group beyond the "
        "watch, say) are counted in the last column and take no part.\n\n");
    fmt::print("| question | rows | setting | runs | p < 0.05 without an effect, % | 95 % interval holds the "
               "truth, % | |\n"
               "|---|---:|---|---:|---:|---:|---|\n");
    std::uint64_t seed = 20261128;
    std::vector<Judged> lines;
    for (const auto& cell : cells()) {
        seed += 2'000'000;
        if (only.empty() || cell.what.find(only) != std::string::npos) {
            fmt::print(stderr, "{}, {} fish, {}\n", cell.what, cell.fish, cell.setting);
            if (const auto line = print(cell, runs / cell.times_dearer, seed)) {
                lines.push_back(*line);
            }
            std::fflush(stdout);
        }
    }
    print_sizes(lines);
    return 0;
}

} // namespace
} // namespace backeddy

int main(int count, char** arguments) {
    const std::size_t runs = count > 1 ? std::strtoull(arguments[1], nullptr, 10) : 10000;
    return backeddy::run(runs, count > 2 ? arguments[2] : "");
}
