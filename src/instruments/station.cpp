#include "instruments/station.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <sstream>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <toml++/toml.h>

#include "base/lines.hpp"
#include "base/number_text.hpp"
#include "instruments/detail/station_keys.hpp"

namespace backeddy::instruments {

namespace {

std::uint64_t line_of(const toml::node& node) {
    return node.source().begin.line;
}

std::string shown(const toml::node& node) {
    // The library's own stream shows 0.1 with seventeen digits.
    if (const auto* real = node.as_floating_point(); real != nullptr && std::isfinite(real->get())) {
        return exact_text(real->get());
    }
    std::ostringstream text;
    text << toml::node_view<const toml::node>(node);
    const auto out = text.str();
    return out.size() > 60 ? out.substr(0, 60) + "..." : out;
}

// ---------------------------------------------------------------- one value

std::optional<std::vector<std::string>> texts_in(const toml::node& node) {
    const auto* array = node.as_array();
    if (array == nullptr) {
        return std::nullopt;
    }
    std::vector<std::string> out;
    for (const auto& item : *array) {
        const auto* text = item.as_string();
        if (text == nullptr) {
            return std::nullopt;
        }
        out.push_back(text->get());
    }
    return out;
}

std::optional<KeyValue> value_of(const toml::node& node, KeyKind kind) {
    switch (kind) {
    case KeyKind::text:
    case KeyKind::word:
        if (const auto* text = node.as_string()) {
            return KeyValue(text->get());
        }
        return std::nullopt;
    case KeyKind::number:
        if (const auto* real = node.as_floating_point(); real != nullptr && std::isfinite(real->get())) {
            return KeyValue(real->get());
        }
        [[fallthrough]];
    case KeyKind::whole:
        if (const auto* whole = node.as_integer()) {
            return KeyValue(whole->get());
        }
        return std::nullopt;
    case KeyKind::yes_no:
        if (const auto* flag = node.as_boolean()) {
            return KeyValue(flag->get());
        }
        return std::nullopt;
    case KeyKind::texts:
        if (auto texts = texts_in(node)) {
            return KeyValue(std::move(*texts));
        }
        return std::nullopt;
    }
    return std::nullopt;
}

/// No control characters: a command must stay one line, a name one name.
bool is_plain(const std::string& text) {
    return std::none_of(text.begin(), text.end(),
                        [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; });
}

template <typename Owner>
bool allows(const KeyOf<Owner>& key, const KeyValue& value) {
    if (const auto* text = std::get_if<std::string>(&value)) {
        return is_plain(*text) && (!key.required() || !text->empty()) &&
               (key.words.empty() || std::find(key.words.begin(), key.words.end(), *text) != key.words.end());
    }
    const auto* whole = std::get_if<std::int64_t>(&value);
    const auto* real = std::get_if<double>(&value);
    if (whole == nullptr && real == nullptr) {
        return true;
    }
    const double number = whole != nullptr ? static_cast<double>(*whole) : *real;
    return (!key.least || number >= *key.least) && (!key.most || number <= *key.most);
}

template <typename Owner>
std::string expected_of(const KeyOf<Owner>& key) {
    std::string out = in_words(key.kind);
    if (key.least && key.most) {
        out += fmt::format(" from {} to {}", exact_text(*key.least), exact_text(*key.most));
    }
    if (!key.words.empty()) {
        out += fmt::format(": one of {}", fmt::join(key.words, "  "));
    }
    return key.unit.empty() ? out : out + fmt::format(" ({})", key.unit);
}

bool is_name(const std::string& text) {
    return !text.empty() && text.size() <= 64 &&
           text.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") ==
               std::string::npos;
}

// ---------------------------------------------------------------- the file

/// What one part of the file is called in complaints, and where it begins.
struct Part {
    std::string path; ///< "serial.channel"
    std::uint64_t line = 0;
};

class StationReader {
  public:
    StationReader(StationRead& out, std::string file) : out_(out), file_(std::move(file)) {}

