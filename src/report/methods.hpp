#pragma once
// The methods section of the report, made from the settings and from what was found, and the cautions.

#include <string>
#include <vector>

#include "report/results.hpp"

namespace backeddy::report {

struct Paragraph {
    std::string title;
    std::string text;
};

/// What was done, in the order in which it was done, with the settings' values filled in.
[[nodiscard]] std::vector<Paragraph> methods_text(const Results& results);

/// What the report is not. Fixed sentences.
[[nodiscard]] std::vector<std::string> cautions();

} // namespace backeddy::report
