#include "uptake/role.hpp"

#include <array>
#include <utility>

namespace backeddy::uptake {

namespace {

constexpr std::array<std::pair<StayRole, std::string_view>, 8> roles{
    {{StayRole::after_capture, "after_capture"},
     {StayRole::rest, "rest"},
     {StayRole::after_chase, "after_chase"},
     {StayRole::handled_only, "handled_only"},
     {StayRole::control, "control"},
     {StayRole::held, "held"},
     {StayRole::blank, "blank"},
     {StayRole::leak_test, "leak_test"}}};

} // namespace

std::string_view word(StayRole role) {
    for (const auto& [one, text] : roles) {
        if (one == role) {
            return text;
        }
    }
    return "rest";
}

std::optional<StayRole> role_from(std::string_view word) {
    for (const auto& [role, text] : roles) {
        if (text == word) {
            return role;
        }
    }
    return std::nullopt;
}

} // namespace backeddy::uptake
