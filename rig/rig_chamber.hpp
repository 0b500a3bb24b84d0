#pragma once
// One simulated chamber with its fish, pump and sensor, stepped along the rig's time. Pure: no clock, no
// wire.

#include <cstdint>
#include <optional>

#include "base/random.hpp"
#include "chamber/chamber.hpp"
#include "chamber/respiration.hpp"
#include "chamber/sensor.hpp"
#include "chamber/swing.hpp"
#include "faults.hpp"

namespace backeddy::rig {

/// What is the same in every chamber.
struct ChamberSettings {
    double tube_l = 8.0;
    double loop_l = 2.0;
    double round_flow_l_per_min = 12.0; ///< mixes tube and loop
    double flush_l_per_min = 8.0;
    double sensor_lag_s = 4.0;
    double heartbeat_limit_s = 15.0; ///< without a command to seal for so long the hardware flushes
    double salinity = 32.0;
    double pressure_kpa = 101.3;
    double temperature_c = 12.0;
    double mass_kg = 0.6; ///< mean over the chambers
    double sensor_sd_mg_per_l = 0.01;
    double display_step_mg_per_l = 0.001;
};

/// What the devices of one chamber say at one moment.
struct Sample {
    double at_s = 0.0;
    std::optional<double> oxygen_mg_per_l; ///< nothing: drop-out
    double temperature_c = 0.0;
    bool sealed = false; ///< by the pump's own contact
};

class RigChamber {
  public:
    /// `number` from 1; the same seed and number give the same fish and noise.
    RigChamber(const ChamberSettings& settings, std::size_t number, std::uint64_t seed);

    /// The water on to `to_s`, nothing where that is past.
    void advance(double to_s, const FaultPlan& faults);

    /// A word to the pump, after advance() to its moment. Sealed holds until the heartbeat limit after the
    /// last such word.
    void seal(double at_s);
    void flush(double at_s);

    /// On to `at_s`, later than the last; what the devices say there.
    [[nodiscard]] Sample step(double at_s, const FaultPlan& faults);

    /// The truth, for who checks the rig.
    [[nodiscard]] double true_mg_per_l() const { return state_.lagged_mg_per_l; }
    [[nodiscard]] bool sealed_at(double at_s) const { return at_s < sealed_until_s_; }

  private:
    void run_to(double to_s, const FaultPlan& faults);
    [[nodiscard]] double flow_at(double at_s, const FaultPlan& faults) const;
    [[nodiscard]] double uptake_at(double at_s, const FaultPlan& faults) const;
    [[nodiscard]] std::optional<double> sensed(double at_s, const FaultPlan& faults);

    ChamberSettings settings_;
    std::size_t number_;
    Random random_;
    chamber::Swing temperature_;
    chamber::Respiration fish_;
    chamber::Vessel vessel_;
    chamber::State state_;
    chamber::Reader reader_;
    double sealed_until_s_ = 0.0;
    bool dead_ = false;
    std::optional<double> last_shown_;
};

} // namespace backeddy::rig
