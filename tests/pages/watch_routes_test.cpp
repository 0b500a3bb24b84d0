#include "pages/watch_routes.hpp"

#include <chrono>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "base/temporary_folder.hpp"
#include "live/post.hpp"
#include "server/target.hpp"

namespace backeddy::pages {
namespace {

using namespace std::chrono_literals;
using nlohmann::json;
using testing::HasSubstr;

/// A watch of a few words, on a thread of its own.
class FakeWatch {
  public:
    explicit FakeWatch(const std::filesystem::path& socket) {
        auto post = live::Post::open(loop_, socket, [](std::string_view line, live::Post::Answer answer) {
            const json asked = json::parse(line);
            if (asked.contains("course")) {
                answer(asked["course"] == "c1" ? R"({"from":[1]})" : R"({"done":false,"words":"no"})");
            } else {
                answer(json{{"done", true}, {"words", asked.dump()}}.dump());
            }
        });
        EXPECT_TRUE(post);
        post_ = std::move(*post);
        thread_ = std::thread([this] { loop_.run(); });
    }
    ~FakeWatch() {
        loop_.post([this] {
            post_.reset();
            loop_.stop();
        });
        thread_.join();
    }
    void tell(const std::string& line) {
        loop_.post([this, line] { post_->tell(line); });
    }

  private:
    instruments::Loop loop_;
    std::unique_ptr<live::Post> post_;
    std::thread thread_;
};

class WatchRoutes : public testing::Test {
  protected:
    TemporaryFolder folder_ = *TemporaryFolder::make("watch_routes");
    std::filesystem::path socket_ = folder_.path() / "w.sock";
    std::mutex mutex_;
    std::vector<std::string> published_;
    WatchView view_{socket_, [this](const std::string& text) {
                        const std::lock_guard lock(mutex_);
                        published_.push_back(text);
                    }};
    server::Routes routes_ = *server::Routes::of(watch_routes(&view_));

    server::Response ask(const std::string& address, server::Method method = server::Method::get,
                         std::string body = {}) const {
        const auto target = server::parse_target(address);
        auto found = routes_.find(method, target->path);
        auto& match = std::get<server::Routes::Match>(found);
        return match.route->handler({.method = method,
                                     .path = target->path,
                                     .query = target->query,
                                     .named = match.named,
                                     .content_type = "application/json",
                                     .if_match = {},
                                     .body = std::move(body),
                                     .asker = {.name = "B. Storm", .role = server::Role::crew}});
    }

    /// Until the view has heard something of the watch.
    [[nodiscard]] bool seen(FakeWatch& watch) const {
        const auto end = std::chrono::steady_clock::now() + 30s;
        while (!view_.now() && std::chrono::steady_clock::now() < end) {
            watch.tell(R"({"at":"now"})");
            std::this_thread::sleep_for(5ms);
        }
        return view_.now().has_value();
    }
};

TEST_F(WatchRoutes, say_that_no_watch_is_there) {
    EXPECT_EQ(ask("/api/watch").body.view(), R"({"watch":null})");
    for (const char* address : {"/api/watch/handover", "/api/watch/course/c1"}) {
        EXPECT_EQ(ask(address).status, 404) << address;
    }
    const auto answer = ask("/api/watch/hand", server::Method::post, R"({"chamber":"c1","act":"resume"})");
    EXPECT_EQ(answer.status, 404);
    EXPECT_THAT(std::string(answer.body.view()), HasSubstr("backeddy watch DIR"));
    EXPECT_EQ(watch_routes(nullptr)[0].handler({}).body.view(), R"({"watch":null})");
}

TEST_F(WatchRoutes, hand_on_what_the_watch_says_and_that_it_is_gone) {
    {
        FakeWatch watch(socket_);
        ASSERT_TRUE(seen(watch));
        EXPECT_EQ(ask("/api/watch").body.view(), R"({"watch":{"at":"now"}})");
        EXPECT_EQ(ask("/api/watch/course/c1").body.view(), R"({"from":[1]})");
        EXPECT_EQ(ask("/api/watch/course/c9").status, 404);
    }
    const auto end = std::chrono::steady_clock::now() + 30s;
    while (view_.now() && std::chrono::steady_clock::now() < end) {
        std::this_thread::sleep_for(5ms);
    }
    EXPECT_EQ(ask("/api/watch").body.view(), R"({"watch":null})");
    const std::lock_guard lock(mutex_);
    EXPECT_EQ(published_.back(), R"({"watch":null})");
    EXPECT_EQ(published_[published_.size() - 2], R"({"watch":{"at":"now"}})");
}

TEST_F(WatchRoutes, act_in_the_name_of_who_asks_whatever_the_body_says) {
    FakeWatch watch(socket_);
    ASSERT_TRUE(seen(watch));
    const auto answer = ask("/api/watch/hand", server::Method::post,
                            R"({"chamber":"c1","act":"hold","minutes":5,"by":"somebody else"})");
    EXPECT_EQ(answer.status, 200);
    const json handed = json::parse(json::parse(answer.body.view())["words"].get<std::string>());
    EXPECT_EQ(handed, (json{{"chamber", "c1"}, {"act", "hold"}, {"minutes", 5}, {"by", "B. Storm"}}));
    for (const char* body : {"", "hold", "[]", "{}", R"({"handover":true})"}) {
        EXPECT_EQ(ask("/api/watch/hand", server::Method::post, body).status, 400) << body;
    }
}

TEST_F(WatchRoutes, need_the_right_to_log_for_a_hand_alone) {
    for (const auto& route : watch_routes(&view_)) {
        EXPECT_EQ(route.right,
                  route.method == server::Method::post ? server::Right::log : server::Right::read);
    }
}

} // namespace
} // namespace backeddy::pages
