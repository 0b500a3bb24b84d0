#include "findings/detail/frame.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <set>
#include <string_view>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/lower_case.hpp"
#include "base/near_names.hpp"
#include "base/number_text.hpp"
#include "study/observed.hpp"
#include "study/question_reading.hpp"
#include "study/words.hpp"

namespace backeddy::findings::detail {

namespace {

using study::QuestionFamily;

study::IsColumn columns_of(const Observations& rows) {
    return [&rows](const std::string& name) { return rows.column(name) != nullptr; };
}

// What is no name of a column but was meant to be something else.
std::optional<std::string> meant_otherwise(const std::string& key, const std::string& name,
                                           const Observations& rows) {
    if (const auto at = name.find(" within "); at != std::string::npos && key != "random") {
        return fmt::format("\"within\" stands in random alone; for {} that lie in {} write random = [\"{}\", "
                           "\"{}\"]",
                           name.substr(0, at), name.substr(at + 8), name.substr(at + 8), name.substr(0, at));
    }
    if (name.starts_with("log(") && name.ends_with(")")) {
        const auto inner = name.substr(4, name.size() - 5);
        if (rows.column(inner) != nullptr) {
            return key == "outcome" ? fmt::format("write outcome = \"{}\" and family = \"log_normal\"", inner)
                                    : fmt::format("write \"{}\": a group has no logarithm", inner);
        }
    }
    return std::nullopt;
}

Error unknown_column(const std::string& key, const std::string& name, const Observations& rows) {
    const auto names = rows.names();
    const auto near = nearest_name(name, names);
    const auto meant = meant_otherwise(key, name, rows);
    constexpr std::size_t most = 6;
    const auto some = nearest_names(name, names, most);
    return {.code = ErrorCode::unknown_name,
            .found = fmt::format("{} = \"{}\", which no {} has", key, name, rows.noun()),
            .expected = fmt::format(
                "a column, such as {}{}", fmt::join(some, ", "),
                names.size() > some.size() ? fmt::format(" and {} others", names.size() - some.size()) : ""),
            .remedy = meant  ? *meant
                      : near ? fmt::format("did you mean \"{}\"?", *near)
                             : "mend the name (study-folder.md lists them), or add the column to fish.csv or "
                               "encounters.csv"};
}

Error no_logarithm(const std::string& key, const ObservedColumn& column) {
    return {.code = ErrorCode::bad_setting,
            .found = fmt::format("{} = \"log({})\", and {} holds words", key, column.name, column.name),
            .expected = "a column of numbers where a logarithm is taken",
            .remedy = fmt::format("write \"{}\"", column.name)};
}

Expected<const ObservedColumn*> find_column(const std::string& key, const std::string& name,
                                            const Observations& rows) {
    const auto* column = rows.column(name);
    if (column == nullptr) {
        return fail(unknown_column(key, name, rows));
    }
    return column;
}

// What people type for "nobody knows". Not "none", which may be a score.
bool is_missing(const std::string& text) {
    constexpr std::string_view words[] = {"na", "n/a", "nan", "null", "?", "-", "--", "."};
    return std::ranges::find(words, lower_case(text)) != std::end(words);
}

std::string missing_text(const std::string& column, const std::string& word) {
    return fmt::format("{} is \"{}\": taken as not known", column, word);
}

// So many different words, "Yes" and "TRUE" the same as "yes".
std::size_t kinds_of(const ObservedColumn& column) {
    std::set<std::string> kinds;
    for (const auto& cell : column.cells) {
        const auto* word = std::get_if<Word>(&cell);
        if (word != nullptr && !is_missing(word->text)) {
            const auto truth = yes_or_no(word->text);
            kinds.insert(truth ? (*truth ? "yes" : "no") : word->text);
        }
    }
    return kinds.size();
}

bool is_zero_or_one(const ObservedColumn& column) {
    return std::all_of(column.cells.begin(), column.cells.end(), [](const Cell& cell) {
        const auto* value = std::get_if<Value>(&cell);
        return std::holds_alternative<Absent>(cell) ||
               (value != nullptr && (value->value == 0.0 || value->value == 1.0));
    });
}

// Of a column without a unit of its own: whether its name says that it is a time.
bool is_named_a_time(const std::string& name) {
    return name.ends_with("_h") || name.ends_with("_d") || name.ends_with("_min") || name.ends_with("_s");
}

// Which model an outcome calls for when the brief leaves it open.
QuestionFamily family_of(const study::Question& question, const ObservedColumn& outcome) {
    if (question.family != QuestionFamily::automatic) {
        return question.family;
    }
    if (!outcome.exposure.empty()) {
        return QuestionFamily::negative_binomial;
    }
    if (outcome.is_words()) {
        if (!outcome.levels.empty()) { // the program's own scores, of however many levels are there
            return QuestionFamily::ordinal;
        }
        return kinds_of(outcome) <= 2 ? QuestionFamily::binomial : QuestionFamily::ordinal;
    }
    if (is_zero_or_one(outcome)) {
        return QuestionFamily::binomial;
    }
    const bool is_time = outcome.unit == "h" || outcome.unit == "d" || outcome.unit == "min" ||
                         (outcome.unit.empty() && is_named_a_time(outcome.name));
    const bool has_limits = std::any_of(outcome.cells.begin(), outcome.cells.end(), [](const Cell& cell) {
        return std::holds_alternative<Within>(cell);
    });
    return is_time && has_limits ? QuestionFamily::time : QuestionFamily::normal;
}

// Few whole numbers of no unit: what grades and counts look like, and measurements seldom do.
std::optional<std::string> looks_like_scores(const study::Question& question, const ObservedColumn& outcome) {
    if (question.family != QuestionFamily::automatic || !outcome.unit.empty() ||
        study::find_observed(outcome.name) != nullptr ||
        family_of(question, outcome) != QuestionFamily::normal) {
        return std::nullopt;
    }
    constexpr double largest = 20.0;
    std::set<double> values;
    std::size_t cells = 0;
    for (const auto& cell : outcome.cells) {
        const auto* value = std::get_if<Value>(&cell);
        if (value == nullptr) {
            if (std::holds_alternative<Absent>(cell)) {
                continue;
            }
            return std::nullopt;
        }
        if (value->uncertainty || value->value != std::floor(value->value) || value->value < 0.0 ||
            value->value > largest) {
            return std::nullopt;
        }
        values.insert(value->value);
        ++cells;
    }
    if (values.size() < 2 || values.size() == cells) {
        return std::nullopt;
    }
    std::vector<std::string> words;
    for (const double value : values) {
        words.push_back(exact_text(value));
    }
    return fmt::format(
        "{} holds whole numbers alone ({}), as scores and counts do, and is answered as if they "
        "were measured: where they are scores write family = \"ordinal\" (with order = [\"{}\"] where "
        "they do not rise in that order), where they are counts family = "
        "\"negative_binomial\"; where they are neither, family = \"normal\" says so",
        outcome.name, fmt::join(words, ", "), fmt::join(words, "\", \""));
}

// A column of the table, and how it is made of an observed one.
struct Wanted {
    std::string name; ///< in the table
    const ObservedColumn* column = nullptr;
    bool is_log = false;
    bool is_group = false; ///< words, whatever the cells are
};

std::string name_of(const study::QuestionTerm::Part& part) {
    return part.is_log ? fmt::format("log({})", part.column) : part.column;
}

std::string word_in(const Cell& cell) {
    if (const auto* word = std::get_if<Word>(&cell)) {
        return word->text;
    }
    const auto* value = std::get_if<Value>(&cell);
    return value == nullptr ? std::string() : significant_text(value->value, 6);
}

std::optional<double> number_in(const Cell& cell, bool is_log) {
    const auto* value = std::get_if<Value>(&cell);
    if (value == nullptr || !std::isfinite(value->value) || (is_log && value->value <= 0.0)) {
        return std::nullopt;
    }
    return is_log ? std::log(value->value) : value->value;
}

// No quantity of this trade is so large or so small: a slip of the keyboard ("12E160" is a tube's label), and
// squares of it leave what numbers can hold.
bool is_beyond(double value) {
    const double size = std::fabs(value);
    return size > 1e30 || (size > 0.0 && size < 1e-30);
}

std::string beyond_text(const std::string& column, double value) {
    return fmt::format("{} is {}: no quantity is so {}", column, significant_text(value, 3),
                       std::fabs(value) > 1.0 ? "large" : "small");
}

// Why a row cannot take part for this column; empty when it can.
std::string why_not(const Wanted& wanted, const Cell& cell) {
    if (const auto* absent = std::get_if<Absent>(&cell)) {
        return absent->why.empty() ? fmt::format("{} is empty", wanted.column->name) : absent->why;
    }
    if (wanted.is_group) {
        const auto word = word_in(cell);
        return word.empty()       ? fmt::format("{} is empty", wanted.column->name)
               : is_missing(word) ? missing_text(wanted.column->name, word)
                                  : std::string();
    }
    if (std::holds_alternative<Word>(cell)) {
        return is_missing(word_in(cell))
                   ? missing_text(wanted.column->name, word_in(cell))
                   : fmt::format("{} is \"{}\", no number", wanted.column->name, word_in(cell));
    }
    if (const auto* value = std::get_if<Value>(&cell); value != nullptr && is_beyond(value->value)) {
        return beyond_text(wanted.column->name, value->value);
    }
    if (std::holds_alternative<Within>(cell)) {
        return fmt::format("of {} only limits are known", wanted.column->name);
    }
    if (!number_in(cell, wanted.is_log)) {
        return fmt::format("{} has no logarithm", wanted.column->name);
    }
    return {};
}

// Whether the outcome's cell is of the kind that the family takes; why not in words.
std::string why_no_outcome(const ObservedColumn& outcome, QuestionFamily family, const Cell& cell) {
    if (const auto* absent = std::get_if<Absent>(&cell)) {
        return absent->why.empty() ? fmt::format("{} is empty", outcome.name) : absent->why;
    }
    const auto* value = std::get_if<Value>(&cell);
    const auto* within = std::get_if<Within>(&cell);
    if (value != nullptr && is_beyond(value->value)) {
        return beyond_text(outcome.name, value->value);
    }
    if (const auto* word = std::get_if<Word>(&cell); word != nullptr && is_missing(word->text)) {
        return missing_text(outcome.name, word->text);
    }
    const bool takes_words = family == QuestionFamily::binomial || family == QuestionFamily::ordinal;
    if (const auto* word = std::get_if<Word>(&cell); word != nullptr && !takes_words) {
        return fmt::format("{} is \"{}\"{}", outcome.name, word->text, no_number_no_limit);
    }
    switch (family) {
    case QuestionFamily::binomial:
    case QuestionFamily::ordinal:
        return within == nullptr ? std::string() : fmt::format("of {} only limits are known", outcome.name);
    case QuestionFamily::log_normal:
    case QuestionFamily::time: {
        const double least = value != nullptr ? value->value : within != nullptr ? within->upper : 0.0;
        return least > 0.0 ? std::string() : fmt::format("{} is not above 0", outcome.name);
    }
    default:
        return value != nullptr || within != nullptr ? std::string()
                                                     : fmt::format("{} is no number", outcome.name);
    }
}

class Maker {
  public:
    Maker(const study::Question& question, const Observations& rows, std::vector<LeftOutRow>& left_out)
        : question_(question), rows_(rows), left_out_(left_out) {}

