#include "base/detail/sha256_blocks.hpp"

#if defined(__x86_64__)
#include <cpuid.h>
#include <immintrin.h>
#endif

namespace backeddy::detail {

#if defined(__x86_64__)

namespace {

// FIPS 180-4, section 4.2.2: the first 32 bits of the fractional parts of the cube roots of the first 64
// primes.
alignas(16) constexpr std::array<std::uint32_t, 64> round_constants{
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

// The state as the instructions want it: words a, b, e, f in one register and c, d, g, h in the other, the
// first named the highest.
struct Halves {
    __m128i abef;
    __m128i cdgh;
};

__attribute__((target("sha,sse4.1"))) inline void four_rounds(Halves& state, __m128i words,
                                                              std::size_t first) {
    const auto* constants = reinterpret_cast<const __m128i*>(round_constants.data() + first);
    const __m128i sum = _mm_add_epi32(words, _mm_load_si128(constants));
    state.cdgh = _mm_sha256rnds2_epu32(state.cdgh, state.abef, sum);
    state.abef = _mm_sha256rnds2_epu32(state.abef, state.cdgh, _mm_shuffle_epi32(sum, 0x0E));
}

__attribute__((target("sha,sse4.1"))) void
blocks_by_instructions(Sha256State& state, const unsigned char* blocks, std::size_t count) {
    const auto word = [&](std::size_t i) { return static_cast<int>(state[i]); };
    Halves now{.abef = _mm_set_epi32(word(0), word(1), word(4), word(5)),
               .cdgh = _mm_set_epi32(word(2), word(3), word(6), word(7))};
    const __m128i big_endian = _mm_set_epi64x(0x0c0d0e0f08090a0bLL, 0x0405060700010203LL);
    for (; count > 0; --count, blocks += 64) {
        const Halves before = now;
        const auto* bytes = reinterpret_cast<const __m128i*>(blocks);
        __m128i w0 = _mm_shuffle_epi8(_mm_loadu_si128(bytes), big_endian);
        __m128i w1 = _mm_shuffle_epi8(_mm_loadu_si128(bytes + 1), big_endian);
        __m128i w2 = _mm_shuffle_epi8(_mm_loadu_si128(bytes + 2), big_endian);
        __m128i w3 = _mm_shuffle_epi8(_mm_loadu_si128(bytes + 3), big_endian);
        four_rounds(now, w0, 0);
        four_rounds(now, w1, 4);
        four_rounds(now, w2, 8);
        four_rounds(now, w3, 12);
        for (std::size_t round = 16; round < 64; round += 4) {
            // Section 6.2.2, step 1, four words at once.
            const __m128i seven_before = _mm_alignr_epi8(w3, w2, 4);
            const __m128i next =
                _mm_sha256msg2_epu32(_mm_add_epi32(_mm_sha256msg1_epu32(w0, w1), seven_before), w3);
            four_rounds(now, next, round);
            w0 = w1;
            w1 = w2;
            w2 = w3;
            w3 = next;
        }
        now.abef = _mm_add_epi32(now.abef, before.abef);
        now.cdgh = _mm_add_epi32(now.cdgh, before.cdgh);
    }
    const auto out = [](int value) { return static_cast<std::uint32_t>(value); };
    state = {out(_mm_extract_epi32(now.abef, 3)), out(_mm_extract_epi32(now.abef, 2)),
             out(_mm_extract_epi32(now.cdgh, 3)), out(_mm_extract_epi32(now.cdgh, 2)),
             out(_mm_extract_epi32(now.abef, 1)), out(_mm_extract_epi32(now.abef, 0)),
             out(_mm_extract_epi32(now.cdgh, 1)), out(_mm_extract_epi32(now.cdgh, 0))};
}

bool asks_processor() {
    unsigned a = 0;
    unsigned b = 0;
    unsigned c = 0;
    unsigned d = 0;
    if (__get_cpuid(1, &a, &b, &c, &d) == 0) {
        return false;
    }
    constexpr unsigned ssse3 = 1U << 9U;
    constexpr unsigned sse4_1 = 1U << 19U;
    if ((c & ssse3) == 0 || (c & sse4_1) == 0 || __get_cpuid_count(7, 0, &a, &b, &c, &d) == 0) {
        return false;
    }
    constexpr unsigned sha = 1U << 29U;
    return (b & sha) != 0;
}

} // namespace

bool has_sha256_instructions() {
    static const bool answer = asks_processor();
    return answer;
}

void sha256_blocks(Sha256State& state, const unsigned char* blocks, std::size_t count) {
    blocks_by_instructions(state, blocks, count);
}

#else

bool has_sha256_instructions() {
    return false;
}

void sha256_blocks(Sha256State& /*state*/, const unsigned char* /*blocks*/, std::size_t /*count*/) {}

#endif

} // namespace backeddy::detail
