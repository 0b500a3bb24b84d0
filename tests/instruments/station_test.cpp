#include "instruments/station.hpp"

#include <cstdlib>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"

namespace backeddy::instruments {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

const std::string page_path = std::string(BACKEDDY_SOURCE_DIR) + "/docs/station.md";

std::vector<std::string> complaints(const std::string& text) {
    std::vector<std::string> out;
    for (const auto& complaint : read_station(text, "station.toml").complaints) {
        EXPECT_FALSE(complaint.found.empty() || complaint.expected.empty() || complaint.remedy.empty());
        EXPECT_EQ(complaint.place.file, "station.toml");
        out.push_back(complaint.text());
    }
    return out;
}

const std::string channel = R"(
[[tcp.channel]]
name = "c1_oxygen"
chamber = "c1"
quantity = "oxygen"
unit = "mg/L"
field = "c1_oxygen"
)";

std::string tcp(const std::string& more = "") {
    return "[[tcp]]\nname = \"rig\"\nhost = \"127.0.0.1\"\nport = 4001\n" + more + channel;
}

TEST(Station, reads_the_examples_of_its_page) {
    const auto page = read_file(page_path);
    ASSERT_TRUE(page.has_value());
    std::string all;
    for (std::size_t at = 0; (at = page->find("```toml\n", at)) != std::string::npos;) {
        const auto from = at + 8;
        at = page->find("```", from);
        all += page->substr(from, at - from);
    }
    const auto read = read_station(all, "station.md");
    for (const auto& complaint : read.complaints) {
        ADD_FAILURE() << complaint.text();
    }
    ASSERT_EQ(read.station.devices.size(), 6U) << "one of each kind";
    for (const auto& device : read.station.devices) {
        EXPECT_FALSE(channels_of(device).empty()) << device.id.text;
    }
}

TEST(Station, page_lists_every_key_as_the_program_has_it) {
    const auto page = read_file(page_path);
    ASSERT_TRUE(page.has_value());
    const auto begin = page->find('\n', page->find("<!-- keys:")) + 1;
    const auto end = page->find("<!-- end of keys");
    ASSERT_NE(end, std::string::npos);
    const auto should_be = page->substr(0, begin) + station_markdown() + "\n" + page->substr(end);
    if (std::getenv("BACKEDDY_WRITE_DOCS") != nullptr) {
        ASSERT_TRUE(write_file_whole(page_path, should_be).has_value());
        return;
    }
    EXPECT_TRUE(*page == should_be)
        << "docs/station.md is behind the code: run this test with BACKEDDY_WRITE_DOCS=1";
}

TEST(Station, fills_what_is_written_and_keeps_the_defaults_of_the_rest) {
    const auto read =
        read_station(tcp("separator = \"tab\"\ndecimal = \",\"\nsilence_s = 2\n"), "station.toml");
    ASSERT_TRUE(read.complaints.empty()) << read.complaints[0].text();
    const auto& device = read.station.devices.at(0);
    EXPECT_EQ(device.id.text, "rig");
    EXPECT_EQ(device.silence, Duration::seconds(2));
    const auto& line = std::get<LineDevice>(device.by);
    EXPECT_EQ(std::get<TcpPort>(line.over).port, 4001);
    EXPECT_EQ(line.shape.separator, '\t');
    EXPECT_EQ(line.shape.decimal, ',');
    EXPECT_EQ(line.shape.name_sign, '=');
    EXPECT_EQ(line.shape.channels.at(0).channel.scale, 1.0);
    EXPECT_EQ(line.shape.channels.at(0).place.name, "c1_oxygen");
}

TEST(Station, says_of_a_wrong_key_where_it_stands_and_what_was_meant) {
    EXPECT_THAT(complaints(tcp("seperator = \",\"\n")),
                ElementsAre(AllOf(HasSubstr("station.toml"), HasSubstr("line 5"), HasSubstr("\"seperator\""),
                                  HasSubstr("did you mean \"separator\"?"))));
    EXPECT_THAT(complaints("[[serail]]\nname = \"a\"\n"), ElementsAre(HasSubstr("did you mean \"serial\"?")));
    EXPECT_THAT(complaints("[tcp]\nname = \"a\"\n"), ElementsAre(HasSubstr("double brackets")));
    EXPECT_THAT(complaints("[[tcp]\n"), ElementsAre(HasSubstr("line 1")));
    EXPECT_THAT(complaints(""), ElementsAre(HasSubstr("no device")));
}

TEST(Station, leaves_sections_of_others_to_them) {
    const std::string text = "[bell]\nloud = true\n" + tcp();
    EXPECT_TRUE(read_station(text, "station.toml", {"bell"}).complaints.empty());
    EXPECT_THAT(complaints(text), ElementsAre(HasSubstr("\"bell\"")));
}

