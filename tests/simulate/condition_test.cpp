// The condition of simulated fish: sheets against their truth, and the truth against what the plan asked for.

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include <unistd.h>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "base/number_text.hpp"
#include "series/instant.hpp"
#include "simulate/assay.hpp"
#include "simulate/condition.hpp"
#include "simulate/condition_tables.hpp"
#include "simulate/simulate.hpp"

namespace backeddy::simulate {
namespace {

namespace fs = std::filesystem;
using Row = std::map<std::string, std::string>;

const SimulationPlan& demo() {
    static const auto made = read_plan(fs::path(BACKEDDY_SOURCE_DIR) / "demo/demo.toml");
    EXPECT_TRUE(made) << made.error().text();
    return *made;
}

std::vector<std::string> fields_of(const std::string& line) {
    std::vector<std::string> fields(1);
    bool is_quoted = false;
    for (const char c : line) {
        if (c == '"') {
            is_quoted = !is_quoted;
        } else if (c == ',' && !is_quoted) {
            fields.emplace_back();
        } else {
            fields.back() += c;
        }
    }
    return fields;
}

/// The demo's sheets and their truth, without its traces.
struct Sheets {
    explicit Sheets(std::uint64_t seed, const SimulationPlan& plan = demo()) {
        auto laid_out = lay_out(plan, seed);
        EXPECT_TRUE(laid_out) << laid_out.error().text();
        season = std::move(*laid_out);
        condition = lay_out_condition(plan, season, seed);
        plates = assay_plates(plan, season, condition, seed);
        for (auto& [name, text] : condition_files(plan, season, condition, plates)) {
            files[name] = std::move(text);
        }
        for (auto& [name, text] : condition_truth(plan, season, condition, plates)) {
            files[name] = std::move(text);
        }
    }
    [[nodiscard]] std::vector<Row> rows(const std::string& name) const {
        std::vector<std::vector<std::string>> all;
        std::istringstream lines(files.at(name));
        for (std::string line; std::getline(lines, line);) {
            all.push_back(fields_of(line));
        }
        std::vector<Row> out;
        for (std::size_t r = 1; r < all.size(); ++r) {
            EXPECT_EQ(all[r].size(), all[0].size()) << name << " row " << r;
            for (std::size_t c = 0; c < all[0].size() && c < all[r].size(); ++c) {
                if (c == 0) {
                    out.emplace_back();
                }
                out.back()[all[0][c]] = all[r][c];
            }
        }
        return out;
    }

    Season season;
    Condition condition;
    AssayPlates plates;
    std::map<std::string, std::string> files;
};

const Sheets& seven() {
    static const Sheets made(7);
    return made;
}

double number(const Row& row, const std::string& column) {
    const auto value = parse_number(row.at(column));
    EXPECT_TRUE(value) << column << " " << row.at(column);
    return value.value_or(0.0);
}

Instant moment(const Row& row, const std::string& column) {
    const auto at = parse_iso(row.at(column));
    EXPECT_TRUE(at) << column << " " << row.at(column);
    return *at;
}

std::map<std::string, Row> by(const std::string& column, const std::vector<Row>& rows) {
    std::map<std::string, Row> out;
    for (const auto& row : rows) {
        EXPECT_TRUE(out.emplace(row.at(column), row).second) << row.at(column) << " twice";
    }
    return out;
}

// --- the season is the same with it and without

std::string small_plan(const std::string& rest) {
    return R"([study]
fish_per_day = [2]
[fish]
mass_kg = [0.8, 1.2]
[[chamber]]
name = "tube"
kind = "tube"
volume_l = 15
sensor = "T"
[[chamber]]
name = "night_1"
kind = "shore"
volume_l = 40
flow_l_per_min = 25
sensor = "N1"
[[chamber]]
name = "night_2"
kind = "shore"
volume_l = 40
flow_l_per_min = 25
sensor = "N2"
[[trace]]
name = "all"
chambers = ["tube", "night_1", "night_2"]
interval_s = 60
clock = "c"
[[clock]]
name = "c"
)" + rest;
}

std::map<std::string, std::string> hashes_of(const std::string& toml) {
    const auto plan = parse_plan(toml, "plan.toml");
    EXPECT_TRUE(plan) << plan.error().text();
    const auto folder = fs::temp_directory_path() / fmt::format("backeddy_condition_{}", getpid());
    fs::remove_all(folder);
    const auto made = simulate_study(*plan, 7, folder);
    EXPECT_TRUE(made) << made.error().text();
    std::map<std::string, std::string> all;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (entry.is_regular_file()) {
            all[fs::relative(entry.path(), folder).string()] = *sha256_of_file(entry.path());
        }
    }
    fs::remove_all(folder);
    return all;
}

