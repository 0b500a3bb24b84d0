#pragma once
// A small invented station and plan, and folders that go when the test ends.

#include <filesystem>
#include <string>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "base/temporary_folder.hpp"
#include "instruments/station.hpp"
#include "watch/plan.hpp"

namespace backeddy::live::test {

/// One meter over TCP with the chambers "deck" and "shore", a shared inflow and barometer, a pump for each.
inline instruments::Station station(int port = 4001, const std::string& oxygen_unit = "mg/L") {
    const auto channel = [](const std::string& name, const std::string& chamber, const std::string& quantity,
                            const std::string& unit) {
        return fmt::format(
            "[[tcp.channel]]\nname = \"{0}\"\n{1}quantity = \"{2}\"\nunit = \"{3}\"\nfield = \"{0}\"\n", name,
            chamber.empty() ? "" : "chamber = \"" + chamber + "\"\n", quantity, unit);
    };
    const auto pump = [](const std::string& chamber) {
        return fmt::format("[[tcp.pump]]\nname = \"{0}_pump\"\nchamber = \"{0}\"\nheartbeat_s = 1\n"
                           "seal = \"seal {0}\"\nflush = \"flush {0}\"\n",
                           chamber);
    };
    const std::string text =
        fmt::format("[[tcp]]\nname = \"meter\"\nhost = \"127.0.0.1\"\nport = {}\n", port) +
        channel("deck_o2", "deck", "oxygen", oxygen_unit) + channel("deck_t", "deck", "temperature", "degC") +
        channel("shore_o2", "shore", "oxygen", oxygen_unit) + channel("bath_o2", "", "oxygen", oxygen_unit) +
        channel("air", "", "pressure", "hPa") + pump("deck") + pump("shore");
    auto read = instruments::read_station(text, "station.toml");
    for (const auto& complaint : read.complaints) {
        ADD_FAILURE() << complaint.text();
    }
    return std::move(read.station);
}

inline watch::Plan plan() {
    watch::Plan out;
    out.chambers = {{.name = "deck", .water_l = 20.0, .flow_l_per_min = 10.0},
                    {.name = "shore", .water_l = 60.0, .flow_l_per_min = 20.0, .has_temperature = false}};
    out.salinity = 30.0;
    return out;
}

template <typename T>
T value_of(Expected<T> expected) {
    if (!expected) {
        ADD_FAILURE() << expected.error().text();
        throw std::runtime_error(expected.error().text());
    }
    return std::move(*expected);
}

} // namespace backeddy::live::test
