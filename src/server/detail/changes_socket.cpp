#include "server/detail/changes_socket.hpp"

#include "server/detail/connection.hpp"

#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/websocket/stream.hpp>

namespace backeddy::server {

namespace beast = boost::beast;
namespace websocket = boost::beast::websocket;

namespace {

/// What the system keeps for a page that does not read; the queue comes on top.
constexpr int send_buffer_bytes = 64 << 10;

beast::http::request<beast::http::empty_body> opening(const Head& head) {
    beast::http::request<beast::http::empty_body> out(beast::http::verb::get, head.target, 11);
    for (const auto& [name, text] : head.fields) {
        out.insert(name, text);
    }
    return out;
}

} // namespace

/// How Beast ends a stream of ours, which it finds by the stream's type: the WebSocket's own goodbye is said,
/// what is left is the socket.
template <typename Handler>
void async_teardown(beast::role_type role, Wire& wire, Handler&& handler) {
    websocket::async_teardown(role, wire.socket(), std::forward<Handler>(handler));
}
static void beast_close_socket(Wire& wire) {
    error_code ignored;
    wire.socket().close(ignored);
}

struct ChangesSocket::Stream {
    explicit Stream(std::unique_ptr<Wire> its_wire) : wire(std::move(its_wire)), websocket(*wire) {}
    std::unique_ptr<Wire> wire;
    websocket::stream<Wire&, false> websocket;
};

ChangesSocket::ChangesSocket(std::unique_ptr<Wire> wire, Shared& shared, std::string session)
    : stream_(std::make_unique<Stream>(std::move(wire))), shared_(shared), session_(std::move(session)),
      woken_(stream_->websocket.get_executor()) {
    auto& websocket = stream_->websocket;
    error_code ignored;
    websocket.next_layer().socket().set_option(asio::socket_base::send_buffer_size(send_buffer_bytes),
                                               ignored);
    websocket.set_option(websocket::stream_base::timeout{.handshake_timeout = shared.limits.header_time,
                                                         .idle_timeout = shared.limits.idle_time,
                                                         .keep_alive_pings = true});
    websocket.read_message_max(1);
    websocket.text(true);
    websocket.auto_fragment(false); // the texts are small
    shared_.listening.insert(this);
}

ChangesSocket::~ChangesSocket() {
    shared_.listening.erase(this);
}

asio::awaitable<void> ChangesSocket::run(const Head& head) {
    auto& websocket = stream_->websocket;
    error_code failure;
    const auto request = opening(head);
    co_await websocket.async_accept(request, asio::redirect_error(asio::use_awaitable, failure));
    if (failure) {
        co_return;
    }
    asio::co_spawn(
        websocket.get_executor(), [self = shared_from_this()] { return self->write_changes(); },
        [](const std::exception_ptr&) {});
    // Read, so that pings and the page's closing are seen; a page has nothing to say here.
    beast::flat_buffer buffer;
    co_await websocket.async_read(buffer, asio::redirect_error(asio::use_awaitable, failure));
    close_at_once();
}

asio::awaitable<void> ChangesSocket::write_changes() {
    auto& websocket = stream_->websocket;
    error_code failure;
    while (!is_closing_ && !failure) {
        if (waiting_.empty()) {
            woken_.expires_at(asio::steady_timer::time_point::max());
            error_code woken;
            co_await woken_.async_wait(asio::redirect_error(asio::use_awaitable, woken));
            continue;
        }
        if (!shared_.service->holds(session_, std::chrono::steady_clock::now())) {
            co_await websocket.async_close(
                websocket::close_reason(websocket::close_code::policy_error, "signed out"),
                asio::redirect_error(asio::use_awaitable, failure));
            co_return;
        }
        const auto text = waiting_.front();
        co_await websocket.async_write(asio::buffer(*text),
                                       asio::redirect_error(asio::use_awaitable, failure));
        if (!waiting_.empty()) {
            waiting_.pop_front();
        }
    }
    if (!failure) {
        co_await websocket.async_close(websocket::close_code::going_away,
                                       asio::redirect_error(asio::use_awaitable, failure));
    }
}

void ChangesSocket::send(std::shared_ptr<const std::string> text) {
    if (is_closing_) {
        return;
    }
    if (waiting_.size() >= shared_.limits.waiting_changes) {
        shared_.count(Seen::lagging);
        close_at_once();
        return;
    }
    waiting_.push_back(std::move(text));
    woken_.cancel();
}

void ChangesSocket::stop() {
    is_closing_ = true;
    woken_.cancel();
}

void ChangesSocket::close_at_once() {
    is_closing_ = true;
    error_code ignored;
    stream_->wire->socket().close(ignored);
    woken_.cancel();
}

} // namespace backeddy::server
