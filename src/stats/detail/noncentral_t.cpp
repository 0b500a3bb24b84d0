#include "stats/detail/noncentral_t.hpp"

#include <cmath>

#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/students_t.hpp>

#include "stats/detail/root.hpp"

namespace backeddy::stats::detail {

namespace {

namespace bm = boost::math;
/// Tails below the smallest number are 0, not an exception.
using Quiet = bm::policies::policy<bm::policies::underflow_error<bm::policies::ignore_error>,
                                   bm::policies::overflow_error<bm::policies::ignore_error>,
                                   bm::policies::evaluation_error<bm::policies::ignore_error>>;
using NoncentralT = bm::non_central_t_distribution<double, Quiet>;

} // namespace

double noncentral_t_lower(double t, double freedom, double noncentrality) {
    return bm::cdf(NoncentralT(freedom, noncentrality), t);
}

double noncentral_t_upper(double t, double freedom, double noncentrality) {
    return bm::cdf(bm::complement(NoncentralT(freedom, noncentrality), t));
}

double noncentral_t_quantile(double p, double freedom, double noncentrality) {
    // P(T <= t) falls short of p far below the noncentrality and exceeds it far above.
    const auto lacks = [&](double t) { return p - noncentral_t_lower(t, freedom, noncentrality); };
    const double step = 1.0 + std::abs(noncentrality);
    return lacks(noncentrality) > 0.0
               ? root_beyond(lacks, noncentrality, step)
               : root_beyond([&](double t) { return -lacks(t); }, noncentrality, -step);
}

double noncentrality_of(double t, double freedom, double p) {
    const auto exceeds = [&](double nc) { return noncentral_t_lower(t, freedom, nc) - p; };
    const double step = 1.0 + (0.1 * std::abs(t));
    return exceeds(t) > 0.0 ? root_beyond(exceeds, t, step)
                            : root_beyond([&](double nc) { return -exceeds(nc); }, t, -step);
}

} // namespace backeddy::stats::detail
