#pragma once
// Start here: a study's questions put to its data. Dimensionless: plain values in, plain values out.
//
//   Table table({"fish 1", "fish 2", "fish 3"});                     // row labels, for messages
//   table.add_numbers("mass", {0.8, 1.1, 0.9});                      // an Error, or nothing
//   table.add_factor("rig", {"circle", "treble", "circle"});         // the first level is the reference
//   const auto design = make_design(table, {.terms = {{{"mass"}}, {{"rig"}}}});       // terms.hpp
//   const auto fit = fit_linear(*design, table.numbers("scope"));                     // linear.hpp
//   fit->coefficients[1].lower;                                                       // estimate.hpp
//
//   terms.hpp         model terms to columns that a reader understands; what is wrong with them, in words
//   estimate.hpp      a number with its standard error, degrees of freedom, interval and p-value
//   linear.hpp        ordinary and weighted least squares
//   mixed.hpp         linear mixed models
//   small_sample.hpp  degrees of freedom for their coefficients, tests of their terms
//   profile.hpp       profile intervals of their variances and coefficients
//   mixed_bootstrap.hpp  refits of outcomes that the model might have given
//   means.hpp         estimated marginal means and their comparisons
//   multiplicity.hpp  many comparisons at once: Holm, Benjamini and Hochberg, Tukey
//   checks.hpp        residuals and random effects as points to look at
//   paired.hpp        two values of each fish: t, ranks, signs, uncertainties carried, bootstrap
//   agreement.hpp     two methods or two scorers of the same: limits, concordance, weighted kappa
//   ranks.hpp         groups of different fish: Mann-Whitney, Kruskal-Wallis, Jonckheere, Welch
//   counts.hpp        shares, counts and rates with exact intervals; not worse by a declared margin
//   ordinal.hpp       scores with an order: proportional odds, and whether they are
//   generalised.hpp   shares and counts that depend on columns: logistic, Poisson, negative binomial
//   generalised_mixed.hpp  the same with rows that share a day, a boat
//   power.hpp         how many fish are enough, from the variances of those there are
//   survival.hpp      times to an event, some only known to be longer: curves, medians, the log-rank test
//   cox.hpp           hazard ratios, adjusted; whether they stay the same over time
//   censored.hpp      outcomes below a limit, above one, between two looks: regression and means
//   turnbull.hpp      the same without a form: how much lies between which looks
//   competing.hpp     fates that exclude each other: how much of each by when
// tests/stats/linear_test.cpp is a small example, tests/stats/coverage_test.cpp a full one.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"

namespace backeddy::stats {

/// A column's cells that name one of a few levels. `codes` are places in `levels`; levels[0] is the
/// reference, against which the others are compared.
struct Factor {
    std::vector<std::string> levels;
    std::vector<std::size_t> codes; ///< one a row; of no meaning where the cell is missing
};

/// A row that cannot take part, and why.
struct LeftOut {
    std::string row;    ///< its label
    std::string column; ///< the first column in which it has no value
};

/// Named columns of equal length, each of numbers or a factor, with a label for every row. Numbers in it are
/// finite: an infinite or undefined one is refused when the column is added. A cell may be missing; what a
/// model is made of may not, see complete_rows().
class Table {
  public:
    explicit Table(std::vector<std::string> row_labels) : rows_(std::move(row_labels)) {}

    /// Fails with duplicate (the name is taken), bad_row (another number of cells than there are row labels)
    /// or out_of_range (a number is infinite or not a number: names the row).
    [[nodiscard]] Expected<void> add_numbers(std::string name, std::vector<double> values);
    [[nodiscard]] Expected<void> add_numbers(std::string name, std::span<const std::optional<double>> cells);
    /// Levels in alphabetical order (by bytes) unless `levels` says which there are and in which order; those
    /// that no row has are left away. Fails as above, or with unknown_name (a cell is not among `levels`).
    [[nodiscard]] Expected<void> add_factor(std::string name, const std::vector<std::string>& cells,
                                            std::vector<std::string> levels = {});
    [[nodiscard]] Expected<void> add_factor(std::string name,
                                            std::span<const std::optional<std::string>> cells,
                                            std::vector<std::string> levels = {});
    /// The same table, that factor's reference level being another. Fails with unknown_name.
    [[nodiscard]] Expected<Table> with_reference(std::string_view factor, std::string_view level) const;

    struct Complete;
    /// The rows that have a value in each of these columns, and the rows left out. Levels that no row has any
    /// more are gone; the order of the others stays. Fails with unknown_name, or too_few (no row is left).
    [[nodiscard]] Expected<Complete> complete_rows(const std::vector<std::string>& columns) const;

    [[nodiscard]] std::size_t rows() const { return rows_.size(); }
    [[nodiscard]] const std::vector<std::string>& row_labels() const { return rows_; }
    [[nodiscard]] std::vector<std::string> names() const;
    /// Nothing, or unknown_name with the nearest name there is.
    [[nodiscard]] Expected<void> require(std::string_view name) const;
    [[nodiscard]] bool has(std::string_view name) const { return find(name) != nullptr; }
    [[nodiscard]] bool is_factor(std::string_view name) const;
    /// True when the column is there and one of its cells is missing.
    [[nodiscard]] bool has_missing(std::string_view name) const;
    /// Cells of a column of numbers that is there; empty otherwise. A missing cell is 0.
    [[nodiscard]] std::span<const double> numbers(std::string_view name) const;
    /// A factor that is there; one without levels otherwise.
    [[nodiscard]] const Factor& factor(std::string_view name) const;

  private:
    struct Column {
        std::string name;
        std::vector<double> numbers; ///< empty for a factor
        Factor factor;
        std::vector<bool> is_missing; ///< empty: none
        [[nodiscard]] bool is_factor() const { return !factor.levels.empty(); }
    };
    [[nodiscard]] const Column* find(std::string_view name) const;
    [[nodiscard]] Expected<void> may_add(const std::string& name, std::size_t cells) const;

    std::vector<std::string> rows_;
    std::vector<Column> columns_;
};

struct Table::Complete {
    Table table{{}};
    std::vector<LeftOut> left_out;
};

/// A grouping for every row made of two: "tank 1 / fish 3". For levels that are numbered anew within another
/// (the third fish of each tank). Fails with unknown_name, or bad_relation (not factors, or cells missing).
[[nodiscard]] Expected<Table> with_nested(const Table& table, std::string_view outer, std::string_view inner,
                                          std::string name);

} // namespace backeddy::stats
