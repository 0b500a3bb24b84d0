// The authority and what it signs, checked by the openssl program beside our own reading of it.

#include "server/authority.hpp"

#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "base/file.hpp"
#include "base/temporary_folder.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::server;
using testing::HasSubstr;
using testing::MatchesRegex;
using testing::Not;

constexpr const char* name = "backeddy.local";

Instant today() {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(now).count());
}

Instant in_days(int days) {
    return today() + Duration::hours(24.0 * days);
}

struct Said {
    int status = -1;
    std::string text;
};

/// What a command prints, and how it ends.
Said run(const std::string& command) {
    Said out;
    FILE* pipe = ::popen((command + " 2>&1").c_str(), "r");
    std::array<char, 4096> block{};
    while (pipe != nullptr && std::fgets(block.data(), block.size(), pipe) != nullptr) {
        out.text += block.data();
    }
    out.status = pipe == nullptr ? -1 : ::pclose(pipe);
    return out;
}

class Authority : public testing::Test {
  protected:
    void SetUp() override {
        if (run("openssl version").status != 0) {
            GTEST_SKIP() << "no openssl program here";
        }
    }
    [[nodiscard]] Expected<LocalAuthority> keep(Instant now, bool is_anew = false) const {
        return keep_authority({.folder = folder_.path(), .name = name, .now = now, .is_anew = is_anew});
    }
    [[nodiscard]] std::string file(const std::string& file_name) const {
        return (folder_.path() / name / file_name).string();
    }
    [[nodiscard]] Said text_of(const std::string& file_name) const {
        return run("openssl x509 -noout -text -in " + file(file_name));
    }
    /// A certificate for `alternative`, signed by our authority's key: what a thief of it could make.
    [[nodiscard]] Said verdict_on(const std::string& alternative) const {
        const std::string own = folder_.path().string();
        EXPECT_TRUE(write_file_whole(folder_.path() / "extensions",
                                     "subjectAltName=" + alternative + "\nextendedKeyUsage=serverAuth\n"));
        const Said made = run(fmt::format(
            "cd {0} && openssl ecparam -name prime256v1 -genkey -noout -out thief.key && openssl req -new "
            "-key "
            "thief.key -subj /O=thief -out thief.csr && openssl x509 -req -in thief.csr -CA {1} -CAkey {1} "
            "-CAcreateserial -days 30 -extfile extensions -out thief.pem",
            own, file("authority.pem")));
        EXPECT_EQ(made.status, 0) << made.text;
        return run(fmt::format("openssl verify -purpose sslserver -CAfile {} {}/thief.pem",
                               file("authority.pem"), own));
    }

    TemporaryFolder folder_ = TemporaryFolder::make("authority").value();
};

TEST_F(Authority, signs_for_its_name) {
    const auto made = keep(today());
    ASSERT_TRUE(made) << made.error().text();
    EXPECT_TRUE(made->is_new);
    const Said verdict =
        run(fmt::format("openssl verify -x509_strict -purpose sslserver -verify_hostname {} -CAfile {} {}",
                        name, file("authority.pem"), file("leaf.pem")));
    EXPECT_EQ(verdict.status, 0) << verdict.text;
    EXPECT_NE(run(fmt::format("openssl verify -verify_hostname other.local -CAfile {} {}",
                              file("authority.pem"), file("leaf.pem")))
                  .status,
              0);
}

TEST_F(Authority, can_sign_for_nothing_else) {
    ASSERT_TRUE(keep(today()));
    EXPECT_EQ(verdict_on(std::string("DNS:") + name).status, 0) << "the check itself takes what is allowed";
    for (const char* other : {"DNS:www.example.test", "DNS:local", "DNS:notbackeddy.local"}) {
        const Said verdict = verdict_on(other);
        EXPECT_NE(verdict.status, 0) << other;
        EXPECT_THAT(verdict.text, HasSubstr("permitted subtree violation")) << other;
    }
    for (const char* address : {"IP:192.0.2.7", "IP:0:0:0:0:0:0:0:1"}) {
        const Said verdict = verdict_on(address);
        EXPECT_NE(verdict.status, 0) << address;
        EXPECT_THAT(verdict.text, HasSubstr("excluded subtree violation")) << address;
    }
}

