#include "server/detail/openssl.hpp"

#include <algorithm>
#include <array>
#include <ctime>

namespace backeddy::server::ssl {

namespace {

int no_passphrase(char*, int, int, void*) {
    return -1;
}

Bio reading(std::string_view text) {
    Bio bio(BIO_new_mem_buf(text.data(), static_cast<int>(text.size())));
    require(bio != nullptr, "no memory");
    return bio;
}

template <typename Write>
std::string written(const Write& write) {
    const Bio bio(BIO_new(BIO_s_mem()));
    require(bio != nullptr && write(bio.get()) == 1, "cannot write PEM");
    char* text = nullptr;
    const long length = BIO_get_mem_data(bio.get(), &text);
    return {text, static_cast<std::size_t>(length)};
}

} // namespace

std::string failure_text() {
    std::array<char, 256> text{};
    const auto code = ERR_get_error();
    ERR_clear_error();
    ERR_error_string_n(code, text.data(), text.size());
    return code == 0 ? std::string("no reason given") : std::string(text.data());
}

Cert cert_of(std::string_view pem) {
    Cert cert(PEM_read_bio_X509(reading(pem).get(), nullptr, no_passphrase, nullptr));
    ERR_clear_error();
    return cert;
}

Key key_of(std::string_view pem) {
    Key key(PEM_read_bio_PrivateKey(reading(pem).get(), nullptr, no_passphrase, nullptr));
    ERR_clear_error();
    return key;
}

std::string pem_of(X509& cert) {
    return written([&](BIO* bio) { return PEM_write_bio_X509(bio, &cert); });
}

std::string pem_of(EVP_PKEY& key) {
    return written([&](BIO* bio) {
        return PEM_write_bio_PKCS8PrivateKey(bio, &key, nullptr, nullptr, 0, nullptr, nullptr);
    });
}

std::string der_of(X509& cert) {
    unsigned char* bytes = nullptr;
    const int length = i2d_X509(&cert, &bytes);
    require(length > 0, "cannot write a certificate");
    std::string out(reinterpret_cast<const char*>(bytes), static_cast<std::size_t>(length));
    OPENSSL_free(bytes);
    return out;
}

std::int64_t seconds_of(const ASN1_TIME* time) {
    std::tm parts{};
    require(ASN1_TIME_to_tm(time, &parts) == 1, "a certificate's time");
    return ::timegm(&parts);
}

Instant instant_of(const ASN1_TIME* time) {
    constexpr std::int64_t most = INT64_MAX / 1'000'000'000;
    return Instant::unix_nanoseconds(std::clamp(seconds_of(time), std::int64_t{0}, most) * 1'000'000'000);
}

} // namespace backeddy::server::ssl
