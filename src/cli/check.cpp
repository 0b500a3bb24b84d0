#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/followers.hpp"
#include "app/run.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"

namespace backeddy::cli {

namespace {

int check(const std::string& folder, unsigned threads) {
    if (folder.empty()) {
        return report_error(empty_name("DIR"));
    }
    ProgressLine line;
    const app::Work work{.threads = {.count = threads},
                         .progress = [&](std::string_view what, std::size_t done, std::size_t total,
                                         std::string_view unit) { line.show(what, done, total, unit); }};
    auto opened = app::open_study(folder, work);
    if (!opened) {
        return report_error(opened.error());
    }
    line.clear();
    // Channels that the assemblies name are looked for where a run would look for them.
    auto chambers = app::build_chambers(opened->study, opened->traces, work.threads);
    opened->complaints.insert(opened->complaints.end(), chambers.complaints.begin(),
                              chambers.complaints.end());
    const auto states = app::see_states(opened->study, opened->traces, chambers, work.threads);
    opened->complaints.insert(opened->complaints.end(), states.complaints.begin(), states.complaints.end());
    study::sort_by_place(opened->complaints);
    opened->followers += app::drop_followers(opened->complaints, opened->study, opened->traces);
    fmt::print("{}", app::check_text(*opened, states));
    return study::stops_a_run(opened->complaints) ? exit_complaints : exit_clean;
}

} // namespace

void add_check(CLI::App& program, int& status) {
    struct Options {
        std::string folder;
        unsigned threads = 0;
    };
    auto options = std::make_shared<Options>();
    auto* command = program.add_subcommand(
        "check", "Read everything in a study folder and say what was understood and what is wrong.\n"
                 "Exit status: 0 clean, 1 complaints that would stop a run, 2 wrong usage.");
    command->add_option("DIR", options->folder, "the study folder (it holds study.toml)")->required();
    command->add_option("--threads", options->threads, "threads to use; 0 is all (the answer is the same)")
        ->check(CLI::Range(0U, 1024U));
    command->callback([options, &status] { status = check(options->folder, options->threads); });
}

} // namespace backeddy::cli
