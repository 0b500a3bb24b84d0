#include "faults.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::rig {
namespace {

using testing::HasSubstr;

Order order(std::string_view line, double now_s = 5.0) {
    auto read = parse_order(line, now_s, 4);
    if (!read) {
        ADD_FAILURE() << read.error().text();
        return {};
    }
    return *read;
}

std::string complaint(std::string_view line) {
    const auto read = parse_order(line, 0.0, 4);
    return read ? "understood" : read.error().text();
}

TEST(FaultOrder, names_moment_length_fault_chamber_and_amount) {
    const auto read = order("at 600 for 120 noise c3 0.5 # waves");
    EXPECT_EQ(read.what, Order::What::begin);
    EXPECT_EQ(read.fault.kind, FaultKind::noise);
    EXPECT_EQ(read.fault.chamber, 3U);
    EXPECT_EQ(read.fault.amount, 0.5);
    EXPECT_EQ(read.fault.from_s, 600.0);
    EXPECT_EQ(read.fault.to_s, 720.0);
}

TEST(FaultOrder, begins_now_for_ever_with_the_usual_amount_when_no_more_is_said) {
    const auto read = order("drift all");
    EXPECT_EQ(read.fault.chamber, 0U);
    EXPECT_EQ(read.fault.from_s, 5.0);
    EXPECT_EQ(read.fault.amount, 0.5);
    EXPECT_GT(read.fault.to_s, 1e300);
    EXPECT_EQ(order("disconnect").what, Order::What::begin);
    EXPECT_EQ(order("end drift c1").what, Order::What::end);
    EXPECT_EQ(order("quit").what, Order::What::quit);
    EXPECT_EQ(order(" # nothing").what, Order::What::nothing);
}

TEST(FaultOrder, every_fault_can_be_ordered_by_its_word) {
    for (const auto& meaning : fault_meanings()) {
        const auto line = std::string(meaning.word) + (meaning.whole_rig ? "" : " c1");
        EXPECT_EQ(order(line).fault.kind, meaning.kind) << line;
    }
}

TEST(FaultOrder, says_what_is_wrong_with_a_line) {
    EXPECT_THAT(complaint("ded_pump c1"), HasSubstr("did you mean \"dead_pump\"?"));
    EXPECT_THAT(complaint("dead_pump"), HasSubstr("\"dead_pump\" without a chamber; c1 to c4, or all"));
    EXPECT_THAT(complaint("dead_pump c5"), HasSubstr("chamber \"c5\"; c1 to c4, or all"));
    EXPECT_THAT(complaint("at soon dead_pump c1"), HasSubstr("at \"soon\"; seconds, 0 or more"));
    EXPECT_THAT(complaint("dead_pump c1 1 2"), HasSubstr("\"2\" at the end"));
    EXPECT_THAT(complaint("at"), HasSubstr("seconds, 0 or more"));
}

TEST(FaultPlan, is_active_from_its_beginning_to_before_its_end_in_its_chamber) {
    FaultPlan plan;
    plan.add(order("at 10 for 5 offset c2 3").fault);
    EXPECT_FALSE(plan.active(FaultKind::offset, 2, 9.9));
    EXPECT_EQ(plan.active(FaultKind::offset, 2, 10.0), 3.0);
    EXPECT_EQ(plan.since_s(FaultKind::offset, 2, 12.0), 10.0);
    EXPECT_FALSE(plan.active(FaultKind::offset, 2, 15.0));
    EXPECT_FALSE(plan.active(FaultKind::offset, 1, 12.0));
    EXPECT_FALSE(plan.active(FaultKind::drift, 2, 12.0));
}

TEST(FaultPlan, takes_the_last_of_two_and_ends_them_all) {
    FaultPlan plan;
    plan.add(order("at 0 offset all 1").fault);
    plan.add(order("at 0 offset c2 2").fault);
    EXPECT_EQ(plan.active(FaultKind::offset, 2, 1.0), 2.0);
    EXPECT_EQ(plan.active(FaultKind::offset, 1, 1.0), 1.0);
    plan.end(FaultKind::offset, 2, 3.0);
    EXPECT_EQ(plan.active(FaultKind::offset, 2, 4.0), 1.0) << "that of all goes on";
    plan.end(FaultKind::offset, 0, 5.0);
    EXPECT_FALSE(plan.active(FaultKind::offset, 2, 6.0));
}

} // namespace
} // namespace backeddy::rig
