#include "app/declare.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/brief_text.hpp"
#include "app/detail/folder_lock.hpp"
#include "base/file.hpp"
#include "intake/add_rows.hpp"
#include "intake/brief.hpp"
#include "intake/tables.hpp"
#include "study/declaration.hpp"
#include "study/relations.hpp"
#include "study/words.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

constexpr const char* declarations_file = "declarations.csv";
constexpr std::uint64_t most_bytes = std::uint64_t{64} << 20;
constexpr std::chrono::seconds patience{30};

/// The study as far as declaring needs it.
struct Asked {
    study::Brief brief;
    intake::TablesRead tables;
};

/// The first of these complaints that stops a run.
Expected<void> first_stop(const std::vector<study::Complaint>& complaints) {
    for (const auto& complaint : complaints) {
        if (complaint.severity == study::Severity::stops_the_run) {
            return fail(Error(complaint.error).within("nothing was declared"));
        }
    }
    return {};
}

/// Those that keep us from counting fish or from knowing what was declared: of fish.csv not a row's, but the
/// whole file's.
std::vector<study::Complaint> in_the_way(const Asked& asked) {
    std::vector<study::Complaint> out = study::check_declarations(asked.brief, asked.tables.tables);
    for (const auto& complaint : asked.tables.complaints) {
        const auto& place = complaint.error.place;
        if (place.file == declarations_file || (place.file == "fish.csv" && !place.line)) {
            out.push_back(complaint);
        }
    }
    study::sort_by_place(out);
    return out;
}

Expected<Asked> read_asked(const fs::path& folder) {
    const fs::path path = folder / "study.toml";
    auto text = read_file(path, most_brief_bytes);
    if (!text) {
        Error error = std::move(text).error();
        error.remedy = "name a study folder, or make one with: backeddy new DIR";
        return fail(std::move(error));
    }
    auto brief = intake::read_brief(*text, "study.toml");
    if (auto fine = first_stop(brief.complaints); !fine) {
        return fail(std::move(fine).error());
    }
    Asked out{.brief = std::move(brief.brief), .tables = {}};
    if (out.brief.questions.empty()) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = "the brief asks no question",
                     .expected = "a [[question]] in " + path.string(),
                     .remedy = "write one: `backeddy new` makes a brief with examples"});
    }
    out.tables = intake::read_tables(folder, out.brief);
    if (auto fine = first_stop(in_the_way(out)); !fine) {
        return fail(std::move(fine).error());
    }
    return out;
}

Expected<void> check_wish(const DeclareWish& wish, const study::Brief& brief) {
    std::vector<std::string> names;
    for (const auto& question : brief.questions) {
        names.push_back(question.name);
    }
    for (const auto& wanted : wish.questions) {
        if (std::ranges::find(names, wanted) == names.end()) {
            const auto near = nearest_name(wanted, names);
            return fail({.code = ErrorCode::unknown_name,
                         .found = fmt::format("the brief asks no question \"{}\"", wanted),
                         .expected = fmt::format("one of {}", fmt::join(names, ", ")),
                         .remedy = near ? fmt::format("did you mean \"{}\"?", *near)
                                        : "name one of them, or none for all"});
        }
    }
    for (const auto& [what, text] : {std::pair{"author", &wish.author}, std::pair{"note", &wish.note}}) {
        if (!text->empty() && !study::is_plain_name(*text)) {
            return fail(
                {.code = ErrorCode::bad_usage,
                 .found = fmt::format("this cannot be the {} of a row in a table: \"{}\"", what, *text),
                 .expected = "one line that begins with a letter or digit",
                 .remedy = "write it in another way"});
        }
    }
    return {};
}

std::size_t fish_met(const intake::TablesRead& tables) {
    const auto found =
        std::ranges::find(tables.summaries, std::string("fish.csv"), &intake::TableSummary::file);
    return found == tables.summaries.end() ? 0 : found->rows;
}

Instant whole_second(Instant moment) {
    constexpr std::int64_t second = 1'000'000'000;
    return Instant::unix_nanoseconds(moment.unix_nanoseconds() / second * second);
}

intake::RowToAdd row_to_add(const study::Declaration& row) {
    return {{"question", row.question},
            {"form_sha256", row.form_sha256},
            {"settings_sha256", row.settings_sha256},
            {"declared_at", iso_text(row.declared_at)},
            {"author", row.author},
            {"fish_met", std::to_string(row.fish_met)},
            {"results_seen", row.results_seen ? "yes" : "no"},
            {"note", row.note}};
}

