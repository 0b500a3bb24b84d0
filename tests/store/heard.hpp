#pragma once
// Invented lines off a wire, and readers of what was kept of them.

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "store/invented.hpp"
#include "store/segment.hpp"

namespace backeddy::store::test {

/// Piece `number`; the same arguments give the same piece.
inline Heard heard(std::uint64_t number, std::size_t padding = 0) {
    return {.number = number,
            .source = static_cast<std::uint16_t>(number % 3),
            .received = Instant::unix_nanoseconds(
                static_cast<std::int64_t>(1'780'000'000'000'000'000 + number * 250'000'001)),
            .monotonic_ns = static_cast<std::int64_t>(number * 250'000'000),
            .bytes = fmt::format("{};8.{:03};12.4\r\n", number, number % 1000) + std::string(padding, 'x')};
}

inline SegmentHead head() {
    return {.program = "backeddy test",
            .boot = "b1",
            .station_sha256 = "ab12",
            .sources = {"deck", "shore", "bath"}};
}

/// All that the folder's files hold, by a reader of its own.
inline std::vector<Heard> kept_in(const std::filesystem::path& folder,
                                  std::vector<SegmentDamage>* damage = nullptr) {
    SegmentReader reader(folder);
    std::vector<Heard> out;
    while (true) {
        auto some = value_of(reader.read_to_end());
        if (some.empty()) {
            break;
        }
        for (auto& piece : some) {
            out.push_back(std::move(piece.heard));
        }
    }
    if (damage != nullptr) {
        *damage = reader.damage();
    }
    return out;
}

} // namespace backeddy::store::test
