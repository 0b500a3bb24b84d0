#include "intake/unit.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "base/lower_case.hpp"
#include "quantity/quantity.hpp"

namespace backeddy::intake {

namespace {

struct Spelling {
    std::string_view text; ///< as folded() leaves it
    Unit unit;
};

// What people write, folded. The first spelling of each unit is not special; name_of() has the display names.
constexpr std::array spellings{
    Spelling{"mg/l", Unit::mg_per_l},
    Spelling{"mgl", Unit::mg_per_l},
    Spelling{"mgl-1", Unit::mg_per_l},
    Spelling{"mgo2/l", Unit::mg_per_l},
    Spelling{"mg/dm3", Unit::mg_per_l},
    Spelling{"g/m3", Unit::mg_per_l},
    Spelling{"ppm", Unit::mg_per_l},
    Spelling{"umol/l", Unit::umol_per_l},
    Spelling{"umoll", Unit::umol_per_l},
    Spelling{"umoll-1", Unit::umol_per_l},
    Spelling{"umolo2/l", Unit::umol_per_l},
    Spelling{"micromol/l", Unit::umol_per_l},
    Spelling{"mmol/m3", Unit::umol_per_l},
    Spelling{"um", Unit::umol_per_l},
    Spelling{"ml/l", Unit::ml_per_l},
    Spelling{"mll", Unit::ml_per_l},
    Spelling{"mll-1", Unit::ml_per_l},
    Spelling{"mlo2/l", Unit::ml_per_l},
    Spelling{"%", Unit::percent_air},
    Spelling{"%air", Unit::percent_air},
    Spelling{"%airsat", Unit::percent_air},
    Spelling{"%airsat.", Unit::percent_air},
    Spelling{"%airsaturation", Unit::percent_air},
    Spelling{"%a.s.", Unit::percent_air},
    Spelling{"%as", Unit::percent_air},
    Spelling{"%sat", Unit::percent_air},
    Spelling{"%sat.", Unit::percent_air},
    Spelling{"%saturation", Unit::percent_air},
    Spelling{"sat%", Unit::percent_air},
    Spelling{"airsat%", Unit::percent_air},
    Spelling{"airsaturation%", Unit::percent_air},
    Spelling{"airsat", Unit::percent_air},
    Spelling{"airsaturation", Unit::percent_air},
    Spelling{"kpa", Unit::kilopascal},
    Spelling{"hpa", Unit::hectopascal},
    Spelling{"mbar", Unit::hectopascal},
    Spelling{"mb", Unit::hectopascal},
    Spelling{"millibar", Unit::hectopascal},
    Spelling{"mmhg", Unit::mmhg},
    Spelling{"torr", Unit::mmhg},
    Spelling{"bar", Unit::bar},
    Spelling{"inhg", Unit::inches_hg},
    Spelling{"psi", Unit::psi},
    Spelling{"psia", Unit::psi},
    Spelling{"c", Unit::celsius},
    Spelling{"degc", Unit::celsius},
    Spelling{"deg.c", Unit::celsius},
    Spelling{"degreec", Unit::celsius},
    Spelling{"degreesc", Unit::celsius},
    Spelling{"celsius", Unit::celsius},
    Spelling{"degcelsius", Unit::celsius},
    Spelling{"degreescelsius", Unit::celsius},
    Spelling{"f", Unit::fahrenheit},
    Spelling{"degf", Unit::fahrenheit},
    Spelling{"deg.f", Unit::fahrenheit},
    Spelling{"fahrenheit", Unit::fahrenheit},
    Spelling{"k", Unit::kelvin},
    Spelling{"kelvin", Unit::kelvin},
    Spelling{"psu", Unit::practical_salinity},
    Spelling{"pss", Unit::practical_salinity},
    Spelling{"pss-78", Unit::practical_salinity},
    Spelling{"pss78", Unit::practical_salinity},
    Spelling{"ppt", Unit::practical_salinity},
    Spelling{"g/kg", Unit::practical_salinity},
    Spelling{"ms/cm", Unit::ms_per_cm},
    Spelling{"mscm", Unit::ms_per_cm},
    Spelling{"mscm-1", Unit::ms_per_cm},
    Spelling{"us/cm", Unit::us_per_cm},
    Spelling{"uscm", Unit::us_per_cm},
    Spelling{"uscm-1", Unit::us_per_cm},
    Spelling{"s/m", Unit::s_per_m},
    Spelling{"sm-1", Unit::s_per_m},
};

// Lower case; micro as u, degree as deg, superscript minus one as -1; blanks, '_', '^', '*' and middle dots
// away; "per" as '/', "pct" and "percent" as '%'. UTF-8 in, ASCII out where known.
std::string folded(std::string_view text) {
    static constexpr std::array<std::pair<std::string_view, std::string_view>, 12> symbols{{
        {"\u00b5", "u"},
        {"\u03bc", "u"},
        {"\u00b0", "deg"},
        {"\u00ba", "deg"},
        {"\u2103", "degc"},
        {"\u207b", "-"},
        {"\u00b9", "1"},
        {"\u00b7", ""},
        {"\u22c5", ""},
        {"\u2082", "2"},
        {"\u00b2", "2"},
        {"\u00a0", ""},
    }};
    std::string out;
    for (std::size_t i = 0; i < text.size();) {
        bool known = false;
        for (const auto& [symbol, plain] : symbols) {
            if (text.substr(i).starts_with(symbol)) {
                out += plain;
                i += symbol.size();
                known = true;
                break;
            }
        }
        if (known) {
            continue;
        }
        const char c = text[i++];
        if (c == ' ' || c == '\t' || c == '_' || c == '^' || c == '*') {
            if (!out.empty() && out.back() != ' ') {
                out += ' ';
            }
            continue;
        }
        out += lower_letter(c);
    }
    const auto replace = [&out](std::string_view what, std::string_view with) {
        for (std::size_t at = out.find(what); at != std::string::npos;
             at = out.find(what, at + with.size())) {
            out.replace(at, what.size(), with);
        }
    };
    replace("percent", "%");
    replace("pct", "%");
    replace("per cent", "%");
    replace(" per ", "/");
    std::erase(out, ' ');
    replace(".l-1", "l-1");
    replace(".cm-1", "cm-1");
    return out;
}

} // namespace

std::string_view name_of(Unit unit) {
    switch (unit) {
    case Unit::mg_per_l:
        return "mg/L";
    case Unit::umol_per_l:
        return "umol/L";
    case Unit::ml_per_l:
        return "mL/L";
    case Unit::percent_air:
        return "% air";
    case Unit::kilopascal:
        return "kPa";
    case Unit::hectopascal:
        return "hPa";
    case Unit::mmhg:
        return "mmHg";
    case Unit::bar:
        return "bar";
    case Unit::inches_hg:
        return "inHg";
    case Unit::psi:
        return "psi";
    case Unit::celsius:
        return "degC";
    case Unit::fahrenheit:
        return "degF";
    case Unit::kelvin:
        return "K";
    case Unit::practical_salinity:
        return "psu";
    case Unit::ms_per_cm:
        return "mS/cm";
    case Unit::us_per_cm:
        return "uS/cm";
    case Unit::s_per_m:
        return "S/m";
    case Unit::pump_word:
        return "flush or sealed";
    }
    return "";
}

const std::vector<std::string>& unit_names() {
    static const std::vector<std::string> names = [] {
        std::vector<std::string> all;
        for (auto u = 0; u < static_cast<int>(Unit::pump_word); ++u) {
            all.emplace_back(name_of(static_cast<Unit>(u)));
        }
        all.insert(all.begin() + 1, "ppm");
        all.emplace_back("torr");
        all.emplace_back("mbar");
        return all;
    }();
    return names;
}

std::optional<Unit> unit_from(std::string_view text) {
    const std::string wanted = folded(text);
    const auto* const found =
        std::find_if(spellings.begin(), spellings.end(), [&](const Spelling& s) { return s.text == wanted; });
    return found == spellings.end() ? std::nullopt : std::optional(found->unit);
}

bool fits(Unit unit, ColumnKind kind) {
    switch (kind) {
    case ColumnKind::oxygen_mg_per_l:
        return unit == Unit::mg_per_l || unit == Unit::umol_per_l || unit == Unit::ml_per_l;
    case ColumnKind::oxygen_percent_air:
        return unit == Unit::percent_air;
    case ColumnKind::oxygen_kpa:
        return unit == Unit::kilopascal || unit == Unit::hectopascal || unit == Unit::mmhg;
    case ColumnKind::temperature_celsius:
        return unit == Unit::celsius || unit == Unit::fahrenheit || unit == Unit::kelvin;
    case ColumnKind::pressure_kpa:
        return unit >= Unit::kilopascal && unit <= Unit::psi;
    case ColumnKind::salinity_practical:
        return unit == Unit::practical_salinity;
    case ColumnKind::conductivity_ms_per_cm:
        return unit >= Unit::ms_per_cm && unit <= Unit::s_per_m;
    case ColumnKind::pump:
        return unit == Unit::pump_word;
    }
    return false;
}

double in_trace_unit(Unit unit, double value) {
    constexpr double kilopascal_per_inch_hg = 3.386389;
    constexpr double kilopascal_per_psi = 6.894757;
    switch (unit) {
    case Unit::mg_per_l:
    case Unit::percent_air:
    case Unit::kilopascal:
    case Unit::celsius:
    case Unit::practical_salinity:
    case Unit::ms_per_cm:
    case Unit::pump_word:
        return value;
    case Unit::umol_per_l:
        return Oxygen::umol_per_l(value).mg_per_l();
    case Unit::ml_per_l:
        return Oxygen::ml_per_l(value).mg_per_l();
    case Unit::hectopascal:
        return Pressure::hectopascals(value).kilopascals();
    case Unit::mmhg:
        return Pressure::mmhg(value).kilopascals();
    case Unit::bar:
        return Pressure::bars(value).kilopascals();
    case Unit::inches_hg:
        return value * kilopascal_per_inch_hg;
    case Unit::psi:
        return value * kilopascal_per_psi;
    case Unit::fahrenheit:
        return Temperature::fahrenheit(value).celsius();
    case Unit::kelvin:
        return Temperature::kelvin(value).celsius();
    case Unit::us_per_cm:
        return value / 1000.0;
    case Unit::s_per_m:
        return value * 10.0; // 1 S/m = 10 mS/cm
    }
    return missing;
}

} // namespace backeddy::intake
