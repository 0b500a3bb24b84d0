// The gate of a program that speaks TLS and knows paired phones, without a socket.

#include <algorithm>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "base/temporary_folder.hpp"
#include "server/certificate.hpp"
#include "server/own_routes.hpp"
#include "server/pairing_routes.hpp"
#include "server/service.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::server;
using nlohmann::json;
using std::chrono::minutes;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

constexpr const char* name = "backeddy.local";
constexpr const char* host = "backeddy.local:8340";

std::string text_of(const Response& response, const std::string& field) {
    const auto found = std::ranges::find(response.fields, field, &Field::first);
    return found == response.fields.end() ? std::string() : found->second;
}

/// One start of the program: what is in memory is new, the folder is as it was left.
struct Start {
    Start(const std::filesystem::path& folder, const Instant& now)
        : people(folder / "people.toml"), pairings(folder / "paired.toml", [&now] { return now; }),
          gate({.port = 8340, .secure_name = name}, people, &pairings), service(gate, routes()) {}

    Routes routes() {
        auto all = own_routes(gate, "1.2.3");
        const Road road{.name = name,
                        .origin = "https://backeddy.local:8340",
                        .authority_der = "der",
                        .trust_address = [] { return std::string("http://192.0.2.7:8340/trust"); }};
        for (auto more : {pairing_routes(gate, pairings, road, [this] { ++told; }), trust_routes(road)}) {
            std::ranges::move(more, std::back_inserter(all));
        }
        const auto done = [](const Request& request) {
            return json_response('"' + request.asker.name + '"');
        };
        all.push_back({.pattern = "/", .right = Right::anyone, .handler = done});
        all.push_back({.pattern = "/read", .right = Right::read, .handler = done});
        all.push_back({.method = Method::post, .pattern = "/log", .right = Right::log, .handler = done});
        all.push_back({.method = Method::post, .pattern = "/edit", .right = Right::edit, .handler = done});
        return Routes::of(std::move(all)).value();
    }
    Response ask(const Head& head, std::string body, Moment now) {
        Admission admission = service.admit(head, now);
        if (admission.refusal) {
            return *admission.refusal;
        }
        admission.request.body = std::move(body);
        return admission.route->pattern == "/api/pair" && now != usual_now
                   ? gate.pair(admission.request, now) // at a time of the test's own
                   : Service::answer(*admission.route, admission.request);
    }

    static constexpr Moment usual_now{std::chrono::hours(1000)};
    int told = 0;
    People people;
    Pairings pairings;
    Gate gate;
    Service service;
};

class SecureGate : public testing::Test {
  protected:
    void start_again() { start_.emplace(folder_.path(), wall_); }

    /// As a phone asks over TLS.
    static Head phone(std::string method, std::string target, std::vector<Field> more = {}) {
        Head head{.method = std::move(method),
                  .target = std::move(target),
                  .fields = {{"host", host}, {"origin", std::string("https://") + host}},
                  .peer = "192.0.2.50",
                  .local = "192.0.2.7",
                  .is_secure = true};
        head.fields.insert(head.fields.end(), more.begin(), more.end());
        return head;
    }
    /// As anybody asks without.
    static Head plain(std::string method, std::string target,
                      const std::string& its_host = "192.0.2.7:8340") {
        Head head = phone(std::move(method), std::move(target));
        head.is_secure = false;
        head.fields = {{"host", its_host}, {"origin", "http://" + its_host}};
        return head;
    }
    /// As the laptop's own browser does.
    static Head near(std::string method, std::string target, std::vector<Field> more = {}) {
        Head head = phone(std::move(method), std::move(target), std::move(more));
        head.is_secure = false;
        head.peer = head.local = "127.0.0.1";
        head.is_within_machine = true;
        head.fields[0].second = "127.0.0.1:8340";
        head.fields[1].second = "http://127.0.0.1:8340";
        return head;
    }
    Response ask(const Head& head, const std::string& body = {}) { return start_->ask(head, body, now_); }