TEST(SimulatedCondition, its_sections_write_sheets_and_move_nothing_else) {
    const auto without = hashes_of(small_plan(""));
    const auto with = hashes_of(small_plan(
        "[blood]\n[[meter]]\nname = \"m\"\n[[plate]]\nname = \"P\"\n[fins]\n[reflexes]\n[fates]\n"));
    for (const auto& [file, hash] : without) {
        ASSERT_TRUE(with.contains(file)) << file;
        if (file != "study.toml" && file != "truth/simulation.toml") {
            EXPECT_EQ(with.at(file), hash) << file;
        }
    }
    std::set<std::string> more;
    for (const auto& [file, hash] : with) {
        if (!without.contains(file)) {
            more.insert(file);
        }
    }
    EXPECT_THAT(more, testing::UnorderedElementsAre(
                          "blood.csv", "samples.csv", "plates.csv", "wells.csv", "fins.csv", "body.csv",
                          "reflexes.csv", "fates.csv", "raw/plates/P.csv", "truth/blood.csv",
                          "truth/meters.csv", "truth/plates.csv", "truth/wells.csv", "truth/fins.csv",
                          "truth/body.csv", "truth/reflexes.csv", "truth/fates.csv"));
}

TEST(SimulatedCondition, the_same_seed_gives_the_same_sheets) {
    EXPECT_EQ(Sheets(7).files, seven().files);
    EXPECT_NE(Sheets(8).files.at("blood.csv"), seven().files.at("blood.csv"));
}

// --- blood

TEST(SimulatedCondition, blood_is_drawn_when_the_events_say_and_within_the_permit) {
    const auto truth = by("fish", seven().rows("truth/blood.csv"));
    ASSERT_EQ(truth.size(), 24U);
    std::map<std::string, Instant> drawn;
    for (const auto& event : seven().season.events) {
        if (event.word == "blood") {
            drawn.emplace(event.fish, seven().season.instant(event.at_s));
        }
    }
    std::map<std::string, double> volumes;
    for (const auto& row : seven().rows("blood.csv")) {
        const auto& fish = row.at("fish");
        EXPECT_EQ(moment(row, "drawn_at"), drawn.at(fish)) << fish;
        EXPECT_EQ(moment(truth.at(fish), "drawn_at"), drawn.at(fish)) << fish;
        if (!row.at("volume_ml").empty()) {
            EXPECT_TRUE(volumes.emplace(fish, number(row, "volume_ml")).second) << "one volume a draw";
        }
        const bool is_planted = truth.at(fish).at("planted") == "haemolysed";
        EXPECT_EQ(row.at("haemolysis"), is_planted ? "marked" : "none") << fish;
    }
    for (const auto& fish : seven().season.fish) {
        EXPECT_NEAR(volumes.at(fish.id), number(truth.at(fish.id), "volume_ml"), 1e-9);
        EXPECT_LE(volumes.at(fish.id), 1.2 * fish.weighed_g / 1000.0) << fish.id;
        EXPECT_GT(volumes.at(fish.id), 0.6 * fish.weighed_g / 1000.0) << fish.id;
    }
}