    Expected<Frame> make() {
        auto outcome = find_column("outcome", question_.outcome, rows_);
        auto compare_term = study::question_term(question_.compare, is_column_);
        if (!outcome || !compare_term) {
            return fail(!outcome ? std::move(outcome).error() : std::move(compare_term).error());
        }
        if (compare_term->parts.size() != 1) {
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("compare = \"{}\"", question_.compare),
                         .expected = "one column",
                         .remedy = "put the interaction into adjust_for, and compare one of its columns"});
        }
        auto compare = find_column("compare", compare_term->parts[0].column, rows_);
        if (!compare) {
            return fail(std::move(compare).error());
        }
        if (compare_term->parts[0].is_log && (*compare)->is_words()) {
            return fail(no_logarithm("compare", **compare));
        }
        if (auto done = refuse_reference(**compare); !done) {
            return fail(std::move(done).error());
        }
        Frame frame{.question = question_, .rows = rows_, .outcome = **outcome, .compare = **compare};
        frame.family = family_of(question_, **outcome);
        frame.compares_groups = (*compare)->is_words();
        frame.compare_name = name_of(compare_term->parts[0]);
        want(frame.compare_name, *compare, compare_term->parts[0].is_log, frame.compares_groups);
        if (const auto* exposure = rows_.column((*outcome)->exposure)) {
            want(exposure->name, exposure, false, false);
        }
        if (auto done = want_adjustment(frame); !done) {
            return fail(std::move(done).error());
        }
        if (auto done = refuse_bare_interactions(frame); !done) {
            return fail(std::move(done).error());
        }
        if (auto done = want_groups(frame); !done) {
            return fail(std::move(done).error());
        }
        if (auto done = refuse_twice(frame); !done) {
            return fail(std::move(done).error());
        }
        frame.warnings = stage_warnings(question_, rows_);
        if (auto doubt = looks_like_scores(question_, **outcome)) {
            frame.warnings.push_back(*std::move(doubt));
        }
        keep_rows(frame);
        if (auto done = keep_pairs(frame); !done) {
            return fail(std::move(done).error());
        }
        warn_of_spellings(frame);
        warn_of_unpaired(frame);
        warn_of_order(frame);
        warn_of_numbers(frame);
        warn_of_doubles(frame);
        warn_of_told(frame);
        if (auto done = fill_table(frame); !done) {
            return fail(std::move(done).error());
        }
        return frame;
    }

