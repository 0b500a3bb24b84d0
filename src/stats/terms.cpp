#include "stats/terms.hpp"

#include <algorithm>
#include <cmath>

#include <Eigen/Dense>
#include <fmt/format.h>

namespace backeddy::stats {

namespace {

/// Columns shorter than this share of their length, once what the others explain is taken away, follow from
/// the others. Rounding leaves about 1e-14 of a column that does.
constexpr double dependent_share = 1e-9;

std::vector<std::string> sorted(std::vector<std::string> words) {
    std::sort(words.begin(), words.end());
    return words;
}

Expected<void> check_column(const Table& table, const std::string& name) {
    if (auto there = table.require(name); !there) {
        return there;
    }
    if (table.has_missing(name)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("\"{}\" has empty cells", name),
                     .expected = "a value in every row of a model",
                     .remedy = "leave those rows out first"});
    }
    if (table.is_factor(name)) {
        if (table.factor(name).levels.size() < 2) {
            return fail({.code = ErrorCode::degenerate,
                         .found = fmt::format("\"{}\" is \"{}\" in every row", name,
                                              table.factor(name).levels.front()),
                         .expected = "two levels or more: one has nothing to be compared with",
                         .remedy = fmt::format("leave \"{}\" out of the model", name)});
        }
        return {};
    }
    const auto values = table.numbers(name);
    if (std::all_of(values.begin(), values.end(), [&](double v) { return v == values.front(); })) {
        return fail(
            {.code = ErrorCode::degenerate,
             .found = fmt::format("\"{}\" is {} in every row", name, values.empty() ? 0.0 : values[0]),
             .expected = "values that differ: of what does not change no effect can be seen",
             .remedy = fmt::format("leave \"{}\" out of the model", name)});
    }
    return {};
}

Expected<void> check_terms(const Table& table, const Terms& terms) {
    std::vector<std::vector<std::string>> seen;
    for (const auto& term : terms.terms) {
        for (const auto& name : term.columns) {
            if (auto fine = check_column(table, name); !fine) {
                return fine;
            }
            if (table.is_factor(name) && std::count(term.columns.begin(), term.columns.end(), name) > 1) {
                return fail({.code = ErrorCode::bad_relation,
                             .found = fmt::format("the factor \"{}\" twice in one term", name),
                             .expected = "each factor of a term once"});
            }
        }
        const auto words = sorted(term.columns);
        if (words.empty() || std::find(seen.begin(), seen.end(), words) != seen.end()) {
            return fail({.code = words.empty() ? ErrorCode::too_few : ErrorCode::duplicate,
                         .found = words.empty()
                                      ? "a term of no columns"
                                      : fmt::format("the term {} twice", fmt::join(term.columns, " x ")),
                         .expected = "each term once, of one column or more",
                         .remedy = "leave it out"});
        }
        seen.push_back(words);
    }
    return {};
}

/// Every combination of levels of a term's factors has a row.
Expected<void> check_cells(const Table& table, const Term& term) {
    std::vector<const Factor*> factors;
    std::vector<std::string> names;
    std::size_t cells = 1;
    for (const auto& name : term.columns) {
        if (table.is_factor(name)) {
            factors.push_back(&table.factor(name));
            names.push_back(name);
            cells *= factors.back()->levels.size();
        }
    }
    if (factors.size() < 2) {
        return {};
    }
    std::vector<bool> filled(cells, false);
    for (std::size_t i = 0; i < table.rows(); ++i) {
        std::size_t cell = 0;
        for (const Factor* factor : factors) {
            cell = (cell * factor->levels.size()) + factor->codes[i];
        }
        filled[cell] = true;
    }
    std::vector<std::string> empty;
    for (std::size_t cell = 0; cell < cells; ++cell) {
        if (filled[cell]) {
            continue;
        }
        std::vector<std::string> words(factors.size());
        std::size_t rest = cell;
        for (std::size_t f = factors.size(); f-- > 0;) {
            const auto& levels = factors[f]->levels;
            words[f] = fmt::format("{} \"{}\"", names[f], levels[rest % levels.size()]);
            rest /= levels.size();
        }
        empty.push_back(fmt::format("{}", fmt::join(words, " and ")));
    }
    if (empty.empty()) {
        return {};
    }
    return fail(
        {.code = ErrorCode::degenerate,
         .found = fmt::format("no row has {}", fmt::join(empty, ", nor ")),
         .expected = fmt::format("rows in every cell of {}", fmt::join(term.columns, " x ")),
         .remedy = "leave this interaction out, join levels, or leave out the levels without partners"});
}

