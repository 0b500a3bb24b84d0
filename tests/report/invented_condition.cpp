#include "report/invented_condition.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <ranges>

#include <fmt/format.h>

#include "base/random.hpp"

namespace backeddy::report {

namespace {

Number between(double value, double low, double high, std::string unit, std::string method = {}) {
    Number out = number(value, std::move(unit), std::move(method));
    out.interval = Interval{.low = low, .high = high, .method = "curve and replicates"};
    return out;
}

// ---------------------------------------------------------------- plates

/// Four parameters, falling: the more cortisol, the less colour.
constexpr double at_zero = 2.0;
constexpr double at_endless = 0.1;
constexpr double middle_ng_per_ml = 8.0;
constexpr double steepness = 1.1;
constexpr double dilution = 10.0;

double response_at(double concentration) {
    return at_endless +
           (at_zero - at_endless) / (1.0 + std::pow(concentration / middle_ng_per_ml, steepness));
}

double concentration_at(double response) {
    return middle_ng_per_ml *
           std::pow((at_zero - at_endless) / (response - at_endless) - 1.0, 1.0 / steepness);
}

struct PlatePlan {
    std::string id;
    double bad_standard = 0.0; ///< its concentration; 0: none
    double edge = 0.0;         ///< outer wells' response over inner ones', less 1
    std::uint64_t stream = 0;
};

/// A plate under construction: wells are filled by pairs, left to right.
class Plate {
  public:
    explicit Plate(PlatePlan plan) : plan_(std::move(plan)), random_(310, plan_.stream) {
        plate.id = plan_.id;
    }

    /// A pair of wells in `row` from `column`, at the mean response of their content.
    std::vector<PlateWell> pair(std::uint64_t row, std::uint64_t column, const std::string& kind,
                                const std::string& label, double mean) {
        std::vector<PlateWell> wells;
        for (const std::uint64_t place : {column, column + 1}) {
            const bool is_outer = row == 0 || row == 7 || place == 0 || place == 11;
            const double response =
                mean * (1.0 + 0.008 * random_.normal()) * (is_outer ? 1.0 + plan_.edge : 1.0);
            wells.push_back({.name = fmt::format("{}{}", static_cast<char>('A' + row), place + 1),
                             .row = row + 1,
                             .column = place + 1,
                             .kind = kind,
                             .label = label,
                             .response = response});
        }
        const double centre = 0.5 * (std::log(*wells[0].response) + std::log(*wells[1].response));
        for (PlateWell& well : wells) {
            well.residual = std::log(*well.response) - centre;
            plate.wells.push_back(well);
        }
        return wells;
    }

    [[nodiscard]] const PlatePlan& plan() const { return plan_; }
    AssayPlate plate;

