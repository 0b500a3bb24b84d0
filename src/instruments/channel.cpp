#include "instruments/channel.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "base/number_text.hpp"

namespace backeddy::instruments {

namespace {

using Words = std::vector<std::string>;

/// With '.' as decimal point, as parse_number() takes it; nothing when a '.' stands where ',' is the decimal.
std::optional<double> number_in(std::string_view text, char decimal) {
    if (decimal == '.') {
        return parse_number(text);
    }
    if (text.find('.') != std::string_view::npos) {
        return std::nullopt;
    }
    std::string point(text);
    std::replace(point.begin(), point.end(), decimal, '.');
    return parse_number(point);
}

bool says_none(const Channel& channel, std::string_view text) {
    return std::find(channel.none.begin(), channel.none.end(), text) != channel.none.end();
}

/// "-99" stands for "-99.00" too.
bool says_none(const Channel& channel, double raw) {
    return std::any_of(channel.none.begin(), channel.none.end(),
                       [&](const std::string& word) { return parse_number(word) == raw; });
}

bool in_range(const Channel& channel, double value) {
    return (!channel.least || value >= *channel.least) && (!channel.most || value <= *channel.most);
}

} // namespace

const Words& quantity_words() {
    static const Words words{"oxygen", "temperature", "salinity", "conductivity", "pressure", "flow", "pump"};
    return words;
}

const Words& units_of(Quantity quantity) {
    static const std::array<Words, 7> units{Words{"mg/L", "umol/L", "mL/L", "% air", "kPa", "hPa", "mmHg"},
                                            Words{"degC", "degF", "K"},
                                            Words{"PSU"},
                                            Words{"mS/cm", "uS/cm", "S/m"},
                                            Words{"kPa", "hPa", "mmHg", "bar"},
                                            Words{"L/min", "L/h"},
                                            Words{"0/1"}};
    return units.at(static_cast<std::size_t>(quantity));
}

Reading finished(const Channel& channel, double raw, const Stamp& received,
                 std::optional<Instant> device_time) {
    if (!std::isfinite(raw) || says_none(channel, raw)) {
        return without_number(channel, Missing::not_a_number, received, device_time);
    }
    const double value = raw * channel.scale + channel.offset;
    if (!std::isfinite(value) || !in_range(channel, value)) {
        return without_number(channel, Missing::out_of_range, received, device_time);
    }
    return {.channel = channel.id, .value = value, .received = received, .device_time = device_time};
}

Reading without_number(const Channel& channel, Missing missing, const Stamp& received,
                       std::optional<Instant> device_time) {
    return {.channel = channel.id,
            .value = std::numeric_limits<double>::quiet_NaN(),
            .missing = missing,
            .received = received,
            .device_time = device_time};
}

Reading read_text(const Channel& channel, std::string_view text, char decimal, const Stamp& received,
                  std::optional<Instant> device_time) {
    const auto word = trimmed(text);
    if (word.empty()) {
        return without_number(channel, Missing::empty, received, device_time);
    }
    if (says_none(channel, word)) {
        return without_number(channel, Missing::not_a_number, received, device_time);
    }
    const auto number = number_in(word, decimal);
    return number ? finished(channel, *number, received, device_time)
                  : without_number(channel, Missing::no_number, received, device_time);
}

std::string_view trimmed(std::string_view text) {
    const auto first = text.find_first_not_of(" \t");
    if (first == std::string_view::npos) {
        return {};
    }
    return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

} // namespace backeddy::instruments
