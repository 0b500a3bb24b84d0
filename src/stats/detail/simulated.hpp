#pragma once
// Outcomes drawn from a generalised linear model, and what the likelihood ratios of such draws say of the
// data's.

#include <atomic>
#include <cstddef>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/random.hpp"
#include "stats/detail/family.hpp"

namespace backeddy::stats::detail {

/// One outcome of mean `trials` x `mean`.
[[nodiscard]] double drawn(const Kind& kind, double mean, double trials, Random& random);

/// Draws that are done, told one by one. Whoever is told may throw: no further draw begins then.
class DrawsDone {
  public:
    explicit DrawsDone(const TermBootstrapOptions& options) : options_(options) {}
    void add_one();
    [[nodiscard]] bool is_over() const { return is_over_; }

  private:
    std::atomic<bool> is_over_ = false;
    const TermBootstrapOptions& options_;
    std::mutex guard_;
    std::size_t done_ = 0;
};

/// Nothing, or bad_relation (no such term), too_few (draws), bad_setting (level).
[[nodiscard]] Expected<void> check_bootstrap(std::size_t term, std::size_t terms,
                                             const TermBootstrapOptions& options);

/// `ratios` of the draws, nothing where one could not be fitted. Fails with too_few: half of them or more.
[[nodiscard]] Expected<TermBootstrap> judged(std::string term, double chi_squared,
                                             const std::vector<std::optional<double>>& ratios, double level);

} // namespace backeddy::stats::detail
