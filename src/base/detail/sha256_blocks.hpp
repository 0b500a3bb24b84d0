#pragma once
// SHA-256 by the processor's own instructions, where it has them: some four times as fast as without.

#include <array>
#include <cstddef>
#include <cstdint>

namespace backeddy::detail {

/// The eight words a to h of FIPS 180-4, section 6.2.
using Sha256State = std::array<std::uint32_t, 8>;

/// Whether this processor has the instructions that sha256_blocks() needs.
[[nodiscard]] bool has_sha256_instructions();

/// Takes `count` blocks of 64 bytes into `state`. Only where has_sha256_instructions().
void sha256_blocks(Sha256State& state, const unsigned char* blocks, std::size_t count);

} // namespace backeddy::detail
