// The deck's log to the numbers of each rig, against R 4.2.2 (poisson.test) and SciPy 1.10.1 (stats.chi2 for
// Garwood's limits, stats.beta for Clopper and Pearson's).

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/detail/results_parts.hpp"

namespace backeddy::app::detail {
namespace {

using study::EventKind;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;

/// A deck's log under way.
struct Deck {
    Study study;

    study::Event& add(double hour, EventKind kind, std::string rod, std::string rig = {},
                      std::string fish = {}, std::string note = {}) {
        study.tables.events.push_back({.at = Instant::unix_seconds(1'781'424'000.0 + (3600.0 * hour)),
                                       .kind = kind,
                                       .fish = study::FishId(std::move(fish)),
                                       .rod = std::move(rod),
                                       .rig = std::move(rig),
                                       .note = std::move(note)});
        return study.tables.events.back();
    }
};

void expect_number(const report::Number& number, double value, double low, double high) {
    ASSERT_TRUE(number.value) << number.reason;
    ASSERT_TRUE(number.interval);
    EXPECT_NEAR(*number.value, value, 1e-9 * value);
    EXPECT_NEAR(number.interval->low, low, 1e-9 * low);
    EXPECT_NEAR(number.interval->high, high, 1e-9 * high);
}

// Two rods, 1.5 h single and 0.5 h treble, as in tests/angling: three bites, two hooked, one landed and one
// lost on the single; one bite, hooked and landed, on the treble.
Deck morning() {
    Deck out;
    out.study.brief.study.species = {"Salmo trutta"};
    out.study.tables.fish = {{.id = study::FishId("F1"), .species = "Salmo trutta"},
                             {.id = study::FishId("F2"), .species = "Pollachius virens"}};
    out.add(0.0, EventKind::lines_in, "port", "treble");
    out.add(0.0, EventKind::lines_in, "starboard", "single");
    out.add(0.1, EventKind::bite, "port");
    out.add(0.11, EventKind::hook_up, "port");
    out.add(0.2, EventKind::landed, "port", "", "F1");
    out.add(0.2, EventKind::bite, "starboard", "", "", "spat it out");
    out.add(0.3, EventKind::bite, "starboard");
    out.add(0.31, EventKind::hook_up, "starboard");
    out.add(0.35, EventKind::lost, "starboard", "", "", "at the net");
    out.add(0.5, EventKind::lines_out, "port");
    out.add(0.7, EventKind::hook_up, "starboard", "", "F2");
    out.add(0.8, EventKind::landed, "starboard", "", "F2");
    out.add(1.5, EventKind::lines_out, "starboard");
    return out;
}

TEST(Fishing, counts_shares_and_rates_of_a_morning) {
    const auto out = fishing_of(morning().study);
    ASSERT_EQ(out.rigs.size(), 2U);
    const auto& single = out.rigs[0];
    EXPECT_EQ(single.rig, "single");
    EXPECT_DOUBLE_EQ(*single.rod_hours.value, 1.5);
    ASSERT_EQ(single.steps.size(), 4U);
    expect_number(single.steps[0].per_rod_hour, 2.0, 0.4124480819304009, 5.844848713161549);
    EXPECT_FALSE(single.steps[0].share_percent.value);
    EXPECT_FALSE(single.steps[0].ratio.value) << "it is what ratios are over";
    EXPECT_EQ(single.steps[1].of, 3U);
    expect_number(single.steps[1].share_percent, 66.66666666666666, 9.429932405024609, 99.15962413403874);
    EXPECT_EQ(single.steps[2].of, 2U);
    expect_number(single.steps[2].share_percent, 50.0, 1.257911709342505, 98.74208829065749);
    EXPECT_EQ(single.steps[3].count, 0U) << "a fish of another species";
    ASSERT_EQ(single.species.size(), 1U);
    EXPECT_TRUE(single.species[0].is_bycatch);
    ASSERT_EQ(single.misses.size(), 1U);
    EXPECT_EQ(single.misses[0].name, "spat it out");
    EXPECT_EQ(single.losses[0].name, "at the net");
    const auto& treble = out.rigs[1];
    expect_number(treble.steps[0].per_rod_hour, 2.0, 0.05063561596857975, 11.143286781877796);
    expect_number(treble.steps[0].ratio, 1.0, 0.0190485759180821, 12.454322328715277);
    EXPECT_FALSE(treble.steps[3].ratio.value) << "none on the first rig";
    EXPECT_THAT(treble.steps[3].ratio.reason, HasSubstr("none on single"));
    EXPECT_THAT(out.notes, Contains(HasSubstr("without a bite written down: 1 fish")));
}

// R 4.2.2: poisson.test(c(11, 21), c(800, 3011)), poisson.test(11, 800).
TEST(Fishing, rates_of_a_season_are_poisson_test_s) {
    Deck deck;
    const auto fish = [&](double from, const char* rig, double hours, int bites) {
        deck.add(from, EventKind::lines_in, "rod", rig);
        for (int i = 0; i < bites; ++i) {
            deck.add(from + 1.0 + i, EventKind::bite, "rod");
        }
        deck.add(from + hours, EventKind::lines_out, "rod");
    };
    fish(0.0, "single", 3011.0, 21);
    fish(4000.0, "treble", 800.0, 11);
    const auto out = fishing_of(deck.study);
    ASSERT_EQ(out.rigs.size(), 2U);
    const auto& bites = out.rigs[1].steps[0];
    expect_number(bites.per_rod_hour, 11.0 / 800.0, 0.00686395045904605, 0.0246025481416274);
    expect_number(bites.ratio, 1.9714880952381, 0.858426403391639, 4.27726594365407);
    EXPECT_EQ(out.rigs[1].steps.size(), 3U) << "no species is the study's: all are wanted";
}

TEST(Fishing, says_what_nobody_wrote_down) {
    auto deck = morning();
    deck.add(2.0, EventKind::lines_in, "port", "treble"); // never out
    deck.add(2.1, EventKind::bite, "port");
    deck.add(3.0, EventKind::bite, "stern"); // of no rig that anybody named
    deck.study.tables.encounters = {
        {.id = study::EncounterId("E9"), .fish = study::FishId("F9"), .rig = "single"}};
    deck.study.tables.fish.push_back({.id = study::FishId("F9"), .species = "Salmo trutta"});
    const auto out = fishing_of(deck.study);
    ASSERT_EQ(out.rigs.size(), 3U);
    EXPECT_EQ(out.rigs[2].rig, "") << "last: it is none to compare with";
    EXPECT_FALSE(out.rigs[2].rod_hours.value);
    EXPECT_FALSE(out.rigs[2].steps[0].per_rod_hour.value);
    EXPECT_EQ(out.rigs[1].never_out, 1U);
    EXPECT_EQ(out.rigs[1].steps[0].count, 2U);
    EXPECT_EQ(out.rigs[1].steps[0].in_hours, 1U);
    EXPECT_THAT(out.notes, Contains(HasSubstr("when they came out: 1 line")));
    EXPECT_THAT(out.notes, Contains(HasSubstr("known hours of their rod and rig: 2 bites")));
    EXPECT_THAT(out.notes, Contains(HasSubstr("no landing in the deck's log (events.csv): 1 fish")));
}

TEST(Fishing, without_bites_written_down_there_is_no_share_of_them) {
    auto deck = morning();
    std::erase_if(deck.study.tables.events, [](const study::Event& e) { return e.kind == EventKind::bite; });
    const auto out = fishing_of(deck.study);
    EXPECT_FALSE(out.rigs[0].steps[0].per_rod_hour.value);
    EXPECT_FALSE(out.rigs[0].steps[1].share_percent.value);
    EXPECT_TRUE(out.rigs[0].steps[2].share_percent.value);
    EXPECT_THAT(out.notes, Contains(HasSubstr("No bite was written down")));
    EXPECT_THAT(fishing_of(Study{}).rigs, IsEmpty());
}

} // namespace
} // namespace backeddy::app::detail
