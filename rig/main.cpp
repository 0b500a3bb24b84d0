// backeddy-rig: simulated chambers, live.

#include <chrono>
#include <cmath>
#include <csignal>
#include <filesystem>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "rig.hpp"
#include "wire_text.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::rig;

constexpr const char* description =
    R"(Simulated chambers for trying out a night of watching: no fish, no water, no instruments.

Each chamber is a tube with a loop, a fish that comes back from capture, a flush pump and an oxygen sensor. It
gives readings over the wires that you ask for, obeys words to its pumps, and flushes by itself when the word
to stay sealed is not repeated. Faults come from a script, or are typed while it runs.

  backeddy-rig --serial                       lines over a pseudo-terminal, whose name is printed
  backeddy-rig --modbus-port 0 --chambers 12  Modbus TCP at a free port, twelve chambers
  backeddy-rig --mqtt 127.0.0.1:1883          through an MQTT broker that is running
  backeddy-rig --serial --station rig.toml    also writes a station.toml that fits
  backeddy-rig --serial --speed 20 --script night.txt

Lines:     time=2026-06-14T03:00:00.25Z;c1_oxygen=8.412;c1_temperature=12.31;c1_pump=0;check=BAC0
           words to pumps: "pump c1 seal", "pump c1 flush"
Modbus:    input registers, ten a chamber: oxygen and temperature (float32, high word first), the pump's
           contact (1 sealed); coils: 1 seals. Chamber c1 begins at register 0, c2 at 10; coils 0, 1 ...
MQTT:      rig/c1 {"time":"...","oxygen":8.412,"temperature":12.31,"pump":0}; rig/c1/pump "seal", "flush"

Orders, in a script (one a line) or typed: [at SECONDS] [for SECONDS] FAULT [CHAMBER or all] [AMOUNT], of the
rig's own time; when typed also  end FAULT [CHAMBER or all]  and  quit. '#' begins a remark. Faults:
)";

std::string faults_text() {
    std::string out;
    for (const auto& meaning : fault_meanings()) {
        out += fmt::format(
            "  {:<12} {}{}{}\n", meaning.word, meaning.what,
            meaning.unit.empty() ? "" : fmt::format(" ({}; {} when not said)", meaning.unit, meaning.amount),
            meaning.whole_rig ? "; the whole rig" : "");
    }
    return out;
}

struct Options {
    RigSettings settings;
    bool serial = false;
    std::string link;
    std::optional<int> line_port;
    std::optional<int> modbus_port;
    std::string mqtt;
    std::string topic = "rig";
    std::string script;
    std::string station;
    double heartbeat_s = 5.0;
    std::string start;
};

volatile std::sig_atomic_t asked_to_end = 0;

void ask_to_end(int) {
    asked_to_end = 1;
}

int complain(const Error& error) {
    fmt::print(stderr, "backeddy-rig: {}\n", error.text());
    return 1;
}

/// "127.0.0.1:1883" in its parts.
Expected<std::pair<std::string, int>> broker_of(const std::string& text) {
    const auto colon = text.rfind(':');
    const auto port = colon == std::string::npos ? std::nullopt : parse_whole(text.substr(colon + 1));
    if (!port || *port < 1 || *port > 65535 || colon == 0) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = fmt::format("--mqtt {}", text),
                     .expected = "host and port of a broker",
                     .remedy = "write for example --mqtt 127.0.0.1:1883"});
    }
    return std::pair(text.substr(0, colon), static_cast<int>(*port));
}

/// The wires, with where each is to be reached.
class Wiring {
  public:
    Wiring(const Options& options, const PumpWord& pump) : options_(options), pump_(pump) {}

    Expected<Ends> make() {
        if (auto made = make_lines(); !made) {
            return fail(std::move(made).error());
        }
        if (options_.modbus_port) {
            auto end = make_modbus_server(*options_.modbus_port, options_.settings.chambers,
                                          options_.settings.chambers * registers_each, pump_);
            if (!end) {
                return fail(std::move(end).error());
            }
            reach_.push_back(
                {.kind = WireKind::modbus_tcp, .path_or_host = "127.0.0.1", .port = (*end)->port()});
            fmt::print("Modbus TCP: {}\n", (*end)->where());
            ends_.registers = std::move(*end);
        }
        if (!options_.mqtt.empty()) {
            if (auto made = make_messages(); !made) {
                return fail(std::move(made).error());
            }
        }
        if (reach_.empty()) {
            return fail({.code = ErrorCode::bad_usage,
                         .found = "no wire",
                         .expected = "at least one of --serial, --line-port, --modbus-port, --mqtt",
                         .remedy = "see  backeddy-rig --help"});
        }
        return std::move(ends_);
    }

    /// The wire asked for first.
    [[nodiscard]] const Reach& first() const { return reach_.front(); }

  private:
    Expected<void> make_lines() {
        if (options_.serial || !options_.link.empty()) {
            auto end = make_terminal(options_.link, pump_);
            if (!end) {
                return fail(std::move(end).error());
            }
            reach_.push_back({.kind = WireKind::serial, .path_or_host = (*end)->where()});
            fmt::print("serial line: {}\n", (*end)->where());
            ends_.lines.push_back(std::move(*end));
        }
        if (options_.line_port) {
            int port = *options_.line_port;
            auto end = make_line_server(port, pump_);
            if (!end) {
                return fail(std::move(end).error());
            }
            reach_.push_back({.kind = WireKind::tcp, .path_or_host = "127.0.0.1", .port = port});
            fmt::print("lines over TCP: {}\n", (*end)->where());
            ends_.lines.push_back(std::move(*end));
        }
        return {};
    }