    void read(const toml::table& root, const std::vector<std::string>& others) {
        auto known = kind_names();
        known.insert(known.end(), others.begin(), others.end());
        for (const auto& [key, node] : root) {
            const std::string name(key.str());
            if (std::find(others.begin(), others.end(), name) != others.end()) {
                continue;
            }
            const auto& kinds = device_kinds();
            const auto kind =
                std::find_if(kinds.begin(), kinds.end(), [&](const DeviceKind& k) { return k.name == name; });
            if (kind == kinds.end()) {
                unknown(name, line_of(node), known);
            } else {
                each_table(node, name, [&](const toml::table& table) { read_device(*kind, table); });
            }
        }
        require(!out_.station.devices.empty() || !out_.complaints.empty(), 1, "no device",
                fmt::format("at least one: {}", fmt::join(bracketed(), ", ")),
                "see docs/station.md for an example of each");
        check_pumps_are_watched();
        std::stable_sort(out_.complaints.begin(), out_.complaints.end(), [](const Error& a, const Error& b) {
            return a.place.line.value_or(0) < b.place.line.value_or(0);
        });
    }

  private:
    void complain(std::uint64_t line, ErrorCode code, std::string found, std::string expected,
                  std::string remedy) {
        out_.complaints.push_back({.code = code,
                                   .found = std::move(found),
                                   .expected = std::move(expected),
                                   .remedy = std::move(remedy),
                                   .place = {.file = file_, .line = line}});
    }
    void require(bool holds, std::uint64_t line, std::string found, std::string expected,
                 std::string remedy) {
        if (!holds) {
            complain(line, ErrorCode::bad_setting, std::move(found), std::move(expected), std::move(remedy));
        }
    }
    void unknown(const std::string& name, std::uint64_t line, const std::vector<std::string>& known) {
        const auto near = nearest_name(name, known);
        complain(line, ErrorCode::unknown_name, fmt::format("\"{}\"", name),
                 fmt::format("one of {}", fmt::join(known, ", ")),
                 near ? fmt::format("did you mean \"{}\"?", *near) : "take it out, or see docs/station.md");
    }

    static std::vector<std::string> kind_names() {
        std::vector<std::string> out;
        for (const auto& kind : device_kinds()) {
            out.push_back(kind.name);
        }
        return out;
    }
    static std::vector<std::string> bracketed() {
        auto out = kind_names();
        for (auto& name : out) {
            name = fmt::format("[[{}]]", name);
        }
        return out;
    }

    template <typename Read>
    void each_table(const toml::node& node, const std::string& path, const Read& read) {
        const auto* array = node.as_array();
        if (array == nullptr || !array->is_homogeneous<toml::table>()) {
            complain(line_of(node), ErrorCode::bad_setting, fmt::format("\"{}\" is no list of tables", path),
                     fmt::format("[[{}]] before the keys of each", path), "write it with double brackets");
            return;
        }
        for (const auto& item : *array) {
            read(*item.as_table());
        }
    }

    /// Fills `owner` from the keys; `sub` names tables that are read elsewhere.
    template <typename Owner>
    void fill(Owner& owner, const toml::table& table, const std::string& path,
              const std::vector<KeyOf<Owner>>& keys, const std::vector<std::string>& sub = {}) {
        std::vector<std::string> known = sub;
        for (const auto& key : keys) {
            known.push_back(key.key);
            const auto* node = table.get(key.key);
            if (node != nullptr) {
                fill_one(owner, *node, path, key);
            } else if (key.required()) {
                complain(line_of(table), ErrorCode::bad_setting,
                         fmt::format("[[{}]] without \"{}\"", path, key.key), expected_of(key),
                         fmt::format("add {} = ...: {}", key.key, key.why));
            }
        }
        for (const auto& [key, node] : table) {
            const std::string name(key.str());
            if (std::find(known.begin(), known.end(), name) == known.end()) {
                unknown(name, line_of(node), known);
            }
        }
    }
    template <typename Owner>
    void fill_one(Owner& owner, const toml::node& node, const std::string& path, const KeyOf<Owner>& key) {
        const auto value = value_of(node, key.kind);
        if (value && allows(key, *value)) {
            key.set(owner, *value);
        } else {
            complain(line_of(node), ErrorCode::bad_setting,
                     fmt::format("{}.{} = {}", path, key.key, shown(node)), expected_of(key), key.why);
        }
    }

    // ------------------------------------------------------------ devices

