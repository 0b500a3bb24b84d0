#include "instruments/backoff.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::instruments {

namespace {
constexpr double first_s = 1.0;
constexpr double longest_s = 24.0; // 30 s with the widest spread
constexpr int most_doublings = 5;  // 32 s is beyond the longest
} // namespace

Duration Backoff::next() {
    const double wait_s = std::min(std::ldexp(first_s, failures_), longest_s);
    failures_ = std::min(failures_ + 1, most_doublings);
    return Duration::seconds(wait_s * (0.75 + 0.5 * random_.uniform()));
}

} // namespace backeddy::instruments
