#pragma once
// What the tests of instruments share.

#include <string>
#include <vector>

#include "instruments/channel.hpp"

namespace backeddy::instruments {

inline const Stamp noon{.wall = *parse_iso("2026-06-14T12:00:00Z"), .monotonic_ns = 5'000'000'000};

inline Channel channel(std::string id) {
    return {.id = {std::move(id)}, .unit = "mg/L"};
}

inline Stamp later(double seconds) {
    return {.wall = noon.wall + Duration::seconds(seconds),
            .monotonic_ns = noon.monotonic_ns + Duration::seconds(seconds).nanoseconds()};
}

/// "c1 8.41" or "c1 no number", for readable expectations.
inline std::string text(const Reading& reading) {
    return reading.channel.text + " " +
           (reading.missing == Missing::no ? std::to_string(reading.value)
                                           : std::string(in_words(reading.missing)));
}

inline std::vector<std::string> texts(const std::vector<Reading>& readings) {
    std::vector<std::string> out;
    for (const auto& reading : readings) {
        out.push_back(text(reading));
    }
    return out;
}

} // namespace backeddy::instruments
