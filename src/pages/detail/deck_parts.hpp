#pragma once
// The parts of deck_routes().

#include <vector>

#include "app/desk.hpp"
#include "pages/deck_routes.hpp"
#include "server/routes.hpp"

namespace backeddy::pages::detail {

[[nodiscard]] std::vector<server::Route> carried_routes(app::Desk& desk, RoleOfName role_of_name);
[[nodiscard]] std::vector<server::Route> queue_routes(app::Desk& desk);
[[nodiscard]] std::vector<server::Route> photo_routes(app::Desk& desk);

} // namespace backeddy::pages::detail