  private:
    void want(const std::string& name, const ObservedColumn* column, bool is_log, bool is_group) {
        const auto same = [&](const Wanted& other) { return other.name == name; };
        if (std::none_of(wanted_.begin(), wanted_.end(), same)) {
            wanted_.push_back({.name = name, .column = column, .is_log = is_log, .is_group = is_group});
        }
    }

    Expected<void> want_adjustment(Frame& frame) {
        for (const auto& text : question_.adjust_for) {
            auto term = study::question_term(text, is_column_);
            if (!term) {
                return fail(std::move(term).error());
            }
            stats::Term out;
            for (const auto& part : term->parts) {
                auto column = find_column("adjust_for", part.column, rows_);
                if (!column) {
                    return fail(std::move(column).error());
                }
                if (part.is_log && (*column)->is_words()) {
                    return fail(no_logarithm("adjust_for", **column));
                }
                want(name_of(part), *column, part.is_log, (*column)->is_words());
                out.columns.push_back(name_of(part));
            }
            frame.adjust.push_back(std::move(out));
        }
        return {};
    }

    Expected<void> want_groups(Frame& frame) {
        for (const auto& text : question_.random) {
            auto random = study::question_random(text, is_column_);
            if (!random) {
                return fail(std::move(random).error());
            }
            if (auto done = want_random("random", *random); !done) {
                return done;
            }
            frame.random.push_back(std::move(*random));
        }
        if (!question_.within.empty()) {
            const study::QuestionRandom within{.group = question_.within};
            if (auto done = want_random("within", within); !done) {
                return done;
            }
            const auto same = [&](const auto& random) { return random.group == within.group; };
            if (std::none_of(frame.random.begin(), frame.random.end(), same)) {
                frame.random.push_back(within);
            }
        }
        return {};
    }

