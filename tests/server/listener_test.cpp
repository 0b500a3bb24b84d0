// Real sockets on a free port of this machine, through a client that shares nothing with the server.

#include "server/listener.hpp"

#include <atomic>
#include <chrono>
#include <csignal>
#include <future>
#include <memory>
#include <thread>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "server/client.hpp"
#include "server/own_routes.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::server;
using namespace std::chrono_literals;
using test::Client;
using testing::HasSubstr;
using testing::StartsWith;

/// Waits for a state, not for a time; false when it does not come in ten seconds.
template <typename State>
bool comes(const State& state) {
    for (int i = 0; i < 2000; ++i) {
        if (state()) {
            return true;
        }
        std::this_thread::sleep_for(5ms);
    }
    return false;
}

/// A listener in a thread of its own, stopped when it goes.
class Serving {
  public:
    explicit Serving(const Limits& limits = {})
        : listener_(Listener::open({"127.0.0.1"}, 0, limits).value()), people_("/nowhere/people.toml"),
          gate_({.port = listener_.port()}, people_), service_(gate_, Routes::of(routes()).value()),
          thread_([this] { is_answered_ = listener_.serve(service_); }) {}
    ~Serving() {
        let_go();
        stop();
    }
    Serving(const Serving&) = delete;
    Serving& operator=(const Serving&) = delete;

    void stop() {
        listener_.stop();
        if (thread_.joinable()) {
            thread_.join();
        }
    }
    /// Of serve(), once it has returned.
    [[nodiscard]] bool is_answered() const { return is_answered_; }
    Listener& listener() { return listener_; }
    [[nodiscard]] Client client() const { return Client(listener_.port()); }
    [[nodiscard]] std::string host() const { return fmt::format("127.0.0.1:{}", listener_.port()); }
    [[nodiscard]] std::string get(std::string_view target, std::string_view more = "") const {
        return fmt::format("GET {} HTTP/1.1\r\nHost: {}\r\n{}\r\n", target, host(), more);
    }
    [[nodiscard]] std::string post(std::string_view target, std::string_view more) const {
        return fmt::format("POST {} HTTP/1.1\r\nHost: {}\r\nOrigin: http://{}\r\n{}\r\n", target, host(),
                           host(), more);
    }
    /// The cookie of a session opened by the start's token.
    [[nodiscard]] std::string cookie() const {
        Client client(listener_.port());
        client.send(get("/?token=" + gate_.start_token()));
        const std::string answer = client.answer();
        const auto at = answer.find("Set-Cookie: ") + 12;
        return answer.substr(at, answer.find(';', at) - at);
    }
    [[nodiscard]] std::string opening(const std::string& cookie) const {
        // The key is that of RFC 6455, section 1.3.
        return get(
            "/api/changes",
            fmt::format("Origin: http://{}\r\nCookie: {}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
                        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n",
                        host(), cookie));
    }
    [[nodiscard]] std::uint64_t count(Seen what) const { return listener_.count(what); }
    /// Handlers of "/held" answer from now on.
    void let_go() {
        if (!is_let_go_.exchange(true)) {
            held_.set_value();
        }
    }
    [[nodiscard]] bool is_holding(int how_many) const { return holding_ >= how_many; }

  private:
    std::vector<Route> routes() {
        auto all = own_routes(gate_, "1.2.3");
        const std::vector<Route> more{
            {.pattern = "/",
             .right = Right::anyone,
             .handler = [](const Request&) { return json_response("1"); }},
            {.pattern = "/held",
             .right = Right::anyone,
             .handler =
                 [this](const Request&) {
                     ++holding_;
                     let_go_.wait();
                     return json_response("\"held\"");
                 }},
            {.method = Method::post,
             .pattern = "/echo",
             .right = Right::anyone,
             .handler = [](const Request& request) { return json_response(request.body); },
             .body_limit = 1000},
            {.pattern = "/large",
             .right = Right::anyone,
             .handler = [](const Request&) { return json_response(std::string(32 << 20, 'x')); }},
            {.pattern = "/broken", .right = Right::anyone, .handler = [](const Request&) -> Response {
                 throw std::runtime_error("broken");
             }}};
        all.insert(all.end(), more.begin(), more.end());
        return all;
    }

    std::promise<void> held_;
    std::shared_future<void> let_go_ = held_.get_future().share();
    std::atomic<bool> is_let_go_ = false;
    std::atomic<int> holding_ = 0;
    Listener listener_;
    People people_;
    Gate gate_;
    Service service_;
    bool is_answered_ = false;
    std::thread thread_;
};

