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

} // namespace
} // namespace backeddy::condition
