#pragma once
// The application's pages, built from web/ and carried inside the program.

#include <vector>

#include "server/routes.hpp"

namespace backeddy::pages {

/// The files of the pages, and index.html for every address that the pages make themselves (/fish/F01):
/// anyone may load them, since signing in is one of them; what they show they have to ask for.
[[nodiscard]] std::vector<server::Route> page_routes();

} // namespace backeddy::pages