    void read_device(const DeviceKind& kind, const toml::table& table) {
        const auto complaints = out_.complaints.size();
        DeviceDraft draft;
        draft.tcp.port = kind.name == "mqtt" ? 1883 : 502;
        std::vector<std::string> sub{"channel"};
        if (!kind.pump_keys.empty()) {
            sub.emplace_back("pump");
        }
        fill(draft, table, kind.name, kind.keys, sub);
        const Part part{.path = kind.name, .line = line_of(table)};
        once(device_names_, draft.id.text, part, "device");
        check_port(kind, draft, part);
        std::vector<ChannelDraft> channels;
        if (const auto* node = table.get("channel")) {
            each_table(*node, kind.name + ".channel",
                       [&](const toml::table& t) { channels.push_back(read_channel(kind, draft, t)); });
        }
        std::vector<PumpDraft> pumps;
        if (const auto* node = table.get("pump"); node != nullptr && !kind.pump_keys.empty()) {
            each_table(*node, kind.name + ".pump",
                       [&](const toml::table& t) { pumps.push_back(read_pump(kind, draft, t)); });
        }
        check_device(kind, draft, channels, pumps, part);
        if (out_.complaints.size() == complaints) {
            out_.station.devices.push_back(device_of(kind, draft, channels, pumps));
        }
    }

    /// `name` must be a name, and new among `names`.
    void once(std::map<std::string, std::uint64_t>& names, const std::string& name, const Part& part,
              const std::string& what) {
        if (name.empty()) {
            return; // complained of already
        }
        require(is_name(name), part.line, fmt::format("{} \"{}\"", what, name),
                "a name of at most 64 letters, digits, _ and -", "write it without blanks and signs");
        const auto [at, is_new] = names.emplace(name, part.line);
        if (!is_new) {
            complain(part.line, ErrorCode::duplicate, fmt::format("a second {} \"{}\"", what, name),
                     fmt::format("a name of its own; line {} has it already", at->second),
                     "rename one of them");
        }
    }

    /// Each place (port, field, register, topic, coil) belongs to one.
    void own_place(std::map<std::string, std::uint64_t>& places, const std::string& place, const Part& part,
                   const std::string& what) {
        const auto [at, is_new] = places.emplace(place, part.line);
        if (!is_new) {
            complain(part.line, ErrorCode::duplicate, fmt::format("{} a second time", what),
                     fmt::format("a place of its own; line {} has it already", at->second),
                     "mend the one that is wrong: two of them would show the same water twice");
        }
    }

    void check_port(const DeviceKind& kind, const DeviceDraft& draft, const Part& part) {
        const auto& path = draft.serial.path;
        if (path.empty()) {
            return;
        }
        require(
            !path.starts_with("/dev/ttyUSB") && !path.starts_with("/dev/ttyACM"), part.line,
            fmt::format("{}.port = \"{}\"", kind.name, path),
            "a name that stays: the number changes when adapters are plugged in in another order, and the "
            "pumps of one chamber would follow the sensor of another",
            "look for the adapter with  ls -l /dev/serial/by-id  and write that path");
        require(path.starts_with('/'), part.line, fmt::format("{}.port = \"{}\"", kind.name, path),
                "a whole path", "begin it with /dev/");
        own_place(ports_, path, part, fmt::format("port \"{}\"", path));
    }

    static bool speaks_lines(const DeviceKind& kind) {
        return kind.name == "serial" || kind.name == "tcp" || kind.name == "file";
    }

    ChannelDraft read_channel(const DeviceKind& kind, const DeviceDraft& device, const toml::table& table) {
        const auto path = kind.name + ".channel";
        const Part part{.path = path, .line = line_of(table)};
        ChannelDraft draft;
        draft.channel.none = {"nan", "NaN", "NAN"};
        fill(draft, table, path, kind.channel_keys);
        const auto& channel = draft.channel;
        once(channel_names_, channel.id.text, part, "channel");
        const auto& units = units_of(channel.quantity);
        require(channel.unit.empty() || std::find(units.begin(), units.end(), channel.unit) != units.end(),
                part.line, fmt::format("unit \"{}\"", channel.unit),
                fmt::format("a unit of {}: {}", quantity_words()[static_cast<std::size_t>(channel.quantity)],
                            fmt::join(units, ", ")),
                "write one of these, with scale and offset where the wire has another");
        require(!channel.least || !channel.most || *channel.least < *channel.most, part.line,
                fmt::format("least {} and most {}", exact_text(channel.least.value_or(0.0)),
                            exact_text(channel.most.value_or(0.0))),
                "least below most", "exchange them");
        if (channel.quantity == Quantity::oxygen) {
            watched_.push_back(channel.chamber);
        }
        if (speaks_lines(kind)) {
            check_line_channel(draft, part);
        }
        own_place(places_[device.id.text], place_text(kind, draft), part,
                  fmt::format("{} of channel \"{}\"", place_text(kind, draft), channel.id.text));
        return draft;
    }

