#pragma once
// What a phone reads before it trusts this machine: plain pages without script, the same over plain HTTP.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "series/instant.hpp"
#include "server/routes.hpp"

namespace backeddy::server {

/// The secure road onto a phone: under what name, and what is to be trusted.
struct Road {
    std::string name;            ///< "backeddy.local"
    std::string origin;          ///< "https://backeddy.local:8340"
    std::string authority_der{}; ///< empty: a certificate of one's own, whose issuer phones know or not
    Instant until{};             ///< of the authority
    std::function<std::string()> trust_address; ///< "http://192.0.2.7:8340/trust": reached without the name
};

/// /trust and below, for anyone; without a road only their look, which other small pages of the server share.
[[nodiscard]] std::vector<Route> trust_routes(const std::optional<Road>& road);

} // namespace backeddy::server