// ---------------------------------------------------------------- answering

TEST(Listener, answers_one_request_after_the_other_on_one_connection) {
    const Serving serving;
    Client client = serving.client();
    for (int i = 0; i < 3; ++i) {
        client.send(serving.get("/"));
        const std::string answer = client.answer();
        EXPECT_THAT(answer, StartsWith("HTTP/1.1 200 OK\r\n"));
        EXPECT_THAT(answer, testing::EndsWith("\r\n\r\n1"));
        EXPECT_THAT(answer, HasSubstr("Content-Security-Policy: default-src 'none'"));
    }
    EXPECT_EQ(serving.count(Seen::connections), 1U);
    EXPECT_EQ(serving.count(Seen::requests), 3U);
}

TEST(Listener, answers_requests_that_came_together_in_their_order) {
    const Serving serving;
    Client client = serving.client();
    std::string all;
    for (int i = 0; i < 50; ++i) {
        all += i % 2 == 0
                   ? serving.post("/echo", fmt::format("Content-Length: 2\r\n")) + fmt::format("{:02}", i)
                   : serving.get("/");
    }
    client.send(all);
    for (int i = 0; i < 50; ++i) {
        EXPECT_THAT(client.answer(),
                    testing::EndsWith(i % 2 == 0 ? fmt::format("\r\n\r\n{:02}", i) : "\r\n\r\n1"));
    }
}

TEST(Listener, answers_who_has_ended_sending) {
    const Serving serving;
    Client client = serving.client();
    client.send(serving.get("/"));
    client.end_sending();
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    EXPECT_TRUE(client.is_closed());
}

TEST(Listener, closes_after_an_answer_where_that_is_asked) {
    const Serving serving;
    for (const std::string& request : {serving.get("/", "Connection: close\r\n"),
                                       fmt::format("GET / HTTP/1.0\r\nHost: {}\r\n\r\n", serving.host())}) {
        Client client = serving.client();
        client.send(request);
        EXPECT_THAT(client.answer(), HasSubstr("Connection: close\r\n"));
        EXPECT_TRUE(client.is_closed());
    }
}

TEST(Listener, sends_the_word_that_a_client_waits_for) {
    const Serving serving;
    Client client = serving.client();
    client.send(serving.post("/echo", "Content-Length: 5\r\nExpect: 100-continue\r\n"));
    EXPECT_EQ(client.answer(), "HTTP/1.1 100 Continue\r\n\r\n");
    client.send("hello");
    EXPECT_THAT(client.answer(), testing::EndsWith("\r\n\r\nhello"));
}

TEST(Listener, takes_a_body_in_chunks) {
    const Serving serving;
    Client client = serving.client();
    client.send(serving.post("/echo", "Transfer-Encoding: chunked\r\n") + "3\r\nabc\r\n2\r\nde\r\n0\r\n\r\n");
    EXPECT_THAT(client.answer(), testing::EndsWith("\r\n\r\nabcde"));
}

