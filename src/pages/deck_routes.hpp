#pragma once
// What the boat's log, on a phone that is often out of reach, asks of an open study: all it has to know
// beforehand, and the way in for what it wrote meanwhile.

#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// /api/deck and /api/clock, as openapi.json describes them. `desk` must outlive them.
[[nodiscard]] std::vector<server::Route> deck_routes(app::Desk& desk);

} // namespace backeddy::pages
