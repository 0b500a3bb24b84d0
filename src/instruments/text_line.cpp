#include "instruments/text_line.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::instruments {

namespace {

constexpr std::string_view check_word = "check=";

std::vector<std::string_view> fields_of(std::string_view line, char separator) {
    std::vector<std::string_view> out;
    if (separator == ' ') {
        for (auto rest = trimmed(line); !rest.empty();) {
            const auto end = std::min(rest.find_first_of(" \t"), rest.size());
            out.push_back(rest.substr(0, end));
            rest = trimmed(rest.substr(end));
        }
        return out;
    }
    while (true) {
        const auto end = line.find(separator);
        out.push_back(line.substr(0, end));
        if (end == std::string_view::npos) {
            return out;
        }
        line.remove_prefix(end + 1);
    }
}

/// The line without its check field, or nothing when it is not there or not right.
std::optional<std::string_view> checked(std::string_view line, char separator) {
    const auto at = line.rfind(check_word);
    if (at == std::string_view::npos || at == 0 || line[at - 1] != separator) {
        return std::nullopt;
    }
    const auto body = line.substr(0, at - 1);
    const auto sum = trimmed(line.substr(at + check_word.size()));
    return sum == fmt::format("{:04X}", crc16(body)) ? std::optional(body) : std::nullopt;
}

/// Name and value; the name is empty for a field without the sign.
struct Field {
    std::string_view name;
    std::string_view value;
};

std::vector<Field> named(const std::vector<std::string_view>& fields, char sign) {
    std::vector<Field> out;
    out.reserve(fields.size());
    for (const auto field : fields) {
        const auto at = field.find(sign);
        if (at == std::string_view::npos) {
            out.push_back({.value = field});
        } else {
            out.push_back({.name = trimmed(field.substr(0, at)), .value = field.substr(at + 1)});
        }
    }
    return out;
}

/// The first name that stands twice; empty when none does. Two halves of lines run together look so.
std::string_view twice(const std::vector<Field>& fields) {
    std::vector<std::string_view> names;
    for (const auto& field : fields) {
        if (!field.name.empty()) {
            names.push_back(field.name);
        }
    }
    std::sort(names.begin(), names.end());
    const auto found = std::adjacent_find(names.begin(), names.end());
    return found == names.end() ? std::string_view() : *found;
}

std::optional<Instant> instant_in(std::string_view text) {
    text = trimmed(text);
    if (const auto moment = parse_iso(text)) {
        return moment;
    }
    const auto seconds = parse_number(text);
    constexpr double latest = 9.2e9; // what an Instant can hold
    return seconds && std::abs(*seconds) < latest ? std::optional(Instant::unix_seconds(*seconds))
                                                  : std::nullopt;
}

class Line {
  public:
    Line(const LineShape& shape, std::string_view text)
        : shape_(shape), plain_(fields_of(text, shape.separator)), named_(named(plain_, shape.name_sign)) {}

    [[nodiscard]] std::string complaint() const {
        if (shape_.fields && plain_.size() != *shape_.fields) {
            return fmt::format("{} fields where {} are expected", plain_.size(), *shape_.fields);
        }
        if (const auto name = twice(named_); !name.empty()) {
            return fmt::format("\"{}\" twice in one line", name.substr(0, 40));
        }
        return {};
    }

    [[nodiscard]] std::optional<std::string_view> at(const FieldPlace& place) const {
        if (place.name.empty()) {
            return place.position >= 1 && place.position <= plain_.size()
                       ? std::optional(plain_[place.position - 1])
                       : std::nullopt;
        }
        const auto found =
            std::find_if(named_.begin(), named_.end(), [&](const Field& f) { return f.name == place.name; });
        return found == named_.end() ? std::nullopt : std::optional(found->value);
    }

  private:
    const LineShape& shape_;
    std::vector<std::string_view> plain_;
    std::vector<Field> named_;
};

} // namespace

std::uint16_t crc16(std::string_view bytes) {
    std::uint16_t sum = 0xFFFF;
    for (const char each : bytes) {
        sum = static_cast<std::uint16_t>(sum ^ (static_cast<unsigned char>(each) << 8U));
        for (int bit = 0; bit < 8; ++bit) {
            const bool carry = (sum & 0x8000U) != 0;
            sum = static_cast<std::uint16_t>((sum << 1U) ^ (carry ? 0x1021U : 0U));
        }
    }
    return sum;
}

LineRead read_line(const LineShape& shape, std::string_view line, const Stamp& received) {
    if (!line.starts_with(shape.starts_with)) {
        return {};
    }
    if (shape.check == LineCheck::crc16) {
        const auto body = checked(line, shape.separator);
        if (!body) {
            return {.complaint = "its check is missing or wrong"};
        }
        line = *body;
    }
    const Line read(shape, line);
    if (auto complaint = read.complaint(); !complaint.empty()) {
        return {.complaint = std::move(complaint)};
    }
    std::optional<Instant> device_time;
    if (const auto text = shape.time.set() ? read.at(shape.time) : std::nullopt) {
        device_time = instant_in(*text);
    }
    LineRead out;
    for (const auto& field : shape.channels) {
        if (const auto text = read.at(field.place)) {
            out.readings.push_back(read_text(field.channel, *text, shape.decimal, received, device_time));
        }
    }
    if (out.readings.empty()) {
        out.complaint = "no field of a channel in it";
    }
    return out;
}

} // namespace backeddy::instruments
