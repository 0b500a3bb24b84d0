#include "server/mdns.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace {

using namespace backeddy::server;
using namespace std::string_literals;

constexpr const char* name = "backeddy.local";
const std::string name_bytes = "\x08"
                               "backeddy"
                               "\x05"
                               "local"
                               "\0"s;

/// The head of a question with so many questions and known answers.
std::string head(unsigned questions, unsigned answers = 0) {
    return "\x12\x34\0\0\0"s + static_cast<char>(questions) + '\0' + static_cast<char>(answers) + "\0\0\0\0"s;
}
std::string asked(const std::string& type_and_class) {
    return head(1) + name_bytes + type_and_class;
}

TEST(Mdns, hears_what_is_asked_of_its_name) {
    EXPECT_EQ(mdns::read(asked("\0\x01\0\x01"s), name), (mdns::Heard{.id = 0x1234, .asks_address = true}));
    EXPECT_EQ(mdns::read(asked("\0\xFF\0\x01"s), name),
              (mdns::Heard{.id = 0x1234, .asks_address = true, .asks_address6 = true}));
    EXPECT_EQ(mdns::read(asked("\0\x1C\0\x01"s), name), (mdns::Heard{.id = 0x1234, .asks_address6 = true}));
    EXPECT_EQ(mdns::read(asked("\0\x41\0\x01"s), name), (mdns::Heard{.id = 0x1234, .asks_other = true}));
    EXPECT_EQ(mdns::read(asked("\0\x01\x80\x01"s), name),
              (mdns::Heard{.id = 0x1234, .asks_address = true, .wants_unicast = true}));
    EXPECT_EQ(mdns::read(asked("\0\x01\0\x03"s), name), (mdns::Heard{.id = 0x1234})) << "another class";
}

TEST(Mdns, takes_letters_of_either_case_and_no_other_name) {
    const auto of = [](const std::string& bytes) {
        return mdns::read(head(1) + bytes + "\0\x01\0\x01"s, name);
    };
    EXPECT_TRUE(of("\x08"
                   "BackEddy"
                   "\x05"
                   "LOCAL"
                   "\0"s)
                    ->asks_address);
    EXPECT_FALSE(of("\x07"
                    "backedd"
                    "\x05"
                    "local"
                    "\0"s)
                     ->asks_address);
    EXPECT_FALSE(of("\x0E"
                    "backeddy.local"
                    "\0"s)
                     ->asks_address)
        << "a dot within a label is none between two";
    EXPECT_FALSE(of("\x01"
                    "a"
                    "\x08"
                    "backeddy"
                    "\x05"
                    "local"
                    "\0"s)
                     ->asks_address);
}

TEST(Mdns, follows_a_name_that_goes_on_before_itself) {
    const std::string other = "\x03"
                              "www"
                              "\x05"
                              "local"
                              "\0"s;
    const std::string second = "\x08"
                               "backeddy"
                               "\xC0\x10"s; // byte 16: "local" of the first
    const auto heard = mdns::read(head(2) + other + "\0\x01\0\x01"s + second + "\0\x01\0\x01"s, name);
    ASSERT_TRUE(heard);
    EXPECT_TRUE(heard->asks_address);
}

TEST(Mdns, refuses_what_is_malformed) {
    EXPECT_FALSE(mdns::read("", name));
    EXPECT_FALSE(mdns::read(head(1), name)) << "a question that is not there";
    EXPECT_FALSE(mdns::read(head(1) + "\xC0\x0C\0\x01\0\x01"s, name)) << "a name that is itself";
    EXPECT_FALSE(mdns::read(head(1) + "\xC0\xFF\0\x01\0\x01"s, name)) << "a name beyond the end";
    EXPECT_FALSE(mdns::read(head(1) + "\x40"
                                      "a\0\0\x01\0\x01"s,
                            name))
        << "a length that there is not";
    EXPECT_FALSE(mdns::read(head(1) + "\x3F"
                                      "short"s,
                            name));
    const std::string whole = asked("\0\x01\0\x01"s);
    for (std::size_t length = 0; length < whole.size(); ++length) {
        EXPECT_FALSE(mdns::read(whole.substr(0, length), name)) << length;
    }
}

TEST(Mdns, two_names_that_lead_to_one_another_end) {
    // At 12: a label and a jump to 20; at 20: a label and a jump to 12. Forwards is refused.
    const std::string loop = head(2) +
                             "\x01"
                             "a"
                             "\xC0\x14"s +
                             "\0\x01\0\x01"s +
                             "\x01"
                             "b"
                             "\xC0\x0C"s +
                             "\0\x01\0\x01"s;
    EXPECT_FALSE(mdns::read(loop, name));
}

TEST(Mdns, reads_what_it_writes) {
    const mdns::Answer here{.address = 0xC0000207};
    const auto heard = mdns::read(mdns::answer(name, here), name);
    ASSERT_TRUE(heard);
    EXPECT_TRUE(heard->is_answer);
    EXPECT_THAT(heard->addresses, testing::ElementsAre(0xC0000207));
    EXPECT_THAT(
        mdns::read(mdns::answer(name, {.address = 0xC0000207, .is_about_other = true}), name)->addresses,
        testing::ElementsAre(0xC0000207));
    EXPECT_THAT(mdns::read(mdns::answer(name, {.address = 0xC0000207, .life = 0}), name)->addresses,
                testing::IsEmpty())
        << "a goodbye claims nothing";
    EXPECT_TRUE(mdns::read(mdns::question(name), name)->asks_address);
    EXPECT_FALSE(mdns::read(mdns::question(name), "other.local")->asks_address);
}

