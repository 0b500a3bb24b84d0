// TLS on the port of plain HTTP: real sockets, through OpenSSL as a client.

#include <atomic>
#include <chrono>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "base/temporary_folder.hpp"
#include "server/authority.hpp"
#include "server/client.hpp"
#include "server/listener.hpp"
#include "server/own_routes.hpp"
#include "server/pairing_routes.hpp"
#include "server/renewal.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::server;
using namespace std::chrono_literals;
using test::Client;
using testing::EndsWith;
using testing::HasSubstr;
using testing::StartsWith;

constexpr const char* name = "backeddy.local";

Instant today() {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(now).count());
}

/// A program that speaks TLS, with a phone paired when asked.
class Secured {
  public:
    explicit Secured(const Limits& limits = {})
        : folder_(TemporaryFolder::make("tls").value()),
          listener_(Listener::open({"127.0.0.1"}, 0, limits).value()),
          people_(folder_.path() / "people.toml"), pairings_(folder_.path() / "paired.toml", today),
          gate_({.port = listener_.port(), .secure_name = name}, people_, &pairings_),
          service_(gate_, Routes::of(routes()).value()) {
        const auto authority =
            keep_authority({.folder = folder_.path(), .name = name, .now = today()}).value();
        EXPECT_TRUE(listener_.secure_with(authority.leaf));
        thread_ = std::thread([this] { EXPECT_TRUE(listener_.serve(service_)); });
    }
    ~Secured() {
        listener_.stop();
        thread_.join();
    }
    Secured(const Secured&) = delete;
    Secured& operator=(const Secured&) = delete;

    [[nodiscard]] Client plain() const { return Client(listener_.port()); }
    [[nodiscard]] std::string authority() const { return (folder_.path() / name / "authority.pem").string(); }
    [[nodiscard]] Client secure() const {
        Client client(listener_.port());
        EXPECT_TRUE(client.begin_tls(name, authority()));
        return client;
    }
    [[nodiscard]] std::string host() const { return fmt::format("{}:{}", name, listener_.port()); }
    [[nodiscard]] std::string get(std::string_view target, std::string_view more = "") const {
        return fmt::format("GET {} HTTP/1.1\r\nHost: {}\r\n{}\r\n", target, host(), more);
    }
    [[nodiscard]] std::string post(std::string_view target, std::string_view more,
                                   std::string_view body) const {
        return fmt::format(
            "POST {} HTTP/1.1\r\nHost: {}\r\nOrigin: https://{}\r\nContent-Length: {}\r\n{}\r\n{}", target,
            host(), host(), body.size(), more, body);
    }
    /// "name=secret" of a phone paired just now.
    std::string pair() {
        const auto code = pairings_.offer({.label = "A", .author = "Runa", .role = Role::crew}).value();
        Client client = secure();
        client.send(post("/api/pair", "", nlohmann::json{{"code", code.text}}.dump()));
        const std::string answer = client.answer();
        EXPECT_THAT(answer, StartsWith("HTTP/1.1 200 OK\r\n"));
        const auto at = answer.find("Set-Cookie: ") + 12;
        return answer.substr(at, answer.find(';', at) - at);
    }
    [[nodiscard]] std::string opening(const std::string& cookie) const {
        return get(
            "/api/changes",
            fmt::format("Origin: https://{}\r\nCookie: {}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
                        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n",
                        host(), cookie));
    }
    bool comes(Seen what, std::uint64_t count) const {
        for (int i = 0; i < 2000 && listener_.count(what) < count; ++i) {
            std::this_thread::sleep_for(5ms);
        }
        return listener_.count(what) == count;
    }
    Listener& listener() { return listener_; }
    Pairings& pairings() { return pairings_; }

  private:
    std::vector<Route> routes() {
        auto all = own_routes(gate_, "1.2.3");
        const auto tell = [this] { listener_.publish("\"pairing\""); };
        std::ranges::move(pairing_routes(gate_, pairings_, std::nullopt, tell), std::back_inserter(all));
        all.push_back({.pattern = "/", .right = Right::anyone, .handler = [](const Request& request) {
                           return json_response(request.asker.is_secure ? "\"secure\"" : "\"plain\"");
                       }});
        all.push_back({.pattern = "/large", .right = Right::anyone, .handler = [](const Request&) {
                           return json_response(std::string(4 << 20, 'x'));
                       }});
        return all;
    }

