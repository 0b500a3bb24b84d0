#pragma once
// The condition's parts of results_of(), one function a chapter.

#include <optional>
#include <vector>

#include "app/condition_answers.hpp"
#include "app/results.hpp"

namespace backeddy::app::detail {

[[nodiscard]] report::FishCondition condition_of(const Answers& answers, const FishAnswer& fish,
                                                 const FishCondition& condition);

/// `fish` as they are in the document already: their groups and peaks.
[[nodiscard]] report::StudyCondition study_condition_of(const Answers& answers,
                                                        const std::vector<report::Fish>& fish);

[[nodiscard]] report::AssayPlate plate_of(const PlateAnswer& plate, const study::ConditionSheets& sheets);
/// Of controls on two plates or more of one analyte and unit.
[[nodiscard]] std::vector<report::InterAssay> inter_assay_of(const PlateAnswers& plates);

/// Of every two people who scored the same fish on the same occasion.
[[nodiscard]] std::vector<report::ScorerAgreement> agreements_of(const study::Brief& brief,
                                                                 const ConditionAnswers& condition);
/// Deaths from capture over a day, and from the start of holding and from release over [fates] horizons_h; of
/// all fish and group by group. Nothing in a study in which nobody looked (no record of any fate).
void add_mortality(const Answers& answers, const std::vector<report::Fish>& fish,
                   report::StudyCondition& out);
/// What stays on of two tags of one kind, kind by kind, in words.
[[nodiscard]] std::vector<std::string> retention_words(const Study& study,
                                                       const study::ConditionSheets& sheets);
/// In order of first appearance.
[[nodiscard]] std::vector<std::string> groups_of(const std::vector<report::Fish>& fish);

/// "left_pectoral" as people say it: "left pectoral".
[[nodiscard]] std::string spaced(std::string word);
/// Of so much drawn before a peak; nothing where the fish was never weighed.
[[nodiscard]] std::optional<double> bled_before(const FishCondition& condition, const Study& study,
                                                const study::Fish& fish, Instant moment);

} // namespace backeddy::app::detail
