#pragma once
// A question's answer, whole: what is printed, drawn and written, as plain values.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "study/declaration.hpp"

namespace backeddy::findings {

/// What an effect is measured in.
enum class EffectScale : std::uint8_t {
    difference,   ///< in the outcome's unit; 0 is no difference
    ratio,        ///< of (geometric) means, rates or times; 1 is no difference
    odds_ratio,   ///< 1 is no difference
    hazard_ratio, ///< 1 is no difference
};
[[nodiscard]] double no_difference(EffectScale scale); ///< 0 or 1

/// One number of a finding with its 95 % interval. Limits may be infinite (none is known).
struct FoundNumber {
    std::string name;            ///< "treble_hooks against single_hook"; "single_hook"; "log(mass_g)"
    std::optional<double> value; ///< nothing: see `reason`
    std::string reason;          ///< why there is no value
    std::optional<double> se;    ///< of ratios: of the logarithm
    std::optional<double> lower;
    std::optional<double> upper;
    std::optional<double> freedom;     ///< degrees of freedom of its t; nothing: normal or exact
    std::optional<double> p;           ///< two-sided, of no difference
    std::optional<double> p_corrected; ///< within the question's own comparisons and its family of tests
    std::string unit;
    bool is_ratio = false; ///< of two of a kind: 1 is no difference, and its texts end at largest_told_ratio
    std::string method;    ///< how interval and p were made, where it is not the finding's
};

/// A ratio beyond this, or below its inverse, says no more to anybody than that it is: texts say "more than
/// 1000", "less than 0.001"; the number itself stands in findings.csv and results.json.
inline constexpr double largest_told_ratio = 1000.0;

/// "12.4": two digits of the interval's width; the reason where there is no value.
[[nodiscard]] std::string value_text(const FoundNumber& number);
/// "3.1 to 21.7", "3.1 or more", "21.7 or less"; empty when neither limit is known.
[[nodiscard]] std::string interval_text(const FoundNumber& number);
/// "0.031", "< 0.001".
[[nodiscard]] std::string chance_text(double p);

/// A row as it is drawn.
struct FoundPoint {
    std::string row;
    std::string fish;
    std::string group;                 ///< level of `compare`; empty for a slope
    std::optional<double> x;           ///< value of `compare`, for a slope
    std::optional<double> value;       ///< the outcome; words of a score by their rank from 1
    std::optional<double> uncertainty; ///< standard
    std::optional<double> lower;       ///< of an outcome of which only limits are known
    std::optional<double> upper;       ///< nothing with `lower`: none is known
    std::optional<double> weight;      ///< trials or exposure, where rows are counts
};

/// A line through the points: what the model says at x, or a curve of those not yet recovered.
struct FoundCurve {
    std::string group;
    std::vector<double> x;
    std::vector<double> y;
    std::vector<double> lower;
    std::vector<double> upper;
};

struct FoundCheck {
    enum class Verdict : std::uint8_t { fine, look, doubtful };
    std::string name; ///< "residuals", "same spread", "proportional odds"
    Verdict verdict = Verdict::fine;
    std::string text; ///< what was seen and what to do
};

struct LeftOutRow {
    std::string row;
    std::string column; ///< in which it has no value
    std::string why;
};

/// Another way of asking the same, beside the answer: signed ranks beside a paired t.
struct FoundTest {
    std::string name;
    std::string text; ///< the result in words with its numbers
    std::optional<double> p;
};

/// Of those of one group who waited for an event: to how many this came, whichever was first.
struct FoundFate {
    std::string group; ///< level of `compare`; "all" for a slope
    std::string fate;  ///< "came to it", "died", "escaped", "withdrawn"
    std::size_t count = 0;
    std::size_t of = 0;
    FoundNumber share; ///< to which it has come by Finding::fates_until, from 0 to 1
};

/// How many fish would show an effect that somebody wants to see.
struct FoundSize {
    double power = 0.0; ///< 0.8, 0.9
    std::size_t n = 0;  ///< of what FoundPlan::counted says
};
struct FoundPlan {
    double effect = 0.0;           ///< as asked: a difference or a ratio
    std::optional<double> scatter; ///< standard deviation that it rests on; of ratios of the logarithm
    std::string counted;           ///< "pairs", "fish in each group"; empty where there is no number
    std::vector<FoundSize> sizes;  ///< none: `text` says why
    std::string text;
};

using study::Declared;

/// The headline of an answer in a variant of the data.
struct FoundVariant {
    std::size_t rows = 0;
    std::size_t fish = 0;
    std::vector<FoundNumber> effects; ///< as Finding::effects
    std::string unanswered;
    /// True when nothing of the data differs: the same rows and values.
    bool is_same = false;
};

struct Finding {
    // ---- the question
    std::string name;
    std::string ask;
    std::string outcome; ///< column
    std::string outcome_title;
    std::string outcome_unit;
    std::string compare; ///< column
    std::string within;
    std::vector<std::string> adjusted_for;
    std::vector<std::string> random;
    std::string family; ///< "normal", "binomial" ...
    std::string family_of_tests;
    std::string correction; ///< in words: of how many comparisons, by which rule
    Declared declared = Declared::never;
    std::string declared_text;

    // ---- the answer
    std::string sentence;   ///< one plain sentence with the effect and its interval
    std::string unanswered; ///< why there is no answer; empty when there is one
    EffectScale scale = EffectScale::difference;
    std::string model;                ///< "peak after capture = rig + log(mass_g) + (day) + rest"
    std::string method;               ///< how it was fitted, in a sentence
    std::vector<FoundNumber> effects; ///< comparisons of groups, or the slope; the first is the headline
    std::vector<FoundNumber> groups;  ///< what the model says of each group, on the outcome's own scale
    std::vector<FoundNumber> coefficients;
    std::vector<FoundNumber> spreads; ///< standard deviations between fish, days ..., and what is left
    std::vector<FoundTest> tests;     ///< of whole terms, and other ways beside
    std::vector<FoundCheck> checks;
    std::vector<std::string> warnings; ///< each with what to do
    std::optional<FoundPlan> plan;     ///< where the question says effect_wanted
    std::string fates_text; ///< of times: what kept fish from coming to it, how many, and what that does
    std::vector<FoundFate> fates;      ///< where something did: the event first; group by group
    std::optional<double> fates_until; ///< in the outcome's unit: until then three of each group still waited
    std::string margin_text;           ///< what is shown against the declared margin; empty without one

    // ---- the rows
    std::size_t rows = 0;
    std::size_t fish = 0;
    std::string row_noun;
    std::vector<std::string> levels; ///< of `compare`, the reference first
    std::vector<std::string> scores; ///< words of an ordered outcome, lowest first: what points' ranks mean
    std::vector<FoundPoint> points;
    std::vector<FoundCurve> curves;
    std::vector<LeftOutRow> left_out;

    std::optional<FoundVariant> without_human; ///< human exclusions undone; nothing when there are none
};

} // namespace backeddy::findings
