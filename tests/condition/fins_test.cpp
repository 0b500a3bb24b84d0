// Sources: Cohen 1960 and 1968 (kappa of .492), Fleiss, Cohen and Everitt 1969 (.429): tables and values from
// memory; R 4.2.2, base only: kappa by its formula, its error by the delta method with numeric derivatives
// over the multinomial.

#include "condition/fins.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::condition {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

OrdinalScale four_levels() {
    return {{"whole", "frayed edge", "split", "part missing"}};
}

std::vector<FinScore> scores(std::initializer_list<std::optional<std::size_t>> levels) {
    std::vector<FinScore> out;
    for (const auto& level : levels) {
        out.push_back({.fin = rayed_fins.at(out.size()), .level = level});
    }
    return out;
}

TEST(OrdinalScale, reads_words_and_numbers) {
    EXPECT_EQ(*level_of(four_levels(), "Split"), 2U);
    EXPECT_EQ(*level_of(four_levels(), "3"), 3U);
    EXPECT_EQ(level_of(four_levels(), "splt").error().text(),
              "\"splt\" as a level; 0 to 3 or one of whole, frayed edge, split, part missing; write "
              "split?");
    EXPECT_EQ(level_of(four_levels(), "4").error().code, ErrorCode::unknown_name);
    EXPECT_EQ(level_of({{"one", "One"}}, "one").error().code, ErrorCode::bad_setting);
}

TEST(FinIndex, of_a_whole_sheet) {
    const auto index = fin_index(scores({0, 3, 1, 2, 2, 0, 1}), four_levels());
    ASSERT_TRUE(index) << index.error().text();
    EXPECT_EQ(*index->sum, 9U);
    EXPECT_NEAR(*index->mean, 9.0 / 7.0, 1e-15);
    EXPECT_EQ(*index->worst, 3U);
    EXPECT_THAT(index->words, IsEmpty());
}

TEST(FinIndex, what_is_missing_stays_missing) {
    auto some = scores({0, 3, {}, 2, 2});
    some.push_back({.fin = Fin::adipose, .level = 3}); // not one of those asked for
    const auto few = fin_index(some, four_levels());
    EXPECT_EQ(few->scored, 4U);
    EXPECT_FALSE(few->mean || few->sum);
    EXPECT_EQ(*few->worst, 3U);
    EXPECT_THAT(few->missing, ElementsAre("anal", "left pelvic", "right pelvic"));
    EXPECT_EQ(few->words,
              "4 of 7 scored; missing: anal, left pelvic, right pelvic; under 5, too few for a mean");
    const auto enough = fin_index(some, four_levels(), {.least = 4});
    EXPECT_NEAR(*enough->mean, 7.0 / 4.0, 1e-15);
    EXPECT_FALSE(enough->sum);
}

TEST(FinIndex, refuses_two_scores_of_one_fin_and_levels_off_the_scale) {
    auto twice = scores({0, 3});
    twice.push_back(twice.front());
    EXPECT_EQ(fin_index(twice, four_levels()).error().code, ErrorCode::duplicate);
    EXPECT_EQ(fin_index(scores({4}), four_levels()).error().text(),
              "a level of 4 for dorsal; 0 (whole) to 3 (part missing)");
    EXPECT_EQ(fin_index({}, four_levels(), {.least = 8}).error().code, ErrorCode::bad_setting);
}

TEST(ScaleLoss, has_an_index_over_its_areas) {
    const std::vector areas{BodyArea::left_flank, BodyArea::right_flank};
    const std::vector<BodyScore> seen{{BodyArea::left_flank, 2}, {BodyArea::right_flank, 1}};
    const auto index = scale_loss_index(seen, four_levels(), areas, 2);
    ASSERT_TRUE(index);
    EXPECT_EQ(*index->sum, 3U);
    EXPECT_DOUBLE_EQ(*index->mean, 1.5);
}

TEST(FinChanges, are_of_fins_scored_both_times) {
    const auto changes = fin_changes(scores({0, 3, {}, 2}), scores({2, 1, 1}));
    ASSERT_EQ(changes.size(), 2U);
    EXPECT_EQ(changes[0].fin, Fin::dorsal);
    EXPECT_EQ(changes[0].steps, 2);
    EXPECT_EQ(changes[1].steps, -2);
}

