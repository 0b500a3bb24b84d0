#pragma once
// The watch over live chambers as the pages see it: what it last said, and hands handed on to it. The watch
// is a program of its own; here nothing is decided.

#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "live/visitor.hpp"
#include "server/routes.hpp"

namespace backeddy::pages {

/// Looks at the watch over a study's folder for as long as it lives.
class WatchView {
  public:
    /// `publish` gets {"watch":...} with each news, and {"watch":null} once when no watch is there any more;
    /// on a thread of its own.
    WatchView(std::filesystem::path socket, std::function<void(const std::string&)> publish);

    /// The line that the watch said last (the document WatchNow); nothing while none is there.
    [[nodiscard]] std::optional<std::string> now() const;
    [[nodiscard]] const std::filesystem::path& socket() const { return socket_; }

  private:
    std::filesystem::path socket_;
    std::function<void(const std::string&)> publish_;
    mutable std::mutex mutex_;
    std::optional<std::string> now_;
    live::WatchLook look_; ///< last: its thread uses what stands above
};

/// /api/watch and what stands below it, as openapi.json describes them. `view` must outlive them; none where
/// the machine has no place for the watch's socket: then no watch is there.
[[nodiscard]] std::vector<server::Route> watch_routes(const WatchView* view);

} // namespace backeddy::pages
