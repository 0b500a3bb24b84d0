#pragma once
// Answers -> the results document (report/results.hpp).

#include <memory>
#include <string>
#include <vector>

#include "app/chambers.hpp"
#include "app/condition_answers.hpp"
#include "app/continuous.hpp"
#include "app/fish_answers.hpp"
#include "app/raw_traces.hpp"
#include "app/stay_answers.hpp"
#include "intake/tables.hpp"
#include "report/json.hpp"
#include "report/results.hpp"

namespace backeddy::app {

/// Everything a run has found, by reference. `without` is the same with human acts undone, or nothing when
/// there are none.
struct Answers {
    const Study& study;
    const std::vector<report::Input>& tables; ///< brief and tables as they were read
    const RawTraces& traces;
    const Chambers& chambers;
    const StayAnswers& stays;
    const PlateAnswers& plates;
    const ConditionAnswers& condition;
    const std::vector<FishAnswer>& fish;
    const Curves& curves; ///< as stays.list
    const std::vector<FishAnswer>* without = nullptr;
    const std::vector<findings::Finding>& findings;
    const std::vector<study::Complaint>& complaints;
    std::string program_version;
    Threads threads{}; ///< for the document: its fish and stays side by side
};

/// The document, with what its fish and blanks were made of (FishAnswer::made, ComputedStay::made), in their
/// order, and their texts in results.json as far as these were written.
struct Document {
    report::Results results;
    std::vector<std::shared_ptr<const void>> fish;
    std::vector<std::shared_ptr<const void>> blanks;
    report::PartTexts texts;
};

/// Takes over from an earlier document of the same study the fish and blanks of which nothing was computed
/// anew since.
[[nodiscard]] Document document_of(const Answers& answers, const Document* earlier);
[[nodiscard]] report::Results results_of(const Answers& answers);

/// A complaint as the report lists it.
[[nodiscard]] report::Complaint complaint_of(const study::Complaint& complaint);
/// One raw file as the report lists it.
[[nodiscard]] report::Input input_of(const RawFile& file);
/// Dialect and rows of a file in words; of each reason to refuse a row, the first so many rows whole.
[[nodiscard]] std::vector<std::string> understood_of(const RawFile& file, std::size_t refused_per_reason);
/// refused_rows.csv: every row that was refused of any raw file, with reason and text; empty when there is
/// none. Past intake::most_rows_listed of one file, stretches of lines stand for rows of one reason.
[[nodiscard]] std::string refused_rows_table(const RawTraces& traces);

} // namespace backeddy::app
