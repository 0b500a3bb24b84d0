#pragma once
// The sockets: HTTP/1.1 with connections kept, WebSocket for changes, every wait with an end and every size
// with a limit. One thread moves bytes; handlers run on a small pool, so that a slow one holds up nobody's
// bytes.

#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "server/certificate.hpp"
#include "server/service.hpp"

namespace backeddy::server {

struct Limits {
    std::size_t header_bytes = 16 << 10;
    std::size_t connections = 512;
    std::size_t connections_per_address = 256; ///< an address as address_group cuts it
    double requests_per_second = 200;          ///< per address, for good
    double requests_at_once = 400;
    double requests_per_second_within = 4000; ///< likewise, from the machine itself
    double requests_at_once_within = 8000;
    std::size_t waiting_changes = 64; ///< texts that a page may be behind before it is closed
    unsigned handler_threads = 4;

    std::chrono::milliseconds header_time{
        10'000}; ///< from a request's first byte (or the connection) to its head's end
    std::chrono::milliseconds body_time{30'000};  ///< and so much more as the bytes take at the slowest pace
    std::chrono::milliseconds write_time{30'000}; ///< likewise
    std::size_t slowest_bytes_per_second = 8 << 10;
    std::chrono::milliseconds idle_time{
        60'000}; ///< between two requests; a page that listens is asked for a sign of life
    std::chrono::milliseconds stop_time{
        1'000}; ///< for what is being answered when the program is told to stop
};

/// What is counted, from the start.
enum class Seen {
    connections,
    requests,
    malformed,   ///< 400 and closed
    oversize,    ///< 413 or 431 and closed
    slow,        ///< head, body or answer took too long: 408 where that can be said, and closed
    turned_away, ///< too many connections: 503 and closed
    too_fast,    ///< 429
    faults,      ///< 500
    listeners,   ///< WebSockets opened
    lagging,     ///< WebSockets closed because their page did not read
};
inline constexpr std::size_t kinds_seen = 10;

class Listener {
  public:
    /// Listens at `addresses` (in digits; none: 127.0.0.1 and, where the machine has it, ::1), all at one
    /// port; port 0 takes one that is free. "::" is all of IPv6 alone; behind 0.0.0.0 it is left out where
    /// the machine has no IPv6. Fails with bad_setting for an address that is none or not of this machine and
    /// for a port that is taken or not allowed.
    [[nodiscard]] static Expected<Listener> open(const std::vector<std::string>& addresses,
                                                 std::uint16_t port, const Limits& limits = {});
    /// From now on TLS is spoken at the same port too: a connection's first byte tells. Before serve(). Fails
    /// where the certificate cannot be used.
    [[nodiscard]] Expected<void> secure_with(const Certificate& certificate);
    /// Connections that come from now on are shown this one; those that there are go on. From any thread,
    /// after secure_with(). Fails likewise.
    [[nodiscard]] Expected<void> renew(const Certificate& certificate);
    Listener(Listener&&) noexcept;
    Listener& operator=(Listener&&) noexcept;
    ~Listener();

    [[nodiscard]] std::uint16_t port() const;

    /// Answers until stop(), SIGINT or SIGTERM; then finishes what is being answered within `stop_time`,
    /// tells listening pages, and returns. Once. False: a handler still computes. Nobody hears its answer any
    /// more; the listener's end waits for it, unless the process ends first.
    [[nodiscard]] bool serve(const Service& service);

    // From any thread:
    /// To every page that listens; a small JSON text.
    void publish(std::string text);
    void stop();
    [[nodiscard]] std::uint64_t count(Seen what) const;

  private:
    struct Inside;
    explicit Listener(std::unique_ptr<Inside> inside);
    std::unique_ptr<Inside> inside_;
};

} // namespace backeddy::server
