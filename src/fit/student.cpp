#include "fit/student.hpp"

#include <boost/math/distributions/students_t.hpp>

namespace backeddy::fit {

double two_sided_t(double level, double degrees_of_freedom) {
    return boost::math::quantile(boost::math::students_t(degrees_of_freedom), 0.5 * (1.0 + level));
}

} // namespace backeddy::fit