    /// What a signed-in browser sends along: its cookie and change token.
    static std::vector<Field> signs_of(const Response& opened) {
        const std::string cookie = text_of(opened, "Set-Cookie");
        return {{"cookie", cookie.substr(0, cookie.find(';'))},
                {std::string(change_token_field), json::parse(opened.body.view()).at("change_token")}};
    }
    std::vector<Field> scientist() {
        const Response opened = ask(near("GET", "/?token=" + start_->gate.start_token()));
        const std::string cookie = text_of(opened, "Set-Cookie");
        const Field own{"cookie", cookie.substr(0, cookie.find(';'))};
        const Response session = ask(near("GET", "/api/session", {own}));
        return {own, {std::string(change_token_field), json::parse(session.body.view()).at("change_token")}};
    }
    json offer(const std::string& role = "crew") {
        const Response answer = ask(near("POST", "/api/pairing", scientist()),
                                    json{{"author", "Runa"}, {"role", role}, {"label", "A"}}.dump());
        EXPECT_EQ(answer.status, 200) << answer.body.view();
        return json::parse(answer.body.view());
    }
    Response pair(const std::string& code) {
        return ask(phone("POST", "/api/pair"), json{{"code", code}}.dump());
    }
    json pairing() { return json::parse(ask(near("GET", "/api/pairing", scientist())).body.view()); }

    TemporaryFolder folder_ = TemporaryFolder::make("secure_gate").value();
    Instant wall_ = *parse_iso("2026-06-14T21:05:03Z");
    Moment now_ = Start::usual_now;
    std::optional<Start> start_{std::in_place, folder_.path(), wall_};
};

// ---------------------------------------------------------------- plain HTTP from elsewhere

TEST_F(SecureGate, plain_http_from_elsewhere_is_shown_the_way_and_nothing_else) {
    for (const std::string its_host : {"192.0.2.7:8340", host}) {
        const Response way = ask(plain("GET", "/fish/F%2001?a=b", its_host));
        EXPECT_EQ(way.status, 308);
        EXPECT_EQ(text_of(way, "Location"), "https://backeddy.local:8340/fish/F%2001?a=b");
        EXPECT_EQ(ask(plain("GET", "/api/session", its_host)).status, 308);
        EXPECT_EQ(ask(plain("GET", "/trusted", its_host)).status, 308);
        EXPECT_EQ(ask(plain("POST", "/api/sign-in", its_host)).status, 403);
        EXPECT_EQ(ask(plain("POST", "/api/pair", its_host)).status, 403);
        EXPECT_EQ(ask(plain("GET", "/trust", its_host)).status, 200);
        EXPECT_EQ(ask(plain("GET", "/trust/authority.crt", its_host)).status, 200);
        EXPECT_EQ(ask(plain("GET", "/trust/plain.css", its_host)).status, 200);
        EXPECT_EQ(ask(plain("POST", "/trust", its_host)).status, 405);
    }
    EXPECT_EQ(ask(plain("GET", "/", "evil.example:8340")).status, 421);
    Head opening = plain("GET", "/api/changes");
    opening.wants_websocket = true;
    EXPECT_EQ(ask(opening).status, 403);
}

TEST_F(SecureGate, plain_http_within_the_machine_stays_as_it_is) {
    EXPECT_EQ(ask(near("GET", "/")).status, 200);
    EXPECT_EQ(ask(near("GET", "/read", scientist())).status, 200);
}

// ---------------------------------------------------------------- over TLS

TEST_F(SecureGate, over_tls_the_name_alone_is_served) {
    EXPECT_EQ(ask(phone("GET", "/")).status, 200);
    for (const char* other : {"192.0.2.7:8340", "localhost:8340", "backeddy.local", "other.local:8340"}) {
        Head head = phone("GET", "/");
        head.fields[0].second = other;
        EXPECT_EQ(ask(head).status, 421) << other;
    }
    Head foreign = phone("POST", "/api/pair");
    foreign.fields[1].second = std::string("http://") + host;
    EXPECT_EQ(ask(foreign, "{}").status, 403) << "a page over plain HTTP is not ours";
}

