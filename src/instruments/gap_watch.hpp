#pragma once
// Which channels were without a number, from when to when. Pure.

#include <map>
#include <optional>
#include <span>

#include "instruments/channel.hpp"

namespace backeddy::instruments {

class GapWatch {
  public:
    /// Channels are awaited from `begun` on.
    GapWatch(std::span<const Channel> channels, const Stamp& begun);

    /// The gap that this reading ends, if it ends one: by the clock that does not step, longer than the
    /// channel's `gap_after` since its last number. A reading without a number ends none.
    [[nodiscard]] std::optional<Gap> heard(const Reading& reading);

  private:
    struct Awaited {
        Duration gap_after;
        Stamp last;
    };
    std::map<ChannelId, Awaited> channels_;
};

} // namespace backeddy::instruments
