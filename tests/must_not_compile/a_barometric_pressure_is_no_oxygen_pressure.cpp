// refused: no match for .operator\+|invalid operands to binary expression
// Both are kPa; their sum means nothing.
#include "quantity/quantity.hpp"

using namespace backeddy;

double sum() {
    const auto air = Pressure::kilopascals(101.3);
#ifdef MUST_NOT_COMPILE
    const auto other = OxygenPressure::kilopascals(21.2);
#else
    const auto other = Pressure::kilopascals(21.2);
#endif
    return (air + other).kilopascals();
}
