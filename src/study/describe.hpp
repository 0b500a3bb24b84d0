#pragma once
// The lists of columns and settings as Markdown: docs/study-folder.md holds them between its markers, and a
// test holds the two together. The settings also as data, for the pages.

#include <optional>
#include <string>
#include <vector>

namespace backeddy::study {

/// A heading and a table of columns for each file.
[[nodiscard]] std::string columns_markdown();

/// One key of the brief, as people read of it.
struct DescribedSetting {
    std::string key;
    std::string kind;  ///< "a number", "a list of texts"
    std::string usual; ///< as study.toml writes it; empty: not set
    std::string unit;
    std::vector<std::string> words; ///< those it may be; of a list of texts, its items
    std::vector<double> choices;    ///< of a number that may be one of these only
    std::optional<double> least;
    std::optional<double> most;
    std::string why;
};

struct DescribedSection {
    std::string name; ///< "peak"; of lists "trace", "trace.column"
    bool is_list = false;
    std::string what;
    std::vector<DescribedSetting> settings;
};

/// Every section in the order of the template, then the lists.
[[nodiscard]] std::vector<DescribedSection> described_settings();

/// A heading and a table of settings for each section, then those of the lists ([[trace]] ...).
[[nodiscard]] std::string settings_markdown();

/// A table of the columns that a run makes and a question can name.
[[nodiscard]] std::string observed_markdown();

} // namespace backeddy::study