TEST(Listener, serves_others_while_one_is_slow) {
    Serving serving;
    Client slow = serving.client();
    slow.send(serving.get("/held"));
    ASSERT_TRUE(comes([&] { return serving.is_holding(1); }));
    Client quick = serving.client();
    quick.send(serving.get("/"));
    EXPECT_THAT(quick.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    serving.let_go();
    EXPECT_THAT(slow.answer(), testing::EndsWith("\"held\""));
}

TEST(Listener, a_large_answer_comes_whole) {
    const Serving serving;
    Client client = serving.client();
    client.send(serving.get("/large"));
    EXPECT_EQ(client.answer().size() & ~std::size_t{4095}, std::size_t{32 << 20});
    client.send(serving.get("/"));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
}

TEST(Listener, a_broken_handler_is_told_and_the_connection_goes_on) {
    const Serving serving;
    Client client = serving.client();
    client.send(serving.get("/broken"));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 500 "));
    client.send(serving.get("/"));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 "));
    EXPECT_EQ(serving.count(Seen::faults), 1U);
}

TEST(Listener, two_hundred_clients_are_served_at_once) {
    const Serving serving;
    std::vector<Client> clients;
    for (int i = 0; i < 200; ++i) {
        clients.push_back(serving.client());
    }
    for (int round = 0; round < 3; ++round) {
        for (auto& client : clients) {
            ASSERT_TRUE(client.send(serving.get("/")));
        }
        for (auto& client : clients) {
            ASSERT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
        }
    }
    EXPECT_EQ(serving.count(Seen::connections), 200U);
    EXPECT_EQ(serving.count(Seen::requests), 600U);
}

// ---------------------------------------------------------------- who asks badly

TEST(Listener, a_malformed_request_is_told_and_closed_while_others_are_served) {
    const Serving serving;
    Client good = serving.client();
    for (const char* text : {"hello\r\n\r\n", "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
                             "POST / HTTP/1.1\r\nContent-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n"}) {
        Client bad = serving.client();
        bad.send(text);
        EXPECT_THAT(bad.answer(), StartsWith("HTTP/1.1 400 Bad Request\r\n"));
        EXPECT_TRUE(bad.is_closed());
        good.send(serving.get("/"));
        EXPECT_THAT(good.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    }
    EXPECT_EQ(serving.count(Seen::malformed), 3U);
}

TEST(Listener, an_oversize_body_is_told_though_it_is_still_being_sent) {
    const Serving serving;
    for (const char* how : {"Content-Length: 4000000\r\n", "Transfer-Encoding: chunked\r\n"}) {
        Client client = serving.client();
        client.send(serving.post("/echo", how));
        client.send("3d0900\r\n" + std::string(4'000'000, 'a')); // 0x3d0900 is 4,000,000
        EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 413 Content Too Large\r\n"));
        client.end_sending();
        EXPECT_TRUE(client.is_closed());
    }
    EXPECT_EQ(serving.count(Seen::oversize), 2U);
}

TEST(Listener, an_oversize_head_is_told) {
    const Serving serving;
    Client client = serving.client();
    client.send("GET / HTTP/1.1\r\nX: " + std::string(40'000, 'a'));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 431 "));
    EXPECT_EQ(serving.count(Seen::oversize), 1U);
}

TEST(Listener, a_refused_requests_body_is_not_taken_for_the_next_request) {
    const Serving serving;
    Client client = serving.client();
    const std::string hidden = serving.get("/");
    client.send(serving.post("/nowhere", fmt::format("Content-Length: {}\r\n", hidden.size())) + hidden);
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 404 "));
    EXPECT_EQ(client.answer(), "");
    EXPECT_EQ(serving.count(Seen::requests), 1U);
}

TEST(Listener, a_head_in_drips_is_closed_while_others_are_served) {
    const Serving serving({.header_time = 300ms});
    std::vector<Client> slow;
    for (int i = 0; i < 20; ++i) {
        slow.push_back(serving.client());
        slow.back().send("GET / HTTP/1.1\r\nHost: ");
    }
    // A byte now and then keeps nobody: the time is the head's, not the byte's.
    const auto begun = std::chrono::steady_clock::now();
    for (int i = 0; i < 5; ++i) {
        for (auto& client : slow) {
            client.send("x");
        }
        Client good = serving.client();
        good.send(serving.get("/"));
        EXPECT_THAT(good.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
        std::this_thread::sleep_for(100ms);
    }
    for (auto& client : slow) {
        EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 408 "));
        client.end_sending();
        EXPECT_TRUE(client.is_closed());
    }
    EXPECT_EQ(serving.count(Seen::slow), 20U);
    EXPECT_GE(std::chrono::steady_clock::now() - begun, 300ms);
}

TEST(Listener, a_body_in_drips_is_closed) {
    const Serving serving({.body_time = 200ms});
    Client client = serving.client();
    client.send(serving.post("/echo", "Content-Length: 100\r\n") + "a");
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 408 "));
    EXPECT_EQ(serving.count(Seen::slow), 1U);
}

TEST(Listener, who_does_not_read_the_answer_is_closed) {
    const Serving serving({.write_time = 200ms, .slowest_bytes_per_second = 1 << 30});
    Client client = serving.client();
    client.send(serving.get("/large"));
    EXPECT_TRUE(comes([&] { return serving.count(Seen::slow) == 1; }));
}

TEST(Listener, an_idle_connection_is_closed_without_a_word) {
    const Serving serving({.idle_time = 200ms});
    Client client = serving.client();
    EXPECT_EQ(client.answer(), "");
    EXPECT_TRUE(client.is_closed());
    EXPECT_EQ(serving.count(Seen::slow), 0U);
}

TEST(Listener, one_connection_too_many_is_told_and_closed) {
    const Serving serving({.connections_per_address = 3});
    std::vector<Client> clients;
    for (int i = 0; i < 3; ++i) {
        clients.push_back(serving.client());
    }
    Client one_more = serving.client();
    EXPECT_THAT(one_more.answer(), StartsWith("HTTP/1.1 503 "));
    EXPECT_EQ(serving.count(Seen::turned_away), 1U);
    for (auto& client : clients) {
        client.send(serving.get("/"));
        EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    }
    clients.clear();
    EXPECT_TRUE(comes([&] {
        Client again = serving.client();
        again.send(serving.get("/"));
        return again.answer().starts_with("HTTP/1.1 200");
    })) << "places are free again";
}

TEST(Listener, who_asks_too_fast_is_told_to_wait) {
    const Serving serving({.requests_per_second_within = 0.001, .requests_at_once_within = 5});
    Client client = serving.client();
    for (int i = 0; i < 5; ++i) {
        client.send(serving.get("/"));
        EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    }
    client.send(serving.get("/"));
    const std::string answer = client.answer();
    EXPECT_THAT(answer, StartsWith("HTTP/1.1 429 "));
    EXPECT_THAT(answer, HasSubstr("Retry-After: 1\r\n"));
    EXPECT_EQ(serving.count(Seen::too_fast), 1U);
}

TEST(Listener, a_foreign_host_and_a_foreign_page_are_refused) {
    const Serving serving;
    Client client = serving.client();
    client.send("GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n");
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 421 "));
    client.send(fmt::format("POST /echo HTTP/1.1\r\nHost: {}\r\nOrigin: http://evil.example\r\n\r\n",
                            serving.host()));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 403 "));
}

// ---------------------------------------------------------------- changes

TEST(Changes, are_told_to_every_page_that_listens) {
    Serving serving;
    const std::string cookie = serving.cookie();
    std::vector<Client> pages;
    for (int i = 0; i < 3; ++i) {
        pages.push_back(serving.client());
        pages.back().send(serving.opening(cookie));
        const std::string answer = pages.back().answer();
        EXPECT_THAT(answer, StartsWith("HTTP/1.1 101 "));
        // RFC 6455, section 1.3: the answer to that key.
        EXPECT_THAT(answer, HasSubstr("Sec-WebSocket-Accept: s3pPLMBiTxaQ9kYGzzhZRbK+xOo=\r\n"));
    }
    EXPECT_EQ(serving.count(Seen::listeners), 3U);
    const std::vector<std::string> texts{R"({"changed":"T07"})", std::string(200, 'b'),
                                         std::string(70'000, 'c')};
    for (const auto& text : texts) {
        serving.listener().publish(text);
    }
    for (auto& page : pages) {
        for (const auto& text : texts) {
            const auto frame = page.frame();
            EXPECT_EQ(frame.kind, 1);
            EXPECT_TRUE(frame.text == text) << frame.text.substr(0, 100);
        }
        EXPECT_TRUE(page.send_frame(9, "still there?"));
        const auto pong = page.frame();
        EXPECT_EQ(pong.kind, 10);
        EXPECT_EQ(pong.text, "still there?");
    }
}

TEST(Changes, a_page_that_does_not_read_is_closed_and_the_others_get_all) {
    Serving serving({.waiting_changes = 8});
    const std::string cookie = serving.cookie();
    Client sleeps = serving.client();
    Client reads = serving.client();
    for (Client* page : {&sleeps, &reads}) {
        page->send(serving.opening(cookie));
        ASSERT_THAT(page->answer(), StartsWith("HTTP/1.1 101 "));
    }
    int sent = 0;
    while (serving.count(Seen::lagging) == 0 && sent < 1000) {
        serving.listener().publish(std::string(50'000, 'a') + std::to_string(sent));
        ASSERT_TRUE(reads.frame().text == std::string(50'000, 'a') + std::to_string(sent)) << sent;
        ++sent;
    }
    EXPECT_EQ(serving.count(Seen::lagging), 1U) << "after " << sent << " texts";
    EXPECT_TRUE(sleeps.is_closed());
}

TEST(Changes, need_a_session_and_end_with_it) {
    Serving serving;
    Client stranger = serving.client();
    stranger.send(serving.opening("none=1"));
    EXPECT_THAT(stranger.answer(), StartsWith("HTTP/1.1 401 "));

    const std::string cookie = serving.cookie();
    Client page = serving.client();
    page.send(serving.opening(cookie));
    ASSERT_THAT(page.answer(), StartsWith("HTTP/1.1 101 "));
    Client other = serving.client();
    other.send(serving.get("/api/session", "Cookie: " + cookie + "\r\n"));
    const std::string session = other.answer();
    const auto token = session.find("\"change_token\":\"") + 16;
    other.send(
        serving.post("/api/sign-out", fmt::format("Cookie: {}\r\nBackeddy-Change-Token: {}\r\n", cookie,
                                                  session.substr(token, session.find('"', token) - token))));
    ASSERT_THAT(other.answer(), StartsWith("HTTP/1.1 204 "));
    serving.listener().publish("\"a secret\"");
    const auto frame = page.frame();
    EXPECT_EQ(frame.kind, 8);
    EXPECT_THAT(frame.text, StartsWith("\x03\xf0")) << "1008, and not the text";
}

TEST(Changes, what_comes_with_the_opening_is_refused) {
    Serving serving;
    Client page = serving.client();
    page.send(serving.opening(serving.cookie()) + serving.get("/"));
    EXPECT_THAT(page.answer(), StartsWith("HTTP/1.1 400 "));
    EXPECT_EQ(serving.count(Seen::listeners), 0U);
}

TEST(Changes, a_page_that_speaks_is_closed) {
    Serving serving;
    Client page = serving.client();
    page.send(serving.opening(serving.cookie()));
    ASSERT_THAT(page.answer(), StartsWith("HTTP/1.1 101 "));
    page.send_frame(1, "hello");
    const auto frame = page.frame();
    EXPECT_TRUE(frame.kind == 8 || frame.kind == -1) << frame.kind;
    EXPECT_TRUE(page.is_closed());
}

TEST(Changes, a_page_says_goodbye_and_is_answered) {
    Serving serving;
    Client page = serving.client();
    page.send(serving.opening(serving.cookie()));
    ASSERT_THAT(page.answer(), StartsWith("HTTP/1.1 101 "));
    page.send_frame(8, "\x03\xe8"); // 1000: done
    EXPECT_EQ(page.frame().kind, 8);
    EXPECT_TRUE(page.is_closed());
}

// ---------------------------------------------------------------- stopping

TEST(Stopping, finishes_what_is_being_answered) {
    Serving serving;
    Client slow = serving.client();
    Client idle = serving.client();
    idle.send(serving.get("/"));
    EXPECT_THAT(idle.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    std::optional<Client> page(serving.client());
    page->send(serving.opening(serving.cookie()));
    ASSERT_THAT(page->answer(), StartsWith("HTTP/1.1 101 "));
    slow.send(serving.get("/held"));
    ASSERT_TRUE(comes([&] { return serving.is_holding(1); }));
    serving.listener().stop();
    EXPECT_TRUE(idle.is_closed());
    const auto goodbye = page->frame();
    EXPECT_EQ(goodbye.kind, 8);
    EXPECT_EQ(goodbye.text, "\x03\xe9") << "1001, going away";
    page->send_frame(8, "\x03\xe9");
    EXPECT_TRUE(page->is_closed());
    page.reset();
    EXPECT_FALSE(serving.client().is_connected()) << "nobody new comes in";
    serving.let_go();
    const std::string answer = slow.answer();
    EXPECT_THAT(answer, testing::EndsWith("\"held\""));
    EXPECT_THAT(answer, HasSubstr("Connection: close\r\n"));
    const auto begun = std::chrono::steady_clock::now();
    serving.stop();
    EXPECT_LT(std::chrono::steady_clock::now() - begun, 5s) << "nobody is waited for who is gone";
}

TEST(Stopping, leaves_a_handler_that_still_computes) {
    Serving serving;
    Client slow = serving.client();
    slow.send(serving.get("/held"));
    ASSERT_TRUE(comes([&] { return serving.is_holding(1); }));
    const auto begun = std::chrono::steady_clock::now();
    serving.stop();
    EXPECT_LT(std::chrono::steady_clock::now() - begun, 3s) << "it is held until it is let go";
    EXPECT_FALSE(serving.is_answered());
    EXPECT_TRUE(slow.is_closed());
}

TEST(Stopping, says_that_all_was_answered) {
    Serving serving;
    Client client = serving.client();
    client.send(serving.get("/"));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    serving.stop();
    EXPECT_TRUE(serving.is_answered());
}

TEST(Stopping, does_not_wait_for_ever) {
    Serving serving({.stop_time = 200ms});
    Client page = serving.client();
    page.send(serving.opening(serving.cookie()));
    ASSERT_THAT(page.answer(), StartsWith("HTTP/1.1 101 "));
    Client half = serving.client();
    half.send(serving.post("/echo", "Content-Length: 10\r\n") + "half");
    ASSERT_TRUE(comes([&] { return serving.count(Seen::requests) == 3; }));
    const auto begun = std::chrono::steady_clock::now();
    serving.stop(); // the page never says goodbye, the body never comes
    EXPECT_LT(std::chrono::steady_clock::now() - begun, 5s);
}

TEST(Stopping, a_signal_stops_it_too) {
    Serving serving;
    Client client = serving.client();
    client.send(serving.get("/"));
    EXPECT_THAT(client.answer(), StartsWith("HTTP/1.1 200 OK\r\n"));
    ::kill(::getpid(), SIGTERM);
    EXPECT_TRUE(client.is_closed());
    EXPECT_TRUE(comes([&] { return !serving.client().is_connected(); }));
}

// ---------------------------------------------------------------- opening

TEST(Listening, a_port_that_is_taken_is_said) {
    const auto first = Listener::open({"127.0.0.1"}, 0);
    const auto second = Listener::open({"127.0.0.1"}, first->port());
    ASSERT_FALSE(second);
    EXPECT_THAT(second.error().text(),
                HasSubstr(fmt::format("port {} of 127.0.0.1 is taken by another program", first->port())));
    EXPECT_THAT(second.error().remedy, HasSubstr("--port"));
}

TEST(Listening, an_address_that_is_none_or_not_ours_is_said) {
    EXPECT_THAT(Listener::open({"boat.local"}, 0).error().text(),
                HasSubstr("\"boat.local\" is no address in digits"));
    // 192.0.2.0/24 is for documentation (RFC 5737): no machine has it.
    EXPECT_THAT(Listener::open({"192.0.2.7"}, 0).error().text(),
                HasSubstr("192.0.2.7 is no address of this machine"));
}

TEST(Listening, nothing_said_means_this_machine_alone) {
    auto listener = Listener::open({}, 0);
    ASSERT_TRUE(listener);
    EXPECT_TRUE(Client(listener->port()).is_connected());
}

/// Whether this machine speaks IPv6 within itself.
bool has_ipv6() {
    return Listener::open({"::1"}, 0).has_value();
}

TEST(Listening, of_all_addresses_both_kinds_are_answered_where_the_machine_has_both) {
    auto listener = Listener::open({"0.0.0.0", "::"}, 0);
    ASSERT_TRUE(listener) << listener.error().text();
    EXPECT_TRUE(Client(listener->port()).is_connected());
    if (has_ipv6()) {
        EXPECT_TRUE(Client::by_ipv6(listener->port()).is_connected());
    }
}

TEST(Listening, of_ipv6_alone_is_of_no_ipv4) {
    if (!has_ipv6()) {
        GTEST_SKIP() << "this machine has no IPv6";
    }
    auto listener = Listener::open({"::"}, 0);
    ASSERT_TRUE(listener) << listener.error().text();
    EXPECT_FALSE(Client(listener->port()).is_connected());
    EXPECT_TRUE(Client::by_ipv6(listener->port()).is_connected());
}

TEST(Listening, over_ipv6_host_and_origin_are_held_to_as_over_ipv4) {
    if (!has_ipv6()) {
        GTEST_SKIP() << "this machine has no IPv6";
    }
    auto listener = Listener::open({}, 0).value();
    People people("/nowhere/people.toml");
    Gate gate({.port = listener.port()}, people);
    const Service service(gate, Routes::of({{.pattern = "/",
                                             .right = Right::anyone,
                                             .handler = [](const Request&) { return json_response("1"); }}})
                                    .value());
    std::thread thread([&] { EXPECT_TRUE(listener.serve(service)); });
    const auto status = [&](const std::string& host) {
        Client client = Client::by_ipv6(listener.port());
        client.send(fmt::format("GET / HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", host));
        return client.answer().substr(9, 3);
    };
    EXPECT_EQ(status(fmt::format("[::1]:{}", listener.port())), "200");
    EXPECT_EQ(status(fmt::format("localhost:{}", listener.port())), "200");
    EXPECT_EQ(status(fmt::format("voe.example:{}", listener.port())), "421");
    EXPECT_EQ(status(fmt::format("[2001:db8::1]:{}", listener.port())), "421");
    listener.stop();
    thread.join();
}

} // namespace
