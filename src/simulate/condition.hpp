#pragma once
// The condition of a season's fish: what their blood held when it was drawn, how their fins and body looked,
// which reflexes they had lost, and what became of them. The truth first, and beside it what people saw of
// it. Drawn from random streams of its own: the season and its readings are the same with it and without.

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "simulate/season.hpp"

namespace backeddy::simulate {

/// What is wrong with the plan of the condition: a fish that there is not, a plate with no room for its
/// samples. Its place is for the caller to fill in.
[[nodiscard]] std::optional<Error> check_condition(const SimulationPlan& plan);

/// One fish's draw, and the true values in it.
struct BloodDraw {
    double drawn_s = 0.0;
    double volume_ml = 0.0;
    double cortisol_ng_per_ml = 0.0;
    double lactate_mmol_per_l = 0.0;
    double glucose_mmol_per_l = 0.0;
    double haematocrit_percent = 0.0;
};

/// One sample by the laboratory and by the meter, mmol/L.
struct MeterReading {
    double laboratory = 0.0;
    double meter = 0.0;
};

constexpr std::size_t rayed_fins = 7;
using FinLevels = std::array<int, rayed_fins>; ///< 0 unhurt to 3; in the order of fin_names
[[nodiscard]] const std::array<std::string, rayed_fins>& fin_names();

/// One person's scores of one fish's fins.
struct FinLook {
    std::string occasion; ///< "landing", "before_holding", "after_holding"
    double at_s = 0.0;
    FinLevels truth{};
    std::vector<FinLevels> scored; ///< by scorer; those beyond its end did not look
};

/// One fish's body, as the first scorer wrote it: levels 0 to 3.
struct BodyLook {
    double at_s = 0.0;
    int scales = 0;       ///< lost, all over
    int flank = 0;        ///< of the left flank, that lay in the net
    int bleeding = 0;     ///< at the hook's wound
    bool has_eyes = true; ///< they were looked at: nothing wrong with them
};

struct ReflexLook {
    double at_s = 0.0;
    std::vector<bool> is_lost; ///< by test; the truth, also of one that was forgotten
    std::optional<std::size_t> untested;
};

/// A row of fates.csv.
struct FateRow {
    double at_s = 0.0;
    std::string what;
    std::optional<double> last_alive_s;
    std::string stage;
    std::string cause;
    std::string tag_type;
    std::string tag_serial;
    std::string tag_place;
    std::string note;
};

struct FishFate {
    std::vector<FateRow> rows;
    std::string ending; ///< "alive", "lost", "dead": what its rows amount to
    std::optional<double> died_s;
    std::optional<double> last_alive_s; ///< of dead: the last look at the live fish
    std::optional<double> found_dead_s;
    std::optional<double> released_s;
};

struct Condition {
    std::vector<double> response; ///< of each fish, about 1: how hard the event was on it
    std::vector<BloodDraw> blood; ///< of each fish, as are the next four; empty without [blood] ...
    std::vector<std::vector<FinLook>> fins;
    std::vector<BodyLook> body;
    std::vector<ReflexLook> reflexes;
    std::vector<FishFate> fates;
    std::vector<std::vector<MeterReading>> pairs;    ///< of each [[meter]]: its calibration
    std::vector<std::vector<double>> meter_readings; ///< of each [[meter]]: mmol/L of each fish's draw
};

[[nodiscard]] Condition lay_out_condition(const SimulationPlan& plan, const Season& season,
                                          std::uint64_t seed);

/// "F01-P": the tube with the plasma of a fish's draw.
[[nodiscard]] std::string plasma_tube(const SimulatedFish& fish);

/// When the fish left its last tube: it is then released, or goes into the pen. Nothing of one that died
/// before the chase.
[[nodiscard]] std::optional<double> out_of_last_tube_s(const Season& season, const SimulatedFish& fish);

/// Whether the plan keeps the fish (by index) in a pen, so that its release is told by fates.csv alone.
[[nodiscard]] bool is_held(const SimulationPlan& plan, std::size_t fish);

} // namespace backeddy::simulate
