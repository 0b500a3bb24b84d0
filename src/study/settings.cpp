#include "study/settings.hpp"

#include <algorithm>
#include <iterator>
#include <string_view>
#include <type_traits>
#include <utility>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/words.hpp"

namespace backeddy::study {

std::string in_words(SettingKind kind) {
    switch (kind) {
    case SettingKind::text:
        return "a text in quotes";
    case SettingKind::word:
        return "a word in quotes";
    case SettingKind::number:
        return "a number";
    case SettingKind::whole:
        return "a whole number";
    case SettingKind::yes_no:
        return "true or false";
    case SettingKind::numbers:
        return "a list of numbers";
    case SettingKind::texts:
        return "a list of texts";
    case SettingKind::time:
        return "a time (ISO 8601)";
    case SettingKind::channel:
        return "a channel, \"trace:channel\"";
    }
    return {};
}

namespace {

struct Spec {
    std::string section;
    std::string key;
    std::string unit;
    std::string why;
    std::optional<double> least;
    std::optional<double> most;
    std::vector<std::string> words;
    std::vector<double> choices;
};

// ---- fields of the brief to and from the values that study.toml can hold

double seconds_in(const std::string& unit) {
    if (unit == "min") {
        return 60.0;
    }
    if (unit == "h") {
        return 3600.0;
    }
    return 1.0;
}

using Words = std::vector<std::string>;

template <typename T>
concept Whole = std::is_integral_v<T> && !std::is_same_v<T, bool>;
template <typename T>
concept Enumerated = std::is_enum_v<T>;

SettingValue to_value(bool field, const Spec&) {
    return field;
}
SettingValue to_value(double field, const Spec&) {
    return field;
}
template <Whole T>
SettingValue to_value(T field, const Spec&) {
    return static_cast<std::int64_t>(field);
}
SettingValue to_value(const std::string& field, const Spec&) {
    return field;
}
SettingValue to_value(const std::vector<double>& field, const Spec&) {
    return field;
}
SettingValue to_value(const std::vector<std::string>& field, const Spec&) {
    return field;
}
template <Enumerated T>
SettingValue to_value(const std::vector<T>& field, const Spec& spec) {
    Words out;
    for (const T each : field) {
        out.push_back(spec.words.at(static_cast<std::size_t>(each)));
    }
    return out;
}
SettingValue to_value(Duration field, const Spec& spec) {
    // Through nanoseconds and back: the shortest text must stay the one that people would write.
    return static_cast<double>(field.nanoseconds()) / (seconds_in(spec.unit) * 1e9);
}
SettingValue to_value(Salinity field, const Spec&) {
    return field.practical();
}
SettingValue to_value(Pressure field, const Spec&) {
    return field.kilopascals();
}
SettingValue to_value(Temperature field, const Spec&) {
    return field.celsius();
}
SettingValue to_value(TemperatureDifference field, const Spec&) {
    return field.kelvin();
}
SettingValue to_value(Mass field, const Spec&) {
    return field.grams();
}
SettingValue to_value(const Channel& field, const Spec&) {
    return field.text();
}
template <typename Tag>
SettingValue to_value(const Id<Tag>& field, const Spec&) {
    return field.text();
}
template <Enumerated T>
SettingValue to_value(T field, const Spec& spec) {
    return spec.words.at(static_cast<std::size_t>(field));
}
template <typename T>
SettingValue to_value(const std::optional<T>& field, const Spec& spec) {
    return field ? to_value(*field, spec) : SettingValue();
}

double number_in(const SettingValue& value) {
    if (const auto* whole = std::get_if<std::int64_t>(&value)) {
        return static_cast<double>(*whole);
    }
    return std::get<double>(value);
}

void from_value(bool& field, const SettingValue& value, const Spec&) {
    field = std::get<bool>(value);
}
void from_value(double& field, const SettingValue& value, const Spec&) {
    field = number_in(value);
}
template <Whole T>
void from_value(T& field, const SettingValue& value, const Spec&) {
    field = static_cast<T>(std::get<std::int64_t>(value));
}
void from_value(std::string& field, const SettingValue& value, const Spec&) {
    field = std::get<std::string>(value);
}
void from_value(std::vector<double>& field, const SettingValue& value, const Spec&) {
    field = std::get<std::vector<double>>(value);
}
void from_value(std::vector<std::string>& field, const SettingValue& value, const Spec&) {
    field = std::get<std::vector<std::string>>(value);
}
void from_value(Duration& field, const SettingValue& value, const Spec& spec) {
    field = Duration::seconds(number_in(value) * seconds_in(spec.unit));
}
void from_value(Salinity& field, const SettingValue& value, const Spec&) {
    field = Salinity::practical(number_in(value));
}
void from_value(Pressure& field, const SettingValue& value, const Spec&) {
    field = Pressure::kilopascals(number_in(value));
}
void from_value(Temperature& field, const SettingValue& value, const Spec&) {
    field = Temperature::celsius(number_in(value));
}
void from_value(TemperatureDifference& field, const SettingValue& value, const Spec&) {
    field = TemperatureDifference::kelvin(number_in(value));
}
void from_value(Mass& field, const SettingValue& value, const Spec&) {
    field = Mass::grams(number_in(value));
}
void from_value(Channel& field, const SettingValue& value, const Spec&) {
    field = channel_from(std::get<std::string>(value)).value_or(Channel());
}
template <typename Tag>
void from_value(Id<Tag>& field, const SettingValue& value, const Spec&) {
    field = Id<Tag>(std::get<std::string>(value));
}
template <Enumerated T>
void from_value(T& field, const SettingValue& value, const Spec& spec) {
    const auto found = std::ranges::find(spec.words, std::get<std::string>(value));
    if (found != spec.words.end()) {
        field = static_cast<T>(found - spec.words.begin());
    }
}
template <Enumerated T>
void from_value(std::vector<T>& field, const SettingValue& value, const Spec& spec) {
    field.clear();
    for (const auto& word : std::get<Words>(value)) {
        from_value(field.emplace_back(), word, spec);
    }
}
template <typename T>
T blank_of() {
    if constexpr (std::is_same_v<T, Salinity>) {
        return Salinity::practical(0.0);
    } else if constexpr (std::is_same_v<T, Pressure>) {
        return Pressure::kilopascals(0.0);
    } else if constexpr (std::is_same_v<T, Temperature>) {
        return Temperature::celsius(0.0);
    } else {
        return T{};
    }
}
template <typename T>
void from_value(std::optional<T>& field, const SettingValue& value, const Spec& spec) {
    if (std::holds_alternative<std::monostate>(value)) {
        field.reset();
        return;
    }
    T inner = blank_of<T>();
    from_value(inner, value, spec);
    field = inner;
}

template <typename T>
struct Inner {
    using Type = T;
};
template <typename T>
struct Inner<std::optional<T>> {
    using Type = T;
};

template <typename T>
constexpr bool is_list_of_words = false;
template <Enumerated T>
constexpr bool is_list_of_words<std::vector<T>> = true;

template <typename Field>
SettingKind kind_of() {
    using T = typename Inner<Field>::Type;
    if constexpr (std::is_same_v<T, bool>) {
        return SettingKind::yes_no;
    } else if constexpr (std::is_enum_v<T>) {
        return SettingKind::word;
    } else if constexpr (std::is_integral_v<T>) {
        return SettingKind::whole;
    } else if constexpr (std::is_same_v<T, std::vector<double>>) {
        return SettingKind::numbers;
    } else if constexpr (std::is_same_v<T, std::vector<std::string>> || is_list_of_words<T>) {
        return SettingKind::texts;
    } else if constexpr (std::is_same_v<T, Channel>) {
        return SettingKind::channel;
    } else if constexpr (std::is_same_v<T, std::string> || requires(T t) { t.text(); }) {
        return SettingKind::text;
    } else {
        return SettingKind::number;
    }
}

/// `access` gives the field of an Owner, const or not.
template <typename Owner, typename Access>
SettingOf<Owner> setting(const Spec& spec, Access access) {
    using Field = std::remove_cvref_t<decltype(access(std::declval<Owner&>()))>;
    SettingOf<Owner> out{.section = spec.section,
                         .key = spec.key,
                         .kind = kind_of<Field>(),
                         .unit = spec.unit,
                         .why = spec.why,
                         .words = spec.words,
                         .least = spec.least,
                         .most = spec.most,
                         .choices = spec.choices};
    if (out.kind == SettingKind::text && !out.words.empty()) {
        out.kind = SettingKind::word;
    }
    out.get = [access, spec](const Owner& owner) { return to_value(access(owner), spec); };
    out.set = [access, spec](Owner& owner, const SettingValue& value) {
        from_value(access(owner), value, spec);
    };
    return out;
}

// `path` is a road to a member: in parentheses it would be another expression.
// NOLINTNEXTLINE(bugprone-macro-parentheses)
#define FIELD(path) [](auto& owner) -> auto& { return owner.path; }

template <typename Owner>
class List {
  public:
    void in(std::string section) { section_ = std::move(section); }
    template <typename Access>
    void add(Spec spec, Access access) {
        spec.section = section_;
        all_.push_back(setting<Owner>(spec, access));
    }
    void add_own(SettingOf<Owner> own) {
        own.section = section_;
        all_.push_back(std::move(own));
    }
    [[nodiscard]] SettingOf<Owner>& last() { return all_.back(); }
    [[nodiscard]] std::vector<SettingOf<Owner>> take() { return std::move(all_); }

