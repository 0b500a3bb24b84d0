#include "server/detail/wire.hpp"

#include <algorithm>
#include <string>

#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <fmt/format.h>

namespace backeddy::server {

namespace ssl = asio::ssl;

struct Tls {
    ssl::context context{ssl::context::tls_server};
};

namespace {

// TLS 1.2 with forward secrecy and authenticated encryption alone; those of 1.3 are all like that.
constexpr const char* ciphers = "ECDHE+AESGCM:ECDHE+CHACHA20";

/// Of what the other end offers, HTTP/1.1; who offers none gets it too.
int choose_protocol(SSL*, const unsigned char** chosen, unsigned char* length, const unsigned char* offered,
                    unsigned offered_length, void*) {
    static constexpr std::array<unsigned char, 9> ours{8, 'h', 't', 't', 'p', '/', '1', '.', '1'};
    unsigned char* out = nullptr;
    const int found = SSL_select_next_proto(&out, length, ours.data(), ours.size(), offered, offered_length);
    *chosen = out;
    return found == OPENSSL_NPN_NEGOTIATED ? SSL_TLSEXT_ERR_OK : SSL_TLSEXT_ERR_NOACK;
}

class PlainWire : public Wire {
  public:
    explicit PlainWire(tcp::socket socket) : socket_(std::move(socket)) {}
    tcp::socket& socket() override { return socket_; }

  protected:
    void greet(Done done) override { finish(std::move(done)); }
    void part(Done done) override { finish(std::move(done)); }
    void read_some(asio::mutable_buffer into, Done done) override {
        socket_.async_read_some(into, std::move(done));
    }
    void write_some(const Parts& parts, Done done) override {
        socket_.async_write_some(parts, std::move(done));
    }

  private:
    void finish(Done done) {
        asio::post(socket_.get_executor(), [done = std::move(done)] { done({}, 0); });
    }
    tcp::socket socket_;
};

class TlsWire : public Wire {
  public:
    TlsWire(tcp::socket socket, std::shared_ptr<Tls> tls)
        : tls_(std::move(tls)), stream_(std::move(socket), tls_->context) {}
    tcp::socket& socket() override { return stream_.next_layer(); }

  protected:
    void greet(Done done) override {
        stream_.async_handshake(ssl::stream_base::server,
                                [done = std::move(done)](error_code failure) { done(failure, 0); });
    }
    void part(Done done) override {
        stream_.async_shutdown([done = std::move(done)](error_code failure) { done(failure, 0); });
    }
    void read_some(asio::mutable_buffer into, Done done) override {
        stream_.async_read_some(into, std::move(done));
    }
    void write_some(const Parts& parts, Done done) override {
        // One record holds one part; the rest is written next.
        const auto* first =
            std::ranges::find_if(parts, [](const asio::const_buffer& part) { return part.size() > 0; });
        stream_.async_write_some(first == parts.end() ? asio::const_buffer() : *first, std::move(done));
    }

  private:
    std::shared_ptr<Tls> tls_;
    ssl::stream<tcp::socket> stream_;
};

} // namespace

Expected<std::shared_ptr<Tls>> make_tls(const Certificate& certificate) {
    auto tls = std::make_shared<Tls>();
    error_code failure;
    tls->context.use_certificate_chain(asio::buffer(certificate.chain_pem), failure);
    if (!failure) {
        tls->context.use_private_key(asio::buffer(certificate.key_pem), ssl::context::pem, failure);
    }
    SSL_CTX* context = tls->context.native_handle();
    const bool is_set = SSL_CTX_set_min_proto_version(context, TLS1_2_VERSION) == 1 &&
                        SSL_CTX_set_cipher_list(context, ciphers) == 1;
    if (failure || !is_set) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("certificate and key are not fit for TLS ({})",
                                          failure ? failure.message() : std::string("no ciphers")),
                     .expected = "a certificate (PEM) with the key that belongs to it, such as of P-256 or "
                                 "RSA of 2048 bits or more",
                     .remedy = "give another pair, or none: the program makes its own"});
    }
    SSL_CTX_set_options(context, SSL_OP_NO_RENEGOTIATION | SSL_OP_CIPHER_SERVER_PREFERENCE);
    SSL_CTX_set_mode(context, SSL_MODE_RELEASE_BUFFERS);
    SSL_CTX_set_alpn_select_cb(context, choose_protocol, nullptr);
    return tls;
}

std::unique_ptr<Wire> plain_wire(tcp::socket socket) {
    return std::make_unique<PlainWire>(std::move(socket));
}

std::unique_ptr<Wire> tls_wire(tcp::socket socket, std::shared_ptr<Tls> tls) {
    return std::make_unique<TlsWire>(std::move(socket), std::move(tls));
}

} // namespace backeddy::server
