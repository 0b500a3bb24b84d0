// refused: no match for .operator\+|invalid operands to binary expression
#include "series/instant.hpp"

using namespace backeddy;

Instant later(Instant start) {
#ifdef MUST_NOT_COMPILE
    return start + Instant::unix_seconds(60.0);
#else
    return start + Duration::seconds(60.0);
#endif
}
