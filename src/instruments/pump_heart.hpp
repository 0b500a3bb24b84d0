#pragma once
// The heartbeat of one pump. Pure.
//
// Sealed only ever by command, and only while the command is renewed: `seal` is good for a while, within it
// the word goes over the wire every `heartbeat`, after it the pump is told to flush. So a caller that hangs
// loses the seal, a program that dies loses the heartbeat, and hardware that flushes without one does the
// rest.

#include <cstdint>
#include <optional>
#include <string_view>

#include "series/instant.hpp"

namespace backeddy::instruments {

enum class PumpState : std::uint8_t { flush, sealed };

[[nodiscard]] std::string_view in_words(PumpState state);

/// All times by the clock that does not step, ns.
class PumpHeart {
  public:
    explicit PumpHeart(Duration heartbeat) : heartbeat_(heartbeat) {}

    void flush() { sealed_until_ns_ = 0; }
    /// Replaces what was asked before.
    void seal(std::int64_t now_ns, Duration good_for) { sealed_until_ns_ = now_ns + good_for.nanoseconds(); }
    [[nodiscard]] PumpState wanted(std::int64_t now_ns) const;

    /// What has to be sent now: a change at once, either state again after each heartbeat.
    [[nodiscard]] std::optional<PumpState> due(std::int64_t now_ns) const;
    void sent(PumpState state, std::int64_t now_ns);
    /// The device was lost or came back: what it does is not known, so that the next word goes out at once.
    void forget() { last_.reset(); }

  private:
    struct Sent {
        PumpState state;
        std::int64_t at_ns;
    };
    Duration heartbeat_;
    std::int64_t sealed_until_ns_ = 0;
    std::optional<Sent> last_;
};

} // namespace backeddy::instruments
