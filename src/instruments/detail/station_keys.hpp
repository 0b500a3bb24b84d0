#pragma once
// Every key of station.toml, said once: the reader and the documents are made from these.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "instruments/station.hpp"

namespace backeddy::instruments {

enum class KeyKind : std::uint8_t { text, word, number, whole, yes_no, texts };

using KeyValue = std::variant<std::string, double, std::int64_t, bool, std::vector<std::string>>;

/// "a text in quotes", "a whole number".
[[nodiscard]] std::string in_words(KeyKind kind);

template <typename Owner>
struct KeyOf {
    std::string key;
    KeyKind kind = KeyKind::text;
    std::string unit;
    std::string preset; ///< the default as station.toml writes it; "" for none, "required"
    std::string why;
    std::optional<double> least;
    std::optional<double> most;
    std::vector<std::string> words;                   ///< of a word: the only ones
    std::function<void(Owner&, const KeyValue&)> set; ///< the value has been checked
    [[nodiscard]] bool required() const { return preset == "required"; }
};

/// All that the keys of one device can fill, whatever its kind.
struct DeviceDraft {
    DeviceId id;
    Duration silence = Duration::seconds(10.0);
    SerialPort serial;
    TcpPort tcp;
    LineDevice line;
    ModbusDevice modbus;
    MqttDevice mqtt;
    FileDevice file;
};
struct ChannelDraft {
    Channel channel;
    FieldPlace place;
    RegisterChannel registers;
    std::string topic;
    std::optional<std::string> pointer;
    std::optional<std::string> time;
};
struct PumpDraft {
    Pump pump;
    std::string seal;
    std::string flush;
    int unit = 1;
    std::uint16_t coil = 0;
    bool coil_seals = true;
    std::string topic;
};

/// One kind of device: [[serial]], [[serial.channel]], [[serial.pump]].
struct DeviceKind {
    std::string name;
    std::string what;
    std::vector<KeyOf<DeviceDraft>> keys;
    std::vector<KeyOf<ChannelDraft>> channel_keys;
    std::vector<KeyOf<PumpDraft>> pump_keys; ///< empty where nothing can be commanded
};

[[nodiscard]] const std::vector<DeviceKind>& device_kinds();

} // namespace backeddy::instruments
