#pragma once
// Fins and body: scores on a scale of the study's own words, one index a fish, and whether two scorers agree.
//
//   const OrdinalScale scale{{"whole", "frayed edge", "split", "part missing"}};   // 0, 1, 2, 3
//   level_of(scale, "split");                               // 2
//   const auto index = fin_index(scores, scale);            // of seven rayed fins, by default
//   index->mean;  index->missing;  index->words;
//   scorer_agreement(twice, scale)->kappa.value;
//
// Eyes, scale loss and whatever else a study scores are levels on scales of their own, read by level_of().
//
// A level is a place in an order: the mean and the sum of levels take its steps for equal, which nobody has
// shown. Models for scores (stats/proportional_odds.hpp) do without that.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "stats/agreement.hpp"
#include "stats/counts.hpp"
#include "stats/interval.hpp"

namespace backeddy::condition {

/// Levels in words, from unhurt (0) to worst; at least two, no two alike.
struct OrdinalScale {
    std::vector<std::string> levels;
};

/// The level that `text` names, by its word (case does not matter) or its number from 0; by words alone on a
/// scale any of whose words is a number. Fails with
/// unknown_name (with a near one) or bad_setting (the scale).
[[nodiscard]] Expected<std::size_t> level_of(const OrdinalScale& scale, std::string_view text);

enum class Fin : std::uint8_t {
    dorsal,
    caudal,
    anal,
    left_pectoral,
    right_pectoral,
    left_pelvic,
    right_pelvic,
    adipose,
};
/// "dorsal", "left pectoral" ...
[[nodiscard]] std::string_view name_of(Fin fin);

/// The seven with rays, which are scored by default (Hoyle and others 2007, Aquaculture 270:142;
/// from memory). The adipose fin has none, and is often clipped as a mark.
inline constexpr std::array rayed_fins{Fin::dorsal,        Fin::caudal,         Fin::anal,
                                       Fin::left_pectoral, Fin::right_pectoral, Fin::left_pelvic,
                                       Fin::right_pelvic};

/// When a fish was scored: what holding did is the difference of two occasions of the same fish.
enum class Occasion : std::uint8_t { landing, before_holding, after_holding };

/// One fin on one occasion by one scorer. Nothing: not looked at, which is not "no".
struct FinScore {
    Fin fin = Fin::dorsal;
    std::optional<std::size_t> level;
    std::optional<bool> is_split;
    std::optional<bool> is_frayed;
    std::optional<bool> has_net_marks;
};

/// Where scales are lost, scored area by area on a scale of its own.
enum class BodyArea : std::uint8_t { head, back, left_flank, right_flank, belly, tail };
struct BodyScore {
    BodyArea area = BodyArea::head;
    std::optional<std::size_t> level;
};
[[nodiscard]] std::string_view name_of(BodyArea area);

enum class HookPlace : std::uint8_t {
    upper_jaw,
    lower_jaw,
    jaw_corner,
    roof_of_mouth,
    tongue,
    gills,
    gullet,
    eye,
    outside, ///< anywhere on the body: foul-hooked
};
/// Gills, gullet or tongue root: the places that kill most (Muoneke and Childress 1994, Rev Fish Sci 2:123;
/// from memory). The tongue counts, since a sheet does not say how far back.
[[nodiscard]] bool is_deep(HookPlace place);

/// At the hook wound.
enum class Bleeding : std::uint8_t { none, slight, moderate, heavy };

/// All scored places of one fish together.
struct ScoreIndex {
    std::size_t scored = 0;
    std::vector<std::string> missing; ///< of the places asked for
    std::optional<double> mean;       ///< of what was scored; nothing when that is too little
    std::optional<std::size_t> sum;   ///< only when nothing is missing: sums of fewer are smaller
    std::optional<std::size_t> worst; ///< of what was scored, however little
    std::string words;                ///< what is missing, and whether too much; else empty
};

struct FinOptions {
    std::vector<Fin> fins{rayed_fins.begin(), rayed_fins.end()};
    std::size_t least = 5; ///< scored fins that a mean wants (our choice)
};

/// Scores in any order; a fin that is not asked for (the adipose) does not count. Fails with duplicate (a fin
/// scored twice), out_of_range (a level that is not on the scale) or bad_setting (no fin; `least` of 0 or
/// more than there are; the scale).
[[nodiscard]] Expected<ScoreIndex> fin_index(std::span<const FinScore> scores, const OrdinalScale& scale,
                                             const FinOptions& options = {});
/// The same of scale loss, over the areas given.
[[nodiscard]] Expected<ScoreIndex> scale_loss_index(std::span<const BodyScore> scores,
                                                    const OrdinalScale& scale,
                                                    std::span<const BodyArea> areas, std::size_t least);

/// How many fins have it, of those looked at for it.
struct FinMarks {
    stats::Share split;
    stats::Share frayed;
    stats::Share net_marks;
};
[[nodiscard]] FinMarks fin_marks(std::span<const FinScore> scores);

/// Later less earlier, fin by fin, for fins scored both times: steps of the scale, above 0 worse.
struct FinChange {
    Fin fin = Fin::dorsal;
    int steps = 0;
};
[[nodiscard]] std::vector<FinChange> fin_changes(std::span<const FinScore> earlier,
                                                 std::span<const FinScore> later);

// ---- two scorers

/// The same fin (or area) of the same fish on the same occasion by both; nothing where one did not score it.
struct ScoredTwice {
    std::string fish;
    std::optional<std::size_t> first;
    std::optional<std::size_t> second;
};

struct ScorerOptions {
    stats::KappaWeights weights = stats::KappaWeights::quadratic;
    double level = 0.95;
    std::size_t draws = 2000;
    std::uint64_t seed = 1;
};

struct ScorerAgreement {
    stats::Kappa kappa;       ///< its error and interval take every pair for independent
    std::size_t fish = 0;     ///< with at least one pair
    std::size_t left_out = 0; ///< pairs that only one scored
    std::size_t same = 0;     ///< pairs in which both gave the same level
    /// Of the kappa, by drawing whole fish, since the fins of one fish resemble each other (percentiles;
    /// Efron 1979, Ann Stat 7:1). Nothing where fewer than five fish were scored, where both agreed
    /// throughout, or where over a tenth of the draws had no kappa.
    std::optional<stats::Interval> interval;
    std::string words; ///< where fish are few, or there is no interval: what to make of it; else empty
};

/// Cohen's weighted kappa (stats/agreement.hpp) over all pairs. Reproducible by its seed. Fails as
/// stats::weighted_kappa() does, and with bad_setting (scale, draws under 100).
[[nodiscard]] Expected<ScorerAgreement> scorer_agreement(std::span<const ScoredTwice> pairs,
                                                         const OrdinalScale& scale,
                                                         const ScorerOptions& options = {});

} // namespace backeddy::condition
