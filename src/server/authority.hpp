#pragma once
// The authority of this machine: a certificate that a phone trusts once, for one local name and nothing else,
// and the certificate for that name that it signs. Both are made here and kept in a folder of the machine
// that only its owner may read; no other machine ever sees the keys.

#include <chrono>
#include <filesystem>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "server/certificate.hpp"

namespace backeddy::server {

/// Longest time from beginning to end. Phones refuse a server's certificate of more than 398 days.
inline constexpr std::chrono::days authority_lasts{400};
inline constexpr std::chrono::days leaf_lasts{397};
/// The leaf is made anew when less than this remains. From then on the authority's end is told, too.
inline constexpr std::chrono::days renewed_before{30};

/// Whether phones may be asked to trust an authority for this name: lower-case letters, digits, hyphens and
/// dots, at most 48, ending in .local, .home.arpa, .internal or .test, which no one
/// on the internet can own.
[[nodiscard]] bool is_local_name(std::string_view name);

struct AuthorityWish {
    std::filesystem::path folder; ///< holds one folder for each name; made when missing
    std::string name;
    Instant now;
    bool is_anew = false; ///< a new authority, though there is one: phones have to trust it again
};

struct LocalAuthority {
    Certificate leaf;
    std::string authority_der;
    Instant authority_until;
    bool is_new = false; ///< made just now
};

/// The authority and leaf that are there, or new ones: an authority where there is none or it has ended, a
/// leaf where it is about to end. The authority may sign for `name` alone, by critical name constraints that
/// exclude every address. Files are written whole with mode 600. Fails with bad_setting for a name that is
/// not local, for files that others may read or that are not what was written, and with cannot_write.
[[nodiscard]] Expected<LocalAuthority> keep_authority(const AuthorityWish& wish);

} // namespace backeddy::server
