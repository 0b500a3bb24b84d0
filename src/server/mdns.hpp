#pragma once
// Multicast DNS (RFC 6762) for one name, as bytes in and out: what a packet asks or claims of that name, and
// the packets that answer. No socket.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/addresses.hpp"

namespace backeddy::server::mdns {

/// How long an answer holds, s; who asks like an ordinary resolver gets a shorter one.
inline constexpr std::uint32_t usual_life = 120;
inline constexpr std::uint32_t legacy_life = 10;

/// What a packet says of one name.
struct Heard {
    std::uint16_t id = 0;
    bool is_answer = false;     ///< it claims; else it asks
    bool asks_address = false;  ///< of type A, or of any type
    bool asks_address6 = false; ///< of type AAAA, or of any type
    bool asks_other = false;    ///< of another type, of which there is nothing
    bool wants_unicast = false;
    /// Claimed, or known to who asks for at least half their life yet.
    std::vector<std::uint32_t> addresses;
    std::vector<Ipv6> addresses6; ///< likewise

    friend bool operator==(const Heard&, const Heard&) = default;
};

/// `packet` is anybody's: nothing where it is malformed. Reads each byte once and follows names backwards
/// only, so that it ends soon. `name` in lower case.
[[nodiscard]] std::optional<Heard> read(std::string_view packet, std::string_view name);

/// Asks whether anybody has this name.
[[nodiscard]] std::string question(std::string_view name);

struct Answer {
    std::uint32_t address = 0; ///< 0xC0000207 for 192.0.2.7; 0: none
    std::vector<Ipv6> addresses6{};
    std::uint32_t life = usual_life; ///< 0 takes an earlier answer back
    bool is_about_other = false; ///< asked for what there is not: says first that there are only addresses
    bool is_about_ipv6 = false;  ///< an ordinary resolver asked for those alone
    std::optional<std::uint16_t> legacy_id{}; ///< to an ordinary resolver: its question's number
};
/// The name's addresses, and that there is nothing else (NSEC).
[[nodiscard]] std::string answer(std::string_view name, const Answer& what);

} // namespace backeddy::server::mdns