// Between the ranges of condition/blood.cpp, whose sources it names; and rising since hook-up as planned:
// over 40 seasons the mean of a treatment's logarithm of cortisol differs as its factors do.
TEST(SimulatedCondition, blood_is_plausible_and_rises_with_the_treatment) {
    std::map<std::pair<std::size_t, std::size_t>, std::pair<double, double>> sums;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const Sheets sheets(seed);
        for (std::size_t f = 0; f < sheets.season.fish.size(); ++f) {
            const auto& fish = sheets.season.fish[f];
            const auto& draw = sheets.condition.blood[f];
            EXPECT_GT(draw.lactate_mmol_per_l, 0.1);
            EXPECT_LT(draw.lactate_mmol_per_l, 30.0) << fish.id << " seed " << seed;
            EXPECT_GT(draw.glucose_mmol_per_l, 1.5);
            EXPECT_LT(draw.glucose_mmol_per_l, 20.0) << fish.id << " seed " << seed;
            EXPECT_GT(draw.haematocrit_percent, 15.0);
            EXPECT_LT(draw.haematocrit_percent, 65.0) << fish.id << " seed " << seed;
            EXPECT_LT(draw.cortisol_ng_per_ml, 800.0) << fish.id << " seed " << seed;
            EXPECT_GT(draw.drawn_s, fish.hook_up_s + 3000.0);
            auto& [sum, count] = sums[{fish.rig, fish.unhooking}];
            sum += std::log(sheets.condition.response[f]);
            count += 1.0;
        }
    }
    const auto mean = [&](std::size_t rig, std::size_t unhooking) {
        const auto& [sum, count] = sums.at({rig, unhooking});
        EXPECT_EQ(count, 240.0);
        return sum / count;
    };
    // sd 0.28 of a fish's own and about 0.1 of its fight, of 240 fish each: 0.028 of a difference; four such.
    EXPECT_NEAR(mean(1, 0) - mean(0, 0), std::log(1.2), 0.11);
    EXPECT_GT(mean(0, 1) - mean(0, 0), std::log(1.1));
}

TEST(SimulatedCondition, a_meter_reads_offset_and_gain_with_its_own_error) {
    const auto& meter = demo().meters.front();
    double sum = 0.0;
    double squares = 0.0;
    double count = 0.0;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const Sheets sheets(seed);
        for (std::size_t f = 0; f < sheets.condition.blood.size(); ++f) {
            const double off = sheets.condition.meter_readings[0][f] -
                               (meter.offset + (meter.gain * sheets.condition.blood[f].lactate_mmol_per_l));
            sum += off;
            squares += off * off;
            count += 1.0;
        }
        EXPECT_EQ(sheets.condition.pairs[0].size(), 24U);
    }
    EXPECT_NEAR(sum / count, 0.0, 4.0 * meter.error_sd / std::sqrt(count));
    const double rounded = std::hypot(meter.error_sd, 0.1 / std::sqrt(12.0));
    EXPECT_NEAR(std::sqrt(squares / count) / rounded, 1.0, 4.0 / std::sqrt(2.0 * count));
    for (const auto& row : seven().rows("blood.csv")) {
        if (row.at("analyte") == "lactate") {
            const auto fish = static_cast<std::size_t>(std::stoi(row.at("fish").substr(1))) - 1;
            EXPECT_NEAR(number(row, "value"), seven().condition.meter_readings[0][fish], 1e-9);
        }
    }
}

TEST(SimulatedCondition, every_plasma_tube_leads_back_to_its_fish) {
    const auto tubes = by("sample", seven().rows("samples.csv"));
    std::size_t parts = 0;
    for (const auto& [label, tube] : tubes) {
        EXPECT_TRUE(label.starts_with(tube.at("fish"))) << label;
        if (!tube.at("split_of").empty()) {
            EXPECT_EQ(tubes.at(tube.at("split_of")).at("fish"), tube.at("fish"));
            EXPECT_EQ(tubes.at(tube.at("split_of")).at("taken_at"), tube.at("taken_at"));
            ++parts;
        }
    }
    EXPECT_EQ(parts, 6U);
    EXPECT_EQ(tubes.size(), 30U);
}

// --- plates

// The four-parameter logistic's own landmarks.
TEST(SimulatedCondition, the_signal_falls_as_a_logistic) {
    const PlatePlan plate{.top = 2.0, .bottom = 0.1, .middle_ng_per_ml = 3.0, .slope = 1.2};
    EXPECT_EQ(signal(plate, 0.0), 2.0);
    EXPECT_NEAR(signal(plate, 3.0), 1.05, 1e-12);
    EXPECT_NEAR(signal(plate, 1e12), 0.1, 1e-9);
    const auto logit = [&](double x) {
        const double share = (signal(plate, x) - 0.1) / 1.9;
        return std::log(share / (1.0 - share));
    };
    EXPECT_NEAR(logit(6.0), -1.2 * std::log(2.0), 1e-12);
}

