#pragma once
// What a model is made of, turned into columns of numbers; and what is wrong with it, in words.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "fit/regression.hpp"
#include "stats/table.hpp"

namespace backeddy::stats {

using fit::Intercept;

/// One column, or several that act together: {"rig"}, {"rig", "temperature"}. A column of numbers named twice
/// is its square; a factor may stand in a term once.
struct Term {
    std::vector<std::string> columns;
};

struct Terms {
    Intercept intercept = Intercept::fitted;
    std::vector<Term> terms;
};

/// "rig" alone and with the others: {"rig"}, {"temperature"}, {"rig", "temperature"}: every term that can be
/// made of these columns, smallest first.
[[nodiscard]] std::vector<Term> crossed(const std::vector<std::string>& columns);

/// How a factor's levels become columns. Treatment contrasts: one column for each level but the reference, 1
/// in its rows, so that a coefficient is that level less the reference. Sum to zero: -1 in the reference's
/// rows, so that a coefficient is that level less the mean of all.
enum class Coding : std::uint8_t { treatment, sum_to_zero };

/// A column that a design was made of.
struct Variable {
    std::string name;
    std::vector<std::string> levels; ///< of a factor, the reference first; empty for numbers
    double mean = 0.0;               ///< of numbers, over the rows
};

/// The design matrix of a model, and how to make further rows of it.
class Design {
  public:
    [[nodiscard]] std::size_t rows() const { return row_labels_.size(); }
    [[nodiscard]] const std::vector<std::string>& row_labels() const { return row_labels_; }
    [[nodiscard]] std::size_t columns() const { return names_.size(); }
    /// "intercept", "mass", "rig: treble (against circle)", "rig: treble (against circle) x mass".
    [[nodiscard]] const std::vector<std::string>& names() const { return names_; }
    [[nodiscard]] std::span<const double> column(std::size_t k) const {
        return std::span(values_).subspan(k * rows(), rows());
    }
    /// "rig", "rig x mass"; the intercept is none.
    [[nodiscard]] const std::vector<std::string>& terms() const { return term_names_; }
    /// The place in terms() of what a column belongs to; nothing for the intercept.
    [[nodiscard]] std::optional<std::size_t> term_of(std::size_t column) const { return term_of_[column]; }
    [[nodiscard]] const std::vector<Variable>& variables() const { return variables_; }
    /// The row of the design at a point: for each of variables() its number, or the place of its level.
    [[nodiscard]] std::vector<double> row_at(std::span<const double> point) const;
    [[nodiscard]] const Terms& made_of() const { return made_of_; }
    /// The same rows and terms under another coding: other columns that span the same space.
    [[nodiscard]] Design recoded(Coding coding) const;

  private:
    friend Expected<Design> make_design(const Table& table, const Terms& terms, Coding coding);
    struct Part { ///< one variable of one term
        std::size_t variable = 0;
        bool is_contrasted = true; ///< a factor without a column of its reference's own
    };
    /// Names and values of one term's columns at a point.
    void append(const std::vector<Part>& parts, std::span<const double> point,
                std::vector<double>& out) const;
    [[nodiscard]] std::vector<std::string> names_of(const std::vector<Part>& parts) const;
    /// names_, term_of_ and values_, from all that stands before them.
    void fill();

    Terms made_of_;
    Coding coding_ = Coding::treatment;
    std::vector<std::string> row_labels_;
    std::vector<Variable> variables_;
    std::vector<double> points_;           ///< row by row, one for each variable
    std::vector<std::vector<Part>> parts_; ///< by term
    std::vector<std::string> term_names_;
    std::vector<std::string> names_;
    std::vector<std::optional<std::size_t>> term_of_;
    std::vector<double> values_; ///< column by column
};

/// The intercept's column, then each term's in the order given. A factor is contrasted where the term without
/// it stands in the model too (or is the intercept), and has a column for every level otherwise, so that
/// columns do not depend on each other (Chambers and Hastie 1992, Statistical Models in S, 2.3.1); without an
/// intercept the first factor by itself takes its place. Fails with
///   unknown_name   a column that is not there (with the nearest name);
///   bad_relation   a column with missing cells (complete_rows() first), a factor twice in a term;
///   duplicate      a term named twice;
///   degenerate     a factor with one level, a column of numbers that are all the same, a combination of
///   levels
///                  that no row has (empty cell), columns that follow from others (to 1e-9 of their lengths):
///                  each by name;
///   too_few        fewer rows than columns, or no column.
[[nodiscard]] Expected<Design> make_design(const Table& table, const Terms& terms,
                                           Coding coding = Coding::treatment);

/// Nothing, or what is wrong with a column as a model's outcome: unknown_name, bad_relation (a factor, or
/// cells missing), degenerate (the same in every row).
[[nodiscard]] Expected<void> check_outcome(const Table& table, std::string_view outcome);

/// For each term of the design the rows of the hypothesis that it does nothing: each row weighs the
/// coefficients of the treatment-coded design. A term is judged given all others, and averaged with equal
/// weights over the levels of the factors that it interacts with ("type III"; Yates 1934, J Am Stat Assoc
/// 29:51, weighted squares of means): its sum-to-zero coefficients are none.
[[nodiscard]] std::vector<std::vector<std::vector<double>>> term_hypotheses(const Design& design);

/// Every column that these terms are made of, each once.
[[nodiscard]] std::vector<std::string> columns_of(const Terms& terms);

} // namespace backeddy::stats
