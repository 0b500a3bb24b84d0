#pragma once
// What the results document says of the fish's condition: blood, assay plates, fins, body, reflexes, handling
// and fate. results.hpp has it in Fish::condition and Results::condition.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "report/number.hpp"
#include "series/instant.hpp"

namespace backeddy::report {

// ---------------------------------------------------------------- blood

/// One analyte of one draw, in its usual unit.
struct BloodValue {
    std::string analyte;         ///< "cortisol"
    std::string matrix;          ///< "plasma"
    Number value;                ///< of a limit no number, its reason "below 3.1 ng/mL"
    std::optional<double> below; ///< what is known instead: the truth lies below, or above
    std::optional<double> above;
    std::string as_written; ///< "43 mg/dL", where that is another unit; else empty
    std::string device;
    std::string haemolysis; ///< "", "none", "slight", "marked"
    std::string sample;     ///< the tube's label
    std::string plate;      ///< the plate it was read from; empty: typed in blood.csv
    std::vector<std::string> wells;
    std::string
        from; ///< the road back: "blood.csv, line 12", "plate P1, wells C3 and C4; samples.csv, line 7"
    Number range_low; ///< published, of salmonids; no number for a matrix it does not hold for
    Number range_high;
    std::string range_source;
    bool is_outside_range = false;
    std::vector<std::string> notes;
    std::vector<std::string> doubts; ///< why to look at it before it is used
};

struct BloodDraw {
    std::optional<Instant> at;
    Number since_hook_up_min;
    Number since_sealed_min;
    Number volume_ml;
    Number ml_per_kg;                    ///< of this draw
    Number drawn_ml_per_kg;              ///< with all before it that still count
    Number ceiling_ml_per_kg;            ///< of the permit; no number: not set
    std::optional<bool> is_over_ceiling; ///< nothing: no ceiling, or not known (`notes` say why)
    /// The one that summaries, questions and the table by fish go by: the first with blood values after the
    /// capture, before a chase or another encounter; at most one of a fish.
    bool is_first_after_event = false;
    std::string who;
    std::vector<BloodValue> values;
    std::vector<std::string> notes;
};

// ---------------------------------------------------------------- fins, body, reflexes

/// A place on the fish with the level it was given.
struct ScoredPlace {
    std::string word;                   ///< "left_pectoral", "head", "left_eye", "hook_wound"
    std::string title;                  ///< "left pectoral"
    std::optional<std::uint64_t> level; ///< nothing: not scored
    std::string level_word;             ///< as the brief's scale has it
    std::vector<std::string> marks;     ///< "split", "frayed", "net marks"
};

/// Fins, or body, of one fish by one scorer on one occasion.
struct ScoredLook {
    std::string occasion; ///< "landing", "before_holding", "after_holding"
    std::string scorer;
    std::optional<Instant> at;
    std::vector<ScoredPlace> places;
    Number mean; ///< level, over the places of the settings
    Number sum;
    std::optional<std::uint64_t> worst;
    std::string note; ///< what is missing of it
};

struct ReflexLook {
    std::optional<Instant> at;
    std::vector<NamedText> tests; ///< name and "there", "lost" or "not tested"
    Number impaired_percent;      ///< lost of those tested
    Number can_be_low_percent;    ///< had the missing ones all been there, or all been lost
    Number can_be_high_percent;
};

// ---------------------------------------------------------------- handling and fate

struct HandlingTime {
    std::string word;  ///< "fight_s"
    std::string title; ///< "fight"
    Number by_events;
    Number typed;
    std::string disagreement; ///< in words; empty: none, or only one is there
};

/// What is known of its life: between which looks it died, if it did.
struct KnownFate {
    std::string ending; ///< "alive", "lost", "dead": when last heard of
    std::optional<Instant> last_alive;
    std::optional<Instant> found_dead;
    std::optional<Instant> lost;
    std::optional<Instant> released;
    std::string stage; ///< "play", "tube", ... where it died, was lost or was last written down
    std::string cause;
    std::vector<std::string> tags; ///< "external T-bar 0412"
    std::vector<std::string> doubts;
};

struct FishCondition {
    std::vector<BloodDraw> draws; ///< by time
    std::vector<ScoredLook> fins;
    std::vector<ScoredLook> body;
    std::vector<ReflexLook> reflexes;
    std::vector<HandlingTime> handling;
    std::vector<NamedNumber> bled_before; ///< mL/kg drawn before each peak, by its word: "peak_after_chase"
    std::optional<KnownFate> fate;        ///< nothing: no record tells of it
    std::vector<std::string> reminders;   ///< of the permit's end-points, at lost righting or heavy bleeding
    std::vector<std::string> doubts;      ///< times that contradict each other
};

// ---------------------------------------------------------------- assay plates

struct PlateWell {
    std::string name; ///< "C7"
    std::uint64_t row = 0;
    std::uint64_t column = 0;
    std::string kind;               ///< "standard", "zero", "blank", "control", "sample", "spiked", "empty"
    std::string label;              ///< of standards the concentration
    std::optional<double> response; ///< as read
    std::optional<double> residual; ///< ln response less the mean of its replicates
    std::string excluded;           ///< why it does not count
};

struct PlateStandard {
    double concentration = 0.0; ///< 0: the zero wells
    std::vector<std::string> wells;
    std::vector<double> responses; ///< as read, of wells that count
    Number response;               ///< mean, as read
    Number cv_percent;
    Number read_back;
    Number recovery_percent;
    bool is_accepted = false;
    std::vector<std::string> remarks;
};

struct PlateDilution {
    double dilution = 1.0;
    std::vector<std::string> wells;
    Number response; ///< mean, less the blank where that is taken off
    Number cv_percent;
    Number concentration; ///< the dilution undone; no number: beyond the curve
};

struct PlateMaterial {
    std::string kind; ///< "sample", "control", "spiked"
    std::string label;
    std::string fish; ///< of samples, by samples.csv
    std::vector<PlateDilution> dilutions;
    Number concentration; ///< the dilution undone; no number: "below 0.78", beyond the curve
    Number expected;      ///< of controls; of spiked samples what was added
    Number recovery_percent;
    std::optional<bool> is_accepted; ///< nothing: nothing to hold it against
    Number change_per_doubling_percent;
    std::string parallel; ///< "yes", "no", "undecided"; empty: fewer than three dilutions
    std::vector<std::string> remarks;
};

struct PlateResidual {
    double concentration = 0.0;
    double percent = 0.0; ///< response over the curve's, less 1
    std::string well;
};

struct PlateLimit {
    std::string definition;
    Number concentration;
};

struct AssayPlate {
    std::string id;
    std::string file;
    std::string analyte;
    std::string unit;
    std::optional<Instant> run_at;
    std::string who;
    std::string unanswered;              ///< why there are no numbers; empty when there are
    std::vector<std::string> understood; ///< of the file
    std::uint64_t rows = 8;
    std::uint64_t columns = 12;
    std::vector<PlateWell> wells;
    std::string curve_kind; ///< "four-parameter logistic"
    std::vector<NamedNumber> parameters;
    std::string weights; ///< where the variance's power came from, in words
    Curve curve;         ///< x concentration, y response, its 95 % band
    std::vector<PlateResidual> residuals;
    std::vector<PlateStandard> standards;
    std::vector<PlateMaterial> samples;
    std::vector<PlateMaterial> controls;
    std::vector<PlateMaterial> spikes;
    Number edge_percent;        ///< outer wells over inner ones, less 1; no number: why
    bool is_edge_clear = false; ///< its interval leaves out 0
    std::vector<PlateLimit> limits;
    Number quantified_from;
    Number quantified_to;
    Number blank;
    Number response_cv_percent;
    Number concentration_cv_percent; ///< intra-assay
    std::vector<std::string> excluded;
    std::vector<std::string> remarks;
};

/// One control over the plates of an analyte.
struct InterAssay {
    std::string analyte;
    std::string label;
    std::uint64_t plates = 0;
    std::uint64_t wells = 0;
    Number mean;
    Number cv_of_means_percent;
    Number within_percent;
    Number between_percent;
    Number total_percent;
    std::vector<std::string> left_out; ///< plates that bear it and do not count, each with why
};

// ---------------------------------------------------------------- the study

/// One analyte over the study's fish, group by group, at its first draw after the event. A
/// quantile is a number only where it is the same whatever the truth within the limits known.
struct AnalyteSummary {
    std::string analyte;
    std::string matrix;
    std::string group; ///< of Results::groups; "" with is_all: all fish
    bool is_all = false;
    std::uint64_t fish = 0;
    std::uint64_t below = 0; ///< of them only a limit is known
    std::uint64_t above = 0;
    Number median;
    Number lower_quartile;
    Number upper_quartile;
    Number minutes_since_hook_up; ///< median
};

/// Two people who scored the same fish.
struct ScorerAgreement {
    std::string of; ///< "fins", "body"
    std::string first;
    std::string second;
    std::uint64_t fish = 0;
    std::uint64_t pairs = 0;
    std::uint64_t same = 0;
    Number kappa; ///< quadratic weights; interval by drawing whole fish
    std::string note;
};

/// Dead within a horizon of those whose state was known.
struct MortalityRow {
    std::string from; ///< "from capture", "from the start of holding", "from release"
    double horizon_h = 0.0;
    std::string group; ///< "": all
    std::uint64_t dead = 0;
    std::uint64_t known = 0;
    std::uint64_t unknown = 0;
    Number percent;            ///< exact limits (Clopper and Pearson)
    Number can_be_low_percent; ///< the unknown all alive, all dead
    Number can_be_high_percent;
    Number corrected_percent; ///< what the treatment adds over the control; no number: why
    Number relative_risk; ///< share of dead over that of the control, or the first, of two; no number: why
};

/// How many fish of a group lost so many reflexes, or had such an index: for the figure, each fish a point.
struct ConditionPoint {
    std::string fish;
    std::string group;
    std::optional<double> fin_mean;
    std::optional<double> impaired_percent;
    std::optional<double> peak_after_capture; ///< mg/kg/h
    std::optional<double> recovery_h;
};

struct StudyCondition {
    bool has_any = false; ///< some sheet of condition holds a row
    std::vector<AssayPlate> plates;
    std::vector<InterAssay> inter_assay;
    std::vector<AnalyteSummary> analytes;
    std::vector<ScorerAgreement> agreements;
    std::vector<MortalityRow> mortality;
    std::vector<ConditionPoint> points;
    std::vector<std::string> fin_scale; ///< the levels in words, from unhurt
    std::vector<std::string> body_scale;
    std::vector<std::string> cautions; ///< blood, end-points
    std::vector<std::string> notes;
};

} // namespace backeddy::report
