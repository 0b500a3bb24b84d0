#pragma once
// Arithmetic on two doubles at once, by the vector types of GCC and Clang: what every x86-64 and ARM64
// processor has, so that the bits are the same on all of one kind, with no choice of instructions at run
// time.

#include <cstdint>

namespace backeddy {

using Lanes __attribute__((vector_size(16))) = double;
using WholeLanes __attribute__((vector_size(16))) = std::int64_t;

inline Lanes both_lanes(double v) {
    return Lanes{v, v};
}

inline double sum_of_lanes(Lanes v) {
    return v[0] + v[1];
}

/// Four numbers in single precision, for what is only to be near.
using RoughLanes __attribute__((vector_size(16))) = float;
using RoughWholeLanes __attribute__((vector_size(16))) = std::int32_t;

inline float sum_of_lanes(RoughLanes v) {
    return (v[0] + v[1]) + (v[2] + v[3]);
}

inline RoughLanes greater_of(RoughLanes a, RoughLanes b) {
    return a > b ? a : b;
}

inline Lanes greater_of(Lanes a, Lanes b) {
    return a > b ? a : b;
}

/// e to the power of x <= 0, within 4.5e-16 of itself; below -700 as at -700 (1e-304). Reduction by
/// multiples of ln 2 in two parts (Cody and Waite 1980), then the Taylor series of what is left, at most ln 2
/// / 2 in size, to the 13th power.
inline Lanes exp_of_negative(Lanes x) {
    constexpr double log2_e = 1.4426950408889634;
    constexpr double ln2_high = 0x1.62e42feep-1; // 32 bits: its product with a whole number is exact
    constexpr double ln2_low = 0x1.a39ef35793c76p-33;
    constexpr double to_whole = 0x1.8p52; // adding it rounds to a whole number, kept in the low bits
    x = greater_of(x, both_lanes(-700.0));
    const Lanes shifted = (x * log2_e) + to_whole;
    const Lanes whole = shifted - to_whole;
    const Lanes r = (x - (whole * ln2_high)) - (whole * ln2_low);
    const Lanes rr = r * r;
    // Even and odd powers apart: two short chains.
    Lanes even = (rr * (1.0 / 479001600.0)) + (1.0 / 3628800.0);
    Lanes odd = (rr * (1.0 / 6227020800.0)) + (1.0 / 39916800.0);
    even = (even * rr) + (1.0 / 40320.0);
    odd = (odd * rr) + (1.0 / 362880.0);
    even = (even * rr) + (1.0 / 720.0);
    odd = (odd * rr) + (1.0 / 5040.0);
    even = (even * rr) + (1.0 / 24.0);
    odd = (odd * rr) + (1.0 / 120.0);
    even = (even * rr) + 0.5;
    odd = (odd * rr) + (1.0 / 6.0);
    const Lanes power = 1.0 + (r + (rr * (even + (r * odd))));
    const auto bits = reinterpret_cast<WholeLanes>(shifted);
    return power * reinterpret_cast<Lanes>((bits << 52) + (std::int64_t{1023} << 52));
}

/// The same in single precision, within 2.4e-7 of itself; below -80 as at -80 (2e-35).
inline RoughLanes exp_of_negative(RoughLanes x) {
    constexpr float log2_e = 1.44269504F;
    constexpr float ln2_high = 0.693359375F; // 10 bits
    constexpr float ln2_low = -2.12194440e-4F;
    constexpr float to_whole = 0x1.8p23F;
    x = greater_of(x, RoughLanes{-80.0F, -80.0F, -80.0F, -80.0F});
    const RoughLanes shifted = (x * log2_e) + to_whole;
    const RoughLanes whole = shifted - to_whole;
    const RoughLanes r = (x - (whole * ln2_high)) - (whole * ln2_low);
    RoughLanes series = (r * (1.0F / 5040.0F)) + (1.0F / 720.0F);
    series = (series * r) + (1.0F / 120.0F);
    series = (series * r) + (1.0F / 24.0F);
    series = (series * r) + (1.0F / 6.0F);
    series = (series * r) + 0.5F;
    const RoughLanes power = 1.0F + (r + (r * r * series));
    const auto bits = reinterpret_cast<RoughWholeLanes>(shifted);
    return power * reinterpret_cast<RoughLanes>((bits << 23) + (std::int32_t{127} << 23));
}

/// Natural logarithm of 1 <= x <= 4, within 4.5e-16 of itself: 2 artanh((m - 1)/(m + 1)) for m within
/// the root of 2 of 1.
inline Lanes log_of_one_to_four(Lanes x) {
    constexpr double root2 = 1.4142135623730951;
    constexpr double ln2 = 0.6931471805599453;
    const Lanes none = both_lanes(0.0);
    const Lanes halved = x > both_lanes(root2) ? both_lanes(1.0) : none;
    const Lanes quartered = x > both_lanes(2.0 * root2) ? both_lanes(1.0) : none;
    const Lanes m = x * (1.0 - (0.5 * halved) - (0.25 * quartered));
    const Lanes s = (m - 1.0) / (m + 1.0);
    const Lanes ss = s * s;
    Lanes series = (ss * (1.0 / 21.0)) + (1.0 / 19.0);
    series = (series * ss) + (1.0 / 17.0);
    series = (series * ss) + (1.0 / 15.0);
    series = (series * ss) + (1.0 / 13.0);
    series = (series * ss) + (1.0 / 11.0);
    series = (series * ss) + (1.0 / 9.0);
    series = (series * ss) + (1.0 / 7.0);
    series = (series * ss) + (1.0 / 5.0);
    series = (series * ss) + (1.0 / 3.0);
    return ((halved + quartered) * ln2) + (2.0 * (s + (s * ss * series)));
}

} // namespace backeddy
