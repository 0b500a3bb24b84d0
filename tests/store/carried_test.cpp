// Entries as JSON: every byte of them comes back, and what is no entry is refused whole.

#include "store/carried.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "store/invented.hpp"

namespace backeddy::store {
namespace {

using test::entries_of;
using test::entry;
using test::error_text;
using test::value_of;
using testing::HasSubstr;

std::string body_of(const std::vector<Entry>& entries) {
    std::string out;
    for (const auto& each : entries) {
        out += (out.empty() ? "" : ",") + carried_text(each);
    }
    return R"({"entries":[)" + out + "]}";
}

std::string queue_of(const std::vector<Entry>& entries, const std::string& more = "") {
    const auto body = body_of(entries);
    return R"({"backeddy_queue":1,"study":"Voe","identity":"00000000000000aa","device":"d0d0000000000001",)"
           R"("made_us":1780000000000000,)" +
           more + body.substr(1);
}

std::string with(std::string text, const std::string& old, const std::string& fresh) {
    const auto at = text.find(old);
    EXPECT_NE(at, std::string::npos) << old;
    return text.replace(at, old.size(), fresh);
}

// The example of docs/journal.md.
const std::string documented =
    R"({"device":"00c0ffee00c0ffee","sequence":12,"hybrid_wall_us":1781428203000000,"hybrid_count":2,)"
    R"("wall_us":1781428202750000,"monotonic_us":90500000,"boot":"b7","clock_offset_us":null,)"
    R"("author":"A. Keen","role":"crew","act":"hook_up","content":"{\"rig\":\"ä\"}","reason":""})";

TEST(CarriedEntry, of_the_documentation_has_its_hash) {
    const auto read = value_of(read_carried(R"({"entries":[)" + documented + "]}"));
    ASSERT_EQ(read.size(), 1U);
    EXPECT_EQ(sha256_of(read.front()), "03e7c7f47298ca2bb236b715866dd4babd40e731ca0cd7d1f9b0cee85c0e76c5");
}

TEST(CarriedEntry, comes_back_byte_for_byte) {
    const auto entries = entries_of(1, 1, 40);
    EXPECT_EQ(value_of(read_carried(body_of(entries))), entries);
    EXPECT_EQ(value_of(read_queue_file(queue_of(entries))).entries, entries);
}

TEST(CarriedEntry, of_any_text_and_numbers_comes_back_byte_for_byte) {
    Random random(11);
    const std::vector<std::string> pieces{"\"",   "\\",   "\n", "\t",       "é", "\xF0\x9F\x90\x9F",
                                          "\x7F", "\x01", "{",  "</script>"};
    const auto text = [&](std::size_t most) {
        std::string out = "a";
        for (auto count = random.below(most); count > 0; --count) {
            out += pieces[random.below(pieces.size())];
        }
        return out;
    };
    const auto number = [&] { return static_cast<std::int64_t>(random.below(limits::whole_number)); };
    for (int round = 0; round < 300; ++round) {
        Entry one{
            .id = {.device = DeviceId::random(), .sequence = random.below(limits::whole_number) + 1},
            .time = {.wall_us = number(), .count = static_cast<std::uint32_t>(random.below(1ULL << 32U))},
            .moment = {.wall_us = number(), .monotonic_us = number(), .boot = text(9)},
            .author = text(9),
            .role = static_cast<Role>(random.below(3)),
            .act = text(9),
            .content = text(60),
            .reason = text(60)};
        if (random.below(2) == 0) {
            one.moment.clock_offset_us = number() * (random.below(2) == 0 ? 1 : -1);
        }
        const auto back = value_of(read_carried(body_of({one})));
        ASSERT_EQ(back.size(), 1U);
        EXPECT_EQ(sha256_of(back.front()), sha256_of(one));
    }
}

TEST(CarriedEntry, that_is_none_is_refused_with_the_whole_batch) {
    const std::pair<std::string, std::string> changes[] = {
        {R"("device":"00c0ffee00c0ffee",)", ""},
        {R"("device":"00c0ffee00c0ffee")", R"("device":"00C0FFEE00C0FFEE")"},
        {R"("sequence":12)", R"("sequence":0)"},
        {R"("sequence":12)", R"("sequence":-1)"},
        {R"("sequence":12)", R"("sequence":1.5)"},
        {R"("sequence":12)", R"("sequence":"12")"},
        {R"("sequence":12)", R"("sequence":9007199254740992)"},
        {R"("sequence":12)", R"("sequence":99999999999999999999999)"},
        {R"("hybrid_count":2)", R"("hybrid_count":4294967296)"},
        {R"("hybrid_count":2)", R"("hybrid_count":-2)"},
        {R"("hybrid_wall_us":1781428203000000)", R"("hybrid_wall_us":-1)"},
        {R"("wall_us":1781428202750000)", R"("wall_us":null)"},
        {R"("clock_offset_us":null,)", ""},
        {R"("clock_offset_us":null)", R"("clock_offset_us":"2")"},
        {R"("author":"A. Keen")", R"("author":"")"},
        {R"("author":"A. Keen")", R"("author":"\u0000")"},
        {R"("role":"crew")", R"("role":"captain")"},
        {R"("act":"hook_up")", R"("act":7)"},
        {R"("content":"{\"rig\":\"ä\"}")", R"("content":{"rig":"a"})"},
        {R"("reason":"")", R"("reason":"","mood":"good")"},
    };
    const auto good = carried_text(entry(1, 1));
    for (const auto& [old, fresh] : changes) {
        const auto body = R"({"entries":[)" + good + "," + with(documented, old, fresh) + "]}";
        EXPECT_FALSE(read_carried(body)) << fresh;
    }
    EXPECT_THAT(error_text(read_carried(R"({"entries":[)" + good + ",7]}")), HasSubstr("entry 2 of 2"));
    EXPECT_THAT(
        error_text(read_carried(R"({"entries":[)" +
                                with(documented, R"("reason":"")", R"("reason":"","mood":"good")") + "]}")),
        HasSubstr("mood"));
}

TEST(CarriedEntry, is_looked_for_in_a_list_of_at_most_a_thousand) {
    for (const char* body : {"", "[]", "{}", R"({"entries":{}})", "{\"entries\":[\xFF]}", "{\"entries\":["}) {
        EXPECT_FALSE(read_carried(body)) << body;
    }
    EXPECT_TRUE(value_of(read_carried(R"({"entries":[]})")).empty());
    EXPECT_TRUE(read_carried(body_of(entries_of(1, 1, most_carried))));
    EXPECT_THAT(error_text(read_carried(body_of(entries_of(1, 1, most_carried + 1)))), HasSubstr("1001"));
    EXPECT_TRUE(read_queue_file(queue_of(entries_of(1, 1, most_carried + 1))));
}

TEST(QueueFile, says_whose_it_is_and_brings_photos) {
    const auto file =
        value_of(read_queue_file(queue_of({entry(1, 1)}, R"("photos":{"ab":"Zm9v","cd":""},)")));
    EXPECT_EQ(file.study, "Voe");
    EXPECT_EQ(file.identity, "00000000000000aa");
    EXPECT_EQ(file.device, "d0d0000000000001");
    EXPECT_EQ(file.made_us, 1'780'000'000'000'000);
    ASSERT_EQ(file.photos.size(), 2U);
    EXPECT_EQ(file.photos[0].sha256, "ab");
    EXPECT_EQ(file.photos[0].bytes, "foo");
}

TEST(QueueFile, that_is_none_is_refused_in_words) {
    const auto good = queue_of({entry(1, 1)});
    EXPECT_THAT(error_text(read_queue_file("fish,mass_g\n")), HasSubstr("no queue file"));
    EXPECT_THAT(error_text(read_queue_file(with(good, "\"backeddy_queue\":1", "\"backeddy_queue\":2"))),
                HasSubstr("version 2"));
    EXPECT_THAT(error_text(read_queue_file(with(good, "\"study\":\"Voe\",", ""))), HasSubstr("\"study\""));
    EXPECT_THAT(
        error_text(read_queue_file(with(good, "\"made_us\":1780000000000000", "\"made_us\":\"noon\""))),
        HasSubstr("\"made_us\""));
    EXPECT_THAT(error_text(read_queue_file(queue_of({entry(1, 1)}, R"("photos":{"ab":"?"},)"))),
                HasSubstr("no base64"));
    EXPECT_FALSE(read_queue_file(queue_of({entry(1, 1)}, R"("photos":["ab"],)")));
    EXPECT_FALSE(read_queue_file(good.substr(0, good.size() - 3)));
}

} // namespace
} // namespace backeddy::store
