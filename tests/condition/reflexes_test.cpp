#include "condition/reflexes.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::condition {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

const std::vector<std::string> named{"righting", "tail grab", "gill beat", "eye turn"};

TEST(Reflexes, are_lost_over_tested) {
    const std::vector<ReflexTest> tests{
        {"eye turn", false}, {"righting", true}, {"gill beat", false}, {"tail grab", std::nullopt}};
    const auto got = reflex_impairment(named, tests);
    ASSERT_TRUE(got) << got.error().text();
    EXPECT_EQ(got->impaired, 1U);
    EXPECT_EQ(got->tested, 3U);
    EXPECT_THAT(got->missing, ElementsAre("tail grab"));
    EXPECT_DOUBLE_EQ(*got->share, 1.0 / 3.0);
    EXPECT_DOUBLE_EQ(got->can_be.lower, 0.25); // had the fourth been there
    EXPECT_DOUBLE_EQ(got->can_be.upper, 0.5);
}

TEST(Reflexes, of_none_tested_there_is_no_share) {
    const auto got = reflex_impairment(named, {});
    EXPECT_FALSE(got->share);
    EXPECT_EQ(got->missing, named);
    EXPECT_EQ(got->can_be.lower, 0.0);
    EXPECT_EQ(got->can_be.upper, 1.0);
}

TEST(Reflexes, that_nobody_named_are_refused) {
    EXPECT_EQ(reflex_impairment(named, std::vector<ReflexTest>{{"rightning", true}}).error().text(),
              "a reflex test \"rightning\"; one of righting, tail grab, gill beat, eye turn; write "
              "righting?");
    const std::vector<ReflexTest> twice{{"righting", true}, {"righting", false}};
    EXPECT_EQ(reflex_impairment(named, twice).error().code, ErrorCode::duplicate);
    EXPECT_EQ(reflex_impairment({}, {}).error().code, ErrorCode::bad_setting);
    EXPECT_EQ(reflex_impairment(std::vector<std::string>{"a", "a"}, {}).error().code, ErrorCode::bad_setting);
}

TEST(EndpointReminder, names_the_signs_and_leaves_the_decision) {
    const auto both = endpoint_reminder({.is_righting_lost = true, .bleeding = Bleeding::heavy});
    ASSERT_TRUE(both);
    EXPECT_THAT(*both, HasSubstr("righting lost, heavy bleeding: stop"));
    EXPECT_THAT(*both, HasSubstr("the permit's holder decides"));
    EXPECT_TRUE(endpoint_reminder({.bleeding = Bleeding::moderate, .hook = HookPlace::gills}));
    EXPECT_THAT(endpoint_reminder({.is_gill_beat_lost = true}).value_or(""),
                HasSubstr("gill beat lost: stop"));
    EXPECT_FALSE(endpoint_reminder({.is_gill_beat_lost = false}));
    EXPECT_FALSE(endpoint_reminder({.bleeding = Bleeding::moderate, .hook = HookPlace::jaw_corner}));
    EXPECT_FALSE(endpoint_reminder({.is_righting_lost = false, .bleeding = Bleeding::slight}));
    EXPECT_FALSE(endpoint_reminder({}));
}

} // namespace
} // namespace backeddy::condition
