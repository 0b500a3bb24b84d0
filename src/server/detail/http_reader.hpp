#pragma once
// Bytes to requests: HTTP/1.1 as Boost.Beast reads it, fed by hand so that no socket is needed.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>

#include "server/exchange.hpp"

namespace backeddy::server {

/// Reads one request: feed() until `head`, then allow_body() and feed() until `complete`.
class HttpReader {
  public:
    enum class State { needs_more, head, complete, malformed, head_too_large, body_too_large };

    explicit HttpReader(std::size_t header_bytes);
    ~HttpReader();
    HttpReader(const HttpReader&) = delete;
    HttpReader& operator=(const HttpReader&) = delete;

    /// Takes what it can use off the front of `pending`; what stays belongs to the next request, or needs
    /// more.
    [[nodiscard]] State feed(std::string& pending);

    // From `head` on:
    /// Method, target and fields; the addresses are the caller's to fill in.
    [[nodiscard]] Head head() const;
    [[nodiscard]] bool has_body() const;
    /// Of a body that says how long it is; 0 of one in chunks.
    [[nodiscard]] std::uint64_t body_length() const;
    [[nodiscard]] bool keeps_alive() const;
    /// The client waits for "100 Continue" before it sends the body.
    [[nodiscard]] bool waits_for_word() const;
    /// body_too_large where it says that it is longer; else needs_more or complete.
    [[nodiscard]] State allow_body(std::size_t most_bytes);

    // At `complete`:
    [[nodiscard]] std::string take_body();

  private:
    struct Parser;
    std::unique_ptr<Parser> parser_;
};

} // namespace backeddy::server
