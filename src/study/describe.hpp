#pragma once
// The lists of columns and settings as Markdown: docs/study-folder.md holds them between its markers, and a
// test holds the two together.

#include <string>

namespace backeddy::study {

/// A heading and a table of columns for each file.
[[nodiscard]] std::string columns_markdown();

/// A heading and a table of settings for each section, then those of the lists ([[trace]] ...).
[[nodiscard]] std::string settings_markdown();

/// A table of the columns that a run makes and a question can name.
[[nodiscard]] std::string observed_markdown();

} // namespace backeddy::study
