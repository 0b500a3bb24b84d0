// The program: its commands, each in a file of its own.

#include <cerrno>
#include <cstdio>
#include <exception>
#include <iostream>
#include <string>
#include <system_error>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/version.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"

namespace {

constexpr const char* description =
    R"(Oxygen uptake of angled and released fish: from raw logs and field sheets to each fish's answer.

  backeddy new DIR          a study folder to fill in, with field sheets to print
  backeddy check DIR        what was understood of every file, and what is wrong
  backeddy declare DIR      what the study is to find out, written down before the numbers are known
  backeddy run DIR          all numbers, tables and the report, into DIR/results
  backeddy serve DIR        the study in the browser of this machine
  backeddy journal          what people did in a study: to read, to copy, to bring back
  backeddy people           who may sign in from other machines
  backeddy simulate PLAN    an invented study with its truth beside it

It keeps no fish alive and gives no veterinary advice: pumps must fail to flush by themselves, somebody stays
within reach, and the permit's holder decides.)";

// What was printed is out: a full disk or a closed reader is told, not taken for success.
int flushed(int status) {
    errno = 0;
    std::cout.flush();
    const bool is_out = std::fflush(stdout) == 0 && std::ferror(stdout) == 0 && std::cout.good();
    if (is_out) {
        return status;
    }
    const std::string why = errno == 0 ? std::string() : " (" + std::generic_category().message(errno) + ")";
    fmt::print(
        stderr,
        "backeddy: standard output could not be written{}: what was printed is not whole; look for room "
        "on the disk, or print to another file\n",
        why);
    return status == backeddy::cli::exit_clean ? backeddy::cli::exit_complaints : status;
}

} // namespace

int main(int argc, char** argv) {
    using namespace backeddy;
    CLI::App program{description, "backeddy"};
    program.set_version_flag("--version", app::program_version);
    program.require_subcommand(1);
    int status = cli::exit_clean;
    cli::add_new(program, status);
    cli::add_check(program, status);
    cli::add_declare(program, status);
    cli::add_run(program, status);
    cli::add_serve(program, status);
    cli::add_journal(program, status);
    cli::add_people(program, status);
    cli::add_simulate(program, status);
    cli::add_watch(program, status);
    try {
        program.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return flushed(program.exit(error) == 0 ? cli::exit_clean : cli::exit_usage);
    } catch (const std::exception& error) {
        if (std::ferror(stdout) != 0) {
            return flushed(cli::exit_complaints);
        }
        fmt::print(
            stderr,
            "backeddy: {}\nThis is a fault of the program: please report it with the command you typed.\n",
            error.what());
        return cli::exit_complaints;
    }
    return flushed(status);
}
