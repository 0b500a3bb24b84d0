#pragma once
// How long to wait before a device is tried again. Pure.

#include <cstdint>

#include "base/random.hpp"
#include "series/instant.hpp"

namespace backeddy::instruments {

/// 1, 2, 4 ... 24 s, each spread by up to a quarter either way, so that twelve devices behind one cable do
/// not all come back in the same moment.
class Backoff {
  public:
    explicit Backoff(std::uint64_t seed) : random_(seed) {}
    /// The wait after one more failure.
    [[nodiscard]] Duration next();
    /// The device gave a reading: the next failure waits for the shortest time again. Being connected is not
    /// enough: a port may open a hundred times and say nothing.
    void reset() { failures_ = 0; }

  private:
    Random random_;
    int failures_ = 0;
};

} // namespace backeddy::instruments
