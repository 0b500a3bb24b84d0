#pragma once
// Start here: the trade's quantities as types, so that a pressure cannot pass for an oxygen pressure.
//
//   const auto water = Temperature::celsius(12.5);
//   const auto tube = Volume::litres(9.8);
//   water.kelvin();  tube.millilitres();
//
// Each type stores one double in the unit named in its comment and is made and read only through named units.
// Same unit is not same kind: barometric pressure and oxygen partial pressure are both kPa and do not add.
// Columns of samples are plain spans of doubles with a tag (series/trace.hpp); these types stand at the
// borders.

#include <compare>

namespace backeddy {

/// What all quantities of a linear kind share: comparison, sums of their own kind, scaling, and ratios.
template <typename Kind>
class LinearQuantity {
  public:
    friend constexpr auto operator<=>(const LinearQuantity&, const LinearQuantity&) = default;
    friend constexpr Kind operator+(Kind a, Kind b) { return make(value_of(a) + value_of(b)); }
    friend constexpr Kind operator-(Kind a, Kind b) { return make(value_of(a) - value_of(b)); }
    friend constexpr Kind operator*(Kind a, double factor) { return make(value_of(a) * factor); }
    friend constexpr Kind operator*(double factor, Kind a) { return make(value_of(a) * factor); }
    friend constexpr Kind operator/(Kind a, double divisor) { return make(value_of(a) / divisor); }
    friend constexpr double operator/(Kind a, Kind b) { return value_of(a) / value_of(b); }

  protected:
    [[nodiscard]] constexpr double base() const { return value_; }

  private:
    friend Kind; // and nobody else: class A : LinearQuantity<B> does not compile
    explicit constexpr LinearQuantity(double value) : value_(value) {}
    static constexpr Kind make(double value) { return Kind(value); }
    static constexpr double value_of(const LinearQuantity& q) { return q.value_; }
    double value_;
};

/// Molar mass of O2, g/mol: the value implied by the constants of Benson and Krause 1984 (mg/L and umol/L
/// forms of their eq. 32 differ by exp(-139.34411 + 135.90205)).
inline constexpr double oxygen_molar_mass_g_per_mol = 31.9988;
/// Molar volume of O2 at STP (0 degC, 1 atm, real gas), L/mol (Garcia and Gordon 1992).
inline constexpr double oxygen_molar_volume_l_per_mol = 22.3916;
inline constexpr double kilopascal_per_atm = 101.325;
/// Conventional millimetre of mercury as 1/760 atm (torr), kPa.
inline constexpr double kilopascal_per_mmhg = kilopascal_per_atm / 760.0;

/// A difference of temperatures, in kelvin (= Celsius degrees).
class TemperatureDifference : public LinearQuantity<TemperatureDifference> {
  public:
    static constexpr TemperatureDifference kelvin(double v) { return TemperatureDifference(v); }
    [[nodiscard]] constexpr double kelvin() const { return base(); }

  private:
    friend LinearQuantity;
    explicit constexpr TemperatureDifference(double v) : LinearQuantity(v) {}
};

/// A temperature, stored in degC. A point, not a length: two temperatures do not add; their difference is its
/// own type.
class Temperature {
  public:
    static constexpr Temperature celsius(double v) { return Temperature(v); }
    static constexpr Temperature fahrenheit(double v) { return Temperature((v - 32.0) / 1.8); }
    static constexpr Temperature kelvin(double v) { return Temperature(v - 273.15); }
    [[nodiscard]] constexpr double celsius() const { return celsius_; }
    [[nodiscard]] constexpr double fahrenheit() const { return (celsius_ * 1.8) + 32.0; }
    [[nodiscard]] constexpr double kelvin() const { return celsius_ + 273.15; }
    friend constexpr auto operator<=>(const Temperature&, const Temperature&) = default;
    friend constexpr TemperatureDifference operator-(Temperature a, Temperature b) {
        return TemperatureDifference::kelvin(a.celsius_ - b.celsius_);
    }
    friend constexpr Temperature operator+(Temperature a, TemperatureDifference d) {
        return Temperature(a.celsius_ + d.kelvin());
    }

  private:
    explicit constexpr Temperature(double celsius) : celsius_(celsius) {}
    double celsius_;
};

/// Practical salinity (PSS-78), no unit; 0 is fresh water.
class Salinity : public LinearQuantity<Salinity> {
  public:
    static constexpr Salinity practical(double v) { return Salinity(v); }
    [[nodiscard]] constexpr double practical() const { return base(); }

  private:
    friend LinearQuantity;
    explicit constexpr Salinity(double v) : LinearQuantity(v) {}
};

/// Absolute barometric pressure at the station, stored in kPa.
class Pressure : public LinearQuantity<Pressure> {
  public:
    static constexpr Pressure kilopascals(double v) { return Pressure(v); }
    static constexpr Pressure hectopascals(double v) { return Pressure(v * 0.1); }
    static constexpr Pressure bars(double v) { return Pressure(v * 100.0); }
    static constexpr Pressure mmhg(double v) { return Pressure(v * kilopascal_per_mmhg); }
    static constexpr Pressure atmospheres(double v) { return Pressure(v * kilopascal_per_atm); }
    [[nodiscard]] constexpr double kilopascals() const { return base(); }
    [[nodiscard]] constexpr double hectopascals() const { return base() * 10.0; }
    [[nodiscard]] constexpr double atmospheres() const { return base() / kilopascal_per_atm; }
    [[nodiscard]] constexpr double mmhg() const { return base() / kilopascal_per_mmhg; }

