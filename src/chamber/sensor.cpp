#include "chamber/sensor.hpp"

#include <cmath>

namespace backeddy::chamber {

double Sensor::systematic(double t_s, double truth_mg_per_l) const {
    const double drifted = gain + (gain_drift_per_day * (t_s - since_s) / 86400.0);
    return (drifted * truth_mg_per_l) + offset_mg_per_l;
}

Reader::Reader(Sensor sensor, Random random) : sensor_(sensor), random_(random) {}

double Reader::read(double t_s, double truth_mg_per_l) {
    double reading = sensor_.systematic(t_s, truth_mg_per_l);
    if (sensor_.coloured_sd_mg_per_l > 0.0) {
        // The exact transition of an Ornstein-Uhlenbeck process, so that sampling may be irregular.
        const double phi = begun_ ? std::exp(-(t_s - last_s_) / sensor_.coloured_time_s) : 0.0;
        coloured_ = (phi * coloured_) +
                    (sensor_.coloured_sd_mg_per_l * std::sqrt(1.0 - (phi * phi)) * random_.normal());
        last_s_ = t_s;
        begun_ = true;
        reading += coloured_;
    }
    if (sensor_.white_sd_mg_per_l > 0.0) {
        reading += sensor_.white_sd_mg_per_l * random_.normal();
    }
    if (sensor_.quantum_mg_per_l > 0.0) {
        reading = std::round(reading / sensor_.quantum_mg_per_l) * sensor_.quantum_mg_per_l;
    }
    return reading;
}

} // namespace backeddy::chamber
