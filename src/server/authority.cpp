#include "server/authority.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <string>

#include <fmt/format.h>
#include <openssl/x509v3.h>

#include "base/file.hpp"
#include "server/detail/openssl.hpp"
#include "server/detail/private_file.hpp"

namespace backeddy::server {

namespace {

namespace fs = std::filesystem;
using std::chrono::days;
using std::chrono::seconds;

constexpr std::string_view what_it_holds = "a key that phones trust";
/// A certificate begins so long before it is made: a phone's clock may be behind ours.
constexpr seconds clocks_differ = days(1);
constexpr std::size_t longest_name = 48; // with the day it fits a certificate's common name (64)
constexpr std::size_t longest_label = 63;
constexpr int serial_bits = 128;

/// Seconds since 1970, as certificates count.
using Second = std::int64_t;

Second second_of(Instant moment) {
    return moment.unix_nanoseconds() / 1'000'000'000;
}

bool is_label(std::string_view label) {
    return !label.empty() && label.size() <= longest_label && label.front() != '-' && label.back() != '-' &&
           std::ranges::all_of(
               label, [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'; });
}

/// A certificate with its key: two in one file, so that they cannot come apart.
struct Pair {
    ssl::Cert cert;
    ssl::Key key;
};

// ---------------------------------------------------------------- making

ssl::Key new_key() {
    ssl::Key key(EVP_EC_gen("P-256"));
    ssl::require(key != nullptr, "cannot make a key");
    return key;
}

void set_serial(X509& cert) {
    const ssl::Number number(BN_new());
    ssl::require(number != nullptr &&
                     BN_rand(number.get(), serial_bits, BN_RAND_TOP_ONE, BN_RAND_BOTTOM_ANY) == 1 &&
                     BN_to_ASN1_INTEGER(number.get(), X509_get_serialNumber(&cert)) != nullptr,
                 "cannot make a serial number");
}

void set_subject(X509& cert, const std::string& common_name) {
    X509_NAME* name = X509_get_subject_name(&cert);
    const auto add = [&](const char* field, const std::string& text) {
        ssl::require(X509_NAME_add_entry_by_txt(name, field, MBSTRING_UTF8,
                                                reinterpret_cast<const unsigned char*>(text.data()),
                                                static_cast<int>(text.size()), -1, 0) == 1,
                     "cannot set a name");
    };
    add("O", "Backeddy");
    add("CN", common_name);
}

void add_extension(X509& cert, X509& issuer, int kind, const std::string& text) {
    X509V3_CTX context;
    X509V3_set_ctx_nodb(&context);
    X509V3_set_ctx(&context, &issuer, &cert, nullptr, nullptr, 0);
    const ssl::Extension extension(X509V3_EXT_conf_nid(nullptr, &context, kind, text.c_str()));
    ssl::require(extension != nullptr && X509_add_ext(&cert, extension.get(), -1) == 1, "cannot add " + text);
}

/// A certificate without extensions or signature.
ssl::Cert begun(EVP_PKEY& key, const std::string& common_name, Second from, Second until) {
    ssl::Cert cert(X509_new());
    ssl::require(cert != nullptr && X509_set_version(cert.get(), X509_VERSION_3) == 1 &&
                     X509_set_pubkey(cert.get(), &key) == 1 &&
                     ASN1_TIME_set(X509_getm_notBefore(cert.get()), from) != nullptr &&
                     ASN1_TIME_set(X509_getm_notAfter(cert.get()), until) != nullptr,
                 "cannot begin a certificate");
    set_serial(*cert);
    set_subject(*cert, common_name);
    return cert;
}

void sign(X509& cert, const X509& issuer, EVP_PKEY& key) {
    ssl::require(X509_set_issuer_name(&cert, X509_get_subject_name(&issuer)) == 1 &&
                     X509_sign(&cert, &key, EVP_sha256()) > 0,
                 "cannot sign a certificate");
}

Pair new_authority(const std::string& name, Instant now) {
    Pair out{.key = new_key()};
    const Second from = second_of(now) - clocks_differ.count();
    const Second until = from + seconds(authority_lasts).count();
    out.cert = begun(*out.key, fmt::format("{} of {}", name, iso_text(now).substr(0, 10)), from, until);
    const auto add = [&](int kind, const std::string& text) {
        add_extension(*out.cert, *out.cert, kind, text);
    };
    add(NID_basic_constraints, "critical,CA:TRUE,pathlen:0");
    add(NID_key_usage, "critical,keyCertSign");
    add(NID_subject_key_identifier, "hash");
    // For this name alone; no address, which would be anybody's on the next network.
    add(NID_name_constraints, fmt::format("critical,permitted;DNS:{},excluded;IP:0.0.0.0/0.0.0.0,"
                                          "excluded;IP:0:0:0:0:0:0:0:0/0:0:0:0:0:0:0:0",
                                          name));
    sign(*out.cert, *out.cert, *out.key);
    return out;
}

Second leaf_until(const Pair& authority, Instant now) {
    return std::min(second_of(now) - clocks_differ.count() + seconds(leaf_lasts).count(),
                    ssl::seconds_of(X509_get0_notAfter(authority.cert.get())));
}

Pair new_leaf(const Pair& authority, const std::string& name, Instant now) {
    Pair out{.key = new_key()};
    const Second from = std::max(second_of(now) - clocks_differ.count(),
                                 ssl::seconds_of(X509_get0_notBefore(authority.cert.get())));
    out.cert = begun(*out.key, name, from, leaf_until(authority, now));
    const auto add = [&](int kind, const std::string& text) {
        add_extension(*out.cert, *authority.cert, kind, text);
    };
    add(NID_basic_constraints, "critical,CA:FALSE");
    add(NID_key_usage, "critical,digitalSignature");
    add(NID_ext_key_usage, "serverAuth");
    add(NID_subject_key_identifier, "hash");
    add(NID_authority_key_identifier, "keyid:always");
    add(NID_subject_alt_name, "DNS:" + name);
    sign(*out.cert, *authority.cert, *authority.key);
    return out;
}

// ---------------------------------------------------------------- keeping

Error not_ours(const fs::path& file) {
    return {.code = ErrorCode::bad_setting,
            .found = "this is not what `backeddy serve --deck` has written here",
            .expected = "a certificate for this name and the key that belongs to it",
            .remedy = "bring back the file as it was, or make a new authority, which phones have to trust "
                      "again: --new-authority",
            .place = {.file = file.string()}};
}

/// Nothing in it where there is no such file.
Expected<Pair> read_pair(const fs::path& file) {
    if (auto ok = is_private(file, what_it_holds); !ok) {
        return fail(std::move(ok).error());
    }
    const auto text = read_file(file, 1 << 20);
    if (!text) {
        return text.error().code == ErrorCode::file_missing ? Expected<Pair>(Pair()) : fail(text.error());
    }
    Pair out{.cert = ssl::cert_of(*text), .key = ssl::key_of(*text)};
    if (!out.cert || !out.key || X509_check_private_key(out.cert.get(), out.key.get()) != 1) {
        return fail(not_ours(file));
    }
    return out;
}

Expected<void> write_pair(const fs::path& file, const Pair& pair) {
    return write_private(file, ssl::pem_of(*pair.cert) + ssl::pem_of(*pair.key));
}

Expected<Pair> kept_authority(const AuthorityWish& wish, const fs::path& file, bool& is_new) {
    if (!wish.is_anew) {
        auto there = read_pair(file);
        const bool holds = there && there->cert &&
                           ssl::seconds_of(X509_get0_notAfter(there->cert.get())) > second_of(wish.now);
        if (!there || holds) {
            return there;
        }
    }
    is_new = true;
    Pair made = new_authority(wish.name, wish.now);
    if (auto ok = write_pair(file, made); !ok) {
        return fail(std::move(ok).error());
    }
    return made;
}

/// Whether the leaf is of this authority and name, and has time left or can get no more.
bool is_good(const Pair& leaf, const Pair& authority, const AuthorityWish& wish) {
    if (!leaf.cert || X509_verify(leaf.cert.get(), authority.key.get()) != 1 ||
        X509_check_host(leaf.cert.get(), wish.name.data(), wish.name.size(), 0, nullptr) != 1) {
        return false;
    }
    const Second until = ssl::seconds_of(X509_get0_notAfter(leaf.cert.get()));
    const bool has_begun = ssl::seconds_of(X509_get0_notBefore(leaf.cert.get())) <= second_of(wish.now);
    return has_begun && (until - second_of(wish.now) >= seconds(renewed_before).count() ||
                         until >= leaf_until(authority, wish.now));
}

Expected<Pair> kept_leaf(const AuthorityWish& wish, const Pair& authority, const fs::path& file) {
    auto there = read_pair(file);
    if (!there && there.error().code != ErrorCode::bad_setting) {
        return there;
    }
    if (there && is_good(*there, authority, wish)) {
        return there;
    }
    Pair made = new_leaf(authority, wish.name, wish.now);
    if (auto ok = write_pair(file, made); !ok) {
        return fail(std::move(ok).error());
    }
    return made;
}

} // namespace

bool is_local_name(std::string_view name) {
    constexpr std::array<std::string_view, 4> ends{".local", ".home.arpa", ".internal", ".test"};
    if (name.size() > longest_name ||
        std::ranges::none_of(ends, [&](std::string_view end) { return name.ends_with(end); })) {
        return false;
    }
    while (true) {
        const auto dot = name.find('.');
        if (!is_label(name.substr(0, dot))) {
            return false;
        }
        if (dot == std::string_view::npos) {
            return true;
        }
        name.remove_prefix(dot + 1);
    }
}

Expected<LocalAuthority> keep_authority(const AuthorityWish& wish) {
    if (!is_local_name(wish.name)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("the name \"{}\"", wish.name),
                     .expected = "lower-case letters, digits and hyphens, ending in .local, .home.arpa, "
                                 ".internal or .test",
                     .remedy = "choose another one, such as --deck-name backeddy.local"});
    }
    const fs::path folder = wish.folder / wish.name;
    const FolderLock lock(folder);
    bool is_new = false;
    const auto authority = kept_authority(wish, folder / "authority.pem", is_new);
    if (!authority) {
        return fail(authority.error());
    }
    const auto leaf = kept_leaf(wish, *authority, folder / "leaf.pem");
    if (!leaf) {
        return fail(leaf.error());
    }
    return LocalAuthority{.leaf = {.chain_pem = ssl::pem_of(*leaf->cert), .key_pem = ssl::pem_of(*leaf->key)},
                          .authority_der = ssl::der_of(*authority->cert),
                          .authority_until = ssl::instant_of(X509_get0_notAfter(authority->cert.get())),
                          .is_new = is_new};
}

} // namespace backeddy::server
