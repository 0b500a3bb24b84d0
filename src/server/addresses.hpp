#pragma once
// Under what addresses this machine is reached by its neighbours.

#include <array>
#include <cstdint>
#include <string>
#include <vector>

namespace backeddy::server {

struct MachineAddress {
    std::string text;         ///< "192.0.2.7"
    std::uint32_t number = 0; ///< the same, as 0xC0000207
    std::uint32_t mask = 0;   ///< of its network, such as 0xFFFFFF00
    unsigned interface = 0;   ///< the system's number for it
    std::string interface_name;
    bool has_multicast = false;

    /// Whether the other address is of the same network.
    [[nodiscard]] bool is_neighbour(std::uint32_t other) const { return ((number ^ other) & mask) == 0; }

    friend bool operator==(const MachineAddress&, const MachineAddress&) = default;
};

/// An IPv6 address as it travels.
using Ipv6 = std::array<std::uint8_t, 16>;

/// Of a link alone (fe80::/10): it means nothing without the interface.
[[nodiscard]] bool is_link_local(const Ipv6& address);
/// "2001:db8::7"
[[nodiscard]] std::string digits(const Ipv6& address);

struct MachineAddress6 {
    Ipv6 address{};
    unsigned interface = 0;
    bool has_multicast = false;

    friend bool operator==(const MachineAddress6&, const MachineAddress6&) = default;
};

/// IPv6 addresses of the interfaces that are up, without loopback; empty where there is none.
[[nodiscard]] std::vector<MachineAddress6> machine_addresses6();

/// IPv4 addresses of the interfaces that are up, without loopback: those of real networks first, those of
/// containers and virtual machines last. Empty where there is none.
[[nodiscard]] std::vector<MachineAddress> machine_addresses();

} // namespace backeddy::server
