#pragma once
// What every routine about fates counts: who was at risk at each time, and what became of them.

#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/competing.hpp"

namespace backeddy::stats::detail {

/// Nothing, or what cumulative_incidence() says of its fish.
[[nodiscard]] Expected<void> check_fates(std::span<const FateTime> fish,
                                         const std::vector<std::string>& fates);

/// The times at which any fate was met, ascending, each once.
[[nodiscard]] std::vector<double> fate_times(std::span<const FateTime> fish);

/// Some of the fish at each of some times.
struct Counts {
    std::vector<double> at_risk;
    std::vector<double> own;    ///< that met the fate
    std::vector<double> others; ///< that met another
};
[[nodiscard]] Counts count_fates(std::span<const FateTime> fish, const std::vector<double>& times,
                                 std::size_t fate);

/// Share without any fate, and with this one, before and after each time.
struct Course {
    std::vector<double> before;
    std::vector<double> after;
    std::vector<double> incidence_before;
    std::vector<double> incidence;
};
[[nodiscard]] Course course_of(const Counts& counts);

} // namespace backeddy::stats::detail
