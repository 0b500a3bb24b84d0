// What the boat's log asks of an open study.

#include "pages/deck_routes.hpp"

#include <gmock/gmock.h>

#include "pages/asked_routes.hpp"

namespace backeddy::pages {
namespace {

using nlohmann::json;

class DeckRoutes : public AskedRoutes {
  protected:
    DeckRoutes() : AskedRoutes("deck_routes_") {}
    void open(const test::StudyFiles& files = test::small_study()) {
        AskedRoutes::open(files, [](app::Desk& desk) { return deck_routes(desk); });
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

} // namespace
} // namespace backeddy::pages
