#pragma once
// Start here: what comes from the wire, as plain values.
//
// A device hands on frames: one line, one answer of registers, one message, with the bytes as they came, the
// moment they came and the readings in them. What happens to the device itself (connected, lost, a channel
// silent for a while, bytes that are no reading) are events. Whoever takes them gets each once, in order of
// reception, on the one event loop:
//
//   void take(const Report& report) {
//       if (const auto* frame = std::get_if<Frame>(&report)) keep(frame->bytes, frame->readings);
//       else log(std::get<Event>(report));
//   }
//
// How bytes become readings: text_line.hpp, registers.hpp, payload.hpp. Where they come from: station.hpp.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "series/instant.hpp"

namespace backeddy::instruments {

/// A channel's name in station.toml ("c1_oxygen"), one for the whole machine.
struct ChannelId {
    std::string text;
    friend auto operator<=>(const ChannelId&, const ChannelId&) = default;
};

/// A device's name in station.toml.
struct DeviceId {
    std::string text;
    friend auto operator<=>(const DeviceId&, const DeviceId&) = default;
};

/// A moment by both clocks of this machine, read together.
struct Stamp {
    Instant wall;                  ///< may step: somebody sets the clock, a time server does
    std::int64_t monotonic_ns = 0; ///< never steps back, counts while the machine sleeps; zero is anywhere
    friend bool operator==(const Stamp&, const Stamp&) = default;
};

/// Why a reading has no number.
enum class Missing : std::uint8_t {
    no,           ///< it has one
    empty,        ///< nothing stands where it should
    no_number,    ///< something else than a number stands there
    not_a_number, ///< the device itself says that it has none (a word set in station.toml, IEEE 754 NaN)
    out_of_range, ///< beyond what station.toml says the device can measure
};

/// "", "empty", "no number", "the device has none", "outside its range".
[[nodiscard]] std::string_view in_words(Missing missing);

/// One finished reading: scaled, in the unit that station.toml declares for its channel.
struct Reading {
    ChannelId channel;
    double value = 0.0; ///< finite, or NaN and `missing` says why
    Missing missing = Missing::no;
    Stamp received;
    std::optional<Instant> device_time; ///< what the device's own clock said, when it says something
};

/// The wire's own unit: one line, one answer of registers, one message.
struct Frame {
    DeviceId device;
    Stamp received;
    std::string
        bytes; ///< as they came; of registers, two bytes each, the high byte first, in order of address
    std::vector<Reading> readings;
};

/// The device is there.
struct Connected {
    std::string to; ///< "/dev/serial/by-id/...", "192.0.2.7:502"
};
/// It is not, or not any more; it is tried again by itself.
struct Lost {
    std::string why;   ///< "no such file or directory", "no answer for 3 s"
    Duration next_try; ///< from now
};
/// A channel gave no number for longer than station.toml allows; said when it gives one again. A channel that
/// stays silent has no gap yet: whoever watches looks at the age of its last reading.
struct Gap {
    ChannelId channel;
    Stamp from; ///< its last reading with a number, or the start of the program
    Stamp to;   ///< the first one after
};
/// Bytes that are no reading, or an answer that was none (without bytes).
struct Garbage {
    std::string bytes;        ///< at most the first 256
    std::uint64_t length = 0; ///< of all of them
    std::string why;          ///< "line without a line end after 4096 bytes"
};
/// A file that is followed was cut short or replaced; reading goes on at its new beginning.
struct FileBegunAnew {
    std::string why;
};
/// What was written to a pump did not get there.
struct CommandFailed {
    std::string pump;
    std::string why;
};

/// What happened to a device.
struct Event {
    DeviceId device;
    Stamp at;
    std::variant<Connected, Lost, Gap, Garbage, FileBegunAnew, CommandFailed> what;
};

using Report = std::variant<Frame, Event>;

/// One line for a log: "probe_a lost: no answer for 3 s; tried again in 2 s".
[[nodiscard]] std::string in_words(const Event& event);

} // namespace backeddy::instruments
