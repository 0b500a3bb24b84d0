#pragma once
// Modbus registers to numbers. Pure. A register is 16 bits; longer numbers stand in several, whose order is
// the device's own (the protocol's specification, Modbus Application Protocol V1.1b3, section 4.2, says only
// that each register's high byte comes first).

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "instruments/channel.hpp"

namespace backeddy::instruments {

enum class RegisterTable : std::uint8_t {
    holding, ///< function 3
    input,   ///< function 4
};
enum class RegisterKind : std::uint8_t { u16, i16, u32, i32, float32, float64 };
enum class WordOrder : std::uint8_t {
    high_first, ///< the lowest address holds the highest 16 bits
    low_first,
};

/// Words of station.toml, in the order of the enums.
[[nodiscard]] const std::vector<std::string>& register_table_words();
[[nodiscard]] const std::vector<std::string>& register_kind_words();
[[nodiscard]] const std::vector<std::string>& word_order_words();

/// How many registers a number takes: 1, 2 or 4.
[[nodiscard]] std::size_t width(RegisterKind kind);

/// The number in `width(kind)` registers, in order of address. Whole numbers are exact; a float's NaN and
/// infinities come out as they are.
[[nodiscard]] double number_in(std::span<const std::uint16_t> registers, RegisterKind kind, WordOrder order);

struct RegisterChannel {
    Channel channel;
    int unit = 1; ///< the device's number on a line that several share, 1 to 247
    RegisterTable table = RegisterTable::holding;
    std::uint16_t address = 0; ///< as on the wire, from 0
    RegisterKind kind = RegisterKind::float32;
    WordOrder order = WordOrder::high_first;
};

/// Registers that are asked for at once, and which channels (by place in the list) lie in them.
struct RegisterRequest {
    int unit = 1;
    RegisterTable table = RegisterTable::holding;
    std::uint16_t address = 0;
    std::uint16_t count = 0;
    std::vector<std::size_t> channels;
    friend bool operator==(const RegisterRequest&, const RegisterRequest&) = default;
};

/// The most registers in one answer (specification, section 6.3: quantity 1 to 125).
inline constexpr std::uint16_t most_registers = 125;

/// As few requests as ask for no register that no channel has: a device may refuse those in between.
[[nodiscard]] std::vector<RegisterRequest> requests_for(std::span<const RegisterChannel> channels);

/// The readings in the answer to a request: `registers` as many as were asked for, else no reading.
[[nodiscard]] std::vector<Reading> read_registers(std::span<const RegisterChannel> channels,
                                                  const RegisterRequest& request,
                                                  std::span<const std::uint16_t> registers,
                                                  const Stamp& received);

/// Two bytes a register, the high one first: as on the wire.
[[nodiscard]] std::string register_bytes(std::span<const std::uint16_t> registers);

} // namespace backeddy::instruments
