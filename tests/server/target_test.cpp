#include "server/target.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace {

using namespace backeddy::server;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Pair;

TEST(Target, splits_and_decodes) {
    const auto target = parse_target("/api/stays/T%2007?from=2025-06-01T00%3A00Z&what=mass+g&flag");
    ASSERT_TRUE(target);
    EXPECT_THAT(target->path, ElementsAre("api", "stays", "T 07"));
    EXPECT_THAT(target->query,
                ElementsAre(Pair("from", "2025-06-01T00:00Z"), Pair("what", "mass g"), Pair("flag", "")));
}

TEST(Target, the_root_has_no_segments) {
    EXPECT_THAT(parse_target("/").value().path, IsEmpty());
    EXPECT_THAT(parse_target("/?a=1").value().query, ElementsAre(Pair("a", "1")));
}

// RFC 3986: section 2.3, "%41-%5A and %61-%7A ... equivalent"; section 6.2.2.1, "%3a" and "%3A" are
// equivalent; section 2.5, U+30A2 is "%E3%82%A2" and "LATIN CAPITAL LETTER A WITH GRAVE" is "%C3%80";
// section 6.2.2.2, "%7Esmith" is "~smith".
TEST(Target, decodes_the_examples_of_rfc_3986) {
    EXPECT_THAT(parse_target("/%41%5a").value().path, ElementsAre("AZ"));
    EXPECT_THAT(parse_target("/a%3ab/a%3Ab").value().path, ElementsAre("a:b", "a:b"));
    EXPECT_THAT(parse_target("/%E3%82%A2/%C3%80").value().path, ElementsAre("\u30A2", "\u00C0"));
    EXPECT_THAT(parse_target("/%7Esmith").value().path, ElementsAre("~smith"));
    EXPECT_EQ(target_text({.path = {"\u30A2"}, .query = {}}), "/%E3%82%A2");
}

struct Hostile {
    std::string text;
    std::string found;
};

class HostileTarget : public testing::TestWithParam<Hostile> {};

TEST_P(HostileTarget, is_refused_in_words) {
    const auto target = parse_target(GetParam().text);
    ASSERT_FALSE(target) << GetParam().text;
    EXPECT_THAT(target.error().found, HasSubstr(GetParam().found)) << GetParam().text;
}

INSTANTIATE_TEST_SUITE_P(
    Server, HostileTarget,
    testing::Values(
        Hostile{"", "does not begin"}, Hostile{"*", "does not begin"}, Hostile{"api", "does not begin"},
        Hostile{"http://127.0.0.1/", "does not begin"}, Hostile{"//evil.example/", "segment \"\""},
        Hostile{"/api//about", "segment \"\""}, Hostile{"/api/", "segment \"\""},
        Hostile{"/..", "segment \"..\""}, Hostile{"/../etc/passwd", "segment \"..\""},
        Hostile{"/a/../b", "segment \"..\""}, Hostile{"/%2e%2e/etc", "segment \"..\""},
        Hostile{"/%2E./x", "segment \"..\""}, Hostile{"/./x", "segment \".\""},
        Hostile{"/a%2fb", "encoded slash"}, Hostile{"/..%2F..%2Fetc", "encoded slash"},
        Hostile{"/a%5cb", "backslash"}, Hostile{"/a\\b", "has to be percent-encoded"},
        Hostile{"/a%00b", "control character"}, Hostile{"/a%0d%0aSet-Cookie:x", "control character"},
        Hostile{"/a?b=%00", "control character"}, Hostile{"/a%7f", "control character"},
        Hostile{std::string("/a\0b", 4), "has to be percent-encoded"},
        Hostile{"/a b", "has to be percent-encoded"}, Hostile{"/\xC3\x80", "has to be percent-encoded"},
        Hostile{"/a#b", "has to be percent-encoded"}, Hostile{"/a<b>", "has to be percent-encoded"},
        Hostile{"/%", "hexadecimal"}, Hostile{"/%4", "hexadecimal"}, Hostile{"/%zz", "hexadecimal"},
        Hostile{"/%4g", "hexadecimal"}, Hostile{"/a?b=%f", "hexadecimal"}, Hostile{"/%u0041", "hexadecimal"},
        Hostile{"/%C3", "no UTF-8"}, Hostile{"/%C0%AF", "no UTF-8"}, Hostile{"/%C0%AE%C0%AE/x", "no UTF-8"},
        Hostile{"/%ED%A0%80", "no UTF-8"}, Hostile{"/%FF", "no UTF-8"}, Hostile{"/a?%C3=1", "no UTF-8"},
        Hostile{"/" + std::string(longest_target, 'a'), "4097 bytes"},
        Hostile{"/1/2/3/4/5/6/7/8/9/10/11/12/13/14/15/16/17", "more than 16 segments"}));

// Decoded once: "%252e" is the text "%2e", not a dot.
TEST(Target, is_decoded_once) {
    EXPECT_THAT(parse_target("/%252e%252e").value().path, ElementsAre("%2e%2e"));
}

TEST(Target, too_many_parts_of_a_query_are_refused) {
    std::string text = "/?";
    for (std::size_t i = 0; i < most_query_parts; ++i) {
        text += "a=1&";
    }
    EXPECT_TRUE(parse_target(text));
    EXPECT_FALSE(parse_target(text + "a=1"));
}

TEST(Target, what_is_written_reads_back) {
    const Target target{.path = {"api", "T 07/8?", "\u00C0%"}, .query = {{"a&b", "c=d+e"}, {"", "\u30A2"}}};
    const Target without_slash{.path = {"api", "T 078?", "\u00C0%"}, .query = target.query};
    EXPECT_EQ(parse_target(target_text(without_slash)).value(), without_slash);
    EXPECT_FALSE(parse_target(target_text(target))) << "a slash within a segment never comes in";
    EXPECT_EQ(target_text({}), "/");
}

} // namespace
