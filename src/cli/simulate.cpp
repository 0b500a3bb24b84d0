#include <charconv>
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
    std::string seed = "1";
    std::string out;
    unsigned threads = 0;
};

int run(const SimulateOptions& options) {
    std::uint64_t seed = 0;
    const char* end = options.seed.data() + options.seed.size();
    if (const auto read = std::from_chars(options.seed.data(), end, seed);
        read.ec != std::errc() || read.ptr != end) {
        return report_error({.code = ErrorCode::bad_usage,
                             .found = fmt::format("--seed {}", options.seed),
                             .expected = "a whole number from 0 to 18446744073709551615",
                             .remedy = "give such a number, or leave --seed away (it is 1 then)"});
    }
    auto plan = simulate::read_plan(options.plan);
    if (!plan) {
        return report_error(plan.error());
    }
    auto made = simulate::simulate_study(*plan, seed, options.out, {.count = options.threads});
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
    command->add_option("--threads", options->threads, "threads to use; 0 is all")
        ->check(CLI::Range(0U, 1024U));
    command->callback([options, &status] { status = run(*options); });
}

} // namespace backeddy::cli
