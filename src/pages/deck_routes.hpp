#pragma once
// What the boat's log, on a phone that is often out of reach, asks of an open study: all it has to know
// beforehand, and the way in for what it wrote meanwhile.

#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// The most that somebody of this name may here; nothing where nobody has it.
using RoleOfName = std::function<std::optional<server::Role>(std::string_view name)>;

/// /api/deck, /api/clock, /api/photos, and below /api/entries what is carried, has arrived or comes in a
/// queue file, as openapi.json describes them. `desk` must outlive them.
[[nodiscard]] std::vector<server::Route> deck_routes(app::Desk& desk, RoleOfName role_of_name);

} // namespace backeddy::pages
