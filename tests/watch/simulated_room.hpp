#pragma once
// Chambers in virtual time: the physics of chamber/ below, the watch above, faults between them. A night of
// one chamber takes a fraction of a second.

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/random.hpp"
#include "chamber/chamber.hpp"
#include "chamber/respiration.hpp"
#include "chamber/sensor.hpp"
#include "watch/watch.hpp"

namespace backeddy::watch::test {

enum class FaultKind : std::uint8_t {
    dead_pump,      ///< the flush brings `size` of its flow (0: nothing)
    silent,         ///< no reading
    no_value,       ///< the instrument answers without a value
    frozen,         ///< the same reading again and again
    garbage,        ///< readings that are no numbers or no water
    noise_burst,    ///< further white noise of `size` mg/L
    step,           ///< `size` mg/L added to each reading
    leak,           ///< `size` L/min trade with the bath
    bubble,         ///< gas worth `size` L of water, trading with it with 6 min as its time constant
    no_fish,        ///< it is gone, and nobody entered it
    warm,           ///< `size` degC added to the water
    stale_bath,     ///< the inflow has `size` of its oxygen
    no_temperature, ///< the temperature sensor is silent
};

struct Fault {
    FaultKind kind = FaultKind::dead_pump;
    double from_s = 0.0;
    double to_s = 1e12;
    double size = 0.0;
};

/// The truth of one chamber.
struct Room {
    ChamberPlan plan; ///< as the watch believes it
    double round_flow_l_per_min = 12.0;
    double loop_l = 0.5;      ///< part of plan.water_l
    double flow_factor = 1.0; ///< true flow over believed
    double sensor_gain = 1.0;
    double inflow_percent = 98.0;
    double inflow_tide_percent = 0.5; ///< amplitude
    double celsius = 13.0;
    double tide_celsius = 0.3; ///< amplitude
    std::optional<chamber::Fish> fish;
    double fish_in_s = 0.0;
    double fish_out_s = 1e12;
    chamber::Microbes microbes;
    double wave_mg_per_l = 0.0; ///< amplitude of a swell on the sensor, period 7 s
    std::vector<Fault> faults;
    std::uint64_t seed = 1;
};

/// One chamber's water, stepped under the pump commands it gets.
class LiveChamber {
  public:
    LiveChamber(Room room, double salinity, double pressure_kpa);

    /// The reading of this moment; nothing while the sensor is silent (an empty one: `no_value`).
    [[nodiscard]] std::optional<Reading> oxygen(double t_s);
    [[nodiscard]] std::optional<Reading> temperature(double t_s);
    void command(double t_s, Phase pump);
    /// % air saturation of the whole water.
    [[nodiscard]] double true_percent(double t_s);
    [[nodiscard]] const Room& room() const { return room_; }
    [[nodiscard]] const chamber::Respiration* breath() const { return breath_.get(); }
    [[nodiscard]] double water_celsius(double t_s) const;

  private:
    void change_water(double t_s);
    void fill(double t_s);
    [[nodiscard]] std::size_t row_of(double t_s);
    [[nodiscard]] double full(double t_s) const;
    [[nodiscard]] double flow(double t_s) const;

    Room room_;
    double salinity_;
    double pressure_kpa_;
    std::unique_ptr<chamber::Respiration> breath_;
    chamber::Vessel vessel_;
    chamber::Forces forces_;
    chamber::State state_;
    chamber::Run block_;
    std::vector<double> times_;
    std::vector<double> changes_s_; ///< when faults change water or flow, ascending
    Phase pump_ = Phase::flush;
    chamber::Reader reader_;
    Random noise_;
    std::optional<double> held_;
};

/// A room of chambers under one watch.
class SimulatedRoom {
  public:
    SimulatedRoom(std::vector<Room> rooms, Settings settings = {}, double salinity = 31.0);

    void at(double t_s, std::optional<std::size_t> chamber, Act act);
    /// Runs to that moment in steps of `step_s`.
    void run(double to_s);
    void restart(); ///< as after a power cut: only the kept text survives

    [[nodiscard]] const Watch& watch() const { return *watch_; }
    [[nodiscard]] const std::vector<Event>& events() const { return events_; }
    [[nodiscard]] double now_s() const { return t_s_; }
    [[nodiscard]] LiveChamber& chamber(std::size_t i) { return chambers_[i]; }
    /// Least true oxygen of the water since the start, % air saturation, while the fish was in.
    [[nodiscard]] double lowest_percent(std::size_t i) const { return lowest_percent_[i]; }
    /// Seconds since the start of a moment of the wall clock.
    [[nodiscard]] double seconds(Instant at) const;
    [[nodiscard]] Instant wall(double t_s) const;
    /// When the alarm first came at or after `from_s`.
    [[nodiscard]] std::optional<double> raised_s(Cause cause, std::optional<std::size_t> chamber,
                                                 double from_s = 0.0) const;
    [[nodiscard]] std::vector<std::string> raised() const; ///< "0 flush_failing 1234 s ..." of all that came

    double step_s = 1.0;                ///< 2.5 where one chamber alone is read every 5 s
    double wall_error_s = 0.0;          ///< of the computer's clock from now on
    std::function<void(Input&)> meddle; ///< sees each input before the watch
    std::optional<Machine> machine;

  private:
    Plan plan_;
    std::unique_ptr<Watch> watch_;
    std::vector<LiveChamber> chambers_;
    struct Planned {
        double t_s = 0.0;
        Hand hand;
    };
    std::vector<Planned> hands_;
    std::vector<Event> events_;
    std::vector<double> lowest_percent_;
    double t_s_ = 0.0;
    std::string boot_ = "boot 1";
};

/// A shore chamber of 28 L with a fish of 0.75 kg that recovers from its transfer.
[[nodiscard]] Room shore_room(std::uint64_t seed);
/// A boat's tube of 10.4 L with a fish of 0.7 kg just after capture.
[[nodiscard]] Room boat_room(std::uint64_t seed);
[[nodiscard]] hand::PutIn put_in(const Room& room, StayRole role);

} // namespace backeddy::watch::test
