#include "server/gate.hpp"

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <functional>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <unistd.h>

#include "server/own_routes.hpp"
#include "server/service.hpp"

namespace {

namespace fs = std::filesystem;
using namespace backeddy::server;
using std::chrono::hours;
using std::chrono::seconds;
using testing::Contains;
using testing::HasSubstr;
using testing::Key;
using testing::Not;

constexpr const char* passphrase = "salt herring tea kettle";

std::string text_of(const Response& response, const std::string& field) {
    const auto found = std::ranges::find(response.fields, field, &Field::first);
    return found == response.fields.end() ? std::string() : found->second;
}

/// Of an answer's Set-Cookie, what a browser sends back.
std::string cookie_back(const Response& response) {
    const std::string cookie = text_of(response, "Set-Cookie");
    return cookie.substr(0, cookie.find(';'));
}

/// A gate at port 8340 with three people, and routes that need each right.
class GateTest : public testing::Test {
  protected:
    static void SetUpTestSuite() {
        kept_file =
            fs::temp_directory_path() / ("backeddy-gate-" + std::to_string(::getpid())) / "people.toml";
        const std::string verifier = make_verifier(passphrase).value();
        ASSERT_TRUE(save_people(kept_file, {{"Vidar", Role::viewer, verifier},
                                            {"Runa", Role::crew, verifier},
                                            {"Siv", Role::scientist, verifier}}));
    }
    static void TearDownTestSuite() { fs::remove_all(kept_file.parent_path()); }

    GateTest()
        : people_(kept_file), gate_({.port = 8340, .names = {"boat.local"}}, people_),
          service_(gate_, routes()) {}

    Routes routes() {
        auto all = own_routes(gate_, "1.2.3");
        const auto done = [](const Request&) { return json_response("\"done\""); };
        all.push_back({.pattern = "/", .right = Right::anyone, .handler = done});
        all.push_back({.pattern = "/read", .right = Right::read, .handler = done});
        all.push_back({.method = Method::post, .pattern = "/log", .right = Right::log, .handler = done});
        all.push_back({.method = Method::put, .pattern = "/edit", .right = Right::edit, .handler = done});
        return Routes::of(std::move(all)).value();
    }

    /// As a browser on this machine asks.
    static Head near(std::string method, std::string target, std::vector<Field> more = {}) {
        Head head{.method = std::move(method),
                  .target = std::move(target),
                  .fields = {{"host", "127.0.0.1:8340"}, {"origin", "http://127.0.0.1:8340"}},
                  .peer = "127.0.0.1",
                  .local = "127.0.0.1",
                  .is_within_machine = true};
        head.fields.insert(head.fields.end(), more.begin(), more.end());
        return head;
    }
    /// As a phone does.
    static Head far(std::string method, std::string target, std::vector<Field> more = {}) {
        Head head = near(std::move(method), std::move(target), std::move(more));
        head.peer = "192.0.2.50";
        head.local = "192.0.2.7";
        head.is_within_machine = false;
        head.fields[0].second = "192.0.2.7:8340";
        head.fields[1].second = "http://192.0.2.7:8340";
        return head;
    }

    Response ask(const Head& head, std::string body = {}) {
        Admission admission = service_.admit(head, now_);
        if (admission.refusal) {
            return *admission.refusal;
        }
        admission.request.body = std::move(body);
        // Handlers look at the clock themselves; the session is made at the test's time.
        return admission.route->pattern == "/api/sign-in"
                   ? gate_.sign_in(admission.request, now_)
                   : Service::answer(*admission.route, admission.request);
    }
    Response sign_in(const std::string& name, const std::string& words) {
        return ask(far("POST", "/api/sign-in"), nlohmann::json{{"name", name}, {"passphrase", words}}.dump());
    }
    Response open_here() { return ask(near("GET", "/?token=" + gate_.start_token())); }
    static std::string change_token(const Response& signed_in) {
        return nlohmann::json::parse(signed_in.body.view()).at("change_token");
    }

