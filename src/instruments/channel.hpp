#pragma once
// What is the same of a channel on every wire: its name, chamber, quantity and unit, and how a raw number
// becomes a reading.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "instruments/reading.hpp"

namespace backeddy::instruments {

enum class Quantity : std::uint8_t {
    oxygen,
    temperature,
    salinity,
    conductivity,
    pressure, ///< of the air
    flow,     ///< of the flush, where somebody measures it
    pump,     ///< what the pump's own contact says: 0 flush, 1 sealed
};

/// Words of station.toml, in the order of the enum.
[[nodiscard]] const std::vector<std::string>& quantity_words();
/// Units that a quantity may have, as station.toml writes them: of oxygen "mg/L", "umol/L", "% air" ...
[[nodiscard]] const std::vector<std::string>& units_of(Quantity quantity);

struct Channel {
    ChannelId id;
    std::string chamber; ///< which it is in; empty for what all share (inflow, barometer)
    Quantity quantity = Quantity::oxygen;
    std::string unit;
    double scale = 1.0; ///< reading = raw * scale + offset
    double offset = 0.0;
    std::optional<double> least; ///< of the reading; beyond it the device is broken, not the water strange
    std::optional<double> most;
    std::vector<std::string> none; ///< words or numbers by which the device says that it has no value
    Duration gap_after = Duration::seconds(10.0); ///< longer without a number is a gap
};

/// What a channel makes of a raw number.
[[nodiscard]] Reading finished(const Channel& channel, double raw, const Stamp& received,
                               std::optional<Instant> device_time);
/// A reading without a number; `missing` is not Missing::no.
[[nodiscard]] Reading without_number(const Channel& channel, Missing missing, const Stamp& received,
                                     std::optional<Instant> device_time);
/// What a channel makes of a text: "8.41", one of its words for none, or something else. Blanks around it do
/// not count; with decimal ',' a '.' is no part of a number.
[[nodiscard]] Reading read_text(const Channel& channel, std::string_view text, char decimal,
                                const Stamp& received, std::optional<Instant> device_time);

/// Without blanks and tabs at either end.
[[nodiscard]] std::string_view trimmed(std::string_view text);

} // namespace backeddy::instruments
