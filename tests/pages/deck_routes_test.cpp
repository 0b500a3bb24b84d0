// What the boat's log asks of an open study.

#include "pages/deck_routes.hpp"

#include <gmock/gmock.h>

#include "base/base64.hpp"
#include "base/hash.hpp"
#include "pages/asked_routes.hpp"

namespace backeddy::pages {
namespace {

using nlohmann::json;
using server::Method;

class DeckRoutes : public AskedRoutes {
  protected:
    DeckRoutes() : AskedRoutes("deck_routes_") {}
    void open(const test::StudyFiles& files = test::small_study()) {
        AskedRoutes::open(files, [](app::Desk& desk) { return deck_routes(desk, role_of_name); });
    }
    static std::optional<server::Role> role_of_name(std::string_view name) {
        return name == "S. Holm"    ? std::optional(server::Role::scientist)
               : name == "B. Other" ? std::optional(server::Role::crew)
                                    : std::nullopt;
    }
};

TEST_F(DeckRoutes, a_study_whose_brief_says_nothing_offers_what_its_tables_have) {
    auto files = test::small_study();
    files["events.csv"] += "2026-06-14T07:50:00Z,2,note,,deck\n";
    open(files);
    const auto deck = ask_json("/api/deck");
    EXPECT_EQ(deck.at("study"), "One fish of nowhere");
    EXPECT_EQ(deck.at("zone"), "UTC");
    EXPECT_EQ(deck.at("identity").get<std::string>().size(), 16U);
    EXPECT_EQ(deck.at("identity"), ask_json("/api/deck").at("identity"));
    EXPECT_EQ(deck.at("permit"), json::parse(R"({"number":"","fish":null,"chases_per_fish":null,"air_s":null,
        "at_death":"","watched_by":""})"));
    EXPECT_EQ(deck.at("rigs"), json({"single_hook"}));
    EXPECT_EQ(deck.at("species"), json({"Salmo trutta"}));
    EXPECT_EQ(deck.at("rods"), json::array());
    EXPECT_EQ(deck.at("assemblies"), json::parse(R"([{"assembly":"tube","volume_l":10.0}])"));
    EXPECT_EQ(deck.at("blood"),
              json::parse(R"({"ceiling_ml_per_kg":null,"ceiling_within_h":null,"due_min":null})"));
    EXPECT_EQ(deck.at("seal_within_s"), nullptr);
    EXPECT_EQ(deck.at("hook_locations").at(0), "upper_jaw");
    EXPECT_EQ(deck.at("fins").at("scale"), json({"whole", "slight", "moderate", "severe"}));
    EXPECT_EQ(deck.at("fins").at("fins").size(), 7U);
    EXPECT_THAT(deck.at("words").at("event"), testing::Contains("back_in_water"));
}

TEST_F(DeckRoutes, the_brief_says_what_is_offered_and_what_the_permit_allows) {
    auto files = test::small_study();
    files["study.toml"] = test::with(files["study.toml"], "zone = \"UTC\"\n",
                                     "zone = \"UTC\"\npermit = \"P-1\"\nspecies = [\"Salmo trutta\"]\n") +
                          "[deck]\nrods = [\"port 1\", \"starboard 1\"]\nrigs = [\"treble\"]\n"
                          "lost_reasons = [\"line broke\"]\nspecies = [\"Gadus morhua\"]\n"
                          "blood_due_min = 55\nseal_within_s = 90\n"
                          "[permit]\nfish = 40\nchases_per_fish = 1\nair_s = 60\nat_death = \"Call.\"\n"
                          "watched_by = \"R. Warden\"\n"
                          "[blood]\nceiling_ml_per_kg = 1.5\nceiling_within_h = 24\n";
    open(files);
    const auto deck = ask_json("/api/deck");
    EXPECT_EQ(deck.at("permit"), json::parse(R"({"number":"P-1","fish":40,"chases_per_fish":1,"air_s":60.0,
        "at_death":"Call.","watched_by":"R. Warden"})"));
    EXPECT_EQ(deck.at("rods"), json({"port 1", "starboard 1"}));
    EXPECT_EQ(deck.at("rigs"), json({"treble"}));
    EXPECT_EQ(deck.at("lost_reasons"), json({"line broke"}));
    EXPECT_EQ(deck.at("species"), json({"Salmo trutta", "Gadus morhua"}));
    EXPECT_EQ(deck.at("blood"),
              json::parse(R"({"ceiling_ml_per_kg":1.5,"ceiling_within_h":24.0,"due_min":55.0})"));
    EXPECT_EQ(deck.at("seal_within_s"), 90.0);
}

TEST_F(DeckRoutes, rows_are_the_files_whatever_the_journal_says_and_say_how_an_edit_finds_them) {
    auto files = test::small_study();
    files["study.toml"] = test::with(files["study.toml"], "zone = \"UTC\"", "zone = \"Europe/Oslo\"");
    files["fish.csv"] = "fish;Mass (g);mass_uncertainty_g;liver\nT01;500,5;2;pale\n";
    files["encounters.csv"] = "encounter,fish,at\ne1,T01,2026-06-14 09:55\ne2,T01,some day\n";
    open(files);
    ASSERT_TRUE(desk_->write({{.act = "add", .content = R"({"table":"reflexes","row":{"fish":"T01",
        "at":"2026-06-14T08:00:00Z","test":"righting","there":"yes"}})"}},
                             {.name = "A. Tester", .role = store::Role::scientist}))
        << "written";
    const auto rows = ask_json("/api/deck").at("rows");
    EXPECT_EQ(rows.at("fish"), json::parse(R"([{"cells":{"fish":"T01","mass_g":"500.5",
        "mass_uncertainty_g":"2","liver":"pale"},"in_file":{"mass_g":"500,5"}}])"));
    EXPECT_EQ(rows.at("encounters").at(0), json::parse(R"({"cells":{"encounter":"e1","fish":"T01",
        "at":"2026-06-14T07:55:00Z"},"in_file":{"at":"2026-06-14 09:55"}})"));
    EXPECT_EQ(rows.at("encounters").at(1).at("cells").at("at"), "some day");
    EXPECT_EQ(rows.at("events").size(), 10U);
    EXPECT_EQ(rows.at("reflexes"), json::array());
}

