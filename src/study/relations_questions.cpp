// Columns that the brief names, those of [columns] and of each [[question]]; and what was declared of
// questions.

#include <algorithm>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "study/columns.hpp"
#include "study/declaration.hpp"
#include "study/detail/relation_words.hpp"
#include "study/likeness.hpp"
#include "study/observed.hpp"
#include "study/question_reading.hpp"
#include "study/relations.hpp"

namespace backeddy::study {

namespace {

using Names = std::vector<std::string>;

void add_table(Names& names, const Tables& tables, const TableDefinition& table) {
    for (const auto& column : table.columns) {
        names.push_back(column.name);
    }
    if (const auto own = tables.own_columns.find(table.file); own != tables.own_columns.end()) {
        names.insert(names.end(), own->second.begin(), own->second.end());
    }
}

/// What a question can name: the columns of a fish, of its capture, and what a run makes.
Names names_for_questions(const Tables& tables) {
    Names out;
    for (const auto& column : observed_columns()) {
        out.push_back(column.name);
    }
    add_table(out, tables, table(TableName::fish));
    add_table(out, tables, table(TableName::encounters));
    return out;
}

Names names_for_stages(const Tables& all) {
    Names out = names_for_questions(all);
    for (const auto& definition : tables()) {
        add_table(out, all, definition);
    }
    return out;
}

Complaint no_such_column(const Place& place, const std::string& key, const std::string& name,
                         const Names& names, const std::string& expected) {
    const auto near = nearest_name(name, names);
    std::string remedy = near ? "did you mean " + quote(*near) + "?"
                              : "write it as its header has it; what a run makes is listed in the "
                                "documents, study-folder.md";
    if (look_alike(name, names)) {
        remedy = look_alike_remedy();
    }
    return warn(place, key,
                {.code = ErrorCode::unknown_name,
                 .found = "there is no column " + quote(name),
                 .expected = expected,
                 .remedy = std::move(remedy),
                 .looked_in = "encounters.csv"});
}

/// The columns that one question names, each with its key.
std::vector<std::pair<std::string, std::string>> named_by(const Question& question, const Names& names) {
    std::vector<std::pair<std::string, std::string>> out{{"outcome", question.outcome}};
    const auto is_column = [&](const std::string& name) {
        return std::ranges::find(names, name) != names.end();
    };
    const auto add_term = [&](const char* key, const std::string& text) {
        if (const auto term = question_term(text, is_column)) {
            for (const auto& part : term->parts) {
                out.emplace_back(key, part.column);
            }
        }
    };
    add_term("compare", question.compare);
    for (const auto& text : question.adjust_for) {
        add_term("adjust_for", text);
    }
    out.emplace_back("within", question.within);
    for (const auto& text : question.random) {
        if (const auto random = question_random(text, is_column)) {
            out.emplace_back("random", random->group);
            out.emplace_back("random", random->slope);
        }
    }
    std::erase_if(out, [](const auto& named) { return named.second.empty(); });
    return out;
}

/// "rig x sex", where no column is called so.
std::optional<Complaint> compared_product(const Question& question, const Names& names) {
    const auto term = question_term(question.compare, [&](const std::string& name) {
        return std::ranges::find(names, name) != names.end();
    });
    if (!term || term->parts.size() < 2) {
        return std::nullopt;
    }
    return stop(question.place, "compare",
                {.code = ErrorCode::bad_setting,
                 .found = fmt::format("compare = {}", quote(question.compare)),
                 .expected = "one column: what is asked about has one effect",
                 .remedy = fmt::format("compare one of them and write the product into adjust_for: [{}]",
                                       quote(question.compare))});
}

} // namespace

std::vector<Complaint> check_named_columns(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    const auto is_in = [](const Names& names, const std::string& name) {
        return std::ranges::find(names, name) != names.end();
    };
    const Names for_stages = names_for_stages(tables);
    for (const auto& [name, place] : brief.column_places) {
        if (!is_in(for_stages, name)) {
            out.push_back(
                no_such_column(place, name, name, for_stages,
                               "in [columns], a column of one of the tables: its stage goes nowhere"));
        }
    }
    const Names for_questions = names_for_questions(tables);
    for (const auto& question : brief.questions) {
        if (auto complaint = compared_product(question, for_questions)) {
            out.push_back(*std::move(complaint));
        }
        for (const auto& [key, name] : named_by(question, for_questions)) {
            if (!is_in(for_questions, name)) {
                out.push_back(no_such_column(
                    question.place, key, name, for_questions,
                    fmt::format(
                        "for the question {}, a column of fish.csv or encounters.csv, or one that a run "
                        "makes (\"peak_after_capture\")",
                        quote(question.name))));
            }
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- declarations

namespace {

bool is_sha256(const std::string& text) {
    return text.size() == 64 && text.find_first_not_of("0123456789abcdef") == std::string::npos;
}

void check_hash(std::vector<Complaint>& out, const Declaration& row, const char* column,
                const std::string& hash) {
    if (!is_sha256(hash)) {
        out.push_back(
            stop(row.place, column,
                 {.code = ErrorCode::bad_row,
                  .found = quote(hash),
                  .expected = "64 digits and letters from a to f, as `backeddy declare` writes them",
                  .remedy = "bring the row back as it was: a copy or version control has it"}));
    }
}

void check_declaration(std::vector<Complaint>& out, const Declaration& row, std::optional<Instant> first) {
    check_hash(out, row, "form_sha256", row.form_sha256);
    if (!row.settings_sha256.empty()) { // declared before it was recorded
        check_hash(out, row, "settings_sha256", row.settings_sha256);
    }
    if (row.author.empty()) {
        out.push_back(warn(row.place, "author",
                           {.code = ErrorCode::bad_row,
                            .found = "the question " + quote(row.question) + " was declared by nobody",
                            .expected = "who declared it",
                            .remedy = "fill it in"}));
    }
    if (row.fish_met == 0 && first && *first < row.declared_at) {
        out.push_back(
            warn(row.place, "fish_met",
                 {.found = fmt::format("0 fish met at {}, yet the tables have one at {}",
                                       iso_text(row.declared_at), iso_text(*first)),
                  .expected = "a declaration before the first fish",
                  .remedy = "look for a wrong time in encounters.csv and stays.csv; if fish were met "
                            "before they were typed in, the report says so"}));
    }
}

} // namespace

std::vector<Complaint> check_declarations(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    const auto first = first_met(tables);
    std::vector<std::string> names;
    for (const auto& question : brief.questions) {
        names.push_back(question.name);
    }
    for (const auto& row : tables.declarations) {
        check_declaration(out, row, first);
        if (std::ranges::find(names, row.question) == names.end()) {
            const auto near = nearest_name(row.question, names);
            out.push_back(warn(
                row.place, "question",
                {.code = ErrorCode::unknown_name,
                 .found = "the question " + quote(row.question) + " was declared and is not asked",
                 .expected = "every declared question with its answer, also one that shows nothing",
                 .remedy = near ? "did you mean " + quote(*near) + "? A new name is a new question"
                                : "ask it in study.toml again, or say in the note why it was given up"}));
        }
    }
    return out;
}

} // namespace backeddy::study