TEST(SimulatedCondition, wells_hold_what_the_map_says_but_for_what_is_planted) {
    const auto truth = by("fish", seven().rows("truth/blood.csv"));
    std::map<std::string, Row> holds;
    for (const auto& row : seven().rows("truth/wells.csv")) {
        holds[row.at("plate") + row.at("well")] = row;
    }
    std::map<std::pair<std::string, std::string>, int> kinds;
    std::set<std::pair<std::string, double>> dilutions;
    for (const auto& row : seven().rows("wells.csv")) {
        const auto& well = holds.at(row.at("plate") + row.at("well"));
        const bool is_first = row.at("plate") == "C1";
        const double in_well = number(well, "in_well_ng_per_ml");
        const auto& plan = demo().plates[is_first ? 0 : 1];
        ++kinds[{row.at("plate"), row.at("holds")}];
        if (row.at("holds") == "standard") {
            const double nominal = number(row, "concentration");
            const bool is_bad = is_first && nominal == 0.625;
            EXPECT_NEAR(in_well, nominal * (is_bad ? 1.7 : 1.0), 1e-6 * in_well) << row.at("well");
        } else if (row.at("holds") == "sample" || row.at("holds") == "spiked") {
            const auto fish = row.at("label").substr(0, 3);
            const double added = row.at("holds") == "spiked" ? number(row, "added") : 0.0;
            const double dilution = number(row, "dilution");
            EXPECT_NEAR(in_well * dilution, number(truth.at(fish), "cortisol_ng_per_ml") + added,
                        1e-5 * in_well * dilution);
            dilutions.emplace(row.at("label"), dilution);
            EXPECT_EQ(is_first, fish <= "F12") << fish;
        } else if (row.at("holds") == "control") {
            EXPECT_NEAR(in_well * 20.0, number(row, "concentration"), 1e-5);
        } else {
            EXPECT_EQ(in_well, 0.0);
        }
        const bool is_outer = std::string("AH").find(row.at("well").front()) != std::string::npos ||
                              row.at("well").substr(1) == "1" || row.at("well").substr(1) == "12";
        if (row.at("holds") != "empty" && row.at("holds") != "blank") {
            const double edge = !is_first && is_outer ? 1.07 : 1.0;
            EXPECT_NEAR(number(well, "expected_response"), edge * signal(plan, in_well), 1e-5)
                << row.at("plate") << row.at("well");
        }
    }
    for (const std::string plate : {"C1", "C2"}) {
        EXPECT_EQ((kinds[{plate, "standard"}]), 14);
        EXPECT_EQ((kinds[{plate, "zero"}]), 8);
        EXPECT_EQ((kinds[{plate, "blank"}]), 2);
        EXPECT_EQ((kinds[{plate, "control"}]), 4);
        EXPECT_EQ((kinds[{plate, "spiked"}]), 2);
        EXPECT_EQ((kinds[{plate, "sample"}]), 28);
        EXPECT_EQ((kinds[{plate, "empty"}]), 38);
    }
    EXPECT_EQ(dilutions.size(), 28U); // every fish once, and one on each plate at two more
}

TEST(SimulatedCondition, fish_beyond_the_standards_are_the_planted_ones) {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const Sheets sheets(seed);
        for (const auto& row : sheets.rows("truth/blood.csv")) {
            const double in_well = number(row, "cortisol_ng_per_ml") / 20.0;
            EXPECT_EQ(in_well < 0.3125, row.at("planted") == "low") << seed << " " << row.at("fish");
            EXPECT_EQ(in_well > 20.0, row.at("planted") == "high") << seed << " " << row.at("fish");
        }
    }
}

// Chi-squared of all wells with a signal, low ones and high ones: the root mean square of n normal values is
// 1 within 4 / sqrt(2 n).
TEST(SimulatedCondition, the_noise_of_a_well_grows_with_its_response) {
    std::map<bool, std::pair<double, double>> squares; // by whether the response is above 1
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const Sheets sheets(seed);
        for (std::size_t p = 0; p < 2; ++p) {
            for (const auto& well : sheets.plates[p]) {
                const double z = (well.response - well.expected) / (0.02 * std::pow(well.expected, 0.75));
                auto& [sum, count] = squares[well.expected > 1.0];
                sum += z * z;
                count += 1.0;
            }
        }
    }
    for (const auto& [is_high, sum] : squares) {
        EXPECT_GT(sum.second, 1000.0);
        EXPECT_NEAR(std::sqrt(sum.first / sum.second), 1.0, 4.0 / std::sqrt(2.0 * sum.second)) << is_high;
    }
}

