#pragma once
// Start here: what the pages may ask of the open study, over the server's plain requests and answers.
//
//   app::Desk desk({.folder = "my-study", ...});
//   auto routes = study_routes(desk);           // /api/state, /api/results ...
//   auto files = page_routes();                 // page_files.hpp: the pages themselves

#include <string>
#include <vector>

#include "app/desk.hpp"
#include "app/journal_copy.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// The study's routes below /api, as openapi.json describes them. `desk` must outlive them.
[[nodiscard]] std::vector<server::Route> study_routes(app::Desk& desk);

/// Where the journal's copy stands, at /api/copy: null where there is none. `copy` must outlive them.
[[nodiscard]] std::vector<server::Route> copy_routes(const app::JournalCopy* copy);

/// That, as JSON: the body of /api/copy, and what /api/changes tells.
[[nodiscard]] std::string copy_json(const std::string& folder, const store::CopyState& state);

/// Where the desk's work stands, as JSON: the body of /api/state, and what /api/changes tells.
[[nodiscard]] std::string state_json(const app::DeskState& state);

} // namespace backeddy::pages
