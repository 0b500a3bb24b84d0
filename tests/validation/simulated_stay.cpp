#include "validation/simulated_stay.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "base/random.hpp"
#include "chamber/chamber.hpp"
#include "chamber/sensor.hpp"
#include "water/oxygen.hpp"

namespace backeddy::validation {

namespace {

double between(Random& random, double from, double to) {
    return from + ((to - from) * random.uniform());
}

struct Span {
    double from_s = 0.0;
    double to_s = 0.0;
};

/// Seconds of the three parts and of the flushes between the sealed spells.
struct Timeline {
    std::vector<Span> parts;
    std::vector<Span> sealed;
    double flush_s = 0.0;
    double end_s = 0.0;
};

Timeline timeline_of(const Scenario& scenario) {
    const bool fast = uptake::is_fast(scenario.role);
    const double blank_sealed_s = fast ? 900.0 : 1800.0;
    const int spells = 8;
    Timeline line{.flush_s = fast ? 150.0 : 300.0};
    double t = 0.0;
    const auto cycles = [&](int count, double sealed_s, bool at_once) {
        const double from = t;
        for (int i = 0; i < count; ++i) {
            if (i > 0 || !at_once) {
                t += line.flush_s;
            }
            line.sealed.push_back({t, t + sealed_s});
            t += sealed_s;
        }
        t += line.flush_s;
        line.parts.push_back({from, t});
    };
    cycles(2, blank_sealed_s, false);
    cycles(spells, scenario.sealed_s, fast);
    cycles(2, blank_sealed_s, false);
    line.end_s = t;
    return line;
}

struct Truth {
    double volume_l = 0.0;
    double loop_l = 0.0;
    double mass_kg = 0.0;
    double density_kg_per_l = 0.0;
    double temperature_c = 0.0;
    double drift_c_per_h = 0.0;
    double salinity = 0.0;
    double pressure_kpa = 0.0;
    double gain = 1.0;
    double zero_percent = 0.0;
    double lag_s = 0.0;
    chamber::Microbes microbes;