TEST_F(Authority, says_in_its_certificate_what_it_may) {
    ASSERT_TRUE(keep(today()));
    const std::string text = text_of("authority.pem").text;
    EXPECT_THAT(text, HasSubstr("X509v3 Name Constraints: critical"));
    EXPECT_THAT(text, HasSubstr("Permitted:\n                  DNS:backeddy.local\n"));
    EXPECT_THAT(text, HasSubstr("IP:0.0.0.0/0.0.0.0"));
    EXPECT_THAT(text, HasSubstr("CA:TRUE, pathlen:0"));
    EXPECT_THAT(text, HasSubstr("NIST CURVE: P-256"));
    EXPECT_THAT(text, HasSubstr("Certificate Sign"));
    const std::string leaf = text_of("leaf.pem").text;
    EXPECT_THAT(leaf, HasSubstr("CA:FALSE"));
    EXPECT_THAT(leaf, HasSubstr("TLS Web Server Authentication"));
    EXPECT_THAT(leaf, HasSubstr("DNS:backeddy.local"));
    EXPECT_THAT(leaf, Not(HasSubstr("Certificate Sign")));
}

TEST_F(Authority, keeps_what_is_good_and_renews_the_leaf_before_it_ends) {
    const auto first = keep(today());
    ASSERT_TRUE(first);
    const auto again = keep(in_days(300));
    ASSERT_TRUE(again);
    EXPECT_FALSE(again->is_new);
    EXPECT_EQ(again->authority_der, first->authority_der);
    EXPECT_EQ(again->leaf.chain_pem, first->leaf.chain_pem);

    const auto late = keep(in_days(370));
    ASSERT_TRUE(late);
    EXPECT_EQ(late->authority_der, first->authority_der);
    EXPECT_NE(late->leaf.chain_pem, first->leaf.chain_pem) << "less than 30 days were left";
    const auto later = keep(in_days(380));
    ASSERT_TRUE(later);
    EXPECT_EQ(later->leaf.chain_pem, late->leaf.chain_pem)
        << "it goes as far as the authority: no more to gain";

    const auto ended = keep(in_days(401));
    ASSERT_TRUE(ended);
    EXPECT_TRUE(ended->is_new);
    EXPECT_NE(ended->authority_der, first->authority_der);
}

