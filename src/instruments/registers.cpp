#include "instruments/registers.hpp"

#include <algorithm>
#include <bit>
#include <numeric>
#include <tuple>

namespace backeddy::instruments {

namespace {

using Words = std::vector<std::string>;

std::uint64_t bits_in(std::span<const std::uint16_t> registers, WordOrder order) {
    std::uint64_t bits = 0;
    for (std::size_t i = 0; i < registers.size(); ++i) {
        bits = (bits << 16U) | registers[order == WordOrder::high_first ? i : registers.size() - 1 - i];
    }
    return bits;
}

std::uint32_t end_of(const RegisterChannel& channel) {
    return channel.address + static_cast<std::uint32_t>(width(channel.kind));
}

bool joins(const RegisterRequest& request, const RegisterChannel& channel) {
    return request.unit == channel.unit && request.table == channel.table &&
           channel.address <= static_cast<std::uint32_t>(request.address) + request.count &&
           end_of(channel) - request.address <= most_registers;
}

} // namespace

const Words& register_table_words() {
    static const Words words{"holding", "input"};
    return words;
}
const Words& register_kind_words() {
    static const Words words{"u16", "i16", "u32", "i32", "float32", "float64"};
    return words;
}
const Words& word_order_words() {
    static const Words words{"high_first", "low_first"};
    return words;
}

std::size_t width(RegisterKind kind) {
    switch (kind) {
    case RegisterKind::u16:
    case RegisterKind::i16:
        return 1;
    case RegisterKind::u32:
    case RegisterKind::i32:
    case RegisterKind::float32:
        return 2;
    case RegisterKind::float64:
        return 4;
    }
    return 1;
}

double number_in(std::span<const std::uint16_t> registers, RegisterKind kind, WordOrder order) {
    const std::uint64_t bits = bits_in(registers, order);
    switch (kind) {
    case RegisterKind::u16:
        return static_cast<std::uint16_t>(bits);
    case RegisterKind::i16:
        return static_cast<std::int16_t>(bits);
    case RegisterKind::u32:
        return static_cast<std::uint32_t>(bits);
    case RegisterKind::i32:
        return static_cast<std::int32_t>(bits);
    case RegisterKind::float32:
        return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(bits)));
    case RegisterKind::float64:
        return std::bit_cast<double>(bits);
    }
    return 0.0;
}

std::vector<RegisterRequest> requests_for(std::span<const RegisterChannel> channels) {
    std::vector<std::size_t> order(channels.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    const auto place = [&](std::size_t i) {
        return std::tuple(channels[i].unit, channels[i].table, channels[i].address, end_of(channels[i]), i);
    };
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return place(a) < place(b); });
    std::vector<RegisterRequest> out;
    for (const std::size_t i : order) {
        const auto& channel = channels[i];
        if (out.empty() || !joins(out.back(), channel)) {
            out.push_back({.unit = channel.unit, .table = channel.table, .address = channel.address});
        }
        auto& request = out.back();
        request.count =
            std::max(request.count, static_cast<std::uint16_t>(end_of(channel) - request.address));
        request.channels.push_back(i);
    }
    return out;
}

std::vector<Reading> read_registers(std::span<const RegisterChannel> channels, const RegisterRequest& request,
                                    std::span<const std::uint16_t> registers, const Stamp& received) {
    std::vector<Reading> out;
    if (registers.size() != request.count) {
        return out;
    }
    for (const std::size_t i : request.channels) {
        const auto& channel = channels[i];
        const auto own = registers.subspan(static_cast<std::size_t>(channel.address - request.address),
                                           width(channel.kind));
        out.push_back(
            finished(channel.channel, number_in(own, channel.kind, channel.order), received, std::nullopt));
    }
    return out;
}

std::string register_bytes(std::span<const std::uint16_t> registers) {
    std::string out;
    for (const std::uint16_t each : registers) {
        out += static_cast<char>(each >> 8U);
        out += static_cast<char>(each & 0xFFU);
    }
    return out;
}

} // namespace backeddy::instruments
