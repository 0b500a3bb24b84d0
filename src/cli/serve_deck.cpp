#include <algorithm>
#include <chrono>
#include <cstdio>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "cli/serve_deck.hpp"
#include "cli/terminal.hpp"
#include "server/addresses.hpp"
#include "server/authority.hpp"
#include "server/certificate.hpp"

namespace backeddy::cli {

namespace {

namespace fs = std::filesystem;

/// Where a phone that does not know our name yet finds us; empty while this machine is in no network.
std::string trust_address(const std::string& address, std::uint16_t port) {
    const auto there = server::machine_addresses();
    const bool is_every = address.empty() || address == "0.0.0.0" || address == "::";
    if (!is_every) {
        const bool is_six = address.find(':') != std::string::npos;
        return fmt::format("http://{}:{}/trust", is_six ? '[' + address + ']' : address, port);
    }
    if (!there.empty()) {
        return fmt::format("http://{}:{}/trust", there.front().text, port);
    }
    // In a network of IPv6 alone.
    const auto sixes = server::machine_addresses6();
    const auto wide = std::ranges::find_if(
        sixes, [](const server::MachineAddress6& each) { return !server::is_link_local(each.address); });
    return wide == sixes.end() || address == "0.0.0.0"
               ? std::string()
               : fmt::format("http://[{}]:{}/trust", server::digits(wide->address), port);
}

void say(const std::string& line) {
    fmt::print("{}\n", line);
    std::fflush(stdout);
}

/// The leaf of the authority that phones trust; a new authority is made at a start alone, while somebody
/// looks.
Expected<server::Certificate> leaf_at(const server::AuthorityWish& wish, const Deck& started) {
    auto kept = wish.now < started.until ? server::keep_authority(wish) : Expected<server::LocalAuthority>();
    if (!kept) {
        return fail(std::move(kept).error());
    }
    if (kept->authority_der != started.authority_der) {
        return fail(
            {.code = ErrorCode::bad_setting,
             .found = fmt::format("the authority that phones trust has ended or is gone ({})", wish.name),
             .expected = "the one that this program was started with",
             .remedy = "start the program again while the phones are at hand; each then trusts anew"});
    }
    return std::move(kept->leaf);
}

} // namespace

void add_deck_options(CLI::App& command, DeckOptions& options) {
    auto* deck = command.add_flag("--deck", options.is_on,
                                  "also serve phones, over TLS at the same port and on all addresses of the "
                                  "machine; Set-up -> Phones pairs "
                                  "them");
    command
        .add_option("--deck-name", options.name,
                    "the name under which phones ask; ends in .local, .home.arpa, .internal or .test")
        ->capture_default_str()
        ->needs(deck);
    auto* certificate = command.add_option("--certificate", options.certificate,
                                           "a certificate of your own for that name (PEM, with those of its "
                                           "issuers) instead of the one made here");
    auto* key = command.add_option("--key", options.key, "the key that belongs to it (PEM)");
    auto* anew =
        command.add_flag("--new-authority", options.is_anew,
                         "make a new authority, though there is one: every phone has to trust it again");
    certificate->needs(deck)->needs(key);
    key->needs(certificate);
    anew->needs(deck)->excludes(certificate);
}

Expected<std::optional<Deck>> open_deck(const DeckOptions& options, const fs::path& config, Instant now) {
    if (!options.is_on) {
        return std::optional<Deck>();
    }
    if (!options.certificate.empty()) {
        auto own = server::read_certificate(options.certificate, options.key, options.name, now);
        return own ? Expected<std::optional<Deck>>(Deck{.certificate = std::move(*own)})
                   : fail(std::move(own).error());
    }
    auto ours = server::keep_authority(
        {.folder = config / "deck", .name = options.name, .now = now, .is_anew = options.is_anew});
    if (!ours) {
        return fail(std::move(ours).error());
    }
    return Deck{.certificate = std::move(ours->leaf),
                .authority_der = std::move(ours->authority_der),
                .until = ours->authority_until,
                .is_new = ours->is_new};
}

std::optional<server::Road> road_of(const std::optional<Deck>& deck, const server::Served& served,
                                    const std::string& address) {
    if (!deck) {
        return std::nullopt;
    }
    return server::Road{
        .name = served.secure_name,
        .origin = served.secure_origin(),
        .authority_der = deck->authority_der,
        .until = deck->until,
        .trust_address = [address, port = served.port] { return trust_address(address, port); }};
}

void print_deck(const Deck& deck, const server::Road& road, Instant now) {
    const std::string trust = road.trust_address();
    fmt::print("on phones, paired once by Set-up -> Phones on this machine:\n  {}/deck\n", road.origin);
    if (trust.empty()) {
        fmt::print("beware: this machine is in no network yet; phones find it when it is\n");
    }
    if (deck.authority_der.empty()) {
        return;
    }
    if (!trust.empty()) {
        fmt::print("a phone has to trust this machine first, once:\n  {}\n", trust);
    }
    fmt::print("  fingerprint to compare: {} ...\n", server::short_fingerprint(deck.authority_der));
    if (deck.is_new) {
        fmt::print(
            "  this authority is new: each phone has to trust it, also those that trusted an earlier one\n");
    }
    const auto left = Duration::hours(24.0 * static_cast<double>(server::renewed_before.count()));
    if (deck.until - now < left) {
        fmt::print("beware: phones trust this machine until {}; make a new authority while they are at hand: "
                   "--new-authority\n",
                   iso_text(deck.until).substr(0, 10));
    }
}

std::unique_ptr<server::Renewal> renew_while_running(const DeckOptions& options, const fs::path& config,
                                                     const std::optional<Deck>& deck,
                                                     server::Listener& listener) {
    if (!deck) {
        return nullptr;
    }
    const auto certificate_at = [options, config, started = *deck](Instant now) {
        return options.certificate.empty()
                   ? leaf_at({.folder = config / "deck", .name = options.name, .now = now}, started)
                   : server::read_certificate(options.certificate, options.key, options.name, now);
    };
    return std::make_unique<server::Renewal>(
        deck->certificate, server::Renewal::Wish{.certificate_at = certificate_at,
                                                 .show =
                                                     [&listener](const server::Certificate& certificate) {
                                                         return listener.renew(certificate);
                                                     },
                                                 .say = say,
                                                 .now = wall_clock});
}

std::unique_ptr<server::MdnsResponder> answer_for_name(const std::optional<server::Road>& road) {
    if (!road || !road->name.ends_with(".local")) {
        return nullptr;
    }
    auto responder = server::MdnsResponder::start({.name = road->name, .say = say});
    if (!responder) {
        say("beware: " + responder.error().text());
        return nullptr;
    }
    return std::move(*responder);
}

} // namespace backeddy::cli
