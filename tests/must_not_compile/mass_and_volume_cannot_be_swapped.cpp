// refused: could not convert|no viable conversion|cannot convert|no matching function
#include "quantity/quantity.hpp"

using namespace backeddy;

Volume water(Volume chamber, Mass fish, Density density) {
    return chamber - fish / density;
}

Volume left() {
    const auto chamber = Volume::litres(9.8);
    const auto fish = Mass::kilograms(0.8);
#ifdef MUST_NOT_COMPILE
    return water(fish, chamber, Density::kg_per_l(1.0));
#else
    return water(chamber, fish, Density::kg_per_l(1.0));
#endif
}
