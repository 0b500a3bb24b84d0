// The program as it serves: its address, its token, who may sign in, and its end.

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <string>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "end_to_end/program.hpp"
#include "server/client.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::test;
using namespace std::chrono_literals;
using testing::HasSubstr;
using testing::StartsWith;

class Serve : public testing::Test {
  protected:
    Serve() : scratch_("serve") {
        ::setenv("XDG_CONFIG_HOME", (scratch_.path() / "config").c_str(), 1);
        std::filesystem::create_directories(study());
        EXPECT_TRUE(write_new_file(study() / "study.toml", "[study]\n"));
    }
    [[nodiscard]] std::filesystem::path study() const { return scratch_.path() / "study"; }
    [[nodiscard]] Ran people(const std::string& words, const std::string& input = {}) const {
        const auto out = scratch_.path() / "people_out";
        const auto err = scratch_.path() / "people_err";
        const std::string command = "printf '" + input + "' | '" BACKEDDY_PROGRAM "' people " + words +
                                    " >'" + out.string() + "' 2>'" + err.string() + "'";
        const int state = std::system(command.c_str());
        return {.status = WIFEXITED(state) ? WEXITSTATUS(state) : -1,
                .out = read_file(out).value_or(std::string()),
                .err = read_file(err).value_or(std::string())};
    }

    ScratchFolder scratch_;
};

TEST_F(Serve, prints_an_address_that_opens_and_stops_at_a_signal) {
    const auto out = scratch_.path() / "said_out";
    const ::pid_t child =
        start_program({"serve", study().string(), "--port", "0"}, out, scratch_.path() / "said_err");
    std::string said;
    for (int i = 0; i < 2000 && said.find("Ctrl-C") == std::string::npos; ++i) {
        std::this_thread::sleep_for(5ms);
        said = read_file(out).value_or(std::string());
    }
    const auto at = said.find("http://127.0.0.1:");
    ASSERT_NE(at, std::string::npos) << said;
    const auto port = static_cast<std::uint16_t>(std::stoi(said.substr(at + 17)));
    const std::string target =
        said.substr(said.find('/', at + 7), said.find('\n', at) - said.find('/', at + 7));
    EXPECT_THAT(target, StartsWith("/?token="));
    {
        Client client(port);
        const std::string host = "Host: 127.0.0.1:" + std::to_string(port) + "\r\n";
        client.send("GET /api/about HTTP/1.1\r\n" + host + "\r\n");
        EXPECT_THAT(client.answer(), HasSubstr("\"program\":\"backeddy\""));
        client.send("GET " + target + " HTTP/1.1\r\n" + host + "\r\n");
        const std::string opened = client.answer();
        EXPECT_THAT(opened, StartsWith("HTTP/1.1 303 "));
        const auto cookie = opened.find("Set-Cookie: ") + 12;
        client.send("GET /api/session HTTP/1.1\r\n" + host +
                    "Cookie: " + opened.substr(cookie, opened.find(';', cookie) - cookie) + "\r\n\r\n");
        EXPECT_THAT(client.answer(), HasSubstr("\"role\":\"scientist\""));

        const Ran second = run_program(scratch_, {"serve", study().string(), "--port", std::to_string(port)});
        EXPECT_EQ(second.status, 1);
        EXPECT_THAT(second.err, HasSubstr("is taken by another program"));
        EXPECT_THAT(second.err, HasSubstr("--port N"));
    }
    ::kill(child, SIGTERM);
    int state = 0;
    ::waitpid(child, &state, 0);
    EXPECT_TRUE(WIFEXITED(state));
    EXPECT_EQ(WEXITSTATUS(state), 0);
}

TEST_F(Serve, another_address_demands_people) {
    const Ran nobody = run_program(scratch_, {"serve", study().string(), "--address", "0.0.0.0"});
    EXPECT_EQ(nobody.status, 1);
    EXPECT_THAT(nobody.err, HasSubstr("nobody may sign in"));
    EXPECT_THAT(nobody.err, HasSubstr("backeddy people add NAME --role crew"));
    EXPECT_EQ(people("add Runa --role crew", "salt herring tea kettle\\n").status, 0);
    // 192.0.2.0/24 is for documentation (RFC 5737): with somebody there, it gets as far as to listen.
    const Ran somebody =
        run_program(scratch_, {"serve", study().string(), "--port", "0", "--address", "192.0.2.7"});
    EXPECT_EQ(somebody.status, 1);
    EXPECT_THAT(somebody.err, HasSubstr("192.0.2.7 is no address of this machine"));
}

TEST_F(Serve, a_folder_that_is_no_study_is_said) {
    const Ran ran = run_program(scratch_, {"serve", scratch_.path().string()});
    EXPECT_EQ(ran.status, 1);
    EXPECT_THAT(ran.err, HasSubstr("there is no study.toml in this folder"));
    EXPECT_EQ(run_program(scratch_, {"serve", study().string(), "--port", "70000"}).status, 2);
}

TEST_F(Serve, people_come_and_go) {
    EXPECT_THAT(people("list").out, HasSubstr("nobody may sign in"));
    const Ran added = people("add 'Odd Vik' --role scientist", "salt herring tea kettle\\n");
    EXPECT_EQ(added.status, 0) << added.err;
    EXPECT_THAT(added.out, HasSubstr("Odd Vik may sign in as scientist"));
    EXPECT_EQ(people("list").out, "scientist\tOdd Vik\n");
    EXPECT_THAT(people("add 'Odd Vik' --role crew", "salt herring tea kettle\\n").err,
                HasSubstr("may sign in already"));
    EXPECT_THAT(people("add Runa --role crew", "too short\\n").err, HasSubstr("9 characters; at least 12"));
    EXPECT_EQ(people("add Runa --role captain", "salt herring tea kettle\\n").status, 2);
    EXPECT_EQ(people("add Runa --role crew").status, 2) << "no passphrase came";
    EXPECT_EQ(people("remove 'Odd Vik'").status, 0);
    EXPECT_THAT(people("remove 'Odd Vik'").err, HasSubstr("nobody of the name"));
    EXPECT_THAT(people("list").out, HasSubstr("nobody may sign in"));
}

} // namespace
