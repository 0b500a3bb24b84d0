#pragma once
// Start here: one stay of one fish (or of a blank) in one chamber -> the uptake of each of its sealed spells.
//
//   StayInput input{.stay = "s07", .slices = {{.trace = &trace, .first_row = a, .end_row = b, .chamber =
//   tube}},
//                   .roles = {{StayRole::after_capture, from, to}}, .fish = FishBody{...}};
//   auto stay = stay_uptake(input);           // or an Error that says why the stay cannot be computed
//
// Order of work for a study: (1) blank stays, without noise models; blank_points() of each; (2)
// sensor_noise() per sensor from noise_stretches() of blanks and long spells; (3) all stays, with noise,
// blanks and cleanings. Everything is plain values; nothing is remembered between calls.

#include <cstddef>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "quantity/measured.hpp"
#include "series/instant.hpp"
#include "uptake/background.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/convert.hpp"
#include "uptake/mo2.hpp"
#include "uptake/role.hpp"
#include "uptake/sealed.hpp"
#include "uptake/sensor_noise.hpp"
#include "uptake/spell.hpp"
#include "uptake/spell_uptake.hpp"
#include "uptake/states.hpp"

namespace backeddy::uptake {

/// One row of the assemblies' table, as far as uptake needs it.
struct ChamberPhysics {
    Measured volume_l; ///< chamber + loop; contribution "volume:<assembly>"
    double sensor_lag_s = 0.0;
    double mixing_s = 0.0;
};

/// A part of the stay: rows of one trace while one sensor and one assembly row hold. A sensor swap starts
/// another slice, and no slope crosses it. Pointers must outlive the call.
struct StaySlice {
    const ChamberTrace* trace = nullptr;
    std::size_t first_row = 0;
    std::size_t end_row = 0; ///< one past the last
    ChamberPhysics chamber;
    OxygenBudget oxygen;
    std::optional<fit::NoiseModel> noise; ///< of the sensor, mg/L and seconds
    StateInputs states;
};

enum class DecisionAct : std::uint8_t { exclude, include, mark, move_start, move_end, note };

/// A human act. It names a moment inside the sealed spell that it means, so that re-found states do not move
/// it.
struct SpellDecision {
    DecisionAct act = DecisionAct::note;
    Instant moment;
    /// For move_start, move_end: the first/last reading to use. Outside the sealed spell (in a flush) it is
    /// refused, and the spell's own bound stays.
    Instant moved_to;
    Mark mark = Mark::doubtful; ///< for mark
    std::string reason;
    std::string author;

    friend bool operator==(const SpellDecision&, const SpellDecision&) = default;
};

/// Something that happened to a chamber. Inside a sealed spell it spoils the spell: see StayInput::acts.
struct ChamberAct {
    Instant at;
    Duration uncertainty;       ///< standard, as stated for it; 0: none was
    Mark mark = Mark::unusable; ///< what is left of the spell at best
    Reason reason;              ///< "opened_inside" and what is said of it, up to the time