    Expected<void> want_random(const char* key, const study::QuestionRandom& random) {
        auto group = find_column(key, random.group, rows_);
        if (!group) {
            return fail(std::move(group).error());
        }
        want(random.group, *group, false, true);
        if (!random.slope.empty()) {
            auto slope = find_column(key, random.slope, rows_);
            if (!slope) {
                return fail(std::move(slope).error());
            }
            if ((*slope)->is_words()) {
                return fail({.code = ErrorCode::bad_setting,
                             .found = fmt::format("random = \"{} within {}\", and {} holds words",
                                                  random.slope, random.group, random.slope),
                             .expected = "a column of numbers, whose slope then differs between levels: "
                                         "\"hours within fish\"",
                             .remedy = fmt::format(
                                 "for {} that lie in {} write random = [\"{}\", \"{}\"], each "
                                 "level of {} with a name of its own",
                                 random.slope, random.group, random.group, random.slope, random.slope)});
            }
            want(random.slope, *slope, false, false);
        }
        return {};
    }

    // Words that are all the same are told of where they are counted.
    [[nodiscard]] Expected<void> refuse_constant_outcome(const Frame& frame) const {
        const auto* first = std::get_if<Value>(&frame.outcome.cells[frame.kept.front()]);
        // Equal counts in unequal hours are rates that differ, and two equal counts have a ratio.
        const bool is_count = frame.family == QuestionFamily::poisson || !frame.outcome.exposure.empty();
        if (first == nullptr || (is_count && first->value != 0.0) ||
            !std::ranges::all_of(frame.kept, [&](std::size_t row) {
                const auto* value = std::get_if<Value>(&frame.outcome.cells[row]);
                return value != nullptr && value->value == first->value;
            })) {
            return {};
        }
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} is {} for each of the {} {} that take part", frame.outcome.name,
                                          exact_text(first->value), frame.kept.size(), rows_.nouns()),
                     .expected = "an outcome that varies: nothing is left to explain",
                     .remedy = "look at the column: was it filled down, or cut off at a limit?"});
    }

    // A column that names each row explains every outcome and none. Counts alone tell something of one row: a
    // stretch of fishing has many bites.
    [[nodiscard]] Expected<void> refuse_level_of_its_own(const Frame& frame) const {
        const bool is_count =
            frame.family == QuestionFamily::poisson ||
            (frame.family == QuestionFamily::negative_binomial && !frame.outcome.exposure.empty());
        std::vector<std::string> fixed{frame.compare_name};
        for (const auto& term : frame.adjust) {
            fixed.insert(fixed.end(), term.columns.begin(), term.columns.end());
        }
        for (const auto& name : fixed) {
            const bool names_each = !is_count && frame.kept.size() > 2 && frame.table.is_factor(name) &&
                                    frame.table.factor(name).levels.size() == frame.kept.size();
            if (names_each) {
                return fail({.code = ErrorCode::degenerate,
                             .found = fmt::format("{} is another word for each of the {} {} that take part",
                                                  name, frame.kept.size(), rows_.nouns()),
                             .expected = fmt::format(
                                 "several {} with the same word: nothing else tells what the word "
                                 "does from what they differ in by themselves",
                                 rows_.nouns()),
                             .remedy = fmt::format("take {} out, or compare a column that {} share", name,
                                                   rows_.nouns())});
            }
        }
        return {};
    }

    // Numbers have a slope, and nothing to be compared with.
    [[nodiscard]] Expected<void> refuse_reference(const ObservedColumn& compare) const {
        if (question_.reference.empty() || compare.is_words()) {
            return {};
        }
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("reference = \"{}\", and {} holds numbers", question_.reference,
                                          compare.name),
                     .expected = "a reference where groups are compared: of numbers a slope is asked",
                     .remedy = fmt::format("take reference out, or write words into {}", compare.name)});
    }

    // A product means what is said of it only beside its columns by themselves (Nelder 1977, J R Stat Soc A
    // 140:48). One column may be missing where all others are groups: it then has an effect in each of them.
    [[nodiscard]] Expected<void> refuse_bare_interactions(const Frame& frame) const {
        for (std::size_t i = 0; i < frame.adjust.size(); ++i) {
            const auto& columns = frame.adjust[i].columns;
            std::vector<std::string> missing;
            bool others_are_groups = true;
            for (const auto& name : columns) {
                if (!stands_alone(frame, name)) {
                    missing.push_back(name);
                } else {
                    others_are_groups = others_are_groups && is_group(name);
                }
            }
            if (columns.size() == 1 || missing.empty() || (missing.size() == 1 && others_are_groups)) {
                continue;
            }
            std::vector<std::string> whole = missing;
            whole.insert(whole.end(), question_.adjust_for.begin(), question_.adjust_for.end());
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("adjust_for has \"{}\" without {} by {}",
                                              question_.adjust_for[i], fmt::join(missing, " and "),
                                              missing.size() == 1 ? "itself" : "themselves"),
                         .expected = "the columns of an interaction by themselves too: it is what they do "
                                     "together beyond what each does alone",
                         .remedy = fmt::format("write adjust_for = [\"{}\"]", fmt::join(whole, "\", \""))});
        }
        return {};
    }

    static bool stands_alone(const Frame& frame, const std::string& name) {
        return name == frame.compare_name || std::ranges::any_of(frame.adjust, [&](const auto& term) {
                   return term.columns.size() == 1 && term.columns[0] == name;
               });
    }

    [[nodiscard]] bool is_group(const std::string& name) const {
        return std::ranges::any_of(
            wanted_, [&](const Wanted& wanted) { return wanted.name == name && wanted.is_group; });
    }

    // One column in two places says the same thing twice, or explains itself.
    Expected<void> refuse_twice(const Frame& frame) const {
        const auto& outcome = frame.outcome.name;
        if (frame.compare.name == outcome || explains_itself(outcome)) {
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("{} is the outcome and explains it too", outcome),
                         .expected = "other columns in compare and adjust_for",
                         .remedy = fmt::format("take {} out of one of them", outcome)});
        }
        for (const auto& random : frame.random) {
            const bool is_alone =
                std::any_of(frame.adjust.begin(), frame.adjust.end(), [&](const auto& term) {
                    return term.columns.size() == 1 && term.columns[0] == random.group;
                });
            if (is_alone || random.group == frame.compare.name) {
                return fail({.code = ErrorCode::bad_setting,
                             .found = fmt::format("{} is a random group and stands in {} too", random.group,
                                                  is_alone ? "adjust_for" : "compare"),
                             .expected = "a column that is either",
                             .remedy = is_alone
                                           ? "take it out of adjust_for: its levels differ by chance then"
                                           : "take it out of random and within"});
            }
        }
        return {};
    }

    [[nodiscard]] bool explains_itself(const std::string& outcome) const {
        return std::any_of(
            question_.adjust_for.begin(), question_.adjust_for.end(), [&](const std::string& text) {
                const auto term = study::question_term(text, is_column_);
                return term && std::any_of(term->parts.begin(), term->parts.end(),
                                           [&](const auto& part) { return part.column == outcome; });
            });
    }

    void keep_rows(Frame& frame) {
        for (std::size_t row = 0; row < rows_.rows(); ++row) {
            std::string column = frame.outcome.name;
            std::string why = why_no_outcome(frame.outcome, frame.family, frame.outcome.cells[row]);
            for (const auto& wanted : wanted_) {
                if (why.empty()) {
                    column = wanted.column->name;
                    why = why_not(wanted, wanted.column->cells[row]);
                }
            }
            if (why.empty()) {
                frame.kept.push_back(row);
            } else {
                left_out_.push_back({.row = rows_.label(row), .column = column, .why = why});
            }
        }
    }

    // "Jig" beside "jig" is seldom another rig.
    void warn_of_spellings(Frame& frame) const {
        std::set<const ObservedColumn*> columns;
        for (const auto& wanted : wanted_) {
            if (wanted.is_group) {
                columns.insert(wanted.column);
            }
        }
        if (frame.outcome.is_words() && frame.outcome.levels.empty()) {
            columns.insert(&frame.outcome);
        }
        for (const auto* column : rows_in_order(columns)) {
            std::map<std::string, std::set<std::string>> spellings;
            for (const auto row : frame.kept) {
                const auto word = word_in(column->cells[row]);
                if (column != &frame.outcome || !yes_or_no(word)) { // "Yes" is taken for "yes"
                    spellings[lower_case(word)].insert(word);
                }
            }
            for (const auto& [lower, written] : spellings) {
                if (written.size() > 1) {
                    frame.warnings.push_back(fmt::format(
                        "{} is written \"{}\": words that differ in capitals alone are taken as different; "
                        "where they are the same, write them alike",
                        column->name, fmt::join(written, "\" and \"")));
                }
            }
        }
    }

    [[nodiscard]] std::vector<const ObservedColumn*>
    rows_in_order(const std::set<const ObservedColumn*>& columns) const {
        std::vector<const ObservedColumn*> out;
        for (const auto& column : rows_.columns()) {
            if (columns.contains(&column)) {
                out.push_back(&column);
            }
        }
        return out;
    }

    // What a kept row has in `compare`, so that two that are alike have the same text.
    [[nodiscard]] static std::string level_in(const Frame& frame, std::size_t row) {
        const auto* value = std::get_if<Value>(&frame.compare.cells[row]);
        return value != nullptr && !frame.compares_groups ? exact_text(value->value)
                                                          : word_in(frame.compare.cells[row]);
    }

    // By level of a group (a fish, a pair) which levels of `compare` its kept rows have.
    using LevelsOf = std::map<std::string, std::set<std::string>>;
    [[nodiscard]] LevelsOf levels_by(const Frame& frame, const ObservedColumn& group) const {
        LevelsOf out;
        for (const auto row : frame.kept) {
            out[word_in(group.cells[row])].insert(level_in(frame, row));
        }
        return out;
    }

    // A comparison within is of nothing else: whoever is there under one level only takes no part, whatever
    // the model. Random groups alone let them in, with what they tell of differences between.
    Expected<void> keep_pairs(Frame& frame) {
        if (question_.within.empty() || frame.kept.empty()) {
            return {};
        }
        const auto& whose = *rows_.column(question_.within);
        const auto levels = levels_by(frame, whose);
        std::set<std::string> all;
        for (const auto& [name, own] : levels) {
            all.insert(own.begin(), own.end());
        }
        const auto is_paired = [](const auto& one) { return one.second.size() > 1; };
        if (all.size() > 1 && std::ranges::none_of(levels, is_paired)) {
            return fail(nobody_is_paired(frame, {all.begin(), all.end()}));
        }
        std::erase_if(frame.kept, [&](std::size_t row) {
            const auto name = word_in(whose.cells[row]);
            const auto& own = levels.at(name);
            if (own.size() > 1 || all.size() < 2) { // one level in all rows is told of elsewhere
                return false;
            }
            left_out_.push_back(
                {.row = rows_.label(row),
                 .column = frame.compare.name,
                 .why = frame.compares_groups
                            ? fmt::format("{} is there under {} only: no pair", name, *own.begin())
                            : fmt::format("{} is there at one {} only ({}): nothing to compare within it",
                                          name, frame.compare.name, *own.begin())});
            return true;
        });
        return {};
    }

    [[nodiscard]] Error nobody_is_paired(const Frame& frame, const std::vector<std::string>& levels) const {
        const auto& within = question_.within;
        const auto who = within == "fish" ? std::string("fish") : "level of " + within;
        const auto what = !frame.compares_groups ? fmt::format("two values of {}", frame.compare.name)
                          : levels.size() == 2   ? fmt::format("both {} and {}", levels[0], levels[1])
                                               : fmt::format("more than one of {}", fmt::join(levels, ", "));
        return {.code = ErrorCode::degenerate,
                .found = fmt::format("no {} has {}: nothing to compare within {}", who, what, within),
                .expected =
                    fmt::format("{} that are there under several levels of {}",
                                within == "fish" ? "fish" : "levels of " + within, frame.compare.name),
                .remedy = fmt::format("leave out within, and {0} are compared with each other; where one has "
                                      "several rows write random = [\"{1}\"]",
                                      within == "fish" ? "different fish" : "different ones", within)};
    }

    // Of a random group that some are in under all levels and some under one: the latter tell of differences
    // between, not within.
    void warn_of_unpaired(Frame& frame) const {
        for (const auto& random : frame.random) {
            if (random.group != "fish" || !question_.within.empty() || !frame.compares_groups) {
                continue;
            }
            const auto levels = levels_by(frame, *rows_.column(random.group));
            std::vector<std::string> single;
            for (const auto& [name, own] : levels) {
                if (own.size() == 1) {
                    single.push_back(name);
                }
            }
            if (!single.empty() && single.size() < levels.size()) {
                frame.warnings.push_back(
                    fmt::format("{} of {} fish are there under one level of {} only ({}): they enter by how "
                                "they differ from "
                                "other fish; within = \"fish\" compares each fish with itself alone",
                                single.size(), levels.size(), frame.compare.name, fmt::join(single, ", ")));
            }
        }
    }

    // An order that nothing follows, or that is of other words than those that are there.
    void warn_of_order(Frame& frame) const {
        if (question_.order.empty()) {
            return;
        }
        if (frame.family != QuestionFamily::ordinal && frame.family != QuestionFamily::binomial) {
            frame.warnings.push_back(fmt::format(
                "order = [\"{}\"] is passed over: {} is answered as {}; where it holds scores write "
                "family = \"ordinal\", else take order out",
                fmt::join(question_.order, "\", \""), frame.outcome.name, study::word_of(frame.family)));
            return;
        }
        std::set<std::string> there;
        for (const auto row : frame.kept) {
            there.insert(word_in(frame.outcome.cells[row]));
        }
        std::vector<std::string> missing;
        std::ranges::copy_if(question_.order, std::back_inserter(missing),
                             [&](const std::string& word) { return !there.contains(word); });
        if (!missing.empty()) {
            frame.warnings.push_back(fmt::format("order names \"{}\", which {} of no row that takes part is: "
                                                 "mis-spelt, or nobody came to it",
                                                 fmt::join(missing, "\" and \""), frame.outcome.name));
        }
    }

    // Numbers that name groups, and numbers that are taken for names.
    void warn_of_numbers(Frame& frame) const {
        for (const auto& wanted : wanted_) {
            if (wanted.is_group && is_measured(frame, *wanted.column)) {
                const auto levels = values_of(frame, *wanted.column).size();
                frame.warnings.push_back(
                    fmt::format("{} holds numbers, and each of its {} values is taken for a group of its own",
                                wanted.column->name, levels));
            } else if (!wanted.is_group && !wanted.is_log && looks_like_names(frame, *wanted.column)) {
                frame.warnings.push_back(fmt::format("{0} holds the numbers {1} alone and is taken for a "
                                                     "quantity, of which 2 is twice 1: where "
                                                     "they are names of groups write words ({0} 1, {0} 2)",
                                                     wanted.column->name,
                                                     fmt::join(values_of(frame, *wanted.column), ", ")));
            }
        }
    }

    // Different values by size.
    [[nodiscard]] static std::set<double> values_of(const Frame& frame, const ObservedColumn& column) {
        std::set<double> out;
        for (const auto row : frame.kept) {
            if (const auto* value = std::get_if<Value>(&column.cells[row])) {
                out.insert(value->value);
            }
        }
        return out;
    }

    // Numbers with a unit, or broken ones: no names.
    [[nodiscard]] static bool is_measured(const Frame& frame, const ObservedColumn& column) {
        const auto values = values_of(frame, column);
        return !values.empty() && (!column.unit.empty() || std::ranges::any_of(values, [](double value) {
            return value != std::floor(value);
        }));
    }

    // A column of one's own with few whole numbers from 1, each of them several times.
    [[nodiscard]] static bool looks_like_names(const Frame& frame, const ObservedColumn& column) {
        constexpr double most = 6.0;
        constexpr std::size_t rows_each = 3;
        const auto values = values_of(frame, column);
        return column.unit.empty() && study::find_observed(column.name) == nullptr && values.size() > 2 &&
               frame.kept.size() >= rows_each * values.size() &&
               std::ranges::all_of(values, [](double value) {
                   return value == std::floor(value) && value >= 1.0 && value <= most;
               });
    }

    // What is told of cells that take part, each once.
    void warn_of_told(Frame& frame) const {
        std::set<const ObservedColumn*> columns{&frame.outcome};
        for (const auto& wanted : wanted_) {
            columns.insert(wanted.column);
        }
        for (const auto* column : rows_in_order(columns)) {
            std::vector<std::string> texts;
            for (const auto row : frame.kept) {
                const auto told = column->told.find(row);
                if (told != column->told.end() && std::ranges::find(texts, told->second) == texts.end()) {
                    texts.push_back(told->second);
                }
            }
            frame.warnings.insert(frame.warnings.end(), texts.begin(), texts.end());
        }
    }

    // A column as it is and its logarithm say nearly the same.
    void warn_of_doubles(Frame& frame) const {
        for (const auto& wanted : wanted_) {
            const auto is_plain = [&](const Wanted& other) {
                return !other.is_log && other.column == wanted.column;
            };
            if (wanted.is_log && std::ranges::any_of(wanted_, is_plain)) {
                frame.warnings.push_back(fmt::format(
                    "{0} and log({0}) both stand in the model and say nearly the same: neither's coefficient "
                    "means anything by itself, and little is left to tell; keep one of them",
                    wanted.column->name));
            }
        }
    }

    Expected<void> fill_table(Frame& frame) const {
        if (frame.kept.empty()) {
            return fail({.code = ErrorCode::too_few,
                         .found = fmt::format("no {} with all that the question names ({} left out)",
                                              rows_.noun(), left_out_.size()),
                         .expected = fmt::format("{} with {} and {}", rows_.nouns(), question_.outcome,
                                                 question_.compare),
                         .remedy = left_out_.empty() ? "bring data"
                                                     : fmt::format("the first: {}: {}", left_out_[0].row,
                                                                   left_out_[0].why)});
        }
        std::vector<std::string> labels;
        for (const auto row : frame.kept) {
            labels.push_back(rows_.label(row));
        }
        frame.table = stats::Table(labels);
        for (const auto& wanted : wanted_) {
            if (auto done = add(frame, wanted); !done) {
                return done;
            }
        }
        if (frame.compares_groups && !question_.reference.empty()) {
            auto table = frame.table.with_reference(frame.compare_name, question_.reference);
            if (!table) {
                return fail(std::move(table).error());
            }
            frame.table = std::move(*table);
        }
        if (auto done = refuse_constant_outcome(frame); !done) {
            return done;
        }
        if (auto done = refuse_level_of_its_own(frame); !done) {
            return done;
        }
        if (frame.compares_groups && frame.levels().size() < 2) {
            return fail({.code = ErrorCode::degenerate,
                         .found = fmt::format("{} is \"{}\" for every one of the {} {} that can take part",
                                              frame.compare.name, frame.levels().front(), frame.kept.size(),
                                              rows_.nouns()),
                         .expected = "at least two levels to compare",
                         .remedy = "look at who was left out, or compare another column"});
        }
        return {};
    }

    static Expected<void> add(Frame& frame, const Wanted& wanted) {
        if (!wanted.is_group) {
            std::vector<double> numbers;
            for (const auto row : frame.kept) {
                numbers.push_back(*number_in(wanted.column->cells[row], wanted.is_log));
            }
            return frame.table.add_numbers(wanted.name, std::move(numbers));
        }
        std::vector<std::string> words;
        for (const auto row : frame.kept) {
            words.push_back(word_in(wanted.column->cells[row]));
        }
        return frame.table.add_factor(wanted.name, words, wanted.column->levels);
    }

    const study::Question& question_;
    const Observations& rows_;
    std::vector<LeftOutRow>& left_out_;
    study::IsColumn is_column_ = columns_of(rows_);
    std::vector<Wanted> wanted_;
};

