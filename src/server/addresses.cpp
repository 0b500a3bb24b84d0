#include "server/addresses.hpp"

#include <algorithm>
#include <array>
#include <cstring>
#include <memory>
#include <string_view>

#include <arpa/inet.h>
#include <fmt/format.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>

namespace backeddy::server {

namespace {

struct Free {
    void operator()(ifaddrs* list) const { ::freeifaddrs(list); }
};

/// Networks within the machine, by the names that they usually have.
bool is_within_machine(std::string_view interface) {
    constexpr std::array<std::string_view, 6> words{"docker", "br-", "veth", "virbr", "vmnet", "vboxnet"};
    return std::ranges::any_of(words, [&](std::string_view word) { return interface.starts_with(word); });
}

std::uint32_t number_of(const sockaddr* address) {
    return ntohl(reinterpret_cast<const sockaddr_in*>(address)->sin_addr.s_addr);
}

std::string digits(std::uint32_t number) {
    return fmt::format("{}.{}.{}.{}", number >> 24, number >> 16 & 0xFF, number >> 8 & 0xFF, number & 0xFF);
}

/// Calls `take` for each address of this family of an interface that is up and no loopback.
template <typename Take>
void each_address(int family, const Take& take) {
    ifaddrs* first = nullptr;
    if (::getifaddrs(&first) != 0) {
        return;
    }
    const std::unique_ptr<ifaddrs, Free> list(first);
    for (const ifaddrs* each = first; each != nullptr; each = each->ifa_next) {
        const bool is_up = (each->ifa_flags & IFF_UP) != 0 && (each->ifa_flags & IFF_LOOPBACK) == 0;
        if (is_up && each->ifa_addr != nullptr && each->ifa_addr->sa_family == family) {
            take(each);
        }
    }
}

} // namespace

bool is_link_local(const Ipv6& address) {
    return address[0] == 0xFE && (address[1] & 0xC0) == 0x80;
}

std::string digits(const Ipv6& address) {
    std::array<char, INET6_ADDRSTRLEN> text{};
    ::inet_ntop(AF_INET6, address.data(), text.data(), text.size());
    return text.data();
}

std::vector<MachineAddress6> machine_addresses6() {
    std::vector<MachineAddress6> out;
    each_address(AF_INET6, [&](const ifaddrs* each) {
        MachineAddress6 found{.interface = ::if_nametoindex(each->ifa_name),
                              .has_multicast = (each->ifa_flags & IFF_MULTICAST) != 0};
        const auto* at = reinterpret_cast<const sockaddr_in6*>(each->ifa_addr);
        std::memcpy(found.address.data(), &at->sin6_addr, found.address.size());
        out.push_back(found);
    });
    return out;
}

std::vector<MachineAddress> machine_addresses() {
    std::vector<MachineAddress> out;
    each_address(AF_INET, [&](const ifaddrs* each) {
        const auto number = number_of(each->ifa_addr);
        out.push_back({.text = digits(number),
                       .number = number,
                       .mask = each->ifa_netmask == nullptr ? 0xFFFFFFFF : number_of(each->ifa_netmask),
                       .interface = ::if_nametoindex(each->ifa_name),
                       .interface_name = each->ifa_name,
                       .has_multicast = (each->ifa_flags & IFF_MULTICAST) != 0});
    });
    std::ranges::stable_partition(
        out, [](const MachineAddress& each) { return !is_within_machine(each.interface_name); });
    return out;
}

} // namespace backeddy::server