  private:
    std::string section_;
    std::vector<SettingOf<Owner>> all_;
};

constexpr double many = 1e9;

void study_settings(List<Brief>& list) {
    list.in("study");
    list.add({.key = "title", .why = "Heads the report."}, FIELD(study.title));
    list.add({.key = "place", .why = "Where, in words."}, FIELD(study.place));
    list.add(
        {.key = "zone",
         .why = "IANA time zone (Europe/Oslo) of all local times in the tables; times with an offset do not "
                "need it."},
        FIELD(study.zone));
    list.add({.key = "permit", .why = "Number of the animal permit, printed in the report."},
             FIELD(study.permit));
    list.add({.key = "species", .why = "For the report's head."}, FIELD(study.species));
    list.add({.key = "simulated",
              .why = "Of a simulated study: the sentence that stands on every page. Empty for real fish."},
             FIELD(study.simulated));
}

void water_settings(List<Brief>& list) {
    list.in("water");
    list.add({.key = "salinity",
              .unit = "practical salinity",
              .why = "Oxygen solubility falls by about 0.6 % per unit. No default: say 0 for fresh water.",
              .least = 0.0,
              .most = 50.0},
             FIELD(water.salinity));
    list.add({.key = "salinity_channel", .why = "A trace of salinity instead."},
             FIELD(water.salinity_channel));
    list.add({.key = "conductivity_ms_per_cm",
              .unit = "mS/cm",
              .why = "Where the meter gives conductivity; turned into salinity by PSS-78.",
              .least = 0.0,
              .most = 100.0},
             FIELD(water.conductivity_ms_per_cm));
    list.add({.key = "conductivity_temperature_c",
              .unit = "degC",
              .why = "At which a raw conductivity was read.",
              .least = -3.0,
              .most = 45.0},
             FIELD(water.conductivity_temperature));
    list.add({.key = "conductivity_channel", .why = "A trace of conductivity instead."},
             FIELD(water.conductivity_channel));
    list.add(
        {.key = "conductivity_is",
         .why =
             "raw, or at_25c when the meter refers it to 25 degC: taking one for the other costs per cents, "
             "silently.",
         .words = {"raw", "at_25c"}},
        FIELD(water.conductivity_is));
    list.add({.key = "pressure_kpa",
              .unit = "kPa",
              .why = "Barometric pressure; oxygen follows it in proportion. 1 kPa = 10 hPa = 7.50 mmHg.",
              .least = 30.0,
              .most = 120.0},
             FIELD(water.pressure));
    list.add({.key = "pressure_channel", .why = "A trace of pressure instead."},
             FIELD(water.pressure_channel));
    list.add({.key = "pressure_is",
              .why = "station, or sea_level as weather services reduce it: then altitude_m brings it back.",
              .words = {"station", "sea_level"}},
             FIELD(water.pressure_is));
    list.add({.key = "altitude_m",
              .unit = "m",
              .why = "Of the station. Without a pressure, the standard atmosphere of this altitude is taken.",
              .least = -450.0,
              .most = 6000.0},
             FIELD(water.altitude_m));
    list.add({.key = "temperature_c",
              .unit = "degC",
              .why =
                  "One temperature for chambers whose assembly has no temperature channel: a day's constant "
                  "from a hand thermometer. What it drifts within a spell is then not seen.",
              .least = -3.0,
              .most = 45.0},
             FIELD(water.temperature));
    list.add({.key = "temperature_uncertainty_c",
              .unit = "degC",
              .why =
                  "Standard uncertainty of that constant: water moves by more over a day than a thermometer "
                  "is wrong. Our choice.",
              .least = 0.0,
              .most = 10.0},
             FIELD(water.temperature_uncertainty_c));
    list.add({.key = "inflow_oxygen_channel",
              .why =
                  "Oxygen of the inflow, believed as it is; only with it, and the assembly's flow, is uptake "
                  "followed through flushes."},
             FIELD(water.inflow_oxygen_channel));
    list.add({.key = "inflow_temperature_channel",
              .why = "Temperature of the inflow, by which its oxygen becomes mg/L; not set: a temperature "
                     "column of the oxygen's own trace."},
             FIELD(water.inflow_temperature_channel));
}

void states_settings(List<Brief>& list) {
    list.in("states");
    list.add(
        {.key = "source",
         .why =
             "Where flush and sealed come from. automatic: the first that is there of pump column, pump log, "
             "timetable, found in the trace; the report says which one was used.",
         .words = {"automatic", "pump_column", "pump_log", "timetable", "found", "sealed_throughout"}},
        FIELD(states.source));
    list.add({.key = "shortest_flush_s",
              .unit = "s",
              .why = "Of states found in the trace: a shorter rise is no flush. Our choice.",
              .least = 1.0,
              .most = 7200.0},
             FIELD(states.find.shortest_flush));
    list.add({.key = "shortest_sealed_s",
              .unit = "s",
              .why = "Likewise a shorter fall. Our choice.",
              .least = 5.0,
              .most = 86400.0},
             FIELD(states.find.shortest_sealed));
    list.add({.key = "rise_noise",
              .unit = "noise sd of a 10-s mean",
              .why = "A smaller rise is none. Our choice.",
              .least = 1.0,
              .most = 100.0},
             FIELD(states.find.rise_noise));
    list.add({.key = "least_rise_mg_per_l",
              .unit = "mg/L",
              .why = "Nor a rise smaller than this. Our choice.",
              .least = 0.0,
              .most = 10.0},
             FIELD(states.find.least_rise_mg_per_l));
}

/// A fixed settle time of one role.
Setting fixed_settle_setting(uptake::StayRole role) {
    return {.key = word_of(role) + "_s",
            .kind = SettingKind::number,
            .unit = "s",
            .why = "A fixed settle time for this role instead of the rule.",
            .least = 0.0,
            .most = 7200.0,
            .get =
                [role](const Brief& brief) {
                    const auto fixed = brief.fixed_settle(role);
                    return fixed ? SettingValue(fixed->seconds()) : SettingValue();
                },
            .set =
                [role](Brief& brief, const SettingValue& value) {
                    if (std::holds_alternative<std::monostate>(value)) {
                        brief.settle.fixed.erase(role);
                    } else {
                        brief.settle.fixed[role] = Duration::seconds(number_in(value));
                    }
                }};
}

void settle_settings(List<Brief>& list) {
    list.in("settle");
    list.add(
        {.key = "fast_lag_multiple",
         .unit = "sensor lags",
         .why = "After capture, chase and handling: mixing time + so many lags. A tight tube has no time to "
                "give, and the fit carries what is left of the lag.",
         .least = 0.0,
         .most = 20.0},
        FIELD(settle.rule.fast.lag_multiple));
    list.add({.key = "fast_least_s",
              .unit = "s",
              .why = "At least this long after capture, chase, handling.",
              .least = 0.0,
              .most = 7200.0},
             FIELD(settle.rule.fast.least));
    list.add(
        {.key = "rest_lag_multiple",
         .unit = "sensor lags",
         .why = "In all other roles: the slope of a first-order sensor is right to 0.7 % after five lags.",
         .least = 0.0,
         .most = 20.0},
        FIELD(settle.rule.resting.lag_multiple));
    list.add({.key = "rest_least_s",
              .unit = "s",
              .why = "At least this long in all other roles.",
              .least = 0.0,
              .most = 7200.0},
             FIELD(settle.rule.resting.least));
    list.add({.key = "model_lag_when_fast",
              .why = "Whether the fit carries the sensor's transient after capture, chase and handling."},
             FIELD(settle.model_lag_when_fast));
    list.add(
        {.key = "mixing_s",
         .unit = "s",
         .why =
             "Mixing time of an assembly that does not say its own: a few turnovers of the loop. Our choice.",
         .least = 0.0,
         .most = 3600.0},
        FIELD(settle.mixing_s));
    for (const auto role : uptake::all_roles()) {
        list.add_own(fixed_settle_setting(role));
    }
    list.add(
        {.key = "gap_factor",
         .unit = "usual steps",
         .why = "A step between readings longer than this cuts a spell: no slope crosses a gap. Our choice.",
         .least = 1.5,
         .most = 1000.0},
        FIELD(settle.gap_factor));
    list.add({.key = "least_gap_s",
              .unit = "s",
              .why = "But never a step shorter than this. Our choice.",
              .least = 0.0,
              .most = 3600.0},
             FIELD(settle.least_gap));
    list.add({.key = "found_margin_s",
              .unit = "s",
              .why = "Set aside at both ends of a spell whose states were found in the trace. Our choice.",
              .least = 0.0,
              .most = 600.0},
             FIELD(settle.found_margin));
}

/// One setting that fills two fields of equal meaning.
template <typename A, typename B>
void add_both(List<Brief>& list, const Spec& spec, A first, B second) {
    list.add(spec, first);
    list.last().set = [first, second, spec](Brief& brief, const SettingValue& value) {
        from_value(first(brief), value, spec);
        from_value(second(brief), value, spec);
    };
}

void roles_settings(List<Brief>& list) {
    list.in("roles");
    list.add(
        {.key = "start_oxygen_rest_percent",
         .unit = "% air saturation",
         .why =
             "A resting or blank spell that starts below is marked: the flush did not bring the water back.",
         .least = 0.0,
         .most = 150.0},
        FIELD(marks.start_floor_rest_percent));
    list.add(
        {.key = "start_oxygen_fast_percent",
         .unit = "% air saturation",
         .why = "The same after capture, chase and handling, when a fish takes more than a flush can bring.",
         .least = 0.0,
         .most = 150.0},
        FIELD(marks.start_floor_fast_percent));
    list.add({.key = "lowest_oxygen_rest_percent",
              .unit = "% air saturation",
              .why = "Below it uptake may be limited: the spell is marked (about 80 % is the usual advice).",
              .least = 0.0,
              .most = 100.0},
             FIELD(marks.end_floor_rest_percent));
    add_both(list,
             {.key = "lowest_oxygen_peak_percent",
              .unit = "% air saturation",
              .why = "The same for peaks: a tight tube at peak uptake passes 80 % within about a minute.",
              .least = 0.0,
              .most = 100.0},
             FIELD(marks.end_floor_fast_percent), FIELD(peak.saturation_floor_percent));
}

void marks_settings(List<Brief>& list) {
    list.in("marks");
    list.add(
        {.key = "rest_error_of_median",
         .why =
             "Share of the stay's median slope that a resting slope's error may be; above: doubtful. Not of "
             "its own slope, which would throw out the quiet fish. Our choice.",
         .least = 0.0,
         .most = 10.0},
        FIELD(marks.rest_error_of_median));
    list.add(
        {.key = "rest_curvature",
         .why =
             "Change of slope over the spell as a share of the slope, less 1.96 errors; above: doubtful. Our "
             "choice.",
         .least = 0.0,
         .most = 10.0},
        FIELD(marks.rest_curvature));
    list.add({.key = "fast_curvature",
              .why = "The same after exercise, when uptake falls by itself. Our choice.",
              .least = 0.0,
              .most = 10.0},
             FIELD(marks.fast_curvature));
    list.add({.key = "residual_factor",
              .why = "Residuals over the sensor's modelled noise; above: doubtful. Our choice.",
              .least = 1.0,
              .most = 100.0},
             FIELD(marks.residual_factor));
    list.add({.key = "few_readings",
              .unit = "readings",
              .why = "Fewer: doubtful. Our choice.",
              .least = 3.0,
              .most = many},
             FIELD(marks.few_readings));
    list.add({.key = "too_few_readings",
              .unit = "readings",
              .why = "Fewer: unusable. Our choice.",
              .least = 3.0,
              .most = many},
             FIELD(marks.too_few_readings));
    list.add({.key = "missing_share",
              .why = "Share of readings missing; above: doubtful, above half: unusable. Our choice.",
              .least = 0.0,
              .most = 1.0},
             FIELD(marks.missing_share));
    list.add({.key = "gap_steps",
              .unit = "usual steps",
              .why = "A longer step inside a spell: doubtful. Our choice.",
              .least = 1.0,
              .most = 1000.0},
             FIELD(marks.gap_steps));
    list.add({.key = "frozen_s",
              .unit = "s",
              .why = "Equal readings for so long, where they should have changed: frozen sensor. Our choice.",
              .least = 1.0,
              .most = 86400.0},
             FIELD(marks.frozen_s));
    list.add({.key = "frozen_readings",
              .unit = "readings",
              .why = "And at least so many of them. Our choice.",
              .least = 2.0,
              .most = many},
             FIELD(marks.frozen_readings));
    list.add({.key = "step_mg_per_l",
              .unit = "mg/L",
              .why = "A jump of the residuals: bubble. Our choice.",
              .least = 0.0,
              .most = 10.0},
             FIELD(marks.step_mg_per_l));
    list.add({.key = "rebound_mg_per_l",
              .unit = "mg/L",
              .why = "A rise above the lowest so far in a sealed spell: leak or bubble. Our choice.",
              .least = 0.0,
              .most = 10.0},
             FIELD(marks.rebound_mg_per_l));
    list.add({.key = "sign_errors",
              .unit = "standard errors",
              .why = "Steps and rebounds must exceed so many of their errors as well. Our choice.",
              .least = 1.0,
              .most = 100.0},
             FIELD(marks.sign_errors));
    list.add(
        {.key = "plateau_share",
         .why =
             "Slope of the last third as a share of the first third's; below: plateau, as a slow leak makes. "
             "Our choice.",
         .least = 0.0,
         .most = 1.0},
        FIELD(marks.plateau_share));
    list.add({.key = "warming_c_per_h",
              .unit = "degC/h",
              .why = "Temperature drift; above: marked, since a sensor that reads saturation moves with it. "
                     "Our choice.",
              .least = 0.0,
              .most = 100.0},
             FIELD(marks.warming_c_per_h));
    list.add({.key = "background_share",
              .why = "Background as a share of the fish's own uptake; above: marked. Our choice.",
              .least = 0.0,
              .most = 1.0},
             FIELD(marks.background_share));
}

void background_settings(List<Brief>& list) {
    list.in("background");
    list.add({.key = "blanks_used",
              .why = "Both blanks allow for growth; none leaves the microbes in, before misses growth, after "
                     "corrects "
                     "the start too much; side_by_side takes another chamber's.",
              .words = {"none", "before", "after", "both", "side_by_side"}},
             FIELD(background.blanks_used));
    list.add({.key = "between_blanks",
              .why = "straight in time is the simplest that allows growth; steady is their mean; growing is "
                     "exponential; sigmoid needs four blanks. Never across a cleaning.",
              .words = {"steady", "straight", "growing", "sigmoid"}},
             FIELD(background.between_blanks));
    list.add({.key = "volume",
              .why = "whole_chamber: the blank measured mg/h, and what grows overnight grows on walls; "
                     "water: microbes "
                     "in the water, of which the fish takes a share.",
              .words = {"whole_chamber", "water"}},
             FIELD(background.volume));
    list.add(
        {.key = "wrong_sign",
         .why =
             "A blank in which oxygen rose is drift or a leak: carried with its uncertainty, or set to zero; "
             "either way it is said.",
         .words = {"carried", "set_to_zero"}},
        FIELD(background.wrong_sign));
    list.add({.key = "reach_h",
              .unit = "h",
              .why = "A blank further away in time does not serve. Our choice.",
              .least = 0.1,
              .most = 8784.0},
             FIELD(background.reach));
    list.add({.key = "blank_part_h",
              .unit = "h",
              .why = "A long blank gives a point for each part of this length. Our choice.",
              .least = 0.1,
              .most = 240.0},
             FIELD(blank_part));
}

void noise_settings(List<Brief>& list) {
    list.in("noise");
    list.add({.key = "shortest_min",
              .unit = "min",
              .why = "Fish spells shorter than this tell too little of a sensor's noise. Our choice.",
              .least = 0.5,
              .most = 1440.0},
             FIELD(noise.shortest));
    list.add({.key = "least_readings",
              .unit = "readings",
              .why = "Nor do fewer readings. Our choice.",
              .least = 10.0,
              .most = many},
             FIELD(noise.least_readings));
}

void peak_settings(List<Brief>& list) {
    list.in("peak");
    list.add(
        {.key = "window_s",
         .unit = "s",
         .why = "Errors of averaging and of picking balance near 1 to 2 minutes in a tight chamber; below 1 "
                "minute it is mostly noise.",
         .least = 10.0,
         .most = 3600.0},
        FIELD(peak.window));
    list.add({.key = "curve_windows_s",
              .unit = "s",
              .why = "Windows of the table and curve of peak against window length.",
              .least = 5.0,
              .most = 7200.0},
             FIELD(peak.curve_windows_s));
    add_both(
        list,
        {.key = "largest_relative_error",
         .why = "Error of a peak's slope over the slope; above: doubtful. r2 judges nothing. Our choice.",
         .least = 0.0,
         .most = 1.0},
        FIELD(peak.largest_relative_error), FIELD(marks.fast_relative_error));
    list.add({.key = "least_readings",
              .unit = "readings",
              .why = "Per window; fewer: marked. Our choice.",
              .least = 3.0,
              .most = many},
             FIELD(peak.least_readings));
    list.add({.key = "gap_factor",
              .unit = "usual steps",
              .why = "No window crosses a longer step. Our choice.",
              .least = 1.0,
              .most = 1000.0},
             FIELD(peak.gap_factor));
    list.add({.key = "draws",
              .why = "Simulated traces for the bias of picking the steepest window.",
              .least = 10.0,
              .most = 1e6},
             FIELD(peak.draws));
    list.add({.key = "seed",
              .why = "Of those simulations: the same seed gives the same bits.",
              .least = 0.0,
              .most = many},
             FIELD(peak.seed));
}

void resting_settings(List<Brief>& list) {
    list.in("resting");
    list.add({.key = "cv_limit_percent",
              .unit = "%",
              .why =
                  "The lowest normal component is used when the CV of its values is at most this, else the "
                  "quantile (Chabot, Steffensen and Farrell 2016, J Fish Biol 88:81).",
              .least = 0.0,
              .most = 100.0},
             FIELD(resting.cv_limit_percent));
    list.add({.key = "rule_quantile",
              .why = "The quantile of that rule; the same paper gives 0.2 or 0.25.",
              .least = 0.1,
              .most = 0.3,
              .choices = {0.10, 0.15, 0.20, 0.25, 0.30}},
             FIELD(resting.rule_quantile));
    list.add({.key = "least_component_share",
              .why = "A lowest component must hold at least this share of the values.",
              .least = 0.0,
              .most = 1.0},
             FIELD(resting.least_component_share));
    list.add({.key = "least_for_lowest_normal",
              .unit = "values",
              .why = "Fewer: it is skipped. Our choice.",
              .least = 5.0,
              .most = many},
             FIELD(resting.least_for_lowest_normal));
    list.add({.key = "least_values",
              .unit = "values",
              .why = "Fewer: no resting value at all. Our choice.",
              .least = 1.0,
              .most = many},
             FIELD(resting.least_values));
    list.add(
        {.key = "least_hours_after_handling",
         .unit = "h",
         .why =
             "Values count from here at the earliest, where the stay allows: coho needed 7 to 10 h (Raby and "
             "others 2015).",
         .least = 0.0,
         .most = 240.0},
        FIELD(resting.least_hours_after_handling));
    list.add({.key = "trend_window_h",
              .unit = "h",
              .why = "A downward trend is looked for over so long. Our choice.",
              .least = 0.5,
              .most = 240.0},
             FIELD(resting.trend_window_h));
    list.add({.key = "trend_share",
              .why = "A fall under this share of the median is no trend. Our choice.",
              .least = 0.0,
              .most = 1.0},
             FIELD(resting.trend_share));
    list.add({.key = "trend_errors",
              .unit = "standard errors",
              .why = "Nor one under so many errors. Our choice.",
              .least = 0.0,
              .most = 100.0},
             FIELD(resting.trend_errors));
    list.add({.key = "least_counted_h",
              .unit = "h",
              .why = "A cut-off must leave at least this much. Our choice.",
              .least = 0.0,
              .most = 240.0},
             FIELD(resting.least_counted_h));
    list.add(
        {.key = "short_stay_h",
         .unit = "h",
         .why =
             "A shorter stay gives \"resting, overnight\", not SMR: 12 h were found too short, 24 h adequate "
             "(Chabot and others 2016).",
         .least = 0.0,
         .most = 240.0},
        FIELD(resting.short_stay_h));
    list.add({.key = "cut_off_step_h",
              .unit = "h",
              .why = "Spacing of the curve against the cut-off.",
              .least = 0.05,
              .most = 24.0},
             FIELD(resting.cut_off_step_h));
    list.add({.key = "block_h",
              .unit = "h",
              .why = "Blocks of the bootstrap: neighbouring values are alike (1 to 2 h). Our choice.",
              .least = 0.05,
              .most = 24.0},
             FIELD(resting.block_h));
    list.add({.key = "draws", .why = "Of the block bootstrap.", .least = 100.0, .most = 1e6},
             FIELD(resting.draws));
    list.add({.key = "seed",
              .why = "Of the bootstrap: the same seed gives the same bits.",
              .least = 0.0,
              .most = many},
             FIELD(resting.seed));
    list.add(
        {.key = "noise_draws",
         .why =
             "Simulated nights for what noise alone does to a low estimator: with a CV of 10 % it costs the "
             "0.2 quantile 8 %.",
         .least = 10.0,
         .most = 1e6},
        FIELD(resting.noise_draws));
    list.add({.key = "least_per_hour",
              .unit = "values",
              .why = "For an hour of the day to have a routine median of its own. Our choice.",
              .least = 1.0,
              .most = many},
             FIELD(resting.least_per_hour));
}

void recovery_settings(List<Brief>& list) {
    const Words zero{"hook_up", "landed", "back_in_water", "sealed", "chase_end", "air_end"};
    list.in("recovery");
    list.add(
        {.key = "time_zero",
         .why = "From which event hours after capture count: recovery begins when the fish has water again.",
         .words = zero},
        FIELD(recovery.time_zero));
    list.add({.key = "time_zero_after_chase",
              .why =
                  "The same after a chase. air_end: the end of chase and air, whichever came last, since the "
                  "fish has water again only then.",
              .words = zero},
             FIELD(time_zero_after_chase));
    list.add({.key = "consecutive",
              .unit = "spells",
              .why = "So many spells in a row at or under the baseline count as recovered: one may be luck.",
              .least = 1.0,
              .most = 100.0},
             FIELD(recovery.consecutive));
    list.add({.key = "shares_above_resting",
              .why = "Thresholds SMR + 10 % and + 20 % beside the fish's own hour-matched overnight median.",
              .least = 0.01,
              .most = 10.0},
             FIELD(recovery.shares_above_resting));
    list.add({.key = "least_for_two_phases",
              .unit = "spells",
              .why = "Fewer: one phase only.",
              .least = 5.0,
              .most = many},
             FIELD(recovery.least_for_two_phases));
    list.add({.key = "least_for_fit",
              .unit = "spells",
              .why = "Fewer: no fit. Our choice.",
              .least = 4.0,
              .most = many},
             FIELD(recovery.least_for_fit));
    list.add(
        {.key = "flat_share",
         .why =
             "The asymptote is free only where the curve has flattened to this share above rest; else it is "
             "fixed there, since asymptote and rate trade off. Our choice.",
         .least = 0.0,
         .most = 10.0},
        FIELD(recovery.flat_share));
    list.add({.key = "daily_swing_share",
              .why = "Rest itself swings over the day by this share either side of its mean: what a level "
                     "measured at other hours may be off by. It makes most of the hours' intervals. Our "
                     "choice; 0 where rest is known to keep still.",
              .least = 0.0,
              .most = 1.0},
             FIELD(recovery.daily_swing_share));
}

void adjust_settings(List<Brief>& list) {
    list.in("adjust");
    list.add({.key = "q10",
              .why = "Median within species (Clarke and Johnston 1999, J Anim Ecol 68:893).",
              .least = 0.5,
              .most = 10.0},
             FIELD(adjust.q10));
    list.add({.key = "q10_uncertainty",
              .why = "Species differ from about 1.6 to 3.2. Our choice.",
              .least = 0.0,
              .most = 5.0},
             FIELD(adjust.q10_uncertainty));
    list.add({.key = "mass_exponent",
              .why = "Within species (Jerde and others 2019, Front Physiol 10:1166).",
              .least = 0.0,
              .most = 2.0},
             FIELD(adjust.mass_exponent));
    list.add({.key = "mass_exponent_uncertainty",
              .why = "From the interval 0.82 to 0.99 of the same paper.",
              .least = 0.0,
              .most = 1.0},
             FIELD(adjust.mass_exponent_uncertainty));
    list.add({.key = "check_exponent",
              .why = "Beside it: between species (Clarke and Johnston 1999).",
              .least = 0.0,
              .most = 2.0},
             FIELD(adjust.check_exponent));
    list.add({.key = "to_mass_g",
              .unit = "g",
              .why = "Mass to which uptake is adjusted.",
              .least = 0.001,
              .most = 1e6},
             FIELD(adjust.to_mass));
    list.add({.key = "side_by_side_beyond_c",
              .unit = "degC",
              .why = "Two temperatures further apart: measured and adjusted stand side by side, marked.",
              .least = 0.0,
              .most = 40.0},
             FIELD(adjust.side_by_side_beyond));
    list.add({.key = "model_beyond_c",
              .unit = "degC",
              .why = "A further step by a borrowed Q10 is a model, not a correction: marked. Our choice.",
              .least = 0.0,
              .most = 40.0},
             FIELD(adjust.model_beyond));
}

void plausible_settings(List<Brief>& list) {
    list.in("plausible");
    const std::string why =
        "Outside, a number is flagged, never dropped: wide bounds for a salmonid of 0.1-3 kg at "
        "4-20 degC. Our choice from published values.";
    const auto bound = [&](const std::string& key, const std::string& unit) {
        return Spec{.key = key, .unit = unit, .why = why, .least = 0.0, .most = 1e5};
    };
    list.add(bound("resting_least_mg_per_kg_h", "mg/kg/h"), FIELD(plausible.resting_mg_per_kg_h.low));
    list.add(bound("resting_most_mg_per_kg_h", "mg/kg/h"), FIELD(plausible.resting_mg_per_kg_h.high));
    list.add(bound("peak_least_mg_per_kg_h", "mg/kg/h"), FIELD(plausible.peak_mg_per_kg_h.low));
    list.add(bound("peak_most_mg_per_kg_h", "mg/kg/h"), FIELD(plausible.peak_mg_per_kg_h.high));
    list.add(bound("factorial_scope_least", ""), FIELD(plausible.factorial_scope.low));
    list.add(bound("factorial_scope_most", ""), FIELD(plausible.factorial_scope.high));
}

void reading_settings(List<Brief>& list) {
    list.in("readings");
    const auto bound = [](const std::string& key, const std::string& unit, const std::string& why,
                          double least, double most) {
        return Spec{.key = key, .unit = unit, .why = why, .least = least, .most = most};
    };
    list.add(bound("oxygen_least_percent", "% air saturation",
                   "A sensor at zero may read a little below. Our choice.", -1000.0, 100.0),
             FIELD(readings.oxygen_least_percent));
    list.add(bound("oxygen_most_percent", "% air saturation", "Algae may lift a bay to 150. Our choice.",
                   100.0, 10000.0),
             FIELD(readings.oxygen_most_percent));
    list.add(bound("temperature_least_c", "degC", "Sea water freezes at -1.9. Our choice.", -100.0, 40.0),
             FIELD(readings.temperature_least_c));
    list.add(bound("temperature_most_c", "degC", "No fish lives above. Our choice.", 0.0, 100.0),
             FIELD(readings.temperature_most_c));
    list.add(bound("pressure_least_kpa", "kPa", "5500 m above the sea. Our choice.", 0.0, 100.0),
             FIELD(readings.pressure_least_kpa));
    list.add(bound("pressure_most_kpa", "kPa", "The highest at sea level was under 109. Our choice.", 100.0,
                   10000.0),
             FIELD(readings.pressure_most_kpa));
}

void uncertainty_settings(List<Brief>& list) {
    list.in("uncertainty");
    list.add({.key = "density_kg_per_l",
              .unit = "kg/L",
              .why = "Of a fish whose density was not measured.",
              .least = 0.5,
              .most = 1.5},
             FIELD(uncertainty.density_kg_per_l));
    list.add({.key = "density_uncertainty_kg_per_l",
              .unit = "kg/L",
              .why = "Standard uncertainty. Our choice.",
              .least = 0.0,
              .most = 0.5},
             FIELD(uncertainty.density_uncertainty_kg_per_l));
    list.add({.key = "mass_percent",
              .unit = "%",
              .why = "Standard uncertainty of a mass without one of its own. Our choice.",
              .least = 0.0,
              .most = 100.0},
             FIELD(uncertainty.mass_percent));
    list.add({.key = "volume_percent",
              .unit = "%",
              .why = "The same of a chamber's volume: by filled weight. Our choice.",
              .least = 0.0,
              .most = 100.0},
             FIELD(uncertainty.volume_percent));
    list.add({.key = "salinity",
              .unit = "practical salinity",
              .why = "Of the salinity. Our choice.",
              .least = 0.0,
              .most = 20.0},
             FIELD(uncertainty.salinity));
    list.add({.key = "pressure_kpa",
              .unit = "kPa",
              .why = "Of the barometric pressure. Our choice.",
              .least = 0.0,
              .most = 20.0},
             FIELD(uncertainty.pressure_kpa));
    list.add({.key = "temperature_c",
              .unit = "degC",
              .why = "Of the thermometers. Our choice.",
              .least = 0.0,
              .most = 10.0},
             FIELD(uncertainty.temperature_c));
    list.add({.key = "calibration_percent",
              .unit = "%",
              .why = "Of a calibration in air without one of its own. Our choice.",
              .least = 0.0,
              .most = 100.0},
             FIELD(uncertainty.calibration_percent));
    list.add({.key = "uncalibrated_percent",
              .unit = "%",
              .why = "Of the slope of a sensor that was never calibrated. Our choice.",
              .least = 0.0,
              .most = 100.0},
             FIELD(uncertainty.uncalibrated_percent));
    list.add({.key = "clock_s",
              .unit = "s",
              .why = "Of a clock that was never checked. Our choice.",
              .least = 0.0,
              .most = 86400.0},
             FIELD(uncertainty.clock_s));
    list.add({.key = "event_s",
              .unit = "s",
              .why = "Of an event without one of its own. Our choice.",
              .least = 0.0,
              .most = 86400.0},
             FIELD(uncertainty.event_s));
}

void report_settings(List<Brief>& list) {
    list.in("report");
    list.add({.key = "group_by",
              .why = "Column of encounters.csv or fish.csv that makes the groups; empty: rig and unhooking."},
             FIELD(report.group_by));
    list.add({.key = "drawn_points",
              .unit = "points",
              .why = "Of each drawn trace; extremes are never thinned away.",
              .least = 200.0,
              .most = 1e6},
             FIELD(report.drawn_points));
}

void continuous_settings(List<Brief>& list) {
    list.in("continuous");
    list.add({.key = "use", .why = "Whether uptake is also drawn as a curve in time; no answer rests on it."},
             FIELD(continuous.is_wanted));
    list.add({.key = "step_s",
              .unit = "s",
              .why = "Readings are drawn together to means over such steps before they are smoothed; a long "
                     "stay gets longer ones, a short spell shorter ones. Our choice.",
              .least = 0.1,
              .most = 600.0},
             FIELD(continuous.step_s));
    list.add({.key = "most_spells",
              .unit = "spells",
              .why =
                  "A stay of more gets no curve: its spells stand closer than a figure can show, and their "
                  "uptake is the curve already. Our choice.",
              .least = 1.0,
              .most = 1e6},
             FIELD(continuous.most_spells));
}

void plate_settings(List<Brief>& list) {
    list.in("plates");
    list.add({.key = "curve",
              .why = "The standard curve: logistic of four or five parameters, or of five where its AICc is "
                     "lower by over 2. Five parameters on six standards follow their noise.",
              .words = words_of(condition::CurveChoice{})},
             FIELD(plates.curve));
    list.add({.key = "variance_power",
              .why =
                  "The variance of a response goes with this power of it: 0 alike everywhere, 2 a constant "
                  "CV. Not set: from each plate's own replicates, where it has enough of them.",
              .least = 0.0,
              .most = 3.0},
             FIELD(plates.variance_power));
    list.add({.key = "subtract_blank",
              .why =
                  "Whether the blanks' mean is taken off responses where they are shown and in their CV. No "
                  "concentration depends on it."},
             FIELD(plates.subtract_blank));
    const auto share = [&](const char* key, const char* why, auto field) {
        list.add({.key = key, .unit = "share", .why = why, .least = 0.001, .most = 10.0}, field);
    };
    share("most_response_cv",
          "CV of replicate wells above which they are remarked on. Common practice, no source.",
          FIELD(plates.most_response_cv));
    share("standard_recovery",
          "How far a standard read back from the curve may be off (ICH M10 2022, ligand binding assays; from "
          "memory).",
          FIELD(plates.standard_recovery));
    share("end_standard_recovery", "The same of the lowest and the highest standard (likewise).",
          FIELD(plates.end_standard_recovery));
    share("control_recovery", "The same of a control with an expected value (likewise).",
          FIELD(plates.control_recovery));
    share("spike_recovery", "The same of what was added to a spiked sample. Common practice, no source.",
          FIELD(plates.spike_recovery));
    share("most_change_per_doubling",
          "How much a diluted sample's result may change with each doubling of its dilution. Our choice.",
          FIELD(plates.most_change_per_doubling));
    list.add({.key = "detection_sds",
              .unit = "sd",
              .why = "The limit of detection lies so many standard deviations from the zero wells. Common "
                     "practice, no source.",
              .least = 0.5,
              .most = 20.0},
             FIELD(plates.detection_sds));
    list.add({.key = "quantification_sds",
              .unit = "sd",
              .why = "The limit of quantification likewise (Currie 1968, Anal Chem 40:586; from memory).",
              .least = 0.5,
              .most = 50.0},
             FIELD(plates.quantification_sds));
}

void permit_settings(List<Brief>& list) {
    list.in("permit");
    list.add({.key = "fish",
              .unit = "fish",
              .why = "How many fish the permit lets be met, all species together. Counted are the rows of "
                     "fish.csv; one more is told.",
              .least = 1.0,
              .most = 1e6},
             FIELD(permit.fish));
    list.add({.key = "chases_per_fish",
              .unit = "times",
              .why = "How often one fish may be chased. Counted is each chase_start; one more is told.",
              .least = 0.0,
              .most = 1000.0},
             FIELD(permit.chases_per_fish));
    list.add({.key = "air_s",
              .unit = "s",
              .why = "How long a fish may be in air at a time. A longer time from air_start to air_end is "
                     "told, and Deck's stopwatch shows it.",
              .least = 0.0,
              .most = 86400.0},
             FIELD(permit.air));
    list.add({.key = "at_death",
              .why = "What the permit says is to be done when a fish dies or will not right itself, in its "
                     "own words: shown beside the button, where there is no time to look it up."},
             FIELD(permit.at_death));
    list.add({.key = "watched_by",
              .why = "Who holds the permit or watches over it: whom to ask before a count is passed."},
             FIELD(permit.watched_by));
}

void deck_settings(List<Brief>& list) {
    list.in("deck");
    list.add({.key = "rods",
              .why = "Names of the rods, as they are set. One with port or starboard in its name is drawn on "
                     "that side of the boat."},
             FIELD(deck.rods));
    list.add({.key = "rigs", .why = "What may be on a rod: a treatment."}, FIELD(deck.rigs));
    list.add({.key = "unhooking", .why = "How a fish may be unhooked: a treatment."}, FIELD(deck.unhooking));
    list.add({.key = "landing", .why = "How a fish may be landed: a treatment."}, FIELD(deck.landing));
    list.add({.key = "lost_reasons",
              .why = "Why a fish may be lost, in a few words each. What they are compared by: keep to them."},
             FIELD(deck.lost_reasons));
    list.add({.key = "handling",
              .why = "What else is done to a fish on deck: \"measured\", \"scales taken\". Each is logged as "
                     "a note with its moment."},
             FIELD(deck.handling));
    list.add({.key = "species", .why = "What else may come up, besides the study's own species."},
             FIELD(deck.species));
    list.add({.key = "anaesthetics",
              .why = "What fish are put to sleep with, each with its dose as the permit has it."},
             FIELD(deck.anaesthetics));
    list.add({.key = "blood_due_min",
              .unit = "min",
              .why = "How long after the landing blood is to be drawn: counted down on the fish's card. A "
                     "reminder: whether it is drawn, the permit and a trained hand decide.",
              .least = 0.0,
              .most = 10080.0},
             FIELD(deck.blood_due));
    list.add({.key = "seal_within_s",
              .unit = "s",
              .why =
                  "How soon after it is back in water the fish is to be sealed in its tube: counted down on "
                  "its card. The peak fades from the first minute.",
              .least = 1.0,
              .most = 86400.0},
             FIELD(deck.seal_within));
}

/// [blood], [plates], [fins], [body], [reflexes], [fates].
void condition_settings(List<Brief>& list) {
    list.in("blood");
    list.add({.key = "ceiling_ml_per_kg",
              .unit = "mL/kg",
              .why = "How much blood the permit lets be drawn from a fish, of its body mass. No default: "
                     "what is taken, the permit's holder decides. A draw over it is told.",
              .least = 0.01,
              .most = 100.0},
             FIELD(blood.ceiling_ml_per_kg));
    list.add({.key = "ceiling_within_h",
              .unit = "h",
              .why = "Draws longer ago than this no longer count towards the ceiling, if the permit says so. "
                     "Not set: all count.",
              .least = 0.1,
              .most = 100000.0},
             FIELD(blood.ceiling_within));
    permit_settings(list);
    plate_settings(list);
    list.in("fins");
    list.add({.key = "scale",
              .why =
                  "Levels of fins.csv from unhurt (0) to worst; write what each looks like into the methods. "
                  "A mean of levels takes the steps between them for equal."},
             FIELD(fins.scale.levels));
    list.add({.key = "fins",
              .why = "Which fins a fish's index is made of: the seven with rays (Hoyle and others 2007, "
                     "Aquaculture 270:142; from memory). The adipose fin is often clipped as a mark.",
              .words = words_of(condition::Fin{})},
             FIELD(fins.options.fins));
    list.add({.key = "least",
              .unit = "fins",
              .why = "Fewer scored fins of a fish give no mean. Our choice.",
              .least = 1.0,
              .most = 8.0},
             FIELD(fins.options.least));
    list.in("body");
    list.add(
        {.key = "scale",
         .why = "Levels of body.csv from unhurt (0) to worst, of scale loss and of the eyes. The hook wound "
                "is always none, slight, moderate or heavy: how much it bleeds."},
        FIELD(body.scale.levels));
    list.in("reflexes");
    list.add({.key = "tests",
              .why =
                  "The tests of reflexes.csv, each there or not: the usual five of salmon (Raby and others "
                  "2012, J Appl Ecol 49:90; from memory). A fish's impairment is the share it has lost."},
             FIELD(reflexes.tests));
    list.in("fates");
    list.add({.key = "detection_is_alive",
              .why =
                  "Whether a tag's detection shows a living fish. false where what ate it may carry the tag: "
                  "detections then do not move the moment it was last known alive."},
             FIELD(fates.is_detection_alive));
    list.add({.key = "horizons_h",
              .unit = "h",
              .why = "Of which times after release and after the start of holding the share of dead fish is "
                     "given. Our choice.",
              .least = 0.1,
              .most = 100000.0},
             FIELD(mortality.horizons_h));
    list.add({.key = "control",
              .why =
                  "The group of fish that were not treated, as [report] group_by makes the groups: what the "
                  "treatment adds is then given beside each share (Abbott 1925, J Econ Entomol 18:265)."},
             FIELD(mortality.control));
}

std::vector<Setting> all_settings() {
    List<Brief> list;
    study_settings(list);
    water_settings(list);
    states_settings(list);
    settle_settings(list);
    roles_settings(list);
    marks_settings(list);
    background_settings(list);
    noise_settings(list);
    peak_settings(list);
    resting_settings(list);
    recovery_settings(list);
    continuous_settings(list);
    adjust_settings(list);
    plausible_settings(list);
    reading_settings(list);
    uncertainty_settings(list);
    condition_settings(list);
    deck_settings(list);
    report_settings(list);
    return list.take();
}

std::vector<SettingOf<TraceSource>> all_trace_settings() {
    List<TraceSource> list;
    list.in("trace");
    list.add(
        {.key = "name", .why = "By which assemblies.csv and [water] call its channels: \"name:channel\"."},
        FIELD(name));
    list.add({.key = "files", .why = "Inside the study folder; * and ? stand for any characters."},
             FIELD(files));
    list.add({.key = "clock", .why = "As in clock_checks.csv; empty: the trace's name."}, FIELD(clock));
    list.add({.key = "zone", .why = "IANA zone of the logger's clock; empty: the study's."}, FIELD(zone));
    list.add({.key = "encoding",
              .why = "Found when not set.",
              .words = {"utf8", "utf16_le", "utf16_be", "latin1"}},
             FIELD(encoding));
    list.add(
        {.key = "delimiter", .why = "Found when not set.", .words = {"comma", "semicolon", "tab", "spaces"}},
        FIELD(delimiter));
    list.add({.key = "decimal", .why = "Found when not set.", .words = {"point", "comma"}}, FIELD(decimal));
    list.add({.key = "header_line",
              .unit = "line from 1",
              .why = "0: there is none. Found when not set.",
              .least = 0.0,
              .most = many},
             FIELD(header_line));
    list.add({.key = "units_line",
              .unit = "line from 1",
              .why = "Where units stand in a line of their own; 0: nowhere. Found when not set.",
              .least = 0.0,
              .most = many},
             FIELD(units_line));
    list.add({.key = "first_data_line",
              .unit = "line from 1",
              .why = "Found when not set.",
              .least = 1.0,
              .most = many},
             FIELD(first_data_line));
    list.add({.key = "time_form",
              .why = "How moments are written. Found when not set.",
              .words = {"calendar", "spreadsheet_days", "epoch_seconds", "epoch_milliseconds",
                        "elapsed_seconds", "elapsed_minutes", "elapsed_hours", "elapsed_clock"}},
             FIELD(time_form));
    list.add({.key = "date_order",
              .why = "Needed where 03/04 may be March or April: never guessed.",
              .words = {"year_month_day", "day_month_year", "month_day_year"}},
             FIELD(date_order));
    list.add({.key = "start", .why = "Where elapsed times begin: ISO 8601, local in the trace's zone."},
             FIELD(start));
    list.add(
        {.key = "missing_words", .why = "Words for \"no reading\", beside the usual ones (NaN, ---, Err)."},
        FIELD(missing_words));
    list.add({.key = "flush_words", .why = "Of a pump column, beside the usual ones (flush, on, open, 1)."},
             FIELD(flush_words));
    list.add({.key = "sealed_words", .why = "Likewise (sealed, off, closed, 0)."}, FIELD(sealed_words));
    list.add({.key = "gap_factor",
              .unit = "usual intervals",
              .why = "A longer interval is reported as a gap.",
              .least = 1.01,
              .most = 1e6},
             FIELD(gap_factor));
    list.add(
        {.key = "assumed_salinity",
         .unit = "practical salinity",
         .why =
             "What the logger took the water to be when it wrote mg/L (or what its per cent refer to); it is "
             "undone. Not set: the logger knew the true one.",
         .least = 0.0,
         .most = 50.0},
        FIELD(assumed_salinity));
    list.add({.key = "assumed_pressure_kpa",
              .unit = "kPa",
              .why = "The same for barometric pressure.",
              .least = 30.0,
              .most = 120.0},
             FIELD(assumed_pressure));
    return list.take();
}

std::vector<SettingOf<TraceColumn>> all_trace_column_settings() {
    List<TraceColumn> list;
    list.in("trace.column");
    list.add({.key = "header", .why = "Its header, whole or without its unit; or say index."}, FIELD(header));
    list.add({.key = "index",
              .unit = "from 1",
              .why = "Where it stands, when there is no header.",
              .least = 1.0,
              .most = 100000.0},
             FIELD(index));
    list.add({.key = "use",
              .why = "What it is; found from header and unit when not set.",
              .words = {"time", "date", "time_of_day", "chamber", "oxygen", "temperature", "pressure",
                        "salinity", "conductivity", "pump", "ignore"}},
             FIELD(use));
    list.add(
        {.key = "unit", .why = "As people write it: mg/L, umol/L, mL/L, % air, kPa, hPa, mmHg, degC ..."},
        FIELD(unit));
    list.add({.key = "channel", .why = "Name in \"trace:channel\"; its header when not set."},
             FIELD(channel));
    list.add({.key = "assumed_salinity",
              .unit = "practical salinity",
              .why = "Instead of the trace's.",
              .least = 0.0,
              .most = 50.0},
             FIELD(assumed_salinity));
    list.add({.key = "assumed_pressure_kpa",
              .unit = "kPa",
              .why = "Instead of the trace's.",
              .least = 30.0,
              .most = 120.0},
             FIELD(assumed_pressure));
    return list.take();
}

std::vector<SettingOf<TimetableEntry>> all_timetable_settings() {
    List<TimetableEntry> list;
    list.in("states.timetable");
    list.add({.key = "assembly", .why = "Whose; empty: of all that have none of their own."},
             FIELD(assembly));
    list.add(
        {.key = "period_s", .unit = "s", .why = "From one flush to the next.", .least = 1.0, .most = 86400.0},
        FIELD(period));
    list.add({.key = "flush_s",
              .unit = "s",
              .why = "Length of the flush at the start of each period.",
              .least = 1.0,
              .most = 86400.0},
             FIELD(flush));
    return list.take();
}

// What a question asks, then how.
void add_asked(List<Question>& list) {
    list.add(
        {.key = "name",
         .why = "By which declarations.csv and the report call it: short, begins with a letter or digit, no "
                "two are the same."},
        FIELD(name));
    list.add({.key = "ask",
              .why =
                  "The question as a sentence, for the report: \"Does the rig change the peak after "
                  "capture?\" Empty: made of the other keys. May be reworded later: what is declared is the "
                  "rest."},
             FIELD(ask));
    list.add({.key = "outcome",
              .why =
                  "The one column that answers: a number, a yes or no, a count, a score or a time. Choose it "
                  "before you look: of several that were tried, the best looks better than it is."},
             FIELD(outcome));
    list.add({.key = "compare",
              .why =
                  "The column whose effect is asked for: words make groups, numbers a slope. log(mass_g) is "
                  "allowed."},
             FIELD(compare));
    list.add({.key = "adjust_for",
              .why = "What else moves the outcome and was settled before the treatment: \"temperature_c\", "
                     "\"log(mass_g)\", \"rig x temperature_c\". Not what the treatment itself changes (fight "
                     "time): that would take away part of its effect. With few fish, few of them."},
             FIELD(adjust_for));
    list.add({.key = "within",
              .why =
                  "\"fish\": each fish is compared with itself under every level of compare; fish without a "
                  "pair are left out and named. Right when each was measured under all, wrong for groups of "
                  "different fish. Another column pairs by its values. Empty: no pairs."},
             FIELD(within));
    list.add(
        {.key = "reference",
         .why = "The level of compare that the others are compared with. Empty: the first, by the alphabet."},
        FIELD(reference));
    list.add(
        {.key = "random",
         .why = "What rows share that is not asked about: \"day\" (all fish of one day met the same water), "
                "\"fish\" (many spells of one fish). \"hours within fish\": each fish has a slope of its "
                "own. Left out, rows count as more evidence than they are."},
        FIELD(random));
}

void add_answered(List<Question>& list) {
    list.add({.key = "family",
              .why =
                  "What the outcome is like. automatic: by the outcome itself, and the report says which was "
                  "taken. normal: differences; log_normal: ratios, of values above 0; binomial: yes or no; "
                  "poisson and negative_binomial: counts; ordinal: scores in order; time: times of which "
                  "some are only known to be longer.",
              .words = words_of(QuestionFamily{})},
             FIELD(family));
    list.add(
        {.key = "order",
         .why = "Of an outcome of words that are scores: the words from least to most. Not said, words other "
                "than yes and no have no order, and are refused; numbers order themselves."},
        FIELD(order));
    list.add({.key = "family_of_tests",
              .why = "Questions that share this name are corrected together for being many (Holm 1979): of "
                     "twenty true nulls one comes out below 0.05 by chance. Empty: a family of its own."},
             FIELD(family_of_tests));
    list.add(
        {.key = "margin",
         .unit = "of the outcome",
         .why = "How much worse is still no harm, said before the numbers are known: in the outcome's unit, "
                "or as a ratio where the answer is one (0.8). \"No difference was found\" shows nothing; an "
                "interval inside a margin does. Needs better.",
         .least = 0.0},
        FIELD(margin));
    list.add({.key = "better",
              .why = "Which way is good for the fish, of the outcome; decides to which side margin lies.",
              .words = words_of(BetterIs{})},
             FIELD(better));
    list.add({.key = "effect_wanted",
              .unit = "of the outcome",
              .why =
                  "How large an effect another season should show: the finding then says how many fish that "
                  "takes at 80 and 90 % power, by how much values scatter here. In the outcome's unit, as "
                  "a ratio where the answer is one (1.2), of a yes or no as a difference of shares (-0.2). "
                  "What would matter to the fish, not what was found: of the effect that was found, power "
                  "says no more than p."},
             FIELD(effect_wanted));
    list.add(
        {.key = "weigh_by_uncertainty",
         .why = "Whether each value's own measurement uncertainty enters the model, so that a fish measured "
                "badly counts less."},
        FIELD(weigh_by_uncertainty));
}

std::vector<SettingOf<Meter>> all_meter_settings() {
    List<Meter> list;
    list.in("meter");
    list.add({.key = "device", .why = "Its name, as blood.csv has it in the column device."}, FIELD(device));
    list.add({.key = "analyte", .why = "What it measures.", .words = words_of(condition::Analyte{})},
             FIELD(analyte));
    list.add({.key = "unit", .why = "Of the pairs; not set: mmol/L, ng/mL of cortisol, % of haematocrit."},
             FIELD(unit));
    list.add({.key = "error_ratio",
              .why = "Variance of the meter's own error over that of the reference method: 1 where both err "
                     "alike, 6.25 for a meter that errs by 5 % against 2 %.",
              .least = 0.001,
              .most = 1000.0},
             FIELD(options.error_ratio));
    return list.take();
}

std::vector<SettingOf<Question>> all_question_settings() {
    List<Question> list;
    list.in("question");
    add_asked(list);
    add_answered(list);
    return list.take();
}

} // namespace

const std::vector<Setting>& settings() {
    static const std::vector<Setting> all = all_settings();
    return all;
}

const std::vector<SettingOf<TraceSource>>& trace_settings() {
    static const std::vector<SettingOf<TraceSource>> all = all_trace_settings();
    return all;
}

const std::vector<SettingOf<TraceColumn>>& trace_column_settings() {
    static const std::vector<SettingOf<TraceColumn>> all = all_trace_column_settings();
    return all;
}

const std::vector<SettingOf<TimetableEntry>>& timetable_settings() {
    static const std::vector<SettingOf<TimetableEntry>> all = all_timetable_settings();
    return all;
}

const std::vector<SettingOf<Meter>>& meter_settings() {
    static const std::vector<SettingOf<Meter>> all = all_meter_settings();
    return all;
}

const std::vector<SettingOf<Question>>& question_settings() {
    static const std::vector<SettingOf<Question>> all = all_question_settings();
    return all;
}

const std::vector<SectionDefinition>& sections() {
    static const std::vector<SectionDefinition> all{
        {"study", "What this is."},
        {"water", "Salinity and pressure: of each a constant or a trace. Each can cost per cents, silently."},
        {"states", "How flush and sealed are told apart."},
        {"settle",
         "What is set aside at the start of a sealed spell, while water mixes and the sensor catches up."},
        {"roles", "Oxygen floors by what a stretch is for."},
        {"marks", "When a sealed spell is doubtful or unusable."},
        {"background", "What the microbes took."},
        {"noise", "The noise model of each sensor, from blanks and long spells."},
        {"peak", "Peak uptake (MMR): the steepest window inside one sealed spell."},
        {"resting", "Resting uptake (SMR): estimators, rule, cut-off and bootstrap."},
        {"recovery", "Excess uptake and time to recovery."},
        {"continuous", "Uptake as a curve in time, beside the uptake by spell."},
        {"adjust", "To another temperature or mass, always beside the measured value."},
        {"plausible", "Bounds outside of which a number deserves a second look."},
        {"readings", "What a reading can be: outside, it goes into no slope, is counted and told."},
        {"uncertainty", "Standard uncertainties where tables and traces give none."},
        {"blood", "What the permit says of blood."},
        {"permit", "What the permit allows besides blood. The program counts and reminds; whoever holds the "
                   "permit decides."},
        {"plates", "How assay plates are read back."},
        {"fins", "How fins are scored."},
        {"body", "How scale loss and eyes are scored."},
        {"reflexes", "Which reflexes are tested."},
        {"fates", "What shows that a fish lives, and of which times deaths are counted."},
        {"deck", "What the boat's log, Deck, offers to tap. Whatever is not offered can be typed."},
        {"report", "What the report shows."}};
    return all;
}

const std::vector<SettingBounds>& setting_bounds() {
    static const std::vector<SettingBounds> all{
        {"marks", "too_few_readings", "few_readings"},
        {"plausible", "resting_least_mg_per_kg_h", "resting_most_mg_per_kg_h"},
        {"plausible", "peak_least_mg_per_kg_h", "peak_most_mg_per_kg_h"},
        {"plausible", "factorial_scope_least", "factorial_scope_most"},
        {"readings", "oxygen_least_percent", "oxygen_most_percent"},
        {"readings", "temperature_least_c", "temperature_most_c"}};
    return all;
}

const Setting* find_setting(const std::string& section, const std::string& key) {
    for (const auto& candidate : settings()) {
        if (candidate.section == section && candidate.key == key) {
            return &candidate;
        }
    }
    return nullptr;
}

namespace {

std::string quoted(const std::string& text) {
    std::string out = "\"";
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (c == '"' || c == '\\') {
            out += '\\';
            out += c;
        } else if (byte < 0x20 || byte == 0x7F) {
            out += fmt::format("\\u{:04X}", static_cast<unsigned>(byte));
        } else {
            out += c;
        }
    }
    return out + "\"";
}

template <typename T, typename Text>
std::string list_text(const std::vector<T>& values, Text text) {
    std::string out = "[";
    for (std::size_t i = 0; i < values.size(); ++i) {
        out += (i == 0 ? "" : ", ") + text(values[i]);
    }
    return out + "]";
}

struct TomlText {
    std::string operator()(std::monostate) const { return {}; }
    std::string operator()(bool value) const { return value ? "true" : "false"; }
    std::string operator()(std::int64_t value) const { return std::to_string(value); }
    std::string operator()(double value) const { return exact_text(value); }
    std::string operator()(const std::string& value) const { return quoted(value); }
    std::string operator()(const std::vector<double>& values) const {
        return list_text(values, [](double v) { return exact_text(v); });
    }
    std::string operator()(const std::vector<std::string>& values) const { return list_text(values, quoted); }
};

} // namespace

