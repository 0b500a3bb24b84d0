#pragma once
// Start here: how this program says that something is wrong.
//
//   Expected<Brief> read_brief(...);                     // a value, or an Error
//   auto brief = read_brief(path);
//   if (!brief) return fail(std::move(brief).error().within("study.toml"));
//
// An Error says what was found, what was expected, and what the reader can do; and where (file, line,
// column).

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

namespace backeddy {

/// Who has to act. Numbers are part of the results format and never reused.
enum class ErrorCode : int {
    // 1xx: what a person gave us
    bad_usage = 100,       ///< the command line makes no sense
    file_missing = 101,    ///< a file or folder that should be there is not
    file_unreadable = 102, ///< it is there and cannot be read
    bad_text = 110,        ///< bytes that are no text in the encoding found or set
    bad_number = 111,      ///< a cell that is not the number it should be
    bad_time = 112,        ///< a cell that is not a time, or a time that cannot be
    ambiguous_time = 113,  ///< a date or local time with two readings
    bad_unit = 114,        ///< a unit we do not know, or of the wrong kind
    bad_row = 115,         ///< too few or too many fields, or cut off
    missing_column = 116,  ///< a table or trace lacks a column it needs
    unknown_name = 117,    ///< a word that names nothing (column, setting, fish, chamber ...)
    bad_setting = 118,     ///< a setting outside what it may be
    bad_relation = 119,    ///< rows that contradict each other (overlapping stays, two fish in one tube ...)
    out_of_range = 120,    ///< a value outside what physics or a formula's range allows
    duplicate = 121,       ///< the same key twice
    // 2xx: what cannot be computed, though nothing is wrong with the input's form
    too_few = 200,       ///< too few values for this estimate
    degenerate = 201,    ///< all values equal, singular matrix, zero variance
    not_converged = 202, ///< an iteration ended without an answer
    // 3xx: the machine
    cannot_write = 300, ///< disk full, no permission
    // 9xx: ourselves
    our_bug = 900, ///< a promise of our own broken; please report
};

/// Where in a person's files something stands. Lines and columns count from 1; bytes from 0.
struct Place {
    std::string file;
    std::optional<std::uint64_t> line;
    std::string column; ///< the column's name in its header, empty when not about one
    std::optional<std::uint64_t> byte;

    friend bool operator==(const Place&, const Place&) = default;
};

struct Error {
    ErrorCode code = ErrorCode::our_bug;
    std::string found;    ///< what is there, quoted as it stands
    std::string expected; ///< what should be there, and why we think so
    std::string remedy;   ///< what the reader can type or do next
    Place place;
    std::vector<std::string> context; ///< added on the way up; outermost first
    std::string looked_in; ///< of a name that is not there: the table's file or the trace where it should be

    /// The same error, one step further out: `within("night.csv")`, `within("chamber 3")`.
    [[nodiscard]] Error within(std::string outer) &&;
    [[nodiscard]] Error at(Place where) &&;

    /// One line: context, place, found, expected, remedy.
    [[nodiscard]] std::string text() const;

    friend bool operator==(const Error&, const Error&) = default;
};

/// A value or an Error; may not be ignored. A class, since an alias cannot be nodiscard.
template <typename T>
class [[nodiscard]] Expected : public tl::expected<T, Error> {
  public:
    using tl::expected<T, Error>::expected;
    Expected(tl::expected<T, Error> other) : tl::expected<T, Error>(std::move(other)) {}
};

[[nodiscard]] inline tl::unexpected<Error> fail(Error error) {
    return tl::unexpected<Error>(std::move(error));
}

/// The candidate nearest to `word` (edit distance at most a third of its length, and at most 3), or nothing.
[[nodiscard]] std::optional<std::string> nearest_name(std::string_view word,
                                                      const std::vector<std::string>& candidates);

} // namespace backeddy
