#pragma once
// Start here: open a study, check it, run it. The one place that `run`, and later the pages and the watch,
// call.
//
//   auto opened = open_study("my-study", {});            // brief, tables, raw files; complaints, never a
//   crash if (!study::stops_a_run(opened->complaints)) auto run = run_study(*opened, {}); write_results(*run,
//   "my-study/results");

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "app/condition_answers.hpp"
#include "app/continuous.hpp"
#include "app/plate_answers.hpp"
#include "app/progress.hpp"
#include "app/questions.hpp"
#include "app/raw_traces.hpp"
#include "app/result_folder.hpp"
#include "app/results.hpp"
#include "app/seen_states.hpp"
#include "app/study.hpp"
#include "findings/finding.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

struct Work {
    Threads threads{};
    Progress progress = [](std::string_view, std::size_t, std::size_t, std::string_view) {};
};

/// A study as read: nothing computed yet.
struct OpenedStudy {
    std::filesystem::path folder;
    Study study;
    std::vector<report::Input> tables; ///< brief and tables, as the report lists them
    RawTraces traces;
    PlateAnswers plates;
    std::vector<study::Complaint> complaints; ///< of all of it: causes first, by file and line
    std::vector<study::Complaint> beside;     ///< those of them that no table made: brief, raw files, plates
    std::size_t followers = 0; ///< complaints that only follow from a file that could not be read: left out
};

/// Reads everything. Fails only where there is no study to read (no folder, no study.toml); all else is a
/// complaint.
[[nodiscard]] Expected<OpenedStudy> open_study(const std::filesystem::path& folder, const Work& work);

/// What was understood and what is wrong, for a person: the text of `check`.
[[nodiscard]] std::string check_text(const OpenedStudy& opened, const SeenStates& states = {});

/// The study as it would be had nobody decided anything.
struct WithoutActs {
    StayAnswers stays;
    std::vector<FishAnswer> fish; ///< of these stays
};

/// Everything a run holds; `answers` refers to the other members.
struct StudyRun {
    Chambers chambers;
    StayAnswers stays;
    /// Human acts undone; nothing as long as there were none. No decision changes it.
    std::unique_ptr<WithoutActs> without;
    ConditionAnswers condition; ///< of the tables and plates alone: no decision changes it
    std::vector<FishAnswer> fish;
    Curves curves;                           ///< in the order of stays.list
    AskedBefore asked;                       ///< what need not be asked again
    std::vector<findings::Finding> findings; ///< of the brief's questions, in their order
    std::vector<study::Complaint> complaints;
    std::size_t followers = 0; ///< as in OpenedStudy, of all complaints
    std::unique_ptr<Answers> answers;
};

/// Computes the study. The raw streams of `opened` are freed on the way (their file list stays); `opened`
/// must outlive the result. Complaints that only computing can find (a channel that is not there) are in the
/// result.
[[nodiscard]] std::unique_ptr<StudyRun> run_study(OpenedStudy& opened, const Work& work);

/// Reads the tables again and takes over the decisions, when nothing else in the study has changed.
/// Complaints that stop a run are returned, and `opened` is as before.
[[nodiscard]] std::vector<study::Complaint> take_new_decisions(OpenedStudy& opened);

/// The answers after take_new_decisions: only what the decisions touch is computed anew. Bit for bit what
/// run_study gives.
void answer_again(OpenedStudy& opened, StudyRun& run, const Work& work);

/// A study with its answers; `run` refers to `opened`, so the two stay where they are.
struct AnsweredStudy {
    OpenedStudy opened;
    std::unique_ptr<StudyRun> run;
};

/// Why nothing was computed.
struct Refusal {
    std::vector<study::Complaint> complaints; ///< at least one of them stops a run
    std::size_t followers = 0;
};

/// One of the two: where `study` is empty, `refusal` says why.
struct Answering {
    std::unique_ptr<AnsweredStudy> study;
    Refusal refusal;
};

/// Reads a study and computes all of it. Fails as open_study does.
[[nodiscard]] Expected<Answering> answer_study(const std::filesystem::path& folder, bool hide_treatment,
                                               const Work& work);

/// The result set (app/result_set.hpp) into `folder`, all or nothing, and beside them `log` as run.log: the
/// only file that may hold the time of the run or a path of the machine. An empty log writes none.
[[nodiscard]] Expected<void> write_results(const StudyRun& run, const std::filesystem::path& folder,
                                           const std::string& log = {});

} // namespace backeddy::app
