// Sources: R 4.2.2, base only: binom.test for exact limits; Abbott's formula and Katz's interval by hand;
// Koopman's limits by uniroot on the score; stories by hand.

#include "condition/fate.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/turnbull.hpp"

namespace backeddy::condition {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

constexpr double infinite = std::numeric_limits<double>::infinity();

Instant at(double hour) {
    return Instant::unix_seconds(1'781'424'000.0 + (3600.0 * hour));
}

FateRecord record(double hour, FateKind kind, std::size_t row = 0) {
    FateRecord out;
    out.kind = kind;
    out.at = at(hour);
    out.row = row;
    return out;
}

FateRecord tag_record(double hour, FateKind kind, std::string serial, std::size_t row = 0) {
    auto out = record(hour, kind, row);
    out.tag = Tag{.type = "acoustic", .serial = std::move(serial), .place = TagPlace::implant};
    return out;
}

/// Held from 0, seen at 6 and 18 h, found dead at 30.
std::vector<FateRecord> held_and_died() {
    std::vector<FateRecord> out{record(0, FateKind::held, 1), record(6, FateKind::seen_alive, 2),
                                record(18, FateKind::seen_alive, 3), record(30, FateKind::dead, 4)};
    out[0].stage = FateStage::holding;
    out[3].stage = FateStage::holding;
    out[3].cause = "fungus";
    return out;
}

TEST(Fate, a_death_lies_between_two_looks) {
    const auto fate = fate_of(held_and_died());
    EXPECT_EQ(fate.ending, FateEnding::dead);
    EXPECT_EQ(*fate.last_alive, at(18));
    EXPECT_EQ(*fate.found_dead, at(30));
    EXPECT_EQ(*fate.stage, FateStage::holding);
    EXPECT_EQ(fate.cause, "fungus");
    EXPECT_THAT(fate.doubts, IsEmpty());
    const auto hours = hours_from(fate, at(0));
    ASSERT_TRUE(hours);
    EXPECT_DOUBLE_EQ(hours->lower, 18.0);
    EXPECT_DOUBLE_EQ(hours->upper, 30.0);
    const auto followed = follow_up(fate, at(0));
    EXPECT_DOUBLE_EQ(followed->time, 30.0);
    EXPECT_TRUE(followed->is_event);
}

TEST(Fate, alive_when_last_heard_of_is_censored_there) {
    const std::vector<FateRecord> records{record(2, FateKind::released), record(50, FateKind::detected)};
    const auto fate = fate_of(records);
    EXPECT_EQ(fate.ending, FateEnding::alive);
    EXPECT_EQ(*fate.released, at(2));
    const auto hours = hours_from(fate, *fate.released);
    EXPECT_DOUBLE_EQ(hours->lower, 48.0);
    EXPECT_EQ(hours->upper, infinite);
    EXPECT_FALSE(follow_up(fate, at(2))->is_event);
    // A receiver may have heard a dead fish, or what ate it.
    const auto careful = fate_of(records, {.is_detection_alive = false});
    EXPECT_EQ(*careful.last_alive, at(2));
    EXPECT_EQ(hours_from(careful, at(2)).error().code, ErrorCode::too_few);
}

TEST(Fate, a_loss_that_is_followed_by_life_is_over) {
    std::vector<FateRecord> records{record(0, FateKind::held), record(5, FateKind::lost)};
    records[1].last_alive = at(4);
    records[1].stage = FateStage::holding;
    records[1].cause = "escaped";
    const auto lost = fate_of(records);
    EXPECT_EQ(lost.ending, FateEnding::lost);
    EXPECT_EQ(*lost.last_alive, at(4)); // not the moment at which it was missed
    EXPECT_EQ(*lost.lost, at(5));
    EXPECT_EQ(lost.cause, "escaped");
    EXPECT_DOUBLE_EQ(hours_from(lost, at(0))->lower, 4.0);
    records.push_back(record(90, FateKind::recaptured));
    const auto back = fate_of(records);
    EXPECT_EQ(back.ending, FateEnding::alive);
    EXPECT_EQ(*back.last_alive, at(90));
    EXPECT_FALSE(back.lost);
    EXPECT_EQ(back.cause, "");
    EXPECT_THAT(back.doubts, IsEmpty());
}

TEST(Fate, life_after_death_is_told_and_does_not_count) {
    auto records = held_and_died();
    records.push_back(record(31, FateKind::released, 5));
    records.push_back(record(40, FateKind::detected, 6));
    records.push_back(record(41, FateKind::dead, 7));
    records.push_back(record(42, FateKind::tag_shed, 8)); // a tag off a dead fish is none
    const auto fate = fate_of(records);
    EXPECT_EQ(*fate.last_alive, at(18));
    EXPECT_EQ(*fate.found_dead, at(30));
    EXPECT_FALSE(fate.released);
    ASSERT_THAT(fate.doubts, SizeIs(3));
    EXPECT_EQ(fate.doubts[0].row, 5U);
    EXPECT_EQ(fate.doubts[0].found,
              "released at 2026-06-15T15:00:00Z, after it was found dead at 2026-06-15T14:00:00Z");
    EXPECT_THAT(fate.doubts[1].found, HasSubstr("detected at"));
    EXPECT_THAT(fate.doubts[2].found,
                HasSubstr("found dead at 2026-06-16T01:00:00Z, after it was found dead"));
}

TEST(Fate, last_alive_written_beside_a_death_counts_unless_it_cannot_be) {
    auto records = held_and_died();
    records[3].last_alive = at(29);
    EXPECT_EQ(*fate_of(records).last_alive, at(29));
    records[3].last_alive = at(30); // seen to die: the time itself
    const auto seen = hours_from(fate_of(records), at(0));
    EXPECT_EQ(seen->lower, seen->upper);
    records[3].last_alive = at(33);
    const auto wrong = fate_of(records);
    EXPECT_EQ(*wrong.last_alive, at(18));
    ASSERT_THAT(wrong.doubts, SizeIs(1));
    EXPECT_EQ(wrong.doubts[0].found, "last alive at 2026-06-15T17:00:00Z, after it was found dead");
}

TEST(Fate, a_tag_that_was_shed_or_not_yet_on_shows_no_life) {
    const std::vector<FateRecord> records{tag_record(-1, FateKind::detected, "A1", 0),
                                          tag_record(0, FateKind::tagged, "A1", 1),
                                          record(1, FateKind::released, 2),
                                          tag_record(10, FateKind::tag_shed, "A1", 3),
                                          tag_record(20, FateKind::detected, "A1", 4),
                                          tag_record(15, FateKind::tagged, "B2", 5),
                                          tag_record(16, FateKind::detected, "B2", 6)};
    const auto fate = fate_of(records);
    EXPECT_EQ(*fate.last_alive, at(16));
    ASSERT_THAT(fate.doubts, SizeIs(2));
    EXPECT_EQ(fate.doubts[0].row, 0U);
    EXPECT_THAT(fate.doubts[0].found, HasSubstr("did not have yet"));
    EXPECT_EQ(fate.doubts[1].row, 4U);
    EXPECT_THAT(fate.doubts[1].found, HasSubstr("had been shed"));
}

TEST(Fate, of_no_record_nothing_is_known) {
    const auto fate = fate_of({});
    EXPECT_EQ(fate.ending, FateEnding::alive);
    EXPECT_FALSE(fate.last_alive || fate.found_dead || fate.stage);
    EXPECT_EQ(hours_from(fate, at(0)).error().code, ErrorCode::too_few);
}

TEST(Fate, the_order_of_the_rows_does_not_matter) {
    std::mt19937 shuffler(7);
    Random random(8);
    for (int story = 0; story < 200; ++story) {
        std::vector<FateRecord> records;
        for (std::size_t i = 0; i < 8; ++i) {
            records.push_back(
                record(static_cast<double>(random.below(12)), static_cast<FateKind>(random.below(9)), i));
        }
        const auto first = fate_of(records);
        std::shuffle(records.begin(), records.end(), shuffler);
        const auto second = fate_of(records);
        EXPECT_EQ(first.ending, second.ending);
        EXPECT_EQ(first.last_alive, second.last_alive);
        EXPECT_EQ(first.found_dead, second.found_dead);
        EXPECT_EQ(first.lost, second.lost);
        EXPECT_EQ(first.doubts, second.doubts);
        // Whatever the rows say, what comes out does not contradict itself.
        EXPECT_TRUE(!first.found_dead || !first.last_alive || *first.last_alive <= *first.found_dead);
        EXPECT_EQ(first.ending == FateEnding::dead, first.found_dead.has_value());
        EXPECT_EQ(first.ending == FateEnding::lost, first.lost.has_value());
    }
}

TEST(Fate, goes_into_the_models_of_times) {
    const auto died = fate_of(held_and_died());
    const auto alive =
        fate_of(std::vector<FateRecord>{record(0, FateKind::held), record(48, FateKind::seen_alive)});
    stats::CensoredOutcome outcome;
    for (const auto& fate : {died, alive}) {
        const auto hours = hours_from(fate, at(0));
        ASSERT_TRUE(hours);
        outcome.lower.push_back(hours->lower);
        outcome.upper.push_back(hours->upper);
    }
    const auto curve = stats::turnbull(outcome);
    ASSERT_TRUE(curve) << curve.error().text();
    const auto beyond = stats::share_beyond(*curve, 40.0);
    EXPECT_NEAR(beyond.lower, 0.5, 1e-9); // one of two died by then
    EXPECT_NEAR(beyond.upper, 0.5, 1e-9);
    EXPECT_EQ(hours_from(died, at(30)).error().code, ErrorCode::bad_relation);
}

TEST(Fate, competes_by_its_cause) {
    const std::vector<std::string> fates{"hook wound", "fungus", "lost"};
    EXPECT_EQ(*fate_time(fate_of(held_and_died()), at(0), fates)->fate, 1U);
    auto lost = fate_of(std::vector<FateRecord>{record(0, FateKind::held), record(3, FateKind::seen_alive),
                                                record(5, FateKind::lost)});
    const auto as_fate = fate_time(lost, at(0), fates);
    EXPECT_EQ(*as_fate->fate, 2U);
    EXPECT_DOUBLE_EQ(as_fate->time, 5.0);
    const auto censored = fate_time(lost, at(0), {"fungus"});
    EXPECT_FALSE(censored->fate);
    EXPECT_DOUBLE_EQ(censored->time, 3.0);
    EXPECT_EQ(fate_time(fate_of(held_and_died()), at(0), {"predator"}).error().code, ErrorCode::unknown_name);
}

// ---- many fish

Fate dead_between(double from, double to) {
    Fate out;
    out.ending = FateEnding::dead;
    out.last_alive = at(from);
    out.found_dead = at(to);
    return out;
}

Fate alive_at(double hour) {
    Fate out;
    out.last_alive = at(hour);
    return out;
}

// R: binom.test(2, 7)$conf.int
TEST(Mortality, counts_only_what_is_known_at_the_horizon) {
    const std::vector<Fate> fates{
        dead_between(1, 4), dead_between(20, 24), dead_between(18, 30), alive_at(24), dead_between(30, 40),
        alive_at(90),       alive_at(23),         alive_at(48),         alive_at(25), Fate{}};
    const std::vector<Instant> origins(fates.size(), at(0));
    const auto got = mortality(fates, origins, Duration::hours(24.0));
    ASSERT_TRUE(got) << got.error().text();
    EXPECT_EQ(got->share.count, 2U);
    EXPECT_EQ(got->share.of, 7U);
    EXPECT_EQ(got->unknown, 3U);
    ASSERT_TRUE(got->proportion);
    EXPECT_NEAR(got->proportion->exact.lower, 0.036692566176085559, 1e-9);
    EXPECT_NEAR(got->proportion->exact.upper, 0.709579136262657340, 1e-9);
    EXPECT_DOUBLE_EQ(got->can_be.lower, 0.2);
    EXPECT_DOUBLE_EQ(got->can_be.upper, 0.5);
}

// R: binom.test(0, 12)$conf.int, binom.test(3, 30)$conf.int
TEST(Mortality, exact_limits_are_those_of_r) {
    for (const auto& [dead, of, lower, upper] :
         {std::tuple{0U, 12U, 0.0, 0.26464846939705111},
          std::tuple{3U, 30U, 0.02111713702972258, 0.26528845047420813}}) {
        std::vector<Fate> fates(dead, dead_between(1, 2));
        fates.resize(of, alive_at(30));
        const auto got = mortality(fates, std::vector<Instant>(of, at(0)), Duration::hours(24.0));
        EXPECT_NEAR(got->proportion->exact.lower, lower, 1e-9);
        EXPECT_NEAR(got->proportion->exact.upper, upper, 1e-9);
    }
}

TEST(Mortality, of_fish_of_which_nothing_is_known_is_from_none_to_all) {
    const auto got = mortality(std::vector<Fate>{Fate{}}, std::vector<Instant>{at(0)}, Duration::hours(24.0));
    ASSERT_TRUE(got);
    EXPECT_FALSE(got->proportion);
    EXPECT_EQ(got->can_be.lower, 0.0);
    EXPECT_EQ(got->can_be.upper, 1.0);
}

TEST(Mortality, refuses_what_it_cannot_count) {
    const std::vector<Fate> one{alive_at(30)};
    EXPECT_EQ(mortality(one, {}, Duration::hours(1.0)).error().code, ErrorCode::bad_relation);
    EXPECT_EQ(mortality({}, {}, Duration::hours(1.0)).error().code, ErrorCode::too_few);
    EXPECT_EQ(mortality(one, std::vector<Instant>{at(0)}, Duration()).error().code, ErrorCode::bad_setting);
    const auto early =
        mortality(std::vector<Fate>{dead_between(-3, -1)}, std::vector<Instant>{at(0)}, Duration::hours(1.0));
    EXPECT_THAT(early.error().text(), HasSubstr("fish 1: found dead at"));
}

// 12 of 30 dead, 3 of 28 controls: (0.4 - 3/28) / (1 - 3/28) = 0.328; intervals by R.
TEST(ControlCorrected, agrees_with_abbotts_formula_and_r) {
    const auto got = control_corrected({12, 30}, {3, 28});
    ASSERT_TRUE(got) << got.error().text();
    const double p = 12.0 / 30.0;
    const double c = 3.0 / 28.0;
    EXPECT_NEAR(got->value, (p - c) / (1.0 - c), 1e-14);
    EXPECT_NEAR(got->value, 0.328, 1e-12);
    EXPECT_NEAR(got->log_interval->lower, 0.07539637203361893, 1e-9);
    EXPECT_NEAR(got->log_interval->upper, 0.51159179313060221, 1e-9);
    EXPECT_NEAR(got->interval.lower, 0.093221080454523486, 1e-7);
    EXPECT_NEAR(got->interval.upper, 0.533273824519370221, 1e-7);
}

TEST(ControlCorrected, at_its_edges) {
    EXPECT_EQ(control_corrected({0, 20}, {0, 20})->value, 0.0);
    EXPECT_EQ(control_corrected({5, 20}, {0, 20})->value, 0.25);                // nothing to correct for
    EXPECT_NEAR(control_corrected({0, 20}, {5, 20})->value, -1.0 / 3.0, 1e-12); // kept below 0
    const auto all = control_corrected({20, 20}, {2, 20});
    EXPECT_EQ(all->value, 1.0);
    EXPECT_FALSE(all->log_interval);
    EXPECT_EQ(all->interval.upper, 1.0);
    EXPECT_LT(all->interval.lower, 1.0);
    EXPECT_EQ(control_corrected({3, 20}, {20, 20}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(control_corrected({21, 20}, {2, 20}).error().code, ErrorCode::out_of_range);
}

// R: 2 b / (1 + b) of binom.test(18, 22); 2 * 18 / (2 * 18 + 4) = 0.9
TEST(TagRetention, from_fish_with_two_tags) {
    const auto got = tag_retention(18, 4);
    ASSERT_TRUE(got);
    EXPECT_NEAR(got->value, 0.9, 1e-14);
    EXPECT_NEAR(got->interval.lower, 0.74777277058805613, 1e-9);
    EXPECT_NEAR(got->interval.upper, 0.97337589000270297, 1e-9);
    EXPECT_EQ(tag_retention(0, 0).error().code, ErrorCode::too_few);
    EXPECT_EQ(tag_retention(9, 0)->value, 1.0);
}

// The truth recovered: tags that stay on with 0.8, two a fish, fish without any unseen.
TEST(TagRetention, covers_the_truth) {
    constexpr int studies = 2000;
    int held = 0;
    for (int s = 0; s < studies; ++s) {
        Random random(9, static_cast<std::uint64_t>(s));
        std::uint64_t both = 0;
        std::uint64_t one = 0;
        for (int fish = 0; fish < 40; ++fish) {
            const int kept = (random.uniform() < 0.8 ? 1 : 0) + (random.uniform() < 0.8 ? 1 : 0);
            both += kept == 2 ? 1 : 0;
            one += kept == 1 ? 1 : 0;
        }
        held += tag_retention(both, one)->interval.holds(0.8) ? 1 : 0;
    }
    EXPECT_GE(held, 0.945 * studies); // exact: at least 95 %, standard error 0.5 %
    EXPECT_LT(held, 0.995 * studies);
}

TEST(TagsLeft, are_those_of_a_fish_in_hand_again_that_was_given_two) {
    const auto left = [](std::vector<FateRecord> more) {
        std::vector<FateRecord> records{tag_record(0, FateKind::tagged, "A1"),
                                        tag_record(0, FateKind::tagged, "A2")};
        records.insert(records.end(), more.begin(), more.end());
        return tags_left(records);
    };
    EXPECT_THAT(left({}), IsEmpty()) << "nobody saw it again";
    EXPECT_THAT(left({tag_record(9, FateKind::detected, "A1"), record(9, FateKind::seen_alive)}), IsEmpty())
        << "nobody had it in hand";
    ASSERT_THAT(left({record(90, FateKind::recaptured)}), SizeIs(1));
    EXPECT_EQ(left({record(90, FateKind::recaptured)})[0].left, 2U);
    EXPECT_EQ(left({record(90, FateKind::dead)})[0].type, "acoustic");
    EXPECT_EQ(left({record(90, FateKind::recaptured), tag_record(90, FateKind::tag_shed, "A2")})[0].left, 1U);
    EXPECT_EQ(
        left({tag_record(80, FateKind::tag_shed, "A2"), tag_record(90, FateKind::tag_shed, "A2")})[0].left,
        1U)
        << "one tag, told twice";
    EXPECT_EQ(
        left({tag_record(80, FateKind::tag_shed, "A2"), tag_record(90, FateKind::tag_shed, "A1")})[0].left,
        0U);
    EXPECT_EQ(left({record(90, FateKind::recaptured), tag_record(90, FateKind::tag_shed, "B7")})[0].left, 2U)
        << "another tag";
    EXPECT_THAT(left({tag_record(0, FateKind::tagged, "A3"), record(90, FateKind::recaptured)}), IsEmpty())
        << "three tags are no pair";
    EXPECT_EQ(left({tag_record(1, FateKind::tagged, "A1"), record(90, FateKind::recaptured)})[0].left, 2U)
        << "the same tag, written twice";
    EXPECT_THAT(
        tags_left(std::vector{tag_record(0, FateKind::tagged, "A1"), record(90, FateKind::recaptured)}),
        IsEmpty());
}

TEST(Fate, a_tag_outside_that_was_shed_is_not_one_inside) {
    const std::vector<FateRecord> records{
        {.kind = FateKind::tag_shed, .at = at(50), .tag = Tag{.place = TagPlace::external}, .row = 1},
        {.kind = FateKind::detected,
         .at = at(100),
         .tag = Tag{.serial = "123", .place = TagPlace::implant},
         .row = 2}};
    const auto fate = fate_of(records);
    EXPECT_TRUE(fate.doubts.empty());
    EXPECT_EQ(fate.last_alive, at(100));
}

TEST(Fate, of_two_losses_the_first_stands_and_life_after_one_ends_it) {
    std::vector<FateRecord> records{{.kind = FateKind::lost, .at = at(10), .cause = "escaped", .row = 1},
                                    {.kind = FateKind::lost, .at = at(30), .cause = "line cut", .row = 2}};
    const auto twice = fate_of(records);
    EXPECT_EQ(twice.lost, at(10));
    EXPECT_EQ(twice.cause, "escaped");
    EXPECT_EQ(twice.doubts.size(), 1U);
    records[1].last_alive = at(20); // seen between them: the first loss was over
    const auto seen = fate_of(records);
    EXPECT_EQ(seen.lost, at(30));
    EXPECT_EQ(seen.cause, "line cut");
    EXPECT_TRUE(seen.doubts.empty());
}

TEST(Mortality, a_fish_dead_at_the_very_beginning_counts_as_dead) {
    Fate at_once;
    at_once.ending = FateEnding::dead;
    at_once.found_dead = at(0);
    Fate lives;
    lives.last_alive = at(48);
    const std::vector<Fate> fates{at_once, lives};
    const auto got = mortality(fates, std::vector<Instant>(2, at(0)), Duration::hours(24.0));
    ASSERT_TRUE(got) << got.error().text();
    EXPECT_EQ(got->share.count, 1U);
    EXPECT_EQ(got->share.of, 2U);
    EXPECT_EQ(follow_up(at_once, at(0)).error().code, ErrorCode::bad_relation);
    EXPECT_EQ(follow_up(Fate{}, at(0)).error().code, ErrorCode::too_few);
}

TEST(ControlCorrected, limits_on_the_log_scale_need_deaths_in_both_groups) {
    // Katz 1978: the variance of a survival of 1 is 0 by the formula, which would call it certain.
    EXPECT_FALSE(control_corrected({0, 10}, {0, 12})->log_interval);
    EXPECT_FALSE(control_corrected({5, 30}, {0, 30})->log_interval);
    EXPECT_TRUE(control_corrected({5, 30}, {1, 30})->log_interval);
}

} // namespace
} // namespace backeddy::condition
