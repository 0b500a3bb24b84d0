#pragma once
// Methods text on condition, and how any paragraph names its settings.

#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

#include "report/methods.hpp"

namespace backeddy::report::detail {

/// " Settings: window_s = 60 s; ..." of the sections named, or nothing.
[[nodiscard]] std::string with_settings(const Results& results,
                                        std::initializer_list<std::string_view> sections);

/// Paragraphs on blood, plates, scores, handling and mortality: each only where the study has such.
[[nodiscard]] std::vector<Paragraph> condition_methods(const Results& results);

} // namespace backeddy::report::detail
