// refused: has no member named .mg_per_l|no member named .mg_per_l
// Per cent of air saturation is mg/L only at a temperature, a salinity and a pressure.
#include "quantity/quantity.hpp"

using namespace backeddy;

double read() {
#ifdef MUST_NOT_COMPILE
    return AirSaturation::percent(84.0).mg_per_l();
#else
    return AirSaturation::percent(84.0).fraction();
#endif
}
