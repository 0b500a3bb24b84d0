#pragma once
// What an oxygen sensor makes of the truth: calibration error, drift, white and coloured noise, steps of its
// display. Its lag is part of the chamber's balance (chamber.hpp).

#include "base/random.hpp"

namespace backeddy::chamber {

struct Sensor {
    double gain = 1.0; ///< reading = gain * truth + offset, at since_s
    double offset_mg_per_l = 0.0;
    double gain_drift_per_day = 0.0;
    double since_s = 0.0; ///< when the drift began
    double white_sd_mg_per_l = 0.0;
    double coloured_sd_mg_per_l = 0.0; ///< stationary sd of a first-order autoregressive noise
    double coloured_time_s = 10.0;     ///< its correlation falls as e^(-lag / this), whatever the sampling
    double quantum_mg_per_l = 0.0;     ///< the display's step; 0 for none

    /// Without noise and steps.
    [[nodiscard]] double systematic(double t_s, double truth_mg_per_l) const;
};

/// One sensor's readings in order of time.
class Reader {
  public:
    Reader(Sensor sensor, Random random);
    /// mg/L. Times ascending.
    double read(double t_s, double truth_mg_per_l);

  private:
    Sensor sensor_;
    Random random_;
    double coloured_ = 0.0;
    double last_s_ = 0.0;
    bool begun_ = false;
};

} // namespace backeddy::chamber