/// What its rows up to now make of a question that is declared anew.
DeclaredQuestion::Outcome outcome_of(const study::Question& question,
                                     const std::vector<study::Declaration>& rows) {
    using Outcome = DeclaredQuestion::Outcome;
    const auto form = study::form_sha256(question);
    auto out = Outcome::added;
    for (const auto& row : rows) {
        if (row.question == question.name) {
            if (row.form_sha256 == form) {
                return Outcome::added_under_new_settings;
            }
            out = Outcome::added_again;
        }
    }
    return out;
}

DeclaredQuestion declare(const study::Declarable& now, const std::vector<study::Declaration>& rows,
                         const DeclareWish& wish, const Declaring& state) {
    const auto& question = now.question;
    if (const auto* had = study::declaration_of(now, rows)) {
        return {.question = question.name, .outcome = DeclaredQuestion::Outcome::had_been, .row = *had};
    }
    return {.question = question.name,
            .outcome = outcome_of(question, rows),
            .row = {.question = question.name,
                    .form_sha256 = study::form_sha256(question),
                    .settings_sha256 = now.settings_sha256,
                    .declared_at = whole_second(wish.now),
                    .author = wish.author,
                    .fish_met = state.fish_met,
                    .results_seen = state.results_seen,
                    .note = wish.note}};
}

/// The file as it stands; empty when it is not there.
Expected<std::string> present_bytes(const fs::path& file) {
    auto bytes = read_file(file, most_bytes);
    if (!bytes && bytes.error().code == ErrorCode::file_missing) {
        return std::string();
    }
    return bytes;
}

Expected<void> add_rows(const Declaring& declaring, const std::string& bytes) {
    std::vector<intake::RowToAdd> rows;
    for (const auto& one : declaring.questions) {
        if (one.outcome != DeclaredQuestion::Outcome::had_been) {
            rows.push_back(row_to_add(one.row));
        }
    }
    if (rows.empty()) {
        return {};
    }
    const auto changed = intake::with_rows(bytes, study::TableName::declarations, rows);
    if (!changed) {
        return fail(changed.error());
    }
    return write_file_whole(declaring.file, *changed);
}

/// A link stands for the file it leads to.
fs::path settled(const fs::path& file) {
    std::error_code status;
    const auto real = fs::canonical(file, status);
    return status ? file : real;
}

} // namespace

std::size_t Declaring::rows_added() const {
    return static_cast<std::size_t>(std::ranges::count_if(questions, [](const DeclaredQuestion& one) {
        return one.outcome != DeclaredQuestion::Outcome::had_been;
    }));
}

Expected<Declaring> declare_questions(const fs::path& folder, const DeclareWish& wish) {
    // Before reading: a row that another run adds meanwhile would be lost.
    const auto lock = detail::FolderLock::take(folder, patience);
    if (!lock) {
        return fail(lock.error());
    }
    const auto asked = read_asked(folder);
    if (!asked) {
        return fail(asked.error());
    }
    if (auto fine = check_wish(wish, asked->brief); !fine) {
        return fail(std::move(fine).error());
    }
    std::error_code ignored;
    Declaring out{.file = settled(folder / declarations_file),
                  .questions = {},
                  .fish_met = fish_met(asked->tables),
                  .results_seen = fs::exists(folder / "results" / "results.json", ignored),
                  .doubts = {}};
    const auto bytes = present_bytes(out.file);
    if (!bytes) {
        return fail(bytes.error());
    }
    out.records_settings = intake::takes_column(*bytes, study::TableName::declarations, "settings_sha256");
    study::Brief chosen = asked->brief;
    chosen.column_places.clear();
    if (!wish.questions.empty()) {
        std::erase_if(chosen.questions, [&](const study::Question& question) {
            return std::ranges::find(wish.questions, question.name) == wish.questions.end();
        });
    }
    const auto settings = out.records_settings ? study::settings_sha256(asked->brief) : std::string();
    for (const auto& question : chosen.questions) {
        out.questions.push_back(declare({question, settings}, asked->tables.tables.declarations, wish, out));
    }
    out.doubts = study::check_named_columns(chosen, asked->tables.tables);
    if (auto added = add_rows(out, *bytes); !added) {
        return fail(std::move(added).error());
    }
    return out;
}

} // namespace backeddy::app
