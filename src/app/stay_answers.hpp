#pragma once
// Every stay of the study -> the uptake of its sealed spells: blanks first, then each sensor's noise, then
// the fish.

#include <compare>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "app/chambers.hpp"
#include "study/weighing.hpp"
#include "uptake/stay_uptake.hpp"

namespace backeddy::app {

/// What was computed of a stay. It never changes, so copies share it; whoever computes anew makes another.
class ComputedStay {
  public:
    ComputedStay(Expected<uptake::StayUptake> outcome)
        : kept_(std::make_shared<const Expected<uptake::StayUptake>>(std::move(outcome))) {}

    [[nodiscard]] explicit operator bool() const { return kept_->has_value(); }
    [[nodiscard]] const uptake::StayUptake& operator*() const { return **kept_; }
    [[nodiscard]] const uptake::StayUptake* operator->() const { return &**kept_; }
    [[nodiscard]] const Error& error() const { return kept_->error(); }
    /// Another one each time something was computed: what was made of this very outcome need not be made
    /// again.
    [[nodiscard]] std::shared_ptr<const void> made() const { return kept_; }

  private:
    std::shared_ptr<const Expected<uptake::StayUptake>> kept_;
};

/// One stay with what went in and what came out.
struct StayAnswer {
    const study::Stay* stay = nullptr;
    const study::Fish* fish = nullptr; ///< nothing for a blank
    std::optional<study::MassAt> mass; ///< which of its weighings holds; nothing: not weighed
    uptake::StayInput input;
    std::vector<const Chamber*> slices;      ///< of input.slices
    std::vector<study::Decision> on_spells;  ///< of input.decisions, in the same order
    std::vector<study::Decision> whole_stay; ///< decisions without a moment: they mean every spell
    ComputedStay uptake;
    std::vector<uptake::StayStretch> for_noise; ///< what it tells of its sensors' noise
    Duration blank_part = Duration::hours(3.0); ///< of a blank: it is cut into points of this length
    /// Which season's [noise] holds for it; empty: the study's.
    std::string noise_season;
    uptake::NoiseSettings noise_settings;
};

/// A sensor's noise is estimated over all stays for which the same [noise] holds.
struct NoiseKey {
    std::string sensor;
    std::string season; ///< empty: the study's own settings
    friend auto operator<=>(const NoiseKey&, const NoiseKey&) = default;
};

struct StayAnswers {
    std::vector<StayAnswer> list; ///< in the order of study.tables.stays
    std::map<NoiseKey, uptake::SensorNoise> noise;
    std::map<NoiseKey, std::string> no_noise; ///< why there is no model
    std::vector<uptake::Blank> blanks;
};

/// The uptake of one stay from its input, decisions about the whole stay applied.
[[nodiscard]] Expected<uptake::StayUptake> compute_stay(const StayAnswer& answer);

/// Decisions that name a moment in no sealed spell, as warnings at their rows: nobody else would notice that
/// they did nothing.
[[nodiscard]] std::vector<study::Complaint> unheard_decisions(std::span<const StayAnswer> stays);

/// Decisions that move a bound of a spell into a flush, which are not followed, or past its other bound,
/// which leaves nothing: warnings at their rows.
[[nodiscard]] std::vector<study::Complaint> refused_moves(std::span<const StayAnswer> stays);

/// A stay that cannot be computed holds the reason; the others go on. `chambers` must outlive the result.
[[nodiscard]] StayAnswers answer_stays(const Study& study, const Chambers& chambers, Threads threads,
                                       const Progress& progress);

/// The same stays with their states only (uptake::stay_states), quickly: what `check` shows before a run.
[[nodiscard]] std::vector<StayAnswer> look_at_states(const Study& study, const Chambers& chambers,
                                                     Threads threads);

/// The same after study.tables.decisions has changed, and nothing else: what the new decisions do not touch
/// (by their stay, by the noise of its sensor, by a blank) is left as it is. Bit for bit what answer_stays
/// gives. Returns, of each stay, whether it was computed anew.
[[nodiscard]] std::vector<bool> answer_stays_again(const Study& study, StayAnswers& stays, Threads threads,
                                                   const Progress& progress);

/// Whether a stay carries a human act that changes numbers.
[[nodiscard]] bool has_human_acts(const StayAnswer& stay);

/// The same stays with human acts undone.
struct Undone {
    StayAnswers stays;
    std::vector<bool> is_changed; ///< of each stay: computed anew
};

/// Human acts undone, in blanks and in the sensors' noise too, for the numbers "without human exclusions":
/// bit for bit what a study without decisions.csv gives.
[[nodiscard]] Undone without_human_acts(const StayAnswers& stays, Threads threads);

} // namespace backeddy::app
