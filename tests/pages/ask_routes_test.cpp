// Questions tried over the routes: nothing is written, one at a time, and the brief's text with one more.

#include <atomic>
#include <thread>

#include <gmock/gmock.h>

#include "base/file.hpp"
#include "pages/asked_routes.hpp"
#include "pages/detail/one_try.hpp"
#include "pages/edit_routes.hpp"

namespace backeddy::pages {
namespace {

using nlohmann::json;
using server::Method;
using server::Right;
using server::Role;
using testing::HasSubstr;

class AskRoutes : public AskedRoutes {
  protected:
    AskRoutes() : AskedRoutes("ask_routes_") {}
    void SetUp() override {
        auto files = test::small_study();
        files["study.toml"] += "\n[[question]]\nname = \"kept\"\noutcome = \"mass_g\"\ncompare = "
                               "\"rig\"\nmargin = 0.5\nbetter = "
                               "\"higher\"\n";
        open(files, edit_routes);
        ASSERT_TRUE(until(app::DeskPhase::ready, 1));
    }
    [[nodiscard]] std::string brief_now() const {
        return *read_file(folder_.path() / "study.toml", 1U << 20U);
    }
};

TEST_F(AskRoutes, tell_what_can_be_asked_and_what_is) {
    const auto all = ask_json("/api/questions/columns");
    EXPECT_EQ(all.at("kinds").at(0).at("noun"), "fish");
    EXPECT_EQ(all.at("questions"), json::parse(R"([{"name":"kept","outcome":"mass_g","compare":"rig",)"
                                               R"("margin":0.5,"better":"higher"}])"));
    EXPECT_FALSE(all.at("columns").empty());
}

TEST_F(AskRoutes, answer_a_viewer_and_write_nothing) {
    const auto before = brief_now();
    const auto answer =
        ask("/api/findings/try?page=p", Method::post,
            R"x({"name":"q","outcome":"peak_after_capture","compare":"rig","adjust_for":["log(mass_g)"]})x",
            Role::viewer);
    ASSERT_EQ(answer.status, 200) << answer.body.view();
    const auto tried = json::parse(answer.body.view());
    EXPECT_EQ(tried.at("finding").at("outcome_title"), "peak after capture");
    EXPECT_NE(tried.at("finding").at("unanswered"), "") << "one fish compares with nobody";
    EXPECT_THAT(tried.at("text").get<std::string>(), HasSubstr("adjust_for = [\"log(mass_g)\"]\n"));
    EXPECT_EQ(brief_now(), before);
    EXPECT_TRUE(ask_json("/api/findings/try").is_null()) << "nothing goes on";
}

TEST_F(AskRoutes, tell_faults_at_their_keys) {
    const auto tried = ask_json("/api/findings/try", Method::post,
                                R"({"name":"q","outcome":"mass","compare":"rig","margin":"much"})");
    std::vector<std::string> keys;
    for (const auto& complaint : tried.at("complaints")) {
        keys.push_back(complaint.at("column"));
        EXPECT_TRUE(complaint.at("line").is_null());
    }
    EXPECT_THAT(keys, testing::IsSupersetOf({"outcome", "margin"}));
    EXPECT_TRUE(tried.at("finding").is_null());
    for (const char* body : {"", "[]", R"({"name":{"a":1}})", R"({"order":["a",1]})"}) {
        EXPECT_EQ(ask("/api/findings/try", Method::post, body).status, 400) << body;
    }
}

TEST_F(AskRoutes, give_the_briefs_text_with_a_question_that_can_be_saved) {
    const auto before = ask_json("/api/brief");
    const json wish{{"brief", before.at("text")},
                    {"remark", "on 1 May 2026 by A. Tester"},
                    {"question", {{"name", "new"}, {"outcome", "resting"}, {"compare", "rig"}}}};
    const auto text = ask_json("/api/brief/question", Method::post, wish.dump()).at("text");
    EXPECT_EQ(brief_now(), before.at("text").get<std::string>()) << "it is only looked at";
    const auto saved =
        ask_json("/api/brief", Method::put, json{{"text", text}, {"was_sha256", before.at("sha256")}}.dump());
    EXPECT_THAT(saved.at("text").get<std::string>(), HasSubstr("# Asked on the pages on 1 May 2026"));
    ASSERT_TRUE(until(app::DeskPhase::ready, 2));
    EXPECT_EQ(ask_json("/api/questions/columns").at("questions").size(), 2U);

    const auto without =
        ask_json("/api/brief/question", Method::post, json{{"brief", text}, {"name", "new"}}.dump());
    EXPECT_EQ(without.at("text"), before.at("text"));
    EXPECT_EQ(
        ask("/api/brief/question", Method::post, json{{"brief", text}, {"name", "nobody"}}.dump()).status,
        404);
    EXPECT_EQ(ask("/api/brief/question", Method::post, json{{"brief", text}}.dump()).status, 400);
}

TEST_F(AskRoutes, need_the_right_that_fits) {
    for (const auto& route : routes_->all()) {
        if (route.pattern == "/api/findings/try" || route.pattern == "/api/questions/columns") {
            EXPECT_EQ(route.right, Right::read) << route.pattern;
        }
        if (route.pattern == "/api/brief/question") {
            EXPECT_EQ(route.right, Right::edit);
        }
    }
}

TEST(OneTry, another_persons_has_to_wait_and_ones_own_last_one_ends) {
    detail::OneTry one;
    ASSERT_TRUE(one.begin("a"));
    std::atomic<bool> has_ended = false;
    std::jthread first([&] {
        detail::OneTry::Turn turn(one, one.token());
        turn.tell(3, 400);
        while (!turn.stop().stop_requested()) {
            std::this_thread::yield();
        }
        has_ended = true;
    });
    EXPECT_FALSE(one.begin("b")) << "one at a time";
    EXPECT_FALSE(one.far("b")->is_own);
    EXPECT_TRUE(one.far("a")->is_own);
    EXPECT_FALSE(has_ended);
    ASSERT_TRUE(one.begin("a"));
    EXPECT_TRUE(has_ended);
    EXPECT_FALSE(one.token().stop_requested()) << "the new one goes on";
    {
        const detail::OneTry::Turn turn(one, one.token());
        one.stop("b");
        EXPECT_FALSE(turn.stop().stop_requested()) << "nobody ends another person's";
        one.stop("a");
        EXPECT_TRUE(turn.stop().stop_requested());
    }
    EXPECT_FALSE(one.far("a"));
    EXPECT_TRUE(one.begin("b"));
}

} // namespace
} // namespace backeddy::pages
