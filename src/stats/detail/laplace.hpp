#pragma once
// The likelihood of shares and counts with the intercepts of groups' levels integrated out.

#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "stats/detail/family.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats::detail {

/// Laplace's approximation, or adaptive quadrature for a single group. Keeps the last modes as the next
/// start: one a thread.
class Laplace {
  public:
    Laplace(Family family, Link link, Observed observed, const std::vector<Grouping>& groups,
            std::size_t nodes);

    ~Laplace();
    Laplace(Laplace&&) noexcept;
    Laplace& operator=(Laplace&&) noexcept;

    /// Minus the log-likelihood. `fixed`: X beta + offset; `sds` by group.
    [[nodiscard]] double operator()(std::span<const double> fixed, std::span<const double> sds,
                                    std::optional<double> theta);
    /// Of the last call, in standard normal units: all levels of the first group, of the second, and so on.
    [[nodiscard]] std::vector<double> modes() const;
    /// Of the last call: the linear predictor at the modes.
    [[nodiscard]] std::vector<double> predictor() const;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace backeddy::stats::detail
