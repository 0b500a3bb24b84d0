#pragma once
// All devices of a station, at work: finished frames and events come out on the loop, words to pumps go in.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "base/error.hpp"
#include "instruments/loop.hpp"
#include "instruments/reading.hpp"
#include "instruments/station.hpp"

namespace backeddy::instruments {

/// Both clocks of this machine now. The one that never steps counts through the machine's sleep.
[[nodiscard]] Stamp machine_now();

struct InstrumentsOptions {
    std::function<Stamp()> now = machine_now; ///< called on the loop's thread and on those of the devices
    std::uint64_t seed = 1;                   ///< of the spread of waiting times
};

class Instruments {
  public:
    using Sink = std::function<void(const Report&)>;

    /// Begins at once; `sink` is called on the loop's thread, never from here or from stop(), and must not
    /// end this. The loop outlives it.
    Instruments(const Station& station, Loop& loop, const Sink& sink, const InstrumentsOptions& options = {});
    /// As stop().
    ~Instruments();
    Instruments(const Instruments&) = delete;
    Instruments& operator=(const Instruments&) = delete;
    Instruments(Instruments&&) = delete;
    Instruments& operator=(Instruments&&) = delete;

    /// From the loop's thread. The word goes out at once where the device is there, and again every
    /// heartbeat. Fails with unknown_name for a pump that the station does not have. That a device cannot be
    /// reached is an event (CommandFailed): it may come back within the time.
    [[nodiscard]] Expected<void> flush(const std::string& pump);
    /// Sealed for at most so long; renew it before. Never queued for a device that is not there: a late seal
    /// is worse than none.
    [[nodiscard]] Expected<void> seal(const std::string& pump, Duration good_for);

    /// Tells every pump that can be reached to flush, then lets go of the devices. May be called twice.
    void stop();

  private:
    class Work;
    std::unique_ptr<Work> work_;
};

} // namespace backeddy::instruments
