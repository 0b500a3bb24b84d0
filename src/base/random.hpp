#pragma once
// Reproducible random numbers: the same seed and stream give the same bits on every machine. The standard
// library's distributions differ between implementations, so the few that are needed stand here.

#include <array>
#include <cstdint>

namespace backeddy {

/// xoshiro256** (Blackman and Vigna 2021, ACM Trans Math Softw 47:36), seeded by splitmix64 from a seed and a
/// stream number, so that each fish, stay or draw has numbers of its own whatever the order of work.
class Random {
  public:
    using result_type = std::uint64_t;
    explicit Random(std::uint64_t seed, std::uint64_t stream = 0);

    static constexpr result_type min() { return 0; }
    static constexpr result_type max() { return ~result_type{0}; }
    result_type operator()();

    /// Uniform on [0, 1), 53 bits.
    double uniform();
    /// Uniform whole number in [0, n), n > 0, without bias.
    std::uint64_t below(std::uint64_t n);
    /// Standard normal, by Marsaglia and Bray's polar method (1964).
    double normal();
    /// Exponential with mean 1.
    double exponential();

  private:
    std::array<std::uint64_t, 4> state_{};
    double spare_ = 0.0;
    bool has_spare_ = false;
};

} // namespace backeddy
