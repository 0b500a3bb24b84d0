#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/result_folder.hpp"
#include "app/run.hpp"
#include "app/version.hpp"
#include "app/why.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"

namespace backeddy::cli {

namespace {

namespace fs = std::filesystem;

struct RunOptions {
    std::string folder;
    std::optional<std::string> out;
    unsigned threads = 0;
    std::vector<std::string> why;
};

int refuse(const std::vector<study::Complaint>& complaints) {
    std::size_t stopping = 0;
    for (const auto& complaint : complaints) {
        if (complaint.severity == study::Severity::stops_the_run) {
            fmt::print(stderr, "backeddy: {}\n", complaint.error.text());
            ++stopping;
        }
    }
    fmt::print(stderr,
               "backeddy: nothing was computed: {} complaint{} stop{} the run; `backeddy check` shows the "
               "whole picture\n",
               stopping, stopping == 1 ? "" : "s", stopping == 1 ? "s" : "");
    return exit_complaints;
}

// What a person asks later of this very run: when, where, how long, and with what warnings.
std::string log_of(const RunOptions& options, const app::StudyRun& run,
                   std::chrono::system_clock::time_point began) {
    const auto nanoseconds = [](std::chrono::system_clock::time_point t) {
        return std::chrono::duration_cast<std::chrono::nanoseconds>(t.time_since_epoch()).count();
    };
    const auto begun = Instant::unix_nanoseconds(nanoseconds(began) / 1'000'000'000 * 1'000'000'000);
    const double took_s =
        static_cast<double>(nanoseconds(std::chrono::system_clock::now()) - nanoseconds(began)) * 1e-9;
    std::error_code ignored;
    std::string out =
        fmt::format("program   backeddy {}\nstudy     {}\nbegan     {}\ntook      {:.1f} s\nthreads   {}\n",
                    app::program_version, fs::absolute(options.folder, ignored).string(), iso_text(begun),
                    took_s, Threads{.count = options.threads}.resolved());
    for (const auto& complaint : run.complaints) {
        out += fmt::format("beware    {}\n", complaint.error.text());
    }
    return out;
}

int run(const RunOptions& options) {
    const auto began = std::chrono::system_clock::now();
    if (options.folder.empty() || (options.out && options.out->empty())) {
        return report_error(empty_name(options.folder.empty() ? "DIR" : "--out"));
    }
    const fs::path out = options.out ? fs::path(*options.out) : fs::path(options.folder) / "results";
    if (auto allowed = app::may_hold_results(out, options.folder); !allowed) {
        return report_error(allowed.error());
    }
    // Before the work rather than after it; it is looked at again when the results are written.
    if (auto allowed = app::may_replace_results(out); !allowed && options.why.empty()) {
        return report_error(allowed.error());
    }
    ProgressLine line;
    const app::Work work{.threads = {.count = options.threads},
                         .progress = [&](std::string_view what, std::size_t done, std::size_t total,
                                         std::string_view unit) { line.show(what, done, total, unit); }};
    auto opened = app::open_study(options.folder, work);
    if (!opened) {
        return report_error(opened.error());
    }
    if (study::stops_a_run(opened->complaints)) {
        line.clear();
        return refuse(opened->complaints);
    }
    const auto answered = app::run_study(*opened, work);
    line.clear();
    if (study::stops_a_run(answered->complaints)) {
        return refuse(answered->complaints);
    }
    if (!options.why.empty()) {
        auto text = app::why(*answered->answers, options.why[0], options.why[1]);
        if (!text) {
            // A name that is not there is a slip of the command line; a number that is not there is an
            // answer.
            const int status = report_error(text.error());
            return text.error().code == ErrorCode::unknown_name ? exit_usage : status;
        }
        fmt::print("{}", *text);
        return exit_clean;
    }
    if (auto written = app::write_results(*answered, out, log_of(options, *answered, began)); !written) {
        return report_error(written.error());
    }
    const auto warnings = answered->complaints.size();
    fmt::print("{} fish, {} stays: results in {}{}\n", answered->fish.size(), answered->stays.list.size(),
               out.string(),
               warnings == 0 ? ""
                             : fmt::format(" ({} things to beware of are listed in the report)", warnings));
    return exit_clean;
}

} // namespace

void add_run(CLI::App& program, int& status) {
    auto options = std::make_shared<RunOptions>();
    auto* command = program.add_subcommand(
        "run", "Check a study, compute it, and write tables, results.json and report.html, all or nothing.\n"
               "The same study gives the same bytes, whatever the number of threads.");
    command->add_option("DIR", options->folder, "the study folder (it holds study.toml)")->required();
    command->add_option("--out", options->out,
                        "folder for the results; default DIR/results; not the study folder itself");
    command->add_option("--threads", options->threads, "threads to use; 0 is all");
    command
        ->add_option("--why", options->why,
                     fmt::format("print the road from a number back to files and lines, and write nothing; "
                                 "METRIC is one of {}",
                                 fmt::join(app::why_metrics(), ", ")))
        ->expected(2)
        ->type_name("FISH METRIC");
    command->callback([options, &status] { status = run(*options); });
}

} // namespace backeddy::cli
