#pragma once
// Uptake brought to another temperature or another body mass, and the bounds outside of which a number
// deserves a second look. Values as measured always stand beside adjusted ones: a borrowed coefficient is a
// model, not a correction.

#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "quantity/measured.hpp"
#include "quantity/quantity.hpp"
#include "uptake/rate.hpp"

namespace backeddy::uptake {

/// Boltzmann's constant, eV/K (exact since the SI of 2019: 1.380649e-23 J/K over 1.602176634e-19 J/eV).
inline constexpr double boltzmann_ev_per_k = 8.617333262145179e-5;

struct AdjustSettings {
    /// Ratio of rates over 10 K. 2.40 is the median within species of Clarke and Johnston 1999, J Anim Ecol
    /// 68:893; its standard uncertainty of 0.4 is our choice (species differ from about 1.6 to 3.2).
    double q10 = 2.40;
    double q10_uncertainty = 0.4;
    /// Exponent b of R = a M^b. 0.89 within species (Jerde and others 2019, Front Physiol 10:1166; interval
    /// 0.82-0.99, whose half-width over 1.96 gives 0.043); 0.80 between species as a check (Clarke and
    /// Johnston 1999).
    double mass_exponent = 0.89;
    double mass_exponent_uncertainty = 0.043;
    double check_exponent = 0.80;
    Mass to_mass = Mass::kilograms(1.0);
    /// Beyond this difference of temperatures two rates are shown as measured and adjusted side by side, and
    /// marked.
    TemperatureDifference side_by_side_beyond = TemperatureDifference::kelvin(1.0);
    /// Beyond this an adjustment is marked as a model (our choice: 2-3 K).
    TemperatureDifference model_beyond = TemperatureDifference::kelvin(2.0);
};

/// Q10 = (R2/R1)^(10/(T2-T1)). Both rates above 0 and temperatures different, else an Error.
[[nodiscard]] Expected<double> q10_of(double rate_1, Temperature at_1, double rate_2, Temperature at_2);

/// R(to)/R(from) = q10^((to-from)/10); q10 above 0. The contribution of q10's own uncertainty keeps its
/// source's name.
[[nodiscard]] Expected<Measured> q10_factor(const Measured& q10, Temperature from, Temperature to);

/// R(to)/R(from) = exp(E/k_B (1/T_from - 1/T_to)), T in kelvin, E the activation energy in eV (van 't Hoff
/// and Arrhenius).
[[nodiscard]] double arrhenius_factor(double activation_energy_ev, Temperature from, Temperature to);

/// Activation energy, eV, of the line ln R = a - slope_per_1000_k (1000/T).
[[nodiscard]] double activation_energy_ev(double slope_per_1000_k);

/// Whole-animal uptake of a fish of `mass` as of one of `to`: (to/mass)^b. Both above 0, else an Error.
[[nodiscard]] Expected<Measured> mass_factor_whole(const Measured& mass_kg, Mass to,
                                                   const Measured& exponent);
/// The same for mass-specific uptake: (to/mass)^(b-1).
[[nodiscard]] Expected<Measured> mass_factor_specific(const Measured& mass_kg, Mass to,
                                                      const Measured& exponent);

/// A rate as measured and as adjusted, with what was done in words.
struct Adjusted {
    UptakeRate as_measured;
    UptakeRate adjusted;
    std::string how;             ///< "from 12.3 to 14.0 degC with Q10 = 2.4"
    std::vector<Reason> reasons; ///< "adjusted_far": the step is a model, not a correction
};

/// To another temperature by Q10; `source` names the Q10's uncertainty so that a pair adjusted by one Q10
/// shares it.
[[nodiscard]] Expected<Adjusted> to_temperature(const UptakeRate& rate, Temperature from, Temperature to,
                                                const AdjustSettings& settings = {});

/// To the settings' mass by the settings' exponent, and beside it by the check exponent.
struct MassAdjusted {
    Adjusted by_exponent;
    Adjusted by_check_exponent;
};
[[nodiscard]] Expected<MassAdjusted> to_standard_mass(const UptakeRate& rate, const Measured& mass_kg,
                                                      const AdjustSettings& settings = {});

/// For a salmonid of 0.1-3 kg at 4-20 degC (our choice, from the published values listed in docs;
/// respirometry's usual suspects outside are volume, mass, units and calibration). Wide on purpose: a flag,
/// never a filter.
struct PlausibleBounds {
    Interval resting_mg_per_kg_h{15.0, 200.0};
    Interval peak_mg_per_kg_h{150.0, 1000.0};
    Interval factorial_scope{1.5, 15.0};
};

/// What lies outside, in words; empty when all is plausible or absent. Not finite counts as outside.
[[nodiscard]] std::vector<Reason> implausible(std::optional<double> resting_mg_per_kg_h,
                                              std::optional<double> peak_mg_per_kg_h,
                                              std::optional<double> factorial_scope,
                                              const PlausibleBounds& bounds = {});

} // namespace backeddy::uptake
