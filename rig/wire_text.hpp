#pragma once
// What the rig's devices write: lines, messages, registers. Pure. It shares no code with what reads them: it
// is the other side of the test.

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "rig_chamber.hpp"
#include "series/instant.hpp"

namespace backeddy::rig {

/// "time=...;c1_oxygen=8.412;c1_temperature=12.31;c1_pump=0;check=BAC0" without a line end; an empty value
/// where the sensor gives none.
[[nodiscard]] std::string line_of(std::span<const Sample> samples, Instant device_time);

/// {"time":"...","oxygen":8.412,"temperature":12.31,"pump":0}; null where the sensor gives none.
[[nodiscard]] std::string message_of(const Sample& sample, Instant device_time);

/// Input registers, `registers_each` a chamber: oxygen and temperature as float32, the high word first, then
/// the pump's contact. NaN where the sensor gives none.
inline constexpr std::size_t registers_each = 10;
[[nodiscard]] std::vector<std::uint16_t> registers_of(std::span<const Sample> samples);

enum class WireKind : std::uint8_t { serial, tcp, modbus_tcp, mqtt };

/// Where a rig is to be reached.
struct Reach {
    WireKind kind = WireKind::serial;
    std::string path_or_host; ///< of a serial line its path
    int port = 0;
    std::string topic; ///< of MQTT: what all topics begin with
};

/// A station.toml for this rig over this wire; the heart beats `heartbeat_s` apart.
[[nodiscard]] std::string station_of(const Reach& reach, std::size_t chambers, double heartbeat_s,
                                     double every_s);

} // namespace backeddy::rig
