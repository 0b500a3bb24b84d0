#include "stats/table.hpp"

#include <gtest/gtest.h>

namespace backeddy::stats {
namespace {

TEST(Table, levels_are_alphabetical_or_as_told_and_unused_ones_are_gone) {
    Table table({"1", "2", "3"});
    ASSERT_TRUE(table.add_factor("rig", {"b", "a", "b"}));
    EXPECT_EQ(table.factor("rig").levels, (std::vector<std::string>{"a", "b"}));
    EXPECT_EQ(table.factor("rig").codes, (std::vector<std::size_t>{1, 0, 1}));
    ASSERT_TRUE(table.add_factor("score", {"low", "high", "low"}, {"low", "middle", "high"}));
    EXPECT_EQ(table.factor("score").levels, (std::vector<std::string>{"low", "high"}));
    EXPECT_EQ(table.factor("score").codes, (std::vector<std::size_t>{0, 1, 0}));
    EXPECT_EQ(table.add_factor("air", {"yes", "no", "maybe"}, {"no", "yes"}).error().text(),
              "\"air\" of 3 is \"maybe\"; one of no, yes; add it to the levels, or mend the cell");
    EXPECT_EQ(table.add_factor("rig", {"b", "a", "b"}).error().code, ErrorCode::duplicate);
    EXPECT_EQ(table.add_numbers("mass", {1.0}).error().code, ErrorCode::bad_row);
}

TEST(Table, numbers_without_a_gap_have_none) {
    Table table({"1", "2"});
    const std::vector<std::optional<double>> full{1.0, 2.0};
    ASSERT_TRUE(table.add_numbers("mass", full));
    EXPECT_FALSE(table.has_missing("mass"));
    const std::vector<std::optional<std::string>> rigs{std::nullopt, "a"};
    ASSERT_TRUE(table.add_factor("rig", rigs));
    EXPECT_TRUE(table.has_missing("rig"));
    EXPECT_EQ(table.complete_rows({"mass", "rig"})->left_out.at(0).column, "rig");
    EXPECT_EQ(table.complete_rows({"rigs"}).error().code, ErrorCode::unknown_name);
}

TEST(Table, nested_levels_are_told_apart) {
    Table table({"1", "2", "3", "4"});
    ASSERT_TRUE(table.add_factor("tank", {"a", "a", "b", "b"}));
    ASSERT_TRUE(table.add_factor("fish", {"1", "2", "1", "2"}));
    const auto nested = with_nested(table, "tank", "fish", "fish in tank");
    ASSERT_TRUE(nested);
    EXPECT_EQ(nested->factor("fish in tank").levels,
              (std::vector<std::string>{"a / 1", "a / 2", "b / 1", "b / 2"}));
}

} // namespace
} // namespace backeddy::stats
