#include "store/entry.hpp"

#include <algorithm>
#include <set>
#include <string>
#include <tuple>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "store/invented.hpp"

namespace backeddy::store {
namespace {

using test::entry;
using test::error_text;
using testing::HasSubstr;

TEST(DeviceId, is_sixteen_lower_case_digits_and_nothing_else) {
    EXPECT_EQ(DeviceId::parse("00c0ffee00c0ffee")->text(), "00c0ffee00c0ffee");
    for (const char* bad : {"", "00c0ffee00c0ffe", "00c0ffee00c0ffee0", "00C0ffee00c0ffee",
                            "0x00c0ffee00c0ff", " 0c0ffee00c0ffee", "00c0ffee00c0ffeg"}) {
        EXPECT_FALSE(DeviceId::parse(bad)) << bad;
    }
    std::set<std::string> texts;
    for (int i = 0; i < 1'000; ++i) {
        const DeviceId id = DeviceId::random();
        EXPECT_EQ(DeviceId::parse(id.text()), id);
        texts.insert(id.text());
    }
    EXPECT_EQ(texts.size(), 1'000U);
}

TEST(Role, has_a_word_each_and_reads_it_back) {
    for (const Role role : {Role::crew, Role::scientist, Role::viewer}) {
        EXPECT_EQ(parse_role(name_of(role)), role);
    }
    EXPECT_EQ(name_of(Role::scientist), "scientist");
    EXPECT_FALSE(parse_role("captain"));
}

// Written out by hand from docs/journal.md; the hash is of GNU coreutils' sha256sum over these bytes.
TEST(Entry, canonical_bytes_are_those_of_the_page_and_their_hash_is_the_outside_tool_s) {
    const Entry one{.id = {.device = *DeviceId::parse("00c0ffee00c0ffee"), .sequence = 12},
                    .time = {.wall_us = 1'781'428'203'000'000, .count = 2},
                    .moment = {.wall_us = 1'781'428'202'750'000, .monotonic_us = 90'500'000, .boot = "b7"},
                    .author = "A. Keen",
                    .role = Role::crew,
                    .act = "hook_up",
                    .content = "{\"rig\":\"ä\"}",
                    .reason = ""};
    EXPECT_EQ(canonical_bytes(one),
              "backeddy entry 1\n16:00c0ffee00c0ffee\n2:12\n16:1781428203000000\n1:2\n"
              "16:1781428202750000\n8:90500000\n2:b7\n0:\n7:A. Keen\n4:crew\n7:hook_up\n"
              "12:{\"rig\":\"ä\"}\n0:\n");
    EXPECT_EQ(sha256_of(one), "03e7c7f47298ca2bb236b715866dd4babd40e731ca0cd7d1f9b0cee85c0e76c5");
}

TEST(Entry, any_field_changed_changes_the_bytes) {
    const Entry one = entry(1, 7);
    const auto changed = [&](auto change) {
        Entry other = one;
        change(other);
        return canonical_bytes(other);
    };
    std::set<std::string> all{canonical_bytes(one)};
    all.insert(changed([](Entry& e) { e.id.device = test::device(2); }));
    all.insert(changed([](Entry& e) { e.id.sequence = 8; }));
    all.insert(changed([](Entry& e) { e.time.wall_us += 1; }));
    all.insert(changed([](Entry& e) { e.time.count += 1; }));
    all.insert(changed([](Entry& e) { e.moment.wall_us += 1; }));
    all.insert(changed([](Entry& e) { e.moment.monotonic_us += 1; }));
    all.insert(changed([](Entry& e) { e.moment.boot += "x"; }));
    all.insert(changed([](Entry& e) { e.moment.clock_offset_us = 0; }));
    all.insert(changed([](Entry& e) { e.moment.clock_offset_us.reset(); }));
    all.insert(changed([](Entry& e) { e.author += "x"; }));
    all.insert(changed([](Entry& e) { e.role = Role::viewer; }));
    all.insert(changed([](Entry& e) { e.act += "x"; }));
    all.insert(changed([](Entry& e) { e.content += "x"; }));
    all.insert(changed([](Entry& e) { e.reason += "x"; }));
    // A field that holds what looks like the next one's beginning.
    all.insert(changed([](Entry& e) {
        e.act = "hook_up\n2:{}";
        e.content = "";
    }));
    EXPECT_EQ(all.size(), 16U);
}

TEST(Entry, what_cannot_stand_in_a_journal_is_refused_by_name) {
    const auto refusal = [](auto change) {
        Entry other = entry(1, 7);
        change(other);
        return error_text(check(other));
    };
    EXPECT_EQ(refusal([](Entry&) {}), "no error");
    EXPECT_THAT(refusal([](Entry& e) { e.id.sequence = 0; }),
                HasSubstr("the sequence of entry 0 of device d0d0"));
    EXPECT_THAT(refusal([](Entry& e) { e.id.sequence = UINT64_MAX; }), HasSubstr("a whole number from 1 to"));
    EXPECT_THAT(refusal([](Entry& e) { e.time.wall_us = -1; }), HasSubstr("the hybrid time"));
    EXPECT_THAT(refusal([](Entry& e) { e.moment.wall_us = INT64_MAX; }), HasSubstr("the wall time"));
    EXPECT_THAT(refusal([](Entry& e) { e.moment.monotonic_us = -1; }), HasSubstr("the monotonic time"));
    EXPECT_THAT(refusal([](Entry& e) { e.moment.clock_offset_us = INT64_MIN; }),
                HasSubstr("the clock offset"));
    EXPECT_EQ(refusal([](Entry& e) { e.moment.clock_offset_us = -5; }), "no error");
    EXPECT_THAT(refusal([](Entry& e) { e.author = ""; }), HasSubstr("the author of entry 7"));
    EXPECT_THAT(refusal([](Entry& e) { e.act = std::string(101, 'x'); }),
                HasSubstr("has 101 bytes; 1 to 100 bytes"));
    EXPECT_EQ(refusal([](Entry& e) { e.content = std::string(limits::content_bytes, ' '); }), "no error");
    EXPECT_THAT(refusal([](Entry& e) { e.content = std::string(limits::content_bytes + 1, ' '); }),
                HasSubstr("keep it as a file"));
    EXPECT_THAT(refusal([](Entry& e) { e.reason = "caf\xE9"; }), HasSubstr("the reason of entry 7"));
    EXPECT_THAT(refusal([](Entry& e) { e.content = std::string("{}\0", 3); }), HasSubstr("a NUL"));
}

TEST(Entry, order_is_hybrid_time_then_device_then_sequence) {
    Random random(5);
    for (int round = 0; round < 1'000; ++round) {
        const auto any = [&] {
            Entry e;
            e.id = {.device = test::device(static_cast<unsigned>(random.below(2))),
                    .sequence = 1 + random.below(2)};
            e.time = {.wall_us = static_cast<std::int64_t>(random.below(2)),
                      .count = static_cast<std::uint32_t>(random.below(2))};
            return e;
        };
        const Entry a = any();
        const Entry b = any();
        const auto key = [](const Entry& e) {
            return std::tuple(e.time.wall_us, e.time.count, e.id.device.text(), e.id.sequence);
        };
        EXPECT_EQ(comes_before(a, b), key(a) < key(b));
    }
}

} // namespace
} // namespace backeddy::store
