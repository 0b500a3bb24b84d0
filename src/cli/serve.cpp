#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <iterator>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/desk.hpp"
#include "app/journal_copy.hpp"
#include "app/version.hpp"
#include "cli/commands.hpp"
#include "cli/serve_deck.hpp"
#include "cli/terminal.hpp"
#include "live/socket_path.hpp"
#include "pages/deck_routes.hpp"
#include "pages/edit_routes.hpp"
#include "pages/page_files.hpp"
#include "pages/study_routes.hpp"
#include "pages/watch_routes.hpp"
#include "server/gate.hpp"
#include "server/listener.hpp"
#include "server/own_routes.hpp"
#include "server/pairing.hpp"
#include "server/pairing_routes.hpp"
#include "server/people.hpp"
#include "server/trust_pages.hpp"
#include "store/backup.hpp"
#include "store/folder_kind.hpp"
#include "store/journal.hpp"
#include "store/segment.hpp"

namespace backeddy::cli {

namespace {

namespace fs = std::filesystem;

struct ServeOptions {
    std::string folder;
    std::uint16_t port = 8340;
    std::string address;
    std::vector<std::string> names;
    std::string copy_to;
    DeckOptions deck;
};

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

/// What computes yet is left: so long for it, then the process ends around it.
constexpr std::chrono::milliseconds patience_at_end{300};

/// Where to listen: here alone, or here and at the address. One that means all addresses holds ours already.
std::vector<std::string> addresses_of(const ServeOptions& options) {
    const std::string& address = options.address;
    if ((options.deck.is_on && address.empty()) || address == "::") {
        return {"0.0.0.0", "::"};
    }
    if (address.empty() || server::is_loopback(address)) {
        return {};
    }
    return address == "0.0.0.0" ? std::vector<std::string>{address}
                                : std::vector<std::string>{"127.0.0.1", address};
}

void print_where(const ServeOptions& options, const server::Gate& gate, std::uint16_t port,
                 const std::vector<std::string>& addresses) {
    fmt::print("{} on this machine, with the token of this start:\n  http://127.0.0.1:{}/?token={}\n",
               options.folder, port, gate.start_token());
    if (!addresses.empty() && !options.deck.is_on) {
        const bool is_every = addresses.front() == "0.0.0.0";
        const std::string host =
            options.address.find(':') == std::string::npos ? options.address : '[' + options.address + ']';
        fmt::print("from other machines, signing in by name and passphrase:\n  http://{}:{}/\n",
                   is_every ? std::string("ADDRESS-OF-THIS-MACHINE") : host, port);
        fmt::print(
            "beware: without TLS whoever listens on that network can read along; use one that is yours\n");
    }
}

Expected<void> has_copy(const std::string& folder) {
    std::error_code ignored;
    if (folder.empty() || fs::is_regular_file(fs::path(folder) / store::copy_name, ignored)) {
        return {};
    }
    return fail({.code = ErrorCode::file_missing,
                 .found = fmt::format("there is no {} in this folder", store::copy_name),
                 .expected =
                     "the folder with this journal's copy; a disk that is not plugged in is not taken "
                     "for an empty one",
                 .remedy = "plug the disk in, or make the copy once: backeddy journal copy DIR FOLDER",
                 .place = {.file = folder}});
}

/// Told on the terminal; work goes on.
void print_copy(const store::CopyState& state) {
    if (state.trouble) {
        fmt::print("beware: the journal's copy is {} entries behind: {}\n", state.behind,
                   state.trouble->text());
    } else if (state.behind == 0) {
        fmt::print("the journal's copy has everything\n");
    }
    std::fflush(stdout);
}

std::vector<server::Route> all_routes(server::Gate& gate, app::Desk& desk, const app::JournalCopy* copy,
                                      const pages::WatchView* watch, std::vector<server::Route> of_phones) {
    auto out = server::own_routes(gate, app::program_version);
    std::ranges::move(of_phones, std::back_inserter(out));
    std::ranges::move(pages::watch_routes(watch), std::back_inserter(out));
    for (auto more :
         {pages::study_routes(desk), pages::edit_routes(desk),
          pages::deck_routes(desk, [&gate](std::string_view name) { return gate.role_of_name(name); }),
          pages::copy_routes(copy), pages::page_routes()}) {
        std::ranges::move(more, std::back_inserter(out));
    }
    return out;
}

std::vector<server::Route> routes_of_phones(server::Gate& gate, server::Pairings& pairings,
                                            const std::optional<server::Road>& road,
                                            const std::function<void()>& tell) {
    auto out = server::trust_routes(road);
    std::ranges::move(server::pairing_routes(gate, pairings, road, tell), std::back_inserter(out));
    return out;
}

int serve(const ServeOptions& options) {
    if (auto ok = is_study(options.folder); !ok) {
        return report_error(ok.error());
    }
    if (auto ok = has_copy(options.copy_to); !ok) {
        return report_error(ok.error());
    }
    const auto file = server::people_file();
    if (!file) {
        return report_error(file.error());
    }
    const auto addresses = addresses_of(options);
    if (!addresses.empty() && !options.deck.is_on) {
        if (auto ok = has_people(*file, options.address); !ok) {
            return report_error(ok.error());
        }
    }
    const auto deck = open_deck(options.deck, file->parent_path(), wall_clock());
    if (!deck) {
        return report_error(deck.error());
    }
    auto listener = server::Listener::open(addresses, options.port);
    if (!listener) {
        return report_error(listener.error());
    }
    if (*deck) {
        if (auto ok = listener->secure_with((*deck)->certificate); !ok) {
            return report_error(ok.error());
        }
    }
    const server::Served served{.port = listener->port(),
                                .names = options.names,
                                .secure_name = *deck ? options.deck.name : std::string()};
    const auto road = road_of(*deck, served, options.address);
    server::People people(*file);
    server::Pairings pairings(server::paired_file(*file), wall_clock);
    server::Gate gate(served, people, &pairings);
    app::Desk desk(
        {.folder = options.folder, .now = wall_clock, .on_change = [&](const app::DeskState& state) {
             listener->publish(fmt::format(R"({{"state":{}}})", pages::state_json(state)));
         }});
    std::optional<app::JournalCopy> copy;
    if (!options.copy_to.empty()) {
        copy.emplace(options.folder, options.copy_to, [&](const store::CopyState& state) {
            print_copy(state);
            listener->publish(fmt::format(R"({{"copy":{}}})", pages::copy_json(options.copy_to, state)));
        });
    }
    std::optional<pages::WatchView> watch;
    if (const auto socket = live::socket_path(fs::path(options.folder) / store::watch_folder)) {
        watch.emplace(*socket, [&](const std::string& news) { listener->publish(news); });
    } else {
        fmt::print("beware: no watch can be shown: {}\n", socket.error().text());
    }
    const auto tell = [&] { listener->publish(R"({"pairing":true})"); };
    auto routes =
        server::Routes::of(all_routes(gate, desk, copy ? &*copy : nullptr, watch ? &*watch : nullptr,
                                      routes_of_phones(gate, pairings, road, tell)));
    if (!routes) {
        return report_error(routes.error());
    }
    const server::Service service(gate, std::move(*routes));
    for (const auto& warning : store::folder_warnings(fs::path(options.folder) / store::journal_name)) {
        fmt::print("beware: {}\n", warning);
    }
    print_where(options, gate, listener->port(), addresses);
    if (road) {
        print_deck(**deck, *road, wall_clock());
    }
    fmt::print("Ctrl-C stops it.\n");
    std::fflush(stdout);
    auto responder = answer_for_name(road);
    const auto renewal = renew_while_running(options.deck, file->parent_path(), *deck, *listener);
    const bool is_answered = listener->serve(service);
    responder.reset(); // takes the name back
    if (!is_answered || !desk.ends_within(patience_at_end)) {
        // All that anybody was told is kept is on the disk. What is cut off here is as by a power cut, which
        // journal, results and brief are made for.
        std::fflush(nullptr);
        std::_Exit(exit_clean);
    }
    return exit_clean;
}

} // namespace

void add_serve(CLI::App& program, int& status) {
    auto options = std::make_shared<ServeOptions>();
    auto* command = program.add_subcommand(
        "serve",
        "Open a study in the browser of this machine, until Ctrl-C.\n\n"
        "It prints an address with a token: whoever opens that on this machine is the study's "
        "scientist. The token is\n"
        "of this start alone and leaves the address bar at once. Nobody else reaches the program "
        "unless you say so:\n\n"
        "  backeddy people add NAME --role crew          # once: who may, and their passphrase\n"
        "  backeddy serve DIR --address 192.0.2.7        # also at this address of the machine, to "
        "who signs in\n"
        "  backeddy serve DIR --deck                     # on phones: over TLS under a name of its own; "
        "it prints\n"
        "                                                # what a phone does once to trust this "
        "machine\n\n"
        "Roles: a viewer reads, crew also logs, a scientist also edits. The program answers under "
        "the addresses it\n"
        "listens at and the names that --name gives, and refuses all others.\n"
        "Exit status: 0 stopped, 1 it cannot listen or the folder is no study, 2 wrong usage.");
    command->add_option("DIR", options->folder, "the study folder (it holds study.toml)")->required();
    command->add_option("--port", options->port, "port to listen at; 0 takes any that is free")
        ->capture_default_str();
    command->add_option(
        "--address", options->address,
        "also listen at this address of the machine, in digits (0.0.0.0: at all of IPv4; :: at all that it "
        "has); needs people who may sign in");
    command->add_option("--name", options->names,
                        "a further name under which browsers ask, such as boat.local");
    command->add_option(
        "--copy-to", options->copy_to,
        "keep the journal's copy in this folder up to date (`backeddy journal copy` makes it)");
    add_deck_options(*command, options->deck);
    command->callback([options, &status] { status = serve(*options); });
}

} // namespace backeddy::cli
