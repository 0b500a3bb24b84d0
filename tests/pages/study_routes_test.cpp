// What the pages ask of an open study, as requests and answers without a socket.

#include "pages/study_routes.hpp"

#include <algorithm>

#include <gmock/gmock.h>
#define ZLIB_CONST // it only reads what it unpacks
#include <zlib.h>

#include "app/run.hpp"
#include "app/why.hpp"
#include "pages/asked_routes.hpp"
#include "pages/deck_routes.hpp"
#include "pages/edit_routes.hpp"
#include "pages/page_files.hpp"
#include "pages/watch_routes.hpp"
#include "server/gate.hpp"
#include "server/own_routes.hpp"
#include "server/pairing_routes.hpp"

namespace backeddy::pages {
namespace {

using nlohmann::json;
using server::Gate;
using server::Method;
using server::Policy;
using server::Response;
using server::Right;
using server::Role;
using server::Route;
using testing::Contains;
using testing::HasSubstr;

class StudyRoutes : public AskedRoutes {
  protected:
    StudyRoutes() : AskedRoutes("routes_") {}
    void open(const test::StudyFiles& files = test::small_study()) {
        AskedRoutes::open(files, [](app::Desk& desk) {
            auto all = study_routes(desk);
            std::ranges::move(page_routes(), std::back_inserter(all));
            return all;
        });
    }
    [[nodiscard]] Response write(const std::string& entries, Role role = Role::scientist) const {
        return ask("/api/entries", Method::post, R"({"entries":[)" + entries + "]}", role);
    }
};

const std::string exclusion =
    R"({"act":"add","content":{"table":"decisions","row":{"stay":"s2","act":"exclude"}},)"
    R"("reason":"the tube leaked"})";

TEST_F(StudyRoutes, serve_what_a_run_writes) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const auto run = app::answer_study(folder_.path(), false, {});
    const app::ResultSet set(*run->study->run);
    for (const auto& file : set.all(Threads{})) {
        const auto answer = ask("/api/files/" + file.name);
        EXPECT_EQ(answer.status, 200);
        EXPECT_EQ(answer.body.view(), file.bytes) << file.name;
        EXPECT_EQ(answer.policy == Policy::report, file.name == "report.html");
        EXPECT_FALSE(answer.etag.empty());
    }
    EXPECT_EQ(ask("/api/results").body.view(), ask("/api/files/results.json").body.view());
    EXPECT_EQ(ask("/api/results").etag, '"' + ask_json("/api/state").at("revision").get<std::string>() + '"');
    EXPECT_EQ(ask("/api/files/study.toml").status, 404);
    EXPECT_EQ(ask("/api/files/run.log").status, 404);
    std::vector<std::string> names;
    for (const auto& file : ask_json("/api/files")) {
        names.push_back(file.at("name"));
        EXPECT_EQ(file.at("bytes"), ask("/api/files/" + names.back()).body.view().size());
    }
    EXPECT_THAT(names, Contains("uptake_by_fish.csv"));
}

// What gzip makes of the answer's packed body.
std::string unpacked(std::string_view bytes) {
    z_stream stream{};
    EXPECT_EQ(inflateInit2(&stream, 15 + 16), Z_OK);
    stream.next_in = reinterpret_cast<const Bytef*>(bytes.data());
    stream.avail_in = static_cast<uInt>(bytes.size());
    std::string out;
    int state = Z_OK;
    while (state == Z_OK) {
        std::string block(1 << 16, '\0');
        stream.next_out = reinterpret_cast<Bytef*>(block.data());
        stream.avail_out = static_cast<uInt>(block.size());
        state = inflate(&stream, Z_NO_FLUSH);
        out.append(block, 0, block.size() - stream.avail_out);
    }
    inflateEnd(&stream);
    EXPECT_EQ(state, Z_STREAM_END);
    return out;
}

TEST_F(StudyRoutes, results_go_packed_to_another_device_and_as_they_are_within_the_machine) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    for (const std::string path : {"/api/results", "/api/files/report.html"}) {
        for (const std::string peer : {"127.0.0.1", "::1", ""}) {
            EXPECT_FALSE(ask_from(peer, path).gzip) << path << " from " << peer;
        }
        const auto answer = ask_from("192.168.7.4", path);
        ASSERT_TRUE(answer.gzip) << path;
        EXPECT_LT(answer.gzip->view().size(), answer.body.view().size() / 2);
        EXPECT_TRUE(unpacked(answer.gzip->view()) == answer.body.view()) << path;
        EXPECT_EQ(ask_from("192.168.7.5", path).gzip->view().data(), answer.gzip->view().data())
            << "packed once";
    }
    const auto before = unpacked(ask_from("192.168.7.4", "/api/results").gzip->view());
    ASSERT_EQ(write(exclusion).status, 200);
    ASSERT_TRUE(until(app::DeskPhase::ready, 2));
    const auto after = ask_from("192.168.7.4", "/api/results");
    EXPECT_TRUE(unpacked(after.gzip->view()) == after.body.view());
    EXPECT_FALSE(after.body.view() == before);
}

