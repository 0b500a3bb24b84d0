#include "instruments/detail/station_keys.hpp"

#include <algorithm>
#include <type_traits>

#include <fmt/format.h>

namespace backeddy::instruments {

namespace {

using Words = std::vector<std::string>;
template <typename Owner>
using Keys = std::vector<KeyOf<Owner>>;

double number_in(const KeyValue& value) {
    const auto* whole = std::get_if<std::int64_t>(&value);
    return whole != nullptr ? static_cast<double>(*whole) : std::get<double>(value);
}

void assign(std::string& field, const KeyValue& value, const Words&) {
    field = std::get<std::string>(value);
}
void assign(std::optional<std::string>& field, const KeyValue& value, const Words&) {
    field = std::get<std::string>(value);
}
void assign(ChannelId& field, const KeyValue& value, const Words&) {
    field.text = std::get<std::string>(value);
}
void assign(DeviceId& field, const KeyValue& value, const Words&) {
    field.text = std::get<std::string>(value);
}
void assign(Words& field, const KeyValue& value, const Words&) {
    field = std::get<Words>(value);
}
void assign(bool& field, const KeyValue& value, const Words&) {
    field = std::get<bool>(value);
}
void assign(double& field, const KeyValue& value, const Words&) {
    field = number_in(value);
}
void assign(std::optional<double>& field, const KeyValue& value, const Words&) {
    field = number_in(value);
}
void assign(Duration& field, const KeyValue& value, const Words&) {
    field = Duration::seconds(number_in(value));
}
/// A word whose first letter is the value: ";" for itself, "tab", "blank".
void assign(char& field, const KeyValue& value, const Words&) {
    const auto& word = std::get<std::string>(value);
    field = word == "tab" ? '\t' : word == "blank" ? ' ' : word.front();
}
template <typename T>
    requires(std::is_integral_v<T>)
void assign(T& field, const KeyValue& value, const Words&) {
    field = static_cast<T>(std::get<std::int64_t>(value));
}
template <typename T>
    requires(std::is_integral_v<T>)
void assign(std::optional<T>& field, const KeyValue& value, const Words&) {
    field = static_cast<T>(std::get<std::int64_t>(value));
}
template <typename T>
    requires(std::is_enum_v<T>)
void assign(T& field, const KeyValue& value, const Words& words) {
    const auto found = std::find(words.begin(), words.end(), std::get<std::string>(value));
    field = static_cast<T>(found - words.begin());
}

/// The key with its way to the field that `field(owner)` refers to.
template <typename Owner, typename Field>
KeyOf<Owner> key(KeyOf<Owner> spec, Field field) {
    spec.set = [field, words = spec.words](Owner& owner, const KeyValue& value) {
        assign(field(owner), value, words);
    };
    return spec;
}

template <typename Owner>
Keys<Owner> joined(std::initializer_list<Keys<Owner>> parts) {
    Keys<Owner> out;
    for (const auto& part : parts) {
        out.insert(out.end(), part.begin(), part.end());
    }
    return out;
}

using D = DeviceDraft;
using C = ChannelDraft;
using P = PumpDraft;

Keys<D> common_keys() {
    return {key(KeyOf<D>{.key = "name",
                         .preset = "required",
                         .why = "the device's own, one for the machine: letters, digits, _ and -"},
                [](D& d) -> auto& { return d.id; })};
}

Keys<D> silence_keys() {
    return {key(
        KeyOf<D>{.key = "silence_s",
                 .kind = KeyKind::number,
                 .unit = "s",
                 .preset = "10",
                 .why = "this long without a word from the device: it counts as lost and is connected anew",
                 .least = 0.5,
                 .most = 3600.0},
        [](D& d) -> auto& { return d.silence; })};
}

Keys<D> serial_keys() {
    return {
        key(
            KeyOf<D>{
                .key = "port",
                .preset = "required",
                .why = "by a name that stays whatever the order of plugging in: one of /dev/serial/by-id, or "
                       "of /dev/serial/by-path where the adapter has no number of its own"},
            [](D& d) -> auto& { return d.serial.path; }),
        key(KeyOf<D>{.key = "baud",
                     .kind = KeyKind::whole,
                     .unit = "bits/s",
                     .preset = "9600",
                     .why = "speed of the line, as the device's manual says",
                     .least = 300,
                     .most = 921600},
            [](D& d) -> auto& { return d.serial.baud; }),
        key(KeyOf<D>{.key = "data_bits",
                     .kind = KeyKind::whole,
                     .preset = "8",
                     .why = "as the device's manual says",
                     .least = 7,
                     .most = 8},
            [](D& d) -> auto& { return d.serial.data_bits; }),
        key(KeyOf<D>{.key = "parity",
                     .kind = KeyKind::word,
                     .preset = "\"none\"",
                     .why = "as the device's manual says",
                     .words = {"none", "even", "odd"}},
            [](D& d) -> auto& { return d.serial.parity; }),
        key(KeyOf<D>{.key = "stop_bits",
                     .kind = KeyKind::whole,
                     .preset = "1",
                     .why = "as the device's manual says",
                     .least = 1,
                     .most = 2},
            [](D& d) -> auto& { return d.serial.stop_bits; })};
}

Keys<D> tcp_keys(const std::string& standard_port) {
    return {key(KeyOf<D>{.key = "host",
                         .preset = "required",
                         .why = "an address, or a name that the boat's own network knows"},
                [](D& d) -> auto& { return d.tcp.host; }),
            key(KeyOf<D>{.key = "port",
                         .kind = KeyKind::whole,
                         .preset = standard_port,
                         .why = "the port that the device listens at",
                         .least = 1,
                         .most = 65535},
                [](D& d) -> auto& { return d.tcp.port; })};
}

/// `shape(draft)` is the one that is filled.
template <typename Shape>
Keys<D> shape_keys(Shape shape) {
    return {
        key(KeyOf<D>{.key = "separator",
                     .kind = KeyKind::word,
                     .preset = "\";\"",
                     .why = "between fields; \"blank\" stands for any run of blanks",
                     .words = {";", ",", "tab", "blank", "|"}},
            [shape](D& d) -> auto& { return shape(d).separator; }),
        key(KeyOf<D>{.key = "decimal",
                     .kind = KeyKind::word,
                     .preset = "\".\"",
                     .why = "decimal sign of numbers",
                     .words = {".", ","}},
            [shape](D& d) -> auto& { return shape(d).decimal; }),
        key(KeyOf<D>{.key = "name_sign",
                     .kind = KeyKind::word,
                     .preset = "\"=\"",
                     .why = "between name and value, where fields have names",
                     .words = {"=", ":"}},
            [shape](D& d) -> auto& { return shape(d).name_sign; }),
        key(KeyOf<D>{.key = "starts_with",
                     .why = "only lines that begin so are readings; the others are left out without a word"},
            [shape](D& d) -> auto& { return shape(d).starts_with; }),
        key(KeyOf<D>{.key = "fields",
                     .kind = KeyKind::whole,
                     .why = "how many fields a whole line has; any other line is refused. Required where "
                            "channels have positions: half a line has its numbers in the wrong places",
                     .least = 1,
                     .most = 1000},
            [shape](D& d) -> auto& { return shape(d).fields; }),
        key(
            KeyOf<D>{
                .key = "check",
                .kind = KeyKind::word,
                .preset = "\"none\"",
                .why = "\"crc16\": the last field is check=XXXX, the CRC-16 (polynomial 1021, start FFFF) of "
                       "all before its separator",
                .words = {"none", "crc16"}},
            [shape](D& d) -> auto& { return shape(d).check; }),
        key(KeyOf<D>{.key = "time_field",
                     .why = "name of the field with the device's own time: ISO 8601 with offset, or seconds "
                            "since 1970"},
            [shape](D& d) -> auto& { return shape(d).time.name; }),
        key(KeyOf<D>{.key = "time_position",
                     .kind = KeyKind::whole,
                     .why = "or its place in the line, from 1",
                     .least = 1,
                     .most = 1000},
            [shape](D& d) -> auto& { return shape(d).time.position; })};
}

Keys<D> ask_keys() {
    return {
        key(KeyOf<D>{.key = "ask",
                     .why = "what a device that speaks only when asked wants to hear; a line end is added"},
            [](D& d) -> auto& { return d.line.ask; }),
        key(KeyOf<D>{.key = "ask_every_s",
                     .kind = KeyKind::number,
                     .unit = "s",
                     .preset = "1",
                     .why = "how often it is asked",
                     .least = 0.05,
                     .most = 600.0},
            [](D& d) -> auto& { return d.line.ask_every; })};
}

Keys<D> modbus_keys() {
    return {key(KeyOf<D>{.key = "every_s",
                         .kind = KeyKind::number,
                         .unit = "s",
                         .preset = "1",
                         .why = "how often its registers are asked for",
                         .least = 0.05,
                         .most = 600.0},
                [](D& d) -> auto& { return d.modbus.every; }),
            key(KeyOf<D>{.key = "answer_within_s",
                         .kind = KeyKind::number,
                         .unit = "s",
                         .preset = "1",
                         .why = "how long an answer is waited for",
                         .least = 0.05,
                         .most = 30.0},
                [](D& d) -> auto& { return d.modbus.answer_within; })};
}

Keys<D> mqtt_keys() {
    return {
        key(KeyOf<D>{.key = "user", .why = "where the broker asks who it is"},
            [](D& d) -> auto& { return d.mqtt.user; }),
        key(KeyOf<D>{.key = "password_file",
                     .why =
                         "a file that holds the password and nothing else, readable by this program alone"},
            [](D& d) -> auto& { return d.mqtt.password_file; }),
        key(KeyOf<D>{.key = "keep_alive_s",
                     .kind = KeyKind::number,
                     .unit = "s",
                     .preset = "10",
                     .why = "how often broker and program tell each other that they are there",
                     .least = 5.0,
                     .most = 600.0},
            [](D& d) -> auto& { return d.mqtt.keep_alive; })};
}

Keys<D> file_keys() {
    return {key(KeyOf<D>{.key = "path",
                         .preset = "required",
                         .why = "the file that the other program appends to; it is never written to"},
                [](D& d) -> auto& { return d.file.path; }),
            key(KeyOf<D>{.key = "look_every_s",
                         .kind = KeyKind::number,
                         .unit = "s",
                         .preset = "0.5",
                         .why = "how often it is looked at",
                         .least = 0.05,
                         .most = 60.0},
                [](D& d) -> auto& { return d.file.look_every; })};
}

std::string all_units() {
    std::string out;
    for (std::size_t i = 0; i < quantity_words().size(); ++i) {
        out += (out.empty() ? "" : "; ") + fmt::format("{}: ", quantity_words()[i]);
        const auto& units = units_of(static_cast<Quantity>(i));
        for (std::size_t k = 0; k < units.size(); ++k) {
            out += (k == 0 ? "" : ", ") + units[k];
        }
    }
    return out;
}

Keys<C> channel_keys() {
    return {
        key(KeyOf<C>{.key = "name",
                     .preset = "required",
                     .why = "the channel's own, one for the machine: letters, digits, _ and -"},
            [](C& c) -> auto& { return c.channel.id; }),
        key(KeyOf<C>{.key = "chamber",
                     .why = "the chamber it measures in; left out for what all share (inflow, barometer)"},
            [](C& c) -> auto& { return c.channel.chamber; }),
        key(KeyOf<C>{.key = "quantity",
                     .kind = KeyKind::word,
                     .preset = "required",
                     .why = "what it measures",
                     .words = quantity_words()},
            [](C& c) -> auto& { return c.channel.quantity; }),
        key(KeyOf<C>{.key = "unit",
                     .preset = "required",
                     .why = "of the reading, after scale and offset. " + all_units()},
            [](C& c) -> auto& { return c.channel.unit; }),
        key(KeyOf<C>{.key = "scale",
                     .kind = KeyKind::number,
                     .preset = "1",
                     .why = "reading = number on the wire * scale + offset"},
            [](C& c) -> auto& { return c.channel.scale; }),
        key(KeyOf<C>{.key = "offset", .kind = KeyKind::number, .preset = "0", .why = "see scale"},
            [](C& c) -> auto& { return c.channel.offset; }),
        key(KeyOf<C>{.key = "least",
                     .kind = KeyKind::number,
                     .why = "a reading below counts as none: the device is broken, not the water strange"},
            [](C& c) -> auto& { return c.channel.least; }),
        key(KeyOf<C>{.key = "most", .kind = KeyKind::number, .why = "a reading above counts as none"},
            [](C& c) -> auto& { return c.channel.most; }),
        key(KeyOf<C>{.key = "none",
                     .kind = KeyKind::texts,
                     .preset = R"(["nan", "NaN", "NAN"])",
                     .why = "words or numbers by which the device says that it has no value, before scaling"},
            [](C& c) -> auto& { return c.channel.none; }),
        key(KeyOf<C>{.key = "gap_after_s",
                     .kind = KeyKind::number,
                     .unit = "s",
                     .preset = "10",
                     .why = "longer without a number is recorded as a gap",
                     .least = 0.1,
                     .most = 86400.0},
            [](C& c) -> auto& { return c.channel.gap_after; })};
}

Keys<C> place_keys() {
    return {key(KeyOf<C>{.key = "field", .why = "the field's name in the line; this or position"},
                [](C& c) -> auto& { return c.place.name; }),
            key(KeyOf<C>{.key = "position",
                         .kind = KeyKind::whole,
                         .why = "the field's place in the line, from 1",
                         .least = 1,
                         .most = 1000},
                [](C& c) -> auto& { return c.place.position; })};
}

template <typename Owner>
KeyOf<Owner> unit_key() {
    return {.key = "modbus_unit",
            .kind = KeyKind::whole,
            .preset = "1",
            .why = "the number of the unit on the line, which several may share",
            .least = 1,
            .most = 247};
}

Keys<C> register_keys() {
    return {
        key(unit_key<C>(), [](C& c) -> auto& { return c.registers.unit; }),
        key(KeyOf<C>{.key = "table",
                     .kind = KeyKind::word,
                     .preset = "\"holding\"",
                     .why = "which registers: function 3 reads holding, 4 input registers",
                     .words = register_table_words()},
            [](C& c) -> auto& { return c.registers.table; }),
        key(
            KeyOf<C>{
                .key = "address",
                .kind = KeyKind::whole,
                .preset = "required",
                .why =
                    "of the first register as it goes over the wire, from 0. Manuals that count from 1, or "
                    "from 40001 or 30001, mean one less than the count within their table",
                .least = 0,
                .most = 65535},
            [](C& c) -> auto& { return c.registers.address; }),
        key(KeyOf<C>{.key = "type",
                     .kind = KeyKind::word,
                     .preset = "\"float32\"",
                     .why = "how the number stands in 1, 2 or 4 registers",
                     .words = register_kind_words()},
            [](C& c) -> auto& { return c.registers.kind; }),
        key(KeyOf<C>{.key = "word_order",
                     .kind = KeyKind::word,
                     .preset = "\"high_first\"",
                     .why = "which register of several holds the highest bits",
                     .words = word_order_words()},
            [](C& c) -> auto& { return c.registers.order; })};
}

Keys<C> topic_keys() {
    return {
        key(KeyOf<C>{.key = "topic", .preset = "required", .why = "the whole topic, without wildcards"},
            [](C& c) -> auto& { return c.topic; }),
        key(KeyOf<C>{.key = "pointer",
                     .why =
                         "where the value stands in the message's JSON (RFC 6901), \"/tubes/0/oxygen\"; left "
                         "out where the message is the number alone"},
            [](C& c) -> auto& { return c.pointer; }),
        key(KeyOf<C>{.key = "time_pointer",
                     .why =
                         "where the device's own time stands: ISO 8601 with offset, or seconds since 1970"},
            [](C& c) -> auto& { return c.time; })};
}

Keys<P> pump_keys() {
    return {
        key(KeyOf<P>{.key = "name",
                     .preset = "required",
                     .why = "the pump's own, one for the machine: letters, digits, _ and -"},
            [](P& p) -> auto& { return p.pump.name; }),
        key(KeyOf<P>{.key = "chamber", .preset = "required", .why = "the chamber that it flushes"},
            [](P& p) -> auto& { return p.pump.chamber; }),
        key(
            KeyOf<P>{
                .key = "heartbeat_s",
                .kind = KeyKind::number,
                .unit = "s",
                .preset = "5",
                .why = "the command is repeated so often. The hardware has to go to flush by itself when it "
                       "has not heard it for two or three times as long",
                .least = 0.2,
                .most = 60.0},
            [](P& p) -> auto& { return p.pump.heartbeat; })};
}

Keys<P> said_keys(const std::string& what) {
    return {key(KeyOf<P>{.key = "seal",
                         .preset = "required",
                         .why = fmt::format("{} that stops the flush, for as long as it is repeated", what)},
                [](P& p) -> auto& { return p.seal; }),
            key(KeyOf<P>{.key = "flush", .preset = "required", .why = fmt::format("{} that flushes", what)},
                [](P& p) -> auto& { return p.flush; })};
}

Keys<P> coil_keys() {
    return {
        key(unit_key<P>(), [](P& p) -> auto& { return p.unit; }),
        key(KeyOf<P>{.key = "coil",
                     .kind = KeyKind::whole,
                     .preset = "required",
                     .why = "its address as it goes over the wire, from 0",
                     .least = 0,
                     .most = 65535},
            [](P& p) -> auto& { return p.coil; }),
        key(
            KeyOf<P>{
                .key = "coil_seals",
                .kind = KeyKind::yes_no,
                .preset = "true",
                .why = "true where a coil that is on stops the flush, so that a relay without power flushes"},
            [](P& p) -> auto& { return p.coil_seals; })};
}

Keys<P> topic_pump_keys() {
    return joined<P>(
        {{key(
             KeyOf<P>{.key = "topic", .preset = "required", .why = "where commands are sent; never retained"},
             [](P& p) -> auto& { return p.topic; })},
         said_keys("the message")});
}

} // namespace

std::string in_words(KeyKind kind) {
    switch (kind) {
    case KeyKind::text:
        return "a text in quotes";
    case KeyKind::word:
        return "a word in quotes";
    case KeyKind::number:
        return "a number";
    case KeyKind::whole:
        return "a whole number";
    case KeyKind::yes_no:
        return "true or false";
    case KeyKind::texts:
        return "a list of texts";
    }
    return {};
}

const std::vector<DeviceKind>& device_kinds() {
    const auto line_shape = [](D& d) -> auto& { return d.line.shape; };
    const auto file_shape = [](D& d) -> auto& { return d.file.shape; };
    const auto line_channel = joined<C>({channel_keys(), place_keys()});
    const auto register_channel = joined<C>({channel_keys(), register_keys()});
    const auto line_pump = joined<P>({pump_keys(), said_keys("the line")});
    const auto coil_pump = joined<P>({pump_keys(), coil_keys()});
    static const std::vector<DeviceKind> kinds{
        {.name = "serial",
         .what = "Lines of text from a serial port.",
         .keys =
             joined<D>({common_keys(), silence_keys(), serial_keys(), shape_keys(line_shape), ask_keys()}),
         .channel_keys = line_channel,
         .pump_keys = line_pump},
        {.name = "tcp",
         .what = "Lines of text over TCP.",
         .keys = joined<D>(
             {common_keys(), silence_keys(), tcp_keys("required"), shape_keys(line_shape), ask_keys()}),
         .channel_keys = line_channel,
         .pump_keys = line_pump},
        {.name = "modbus_rtu",
         .what = "Modbus RTU on a serial port, this program being the one that asks.",
         .keys = joined<D>({common_keys(), silence_keys(), serial_keys(), modbus_keys()}),
         .channel_keys = register_channel,
         .pump_keys = coil_pump},
        {.name = "modbus_tcp",
         .what = "Modbus TCP.",
         .keys = joined<D>({common_keys(), silence_keys(), tcp_keys("502"), modbus_keys()}),
         .channel_keys = register_channel,
         .pump_keys = coil_pump},
        {.name = "mqtt",
         .what = "Messages from an MQTT broker on the boat's own network.",
         .keys = joined<D>({common_keys(), tcp_keys("1883"), mqtt_keys()}),
         .channel_keys = joined<C>({channel_keys(), topic_keys()}),
         .pump_keys = joined<P>({pump_keys(), topic_pump_keys()})},
        {.name = "file",
         .what = "Lines that another program appends to a file. Reading begins at its end; a file that is "
                 "rotated, cut "
                 "short or replaced is followed.",
         .keys = joined<D>({common_keys(), file_keys(), shape_keys(file_shape)}),
         .channel_keys = line_channel}};
    return kinds;
}

} // namespace backeddy::instruments
