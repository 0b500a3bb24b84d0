// Simulates every stay of scenarios.csv, runs the estimators on it and writes the table of bias and coverage.
//
//   validate SCENARIOS TABLE.md STAYS.csv [threads]
//
// Prints misses as misses; exits 0 whatever they are (1 when it cannot run).

#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include <boost/math/distributions/beta.hpp>
#include <fmt/format.h>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "base/parallel.hpp"
#include "validation/judged.hpp"

namespace backeddy::validation {
namespace {

struct Share {
    std::size_t hits = 0;
    std::size_t of = 0;
};

/// Exact 95 % limits of a proportion, per cent (Clopper and Pearson 1934, Biometrika 26:404).
std::pair<double, double> exact_limits(Share share) {
    const auto k = static_cast<double>(share.hits);
    const auto n = static_cast<double>(share.of);
    const double low = share.hits == 0
                           ? 0.0
                           : boost::math::quantile(boost::math::beta_distribution<>(k, n - k + 1.0), 0.025);
    const double high = share.hits == share.of
                            ? 1.0
                            : boost::math::quantile(boost::math::beta_distribution<>(k + 1.0, n - k), 0.975);
    return {100.0 * low, 100.0 * high};
}

struct Summary {
    double bias_percent = 0.0;
    double bias_error_percent = 0.0;
    double spread = 0.0; ///< sd of (estimate - truth) / uncertainty; 1 when the uncertainty is right
    double half_width_percent = 0.0;
    Share covered;
};

template <typename Pick>
Summary summary(const std::vector<Judged>& stays, const Pick& pick) {
    Summary s;
    double squares = 0.0;
    double z_squares = 0.0;
    for (const auto& stay : stays) {
        const std::optional<Held>& h = pick(stay);
        if (!h) {
            continue;
        }
        ++s.covered.of;
        s.covered.hits += h->is_covered() ? 1 : 0;
        const double e = 100.0 * h->relative_error();
        s.bias_percent += e;
        squares += e * e;
        const double z = (h->estimate - h->truth) / h->uncertainty;
        z_squares += z * z;
        s.half_width_percent += 196.0 * h->uncertainty / h->truth;
    }
    const auto n = static_cast<double>(s.covered.of);
    if (s.covered.of > 1) {
        s.bias_percent /= n;
        s.bias_error_percent = std::sqrt((squares / n - (s.bias_percent * s.bias_percent)) / (n - 1.0));
        s.spread = std::sqrt(z_squares / n);
        s.half_width_percent /= n;
    }
    return s;
}

/// A bias misses when it is above 0.5 % by more than two of its own errors; "over" when only its value is.
std::string bias_text(const Summary& s) {
    const double size = std::abs(s.bias_percent);
    const char* verdict = size <= 0.5                                 ? ""
                          : size - (2.0 * s.bias_error_percent) > 0.5 ? " **miss**"
                                                                      : " (over, within its error)";
    return fmt::format("{:+.2f} ± {:.2f}{}", s.bias_percent, s.bias_error_percent, verdict);
}

/// The goal is 93-97 %. A cell misses when its exact interval lies outside that range altogether.
std::string coverage_text(const Summary& s) {
    const auto [low, high] = exact_limits(s.covered);
    const double share = 100.0 * static_cast<double>(s.covered.hits) / static_cast<double>(s.covered.of);
    const char* verdict = high < 93.0 || low > 97.0      ? " **miss**"
                          : share < 93.0 || share > 97.0 ? " (outside, within its interval)"
                                                         : "";
    return fmt::format("{:.1f} ({:.1f}–{:.1f}){}", share, low, high, verdict);
}

struct Cell {
    Scenario scenario;
    std::vector<Judged> stays;
};

std::string role_text(const Scenario& s) {
    return s.role == uptake::StayRole::rest ? "rest" : "after capture";
}

std::string start_of_row(const Cell& cell) {
    return fmt::format("| {} | {:.0f} | {} | ", role_text(cell.scenario), cell.scenario.sealed_s,
                       cell.scenario.noise);
}

template <typename Pick>
void table(std::string& text, const std::vector<Cell>& cells, const Pick& pick) {
    text += "| role | sealed, s | noise | stays | bias, % | coverage of 95 %, % | mean half-width, % | "
            "spread of errors over uncertainty |\n"
            "|---|---|---|---|---|---|---|---|\n";
    std::vector<Judged> rest;
    std::vector<Judged> fast;
    for (const auto& cell : cells) {
        const auto s = summary(cell.stays, pick);
        if (s.covered.of == 0) {
            continue;
        }
        text += fmt::format("{}{} | {} | {} | {:.2f} | {:.2f} |\n", start_of_row(cell), s.covered.of,
                            bias_text(s), coverage_text(s), s.half_width_percent, s.spread);
        auto& all = cell.scenario.role == uptake::StayRole::rest ? rest : fast;
        all.insert(all.end(), cell.stays.begin(), cell.stays.end());
    }
    for (const auto& [name, all] : {std::pair{"rest", &rest}, std::pair{"after capture", &fast}}) {
        const auto s = summary(*all, pick);
        if (s.covered.of > 0) {
            text += fmt::format("| **{}** | all | all | {} | {} | {} | {:.2f} | {:.2f} |\n", name,
                                s.covered.of, bias_text(s), coverage_text(s), s.half_width_percent, s.spread);
        }
    }
    text += "\n";
}

std::string report(const std::vector<Cell>& cells) {
    std::size_t stays = 0;
    std::size_t failed = 0;
    for (const auto& cell : cells) {
        stays += cell.stays.size();
        for (const auto& stay : cell.stays) {
            failed += stay.failed.empty() ? 0 : 1;
        }
    }
    std::string text = fmt::format(R"(# Validation against simulated truth

Written by `script/validate`; not edited by hand. {} simulated stays, {} of them without an answer. Scenarios and seeds
stand in `tests/validation/scenarios.csv`, fixed before the estimators were tried on them; what is drawn anew in each stay
is listed in `tests/validation/simulated_stay.hpp`; every stay's result is in `validation_stays.csv`. The physics shares no
code with the estimators. Nothing is tuned on these stays: what misses is printed so.

Goals: bias of the mass-specific uptake under 0.5 %; 95 % intervals (estimate ± 1.96 standard uncertainties) that hold the
truth in 93–97 % of stays. Bias is the mean relative error with its standard error; **miss** means above 0.5 % by more than
two of these. Coverage has its exact binomial interval (Clopper and Pearson 1934); **miss** means that the whole interval
lies outside 93–97 %. The truth of a spell is the fish's mean uptake over the very readings used. Noise: white_5 and white_20
are independent with sd 0.005 and 0.020 mg/L; coloured_5s and coloured_15s are first-order autoregressive with sd 0.008 and
0.010 mg/L and correlation times of 5 and 15 s, with a little white noise. Readings every 1 s after capture, 5 s at rest.

## One sealed spell

The middle spell of each stay, so that each stay counts once (spells of a stay share volume, mass and calibration).

)",
                                   stays, failed);
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.spell; });
    text += "The same estimates against the truth weighted as the slope of a line weighs the moments of its "
            "window, by\n"
            "6u(1 - u): what is left of a difference between this table and the one above is uptake that "
            "changed within\n"
            "the spell (bouts), not noise or calibration.\n\n";
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.line; });
    text += "## Mean of a stay\n\nAll usable spells of the stay; what they share does not average out, and "
            "the uncertainty says so.\n\n";
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.stay; });
    text += "## Peak after capture\n\nThe steepest 60 s of the stay, luck of the search taken off, against "
            "the fish's true mean over that same window.\n\n";
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.peak; });
    text += "The same window without that correction (for comparison):\n\n";
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.peak_raw; });
    text += "## Other errors of the slope\n\nThe middle spell again, with the ordinary least-squares error "
            "of the slope, then the Newey–West error, in place of\nthe modelled one; all other contributions "
            "as they are. For comparison only.\n\n### Ordinary\n\n";
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.ordinary; });
    text += "### Newey–West\n\n";
    table(text, cells, [](const Judged& j) -> const std::optional<Held>& { return j.newey_west; });
    return text;
}

