#pragma once
// Units as people write them in headers, and their way to the units of series/trace.hpp.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "series/trace.hpp"

namespace backeddy::intake {

/// A unit of a reading. kPa, hPa, mmHg and the like serve oxygen's partial pressure and the barometer alike;
/// which of the two a column is, its kind says.
enum class Unit : std::uint8_t {
    mg_per_l, ///< also ppm
    umol_per_l,
    ml_per_l,
    percent_air, ///< per cent of air saturation
    kilopascal,
    hectopascal, ///< also mbar
    mmhg,        ///< also torr; they differ by 1.4e-7
    bar,
    inches_hg,
    psi,
    celsius,
    fahrenheit,
    kelvin,
    practical_salinity,
    ms_per_cm,
    us_per_cm,
    s_per_m,
    pump_word, ///< 1/0 or words for flush and sealed
};

/// How the unit is written in messages and settings: "mg/L", "umol/L", "% air".
[[nodiscard]] std::string_view name_of(Unit unit);

/// Every unit's name, for offering near ones.
[[nodiscard]] const std::vector<std::string>& unit_names();

/// The unit that `text` writes, whatever its case, blanks, dots, exponents ("mg L-1", "mg_per_l",
/// "µmol·L⁻¹"), or nothing. A bare "%", "C", "F" or "K" is read too; the header must make sure that it stands
/// for a unit.
[[nodiscard]] std::optional<Unit> unit_from(std::string_view text);

/// Whether a column of this kind may be written in this unit.
[[nodiscard]] bool fits(Unit unit, ColumnKind kind);

/// `value` in the unit of series/trace.hpp for its kind (mg/L, %, kPa, degC, mS/cm). Factors are those of
/// quantity/quantity.hpp, so that a value read from a file and one typed in code agree to the last bit; inHg
/// is 3.386389 kPa and psi 6.894757 kPa (NIST SP 811:2008, appendix B.8: conventional inch of mercury, psi).
[[nodiscard]] double in_trace_unit(Unit unit, double value);

} // namespace backeddy::intake