TEST_F(StudyRoutes, a_file_of_an_earlier_answer_stays_whole_while_it_is_sent) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const auto sent = ask("/api/results").body;
    const std::string before(sent.view());
    EXPECT_EQ(write(exclusion).status, 200);
    ASSERT_TRUE(until(app::DeskPhase::ready, 2));
    EXPECT_EQ(sent.view(), before);
    EXPECT_NE(ask("/api/results").body.view(), before);
}

TEST_F(StudyRoutes, tell_where_the_work_stands) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const auto state = ask_json("/api/state");
    EXPECT_EQ(state.at("phase"), "ready");
    EXPECT_EQ(state.at("answered_at"), "2026-06-20T12:00:00Z");
    EXPECT_EQ(state.at("what"), "");
}

TEST_F(StudyRoutes, tell_what_stops_a_study_and_that_there_is_no_answer_yet) {
    auto files = test::small_study();
    files["fish.csv"] = test::with(files["fish.csv"], "500", "heavy <b>");
    open(files);
    ASSERT_TRUE(until(app::DeskPhase::stopped, 0));
    const auto state = ask_json("/api/state");
    EXPECT_EQ(state.at("revision"), "");
    EXPECT_TRUE(state.at("answered_at").is_null());
    const auto stopping = std::ranges::find_if(
        state.at("complaints"), [](const json& each) { return each.at("severity") == "stops"; });
    ASSERT_NE(stopping, state.at("complaints").end());
    const auto& complaint = *stopping;
    EXPECT_EQ(complaint.at("file"), "fish.csv");
    EXPECT_EQ(complaint.at("line"), 2);
    EXPECT_EQ(complaint.at("column"), "mass_g");
    EXPECT_THAT(complaint.at("text").get<std::string>(), HasSubstr("heavy <b>"));
    for (const char* address : {"/api/results", "/api/files/report.html", "/api/why/T01/rest",
                                "/api/stays/s1/trace?from=2026-06-14T08:05:00Z&to=2026-06-14T08:06:00Z"}) {
        EXPECT_EQ(ask(address).status, 404) << address;
        EXPECT_THAT(std::string(ask(address).body.view()), HasSubstr("answer yet")) << address;
    }
    EXPECT_EQ(ask_json("/api/files"), json::array());
}