TEST(Mdns, an_answer_is_as_the_standard_has_it) {
    const std::string bytes = mdns::answer(name, {.address = 0xC0000207});
    EXPECT_EQ(bytes, "\0\0\x84\0\0\0\0\x01\0\0\0\x01"s +                                // RFC 6762, 18
                         name_bytes + "\0\x01\x80\x01\0\0\0\x78\0\x04\xC0\0\x02\x07"s + // A, flush, 120 s
                         name_bytes + "\0\x2F\x80\x01\0\0\0\x78\0\x13"s + name_bytes +
                         "\0\x01\x40"s); // NSEC: A alone
}

// 2001:db8::7, for documentation (RFC 3849).
constexpr Ipv6 six{0x20, 0x01, 0x0D, 0xB8, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 7};
const std::string six_bytes = "\x20\x01\x0D\xB8\0\0\0\0\0\0\0\0\0\0\0\x07"s;

TEST(Mdns, ipv6_addresses_are_said_beside_the_other_or_alone) {
    const std::string both = mdns::answer(name, {.address = 0xC0000207, .addresses6 = {six}});
    EXPECT_EQ(both, "\0\0\x84\0\0\0\0\x02\0\0\0\x01"s +                                // RFC 6762, 18
                        name_bytes + "\0\x01\x80\x01\0\0\0\x78\0\x04\xC0\0\x02\x07"s + // A
                        name_bytes + "\0\x1C\x80\x01\0\0\0\x78\0\x10"s + six_bytes +   // AAAA
                        name_bytes + "\0\x2F\x80\x01\0\0\0\x78\0\x16"s + name_bytes +  // NSEC: both
                        "\0\x04\x40\0\0\x08"s);
    const auto heard = mdns::read(both, name);
    ASSERT_TRUE(heard);
    EXPECT_THAT(heard->addresses, testing::ElementsAre(0xC0000207));
    EXPECT_THAT(heard->addresses6, testing::ElementsAre(six));
    const std::string alone = mdns::answer(name, {.addresses6 = {six}});
    EXPECT_THAT(mdns::read(alone, name)->addresses, testing::IsEmpty());
    EXPECT_THAT(mdns::read(alone, name)->addresses6, testing::ElementsAre(six));
    EXPECT_TRUE(alone.ends_with("\0\x04\0\0\0\x08"s)) << "no type A";
    const auto cut_off = std::string_view(both).substr(0, both.size() - 40);
    EXPECT_FALSE(mdns::read(cut_off, name));
}

TEST(Mdns, an_ordinary_resolver_that_asks_for_ipv6_gets_its_question_back) {
    const std::string bytes =
        mdns::answer(name, {.addresses6 = {six}, .life = 10, .is_about_ipv6 = true, .legacy_id = 0x1234});
    EXPECT_EQ(bytes.substr(12, name_bytes.size() + 4), name_bytes + "\0\x1C\0\x01"s);
    EXPECT_THAT(bytes, testing::HasSubstr("\0\x1C\0\x01\0\0\0\x0A\0\x10"s + six_bytes));
}

TEST(Addresses, of_a_link_alone_are_known) {
    EXPECT_FALSE(is_link_local(six));
    EXPECT_TRUE(is_link_local({0xFE, 0x80}));
    EXPECT_TRUE(is_link_local({0xFE, 0xBF}));
    EXPECT_FALSE(is_link_local({0xFE, 0xC0}));
    EXPECT_EQ(digits(six), "2001:db8::7");
    for (const auto& each : machine_addresses6()) {
        EXPECT_NE(each.interface, 0U);
        EXPECT_NE(digits(each.address), "::1") << "loopback is nobody's neighbour";
    }
}

TEST(Mdns, an_ordinary_resolver_gets_its_question_back) {
    const std::string bytes = mdns::answer(name, {.address = 0xC0000207, .life = 10, .legacy_id = 0x1234});
    EXPECT_EQ(bytes.substr(0, 12), "\x12\x34\x84\0\0\x01\0\x01\0\0\0\x01"s);
    EXPECT_EQ(bytes.substr(12, name_bytes.size() + 4), name_bytes + "\0\x01\0\x01"s);
    EXPECT_THAT(bytes, testing::HasSubstr("\0\x01\0\x01\0\0\0\x0A\0\x04\xC0\0\x02\x07"s)) << "no flush bit";
}

TEST(Mdns, who_asks_says_what_it_knows) {
    const auto known = [&](const std::string& life) {
        return mdns::read(head(1, 1) + name_bytes + "\0\x01\0\x01"s + "\xC0\x0C\0\x01\0\x01"s + life +
                              "\0\x04\xC0\0\x02\x07"s,
                          name)
            ->addresses;
    };
    EXPECT_THAT(known("\0\0\0\x3C"s), testing::ElementsAre(0xC0000207)) << "half its life";
    EXPECT_THAT(known("\0\0\0\x3B"s), testing::IsEmpty()) << "less: it wants it anew";
}

} // namespace
