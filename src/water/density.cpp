#include "water/density.hpp"

#include <cmath>

namespace backeddy::water {

Density density_t68(double t68, double salinity) {
    const double t = t68;
    const double fresh =
        999.842594 +
        (t * (6.793952e-2 +
              (t * (-9.095290e-3 + (t * (1.001685e-4 + (t * (-1.120083e-6 + (t * 6.536332e-9)))))))));
    const double a =
        8.24493e-1 + (t * (-4.0899e-3 + (t * (7.6438e-5 + (t * (-8.2467e-7 + (t * 5.3875e-9)))))));
    const double b = -5.72466e-3 + (t * (1.0227e-4 + (t * -1.6546e-6)));
    const double kg_per_m3 =
        fresh + (a * salinity) + (b * salinity * std::sqrt(salinity)) + (4.8314e-4 * salinity * salinity);
    return Density::kg_per_l(kg_per_m3 / 1000.0);
}

Density density(Temperature temperature, Salinity salinity) {
    return density_t68(temperature.celsius() * 1.00024, salinity.practical());
}

} // namespace backeddy::water