    Expected<void> make_messages() {
        auto broker = broker_of(options_.mqtt);
        if (!broker) {
            return fail(std::move(broker).error());
        }
        auto end = make_mqtt_client(broker->first, broker->second, options_.topic, options_.settings.chambers,
                                    pump_);
        reach_.push_back({.kind = WireKind::mqtt,
                          .path_or_host = broker->first,
                          .port = broker->second,
                          .topic = options_.topic});
        fmt::print("MQTT: {}\n", (*end)->where());
        ends_.messages = std::move(*end);
        return {};
    }

    const Options& options_;
    const PumpWord& pump_;
    Ends ends_;
    std::vector<Reach> reach_;
};

Expected<void> start_and_run(Options options) {
    options.settings.start = Instant::unix_seconds(std::floor(
        std::chrono::duration<double>(std::chrono::system_clock::now().time_since_epoch()).count()));
    if (!options.start.empty()) {
        const auto start = parse_iso(options.start);
        if (!start) {
            return fail({.code = ErrorCode::bad_usage,
                         .found = fmt::format("--start {}", options.start),
                         .expected = "a time with its offset (ISO 8601)",
                         .remedy = "write for example 2026-06-14T21:00:00Z"});
        }
        options.settings.start = *start;
    }
    Rig rig(options.settings);
    if (!options.script.empty()) {
        const auto text = read_file(options.script);
        if (!text) {
            return fail(text.error());
        }
        if (auto taken = rig.take_script(*text, options.script); !taken) {
            return taken;
        }
    }
    const auto pump = rig.pump_word();
    Wiring wiring(options, pump);
    auto ends = wiring.make();
    if (!ends) {
        return fail(std::move(ends).error());
    }
    if (!options.station.empty()) {
        const auto text = station_of(wiring.first(), options.settings.chambers, options.heartbeat_s,
                                     options.settings.every_s / options.settings.speed);
        if (auto written = write_file_whole(options.station, text); !written) {
            return written;
        }
        fmt::print("station: {}\n", options.station);
    }
    rig.use(std::move(*ends));
    fmt::print("at work: {} simulated chambers; Ctrl-C or \"quit\" ends them\n", options.settings.chambers);
    std::fflush(stdout);
    rig.run(asked_to_end);
    return {};
}

} // namespace

int main(int argc, char** argv) {
    Options options;
    auto& settings = options.settings;
    CLI::App program{description + faults_text(), "backeddy-rig"};
    program.add_flag("--serial", options.serial, "lines over a pseudo-terminal");
    program.add_option("--link", options.link,
                       "a link to the pseudo-terminal, a name that stays; means --serial");
    program
        .add_option("--line-port", options.line_port,
                    "lines over TCP at this port of this machine; 0 is a free one")
        ->check(CLI::Range(0, 65535));
    program
        .add_option("--modbus-port", options.modbus_port,
                    "Modbus TCP at this port of this machine; 0 is a free one")
        ->check(CLI::Range(0, 65535));
    program.add_option("--mqtt", options.mqtt, "HOST:PORT of a broker");
    program.add_option("--topic", options.topic, "what all topics begin with")->capture_default_str();
    program.add_option("--chambers", settings.chambers, "how many")
        ->check(CLI::Range(1, 256))
        ->capture_default_str();
    program.add_option("--every", settings.every_s, "seconds between readings, of the rig's time")
        ->check(CLI::Range(0.01, 3600.0))
        ->capture_default_str();
    program.add_option("--speed", settings.speed, "times as fast as real time")
        ->check(CLI::Range(0.1, 1000.0))
        ->capture_default_str();
    program.add_option("--seed", settings.seed, "what fish and noise are drawn from")->capture_default_str();
    program.add_option("--start", options.start,
                       "the devices' clock at the beginning (ISO 8601); now when not said");
    program.add_option("--script", options.script, "a file with faults and their times");
    program.add_option("--station", options.station, "writes a station.toml for the first of the wires");
    program.add_option("--heartbeat", options.heartbeat_s, "of the pumps in that file, s of the rig's time")
        ->check(CLI::Range(0.2, 60.0))
        ->capture_default_str();
    program
        .add_option("--heartbeat-limit", settings.chamber.heartbeat_limit_s,
                    "the hardware flushes when it has not heard \"seal\" for so long, s of the rig's time")
        ->check(CLI::Range(0.2, 86400.0))
        ->capture_default_str();
    program.add_option("--flow", settings.chamber.flush_l_per_min, "of the flush, L/min")
        ->check(CLI::Range(0.1, 1000.0))
        ->capture_default_str();
    program.add_option("--tube", settings.chamber.tube_l, "water of the tube with its fish, L")
        ->check(CLI::Range(1.0, 10000.0))
        ->capture_default_str();
    program.add_option("--loop", settings.chamber.loop_l, "water of the loop, L")
        ->check(CLI::Range(0.1, 10000.0))
        ->capture_default_str();
    program.add_option("--mass", settings.chamber.mass_kg, "of a fish, about, kg")
        ->check(CLI::Range(0.001, 100.0))
        ->capture_default_str();
    CLI11_PARSE(program, argc, argv);
    std::signal(SIGINT, ask_to_end);
    std::signal(SIGTERM, ask_to_end);
    std::signal(SIGPIPE, SIG_IGN);
    const auto done = start_and_run(std::move(options));
    return done ? 0 : complain(done.error());
}