std::string rows(const std::vector<Cell>& cells) {
    std::string text =
        "role,sealed_s,noise,seed,stay,spells,spell_mg_per_kg_h,spell_u,spell_true,stay_mg_per_kg_h,stay_u,"
        "stay_true,peak_mg_per_kg_h,peak_u,peak_true,failed\n";
    const auto three = [](const std::optional<Held>& h) {
        return h ? fmt::format("{},{},{}", significant_text(h->estimate, 6),
                               significant_text(h->uncertainty, 4), significant_text(h->truth, 6))
                 : std::string(",,");
    };
    for (const auto& cell : cells) {
        for (std::size_t i = 0; i < cell.stays.size(); ++i) {
            const auto& j = cell.stays[i];
            text += fmt::format("{},{:.0f},{},{},{},{},{},{},{},\"{}\"\n", uptake::word(cell.scenario.role),
                                cell.scenario.sealed_s, cell.scenario.noise, cell.scenario.seed, i, j.spells,
                                three(j.spell), three(j.stay), three(j.peak), j.failed);
        }
    }
    return text;
}

int validate(const std::vector<std::string>& words) {
    if (words.size() < 4) {
        std::fputs("usage: validate SCENARIOS TABLE.md STAYS.csv [threads]\n", stderr);
        return 2;
    }
    const auto scenarios = read_scenarios(words[1]);
    if (!scenarios) {
        std::fputs((scenarios.error().text() + "\n").c_str(), stderr);
        return 1;
    }
    const Threads threads{words.size() > 4 ? static_cast<unsigned>(std::stoul(words[4])) : 0};
    std::vector<Cell> cells;
    for (const auto& scenario : *scenarios) {
        Cell cell{.scenario = scenario, .stays = std::vector<Judged>(scenario.stays)};
        parallel_for(cell.stays.size(), threads, [&](std::size_t i) {
            const auto simulated = simulate_stay(scenario, i);
            cell.stays[i] = simulated ? judged(*simulated) : Judged{.failed = simulated.error().text()};
        });
        std::fprintf(stderr, "%s %.0f s %s\n", role_text(scenario).c_str(), scenario.sealed_s,
                     scenario.noise.c_str());
        cells.push_back(std::move(cell));
    }
    for (const auto& [path, text] : {std::pair{words[2], report(cells)}, std::pair{words[3], rows(cells)}}) {
        if (const auto written = write_file_whole(path, text); !written) {
            std::fputs((written.error().text() + "\n").c_str(), stderr);
            return 1;
        }
    }
    return 0;
}

} // namespace
} // namespace backeddy::validation

int main(int count, char** words) {
    try {
        return backeddy::validation::validate({words, words + count});
    } catch (const std::exception& fault) {
        std::fputs(fault.what(), stderr);
        return 1;
    }
}
