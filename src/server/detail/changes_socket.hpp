#pragma once
// A page that listens to changes, over a WebSocket.

#include <deque>
#include <memory>
#include <string>

#include "server/detail/asio.hpp"
#include "server/detail/wire.hpp"
#include "server/exchange.hpp"

namespace backeddy::server {

struct Shared;

class ChangesSocket : public std::enable_shared_from_this<ChangesSocket> {
  public:
    ChangesSocket(std::unique_ptr<Wire> wire, Shared& shared, std::string session);
    ~ChangesSocket();
    ChangesSocket(const ChangesSocket&) = delete;
    ChangesSocket& operator=(const ChangesSocket&) = delete;

    /// Answers the opening `head` and stays until an end.
    asio::awaitable<void> run(const Head& head);
    /// Queues a text. A page that is too far behind is closed: nobody waits for it.
    void send(std::shared_ptr<const std::string> text);
    /// Says goodbye (1001, going away).
    void stop();
    void close_at_once();

  private:
    asio::awaitable<void> write_changes();

    struct Stream; ///< Boost.Beast's, kept out of this header
    std::unique_ptr<Stream> stream_;
    Shared& shared_;
    std::string session_;
    asio::steady_timer woken_;
    std::deque<std::shared_ptr<const std::string>> waiting_;
    bool is_closing_ = false;
};

} // namespace backeddy::server
