#pragma once
// What a simulation brief asks for of a fish's condition: blood, handheld meters, assay plates, fins,
// reflexes, fates. A section that the brief does not have leaves its sheets out of the study. All numbers are
// invented, of the size that published salmonids have.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace backeddy::simulate {

/// How an analyte stands after an event: resting + rise * (1 - exp(-minutes since hook-up / minutes)), the
/// rise times the fish's own response. In the analyte's unit.
struct AnalytePlan {
    double resting = 0.0;
    double rise = 0.0;
    double minutes = 20.0;
};

/// [blood]; fish by number from 1, 0 for none.
struct BloodPlan {
    AnalytePlan cortisol{.resting = 9.0, .rise = 120.0, .minutes = 25.0};  ///< ng/mL
    AnalytePlan lactate{.resting = 0.9, .rise = 6.5, .minutes = 18.0};     ///< mmol/L
    AnalytePlan glucose{.resting = 4.4, .rise = 2.4, .minutes = 50.0};     ///< mmol/L
    AnalytePlan haematocrit{.resting = 33.0, .rise = 5.5, .minutes = 8.0}; ///< %
    double fight_share_per_min = 0.07; ///< by how much each minute of fight beyond the rig's mean adds
    double air_share_per_min = 0.25;
    double between_fish_share = 0.28;        ///< sd of the logarithm of a fish's response
    double volume_ml_per_kg = 0.9;           ///< aimed at
    std::optional<double> ceiling_ml_per_kg; ///< of the study's permit
    int haemolysed_fish = 0;
    int low_fish = 0; ///< its cortisol is low_ng_per_ml
    double low_ng_per_ml = 0.8;
    int high_fish = 0;
    double high_ng_per_ml = 640.0;
};

enum class MeterAnalyte : std::uint8_t { lactate, glucose };

/// [[meter]]: reads offset + gain * truth, with an error of its own. Its calibration pairs are samples of
/// known kind that a laboratory measured too.
struct MeterPlan {
    std::string name;
    MeterAnalyte analyte = MeterAnalyte::lactate;
    double gain = 1.0;
    double offset = 0.0;       ///< mmol/L
    double error_sd = 0.2;     ///< mmol/L
    double reference_sd = 0.2; ///< mmol/L, of the laboratory
    int pairs = 24;
    double pairs_from = 0.5; ///< mmol/L
    double pairs_to = 16.0;
};

enum class ExportShape : std::uint8_t {
    grid, ///< twelve columns, semicolons, decimal comma, a few lines above
    list, ///< a well a line, tabs, decimal point
};

/// [[plate]]: one assay plate of cortisol. The signal falls with the concentration x (ng/mL in the well):
/// bottom + (top - bottom) / (1 + (x / middle)^slope).
struct PlatePlan {
    std::string name;
    ExportShape shape = ExportShape::grid;
    double top = 2.1;
    double bottom = 0.09;
    double middle_ng_per_ml = 2.5;
    double slope = 1.15;
    double noise_share = 0.02; ///< sd of a well of response 1
    double noise_power = 0.75; ///< the sd goes with this power of the response
    double edge_percent = 0.0; ///< by how much wells of the outer rows and columns read higher
    std::vector<double> standards_ng_per_ml{20, 10, 5, 2.5, 1.25, 0.625, 0.3125}; ///< at most eight
    int bad_standard = 0;    ///< which of them was mispipetted, from 1; 0: none
    double bad_factor = 1.6; ///< how much of what it should hold it holds
    double dilution = 20.0;  ///< of all samples
    double control_low_ng_per_ml = 30.0;
    double control_high_ng_per_ml = 180.0;
    double spike_ng_per_ml = 60.0;
};

/// [fins]: fins, and the body beside. Levels 0 to 3; severities are in levels, before they are rounded.
struct FinPlan {
    std::vector<std::string> scorers{"scorer A", "scorer B"};
    int both_every = 3; ///< every so manieth fish is scored by all of them; 0: none
    double severity = 0.75;
    double between_fish_sd = 0.35;
    double between_fins_sd = 0.5;
    double holding = 0.3;          ///< what a night adds
    double misjudged_share = 0.12; ///< of scores, one level off
    double bleeding_share = 0.25;  ///< of hook wounds, of a rig and unhooking of injury_factor 1
};

/// [reflexes]
struct ReflexPlan {
    std::vector<std::string> tests{"righting", "tail grab", "body flex", "gill beat", "eye roll"};
    double lost_share = 0.14; ///< of a test, of a fish of response 1
    int untested_fish = 0;    ///< its last test was forgotten; 0: none
};

/// [fates]; fish by number from 1.
struct FatePlan {
    std::string tag_type = "anchor";
    std::vector<int> implanted; ///< carry a transmitter too
    std::vector<int> held;      ///< in a pen after the chase, before they are released
    double held_days = 3.0;
    double look_h = 12.0; ///< from one look into the pen to the next
    std::vector<int> dead_in_pen;
    std::vector<int> detected; ///< of the implanted
    std::vector<int> recaptured;
    std::vector<int> lost;    ///< nobody looks for them after watch_days
    double watch_days = 30.0; ///< after the release
};

} // namespace backeddy::simulate
