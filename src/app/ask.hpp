#pragma once
// A question that nobody has asked yet, put to the open study: nothing is written.
//
//   const auto study = desk.asked_study();              // a copy: whoever computes holds up nobody
//   askable_columns(*study);                            // what can be outcome, compared, adjusted for
//   try_question(*study, {.text = question_text(keys)}).finding->sentence;

#include <cstddef>
#include <functional>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

#include "app/questions.hpp"
#include "base/parallel.hpp"
#include "findings/finding.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"
#include "study/observed.hpp"
#include "study/question.hpp"

namespace backeddy::app {

struct StudyRun;

/// What of an answered study a question needs.
struct AskedStudy {
    QuestionRows rows;
    std::vector<study::Question> questions; ///< of the brief
    std::vector<findings::Finding> findings;
    study::Tables columns; ///< only which columns of their own the tables have
};

[[nodiscard]] AskedStudy asked_study(const StudyRun& run);

/// A column that a question to this study can name.
struct AskableColumn {
    std::string name;
    std::string title; ///< for sentences
    std::string unit;
    study::Stage stage = study::Stage::unknown;
    std::string what;                ///< for people; empty of the study's own
    bool is_own = false;             ///< of the study's own
    bool is_words = false;           ///< else numbers, or empty
    std::vector<std::size_t> rows;   ///< kinds of rows that have it, by their place in QuestionRows::rows
    std::size_t filled = 0;          ///< cells that hold something, in the kind that has most
    std::vector<std::string> levels; ///< of words: those that are there, the first most_told_levels of them
    std::size_t level_count = 0;
};
inline constexpr std::size_t most_told_levels = 60;

/// First those that a run makes, in the order of study/observed.hpp, also where this study has nothing of
/// them; then the tables' columns.
[[nodiscard]] std::vector<AskableColumn> askable_columns(const AskedStudy& study);

struct TryWish {
    std::string text;    ///< one [[question]], as study.toml would hold it
    std::string instead; ///< the brief's question that it stands in for; empty: a new one
    Threads threads{};
    std::stop_token stop{};
    /// So many draws are done, of so many. Called from one thread at a time.
    std::function<void(std::size_t done, std::size_t total)> simulated{};
};

struct Tried {
    std::vector<study::Complaint> complaints; ///< of the question, at its keys; no line, for it has none
    /// As the brief's own would be, corrected within its family of tests. Nothing where a complaint stops it
    /// (of the name alone stops nothing), or where it was asked to stop.
    std::optional<findings::Finding> finding;
};

/// A model with more coefficients, by a first count, is not tried: what would hold up everybody for longer
/// than anybody waits belongs into a run.
inline constexpr std::size_t most_tried_coefficients = 120;

[[nodiscard]] Tried try_question(const AskedStudy& study, const TryWish& wish);

} // namespace backeddy::app
