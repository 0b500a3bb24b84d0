#include "instruments/text_line.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "instruments/support.hpp"

namespace backeddy::instruments {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

LineField named(const std::string& name) {
    return {.channel = channel(name), .place = {.name = name}};
}
LineField placed(const std::string& id, std::size_t position) {
    return {.channel = channel(id), .place = {.position = position}};
}

LineShape our_shape() {
    return {.check = LineCheck::crc16,
            .time = {.name = "time"},
            .channels = {named("c1_oxygen"), named("c1_temperature")}};
}

std::string with_check(const std::string& body) {
    static constexpr std::string_view digits = "0123456789ABCDEF";
    const auto sum = crc16(body);
    std::string out = body + ";check=";
    for (const unsigned shift : {12U, 8U, 4U, 0U}) {
        out += digits[(static_cast<unsigned>(sum) >> shift) & 15U];
    }
    return out;
}

TEST(Crc16, gives_the_published_check_value) {
    // The customary check of this CRC: the nine digits give 29B1 (catalogued as CRC-16/IBM-3740).
    EXPECT_EQ(crc16("123456789"), 0x29B1);
    EXPECT_EQ(crc16(""), 0xFFFF);
}

TEST(TextLine, reads_our_own_shape_as_recorded) {
    const std::string line = "time=2026-06-14T11:59:59.750Z;c1_oxygen=8.412;c1_temperature=12.31;check=86CB";
    const auto body = line.substr(0, line.rfind(';'));
    ASSERT_EQ(with_check(body), line);
    const auto read = read_line(our_shape(), line, noon);
    EXPECT_EQ(read.complaint, "");
    EXPECT_THAT(texts(read.readings), ElementsAre("c1_oxygen 8.412000", "c1_temperature 12.310000"));
    EXPECT_EQ(read.readings[0].received, noon);
    EXPECT_EQ(iso_text(*read.readings[0].device_time), "2026-06-14T11:59:59.75Z");
}

TEST(TextLine, refuses_a_checked_line_of_which_any_one_byte_is_changed_or_any_end_is_missing) {
    const auto line = with_check("time=2026-06-14T11:59:59Z;c1_oxygen=8.412;c1_temperature=12.31");
    for (std::size_t i = 0; i < line.size(); ++i) {
        auto changed = line;
        changed[i] = static_cast<char>(changed[i] ^ 1);
        EXPECT_THAT(read_line(our_shape(), changed, noon).readings, ElementsAre()) << changed;
        EXPECT_THAT(read_line(our_shape(), line.substr(0, i), noon).readings, ElementsAre()) << i;
    }
}

TEST(TextLine, reads_fields_by_position_with_a_decimal_comma) {
    const LineShape shape{.separator = '\t',
                          .decimal = ',',
                          .fields = 4,
                          .time = {.position = 1},
                          .channels = {placed("oxygen", 3), placed("temperature", 4)}};
    const auto read = read_line(shape, "1781524799,5\tOK\t8,41\t12,3", noon);
    EXPECT_THAT(texts(read.readings), ElementsAre("oxygen 8.410000", "temperature 12.300000"));
    EXPECT_FALSE(read.readings[0].device_time) << "a number of seconds is written with a point";
    EXPECT_THAT(texts(read_line(shape, "x\tOK\t8.41\t12,3", noon).readings),
                ElementsAre("oxygen no number", "temperature 12.300000"))
        << "8.41 with decimal comma may be eight hundred and forty-one";
}

TEST(TextLine, takes_any_run_of_blanks_as_one_separator) {
    const LineShape shape{
        .separator = ' ', .fields = 3, .channels = {placed("oxygen", 2), placed("temperature", 3)}};
    EXPECT_THAT(texts(read_line(shape, "  A   8.41 \t 12.3 ", noon).readings),
                ElementsAre("oxygen 8.410000", "temperature 12.300000"));
}

TEST(TextLine, reads_no_number_from_half_a_line) {
    const LineShape shape{
        .separator = ',', .fields = 3, .channels = {placed("a", 1), placed("b", 2), placed("c", 3)}};
    const std::string line = "112.5,8.41,12.3";
    for (std::size_t from = 0; from < line.size(); ++from) {
        const auto read = read_line(shape, line.substr(from), noon);
        if (from > line.find(',')) {
            EXPECT_THAT(read.readings, ElementsAre()) << line.substr(from);
            EXPECT_THAT(read.complaint, HasSubstr("where 3 are expected"));
        }
    }
    LineShape names{.channels = {named("a"), named("b")}};
    EXPECT_EQ(read_line(names, "a=8.4;b=1a=8.41;b=12.3", noon).complaint, "\"b\" twice in one line");
}

TEST(TextLine, says_why_a_field_is_no_number) {
    LineShape shape{.channels = {named("a")}};
    shape.channels[0].channel.none = {"---", "-99"};
    shape.channels[0].channel.least = 0.0;
    shape.channels[0].channel.most = 30.0;
    const auto said = [&](const std::string& line) { return texts(read_line(shape, line, noon).readings); };
    EXPECT_THAT(said("a="), ElementsAre("a empty"));
    EXPECT_THAT(said("a=E4"), ElementsAre("a no number"));
    EXPECT_THAT(said("a=nan"), ElementsAre("a no number"));
    EXPECT_THAT(said("a=8.4.1"), ElementsAre("a no number"));
    EXPECT_THAT(said("a=---"), ElementsAre("a the device has none"));
    EXPECT_THAT(said("a=-99.00"), ElementsAre("a the device has none"));
    EXPECT_THAT(said("a=850"), ElementsAre("a outside its range"));
    EXPECT_THAT(said("a=-0.1"), ElementsAre("a outside its range"));
    EXPECT_THAT(said("a = 8.41 "), ElementsAre("a 8.410000"));
}

TEST(TextLine, scales_before_it_looks_at_the_range) {
    LineShape shape{.channels = {named("a")}};
    shape.channels[0].channel.scale = 0.01;
    shape.channels[0].channel.offset = -1.0;
    shape.channels[0].channel.most = 10.0;
    EXPECT_THAT(texts(read_line(shape, "a=841", noon).readings), ElementsAre("a 7.410000"));
    EXPECT_THAT(texts(read_line(shape, "a=1e400", noon).readings), ElementsAre("a no number"));
}

TEST(TextLine, leaves_out_lines_that_do_not_begin_as_they_should) {
    LineShape shape{.separator = ',', .starts_with = "R,", .channels = {placed("a", 2)}};
    const auto other = read_line(shape, "# battery 81", noon);
    EXPECT_EQ(other.complaint, "");
    EXPECT_THAT(other.readings, ElementsAre());
    EXPECT_THAT(texts(read_line(shape, "R,8.41", noon).readings), ElementsAre("a 8.410000"));
}

TEST(TextLine, takes_a_line_that_holds_some_of_the_names) {
    const LineShape shape{.channels = {named("a"), named("b")}};
    EXPECT_THAT(texts(read_line(shape, "b=2;other=5", noon).readings), ElementsAre("b 2.000000"));
    EXPECT_EQ(read_line(shape, "other=5", noon).complaint, "no field of a channel in it");
    EXPECT_EQ(read_line(shape, std::string("\0\xff\x80", 3), noon).complaint, "no field of a channel in it");
}

} // namespace
} // namespace backeddy::instruments
