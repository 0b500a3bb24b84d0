#pragma once
// What a TLS connection shows, and what is told of it.

#include <filesystem>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "series/instant.hpp"

namespace backeddy::server {

/// PEM texts; the chain begins with the certificate of this machine itself.
struct Certificate {
    std::string chain_pem;
    std::string key_pem;
};

/// A certificate of one's own with its key, from two PEM files. Fails where a file cannot be read, where they
/// do not belong together, where the certificate is for another name than `name`, and where it holds no more
/// (or not yet) at `now`.
[[nodiscard]] Expected<Certificate> read_certificate(const std::filesystem::path& chain,
                                                     const std::filesystem::path& key, std::string_view name,
                                                     Instant now);

/// SHA-256 of a certificate (DER) as people compare it: "3F:A2: ...", 32 pairs.
[[nodiscard]] std::string fingerprint(std::string_view der);
/// Its first eight pairs in fours, "3FA2 91C0 ...": enough to compare by eye where nobody can choose what
/// stands there (64 bits).
[[nodiscard]] std::string short_fingerprint(std::string_view der);

} // namespace backeddy::server