FoundPoint point_of(const Frame& frame, std::size_t row) {
    FoundPoint out{.row = frame.rows.label(row), .fish = frame.rows.fish(row)};
    const auto& compare = frame.compare.cells[row];
    if (frame.compares_groups) {
        out.group = word_in(compare);
    } else if (const auto* x = std::get_if<Value>(&compare)) {
        out.x = x->value;
    }
    const auto& cell = frame.outcome.cells[row];
    if (const auto* value = std::get_if<Value>(&cell)) {
        out.value = value->value;
        out.uncertainty = value->uncertainty;
    } else if (const auto* within = std::get_if<Within>(&cell)) {
        out.value = within->at;
        out.lower = within->lower;
        out.upper = std::isfinite(within->upper) ? std::optional(within->upper) : std::nullopt;
    }
    return out;
}

} // namespace

std::optional<bool> yes_or_no(const std::string& text) {
    const auto word = lower_case(text);
    if (word == "yes" || word == "true" || word == "y") {
        return true;
    }
    return word == "no" || word == "false" || word == "n" ? std::optional(false) : std::nullopt;
}

const std::vector<std::string>& Frame::levels() const {
    static const std::vector<std::string> none;
    return compares_groups ? table.factor(compare_name).levels : none;
}

std::vector<double> Frame::outcomes() const {
    std::vector<double> out;
    for (const auto row : kept) {
        const auto* value = std::get_if<Value>(&outcome.cells[row]);
        const double plain = value == nullptr ? std::nan("") : value->value;
        out.push_back(family == QuestionFamily::log_normal ? std::log(plain) : plain);
    }
    return out;
}

