#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "cli/commands.hpp"
#include "cli/terminal.hpp"
#include "intake/template.hpp"

namespace backeddy::cli {

namespace {

int make(const std::string& folder) {
    if (auto made = intake::write_template(folder); !made) {
        return report_error(made.error());
    }
    fmt::print("a study to fill in: {0}\n"
               "  {0}/study.toml         the brief: say what your loggers' files are\n"
               "  {0}/*.csv              the tables, with their headers\n"
               "  {0}/raw/               put the loggers' files here; they are never written to\n"
               "  {0}/field-sheets.html  to print\n"
               "next: backeddy check {1}\n",
               folder, shell_word(folder));
    return exit_clean;
}

} // namespace

void add_new(CLI::App& program, int& status) {
    auto folder = std::make_shared<std::string>();
    auto* command = program.add_subcommand(
        "new",
        "Make a study folder to fill in: a commented brief, tables with headers, field sheets to print.");
    command->add_option("DIR", *folder, "the folder to make; it must not exist or be empty")->required();
    command->callback([folder, &status] { status = make(*folder); });
}

} // namespace backeddy::cli