TEST(FinMarks, are_counted_of_those_looked_at) {
    auto seen = scores({0, 1, 2});
    seen[0].is_split = true;
    seen[1].is_split = false;
    seen[2].has_net_marks = true;
    const auto marks = fin_marks(seen);
    EXPECT_EQ(marks.split.count, 1U);
    EXPECT_EQ(marks.split.of, 2U);
    EXPECT_EQ(marks.frayed.of, 0U); // nobody looked
    EXPECT_EQ(marks.net_marks.count, 1U);
    EXPECT_EQ(marks.net_marks.of, 1U);
}

TEST(HookPlace, deep_ones_are_those_that_kill) {
    EXPECT_TRUE(is_deep(HookPlace::gills) && is_deep(HookPlace::gullet) && is_deep(HookPlace::tongue));
    EXPECT_FALSE(is_deep(HookPlace::jaw_corner) || is_deep(HookPlace::outside) || is_deep(HookPlace::eye));
}

// ---- two scorers

using Table = std::vector<std::vector<int>>;

std::vector<ScoredTwice> pairs_of(const Table& table) {
    std::vector<ScoredTwice> out;
    for (std::size_t a = 0; a < table.size(); ++a) {
        for (std::size_t b = 0; b < table.size(); ++b) {
            for (int i = 0; i < table[a][b]; ++i) {
                out.push_back({"F" + std::to_string(out.size()), a, b});
            }
        }
    }
    return out;
}

TEST(ScorerAgreement, published_tables_have_their_published_kappa) {
    using stats::KappaWeights;
    struct Row {
        Table table;
        KappaWeights weights;
        double value;
        double se;
    };
    const Table cohen{{88, 10, 2}, {14, 40, 6}, {18, 10, 12}};
    const Table fleiss{{106, 10, 4}, {22, 28, 10}, {2, 12, 6}};
    for (const auto& row :
         {Row{cohen, KappaWeights::none, 0.49152542372881347, 0.051001815577351027},
          Row{cohen, KappaWeights::linear, 0.47368421052631593, 0.054432309178893662},
          Row{cohen, KappaWeights::quadratic, 0.45454545454545431, 0.066453681590713215},
          Row{fleiss, KappaWeights::none, 0.42857142857142871, 0.05371100486948735},
          Row{fleiss, KappaWeights::linear, 0.49230769230769245, 0.050718607605700315},
          Row{fleiss, KappaWeights::quadratic, 0.56666666666666698, 0.055666340159238922}}) {
        const auto got =
            scorer_agreement(pairs_of(row.table), {{"a", "b", "c"}}, {.weights = row.weights, .draws = 4000});
        ASSERT_TRUE(got) << got.error().text();
        EXPECT_NEAR(got->kappa.value, row.value, 1e-12);
        EXPECT_NEAR(got->kappa.se, row.se, 1e-8);
        // One pair a fish: drawing fish is drawing pairs, and the two intervals are nearly one.
        ASSERT_TRUE(got->interval);
        EXPECT_NEAR(got->interval->lower, got->kappa.interval->lower, 0.2 * row.se);
        EXPECT_NEAR(got->interval->upper, got->kappa.interval->upper, 0.2 * row.se);
        EXPECT_EQ(got->fish, 200U);
        EXPECT_THAT(got->words, IsEmpty());
    }
    // As printed.
    EXPECT_NEAR(
        scorer_agreement(pairs_of(cohen), {{"a", "b", "c"}}, {.weights = KappaWeights::none})->kappa.value,
        0.492, 5e-4);
    EXPECT_NEAR(
        scorer_agreement(pairs_of(fleiss), {{"a", "b", "c"}}, {.weights = KappaWeights::none})->kappa.value,
        0.429, 5e-4);
}

/// Seven fins a fish; how hard a fish is to score goes through all of its fins.
std::vector<ScoredTwice> seven_fins(std::size_t fish, Random& random) {
    std::vector<ScoredTwice> out;
    for (std::size_t f = 0; f < fish; ++f) {
        const double hurt = 1.5 + random.normal();
        const double doubt = random.uniform() < 0.4 ? 1.5 : 0.2; // fish that are easy, and fish that are not
        for (int fin = 0; fin < 7; ++fin) {
            const double truth = hurt + (0.4 * random.normal());
            const auto seen = [&] {
                return static_cast<std::size_t>(
                    std::clamp(std::round(truth + (doubt * random.normal())), 0.0, 3.0));
            };
            out.push_back({"F" + std::to_string(f), seen(), seen()});
        }
    }
    return out;
}

