#pragma once
// What a model says of its groups: estimated marginal means, and how they compare.
//
//   const auto exact = SmallSample::make(model, fit, FreedomMethod::kenward_roger);
//   const ContrastTest test = [&](auto name, auto weights) { return exact->contrast(name, weights); };
//   const auto means = marginal_means(model.design(), {.of = {"rig"}, .by = {"temp"}}, test);
//   const auto pairs = compare(*means, test, {.adjustment = Adjustment::tukey});

#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/multiplicity.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats {

/// How a model judges a weighted sum of its coefficients: contrast() of a linear or mixed fit, or of whatever
/// else has coefficients.
using ContrastTest = std::function<Estimate(std::string name, std::span<const double> weights)>;

struct MeansRequest {
    std::vector<std::string> of; ///< factors whose levels are compared; or numbers, with values in `at`
    std::vector<std::string> by; ///< the same at each level of these: comparisons stay within them
    struct At {
        std::string column;
        std::vector<double> values;
    };
    std::vector<At> at; ///< numbers held at values of your own; others stand at their mean
};

struct Mean {
    std::vector<std::string> of; ///< levels, or numbers as text, in the order asked
    std::vector<std::string> by;
    Estimate estimate;
    std::vector<double> weights; ///< of the coefficients
};

/// The mean of the model's predictions over the cells of all other factors, each cell with equal weight
/// (Searle, Speed and Milliken 1980, Am Stat 34:216), numbers at their mean. On the scale of the linear
/// predictor. `by` varies slowest. Fails with unknown_name (no column of the model) or bad_relation (a number
/// without values, the same column twice, values for a factor, nothing asked of).
[[nodiscard]] Expected<std::vector<Mean>> marginal_means(const Design& design, const MeansRequest& request,
                                                         const ContrastTest& test);

enum class Against : std::uint8_t {
    every_other, ///< later less earlier, all pairs
    first,       ///< each less the first: the reference level, unless numbers were asked for
};

struct CompareOptions {
    Against against = Against::every_other;
    Adjustment adjustment = Adjustment::holm;
    double level = 0.95;
};

struct Comparison {
    std::vector<std::string> by;
    Estimate estimate; ///< p and interval adjusted
    double p_alone = 0.0;
    std::size_t family = 0; ///< how many comparisons were adjusted together
};

/// Differences of means within each `by`, which is a family of its own. Intervals: under Tukey from the
/// studentized range, under Holm by Bonferroni's inequality (wider than Holm's p, never at odds with it in
/// the other direction), else each by itself. Fails with bad_relation (Tukey against the first only: its
/// range is that of all pairs) or too_few (a family of one mean).
[[nodiscard]] Expected<std::vector<Comparison>>
compare(const std::vector<Mean>& means, const ContrastTest& test, const CompareOptions& options = {});

} // namespace backeddy::stats