    TemporaryFolder folder_;
    Listener listener_;
    People people_;
    Pairings pairings_;
    Gate gate_;
    Service service_;
    std::thread thread_;
};

TEST(Tls, stands_beside_plain_http_at_one_port) {
    const Secured secured;
    Client phone = secured.secure();
    for (int i = 0; i < 3; ++i) {
        phone.send(secured.get("/"));
        const std::string answer = phone.answer();
        EXPECT_THAT(answer, StartsWith("HTTP/1.1 200 OK\r\n"));
        EXPECT_THAT(answer, EndsWith("\r\n\r\n\"secure\""));
    }
    Client laptop = secured.plain();
    laptop.send(secured.get("/"));
    EXPECT_THAT(laptop.answer(), EndsWith("\r\n\r\n\"plain\""));
}

TEST(Tls, an_answer_of_many_records_comes_whole) {
    const Secured secured;
    Client phone = secured.secure();
    phone.send(secured.get("/large", "Connection: close\r\n"));
    const std::string answer = phone.answer();
    EXPECT_TRUE(answer.ends_with("\r\n\r\n" + std::string(4 << 20, 'x'))) << answer.size();
    EXPECT_TRUE(phone.is_closed());
}

TEST(Tls, a_phone_that_expects_another_name_or_authority_hangs_up) {
    const Secured secured, other;
    EXPECT_FALSE(secured.plain().begin_tls("other.local", secured.authority()));
    EXPECT_FALSE(secured.plain().begin_tls(name, other.authority()));
    EXPECT_TRUE(secured.plain().begin_tls(name, secured.authority())) << "the others go on";
}

TEST(Tls, speaks_no_old_version) {
    const Secured secured;
    for (const int old : {TLS1_VERSION, TLS1_1_VERSION}) {
        EXPECT_FALSE(secured.plain().begin_tls(name, secured.authority(), old)) << old;
    }
    for (const int version : {TLS1_2_VERSION, TLS1_3_VERSION}) {
        EXPECT_TRUE(secured.plain().begin_tls(name, secured.authority(), version)) << version;
    }
}

TEST(Tls, a_handshake_that_dawdles_is_closed_like_a_slow_head) {
    const Secured secured({.header_time = 200ms});
    Client slow = secured.plain();
    slow.send(std::string("\x16\x03\x01\x02\x00\x01", 6)); // begins a handshake of 512 bytes
    const auto begun = std::chrono::steady_clock::now();
    EXPECT_TRUE(slow.is_closed());
    EXPECT_LT(std::chrono::steady_clock::now() - begun, 4s);
    EXPECT_TRUE(secured.comes(Seen::slow, 1));
}

TEST(Tls, bytes_that_drip_do_not_buy_time) {
    const Secured secured({.header_time = 300ms});
    Client slow = secured.plain();
    slow.send(std::string("\x16\x03\x01\x02\x00", 5));
    bool is_open = true;
    for (int i = 0; i < 100 && is_open; ++i) {
        std::this_thread::sleep_for(30ms);
        is_open = slow.send("\x01");
    }
    EXPECT_FALSE(is_open);
}

TEST(Tls, who_says_nothing_is_closed) {
    const Secured secured({.idle_time = 200ms});
    EXPECT_TRUE(secured.plain().is_closed());
    EXPECT_TRUE(secured.secure().is_closed()) << "neither after a handshake";
}

TEST(Tls, a_handshake_that_is_none_is_closed) {
    const Secured secured;
    Client client = secured.plain();
    client.send("\x16" + std::string(200, 'x'));
    EXPECT_TRUE(client.is_closed());
    EXPECT_TRUE(secured.comes(Seen::malformed, 1));
}

TEST(Tls, a_head_that_dawdles_within_is_told) {
    const Secured secured({.header_time = 300ms});
    Client slow = secured.secure();
    slow.send("GET / HTTP/1.1\r\n");
    EXPECT_THAT(slow.answer(), StartsWith("HTTP/1.1 408 "));
}

