#include "condition/blood.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <limits>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/lower_case.hpp"
#include "base/number_text.hpp"

namespace backeddy::condition {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

struct UnitOf {
    std::string_view name;
    double factor = 1.0; ///< usual unit = value times this
};

/// mmol/L: the ways to write one kind of ion.
std::vector<UnitOf> ion_units(double g_per_mol, double charge) {
    return {{"mmol/L", 1.0}, {"mEq/L", 1.0 / charge}, {"mg/L", 1.0 / g_per_mol}, {"mg/dL", 10.0 / g_per_mol}};
}

std::vector<UnitOf> known_units(Analyte analyte) {
    switch (analyte) {
    case Analyte::cortisol:
        return {{"ng/mL", 1.0},
                {"ug/L", 1.0},
                {"nmol/L", cortisol_g_per_mol * 1e-3},
                {"ug/dL", 10.0},
                {"pg/mL", 1e-3}};
    case Analyte::glucose:
        return {{"mmol/L", 1.0}, {"mg/dL", 10.0 / glucose_g_per_mol}, {"mg/L", 1.0 / glucose_g_per_mol}};
    case Analyte::lactate:
        return {{"mmol/L", 1.0},
                {"mg/dL", 10.0 / lactic_acid_g_per_mol},
                {"mg/L", 1.0 / lactic_acid_g_per_mol},
                {"mg/dL lactate", 10.0 / lactate_g_per_mol},
                {"mg/L lactate", 1.0 / lactate_g_per_mol}};
    case Analyte::haematocrit:
        return {{"%", 1.0}, {"fraction", 100.0}, {"L/L", 100.0}};
    case Analyte::osmolality:
        return {{"mOsm/kg", 1.0}, {"mmol/kg", 1.0}};
    // Conventional atomic weights, IUPAC 2021.
    case Analyte::sodium:
        return ion_units(22.990, 1.0);
    case Analyte::potassium:
        return ion_units(39.098, 1.0);
    case Analyte::calcium:
        return ion_units(40.078, 2.0);
    case Analyte::magnesium:
        return ion_units(24.305, 2.0);
    case Analyte::chloride:
        return ion_units(35.45, 1.0);
    }
    return {};
}

/// Lower case, no blanks, "u" for either micro sign.
std::string bare(std::string_view unit) {
    std::string out;
    for (std::size_t i = 0; i < unit.size(); ++i) {
        const auto two = unit.substr(i, 2);
        if (two == "\u00b5" || two == "\u03bc") {
            out += 'u';
            ++i;
        } else if (unit[i] != ' ') {
            out += lower_letter(unit[i]);
        }
    }
    return out;
}

Expected<double> factor_of(Analyte analyte, std::string_view unit) {
    const auto units = known_units(analyte);
    const auto found = std::find_if(units.begin(), units.end(),
                                    [&](const UnitOf& one) { return bare(one.name) == bare(unit); });
    if (found != units.end()) {
        return found->factor;
    }
    const auto names = units_of(analyte);
    const auto near = nearest_name(unit, names);
    return fail({.code = ErrorCode::bad_unit,
                 .found = fmt::format("\"{}\" as the unit of {}", unit, name_of(analyte)),
                 .expected = fmt::format("one of {}", fmt::join(names, ", ")),
                 .remedy = near ? fmt::format("write {}?", *near) : "convert it, or mend the unit"});
}

bool is_blood(Matrix matrix) {
    return matrix == Matrix::plasma || matrix == Matrix::serum || matrix == Matrix::whole_blood;
}

Expected<void> check_possible(const Assayed& assayed, double usual) {
    const bool is_share = assayed.analyte == Analyte::haematocrit;
    if (assayed.known == Known::below && usual == 0.0) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} below 0", name_of(assayed.analyte)),
                     .expected = "a limit above 0: nothing is below 0",
                     .remedy = "write the assay's limit, or 0 itself where that was read"});
    }
    if (usual >= 0.0 && usual < infinite && !(is_share && usual > 100.0)) {
        return {};
    }
    return fail({.code = ErrorCode::out_of_range,
                 .found = fmt::format("{} of {} {}", name_of(assayed.analyte), assayed.value, assayed.unit),
                 .expected = is_share ? "0 to 100 %" : "a number, 0 or more",
                 .remedy = "mend the value or its unit; below an assay's limit, write the limit as such"});
}

void doubt(Determined& out, std::string words) {
    out.notes.push_back(words);
    out.doubts.push_back(std::move(words));
}

