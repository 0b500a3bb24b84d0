#pragma once
// Start here: what a fish's blood, fins and fate say of its condition. This header is an assay plate, from
// the responses of its wells to concentrations that know how unsure they are.
//
//   std::vector<Well> wells = ...;                       // plate_well.hpp: what stands where, and its
//   response const auto plate = evaluate_plate(wells);            // or an Error that names the well for
//   (const auto& sample : plate->samples) {
//       if (sample.concentration) use(sample.concentration->value, sample.concentration->lower);
//       else tell(sample.beyond);                        // "below 0.78": beyond the curve, never a number
//   }
//
//   logistic_curve.hpp   the standard curve, and concentrations read from it
//   plate_noise.hpp      how the scatter of replicates grows with the response
//   plate_precision.hpp  a control's precision over several plates
//   blood.hpp, meter.hpp                      analytes in one unit each, handheld meters set right
//   fins.hpp, reflexes.hpp, handling.hpp      scores of the body, and how long it was handled
//   fate.hpp                                  dead or alive, between which looks

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "condition/logistic_curve.hpp"
#include "condition/plate_well.hpp"
#include "stats/estimate.hpp"

namespace backeddy::condition {

enum class CurveChoice : std::uint8_t {
    four,
    five,
    lower_aicc, ///< five where its AICc is lower by over 2 (choice)
};

struct PlateSettings {
    std::size_t rows = 8;
    std::size_t columns = 12;
    CurveChoice curve = CurveChoice::four; ///< five parameters on six standards follow their noise
    /// The variance of a response goes with this power of it. Nothing: a floor, counting and a share of the
    /// response, as the plate's replicates have them (fit_response_noise()); with under `least_noise_freedom`
    /// degrees of freedom `usual_variance_power`.
    std::optional<double> variance_power;
    double usual_variance_power = 1.5;    ///< between counts (1) and a constant CV (2): choice, no source
    std::size_t least_noise_freedom = 10; ///< choice, no source
    /// Take the mean of the blanks off responses where they are shown and in their CV. No concentration
    /// depends on it: both asymptotes are fitted, and weights go by the responses as read.
    bool subtract_blank = true;
    double most_response_cv = 0.15; ///< of replicate wells: common practice, no source
    /// Replicates lie further apart than the plate's noise where F of their variance over the curve's is
    /// beyond this share of chance: their interval then carries their own scatter. A choice.
    double scatter_level = 0.01;
    /// Standards read back from the curve, as a share of their concentration: 20 %, 25 % at both ends (ICH
    /// M10 guideline on bioanalytical method validation 2022, ligand binding assays; memory).
    double standard_recovery = 0.20;
    double end_standard_recovery = 0.25;
    double control_recovery = 0.20;         ///< ICH M10, likewise (memory)
    double spike_recovery = 0.20;           ///< common practice, no source
    double most_change_per_doubling = 0.10; ///< of a diluted sample's result: choice, no source
    double most_cv_over_dilutions = 0.20;   ///< Plikaytis and others 1994, J Clin Microbiol 32:2441; memory
    double detection_sds = 3.0;             ///< over the zero wells: common practice, no source
    double quantification_sds = 10.0;       ///< likewise; Currie 1968, Anal Chem 40:586 (memory)
    std::size_t least_zero_wells = 8; ///< fewer: their sd is that of the curve's residuals there; choice
    double level = 0.95;              ///< of all intervals
};

/// Replicate wells of one content, those that count.
struct Responses {
    std::vector<std::string> wells;
    std::size_t n = 0;
    double as_read = 0.0;     ///< mean
    double mean = 0.0;        ///< less the blank, where that is taken off
    std::optional<double> sd; ///< of two or more
    std::optional<double> cv; ///< of `mean`; nothing where that is not above 0
};

/// One concentration of the standards (0: the zero wells).
struct StandardLevel {
    double nominal = 0.0;
    Responses responses;
    std::optional<double> concentration; ///< read back from the curve; nothing beyond an asymptote, or at 0
    std::optional<double> recovery;      ///< concentration / nominal
    bool is_accepted = false;            ///< recovery and CV within their limits; false at 0
    std::vector<std::string> remarks;
};

/// A sample's, control's or spiked sample's, the dilution undone.
struct Concentration {
    double value = 0.0;
    double log_se = 0.0; ///< of ln value: about the relative standard error
    /// As BackCalculated's with one dilution, else by the delta method; where dilutions disagree at least
    /// over the intervals of each of them.
    double lower = 0.0;
    double upper = 0.0;
    double freedom = 0.0;
    LogisticGradient by_parameters{}; ///< of ln value: what it shares with others of the plate
    double response_variance = 0.0;   ///< of ln value, its own
};

/// Wells of one material at one dilution.
struct DilutionStep {
    double dilution = 1.0;
    Responses responses;
    BackCalculated read;       ///< in the plate's unit, the dilution not undone
    bool is_scattered = false; ///< further apart than the plate's noise: `read` is by their own scatter
    std::vector<double>
        of_wells; ///< concentrations well by well, the dilution undone; only those on the curve
};

/// A ratio to what it should be, 1 being that.
struct Recovery {
    double value = 0.0;
    double lower = 0.0;
    double upper = 0.0;
    bool is_accepted = false; ///< the value, not the interval
};

enum class Parallel : std::uint8_t { yes, no, undecided };

/// Whether a sample diluted further has the same result: the slope b of ln result on ln dilution is 0.
struct Parallelism {
    std::size_t dilutions = 0;        ///< on the curve, at least two
    double change_per_doubling = 0.0; ///< 2^b - 1
    double lower = 0.0;
    double upper = 0.0;
    double cv = 0.0; ///< of the results over the dilutions
    /// yes: the interval lies within the limit to both sides; no: it leaves out 0 and the change is beyond
    /// the limit; else undecided.
    Parallel verdict = Parallel::undecided;
};

enum class DoubtAbout : std::uint8_t { replicates, dilutions, recovery };

/// What a person must look at before the result is used; in the material's remarks too.
struct MaterialDoubt {
    DoubtAbout about = DoubtAbout::replicates;
    std::string words;
    std::string well; ///< the first of those concerned
};

struct Material {
    std::string label;
    std::vector<DilutionStep> steps; ///< by dilution, ascending
    std::optional<Concentration> concentration;
    std::string beyond;             ///< without one: "below 3.12", the dilution undone; else empty
    std::optional<double> expected; ///< of controls
    std::optional<double> added;    ///< of spiked samples
    std::optional<Recovery>
        recovery;            ///< of controls by what is expected, of spiked samples by what was added
    bool has_failed = false; ///< a control beyond the curve whose expected value lies on it: no recovery
    std::optional<Parallelism> parallelism;
    std::vector<std::string> remarks;
    std::vector<MaterialDoubt> doubts;
};

/// ln response less the mean of its replicates, as read: for a drawing of the plate.
struct WellResidual {
    std::size_t row = 0;
    std::size_t column = 0;
    bool is_outer = false;
    double residual = 0.0;
};

struct EdgeEffect {
    /// Response of outer wells over that of inner ones, less 1, with its interval. Only replicates that stand
    /// in both can tell: ln response on its group and on being outer, weights 1 / variance of ln response.
    std::optional<stats::Estimate> difference;
    std::string why_none;
    std::vector<WellResidual> residuals;
};

struct DetectionLimit {
    std::string definition;
    double response = 0.0; ///< as read
    std::optional<double>
        concentration; ///< undiluted; below the lowest standard it rests on the curve's form
    std::string why_none;
};

/// What the plate can tell from nothing.
struct DetectionLimits {
    std::vector<DetectionLimit> by_zero_wells; ///< empty without zero wells: `why_none`
    std::string why_none;
    /// The ends of the longest row of accepted standards without a refused one between them (of equals the
    /// lower): there numbers were shown to come back. Results outside are given, with a remark.
    std::optional<double> quantified_from;
    std::optional<double> quantified_to;
};

/// Root mean square of the CVs of replicates, each counting by its degrees of freedom (for duplicates
/// sqrt(sum of cv^2 / their number); Bland and Altman 1996, Br Med J 313:106, memory, on logarithms).
struct PooledCv {
    double cv = 0.0;
    std::size_t groups = 0;
    std::size_t freedom = 0;
};

struct PlateResult {
    LogisticFit curve;               ///< of the responses as read
    std::optional<LogisticFit> four; ///< both as far as they could be fitted, for their AICc
    /// With a variance power above 0 its likelihood and AICc are those of five at the weights of four's
    /// curve, so that the two compare (none where five cannot be fitted at those).
    std::optional<LogisticFit> five;
    std::string why_no_five;
    std::string noise_from; ///< how the variance goes with the response y, and by what, in words
    std::optional<double> blank;
    std::vector<StandardLevel> standards; ///< by concentration, ascending
    std::vector<Material> samples;        ///< in order of their first well, as are the next two
    std::vector<Material> controls;
    std::vector<Material> spikes;
    EdgeEffect edge;
    DetectionLimits limits;
    std::optional<PooledCv> response_cv;      ///< of all replicated samples, controls and spikes, less blank
    std::optional<PooledCv> concentration_cv; ///< intra-assay: of those whose wells are all on the curve
    std::vector<std::string> excluded;        ///< "C7: bubble"
    std::vector<std::string> remarks;
};

/// Of the 95 % intervals of single samples in duplicate 93 to 97 % held the truth at every place between the
/// standards, up to 98 % where they are open on one side (4,000 simulated plates a case; docs/methods.md,
/// Assay plates).
///
/// Wells in any order; those not given are empty. Replicates of one label, kind and dilution are taken
/// together by their mean response; a sample's dilutions by the mean of their logarithms, weighted by
/// 1 / variance of the responses. Dilutions disagree where they are not parallel or their results have a CV
/// over the limit: the error is then times the Birge ratio sqrt(Q / (n - 1)) where that is above 1, Q the
/// squares of their logarithms about the mean, each over its variance (Birge 1932, Phys Rev 40:207; memory),
/// and the interval reaches over those of all dilutions (choice). Fails, naming the well, with
///   out_of_range   a place outside the plate, a standard not above 0, a dilution or spike not above 0, a
///                  response that is negative or no number (in an excluded well it is not read),
///   duplicate      a well twice,
///   unknown_name   a control, sample or spiked sample without a label,
///   bad_relation   one label with two expected values, or with two amounts added,
///   too_few        no standards; or as fit_logistic, whose other errors come through too.
[[nodiscard]] Expected<PlateResult> evaluate_plate(std::span<const Well> wells,
                                                   const PlateSettings& settings = {});

} // namespace backeddy::condition
