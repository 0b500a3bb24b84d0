#pragma once
// Shares and counts: of hooked fish landed, of fish dead within a day, of bites per rod-hour; few, and often
// none.
//
//   const auto landed = proportion({.count = 18, .of = 30});            // landed->exact, landed->score
//   const auto by_rig = difference_of_shares({18, 30}, {7, 32});        // first less second
//   const auto rates = ratio_of_rates({11, 80.0}, {21, 301.0});         // counts over rod-hours
//   const auto verdict = judge_shares({18, 30}, {17, 30}, {.value = 0.15});
//   verdict->words;                                                     // what it shows, and what not

#include <cstdint>
#include <optional>
#include <string>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/interval.hpp"

namespace backeddy::stats {

/// So many of so many. At most a million.
struct Share {
    std::uint64_t count = 0;
    std::uint64_t of = 0;

    [[nodiscard]] double value() const { return static_cast<double>(count) / static_cast<double>(of); }
};

struct Proportion {
    double value = 0.0;
    Interval exact; ///< Clopper and Pearson (1934, Biometrika 26:404): covers at least as often as it says
    Interval score; ///< Wilson (1927, J Am Stat Assoc 22:209): shorter, covers as often on average
};

/// All functions here fail with out_of_range (a count above its whole, more than a million, an exposure not
/// finite or not above 0), too_few (of none) or bad_setting (level), and with what each says besides.
[[nodiscard]] Expected<Proportion> proportion(Share share, double level = 0.95);

/// Is the share another than `share_expected`, within (0, 1)? Exact; two-sided: all outcomes at most as
/// likely as the one seen, 1e-7 of slack for rounding.
[[nodiscard]] Expected<Tails> binomial_test(Share share, double share_expected);

struct DifferenceOfShares {
    double value = 0.0; ///< first less second
    Interval interval;  ///< Newcombe's
    Interval score;     ///< Miettinen and Nurminen's: better where one limit alone counts
};
/// Newcombe's from both shares' score intervals (1998, Stat Med 17:873, method 10); Miettinen and Nurminen's
/// are the differences that the score test does not reject, both shares fitted under that difference (1985,
/// Stat Med 4:213).
[[nodiscard]] Expected<DifferenceOfShares> difference_of_shares(Share first, Share second,
                                                                double level = 0.95);

struct RatioOfShares {
    double value = 0.0; ///< first over second (relative risk); infinite when the second has none
    Interval interval;  ///< by the score, with counts of 0 too
    /// Normal on the log scale (Katz et al. 1978, Biometrics 34:469). Nothing when a count is 0 or the
    /// whole, of which the formula has a variance of 0.
    std::optional<Interval> log_interval;
};
/// Score limits: ratios that the chi-squared of the two shares, fitted under that ratio, does not reject
/// (Koopman 1984, Biometrics 40:513). Fails with degenerate when both counts are 0.
[[nodiscard]] Expected<RatioOfShares> ratio_of_shares(Share first, Share second, double level = 0.95);

struct OddsRatio {
    double value = 0.0;                   ///< of the counts as they are; infinite where it divides by 0
    std::optional<Interval> log_interval; ///< Woolf 1955 (Ann Hum Genet 19:251); nothing when a count is 0
    double conditional = 0.0; ///< maximum likelihood given both margins; 0 or infinite at their ends
    Interval exact;           ///< given both margins (Cornfield 1956; Gart 1970, Biometrika 57:471)
    Tails p;                  ///< Fisher's exact test
};
/// Odds of the first over odds of the second, and Fisher's exact test (1935, J R Stat Soc 98:39), two-sided
/// by all tables at most as likely as the one seen, 1e-7 of slack for rounding. To 1e-10. Fails with
/// degenerate when all or none in both groups were counted.
[[nodiscard]] Expected<OddsRatio> odds_ratio(Share first, Share second, double level = 0.95);

struct McNemar {
    Tails p;            ///< exact; greater: the first kind of change is the more frequent
    double mid_p = 0.0; ///< two-sided, half of the probability of what was seen left out: less conservative
    double odds_ratio = 0.0; ///< first changes over second; infinite when there is no second
    Interval interval;       ///< exact, from Clopper and Pearson's
};
/// Pairs that changed one way (`first_only`) against pairs that changed the other (McNemar 1947,
/// Psychometrika 12:153; mid-p: Lancaster 1961, J Am Stat Assoc 56:223). Pairs without a change say nothing.
/// Fails with degenerate when no pair changed.
[[nodiscard]] Expected<McNemar> mcnemar(std::uint64_t first_only, std::uint64_t second_only,
                                        double level = 0.95);

/// So many in so much: bites in rod-hours.
struct Counted {
    std::uint64_t count = 0;
    double exposure = 0.0;

