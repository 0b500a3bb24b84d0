#pragma once
// What a stretch of a stay is for; the settle time, the oxygen floors and the use of its spells follow from
// it.

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "series/instant.hpp"

namespace backeddy::uptake {

enum class StayRole : std::uint8_t {
    after_capture,
    rest,
    after_chase,
    handled_only,
    control,
    held,
    blank,
    leak_test
};

/// Every role, in the order of the enumeration.
[[nodiscard]] std::span<const StayRole> all_roles();

/// "after_capture", "rest" ... as in stays.csv.
[[nodiscard]] std::string_view word(StayRole role);
[[nodiscard]] std::optional<StayRole> role_from(std::string_view word);

/// After capture, chase or handling alone oxygen falls fast and a tight tube has no time to give: short
/// settle, peak limits. All others are resting roles.
[[nodiscard]] constexpr bool is_fast(StayRole role) {
    return role == StayRole::after_capture || role == StayRole::after_chase || role == StayRole::handled_only;
}

/// A role holds from `from` up to, not including, `to`.
struct RoleInterval {
    StayRole role = StayRole::rest;
    Instant from;
    Instant to;

    friend bool operator==(const RoleInterval&, const RoleInterval&) = default;
};

} // namespace backeddy::uptake