TEST_F(SecureGate, cookies_are_secure_over_tls_and_worth_nothing_without) {
    const Response answer = pair(offer().at("code"));
    ASSERT_EQ(answer.status, 200) << answer.body.view();
    const std::string cookie = text_of(answer, "Set-Cookie");
    EXPECT_THAT(cookie, StartsWith("__Host-backeddy_8340="));
    for (const char* each :
         {"; Path=/", "; Secure", "; HttpOnly", "; SameSite=Strict", "; Max-Age=34560000"}) {
        EXPECT_THAT(cookie, HasSubstr(each));
    }
    const auto signs = signs_of(answer);
    EXPECT_EQ(ask(phone("GET", "/read", signs)).status, 200);
    EXPECT_EQ(ask(near("GET", "/read", signs)).status, 401);
}

// ---------------------------------------------------------------- pairing

TEST_F(SecureGate, a_phone_is_paired_once_by_a_code) {
    const json offered = offer();
    EXPECT_EQ(offered.at("address"),
              "https://backeddy.local:8340/deck#pair=" + offered.at("code").get<std::string>());
    EXPECT_THAT(offered.at("qr_svg").get<std::string>(), StartsWith("<svg "));
    EXPECT_EQ(offered.at("expires_at"), "2026-06-14T21:20:03Z");
    const Response answer = pair(offered.at("code"));
    ASSERT_EQ(answer.status, 200);
    const json session = json::parse(answer.body.view());
    EXPECT_EQ(session.at("name"), "Runa");
    EXPECT_EQ(session.at("role"), "crew");
    EXPECT_EQ(start_->told, 1);
    EXPECT_EQ(pair(offered.at("code")).status, 400) << "used once";

    const auto signs = signs_of(answer);
    EXPECT_EQ(json::parse(ask(phone("GET", "/api/session", signs)).body.view()), session);
    EXPECT_EQ(ask(phone("POST", "/log", signs)).body.view(), "\"Runa\"");
    EXPECT_EQ(ask(phone("POST", "/log", {signs[0]})).status, 403) << "without the change token";
    EXPECT_EQ(ask(phone("POST", "/edit", signs)).status, 403) << "crew edits nothing";
    EXPECT_EQ(ask(phone("GET", "/api/pairing", signs)).status, 403);
    EXPECT_EQ(ask(phone("POST", "/api/pairing", signs), "{}").status, 403) << "and pairs nobody";
}

TEST_F(SecureGate, a_role_is_what_the_scientist_chose) {
    const auto viewer = signs_of(pair(offer("viewer").at("code")));
    EXPECT_EQ(ask(phone("GET", "/read", viewer)).status, 200);
    EXPECT_EQ(ask(phone("POST", "/log", viewer)).status, 403);
    const auto own = signs_of(pair(offer("scientist").at("code")));
    EXPECT_EQ(ask(phone("POST", "/edit", own)).status, 200);
    EXPECT_EQ(ask(phone("GET", "/api/pairing", own)).status, 200);
}

TEST_F(SecureGate, the_most_that_a_name_may_counts_its_paired_phones) {
    EXPECT_FALSE(start_->gate.role_of_name("Runa"));
    ASSERT_EQ(pair(offer("crew").at("code")).status, 200);
    EXPECT_EQ(start_->gate.role_of_name("runa"), Role::crew);
    ASSERT_EQ(pair(offer("scientist").at("code")).status, 200);
    EXPECT_EQ(start_->gate.role_of_name("Runa"), Role::scientist);
}

TEST_F(SecureGate, a_code_runs_out) {
    const json offered = offer();
    wall_ = wall_ + Duration::minutes(15);
    EXPECT_EQ(pair(offered.at("code")).status, 400);
}

