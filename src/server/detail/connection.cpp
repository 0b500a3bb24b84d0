#include "server/detail/connection.hpp"

#include <algorithm>

#include "server/detail/changes_socket.hpp"

namespace backeddy::server {

namespace {

constexpr std::size_t block_bytes = 16 << 10;
/// The first byte of a TLS connection (RFC 8446, section 5.1); no method of HTTP begins with it.
constexpr unsigned char tls_handshake = 0x16;
/// How long, and how much, is read of what a refused client still sends, so that it gets to read why.
constexpr std::chrono::seconds parting_time{2};
constexpr std::size_t parting_bytes = 16 << 20;

std::string address_text(const tcp::endpoint& endpoint) {
    const auto address = endpoint.address();
    if (address.is_v6() && address.to_v6().is_v4_mapped()) {
        return asio::ip::make_address_v4(asio::ip::v4_mapped, address.to_v6()).to_string();
    }
    return address.to_string();
}

std::int64_t seconds_since_1970() {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    return std::chrono::duration_cast<std::chrono::seconds>(now).count();
}

/// Runs on the pool.
asio::awaitable<Response> answer_of(Shared& shared, const Route& route, Request request) {
    ++shared.computing;
    Response response = Service::answer(route, request);
    --shared.computing;
    co_return response;
}

} // namespace

Connection::Connection(tcp::socket socket, Shared& shared)
    : wire_(plain_wire(std::move(socket))), timer_(wire_->get_executor()), shared_(shared) {
    error_code ignored;
    peer_ = address_text(wire_->socket().remote_endpoint(ignored));
    local_ = address_text(wire_->socket().local_endpoint(ignored));
    group_ = address_group(peer_);
    wire_->socket().set_option(tcp::no_delay(true), ignored);
    shared_.open.insert(this);
    ++shared_.per_address[group_];
}

Connection::~Connection() {
    leave();
}

void Connection::leave() {
    if (shared_.open.erase(this) == 1 && --shared_.per_address[group_] == 0) {
        shared_.per_address.erase(group_);
    }
}

// ---------------------------------------------------------------- waiting, with an end

void Connection::begin_wait(Clock::time_point until) {
    timer_.expires_at(until);
    timer_.async_wait([self = shared_from_this(), turn = ++turn_](error_code failure) {
        if (!failure && self->turn_ == turn) {
            self->is_late_ = true;
            self->cancel();
        }
    });
}

/// Whether time was up.
bool Connection::end_wait() {
    ++turn_;
    timer_.cancel();
    return std::exchange(is_late_, false);
}

Connection::Clock::duration Connection::time_for(std::chrono::milliseconds base, std::uint64_t bytes) const {
    return base + std::chrono::seconds(bytes / shared_.limits.slowest_bytes_per_second);
}

asio::awaitable<Connection::Got> Connection::read_more(Clock::time_point until) {
    if (Clock::now() >= until) {
        co_return Got::late;
    }
    const std::size_t before = pending_.size();
    pending_.resize(before + block_bytes);
    error_code failure;
    begin_wait(until);
    const std::size_t count =
        co_await wire_->async_read_some(asio::buffer(pending_.data() + before, block_bytes),
                                        asio::redirect_error(asio::use_awaitable, failure));
    const bool was_late = end_wait();
    pending_.resize(before + count);
    if (!failure) {
        co_return Got::bytes;
    }
    co_return was_late ? Got::late : Got::end;
}

asio::awaitable<bool> Connection::write(std::string_view head, std::string_view body) {
    const auto until = Clock::now() + time_for(shared_.limits.write_time, head.size() + body.size());
    std::array<asio::const_buffer, 2> parts{asio::buffer(head), asio::buffer(body)};
    while (asio::buffer_size(parts) > 0) {
        if (Clock::now() >= until) {
            shared_.count(Seen::slow);
            co_return false;
        }
        error_code failure;
        begin_wait(until);
        std::size_t count =
            co_await wire_->async_write_some(parts, asio::redirect_error(asio::use_awaitable, failure));
        const bool was_late = end_wait();
        if (failure) {
            if (was_late) {
                shared_.count(Seen::slow);
            }
            co_return false;
        }
        for (auto& part : parts) {
            const std::size_t written = std::min(count, part.size());
            part += written;
            count -= written;
        }
    }
    co_return true;
}

// ---------------------------------------------------------------- plain or TLS

asio::awaitable<bool> Connection::open_wire() {
    if (!shared_.tls) {
        co_return true;
    }
    std::array<unsigned char, 1> first{};
    error_code failure;
    begin_wait(Clock::now() + shared_.limits.idle_time);
    co_await wire_->socket().async_receive(asio::buffer(first), asio::socket_base::message_peek,
                                           asio::redirect_error(asio::use_awaitable, failure));
    end_wait();
    if (failure) {
        co_return false;
    }
    is_secure_ = first[0] == tls_handshake;
    if (!is_secure_) {
        co_return true;
    }
    co_return co_await greet();
}

/// A handshake costs more than most requests, so it counts as one; it has as long as a request's head.
asio::awaitable<bool> Connection::greet() {
    if (is_too_fast(Clock::now())) {
        shared_.count(Seen::too_fast);
        co_return false;
    }
    wire_ = tls_wire(std::move(wire_->socket()), shared_.tls);
    error_code failure;
    begin_wait(Clock::now() + shared_.limits.header_time);
    co_await wire_->async_greet(asio::redirect_error(asio::use_awaitable, failure));
    const bool was_late = end_wait();
    if (failure) {
        shared_.count(was_late ? Seen::slow : Seen::malformed);
    }
    co_return !failure;
}

// ---------------------------------------------------------------- one request

asio::awaitable<std::optional<HttpReader::State>> Connection::read_head(HttpReader& reader) {
    // Between requests there is time; once a request has begun, its head has to come.
    if (pending_.empty()) {
        const Got got = co_await read_more(Clock::now() + shared_.limits.idle_time);
        if (got != Got::bytes) {
            co_return std::nullopt;
        }
    }
    const auto until = Clock::now() + shared_.limits.header_time;
    while (true) {
        const auto state = reader.feed(pending_);
        if (state != HttpReader::State::needs_more) {
            co_return state;
        }
        if (shared_.is_stopping) {
            co_return std::nullopt;
        }
        const Got got = co_await read_more(until);
        if (got == Got::end) {
            co_return std::nullopt;
        }
        if (got == Got::late) {
            co_return state;
        }
    }
}

asio::awaitable<HttpReader::State> Connection::read_body(HttpReader& reader, std::size_t most_bytes) {
    auto state = reader.allow_body(most_bytes);
    if (state != HttpReader::State::needs_more) {
        co_return state;
    }
    if (pending_.empty() && reader.waits_for_word()) {
        const bool is_sent = co_await write("HTTP/1.1 100 Continue\r\n\r\n", {});
        if (!is_sent) {
            co_return HttpReader::State::needs_more;
        }
    }
    const auto until = Clock::now() + time_for(shared_.limits.body_time,
                                               std::min<std::uint64_t>(reader.body_length(), most_bytes));
    while (true) {
        state = reader.feed(pending_);
        if (state != HttpReader::State::needs_more) {
            co_return state;
        }
        const Got got = co_await read_more(until);
        if (got == Got::end) {
            co_return HttpReader::State::malformed; // cut off
        }
        if (got == Got::late) {
            co_return state;
        }
    }
}

bool Connection::is_too_fast(Clock::time_point now) {
    return !(is_loopback(peer_) ? shared_.pace_within : shared_.pace).take(group_, now);
}

asio::awaitable<bool> Connection::send(Response response, const Head& head) {
    response.closes = response.closes || shared_.is_stopping;
    if (response.status == 500) {
        shared_.count(Seen::faults);
    }
    response.fields.emplace_back("Date", date_text(seconds_since_1970()));
    const Outgoing out = outgoing(response, head);
    const bool is_sent = co_await write(out.head, out.body.view());
    co_return is_sent && !response.closes;
}

/// The answer to what could not be read whole; nothing more is read after it.
asio::awaitable<bool> Connection::refuse_unread(HttpReader::State state, const Head& head) {
    Response response;
    switch (state) {
    case HttpReader::State::malformed:
        shared_.count(Seen::malformed);
        response = problem(400, "this is no HTTP/1.1 request, or one that is cut off", "use a browser");
        break;
    case HttpReader::State::head_too_large:
        shared_.count(Seen::oversize);
        response = problem(431, "the head of this request is too large",
                           "delete this site's cookies, and open an address that the program printed");
        break;
    case HttpReader::State::body_too_large:
        shared_.count(Seen::oversize);
        response = problem(413, "the body of this request is too large",
                           "send less at once; the guide names the largest of each kind");
        break;
    default:
        shared_.count(Seen::slow);
        response =
            problem(408, "this request took too long to come", "try again where the network is better");
    }
    response.closes = true;
    leaves_unread_ = true;
    co_return co_await send(std::move(response), head);
}

/// Whether the connection goes on.
asio::awaitable<bool> Connection::exchange_one() {
    HttpReader reader(shared_.limits.header_bytes);
    const auto state = co_await read_head(reader);
    if (!state || shared_.is_stopping) {
        co_return false;
    }
    is_answering_ = true;
    if (*state != HttpReader::State::head) {
        co_return co_await refuse_unread(*state, Head());
    }
    shared_.count(Seen::requests);
    Head head = reader.head();
    head.peer = peer_;
    head.local = local_;
    head.is_within_machine = is_loopback(peer_) && is_loopback(local_);
    head.is_secure = is_secure_;
    const auto now = Clock::now();
    Admission admission;
    if (is_too_fast(now)) {
        shared_.count(Seen::too_fast);
        admission.refusal =
            problem(429, "more requests than this program answers to one address", "wait a second");
        admission.refusal->fields.emplace_back("Retry-After", "1");
    } else {
        admission = shared_.service->admit(head, now);
    }
    if (admission.opens_changes) {
        if (reader.has_body() || !pending_.empty()) { // a page speaks only after the answer
            co_return co_await refuse_unread(HttpReader::State::malformed, head);
        }
        co_await listen_to_changes(head, admission.request.asker.session);
        co_return false;
    }
    const bool goes_on = co_await answer(reader, std::move(admission), head);
    is_answering_ = false;
    co_return goes_on;
}

asio::awaitable<bool> Connection::answer(HttpReader& reader, Admission admission, const Head& head) {
    Response response;
    if (admission.refusal) {
        // A body that nobody reads ends the connection: what follows it could not be told from it.
        response = std::move(*admission.refusal);
        leaves_unread_ = reader.has_body();
    } else {
        const auto state = co_await read_body(reader, admission.route->body_limit);
        if (state != HttpReader::State::complete) {
            co_return co_await refuse_unread(state, head);
        }
        admission.request.body = reader.take_body();
        response = co_await asio::co_spawn(shared_.handlers,
                                           answer_of(shared_, *admission.route, std::move(admission.request)),
                                           asio::use_awaitable);
    }
    response.closes = response.closes || leaves_unread_ || !reader.keeps_alive();
    co_return co_await send(std::move(response), head);
}

asio::awaitable<void> Connection::listen_to_changes(const Head& head, std::string session) {
    shared_.count(Seen::listeners);
    const auto socket = std::make_shared<ChangesSocket>(std::move(wire_), shared_, std::move(session));
    is_answering_ = false;
    co_await socket->run(head);
}

// ---------------------------------------------------------------- from the first to the last

asio::awaitable<void> Connection::run() {
    const auto self = shared_from_this();
    bool goes_on = co_await open_wire();
    while (goes_on && !shared_.is_stopping) {
        goes_on = co_await exchange_one();
    }
    co_await close_gently();
}

asio::awaitable<void> Connection::turn_away() {
    const auto self = shared_from_this();
    Response response = problem(503, "too many connections at once", "close other pages of this program");
    response.fields.emplace_back("Retry-After", "5");
    response.closes = true;
    leaves_unread_ = true;
    co_await send(std::move(response), Head());
    co_await close_gently();
}

/// A socket closed with bytes unread takes back what was sent: they are read first, for a while.
asio::awaitable<void> Connection::throw_away_rest(Clock::time_point until) {
    auto& socket = wire_->socket(); // what TLS would make of them does not matter
    std::size_t thrown_away = 0;
    error_code failure;
    pending_.resize(block_bytes);
    while (!failure && thrown_away < parting_bytes && !shared_.is_stopping && Clock::now() < until) {
        begin_wait(until);
        thrown_away += co_await socket.async_read_some(asio::buffer(pending_),
                                                       asio::redirect_error(asio::use_awaitable, failure));
        end_wait();
    }
}

asio::awaitable<void> Connection::close_gently() {
    is_answering_ = false;
    if (!wire_ || !wire_->socket().is_open()) {
        co_return;
    }
    error_code ignored;
    const auto until = Clock::now() + parting_time;
    if (is_secure_ && !shared_.is_stopping) {
        begin_wait(until);
        co_await wire_->async_part(asio::redirect_error(asio::use_awaitable, ignored));
        end_wait();
    }
    if (leaves_unread_) {
        wire_->socket().shutdown(tcp::socket::shutdown_send, ignored);
        co_await throw_away_rest(until);
    }
    wire_->socket().close(ignored);
}

void Connection::cancel() {
    if (wire_) {
        error_code ignored;
        wire_->socket().cancel(ignored);
    }
}

void Connection::stop() {
    if (!is_answering_) {
        cancel();
    }
}

void Connection::close_at_once() {
    if (wire_) {
        error_code ignored;
        wire_->socket().close(ignored);
    }
}

} // namespace backeddy::server
