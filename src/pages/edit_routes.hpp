#pragma once
// What the pages need to change a study beyond its journal: its tables as grids, its brief as text, files
// that are looked at before they are taken in, and questions that are tried before they are kept.

#include <cstddef>
#include <memory>
#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// The largest file that the pages take in; larger ones are copied below raw/ by hand.
inline constexpr std::size_t most_offered_bytes = std::size_t{256} << 20;

/// Routes below /api/tables, /api/brief, /api/offered and /api/questions, as openapi.json describes them.
/// `desk` must outlive them. Offered files lie in a folder of the system's temporary ones, the last eight of
/// them, until the routes are gone.
[[nodiscard]] std::vector<server::Route> edit_routes(app::Desk& desk);

} // namespace backeddy::pages
