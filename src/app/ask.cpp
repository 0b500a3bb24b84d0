#include "app/ask.hpp"

#include <algorithm>
#include <map>
#include <set>
#include <stdexcept>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "app/observe.hpp"
#include "app/run.hpp"
#include "findings/answer.hpp"
#include "intake/brief.hpp"
#include "study/columns.hpp"
#include "study/question_reading.hpp"
#include "study/relations.hpp"

namespace backeddy::app {

namespace {

using findings::Absent;
using findings::Cell;
using findings::ObservedColumn;
using findings::Word;
using study::Complaint;

std::size_t filled(const ObservedColumn& column) {
    return static_cast<std::size_t>(std::ranges::count_if(
        column.cells, [](const Cell& cell) { return !std::holds_alternative<Absent>(cell); }));
}

// Those with an order in it, as far as they are there; others by the alphabet.
std::vector<std::string> levels_of(const ObservedColumn& column) {
    std::set<std::string> there;
    for (const auto& cell : column.cells) {
        if (const auto* word = std::get_if<Word>(&cell)) {
            there.insert(word->text);
        }
    }
    std::vector<std::string> out;
    for (const auto& level : column.levels) {
        if (there.erase(level) > 0) {
            out.push_back(level);
        }
    }
    out.insert(out.end(), there.begin(), there.end());
    return out;
}

// ---------------------------------------------------------------- columns

// What the tables' own lists say of a column; nullptr of the study's own.
const study::ColumnDefinition* table_column(std::string_view name) {
    for (const auto table : {study::TableName::fish, study::TableName::encounters}) {
        if (const auto* column = study::table(table).column(name)) {
            return column;
        }
    }
    return nullptr;
}

AskableColumn begun(const std::string& name) {
    AskableColumn out{.name = name, .title = name, .unit = {}, .what = {}};
    if (const auto* observed = study::find_observed(name)) {
        out.title = observed->title;
        out.unit = observed->unit;
        out.stage = observed->stage;
        out.what = observed->what;
    } else if (const auto* column = table_column(name)) {
        out.unit = column->unit;
        out.what = column->what;
    } else {
        out.is_own = true;
    }
    return out;
}

void add_kind(AskableColumn& out, std::size_t kind, const ObservedColumn& column) {
    out.rows.push_back(kind);
    out.title = column.title;
    out.unit = column.unit;
    out.stage = column.stage;
    // A word may be there in rows of one kind alone.
    for (auto& level : levels_of(column)) {
        if (std::ranges::find(out.levels, level) == out.levels.end()) {
            out.levels.push_back(std::move(level));
        }
    }
    const auto count = filled(column);
    if (count > out.filled) {
        out.filled = count;
        out.is_words = column.is_words();
    }
}

void shorten_levels(AskableColumn& column) {
    column.level_count = column.levels.size();
    if (column.levels.size() > most_told_levels) {
        column.levels.resize(most_told_levels);
    }
}

// ---------------------------------------------------------------- how large a model would be

std::size_t coefficients_of(const study::QuestionTerm& term, const findings::Observations& rows) {
    std::size_t out = 1;
    for (const auto& part : term.parts) {
        const auto* column = rows.column(part.column);
        if (column != nullptr && column->is_words() && !part.is_log) {
            out *= std::max<std::size_t>(1, levels_of(*column).size());
        }
    }
    return out;
}

// Of the terms that it names, each by itself.
std::optional<Complaint> too_large(const study::Question& question, const findings::Observations& rows) {
    const auto is_column = [&](const std::string& name) { return rows.column(name) != nullptr; };
    std::size_t all = 0;
    const auto counted = [&](const char* key, const std::string& text) -> std::optional<Complaint> {
        const auto term = study::question_term(text, is_column);
        all += term ? coefficients_of(*term, rows) : 0;
        if (all <= most_tried_coefficients) {
            return std::nullopt;
        }
        return study::stop(
            {.file = "study.toml"}, key,
            {.code = ErrorCode::bad_setting,
             .found = fmt::format("with \"{}\" the model has {} coefficients", text, all),
             .expected = fmt::format("at most {} in a question that is tried", most_tried_coefficients),
             .remedy = "compare or adjust for a column with fewer different words; what rows share and is "
                       "not asked about belongs into random"});
    };
    if (auto complaint = counted("compare", question.compare)) {
        return complaint;
    }
    for (const auto& text : question.adjust_for) {
        if (auto complaint = counted("adjust_for", text)) {
            return complaint;
        }
    }
    return std::nullopt;
}

// ---------------------------------------------------------------- what is wrong with a question

std::optional<Complaint> name_taken(const study::Question& question, const AskedStudy& study,
                                    const std::string& instead) {
    const auto is_same = [&](const study::Question& other) { return other.name == question.name; };
    if (question.name == instead || std::ranges::none_of(study.questions, is_same)) {
        return std::nullopt;
    }
    return study::stop({.file = "study.toml"}, "name",
                       {.code = ErrorCode::duplicate,
                        .found = fmt::format("the brief asks a question \"{}\" already", question.name),
                        .expected = "a name of its own",
                        .remedy = "name it otherwise"});
}

std::vector<Complaint> complaints_of(const study::Question& question, const AskedStudy& study,
                                     const std::string& instead) {
    study::Brief alone;
    alone.questions.push_back(question);
    auto out = study::check_named_columns(alone, study.columns);
    if (auto complaint = name_taken(question, study, instead)) {
        out.push_back(std::move(*complaint));
    }
    if (auto complaint = too_large(question, rows_for(question, study.rows.rows))) {
        out.push_back(std::move(*complaint));
    }
    return out;
}

bool stops_trying(const Complaint& complaint) {
    return complaint.severity == study::Severity::stops_the_run && complaint.error.place.column != "name";
}

// Corrected with the questions that the brief has in its family.
findings::Finding corrected(findings::Finding finding, const AskedStudy& study, const std::string& instead) {
    std::vector<findings::Finding> all{std::move(finding)};
    std::ranges::copy_if(study.findings, std::back_inserter(all), [&](const findings::Finding& other) {
        return other.name != instead && other.family_of_tests == all.front().family_of_tests;
    });
    findings::correct_families(all);
    return std::move(all.front());
}

} // namespace

AskedStudy asked_study(const StudyRun& run) {
    const auto& answers = *run.answers;
    AskedStudy out{.rows = question_rows(answers.study, run.condition, run.fish, answers.without),
                   .questions = answers.study.brief.questions,
                   .findings = run.findings,
                   .columns = {}};
    out.columns.own_columns = answers.study.tables.own_columns;
    return out;
}

std::vector<AskableColumn> askable_columns(const AskedStudy& study) {
    std::vector<AskableColumn> out;
    std::map<std::string, std::size_t> places;
    const auto place_of = [&](const std::string& name) {
        const auto [at, is_new] = places.try_emplace(name, out.size());
        if (is_new) {
            out.push_back(begun(name));
        }
        return at->second;
    };
    for (const auto& observed : study::observed_columns()) {
        place_of(observed.name);
    }
    for (std::size_t kind = 0; kind < study.rows.rows.size(); ++kind) {
        for (const auto& column : study.rows.rows[kind].columns()) {
            add_kind(out[place_of(column.name)], kind, column);
        }
    }
    std::ranges::for_each(out, shorten_levels);
    return out;
}

Tried try_question(const AskedStudy& study, const TryWish& wish) {
    auto read = intake::read_brief(wish.text, "study.toml");
    Tried out{.complaints = std::move(read.complaints), .finding = {}};
    for (auto& complaint : out.complaints) {
        complaint.error.place.line.reset();
    }
    if (read.brief.questions.empty()) {
        return out;
    }
    const auto& question = read.brief.questions.front();
    for (auto& complaint : complaints_of(question, study, wish.instead)) {
        complaint.error.place.line.reset();
        out.complaints.push_back(std::move(complaint));
    }
    if (std::ranges::any_of(out.complaints, stops_trying)) {
        return out;
    }
    // What is simulated ends when whoever hears of its draws throws.
    const auto heard = [&](std::size_t done, std::size_t total) {
        if (wish.simulated) {
            wish.simulated(done, total);
        }
        if (wish.stop.stop_requested()) {
            throw std::runtime_error("given up");
        }
    };
    const auto options = [&](const std::string&) {
        return findings::AnswerOptions{.threads = wish.threads, .simulated = heard};
    };
    auto finding = corrected(answer_one(question, study.rows, options), study, wish.instead);
    if (!wish.stop.stop_requested()) {
        out.finding = std::move(finding);
    }
    return out;
}

} // namespace backeddy::app
