#pragma once
// What the pages may ask of the open study.

#include <string>
#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::server {

/// The study's routes below /api, as openapi.json describes them. `desk` must outlive them.
[[nodiscard]] std::vector<Route> study_routes(app::Desk& desk);

/// Where the desk's work stands, as JSON: the body of /api/state, and what /api/changes tells.
[[nodiscard]] std::string state_json(const app::DeskState& state);

} // namespace backeddy::server
