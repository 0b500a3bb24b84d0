#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>
#include <termios.h>
#include <unistd.h>

#include "cli/commands.hpp"
#include "cli/terminal.hpp"
#include "server/people.hpp"

namespace backeddy::cli {

namespace {

struct PeopleOptions {
    std::string name;
    std::string role;
};

/// The terminal shows nothing of what is typed, as long as this stands.
class WithoutEcho {
  public:
    WithoutEcho() {
        is_changed_ = ::tcgetattr(STDIN_FILENO, &before_) == 0;
        if (is_changed_) {
            termios silent = before_;
            silent.c_lflag &= ~static_cast<tcflag_t>(ECHO);
            ::tcsetattr(STDIN_FILENO, TCSAFLUSH, &silent);
        }
    }
    ~WithoutEcho() {
        if (is_changed_) {
            ::tcsetattr(STDIN_FILENO, TCSAFLUSH, &before_);
            fmt::print(stderr, "\n");
        }
    }
    WithoutEcho(const WithoutEcho&) = delete;
    WithoutEcho& operator=(const WithoutEcho&) = delete;

  private:
    termios before_{};
    bool is_changed_ = false;
};

Expected<std::string> one_line(std::string_view question) {
    if (::isatty(STDIN_FILENO) == 1) {
        fmt::print(stderr, "{}: ", question);
        std::fflush(stderr);
    }
    const WithoutEcho guard;
    std::string line;
    if (!std::getline(std::cin, line)) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = "standard input ended before a passphrase came",
                     .expected = "a passphrase, typed or as the first line of standard input",
                     .remedy = "run it in a terminal"});
    }
    return line;
}

/// Asked twice on a terminal; the first line of anything else.
Expected<std::string> ask_passphrase(const std::string& name) {
    auto passphrase =
        one_line(fmt::format("Passphrase for {} ({} characters or more)", name, server::shortest_passphrase));
    if (!passphrase || ::isatty(STDIN_FILENO) != 1) {
        return passphrase;
    }
    auto again = one_line("The same again");
    if (!again) {
        return again;
    }
    if (*again != *passphrase) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = "the two passphrases differ",
                     .expected = "the same twice",
                     .remedy = "run it again; nothing has changed"});
    }
    return passphrase;
}

/// What `change` makes of the people in the file of this machine, written back.
template <typename Change>
int change_people(const Change& change, std::string_view done) {
    const auto file = server::people_file();
    if (!file) {
        return report_error(file.error());
    }
    auto people = server::load_people(*file);
    if (!people) {
        return report_error(people.error());
    }
    const auto changed = change(std::move(*people));
    if (!changed) {
        return report_error(changed.error());
    }
    if (auto saved = server::save_people(*file, *changed); !saved) {
        return report_error(saved.error());
    }
    fmt::print("{}, in {}\n", done, file->string());
    return exit_clean;
}

int add(const PeopleOptions& options) {
    return change_people(
        [&](std::vector<server::Person> people) -> Expected<std::vector<server::Person>> {
            // Before anybody types a passphrase for nothing.
            auto changed = server::with_person(
                std::move(people), {.name = options.name, .role = *server::role_of(options.role)});
            if (!changed) {
                return changed;
            }
            const auto passphrase = ask_passphrase(options.name);
            if (!passphrase) {
                return fail(passphrase.error());
            }
            auto verifier = server::make_verifier(*passphrase);
            if (!verifier) {
                return fail(std::move(verifier).error());
            }
            changed->back().verifier = std::move(*verifier);
            return changed;
        },
        fmt::format("{} may sign in as {}", options.name, options.role));
}

int remove(const PeopleOptions& options) {
    return change_people(
        [&](std::vector<server::Person> people) {
            return server::without_person(std::move(people), options.name);
        },
        fmt::format("{} may sign in no more", options.name));
}

int list() {
    const auto file = server::people_file();
    if (!file) {
        return report_error(file.error());
    }
    const auto people = server::load_people(*file);
    if (!people) {
        return report_error(people.error());
    }
    for (const auto& person : *people) {
        fmt::print("{}\t{}\n", server::role_word(person.role), person.name);
    }
    if (people->empty()) {
        fmt::print("nobody may sign in: backeddy people add NAME --role crew\n");
    }
    return exit_clean;
}

} // namespace

void add_people(CLI::App& program, int& status) {
    auto* command = program.add_subcommand(
        "people",
        "Who may sign in to `backeddy serve` from other machines. They belong to this machine, not to a "
        "study: a file\n"
        "of yours that nobody else may read, $XDG_CONFIG_HOME/backeddy/people.toml (~/.config without it), "
        "with what\n"
        "their passphrases are checked by (Argon2id), never the passphrases.\n\n"
        "  backeddy people add NAME --role crew    # asks for a passphrase, twice, and shows nothing of it\n"
        "  backeddy people list\n"
        "  backeddy people remove NAME             # and whoever is signed in by that name is out within a "
        "second\n\n"
        "Exit status: 0 done, 1 the file cannot be read or written or the passphrase is too short, 2 wrong "
        "usage.");
    command->require_subcommand(1);
    auto options = std::make_shared<PeopleOptions>();
    auto* adding = command->add_subcommand("add", "Let somebody sign in; their passphrase is asked for.");
    adding->add_option("NAME", options->name, "the name to sign in by")->required();
    adding->add_option("--role", options->role, "viewer (reads), crew (also logs) or scientist (also edits)")
        ->required()
        ->check(CLI::IsMember({"viewer", "crew", "scientist"}));
    adding->callback([options, &status] { status = add(*options); });
    auto* removing = command->add_subcommand("remove", "Let somebody sign in no more.");
    removing->add_option("NAME", options->name, "the name they signed in by")->required();
    removing->callback([options, &status] { status = remove(*options); });
    command->add_subcommand("list", "Role and name of each, a line each.")->callback([&status] {
        status = list();
    });
}

} // namespace backeddy::cli