    void check_line_channel(const ChannelDraft& draft, const Part& part) {
        require(draft.place.name.empty() == (draft.place.position > 0), part.line,
                fmt::format("channel \"{}\" with {}", draft.channel.id.text,
                            draft.place.set() ? "field and position" : "neither field nor position"),
                "one of them", "write field = \"...\" where fields have names, else position = ...");
    }

    static std::string place_text(const DeviceKind& kind, const ChannelDraft& draft) {
        if (speaks_lines(kind)) {
            return draft.place.name.empty() ? fmt::format("position {}", draft.place.position)
                                            : fmt::format("field \"{}\"", draft.place.name);
        }
        if (kind.name == "mqtt") {
            return fmt::format("topic \"{}\"{}", draft.topic,
                               draft.pointer ? fmt::format(" at \"{}\"", *draft.pointer) : "");
        }
        return fmt::format("unit {} {} register {}", draft.registers.unit,
                           register_table_words()[static_cast<std::size_t>(draft.registers.table)],
                           draft.registers.address);
    }

    PumpDraft read_pump(const DeviceKind& kind, const DeviceDraft& device, const toml::table& table) {
        const auto path = kind.name + ".pump";
        const Part part{.path = path, .line = line_of(table)};
        PumpDraft draft;
        fill(draft, table, path, kind.pump_keys);
        once(pump_names_, draft.pump.name, part, "pump");
        pumps_.push_back({draft.pump.chamber, part});
        const bool by_coil = kind.name.starts_with("modbus");
        require(by_coil || draft.seal.empty() || draft.seal != draft.flush, part.line,
                fmt::format("pump \"{}\" with the same words for seal and flush", draft.pump.name),
                "two different ones", "mend the one that is wrong");
        const auto place = by_coil ? fmt::format("unit {} coil {}", draft.unit, draft.coil)
                           : kind.name == "mqtt"
                               ? fmt::format("command at topic \"{}\" \"{}\"", draft.topic, draft.seal)
                               : fmt::format("command \"{}\"", draft.seal);
        own_place(places_[device.id.text], place, part,
                  fmt::format("{} of pump \"{}\"", place, draft.pump.name));
        return draft;
    }

    void check_device(const DeviceKind& kind, const DeviceDraft& draft, std::vector<ChannelDraft>& channels,
                      const std::vector<PumpDraft>& pumps, const Part& part) {
        require(!channels.empty() || !pumps.empty(), part.line,
                fmt::format("[[{}]] \"{}\" without channels and pumps", kind.name, draft.id.text),
                fmt::format("at least one [[{}.channel]]", kind.name), "add it below");
        if (speaks_lines(kind)) {
            check_shape(kind, kind.name == "file" ? draft.file.shape : draft.line.shape, channels, part);
        }
        if (kind.name.starts_with("modbus")) {
            for (const auto& channel : channels) {
                require(channel.registers.address + width(channel.registers.kind) <= 65536, part.line,
                        fmt::format("channel \"{}\" beyond the last register", channel.channel.id.text),
                        "an address whose registers all lie within 0 to 65535", "mend address or type");
            }
        }
        if (kind.name == "mqtt") {
            check_topics(channels, pumps, part);
        }
    }

    void check_shape(const DeviceKind& kind, const LineShape& shape,
                     const std::vector<ChannelDraft>& channels, const Part& part) {
        require(shape.separator != shape.decimal, part.line,
                fmt::format("separator and decimal both \"{}\"", shape.decimal), "two different signs",
                "a decimal comma needs another separator");
        require(shape.time.name.empty() || shape.time.position == 0, part.line,
                "time_field and time_position", "one of them", "take one out");
        for (const auto& channel : channels) {
            const auto position = std::max(channel.place.position, shape.time.position);
            require(
                channel.place.position == 0 || shape.fields, part.line,
                fmt::format("channel \"{}\" by position, and \"fields\" is not set", channel.channel.id.text),
                "the number of fields of a whole line, so that half a line is not read",
                fmt::format("add fields = ... to [[{}]]", kind.name));
            require(!shape.fields || position <= *shape.fields, part.line,
                    fmt::format("position {} of {} fields", position, shape.fields.value_or(0)),
                    "a position within the line", "mend position or fields");
        }
    }