std::optional<std::vector<double>> Frame::uncertainties() const {
    std::vector<double> out;
    for (const auto row : kept) {
        const auto* value = std::get_if<Value>(&outcome.cells[row]);
        if (value == nullptr || !value->uncertainty || !(*value->uncertainty > 0.0)) {
            return std::nullopt;
        }
        out.push_back(family == QuestionFamily::log_normal ? *value->uncertainty / value->value
                                                           : *value->uncertainty);
    }
    return out;
}

std::size_t Frame::fish() const {
    std::set<std::string> names;
    for (const auto row : kept) {
        names.insert(rows.fish(row));
    }
    names.erase("");
    return names.size();
}

Expected<Frame> make_frame(const study::Question& question, const Observations& rows,
                           std::vector<LeftOutRow>& left_out) {
    return Maker(question, rows, left_out).make();
}

std::vector<const ObservedColumn*> named_columns(const study::Question& question, const Observations& rows) {
    const auto is_column = columns_of(rows);
    std::vector<const ObservedColumn*> out{rows.column(question.outcome), rows.column(question.within)};
    if (out[0] != nullptr) {
        out.push_back(rows.column(out[0]->exposure));
    }
    std::vector<std::string> terms = question.adjust_for;
    terms.push_back(question.compare);
    for (const auto& text : terms) {
        const auto term = study::question_term(text, is_column);
        for (const auto& part : term ? term->parts : std::vector<study::QuestionTerm::Part>{}) {
            out.push_back(rows.column(part.column));
        }
    }
    for (const auto& text : question.random) {
        if (const auto random = study::question_random(text, is_column)) {
            out.push_back(rows.column(random->group));
            out.push_back(rows.column(random->slope));
        }
    }
    std::erase(out, nullptr);
    return out;
}