TEST_F(DeckRoutes, the_clock_is_the_machines) {
    open();
    EXPECT_EQ(ask_json("/api/clock"), json::parse(R"({"now_us":1781956800000000})"));
}

// ---- what is carried

const std::string phone = "00c0ffee00c0ffee";

json carried(std::uint64_t sequence, const json& content, const std::string& act = "add",
             const std::string& author = "A. Tester", const std::string& role = "crew") {
    return {{"device", phone},
            {"sequence", sequence},
            {"hybrid_wall_us", 1781949600000000 + sequence},
            {"hybrid_count", 0},
            {"wall_us", 1781949600000000},
            {"monotonic_us", 5},
            {"boot", "b"},
            {"clock_offset_us", nullptr},
            {"author", author},
            {"role", role},
            {"act", act},
            {"content", content.dump()},
            {"reason", ""}};
}

json fish_row(const std::string& name) {
    return {{"table", "fish"}, {"row", {{"fish", name}, {"species", "Salmo trutta"}}}};
}

std::string batch(const std::vector<json>& entries) {
    return json{{"entries", entries}}.dump();
}

class CarriedRoutes : public DeckRoutes {
  protected:
    CarriedRoutes() { open(); }
    [[nodiscard]] server::Response carry(const std::vector<json>& entries,
                                         server::Role role = server::Role::crew) const {
        return ask("/api/entries/carried?each=yes", Method::post, batch(entries), role);
    }
    [[nodiscard]] std::string queue(const std::vector<json>& entries,
                                    const json& photos = json::object()) const {
        return json{{"backeddy_queue", 1}, {"study", "One fish of nowhere"}, {"identity", identity()},
                    {"device", phone},     {"made_us", 1781949600000000},    {"entries", entries},
                    {"photos", photos}}
            .dump();
    }
    [[nodiscard]] std::string identity() const { return ask_json("/api/deck").at("identity"); }
};

TEST_F(CarriedRoutes, entries_are_taken_in_told_again_and_harmless_when_they_come_twice) {
    const std::vector<json> entries{carried(1, fish_row("0614-A1")), carried(2, fish_row("0614-A2"))};
    const auto first = carry(entries);
    EXPECT_EQ(first.status, 200) << first.body.view();
    EXPECT_EQ(
        json::parse(first.body.view()),
        json::parse(R"({"through":2,"added":2,"duplicates":0,"set_aside":[],"complaints":[],"refused":[]})"));
    EXPECT_EQ(
        json::parse(carry({entries[1], entries[0]}).body.view()),
        json::parse(R"({"through":2,"added":0,"duplicates":2,"set_aside":[],"complaints":[],"refused":[]})"));
    const auto arrived = ask_json("/api/entries/arrived?after=0");
    EXPECT_EQ(arrived, (json{{"identity", identity()}, {"through", 2}, {"entries", entries}}));
    EXPECT_EQ(ask_json("/api/entries/arrived?after=1").at("entries"), json(std::vector{entries[1]}));
    EXPECT_EQ(ask_json("/api/entries/arrived").at("entries").size(), 2U);
    EXPECT_EQ(ask_json("/api/entries/arrived?after=2").at("entries"), json::array());
    for (const char* after : {"x", "-1", "1.5", "99999999999999999999", ""}) {
        EXPECT_EQ(ask(std::string("/api/entries/arrived?after=") + after).status, 400) << after;
    }
}

