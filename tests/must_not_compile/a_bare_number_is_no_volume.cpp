// refused: could not convert|no viable conversion|cannot convert|no matching function|is (private|protected)
// 9.8 of what? Litres have to be said.
#include "quantity/quantity.hpp"

using namespace backeddy;

double litres(Volume tube) {
    return tube.litres();
}

double tube() {
#ifdef MUST_NOT_COMPILE
    return litres(9.8);
#else
    return litres(Volume::litres(9.8));
#endif
}
