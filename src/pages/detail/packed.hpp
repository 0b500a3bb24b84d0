#pragma once
// Long answers on their way to another device go packed: on the boat's network the results take seconds
// otherwise.

#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>

#include "server/exchange.hpp"

namespace backeddy::pages {

/// gzip (RFC 1952) of `bytes`, quickly rather than tightly. Same bytes, same result.
[[nodiscard]] std::string packed(std::string_view bytes);

/// Each file of one revision packed once, however many ask. May be asked from any thread.
class PackedFiles {
  public:
    /// Of the file `name` of this revision; what was kept of another one goes.
    [[nodiscard]] server::Bytes of(const std::string& revision, const std::string& name,
                                   std::string_view bytes);

  private:
    std::mutex guard_;
    std::string revision_;
    std::map<std::string, server::Bytes> files_;
};

/// Whether the answer goes over a network.
[[nodiscard]] bool is_elsewhere(const server::Asker& asker);

} // namespace backeddy::pages
