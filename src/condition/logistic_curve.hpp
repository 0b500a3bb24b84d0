#pragma once
// Logistic standard curves of four and five parameters, and concentrations read back from them.
//
//   const auto fit = fit_logistic(concentrations, responses, {.variance = ResponseVariance::of_power(2.0)});
//   const auto read = back_calculate(*fit, 0.84, 2);      // the mean of two wells
//   if (read.reach == Reach::on_curve) use(read.concentration, read.lower, read.upper);

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "condition/response_variance.hpp"

namespace backeddy::condition {

/// How many parameters: five has an asymmetry besides.
enum class LogisticKind : std::uint8_t { four, five };

/// response = at_infinity + (at_zero - at_infinity) / (1 + k (x / half)^slope)^asymmetry,
/// k = 2^(1 / asymmetry) - 1, so that half way is at `half` whatever the asymmetry. With asymmetry 1 the
/// four-parameter curve (Finney 1976, Biometrics 32:721; Rodbard 1974, Clin Chem 20:1255), else that of five
/// (Gottschalk and Dunn 2005, Anal Biochem 343:54, whose C is half / k^(1/slope)); all from memory.
struct LogisticCurve {
    double at_zero = 0.0;     ///< response without analyte
    double at_infinity = 0.0; ///< response at the greatest concentrations; above or below at_zero
    double half = 1.0;        ///< concentration of the response half way between them, > 0
    double slope = 1.0;       ///< > 0 whether the curve rises or falls
    double asymmetry = 1.0;   ///< > 0

    [[nodiscard]] bool rises() const { return at_infinity > at_zero; }
    /// Of a concentration >= 0.
    [[nodiscard]] double response(double concentration) const;
    /// Nothing at or beyond either asymptote: no concentration has that response.
    [[nodiscard]] std::optional<double> concentration(double response) const;
};

/// The curve's parameters as they are fitted, and the order of every gradient and covariance: at_zero,
/// at_infinity, ln half, ln slope, ln asymmetry (the last held at 0, with no variance, by four).
inline constexpr std::size_t logistic_parameters = 5;
using LogisticGradient = std::array<double, logistic_parameters>;

struct LogisticOptions {
    LogisticKind kind = LogisticKind::four;
    /// How the variance of a response goes with its mean; only the shape counts, the size comes from the
    /// residuals. Weights are 1 / variance(curve), curve and weights in turn until they agree (Carroll and
    /// Ruppert 1988, Transformation and weighting in regression, section 2.2; memory). Powers 0 to 4; without
    /// a floor all responses must be above 0.
    ResponseVariance variance;
    /// Weights of your own, one per response, > 0, proportional to 1 / variance, used instead of the curve's:
    /// only their ratios count. `variance` then only says how noisy later responses are, beside standards
    /// whose weights are on the average (of logarithms) those of it. Empty: none.
    std::span<const double> weights;
};

struct LogisticFit {
    LogisticCurve curve;
    LogisticKind kind = LogisticKind::four;
    std::vector<double> covariance; ///< row by row, 5 x 5: residual variance times (J'WJ)^-1
    double residual_sd = 0.0;       ///< of a response of weight 1
    double sd_scale = 1.0; ///< 1 by the curve's weights; brings weights of your own to those of `variance`
    ResponseVariance variance_shape;
    std::vector<double> mean_log_gradient; ///< of the shape, over the standards
    std::size_t n = 0;
    std::size_t freedom = 0;       ///< n less 4 or 5
    double residual_squares = 0.0; ///< weighted
    double log_likelihood = 0.0;   ///< normal, the variance at its maximum
    /// Of the parameters and the variance; nothing for n <= parameters + 2 (Hurvich and Tsai 1989, Biometrika
    /// 76:297).
    std::optional<double> aicc;
    double lowest = 0.0; ///< standard above 0: nothing below it is given a number
    double highest = 0.0;

