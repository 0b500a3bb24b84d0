#include <atomic>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "app/brief_text.hpp"
#include "app/journal.hpp"
#include "app/version.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "cli/commands.hpp"
#include "cli/terminal.hpp"
#include "instruments/loop.hpp"
#include "instruments/station.hpp"
#include "intake/brief.hpp"
#include "intake/tables.hpp"
#include "live/keeper.hpp"
#include "live/plan_of_study.hpp"
#include "live/translate.hpp"
#include "store/segment.hpp"

namespace backeddy::cli {

namespace {

namespace fs = std::filesystem;

struct WatchOptions {
    std::string folder;
    std::string station;
    bool is_check = false;
};

Instant wall_clock() {
    const auto since = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(since).count());
}

void say(const std::string& line) {
    fmt::print("{}  {}\n", iso_text(wall_clock()), line);
    std::fflush(stdout);
}

std::atomic<bool> is_to_stop{false};

void stop_on_signals() {
    struct sigaction action{};
    action.sa_handler = [](int) { is_to_stop = true; };
    ::sigaction(SIGINT, &action, nullptr);
    ::sigaction(SIGTERM, &action, nullptr);
}

struct StationFile {
    instruments::Station station;
    std::string sha256;
};

/// Every complaint is told; then no device is touched.
Expected<StationFile> read_station_file(const std::string& path) {
    const auto text = read_file(path, std::uint64_t{1} << 20);
    if (!text) {
        return fail(text.error());
    }
    auto read = instruments::read_station(*text, path);
    if (!read.complaints.empty()) {
        for (std::size_t i = 1; i < read.complaints.size(); ++i) {
            report_error(read.complaints[i]);
        }
        return fail(read.complaints.front());
    }
    return StationFile{.station = std::move(read.station), .sha256 = sha256_hex(*text)};
}

struct StudyNow {
    study::Brief brief;
    watch::Plan plan;
};

/// The study as it stands now, the journal's edits laid over its tables.
Expected<StudyNow> read_study(const fs::path& folder) {
    const auto text = app::read_brief_text(folder);
    if (!text) {
        return fail(text.error());
    }
    const auto brief = intake::read_brief(text->text, app::brief_name);
    const auto tables = intake::read_tables(folder, brief.brief, app::read_journal(folder).read.edits());
    for (const auto* complaints : {&brief.complaints, &tables.complaints}) {
        for (const auto& complaint : *complaints) {
            if (complaint.severity == study::Severity::stops_the_run) {
                return fail(complaint.error);
            }
        }
    }
    auto plan = live::plan_of_study(brief.brief, tables.tables.assemblies, wall_clock());
    if (!plan) {
        return fail(std::move(plan).error());
    }
    return StudyNow{.brief = brief.brief, .plan = std::move(*plan)};
}

void print_plan(const StudyNow& study, const instruments::Station& station) {
    fmt::print("{} chambers, salinity {:.1f}, {:.1f} kPa:\n", study.plan.chambers.size(), study.plan.salinity,
               study.plan.pressure_kpa);
    for (const auto& chamber : study.plan.chambers) {
        fmt::print("  {}: {} L, flush {} L/min\n", chamber.name, chamber.water_l, chamber.flow_l_per_min);
    }
    for (const auto& sentence : live::believed_of_water(study.brief, station)) {
        fmt::print("beware: {}\n", sentence);
    }
}

int watch(const WatchOptions& options) {
    if (auto ok = is_study(options.folder); !ok) {
        return report_error(ok.error());
    }
    const auto station = read_station_file(options.station);
    if (!station) {
        return report_error(station.error());
    }
    auto study = read_study(options.folder);
    if (!study) {
        return report_error(study.error());
    }
    print_plan(*study, station->station);
    if (const auto faults = live::plan_faults(station->station, study->plan); !faults.empty()) {
        return report_error(live::do_not_fit(faults));
    }
    if (options.is_check) {
        fmt::print("the station and the study fit together; nothing was started\n");
        return exit_clean;
    }
    fmt::print(
        "beware: this is no life support. Pumps have to flush by themselves when this program stops, and\n"
        "somebody stays within reach of the chambers.\n");
    stop_on_signals();
    instruments::Loop loop;
    const auto keeper = live::Keeper::start(loop, station->station, std::move(study->plan),
                                            {.samples = fs::path(options.folder) / store::watch_folder,
                                             .program = fmt::format("backeddy {}", app::program_version),
                                             .station_sha256 = station->sha256,
                                             .log = say});
    if (!keeper) {
        return report_error(keeper.error());
    }
    fmt::print("Every chamber is in flush until it is said what is in it. Ctrl-C stops the watch; the pumps "
               "are left in "
               "flush.\n");
    std::fflush(stdout);
    const instruments::EveryTimer asking(loop, Duration::seconds(0.1), [&loop] {
        if (is_to_stop) {
            loop.stop();
        }
    });
    loop.run();
    return exit_clean;
}

} // namespace

void add_watch(CLI::App& program, int& status) {
    auto options = std::make_shared<WatchOptions>();
    auto* command = program.add_subcommand(
        "watch",
        "Read the sensors of live chambers, drive their flush pumps, keep every sample, and raise alarms.\n\n"
        "What the machine has (ports, meters, pumps) stands in station.toml, which belongs to the machine "
        "and never to "
        "a\n"
        "study; what the chambers are (volume, flow, lag) in the study's assemblies.csv. Samples go to "
        "DIR/watch as "
        "they\n"
        "came, before they are shown. `backeddy serve DIR` shows the watch in the browser while this runs; "
        "the two are\n"
        "programs of their own, so that a slow page never delays a pump.\n\n"
        "It is no life support: pumps must flush by themselves when the program stops or the machine dies, "
        "and somebody\n"
        "stays within reach. The permit and the site's own rules stand above it.\n\n"
        "  backeddy watch DIR --station station.toml --check    # does it fit together? nothing is started\n"
        "  backeddy watch DIR --station station.toml\n\n"
        "Exit status: 0 stopped by hand, 1 something is wrong with station or study, 2 wrong usage.");
    command->add_option("DIR", options->folder, "the study folder (it holds study.toml)")->required();
    command->add_option("--station", options->station, "what the machine has; docs/station.md")->required();
    command->add_flag("--check", options->is_check, "say what would be watched, and stop");
    command->callback([options, &status] { status = watch(*options); });
}

} // namespace backeddy::cli
