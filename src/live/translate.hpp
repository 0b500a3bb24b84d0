#pragma once
// From the instruments' readings to what control needs: chambers by index, oxygen in mg/L whatever the sensor
// speaks, with the temperature, salinity and pressure that other channels said last.

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "instruments/station.hpp"
#include "intake/unit.hpp"
#include "watch/input.hpp"
#include "watch/plan.hpp"

namespace backeddy::live {

class Translator {
  public:
    /// Channels of chambers that the plan does not have are passed over; plan_faults() tells of them before.
    Translator(const instruments::Station& station, const watch::Plan& plan);

    /// Oxygen and temperature of a frame, in its order but temperatures first, so that oxygen is reckoned
    /// with those that came with it. A reading without a number is one without a value.
    [[nodiscard]] std::vector<watch::Reading> take(const instruments::Frame& frame);

  private:
    struct Known {
        instruments::Quantity quantity{};
        intake::Unit unit{};
        std::optional<std::size_t> chamber;
    };
    [[nodiscard]] watch::Reading oxygen(const Known& known, const instruments::Reading& reading) const;
    std::map<instruments::ChannelId, Known> channels_;
    std::vector<double> celsius_; ///< of each chamber, the last that was said
    double inflow_celsius_ = 12.0;
    double salinity_ = 0.0;
    double pressure_kpa_ = 101.325;
};

/// What of a station and a plan does not fit together, a sentence each: a channel or a pump of a chamber that
/// the study does not have, a chamber without oxygen channel or pump, two oxygen channels in one chamber.
[[nodiscard]] std::vector<std::string> plan_faults(const instruments::Station& station,
                                                   const watch::Plan& plan);

/// The error that tells of them all.
[[nodiscard]] Error do_not_fit(const std::vector<std::string>& faults);

} // namespace backeddy::live