TEST_F(SecureGate, guesses_have_to_wait_and_change_nothing) {
    const json offered = offer();
    now_ += minutes(1);
    EXPECT_EQ(pair("AAAA-AAAA-AAAA").status, 400);
    EXPECT_EQ(pair("AAAA-AAAA-AAAB").status, 400);
    int waits = 0;
    for (int i = 0; i < 50; ++i) {
        const Response answer = pair("AAAA-AAAA-AAAC");
        waits += answer.status == 429 ? 1 : 0;
        now_ += std::chrono::milliseconds(100);
    }
    EXPECT_GE(waits, 45) << "in five seconds";
    EXPECT_EQ(pair(offered.at("code")).status, 429) << "the right one has to wait too";
    now_ += minutes(16);
    EXPECT_EQ(pair(offered.at("code")).status, 200);
}

TEST_F(SecureGate, a_body_that_is_none_is_refused) {
    for (const char* body : {"", "{}", "[]", R"({"code":1})", "\xff"}) {
        EXPECT_EQ(ask(phone("POST", "/api/pair"), body).status, 400) << body;
        EXPECT_EQ(ask(near("POST", "/api/pairing", scientist()), body).status, 400) << body;
    }
    const json with_quotes{{"author", "a\"b"}, {"role", "crew"}, {"label", "A"}};
    EXPECT_EQ(ask(near("POST", "/api/pairing", scientist()), with_quotes.dump()).status, 422);
    const json other_role{{"author", "a"}, {"role", "owner"}, {"label", "A"}};
    EXPECT_EQ(ask(near("POST", "/api/pairing", scientist()), other_role.dump()).status, 400);
}

TEST_F(SecureGate, a_paired_phone_is_told_its_mark_and_others_none) {
    const Response paired = pair(offer().at("code"));
    EXPECT_EQ(json::parse(paired.body.view()).at("label"), "A");
    const Response session = ask(phone("GET", "/api/session", signs_of(paired)));
    EXPECT_EQ(json::parse(session.body.view()).at("label"), "A");
    EXPECT_FALSE(json::parse(ask(near("GET", "/api/session", scientist())).body.view()).contains("label"));
}

TEST_F(SecureGate, a_pairing_survives_a_new_start_with_its_change_token) {
    const auto signs = signs_of(pair(offer().at("code")));
    start_again();
    EXPECT_EQ(ask(phone("POST", "/log", signs)).status, 200)
        << "what a phone held while it was away is still sent";
    now_ += session_longest;
    EXPECT_EQ(ask(phone("POST", "/log", signs)).status, 200) << "no session's end ends it";
}

TEST_F(SecureGate, ended_it_is_out_at_once) {
    const Response answer = pair(offer().at("code"));
    const auto signs = signs_of(answer);
    const std::string session =
        start_->service.admit(phone("GET", "/read", signs), now_).request.asker.session;
    EXPECT_TRUE(start_->service.holds(session, now_));
    const std::string id = pairing().at("devices").at(0).at("id");
    EXPECT_EQ(ask(near("DELETE", "/api/pairing/" + id, scientist())).status, 204);
    EXPECT_EQ(start_->told, 2) << "so that its open line is looked at";
    EXPECT_FALSE(start_->service.holds(session, now_));
    EXPECT_EQ(ask(phone("GET", "/read", signs)).status, 401);
    EXPECT_EQ(ask(near("DELETE", "/api/pairing/" + id, scientist())).status, 404);
    start_again();
    EXPECT_EQ(ask(phone("GET", "/read", signs)).status, 401);
}

TEST_F(SecureGate, who_signs_out_on_a_phone_ends_its_pairing) {
    const auto signs = signs_of(pair(offer().at("code")));
    const Response out = ask(phone("POST", "/api/sign-out", signs));
    EXPECT_EQ(out.status, 204);
    EXPECT_THAT(text_of(out, "Set-Cookie"), HasSubstr("__Host-backeddy_8340=; Path=/; Max-Age=0; Secure"));
    EXPECT_EQ(ask(phone("GET", "/read", signs)).status, 401);
    EXPECT_TRUE(pairing().at("devices").empty());
}