    static inline fs::path kept_file;
    Moment now_{hours(1000)};
    People people_;
    Gate gate_;
    Service service_;
};

// ---------------------------------------------------------------- Host

TEST_F(GateTest, only_names_served_are_answered) {
    const auto status = [&](Head head, const std::string& host) {
        head.fields[0].second = host;
        return ask(head).status;
    };
    for (const char* ours : {"127.0.0.1:8340", "localhost:8340", "LOCALHOST:8340", "boat.local:8340"}) {
        EXPECT_EQ(status(near("GET", "/"), ours), 200) << ours;
    }
    for (const char* not_ours :
         {"evil.example", "evil.example:8340", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8341",
          "192.0.2.7:8340", "localhost", "localhost.evil.example:8340", "127.0.0.1:8340.evil.example",
          "boat.local", "x@127.0.0.1:8340", "[::1]:8340", "", "0.0.0.0:8340", "127.0.0.1:08340"}) {
        EXPECT_EQ(status(near("GET", "/"), not_ours), 421) << not_ours;
    }
    EXPECT_EQ(status(far("GET", "/"), "192.0.2.7:8340"), 200) << "the very address that was connected to";
    EXPECT_EQ(status(far("GET", "/"), "localhost:8340"), 421)
        << "means another machine to who asks from there";
    EXPECT_EQ(status(far("GET", "/"), "boat.local:8340"), 200);
}

TEST_F(GateTest, an_ipv6_host_stands_in_brackets) {
    Head head = near("GET", "/");
    head.local = head.peer = "::1";
    head.fields[0].second = "[::1]:8340";
    EXPECT_EQ(ask(head).status, 200);
    head.fields[0].second = "::1:8340";
    EXPECT_EQ(ask(head).status, 421);
}

TEST_F(GateTest, no_host_or_two_is_no_request) {
    Head head = near("GET", "/", {{"host", "127.0.0.1:8340"}});
    EXPECT_EQ(ask(head).status, 400);
    head.fields.clear();
    EXPECT_EQ(ask(head).status, 400);
}

// ---------------------------------------------------------------- Origin

TEST_F(GateTest, a_change_has_to_come_from_a_page_of_ours) {
    const auto status = [&](const std::string& origin) {
        Head head = near("POST", "/api/sign-out");
        head.fields[1].second = origin;
        return ask(head).status;
    };
    for (const char* foreign : {"null", "http://evil.example", "https://127.0.0.1:8340", "http://127.0.0.1",
                                "http://127.0.0.1:8341", "http://localhost:8340",
                                "http://127.0.0.1:8340.evil.example", "http://127.0.0.1:8340/", ""}) {
        EXPECT_EQ(status(foreign), 403) << foreign;
    }
    EXPECT_EQ(status("http://127.0.0.1:8340"), 401) << "past the origin's door, not signed in";
    Head without = near("POST", "/api/sign-out");
    without.fields.pop_back();
    EXPECT_EQ(ask(without).status, 403);
    Head two = near("POST", "/api/sign-out", {{"origin", "http://127.0.0.1:8340"}});
    EXPECT_EQ(ask(two).status, 403);
}

TEST_F(GateTest, a_question_needs_no_origin_but_a_websocket_does) {
    const std::string cookie = cookie_back(open_here());
    Head head = near("GET", "/api/changes",
                     {{"cookie", cookie},
                      {"sec-websocket-version", "13"},
                      {"sec-websocket-key", "dGhlIHNhbXBsZSBub25jZQ=="}});
    head.wants_websocket = true;
    EXPECT_TRUE(service_.admit(head, now_).opens_changes);
    head.fields[1].second = "http://evil.example";
    EXPECT_EQ(ask(head).status, 403);
    head.wants_websocket = false;
    EXPECT_EQ(ask(head).status, 426) << "as a plain question it is told how to ask";
}

TEST_F(GateTest, a_websocket_needs_a_session_its_version_and_its_key) {
    Head head = near("GET", "/api/changes",
                     {{"sec-websocket-version", "13"}, {"sec-websocket-key", "dGhlIHNhbXBsZSBub25jZQ=="}});
    head.wants_websocket = true;
    EXPECT_EQ(ask(head).status, 401);
    head.fields.emplace_back("cookie", cookie_back(open_here()));
    head.fields[2].second = "8";
    EXPECT_EQ(ask(head).status, 426);
    head.fields[2].second = "13";
    head.fields[3].second = "short";
    EXPECT_EQ(ask(head).status, 400);
}

// ---------------------------------------------------------------- the start's token

TEST_F(GateTest, the_printed_address_opens_a_session_and_loses_its_token) {
    EXPECT_EQ(ask(near("GET", "/read")).status, 401);
    const Response opened = ask(near("GET", "/read?a=1&token=" + gate_.start_token() + "&b=2"));
    EXPECT_EQ(opened.status, 303);
    EXPECT_EQ(text_of(opened, "Location"), "/read?a=1&b=2");
    const std::string cookie = text_of(opened, "Set-Cookie");
    EXPECT_THAT(cookie, testing::StartsWith("backeddy_8340="));
    EXPECT_THAT(cookie, HasSubstr("; HttpOnly"));
    EXPECT_THAT(cookie, HasSubstr("; SameSite=Strict"));
    EXPECT_THAT(cookie, HasSubstr("; Path=/;"));
    EXPECT_THAT(cookie, Not(HasSubstr(gate_.start_token())));
    EXPECT_EQ(ask(near("GET", "/read", {{"cookie", cookie_back(opened)}})).status, 200);
    EXPECT_EQ(ask(near("GET", "/read", {{"cookie", "other=1; " + cookie_back(opened) + "; more=2"}})).status,
              200);
}

TEST_F(GateTest, a_wrong_token_opens_nothing) {
    EXPECT_EQ(gate_.start_token().size(), 43U) << "256 bits";
    std::string nearly = gate_.start_token();
    nearly.back() = nearly.back() == 'A' ? 'B' : 'A';
    for (const std::string& wrong : {std::string(), std::string("x"), nearly, gate_.start_token() + "A"}) {
        const Response answer = ask(near("GET", "/?token=" + wrong));
        EXPECT_EQ(answer.status, 403) << wrong;
        EXPECT_THAT(answer.fields, Not(Contains(Key("Set-Cookie"))));
    }
    People people(kept_file);
    const Gate another({.port = 8340}, people);
    EXPECT_NE(another.start_token(), gate_.start_token());
}

TEST_F(GateTest, the_token_and_its_session_hold_on_the_machine_alone) {
    EXPECT_EQ(ask(far("GET", "/?token=" + gate_.start_token())).status, 403);
    const std::string cookie = cookie_back(open_here());
    EXPECT_EQ(ask(near("GET", "/read", {{"cookie", cookie}})).status, 200);
    EXPECT_EQ(ask(far("GET", "/read", {{"cookie", cookie}})).status, 401);
}

TEST_F(GateTest, a_guessed_cookie_is_nobody) {
    const std::string cookie = cookie_back(open_here());
    for (const std::string& wrong :
         {std::string("backeddy_8340="), std::string("backeddy_8340=x"), cookie + "x",
          "backeddy_8341" + cookie.substr(13), "xbackeddy_8340" + cookie.substr(13)}) {
        EXPECT_EQ(ask(near("GET", "/read", {{"cookie", wrong}})).status, 401) << wrong;
    }
}

// ---------------------------------------------------------------- people and their roles

TEST_F(GateTest, each_role_does_what_it_may) {
    struct Row {
        const char* name;
        int read, log, edit;
    };
    for (const Row& row :
         {Row{"Vidar", 200, 403, 403}, Row{"Runa", 200, 200, 403}, Row{"Siv", 200, 200, 200}}) {
        const Response in = sign_in(row.name, passphrase);
        ASSERT_EQ(in.status, 200) << row.name;
        const std::vector<Field> with{{"cookie", cookie_back(in)},
                                      {"backeddy-change-token", change_token(in)}};
        EXPECT_EQ(ask(far("GET", "/read", with)).status, row.read) << row.name;
        EXPECT_EQ(ask(far("POST", "/log", with)).status, row.log) << row.name;
        EXPECT_EQ(ask(far("PUT", "/edit", with)).status, row.edit) << row.name;
    }
    EXPECT_EQ(ask(far("GET", "/read")).status, 401);
    EXPECT_EQ(ask(far("PUT", "/edit")).status, 401);
    EXPECT_EQ(ask(far("GET", "/api/about")).status, 200) << "for anyone";
}

TEST_F(GateTest, a_change_needs_the_sessions_own_change_token) {
    const Response in = sign_in("Siv", passphrase);
    const Response other = sign_in("Siv", passphrase);
    const Field cookie{"cookie", cookie_back(in)};
    EXPECT_EQ(ask(far("PUT", "/edit", {cookie})).status, 403);
    EXPECT_EQ(ask(far("PUT", "/edit", {cookie, {"backeddy-change-token", ""}})).status, 403);
    EXPECT_EQ(ask(far("PUT", "/edit", {cookie, {"backeddy-change-token", change_token(other)}})).status, 403);
    EXPECT_EQ(ask(far("PUT", "/edit", {cookie, {"backeddy-change-token", change_token(in)}})).status, 200);
    const Response session = ask(far("GET", "/api/session", {cookie}));
    EXPECT_EQ(session.body.view(), in.body.view()) << "a page that is loaded again learns it there";
}

TEST_F(GateTest, signing_out_ends_the_session) {
    const Response in = sign_in("Runa", passphrase);
    const std::vector<Field> with{{"cookie", cookie_back(in)}, {"backeddy-change-token", change_token(in)}};
    const auto key = service_.admit(far("GET", "/read", with), now_).request.asker.session;
    EXPECT_TRUE(gate_.holds(key, now_));
    const Response out = ask(far("POST", "/api/sign-out", with));
    EXPECT_EQ(out.status, 204);
    EXPECT_THAT(text_of(out, "Set-Cookie"), HasSubstr("Max-Age=0"));
    EXPECT_EQ(ask(far("GET", "/read", with)).status, 401);
    EXPECT_FALSE(gate_.holds(key, now_));
}

TEST_F(GateTest, a_session_ends_when_idle_and_in_any_case_after_a_week) {
    const Field cookie{"cookie", cookie_back(sign_in("Runa", passphrase))};
    now_ += session_idle - seconds(1);
    EXPECT_EQ(ask(far("GET", "/read", {cookie})).status, 200);
    now_ += session_idle;
    EXPECT_EQ(ask(far("GET", "/read", {cookie})).status, 401);

    const Field kept{"cookie", cookie_back(sign_in("Runa", passphrase))};
    for (hours passed{0}; passed < session_longest; passed += hours(6)) {
        ASSERT_EQ(ask(far("GET", "/read", {kept})).status, 200) << passed.count() << " h";
        now_ += hours(6);
    }
    EXPECT_EQ(ask(far("GET", "/read", {kept})).status, 401);
}

TEST_F(GateTest, wrong_passphrases_are_refused_alike_and_have_to_wait) {
    const Response wrong = sign_in("Runa", "salt herring tea pot");
    const Response nobody = sign_in("Nobody", "salt herring tea pot");
    EXPECT_EQ(wrong.status, 401);
    EXPECT_EQ(wrong.body.view(), nobody.body.view()) << "who guesses does not learn who there is";
    EXPECT_EQ(sign_in("Nobody", "password").status, 401)
        << "what stands in for a person's verifier opens nothing";
    const Response waits = sign_in("Runa", passphrase);
    EXPECT_EQ(waits.status, 429) << "the third wrong one from this address";
    EXPECT_EQ(text_of(waits, "Retry-After"), "1");
    now_ += seconds(1);
    EXPECT_EQ(sign_in("Runa", passphrase).status, 200);
}

TEST_F(GateTest, a_name_is_guarded_against_guesses_from_many_addresses) {
    for (int i = 0; i < 3; ++i) {
        Head head = far("POST", "/api/sign-in");
        head.peer = "192.0.2." + std::to_string(100 + i);
        EXPECT_EQ(ask(head, R"({"name":"Siv","passphrase":"a wrong passphrase"})").status, 401);
    }
    Head head = far("POST", "/api/sign-in");
    head.peer = "192.0.2.200";
    EXPECT_EQ(ask(head, R"({"name":"Siv","passphrase":"a wrong passphrase"})").status, 429);
    EXPECT_EQ(ask(head, R"({"name":"Runa","passphrase":"a wrong passphrase"})").status, 401);
}

TEST_F(GateTest, what_is_no_sign_in_is_said) {
    for (const char* body :
         {"", "x", "[]", "{}", R"({"name":"Runa"})", R"({"name":1,"passphrase":"x"})",
          R"({"name":null,"passphrase":null})", "{\"name\":\"\xff\",\"passphrase\":\"x\"}"}) {
        EXPECT_EQ(ask(far("POST", "/api/sign-in"), body).status, 400) << body;
    }
}

TEST_F(GateTest, a_person_taken_out_or_changed_is_out) {
    const fs::path file = kept_file.parent_path() / "changing.toml";
    const std::string verifier = make_verifier(passphrase).value();
    const auto status_after = [&](const std::vector<Person>& people) {
        EXPECT_TRUE(save_people(file, {{"Runa", Role::crew, verifier}}));
        People changing(file);
        Gate gate({.port = 8340}, changing);
        const Response in =
            gate.sign_in({.body = nlohmann::json{{"name", "Runa"}, {"passphrase", passphrase}}.dump()}, now_);
        const Head head = far("GET", "/read", {{"cookie", cookie_back(in)}});
        EXPECT_TRUE(gate.who(head, now_).role);
        EXPECT_TRUE(save_people(file, people));
        ::usleep(1'050'000); // the file is looked at once a second
        return gate.who(head, now_).role;
    };
    EXPECT_FALSE(status_after({}));
    EXPECT_FALSE(status_after({{"Runa", Role::viewer, verifier}})) << "the role is another";
    EXPECT_FALSE(status_after({{"Runa", Role::crew, make_verifier(passphrase).value()}}))
        << "the passphrase is another";
    EXPECT_TRUE(status_after({{"Runa", Role::crew, verifier}, {"Siv", Role::crew, verifier}}));
}

// ---------------------------------------------------------------- the service

TEST_F(GateTest, refuses_other_methods_and_hostile_addresses) {
    EXPECT_EQ(ask(near("OPTIONS", "/")).status, 501);
    EXPECT_EQ(ask(near("TRACE", "/")).status, 501);
    EXPECT_EQ(ask(near("get", "/")).status, 501);
    EXPECT_EQ(ask(near("GET", "/../etc/passwd")).status, 400);
    EXPECT_EQ(ask(near("DELETE", "/read")).status, 405);
    EXPECT_EQ(ask(near("GET", "/nowhere")).status, 404);
}

TEST_F(GateTest, a_handler_that_throws_is_a_fault_of_ours) {
    const Route route{.pattern = "/",
                      .handler = [](const Request&) -> Response { throw std::runtime_error("broken"); }};
    const Response answer = Service::answer(route, {});
    EXPECT_EQ(answer.status, 500);
    EXPECT_THAT(std::string(answer.body.view()), HasSubstr("a fault of the program: broken"));
}

// ---------------------------------------------------------------- the API's document

TEST_F(GateTest, every_reference_of_the_document_leads_somewhere) {
    const auto document = nlohmann::json::parse(openapi_document());
    std::size_t references = 0;
    const std::function<void(const nlohmann::json&)> look = [&](const nlohmann::json& node) {
        if (node.is_object() && node.contains("$ref")) {
            const std::string reference = node.at("$ref");
            ++references;
            EXPECT_TRUE(document.contains(nlohmann::json::json_pointer(reference.substr(1)))) << reference;
        }
        if (node.is_structured()) {
            std::ranges::for_each(node, look);
        }
    };
    look(document);
    EXPECT_GT(references, 5U);
}

TEST_F(GateTest, says_what_it_is) {
    EXPECT_EQ(ask(near("GET", "/api/about")).body.view(), R"({"program":"backeddy","version":"1.2.3"})");
    const Response document = ask(near("GET", "/api/openapi.json"));
    EXPECT_EQ(document.body.view(), openapi_document());
    ASSERT_TRUE(document.gzip);
    EXPECT_TRUE(document.gzip->view().starts_with("\x1f\x8b")) << "RFC 1952";
    EXPECT_LT(document.gzip->view().size(), document.body.view().size());
}

} // namespace