TEST(Tls, handshakes_count_as_requests) {
    const Secured secured({.requests_per_second_within = 0.001, .requests_at_once_within = 3});
    for (int i = 0; i < 3; ++i) {
        EXPECT_TRUE(secured.plain().begin_tls(name, secured.authority())) << i;
    }
    EXPECT_FALSE(secured.plain().begin_tls(name, secured.authority()));
    EXPECT_TRUE(secured.comes(Seen::too_fast, 1));
}

TEST(Tls, a_body_too_large_is_told_over_it_too) {
    const Secured secured;
    Client phone = secured.secure();
    phone.send(secured.post("/api/pair", "", std::string(100'000, 'x')));
    EXPECT_THAT(phone.answer(), StartsWith("HTTP/1.1 413 "));
    EXPECT_TRUE(phone.is_closed());
}

TEST(Tls, every_answer_carries_a_date) {
    const Secured secured;
    Client phone = secured.secure();
    phone.send(secured.get("/nothing"));
    EXPECT_THAT(phone.answer(),
                testing::ContainsRegex("\r\nDate: [A-Z][a-z]{2}, [0-9]{2} [A-Z][a-z]{2} 20[0-9]{2} "
                                       "[0-9]{2}:[0-9]{2}:[0-9]{2} GMT\r\n"));
}

TEST(Tls, a_page_listens_to_changes) {
    Secured secured;
    Client page = secured.secure();
    page.send(secured.opening(secured.pair()));
    // RFC 6455, section 1.3: the answer to that key.
    EXPECT_THAT(page.answer(), HasSubstr("Sec-WebSocket-Accept: s3pPLMBiTxaQ9kYGzzhZRbK+xOo=\r\n"));
    for (const std::string& text : {std::string("\"a\""), std::string(70'000, 'c')}) {
        secured.listener().publish(text);
        EXPECT_TRUE(page.frame().text == text);
    }
    page.send_frame(9, "still there?");
    EXPECT_EQ(page.frame().text, "still there?");
    page.send_frame(8, "\x03\xe8");
    EXPECT_EQ(page.frame().kind, 8);
    EXPECT_TRUE(page.is_closed());
}

TEST(Tls, the_line_of_a_phone_ends_with_its_pairing) {
    Secured secured;
    Client page = secured.secure();
    const std::string cookie = secured.pair();
    page.send(secured.opening(cookie));
    EXPECT_THAT(page.answer(), StartsWith("HTTP/1.1 101 "));
    Client other = secured.secure();
    other.send(secured.get("/api/session", "Cookie: " + cookie + "\r\n"));
    const auto session = other.answer();
    const std::string token =
        nlohmann::json::parse(session.substr(session.find("\r\n\r\n") + 4)).at("change_token");
    // As the laptop ends it: in the list, then told to all who listen.
    EXPECT_TRUE(secured.pairings().end(secured.pairings().all().at(0).id));
    secured.listener().publish("\"pairing\"");
    const auto frame = page.frame();
    EXPECT_EQ(frame.kind, 8) << frame.text;
    EXPECT_THAT(frame.text, StartsWith("\x03\xf0")) << "1008, and nothing told";
    other.send(secured.post("/api/sign-out",
                            fmt::format("Cookie: {}\r\nBackeddy-Change-Token: {}\r\n", cookie, token), ""));
    EXPECT_THAT(other.answer(), StartsWith("HTTP/1.1 401 "));
}

TEST(Tls, stopping_does_not_wait_for_ever) {
    std::optional<Secured> secured(std::in_place, Limits{.stop_time = 300ms});
    Client idle = secured->secure();
    Client half = secured->plain();
    half.send(std::string("\x16\x03\x01\x02\x00", 5));
    Client page = secured->secure();
    page.send(secured->opening(secured->pair()));
    EXPECT_THAT(page.answer(), StartsWith("HTTP/1.1 101 "));
    const auto begun = std::chrono::steady_clock::now();
    secured.reset();
    EXPECT_LT(std::chrono::steady_clock::now() - begun, 5s);
}

// The clock is the test's: what was made a year ago has less than 30 days left, and is renewed while the
// program runs.
TEST(Tls, a_certificate_near_its_end_is_renewed_for_connections_that_come_from_then_on) {
    const auto folder = TemporaryFolder::make("renewal").value();
    const auto made_at = today() - Duration::hours(24.0 * 370);
    const auto kept_at = [&](Instant now) {
        return keep_authority({.folder = folder.path(), .name = name, .now = now}).value();
    };
    const auto first = kept_at(made_at);
    auto listener = Listener::open({"127.0.0.1"}, 0).value();
    ASSERT_TRUE(listener.secure_with(first.leaf));
    People people(folder.path() / "people.toml");
    Gate gate({.port = listener.port(), .secure_name = name}, people);
    const Service service(gate, Routes::of(own_routes(gate, "1")).value());
    std::thread thread([&] { EXPECT_TRUE(listener.serve(service)); });
    const auto secure = [&] {
        Client client(listener.port());
        EXPECT_TRUE(client.begin_tls(name, (folder.path() / name / "authority.pem").string()));
        return client;
    };
    std::atomic<std::int64_t> now = made_at.unix_nanoseconds();
    std::mutex guard;
    std::vector<std::string> said;
    const auto lines = [&] {
        const std::lock_guard lock(guard);
        return said;
    };
    const auto renewal = std::make_unique<Renewal>(
        first.leaf,
        Renewal::Wish{.certificate_at = [&](Instant at) -> Expected<Certificate> { return kept_at(at).leaf; },
                      .show = [&](const Certificate& each) { return listener.renew(each); },
                      .say =
                          [&](std::string line) {
                              const std::lock_guard lock(guard);
                              said.push_back(std::move(line));
                          },
                      .now = [&] { return Instant::unix_nanoseconds(now); },
                      .every = 5ms});
    Client before = secure();
    const auto serial = before.certificate_serial();
    std::this_thread::sleep_for(100ms);
    EXPECT_EQ(secure().certificate_serial(), serial) << "nothing is renewed that has time left";
    EXPECT_TRUE(lines().empty());
    now = today().unix_nanoseconds();
    for (int i = 0; i < 400 && secure().certificate_serial() == serial; ++i) {
        std::this_thread::sleep_for(10ms);
    }
    EXPECT_NE(secure().certificate_serial(), serial);
    EXPECT_EQ(lines(), std::vector<std::string>{"the certificate that phones see was renewed"});
    // What was open goes on, and what is trusted is the same authority.
    before.send(fmt::format("GET /api/about HTTP/1.1\r\nHost: {}:{}\r\n\r\n", name, listener.port()));
    EXPECT_THAT(before.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    EXPECT_EQ(kept_at(today()).authority_der, first.authority_der);
    listener.stop();
    thread.join();
}

TEST(Renewal, what_fails_is_said_once_and_tried_again) {
    std::atomic<int> asked = 0;
    std::atomic<bool> is_well = false;
    std::mutex guard;
    std::vector<std::string> said;
    {
        const Renewal renewal(
            {.chain_pem = "old", .key_pem = ""},
            {.certificate_at = [&](Instant) -> Expected<Certificate> {
                 ++asked;
                 return is_well ? Expected<Certificate>(Certificate{.chain_pem = "new", .key_pem = ""})
                                : fail(Error{.code = ErrorCode::cannot_write, .found = "the disk is full"});
             },
             .show = [](const Certificate&) { return Expected<void>(); },
             .say =
                 [&](std::string line) {
                     const std::lock_guard lock(guard);
                     said.push_back(std::move(line));
                 },
             .now = today,
             .every = 1ms});
        while (asked < 5) {
            std::this_thread::sleep_for(1ms);
        }
        is_well = true;
        const int then = asked;
        while (asked < then + 3) {
            std::this_thread::sleep_for(1ms);
        }
    }
    ASSERT_EQ(said.size(), 2U);
    EXPECT_THAT(said[0], HasSubstr("the disk is full"));
    EXPECT_EQ(said[1], "the certificate that phones see was renewed");
}

TEST(Tls, a_certificate_that_is_none_is_refused) {
    auto listener = Listener::open({"127.0.0.1"}, 0);
    ASSERT_TRUE(listener);
    EXPECT_THAT(listener->secure_with({.chain_pem = "none", .key_pem = "none"}).error().found,
                HasSubstr("not fit for TLS"));
}

} // namespace
