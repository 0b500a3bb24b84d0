#pragma once
// A client that shares nothing with the server: plain sockets, bytes in and out, and by hand as much of HTTP
// and of WebSocket (RFC 6455) as the tests need.

#include <cstdint>
#include <cstdlib>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <openssl/ssl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace backeddy::test {

class Client {
  public:
    explicit Client(std::uint16_t port) : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
        sockaddr_in address{};
        address.sin_family = AF_INET;
        address.sin_port = htons(port);
        address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        is_connected_ = ::connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
    }
    /// Over IPv6, within the machine.
    [[nodiscard]] static Client by_ipv6(std::uint16_t port) {
        Client out;
        out.socket_ = ::socket(AF_INET6, SOCK_STREAM | SOCK_CLOEXEC, 0);
        sockaddr_in6 address{};
        address.sin6_family = AF_INET6;
        address.sin6_port = htons(port);
        address.sin6_addr = in6addr_loopback;
        out.is_connected_ =
            ::connect(out.socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
        return out;
    }
    ~Client() {
        if (socket_ >= 0) {
            ::close(socket_);
        }
    }
    Client(const Client&) = delete;
    Client& operator=(const Client&) = delete;
    Client(Client&& other) noexcept
        : socket_(std::exchange(other.socket_, -1)), is_connected_(other.is_connected_),
          tls_(std::move(other.tls_)), pending_(std::move(other.pending_)) {}
    Client& operator=(Client&&) = delete;

    [[nodiscard]] bool is_connected() const { return is_connected_; }

    /// From now on over TLS, which trusts what is in `authority` (a PEM file) for this name; false where that
    /// is not what answers. `version`: such as TLS1_2_VERSION, the only one; 0 takes what there is.
    bool begin_tls(const std::string& name, const std::string& authority, int version = 0) {
        const std::unique_ptr<SSL_CTX, decltype(&SSL_CTX_free)> context(SSL_CTX_new(TLS_client_method()),
                                                                        SSL_CTX_free);
        SSL_CTX_set_verify(context.get(), SSL_VERIFY_PEER, nullptr);
        SSL_CTX_load_verify_locations(context.get(), authority.c_str(), nullptr);
        SSL_CTX_set_min_proto_version(context.get(), version);
        SSL_CTX_set_max_proto_version(context.get(), version);
        SSL_CTX_set_security_level(context.get(), 0); // old versions are for the server to refuse
        tls_.reset(SSL_new(context.get()), SSL_free);
        SSL_set_fd(tls_.get(), socket_);
        SSL_set_tlsext_host_name(tls_.get(), name.c_str());
        SSL_set1_host(tls_.get(), name.c_str());
        return SSL_connect(tls_.get()) == 1;
    }
    /// Of what the other end showed, as digits.
    [[nodiscard]] std::string certificate_serial() const {
        const std::unique_ptr<X509, decltype(&X509_free)> shown(SSL_get1_peer_certificate(tls_.get()),
                                                                X509_free);
        const ASN1_INTEGER* serial = shown ? X509_get0_serialNumber(shown.get()) : nullptr;
        return serial == nullptr ? std::string()
                                 : std::string(reinterpret_cast<const char*>(ASN1_STRING_get0_data(serial)),
                                               static_cast<std::size_t>(ASN1_STRING_length(serial)));
    }
    [[nodiscard]] std::string tls_version() const { return SSL_get_version(tls_.get()); }

    /// False where the other end has closed.
    bool send(std::string_view text) {
        while (!text.empty()) {
            const ssize_t sent = tls_ ? SSL_write(tls_.get(), text.data(), static_cast<int>(text.size()))
                                      : ::send(socket_, text.data(), text.size(), MSG_NOSIGNAL);
            if (sent <= 0) {
                return false;
            }
            text.remove_prefix(static_cast<std::size_t>(sent));
        }
        return true;
    }
    /// Says that nothing more will be sent, and goes on reading.
    void end_sending() { ::shutdown(socket_, SHUT_WR); }

    /// One answer, head and body; empty when the other end closed or nothing came for five seconds.
    std::string answer() {
        while (true) {
            const auto head_end = pending_.find("\r\n\r\n");
            if (head_end != std::string::npos) {
                const std::size_t length = head_end + 4 + body_length(pending_.substr(0, head_end));
                if (pending_.size() >= length) {
                    return take(length);
                }
            }
            if (!read_more()) {
                return {};
            }
        }
    }
    /// Whether the other end closes within five seconds; what it still sends is thrown away.
    bool is_closed() {
        while (true) {
            pollfd ready{.fd = socket_, .events = POLLIN, .revents = 0};
            if (::poll(&ready, 1, 5000) != 1) {
                return false;
            }
            char block[65536];
            if (::recv(socket_, block, sizeof block, 0) <= 0) {
                return true;
            }
        }
    }

    // ------------------------------------------------------------ WebSocket

    struct Frame {
        int kind = -1; ///< opcode: 1 text, 8 close, 9 ping
        std::string text;
    };
    /// The next frame of the server, which must be whole (FIN) and unmasked; kind -1 at an end.
    Frame frame() {
        while (true) {
            if (pending_.size() >= 2) {
                const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(pending_[i]); };
                std::size_t length = byte(1);
                std::size_t head = 2;
                if (length == 126) {
                    head = 4;
                    length = pending_.size() >= head ? byte(2) * 256U + byte(3) : SIZE_MAX / 2;
                } else if (length == 127) {
                    head = 10;
                    length = pending_.size() >= head ? 0 : SIZE_MAX / 2;
                    for (std::size_t i = 2; i < head && pending_.size() >= head; ++i) {
                        length = length * 256 + byte(i);
                    }
                }
                if (pending_.size() >= head && pending_.size() - head >= length) {
                    const int kind = (byte(0) & 0x80) != 0 && (byte(1) & 0x80) == 0 ? byte(0) & 0x0F : -2;
                    return {.kind = kind, .text = take(head + length).substr(head)};
                }
            }
            if (!read_more()) {
                return {};
            }
        }
    }
    /// Sends a short frame, masked with zeros as the protocol allows for.
    bool send_frame(int kind, std::string_view text) {
        std::string out{static_cast<char>(0x80 | kind), static_cast<char>(0x80 | text.size())};
        return send(out + std::string(4, '\0') + std::string(text));
    }

  private:
    Client() = default;

    static std::size_t body_length(const std::string& head) {
        const auto at = head.find("Content-Length: ");
        return at == std::string::npos ? 0 : std::strtoull(head.c_str() + at + 16, nullptr, 10);
    }
    std::string take(std::size_t length) {
        std::string out = pending_.substr(0, length);
        pending_.erase(0, length);
        return out;
    }
    bool read_more() {
        pollfd ready{.fd = socket_, .events = POLLIN, .revents = 0};
        if (!(tls_ && SSL_pending(tls_.get()) > 0) && ::poll(&ready, 1, 5000) != 1) {
            return false;
        }
        char block[65536];
        const ssize_t got =
            tls_ ? SSL_read(tls_.get(), block, sizeof block) : ::recv(socket_, block, sizeof block, 0);
        if (got <= 0) {
            return false;
        }
        pending_.append(block, static_cast<std::size_t>(got));
        return true;
    }

    int socket_ = -1;
    bool is_connected_ = false;
    std::shared_ptr<SSL> tls_; ///< none: plain
    std::string pending_;
};

} // namespace backeddy::test
