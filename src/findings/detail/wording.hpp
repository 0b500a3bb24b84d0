#pragma once
// Numbers of a model to numbers of a finding, and the sentence about them.

#include <string>
#include <vector>

#include "findings/finding.hpp"
#include "stats/estimate.hpp"
#include "stats/interval.hpp"

namespace backeddy::findings::detail {

/// What effects are in and how a model's scale comes to it: ratios of whatever kind are exponentials.
struct Scale {
    EffectScale scale = EffectScale::difference;
    std::string unit; ///< of a difference

    [[nodiscard]] bool is_ratio() const { return scale != EffectScale::difference; }
};

/// The estimate on the finding's scale. Infinite limits become none; a value that is not finite becomes none,
/// with a reason.
[[nodiscard]] FoundNumber found(const stats::Estimate& estimate, const Scale& scale);
/// A number that is on its scale already.
[[nodiscard]] FoundNumber found(std::string name, double value, const stats::Interval& interval, double p,
                                std::string unit);

/// "12.4 mg/kg/h (95 % interval 3.1 to 21.7)".
[[nodiscard]] std::string with_interval(const FoundNumber& number);
/// "p = 0.031", "p < 0.001".
[[nodiscard]] std::string p_text(double p);
/// So many significant digits that the interval's width shows two.
[[nodiscard]] std::string rounded(double value, const FoundNumber& like);
/// A limit, with as many digits as keep it apart from "no difference": 0.73 is not 1.
[[nodiscard]] std::string limit_text(double limit, const FoundNumber& number, double none);
/// "5.36", "more than 1000": a ratio that stands by itself.
[[nodiscard]] std::string ratio_text(double ratio);

/// What is said of the outcome and of the two that are compared.
struct EffectWords {
    std::string outcome;   ///< "peak after capture"
    std::string higher_in; ///< "with treble_hooks", or "for each degC more of temperature_c"
    std::string than;      ///< "with single_hook"; empty for a slope
    bool is_time = false;  ///< "as long", "longer" rather than "as high", "higher"
    std::string where;     ///< "In the same 21 fish,", "Across 24 fish,"
};

/// One sentence: which way and how much where the interval excludes no difference; otherwise that both
/// directions remain, and what the interval excludes. Never that there is no effect.
[[nodiscard]] std::string effect_sentence(const FoundNumber& effect, EffectScale scale,
                                          const EffectWords& words);

} // namespace backeddy::findings::detail