std::vector<std::string> stage_warnings(const study::Question& question, const Observations& rows) {
    std::vector<std::string> out;
    const auto is_column = columns_of(rows);
    const auto term = study::question_term(question.compare, is_column);
    const auto* compare = term ? rows.column(term->parts[0].column) : nullptr;
    if (compare == nullptr || compare->stage == Stage::unknown) {
        out.push_back(
            fmt::format("the brief's [columns] does not say whether {} was assigned: unless it was, the "
                        "answer is an association",
                        question.compare));
    } else if (compare->stage != Stage::assigned) {
        out.push_back(
            fmt::format("{} was not assigned: fish that differ in it may differ in other ways too, and "
                        "the answer is an association",
                        question.compare));
    }
    if (compare != nullptr && !compare->caution.empty()) {
        out.push_back(compare->caution);
    }
    for (const auto& text : question.adjust_for) {
        const auto adjusted = study::question_term(text, is_column);
        for (const auto& part : adjusted ? adjusted->parts : std::vector<study::QuestionTerm::Part>{}) {
            const auto* column = rows.column(part.column);
            const bool is_later =
                column != nullptr && (column->stage == Stage::during || column->stage == Stage::after);
            if (is_later && compare != nullptr && part.column != compare->name) {
                out.push_back(fmt::format(
                    "{} became known {} the treatment: adjusted for it, {} shows its direct effect only, "
                    "without what it does through {}",
                    part.column, column->stage == Stage::during ? "during" : "after", question.compare,
                    part.column));
            }
        }
    }
    return out;
}