  private:
    PlatePlan plan_;
    Random random_;
};

double mean_of(const std::vector<PlateWell>& wells) {
    return 0.5 * (*wells[0].response + *wells[1].response);
}

Number cv_of(const std::vector<PlateWell>& wells) {
    const double half = std::abs(*wells[0].response - *wells[1].response) / std::sqrt(2.0);
    return number(100.0 * half / mean_of(wells), "%");
}

std::vector<std::string> names_of(const std::vector<PlateWell>& wells) {
    return {wells[0].name, wells[1].name};
}

Number read_from_curve(double response, double times, const std::string& unit) {
    if (response >= response_at(0.78)) {
        return no_number(fmt::format("below {:.2g}", 0.78 * times), unit);
    }
    const double value = times * concentration_at(response);
    return between(value, 0.87 * value, 1.16 * value, unit, "read from the curve, the dilution undone");
}

void add_standard(Plate& out, std::uint64_t row, double concentration) {
    const bool is_bad = concentration > 0.0 && concentration == out.plan().bad_standard;
    const auto wells =
        out.pair(row, 0, concentration > 0.0 ? "standard" : "zero", fmt::format("{:.4g}", concentration),
                 response_at(concentration) * (is_bad ? 0.72 : 1.0));
    PlateStandard standard{.concentration = concentration,
                           .wells = names_of(wells),
                           .responses = {*wells[0].response, *wells[1].response},
                           .response = number(mean_of(wells), ""),
                           .cv_percent = cv_of(wells),
                           .read_back = no_number("the zero wells", "ng/mL"),
                           .recovery_percent = no_number("the zero wells", "%")};
    if (concentration > 0.0) {
        const double back = concentration_at(std::min(mean_of(wells), 0.99 * at_zero));
        standard.read_back = number(back, "ng/mL");
        standard.recovery_percent = number(100.0 * back / concentration, "%");
        standard.is_accepted = std::abs(back / concentration - 1.0) <= 0.25;
        if (!standard.is_accepted) {
            standard.remarks = {fmt::format("read back as {:.0f} % of what it should be; 80 to 120 % is "
                                            "asked",
                                            100.0 * back / concentration)};
        }
        for (const PlateWell& well : wells) {
            out.plate.residuals.push_back(
                {.concentration = concentration,
                 .percent = 100.0 * (*well.response / response_at(concentration) - 1.0),
                 .well = well.name});
        }
    }
    out.plate.standards.insert(out.plate.standards.begin(), standard);
}

PlateDilution diluted(const std::vector<PlateWell>& wells, double times) {
    return {.dilution = times,
            .wells = names_of(wells),
            .response = number(mean_of(wells), ""),
            .cv_percent = cv_of(wells),
            .concentration = read_from_curve(mean_of(wells), times, "ng/mL")};
}

void add_samples(Plate& out, const Results& results) {
    std::size_t index = 0;
    for (const Fish& fish : results.fish | std::views::take(24)) {
        const std::uint64_t row = 1 + index % 6;
        const std::uint64_t column = 2 + 2 * (index / 6 % 4);
        const double true_value = index == 2 ? 0.3 : 4.0 + 2.5 * static_cast<double>(index % 5);
        const auto wells = out.pair(row, column, "sample", "pl-" + fish.id, response_at(true_value));
        PlateMaterial sample{.kind = "sample",
                             .label = "pl-" + fish.id,
                             .fish = fish.id,
                             .dilutions = {diluted(wells, dilution)},
                             .expected = no_number("not known", "ng/mL"),
                             .recovery_percent = no_number("nothing to hold it against", "%"),
                             .change_per_doubling_percent = no_number("fewer than three dilutions", "%")};
        sample.concentration = sample.dilutions[0].concentration;
        if (index == 0) {
            for (const double times : {20.0, 40.0}) {
                const auto more = out.pair(times > 30.0 ? 7 : 0, 10, "sample", sample.label,
                                           response_at(true_value * dilution / times));
                sample.dilutions.push_back(diluted(more, times));
            }
            sample.change_per_doubling_percent = between(4.1, -3.2, 12.0, "%");
            sample.parallel = "undecided";
        }
        if (!sample.concentration.has_value()) {
            sample.remarks = {"its response lies above that of the lowest standard"};
        }
        out.plate.samples.push_back(sample);
        ++index;
    }
}

void add_controls(Plate& out) {
    for (const auto& [label, value, column] :
         {std::tuple{"low control", 3.0, std::uint64_t{2}}, {"high control", 15.0, std::uint64_t{4}}}) {
        const auto wells = out.pair(7, column, "control", label, response_at(value));
        PlateMaterial control{.kind = "control",
                              .label = label,
                              .dilutions = {diluted(wells, 1.0)},
                              .expected = number(value, "ng/mL"),
                              .change_per_doubling_percent = no_number("fewer than three dilutions", "%")};
        control.concentration = control.dilutions[0].concentration;
        const double recovery = 100.0 * control.concentration.value.value_or(0.0) / value;
        control.recovery_percent = between(recovery, 0.88 * recovery, 1.14 * recovery, "%");
        control.is_accepted = std::abs(recovery - 100.0) <= 20.0;
        out.plate.controls.push_back(control);
    }
    const auto wells = out.pair(7, 6, "spiked", "pl-st01 + 5", response_at(9.0));
    PlateMaterial spike{.kind = "spiked",
                        .label = "pl-st01 + 5",
                        .dilutions = {diluted(wells, dilution)},
                        .expected = number(50.0, "ng/mL"),
                        .recovery_percent = between(93.0, 78.0, 109.0, "%"),
                        .is_accepted = true,
                        .change_per_doubling_percent = no_number("fewer than three dilutions", "%")};
    spike.concentration = spike.dilutions[0].concentration;
    out.plate.spikes.push_back(spike);
}

void add_curve(AssayPlate& plate) {
    plate.curve_kind = "four-parameter logistic";
    const std::tuple<const char*, const char*, double, double, const char*> parameters[] = {
        {"at_zero", "response at no concentration", at_zero, 0.03, ""},
        {"at_endless", "response at endless concentration", at_endless, 0.02, ""},
        {"middle", "concentration halfway between", middle_ng_per_ml, 0.4, "ng/mL"},
        {"steepness", "steepness", steepness, 0.05, ""}};
    for (const auto& [word, title, value, error, unit] : parameters) {
        plate.parameters.push_back(
            {.word = word, .title = title, .number = number(Measured(value, error, "curve"), unit)});
    }
    plate.weights = "variance goes with the 1.5th power of the response: too few replicates to estimate it";
    for (double x = 0.5; x < 60.0; x *= 1.2) {
        const double y = response_at(x);
        plate.curve.x.push_back(x);
        plate.curve.y.push_back(y);
        plate.curve.low.push_back(0.97 * y);
        plate.curve.high.push_back(1.03 * y);
    }
}

AssayPlate make_plate(const PlatePlan& plan, const Results& results) {
    Plate out(plan);
    std::uint64_t row = 0;
    for (const double concentration : {50.0, 25.0, 12.5, 6.25, 3.125, 1.5625, 0.78125, 0.0}) {
        add_standard(out, row++, concentration);
    }
    out.pair(0, 2, "blank", "", 0.05);
    out.pair(0, 4, "blank", "", 0.05);
    out.plate.wells.back().excluded = "bubble";
    out.plate.wells.back().residual.reset();
    add_samples(out, results);
    add_controls(out);
    AssayPlate& plate = out.plate;
    plate.file = "plates/" + plan.id + ".csv";
    plate.analyte = "cortisol";
    plate.unit = "ng/mL";
    plate.run_at = parse_iso("2026-07-02T09:30:00Z").value_or(Instant{});
    plate.who = "the assayer";
    plate.understood = {"a grid of 8 by 12; comma; decimal point", "plate map: one row per well"};
    plate.excluded = {"A6: bubble"};
    add_curve(plate);
    plate.edge_percent =
        between(100.0 * plan.edge + 0.3, 100.0 * plan.edge - 2.2, 100.0 * plan.edge + 2.8, "%");
    plate.is_edge_clear = plan.edge > 0.0;
    plate.limits = {
        {"detection: mean of the zero wells less 3 sd, as the curve reads it", number(0.21, "ng/mL")},
        {"quantification: mean of the zero wells less 10 sd, as the curve reads it",
         no_number("beyond the curve", "ng/mL")}};
    plate.quantified_from = number(0.78125, "ng/mL");
    plate.quantified_to = number(50.0, "ng/mL");
    plate.blank = number(0.05, "");
    plate.response_cv_percent = number(2.3, "%");
    plate.concentration_cv_percent = number(4.6, "%");
    if (plate.is_edge_clear) {
        plate.remarks = {"outer wells read higher than inner ones: look at what stands at the edge"};
    }
    return plate;
}

AssayPlate unanswered_plate() {
    AssayPlate plate{.id = "P3",
                     .file = "plates/P3.csv",
                     .analyte = "cortisol",
                     .unit = "ng/mL",
                     .unanswered = "the plate map names no standard: add rows of kind \"standard\""};
    const auto none = no_number("the plate could not be worked out", "ng/mL");
    plate.edge_percent = plate.quantified_from = plate.quantified_to = none;
    plate.blank = plate.response_cv_percent = plate.concentration_cv_percent = none;
    plate.wells = {{.name = "A1", .kind = "sample", .label = "pl-st01", .response = 0.9}};
    return plate;
}

// ---------------------------------------------------------------- fish

BloodValue blood_value(std::string analyte, Number value, double low, double high, std::size_t line) {
    return {.analyte = std::move(analyte),
            .matrix = "plasma",
            .value = value,
            .device = "handheld meter",
            .haemolysis = "none",
            .from = fmt::format("blood.csv, line {}", line),
            .range_low = number(low, value.unit),
            .range_high = number(high, value.unit),
            .range_source = "invented for the example",
            .is_outside_range = value.value && (*value.value < low || *value.value > high)};
}

BloodValue cortisol(const AssayPlate& plate, std::size_t index) {
    const PlateMaterial& sample = plate.samples[index];
    BloodValue out = blood_value("cortisol", sample.concentration, 2.0, 250.0, 0);
    if (!out.value.has_value()) {
        out.below = 7.8;
        out.value = no_number("below 7.8 ng/mL", "ng/mL");
    }
    out.device.clear();
    out.sample = sample.label;
    out.plate = plate.id;
    out.wells = sample.dilutions[0].wells;
    out.from = fmt::format("plate {}, wells {} and {}; samples.csv, line {}", plate.id, out.wells[0],
                           out.wells[1], index + 2);
    return out;
}

BloodDraw draw(Instant hook_up, double minutes, double ml_per_kg, double before) {
    return {.at = hook_up + Duration::minutes(minutes),
            .since_hook_up_min = number(Measured(minutes, 0.5, "clock"), "min"),
            .since_sealed_min = number(Measured(minutes - 5.4, 0.5, "clock"), "min"),
            .volume_ml = number(ml_per_kg, "mL"),
            .ml_per_kg = number(ml_per_kg, "mL/kg"),
            .drawn_ml_per_kg = number(before + ml_per_kg, "mL/kg"),
            .ceiling_ml_per_kg = number(1.5, "mL/kg"),
            .is_over_ceiling = before + ml_per_kg > 1.5,
            .who = "the scientist"};
}

void add_blood(Fish& fish, std::size_t index, const std::vector<AssayPlate>& plates) {
    BloodDraw first = draw(*fish.time_zero, 67.0, 1.0, 0.0);
    first.is_first_after_event = true;
    fish.condition.bled_before = {{.word = "peak_after_capture",
                                   .title = "drawn before the peak after capture",
                                   .number = number(0.0, "mL/kg")}};
    if (index < plates[0].samples.size()) {
        first.values.push_back(cortisol(plates[0], index));
    }
    first.values.insert(
        first.values.end(),
        {blood_value("lactate", number(4.2 + static_cast<double>(index % 4), "mmol/L"), 0.2, 25.0, index + 2),
         blood_value("glucose", number(5.1, "mmol/L"), 1.5, 20.0, index + 2)});
    if (index == 1) {
        first.values[1].as_written = "47 mg/dL";
        first.values[2].value = number(26.0, "mmol/L");
        first.values[2].is_outside_range = true;
        first.values[2].notes = {"outside the published range: look before believing"};
        first.values[2].haemolysis = "marked";
    }
    fish.condition.draws.push_back(first);
    if (index == 0) {
        BloodDraw second = draw(*fish.time_zero, 150.0, 0.8, 1.0);
        second.values = {cortisol(plates[1], index)};
        second.notes = {"over the permit's ceiling of 1.5 mL/kg with the draw before it"};
        fish.condition.draws.push_back(second);
    }
}

const std::array<std::string, 4> fin_words{"whole", "frayed edge", "split", "part missing"};

std::string title_of(std::string word) {
    std::ranges::replace(word, '_', ' ');
    return word;
}

ScoredLook look(const std::vector<std::string>& words, std::string occasion, std::string scorer, Instant when,
                std::uint64_t shift) {
    ScoredLook out{.occasion = std::move(occasion), .scorer = std::move(scorer), .at = when};
    std::uint64_t sum = 0;
    std::uint64_t worst = 0;
    for (std::size_t i = 0; i < words.size(); ++i) {
        const std::uint64_t level = (i * 5 + shift) % 7 % 3;
        out.places.push_back(
            {.word = words[i], .title = title_of(words[i]), .level = level, .level_word = fin_words[level]});
        if (level == 2) {
            out.places.back().marks = {"split", "net marks"};
        }
        sum += level;
        worst = std::max(worst, level);
    }
    out.mean = number(static_cast<double>(sum) / static_cast<double>(words.size()), "");
    out.sum = number(static_cast<double>(sum), "");
    out.worst = worst;
    return out;
}

void add_scores(Fish& fish, std::size_t index) {
    const std::vector<std::string> fins{"dorsal",         "caudal",      "anal",        "left_pectoral",
                                        "right_pectoral", "left_pelvic", "right_pelvic"};
    const std::vector<std::string> body{"head",  "back",     "left_flank", "right_flank",
                                        "belly", "left_eye", "hook_wound"};
    const Instant landing = *fish.time_zero + Duration::minutes(6.0);
    fish.condition.fins.push_back(look(fins, "landing", "A", landing, index));
    if (index < 3) {
        fish.condition.fins.push_back(look(fins, "landing", "B", landing, index + 1));
    }
    if (fish.fate.word != "died") {
        fish.condition.fins.push_back(
            look(fins, "after_holding", "A", *fish.fate.at - Duration::minutes(5.0), index + 2));
    }
    if (index == 2) {
        ScoredLook& partly = fish.condition.fins.front();
        partly.places.back() = {.word = "right_pelvic", .title = "right pelvic"};
        partly.sum = no_number("right pelvic not scored", "");
        partly.note = "not scored: right pelvic";
    }
    fish.condition.body.push_back(look(body, "landing", "A", landing, index + 3));
}

void add_reflexes(Fish& fish, std::size_t index) {
    ReflexLook out{.at = *fish.time_zero + Duration::minutes(8.0),
                   .tests = {{"righting", index == 4 ? "lost" : "there"},
                             {"tail grab", index % 2 == 0 ? "there" : "lost"},
                             {"head complex", index == 1 ? "not tested" : "there"}}};
    const auto count = [&](std::string_view word) {
        return static_cast<double>(std::ranges::count(out.tests, word, &NamedText::text));
    };
    const double lost = count("lost");
    const double missing = count("not tested");
    out.impaired_percent = number(100.0 * lost / (3.0 - missing), "%");
    out.can_be_low_percent = number(100.0 * lost / 3.0, "%");
    out.can_be_high_percent = number(100.0 * (lost + missing) / 3.0, "%");
    fish.condition.reflexes.push_back(out);
}

void add_handling(Fish& fish, std::size_t index) {
    fish.condition.handling = {
        {.word = "fight_s",
         .title = "fight",
         .by_events = number(Measured(156.0, 7.0, "clock"), "s"),
         .typed = index == 3 ? number(600.0, "s") : no_number("not typed", "s"),
         .disagreement =
             index == 3 ? "fight: 156 s by the events, 600 s typed; they cannot both be right" : ""},
        {.word = "air_s",
         .title = "air",
         .by_events = no_number("no air spell was recorded: nobody may have looked", "s"),
         .typed = number(30.0, "s")}};
    if (index == 3) {
        fish.condition.doubts = {"back in water at 15:39 before landed at 15:40: one of the two is wrong"};
    }
}

void add_fate(Fish& fish, std::size_t index) {
    KnownFate fate{.ending = "alive",
                   .last_alive = fish.fate.at,
                   .released = fish.fate.at,
                   .stage = "after_release",
                   .tags = {"external T-bar " + fish.tag.substr(8)}};
    if (fish.fate.word == "died") {
        fate = {.ending = "dead",
                .last_alive = *fish.time_zero + Duration::minutes(408.0),
                .found_dead = *fish.time_zero + Duration::minutes(450.0),
                .stage = "chamber",
                .cause = "not known"};
        fish.condition.reminders = {"Righting was lost: whether an end point of the permit is reached is "
                                    "for the permit's holder to decide, now."};
    } else if (index == 3) {
        fate.ending = "lost";
        fate.lost = *fish.fate.at + Duration::hours(24.0);
        fate.doubts = {"detected on tag 0103 before it was tagged"};
    }
    fish.condition.fate = fate;
}

// ---------------------------------------------------------------- the study

void add_analytes(StudyCondition& study, const std::vector<Group>& groups, std::size_t fish) {
    const auto row = [&](std::string group, bool is_all, std::uint64_t count) {
        study.analytes.push_back(
            {.analyte = "cortisol",
             .matrix = "plasma",
             .group = std::move(group),
             .is_all = is_all,
             .fish = count,
             .below = is_all ? 1U : 0U,
             .median = number(89.0, "ng/mL"),
             .lower_quartile =
                 is_all ? number(61.0, "ng/mL") : no_number("it lies among values below a limit", "ng/mL"),
             .upper_quartile = number(118.0, "ng/mL"),
             .minutes_since_hook_up = number(67.0, "min")});
    };
    row("", true, fish);
    for (const Group& group : groups) {
        row(group.key, false, (fish + 3) / 4);
    }
}

void add_mortality(StudyCondition& study, const std::vector<Fish>& fish) {
    const auto dead = static_cast<std::uint64_t>(
        std::ranges::count_if(fish, [](const Fish& each) { return each.fate.word == "died"; }));
    const std::uint64_t all = std::max<std::uint64_t>(fish.size(), 1);
    const double percent = all > 1 ? 100.0 * static_cast<double>(dead) / static_cast<double>(all - 1) : 0.0;
    const double of_all = 100.0 / static_cast<double>(all);
    study.mortality = {
        {.from = "from capture",
         .horizon_h = 24.0,
         .dead = dead,
         .known = all - 1,
         .unknown = 1,
         .percent = between(percent, 0.3 * percent, std::min(100.0, percent + 45.0), "%", "invented limits"),
         .can_be_low_percent = number(of_all * static_cast<double>(dead), "%"),
         .can_be_high_percent = number(of_all * static_cast<double>(dead + 1), "%"),
         .corrected_percent = no_number("no group is named as the control", "%"),
         .relative_risk = no_number("of all fish", "")}};
}

void add_points(Results& results) {
    for (const Fish& fish : results.fish) {
        results.condition.points.push_back(
            {.fish = fish.id,
             .group = fish.group,
             .fin_mean = fish.condition.fins[0].mean.value,
             .impaired_percent = fish.condition.reflexes[0].impaired_percent.value,
             .peak_after_capture = fish.metrics.peaks[0].uptake_mg_per_kg_h.value,
             .recovery_h = fish.metrics.recoveries.empty()
                               ? std::nullopt
                               : fish.metrics.recoveries[0].baselines[0].hours_by_data.value});
    }
}

} // namespace

void add_invented_condition(Results& results) {
    StudyCondition& study = results.condition;
    study.has_any = true;
    study.plates = {make_plate({.id = "P1", .bad_standard = 6.25, .stream = 1}, results),
                    make_plate({.id = "P2", .edge = 0.07, .stream = 2}, results), unanswered_plate()};
    for (std::size_t i = 0; i < results.fish.size(); ++i) {
        Fish& fish = results.fish[i];
        add_blood(fish, i, study.plates);
        add_scores(fish, i);
        add_reflexes(fish, i);
        add_handling(fish, i);
        add_fate(fish, i);
    }
    study.inter_assay = {{.analyte = "cortisol",
                          .label = "low control",
                          .plates = 2,
                          .wells = 4,
                          .mean = number(3.1, "ng/mL"),
                          .cv_of_means_percent = number(5.2, "%"),
                          .within_percent = number(4.4, "%"),
                          .between_percent = number(4.1, "%"),
                          .total_percent = number(6.0, "%"),
                          .left_out = {"Q7: not all of its wells lie on the curve"}}};
    add_analytes(study, results.groups, results.fish.size());
    study.agreements = {{.of = "fins",
                         .first = "A",
                         .second = "B",
                         .fish = 3,
                         .pairs = 20,
                         .same = 13,
                         .kappa = number(0.62, ""),
                         .note = "three fish are too few for an interval"}};
    add_mortality(study, results.fish);
    add_points(results);
    study.fin_scale = {fin_words.begin(), fin_words.end()};
    study.body_scale = study.fin_scale;
    study.cautions = {"Blood is drawn by trained hands named on the permit."};
    study.notes = {"Haemolysis was not written down of 2 samples."};
}

} // namespace backeddy::report
