#pragma once
// What the fuzz targets share: bytes as text, and a claim that stops the run when it does not hold.

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string_view>

namespace backeddy::fuzz {

inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
    return {reinterpret_cast<const char*>(data), size};
}

/// Says which claim is broken and aborts, so that libFuzzer keeps the input.
inline void require(bool claim, const char* text) {
    if (!claim) {
        std::fprintf(stderr, "broken claim: %s\n", text);
        std::abort();
    }
}

} // namespace backeddy::fuzz