    [[nodiscard]] double temperature_at(double t_s) const {
        return temperature_c + (drift_c_per_h * t_s / 3600.0);
    }
    [[nodiscard]] double full_at(double t_s) const {
        return water::saturation_mg_per_l(temperature_at(t_s), salinity, pressure_kpa);
    }
};

chamber::Fish fish_of(const Scenario& scenario, const Truth& truth, const Timeline& line, Random& random) {
    chamber::Fish fish{.mass_kg = truth.mass_kg, .density_kg_per_l = truth.density_kg_per_l};
    fish.resting_mg_per_h = truth.mass_kg * between(random, 50.0, 110.0);
    const auto& stay = line.parts[1];
    if (uptake::is_fast(scenario.role)) {
        const double excess = fish.resting_mg_per_h * between(random, 2.0, 6.0);
        fish.excesses.push_back(
            {.at_s = stay.from_s - between(random, 40.0, 150.0),
             .rise_s = between(random, 20.0, 60.0),
             .phases = {{.amplitude_mg_per_h = 0.6 * excess, .rate_per_h = between(random, 2.0, 5.0)},
                        {.amplitude_mg_per_h = 0.4 * excess, .hold_s = 600.0, .rate_per_h = 0.4}}});
    } else {
        fish.excesses.push_back(
            {.at_s = stay.from_s - (5.0 * 3600.0),
             .phases = {{.amplitude_mg_per_h = fish.resting_mg_per_h, .rate_per_h = 0.4}}});
        for (auto& bout : chamber::draw_bouts(
                 random, {.bouts_per_h = 0.5, .amplitude_mg_per_h = 0.3 * fish.resting_mg_per_h}, stay.from_s,
                 stay.to_s)) {
            fish.excesses.push_back(std::move(bout));
        }
    }
    return fish;
}

/// Oxygen at the sensor, mg/L, through the three parts.
Expected<std::vector<double>> sensed(const Truth& truth, const Timeline& line,
                                     const chamber::Respiration& respiration, double loop_flow,
                                     const std::vector<double>& times) {
    const double flow = 3.2 * truth.volume_l / (line.flush_s / 60.0);
    std::vector<chamber::FlowChange> flows{{.at_s = 0.0, .flow_l_per_min = flow}};
    for (const auto& sealed : line.sealed) {
        flows.push_back({.at_s = sealed.from_s, .flow_l_per_min = 0.0});
        flows.push_back({.at_s = sealed.to_s, .flow_l_per_min = flow});
    }
    std::vector<double> all;
    std::size_t next = 0;
    std::optional<chamber::State> state;
    for (std::size_t p = 0; p < line.parts.size(); ++p) {
        const bool has_fish = p == 1;
        const double fish_l = has_fish ? respiration.fish().volume_l() : 0.0;
        const chamber::Vessel vessel{.cells_l = {truth.volume_l - fish_l, truth.loop_l},
                                     .sensor_cell = 1,
                                     .round_flow_l_per_min = loop_flow,
                                     .sensor_lag_s = truth.lag_s};
        if (!state) {
            state = chamber::level_state(vessel, 0.0, 0.98 * truth.full_at(0.0));
        }
        chamber::Forces forces{.microbes_mg_per_h = [&](double t) { return truth.microbes.at(t); },
                               .inflow_mg_per_l = [&](double t) { return 0.98 * truth.full_at(t); }};
        if (has_fish) {
            forces.fish_mg_per_h = [&](double t) { return respiration.at(t); };
            forces.breaks_s = respiration.breaks_s();
        }
        std::vector<double> asked;
        while (next < times.size() && times[next] < line.parts[p].to_s) {
            asked.push_back(times[next++]);
        }
        asked.push_back(line.parts[p].to_s);
        auto out = chamber::run(vessel, *state, flows, forces, asked);
        if (!out) {
            return fail(std::move(out).error());
        }
        all.insert(all.end(), out->sensed_mg_per_l.begin(), std::prev(out->sensed_mg_per_l.end()));
        state = std::move(out->end);
    }
    return all;
}

Truth draw_truth(const Scenario& scenario, Random& random) {
    const bool fast = uptake::is_fast(scenario.role);
    Truth truth{.mass_kg = between(random, 0.5, 2.0), .density_kg_per_l = 1.0 + (0.01 * random.normal())};
    truth.volume_l = truth.mass_kg * (fast ? between(random, 10.0, 20.0) : between(random, 25.0, 50.0));
    truth.loop_l = 0.03 * truth.volume_l;
    truth.temperature_c = between(random, 8.0, 18.0);
    truth.drift_c_per_h = between(random, -0.15, 0.15);
    truth.salinity = between(random, 5.0, 35.0);
    truth.pressure_kpa = between(random, 99.0, 103.0);
    truth.gain = 1.0 + (0.02 * random.normal());
    truth.zero_percent = 0.3 * random.normal();
    truth.microbes = {.growth = chamber::Growth::exponential,
                      .start_mg_per_h = truth.mass_kg * 80.0 * between(random, 0.01, 0.05),
                      .rate_per_h = between(random, 0.02, 0.10)};
    return truth;
}

Expected<uptake::Calibration> calibrated(const Truth& truth, Instant at, Random& random) {
    constexpr double air_u = 0.5;
    constexpr double zero_u = 0.2;
    return uptake::Calibration::make(
        "sensor", {{.kind = uptake::CalibrationKind::zero,
                    .at = at,
                    .reading = truth.zero_percent + (zero_u * random.normal()),
                    .should_read = 0.0,
                    .uncertainty = zero_u},
                   {.kind = uptake::CalibrationKind::air,
                    .at = at,
                    .reading = (100.0 * truth.gain) + truth.zero_percent + (air_u * random.normal()),
                    .should_read = 100.0,
                    .uncertainty = air_u}});
}

} // namespace

Expected<std::vector<Scenario>> read_scenarios(const std::string& path) {
    const auto text = read_file(path);
    if (!text) {
        return fail(Error(text.error()));
    }
    std::vector<Scenario> all;
    std::istringstream lines(*text);
    std::string line;
    std::getline(lines, line); // the header
    while (std::getline(lines, line)) {
        std::vector<std::string> cells;
        std::istringstream fields(line);
        for (std::string cell; std::getline(fields, cell, ',');) {
            cells.push_back(cell);
        }
        const auto role = cells.size() == 9 ? uptake::role_from(cells[0]) : std::nullopt;
        if (!role) {
            return fail({.code = ErrorCode::bad_row,
                         .found = line,
                         .expected = "the nine columns of its header",
                         .remedy = "mend the row",
                         .place = {.file = path}});
        }
        const auto number = [&](std::size_t i) { return parse_number(cells[i]).value_or(-1.0); };
        all.push_back({.role = *role,
                       .sealed_s = number(1),
                       .interval_s = number(2),
                       .noise = cells[3],
                       .white_sd = number(4),
                       .coloured_sd = number(5),
                       .coloured_time_s = number(6),
                       .stays = static_cast<std::uint64_t>(number(7)),
                       .seed = static_cast<std::uint64_t>(number(8))});
    }
    return all;
}

double SimulatedStay::true_mg_per_kg_h(Instant from, Instant to) const {
    const double a = (from - zero).seconds();
    const double b = (to - zero).seconds();
    return respiration.taken_mg(a, b) / ((b - a) / 3600.0) / respiration.fish().mass_kg;
}

double SimulatedStay::line_weighted_mg_per_kg_h(Instant from, Instant to) const {
    const double a = (from - zero).seconds();
    const double b = (to - zero).seconds();
    // Midpoints, a tenth of a second apart or closer: bouts begin with a bend, not a jump.
    const auto n = static_cast<int>(std::ceil((b - a) * 10.0));
    double sum = 0.0;
    for (int i = 0; i < n; ++i) {
        const double u = (i + 0.5) / n;
        sum += 6.0 * u * (1.0 - u) * respiration.at(a + (u * (b - a)));
    }
    return sum / n / respiration.fish().mass_kg;
}

Expected<SimulatedStay> simulate_stay(const Scenario& scenario, std::uint64_t number) {
    Random random(scenario.seed, number);
    const auto line = timeline_of(scenario);
    auto truth = draw_truth(scenario, random);
    SimulatedStay stay;
    stay.zero = Instant::unix_seconds(1'782'864'000.0); // 2026-07-01
    stay.respiration = chamber::Respiration(fish_of(scenario, truth, line, random), chamber::Swing{});

    // What is told: each with the error that its uncertainty says.
    constexpr double volume_u = 0.005;
    constexpr double mass_u_kg = 0.005;
    constexpr double density_u = 0.01;
    const double whole_l = truth.volume_l + truth.loop_l;
    const double told_l = whole_l * (1.0 + (volume_u * random.normal()));
    const double told_lag_s = uptake::is_fast(scenario.role) ? 6.0 : 10.0;
    truth.lag_s = told_lag_s * (1.0 + (0.1 * random.normal()));
    const double loop_flow = truth.volume_l / 2.0; // a turnover of the chamber in two minutes
    const double exchange_s = 60.0 * truth.loop_l / loop_flow;
    stay.chamber = {.volume_l = Measured(told_l, volume_u * told_l, "volume:chamber"),
                    .sensor_lag_s = told_lag_s,
                    .mixing_s = std::ceil(5.0 * exchange_s)};
    stay.fish.fish = "fish";
    stay.fish.mass_kg = Measured(truth.mass_kg + (mass_u_kg * random.normal()), mass_u_kg, "mass:fish");
    stay.fish.density_kg_per_l = Measured(1.0, density_u, "density:fish");
    const double temperature_error = 0.1 * random.normal();
    const double told_salinity = truth.salinity + (0.5 * random.normal());
    const double told_pressure = truth.pressure_kpa + (0.3 * random.normal());
    auto calibration = calibrated(truth, stay.zero, random);
    if (!calibration) {
        return fail(std::move(calibration).error());
    }
    stay.oxygen = {.kind = uptake::OxygenKind::percent_air,
                   .calibration = *calibration,
                   .salinity = told_salinity,
                   .pressure_kpa = told_pressure,
                   .temperature_error = {.standard = 0.1, .source = "temperature:sensor"},
                   .salinity_error = {.standard = 0.5, .source = "salinity:site"},
                   .pressure_error = {.standard = 0.3, .source = "pressure:site"}};

    std::vector<double> times;
    for (double t = 0.0; t < line.end_s; t += scenario.interval_s) {
        times.push_back(t);
    }
    auto levels = sensed(truth, line, stay.respiration, loop_flow, times);
    if (!levels) {
        return fail(std::move(levels).error());
    }
    chamber::Reader reader({.white_sd_mg_per_l = scenario.white_sd,
                            .coloured_sd_mg_per_l = scenario.coloured_sd,
                            .coloured_time_s = scenario.coloured_time_s},
                           Random(scenario.seed, (std::uint64_t{1} << 32U) + number));
    std::vector<double> percent;
    stay.trace.assembly = "chamber";
    stay.trace.sensor = "sensor";
    auto sealed = line.sealed.begin();
    for (std::size_t i = 0; i < times.size(); ++i) {
        const double t = times[i];
        const double full = truth.full_at(t);
        percent.push_back((reader.read(t, truth.gain * (*levels)[i]) / full * 100.0) + truth.zero_percent);
        stay.trace.times_ns.push_back((stay.zero + Duration::seconds(t)).unix_nanoseconds());
        stay.trace.temperature_celsius.push_back(truth.temperature_at(t) + temperature_error +
                                                 (0.005 * random.normal()));
        while (sealed != line.sealed.end() && t >= sealed->to_s) {
            ++sealed;
        }
        const bool is_sealed = sealed != line.sealed.end() && t >= sealed->from_s;
        stay.trace.state.push_back(is_sealed ? uptake::ChamberState::sealed : uptake::ChamberState::flush);
    }
    stay.oxygen.calibration.correct(stay.trace.times_ns, percent);
    const std::vector<double> salinity{told_salinity};
    const std::vector<double> pressure{told_pressure};
    auto oxygen = uptake::convert_oxygen(uptake::OxygenKind::percent_air, percent,
                                         {.temperature_celsius = stay.trace.temperature_celsius,
                                          .salinity = salinity,
                                          .pressure_kpa = pressure});
    if (!oxygen) {
        return fail(std::move(oxygen).error());
    }
    stay.trace.oxygen_mg_per_l = std::move(oxygen->mg_per_l);
    stay.trace.saturation_percent = std::move(oxygen->saturation_percent);
    for (std::size_t p = 0; p < line.parts.size(); ++p) {
        const auto row = [&](double at) {
            return static_cast<std::size_t>(std::lower_bound(times.begin(), times.end(), at) - times.begin());
        };
        stay.parts.push_back({.role = p == 1 ? scenario.role : uptake::StayRole::blank,
                              .first_row = row(line.parts[p].from_s),
                              .end_row = row(line.parts[p].to_s)});
    }
    return stay;
}

} // namespace backeddy::validation