namespace {

// Rows of one fish are more alike than rows of two: taken for independent they make p far too small.
void warn_of_shared_fish(const Frame& frame, Finding& out) {
    const auto is_fish = [](const auto& random) { return random.group == "fish"; };
    const bool is_within =
        frame.question.within == "fish" || std::any_of(frame.random.begin(), frame.random.end(), is_fish);
    const auto fish = frame.fish();
    const auto named =
        static_cast<std::size_t>(std::count_if(frame.kept.begin(), frame.kept.end(), [&](std::size_t row) {
            return !frame.rows.fish(row).empty();
        }));
    if (fish > 0 && named > fish && !is_within) {
        out.warnings.push_back(
            fmt::format("{} rows come from {} fish and are taken as if each were another fish: "
                        "p and interval promise too much; write random = [\"fish\"]",
                        named, fish));
    }
}

/// Values of the outcome, and of what is compared, that stand on something doubtful.
void warn_of_doubts(const Frame& frame, Finding& out) {
    for (const auto* column : {&frame.outcome, &frame.compare}) {
        std::vector<std::string> words;
        for (const auto row : frame.kept) {
            if (const auto doubt = column->doubts.find(row); doubt != column->doubts.end()) {
                words.push_back(fmt::format("{}: {}", frame.rows.label(row), doubt->second));
            }
        }
        if (!words.empty()) {
            out.warnings.push_back(fmt::format("{} of the {} values of {} {} in doubt: look at {} first. {}",
                                               words.size(), frame.kept.size(), column->title,
                                               words.size() == 1 ? "is" : "are",
                                               words.size() == 1 ? "it" : "them", fmt::join(words, ". ")));
        }
    }
}

} // namespace

Finding begun(const Frame& frame) {
    Finding out;
    out.family = study::word_of(frame.family);
    out.levels = frame.levels();
    out.rows = frame.kept.size();
    out.fish = frame.fish();
    out.warnings = frame.warnings;
    warn_of_shared_fish(frame, out);
    warn_of_doubts(frame, out);
    for (const auto row : frame.kept) {
        out.points.push_back(point_of(frame, row));
    }
    return out;
}

} // namespace backeddy::findings::detail
