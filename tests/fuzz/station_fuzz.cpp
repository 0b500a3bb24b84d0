// Any bytes as station.toml: never a fault, each complaint says what is there, what should be and what to do,
// and a station without complaints has names and places that belong to one each.

#include <set>

#include "fuzz/fuzz.hpp"
#include "instruments/station.hpp"

using namespace backeddy;
using namespace backeddy::instruments;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto read = read_station(fuzz::text_of(data, size), "station.toml");
    for (const auto& complaint : read.complaints) {
        fuzz::require(!complaint.found.empty() && !complaint.expected.empty() && !complaint.remedy.empty(),
                      "a complaint says what is there, what should be and what to do");
        fuzz::require(complaint.code != ErrorCode::our_bug, "what somebody wrote is no bug of ours");
    }
    if (!read.complaints.empty()) {
        return 0;
    }
    fuzz::require(!read.station.devices.empty(), "a station has a device");
    std::set<std::string> devices, channels, pumps;
    for (const auto& device : read.station.devices) {
        fuzz::require(devices.insert(device.id.text).second, "a device's name is its own");
        for (const auto& channel : channels_of(device)) {
            fuzz::require(channels.insert(channel.id.text).second, "a channel's name is its own");
        }
        for (const auto& pump : pumps_of(device)) {
            fuzz::require(pumps.insert(pump.name).second, "a pump's name is its own");
            fuzz::require(pump.heartbeat > Duration(), "a heart beats");
        }
    }
    return 0;
}
