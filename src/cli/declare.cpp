#include <chrono>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/declare.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"

namespace backeddy::cli {

namespace {

struct DeclareOptions {
    std::string folder;
    std::vector<std::string> questions;
    std::string author;
    std::string note;
};

Instant now() {
    const auto since = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(since).count());
}

std::string what_was_done(const app::DeclaredQuestion& one) {
    using Outcome = app::DeclaredQuestion::Outcome;
    const auto by = one.row.author.empty() ? std::string("by nobody named") : "by " + one.row.author;
    const auto at = iso_text(one.row.declared_at);
    switch (one.outcome) {
    case Outcome::added:
        return fmt::format("{}: declared now, {}, {}", one.question, at, by);
    case Outcome::added_again:
        return fmt::format(
            "{}: had been declared in another form; declared in this one now, {}, {}; both rows "
            "stay",
            one.question, at, by);
    case Outcome::added_under_new_settings:
        return fmt::format(
            "{}: had been declared in this form under other settings of the analysis, or under "
            "ones that were not recorded; declared under these now, {}, {}; both rows stay",
            one.question, at, by);
    case Outcome::had_been:
        break;
    }
    return fmt::format("{}: had been declared in this form, {}, {}; left as it is", one.question, at, by);
}

/// What the new rows say was known.
std::string what_was_known(const app::Declaring& declaring) {
    if (declaring.results_seen) {
        return "results lie in the study's folder: the report will say that they had been seen";
    }
    return declaring.fish_met == 0
               ? std::string("no fish in fish.csv and no results: before the first fish")
               : fmt::format("{} fish in fish.csv and no results: before results were seen",
                             declaring.fish_met);
}

int declare(const DeclareOptions& options) {
    if (options.folder.empty()) {
        return report_error(empty_name("DIR"));
    }
    const auto declaring = app::declare_questions(
        options.folder,
        {.questions = options.questions, .author = options.author, .note = options.note, .now = now()});
    if (!declaring) {
        // A question that is not there is a slip of the command line.
        const int status = report_error(declaring.error());
        const bool is_slip =
            declaring.error().code == ErrorCode::unknown_name && declaring.error().place.file.empty();
        return is_slip ? exit_usage : status;
    }
    for (const auto& one : declaring->questions) {
        fmt::print("{}\n", what_was_done(one));
    }
    const auto added = declaring->rows_added();
    if (added > 0) {
        fmt::print("{}\n", what_was_known(*declaring));
    }
    if (!declaring->records_settings) {
        fmt::print(
            "beware: {} has no column settings_sha256, so that no row of it says under which settings of "
            "the analysis a question was declared: write it at the end of the header line and declare "
            "again\n",
            declaring->file.string());
    }
    for (const auto& doubt : declaring->doubts) {
        fmt::print("beware: {}\n", doubt.error.text());
    }
    if (added > 0 && options.author.empty()) {
        fmt::print("beware: the new rows name nobody: give --author NAME, or fill them in\n");
    }
    fmt::print("{} row{} added to {}\n", added, added == 1 ? "" : "s", declaring->file.string());
    return exit_clean;
}

} // namespace

void add_declare(CLI::App& program, int& status) {
    auto options = std::make_shared<DeclareOptions>();
    auto* command = program.add_subcommand(
        "declare",
        "Write down what a study is to find out, before its numbers are known: a row in declarations.csv for "
        "each\n"
        "[[question]] of study.toml that has none in its present form.\n\n"
        "Why: of many questions that could be asked of the same fish, some look answered by chance. A reader "
        "can\n"
        "tell a question that came first from one that was found in the data only if the first was written "
        "down.\n"
        "The report says of each answer when its question was declared, and of one that never was that it "
        "is\n"
        "exploratory: worth asking again of new fish.\n\n"
        "When: after writing the questions, before the first fish. Later is still better than never: the row "
        "says\n"
        "how many fish had been met and whether results lay in the folder. A question that is changed "
        "(outcome,\n"
        "compare, adjust_for, margin ...) has to be declared again, and both rows stay; rewording `ask` "
        "changes\n"
        "nothing. So does one whose answer rests on settings of the analysis that were changed ([peak], "
        "[resting],\n"
        "[background] ...). A row holds hashes of the question and of the settings, not their words: keep\n"
        "study.toml under version control.\n\n"
        "It is a record among honest people, no proof: the file is plain text and the clock is this "
        "machine's.\n"
        "Lodge a copy with somebody else where it has to convince. Close declarations.csv in the spreadsheet "
        "first.\n"
        "Exit status: 0 done, 1 something cannot be read or written (nothing has changed), 2 wrong usage.");
    command->add_option("DIR", options->folder, "the study folder (it holds study.toml)")->required();
    command->add_option("QUESTION", options->questions,
                        "names of questions to declare; none: all of the brief");
    command->add_option("--author", options->author, "who declares, for the rows");
    command->add_option("--note", options->note,
                        "a word to the new rows, such as that results were seen elsewhere (run --out)");
    command->callback([options, &status] { status = declare(*options); });
}

} // namespace backeddy::cli
