// What the pages ask to change a study: tables, the brief, and files that are offered.

#include "pages/edit_routes.hpp"

#include <algorithm>

#include <gmock/gmock.h>

#include "base/file.hpp"
#include "pages/asked_routes.hpp"

namespace backeddy::pages {
namespace {

using nlohmann::json;
using server::Method;
using server::Right;
using server::Role;
using testing::HasSubstr;

class EditRoutes : public AskedRoutes {
  protected:
    EditRoutes() : AskedRoutes("edit_routes_") {}
    void SetUp() override {
        open(test::small_study(), edit_routes);
        ASSERT_TRUE(until(1));
    }
    [[nodiscard]] bool until(std::uint64_t revision) const {
        return AskedRoutes::until(app::DeskPhase::ready, revision);
    }
};

TEST_F(EditRoutes, tell_what_the_tables_are_and_who_may_change_them) {
    const auto all = ask_json("/api/tables");
    ASSERT_EQ(all.size(), study::tables().size());
    EXPECT_EQ(all[0].at("table"), "fish");
    const auto crew = json::parse(ask("/api/tables", Method::get, {}, Role::crew).body.view());
    for (std::size_t i = 0; i < all.size(); ++i) {
        EXPECT_TRUE(all[i].at("may_edit"));
        if (all[i].at("table") == "decisions") {
            EXPECT_FALSE(crew[i].at("may_edit"));
        }
    }
}

TEST_F(EditRoutes, tell_what_settings_there_are_and_how_far_a_number_may_go) {
    const auto sections = ask_json("/api/settings");
    const auto named = [&](std::string_view name) {
        return *std::ranges::find_if(sections, [&](const json& each) { return each.at("section") == name; });
    };
    const auto trace = named("trace");
    EXPECT_TRUE(trace.at("is_list"));
    const auto order = *std::ranges::find_if(trace.at("settings"),
                                             [](const json& each) { return each.at("key") == "date_order"; });
    EXPECT_EQ(order.at("words"), json::parse(R"(["year_month_day","day_month_year","month_day_year"])"));
    EXPECT_EQ(order.at("usual"), "") << "not set";
    EXPECT_FALSE(named("peak").at("is_list"));

    const auto columns = ask_json("/api/tables")[0].at("columns");
    const auto mass =
        *std::ranges::find_if(columns, [](const json& each) { return each.at("name") == "mass_g"; });
    EXPECT_EQ(mass.at("least"), 0);
    EXPECT_FALSE(mass.at("may_equal_least"));
}

TEST_F(EditRoutes, show_a_table_whose_rows_an_edit_finds_again) {
    const auto grid = ask_json("/api/tables/fish");
    const auto& row = grid.at("rows")[0];
    json cells = json::object();
    for (std::size_t i = 0; i < row.at("in_file").size(); ++i) {
        cells[grid.at("columns")[i]] = row.at("in_file")[i];
    }
    const std::string mass = cells.at("mass_g");
    const json content{
        {"table", "fish"}, {"row", cells}, {"cells", {{"mass_g", {{"was", mass}, {"now", "512"}}}}}};
    const auto ids = desk_->write({{.act = "set", .content = content.dump()}},
                                  {.name = "A. Tester", .role = store::Role::scientist});
    ASSERT_TRUE(ids) << ids.error().text();
    const auto after = ask_json("/api/tables/fish");
    EXPECT_THAT(after.at("rows")[0].at("cells").get<std::vector<std::string>>(), testing::Contains("512"));
    EXPECT_EQ(after.at("rows")[0].at("in_file"), row.at("in_file"));
    const auto wrong = ask("/api/tables/fsh");
    EXPECT_EQ(wrong.status, 404);
    EXPECT_THAT(std::string(wrong.body.view()), HasSubstr("fish"));
}

TEST_F(EditRoutes, save_a_brief_and_keep_what_it_replaces) {
    const auto standing = ask_json("/api/brief");
    const std::string text = standing.at("text");
    const auto fresh = text + "# more\n";
    const auto saved = ask_json("/api/brief", Method::put,
                                json{{"text", fresh}, {"was_sha256", standing.at("sha256")}}.dump());
    EXPECT_EQ(saved.at("text"), fresh);
    EXPECT_EQ(*read_file(folder_.path() / "study.toml"), fresh);
    const auto journal = desk_->journal();
    ASSERT_EQ(journal.entries.size(), 1U);
    EXPECT_EQ(json::parse(journal.entries[0].content).at("was").at("text"), text);
    EXPECT_TRUE(journal.complaints.empty());
    EXPECT_TRUE(until(2)) << "the study is answered by it";

    const auto stale = ask("/api/brief", Method::put,
                           json{{"text", "# mine\n"}, {"was_sha256", standing.at("sha256")}}.dump());
    EXPECT_EQ(stale.status, 409);
    const auto worse = ask("/api/brief", Method::put,
                           json{{"text", fresh + "[peek]\n"}, {"was_sha256", saved.at("sha256")}}.dump());
    EXPECT_EQ(worse.status, 409) << worse.body.view();
    EXPECT_EQ(*read_file(folder_.path() / "study.toml"), fresh);
    EXPECT_EQ(desk_->journal().entries.size(), 1U);
    for (const char* body : {"", "[]", R"({"text":5})", R"({"text":"x"})"}) {
        EXPECT_EQ(ask("/api/brief", Method::put, body).status, 400) << body;
    }
}

TEST_F(EditRoutes, put_a_sound_brief_in_the_place_of_one_in_another_encoding) {
    const auto sound = *read_file(folder_.path() / "study.toml");
    folder_.write("study.toml", sound + "# 12 \xB0"
                                        "C\n"); // Latin-1
    const auto standing = ask_json("/api/brief");
    const auto saved = ask_json("/api/brief", Method::put,
                                json{{"text", sound}, {"was_sha256", standing.at("sha256")}}.dump());
    EXPECT_EQ(saved.at("text"), sound);
    EXPECT_EQ(*read_file(folder_.path() / "study.toml"), sound);
}

TEST_F(EditRoutes, try_a_brief_without_saving_it) {
    const std::string text = ask_json("/api/brief").at("text");
    const auto faults = ask_json("/api/brief/try", Method::post, json{{"text", text + "[peek]\n"}}.dump());
    ASSERT_FALSE(faults.empty());
    EXPECT_EQ(faults[0].at("severity"), "stops");
    EXPECT_EQ(*read_file(folder_.path() / "study.toml"), text);
}

TEST_F(EditRoutes, look_at_a_file_and_take_it_in) {
    const std::string bytes = "time;O2 [mg/L]\n03.04.2026 10:00:00;8,1\n03.04.2026 10:00:02;8,0\n";
    const auto seen = ask_json("/api/offered?name=day9.csv", Method::post, bytes);
    EXPECT_THAT(seen.at("stop").at("text").get<std::string>(), HasSubstr("date_order"));
    const std::string at = "/api/offered/" + seen.at("id").get<std::string>();
    const auto again =
        ask_json(at + "/look", Method::post, R"({"settings":{"date_order":"day_month_year"}})");
    EXPECT_TRUE(again.at("stop").is_null());
    EXPECT_EQ(again.at("first_rows")[0].at("at"), "2026-04-03T10:00:00Z");
    EXPECT_FALSE(std::filesystem::exists(folder_.path() / "raw/shore"));
    const std::string take =
        R"({"place":"raw/shore/day9.csv","settings":{"name":"shore","date_order":"day_month_year"}})";
    const auto taken = ask_json(at + "/take", Method::post, take);
    EXPECT_EQ(taken.at("place"), "raw/shore/day9.csv");
    EXPECT_EQ(*read_file(folder_.path() / "raw/shore/day9.csv"), bytes);
    EXPECT_THAT(*read_file(folder_.path() / "study.toml"), HasSubstr("raw/shore/day9.csv"));
    EXPECT_EQ(json::parse(desk_->journal().entries.at(0).content).at("file"), "raw/shore/day9.csv");
    EXPECT_TRUE(until(2));
}

TEST_F(EditRoutes, refuse_names_and_bodies_that_are_none) {
    for (const char* name : {"", "..", "a%2Fb.csv", ".hidden", "a%5Cb"}) {
        EXPECT_EQ(ask(std::string("/api/offered?name=") + name, Method::post, "x").status, 400) << name;
    }
    EXPECT_EQ(ask("/api/offered/0123/look", Method::post, "{}").status, 404);
    EXPECT_EQ(ask("/api/offered/0123/take", Method::post, "{}").status, 400);
    EXPECT_EQ(ask("/api/offered/0123/look", Method::post, R"({"trace":5})").status, 400);
}

TEST_F(EditRoutes, hold_only_the_last_few_files_offered) {
    const std::string first = ask_json("/api/offered?name=a.csv", Method::post, "time\n0\n").at("id");
    for (int i = 1; i <= 8; ++i) {
        (void)ask_json("/api/offered?name=a.csv", Method::post, "time\n" + std::to_string(i) + "\n");
    }
    EXPECT_EQ(ask("/api/offered/" + first + "/look", Method::post, "{}").status, 404);
}

TEST_F(EditRoutes, that_change_anything_want_a_scientist) {
    for (const auto& route : edit_routes(*desk_)) {
        // A question that is tried writes nothing.
        const bool only_asks = server::only_asks(route.method) || route.pattern == "/api/findings/try";
        EXPECT_EQ(route.right, only_asks ? Right::read : Right::edit) << route.pattern;
    }
}

} // namespace
} // namespace backeddy::pages
