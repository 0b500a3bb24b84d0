#pragma once
// Under what addresses this machine is reached by its neighbours.

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

/// IPv4 addresses of the interfaces that are up, without loopback: those of real networks first, those of
/// containers and virtual machines last. Empty where there is none.
[[nodiscard]] std::vector<MachineAddress> machine_addresses();

} // namespace backeddy::server