TEST(SimulatedCondition, both_exports_hold_the_responses_in_their_own_shape) {
    // Semicolons, decimal commas, four lines and a blank one above, letters and numbers at the sides.
    std::istringstream grid(seven().files.at("raw/plates/C1.csv"));
    std::vector<std::string> lines;
    for (std::string line; std::getline(grid, line);) {
        lines.push_back(line);
    }
    ASSERT_GE(lines.size(), 14U);
    EXPECT_EQ(lines[5], ";1;2;3;4;5;6;7;8;9;10;11;12");
    for (std::size_t row = 0; row < plate_rows; ++row) {
        std::istringstream fields(lines[6 + row]);
        std::string field;
        std::getline(fields, field, ';');
        EXPECT_EQ(field, std::string(1, static_cast<char>('A' + static_cast<int>(row))));
        for (std::size_t column = 0; column < plate_columns; ++column) {
            std::getline(fields, field, ';');
            std::replace(field.begin(), field.end(), ',', '.');
            EXPECT_NEAR(*parse_number(field), seven().plates[0][(row * plate_columns) + column].response,
                        0.00051);
        }
    }
    std::map<std::string, double> listed;
    std::istringstream list(seven().files.at("raw/plates/C2.txt"));
    std::string line;
    std::getline(list, line);
    EXPECT_EQ(line, "Well\tAbsorbance");
    while (std::getline(list, line)) {
        listed[line.substr(0, line.find('\t'))] = *parse_number(line.substr(line.find('\t') + 1));
    }
    EXPECT_EQ(listed.size(), 96U);
    for (const auto& well : seven().plates[1]) {
        EXPECT_NEAR(listed.at(well.name()), well.response, 0.000051) << well.name();
    }
}

// --- fins, body, reflexes

TEST(SimulatedCondition, fins_are_scored_on_three_occasions_and_by_two_on_every_third_fish) {
    std::map<std::string, int> truth;
    for (const auto& row : seven().rows("truth/fins.csv")) {
        truth[row.at("fish") + row.at("occasion") + row.at("fin")] = static_cast<int>(number(row, "level"));
    }
    EXPECT_EQ(truth.size(), (24U + 24U + 23U) * 7U) << "one fish died in the night";
    std::map<std::string, int> first; // as written, by scorer A
    std::map<std::string, std::set<std::string>> scorers;
    const std::map<std::string, int> levels{{"whole", 0}, {"slight", 1}, {"moderate", 2}, {"severe", 3}};
    for (const auto& row : seven().rows("fins.csv")) {
        scorers[row.at("fish")].insert(row.at("scorer"));
        if (row.at("scorer") == "scorer A") {
            first[row.at("fish") + row.at("occasion") + row.at("fin")] = levels.at(row.at("score"));
        } else {
            EXPECT_THAT(row.at("score"), testing::MatchesRegex("[0-3]"));
        }
    }
    EXPECT_EQ(first.size(), truth.size());
    std::size_t same = 0;
    for (const auto& [key, level] : truth) {
        EXPECT_LE(std::abs(first.at(key) - level), 1) << key;
        same += first.at(key) == level ? 1 : 0;
    }
    // 497 scores, 12 % of them a level off: 60 +- 7.2.
    EXPECT_NEAR(static_cast<double>(truth.size() - same), 0.12 * 497.0, 4.0 * 7.25);
    for (std::size_t f = 0; f < 24; ++f) {
        EXPECT_EQ(scorers.at(seven().season.fish[f].id).size(), f % 3 == 0 ? 2U : 1U);
    }
}

TEST(SimulatedCondition, the_second_scorers_short_rows_say_what_was_scored) {
    std::map<std::string, std::map<std::string, int>> written; // by fish and occasion, the fin's level
    for (const auto& row : seven().rows("fins.csv")) {
        if (row.at("scorer") == "scorer B") {
            written[row.at("fish") + row.at("occasion")][row.at("fin")] =
                static_cast<int>(number(row, "score"));
        }
    }
    std::size_t looks = 0;
    for (std::size_t f = 0; f < 24; f += 3) {
        for (const auto& look : seven().condition.fins[f]) {
            const auto& rows = written.at(seven().season.fish[f].id + look.occasion);
            for (std::size_t fin = 0; fin < rayed_fins; ++fin) {
                const auto own = rows.find(fin_names().at(fin));
                EXPECT_EQ(own == rows.end() ? rows.at("all") : own->second, look.scored.at(1).at(fin));
            }
            ++looks;
        }
    }
    EXPECT_EQ(looks, 24U);
}

