#pragma once
// The weight of water: for volumes found by filling and weighing.

#include "quantity/quantity.hpp"

namespace backeddy::water {

/// EOS-80 at one atmosphere (Millero and Poisson 1981; UNESCO 1983), `t68` degC on IPTS-68. 0-40 degC, S
/// 0-42; standard error 3.6e-3 kg/m3; within 0.0083 kg/m3 of TEOS-10.
[[nodiscard]] Density density_t68(double t68, double salinity);
/// The same with an ordinary (ITS-90) temperature.
[[nodiscard]] Density density(Temperature temperature, Salinity salinity);

} // namespace backeddy::water