    /// Standard deviation of one response whose mean is `response`:
    /// residual_sd sd_scale sqrt(variance_shape(response)). It holds what of the standards' scatter the curve
    /// does not explain, pipetting and lack of fit included.
    [[nodiscard]] double response_sd(double response) const;
    /// Degrees of freedom of that variance (JCGM 100:2008, G.4, on its logarithm): those of the fit, and
    /// fewer the less the shape is known there beside its mean over the standards.
    [[nodiscard]] double response_freedom(double response) const;
    /// How the response moves with each parameter.
    [[nodiscard]] LogisticGradient gradient(double concentration) const;
    /// Variance of a sum of parameters with these weights.
    [[nodiscard]] double variance(const LogisticGradient& weights) const;
};

/// (Weighted) least squares from several starts, the least squares kept wherever they lie. Concentrations >=
/// 0 (0: a zero standard) in any order, as many responses, rising or falling. Fails with
///   out_of_range    unequal lengths; a value not finite, a concentration below 0, a weight or power not as
///   it
///                   may be; a response not above 0 where the power is,
///   too_few         fewer different concentrations than parameters, or not more responses than these,
///   degenerate      responses all alike, or that follow the concentration no better than a flat line (F at
///                   0.001, a choice: of 300 simulated plates without any dose response none passed);
///                   or standards that do not fix the curve: half-way
///                   concentration a thousandfold outside the standards, slope or asymmetry 20 or 1/20, each
///                   to 1 %, or with a standard error as wide (of the logarithm), or one parameter that does
///                   what the others can (their derivatives in one plane, to 1e-6), or under two standards
///                   over 1 % of the way from either asymptote,
///   not_converged   curve and weights do not settle.
[[nodiscard]] Expected<LogisticFit> fit_logistic(std::span<const double> concentrations,
                                                 std::span<const double> responses,
                                                 const LogisticOptions& options = {});

/// Where a response lies, in concentration: of a falling curve a high response is below.
enum class Reach : std::uint8_t { on_curve, below, above };

/// A concentration read back. Beyond the standards there is none: concentration, log_se and limits are then
/// NaN, and `reach` says why; below fit.lowest or above fit.highest is all that is known.
struct BackCalculated {
    Reach reach = Reach::on_curve;
    double concentration = 0.0;
    double log_se = 0.0; ///< standard error of ln concentration, about the relative one
    double lower =
        0.0; ///< may lie beyond the standards, where it rests on the curve's form; 0: none is known
    double upper = 0.0;               ///< likewise; infinite: none is known
    double freedom = 0.0;             ///< of log_se
    double response_freedom = 0.0;    ///< of response_variance
    LogisticGradient by_parameters{}; ///< of ln concentration
    double response_variance = 0.0;   ///< of ln concentration, from the response alone
};

/// The scatter of these replicates themselves, for wells that lie further apart than the curve's noise has
/// it.
struct OwnScatter {
    double sd = 0.0;      ///< of one response, > 0
    double freedom = 1.0; ///< >= 1
};

/// The concentration of the mean of `replicates` (> 0) responses. Its standard error is that of the delta
/// method on the logarithm (JCGM 100:2008, eq. 13),
///   var ln x = g' V g + sd(y)^2 / replicates / (dy / d ln x)^2,   g = -(dy/dparameters) / (dy / d ln x).
/// Its interval holds the concentrations whose response on the curve does not differ from the one read,
///   |y - f(x)| <= sqrt(t^2 f_p(x)' V f_p(x) + u^2 sd(f(x))^2 / replicates),
/// t of the fit's freedom, u of response_freedom(y), the same where the shape of the noise counts as known
/// (inversion of a test, as Fieller's for a line: Seber and Wild 1989, Nonlinear regression, section 5.9.2;
/// O'Connell, Belanger and Haaland 1993, Chemom Intell Lab Syst 20:97; memory; two t in quadrature: choice);
/// it is not symmetric and open where the curve is too flat to end it. It was preferred since it holds the
/// truth more often near the lowest and the highest standard; docs/methods.md has the shares.
///
/// With scatter of its own, s of n - 1 degrees of freedom, s^2 stands for sd^2 everywhere, u of n - 1 degrees
/// of freedom: by the response alone the t interval of its wells. Freedom is that of both parts (JCGM
/// 100:2008, G.4).
[[nodiscard]] BackCalculated back_calculate(const LogisticFit& fit, double response, std::size_t replicates,
                                            double level = 0.95, const std::optional<OwnScatter>& own = {});
/// The same without asking whether it lies among the standards, for the recovery of standards themselves and
/// for limits of detection; nothing at or beyond an asymptote.
[[nodiscard]] std::optional<BackCalculated> invert(const LogisticFit& fit, double response,
                                                   std::size_t replicates, double level = 0.95,
                                                   const std::optional<OwnScatter>& own = {});

/// A weighted sum of logarithms of concentrations read from one curve: they share the curve's errors, the
/// responses' own are independent.
struct LogSum {
    double value = 0.0;
    double se = 0.0;
    LogisticGradient by_parameters{};
    double response_variance = 0.0;
};
/// Of concentrations that are there (not beyond), as many weights.
[[nodiscard]] LogSum combine_logs(const LogisticFit& fit, std::span<const BackCalculated> read,
                                  std::span<const double> weights);

} // namespace backeddy::condition