TEST_F(CarriedRoutes, what_does_not_fit_is_kept_and_told) {
    auto other = carried(1, fish_row("0614-A9"));
    const auto answer = json::parse(carry({carried(1, fish_row("0614-A1")),
                                           carried(2, {{"table", "decisions"}, {"row", {{"stay", "s2"}}}})})
                                        .body.view());
    EXPECT_EQ(answer.at("added"), 2);
    ASSERT_EQ(answer.at("complaints").size(), 1U);
    EXPECT_EQ(answer.at("complaints")[0].at("id"), phone + ":2");
    EXPECT_THAT(answer.at("complaints")[0].at("text").get<std::string>(), testing::HasSubstr("(crew)"));
    const auto aside = json::parse(carry({other}).body.view());
    EXPECT_EQ(aside.at("set_aside"), json({phone + ":1"}));
    EXPECT_EQ(aside.at("added"), 0);
}

TEST_F(CarriedRoutes, nobody_writes_as_more_than_they_are_nor_as_another_and_no_entry_holds_up_the_others) {
    const std::vector<json> entries{
        carried(1, fish_row("0614-A1")), carried(2, fish_row("x"), "add", "A. Tester", "scientist"),
        carried(3, fish_row("y"), "add", "B. Other"), carried(4, fish_row("0614-A4"))};
    const auto answer = json::parse(carry(entries).body.view());
    EXPECT_EQ(answer.at("added"), 2);
    ASSERT_EQ(answer.at("refused").size(), 2U);
    EXPECT_EQ(
        answer.at("refused")[0],
        json::parse(
            R"({"id":"00c0ffee00c0ffee:2","detail":"written as scientist, and A. Tester is here as crew",
        "remedy":"let A. Tester sign in on this phone, or a scientist take in the phone's queue file"})"));
    EXPECT_EQ(answer.at("refused")[1].at("detail"), "written by B. Other, and A. Tester is signed in");
    EXPECT_EQ(ask_json("/api/entries/arrived").at("entries"), json(std::vector{entries[0], entries[3]}));
    // An older page, which knows of no single refusal, is refused as a whole: nothing of it would be lost so.
    const auto whole = ask("/api/entries/carried", Method::post, batch(entries), server::Role::crew);
    EXPECT_EQ(whole.status, 403);
    EXPECT_THAT(std::string(whole.body.view()), testing::HasSubstr(phone + ":2"));
    // None that is taken is no failure.
    EXPECT_EQ(json::parse(carry({entries[2]}).body.view()).at("refused").size(), 1U);
    // A scientist brings what anybody wrote; once it is here it is no news, whoever brings it.
    EXPECT_EQ(json::parse(carry(entries, server::Role::scientist).body.view()).at("added"), 2);
    const auto again = json::parse(carry(entries).body.view());
    EXPECT_EQ(again.at("duplicates"), 4);
    EXPECT_EQ(again.at("refused"), json::array());
}

TEST_F(CarriedRoutes, a_paired_phone_of_the_crew_brings_what_was_pressed_on_it_in_no_name_that_may_more) {
    is_paired_ = true;
    const auto refused = [&](const json& entry, server::Role role = server::Role::crew) {
        return json::parse(carry({entry}, role).body.view()).at("refused");
    };
    EXPECT_EQ(refused(carried(1, fish_row("0614-B1"), "add", "B. Other")), json::array());
    EXPECT_EQ(refused(carried(2, fish_row("0614-C1"), "add", "a deckhand")), json::array());
    const auto posing = refused(carried(3, fish_row("0614-S1"), "add", "S. Holm"));
    ASSERT_EQ(posing.size(), 1U);
    EXPECT_EQ(posing[0].at("detail"),
              "written in the name of S. Holm, who is here as scientist, and this phone is here as crew");
    EXPECT_EQ(refused(carried(4, fish_row("0614-B2"), "add", "B. Other", "scientist")).size(), 1U);
    EXPECT_EQ(refused(carried(3, fish_row("0614-S1"), "add", "S. Holm"), server::Role::scientist),
              json::array());
    EXPECT_EQ(desk_->journal().entries.size(), 3U);
}

TEST_F(CarriedRoutes, each_asks_for_the_right_that_it_needs) {
    for (const auto& route : deck_routes(*desk_, role_of_name)) {
        const bool is_edit = route.pattern.starts_with("/api/entries/queue");
        EXPECT_EQ(route.right, is_edit                           ? server::Right::edit
                               : server::only_asks(route.method) ? server::Right::read
                                                                 : server::Right::log)
            << route.pattern;
    }
}

