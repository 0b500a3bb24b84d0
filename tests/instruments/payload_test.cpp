#include "instruments/payload.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "instruments/support.hpp"

namespace backeddy::instruments {
namespace {

using testing::ElementsAre;

PayloadChannel at(std::string_view pointer) {
    return {.channel = channel("c"), .topic = "t", .pointer = *JsonPointer::parse(pointer)};
}

std::string said(const PayloadChannel& channel, std::string_view payload) {
    const auto read = read_payload(channel, payload, noon);
    return read.reading ? text(*read.reading) : "! " + read.complaint;
}

TEST(Payload, finds_what_the_table_of_rfc_6901_finds) {
    // RFC 6901, section 5: the document and what each pointer evaluates to.
    const std::string document = R"({
      "foo": ["bar", "baz"],
      "": 0,
      "a/b": 1,
      "c%d": 2,
      "e^f": 3,
      "g|h": 4,
      "i\\j": 5,
      "k\"l": 6,
      " ": 7,
      "m~n": 8
    })";
    EXPECT_EQ(said(at(""), document), "c no number") << "the whole document";
    EXPECT_EQ(said(at("/foo"), document), "c no number") << "[\"bar\", \"baz\"]";
    EXPECT_EQ(said(at("/foo/0"), document), "c no number") << "\"bar\"";
    EXPECT_EQ(said(at("/"), document), "c 0.000000");
    EXPECT_EQ(said(at("/a~1b"), document), "c 1.000000");
    EXPECT_EQ(said(at("/c%d"), document), "c 2.000000");
    EXPECT_EQ(said(at("/e^f"), document), "c 3.000000");
    EXPECT_EQ(said(at("/g|h"), document), "c 4.000000");
    EXPECT_EQ(said(at("/i\\j"), document), "c 5.000000");
    EXPECT_EQ(said(at("/k\"l"), document), "c 6.000000");
    EXPECT_EQ(said(at("/ "), document), "c 7.000000");
    EXPECT_EQ(said(at("/m~0n"), document), "c 8.000000");
}

TEST(JsonPointer, undoes_escapes_in_the_order_that_the_rfc_says) {
    // Section 4: "~01" becomes "~1", never "/".
    EXPECT_THAT(JsonPointer::parse("/~01/a~1~0/")->parts(), ElementsAre("~1", "a/~", ""));
    EXPECT_THAT(JsonPointer::parse("")->parts(), ElementsAre());
}

TEST(JsonPointer, refuses_what_is_none_and_says_how_one_looks) {
    for (const auto* text : {"tubes", "/a~", "/a~2", "~1"}) {
        const auto pointer = JsonPointer::parse(text);
        ASSERT_FALSE(pointer.has_value()) << text;
        EXPECT_EQ(pointer.error().found, "\"" + std::string(text) + "\"");
        EXPECT_EQ(pointer.error().remedy, "write for example \"/tubes/0/oxygen\"");
    }
}

TEST(Payload, takes_an_index_only_as_the_rfc_writes_it) {
    const std::string json = R"({"a": [10, 11], "b": {"0": 12}})";
    EXPECT_EQ(said(at("/a/1"), json), "c 11.000000");
    EXPECT_EQ(said(at("/b/0"), json), "c 12.000000");
    for (const auto* pointer : {"/a/2", "/a/-", "/a/01", "/a/+1", "/a/ 1", "/a/1e0", "/a/", "/b/0/0", "/a/-1",
                                "/a/99999999999999999999"}) {
        EXPECT_EQ(said(at(pointer), json), "! nothing at the channel's pointer") << pointer;
    }
}

TEST(Payload, takes_numbers_in_quotes_null_and_contacts) {
    const std::string json = R"({"q": "8.41", "n": null, "on": true, "word": "error", "o": {}})";
    EXPECT_EQ(said(at("/q"), json), "c 8.410000");
    EXPECT_EQ(said(at("/n"), json), "c the device has none");
    EXPECT_EQ(said(at("/on"), json), "c 1.000000");
    EXPECT_EQ(said(at("/word"), json), "c no number");
    EXPECT_EQ(said(at("/o"), json), "c no number");
}

TEST(Payload, reads_the_devices_own_time) {
    auto channel = at("/v");
    channel.time = *JsonPointer::parse("/at");
    const auto time = [&](std::string_view json) {
        return read_payload(channel, json, noon).reading->device_time;
    };
    EXPECT_EQ(time(R"({"v": 1, "at": "2026-06-14T13:00:00+01:00"})"), noon.wall);
    EXPECT_EQ(time(R"({"v": 1, "at": 1781438400})"), noon.wall);
    EXPECT_EQ(time(R"({"v": 1, "at": "yesterday"})"), std::nullopt);
    EXPECT_EQ(time(R"({"v": 1, "at": 1e300})"), std::nullopt);
    EXPECT_EQ(time(R"({"v": 1})"), std::nullopt);
}

TEST(Payload, reads_a_plain_number) {
    const PayloadChannel plain{.channel = channel("c"), .topic = "t"};
    EXPECT_EQ(said(plain, " 8.41 "), "c 8.410000");
    EXPECT_EQ(said(plain, ""), "c empty");
    EXPECT_EQ(said(plain, "8,41"), "! no number");
    EXPECT_EQ(said(plain, R"({"v": 1})"), "! no number");
}

TEST(Payload, refuses_what_is_no_json_or_too_long) {
    EXPECT_EQ(said(at("/v"), "{\"v\": 8.4"), "! no JSON");
    EXPECT_EQ(said(at("/v"), "{\"v\": NaN}"), "! no JSON");
    EXPECT_EQ(said(at("/v"), ""), "! no JSON");
    EXPECT_EQ(said(at("/v"), std::string(longest_payload + 1, ' ')), "! 65537 bytes, more than 65536");
    EXPECT_EQ(said(at("/v"), std::string(longest_payload / 2, '[')), "! no JSON") << "nested deep";
    EXPECT_EQ(said(at(""), std::string(longest_payload / 2, '[') + std::string(longest_payload / 2, ']')),
              "c no number");
}

} // namespace
} // namespace backeddy::instruments
