#pragma once
// Which request is answered by which function: a table, plain and tested without sockets.

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/error.hpp"
#include "server/exchange.hpp"

namespace backeddy::server {

using Handler = std::function<Response(const Request&)>;

/// Most bytes of a body where a route says nothing else.
inline constexpr std::size_t usual_body_limit = 64 << 10;

struct Route {
    Method method = Method::get; ///< a GET also answers HEAD
    std::string pattern;         ///< "/api/stays/{stay}/trace": each {word} stands for one segment
    Right right = Right::read;
    Handler handler;
    std::size_t body_limit = usual_body_limit; ///< bytes
};

class Routes {
  public:
    /// Fails with our_bug where two routes take the same requests or a pattern is no path.
    [[nodiscard]] static Expected<Routes> of(std::vector<Route> routes);

    /// The route of a path with what its {words} stand for. Where several patterns take the path, words as
    /// they stand win over {words}, from the left. Otherwise the answer to give: 404, or 405 with Allow.
    struct Match {
        const Route* route;
        std::vector<Field> named;
    };
    [[nodiscard]] std::variant<Match, Response> find(Method method,
                                                     const std::vector<std::string>& path) const;

    [[nodiscard]] const std::vector<Route>& all() const { return routes_; }

  private:
    std::vector<Route> routes_;
    std::vector<std::vector<std::string>> patterns_; ///< segments of each route's pattern
};

} // namespace backeddy::server
