#pragma once
// The time that puts entries of several devices into one order, though no two of their clocks agree.

#include <compare>
#include <cstdint>

namespace backeddy::store {

/// A hybrid logical clock's time: near the wall's, never running backward, and later than every time that the
/// device had seen when it was taken. It orders entries; when something happened is for an entry's
/// DeviceMoment to say.
struct HybridTime {
    std::int64_t wall_us = 0; ///< microseconds since 1970 UTC: the latest wall time this device has seen
    std::uint32_t count = 0;  ///< tells events within one wall_us apart

    friend auto operator<=>(const HybridTime&, const HybridTime&) = default;
};

/// A device whose clock is this far ahead of ours is wrong, not fast: its entries are kept, but our own clock
/// does not follow it there (choice).
inline constexpr std::int64_t most_ahead_us = std::int64_t{24} * 3600 * 1'000'000;

/// The time of a new entry of this device. `last`: the time of its entry before, or what receive() gave
/// since; `wall_us`: what its clock on the wall shows. The answer is later than `last` whatever the wall
/// shows.
///
/// Kulkarni, Demirbas, Madappa, Avva and Leone 2014, Logical Physical Clocks, OPODIS 2014 (LNCS 8878),
/// figure 5, "send or local event"; written from memory of it. A count at its end carries into wall_us, which
/// the paper leaves open.
[[nodiscard]] HybridTime tick(HybridTime last, std::int64_t wall_us);

/// The device's time after it has seen an entry of time `seen`: later than both. The same figure's "receive
/// event". All walls from 0 to 2^53 - 1, as an entry's are. A `seen` of more than most_ahead_us after
/// `wall_us` is not followed: then this is tick().
[[nodiscard]] HybridTime receive(HybridTime last, HybridTime seen, std::int64_t wall_us);

} // namespace backeddy::store
