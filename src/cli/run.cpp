#include <chrono>
#include <cstdio>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include <CLI/CLI.hpp>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/folder_watch.hpp"
#include "app/followers.hpp"
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
    bool follow = false;
    bool hide_treatment = false;
};

int refuse(const app::Refusal& refusal) {
    std::size_t stopping = 0;
    for (const auto& complaint : refusal.complaints) {
        if (complaint.severity == study::Severity::stops_the_run) {
            fmt::print(stderr, "backeddy: {}\n", complaint.error.text());
            ++stopping;
        }
    }
    if (refusal.followers > 0) {
        fmt::print(stderr, "backeddy: {}\n", app::followers_text(refusal.followers));
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

void print_answered(const app::StudyRun& run, const fs::path& out) {
    const auto warnings = run.complaints.size();
    fmt::print("{} fish, {} stays: results in {}{}\n", run.fish.size(), run.stays.list.size(), out.string(),
               warnings == 0 ? ""
                             : fmt::format(" ({} thing{} to beware of {} listed in the report)", warnings,
                                           warnings == 1 ? "" : "s", warnings == 1 ? "is" : "are"));
}

// A study that stays open: answered whole, or again after its decisions have changed.
class Session {
  public:
    Session(const RunOptions& options, fs::path out) : options_(options), out_(std::move(out)) {}

    /// Reads and computes; exit_clean, or the complaints are printed and nothing is held.
    int answer() {
        held_.reset();
        auto answered = app::answer_study(options_.folder, options_.hide_treatment, work());
        line_.clear();
        if (!answered) {
            return report_error(answered.error());
        }
        if (!answered->study) {
            return refuse(answered->refusal);
        }
        held_ = std::move(answered->study);
        return exit_clean;
    }

    /// The same when nothing but decisions.csv has changed: what they touch alone is computed.
    int answer_decisions() {
        if (!held_ || options_.hide_treatment) { // tables read again tell the treatments again
            return answer();
        }
        if (auto complaints = app::take_new_decisions(held_->opened); study::stops_a_run(complaints)) {
            return refuse({.complaints = std::move(complaints)});
        }
        app::answer_again(held_->opened, *held_->run, work());
        line_.clear();
        return exit_clean;
    }

    int write(std::chrono::system_clock::time_point began) const {
        if (auto written = app::write_results(*held_->run, out_, log_of(options_, *held_->run, began));
            !written) {
            return report_error(written.error());
        }
        print_answered(*held_->run, out_);
        return exit_clean;
    }

    [[nodiscard]] int why() const {
        auto text = app::why(*held_->run->answers, options_.why[0], options_.why[1]);
        if (!text) {
            // A name that is not there is a slip of the command line; a number that is not there is an
            // answer.
            const int status = report_error(text.error());
            return text.error().code == ErrorCode::unknown_name ? exit_usage : status;
        }
        fmt::print("{}", *text);
        return exit_clean;
    }

  private:
    [[nodiscard]] app::Work work() {
        return {.threads = {.count = options_.threads},
                .progress = [this](std::string_view what, std::size_t done, std::size_t total,
                                   std::string_view unit) { line_.show(what, done, total, unit); }};
    }

    const RunOptions& options_;
    fs::path out_;
    ProgressLine line_;
    std::unique_ptr<app::AnsweredStudy> held_;
};

// Until somebody ends it: after each save, the results once more. Complaints leave the earlier results.
void follow(const RunOptions& options, app::FolderWatch& watch, Session& session) {
    fmt::print("following {}: save a table, the brief or a raw file, and the results are made anew; Ctrl-C "
               "ends this\n",
               options.folder);
    std::fflush(stdout);
    for (;;) {
        std::this_thread::sleep_for(app::FolderWatch::pause);
        const auto changed = watch.changed();
        if (changed.empty()) {
            continue;
        }
        const auto began = std::chrono::system_clock::now();
        const bool only_decisions = changed == std::set<std::string>{"decisions.csv"};
        if ((only_decisions ? session.answer_decisions() : session.answer()) == exit_clean &&
            session.write(began) == exit_clean) {
            const std::chrono::duration<double> took = std::chrono::system_clock::now() - began;
            fmt::print("    {} changed; answered in {:.2f} s\n", fmt::join(changed, ", "), took.count());
        }
        std::fflush(stdout);
    }
}

int run(const RunOptions& options) {
    const auto began = std::chrono::system_clock::now();
    if (options.folder.empty() || (options.out && options.out->empty())) {
        return report_error(empty_name(options.folder.empty() ? "DIR" : "--out"));
    }
    const char* own = options.hide_treatment ? "results-treatment-hidden" : "results";
    const fs::path out = options.out ? fs::path(*options.out) : fs::path(options.folder) / own;
    if (auto allowed = app::may_hold_results(out, options.folder); !allowed) {
        return report_error(allowed.error());
    }
    // Before the work rather than after it; it is looked at again when the results are written.
    if (auto allowed = app::may_replace_results(out); !allowed && options.why.empty()) {
        return report_error(allowed.error());
    }
    std::optional<app::FolderWatch> watch;
    if (options.follow) {
        watch.emplace(options.folder, out); // before the first reading: no save is missed
    }
    Session session(options, out);
    if (const int status = session.answer(); status != exit_clean) {
        return status;
    }
    if (!options.why.empty()) {
        return session.why();
    }
    if (const int status = session.write(began); status != exit_clean) {
        return status;
    }
    if (watch) {
        follow(options, *watch, session);
    }
    return exit_clean;
}

std::vector<std::string> why_words() {
    auto out = app::why_metrics();
    const auto of_condition = app::why_condition_metrics();
    out.insert(out.end(), of_condition.begin(), of_condition.end());
    return out;
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
    command->add_option("--threads", options->threads, "threads to use; 0 is all")
        ->check(CLI::Range(0U, 1024U));
    command
        ->add_option("--why", options->why,
                     fmt::format("print the road from a number back to files and lines, and write nothing; "
                                 "METRIC is one of {}",
                                 fmt::join(why_words(), ", ")))
        ->expected(2)
        ->type_name("FISH METRIC");
    command
        ->add_flag("--follow", options->follow,
                   "stay, and answer again whenever a file of the study is saved; after a change of "
                   "decisions.csv only what it touches is computed")
        ->excludes("--why");
    command->add_flag(
        "--hide-treatment", options->hide_treatment,
        "for judging traces: leave out rigs, unhooking, your own columns, groups and questions; "
        "written to DIR/results-treatment-hidden unless --out says otherwise");
    command->callback([options, &status] { status = run(*options); });
}

} // namespace backeddy::cli
