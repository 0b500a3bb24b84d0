#pragma once
// Start here for aerobic scope: what lies between rest and peak, absolute and factorial.

#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "quantity/quantity.hpp"
#include "uptake/adjust.hpp"
#include "uptake/rate.hpp"

namespace backeddy::uptake {

/// AAS = MMR - SMR and FAS = MMR / SMR. Errors cancel through shared source names only: a peak in the tube
/// and a rest in the night chamber share the fish's mass, and nothing else, unless the caller's names say so.
struct Scope {
    UptakeRate absolute;
    Measured factorial; ///< no unit; contributions by name
    Interval absolute_interval_mg_per_h;
    std::optional<Interval> absolute_interval_mg_per_kg_h;
    Interval factorial_interval; ///< exp(ln FAS ± z u(ln FAS)): on the log scale, never below 0
};

struct ScopeInput {
    UptakeRate peak;
    UptakeRate resting;
    Temperature peak_at = Temperature::celsius(0.0);
    Temperature resting_at = Temperature::celsius(0.0);
    std::string peak_name;    ///< "peak after capture"
    std::string resting_name; ///< "SMR", "resting, overnight" ...
};

struct ScopeAnswer {
    std::string peak_name;
    std::string resting_name;
    Scope as_measured;
    /// Resting uptake brought to the peak's temperature by Q10; only when the temperatures differ by more
    /// than the settings' 1 K. It stands beside the measured one and does not replace it.
    std::optional<Scope> adjusted;
    std::string adjusted_how;
    std::vector<Reason> reasons; ///< "temperatures_differ", "not_above_rest" ...
};

/// Error when a value is not finite or the resting uptake is not above 0; a peak at or below rest is answered
/// and marked. When only one of the two has a mass, the mass-specific members are absent.
[[nodiscard]] Expected<ScopeAnswer> scope(const ScopeInput& input, const AdjustSettings& settings = {});

} // namespace backeddy::uptake
