// refused: no match for .operator\+|invalid operands to binary expression
// A temperature is a point: 12 degC and 13 degC make no 25 degC.
#include "quantity/quantity.hpp"

using namespace backeddy;

double sum() {
    const auto morning = Temperature::celsius(12.0);
#ifdef MUST_NOT_COMPILE
    const auto other = Temperature::celsius(13.0);
#else
    const auto other = TemperatureDifference::kelvin(13.0);
#endif
    return (morning + other).celsius();
}
