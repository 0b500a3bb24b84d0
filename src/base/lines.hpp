#pragma once
// Lines of a text that a person wrote.

#include <optional>
#include <string>
#include <string_view>

#include "base/error.hpp"

namespace backeddy {

/// An Error for the first line of more than 8,192 characters; `file` is named in it. A key of many thousand
/// parts (a.a.a ...) nests as deep, and a parser that goes down by recursion falls over it. Keys stand on one
/// line, and no line that a person wrote is nearly as long (choice).
[[nodiscard]] std::optional<Error> too_long_a_line(std::string_view text, const std::string& file);

} // namespace backeddy
