#pragma once
// A connection's bytes, plain or within TLS, behind one door: what reads and writes them knows not which.

#include <array>
#include <functional>
#include <memory>

#include "base/error.hpp"
#include "server/certificate.hpp"
#include "server/detail/asio.hpp"

namespace backeddy::server {

/// An asynchronous stream as Asio and Beast take one. What waits is ended by cancelling or closing the
/// socket.
class Wire {
  public:
    using executor_type = tcp::socket::executor_type;

    virtual ~Wire() = default;
    [[nodiscard]] virtual tcp::socket& socket() = 0;
    [[nodiscard]] executor_type get_executor() { return socket().get_executor(); }

    /// Before the first byte: nothing where it is plain.
    template <typename Token>
    auto async_greet(Token&& token) {
        return asio::async_initiate<Token, void(error_code)>(
            [this](auto&& handler) {
                auto kept = keep(std::forward<decltype(handler)>(handler));
                greet([kept](error_code failure, std::size_t) { std::move (*kept)(failure); });
            },
            token);
    }
    /// After the last byte of ours; TLS says that it was the last, and waits for the same from the other end.
    template <typename Token>
    auto async_part(Token&& token) {
        return asio::async_initiate<Token, void(error_code)>(
            [this](auto&& handler) {
                auto kept = keep(std::forward<decltype(handler)>(handler));
                part([kept](error_code failure, std::size_t) { std::move (*kept)(failure); });
            },
            token);
    }
    template <typename Buffers, typename Token>
    auto async_read_some(const Buffers& buffers, Token&& token) {
        return asio::async_initiate<Token, void(error_code, std::size_t)>(
            [this](auto&& handler, asio::mutable_buffer into) {
                read_some(into, done(std::forward<decltype(handler)>(handler)));
            },
            token, first_of(buffers));
    }
    template <typename Buffers, typename Token>
    auto async_write_some(const Buffers& buffers, Token&& token) {
        return asio::async_initiate<Token, void(error_code, std::size_t)>(
            [this](auto&& handler, const Parts& parts) {
                write_some(parts, done(std::forward<decltype(handler)>(handler)));
            },
            token, parts_of(buffers));
    }

  protected:
    using Done = std::function<void(error_code, std::size_t)>;
    using Parts = std::array<asio::const_buffer, 4>; ///< unused ones are empty
    virtual void greet(Done done) = 0;
    virtual void part(Done done) = 0;
    virtual void read_some(asio::mutable_buffer into, Done done) = 0;
    virtual void write_some(const Parts& parts, Done done) = 0;

  private:
    /// A handler can only be moved, a function has to be copied.
    template <typename Handler>
    static auto keep(Handler&& handler) {
        return std::make_shared<std::decay_t<Handler>>(std::forward<Handler>(handler));
    }
    template <typename Handler>
    static Done done(Handler&& handler) {
        return [kept = keep(std::forward<Handler>(handler))](error_code failure, std::size_t count) {
            std::move (*kept)(failure, count);
        };
    }
    /// The first one with room: reading some may read less than there is room for.
    template <typename Buffers>
    static asio::mutable_buffer first_of(const Buffers& buffers) {
        for (auto each = asio::buffer_sequence_begin(buffers); each != asio::buffer_sequence_end(buffers);
             ++each) {
            if (asio::mutable_buffer buffer(*each); buffer.size() > 0) {
                return buffer;
            }
        }
        return {};
    }
    template <typename Buffers>
    static Parts parts_of(const Buffers& buffers) {
        Parts out{};
        std::size_t count = 0;
        for (auto each = asio::buffer_sequence_begin(buffers);
             each != asio::buffer_sequence_end(buffers) && count < out.size(); ++each) {
            if (asio::const_buffer buffer(*each); buffer.size() > 0) {
                out[count++] = buffer;
            }
        }
        return out;
    }
};

/// What all TLS connections share: certificate, key, and what is agreed to.
struct Tls;
/// TLS 1.2 and 1.3. Fails with bad_setting where certificate and key are not fit for it.
[[nodiscard]] Expected<std::shared_ptr<Tls>> make_tls(const Certificate& certificate);

[[nodiscard]] std::unique_ptr<Wire> plain_wire(tcp::socket socket);
[[nodiscard]] std::unique_ptr<Wire> tls_wire(tcp::socket socket, std::shared_ptr<Tls> tls);

} // namespace backeddy::server
