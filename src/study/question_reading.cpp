#include "study/question_reading.hpp"

#include <optional>
#include <string_view>
#include <utility>
#include <vector>

namespace backeddy::study {

namespace {

constexpr std::string_view cross = " x ";

/// "log(mass_g)" or "mass_g", where that is a column.
std::optional<QuestionTerm::Part> known_part(const std::string& text, const IsColumn& is_column) {
    if (is_column(text)) {
        return QuestionTerm::Part{.column = text};
    }
    if (text.starts_with("log(") && text.ends_with(")")) {
        auto inner = text.substr(4, text.size() - 5);
        if (is_column(inner)) {
            return QuestionTerm::Part{.column = std::move(inner), .is_log = true};
        }
    }
    return std::nullopt;
}

/// Parts that are all known columns, the first as long as may be; nothing where there is no such reading.
std::optional<std::vector<QuestionTerm::Part>> known_parts(const std::string& text,
                                                           const IsColumn& is_column) {
    if (auto whole = known_part(text, is_column)) {
        return std::vector{*std::move(whole)};
    }
    for (auto at = text.rfind(cross); at != std::string::npos && at > 0; at = text.rfind(cross, at - 1)) {
        auto first = known_part(text.substr(0, at), is_column);
        auto rest = first ? known_parts(text.substr(at + cross.size()), is_column) : std::nullopt;
        if (rest) {
            rest->insert(rest->begin(), *std::move(first));
            return rest;
        }
    }
    return std::nullopt;
}

} // namespace

Expected<QuestionTerm> question_term(const std::string& text, const IsColumn& is_column) {
    if (auto parts = known_parts(text, is_column)) {
        return QuestionTerm{.parts = *std::move(parts)};
    }
    return question_term(text);
}

Expected<QuestionRandom> question_random(const std::string& text, const IsColumn& is_column) {
    if (is_column(text)) {
        return QuestionRandom{.group = text};
    }
    constexpr std::string_view within = " within ";
    for (auto at = text.find(within); at != std::string::npos; at = text.find(within, at + 1)) {
        auto slope = text.substr(0, at);
        auto group = text.substr(at + within.size());
        if (is_column(slope) && is_column(group)) {
            return QuestionRandom{.group = std::move(group), .slope = std::move(slope)};
        }
    }
    return question_random(text);
}

} // namespace backeddy::study
