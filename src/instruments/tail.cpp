#include "instruments/tail.hpp"

#include <algorithm>

namespace backeddy::instruments {

void TailPlace::advance(std::string_view bytes) {
    offset_ += bytes.size();
    behind_ += bytes.substr(bytes.size() - std::min(bytes.size(), remembered));
    if (behind_.size() > remembered) {
        behind_.erase(0, behind_.size() - remembered);
    }
}

TailStep next_step(const TailPlace& place, const TailSeen& seen) {
    if (!seen.open) {
        return seen.under_path ? TailStep::open_the_path : TailStep::wait;
    }
    if (seen.size < place.offset() || seen.behind != place.behind()) {
        return TailStep::begin_anew;
    }
    if (seen.size > place.offset()) {
        return TailStep::read_on;
    }
    return seen.under_path && seen.under_path != seen.open ? TailStep::open_the_path : TailStep::wait;
}

} // namespace backeddy::instruments
