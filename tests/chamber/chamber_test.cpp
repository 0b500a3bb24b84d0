#include "chamber/chamber.hpp"

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <map>
#include <sstream>
#include <string>

#include <gtest/gtest.h>

#include "base/number_text.hpp"
#include "chamber/respiration.hpp"

namespace backeddy::chamber {
namespace {

std::vector<double> grid(double from_s, double to_s, double step_s) {
    std::vector<double> times;
    for (int i = 0; from_s + (i * step_s) <= to_s + 1e-9; ++i) {
        times.push_back(from_s + (i * step_s));
    }
    return times;
}

std::function<double(double)> steady(double value) {
    return [value](double) { return value; };
}

/// Closed forms of the collected checks (id, value): first-order wash-out and oxygen balance of a mixed
/// chamber, Steffensen 1989 Fish Physiol Biochem 6:49-59 (cited from memory), Niimi 1978;
/// sealed_time_to_floor_at_peak with 895 mg/kg/h of Brett 1964 J Fish Res Board Can 21:1183 (abstract).
const std::map<std::string, double> checks{
    {"washout_one_turnover", 0.6321205588},         {"washout_two_turnovers", 0.8646647168},
    {"washout_three_turnovers", 0.9502129316},      {"washout_five_turnovers", 0.993262053},
    {"washout_time_to_95_percent", 14.97866137},    {"washout_time_to_99_percent", 9.210340372},
    {"flush_recovery_with_fish", 7.932332358},      {"flush_steady_state_with_fish", 8.0},
    {"flow_through_unsteady_uptake", 86.4},         {"least_flow_for_90_percent", 2.479174931},
    {"sealed_time_to_floor_at_peak", 1.216840223},  {"sensor_ramp_offset", 0.1},
    {"sensor_time_constant_from_t90", 13.02883446},
};

/// Whether one of the line's comma-separated fields is that number (inputs hold '=', so only the value can
/// be).
bool has_field(const std::string& line, double value) {
    std::istringstream fields(line);
    for (std::string field; std::getline(fields, field, ',');) {
        const auto number = parse_number(field);
        if (number && std::abs(*number - value) <= 1e-12 * std::abs(value)) {
            return true;
        }
    }
    return false;
}

TEST(ChamberChecks, the_copied_values_are_those_of_the_collection) {
    const char* folder = std::getenv("BACKEDDY_REFERENCE");
    if (folder == nullptr) {
        GTEST_SKIP() << "BACKEDDY_REFERENCE is not set: the copied values were not compared with "
                        "respirometry_checks.csv";
    }
    std::ifstream file(std::string(folder) + "/respirometry_checks.csv");
    ASSERT_TRUE(file) << folder;
    std::size_t seen = 0;
    for (std::string line; std::getline(file, line);) {
        const auto found = checks.find(line.substr(0, line.find(',')));
        if (found != checks.end()) {
            EXPECT_TRUE(has_field(line, found->second)) << line << "\nexpected " << found->second;
            ++seen;
        }
    }
    EXPECT_EQ(seen, checks.size());
}

/// Oxygen at the end of a flush by the stepped balance.
double stepped_flush(double water_l, double flow, double inflow, double start, double uptake_mg_per_h,
                     double minutes) {
    const Vessel vessel{.cells_l = {water_l}};
    const Forces forces{.fish_mg_per_h = steady(uptake_mg_per_h), .inflow_mg_per_l = steady(inflow)};
    const std::vector<FlowChange> flows{{.at_s = 0.0, .flow_l_per_min = flow}};
    const std::vector<double> times{minutes * 60.0};
    const auto out = run(vessel, level_state(vessel, 0.0, start), flows, forces, times);
    return out.value().end.cells_mg_per_l[0];
}

TEST(Chamber, washes_out_as_the_closed_form_says) {
    // Inflow 1, chamber 0, no fish: the level is the share replaced.
    EXPECT_NEAR(stepped_flush(10, 2, 1, 0, 0, 5), checks.at("washout_one_turnover"), 1e-9);
    EXPECT_NEAR(stepped_flush(10, 2, 1, 0, 0, 10), checks.at("washout_two_turnovers"), 1e-9);
    EXPECT_NEAR(stepped_flush(10, 2, 1, 0, 0, 15), checks.at("washout_three_turnovers"), 1e-9);
    EXPECT_NEAR(stepped_flush(10, 2, 1, 0, 0, 25), checks.at("washout_five_turnovers"), 1e-9);
    EXPECT_NEAR(stepped_flush(10, 2, 1, 0, 0, checks.at("washout_time_to_95_percent")), 0.95, 1e-9);
    EXPECT_NEAR(stepped_flush(10, 5, 1, 0, 0, checks.at("washout_time_to_99_percent")), 0.99, 1e-9);
    EXPECT_NEAR(minutes_to_wash(0.95, 10, 2), checks.at("washout_time_to_95_percent"), 1e-6);
    EXPECT_NEAR(minutes_to_wash(0.99, 10, 5), checks.at("washout_time_to_99_percent"), 1e-6);
    EXPECT_NEAR(washed_share(3), checks.at("washout_three_turnovers"), 1e-9);
}

TEST(Chamber, a_breathing_fish_holds_the_flush_under_its_inflow) {
    EXPECT_NEAR(stepped_flush(9, 3, 10, 7.5, 360, 6), checks.at("flush_recovery_with_fish"), 1e-6);
    EXPECT_NEAR(stepped_flush(9, 3, 10, 7.5, 360, 600), checks.at("flush_steady_state_with_fish"), 1e-9);
    EXPECT_NEAR(flush_level_mg_per_l(10, 360, 3), checks.at("flush_steady_state_with_fish"), 1e-9);
    EXPECT_NEAR(flushed_mg_per_l(7.5, 8.0, 2.0), checks.at("flush_recovery_with_fish"), 1e-6);
    // The least flow that keeps 90 % of the inflow: the endless flush with it ends there.
    EXPECT_NEAR(stepped_flush(9, checks.at("least_flow_for_90_percent"), 10.084, 10.084, 150, 600),
                0.9 * 10.084, 1e-6);
}

TEST(Chamber, sealed_at_peak_a_tight_tube_passes_80_percent_when_the_table_says) {
    const Vessel vessel{.cells_l = {9.0}};
    const Forces forces{.fish_mg_per_h = steady(895)};
    const std::vector<double> times{checks.at("sealed_time_to_floor_at_peak") * 60.0};
    const auto out = run(vessel, level_state(vessel, 0, 10.084), {}, forces, times);
    EXPECT_NEAR(out->end.cells_mg_per_l[0], 0.8 * 10.084, 1e-6);
}

TEST(Chamber, uptake_while_flushing_is_flow_times_difference_less_storage) {
    // flow_through_unsteady_uptake: at C = 8.5 with 86.4 mg/h and 60 L/h into 9 L the level rises by 0.4
    // mg/L/h.
    const Vessel vessel{.cells_l = {9.0}};
    const Forces forces{.fish_mg_per_h = steady(checks.at("flow_through_unsteady_uptake")),
                        .inflow_mg_per_l = steady(10)};
    const std::vector<FlowChange> flows{{0.0, 1.0}};
    const std::vector<double> times{0.001};
    const auto out = run(vessel, level_state(vessel, 0, 8.5), flows, forces, times);
    EXPECT_NEAR((out->end.cells_mg_per_l[0] - 8.5) / 0.001 * 3600, 0.4, 1e-5);
}

Respiration busy_fish() {
    Fish fish{.mass_kg = 1.2,
              .resting_mg_per_h = 95,
              .rhythm_share = 0.1,
              .rhythm_high_at_s = 4000,
              .excesses = {{.at_s = 30,
                            .rise_s = 90,
                            .phases = {{.amplitude_mg_per_h = 300, .rate_per_h = 4},
                                       {.amplitude_mg_per_h = 90, .hold_s = 1500, .rate_per_h = 0.5}}},
                           {.at_s = 2400, .rise_s = 15, .phases = {{60, 100, 20}}, .kind = ExcessKind::bout},
                           {.at_s = 5000, .rise_s = 40, .phases = {{350, 60, 3}}, .earlier = Earlier::ends}}};
    return {fish, Swing{.mean = 13.0}};
}

TEST(Chamber, oxygen_gone_from_sealed_water_is_what_was_breathed) {
    const auto fish = busy_fish();
    const Microbes microbes{.growth = Growth::exponential, .start_mg_per_h = 4, .rate_per_h = 0.3};
    for (const auto& vessel :
         {Vessel{.cells_l = {80.0}},
          Vessel{.cells_l = {72.0, 8.0}, .sensor_cell = 1, .round_flow_l_per_min = 6.0, .sensor_lag_s = 12.0},
          Vessel{.cells_l = {70.0, 10.0}, .round_flow_l_per_min = 4.0, .bubble = Bubble{1.5, 0.3}}}) {
        const Forces forces{.fish_mg_per_h = [&](double t) { return fish.at(t); },
                            .microbes_mg_per_h = [&](double t) { return microbes.at(t); },
                            .breaks_s = fish.breaks_s()};
        const auto start = level_state(vessel, 0, 9.0);
        const auto out = run(vessel, start, {}, forces, grid(0, 7200, 5));
        ASSERT_TRUE(out) << out.error().text();
        const double gone = start.oxygen_mg(vessel) - out->end.oxygen_mg(vessel);
        const double breathed = fish.taken_mg(0, 7200) + microbes.taken_mg(0, 7200);
        EXPECT_NEAR(gone / breathed, 1.0, 1e-9) << vessel.cells_l.size() << " cells: " << gone << " mg";
    }
}

TEST(Chamber, oxygen_is_conserved_through_flushes_and_a_leak) {
    const auto fish = busy_fish();
    const Vessel vessel{.cells_l = {12.0}, .leak_l_per_min = 0.02};
    const Swing inflow{.mean = 8.6, .waves = {{.amplitude = 0.2, .period_s = 3000}}};
    std::vector<FlowChange> flows;
    for (int cycle = 0; cycle < 24; ++cycle) {
        flows.push_back({cycle * 300.0, 15.0});
        flows.push_back({(cycle * 300.0) + 150.0, 0.0});
    }
    const Forces forces{.fish_mg_per_h = [&](double t) { return fish.at(t); },
                        .inflow_mg_per_l = [&](double t) { return inflow.at(t); },
                        .breaks_s = fish.breaks_s()};
    const auto start = level_state(vessel, 0, 8.6);
    constexpr double step = 0.25;
    const auto out = run(vessel, start, flows, forces, grid(0, 7200, step));
    ASSERT_TRUE(out) << out.error().text();
    // What came in with the water, summed from the levels alone: Simpson's rule per pair of steps (edges of
    // the cycle fall on even steps; the kinks of the fish at 30 s + hold etc. do too).
    const auto brought = [&](std::size_t i) {
        const double t = static_cast<double>(i) * step;
        return inflow.at(t) - out->mean_mg_per_l[i];
    };
    double came_mg = 0.0;
    for (std::size_t i = 0; i + 2 < out->mean_mg_per_l.size(); i += 2) {
        const double flow = std::fmod(static_cast<double>(i) * step, 300.0) < 150.0 ? 15.02 : 0.02;
        came_mg += flow / 60.0 * step / 3.0 * (brought(i) + (4.0 * brought(i + 1)) + brought(i + 2));
    }
    const double gone = start.oxygen_mg(vessel) - out->end.oxygen_mg(vessel) + came_mg;
    EXPECT_NEAR(gone / fish.taken_mg(0, 7200), 1.0, 1e-9) << gone;
}

TEST(Chamber, a_slow_sensor_reads_high_on_a_fall_and_its_slope_is_right) {
    // sensor_ramp_offset: 0.2 mg/L/min with a time constant of 0.5 min.
    const Vessel vessel{.cells_l = {10.0}, .sensor_lag_s = 30.0};
    const Forces forces{.fish_mg_per_h = steady(120.0)};
    const auto out = run(vessel, level_state(vessel, 0, 9.0), {}, forces, std::vector<double>{900.0, 960.0});
    EXPECT_NEAR(out->sensed_mg_per_l[0] - out->mean_mg_per_l[0], checks.at("sensor_ramp_offset"), 1e-9);
    EXPECT_NEAR(out->sensed_mg_per_l[1] - out->sensed_mg_per_l[0], -0.2, 1e-9);
}

TEST(Chamber, a_sensor_in_a_step_is_at_90_percent_after_its_t90) {
    const double t90 = 30.0;
    const Vessel vessel{.cells_l = {10.0}, .sensor_lag_s = checks.at("sensor_time_constant_from_t90")};
    auto start = level_state(vessel, 0, 5.0);
    start.lagged_mg_per_l = 9.0;
    const auto out = run(vessel, start, {}, {}, std::vector<double>{t90});
    EXPECT_NEAR((9.0 - out->sensed_mg_per_l[0]) / 4.0, 0.9, 1e-9);
}

TEST(Chamber, many_cells_are_plug_flow) {
    // Tanks in series: outlet after theta turnovers of n cells = 1 - e^(-n theta) sum_{k<n} (n theta)^k / k!
    // (Levenspiel 1999, Chemical Reaction Engineering, ch. 14; the Erlang distribution).
    for (const std::size_t n : {2U, 20U}) {
        const Vessel vessel{.cells_l = std::vector<double>(n, 10.0 / static_cast<double>(n)),
                            .sensor_cell = n - 1};
        const Forces forces{.inflow_mg_per_l = steady(1.0)};
        const std::vector<FlowChange> flows{{0.0, 2.0}};
        const std::vector<double> times{150.0, 300.0, 450.0};
        const auto out = run(vessel, level_state(vessel, 0, 0.0), flows, forces, times);
        ASSERT_TRUE(out) << out.error().text();
        for (std::size_t i = 0; i < times.size(); ++i) {
            const double x = static_cast<double>(n) * times[i] / 300.0;
            double term = 1.0;
            double sum = 0.0;
            for (std::size_t k = 0; k < n; ++k) {
                sum += term;
                term *= x / static_cast<double>(k + 1);
            }
            EXPECT_NEAR(out->sensed_mg_per_l[i], 1.0 - (std::exp(-x) * sum), 1e-9)
                << n << " cells, " << times[i];
        }
    }
}

TEST(Chamber, two_zones_even_out_with_the_loop_pumps_rate) {
    // Sealed, no fish: the difference of two cells falls with rate Q (1/V1 + 1/V2); their oxygen stays.
    const Vessel vessel{.cells_l = {9.0, 1.0}, .round_flow_l_per_min = 3.0};
    State start = level_state(vessel, 0, 8.0);
    start.cells_mg_per_l = {8.0, 6.0};
    const auto out = run(vessel, start, {}, {}, std::vector<double>{40.0});
    const double rate = 3.0 / 60.0 * (1.0 / 9.0 + 1.0);
    EXPECT_NEAR(out->end.cells_mg_per_l[0] - out->end.cells_mg_per_l[1], 2.0 * std::exp(-rate * 40.0), 1e-9);
    EXPECT_NEAR(out->end.oxygen_mg(vessel), 78.0, 1e-9);
}

TEST(Chamber, a_bubble_feeds_the_water) {
    // Sealed under a steady fish, the bubble ends up giving its share of the whole capacity.
    const Vessel vessel{.cells_l = {9.0}, .bubble = Bubble{.equivalent_l = 1.0, .exchange_l_per_min = 0.5}};
    const Forces forces{.fish_mg_per_h = steady(60.0)};
    const auto out =
        run(vessel, level_state(vessel, 0, 9.0), {}, forces, std::vector<double>{2400.0, 3000.0});
    EXPECT_NEAR((out->mean_mg_per_l[1] - out->mean_mg_per_l[0]) / 600.0 * 3600.0, -60.0 / 10.0, 1e-6);
}

TEST(Chamber, sampling_does_not_change_the_water) {
    const auto fish = busy_fish();
    const Vessel vessel{
        .cells_l = {14.0, 1.0}, .sensor_cell = 1, .round_flow_l_per_min = 8.0, .sensor_lag_s = 6.0};
    const Forces forces{.fish_mg_per_h = [&](double t) { return fish.at(t); },
                        .inflow_mg_per_l = steady(9.0),
                        .breaks_s = fish.breaks_s()};
    const std::vector<FlowChange> flows{{0.0, 12.0}, {200.0, 0.0}, {400.0, 12.0}, {600.0, 0.0}};
    const auto start = level_state(vessel, 0, 9.0);
    const auto fine = run(vessel, start, flows, forces, grid(0, 700, 0.5));
    const auto coarse = run(vessel, start, flows, forces, std::vector<double>{700.0});
    EXPECT_NEAR(fine->end.lagged_mg_per_l, coarse->end.lagged_mg_per_l, 1e-9);
}

TEST(Chamber, refuses_what_has_no_meaning) {
    const Vessel vessel{.cells_l = {9.0}};
    const auto start = level_state(vessel, 0, 9.0);
    const std::vector<double> times{3600.0};
    const Forces hungry{.fish_mg_per_h = steady(200.0)};
    EXPECT_EQ(run(vessel, start, {}, hungry, times).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(run(Vessel{.cells_l = {-1.0}}, start, {}, {}, times).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(run(vessel, start, {}, {}, {}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(run(Vessel{.cells_l = {9.0}, .fish_cell = 1}, start, {}, {}, times).error().code,
              ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::chamber
