#include "server/people.hpp"

#include <cstdlib>
#include <fstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.hpp"

namespace {

namespace fs = std::filesystem;
using namespace backeddy;
using namespace backeddy::server;
using testing::HasSubstr;
using testing::IsEmpty;

/// A folder that goes when the test does.
class PeopleFile : public testing::Test {
  protected:
    PeopleFile() : folder_(fs::temp_directory_path() / ("backeddy-people-" + std::to_string(::getpid()))) {
        fs::remove_all(folder_);
    }
    ~PeopleFile() override { fs::remove_all(folder_); }
    [[nodiscard]] fs::path file() const { return folder_ / "config" / "people.toml"; }
    void write(std::string_view text) const {
        fs::create_directories(file().parent_path());
        std::ofstream(file()) << text;
        fs::permissions(file(), fs::perms::owner_read | fs::perms::owner_write);
    }

  private:
    fs::path folder_;
};

const std::string verifier =
    "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";

// The reference implementation's own test (phc-winner-argon2, src/test.c, Argon2id version 19: t = 2, m =
// 2^16 KiB, p = 1, password "password", salt "somesalt"), written here from memory: a digit remembered
// wrongly would not fit. The vector of RFC 9106, section 5.3, has four lanes, a secret and associated data,
// which libsodium does not take.
TEST(Passphrases, the_reference_implementations_vector_fits) {
    EXPECT_TRUE(fits("password", verifier));
    EXPECT_FALSE(fits("Password", verifier));
    EXPECT_FALSE(fits("", verifier));
}

TEST(Passphrases, a_verifier_fits_its_passphrase_and_no_other) {
    const std::string made = make_verifier("salt herring tea kettle").value();
    EXPECT_THAT(made, testing::StartsWith("$argon2id$v=19$m=65536,t=2,p=1$"));
    EXPECT_TRUE(fits("salt herring tea kettle", made));
    EXPECT_FALSE(fits("salt herring tea kettle ", made));
    EXPECT_NE(made, make_verifier("salt herring tea kettle").value()) << "each has a salt of its own";
}

TEST(Passphrases, what_is_no_verifier_fits_nothing) {
    for (const std::string& broken :
         {std::string(), std::string("$argon2id$"), std::string(500, '$'), std::string("x")}) {
        EXPECT_FALSE(fits("", broken));
        EXPECT_FALSE(fits("password", broken));
    }
}

TEST(Passphrases, short_long_and_garbled_ones_are_refused) {
    EXPECT_THAT(make_verifier("eleven char").error().text(), HasSubstr("11 characters; at least 12"));
    // Eleven characters of two bytes each are eleven.
    EXPECT_FALSE(make_verifier("\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9"));
    EXPECT_FALSE(make_verifier(std::string(longest_passphrase + 1, 'a')));
    EXPECT_FALSE(make_verifier("control\x01 characters"));
    EXPECT_FALSE(make_verifier("bytes \xff that are no text"));
}

TEST_F(PeopleFile, reads_back_what_was_written_for_its_owner_alone) {
    const std::vector<Person> people{{"Runa", Role::crew, verifier},
                                     {"Odd \u00d8", Role::scientist, verifier}};
    ASSERT_TRUE(save_people(file(), people));
    EXPECT_EQ(load_people(file()).value(), people);
    struct stat status{};
    ASSERT_EQ(::stat(file().c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777, 0600U);
    ASSERT_EQ(::stat(file().parent_path().c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777, 0700U);
    const auto before = ::umask(0022);
    ::umask(before);
    EXPECT_NE(before, 0077U) << "the process's own mask is put back";
}

TEST_F(PeopleFile, none_is_nobody) {
    EXPECT_THAT(load_people(file()).value(), IsEmpty());
}

TEST_F(PeopleFile, that_others_may_open_is_refused) {
    write("");
    fs::permissions(file(), fs::perms::group_read, fs::perm_options::add);
    EXPECT_THAT(load_people(file()).error().text(), HasSubstr("mode 640"));
    EXPECT_THAT(load_people(file()).error().remedy, HasSubstr("chmod 600"));
}

TEST_F(PeopleFile, not_understood_names_the_line) {
    write("[[person]]\nname = \"Runa\"\nrole = \"captain\"\npassphrase = \"" + verifier + "\"\n");
    EXPECT_THAT(load_people(file()).error().text(), HasSubstr("people.toml line 1: the person \"Runa\""));
    write("[[person]]\nname = \"Runa\"\nrole = \"crew\"\npassphrase = \"plain words\"\n");
    EXPECT_FALSE(load_people(file())) << "a passphrase in plain words is no verifier";
    write("[[person]\n");
    EXPECT_EQ(load_people(file()).error().place.line, 1U);
}

TEST_F(PeopleFile, is_looked_at_again) {
    People people(file());
    EXPECT_FALSE(people.find("Runa"));
    ASSERT_TRUE(save_people(file(), {{"Runa", Role::crew, verifier}}));
    People afresh(file());
    EXPECT_EQ(afresh.find("Runa")->role, Role::crew);
}

TEST_F(PeopleFile, the_most_that_somebody_of_a_name_may_is_known_whatever_the_case_of_its_letters) {
    ASSERT_TRUE(
        save_people(file(), {{"Siv Holm", Role::scientist, verifier}, {"Runa", Role::crew, verifier}}));
    People people(file());
    EXPECT_EQ(people.role_of("Siv Holm"), Role::scientist);
    EXPECT_EQ(people.role_of("siv holm"), Role::scientist);
    EXPECT_EQ(people.role_of("RUNA"), Role::crew);
    EXPECT_FALSE(people.role_of("Siv"));
    EXPECT_FALSE(people.role_of(""));
}

TEST(PeopleList, adds_and_removes_by_name) {
    const auto one = with_person({}, {.name = "Runa", .role = Role::crew}).value();
    EXPECT_EQ(with_person(one, {.name = "Runa"}).error().code, ErrorCode::duplicate);
    EXPECT_THAT(without_person(one, "Runa").value(), IsEmpty());
    EXPECT_THAT(without_person(one, "Rune").error().remedy, HasSubstr("Runa"));
    for (const char* name : {"", " Runa", "Runa ", "Ru\"na", "Ru\\na", "Ru\nna", "\xff",
                             "12345678901234567890123456789012345678901234567890123456789012345"}) {
        EXPECT_EQ(with_person({}, {.name = name}).error().code, ErrorCode::bad_setting) << name;
    }
}

TEST(PeopleList, lies_where_the_machine_keeps_settings) {
    const char* before = std::getenv("XDG_CONFIG_HOME");
    const std::string kept = before == nullptr ? "" : before;
    ::setenv("XDG_CONFIG_HOME", "/somewhere", 1);
    EXPECT_EQ(people_file().value(), "/somewhere/backeddy/people.toml");
    ::setenv("XDG_CONFIG_HOME", "relative", 1);
    EXPECT_THAT(people_file().value().string(), testing::EndsWith("/.config/backeddy/people.toml"));
    before == nullptr ? ::unsetenv("XDG_CONFIG_HOME") : ::setenv("XDG_CONFIG_HOME", kept.c_str(), 1);
}

} // namespace
