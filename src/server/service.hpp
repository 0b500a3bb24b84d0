#pragma once
// Joins the gate and the routes: what to do with a request, told from its head alone, before a body is read.

#include <optional>
#include <string>

#include "server/exchange.hpp"
#include "server/gate.hpp"
#include "server/routes.hpp"

namespace backeddy::server {

/// Where pages listen to changes, by WebSocket.
inline constexpr std::string_view changes_path = "/api/changes";

struct Admission {
    std::optional<Response> refusal; ///< the answer already; else:
    Request request;                 ///< all but the body
    const Route* route = nullptr;
    bool opens_changes = false; ///< becomes a WebSocket instead of being answered
};

/// May be asked from several threads.
class Service {
  public:
    Service(Gate& gate, Routes routes) : gate_(gate), routes_(std::move(routes)) {}

    [[nodiscard]] Admission admit(const Head& head, Moment now) const;
    /// The handler's answer; 500 where it throws, which is a fault of ours.
    [[nodiscard]] static Response answer(const Route& route, const Request& request);
    /// Whether a session that listens may still.
    [[nodiscard]] bool holds(const std::string& session, Moment now) const {
        return gate_.holds(session, now);
    }

  private:
    [[nodiscard]] Admission judge(const Head& head, Moment now) const;

    Gate& gate_;
    Routes routes_;
};

} // namespace backeddy::server
