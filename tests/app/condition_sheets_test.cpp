// A fish's condition through the rows of the sheets alone: summaries, agreement, mortality. Outside values: R
// 4.2.2 (quantile, binom.test), vcd 1.4-11 (Kappa), and sums by hand.

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/detail/observed_condition.hpp"
#include "app/detail/results_condition_parts.hpp"

namespace backeddy::app::detail {
namespace {

using condition::FateKind;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Instant at(const std::string& clock) {
    return parse_iso("2026-06-" + clock + ":00Z").value();
}

/// Fish F0, F1 ... each met at 10:00 of the 14th, with what a test writes down of them.
struct Season {
    Study study;
    std::vector<report::Fish> documents;

    study::FishId fish(const std::string& group = {}) {
        study::Fish row;
        row.id = study::FishId("F" + std::to_string(study.tables.fish.size()));
        row.mass = Mass::grams(950.0);
        study::Encounter met;
        met.fish = row.id;
        met.at = at("14T10:00");
        study.tables.encounters.push_back(met);
        study.tables.fish.push_back(row);
        documents.push_back({.id = row.id.text(), .group = group});
        return row.id;
    }
    study::BloodRow& blood(const study::FishId& fish, const char* when) {
        study::BloodRow row;
        row.fish = fish;
        row.drawn_at = at(when);
        row.place = {
            .file = "blood.csv", .line = study.tables.sheets.blood.size() + 2, .column = {}, .byte = {}};
        study.tables.sheets.blood.push_back(row);
        return study.tables.sheets.blood.back();
    }
    void cortisol(const study::FishId& fish, double value,
                  condition::Known known = condition::Known::exactly) {
        auto& row = blood(fish, "14T11:00");
        row.analyte = condition::Analyte::cortisol;
        row.value = study::ValueOrLimit{.value = value, .known = known};
        row.unit = "ng/mL";
    }
    void fate(const study::FishId& fish, FateKind what, const char* when, const char* last_alive = nullptr) {
        study::FateRow row;
        row.fish = fish;
        row.what = what;
        row.at = at(when);
        row.last_alive = last_alive == nullptr ? std::nullopt : std::optional(at(last_alive));
        row.place = {
            .file = "fates.csv", .line = study.tables.sheets.fates.size() + 2, .column = {}, .byte = {}};
        study.tables.sheets.fates.push_back(row);
    }
    void fin(const study::FishId& fish, const char* scorer, std::size_t level) {
        study::FinRow row;
        row.fish = fish;
        row.fin = study::ScoredFin::caudal;
        row.score = std::to_string(level);
        row.scorer = scorer;
        row.place = {
            .file = "fins.csv", .line = study.tables.sheets.fins.size() + 2, .column = {}, .byte = {}};
        study.tables.sheets.fins.push_back(row);
    }

    /// The study's part of the document.
    [[nodiscard]] report::StudyCondition chapter() const {
        const auto condition = answer_condition(study, plates);
        const RawTraces traces{};
        const Chambers chambers{};
        const StayAnswers stays{};
        const std::vector<report::Input> tables{};
        const std::vector<FishAnswer> fish{};
        const std::vector<std::optional<Expected<uptake::ContinuousUptake>>> curves{};
        const std::vector<findings::Finding> findings{};
        const std::vector<study::Complaint> complaints{};
        return study_condition_of({.study = study,
                                   .tables = tables,
                                   .traces = traces,
                                   .chambers = chambers,
                                   .stays = stays,
                                   .plates = plates,
                                   .condition = condition,
                                   .fish = fish,
                                   .curves = curves,
                                   .findings = findings,
                                   .complaints = complaints,
                                   .program_version = {}},
                                  documents);
    }

