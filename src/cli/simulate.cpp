#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "cli/commands.hpp"
#include "cli/terminal.hpp"
#include "simulate/simulate.hpp"

namespace backeddy::cli {

namespace {

struct SimulateOptions {
    std::string plan;
    std::uint64_t seed = 1;
    std::string out;
    unsigned threads = 0;
};

int run(const SimulateOptions& options) {
    auto plan = simulate::read_plan(options.plan);
    if (!plan) {
        return report_error(plan.error());
    }
    auto made = simulate::simulate_study(*plan, options.seed, options.out, {.count = options.threads});
    if (!made) {
        return report_error(made.error());
    }
    fmt::print(
        "simulated study in {}: {} fish, {} stays, {} raw files ({:.1f} MB); its truth is in {}/truth\n",
        options.out, made->fish, made->stays, made->raw_files, static_cast<double>(made->raw_bytes) / 1e6,
        options.out);
    return exit_clean;
}

} // namespace

void add_simulate(CLI::App& program, int& status) {
    auto options = std::make_shared<SimulateOptions>();
    auto* command = program.add_subcommand(
        "simulate",
        "Make a whole study folder from the physics of chambers and fish, with its truth beside it.\n"
        "The same plan and seed give the same bytes.");
    command->add_option("PLAN", options->plan, "the simulation's plan, such as demo/demo.toml")->required();
    command->add_option("--seed", options->seed, "what chance draws from");
    command->add_option("--out", options->out, "the folder to make; it must not exist or be empty")
        ->required();
    command->add_option("--threads", options->threads, "threads to use; 0 is all");
    command->callback([options, &status] { status = run(*options); });
}

} // namespace backeddy::cli
