#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <iterator>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/desk.hpp"
#include "app/version.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"
#include "pages/edit_routes.hpp"
#include "pages/page_files.hpp"
#include "pages/study_routes.hpp"
#include "server/gate.hpp"
#include "server/listener.hpp"
#include "server/own_routes.hpp"
#include "server/people.hpp"
#include "store/folder_kind.hpp"
#include "store/journal.hpp"

namespace backeddy::cli {

namespace {

namespace fs = std::filesystem;

struct ServeOptions {
    std::string folder;
    std::uint16_t port = 8340;
    std::string address;
    std::vector<std::string> names;
};

Expected<void> is_study(const std::string& folder) {
    std::error_code ignored;
    if (fs::is_regular_file(fs::path(folder) / "study.toml", ignored)) {
        return {};
    }
    return fail({.code = ErrorCode::file_missing,
                 .found = "there is no study.toml in this folder",
                 .expected = "a study's folder",
                 .remedy = "make one with `backeddy new DIR`, or check the name",
                 .place = {.file = folder}});
}

/// Beyond this machine somebody has to be there who may sign in.
Expected<void> has_people(const fs::path& file, const std::string& address) {
    auto people = server::load_people(file);
    if (!people) {
        return fail(std::move(people).error());
    }
    if (people->empty()) {
        return fail(
            {.code = ErrorCode::bad_setting,
             .found = fmt::format("{} can be reached from other machines, and nobody may sign in", address),
             .expected = "at least one person with a passphrase",
             .remedy = "backeddy people add NAME --role crew (or viewer, or scientist)"});
    }
    return {};
}

/// Where to listen: here alone, or here and at the address. One that means all addresses holds ours already.
std::vector<std::string> addresses_of(const std::string& address) {
    if (address.empty() || server::is_loopback(address)) {
        return {};
    }
    return address == "0.0.0.0" || address == "::" ? std::vector<std::string>{address}
                                                   : std::vector<std::string>{"127.0.0.1", address};
}

void print_where(const ServeOptions& options, const server::Gate& gate, std::uint16_t port,
                 const std::vector<std::string>& addresses) {
    fmt::print("{} on this machine, with the token of this start:\n  http://127.0.0.1:{}/?token={}\n",
               options.folder, port, gate.start_token());
    if (!addresses.empty()) {
        const bool is_every = addresses.size() == 1;
        const std::string host =
            options.address.find(':') == std::string::npos ? options.address : '[' + options.address + ']';
        fmt::print("from other machines, signing in by name and passphrase:\n  http://{}:{}/\n",
                   is_every ? std::string("ADDRESS-OF-THIS-MACHINE") : host, port);
        fmt::print(
            "beware: without TLS whoever listens on that network can read along; use one that is yours\n");
    }
    fmt::print("Ctrl-C stops it.\n");
    std::fflush(stdout);
}

Instant wall_clock() {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(now).count());
}

std::vector<server::Route> all_routes(server::Gate& gate, app::Desk& desk) {
    auto out = server::own_routes(gate, app::program_version);
    for (auto more : {pages::study_routes(desk), pages::edit_routes(desk), pages::page_routes()}) {
        std::ranges::move(more, std::back_inserter(out));
    }
    return out;
}

int serve(const ServeOptions& options) {
    if (options.folder.empty()) {
        return report_error(empty_name("DIR"));
    }
    if (auto ok = is_study(options.folder); !ok) {
        return report_error(ok.error());
    }
    const auto file = server::people_file();
    if (!file) {
        return report_error(file.error());
    }
    const auto addresses = addresses_of(options.address);
    if (!addresses.empty()) {
        if (auto ok = has_people(*file, options.address); !ok) {
            return report_error(ok.error());
        }
    }
    auto listener = server::Listener::open(addresses, options.port);
    if (!listener) {
        return report_error(listener.error());
    }
    server::People people(*file);
    server::Gate gate({.port = listener->port(), .names = options.names}, people);
    app::Desk desk(
        {.folder = options.folder, .now = wall_clock, .on_change = [&](const app::DeskState& state) {
             listener->publish(fmt::format(R"({{"state":{}}})", pages::state_json(state)));
         }});
    auto routes = server::Routes::of(all_routes(gate, desk));
    if (!routes) {
        return report_error(routes.error());
    }
    const server::Service service(gate, std::move(*routes));
    for (const auto& warning : store::folder_warnings(fs::path(options.folder) / store::journal_name)) {
        fmt::print("beware: {}\n", warning);
    }
    print_where(options, gate, listener->port(), addresses);
    listener->serve(service);
    return exit_clean;
}

} // namespace

void add_serve(CLI::App& program, int& status) {
    auto options = std::make_shared<ServeOptions>();
    auto* command = program.add_subcommand(
        "serve", "Open a study in the browser of this machine, until Ctrl-C.\n\n"
                 "It prints an address with a token: whoever opens that on this machine is the study's "
                 "scientist. The token is\n"
                 "of this start alone and leaves the address bar at once. Nobody else reaches the program "
                 "unless you say so:\n\n"
                 "  backeddy people add NAME --role crew          # once: who may, and their passphrase\n"
                 "  backeddy serve DIR --address 192.0.2.7        # also at this address of the machine, to "
                 "who signs in\n\n"
                 "Roles: a viewer reads, crew also logs, a scientist also edits. The program answers under "
                 "the addresses it\n"
                 "listens at and the names that --name gives, and refuses all others.\n"
                 "Exit status: 0 stopped, 1 it cannot listen or the folder is no study, 2 wrong usage.");
    command->add_option("DIR", options->folder, "the study folder (it holds study.toml)")->required();
    command->add_option("--port", options->port, "port to listen at; 0 takes any that is free")
        ->capture_default_str();
    command->add_option(
        "--address", options->address,
        "also listen at this address of the machine, in digits (0.0.0.0: at all); needs people who may "
        "sign in");
    command->add_option("--name", options->names,
                        "a further name under which browsers ask, such as boat.local");
    command->callback([options, &status] { status = serve(*options); });
}

} // namespace backeddy::cli
