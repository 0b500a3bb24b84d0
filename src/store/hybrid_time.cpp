#include "store/hybrid_time.hpp"

#include <algorithm>
#include <limits>

namespace backeddy::store {

namespace {

HybridTime next_after(HybridTime time) {
    if (time.count == std::numeric_limits<std::uint32_t>::max()) {
        return {.wall_us = time.wall_us + 1, .count = 0};
    }
    return {.wall_us = time.wall_us, .count = time.count + 1};
}

} // namespace

HybridTime tick(HybridTime last, std::int64_t wall_us) {
    return wall_us > last.wall_us ? HybridTime{.wall_us = wall_us, .count = 0} : next_after(last);
}

HybridTime receive(HybridTime last, HybridTime seen, std::int64_t wall_us) {
    // The paper's four cases in one: the later of the two, counted on, unless the wall is past both.
    return seen.wall_us - wall_us > most_ahead_us ? tick(last, wall_us) : tick(std::max(last, seen), wall_us);
}

} // namespace backeddy::store
