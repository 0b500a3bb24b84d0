#pragma once
// What is asked of pairing: codes for the laptop's screen, the phones there are, and a phone that comes with
// a code.

#include <functional>
#include <optional>
#include <vector>

#include "server/gate.hpp"
#include "server/pairing.hpp"
#include "server/routes.hpp"
#include "server/trust_pages.hpp"

namespace backeddy::server {

/// /api/pairing, /api/pairing/{id} and /api/pair; without a road they say that it is not on. `on_change` is
/// called when a device has come or gone: who listens is told, which also ends the lines of one that is gone.
/// Gate and pairings have to live as long as the routes.
[[nodiscard]] std::vector<Route> pairing_routes(Gate& gate, Pairings& pairings,
                                                const std::optional<Road>& road,
                                                std::function<void()> on_change);

} // namespace backeddy::server