/// Strip meters are put to a drop of whole blood; what plasma of the same draw holds is another number.
void look_at_matrix(const Assayed& assayed, Determined& out) {
    const bool has_strips = assayed.analyte == Analyte::glucose || assayed.analyte == Analyte::lactate;
    out.is_matrix_unknown = has_strips && !assayed.is_matrix_said && !assayed.device.empty();
    if (out.is_matrix_unknown) {
        doubt(out,
              fmt::format("read by {}, and nobody wrote what it was put to: taken for plasma here, and strip "
                          "meters read whole blood, which holds another {} than its plasma; not held "
                          "against published ranges. Write its matrix",
                          assayed.device, name_of(assayed.analyte)));
    }
}

/// What is odd about it, were it a reading of blood.
void look_at(const Assayed& assayed, Determined& out) {
    const auto& published = published_range(assayed.analyte);
    const bool is_outside = assayed.known == Known::exactly && !published.range.holds(out.value);
    if (assayed.analyte == Analyte::haematocrit && out.known == Known::exactly && out.value > 0.0 &&
        out.value <= 1.0) {
        out.notes.push_back(fmt::format("haematocrit of {} %: a fraction written as per cent? Its unit is "
                                        "then \"fraction\"",
                                        significant_text(out.value, 3)));
    } else if (is_outside && is_blood(assayed.matrix) && !out.is_matrix_unknown) {
        out.notes.push_back(fmt::format("{} of {} {} is outside {} to {}, between which salmonids were found "
                                        "({}): unit, dilution, label? "
                                        "The value is kept",
                                        name_of(assayed.analyte), significant_text(out.value, 3), out.unit,
                                        published.range.lower, published.range.upper, published.source));
    }
}

void correct(const MeterCorrection& meter, std::string_view device, Determined& out) {
    const auto corrected = meter.corrected(out.value);
    if (corrected.is_beyond) {
        doubt(out, fmt::format("{} read {}, and was compared from {} to {} only: its correction is drawn out "
                               "beyond that",
                               device, significant_text(out.value, 3), meter.range.lower, meter.range.upper));
    }
    out.value = corrected.value;
    out.uncertainty = corrected.uncertainty;
    if (out.value < 0.0) {
        out.notes.push_back(fmt::format("{} {} after the meter's correction, which no concentration is: held "
                                        "to be below two of its uncertainties",
                                        significant_text(out.value, 3), out.unit));
        out.value = out.known == Known::above ? 0.0 : 2.0 * corrected.uncertainty;
        out.known = out.known == Known::above ? Known::above : Known::below;
    }
}

stats::Interval known_within(const Determined& out) {
    switch (out.known) {
    case Known::exactly:
        return {out.value, out.value};
    case Known::below:
        return {0.0, out.value};
    case Known::above:
        return {out.value, infinite};
    }
    return {};
}

} // namespace

std::string_view name_of(Analyte analyte) {
    static constexpr std::array<std::string_view, 10> names{
        "cortisol", "glucose",   "lactate", "haematocrit", "osmolality",
        "sodium",   "potassium", "calcium", "magnesium",   "chloride"};
    return names.at(static_cast<std::size_t>(analyte));
}

std::string_view usual_unit(Analyte analyte) {
    return known_units(analyte).front().name;
}

std::vector<std::string> units_of(Analyte analyte) {
    std::vector<std::string> out;
    for (const auto& unit : known_units(analyte)) {
        out.emplace_back(unit.name);
    }
    return out;
}

Expected<double> converted(Analyte analyte, double value, std::string_view from, std::string_view to) {
    const auto into_usual = factor_of(analyte, from);
    if (!into_usual) {
        return fail(into_usual.error());
    }
    const auto out_of_usual = factor_of(analyte, to);
    if (!out_of_usual) {
        return fail(out_of_usual.error());
    }
    if (!std::isfinite(value)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} of {} {}", name_of(analyte), value, from),
                     .expected = "a finite number"});
    }
    return value * *into_usual / *out_of_usual;
}

