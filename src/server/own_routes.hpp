#pragma once
// What the server answers by itself, whatever study is open: what it is, its API's document, signing in and
// out, changes.

#include <string>
#include <string_view>
#include <vector>

#include "server/gate.hpp"
#include "server/routes.hpp"

namespace backeddy::server {

/// `version` of the program. The gate has to live as long as the routes.
[[nodiscard]] std::vector<Route> own_routes(Gate& gate, std::string version);

/// src/server/openapi.json (OpenAPI 3.1): every route under /api/ stands in it.
[[nodiscard]] std::string_view openapi_document();

} // namespace backeddy::server
