#include "fit/student.hpp"

#include <gtest/gtest.h>

namespace backeddy::fit {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper critical values of Student's t: the
// columns 0.975 and 0.95.
TEST(Student, critical_values_are_those_of_the_table) {
    EXPECT_NEAR(two_sided_t(0.95, 1), 12.706, 5e-4);
    EXPECT_NEAR(two_sided_t(0.95, 5), 2.571, 5e-4);
    EXPECT_NEAR(two_sided_t(0.95, 23), 2.069, 5e-4);
    EXPECT_NEAR(two_sided_t(0.95, 100), 1.984, 5e-4);
    EXPECT_NEAR(two_sided_t(0.90, 10), 1.812, 5e-4);
}

} // namespace
} // namespace backeddy::fit
