#pragma once
// The terms of a question read where the columns are known: a name that holds " x " or " within " is a name.

#include <functional>
#include <string>

#include "study/question.hpp"

namespace backeddy::study {

/// Whether there is a column of that name.
using IsColumn = std::function<bool(const std::string&)>;

/// As question_term(text), but where the text can be read as names of columns that are there, it is: "salt x
/// lime" is one column where one is called so, "rig x salt x lime" then an interaction of two. Of several
/// readings the one with the longest names.
[[nodiscard]] Expected<QuestionTerm> question_term(const std::string& text, const IsColumn& is_column);

/// As question_random(text), but a text that is a column's name is that column.
[[nodiscard]] Expected<QuestionRandom> question_random(const std::string& text, const IsColumn& is_column);

} // namespace backeddy::study