    void check_topics(const std::vector<ChannelDraft>& channels, const std::vector<PumpDraft>& pumps,
                      const Part& part) {
        const auto topic = [&](const std::string& text) {
            require(text.find_first_of("+#") == std::string::npos && text.size() <= 1000, part.line,
                    fmt::format("topic \"{}\"", text.substr(0, 60)),
                    "a whole topic without the wildcards + and #", "write one channel for each topic");
        };
        for (const auto& channel : channels) {
            topic(channel.topic);
            for (const auto& text : {channel.pointer, channel.time}) {
                if (const auto pointer = JsonPointer::parse(text.value_or("")); !pointer) {
                    auto error = pointer.error();
                    error.place = {.file = file_, .line = part.line};
                    out_.complaints.push_back(std::move(error));
                }
            }
        }
        for (const auto& pump : pumps) {
            topic(pump.topic);
        }
    }

    /// A pump is never worked blindly.
    void check_pumps_are_watched() {
        for (const auto& [chamber, part] : pumps_) {
            require(chamber.empty() || std::find(watched_.begin(), watched_.end(), chamber) != watched_.end(),
                    part.line, fmt::format("a pump for chamber \"{}\", which has no oxygen channel", chamber),
                    "a channel of quantity oxygen with the same chamber: nobody would see the fish run short",
                    "add the channel, or mend the chamber's name on one of the two");
        }
    }

    // ------------------------------------------------------------ from drafts

    static std::vector<LineField> fields_of(const std::vector<ChannelDraft>& channels) {
        std::vector<LineField> out;
        for (const auto& draft : channels) {
            out.push_back({.channel = draft.channel, .place = draft.place});
        }
        return out;
    }

    static LineDevice line_device(const DeviceKind& kind, const DeviceDraft& draft,
                                  const std::vector<ChannelDraft>& channels,
                                  const std::vector<PumpDraft>& pumps) {
        auto out = draft.line;
        if (kind.name == "serial") {
            out.over = draft.serial;
        } else {
            out.over = draft.tcp;
        }
        out.shape.channels = fields_of(channels);
        for (const auto& pump : pumps) {
            out.pumps.push_back({.pump = pump.pump, .seal = pump.seal, .flush = pump.flush});
        }
        return out;
    }

    static ModbusDevice modbus_device(const DeviceKind& kind, const DeviceDraft& draft,
                                      const std::vector<ChannelDraft>& channels,
                                      const std::vector<PumpDraft>& pumps) {
        auto out = draft.modbus;
        if (kind.name == "modbus_rtu") {
            out.over = draft.serial;
        } else {
            out.over = draft.tcp;
        }
        for (const auto& each : channels) {
            out.channels.push_back(each.registers);
            out.channels.back().channel = each.channel;
        }
        for (const auto& pump : pumps) {
            out.pumps.push_back(
                {.pump = pump.pump, .unit = pump.unit, .coil = pump.coil, .seal = pump.coil_seals});
        }
        return out;
    }

    static MqttDevice mqtt_device(const DeviceDraft& draft, const std::vector<ChannelDraft>& channels,
                                  const std::vector<PumpDraft>& pumps) {
        auto out = draft.mqtt;
        out.broker = draft.tcp;
        const auto pointer = [](const std::optional<std::string>& text) {
            return text ? std::optional(JsonPointer::parse(*text).value()) : std::nullopt;
        };
        for (const auto& each : channels) {
            out.channels.push_back({.channel = each.channel,
                                    .topic = each.topic,
                                    .pointer = pointer(each.pointer),
                                    .time = pointer(each.time)});
        }
        for (const auto& pump : pumps) {
            out.pumps.push_back(
                {.pump = pump.pump, .topic = pump.topic, .seal = pump.seal, .flush = pump.flush});
        }
        return out;
    }

