#pragma once
// Any model with coefficients: its comparisons of groups or its slope, what it says of each group, the curve.

#include <functional>
#include <limits>
#include <optional>
#include <string>

#include "findings/detail/frame.hpp"
#include "findings/detail/wording.hpp"
#include "stats/generalised.hpp"
#include "stats/interval.hpp"
#include "stats/means.hpp"
#include "stats/terms.hpp"

namespace backeddy::findings::detail {

struct EffectModel {
    const stats::Design& design;
    stats::ContrastTest contrast;
    Scale scale; ///< of comparisons
    /// From the model's scale to the outcome's own: a logarithm to grams, log odds to a share. Nothing where
    /// a model says nothing of single groups (ordered scores).
    std::function<double(double)> response;
    std::string response_unit;
};

/// Fills effects, groups, curves and the sentence; for two groups or a slope judges the margin. Comparisons
/// of more than two groups are corrected by Tukey's range, and the method says so.
void add_effects(const Frame& frame, const EffectModel& model, Finding& out);

/// The sentence about the first effect, as it stands.
void say_effect(const Frame& frame, Finding& out);

/// Limits of a coefficient, by its column of the design; nothing where there are none.
using LimitsOf = std::function<std::optional<stats::Interval>(std::size_t column)>;

/// Where there is one effect and it is one coefficient: the likelihood's own limits and p in place of Wald's,
/// which are too short where rows are few.
void take_likelihood(const Frame& frame, const stats::Design& design, const LimitsOf& limits_of,
                     const std::vector<stats::TermChiSquared>& tests, Finding& out);

/// The same by draws of bootstrap_term(): p, and the limits where the likelihood ratio is what chance exceeds
/// in 5 % of draws. `few` is what there are too few of for chi-squared ("6 levels of a random group"). Says
/// so where chance could not be simulated; false then, and where the effects are several, which stay as they
/// were.
bool take_simulated(const Frame& frame, const stats::Design& design,
                    const Expected<stats::TermBootstrap>& simulated, const std::string& few,
                    const LimitsOf& limits_of, Finding& out);

/// The place of `compare` among a design's terms, alone; nothing where it only stands in an interaction.
[[nodiscard]] std::optional<std::size_t> own_term(const Frame& frame, const stats::Design& design);

/// The place of the one coefficient that the effect is; nothing where it is several, or stands in an
/// interaction.
[[nodiscard]] std::optional<std::size_t> own_column(const Frame& frame, const stats::Design& design);

/// The coefficients as a table shows them.
void add_coefficients(const std::vector<stats::Estimate>& coefficients, const Scale& scale, Finding& out);

/// Likelihood-ratio tests of whole terms, as sentences.
void add_likelihood_tests(const std::vector<stats::TermChiSquared>& tests, Finding& out);

/// Of coefficients by a design's columns; the covariance may go on beyond them.
[[nodiscard]] stats::ContrastTest contrast_of(std::vector<double> values, std::vector<double> covariance,
                                              double freedom = std::numeric_limits<double>::infinity());

/// compare, adjust_for, and random groups that have become fixed, as a model's terms.
[[nodiscard]] stats::Terms fixed_terms(const Frame& frame, const std::vector<std::string>& more = {});

/// "peak = rig + log(mass_g) + (day)".
[[nodiscard]] std::string model_text(const std::string& outcome, const stats::Terms& fixed,
                                     const std::vector<study::QuestionRandom>& random);

/// Random groups that are worth a variance of their own; those with fewer than four levels become fixed terms
/// (into `fixed`), those with one are left away; warnings say so.
[[nodiscard]] std::vector<study::QuestionRandom> random_groups(const Frame& frame,
                                                               std::vector<std::string>& fixed, Finding& out);

} // namespace backeddy::findings::detail
