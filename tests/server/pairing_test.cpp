#include "server/pairing.hpp"

#include <filesystem>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "base/temporary_folder.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::server;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::MatchesRegex;
using testing::Not;

class PairingTest : public testing::Test {
  protected:
    [[nodiscard]] Pairings open() {
        return {file_, [this] { return now_; }};
    }
    Pairings::Paired pair(Pairings& pairings, const std::string& label = "A") {
        const auto code = pairings.offer({.label = label, .author = "Runa", .role = Role::crew}).value();
        return pairings.take(code.text).value().value();
    }
    void pass(double hours) { now_ = now_ + Duration::hours(hours); }

    TemporaryFolder folder_ = TemporaryFolder::make("pairing").value();
    std::filesystem::path file_ = folder_.path() / "own" / "paired.toml";
    Instant now_ = *parse_iso("2026-06-14T21:05:03Z");
    Pairings pairings_{file_, [this] { return now_; }};
};

TEST_F(PairingTest, a_code_pairs_one_device_once) {
    const auto code = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
    EXPECT_THAT(code.text, MatchesRegex("[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}"));
    EXPECT_EQ(iso_text(code.expires_at), "2026-06-14T21:20:03Z");
    const auto made = pairings_.take(code.text).value();
    ASSERT_TRUE(made);
    EXPECT_EQ(made->device.author, "Runa");
    EXPECT_EQ(made->device.label, "A");
    EXPECT_EQ(made->device.role, Role::crew);
    EXPECT_EQ(made->device.secret_hash, sha256_hex(made->secret));
    EXPECT_FALSE(pairings_.take(code.text).value()) << "used once";
    EXPECT_THAT(pairings_.all(), ElementsAre(made->device));
}

TEST_F(PairingTest, a_code_may_be_typed_as_people_type) {
    const auto code = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
    std::string typed;
    for (const char c : code.text) {
        typed += c == '-' ? ' ' : c == '0' ? 'o' : c == '1' ? 'l' : static_cast<char>(std::tolower(c));
    }
    EXPECT_TRUE(pairings_.take(typed).value());
}

TEST_F(PairingTest, a_code_runs_out) {
    const auto code = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
    pass(0.25);
    EXPECT_FALSE(pairings_.take(code.text).value());
}

TEST_F(PairingTest, no_other_code_holds) {
    const auto code = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
    std::string other = code.text;
    other[0] = other[0] == 'A' ? 'B' : 'A';
    for (const std::string& wrong :
         {std::string(), other, code.text.substr(1), code.text + "A", std::string(9999, 'A')}) {
        EXPECT_FALSE(pairings_.take(wrong).value()) << wrong.substr(0, 20);
    }
    EXPECT_TRUE(pairings_.take(code.text).value()) << "a wrong guess does not use it up";
}

TEST_F(PairingTest, so_many_codes_stand_at_a_time) {
    const auto first = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
    for (std::size_t i = 0; i < most_codes; ++i) {
        EXPECT_TRUE(pairings_.offer({.label = "B", .author = "Runa", .role = Role::crew}));
    }
    EXPECT_FALSE(pairings_.take(first.text).value());
}

TEST_F(PairingTest, a_device_is_known_by_its_secret_also_after_a_new_start) {
    const auto made = pair(pairings_);
    EXPECT_EQ(pairings_.seen(made.device.secret_hash), made.device);
    Pairings after = open();
    EXPECT_EQ(after.seen(made.device.secret_hash), made.device);
    EXPECT_TRUE(after.holds(made.device));
    EXPECT_FALSE(after.seen(sha256_hex("another")));
}