TEST_F(SecureGate, says_what_there_is) {
    pair(offer().at("code"));
    const json all = pairing();
    EXPECT_EQ(all.at("is_on"), true);
    EXPECT_EQ(all.at("name"), name);
    EXPECT_EQ(all.at("deck_address"), "https://backeddy.local:8340/deck");
    EXPECT_EQ(all.at("trust_address"), "http://192.0.2.7:8340/trust");
    // SHA-256 of "der".
    EXPECT_THAT(all.at("fingerprint").get<std::string>(),
                testing::MatchesRegex("([0-9A-F]{2}:){31}[0-9A-F]{2}"));
    const json device = all.at("devices").at(0);
    EXPECT_EQ(device.at("label"), "A");
    EXPECT_EQ(device.at("author"), "Runa");
    EXPECT_EQ(device.at("role"), "crew");
    EXPECT_EQ(device.at("paired_at"), "2026-06-14T21:05:03Z");
    EXPECT_FALSE(device.contains("secret_hash"));
}

TEST_F(SecureGate, without_the_road_it_says_so) {
    const auto routes =
        Routes::of(pairing_routes(start_->gate, start_->pairings, std::nullopt, [] {})).value();
    const auto ask_routes = [&](Method method, std::string body) {
        const auto found = routes.find(method, {"api", "pairing"});
        return std::get<Routes::Match>(found).route->handler({.method = method, .body = std::move(body)});
    };
    const json all = json::parse(ask_routes(Method::get, "").body.view());
    EXPECT_EQ(all.at("is_on"), false);
    EXPECT_EQ(all.at("trust_address"), nullptr);
    EXPECT_EQ(ask_routes(Method::post, R"({"author":"a","role":"crew","label":"A"})").status, 409);
}

// ---------------------------------------------------------------- pages for people

TEST_F(SecureGate, the_page_of_trust_says_what_to_compare) {
    const Response page = ask(plain("GET", "/trust"));
    const std::string text(page.body.view());
    EXPECT_THAT(text, HasSubstr(fingerprint("der")));
    EXPECT_THAT(text, HasSubstr(short_fingerprint("der")));
    EXPECT_THAT(text, HasSubstr("https://backeddy.local:8340/"));
    EXPECT_THAT(text, Not(HasSubstr("{{")));
    EXPECT_THAT(text, Not(HasSubstr("<script")));
    EXPECT_THAT(text, Not(HasSubstr("style=")));
    const Response authority = ask(plain("GET", "/trust/authority.crt"));
    EXPECT_EQ(authority.content_type, "application/x-x509-ca-cert");
    EXPECT_EQ(authority.body.view(), "der");
}

TEST_F(SecureGate, a_browser_that_finds_nothing_gets_a_page_with_a_way_back) {
    const Field browser{"accept", "text/html,application/xhtml+xml,*/*;q=0.8"};
    const Response page = ask(near("GET", "/nothing/here", {browser}));
    EXPECT_EQ(page.status, 404);
    EXPECT_EQ(page.content_type, "text/html; charset=utf-8");
    EXPECT_THAT(std::string(page.body.view()), HasSubstr("There is nothing at this address"));
    EXPECT_THAT(std::string(page.body.view()), HasSubstr("<a class=\"act\" href=\"/\">"));
    EXPECT_EQ(ask(near("GET", "/api/nothing", {browser})).content_type, "application/problem+json");
    EXPECT_EQ(ask(near("GET", "/nothing")).content_type, "application/problem+json");
    Head foreign = near("GET", "/", {browser});
    foreign.fields[0].second = "<script>:8340";
    EXPECT_THAT(std::string(ask(foreign).body.view()), Not(HasSubstr("<script>")));
}

} // namespace