using Matrix = Eigen::MatrixXd;

/// "a" follows from "b" and "c".
Error dependence(const Matrix& x, Eigen::Index column, const std::vector<std::string>& names) {
    const auto& name = names[static_cast<std::size_t>(column)];
    const double length = x.col(column).norm();
    if (!std::isfinite(length)) {
        return {.code = ErrorCode::out_of_range,
                .found =
                    fmt::format("\"{}\" holds numbers whose squares are more than a computer's numbers can "
                                "hold",
                                name),
                .expected = "quantities of a possible size",
                .remedy = "look for a slip of the keyboard (12E160 is a number), or take another unit"};
    }
    if (length == 0.0) {
        return {.code = ErrorCode::degenerate,
                .found = fmt::format("\"{}\" is 0 in every row", name),
                .expected = "values that differ: of what does not change no effect can be seen",
                .remedy = "leave it out of the model"};
    }
    // Of unit length each: the decomposition takes a column that is short beside others for none.
    Matrix before = x.leftCols(column);
    before.colwise().normalize();
    const Eigen::VectorXd share = before.colPivHouseholderQr().solve(x.col(column) / length);
    std::vector<std::string> from;
    for (Eigen::Index k = 0; k < column; ++k) {
        if (std::abs(share[k]) > 1e-6) {
            from.push_back(fmt::format("\"{}\"", names[static_cast<std::size_t>(k)]));
        }
    }
    return {.code = ErrorCode::degenerate,
            .found = fmt::format("\"{}\" follows from {}: the rows cannot tell their effects apart", name,
                                 fmt::join(from, " and ")),
            .expected = "columns that do not depend on each other",
            .remedy = "leave one of them out of the model"};
}

Matrix matrix_of(const Design& design) {
    Matrix x(static_cast<Eigen::Index>(design.rows()), static_cast<Eigen::Index>(design.columns()));
    for (std::size_t k = 0; k < design.columns(); ++k) {
        const auto column = design.column(k);
        std::copy(column.begin(), column.end(), x.col(static_cast<Eigen::Index>(k)).data());
    }
    return x;
}

/// Gram-Schmidt in the order of the columns, each projected twice (Giraud et al. 2005, Numer Math 101:87).
Expected<void> check_independence(const Design& design) {
    const Matrix x = matrix_of(design);
    Matrix basis(x.rows(), x.cols());
    for (Eigen::Index k = 0; k < x.cols(); ++k) {
        Eigen::VectorXd left = x.col(k);
        for (int pass = 0; pass < 2; ++pass) {
            left -= basis.leftCols(k) * (basis.leftCols(k).transpose() * left);
        }
        const double length = left.norm();
        if (!(length > dependent_share * x.col(k).norm())) {
            return fail(dependence(x, k, design.names()));
        }
        basis.col(k) = left / length;
    }
    return {};
}

double mean_of(std::span<const double> values) {
    double sum = 0.0;
    for (const double v : values) {
        sum += v;
    }
    return sum / static_cast<double>(values.size());
}

} // namespace