// From memory of the sources named, rounded outward, and held against what was read (the test beside it says
// where). They ask for a second look only.
const PublishedRange& published_range(Analyte analyte) {
    static constexpr std::array<PublishedRange, 10> ranges{{
        {{0.1, 800.0}, "Barton and Iwama 1991, Annu Rev Fish Dis 1:3; from memory"},
        {{1.5, 20.0}, "Wedemeyer, Barton and McLeay 1990, Methods for Fish Biology, chapter 14; from memory"},
        {{0.1, 30.0}, "Wood 1991, J Exp Biol 160:285; from memory"},
        {{15.0, 65.0},
         "Wedemeyer, Barton and McLeay 1990, Methods for Fish Biology, chapter 14; from memory"},
        {{240.0, 450.0}, "McDonald and Milligan 1992, Fish Physiology 12B, chapter 2; from memory"},
        {{110.0, 220.0}, "McDonald and Milligan 1992, Fish Physiology 12B, chapter 2; from memory"},
        {{0.5, 10.0}, "McDonald and Milligan 1992, Fish Physiology 12B, chapter 2; from memory"},
        {{0.8, 6.0}, "McDonald and Milligan 1992, Fish Physiology 12B, chapter 2; from memory"},
        {{0.2, 5.0}, "McDonald and Milligan 1992, Fish Physiology 12B, chapter 2; from memory"},
        {{80.0, 200.0},
         "Wedemeyer and Chatterton 1970, doi 10.1139/f70-135, and McDonald and Milligan 1992, "
         "Fish Physiology 12B, chapter 2; the upper end from memory"},
    }};
    return ranges.at(static_cast<std::size_t>(analyte));
}

Expected<Determined> determined(const Assayed& assayed, const MeterCorrection* meter) {
    const auto usual = usual_unit(assayed.analyte);
    const auto value =
        converted(assayed.analyte, assayed.value, assayed.unit.empty() ? usual : assayed.unit, usual);
    if (!value) {
        return fail(value.error());
    }
    if (auto possible = check_possible(assayed, *value); !possible) {
        return fail(std::move(possible).error());
    }
    Determined out{.value = *value, .known = assayed.known, .unit = std::string(usual)};
    if (meter != nullptr) {
        correct(*meter, assayed.device.empty() ? "the meter" : assayed.device, out);
    }
    look_at_matrix(assayed, out);
    look_at(assayed, out);
    out.known_within = known_within(out);
    return out;
}

std::string haemolysis_note(Haemolysis haemolysis, std::span<const Analyte> analytes) {
    if (haemolysis != Haemolysis::slight && haemolysis != Haemolysis::marked) {
        return {};
    }
    std::vector<std::string_view> leaking;
    bool is_any_other = analytes.empty();
    for (const auto analyte : analytes) {
        const bool leaks = analyte == Analyte::potassium || analyte == Analyte::magnesium;
        is_any_other = is_any_other || !leaks;
        if (leaks && std::find(leaking.begin(), leaking.end(), name_of(analyte)) == leaking.end()) {
            leaking.push_back(name_of(analyte));
        }
    }
    std::string out = haemolysis == Haemolysis::slight ? "slight haemolysis: " : "marked haemolysis: ";
    if (!leaking.empty()) {
        out += fmt::format("{} {} from the red cells and read{} too high", fmt::join(leaking, " and "),
                           leaking.size() == 1 ? "leaks" : "leak", leaking.size() == 1 ? "s" : "");
    }
    if (is_any_other) {
        out += leaking.empty() ? "" : "; ";
        out += "the colour of the sample can disturb an assay that reads colour";
    }
    return out;
}

// ---- how much

namespace {

constexpr auto since_ever = Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::min());

Expected<double> drawn_ml(double mass_kg, std::span<const Draw> draws, Instant from, Instant until) {
    if (!(mass_kg > 0.0) || !std::isfinite(mass_kg)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("a mass of {} kg", mass_kg),
                     .expected = "a mass above 0: blood is counted per kg",
                     .remedy = "weigh the fish, or enter what it is held to weigh"});
    }
    double sum = 0.0;
    for (const auto& draw : draws) {
        if (!(draw.volume_ml > 0.0) || !std::isfinite(draw.volume_ml)) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("a draw of {} mL at {}", draw.volume_ml, iso_text(draw.at)),
                         .expected = "a volume above 0",
                         .remedy = "a draw of an unknown volume cannot be counted: estimate it"});
        }
        sum += from <= draw.at && draw.at <= until ? draw.volume_ml : 0.0;
    }
    return sum;
}

std::string ml(double value) {
    return fixed_text(value, 2);
}

/// The permit's own number, as it was written: rounded it would be another one.
std::string ceiling_text(double value) {
    const std::string exact = exact_text(value);
    return exact.size() > ml(value).size() ? exact : ml(value);
}

/// What is too much: never shown as none.
std::string ml_over(double value) {
    return value < 0.01 ? significant_text(value, 2) : ml(value);
}

