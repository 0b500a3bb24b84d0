#pragma once
// One line of text to readings. Pure. Fields are mapped by name ("c1_oxygen=8.412") or by position; a line
// that may be half of one is refused as a whole, since a number in the wrong place is worse than none.
//
// The shape that we write ourselves, where a device may be told what to send:
//
//   time=2026-06-14T03:00:00.250Z;c1_oxygen=8.412;c1_temperature=12.31;check=B62F
//
// name=value fields between semicolons, '.' as decimal point, an empty value where there is none, and at the
// end the CRC-16 of all that stands before ";check=".

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "instruments/channel.hpp"

namespace backeddy::instruments {

/// Where a field stands: a name, or a place from 1 when the name is empty.
struct FieldPlace {
    std::string name;
    std::size_t position = 0;
    [[nodiscard]] bool set() const { return position > 0 || !name.empty(); }
};

struct LineField {
    Channel channel;
    FieldPlace place;
};

enum class LineCheck : std::uint8_t {
    none,
    crc16, ///< last field "check=XXXX", see above
};

struct LineShape {
    char separator = ';'; ///< ' ' stands for any run of blanks
    char name_sign = '='; ///< between name and value
    char decimal = '.';
    std::string starts_with;           ///< only lines that begin so are readings; the others are left out
    std::optional<std::size_t> fields; ///< a line with another number of fields (check aside) is refused
    LineCheck check = LineCheck::none;
    FieldPlace time; ///< the device's own time: ISO 8601 with offset, or seconds since 1970
    std::vector<LineField> channels;
};

struct LineRead {
    std::vector<Reading> readings;
    std::string complaint; ///< why the line is no reading; empty when it is one, or was left out on purpose
};

/// What the line says. Fails never: whatever the bytes, there are readings or a complaint, or nothing for a
/// line that does not begin with `starts_with`. A channel whose field is not in a line of named fields has no
/// reading; one whose field is there without a number has one that says so.
[[nodiscard]] LineRead read_line(const LineShape& shape, std::string_view line, const Stamp& received);

/// CRC-16 with polynomial x^16 + x^12 + x^5 + 1, start FFFF (ITU-T V.41's polynomial; "123456789" gives
/// 29B1).
[[nodiscard]] std::uint16_t crc16(std::string_view bytes);

} // namespace backeddy::instruments
