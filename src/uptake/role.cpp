#include "uptake/role.hpp"

#include <algorithm>
#include <array>

namespace backeddy::uptake {

std::span<const StayRole> all_roles() {
    static constexpr std::array roles{StayRole::after_capture, StayRole::rest,     StayRole::after_chase,
                                      StayRole::handled_only,  StayRole::control,  StayRole::held,
                                      StayRole::blank,         StayRole::leak_test};
    return roles;
}

std::string_view word(StayRole role) {
    switch (role) {
    case StayRole::after_capture:
        return "after_capture";
    case StayRole::rest:
        return "rest";
    case StayRole::after_chase:
        return "after_chase";
    case StayRole::handled_only:
        return "handled_only";
    case StayRole::control:
        return "control";
    case StayRole::held:
        return "held";
    case StayRole::blank:
        return "blank";
    case StayRole::leak_test:
        return "leak_test";
    }
    return "";
}

std::optional<StayRole> role_from(std::string_view text) {
    const auto roles = all_roles();
    const auto found =
        std::find_if(roles.begin(), roles.end(), [&](StayRole role) { return word(role) == text; });
    return found == roles.end() ? std::nullopt : std::optional(*found);
}

} // namespace backeddy::uptake
