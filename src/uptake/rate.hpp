#pragma once
// Start here for the metrics made of sealed spells: an uptake (or an amount of oxygen) in both of the trade's
// units, and the small helpers that peak, rest, scope and recovery share.

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "quantity/measured.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::uptake {

/// Oxygen uptake of one fish. Both members come from the same slope; the second is the first divided by the
/// mass, and is absent until the fish is weighed.
struct UptakeRate {
    Measured mg_per_h;
    std::optional<Measured> mg_per_kg_h;

    friend bool operator==(const UptakeRate&, const UptakeRate&) = default;
};

/// An amount of oxygen: uptake integrated over hours.
struct OxygenAmount {
    Measured mg;
    std::optional<Measured> mg_per_kg;

    friend bool operator==(const OxygenAmount&, const OxygenAmount&) = default;
};

/// Lower and upper limit, in the unit of what they enclose.
struct Interval {
    double low = 0.0;
    double high = 0.0;

    friend bool operator==(const Interval&, const Interval&) = default;
};

[[nodiscard]] UptakeRate rate_of(const SpellUptake& spell);
[[nodiscard]] UptakeRate operator+(const UptakeRate& a, const UptakeRate& b);
[[nodiscard]] UptakeRate operator-(const UptakeRate& a, const UptakeRate& b);
[[nodiscard]] UptakeRate operator*(const UptakeRate& a, double k);
/// Both members multiplied by the same uncertain factor.
[[nodiscard]] UptakeRate operator*(const UptakeRate& a, const Measured& k);
/// The mass-specific value over the whole-animal one, 1/kg; 0 when there is no mass or the whole-animal value
/// is 0.
[[nodiscard]] double per_kilogram(const UptakeRate& a);
/// A further independent uncertainty: `mg_per_h` on the whole animal, the same share of the value on the
/// mass-specific member. When the whole-animal value is 0 the mass-specific member is left as it is.
[[nodiscard]] UptakeRate with_uncertainty(const UptakeRate& a, double mg_per_h, const std::string& source);
/// The value moved by a known amount in mg/h (and the same per kilogram), uncertainty unchanged.
[[nodiscard]] UptakeRate moved(const UptakeRate& a, double mg_per_h);

/// Symmetric interval value ± z u; z = 1.959964 covers 95 % of a normal error (JCGM 100:2008, table G.1, row
/// "infinity").
[[nodiscard]] Interval normal_interval(const Measured& value, double z = 1.959963984540054);

/// Weighted sums of spells' rates that keep, of the contributions, only those sources which occur in at least
/// two of all the spells (volume, mass, calibration, background ...): the systematic part. What belongs to
/// one spell alone (its slope) is left to the statistical part of the caller (bootstrap, residual scatter),
/// which has seen it already. Sources are told apart once, for many sums.
class SystematicSums {
  public:
    SystematicSums() = default;
    explicit SystematicSums(std::span<const SpellUptake> spells);

    /// `weights` has the length of the spells; the mass-specific member is absent when one spell with weight
    /// lacks it.
    [[nodiscard]] UptakeRate of(std::span<const double> weights) const;
    /// Root sum of squares, mg/h, of the contributions to spell number `spell` that are left out of the sums.
    [[nodiscard]] double own_error(std::size_t spell) const { return own_errors_[spell]; }

  private:
    /// One of the two rates of all spells, with what its shared sources contribute.
    struct Part {
        std::vector<std::string> sources; ///< those shared, ascending
        std::vector<std::optional<double>> values;
        struct Effect {
            std::size_t source = 0;
            double effect = 0.0;
        };
        std::vector<std::vector<Effect>> effects; ///< of each spell
    };
    template <typename Pick>
    static Part part_of(std::span<const SpellUptake> spells, Pick pick, std::vector<double>* own_errors);
    static std::optional<Measured> sum_of(const Part& part, std::span<const double> weights);

    Part whole_;
    Part specific_;
    std::vector<double> own_errors_;
};

/// Words joined for a list of reasons: "a; b".
[[nodiscard]] std::string joined(std::span<const Reason> reasons);

} // namespace backeddy::uptake