std::string toml_text(const SettingValue& value) {
    return std::visit(TomlText{}, value);
}

namespace {

std::string shown(const SettingValue& value) {
    auto text = toml_text(value);
    return text.empty() ? std::string("not set") : text;
}

void add_of_seasons(const Brief& brief, std::vector<SettingUsed>& out) {
    const Brief defaults;
    for (const auto& season : brief.seasons) {
        for (const auto& line : season.overrides) {
            const auto* setting = find_setting(line.section, line.key);
            if (setting == nullptr) {
                continue;
            }
            out.push_back({.section = "season " + season.label() + ": " + line.section,
                           .key = line.key,
                           .value = shown(line.value),
                           .unit = setting->unit,
                           .default_value = shown(setting->get(defaults)),
                           .why = "Instead, for stays that begin from " + iso_text(season.from) + " up to " +
                                  iso_text(season.to) + ". " + setting->why,
                           .is_default = false});
        }
    }
}

void add_of_meters(const Brief& brief, std::vector<SettingUsed>& out) {
    for (const auto& meter : brief.meters) {
        const auto unit = meter.unit.empty() ? std::string(condition::usual_unit(meter.analyte)) : meter.unit;
        const auto section = fmt::format("meter {}: {}", meter.device, word_of(meter.analyte));
        out.push_back({.section = section,
                       .key = "pairs",
                       .value = list_text(meter.pairs,
                                          [](const condition::MeterPair& pair) {
                                              return toml_text(std::vector{pair.meter, pair.reference});
                                          }),
                       .unit = unit,
                       .default_value = "not set",
                       .why = "Samples read by the meter and by the reference method, which set it right.",
                       .is_default = false});
        out.push_back({.section = section,
                       .key = "error_ratio",
                       .value = exact_text(meter.options.error_ratio),
                       .default_value = exact_text(condition::MeterOptions{}.error_ratio),
                       .why = "Variance of the meter's own error over that of the reference method.",
                       .is_default = meter.options.error_ratio == condition::MeterOptions{}.error_ratio});
    }
}

// What a question leaves at its default says nothing of it: it is left out.
void add_of_questions(const Brief& brief, std::vector<SettingUsed>& out) {
    const Question defaults;
    for (const auto& question : brief.questions) {
        for (const auto& setting : question_settings()) {
            const auto value = setting.get(question);
            const auto usual = setting.get(defaults);
            if (setting.key == "name" || value == usual) {
                continue;
            }
            out.push_back({.section = "question " + question.name,
                           .key = setting.key,
                           .value = shown(value),
                           .unit = setting.unit,
                           .default_value = shown(usual),
                           .why = setting.why,
                           .is_default = false});
        }
    }
}

} // namespace

