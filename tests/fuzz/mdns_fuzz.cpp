// Any bytes as a packet of multicast DNS: read to its end or refused, the same each time, and what we
// write is read back, also with any bytes behind it.

#include <algorithm>
#include <string>

#include "fuzz/fuzz.hpp"
#include "server/mdns.hpp"

using namespace backeddy;
using namespace backeddy::server;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    constexpr std::string_view name = "backeddy.local";
    const std::string_view packet = fuzz::text_of(data, size);
    const auto heard = mdns::read(packet, name);
    fuzz::require(heard == mdns::read(std::string(packet), name), "the same bytes say the same");
    if (heard) {
        fuzz::require(11 * heard->addresses.size() + 23 * heard->addresses6.size() <= size,
                      "an address takes its bytes");
        fuzz::require(size >= 12, "a packet has a head");
    }
    if (size >= 6) {
        const std::uint32_t address = static_cast<std::uint32_t>(data[0]) << 24 | data[1];
        Ipv6 six{};
        std::copy_n(data, 6, six.begin());
        const bool has_six = (data[3] & 2) != 0;
        const mdns::Answer ours{.address = address,
                                .addresses6 = has_six ? std::vector{six} : std::vector<Ipv6>{},
                                .life = 60U + data[2],
                                .is_about_other = (data[3] & 1) != 0};
        const auto back = mdns::read(mdns::answer(name, ours) + std::string(packet), name);
        const auto fours = address == 0 ? std::vector<std::uint32_t>{} : std::vector{address};
        fuzz::require(back && back->is_answer && back->addresses == fours &&
                          back->addresses6 == ours.addresses6,
                      "what is written is read back");
    }
    return 0;
}