TEST(Station, says_what_a_value_may_be) {
    EXPECT_THAT(complaints(tcp("silence_s = 0.1\n")),
                ElementsAre(HasSubstr("tcp.silence_s = 0.1; a number from 0.5 to 3600 (s)")));
    EXPECT_THAT(complaints(tcp("separator = \".\"\n")), ElementsAre(HasSubstr("one of ;  ,  tab  blank  |")));
    EXPECT_THAT(complaints(tcp("fields = 1.5\n")), ElementsAre(HasSubstr("a whole number from 1 to 1000")));
    EXPECT_THAT(complaints(tcp("ask = \"a\\nb\"\n")), ElementsAre(HasSubstr("tcp.ask")))
        << "a command stays one line";
    EXPECT_THAT(complaints("[[tcp]]\nname = \"rig\"\nport = 1\n" + channel),
                ElementsAre(HasSubstr("[[tcp]] without \"host\"")));
}

TEST(Station, refuses_a_port_whose_number_changes) {
    const std::string text = R"(
[[serial]]
name = "meter"
port = "/dev/ttyUSB0"
[[serial.channel]]
name = "c1_oxygen"
quantity = "oxygen"
unit = "% air"
field = "o"
)";
    EXPECT_THAT(complaints(text),
                ElementsAre(AllOf(HasSubstr("/dev/ttyUSB0"), HasSubstr("ls -l /dev/serial/by-id"))));
}

TEST(Station, refuses_names_ports_and_places_that_stand_twice) {
    EXPECT_THAT(complaints(tcp() + channel),
                ElementsAre(HasSubstr("a second channel \"c1_oxygen\""), HasSubstr("field \"c1_oxygen\"")));
    EXPECT_THAT(complaints(tcp() +
                           "[[tcp]]\nname = \"rig\"\nhost = \"h\"\nport = 1\n[[tcp.channel]]\n"
                           "name = \"t\"\nquantity = \"temperature\"\nunit = \"degC\"\nfield = \"t\"\n"),
                ElementsAre(HasSubstr("a second device \"rig\"")));
    const std::string serial = R"(
[[serial]]
name = "NAME"
port = "/dev/serial/by-id/one"
[[serial.channel]]
name = "NAME_t"
quantity = "temperature"
unit = "degC"
field = "t"
)";
    auto other = serial;
    for (std::size_t at = 0; (at = other.find("NAME", at)) != std::string::npos;) {
        other.replace(at, 4, "b");
    }
    EXPECT_THAT(complaints(serial + other),
                ElementsAre(HasSubstr("port \"/dev/serial/by-id/one\" a second time")));
}

TEST(Station, refuses_positions_without_the_number_of_fields) {
    auto text = tcp();
    text.replace(text.find("field = \"c1_oxygen\""), 19, "position = 3");
    EXPECT_THAT(complaints(text), ElementsAre(HasSubstr("\"fields\" is not set")));
    text.replace(text.find("port = 4001"), 11, "port = 4001\nfields = 2");
    EXPECT_THAT(complaints(text), ElementsAre(HasSubstr("position 3 of 2 fields")));
}

TEST(Station, refuses_a_pump_that_nobody_watches_or_that_has_one_word_for_both) {
    const std::string pump = "[[tcp.pump]]\nname = \"p\"\nchamber = \"c2\"\nseal = \"x\"\nflush = \"x\"\n";
    EXPECT_THAT(complaints(tcp() + pump),
                ElementsAre(HasSubstr("same words for seal and flush"),
                            HasSubstr("chamber \"c2\", which has no oxygen channel")));
}

TEST(Station, refuses_a_unit_of_another_quantity_and_a_range_turned_round) {
    auto text = tcp();
    text.replace(text.find("mg/L"), 4, "degC");
    EXPECT_THAT(complaints(text + "least = 5\nmost = 1\n"),
                ElementsAre(HasSubstr("unit \"degC\""), HasSubstr("least 5 and most 1")));
}

TEST(Station, refuses_wildcards_pointers_that_are_none_and_registers_that_there_are_not) {
    EXPECT_THAT(complaints(R"(
[[mqtt]]
name = "broker"
host = "127.0.0.1"
[[mqtt.channel]]
name = "o"
quantity = "oxygen"
unit = "mg/L"
topic = "rig/+/o"
pointer = "o"
)"),
                ElementsAre(HasSubstr("without the wildcards"), HasSubstr("a JSON pointer (RFC 6901)")));
    EXPECT_THAT(complaints(R"(
[[modbus_tcp]]
name = "relay"
host = "127.0.0.1"
[[modbus_tcp.channel]]
name = "o"
quantity = "oxygen"
unit = "mg/L"
address = 65535
)"),
                ElementsAre(HasSubstr("beyond the last register")));
}

TEST(Station, has_units_and_quantities_in_step) {
    for (std::size_t i = 0; i < quantity_words().size(); ++i) {
        EXPECT_FALSE(units_of(static_cast<Quantity>(i)).empty()) << quantity_words()[i];
    }
}

} // namespace
} // namespace backeddy::instruments
