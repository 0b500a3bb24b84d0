#pragma once
// What the sheets of a fish's condition and its assay plates come to, fish by fish: blood with its road back,
// scores, reflexes, handling, fate. results_condition.cpp writes it into the document,
// detail/observed_fish.cpp into what questions are put to.

#include <optional>
#include <string>
#include <vector>

#include "app/plate_answers.hpp"
#include "app/study.hpp"
#include "condition/blood.hpp"
#include "condition/fate.hpp"
#include "condition/fins.hpp"
#include "condition/handling.hpp"
#include "condition/reflexes.hpp"
#include "study/condition_sheets.hpp"
#include "study/handling.hpp"

namespace backeddy::app {

/// One analyte of one draw, typed or from one plate.
struct BloodValue {
    condition::Analyte analyte = condition::Analyte::cortisol;
    condition::Matrix matrix = condition::Matrix::plasma;
    condition::Haemolysis haemolysis = condition::Haemolysis::not_said;
    condition::Determined determined;        ///< in the usual unit
    std::optional<stats::Interval> interval; ///< of a plate's: curve and replicates, 95 %
    std::optional<double> response_cv;       ///< of a plate's replicate wells, where they are of one dilution
    std::string as_written;                  ///< "43 mg/dL", where that is another unit
    std::string device;
    std::string sample;
    std::string plate;
    std::vector<std::string> wells;
    std::string from;
    std::vector<std::string> doubts; ///< why not to trust it before it was looked at; in findings too
};

/// Blood, or other matter, taken at one moment.
struct DrawAnswer {
    Instant at;
    bool is_blood = true; ///< no: mucus, water, faeces ... only
    std::optional<double> volume_ml;
    std::optional<double> mass_kg;
    condition::DrawTimes times;
    std::optional<double> drawn_ml_per_kg; ///< with all before it that still count towards the ceiling
    std::optional<double> ceiling_ml_per_kg;
    std::optional<bool> is_over_ceiling; ///< nothing: no ceiling, or nobody can know (`notes` say why)
    std::string who;
    std::vector<BloodValue> values; ///< of one analyte and matrix the one that counts first
    std::vector<std::string> notes;

    /// Nullptr: the analyte was not measured in such matter.
    [[nodiscard]] const BloodValue* find(condition::Analyte analyte, condition::Matrix matrix) const;
};

struct FinAnswer {
    study::FinLook look;
    Expected<condition::ScoreIndex> index;
};
struct BodyAnswer {
    study::BodyLook look;
    Expected<condition::ScoreIndex> index; ///< of scale loss
};
struct ReflexAnswer {
    study::ReflexLook look;
    Expected<condition::ReflexImpairment> impairment;
};

struct FateAnswer {
    condition::Fate fate;
    std::vector<std::string> tags;   ///< "external T-bar 0412"
    std::vector<std::string> doubts; ///< with their rows
};

struct FishCondition {
    std::vector<DrawAnswer> draws;        ///< by time
    std::vector<condition::Draw> volumes; ///< of blood, those that are known, of rows left out too
    std::vector<FinAnswer> fins;          ///< by occasion, scorer and time
    std::vector<BodyAnswer> body;
    std::vector<ReflexAnswer> reflexes;    ///< by time
    std::vector<study::Handling> handling; ///< encounter by encounter; points into the study's tables
    std::optional<FateAnswer> fate;        ///< nothing: no record tells of it
    std::vector<std::string> reminders;
    std::vector<std::string> doubts;
};

struct ConditionAnswers {
    bool has_any = false;            ///< some sheet of condition holds a row
    study::ConditionSheets sheets;   ///< the rows that count
    std::vector<FishCondition> fish; ///< in the order of study.tables.fish
};

/// `study` must outlive the answers.
[[nodiscard]] ConditionAnswers answer_condition(const Study& study, const PlateAnswers& plates);

/// When the fish was first caught or collected: its first hook-up, else its first landing, else the first
/// time of encounters.csv. Nothing: nobody wrote that down.
[[nodiscard]] std::optional<Instant> caught_at(const FishCondition& fish);

/// The first draw of blood with a value after the fish was caught and before it was first chased; nullptr:
/// there is none.
[[nodiscard]] const DrawAnswer* first_draw(const FishCondition& fish);

/// The first look at its fins at landing; nullptr: nobody scored them then.
[[nodiscard]] const FinAnswer* at_landing(const FishCondition& fish);

} // namespace backeddy::app