    static Device device_of(const DeviceKind& kind, const DeviceDraft& draft,
                            const std::vector<ChannelDraft>& channels, const std::vector<PumpDraft>& pumps) {
        Device out{.id = draft.id, .silence = draft.silence};
        if (kind.name == "mqtt") {
            out.by = mqtt_device(draft, channels, pumps);
        } else if (kind.name == "file") {
            auto file = draft.file;
            file.shape.channels = fields_of(channels);
            out.by = std::move(file);
        } else if (kind.name.starts_with("modbus")) {
            out.by = modbus_device(kind, draft, channels, pumps);
        } else {
            out.by = line_device(kind, draft, channels, pumps);
        }
        return out;
    }

    StationRead& out_;
    std::string file_;
    std::map<std::string, std::uint64_t> device_names_;
    std::map<std::string, std::uint64_t> channel_names_;
    std::map<std::string, std::uint64_t> pump_names_;
    std::map<std::string, std::uint64_t> ports_;
    std::map<std::string, std::map<std::string, std::uint64_t>> places_; ///< by device
    std::vector<std::string> watched_;                                   ///< chambers with an oxygen channel
    std::vector<std::pair<std::string, Part>> pumps_;                    ///< chamber, where
};

template <typename Owner>
void append_keys(std::string& out, const std::string& path, const std::vector<KeyOf<Owner>>& keys) {
    out += fmt::format("\n`[[{}]]`\n\n| key | what it is | default | why |\n|---|---|---|---|\n", path);
    const auto plain = [](std::string text) {
        for (std::size_t at = 0; (at = text.find('|', at)) != std::string::npos; at += 2) {
            text.insert(at, "\\");
        }
        return text;
    };
    for (const auto& key : keys) {
        const auto preset = key.preset.empty() ? std::string()
                            : key.required()   ? std::string("required")
                                               : "`" + key.preset + "`";
        out += fmt::format("| `{}` | {} | {} | {} |\n", key.key, plain(expected_of(key)), plain(preset),
                           plain(key.why));
    }
}

} // namespace

std::vector<Channel> channels_of(const Device& device) {
    std::vector<Channel> out;
    const auto add = [&](const auto& list) {
        for (const auto& each : list) {
            out.push_back(each.channel);
        }
    };
    if (const auto* line = std::get_if<LineDevice>(&device.by)) {
        add(line->shape.channels);
    } else if (const auto* modbus = std::get_if<ModbusDevice>(&device.by)) {
        add(modbus->channels);
    } else if (const auto* mqtt = std::get_if<MqttDevice>(&device.by)) {
        add(mqtt->channels);
    } else if (const auto* file = std::get_if<FileDevice>(&device.by)) {
        add(file->shape.channels);
    }
    return out;
}

std::vector<Pump> pumps_of(const Device& device) {
    std::vector<Pump> out;
    const auto add = [&](const auto& list) {
        for (const auto& each : list) {
            out.push_back(each.pump);
        }
    };
    if (const auto* line = std::get_if<LineDevice>(&device.by)) {
        add(line->pumps);
    } else if (const auto* modbus = std::get_if<ModbusDevice>(&device.by)) {
        add(modbus->pumps);
    } else if (const auto* mqtt = std::get_if<MqttDevice>(&device.by)) {
        add(mqtt->pumps);
    }
    return out;
}

StationRead read_station(std::string_view text, const std::string& file,
                         const std::vector<std::string>& others) {
    StationRead out;
    if (auto error = too_long_a_line(text, file)) {
        out.complaints.push_back(std::move(*error));
        return out;
    }
    try {
        const auto root = toml::parse(text, file);
        StationReader(out, file).read(root, others);
    } catch (const toml::parse_error& error) {
        out.complaints.push_back({.code = ErrorCode::bad_text,
                                  .found = std::string(error.description()),
                                  .expected = "TOML: key = value lines under [[brackets]]",
                                  .remedy = "mend this line; docs/station.md has an example of each kind",
                                  .place = {.file = file, .line = error.source().begin.line}});
    }
    return out;
}

std::string station_markdown() {
    std::string out;
    for (const auto& kind : device_kinds()) {
        out += fmt::format("\n### {}\n\n{}\n", kind.name, kind.what);
        append_keys(out, kind.name, kind.keys);
        append_keys(out, kind.name + ".channel", kind.channel_keys);
        if (!kind.pump_keys.empty()) {
            append_keys(out, kind.name + ".pump", kind.pump_keys);
        }
    }
    return out;
}

} // namespace backeddy::instruments
