#pragma once
// Degrees of freedom for mixed models: what the fixed coefficients say when the variances are themselves
// estimated from few fish.

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats {

enum class FreedomMethod : std::uint8_t {
    satterthwaite, ///< the fit's covariance; degrees of freedom by its own uncertainty
    kenward_roger, ///< REML only: a covariance that is not too small, and degrees of freedom to match
};

/// Answers about a fit's coefficients with degrees of freedom.
///
/// Satterthwaite (Fai and Cornelius 1996, J Stat Comput Simul 54:363; Kuznetsova, Brockhoff and Christensen
/// 2017, J Stat Softw 82(13), eqs. 5-12): the variance parameters' covariance is twice the inverse of the
/// observed Hessian of the fit's own criterion, in closed form; variances at 0 count as known.
///
/// Kenward and Roger (1997, Biometrics 53:983): covariance adjusted for bias by their eqs. 3-5 (expected
/// information, linear covariance structure), tests scaled by their eqs. of section 3.
///
/// Time grows with rows times the square of all random effects.
class SmallSample {
  public:
    /// The fit must be the model's own. Fails with bad_relation (Kenward-Roger for an ML fit) or degenerate
    /// (the rows say nothing of the variances).
    [[nodiscard]] static Expected<SmallSample> make(const MixedModel& model, const MixedFit& fit,
                                                    FreedomMethod method = FreedomMethod::satterthwaite,
                                                    double level = 0.95);

    /// The sum of `weights` times the coefficients. As many weights as coefficients.
    [[nodiscard]] Estimate contrast(std::string name, std::span<const double> weights) const;
    [[nodiscard]] std::vector<Estimate> coefficients() const;
    /// Whether all these sums are 0; rows independent of each other.
    [[nodiscard]] TermTest test(std::string name, const std::vector<std::vector<double>>& rows) const;
    /// Each term given all others: term_hypotheses().
    [[nodiscard]] std::vector<TermTest> term_tests() const;
    /// Of the coefficients, row by row: Kenward and Roger's is adjusted.
    [[nodiscard]] const std::vector<double>& covariance() const;
    [[nodiscard]] FreedomMethod method() const;

  private:
    struct Parts;
    std::shared_ptr<const Parts> parts_;
};

} // namespace backeddy::stats
