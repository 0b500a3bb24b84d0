#include "instruments/registers.hpp"

#include <bit>
#include <cmath>
#include <numbers>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "instruments/support.hpp"

namespace backeddy::instruments {
namespace {

using testing::ElementsAre;
using Kind = RegisterKind;
using Order = WordOrder;
using Registers = std::vector<std::uint16_t>;

RegisterChannel at(std::uint16_t address, Kind kind, RegisterTable table = RegisterTable::holding) {
    return {
        .channel = channel("r" + std::to_string(address)), .table = table, .address = address, .kind = kind};
}

TEST(Registers, reads_the_examples_of_the_specification) {
    // Modbus Application Protocol Specification V1.1b3, 6.3: registers 108 to 110 (addresses 107 to 109)
    // answer 02 2B 00 00 00 64, "555, 0 and 100 decimal"; 6.4: input register 9 answers 00 0A, "10 decimal".
    const std::vector<RegisterChannel> channels{at(107, Kind::u16), at(108, Kind::i16), at(109, Kind::u16)};
    const auto requests = requests_for(channels);
    ASSERT_EQ(requests.size(), 1U);
    EXPECT_EQ(requests[0],
              (RegisterRequest{
                  .table = RegisterTable::holding, .address = 107, .count = 3, .channels = {0, 1, 2}}));
    EXPECT_THAT(texts(read_registers(channels, requests[0], Registers{0x022B, 0x0000, 0x0064}, noon)),
                ElementsAre("r107 555.000000", "r108 0.000000", "r109 100.000000"));
    EXPECT_EQ(number_in(Registers{0x000A}, Kind::u16, Order::high_first), 10.0);
    EXPECT_EQ(register_bytes(Registers{0x022B, 0x0064}), std::string("\x02\x2B\x00\x64", 4));
}

struct Known {
    Registers registers;
    Kind kind;
    double value;
};

TEST(Registers, reads_each_kind_in_both_word_orders) {
    // Floats: IEEE 754-2008, table 3.1 (binary32: 8 bits of exponent, bias 127; binary64: 11, bias 1023);
    // pi is 1.921FB6 x 2^1 (hexadecimal) rounded to 24 bits, 1.921FB54442D18 x 2^1 to 53.
    const std::vector<Known> known{
        {{0xFFFF}, Kind::u16, 65535.0},
        {{0xFFFF}, Kind::i16, -1.0},
        {{0x8000}, Kind::i16, -32768.0},
        {{0x0001, 0x0000}, Kind::u32, 65536.0},
        {{0xFFFF, 0xFFFF}, Kind::u32, 4294967295.0},
        {{0xFFFF, 0xFFFE}, Kind::i32, -2.0},
        {{0x8000, 0x0000}, Kind::i32, -2147483648.0},
        {{0x3F80, 0x0000}, Kind::float32, 1.0},
        {{0xC000, 0x0000}, Kind::float32, -2.0},
        {{0x4049, 0x0FDB}, Kind::float32, std::numbers::pi_v<float>},
        {{0x3FF0, 0, 0, 0}, Kind::float64, 1.0},
        {{0x4009, 0x21FB, 0x5444, 0x2D18}, Kind::float64, std::numbers::pi},
        {{0x0000, 0x0000, 0x0000, 0x0001}, Kind::float64, std::ldexp(1.0, -1074)},
    };
    for (const auto& row : known) {
        auto turned = row.registers;
        std::reverse(turned.begin(), turned.end());
        EXPECT_EQ(number_in(row.registers, row.kind, Order::high_first), row.value);
        EXPECT_EQ(number_in(turned, row.kind, Order::low_first), row.value);
        EXPECT_EQ(width(row.kind), row.registers.size());
    }
}

TEST(Registers, gives_no_number_for_what_ieee_754_calls_none) {
    const std::vector<RegisterChannel> channels{at(0, Kind::float32)};
    const auto request = requests_for(channels)[0];
    for (const auto& registers : {Registers{0x7FC0, 0}, Registers{0x7F80, 0}, Registers{0xFF80, 0}}) {
        EXPECT_THAT(texts(read_registers(channels, request, registers, noon)),
                    ElementsAre("r0 the device has none"));
    }
}

TEST(Registers, scales_takes_the_devices_word_for_none_and_keeps_to_the_range) {
    auto own = at(0, Kind::i16);
    own.channel.scale = 0.01;
    own.channel.most = 20.0;
    own.channel.none = {"-32768"};
    const auto said = [&](std::uint16_t raw) {
        return text(
            read_registers(std::vector{own}, requests_for(std::vector{own})[0], Registers{raw}, noon)[0]);
    };
    EXPECT_EQ(said(841), "r0 8.410000");
    EXPECT_EQ(said(0xFFFF), "r0 -0.010000");
    EXPECT_EQ(said(0x8000), "r0 the device has none");
    EXPECT_EQ(said(2001), "r0 outside its range");
}

TEST(Registers, reads_nothing_from_an_answer_of_another_length) {
    const std::vector<RegisterChannel> channels{at(0, Kind::float32)};
    EXPECT_TRUE(read_registers(channels, requests_for(channels)[0], Registers{1}, noon).empty());
    EXPECT_TRUE(read_registers(channels, requests_for(channels)[0], Registers{1, 2, 3}, noon).empty());
}

TEST(RegisterRequests, ask_for_every_channel_once_and_for_no_register_that_none_has) {
    Random random(3);
    const std::vector kinds{Kind::u16, Kind::float32, Kind::float64};
    for (int round = 0; round < 200; ++round) {
        std::vector<RegisterChannel> channels;
        for (std::uint64_t n = 1 + random.below(60); n > 0; --n) {
            channels.push_back(at(static_cast<std::uint16_t>(random.below(400)), kinds[random.below(3)],
                                  random.below(2) == 0 ? RegisterTable::holding : RegisterTable::input));
        }
        std::vector<int> asked(channels.size(), 0);
        for (const auto& request : requests_for(channels)) {
            EXPECT_LE(request.count, most_registers);
            std::vector<bool> owned(request.count, false);
            for (const auto i : request.channels) {
                ++asked[i];
                EXPECT_EQ(channels[i].table, request.table);
                ASSERT_GE(channels[i].address, request.address);
                ASSERT_LE(channels[i].address + width(channels[i].kind),
                          static_cast<std::size_t>(request.address) + request.count);
                for (std::size_t k = 0; k < width(channels[i].kind); ++k) {
                    owned[channels[i].address - request.address + k] = true;
                }
            }
            EXPECT_EQ(std::count(owned.begin(), owned.end(), false), 0);
        }
        EXPECT_EQ(std::count(asked.begin(), asked.end(), 1), static_cast<long>(asked.size()));
    }
}

TEST(RegisterRequests, reach_the_last_register_there_is) {
    const auto requests = requests_for(std::vector{at(65532, Kind::float64)});
    ASSERT_EQ(requests.size(), 1U);
    EXPECT_EQ(requests[0].address, 65532);
    EXPECT_EQ(requests[0].count, 4);
}

} // namespace
} // namespace backeddy::instruments