// Two phones that never met, and one name for two fish: nobody joins them silently.
TEST_F(CarriedRoutes, two_fish_of_one_name_stop_the_study_and_are_named) {
    auto other = carried(1, fish_row("0614-A1"));
    other["device"] = "00000000000000bb";
    EXPECT_EQ(json::parse(carry({carried(1, fish_row("0614-A1"))}).body.view()).at("added"), 1);
    EXPECT_EQ(json::parse(carry({other}, server::Role::scientist).body.view()).at("added"), 1);
    ASSERT_TRUE(until(app::DeskPhase::stopped, 0));
    std::string told;
    for (const auto& each : desk_->state().complaints) {
        told += each.error.text() + "\n";
    }
    EXPECT_THAT(told, testing::HasSubstr("the fish \"0614-A1\" stands in"));
    EXPECT_THAT(told, testing::HasSubstr("give it a name of its own"));
}

TEST_F(CarriedRoutes, what_is_no_batch_is_refused) {
    for (const char* body : {"", "{}", R"({"entries":[{}]})", "[]"}) {
        EXPECT_EQ(ask("/api/entries/carried", Method::post, body).status, 400) << body;
        EXPECT_EQ(ask("/api/entries/queue", Method::post, body).status, 400) << body;
        EXPECT_EQ(ask("/api/entries/queue/look", Method::post, body).status, 400) << body;
    }
}

const std::string jpeg = "\xFF\xD8\xFF\xE0 a fin";

TEST_F(CarriedRoutes, photos_come_in_and_out_by_their_hash) {
    const auto address = "/api/photos/" + sha256_hex(std::string_view(jpeg));
    EXPECT_EQ(ask(address).status, 404);
    EXPECT_EQ(ask(address, Method::put, jpeg).status, 201);
    EXPECT_EQ(ask(address, Method::put, jpeg).status, 200);
    const auto back = ask(address);
    EXPECT_EQ(back.status, 200);
    EXPECT_EQ(back.content_type, "image/jpeg");
    EXPECT_EQ(back.body.view(), jpeg);
    EXPECT_EQ(ask(address, Method::put, jpeg + "x").status, 400);
    EXPECT_EQ(ask("/api/photos/fish.csv", Method::put, jpeg).status, 400);
    EXPECT_EQ(ask("/api/photos/fish.csv").status, 400);
}

TEST_F(CarriedRoutes, a_queue_file_is_looked_at_and_taken_in) {
    EXPECT_EQ(carry({carried(1, fish_row("0614-A1"))}).status, 200);
    const auto name = sha256_hex(std::string_view(jpeg));
    const auto file =
        queue({carried(1, fish_row("0614-A1")), carried(2, fish_row("0614-B1"), "add", "B. Other")},
              {{name, to_base64(jpeg)}, {std::string(64, '0'), to_base64("no photo")}});
    const auto look = ask_json("/api/entries/queue/look", Method::post, file);
    EXPECT_EQ(look, json::parse(
                        R"({"study":"One fish of nowhere","is_of_this_study":true,"device":"00c0ffee00c0ffee",
        "made_at":"2026-06-20T10:00:00Z","authors":["A. Tester","B. Other"],"entries":2,"added":1,"duplicates":1,
        "differing":0,"first_at":"2026-06-20T10:00:00Z","last_at":"2026-06-20T10:00:00Z","photos":2,"photos_added":2})"));
    EXPECT_EQ(desk_->journal().entries.size(), 1U);
    const auto taken = ask_json("/api/entries/queue", Method::post, file);
    EXPECT_EQ(taken.at("added"), 1);
    EXPECT_EQ(taken.at("duplicates"), 1);
    EXPECT_EQ(taken.at("photos_added"), 1);
    ASSERT_EQ(taken.at("photos_refused").size(), 1U); // and its entries are in all the same
    EXPECT_EQ(ask("/api/photos/" + name).status, 200);
    EXPECT_EQ(ask_json("/api/entries/queue", Method::post, file).at("photos_were_there"), 1);
    EXPECT_EQ(desk_->journal().entries.size(), 2U);
}

TEST_F(CarriedRoutes, a_queue_file_of_another_study_is_taken_in_only_where_that_is_said) {
    auto file = json::parse(queue({carried(1, fish_row("0614-A1"))}));
    file["identity"] = "00000000000000aa";
    file["study"] = "Another voe";
    EXPECT_EQ(ask_json("/api/entries/queue/look", Method::post, file.dump()).at("is_of_this_study"), false);
    const auto refused = ask("/api/entries/queue", Method::post, file.dump());
    EXPECT_EQ(refused.status, 409);
    EXPECT_THAT(std::string(refused.body.view()), testing::HasSubstr("Another voe"));
    EXPECT_TRUE(desk_->journal().entries.empty());
    EXPECT_EQ(ask_json("/api/entries/queue?of_another_study=yes", Method::post, file.dump()).at("added"), 1);
}

} // namespace
} // namespace backeddy::pages
