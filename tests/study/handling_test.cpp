#include "study/handling.hpp"

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::study {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Instant at(const std::string& clock) {
    return parse_iso("2026-06-" + clock + "Z").value();
}

/// st01, met on two days.
struct Deck {
    Tables tables;

    Deck() {
        Fish fish;
        fish.id = FishId("st01");
        fish.place = {.file = "fish.csv", .line = 2, .column = {}, .byte = {}};
        tables.fish.push_back(fish);
        met("14T10:00:00");
        met("16T09:00:00");
        event(EventKind::hook_up, "14T10:00:00");
        event(EventKind::landed, "14T10:04:10"); // 250 s
        event(EventKind::air_start, "14T10:04:20");
        event(EventKind::air_end, "14T10:04:50");
        event(EventKind::air_start, "14T10:05:00");
        event(EventKind::air_end, "14T10:05:12"); // 42 s in two spells
        event(EventKind::back_in_water, "14T10:05:12");
        event(EventKind::sealed, "14T10:06:00");
        event(EventKind::hook_up, "16T08:55:00"); // five minutes before it was written down as met
        event(EventKind::landed, "16T08:57:00");
    }
    Encounter& met(const char* when) {
        Encounter row;
        row.id = EncounterId("e" + std::to_string(tables.encounters.size()));
        row.fish = FishId("st01");
        row.at = at(when);
        row.place = {
            .file = "encounters.csv", .line = tables.encounters.size() + 2, .column = {}, .byte = {}};
        tables.encounters.push_back(row);
        return tables.encounters.back();
    }
    void event(EventKind kind, const char* when) {
        Event row;
        row.kind = kind;
        row.fish = FishId("st01");
        row.at = at(when);
        row.at_uncertainty = Duration::seconds(2.0);
        row.place = {.file = "events.csv", .line = tables.events.size() + 2, .column = {}, .byte = {}};
        tables.events.push_back(row);
    }
    void typed(std::size_t encounter, const char* column, const char* value) {
        tables.encounters[encounter].free.push_back({.column = column, .value = value});
    }
    [[nodiscard]] std::vector<std::string> said() const {
        std::vector<std::string> out;
        for (const auto& complaint : check_handling(tables)) {
            EXPECT_EQ(complaint.severity, Severity::warning);
            out.push_back(complaint.error.text());
        }
        return out;
    }
};

TEST(Handling, each_encounter_has_the_times_of_its_own_events) {
    const Deck deck;
    const auto all = handling_of(deck.tables.fish[0], deck.tables);
    ASSERT_THAT(all, SizeIs(2));
    EXPECT_DOUBLE_EQ(all[0].times.fight->seconds, 250.0);
    EXPECT_DOUBLE_EQ(all[0].times.air->seconds, 42.0);
    EXPECT_DOUBLE_EQ(all[0].times.handling->seconds, 62.0);
    EXPECT_DOUBLE_EQ(all[0].times.landed_to_sealed->seconds, 110.0);
    EXPECT_DOUBLE_EQ(all[1].times.fight->seconds, 120.0);
    EXPECT_FALSE(all[1].times.air);
    EXPECT_THAT(all[0].times.doubts, IsEmpty());
    EXPECT_EQ(all[1].encounter->id, EncounterId("e1"));
    ASSERT_THAT(all[0].moments, SizeIs(8));
    EXPECT_EQ(all[0].places[all[0].moments[1].row].line, 3U);
}

// Events know their times to 2 s each, what was typed to a minute of noting (17.3 s): twice their root sum of
// squares is 2 sqrt(2^2 + 2^2 + 300) = 35.1 s.
TEST(Handling, a_typed_time_that_cannot_be_right_is_told_at_its_cell_and_the_events_count) {
    Deck deck;
    deck.typed(0, "fight_s", "284");
    EXPECT_THAT(deck.said(), IsEmpty()) << "34 s apart";
    deck.tables.encounters[0].free[0].value = "290";
    EXPECT_THAT(deck.said(),
                ElementsAre(AllOf(HasSubstr("encounters.csv line 2, column \"fight_s\""),
                                  HasSubstr("\"st01\": fight: 250 s by the events, 290 s typed by hand"),
                                  HasSubstr("The events' time is used"))));
    const auto all = handling_of(deck.tables.fish[0], deck.tables);
    ASSERT_FALSE(all[0].all.empty());
    EXPECT_EQ(all[0].all[0].word, "fight_s");
    EXPECT_DOUBLE_EQ(all[0].all[0].by_events->seconds, 250.0);
    EXPECT_DOUBLE_EQ(all[0].all[0].typed->seconds, 290.0);
    EXPECT_FALSE(all[0].all[0].disagreement.empty());
}

TEST(Handling, a_column_of_another_name_or_of_the_fish_s_own_sheet_is_held_against_the_events_too) {
    Deck deck;
    deck.typed(1, "fight_time_s", "300");
    EXPECT_THAT(deck.said(), ElementsAre(HasSubstr("encounters.csv line 3, column \"fight_time_s\"")));
    deck.tables.encounters[1].free.clear();
    deck.tables.fish[0].free.push_back({.column = "air_s", .value = "120"});
    EXPECT_THAT(deck.said(), ElementsAre(HasSubstr("fish.csv line 2, column \"air_s\"")));
    deck.tables.fish[0].free[0].value = "a while";
    EXPECT_THAT(deck.said(), IsEmpty());
}

TEST(Handling, a_fish_that_nobody_met_has_one_part_without_an_encounter) {
    Deck deck;
    deck.tables.encounters.clear();
    const auto all = handling_of(deck.tables.fish[0], deck.tables);
    ASSERT_THAT(all, SizeIs(1));
    EXPECT_EQ(all[0].encounter, nullptr);
    EXPECT_THAT(all[0].moments, SizeIs(10));
}

} // namespace
} // namespace backeddy::study
