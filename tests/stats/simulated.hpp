#pragma once
// How often something happened in simulations of known truth, and whether that can be chance.

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string>

#include <gtest/gtest.h>

namespace backeddy::stats {

/// How many studies to simulate: `usual`, or what BACKEDDY_SIMULATED_RUNS says, for the tables of
/// docs/comparisons.md (10,000).
inline std::uint64_t runs(std::uint64_t usual) {
    const char* wished = std::getenv("BACKEDDY_SIMULATED_RUNS");
    return wished == nullptr ? usual : std::strtoull(wished, nullptr, 10);
}

class Rate {
  public:
    void add(bool happened) {
        ++runs_;
        hits_ += happened ? 1 : 0;
    }
    [[nodiscard]] double value() const { return static_cast<double>(hits_) / static_cast<double>(runs_); }
    /// Of a rate whose truth is `p`.
    [[nodiscard]] double error(double p) const {
        return std::sqrt(p * (1.0 - p) / static_cast<double>(runs_));
    }
    [[nodiscard]] std::string text() const {
        char out[64];
        std::snprintf(out, sizeof out, "%.4f +- %.4f (%d runs)", value(), error(value()), runs_);
        return out;
    }

  private:
    int runs_ = 0;
    int hits_ = 0;
};

/// Within four Monte Carlo errors of `p`: one such test in 16,000 fails by chance, and seeds are fixed.
inline ::testing::AssertionResult is_about(const Rate& rate, double p, const std::string& what) {
    std::printf("    %s: %s, on paper %.4f\n", what.c_str(), rate.text().c_str(), p);
    return std::abs(rate.value() - p) <= 4.0 * rate.error(p)
               ? ::testing::AssertionSuccess()
               : ::testing::AssertionFailure() << what << ": " << rate.text() << ", on paper " << p;
}

/// At least `p` less, at most `q` more than four Monte Carlo errors.
inline ::testing::AssertionResult is_between(const Rate& rate, double p, double q, const std::string& what) {
    std::printf("    %s: %s, allowed %.4f to %.4f\n", what.c_str(), rate.text().c_str(), p, q);
    return rate.value() >= p - (4.0 * rate.error(p)) && rate.value() <= q + (4.0 * rate.error(q))
               ? ::testing::AssertionSuccess()
               : ::testing::AssertionFailure()
                     << what << ": " << rate.text() << ", allowed " << p << " to " << q;
}

} // namespace backeddy::stats
