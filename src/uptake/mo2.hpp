#pragma once
// From slope to uptake: R = -slope V, the water's volume, the fish's mass; every error under the name of its
// source, so that what two numbers share cancels in their difference and ratio.
//
// Names: "volume:<assembly>", "mass:<fish>", "density:<fish>", "slope:<stay>@<time>",
// "calibration:<sensor>@<time> air", "temperature:<sensor>", "salinity:<source>", "pressure:<source>",
// "blank:<id>".

#include <optional>
#include <string>

#include "base/error.hpp"
#include "quantity/measured.hpp"
#include "uptake/background.hpp"

namespace backeddy::uptake {

/// The fish in the chamber. No mass: uptake in mg/h only, and the water's volume is that of the chamber less
/// `provisional_volume_l` (0: not even that is known), said with every value.
struct FishBody {
    std::string fish;
    std::optional<Measured> mass_kg;           ///< contribution "mass:<fish>"
    Measured density_kg_per_l = Measured(1.0); ///< contribution "density:<fish>"
    double provisional_volume_l = 0.0;
};

/// Chamber + loop - fish, litres; nothing for a fish: the whole. Fails with out_of_range when the fish does
/// not fit or mass or density is not above 0.
[[nodiscard]] Expected<Measured> water_volume(const Measured& chamber_and_loop_l, const FishBody* fish);

struct UptakeParts {
    Measured total_mg_per_h;
    Measured background_mg_per_h;
    Measured uptake_mg_per_h;
    std::optional<Measured> uptake_mg_per_kg_h;
    std::optional<double> background_share; ///< of the total; nothing when the total is not above 0
};

/// Cech 1990, Methods for Fish Biology ch. 12; Clark and others 2013, J Exp Biol 216:2771 (from memory;
/// closed form). Slopes mg/L/h, negative when oxygen falls; `background_slope` of the empty chamber.
[[nodiscard]] UptakeParts uptake_parts(const Measured& slope_mg_per_l_h,
                                       const Measured& background_slope_mg_per_l_h,
                                       const Measured& chamber_and_loop_l, const Measured& water_l,
                                       const FishBody* fish, BackgroundVolume volume);

} // namespace backeddy::uptake