  private:
    friend LinearQuantity;
    explicit constexpr Pressure(double v) : LinearQuantity(v) {}
};

/// Partial pressure of oxygen, stored in kPa.
class OxygenPressure : public LinearQuantity<OxygenPressure> {
  public:
    static constexpr OxygenPressure kilopascals(double v) { return OxygenPressure(v); }
    static constexpr OxygenPressure hectopascals(double v) { return OxygenPressure(v * 0.1); }
    static constexpr OxygenPressure mmhg(double v) { return OxygenPressure(v * kilopascal_per_mmhg); }
    [[nodiscard]] constexpr double kilopascals() const { return base(); }
    [[nodiscard]] constexpr double hectopascals() const { return base() * 10.0; }
    [[nodiscard]] constexpr double mmhg() const { return base() / kilopascal_per_mmhg; }

  private:
    friend LinearQuantity;
    explicit constexpr OxygenPressure(double v) : LinearQuantity(v) {}
};

/// Concentration of dissolved oxygen, stored in mg/L.
class Oxygen : public LinearQuantity<Oxygen> {
  public:
    static constexpr Oxygen mg_per_l(double v) { return Oxygen(v); }
    static constexpr Oxygen umol_per_l(double v) { return Oxygen(v * oxygen_molar_mass_g_per_mol * 1e-3); }
    /// mL of O2 gas at STP per litre of water.
    static constexpr Oxygen ml_per_l(double v) {
        return Oxygen(v * oxygen_molar_mass_g_per_mol / oxygen_molar_volume_l_per_mol);
    }
    [[nodiscard]] constexpr double mg_per_l() const { return base(); }
    [[nodiscard]] constexpr double umol_per_l() const {
        return base() / (oxygen_molar_mass_g_per_mol * 1e-3);
    }
    [[nodiscard]] constexpr double ml_per_l() const {
        return base() * oxygen_molar_volume_l_per_mol / oxygen_molar_mass_g_per_mol;
    }

  private:
    friend LinearQuantity;
    explicit constexpr Oxygen(double v) : LinearQuantity(v) {}
};

/// Oxygen as a share of what air-equilibrated water would hold at the same temperature, salinity and
/// pressure; stored in percent.
class AirSaturation : public LinearQuantity<AirSaturation> {
  public:
    static constexpr AirSaturation percent(double v) { return AirSaturation(v); }
    [[nodiscard]] constexpr double percent() const { return base(); }
    [[nodiscard]] constexpr double fraction() const { return base() / 100.0; }

  private:
    friend LinearQuantity;
    explicit constexpr AirSaturation(double v) : LinearQuantity(v) {}
};

/// Stored in kg.
class Mass : public LinearQuantity<Mass> {
  public:
    static constexpr Mass kilograms(double v) { return Mass(v); }
    static constexpr Mass grams(double v) { return Mass(v / 1000.0); }
    [[nodiscard]] constexpr double kilograms() const { return base(); }
    [[nodiscard]] constexpr double grams() const { return base() * 1000.0; }

  private:
    friend LinearQuantity;
    explicit constexpr Mass(double v) : LinearQuantity(v) {}
};

/// Stored in litres.
class Volume : public LinearQuantity<Volume> {
  public:
    static constexpr Volume litres(double v) { return Volume(v); }
    static constexpr Volume millilitres(double v) { return Volume(v / 1000.0); }
    [[nodiscard]] constexpr double litres() const { return base(); }
    [[nodiscard]] constexpr double millilitres() const { return base() * 1000.0; }

  private:
    friend LinearQuantity;
    explicit constexpr Volume(double v) : LinearQuantity(v) {}
};

/// Stored in kg/L.
class Density : public LinearQuantity<Density> {
  public:
    static constexpr Density kg_per_l(double v) { return Density(v); }
    [[nodiscard]] constexpr double kg_per_l() const { return base(); }
    [[nodiscard]] constexpr double kg_per_m3() const { return base() * 1000.0; }

  private:
    friend LinearQuantity;
    explicit constexpr Density(double v) : LinearQuantity(v) {}
};

constexpr Volume operator/(Mass mass, Density density) {
    return Volume::litres(mass.kilograms() / density.kg_per_l());
}

/// Flow of water, stored in L/min.
class Flow : public LinearQuantity<Flow> {
  public:
    static constexpr Flow l_per_min(double v) { return Flow(v); }
    static constexpr Flow l_per_h(double v) { return Flow(v / 60.0); }
    [[nodiscard]] constexpr double l_per_min() const { return base(); }
    [[nodiscard]] constexpr double l_per_h() const { return base() * 60.0; }

  private:
    friend LinearQuantity;
    explicit constexpr Flow(double v) : LinearQuantity(v) {}
};

} // namespace backeddy
