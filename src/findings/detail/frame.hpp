#pragma once
// A question and the rows it is put to, made ready for a model: complete rows in a stats::Table, what was
// left out and why, the points to draw.

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "findings/answer.hpp"
#include "findings/finding.hpp"
#include "findings/observations.hpp"
#include "stats/table.hpp"
#include "stats/terms.hpp"
#include "study/question.hpp"

namespace backeddy::findings::detail {

/// The name of the outcome's column in Frame::table.
inline constexpr const char* outcome_column = "outcome";

struct Frame {
    const study::Question& question;
    const Observations& rows;
    const ObservedColumn& outcome;
    const ObservedColumn& compare;
    study::QuestionFamily family = study::QuestionFamily::normal; ///< never automatic
    std::vector<std::size_t> kept; ///< rows of `rows` that take part, in their order
    stats::Table table{{}};        ///< of these; the outcome's column only where it is plain numbers
    std::string compare_name;      ///< its column in the table: "rig", "log(mass_g)"
    bool compares_groups = false;
    std::vector<stats::Term> adjust;           ///< over columns of the table
    std::vector<study::QuestionRandom> random; ///< as asked, `within` among them
    std::vector<std::string> warnings;
    AnswerOptions options;

    /// Levels of `compare` that are there, the reference first; empty for a slope.
    [[nodiscard]] const std::vector<std::string>& levels() const;
    /// The outcome of the kept rows: numbers as they are, log_normal their logarithm.
    [[nodiscard]] std::vector<double> outcomes() const;
    /// Its standard uncertainties on the same scale; nothing unless each row has one.
    [[nodiscard]] std::optional<std::vector<double>> uncertainties() const;
    [[nodiscard]] std::size_t fish() const; ///< how many different ones
};

/// How the reason ends of a row whose outcome is a word where a number is due.
inline constexpr std::string_view no_number_no_limit = ", no number and no limit (such as 3, <3 or >5)";

/// "yes", "TRUE", "n" ...; nothing of any other word.
[[nodiscard]] std::optional<bool> yes_or_no(const std::string& text);

/// Fails in words a reader can act on: unknown column with the nearest name, an outcome of words where
/// numbers are needed, no row left, one level only. `left_out` gets the rows that take no part, of a failure
/// too as far as it came to them.
[[nodiscard]] Expected<Frame> make_frame(const study::Question& question, const Observations& rows,
                                         std::vector<LeftOutRow>& left_out);

/// Every column that the question names, the exposure of a count among them; those that are not there are
/// left away.
[[nodiscard]] std::vector<const ObservedColumn*> named_columns(const study::Question& question,
                                                               const Observations& rows);

/// A warning for each column of the adjustment that became known during or after the treatment.
[[nodiscard]] std::vector<std::string> stage_warnings(const study::Question& question,
                                                      const Observations& rows);

/// Rows and points, before any model has answered.
[[nodiscard]] Finding begun(const Frame& frame);

} // namespace backeddy::findings::detail