std::vector<Term> crossed(const std::vector<std::string>& columns) {
    std::vector<Term> out;
    const std::size_t all = std::size_t{1} << columns.size();
    for (std::size_t set = 1; set < all; ++set) {
        Term term;
        for (std::size_t k = 0; k < columns.size(); ++k) {
            if ((set >> k) % 2 == 1) {
                term.columns.push_back(columns[k]);
            }
        }
        out.push_back(std::move(term));
    }
    std::stable_sort(out.begin(), out.end(),
                     [](const Term& a, const Term& b) { return a.columns.size() < b.columns.size(); });
    return out;
}

std::vector<std::string> columns_of(const Terms& terms) {
    std::vector<std::string> out;
    for (const auto& term : terms.terms) {
        for (const auto& name : term.columns) {
            if (std::find(out.begin(), out.end(), name) == out.end()) {
                out.push_back(name);
            }
        }
    }
    return out;
}

void Design::append(const std::vector<Part>& parts, std::span<const double> point,
                    std::vector<double>& out) const {
    std::vector<double> products{1.0};
    for (const auto& part : parts) {
        const auto& variable = variables_[part.variable];
        const double here = point[part.variable];
        std::vector<double> next;
        if (variable.levels.empty()) {
            for (const double v : products) {
                next.push_back(v * here);
            }
        } else {
            const auto level = static_cast<std::size_t>(here);
            for (std::size_t k = part.is_contrasted ? 1 : 0; k < variable.levels.size(); ++k) {
                const bool is_below_mean = part.is_contrasted && coding_ == Coding::sum_to_zero && level == 0;
                const double code = is_below_mean ? -1.0 : (level == k ? 1.0 : 0.0);
                for (const double v : products) {
                    next.push_back(v * code);
                }
            }
        }
        products = std::move(next);
    }
    out.insert(out.end(), products.begin(), products.end());
}

std::vector<std::string> Design::names_of(const std::vector<Part>& parts) const {
    std::vector<std::string> names{""};
    for (const auto& part : parts) {
        const auto& variable = variables_[part.variable];
        std::vector<std::string> own;
        if (variable.levels.empty()) {
            own.push_back(variable.name);
        }
        for (std::size_t k = part.is_contrasted ? 1 : 0; k < variable.levels.size(); ++k) {
            const std::string against = coding_ == Coding::treatment ? variable.levels[0] : "mean";
            own.push_back(part.is_contrasted
                              ? fmt::format("{}: {} (against {})", variable.name, variable.levels[k], against)
                              : fmt::format("{}: {}", variable.name, variable.levels[k]));
        }
        std::vector<std::string> next;
        for (const auto& word : own) {
            for (const auto& before : names) {
                next.push_back(before.empty() ? word : fmt::format("{} x {}", before, word));
            }
        }
        names = std::move(next);
    }
    return names;
}

std::vector<double> Design::row_at(std::span<const double> point) const {
    std::vector<double> out;
    if (made_of_.intercept == Intercept::fitted) {
        out.push_back(1.0);
    }
    for (const auto& parts : parts_) {
        append(parts, point, out);
    }
    return out;
}

