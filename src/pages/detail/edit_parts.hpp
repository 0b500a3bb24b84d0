#pragma once
// The parts of edit_routes(), and what they share.

#include <optional>
#include <string>
#include <vector>

#include "app/desk.hpp"
#include "server/routes.hpp"

namespace backeddy::pages::detail {

[[nodiscard]] std::vector<server::Route> table_routes(app::Desk& desk);
[[nodiscard]] std::vector<server::Route> brief_routes(app::Desk& desk);
[[nodiscard]] std::vector<server::Route> offered_routes(app::Desk& desk);
[[nodiscard]] std::vector<server::Route> ask_routes(app::Desk& desk);

/// Writes down in the journal what will be done to a file. Before it is done: after a power cut the journal
/// may tell of a change that did not come about, but none comes about untold. `content`: as JSON.
[[nodiscard]] Expected<void> record(app::Desk& desk, const server::Request& request, std::string content);

// Templates, so that a JSON library stays out of this header.

/// Text that a file holds may be in no encoding at all.
template <typename Json>
[[nodiscard]] std::string text_of(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

template <typename Json>
[[nodiscard]] Json number_or_null(const std::optional<double>& value) {
    return value ? Json(*value) : Json();
}

} // namespace backeddy::pages::detail
