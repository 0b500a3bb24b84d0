#include "condition/plate_well.hpp"

#include <gtest/gtest.h>

namespace backeddy::condition {
namespace {

TEST(PlateWell, is_named_by_its_row_and_column) {
    EXPECT_EQ(well_name(1, 1), "A1");
    EXPECT_EQ(well_name(3, 7), "C7");
    EXPECT_EQ(well_name(8, 12), "H12");
    EXPECT_EQ(well_name(27, 48), "AA48");
}

TEST(PlateWell, is_found_again_by_its_name) {
    for (std::size_t row = 1; row <= 64; ++row) {
        for (std::size_t column = 1; column <= 96; ++column) {
            EXPECT_EQ(well_place(well_name(row, column)), (WellPlace{.row = row, .column = column}));
        }
    }
    EXPECT_EQ(well_place("c07"), (WellPlace{.row = 3, .column = 7}));
    for (const char* none :
         {"", "C", "7", "7C", "C0", "C00", "C-1", "C+1", "C7 ", " C7", "C1000", "AAA1", "C7a", "Å7"}) {
        EXPECT_FALSE(well_place(none).has_value()) << none;
    }
    EXPECT_EQ(row_of_letters("AA"), 27U);
    EXPECT_FALSE(row_of_letters("").has_value());
}

} // namespace
} // namespace backeddy::condition
