#pragma once
// The words that tables and settings may hold, each list in the order of its enumerators.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "condition/plate.hpp"
#include "study/nouns.hpp"
#include "study/observed.hpp"
#include "study/question.hpp"

namespace backeddy::study {

enum class YesNo : std::uint8_t { no, yes };

[[nodiscard]] const std::vector<std::string>& words_of(uptake::StayRole);
[[nodiscard]] const std::vector<std::string>& words_of(StayEnding);
[[nodiscard]] const std::vector<std::string>& words_of(EventKind);
[[nodiscard]] const std::vector<std::string>& words_of(CalibrationPoint);
[[nodiscard]] const std::vector<std::string>& words_of(DecisionAct);
[[nodiscard]] const std::vector<std::string>& words_of(TreatmentSight);
[[nodiscard]] const std::vector<std::string>& words_of(uptake::Mark);
[[nodiscard]] const std::vector<std::string>& words_of(QuestionFamily);
[[nodiscard]] const std::vector<std::string>& words_of(BetterIs);
[[nodiscard]] const std::vector<std::string>& words_of(Stage);
[[nodiscard]] const std::vector<std::string>& words_of(YesNo);
[[nodiscard]] const std::vector<std::string>& words_of(condition::Analyte);
[[nodiscard]] const std::vector<std::string>& words_of(condition::Matrix);
[[nodiscard]] const std::vector<std::string>& words_of(condition::Haemolysis);
[[nodiscard]] const std::vector<std::string>& words_of(condition::WellKind);
[[nodiscard]] const std::vector<std::string>& words_of(condition::Fin);
[[nodiscard]] const std::vector<std::string>& words_of(condition::Occasion);
[[nodiscard]] const std::vector<std::string>& words_of(condition::Bleeding);
[[nodiscard]] const std::vector<std::string>& words_of(condition::FateKind);
[[nodiscard]] const std::vector<std::string>& words_of(condition::FateStage);
[[nodiscard]] const std::vector<std::string>& words_of(condition::TagPlace);
[[nodiscard]] const std::vector<std::string>& words_of(ScoredFin);
[[nodiscard]] const std::vector<std::string>& words_of(ScoredPart);
[[nodiscard]] const std::vector<std::string>& words_of(CellsPartedBy);
[[nodiscard]] const std::vector<std::string>& words_of(DecimalIs);
[[nodiscard]] const std::vector<std::string>& words_of(condition::BodyArea);
[[nodiscard]] const std::vector<std::string>& words_of(condition::HookPlace);
[[nodiscard]] const std::vector<std::string>& words_of(condition::CurveChoice);

/// The word meant by one that is none of `words`: one that means the same elsewhere in these tables ("died"
/// of events.csv is "dead" in fates.csv), else one spelt alike.
[[nodiscard]] std::optional<std::string> nearest_word(std::string_view word,
                                                      const std::vector<std::string>& words);

/// The word of a value: word(EventKind::hook_up) is "hook_up".
template <typename Choice>
[[nodiscard]] const std::string& word_of(Choice value) {
    return words_of(value).at(static_cast<std::size_t>(value));
}

/// The value of a word, exactly as listed; nothing for any other.
template <typename Choice>
[[nodiscard]] std::optional<Choice> value_of(std::string_view word) {
    const auto& words = words_of(Choice{});
    for (std::size_t i = 0; i < words.size(); ++i) {
        if (words[i] == word) {
            return static_cast<Choice>(i);
        }
    }
    return std::nullopt;
}

} // namespace backeddy::study
