#pragma once
// What a reader must be told about intermittent-flow respirometry, answered from the results where they know.
//
// Content after Killen, Christensen, Cortese, Zavorka, Norin, Cotgrove, Crespel, Munson, Nati, Papatheodoulou
// and McKenzie (2021) J Exp Biol 224, jeb242522, doi 10.1242/jeb.242522 (CC-BY), in our own words. Their
// numbered table has not been compared row by row, so every number is "to be confirmed". The rows without a
// number are our own, for field studies.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "report/results.hpp"

namespace backeddy::report {

enum class AnswerState : std::uint8_t { answered, unanswered, not_applicable };

struct ChecklistRow {
    std::string word;                    ///< the key under which the brief may answer it: `[report.answers]`
    std::optional<std::uint32_t> number; ///< of the published list, to be confirmed
    std::string section;
    std::string criterion;
    AnswerState state = AnswerState::unanswered;
    std::string answer;
    std::string filled_from; ///< "results", "brief", "stays", "journal", "answered by hand", "nobody yet"
};

/// All rows, in the list's order. A row that a person answered in the brief carries that answer; the others
/// are filled from the results, or say that nobody has answered them. "not applicable: ..." as an answer is
/// valid.
[[nodiscard]] std::vector<ChecklistRow> checklist(const Results& results);

/// "answered", "unanswered", "not_applicable".
[[nodiscard]] std::string_view word_of(AnswerState state);

} // namespace backeddy::report
