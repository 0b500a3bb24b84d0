#include "wire_text.hpp"

#include <bit>
#include <cmath>
#include <limits>

#include <fmt/format.h>

namespace backeddy::rig {

namespace {

std::uint16_t check_of(const std::string& bytes) {
    std::uint16_t sum = 0xFFFF;
    for (const char each : bytes) {
        sum = static_cast<std::uint16_t>(sum ^ (static_cast<unsigned char>(each) << 8U));
        for (int bit = 0; bit < 8; ++bit) {
            sum = static_cast<std::uint16_t>((sum << 1U) ^ ((sum & 0x8000U) != 0 ? 0x1021U : 0U));
        }
    }
    return sum;
}

std::string oxygen_text(const Sample& sample, const char* none) {
    return sample.oxygen_mg_per_l ? fmt::format("{:.3f}", *sample.oxygen_mg_per_l) : std::string(none);
}

void put_float(std::vector<std::uint16_t>& registers, std::size_t at, double value) {
    const auto bits = std::bit_cast<std::uint32_t>(static_cast<float>(value));
    registers[at] = static_cast<std::uint16_t>(bits >> 16U);
    registers[at + 1] = static_cast<std::uint16_t>(bits & 0xFFFFU);
}

std::string word_of(WireKind kind) {
    switch (kind) {
    case WireKind::serial:
        return "serial";
    case WireKind::tcp:
        return "tcp";
    case WireKind::modbus_tcp:
        return "modbus_tcp";
    case WireKind::mqtt:
        return "mqtt";
    }
    return {};
}

/// Text as TOML writes it.
std::string quoted(const std::string& text) {
    std::string out = "\"";
    for (const char each : text) {
        out += each == '"' || each == '\\' ? std::string("\\") + each : std::string(1, each);
    }
    return out + "\"";
}

/// The keys that say where channel `what` of chamber `i` (from 0) stands.
std::string place_of(const Reach& reach, std::size_t i, const std::string& what) {
    switch (reach.kind) {
    case WireKind::serial:
    case WireKind::tcp:
        return fmt::format("field = \"c{}_{}\"\n", i + 1, what);
    case WireKind::modbus_tcp:
        return fmt::format("table = \"input\"\naddress = {}\ntype = \"{}\"\n",
                           i * registers_each + (what == "oxygen"        ? 0
                                                 : what == "temperature" ? 2
                                                                         : 4),
                           what == "pump" ? "u16" : "float32");
    case WireKind::mqtt:
        return fmt::format("topic = {}\npointer = \"/{}\"\ntime_pointer = \"/time\"\n",
                           quoted(fmt::format("{}/c{}", reach.topic, i + 1)), what);
    }
    return {};
}

std::string words_of_pump(const Reach& reach, std::size_t i) {
    switch (reach.kind) {
    case WireKind::serial:
    case WireKind::tcp:
        return fmt::format("seal = \"pump c{0} seal\"\nflush = \"pump c{0} flush\"\n", i + 1);
    case WireKind::modbus_tcp:
        return fmt::format("coil = {}\n", i);
    case WireKind::mqtt:
        return fmt::format("topic = {}\nseal = \"seal\"\nflush = \"flush\"\n",
                           quoted(fmt::format("{}/c{}/pump", reach.topic, i + 1)));
    }
    return {};
}

std::string device_of(const Reach& reach, double every_s) {
    const auto kind = word_of(reach.kind);
    std::string out = fmt::format("[[{0}]]\nname = \"rig_{0}\"\n", kind);
    if (reach.kind == WireKind::serial) {
        out += fmt::format("port = {}\nbaud = 115200\n", quoted(reach.path_or_host));
    } else {
        out += fmt::format("host = {}\nport = {}\n", quoted(reach.path_or_host), reach.port);
    }
    if (reach.kind == WireKind::serial || reach.kind == WireKind::tcp) {
        out += "check = \"crc16\"\ntime_field = \"time\"\n";
    }
    if (reach.kind == WireKind::modbus_tcp) {
        out += fmt::format("every_s = {:.3f}\n", std::max(every_s, 0.05));
    }
    return out;
}

} // namespace

std::string line_of(std::span<const Sample> samples, Instant device_time) {
    std::string out = "time=" + iso_text(device_time);
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const auto& sample = samples[i];
        out += fmt::format(";c{0}_oxygen={1};c{0}_temperature={2:.2f};c{0}_pump={3}", i + 1,
                           oxygen_text(sample, ""), sample.temperature_c, sample.sealed ? 1 : 0);
    }
    return out + fmt::format(";check={:04X}", check_of(out));
}

std::string message_of(const Sample& sample, Instant device_time) {
    return fmt::format(R"({{"time":"{}","oxygen":{},"temperature":{:.2f},"pump":{}}})", iso_text(device_time),
                       oxygen_text(sample, "null"), sample.temperature_c, sample.sealed ? 1 : 0);
}

std::vector<std::uint16_t> registers_of(std::span<const Sample> samples) {
    std::vector<std::uint16_t> out(samples.size() * registers_each, 0);
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const auto& sample = samples[i];
        put_float(out, i * registers_each,
                  sample.oxygen_mg_per_l.value_or(std::numeric_limits<double>::quiet_NaN()));
        put_float(out, i * registers_each + 2, sample.temperature_c);
        out[i * registers_each + 4] = sample.sealed ? 1 : 0;
    }
    return out;
}

std::string station_of(const Reach& reach, std::size_t chambers, double heartbeat_s, double every_s) {
    const auto kind = word_of(reach.kind);
    std::string out = "# Written by backeddy-rig: simulated chambers, no fish.\n" + device_of(reach, every_s);
    for (std::size_t i = 0; i < chambers; ++i) {
        const auto channel = [&](const std::string& what, const std::string& unit, const std::string& range) {
            out += fmt::format("\n[[{}.channel]]\nname = \"c{}_{}\"\nchamber = \"c{}\"\nquantity = \"{}\"\n"
                               "unit = \"{}\"\n{}{}",
                               kind, i + 1, what, i + 1, what, unit, place_of(reach, i, what), range);
        };
        channel("oxygen", "mg/L", "least = 0\nmost = 25\n");
        channel("temperature", "degC", "least = -2\nmost = 35\n");
        channel("pump", "0/1", "");
        out += fmt::format("\n[[{}.pump]]\nname = \"c{}_pump\"\nchamber = \"c{}\"\nheartbeat_s = {}\n{}",
                           kind, i + 1, i + 1, heartbeat_s, words_of_pump(reach, i));
    }
    return out;
}

} // namespace backeddy::rig