TEST(SimulatedCondition, body_and_reflexes_are_those_of_the_truth_and_one_test_is_missing) {
    const auto body = by("fish", seven().rows("truth/body.csv"));
    const std::vector<std::string> levels{"none", "slight", "moderate", "heavy"};
    std::size_t wounds = 0;
    for (const auto& row : seven().rows("body.csv")) {
        if (row.at("area") == "hook_wound") {
            const auto level = static_cast<std::size_t>(number(body.at(row.at("fish")), "bleeding"));
            EXPECT_EQ(row.at("score"), levels.at(level));
            ++wounds;
        } else if (row.at("area") == "all") {
            const auto level = static_cast<std::size_t>(number(body.at(row.at("fish")), "scale_loss"));
            EXPECT_EQ(row.at("score"), levels.at(level));
        }
    }
    EXPECT_EQ(wounds, 24U);
    std::map<std::string, std::string> lost;
    for (const auto& row : seven().rows("truth/reflexes.csv")) {
        lost[row.at("fish") + row.at("test")] = row.at("lost");
    }
    EXPECT_EQ(lost.size(), 24U * 5U);
    std::vector<std::string> missing;
    for (const auto& row : seven().rows("reflexes.csv")) {
        if (row.at("there").empty()) {
            missing.push_back(row.at("fish") + " " + row.at("test"));
        } else {
            EXPECT_NE(row.at("there"), lost.at(row.at("fish") + row.at("test"))) << row.at("fish");
        }
    }
    EXPECT_THAT(missing, testing::ElementsAre("F11 eye roll"));
}

// --- fates

TEST(SimulatedCondition, fates_are_consistent_with_stays_and_events) {
    for (const std::uint64_t seed : {7U, 8U, 9U}) {
        const Sheets sheets(seed);
        const auto truth = by("fish", sheets.rows("truth/fates.csv"));
        std::map<std::string, std::vector<Row>> rows;
        for (const auto& row : sheets.rows("fates.csv")) {
            rows[row.at("fish")].push_back(row);
        }
        std::map<std::string, Instant> released;
        for (const auto& event : sheets.season.events) {
            if (event.word == "released") {
                released.emplace(event.fish, sheets.season.instant(event.at_s));
            }
        }
        std::map<std::string, int> endings;
        for (const auto& [fish, fate] : truth) {
            ++endings[fate.at("ending")];
            bool is_dead = false;
            for (const auto& row : rows.at(fish)) {
                EXPECT_FALSE(is_dead) << fish << " " << row.at("what") << " after its death";
                const bool is_told_twice = row.at("what") == "released" && released.contains(fish);
                EXPECT_FALSE(is_told_twice) << fish;
                if (row.at("what") == "released") {
                    EXPECT_EQ(moment(row, "at"), moment(fate, "released")) << fish;
                }
                if (row.at("stage") == "after_release") {
                    EXPECT_GT(moment(row, "at"), moment(fate, "released")) << fish;
                }
                if (row.at("what") == "dead") {
                    is_dead = true;
                    EXPECT_EQ(moment(row, "at"), moment(fate, "found_dead"));
                    EXPECT_EQ(moment(row, "last_alive"), moment(fate, "last_alive"));
                }
            }
            EXPECT_EQ(is_dead, fate.at("ending") == "dead") << fish;
            if (is_dead) {
                EXPECT_LE(moment(fate, "last_alive"), moment(fate, "died")) << fish;
                EXPECT_LE(moment(fate, "died"), moment(fate, "found_dead")) << fish;
                EXPECT_FALSE(released.contains(fish)) << fish;
            } else if (released.contains(fish)) {
                EXPECT_EQ(moment(fate, "released"), released.at(fish)) << fish;
            }
        }
        EXPECT_EQ(endings, (std::map<std::string, int>{{"alive", 17}, {"dead", 3}, {"lost", 4}})) << seed;
        for (const auto* fish : {"F08", "F16"}) { // between two looks, twelve hours apart
            EXPECT_EQ((moment(truth.at(fish), "found_dead") - moment(truth.at(fish), "last_alive")).hours(),
                      12.0);
        }
    }
}

