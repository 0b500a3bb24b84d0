#pragma once
// One function for each way of answering; answer.cpp chooses.

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "findings/detail/frame.hpp"
#include "findings/detail/wording.hpp"
#include "stats/generalised.hpp"

namespace backeddy::findings::detail {

/// Two levels within the same fish, nothing else asked: differences of pairs.
[[nodiscard]] bool is_paired(const Frame& frame);
void answer_paired(const Frame& frame, Finding& out);

/// Normal and log-normal outcomes: linear models, mixed ones where there are random terms.
void answer_linear(const Frame& frame, Finding& out);

/// A yes-or-no outcome by row; `yes` is the word that counts.
struct Successes {
    std::string yes;
    std::vector<bool> list;
};
[[nodiscard]] Expected<Successes> successes_of(const Frame& frame);
/// Counts by row, and what they were counted in (1 where the outcome has no exposure).
struct Counts {
    std::vector<double> counts;
    std::vector<double> exposures;
};
[[nodiscard]] Expected<Counts> counts_of(const Frame& frame);
/// "per rod_hours"; empty for counts without an exposure.
[[nodiscard]] std::string rate_unit(const Frame& frame);

/// Two groups and nothing else: exact methods.
[[nodiscard]] bool is_plain_shares(const Frame& frame);
void answer_plain_shares(const Frame& frame, Finding& out);
[[nodiscard]] bool is_plain_rates(const Frame& frame);
void answer_plain_rates(const Frame& frame, Finding& out);

/// Of a term, where chance is simulated: 20 of them lie beyond what 5 % exceed.
constexpr std::size_t bootstrap_draws = 400;
[[nodiscard]] stats::TermBootstrapOptions bootstrap_of(const Frame& frame);

/// Yes or no and counts otherwise: logistic, Poisson and negative binomial models, mixed ones where there are
/// random terms.
void answer_generalised(const Frame& frame, Finding& out);

/// What logistic, Poisson and negative binomial models share of a question.
struct GeneralisedRows {
    stats::Family family = stats::Family::binomial;
    std::vector<double> values; ///< 0 or 1, or counts
    std::vector<double> offset; ///< logarithm of the exposure; empty: none
    std::string what;           ///< "landed = yes", "bites per rod_hours"
    stats::Terms terms;         ///< fixed ones

    [[nodiscard]] bool is_binomial() const { return family == stats::Family::binomial; }
    [[nodiscard]] Scale scale() const {
        return {is_binomial() ? EffectScale::odds_ratio : EffectScale::ratio, ""};
    }
    /// From the linear predictor to a share or a rate.
    [[nodiscard]] double response(double predictor) const;
};
void answer_generalised_mixed(const Frame& frame, const GeneralisedRows& rows,
                              const std::vector<study::QuestionRandom>& random, Finding& out);

/// Ordered scores: proportional odds.
void answer_scores(const Frame& frame, Finding& out);

/// Whether of some outcome only limits are known.
[[nodiscard]] bool has_limits(const Frame& frame);
/// Such outcomes, and times: censored regression, accelerated failure time.
void answer_censored(const Frame& frame, Finding& out);
/// What stands beside a time: curves and medians by group, log-rank, proportional hazards.
void add_cox(const Frame& frame, Finding& out);

/// One row of a question about time: what came first, and when.
struct RowFate {
    double time = 0.0;
    std::optional<std::size_t> fate; ///< place in RowFates::names; nothing: only the looking ended
    std::size_t level = 0;           ///< of `compare`; 0 for a slope
    bool is_in_model = true; ///< false: of a row that takes no part since its ending is all that is known
};
struct RowFates {
    std::vector<std::string> names; ///< "came to it" first, then what competed with it, by the alphabet
    std::vector<RowFate> rows;

    [[nodiscard]] std::size_t count(std::size_t fate) const;
    [[nodiscard]] bool any_competed() const { return names.size() > 1; }
};
[[nodiscard]] RowFates fates_of(const Frame& frame);
/// Which fates competed and how many; where any did: shares by group, curves and medians in place of Kaplan
/// and Meier's, Gray's tests.
void add_fates(const Frame& frame, const RowFates& fates, Finding& out);
/// For an answer that knows nothing of time: whom it lacks since something kept it from coming.
void warn_of_fates(const Frame& frame, Finding& out);

/// How many fish show the effect wanted; nothing where the question wants none. Of so many pairs: `sd` of
/// their differences, on the model's scale (logarithms for ratios).
void plan_pairs(const Frame& frame, std::size_t pairs, double sd, Finding& out);
/// Of two groups by a linear or mixed model: `spreads` are its own, on its own scale.
void plan_groups(const Frame& frame, const std::vector<study::QuestionRandom>& random,
                 const std::vector<FoundNumber>& spreads, Finding& out);
/// Of two shares of so many: as they are seen, the reference first.
void plan_shares(const Frame& frame, double reference, const std::array<std::size_t, 2>& of, Finding& out);
/// Where the answer has no closed form for it: says so.
void plan_nothing(const Frame& frame, Finding& out);

/// What to do where values scatter unlike a normal distribution: "; ask with ...". Of values at or below 0 no
/// logarithm can be asked for.
[[nodiscard]] std::string advice_on_scatter(const Frame& frame, const char* ask_again);

/// Words shared by all: "across 24 fish", "in 131 spells of 22 fish".
[[nodiscard]] std::string where_text(const Frame& frame);
/// "treble_hooks" against "single_hook", or "for each unit of x more".
[[nodiscard]] EffectWords effect_words(const Frame& frame, const std::string& level,
                                       const std::string& reference);
/// Answers that failed.
void give_up(Finding& out, const Error& error);
/// Judges a single effect, by the interval it is shown with, against the declared margin.
void judge_margin(const Frame& frame, Finding& out);

} // namespace backeddy::findings::detail
