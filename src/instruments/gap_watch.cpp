#include "instruments/gap_watch.hpp"

#include <utility>

namespace backeddy::instruments {

GapWatch::GapWatch(std::span<const Channel> channels, const Stamp& begun) {
    for (const auto& channel : channels) {
        channels_.emplace(channel.id, Awaited{.gap_after = channel.gap_after, .last = begun});
    }
}

std::optional<Gap> GapWatch::heard(const Reading& reading) {
    const auto found = channels_.find(reading.channel);
    if (found == channels_.end() || reading.missing != Missing::no) {
        return std::nullopt;
    }
    auto& awaited = found->second;
    const Stamp from = std::exchange(awaited.last, reading.received);
    const auto silent = Duration::nanoseconds(reading.received.monotonic_ns - from.monotonic_ns);
    return silent > awaited.gap_after
               ? std::optional(Gap{.channel = reading.channel, .from = from, .to = reading.received})
               : std::nullopt;
}

} // namespace backeddy::instruments