Expected<Design> make_design(const Table& table, const Terms& terms, Coding coding) {
    if (auto fine = check_terms(table, terms); !fine) {
        return fail(std::move(fine).error());
    }
    Design out;
    out.made_of_ = terms;
    out.coding_ = coding;
    out.row_labels_ = table.row_labels();
    const auto names = columns_of(terms);
    for (const auto& name : names) {
        out.variables_.push_back({.name = name,
                                  .levels = table.factor(name).levels,
                                  .mean = table.is_factor(name) ? 0.0 : mean_of(table.numbers(name))});
    }
    std::vector<std::vector<std::string>> present;
    for (const auto& term : terms.terms) {
        present.push_back(sorted(term.columns));
    }
    if (terms.intercept == Intercept::fitted) {
        present.emplace_back();
    }
    for (const auto& term : terms.terms) {
        if (auto fine = check_cells(table, term); !fine) {
            return fail(std::move(fine).error());
        }
        std::vector<Design::Part> parts;
        for (const auto& name : term.columns) {
            auto without = sorted(term.columns);
            without.erase(std::find(without.begin(), without.end(), name));
            parts.push_back(
                {.variable =
                     static_cast<std::size_t>(std::find(names.begin(), names.end(), name) - names.begin()),
                 .is_contrasted = std::find(present.begin(), present.end(), without) != present.end()});
        }
        if (term.columns.size() == 1 && table.is_factor(term.columns[0]) && !parts[0].is_contrasted) {
            present.emplace_back(); // its columns add up to an intercept
        }
        out.term_names_.push_back(fmt::format("{}", fmt::join(term.columns, " x ")));
        out.parts_.push_back(std::move(parts));
    }
    for (std::size_t i = 0; i < table.rows(); ++i) {
        for (const auto& name : names) {
            out.points_.push_back(table.is_factor(name) ? static_cast<double>(table.factor(name).codes[i])
                                                        : table.numbers(name)[i]);
        }
    }
    out.fill();
    if (out.columns() == 0 || out.rows() < out.columns()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} rows for the {} numbers that this model has to find ({})",
                                          out.rows(), out.columns(), fmt::join(out.names_, ", ")),
                     .expected = "at least one number to find, and a row for each",
                     .remedy = "a smaller model, or more rows"});
    }
    if (auto fine = check_independence(out); !fine) {
        return fail(std::move(fine).error());
    }
    return out;
}

void Design::fill() {
    names_.clear();
    term_of_.clear();
    if (made_of_.intercept == Intercept::fitted) {
        names_.emplace_back("intercept");
        term_of_.emplace_back();
    }
    for (std::size_t t = 0; t < parts_.size(); ++t) {
        for (auto& name : names_of(parts_[t])) {
            names_.push_back(std::move(name));
            term_of_.emplace_back(t);
        }
    }
    values_.resize(rows() * columns());
    for (std::size_t i = 0; i < rows(); ++i) {
        const auto row = row_at(std::span(points_).subspan(i * variables_.size(), variables_.size()));
        for (std::size_t k = 0; k < columns(); ++k) {
            values_[(k * rows()) + i] = row[k];
        }
    }
}

Design Design::recoded(Coding coding) const {
    Design out = *this;
    out.coding_ = coding;
    out.fill();
    return out;
}

std::vector<std::vector<std::vector<double>>> term_hypotheses(const Design& design) {
    const Matrix own = matrix_of(design);
    // own = sum_coded * turn, so the sum-to-zero coefficients are turn * the treatment coefficients.
    Matrix turn = matrix_of(design.recoded(Coding::sum_to_zero)).householderQr().solve(own);
    turn = turn.unaryExpr([](double v) { return std::abs(v) < 1e-12 ? 0.0 : v; });
    std::vector<std::vector<std::vector<double>>> out(design.terms().size());
    for (std::size_t k = 0; k < design.columns(); ++k) {
        if (const auto term = design.term_of(k)) {
            const Eigen::VectorXd row = turn.row(static_cast<Eigen::Index>(k)).transpose();
            out[*term].emplace_back(row.begin(), row.end());
        }
    }
    return out;
}

Expected<void> check_outcome(const Table& table, std::string_view outcome) {
    const std::string name(outcome);
    if (auto there = table.require(name); !there) {
        return there;
    }
    if (table.is_factor(name)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("the outcome \"{}\" holds words", name),
                     .expected = "a column of numbers"});
    }
    auto fine = check_column(table, name);
    if (!fine && fine.error().code == ErrorCode::degenerate) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("the outcome {}", fine.error().found),
                     .expected = "an outcome that varies: nothing is left to explain",
                     .remedy = "look at the column: was it filled down, or cut off at a limit?"});
    }
    return fine;
}

} // namespace backeddy::stats