std::vector<SettingUsed> settings_used(const Brief& brief) {
    const Brief defaults;
    std::vector<SettingUsed> out;
    for (const auto& setting : settings()) {
        const auto value = setting.get(brief);
        const auto usual = setting.get(defaults);
        out.push_back({.section = setting.section,
                       .key = setting.key,
                       .value = shown(value),
                       .unit = setting.unit,
                       .default_value = shown(usual),
                       .why = setting.why,
                       .is_default = value == usual});
    }
    add_of_seasons(brief, out);
    add_of_meters(brief, out);
    add_of_questions(brief, out);
    return out;
}

namespace {

bool is_of_analysis(const std::string& section) {
    constexpr std::string_view others[] = {"study",  "water", "plausible", "blood",
                                           "permit", "deck",  "report"};
    return std::ranges::find(others, section) == std::end(others);
}

} // namespace

std::string analysis_form(const Brief& brief) {
    const Brief defaults;
    std::string out;
    for (const auto& setting : settings()) {
        const auto value = setting.get(brief);
        if (is_of_analysis(setting.section) && value != setting.get(defaults)) {
            out += fmt::format("{}.{} = {}\n", setting.section, setting.key, shown(value));
        }
    }
    for (const auto& season : brief.seasons) {
        for (const auto& line : season.overrides) {
            if (is_of_analysis(line.section)) {
                out += fmt::format("season {} {} {}: {}.{} = {}\n", season.name, iso_text(season.from),
                                   iso_text(season.to), line.section, line.key, shown(line.value));
            }
        }
    }
    return out;
}

std::string why_not_by_season(const std::string& section, const std::string& key) {
    if (section == "study") {
        return "title, place, zone and the like hold for the whole study: all its tables are read by them";
    }
    if (section == "report") {
        return "there is one report of the whole study";
    }
    if (section == "water" && key.starts_with("inflow_")) {
        return "the inflow is one trace for the whole study, which may have as many files as it likes";
    }
    if (section == "fins" || section == "body" || section == "reflexes" || section == "fates") {
        return "fish scored in two ways could not be put together";
    }
    if (section == "plates") {
        return "a plate is run when it is run, with samples of any season on it";
    }
    if (section == "permit") {
        return "what is counted against it is the whole study's";
    }
    if (section == "deck") {
        return "Deck offers what there is today; the fish's own rows keep what was used";
    }
    if (section == "readings") {
        return "a raw file is read once, for all stays in it";
    }
    return {};
}

} // namespace backeddy::study