TEST_F(Authority, lasts_no_longer_than_phones_take) {
    const auto made = keep(today());
    ASSERT_TRUE(made);
    EXPECT_LE(made->authority_until, in_days(400));
    EXPECT_GT(made->authority_until, in_days(395));
    // openssl's own arithmetic: -checkend fails where it ends within so many seconds.
    const auto ends_within = [&](const char* which, int days) {
        return run(fmt::format("openssl x509 -noout -in {} -checkend {}", file(which), days * 86'400))
                   .status != 0;
    };
    EXPECT_TRUE(ends_within("leaf.pem", 397));
    EXPECT_FALSE(ends_within("leaf.pem", 390));
    ASSERT_TRUE(keep(in_days(380)));
    const auto seconds = [&](const char* which) {
        return run("openssl x509 -noout -enddate -in " + file(which)).text;
    };
    EXPECT_EQ(seconds("leaf.pem"), seconds("authority.pem")) << "never beyond the authority";
}

TEST_F(Authority, is_made_anew_where_that_is_asked) {
    const auto first = keep(today());
    const auto second = keep(today(), true);
    ASSERT_TRUE(first && second);
    EXPECT_TRUE(second->is_new);
    EXPECT_NE(fingerprint(first->authority_der), fingerprint(second->authority_der));
    EXPECT_EQ(
        run(fmt::format("openssl verify -CAfile {} {}", file("authority.pem"), file("leaf.pem"))).status, 0)
        << "the leaf is of the new one";
}

TEST_F(Authority, is_for_its_owners_eyes_alone) {
    ASSERT_TRUE(keep(today()));
    for (const char* each : {"authority.pem", "leaf.pem"}) {
        struct stat status{};
        ASSERT_EQ(::stat(file(each).c_str(), &status), 0);
        EXPECT_EQ(status.st_mode & 0777, 0600U) << each;
    }
    ASSERT_EQ(::chmod(file("authority.pem").c_str(), 0644), 0);
    const auto refused = keep(today());
    ASSERT_FALSE(refused);
    EXPECT_THAT(refused.error().text(), HasSubstr("others on this machine may open this file (mode 644)"));
}

TEST_F(Authority, is_not_replaced_silently_when_its_file_is_broken) {
    ASSERT_TRUE(keep(today()));
    ASSERT_TRUE(write_file_whole(file("authority.pem"), "nothing"));
    ASSERT_EQ(::chmod(file("authority.pem").c_str(), 0600), 0);
    const auto refused = keep(today());
    ASSERT_FALSE(refused);
    EXPECT_THAT(refused.error().remedy, HasSubstr("--new-authority"));
    // A leaf is made again: no phone knows it by itself.
    ASSERT_TRUE(keep(today(), true));
    ASSERT_TRUE(write_file_whole(file("leaf.pem"), "nothing"));
    EXPECT_TRUE(keep(today()));
}

TEST_F(Authority, has_the_fingerprint_that_others_show) {
    const auto made = keep(today());
    ASSERT_TRUE(made);
    const std::string theirs =
        run("openssl x509 -noout -fingerprint -sha256 -in " + file("authority.pem")).text;
    const std::string ours = fingerprint(made->authority_der);
    EXPECT_THAT(theirs, HasSubstr("=" + ours + "\n"));
    std::string start = ours.substr(0, 23);
    std::erase(start, ':');
    std::string shown = short_fingerprint(made->authority_der);
    EXPECT_THAT(shown, MatchesRegex("[0-9A-F]{4} [0-9A-F]{4} [0-9A-F]{4} [0-9A-F]{4}"));
    std::erase(shown, ' ');
    EXPECT_EQ(shown, start);
}

TEST_F(Authority, of_ones_own_has_to_fit) {
    const std::string own = folder_.path().string();
    const auto make = [&](const std::string& which, const std::string& for_name) {
        EXPECT_EQ(run(fmt::format(
                          "cd {0} && openssl req -x509 -newkey rsa:2048 -nodes -keyout {1}.key -out {1}.crt "
                          "-days 30 -subj /CN=x -addext subjectAltName=DNS:{2}",
                          own, which, for_name))
                      .status,
                  0);
    };
    make("ours", "boat.test");
    make("other", "other.test");
    const auto read = [&](const std::string& cert, const std::string& key, Instant now) {
        return read_certificate(folder_.path() / cert, folder_.path() / key, "boat.test", now);
    };
    EXPECT_TRUE(read("ours.crt", "ours.key", in_days(1)));
    EXPECT_THAT(read("other.crt", "other.key", in_days(1)).error().found, HasSubstr("is not for boat.test"));
    EXPECT_THAT(read("ours.crt", "other.key", in_days(1)).error().found, HasSubstr("does not belong to"));
    EXPECT_THAT(read("ours.crt", "ours.key", in_days(31)).error().found, HasSubstr("holds from"));
    EXPECT_THAT(read("ours.key", "ours.key", in_days(1)).error().found, HasSubstr("no certificate"));
    EXPECT_THAT(read("ours.crt", "ours.crt", in_days(1)).error().found, HasSubstr("no private key"));
    EXPECT_EQ(read("none.crt", "ours.key", in_days(1)).error().code, ErrorCode::file_missing);
}

TEST(LocalName, is_one_that_nobody_on_the_internet_can_own) {
    for (const char* good : {"backeddy.local", "b.home.arpa", "skerry-2.internal", "a.b.test"}) {
        EXPECT_TRUE(is_local_name(good)) << good;
    }
    for (const char* bad :
         {"", "local", ".local", "example.com", "Backeddy.local", "a..local", "-a.local", "a-.local",
          "a b.local", "../x.local", "a/b.local", "a.local.", "xn--\xC3\xA9.local", "backeddy.local.com",
          "a23456789012345678901234567890123456789012345.local"}) {
        EXPECT_FALSE(is_local_name(bad)) << bad;
        EXPECT_FALSE(keep_authority({.folder = "/nowhere", .name = bad, .now = today()})) << bad;
    }
}

} // namespace
