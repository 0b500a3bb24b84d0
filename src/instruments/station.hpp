#pragma once
// The machine's own instruments, station.toml: devices, their channels and pumps. It belongs to the machine
// and never to a study, whose folder may be somebody else's: nothing in a study can name a port, a broker or
// a pump. docs/station.md lists every key, made from station_markdown().
//
//   const auto read = read_station(text, "station.toml");
//   if (!read.complaints.empty()) ...   // every fault, each with its line; then no device is touched

#include <cstdint>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/error.hpp"
#include "instruments/payload.hpp"
#include "instruments/registers.hpp"
#include "instruments/text_line.hpp"

namespace backeddy::instruments {

enum class Parity : std::uint8_t { none, even, odd };

struct SerialPort {
    std::string path; ///< by a name that stays when it is plugged in elsewhere
    int baud = 9600;
    int data_bits = 8;
    Parity parity = Parity::none;
    int stop_bits = 1;
};

struct TcpPort {
    std::string host;
    std::uint16_t port = 0;
};

/// What is the same of every pump. Sealed only while `seal` is repeated every `heartbeat`.
struct Pump {
    std::string name;
    std::string chamber;
    Duration heartbeat = Duration::seconds(5.0);
};

/// Commanded by lines of text.
struct LinePump {
    Pump pump;
    std::string seal;
    std::string flush;
};
/// Commanded by a coil (function 5).
struct CoilPump {
    Pump pump;
    int unit = 1; ///< as of RegisterChannel
    std::uint16_t coil = 0;
    bool seal = true; ///< what is written to seal; a relay without power should flush
};
/// Commanded by messages.
struct TopicPump {
    Pump pump;
    std::string topic;
    std::string seal;
    std::string flush;
};

/// Lines from a serial port or over TCP.
struct LineDevice {
    std::variant<SerialPort, TcpPort> over;
    LineShape shape;
    std::string ask; ///< sent before each line that is wanted; empty for a device that speaks by itself
    Duration ask_every = Duration::seconds(1.0);
    std::vector<LinePump> pumps;
};

/// Modbus RTU on a serial port, or Modbus TCP; several units may share it.
struct ModbusDevice {
    std::variant<SerialPort, TcpPort> over;
    Duration every = Duration::seconds(1.0);
    Duration answer_within = Duration::seconds(1.0);
    std::vector<RegisterChannel> channels;
    std::vector<CoilPump> pumps;
};

/// Messages from a broker (MQTT 3.1.1).
struct MqttDevice {
    TcpPort broker;
    std::string user;          ///< empty for none
    std::string password_file; ///< a file with the password alone
    Duration keep_alive = Duration::seconds(10.0);
    std::vector<PayloadChannel> channels;
    std::vector<TopicPump> pumps;
};

/// Lines that another program appends to a file.
struct FileDevice {
    std::string path;
    Duration look_every = Duration::seconds(0.5);
    LineShape shape;
};

struct Device {
    DeviceId id;
    /// Of lines and Modbus: this long without a reading, and it is lost and connected anew. Behind a broker
    /// or a file somebody else may be silent, where a new connection helps nothing.
    Duration silence = Duration::seconds(10.0);
    std::variant<LineDevice, ModbusDevice, MqttDevice, FileDevice> by;
};

[[nodiscard]] std::vector<Channel> channels_of(const Device& device);
[[nodiscard]] std::vector<Pump> pumps_of(const Device& device);

struct Station {
    std::vector<Device> devices;
};

struct StationRead {
    Station station;
    std::vector<Error> complaints; ///< in the order of the file
};

/// Any bytes are taken; none makes it fail. Unknown and missing keys, values out of their limits, names and
/// ports that stand twice, a pump whose chamber has no oxygen channel are complaints; a station with
/// complaints must not be used. Sections of the names `others` are left to whoever reads them.
[[nodiscard]] StationRead read_station(std::string_view text, const std::string& file,
                                       const std::vector<std::string>& others = {});

/// The keys as tables, for docs/station.md.
[[nodiscard]] std::string station_markdown();

} // namespace backeddy::instruments
