#pragma once
// Log-likelihoods of rows that hang on a linear predictor and at most two further numbers each, with one
// random intercept at most: their highest point, and how they fall when one number is held.

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/interval.hpp"
#include "stats/mixed.hpp"
#include "stats/random_intercept.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats::detail {

/// Of one row. Places 0 and 1 of the derivatives are those of two further parameters, 2 of the predictor.
struct RowTerms {
    static constexpr std::size_t none = static_cast<std::size_t>(-1);
    double value = 0.0; ///< -infinity where the row cannot be
    std::array<double, 3> first{};
    std::array<std::array<double, 3>, 3> second{}; ///< symmetric
    std::array<std::size_t, 2> further{none, none};
};

/// Of a row, at the further parameters and its linear predictor; concave in the predictor.
using RowFunction = std::function<RowTerms(std::size_t row, std::span<const double> further, double eta)>;

/// Columns of a design that are searched over: less their mean, where there is an intercept to take it up,
/// and over their spread.
struct ScaledColumns {
    std::vector<std::size_t> places; ///< among the design's columns; the intercept is none of them
    std::vector<std::string> names;
    std::vector<std::vector<double>> values;
    std::vector<double> mean; ///< 0 without an intercept
    std::vector<double> scale;
};
[[nodiscard]] ScaledColumns scaled_columns(const Design& design);

struct PredictorModel {
    std::size_t rows = 0;
    std::size_t further = 0;                  ///< parameters before the coefficients
    std::vector<std::vector<double>> columns; ///< a coefficient each
    std::vector<std::size_t> groups;          ///< of every row; empty: no random intercept
    std::size_t nodes = 1;                    ///< of the quadrature over it
    RowFunction row;
};

/// A log-likelihood and its derivatives.
struct Slopes {
    double value = 0.0;
    std::vector<double> first;
    std::vector<double> second; ///< row by row
};

/// Parameters in order: the further ones, coefficients, and last, where there are groups, the standard
/// deviation of their intercepts, in which the likelihood is even: its sign says nothing. Integrals over a
/// level's intercept are by adaptive Gauss-Hermite quadrature about its conditional mode (Liu and Pierce
/// 1994, Biometrika 81:624), derivatives those of the integral (Louis 1982, J R Stat Soc B 44:226).
class Likelihood {
  public:
    explicit Likelihood(PredictorModel model);

    [[nodiscard]] std::size_t parameters() const;
    [[nodiscard]] Slopes at(std::span<const double> parameters) const;
    /// Conditional modes of the levels' intercepts.
    [[nodiscard]] std::vector<double> modes(std::span<const double> parameters) const;
    [[nodiscard]] const PredictorModel& model() const { return model_; }

  private:
    struct Mode {
        double at = 0.0; ///< of a standard normal
        double sd = 1.0;
    };
    [[nodiscard]] Mode mode_of(const std::vector<std::size_t>& rows, std::span<const double> parameters,
                               std::span<const double> fixed) const;
    [[nodiscard]] std::vector<double> fixed_part(std::span<const double> parameters) const;
    [[nodiscard]] Slopes node(const std::vector<std::size_t>& rows, std::span<const double> parameters,
                              std::span<const double> fixed, double v) const;
    [[nodiscard]] Slopes level(const std::vector<std::size_t>& rows, std::span<const double> parameters,
                               std::span<const double> fixed) const;
    void add_row(std::size_t row, const RowTerms& terms, double v, Slopes& sum) const;

    PredictorModel model_;
    std::vector<std::vector<std::size_t>> levels_; ///< rows of each
    std::vector<double> nodes_;                    ///< for exp(-x^2)
    std::vector<double> log_weights_;              ///< of the integrand itself: + x^2
};

enum class Ending : std::uint8_t {
    reached,
    endless, ///< the likelihood rises along the last step for ever
    lost,    ///< no maximum in a hundred steps
};

struct Climb {
    Ending ending = Ending::lost;
    std::vector<double> at;
    Slopes slopes;
    std::vector<double> step; ///< the last
};

/// Whether the likelihood cannot fall along a direction of the parameters.
using IsEndless = std::function<bool(std::span<const double> direction)>;

/// Newton's steps, halved while they lead down, turned upward where the likelihood is not concave. With
/// `held` that parameter stays as it starts.
[[nodiscard]] Climb climb(const Likelihood& likelihood, std::vector<double> start,
                          const IsEndless& is_endless = {}, std::optional<std::size_t> held = std::nullopt);

/// The inverse of the negative second derivatives, row by row; nothing where they are singular. A spread of
/// the groups that is 0 counts as known: the likelihood is even in it, so that it is at right angles to all.
[[nodiscard]] std::optional<std::vector<double>> covariance_of(const Likelihood& likelihood,
                                                               const Climb& best);
/// Whether the last parameter, the spread of the groups, is 0 but for where the steps ended.
[[nodiscard]] bool has_no_spread(const Likelihood& likelihood, const Climb& best);
/// map V map', all row by row and square.
[[nodiscard]] std::vector<double> congruent(const std::vector<double>& map, const std::vector<double>& v);

/// Where twice the loss of the likelihood, all others at their best, is the chi-squared quantile: infinite
/// where it is not within 60 standard errors, `floor` where it is not above that.
[[nodiscard]] Interval profile_limits(const Likelihood& likelihood, const Climb& best, std::size_t parameter,
                                      double se, double level,
                                      double floor = -std::numeric_limits<double>::infinity());

/// Nothing, or what is wrong with a random intercept's groups: bad_relation (another number of rows),
/// degenerate (one level; one row a level).
[[nodiscard]] Expected<void> check_groups(const Factor& group, std::size_t rows);
/// What the last parameter and the modes say, beside the log-likelihood of the same model without groups.
[[nodiscard]] RandomIntercept random_intercept(const Likelihood& likelihood, const Climb& best,
                                               const Factor& group, double log_likelihood_without);
/// Words about no spread between levels, and about few levels.
void add_remarks(const RandomIntercept& random, const std::vector<std::size_t>& groups,
                 std::vector<Remark>& remarks);
/// Nothing, or bad_setting: 5 to 100 nodes (with fewer the derivatives of the integral are too coarse).
[[nodiscard]] Expected<void> check_nodes(std::size_t nodes);

} // namespace backeddy::stats::detail