TEST_F(StudyRoutes, cut_a_stretch_out_of_a_stay) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const auto trace = ask_json("/api/stays/s1/trace?from=2026-06-14T08:10:00Z&to=2026-06-14T08:11:00Z");
    EXPECT_EQ(trace.at("rows"), 31); // a reading every 2 s
    EXPECT_EQ(trace.at("at_s").size(), 31U);
    EXPECT_EQ(trace.at("oxygen_mg_per_l").size(), 31U);
    // An offset's plus sign has to be escaped in an address; a plain one would be a space.
    EXPECT_EQ(ask_json("/api/stays/s1/trace?from=2026-06-14T09:10:00%2B01:00&to=2026-06-14T09:11:00%2B01:00"),
              trace);
    const std::pair<const char*, int> bad[] = {
        {"/api/stays/s9/trace?from=2026-06-14T08:10:00Z&to=2026-06-14T08:11:00Z", 404},
        {"/api/stays/s1/trace?from=2026-06-14T08:10:00Z", 400},
        {"/api/stays/s1/trace?from=2026-06-14&to=2026-06-14T08:11:00Z", 400},
        {"/api/stays/s1/trace?from=2026-06-14T08:12:00Z&to=2026-06-14T08:11:00Z", 400},
        {"/api/stays/s1/trace?from=2020-06-14T08:10:00Z&to=2020-06-14T08:11:00Z", 404}};
    for (const auto& [address, status] : bad) {
        EXPECT_EQ(ask(address).status, status) << address;
    }
}

TEST_F(StudyRoutes, give_the_road_back_of_a_number) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const auto words = ask_json("/api/why");
    ASSERT_FALSE(words.empty());
    EXPECT_EQ(words, json(app::why_metrics()));
    const auto road = ask_json("/api/why/T01/" + words.at(0).get<std::string>());
    EXPECT_THAT(road.at("text").get<std::string>(), HasSubstr("raw/boat.csv lines"));
    EXPECT_EQ(ask("/api/why/T09/" + words.at(0).get<std::string>()).status, 404);
    EXPECT_EQ(ask("/api/why/T01/nonsense").status, 404);
}

TEST_F(StudyRoutes, write_into_the_journal_and_undo) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const std::string before(ask("/api/files/uptake_by_fish.csv").body.view());
    const auto written = write(exclusion);
    ASSERT_EQ(written.status, 200) << written.body.view();
    const std::string id = json::parse(written.body.view()).at("ids").at(0);
    ASSERT_TRUE(until(app::DeskPhase::ready, 2));
    EXPECT_NE(ask("/api/files/uptake_by_fish.csv").body.view(), before);
    ASSERT_EQ(write(R"({"act":"undo","content":{"entry":")" + id + R"("},"reason":"a slip"})").status, 200);
    ASSERT_TRUE(until(app::DeskPhase::ready, 3));
    EXPECT_EQ(ask("/api/files/uptake_by_fish.csv").body.view(), before);

    const auto journal = ask_json("/api/entries");
    ASSERT_EQ(journal.at("entries").size(), 2U);
    const auto& entry = journal.at("entries").at(0);
    EXPECT_EQ(entry.at("id"), id);
    EXPECT_EQ(entry.at("author"), "A. Tester");
    EXPECT_EQ(entry.at("reason"), "the tube leaked");
    EXPECT_EQ(entry.at("content").at("row").at("stay"), "s2");
    EXPECT_EQ(entry.at("is_undone"), true);
    EXPECT_EQ(journal.at("complaints").size(), 0U);
}

TEST_F(StudyRoutes, refuse_what_does_not_fit_and_say_why) {
    open();
    ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    const auto wrong =
        write(R"({"act":"add","content":{"table":"decisions","row":{"stay":"s9","act":"exclude"}}})");
    EXPECT_EQ(wrong.status, 409);
    EXPECT_THAT(std::string(wrong.body.view()), HasSubstr("s9"));
    EXPECT_EQ(write(exclusion, Role::crew).status, 409); // crew logs; it does not judge
    for (const char* body : {"", "[]", "{}", R"({"entries":[]})", R"({"entries":[{}]})",
                             R"({"entries":[{"act":"add","content":"text"}]})",
                             R"({"entries":[{"act":"add","content":{},"reason":5}]})"}) {
        EXPECT_EQ(ask("/api/entries", Method::post, body).status, 400) << body;
    }
    EXPECT_EQ(ask_json("/api/entries").at("entries").size(), 0U);
}