    friend bool operator==(const ChamberAct&, const ChamberAct&) = default;
};

struct StaySettings {
    SettleSettings settle;
    std::map<StayRole, Duration> fixed_settle; ///< of a role: instead of the rule
    bool model_lag_when_fast =
        true;                ///< carry the sensor's transient in the fit after capture, chase, handling
    double gap_factor = 5.0; ///< see longest_step()
    Duration least_gap = Duration::seconds(10.0);
    /// Set aside at either end of a sealed spell whose states were found in the trace, beside settle: twice
    /// the found boundary's error, at least this (choice).
    Duration found_margin = Duration::seconds(3.0);
    MarkLimits marks;
    BackgroundSettings background;
};

struct StayInput {
    std::string stay;
    std::vector<StaySlice> slices;   ///< ascending, not overlapping
    std::vector<RoleInterval> roles; ///< ascending; spells are cut at their bounds, rows outside are not used
    std::optional<FishBody> fish;    ///< nothing: a blank or a leak test
    std::optional<Instant> last_good; ///< readings after it make a spell unusable
    std::vector<Blank> blanks;        ///< of the whole study; the right ones are picked
    std::vector<Instant> cleanings;   ///< of this assembly
    /// Acts on this chamber while the stay lasted. One between the closing of a spell and its last reading
    /// (or between bounds moved by hand) gives it the act's mark; one that only its uncertainty brings there
    /// makes it doubtful.
    std::vector<ChamberAct> acts;
    std::vector<SpellDecision> decisions;
    StaySettings settings;
};

/// One sealed spell's answer with what peak and drawings need to go back to its readings.
struct SealedSpell {
    StayRole role = StayRole::rest;
    std::size_t slice = 0;
    std::size_t first_row = 0; ///< rows used, of the slice's trace
    std::size_t end_row = 0;
    SpellUptake answer;
    Measured water_volume_l;
    Measured scale{
        1.0}; ///< factor on the slope: 1 with the errors of calibration, temperature, salinity, pressure
    std::optional<double> background_share; ///< of the total uptake
    std::vector<std::string> blanks;        ///< ids that made the background
    Mark mark_by_machine = Mark::good;      ///< before human decisions
    bool is_excluded_by_hand = false;
};

/// A state run of the stay, for drawing and for the report.
struct StayState {
    std::size_t slice = 0;
    StateRun run;
};

struct StayUptake {
    std::vector<SealedSpell> spells; ///< ascending; also the unusable ones, with their reasons
    /// Sealed spells that gave no line at all (fewer than three readings left after settle), and why.
    struct Lost {
        Instant from;
        Instant to;
        Reason reason;
    };
    std::vector<Lost> lost;
    std::vector<StayState> states; ///< flush, settle, sealed
    StatesFrom states_from = StatesFrom::nothing;
    std::vector<FoundBoundary> found;
    std::string background_how;                       ///< one sentence, "" for a blank
    std::vector<std::string> notes;                   ///< in words, each once
    std::vector<std::size_t> decisions_without_spell; ///< indices into the input's decisions
    /// A move_start or move_end that was not followed, or that left nothing of its spell.
    struct RefusedMove {
        std::size_t decision = 0; ///< index into the input's decisions
        Instant sealed_from;      ///< the spell it names
        Instant sealed_to;
        bool leaves_nothing = false; ///< the start is not before the end: the spell is lost
    };
    std::vector<RefusedMove> refused_moves;
};

/// Fails when the stay cannot be computed: no slice or role, fish larger than its chamber, an asked-for
/// source of states that is not there, columns of unequal length. A spell that cannot be used is no failure.
[[nodiscard]] Expected<StayUptake> stay_uptake(const StayInput& input);

/// Only when the chamber was flushed, settling and sealed: `states`, `states_from`, `found`, `notes`,
/// `decisions_without_spell` and `refused_moves` as stay_uptake() gives them; no slopes. Fails as it does.
[[nodiscard]] Expected<StayUptake> stay_states(const StayInput& input);

/// What noise_stretches() asks of a stay, before any noise is known, and no more: spells with their rows,
/// plain slopes, marks and those of their reasons that readings alone give; no uptake. Fails as
/// stay_uptake() does.
[[nodiscard]] Expected<StayUptake> stay_for_noise(const StayInput& input);

/// A blank stay as points of the background: the mean of its usable spells' slopes (weighted by their errors;
/// the error is that of the weights or of the scatter between spells, whichever is larger), one point per
/// `part` of time. `id` of a point is the stay's, with "/1", "/2" ... when there are several. Nothing when no
/// spell is usable.
[[nodiscard]] std::vector<Blank> blank_points(const StayInput& input, const StayUptake& result,
                                              Duration part = Duration::hours(3.0));

/// The stretches of a stay that serve sensor_noise(), with the slice they belong to (for its sensor). Views
/// point into the input's traces. The same of stay_for_noise() as of stay_uptake() without a noise model.
struct StayStretch {
    std::size_t slice = 0;
    NoiseStretch stretch;
};
[[nodiscard]] std::vector<StayStretch> noise_stretches(const StayInput& input, const StayUptake& result);

/// Readings used by one spell, as views into the input's traces.
[[nodiscard]] SealedView readings_of(const StayInput& input, const SealedSpell& spell);

} // namespace backeddy::uptake