TEST_F(PairingTest, the_file_holds_no_secret_and_is_private) {
    const auto made = pair(pairings_);
    const std::string text = read_file(file_).value();
    EXPECT_THAT(text, Not(HasSubstr(made.secret)));
    EXPECT_THAT(text, HasSubstr(made.device.secret_hash));
    struct stat status{};
    ASSERT_EQ(::stat(file_.c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777, 0600U);
    ASSERT_EQ(::chmod(file_.c_str(), 0640), 0);
    EXPECT_THAT(load_paired(file_).error().text(), HasSubstr("mode 640"));
}

TEST_F(PairingTest, ends_at_once_and_for_good) {
    const auto made = pair(pairings_);
    const auto other = pair(pairings_, "B");
    EXPECT_EQ(pairings_.end(made.device.id).value(), Pairings::Ended::now);
    EXPECT_FALSE(pairings_.seen(made.device.secret_hash));
    EXPECT_FALSE(pairings_.holds(made.device));
    EXPECT_TRUE(pairings_.holds(other.device));
    EXPECT_EQ(pairings_.end(made.device.id).value(), Pairings::Ended::was_not_there) << "it is gone already";
    Pairings after = open();
    EXPECT_FALSE(after.seen(made.device.secret_hash));
    EXPECT_TRUE(after.seen(other.device.secret_hash));
}

TEST_F(PairingTest, ends_also_where_the_file_cannot_be_written) {
    const auto made = pair(pairings_);
    const std::string kept = read_file(file_).value();
    std::filesystem::remove(file_);
    std::filesystem::create_directory(file_); // no file can be written over it
    EXPECT_FALSE(pairings_.end(made.device.id));
    std::filesystem::remove(file_);
    ASSERT_TRUE(write_file_whole(file_, kept));
    ASSERT_EQ(::chmod(file_.c_str(), 0600), 0);
    EXPECT_FALSE(pairings_.seen(made.device.secret_hash));
    EXPECT_FALSE(pairings_.holds(made.device));
}

TEST_F(PairingTest, what_another_program_of_this_machine_paired_is_kept) {
    Pairings other = open();
    const auto theirs = pair(other, "theirs");
    const auto ours = pair(pairings_, "ours");
    EXPECT_EQ(load_paired(file_).value().size(), 2U);
    Pairings after = open();
    EXPECT_TRUE(after.holds(theirs.device));
    EXPECT_TRUE(after.holds(ours.device));
}

TEST_F(PairingTest, unused_it_ends) {
    const auto made = pair(pairings_);
    pass(24 * 179);
    ASSERT_TRUE(pairings_.seen(made.device.secret_hash)) << "and its asking is written down";
    Pairings after = open();
    pass(24 * 179);
    ASSERT_TRUE(after.seen(made.device.secret_hash));
    pass(24 * 181);
    EXPECT_FALSE(after.seen(made.device.secret_hash));
    EXPECT_FALSE(after.holds(made.device));
}

TEST_F(PairingTest, asks_for_an_author_and_a_mark) {
    for (const std::string& bad : {std::string(), std::string(" a"), std::string("a\""), std::string("a\\"),
                                   std::string("a\nb"), std::string(65, 'a'), std::string("\xff")}) {
        EXPECT_FALSE(pairings_.offer({.label = bad, .author = "Runa"})) << bad;
        EXPECT_FALSE(pairings_.offer({.label = "A", .author = bad})) << bad;
    }
    EXPECT_TRUE(pairings_.offer({.label = "A", .author = "J\xC3\xB8rn Sand"}));
}

TEST_F(PairingTest, a_broken_file_says_where) {
    std::filesystem::create_directories(file_.parent_path());
    ASSERT_TRUE(write_file_whole(file_, "\n[[device]]\nid = \"../../x\"\nlabel = \"A\"\n"));
    ASSERT_EQ(::chmod(file_.c_str(), 0600), 0);
    const auto refused = load_paired(file_);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().place.line, 2U);
    EXPECT_THAT(pairings_.all(), IsEmpty());
    const auto code = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
    EXPECT_FALSE(pairings_.take(code.text)) << "nothing is written over what is not understood";
    std::filesystem::remove(file_);
    EXPECT_TRUE(pairings_.take(code.text).value()) << "the code still stands";
}

} // namespace