TEST_F(StudyRoutes, carry_the_pages) {
    open();
    for (const char* address : {"/", "/fish", "/fish/F01", "/traces/S003/4", "/findings/rig_peak", "/report",
                                "/set-up/tables/fish", "/deck"}) {
        const auto page = ask(address);
        EXPECT_EQ(page.status, 200) << address;
        EXPECT_THAT(std::string(page.body.view()), HasSubstr("<script")) << address;
    }
    EXPECT_EQ(ask("/app.js").content_type, "text/javascript; charset=utf-8");
    EXPECT_EQ(ask("/deck-worker.js").content_type, "text/javascript; charset=utf-8");
    EXPECT_EQ(ask("/deck.webmanifest").content_type, "application/manifest+json");
    EXPECT_EQ(ask("/nowhere").status, 404);
    for (const auto& route : page_routes()) {
        EXPECT_EQ(route.right, Right::anyone) << route.pattern;
    }
}

TEST_F(StudyRoutes, tell_where_the_journal_s_copy_stands) {
    const auto body = [](const app::JournalCopy* copy) {
        return json::parse(copy_routes(copy).front().handler({}).body.view());
    };
    EXPECT_TRUE(body(nullptr).is_null());
    const test::ScratchFolder stick("copy_route");
    const app::JournalCopy copy(folder_.path(), stick.path() / "away", [](const store::CopyState&) {});
    EXPECT_EQ(body(&copy).at("folder"), (stick.path() / "away").string());
    EXPECT_EQ(body(&copy).at("behind"), 0);
}

TEST_F(StudyRoutes, stand_in_the_document_of_the_api_as_do_the_servers_own_and_no_others) {
    open();
    server::People people(folder_.path() / "people.toml");
    Gate gate({.port = 1}, people);
    auto all = server::own_routes(gate, "");
    std::ranges::move(study_routes(*desk_), std::back_inserter(all));
    std::ranges::move(edit_routes(*desk_), std::back_inserter(all));
    std::ranges::move(deck_routes(*desk_, [](std::string_view) { return std::nullopt; }),
                      std::back_inserter(all));
    std::ranges::move(copy_routes(nullptr), std::back_inserter(all));
    std::ranges::move(watch_routes(nullptr), std::back_inserter(all));
    server::Pairings pairings(folder_.path() / "paired.toml", [] { return Instant(); });
    std::ranges::move(server::pairing_routes(gate, pairings, std::nullopt, [] {}), std::back_inserter(all));
    const auto document = json::parse(server::openapi_document());
    EXPECT_EQ(document.at("openapi"), "3.1.0");
    std::vector<std::string> written, served;
    for (const auto& [path, methods] : document.at("paths").items()) {
        for (const auto& [method, operation] : methods.items()) {
            std::string upper = method;
            std::ranges::transform(upper, upper.begin(), [](unsigned char c) { return std::toupper(c); });
            written.push_back(upper + ' ' + path);
            const bool for_anyone = operation.contains("security") && operation.at("security").empty();
            const auto route = std::ranges::find_if(all, [&](const Route& each) {
                return each.pattern == path && server::method_word(each.method) == upper;
            });
            if (route != all.end()) {
                EXPECT_EQ(for_anyone, route->right == Right::anyone) << path;
            }
        }
    }
    for (const auto& route : all) {
        served.push_back(std::string(server::method_word(route.method)) + ' ' + route.pattern);
        EXPECT_TRUE(server::only_asks(route.method) || route.right != Right::read ||
                    route.pattern == "/api/sign-out" || route.pattern == "/api/findings/try")
            << route.pattern;
    }
    EXPECT_THAT(written, testing::UnorderedElementsAreArray(served));
}

} // namespace
} // namespace backeddy::pages
