#pragma once
// Start here: what the pages may ask of the open study, over the server's plain requests and answers.
//
//   app::Desk desk({.folder = "my-study", ...});
//   auto routes = study_routes(desk);           // /api/state, /api/results ...
//   auto files = page_routes();                 // page_files.hpp: the pages themselves

#include <string>
#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// The study's routes below /api, as openapi.json describes them. `desk` must outlive them.
[[nodiscard]] std::vector<server::Route> study_routes(app::Desk& desk);

/// Where the desk's work stands, as JSON: the body of /api/state, and what /api/changes tells.
[[nodiscard]] std::string state_json(const app::DeskState& state);

} // namespace backeddy::pages
