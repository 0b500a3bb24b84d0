// Times worked by hand.

#include "condition/handling.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::condition {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Instant at(double second) {
    return Instant::unix_seconds(1'781'424'000.0 + second);
}

HandlingMoment moment(double second, HandlingKind kind, double uncertainty_s = 2.0) {
    return {.kind = kind, .at = at(second), .uncertainty = Duration::seconds(uncertainty_s)};
}

// Fought 4 min, twice in air, sealed, next day chased and held in air once more, sealed again.
std::vector<HandlingMoment> two_days() {
    using enum HandlingKind;
    std::vector<HandlingMoment> out{
        moment(0, hook_up, 3.0),       moment(240, landed, 4.0),  moment(245, air_start),
        moment(265, air_end),          moment(280, air_start),    moment(290, air_end),
        moment(300, back_in_water),    moment(390, sealed, 1.5),  moment(90'000, chase_start),
        moment(90'240, chase_end),     moment(90'240, air_start), moment(90'270, air_end),
        moment(90'275, back_in_water), moment(90'300, sealed),
    };
    for (std::size_t i = 0; i < out.size(); ++i) {
        out[i].row = i;
    }
    return out;
}

void expect_time(const std::optional<Elapsed>& got, double seconds, double uncertainty) {
    ASSERT_TRUE(got);
    EXPECT_NEAR(got->seconds, seconds, 1e-9);
    ASSERT_TRUE(got->uncertainty_s);
    EXPECT_NEAR(*got->uncertainty_s, uncertainty, 1e-9);
}

void expect_two_days(const HandlingTimes& times) {
    expect_time(times.fight, 240.0, 5.0);
    expect_time(times.handling, 60.0, std::sqrt(20.0));
    expect_time(times.air, 30.0, 4.0); // four ends of 2 s
    expect_time(times.air_after_chase, 30.0, std::sqrt(8.0));
    expect_time(times.chase, 240.0, std::sqrt(8.0));
    expect_time(times.landed_to_sealed, 150.0, std::sqrt(16.0 + 2.25));
    expect_time(times.back_in_water_to_sealed, 90.0, 2.5);
    EXPECT_THAT(times.doubts, IsEmpty());
}

TEST(Handling, two_days_worked_by_hand) {
    expect_two_days(handling_times(two_days()));
}

TEST(Handling, the_order_of_the_rows_does_not_matter) {
    auto moments = two_days();
    std::mt19937 shuffler(3); // its bits are the standard's
    for (int i = 0; i < 50; ++i) {
        std::shuffle(moments.begin(), moments.end(), shuffler);
        expect_two_days(handling_times(moments));
    }
}

TEST(Handling, without_events_there_is_no_time_and_no_zero) {
    const auto times = handling_times({});
    EXPECT_FALSE(times.fight || times.air || times.handling || times.chase || times.landed_to_sealed);
    EXPECT_THAT(times.doubts, IsEmpty());
}

TEST(Handling, an_uncertainty_that_nobody_stated_is_none) {
    auto moments = two_days();
    moments[3].uncertainty.reset();
    const auto times = handling_times(moments);
    EXPECT_EQ(times.air->seconds, 30.0);
    EXPECT_FALSE(times.air->uncertainty_s);
    EXPECT_TRUE(times.air_after_chase->uncertainty_s);
}

HandlingTimes without(std::size_t row) {
    auto moments = two_days();
    moments.erase(moments.begin() + static_cast<std::ptrdiff_t>(row));
    return handling_times(moments);
}

TEST(Handling, an_air_spell_that_is_not_closed_leaves_no_sum) {
    const auto first = without(3);
    EXPECT_FALSE(first.air || first.air_after_chase);
    ASSERT_THAT(first.doubts, SizeIs(1));
    EXPECT_EQ(first.doubts[0].row, 2U);
    EXPECT_EQ(first.doubts[0].found,
              "air that started at 2026-06-14T08:04:05Z, and no end before it started again");
    const auto last = without(11);
    EXPECT_FALSE(last.air_after_chase);
    EXPECT_EQ(last.air, handling_times(two_days()).air); // that before the chase is whole
    EXPECT_THAT(last.doubts[0].found, HasSubstr("no end after it"));
    const auto no_start = without(2);
    EXPECT_FALSE(no_start.air);
    EXPECT_EQ(no_start.doubts[0].row, 3U);
    EXPECT_THAT(no_start.doubts[0].found, HasSubstr("no start before it"));
    EXPECT_TRUE(no_start.chase);
}

TEST(Handling, what_ends_before_it_starts_is_told) {
    auto moments = two_days();
    moments[1].at = at(-10); // landed before it was hooked
    const auto times = handling_times(moments);
    EXPECT_FALSE(times.fight);
    ASSERT_THAT(times.doubts, SizeIs(1));
    EXPECT_EQ(times.doubts[0].found, "landed before it was hooked");
    moments = two_days();
    moments[7].at = at(295); // sealed before it was back in water
    const auto sealed = handling_times(moments);
    EXPECT_FALSE(sealed.landed_to_sealed || sealed.back_in_water_to_sealed);
    ASSERT_THAT(sealed.doubts, SizeIs(1));
    EXPECT_EQ(sealed.doubts[0].found, "sealed before it was back in water");
    moments = two_days();
    moments[6].at = at(200); // back in water before it was landed
    EXPECT_EQ(handling_times(moments).doubts.at(0).found, "back in water before it was landed");
}

TEST(Handling, what_begins_with_a_chase_is_the_chases) {
    using enum HandlingKind;
    const std::vector<HandlingMoment> moments{
        moment(0, landed),    moment(10, back_in_water), moment(500, chase_start), moment(500, air_start),
        moment(520, air_end), moment(600, chase_end),    moment(700, sealed)};
    const auto times = handling_times(moments);
    EXPECT_FALSE(times.air);
    EXPECT_EQ(times.air_after_chase->seconds, 20.0);
    EXPECT_FALSE(times.landed_to_sealed ||
                 times.back_in_water_to_sealed); // sealed for the chase, not the capture
    EXPECT_THAT(times.doubts, IsEmpty());
}

TEST(Handling, two_landings_of_one_encounter_are_told) {
    auto moments = two_days();
    moments.push_back(moment(700, HandlingKind::landed));
    const auto times = handling_times(moments);
    EXPECT_FALSE(times.fight);
    ASSERT_THAT(times.doubts, SizeIs(1));
    EXPECT_EQ(times.doubts[0].found, "landed twice in one encounter");
}

TEST(Handling, disagreement_is_told_beyond_the_uncertainties_only) {
    const Elapsed events{240.0, 6.0};
    // 2 sqrt(36 + 64) = 20
    EXPECT_FALSE(disagreement("fight time", events, Elapsed{260.0, 8.0}));
    const auto told = disagreement("fight time", events, Elapsed{261.0, 8.0});
    ASSERT_TRUE(told);
    EXPECT_EQ(*told, "fight time: 240 s by the events, 261 s typed by hand; 21 s apart, and their "
                     "uncertainties allow 20 s. The events' time is used; mend the wrong one");
    // Both noted to the minute: 2 sqrt(2) 17.3 = 49.
    EXPECT_FALSE(disagreement("air", Elapsed{60.0, {}}, Elapsed{108.0, {}}));
    EXPECT_TRUE(disagreement("air", Elapsed{60.0, {}}, Elapsed{110.0, {}}));
    EXPECT_FALSE(disagreement("air", std::nullopt, Elapsed{110.0, {}}));
    EXPECT_THAT(*disagreement("air", std::nullopt, Elapsed{-1.0, {}}), HasSubstr("0 or more"));
}

TEST(Handling, no_time_is_kept_from_a_moment_that_is_doubted) {
    using enum HandlingKind;
    const auto early =
        handling_times(std::vector{moment(200, back_in_water), moment(300, landed), moment(400, sealed)});
    EXPECT_FALSE(early.handling || early.back_in_water_to_sealed || early.landed_to_sealed);
    EXPECT_EQ(early.doubts.size(), 1U);
    const auto late =
        handling_times(std::vector{moment(300, landed), moment(400, sealed), moment(500, back_in_water)});
    EXPECT_FALSE(late.handling || late.back_in_water_to_sealed || late.landed_to_sealed);
}

TEST(Handling, an_open_spell_after_the_chase_leaves_the_air_before_it) {
    using enum HandlingKind;
    const auto times =
        handling_times(std::vector{moment(10, air_start), moment(40, air_end), moment(500, chase_start),
                                   moment(520, chase_end), moment(530, air_start)});
    ASSERT_TRUE(times.air);
    EXPECT_NEAR(times.air->seconds, 30.0, 1e-6);
    EXPECT_FALSE(times.air_after_chase);
    EXPECT_EQ(times.doubts.size(), 1U);
}

} // namespace
} // namespace backeddy::condition
