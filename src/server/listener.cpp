#include "server/listener.hpp"

#include <algorithm>
#include <csignal>

#include <fmt/format.h>

#include "server/detail/changes_socket.hpp"
#include "server/detail/connection.hpp"

namespace backeddy::server {

namespace {

/// Connections over the limit that are told so; any more are closed without a word.
constexpr std::size_t most_turned_away = 64;
/// After a connection could not be taken, mostly for want of file descriptors.
constexpr std::chrono::milliseconds breath{50};
/// For connections that were closed to come to their end.
constexpr std::chrono::milliseconds last_moment{200};

Error cannot_listen(const std::string& address, std::uint16_t port, const error_code& failure) {
    Error out{.code = ErrorCode::bad_setting,
              .found = fmt::format("cannot listen at {} port {} ({})", address, port, failure.message()),
              .expected = "an address of this machine and a port that is free",
              .remedy = "choose another address or port"};
    if (failure == asio::error::address_in_use) {
        out.found = fmt::format("port {} of {} is taken by another program", port, address);
        out.remedy =
            "stop the other `backeddy serve`, or choose another port: --port N (0 takes any that is free)";
    } else if (failure == asio::error::access_denied) {
        out.found = fmt::format("port {} is not for everybody's programs", port);
        out.remedy = "choose a port from 1024 up: --port N";
    } else if (failure == boost::system::errc::address_not_available) {
        out.found = fmt::format("{} is no address of this machine", address);
        out.remedy = "`ip address` lists those that it has";
    }
    return out;
}

} // namespace

struct Listener::Inside {
    explicit Inside(const Limits& limits) : shared(limits) {}
    ~Inside() { shared.handlers.join(); }
    Inside(const Inside&) = delete;
    Inside& operator=(const Inside&) = delete;

    Shared shared; // before the loop: what the loop still holds when it goes looks at it
    asio::io_context loop{1};
    std::vector<tcp::acceptor> acceptors;
    asio::signal_set signals{loop};
    asio::steady_timer patience{loop};
    std::uint16_t port = 0;

    Expected<void> listen_at(const std::string& address);
    asio::awaitable<void> accept(tcp::acceptor& acceptor);
    void take_in(tcp::socket socket);
    void spawn(std::shared_ptr<Connection> connection, bool is_welcome);
    void stop();
    void end_when_empty();
};

Expected<void> Listener::Inside::listen_at(const std::string& address) {
    error_code failure;
    const auto parsed = asio::ip::make_address(address, failure);
    if (failure) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("\"{}\" is no address in digits", address),
                     .expected = "an address such as 192.0.2.7, or 0.0.0.0 for all that this machine has",
                     .remedy = "`ip address` lists those that it has"});
    }
    tcp::acceptor acceptor(loop);
    const tcp::endpoint endpoint(parsed, port);
    acceptor.open(endpoint.protocol(), failure);
    if (!failure) {
        acceptor.set_option(asio::socket_base::reuse_address(true), failure);
    }
    if (!failure && parsed.is_v6()) {
        // IPv4 has a socket of its own, so that both can be listened at, and told apart.
        acceptor.set_option(asio::ip::v6_only(true), failure);
    }
    if (!failure) {
        acceptor.bind(endpoint, failure);
    }
    if (!failure) {
        acceptor.listen(asio::socket_base::max_listen_connections, failure);
    }
    if (failure) {
        return fail(cannot_listen(address, port, failure));
    }
    port = acceptor.local_endpoint().port();
    acceptors.push_back(std::move(acceptor));
    return {};
}

asio::awaitable<void> Listener::Inside::accept(tcp::acceptor& acceptor) {
    while (!shared.is_stopping) {
        error_code failure;
        tcp::socket socket(loop);
        co_await acceptor.async_accept(socket, asio::redirect_error(asio::use_awaitable, failure));
        if (!failure) {
            take_in(std::move(socket));
        } else if (!shared.is_stopping) {
            asio::steady_timer pause(loop, breath);
            co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, failure));
        }
    }
}

void Listener::Inside::take_in(tcp::socket socket) {
    shared.count(Seen::connections);
    const auto connection = std::make_shared<Connection>(std::move(socket), shared);
    const bool is_welcome = shared.open.size() <= shared.limits.connections &&
                            shared.per_address[connection->group()] <= shared.limits.connections_per_address;
    if (!is_welcome) {
        shared.count(Seen::turned_away);
    }
    if (is_welcome || shared.open.size() <= shared.limits.connections + most_turned_away) {
        spawn(connection, is_welcome);
    }
}

