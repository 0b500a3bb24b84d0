#pragma once
// Start here: one function a command. It declares the command's words and sets `status` when it has run.

namespace CLI {
class App;
}

namespace backeddy::cli {

void add_new(CLI::App& program, int& status);
void add_check(CLI::App& program, int& status);
void add_declare(CLI::App& program, int& status);
void add_journal(CLI::App& program, int& status);
void add_people(CLI::App& program, int& status);
void add_run(CLI::App& program, int& status);
void add_serve(CLI::App& program, int& status);
void add_simulate(CLI::App& program, int& status);
void add_watch(CLI::App& program, int& status);

} // namespace backeddy::cli