// Fins of one fish resemble each other: the interval that takes them for independent covers too rarely.
TEST(ScorerAgreement, drawing_whole_fish_covers_where_taking_fins_for_independent_does_not) {
    Random truth_from(5);
    const auto truth =
        scorer_agreement(seven_fins(40'000, truth_from), four_levels(), {.draws = 100})->kappa.value;
    constexpr int studies = 400;
    int by_fish = 0;
    int by_fin = 0;
    for (int s = 0; s < studies; ++s) {
        Random random(6, static_cast<std::uint64_t>(s));
        const auto got = scorer_agreement(seven_fins(30, random), four_levels(), {.draws = 400});
        ASSERT_TRUE(got && got->interval && got->kappa.interval);
        by_fish += got->interval->holds(truth) ? 1 : 0;
        by_fin += got->kappa.interval->holds(truth) ? 1 : 0;
    }
    EXPECT_GT(by_fish, 0.89 * studies); // 374 and 316: 380 expected, standard error 4, and few fish
    EXPECT_LT(by_fin, by_fish - 20);
}

TEST(ScorerAgreement, one_score_of_two_is_left_out_and_counted) {
    auto pairs = pairs_of({{3, 1}, {1, 3}});
    const auto all = scorer_agreement(pairs, {{"no", "yes"}});
    pairs.push_back({"X", 1, {}});
    pairs.push_back({"Y", {}, 0});
    const auto some = scorer_agreement(pairs, {{"no", "yes"}});
    EXPECT_EQ(some->left_out, 2U);
    EXPECT_EQ(some->kappa.value, all->kappa.value);
    EXPECT_EQ(some->same, 6U);
    EXPECT_EQ(some->words, "8 fish are few: both intervals are likely too narrow");
}

TEST(ScorerAgreement, the_order_of_the_rows_does_not_matter) {
    auto pairs = pairs_of({{7, 2, 0}, {3, 5, 1}, {0, 1, 6}});
    const auto first = scorer_agreement(pairs, {{"a", "b", "c"}});
    std::mt19937 shuffler(2);
    std::shuffle(pairs.begin(), pairs.end(), shuffler);
    const auto second = scorer_agreement(pairs, {{"a", "b", "c"}});
    EXPECT_EQ(first->interval->lower, second->interval->lower);
    EXPECT_EQ(first->interval->upper, second->interval->upper);
}

TEST(ScorerAgreement, few_or_perfect_give_no_interval_and_say_why) {
    const auto perfect = scorer_agreement(pairs_of({{5, 0}, {0, 5}}), {{"no", "yes"}});
    EXPECT_FALSE(perfect->interval);
    EXPECT_FALSE(perfect->kappa.interval);
    EXPECT_THAT(perfect->words, HasSubstr("no error can be found"));
    const auto few = scorer_agreement(pairs_of({{1, 1}, {1, 1}}), {{"no", "yes"}});
    EXPECT_FALSE(few->interval);
    EXPECT_THAT(few->words, HasSubstr("no interval by fish: 4 fish"));
    EXPECT_EQ(scorer_agreement(pairs_of({{1, 1}, {1, 1}}), {{"no", "yes"}}, {.draws = 10}).error().code,
              ErrorCode::bad_setting);
}

TEST(OrdinalScale, a_number_on_a_scale_of_numbers_is_a_word_of_it_or_nothing) {
    const OrdinalScale from_one{{"1", "2", "3", "4", "5"}};
    EXPECT_EQ(*level_of(from_one, "1"), 0U);
    EXPECT_EQ(*level_of(from_one, "5"), 4U);
    EXPECT_EQ(level_of(from_one, "0").error().code, ErrorCode::unknown_name);
    EXPECT_EQ(level_of(OrdinalScale{{"0", "2", "4"}}, "1").error().code, ErrorCode::unknown_name);
    EXPECT_EQ(*level_of(OrdinalScale{{"whole", "split"}}, "1"), 1U);
}

} // namespace
} // namespace backeddy::condition