/// When some may be drawn again, once this draw or those before it no longer count; nothing: never.
std::optional<Instant> room_again(double allowed_ml, std::vector<Draw> counted, const BloodCeiling& ceiling) {
    if (!ceiling.within) {
        return std::nullopt;
    }
    std::ranges::sort(counted, {}, &Draw::at);
    double sum = 0.0;
    for (const auto& draw : counted) {
        sum += draw.volume_ml;
    }
    for (const auto& draw : counted) {
        sum -= draw.volume_ml;
        if (sum < allowed_ml * (1.0 - 1e-9)) {
            return draw.at + *ceiling.within;
        }
    }
    return std::nullopt;
}

std::string words_of(const RoomToDraw& room, double mass_kg, double planned_ml,
                     std::optional<Instant> again) {
    const std::string sum = fmt::format("{} mL now ({} mL/kg) after {} mL/kg before", ml(planned_ml),
                                        ml(room.planned_ml_per_kg), ml(room.drawn_ml_per_kg));
    if (room.is_within) {
        return fmt::format("{}: within the permit's {} mL/kg, {} mL would be left.", sum,
                           ceiling_text(room.ceiling_ml_per_kg),
                           ml(std::max(0.0, room.left_ml - planned_ml)));
    }
    const double rounded_down = std::floor((room.left_ml * 100.0) + 1e-6) / 100.0; // never past the ceiling
    return fmt::format("{}: OVER the permit's {} mL/kg by {} mL. Of this draw at most {} mL is allowed from "
                       "this fish of {} kg, and with it nothing more may be drawn{}; what follows, the "
                       "permit's holder decides.",
                       sum, ceiling_text(room.ceiling_ml_per_kg), ml_over(planned_ml - room.left_ml),
                       ml(rounded_down), significant_text(mass_kg, 3),
                       again ? " before " + iso_text(*again) : std::string());
}

} // namespace

Expected<RoomToDraw> before_draw(double mass_kg, double planned_ml, std::span<const Draw> draws, Instant at,
                                 const BloodCeiling& ceiling) {
    if (!(ceiling.ml_per_kg > 0.0) || !std::isfinite(ceiling.ml_per_kg)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("a ceiling of {} mL/kg", ceiling.ml_per_kg),
                     .expected = "what the permit allows, above 0"});
    }
    if (!(planned_ml >= 0.0) || !std::isfinite(planned_ml)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("a planned draw of {} mL", planned_ml),
                     .expected = "0 or more"});
    }
    const auto from = ceiling.within ? at - *ceiling.within : since_ever;
    const auto drawn = drawn_ml(mass_kg, draws, from, at);
    if (!drawn) {
        return fail(drawn.error());
    }
    const double allowed_ml = ceiling.ml_per_kg * mass_kg;
    RoomToDraw out{.drawn_ml_per_kg = *drawn / mass_kg,
                   .planned_ml_per_kg = planned_ml / mass_kg,
                   .ceiling_ml_per_kg = ceiling.ml_per_kg,
                   .left_ml = std::max(0.0, allowed_ml - *drawn),
                   .is_within = *drawn + planned_ml <= allowed_ml * (1.0 + 1e-9)};
    std::vector<Draw> counted{{.at = at, .volume_ml = planned_ml}};
    std::ranges::copy_if(draws, std::back_inserter(counted),
                         [&](const Draw& draw) { return from <= draw.at && draw.at <= at; });
    out.words = words_of(out, mass_kg, planned_ml, room_again(allowed_ml, std::move(counted), ceiling));
    return out;
}

Expected<double> bled_ml_per_kg(double mass_kg, std::span<const Draw> draws, Instant until) {
    const auto drawn = drawn_ml(mass_kg, draws, since_ever, until);
    if (!drawn) {
        return fail(drawn.error());
    }
    return *drawn / mass_kg;
}

DrawTimes draw_times(const HandlingMoment& draw, std::span<const HandlingMoment> moments) {
    DrawTimes out;
    const auto since = [&](HandlingKind kind, std::string_view what) -> std::optional<Elapsed> {
        const HandlingMoment* last = nullptr;
        bool is_after = false;
        for (const auto& moment : moments) {
            if (moment.kind != kind) {
                continue;
            }
            is_after = is_after || moment.at > draw.at;
            if (moment.at <= draw.at && (last == nullptr || last->at < moment.at)) {
                last = &moment;
            }
        }
        if (last != nullptr) {
            return elapsed(*last, draw);
        }
        if (is_after) {
            out.doubts.push_back({draw.row, fmt::format("blood drawn before the fish was {}", what),
                                  "mend one of the two times"});
        }
        return std::nullopt;
    };
    out.since_hook_up = since(HandlingKind::hook_up, "hooked");
    out.since_sealed = since(HandlingKind::sealed, "sealed in");
    return out;
}

} // namespace backeddy::condition