void Listener::Inside::spawn(std::shared_ptr<Connection> connection, bool is_welcome) {
    auto work = is_welcome ? connection->run() : connection->turn_away();
    asio::co_spawn(
        loop, std::move(work), [this, connection = std::move(connection)](const std::exception_ptr& fault) {
            if (fault) {
                shared.count(Seen::faults); // memory, or a bug: this connection ends, the others go on
            }
            connection->leave();
            end_when_empty();
        });
}

void Listener::Inside::stop() {
    if (std::exchange(shared.is_stopping, true)) {
        return;
    }
    error_code ignored;
    for (auto& acceptor : acceptors) {
        acceptor.close(ignored);
    }
    signals.cancel(ignored);
    for (auto* connection : shared.open) {
        connection->stop();
    }
    for (auto* socket : shared.listening) {
        socket->stop();
    }
    patience.expires_after(shared.limits.stop_time);
    patience.async_wait([this](error_code failure) {
        if (!failure) {
            for (auto* connection : shared.open) {
                connection->close_at_once();
            }
            for (auto* socket : shared.listening) {
                socket->close_at_once();
            }
            // What waits for a handler is not ended by that: it is left.
            patience.expires_after(last_moment);
            patience.async_wait([this](error_code) { loop.stop(); });
        }
    });
    end_when_empty();
}

void Listener::Inside::end_when_empty() {
    if (shared.is_stopping && shared.open.empty()) {
        patience.cancel();
    }
}

Listener::Listener(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
Listener::Listener(Listener&&) noexcept = default;
Listener& Listener::operator=(Listener&&) noexcept = default;
Listener::~Listener() = default;

Expected<Listener> Listener::open(const std::vector<std::string>& addresses, std::uint16_t port,
                                  const Limits& limits) {
    auto inside = std::make_unique<Inside>(limits);
    inside->port = port;
    // Many machines go without IPv6: then the other one is enough.
    const bool is_every = std::ranges::find(addresses, "0.0.0.0") != addresses.end();
    for (const auto& address : addresses.empty() ? std::vector<std::string>{"127.0.0.1"} : addresses) {
        auto listening = inside->listen_at(address);
        if (!listening && !(is_every && address == "::")) {
            return fail(std::move(listening).error());
        }
    }
    if (addresses.empty()) {
        [[maybe_unused]] const auto also = inside->listen_at("::1");
    }
    return Listener(std::move(inside));
}

Expected<void> Listener::secure_with(const Certificate& certificate) {
    auto tls = make_tls(certificate);
    if (!tls) {
        return fail(std::move(tls).error());
    }
    inside_->shared.tls = std::move(*tls);
    return {};
}

Expected<void> Listener::renew(const Certificate& certificate) {
    auto tls = make_tls(certificate);
    if (!tls) {
        return fail(std::move(tls).error());
    }
    asio::post(inside_->loop, [&inside = *inside_, made = std::move(*tls)] { inside.shared.tls = made; });
    return {};
}

std::uint16_t Listener::port() const {
    return inside_->port;
}

bool Listener::serve(const Service& service) {
    auto& inside = *inside_;
    inside.shared.service = &service;
    for (auto& acceptor : inside.acceptors) {
        asio::co_spawn(inside.loop, inside.accept(acceptor), [](const std::exception_ptr&) {});
    }
    inside.signals.add(SIGINT);
    inside.signals.add(SIGTERM);
    inside.signals.async_wait([&inside](error_code failure, int) {
        if (!failure) {
            inside.stop();
        }
    });
    inside.loop.run();
    inside.shared.handlers.stop(); // what has not begun
    if (inside.shared.computing > 0) {
        return false;
    }
    inside.shared.handlers.join();
    return true;
}

void Listener::publish(std::string text) {
    asio::post(inside_->loop,
               [&inside = *inside_, text = std::make_shared<const std::string>(std::move(text))] {
                   const auto listening = inside.shared.listening; // one that is closed leaves the set
                   for (auto* socket : listening) {
                       socket->send(text);
                   }
               });
}

void Listener::stop() {
    asio::post(inside_->loop, [&inside = *inside_] { inside.stop(); });
}

std::uint64_t Listener::count(Seen what) const {
    return inside_->shared.counts[static_cast<std::size_t>(what)];
}

} // namespace backeddy::server
