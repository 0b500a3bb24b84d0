// Published contrasts of an open data set, asked as a brief asks: Higuchi and others 2026, Reanalysis data
// for swim- tunnel experiments on Japanese eels, version 1.0.0 (CC BY 4.0): the same ten eels at 25 and at 18
// degrees.
#include <cmath>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "findings/answer.hpp"
#include "support/reference.hpp"

namespace backeddy::findings {
namespace {

using support::Table;

constexpr const char* warm = "FW25";
constexpr const char* cold = "FW18";

/// Which trials the authors used for a response, as the set's README says.
bool is_used(const Table& fish, std::size_t row, const std::string& response, const std::string& set) {
    const auto is = [&](const char* column, const std::set<std::string>& statuses) {
        return statuses.contains(fish.text(column)[row]);
    };
    if (response.starts_with("critical")) {
        return is("critical_speed_status", {"valid", "boundary_ambiguous", "protocol_check"});
    }
    if (response.starts_with("uptake_low")) {
        return is("low_flow_status", {"valid"});
    }
    return set == "sensitivity_valid_only" ? is("cost_status", {"valid"})
                                           : is("cost_status", {"valid", "boundary_estimate"});
}

Observations trials_of(const Table& fish, const std::string& response, const std::string& set) {
    Observations out("trial", "trials");
    const auto values = fish.numbers(response);
    for (std::size_t i = 0; i < fish.rows(); ++i) {
        const auto& condition = fish.text("condition")[i];
        const auto row = out.add_row(fish.text("trial")[i], fish.text("fish")[i]);
        out.set(row, "fish", Word{fish.text("fish")[i]});
        out.set(row, "water", Word{condition});
        if (is_used(fish, i, response, set) && std::isfinite(values[i])) {
            out.set(row, response, Value{.value = values[i]});
        } else {
            out.set(row, response, Absent{"not used by the authors"});
        }
    }
    out.column_of("water").levels = {cold, warm};
    return out;
}

Finding answer(const Table& fish, const std::string& response, const std::string& set) {
    study::Question asked;
    asked.name = "q";
    asked.outcome = response;
    asked.compare = "water";
    asked.within = "fish";
    asked.family = study::QuestionFamily::normal;
    return answer_question(asked, trials_of(fish, response, set));
}

/// Warm less cold of each fish that has both, from what the finding draws.
std::vector<double> differences(const Finding& found) {
    std::map<std::string, double> out;
    for (const auto& point : found.points) {
        out[point.fish] += (point.group == warm ? 1.0 : -1.0) * *point.value;
    }
    std::vector<double> list;
    for (const auto& [fish, difference] : out) {
        list.push_back(difference);
    }
    return list;
}

/// The authors' p: share of all signs whose mean lies as far from 0 as that seen.
double p_of_signs(const std::vector<double>& differences) {
    const std::size_t patterns = std::size_t{1} << differences.size();
    double seen = 0.0;
    for (const double d : differences) {
        seen += d;
    }
    double beyond = 0.0;
    for (std::size_t pattern = 0; pattern < patterns; ++pattern) {
        double sum = 0.0;
        for (std::size_t i = 0; i < differences.size(); ++i) {
            sum += ((pattern >> i) & 1U) != 0 ? differences[i] : -differences[i];
        }
        beyond += std::abs(sum) >= std::abs(seen) - 1e-9 ? 1.0 : 0.0;
    }
    return beyond / static_cast<double>(patterns);
}

struct Eels {
    Table fish;
    Table contrasts;
    Table steps;
};

std::optional<Eels> eels() {
    const auto folder = support::reference_folder();
    if (!folder) {
        return std::nullopt;
    }
    const auto here = *folder / "open_data" / "eel_swim";
    return Eels{.fish = support::read_table(here / "fish.csv"),
                .contrasts = support::read_table(here / "expected_contrasts.csv"),
                .steps = support::read_table(here / "speed_steps.csv")};
}

} // namespace

// Of each contrast with three pairs or more: pairs, difference and exact p as published. Ours is Student's
// interval, theirs inverts the test of signs: where theirs is finite, the limits are within a tenth of its
// width.
TEST(OpenData, eels_in_warm_and_cold_water_as_published) {
    const auto set = eels();
    if (!set) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& published = set->contrasts;
    const auto want = [&](const char* column, std::size_t row) { return published.numbers(column)[row]; };
    std::size_t answered = 0;
    for (std::size_t i = 0; i < published.rows(); ++i) {
        const auto& response = published.text("response")[i];
        SCOPED_TRACE(response + ", " + published.text("set")[i]);
        const auto found = answer(set->fish, response, published.text("set")[i]);
        if (want("n1", i) < 2.0) {
            EXPECT_NE(found.unanswered, "");
            continue;
        }
        ASSERT_EQ(found.unanswered, "");
        ++answered;
        const auto& effect = found.effects.front();
        EXPECT_EQ(static_cast<double>(found.fish), want("n1", i));
        EXPECT_NEAR(*effect.value, want("difference", i), 1e-12 * std::abs(want("mean1", i)));
        EXPECT_NEAR(p_of_signs(differences(found)), want("p_exact", i), 1e-12);
        if (published.text("ci_status")[i] == "finite") {
            const double width = want("ci95_high", i) - want("ci95_low", i);
            EXPECT_NEAR(*effect.lower, want("ci95_low", i), 0.1 * width);
            EXPECT_NEAR(*effect.upper, want("ci95_high", i), 0.1 * width);
            EXPECT_NEAR(*effect.p, want("p_exact", i), 0.02);
        }
    }
    EXPECT_EQ(answered, 7U);
}

// R 4.2.2, t.test(warm, cold, paired = TRUE).
TEST(OpenData, eels_by_student_s_t_as_in_r) {
    const auto set = eels();
    if (!set) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto speed = answer(set->fish, "critical_speed_m_s", "main").effects.front();
    EXPECT_NEAR(*speed.lower, -0.117667789712202, 1e-12);
    EXPECT_NEAR(*speed.upper, 0.444007789712202, 1e-12);
    EXPECT_NEAR(*speed.p, 0.221240138386864, 1e-12);
    const auto uptake = answer(set->fish, "uptake_low_flow_mg_o2_kg_h", "main").effects.front();
    EXPECT_NEAR(*uptake.lower, -1.1897938812147220, 1e-10);
    EXPECT_NEAR(*uptake.upper, 31.8738988424724532, 1e-10);
    EXPECT_NEAR(*uptake.p, 0.0647722219699781, 1e-12);
}

// R 4.2.2, lme4: lmer(log(uptake) ~ condition + speed + (1 | fish)) of the 50 steps above low flow, REML.
TEST(OpenData, uptake_of_swimming_eels_by_a_mixed_model_as_in_lme4) {
    const auto set = eels();
    if (!set) {
        GTEST_SKIP() << support::no_reference;
    }
    std::map<std::string, std::size_t> place;
    for (std::size_t i = 0; i < set->fish.rows(); ++i) {
        place[set->fish.text("trial")[i]] = i;
    }
    Observations rows("step", "steps");
    const auto uptake = set->steps.numbers("uptake_mg_o2_kg_h");
    const auto speed = set->steps.numbers("speed_m_s");
    for (std::size_t i = 0; i < set->steps.rows(); ++i) {
        if (set->steps.text("is_low_flow")[i] == "True") {
            continue;
        }
        const auto trial = place.at(set->steps.text("trial")[i]);
        const auto& fish = set->fish.text("fish")[trial];
        const auto row = rows.add_row("step " + std::to_string(i + 1), fish);
        rows.set(row, "fish", Word{fish});
        rows.set(row, "water", Word{set->fish.text("condition")[trial]});
        rows.set(row, "speed", Value{.value = speed[i]});
        rows.set(row, "uptake", Value{.value = uptake[i]});
    }
    rows.column_of("water").levels = {cold, warm};
    study::Question asked;
    asked.name = "q";
    asked.outcome = "uptake";
    asked.compare = "water";
    asked.adjust_for = {"speed"};
    asked.random = {"fish"};
    asked.family = study::QuestionFamily::log_normal;
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.rows, 50U);
    EXPECT_NEAR(*found.effects.front().value, std::exp(0.519846073667), 1e-6);
    ASSERT_EQ(found.spreads.size(), 2U);
    EXPECT_NEAR(*found.spreads[0].value, 0.124417955410, 1e-6);
    EXPECT_NEAR(*found.spreads[1].value, 0.245103623178, 1e-6);
}

} // namespace backeddy::findings
