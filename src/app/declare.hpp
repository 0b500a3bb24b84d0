#pragma once
// Start here for declaring: what a study is to find out, written down before its numbers are known.

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::app {

struct DeclareWish {
    std::vector<std::string> questions; ///< names; empty: all of the brief
    std::string author;                 ///< empty: the row names nobody
    std::string note;
    Instant now; ///< of the declaration; whole seconds are written
};

struct DeclaredQuestion {
    enum class Outcome : std::uint8_t {
        added,                    ///< the first row of this question
        added_again,              ///< it was declared in another form
        added_under_new_settings, ///< declared in this form, under other settings or under ones not recorded
        had_been, ///< declared in this form and under these settings already: nothing was done
    };
    std::string question;
    Outcome outcome = Outcome::added;
    study::Declaration row; ///< the row that holds: new, or as it was; of added_again the new one
};

struct Declaring {
    std::filesystem::path file;
    std::vector<DeclaredQuestion> questions; ///< in the order of the brief
    std::size_t fish_met = 0;                ///< rows of fish.csv
    bool results_seen = false;               ///< results.json lies in the study's folder results
    /// The file has a column for the settings: one that an older version made may not.
    bool records_settings = true;
    /// Columns that a question names and that are nowhere yet: better mended before than after.
    std::vector<study::Complaint> doubts;

    [[nodiscard]] std::size_t rows_added() const;
};

/// Adds a row to the study's declarations.csv for each question that has none in its present form and under
/// the present settings: the whole file anew or not at all, and what stood there stays byte for byte. Runs
/// that write into the same folder wait for each other. Fails with bad_usage where the brief asks no question
/// or an author or note cannot stand in a table, unknown_name for a question that the brief does not have;
/// with the first complaint of study.toml, fish.csv or declarations.csv that stops a run, and where a file
/// cannot be read or written. Then nothing has changed.
[[nodiscard]] Expected<Declaring> declare_questions(const std::filesystem::path& folder,
                                                    const DeclareWish& wish);

} // namespace backeddy::app
