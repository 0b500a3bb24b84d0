#pragma once
// The last hours of each chamber, thinned, for the picture of one chamber. Never hides an extreme: of each
// stretch the lowest and the highest are kept.

#include <cstddef>
#include <deque>
#include <string>
#include <vector>

#include "series/instant.hpp"
#include "watch/output.hpp"

namespace backeddy::live {

class Recent {
  public:
    /// A stretch: what is drawn as one column.
    struct Stretch {
        Instant from;
        double lowest = 0.0; ///< mg/L
        double highest = 0.0;
        watch::Phase phase = watch::Phase::flush; ///< at its beginning
    };

    /// `step` of each stretch; after `keeps` the oldest goes.
    explicit Recent(std::size_t chambers, Duration step = Duration::seconds(5.0),
                    Duration keeps = Duration::hours(6.0));

    /// A reading; one that is no number is passed over. Moments may step back with the machine's clock: then
    /// the course goes on from there.
    void take(std::size_t chamber, Instant at, double mg_per_l, watch::Phase phase);
    [[nodiscard]] const std::deque<Stretch>& of(std::size_t chamber) const { return chambers_[chamber]; }

    /// {"step_s":5,"from":[ms since 1970 ...],"lowest":[...],"highest":[...],"sealed":[0, 1 ...]}, one line.
    [[nodiscard]] std::string json(std::size_t chamber) const;

  private:
    Duration step_;
    std::size_t most_;
    std::vector<std::deque<Stretch>> chambers_;
};

} // namespace backeddy::live
