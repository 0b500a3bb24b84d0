#include "uptake/mo2.hpp"

#include <utility>

#include "base/number_text.hpp"

namespace backeddy::uptake {

Expected<Measured> water_volume(const Measured& chamber_and_loop_l, const FishBody* fish) {
    if (!(chamber_and_loop_l.value() > 0.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a chamber of " + significant_text(chamber_and_loop_l.value(), 6) + " L",
                     .expected = "a volume above 0"});
    }
    if (fish == nullptr) {
        return chamber_and_loop_l;
    }
    Measured fish_l(fish->provisional_volume_l);
    if (fish->mass_kg) {
        if (!(fish->mass_kg->value() > 0.0) || !(fish->density_kg_per_l.value() > 0.0)) {
            return fail(Error{.code = ErrorCode::out_of_range,
                              .found = "a mass of " + significant_text(fish->mass_kg->value(), 6) +
                                       " kg and a density of " +
                                       significant_text(fish->density_kg_per_l.value(), 6) + " kg/L",
                              .expected = "both above 0"}
                            .within("fish " + fish->fish));
        }
        fish_l = *fish->mass_kg / fish->density_kg_per_l;
    }
    Measured water = chamber_and_loop_l - fish_l;
    if (!(water.value() > 0.0)) {
        return fail(Error{.code = ErrorCode::out_of_range,
                          .found = "a fish of " + significant_text(fish_l.value(), 4) +
                                   " L in a chamber of " + significant_text(chamber_and_loop_l.value(), 4) +
                                   " L",
                          .expected = "a fish that leaves room for water",
                          .remedy = "check mass_g in fish.csv and the volumes in assemblies.csv"}
                        .within("fish " + fish->fish));
    }
    return water;
}

UptakeParts uptake_parts(const Measured& slope_mg_per_l_h, const Measured& background_slope_mg_per_l_h,
                         const Measured& chamber_and_loop_l, const Measured& water_l, const FishBody* fish,
                         BackgroundVolume volume) {
    UptakeParts out;
    out.total_mg_per_h = -(slope_mg_per_l_h * water_l);
    out.background_mg_per_h =
        background_uptake(background_slope_mg_per_l_h, chamber_and_loop_l, water_l, volume);
    out.uptake_mg_per_h = out.total_mg_per_h - out.background_mg_per_h;
    if (fish != nullptr && fish->mass_kg) {
        out.uptake_mg_per_kg_h = out.uptake_mg_per_h / *fish->mass_kg;
    }
    if (out.total_mg_per_h.value() > 0.0) {
        out.background_share = out.background_mg_per_h.value() / out.total_mg_per_h.value();
    }
    return out;
}

} // namespace backeddy::uptake
