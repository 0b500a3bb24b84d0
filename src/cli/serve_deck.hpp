#pragma once
// `serve --deck`: the secure road onto phones, from its options to what is printed of it.

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "server/gate.hpp"
#include "server/listener.hpp"
#include "server/mdns_responder.hpp"
#include "server/renewal.hpp"
#include "server/trust_pages.hpp"

namespace CLI {
class App;
}

namespace backeddy::cli {

struct DeckOptions {
    bool is_on = false;
    std::string name = "backeddy.local";
    std::string certificate;
    std::string key;
    bool is_anew = false;
};
void add_deck_options(CLI::App& command, DeckOptions& options);

struct Deck {
    server::Certificate certificate;
    std::string authority_der; ///< empty where the certificate is one's own
    Instant until;             ///< of the authority
    bool is_new = false;       ///< phones have to trust it yet
};
/// Nothing where it is not on. `config`: the machine's folder for what is Backeddy's.
[[nodiscard]] Expected<std::optional<Deck>> open_deck(const DeckOptions& options,
                                                      const std::filesystem::path& config, Instant now);

/// `address`: what --address says.
[[nodiscard]] std::optional<server::Road> road_of(const std::optional<Deck>& deck,
                                                  const server::Served& served, const std::string& address);

/// On the terminal: where phones go, and by what they know us.
void print_deck(const Deck& deck, const server::Road& road, Instant now);

/// Renews what phones are shown before its end; nothing where there is no deck. `listener` must outlive it.
[[nodiscard]] std::unique_ptr<server::Renewal> renew_while_running(const DeckOptions& options,
                                                                   const std::filesystem::path& config,
                                                                   const std::optional<Deck>& deck,
                                                                   server::Listener& listener);

/// Nothing where there is no deck, its name is not one of multicast DNS, or nobody can be answered; that is
/// said on the terminal.
[[nodiscard]] std::unique_ptr<server::MdnsResponder> answer_for_name(const std::optional<server::Road>& road);

} // namespace backeddy::cli