    [[nodiscard]] double rate() const { return static_cast<double>(count) / exposure; }
};

struct RateEstimate {
    double value = 0.0;
    Interval interval;
};
/// Of a Poisson count, exact (Garwood 1936, Biometrika 28:437).
[[nodiscard]] Expected<RateEstimate> rate_of(Counted counted, double level = 0.95);

struct RatioOfRates {
    double value = 0.0; ///< first over second; infinite when the second has none
    Interval interval;  ///< exact, from Clopper and Pearson's for the first's share of the sum
    std::optional<Interval> log_interval; ///< normal on the log scale; nothing when a count is 0
    Tails p;                              ///< exact; two-sided by outcomes at most as likely
    double twice_smaller = 0.0;           ///< the other usual two-sided p
    double mid_p = 0.0;                   ///< the same less the probability of what was seen
};
/// Two Poisson counts given their sum (Przyborowski and Wilenski 1940, Biometrika 31:313); p of the ratio
/// being `ratio_expected` (> 0). Counts that vary more than Poisson's (days, shoals) need a model with day as
/// random: here they make p too small. Fails with degenerate when both counts are 0.
[[nodiscard]] Expected<RatioOfRates> ratio_of_rates(Counted first, Counted second,
                                                    double ratio_expected = 1.0, double level = 0.95);

/// Which way is good.
enum class Better : std::uint8_t { higher, lower };

/// How much worse is still acceptable; declared before the results are seen.
struct Margin {
    /// Of a difference: the largest acceptable loss, above 0. Of a ratio: the last acceptable ratio, between
    /// 0 and 1 when higher is better, above 1 when lower is.
    double value = 0.0;
    Better better = Better::higher;
    double level = 0.975; ///< one-sided
};

enum class Shown : std::uint8_t {
    better,       ///< better at all, and so not worse by the margin
    not_worse,    ///< not worse by the margin
    little_worse, ///< worse, by less than the margin
    worse,        ///< worse by more than the margin
    nothing,      ///< neither: too few
};

struct NonInferiority {
    double estimate = 0.0;
    double limit = 0.0;       ///< one-sided, on the bad side
    double other_limit = 0.0; ///< one-sided, on the good side
    double bound = 0.0;       ///< what the limit has to keep clear of: -margin, +margin, or the ratio
    Shown shown = Shown::nothing;
    std::string words; ///< one sentence
    [[nodiscard]] bool is_non_inferior() const {
        return shown == Shown::better || shown == Shown::not_worse || shown == Shown::little_worse;
    }
};

/// Of a new way less the reference: shares by Miettinen and Nurminen's limit (Newcombe's errs on one side: up
/// to 5 % at 97.5 %), ratio of shares by Koopman's, rates by the exact one, means by t. Non-inferior when the
/// one-sided limit keeps clear of the margin (ICH E9 1998, section 3.3.2). A way that is worse by exactly the
/// margin is cleared at 97.5 % in at most 3.3 % by difference and 4.1 % by ratio of shares at 8 fish a group,
/// 2.6 and 2.8 % at 60 (margins 0.2 and 0.75, all outcomes summed). Fails besides with bad_setting: a margin
/// on the wrong side.
[[nodiscard]] Expected<NonInferiority> judge_shares(Share of_new, Share of_reference, const Margin& margin);
[[nodiscard]] Expected<NonInferiority> judge_share_ratio(Share of_new, Share of_reference,
                                                         const Margin& margin);
[[nodiscard]] Expected<NonInferiority> judge_rates(Counted of_new, Counted of_reference,
                                                   const Margin& margin);
[[nodiscard]] Expected<NonInferiority> judge_difference(const Estimate& new_less_reference,
                                                        const Margin& margin);
/// By limits that were made elsewhere, each one-sided at the margin's level; infinite where there is none.
[[nodiscard]] Expected<NonInferiority> judge_interval(double difference, const Interval& limits,
                                                      const Margin& margin);

} // namespace backeddy::stats