    PlateAnswers plates;
};

// quantile(c(0.5, 1, 2, 3, 4), c(0.25, 0.5, 0.75), type = 2): 1, 2, 3, wherever below 1 the first of them
// lies.
TEST(Condition, quartiles_count_a_value_below_the_limit_as_such) {
    Season season;
    season.cortisol(season.fish(), 0.5, condition::Known::below);
    for (const double value : {4.0, 1.0, 3.0, 2.0}) {
        season.cortisol(season.fish(), value);
    }
    const auto out = season.chapter();
    EXPECT_TRUE(out.has_any);
    ASSERT_THAT(out.analytes, SizeIs(1));
    const auto& cortisol = out.analytes[0];
    EXPECT_EQ(cortisol.analyte, "cortisol");
    EXPECT_EQ(cortisol.matrix, "plasma");
    EXPECT_TRUE(cortisol.is_all);
    EXPECT_EQ(cortisol.fish, 5U);
    EXPECT_EQ(cortisol.below, 1U);
    EXPECT_DOUBLE_EQ(*cortisol.lower_quartile.value, 1.0);
    EXPECT_DOUBLE_EQ(*cortisol.median.value, 2.0);
    EXPECT_DOUBLE_EQ(*cortisol.upper_quartile.value, 3.0);
    EXPECT_EQ(cortisol.median.unit, "ng/mL");
    EXPECT_FALSE(cortisol.minutes_since_hook_up.value) << "nobody wrote down a hook-up";
}

// quantile(c(1, 2, 3, 4), type = 2): median 2.5; and of three of which two are below 0.5 the median is below
// it.
TEST(Condition, a_median_that_lies_below_the_limit_is_no_number) {
    Season season;
    for (const double value : {4.0, 1.0, 3.0, 2.0}) {
        season.cortisol(season.fish("air"), value);
    }
    season.cortisol(season.fish("water"), 0.5, condition::Known::below);
    season.cortisol(season.fish("water"), 0.5, condition::Known::below);
    season.cortisol(season.fish("water"), 2.0);
    const auto out = season.chapter();
    ASSERT_THAT(out.analytes, SizeIs(3)) << "all, and each group";
    EXPECT_DOUBLE_EQ(*out.analytes[1].median.value, 2.5);
    EXPECT_EQ(out.analytes[1].group, "air");
    EXPECT_FALSE(out.analytes[2].median.value);
    EXPECT_EQ(out.analytes[2].median.reason, "below 0.500 ng/mL");
}

// By hand: 0, 0, 0, 1.6 at least and 1.6, 5, 5, 5 at most, each quartile half way between two.
TEST(Condition, a_quartile_is_bounded_where_a_limit_is_above_a_value) {
    Season season;
    for (int i = 0; i < 3; ++i) {
        season.cortisol(season.fish(), 5.0, condition::Known::below);
    }
    season.cortisol(season.fish(), 1.6);
    const auto out = season.chapter();
    ASSERT_THAT(out.analytes, SizeIs(1));
    EXPECT_FALSE(out.analytes[0].median.value);
    EXPECT_EQ(out.analytes[0].lower_quartile.reason, "below 3.30 ng/mL");
    EXPECT_EQ(out.analytes[0].median.reason, "below 5.00 ng/mL");
    EXPECT_EQ(out.analytes[0].upper_quartile.reason, "between 0.800 and 5.00 ng/mL");
    season.cortisol(season.fish(), 9.0, condition::Known::above);
    season.cortisol(season.fish(), 9.0, condition::Known::above);
    EXPECT_EQ(season.chapter().analytes[0].upper_quartile.reason, "above 9.00 ng/mL");
}

// Table 18.1 of Fleiss, Levin and Paik 2003 (Statistical Methods for Rates and Proportions): a hundred
// subjects on three steps; vcd 1.4-11, Kappa(table, weights = "Fleiss-Cohen").
TEST(Condition, two_scorers_through_the_sheets_agree_as_published) {
    const std::vector<std::vector<int>> table{{75, 1, 4}, {5, 4, 1}, {0, 0, 10}};
    Season season;
    for (std::size_t a = 0; a < table.size(); ++a) {
        for (std::size_t b = 0; b < table.size(); ++b) {
            for (int i = 0; i < table[a][b]; ++i) {
                const auto fish = season.fish();
                season.fin(fish, "anna", a);
                season.fin(fish, "bo", b);
            }
        }
    }
    season.fin(season.fish(), "anna", 1); // nobody else looked at it
    season.study.brief.fins.scale.levels = {"whole", "frayed", "split"};
    const auto out = season.chapter();
    ASSERT_THAT(out.agreements, SizeIs(1));
    const auto& agreement = out.agreements[0];
    EXPECT_EQ(agreement.of, "fins");
    EXPECT_EQ(agreement.first, "anna");
    EXPECT_EQ(agreement.second, "bo");
    EXPECT_EQ(agreement.fish, 100U);
    EXPECT_EQ(agreement.pairs, 100U);
    EXPECT_EQ(agreement.same, 89U);
    EXPECT_NEAR(*agreement.kappa.value, 0.75531914893617014, 1e-12);
    ASSERT_TRUE(agreement.kappa.interval);
    EXPECT_LT(agreement.kappa.interval->low, 0.7553);
    EXPECT_GT(agreement.kappa.interval->high, 0.7553);
}

TEST(Condition, a_death_dated_before_the_catch_leaves_the_fish_at_risk_with_an_unknown_state) {
    Season season;
    for (const auto* when : {"14T08:00", "14T09:59"}) { // the second in the minute before it was met
        study::Event died;
        died.kind = study::EventKind::died;
        died.fish = season.fish();
        died.at = at(when);
        season.study.tables.events.push_back(died);
    }
    season.fate(season.fish(), FateKind::seen_alive, "16T12:00");
    const auto out = season.chapter();
    ASSERT_FALSE(out.mortality.empty());
    const auto& row = out.mortality[0];
    EXPECT_EQ(row.from, "from capture");
    EXPECT_EQ(row.dead, 1U);
    EXPECT_EQ(row.known, 2U);
    EXPECT_EQ(row.unknown, 1U) << "it was dropped";
}

// binom.test(3, 30)$conf.int. Of the control 1 of 28 died: 1 - (27 / 30) / (27 / 28) = 0.0667 (Abbott).
TEST(Condition, deaths_after_release_have_exact_limits_and_are_held_against_the_control) {
    Season season;
    const auto released = [&](const char* group, int count, int dead) {
        for (int i = 0; i < count; ++i) {
            const auto fish = season.fish(group);
            season.fate(fish, FateKind::released, "14T12:00");
            if (i < dead) {
                season.fate(fish, FateKind::dead, "15T06:00", "14T20:00");
            } else {
                season.fate(fish, FateKind::seen_alive, "16T12:00");
            }
        }
    };
    released("treble", 30, 3);
    released("seine", 28, 1);
    const auto lost = season.fish("treble"); // nobody saw it again
    season.fate(lost, FateKind::released, "14T12:00");
    season.study.brief.mortality = {.horizons_h = {24.0}, .control = "seine"};
    const auto out = season.chapter();
    const auto row = [&](const std::string& from, const std::string& group) {
        for (const auto& one : out.mortality) {
            if (one.from == from && one.group == group) {
                return one;
            }
        }
        ADD_FAILURE() << "no row " << from << " of " << group;
        return report::MortalityRow{};
    };
    const auto treble = row("from release", "treble");
    EXPECT_EQ(treble.dead, 3U);
    EXPECT_EQ(treble.known, 30U);
    EXPECT_EQ(treble.unknown, 1U);
    EXPECT_NEAR(*treble.percent.value, 10.0, 1e-12);
    EXPECT_NEAR(treble.percent.interval->low, 2.111713702972258, 1e-9);
    EXPECT_NEAR(treble.percent.interval->high, 26.528845047420813, 1e-9);
    EXPECT_NEAR(*treble.can_be_low_percent.value, 100.0 * 3 / 31, 1e-9);
    EXPECT_NEAR(*treble.can_be_high_percent.value, 100.0 * 4 / 31, 1e-9);
    EXPECT_NEAR(*treble.corrected_percent.value, 100.0 * (1.0 - (27.0 / 30.0) / (27.0 / 28.0)), 1e-9);
    EXPECT_EQ(row("from release", "seine").corrected_percent.reason, "the control itself");
    EXPECT_EQ(row("from release", "").dead, 4U);
    EXPECT_EQ(row("from release", "").corrected_percent.reason,
              "these hold the control too: corrected group by group");
    // riskratio of 3 / 30 over 1 / 28, and its score limits as stats/counts_test.cpp has them from R.
    EXPECT_NEAR(*row("from release", "treble").relative_risk.value, (3.0 / 30.0) / (1.0 / 28.0), 1e-12);
    const auto limits = stats::ratio_of_shares({3, 30}, {1, 28})->interval;
    EXPECT_NEAR(row("from release", "treble").relative_risk.interval->low, limits.lower, 1e-12);
    EXPECT_NEAR(row("from release", "treble").relative_risk.interval->high, limits.upper, 1e-12);
    EXPECT_EQ(row("from release", "seine").relative_risk.reason, "the group that the other is held against");
    EXPECT_EQ(row("from capture", "treble").dead, 3U) << "within the day: found dead 20 h after it";
    season.study.brief.mortality.control = "sein";
    EXPECT_THAT(season.chapter().notes, ElementsAre(HasSubstr("no fish is of such a group")));
}

// The commonest death after angling: it came up dead. It was left out of the share. Of the four fish one is
// written down as dead before it was caught: that cannot be, and what became of it is not known.
TEST(Condition, a_fish_found_dead_at_the_very_moment_from_which_it_counts_is_a_death) {
    Season season;
    season.fate(season.fish(), FateKind::dead, "14T10:00"); // met at 10:00
    season.fate(season.fish(), FateKind::dead, "14T09:00");
    season.fate(season.fish(), FateKind::seen_alive, "16T12:00");
    const auto held = season.fish();
    season.fate(held, FateKind::held, "14T12:00");
    season.fate(held, FateKind::dead, "14T12:00");
    season.study.brief.mortality.horizons_h = {24.0};
    const auto out = season.chapter();
    ASSERT_THAT(out.mortality, SizeIs(2));
    EXPECT_EQ(out.mortality[0].from, "from capture");
    EXPECT_EQ(out.mortality[0].dead, 2U);
    EXPECT_EQ(out.mortality[0].known, 3U);
    EXPECT_EQ(out.mortality[0].unknown, 1U);
    EXPECT_EQ(out.mortality[1].from, "from the start of holding");
    EXPECT_EQ(out.mortality[1].dead, 1U);
    EXPECT_EQ(out.mortality[1].known, 1U);
}

// 0.95 kg at 1.5 mL/kg: 1.425 mL.
TEST(Condition, a_draw_is_within_the_ceiling_only_where_all_that_was_drawn_is_known) {
    Season season;
    season.study.brief.blood.ceiling_ml_per_kg = 1.5;
    const auto fish = season.fish();
    const auto draws = [&] { return answer_condition(season.study, season.plates).fish.at(0).draws; };
    season.blood(fish, "14T11:00").volume_ml = 0.5;
    ASSERT_THAT(draws(), SizeIs(1));
    EXPECT_EQ(draws()[0].is_over_ceiling, false);

    season.study.tables.sheets.blood_refused = 1;
    EXPECT_EQ(draws()[0].is_over_ceiling, std::nullopt);
    EXPECT_THAT(draws()[0].notes, testing::Contains(HasSubstr("not known: a row of blood.csv is left out")));
    season.study.tables.sheets.blood_refused = 0;
    season.blood(study::FishId("nobody"), "14T11:00").volume_ml = 0.5;
    EXPECT_EQ(draws()[0].is_over_ceiling, std::nullopt) << "whose was it?";
    season.study.tables.sheets.blood.pop_back();

    season.blood(fish, "14T10:30"); // of an unknown volume, and it counts for those after it
    ASSERT_THAT(draws(), SizeIs(2));
    EXPECT_EQ(draws()[0].is_over_ceiling, std::nullopt);
    EXPECT_EQ(draws()[1].is_over_ceiling, std::nullopt);
    season.study.tables.sheets.blood.back().volume_ml = 1.0;
    EXPECT_EQ(draws()[0].is_over_ceiling, false);
    EXPECT_EQ(draws()[1].is_over_ceiling, true);

    season.study.tables.fish[0].mass.reset();
    EXPECT_EQ(draws()[1].is_over_ceiling, std::nullopt);
    EXPECT_THAT(draws()[1].notes, testing::Contains(HasSubstr("the fish was not weighed")));
}

// Blood that was drawn is gone from the fish, whatever is wrong with its row.
TEST(Condition, a_draw_left_out_for_its_date_counts_towards_the_ceiling) {
    Season season;
    season.study.brief.blood.ceiling_ml_per_kg = 1.5;
    const auto fish = season.fish();
    season.blood(fish, "14T09:00").volume_ml = 1.0; // before it was met at 10:00
    season.blood(fish, "14T11:00").volume_ml = 0.5;
    const auto answers = answer_condition(season.study, season.plates);
    EXPECT_THAT(answers.sheets.blood, SizeIs(1));
    const auto& draws = answers.fish.at(0).draws;
    ASSERT_THAT(draws, SizeIs(2));
    EXPECT_THAT(draws[0].notes, ElementsAre(HasSubstr("its volume counts all the same: blood.csv, line 2")));
    EXPECT_NEAR(*draws[1].drawn_ml_per_kg, 1.5 / 0.95, 1e-12);
    EXPECT_EQ(draws[1].is_over_ceiling, true);
}

TEST(Condition, lost_gill_beat_and_bleeding_of_a_swallowed_hook_bring_up_the_reminder) {
    Season season;
    const auto fish = season.fish();
    season.study.tables.encounters[0].hook_location = "Swallowed";
    study::BodyRow wound;
    wound.fish = fish;
    wound.part = study::ScoredPart::hook_wound;
    wound.score = "moderate";
    season.study.tables.sheets.body.push_back(wound);
    study::ReflexRow beat;
    beat.fish = fish;
    beat.at = at("14T10:05");
    beat.test = "gill beat";
    beat.is_there = false;
    season.study.tables.sheets.reflexes.push_back(beat);
    EXPECT_THAT(answer_condition(season.study, season.plates).fish.at(0).reminders,
                testing::UnorderedElementsAre(HasSubstr("gill beat lost"),
                                              HasSubstr("bleeding where the hook sat deep")));
}

TEST(Condition, where_nobody_looked_there_is_no_mortality) {
    Season season;
    season.cortisol(season.fish(), 3.0);
    EXPECT_THAT(season.chapter().mortality, IsEmpty());
    EXPECT_FALSE(Season().chapter().has_any);
}

// Met at 10:00; alive at 20:00, found dead at 06:00: between 10 and 20 h. The other lives at 50 h.
TEST(Condition, hours_to_death_lie_between_two_looks) {
    Season season;
    const auto dead = season.fish();
    season.fate(dead, FateKind::dead, "15T06:00", "14T20:00");
    const auto alive = season.fish();
    season.fate(alive, FateKind::seen_alive, "16T12:00");
    season.fish();
    const auto answers = answer_condition(season.study, season.plates);
    const auto between = death_cell(answers.fish[0]);
    const auto* within = std::get_if<findings::Within>(&between);
    ASSERT_NE(within, nullptr);
    EXPECT_DOUBLE_EQ(within->lower, 10.0);
    EXPECT_DOUBLE_EQ(within->upper, 20.0);
    const auto beyond = death_cell(answers.fish[1]);
    const auto* at_least = std::get_if<findings::Within>(&beyond);
    ASSERT_NE(at_least, nullptr);
    EXPECT_DOUBLE_EQ(at_least->lower, 50.0);
    EXPECT_TRUE(std::isinf(at_least->upper));
    EXPECT_TRUE(std::holds_alternative<findings::Absent>(death_cell(answers.fish[2])));
}

// The first draw after capture counts, in the matter that most fish have it of.
TEST(Condition, values_of_two_matters_are_not_put_together) {
    Season season;
    const auto plasma = season.fish();
    season.cortisol(plasma, 3.0);
    season.cortisol(season.fish(), 4.0);
    const auto other = season.fish();
    season.cortisol(other, 5.0);
    season.study.tables.sheets.blood.back().matrix = condition::Matrix::whole_blood;
    const auto answers = answer_condition(season.study, season.plates);
    const auto matrices = matrices_of(answers);
    findings::Observations rows("fish", "fish");
    for (std::size_t i = 0; i < 3; ++i) {
        set_blood(rows, rows.add_row("F", "F"), answers.fish[i], matrices);
    }
    const auto& cells = rows.column("cortisol_ng_per_ml")->cells;
    EXPECT_DOUBLE_EQ(std::get<findings::Value>(cells[0]).value, 3.0);
    EXPECT_THAT(std::get<findings::Absent>(cells[2]).why, HasSubstr("not measured in plasma"));
}

} // namespace
} // namespace backeddy::app::detail
