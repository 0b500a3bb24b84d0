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
        fuzz::require(heard->addresses.size() <= size / 11, "an address takes its bytes");
        fuzz::require(size >= 12, "a packet has a head");
    }
    if (size >= 6) {
        const std::uint32_t address = static_cast<std::uint32_t>(data[0]) << 24 | data[1];
        const mdns::Answer ours{
            .address = address, .life = 60U + data[2], .is_about_other = (data[3] & 1) != 0};
        const auto back = mdns::read(mdns::answer(name, ours) + std::string(packet), name);
        fuzz::require(back && back->is_answer && back->addresses == std::vector{address},
                      "what is written is read back");
    }
    return 0;
}