TEST(SimulatedCondition, the_mistyped_fight_is_one_and_the_others_are_the_events) {
    const auto& season = seven().season;
    const auto at = [&](const std::string& fish, const char* word) {
        return std::find_if(season.events.begin(), season.events.end(),
                            [&](const Event& one) { return one.fish == fish && one.word == word; })
            ->at_s;
    };
    for (const auto& fish : season.fish) {
        EXPECT_EQ(at(fish.id, "landed") - at(fish.id, "hook_up"), fish.landed_s - fish.hook_up_s);
        EXPECT_EQ(fish.mistyped_fight_s, fish.id == "F14" ? 120.0 : 0.0);
    }
}

// --- the brief

std::string refusal(const std::string& rest) {
    const auto plan = parse_plan(small_plan(rest), "plan.toml");
    return plan ? "taken" : plan.error().text();
}

TEST(SimulatedCondition, a_plan_that_cannot_be_is_refused_by_name) {
    using testing::HasSubstr;
    EXPECT_THAT(refusal("[blod]\n"), HasSubstr("did you mean \"blood\"?"));
    EXPECT_THAT(refusal("[blood]\nlactat_rise_mmol_per_l = 3\n"),
                HasSubstr("did you mean \"lactate_rise_mmol_per_l\"?"));
    EXPECT_THAT(refusal("[blood]\nvolume_ml_per_kg = -1\n"), HasSubstr("a number from 0.01 to 20"));
    EXPECT_THAT(refusal("[blood]\n[[meter]]\nname = \"m\"\nanalyte = \"lactat\"\n"),
                HasSubstr("did you mean \"lactate\"?"));
    EXPECT_THAT(refusal("[[plate]]\nname = \"P\"\n"), HasSubstr("without [blood]"));
    EXPECT_THAT(refusal("[blood]\nlow_fish = 3\n"), HasSubstr("low_fish of [blood] = 3"));
    EXPECT_THAT(refusal("[blood]\nlow_fish = 1\nhigh_fish = 1\n"), HasSubstr("two fish"));
    EXPECT_THAT(refusal("[blood]\n[[plate]]\nname = \"../P\"\n"), HasSubstr("a name that can be a file's"));
    EXPECT_THAT(refusal("[blood]\n[[plate]]\nname = \"P\"\n[[plate]]\nname = \"P\"\n"),
                HasSubstr("plate P twice"));
    EXPECT_THAT(refusal("[blood]\n[[plate]]\nname = \"P\"\nstandards_ng_per_ml = [1, 1]\n"),
                HasSubstr("each concentration once"));
    EXPECT_THAT(refusal("[blood]\n[[plate]]\nname = \"P\"\nbad_standard = 8\n"),
                HasSubstr("bad_standard the place of one of them"));
    EXPECT_THAT(refusal("[blood]\n[[plate]]\nname = \"P\"\nstandards_ng_per_ml = []\n"),
                HasSubstr("a list of"));
    EXPECT_THAT(refusal("[blood]\n[[plate]]\nname = \"P\"\nexport = \"lisst\"\n"),
                HasSubstr("did you mean \"list\"?"));
    EXPECT_THAT(refusal("[fates]\nheld = [1]\ndead_in_pen = [2]\n"),
                HasSubstr("fish 2 in dead_in_pen of [fates]; fish of held"));
    EXPECT_THAT(refusal("[fates]\ndetected = [1]\n"), HasSubstr("fish of implanted"));
    EXPECT_THAT(refusal("[fates]\nlost = [1, 1]\n"), HasSubstr("each once"));
    EXPECT_THAT(refusal("[fates]\nheld = [1]\n[[fault]]\nkind = \"death\"\nfish = 1\nafter_h = 5\n"),
                HasSubstr("outlive the night"));
    EXPECT_THAT(refusal("[reflexes]\nuntested_fish = 3\n"), HasSubstr("untested_fish of [reflexes] = 3"));
    EXPECT_THAT(refusal("[[reflexes]]\n"), HasSubstr("[reflexes]"));
    std::string plates = "[blood]\n";
    for (int i = 0; i < 3; ++i) {
        plates += fmt::format("[[plate]]\nname = \"P{}\"\n", i);
    }
    EXPECT_THAT(refusal(plates), HasSubstr("0 fish on plate P0"));
}

} // namespace
} // namespace backeddy::simulate
