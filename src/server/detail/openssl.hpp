#pragma once
// OpenSSL's things with owners, and its failures as exceptions: it fails for want of memory or random
// numbers, or by a fault of ours.

#include <cstdint>
#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>

#include <openssl/bio.h>
#include <openssl/bn.h>
#include <openssl/err.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/x509.h>

#include "series/instant.hpp"

namespace backeddy::server::ssl {

template <auto release>
struct Release {
    template <typename T>
    void operator()(T* owned) const {
        release(owned);
    }
};
using Cert = std::unique_ptr<X509, Release<X509_free>>;
using Key = std::unique_ptr<EVP_PKEY, Release<EVP_PKEY_free>>;
using Bio = std::unique_ptr<BIO, Release<BIO_free_all>>;
using Number = std::unique_ptr<BIGNUM, Release<BN_free>>;
using Extension = std::unique_ptr<X509_EXTENSION, Release<X509_EXTENSION_free>>;

/// The last failure in OpenSSL's words; its list is empty afterwards.
[[nodiscard]] std::string failure_text();

/// Throws with `what` and OpenSSL's words.
inline void require(bool is_fine, std::string_view what) {
    if (!is_fine) {
        throw std::runtime_error("OpenSSL: " + std::string(what) + ": " + failure_text());
    }
}

/// The first certificate or private key of a PEM text; nothing where there is none. Never asks for a
/// passphrase.
[[nodiscard]] Cert cert_of(std::string_view pem);
[[nodiscard]] Key key_of(std::string_view pem);
[[nodiscard]] std::string pem_of(X509& cert);
[[nodiscard]] std::string pem_of(EVP_PKEY& key);
[[nodiscard]] std::string der_of(X509& cert);

/// Seconds since 1970.
[[nodiscard]] std::int64_t seconds_of(const ASN1_TIME* time);
/// The last moment there is where it lies beyond.
[[nodiscard]] Instant instant_of(const ASN1_TIME* time);

} // namespace backeddy::server::ssl
