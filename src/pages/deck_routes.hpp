#pragma once
// What the boat's log, on a phone that is often out of reach, asks of an open study: all it has to know
// beforehand, and the way in for what it wrote meanwhile.

#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// /api/deck, /api/clock, /api/photos, and below /api/entries what is carried, has arrived or comes in a
/// queue file, as openapi.json describes them. `desk` must outlive them.
[[nodiscard]] std::vector<server::Route> deck_routes(app::Desk& desk);

} // namespace backeddy::pages
