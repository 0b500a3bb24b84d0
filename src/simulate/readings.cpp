#include "simulate/readings.hpp"

#include <algorithm>
#include <cmath>

#include "base/random.hpp"
#include "chamber/chamber.hpp"
#include "series/trace.hpp"

namespace backeddy::simulate {

namespace {

/// The logger's own ticks: every interval by its own clock, the first on a whole second of it.
void tick(const Season& season, const TracePlan& plan, const Session& session, Readings& out) {
    const auto& clock = season.clocks[clock_named(season, plan.clock)];
    const double rate = 1.0 + (clock.drift_s_per_day / 86400.0);
    const double first_shown = std::ceil(session.span.from_s + clock.error_s(session.span.from_s));
    const double first_true =
        session.span.from_s +
        ((first_shown - session.span.from_s - clock.error_s(session.span.from_s)) / rate);
    const double slipped = clock.slipped_s(session.span.from_s);
    for (std::int64_t k = 0;; ++k) {
        const double own = static_cast<double>(k) * plan.interval_s;
        const double t = first_true + (own / rate);
        if (t > session.span.to_s) {
            return;
        }
        out.true_s.push_back(t);
        const double shown = first_shown + own + clock.slipped_s(t) - slipped;
        out.shown_ns.push_back(season.zero.unix_nanoseconds() +
                               (std::llround(shown * 1000.0) * 1'000'000)); // to the millisecond
    }
}

bool has_fault(const SimulatedChamber& room, FaultKind kind, double t_s, double* amount = nullptr) {
    for (const auto& fault : room.faults) {
        if (fault.kind == kind && fault.span.holds(t_s)) {
            if (amount != nullptr) {
                *amount = fault.amount;
            }
            return true;
        }
    }
    return false;
}

const Stay* stay_at(const Season& season, const SimulatedChamber& room, double t_s) {
    for (const auto s : room.stays) {
        if (season.stays[s].span.holds(t_s)) {
            return &season.stays[s];
        }
    }
    return nullptr;
}

chamber::Vessel vessel_at(const ChamberPlan& plan, const Season& season, const SimulatedChamber& room,
                          double t_s) {
    const Stay* stay = stay_at(season, room, t_s);
    const double fish_l =
        stay != nullptr && stay->fish ? season.fish[*stay->fish].respiration.fish().volume_l() : 0.0;
    const auto cells = static_cast<std::size_t>(plan.plug_cells);
    chamber::Vessel vessel;
    vessel.cells_l.assign(cells, (room.volume_l - fish_l) / static_cast<double>(cells));
    if (room.loop_l > 0.0) {
        vessel.cells_l.push_back(room.loop_l);
    }
    vessel.fish_cell = cells / 2;
    vessel.sensor_cell = vessel.cells_l.size() - 1;
    vessel.round_flow_l_per_min = plan.loop_flow_l_per_min;
    vessel.leak_l_per_min = plan.leak_l_per_min;
    vessel.sensor_lag_s = plan.sensor_lag_s;
    double amount = 0.0;
    if (has_fault(room, FaultKind::leak, t_s, &amount)) {
        vessel.leak_l_per_min += amount;
    }
    if (has_fault(room, FaultKind::bubble, t_s, &amount)) {
        // A litre of air holds about as much oxygen as 34 L of sea water in balance with it (280 mg against 8
        // mg/L); it gives it up over some minutes.
        constexpr double water_per_gas = 34.0;
        const double equivalent_l = amount / 1000.0 * water_per_gas;
        vessel.bubble =
            chamber::Bubble{.equivalent_l = equivalent_l, .exchange_l_per_min = equivalent_l / 6.0};
    }
    return vessel;
}

/// Moments between which vessel and flow stay what they are, inside the session.
std::vector<double> edges(const Season& season, const SimulatedChamber& room, Span span) {
    std::vector<double> all{span.to_s};
    const auto add = [&](double t) {
        if (t > span.from_s && t < span.to_s) {
            all.push_back(t);
        }
    };
    for (const auto s : room.stays) {
        add(season.stays[s].span.from_s);
        add(season.stays[s].span.to_s);
    }
    for (const auto& fault : room.faults) {
        add(fault.span.from_s);
        add(fault.span.to_s);
    }
    for (const auto& entry : room.microbes) {
        add(entry.first);
    }
    std::sort(all.begin(), all.end());
    all.erase(std::unique(all.begin(), all.end()), all.end());
    return all;
}

std::vector<chamber::FlowChange> flows(const ChamberPlan& plan, const SimulatedChamber& room, Span span) {
    const bool dead = has_fault(room, FaultKind::dead_pump, span.from_s);
    const auto flow = [&](bool flush) { return flush && !dead ? plan.flow_l_per_min : 0.0; };
    std::vector<chamber::FlowChange> changes{
        {.at_s = span.from_s, .flow_l_per_min = flow(flush_commanded(room, span.from_s))}};
    for (const auto& command : room.commands) {
        if (command.at_s > span.from_s && command.at_s < span.to_s) {
            changes.push_back({.at_s = command.at_s, .flow_l_per_min = flow(command.flush)});
        }
    }
    return changes;
}

chamber::Forces forces(const Season& season, const SimulatedChamber& room, double t_s) {
    chamber::Forces f;
    f.inflow_mg_per_l = [&season](double t) { return season.inflow.at(t); };
    const Stay* stay = stay_at(season, room, t_s);
    if (stay != nullptr && stay->fish) {
        const auto& respiration = season.fish[*stay->fish].respiration;
        f.fish_mg_per_h = [&respiration](double t) { return respiration.at(t); };
        f.breaks_s = respiration.breaks_s();
    }
    const auto after = std::upper_bound(room.microbes.begin(), room.microbes.end(), t_s,
                                        [](double t, const auto& entry) { return t < entry.first; });
    if (after != room.microbes.begin()) {
        const auto& microbes = std::prev(after)->second;
        f.microbes_mg_per_h = [&microbes](double t) { return microbes.at(t); };
    }
    return f;
}

/// Oxygen at the sensor, lag included, at each of the logger's ticks.
Expected<std::vector<double>> sensed(const ChamberPlan& plan, const Season& season,
                                     const SimulatedChamber& room, Span span,
                                     const std::vector<double>& times) {
    std::vector<double> all;
    all.reserve(times.size());
    double from = span.from_s;
    auto vessel = vessel_at(plan, season, room, from);
    auto state = chamber::level_state(vessel, from, season.inflow.at(from));
    std::size_t next = 0;
    for (const double to : edges(season, room, span)) {
        const double middle = (from + to) / 2.0;
        vessel = vessel_at(plan, season, room, middle);
        if (!vessel.bubble) {
            state.bubble_mg_per_l = state.cells_mg_per_l[0];
        }
        std::vector<double> asked;
        while (next < times.size() && times[next] < to) {
            asked.push_back(times[next++]);
        }
        asked.push_back(to);
        auto out =
            chamber::run(vessel, state, flows(plan, room, {from, to}), forces(season, room, middle), asked);
        if (!out) {
            return fail(std::move(out).error().within("chamber " + plan.name));
        }
        all.insert(all.end(), out->sensed_mg_per_l.begin(), std::prev(out->sensed_mg_per_l.end()));
        state = std::move(out->end);
        from = to;
    }
    while (next < times.size()) { // a tick on the last edge itself
        all.push_back(state.lagged_mg_per_l);
        ++next;
    }
    return all;
}

/// Sensor errors and noise on the truth.
void through_sensor(const ChamberPlan& plan, const SimulatedChamber& room, const Readings& out,
                    const std::vector<double>& full, Random random, std::vector<double>& oxygen) {
    const chamber::Sensor noise{.white_sd_mg_per_l = plan.white_sd_mg_per_l,
                                .coloured_sd_mg_per_l = plan.coloured_sd_mg_per_l,
                                .coloured_time_s = plan.coloured_time_s};
    chamber::Reader reader(noise, random);
    auto sensor = room.sensors.begin();
    for (std::size_t i = 0; i < oxygen.size(); ++i) {
        const double t = out.true_s[i];
        while (std::next(sensor) != room.sensors.end() && t >= sensor->to_s) {
            ++sensor;
        }
        double level = oxygen[i];
        double share = 0.0;
        if (has_fault(room, FaultKind::sensor_bubble, t, &share)) {
            level += share * (full[i] - level);
        }
        const double gain = sensor->gain + (sensor->gain_drift_per_day * t / 86400.0);
        level = (gain * level) + (sensor->offset_percent / 100.0 * full[i]);
        level = reader.read(t, level);
        oxygen[i] = has_fault(room, FaultKind::sensor_swap, t) ? missing : level;
    }
}

void drop_rows_in_gaps(const SimulationPlan& plan, const Season& season, const TracePlan& trace,
                       Readings& out) {
    const auto in_gap = [&](double t) {
        return std::any_of(trace.chambers.begin(), trace.chambers.end(), [&](const std::string& name) {
            return has_fault(season.chambers[chamber_named(plan, name)], FaultKind::gap, t);
        });
    };
    std::size_t kept = 0;
    for (std::size_t i = 0; i < out.true_s.size(); ++i) {
        if (in_gap(out.true_s[i])) {
            continue;
        }
        out.true_s[kept] = out.true_s[i];
        out.shown_ns[kept] = out.shown_ns[i];
        for (auto& columns : out.chambers) {
            columns.oxygen_mg_per_l[kept] = columns.oxygen_mg_per_l[i];
            columns.temperature_c[kept] = columns.temperature_c[i];
            columns.flush[kept] = columns.flush[i];
        }
        ++kept;
    }
    out.true_s.resize(kept);
    out.shown_ns.resize(kept);
    for (auto& columns : out.chambers) {
        columns.oxygen_mg_per_l.resize(kept);
        columns.temperature_c.resize(kept);
        columns.flush.resize(kept);
    }
}

} // namespace

std::size_t chamber_named(const SimulationPlan& plan, const std::string& name) {
    const auto found = std::find_if(plan.chambers.begin(), plan.chambers.end(),
                                    [&](const ChamberPlan& c) { return c.name == name; });
    return static_cast<std::size_t>(found - plan.chambers.begin());
}

std::size_t clock_named(const Season& season, const std::string& name) {
    const auto found = std::find_if(season.clocks.begin(), season.clocks.end(),
                                    [&](const SimulatedClock& c) { return c.name == name; });
    return static_cast<std::size_t>(found - season.clocks.begin());
}

bool flush_commanded(const SimulatedChamber& room, double t_s) {
    const auto after = std::upper_bound(room.commands.begin(), room.commands.end(), t_s,
                                        [](double t, const FlushChange& c) { return t < c.at_s; });
    return after == room.commands.begin() || std::prev(after)->flush;
}

Expected<Readings> read_session(const SimulationPlan& plan, const Season& season, std::size_t trace,
                                std::size_t session, std::uint64_t seed) {
    const auto& trace_plan = plan.traces[trace];
    const auto& run = season.sessions[trace][session];
    Readings out;
    tick(season, trace_plan, run, out);
    std::vector<double> full(out.true_s.size());
    for (std::size_t i = 0; i < full.size(); ++i) {
        full[i] = saturation_at(plan, season, out.true_s[i]);
    }
    for (const auto& name : trace_plan.chambers) {
        const std::size_t c = chamber_named(plan, name);
        const auto& room = season.chambers[c];
        auto random = stream(seed, StreamOf::noise, (c << 20U) + session);
        ChamberReadings columns;
        auto oxygen = sensed(plan.chambers[c], season, room, run.span, out.true_s);
        if (!oxygen) {
            return fail(std::move(oxygen).error());
        }
        columns.oxygen_mg_per_l = std::move(*oxygen);
        constexpr double thermometer_sd_c = 0.004;
        for (const double t : out.true_s) {
            columns.temperature_c.push_back(season.temperature.at(t) + (thermometer_sd_c * random.normal()));
            columns.flush.push_back(flush_commanded(room, t) ? 1 : 0);
        }
        through_sensor(plan.chambers[c], room, out, full, random, columns.oxygen_mg_per_l);
        out.chambers.push_back(std::move(columns));
    }
    drop_rows_in_gaps(plan, season, trace_plan, out);
    return out;
}

} // namespace backeddy::simulate
