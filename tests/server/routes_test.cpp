#include "server/routes.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace {

using namespace backeddy::server;
using testing::Contains;
using testing::ElementsAre;
using testing::Pair;

Route route(Method method, std::string pattern) {
    return {.method = method, .pattern = pattern, .handler = [pattern](const Request&) {
                return json_response(pattern);
            }};
}

Routes some_routes() {
    return Routes::of({route(Method::get, "/"), route(Method::get, "/api/stays"),
                       route(Method::post, "/api/stays"), route(Method::get, "/api/stays/{stay}"),
                       route(Method::get, "/api/stays/doubtful"), route(Method::remove, "/api/stays/{stay}"),
                       route(Method::get, "/api/stays/{stay}/spells/{spell}")})
        .value();
}

std::string pattern_of(Method method, const std::vector<std::string>& path) {
    const auto routes = some_routes();
    const auto found = routes.find(method, path);
    const auto* match = std::get_if<Routes::Match>(&found);
    return match != nullptr ? match->route->pattern : std::to_string(std::get<Response>(found).status);
}

TEST(Routes, finds_by_method_and_path) {
    EXPECT_EQ(pattern_of(Method::get, {}), "/");
    EXPECT_EQ(pattern_of(Method::get, {"api", "stays"}), "/api/stays");
    EXPECT_EQ(pattern_of(Method::head, {"api", "stays"}), "/api/stays") << "a GET answers HEAD";
    EXPECT_EQ(pattern_of(Method::remove, {"api", "stays", "T07"}), "/api/stays/{stay}");
}

TEST(Routes, words_as_they_stand_win) {
    EXPECT_EQ(pattern_of(Method::get, {"api", "stays", "doubtful"}), "/api/stays/doubtful");
    EXPECT_EQ(pattern_of(Method::get, {"api", "stays", "T07"}), "/api/stays/{stay}");
    EXPECT_EQ(pattern_of(Method::remove, {"api", "stays", "doubtful"}), "/api/stays/{stay}")
        << "where the method is only of the other";
}

TEST(Routes, tells_what_the_words_stand_for) {
    const auto routes = some_routes();
    const auto found = routes.find(Method::get, {"api", "stays", "T 07", "spells", "3"});
    EXPECT_THAT(std::get<Routes::Match>(found).named, ElementsAre(Pair("stay", "T 07"), Pair("spell", "3")));
}

TEST(Routes, nothing_there_is_404_with_a_remedy) {
    EXPECT_EQ(pattern_of(Method::get, {"api"}), "404");
    EXPECT_EQ(pattern_of(Method::get, {"api", "stays", "T07", "x"}), "404");
    EXPECT_EQ(pattern_of(Method::get, {"API", "stays"}), "404") << "case counts";
    const auto answer = std::get<Response>(some_routes().find(Method::get, {"nowhere"}));
    EXPECT_EQ(answer.content_type, "application/problem+json");
    const auto json = nlohmann::json::parse(answer.body.view());
    EXPECT_EQ(json.at("status"), 404);
    EXPECT_EQ(json.at("title"), "Not Found");
    EXPECT_FALSE(json.at("remedy").get<std::string>().empty());
}

TEST(Routes, another_method_is_405_with_those_that_there_are) {
    const auto answer = std::get<Response>(some_routes().find(Method::put, {"api", "stays"}));
    EXPECT_EQ(answer.status, 405);
    EXPECT_THAT(answer.fields, Contains(Pair("Allow", "GET, HEAD, POST")));
}

TEST(Routes, two_that_take_the_same_are_a_bug) {
    EXPECT_FALSE(Routes::of({route(Method::get, "/a/{b}"), route(Method::get, "/a/{c}")}));
    EXPECT_TRUE(Routes::of({route(Method::get, "/a/{b}"), route(Method::post, "/a/{b}")}));
    EXPECT_FALSE(Routes::of({route(Method::get, "a")}));
    EXPECT_FALSE(Routes::of({{.pattern = "/a"}})) << "without a handler";
}

} // namespace
