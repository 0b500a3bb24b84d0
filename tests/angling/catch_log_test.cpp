#include "angling/catch_log.hpp"

#include <algorithm>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::angling {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;

Instant at(double minute) {
    return Instant::unix_seconds(1'781'424'000.0 + (60.0 * minute));
}

CatchEntry entry(double minute, CatchKind kind, std::string rod, std::string fish = {}) {
    return {.at = at(minute), .kind = kind, .rod = std::move(rod), .fish = std::move(fish)};
}

// A morning worked through by hand: two rods, four bites, three hook-ups, one loss, two fish.
std::vector<CatchEntry> morning() {
    std::vector<CatchEntry> out;
    out.push_back(entry(0, CatchKind::lines_in, "port"));
    out.back().rig = "treble";
    out.push_back(entry(0, CatchKind::lines_in, "starboard"));
    out.back().rig = "single";
    out.push_back(entry(10, CatchKind::bite, "port"));
    out.push_back(entry(10.2, CatchKind::hook_up, "port"));
    out.push_back(entry(11, CatchKind::bite, "starboard")); // nothing came of it
    out.push_back(entry(14, CatchKind::landed, "port", "F1"));
    out.push_back(entry(20, CatchKind::bite, "starboard"));
    out.push_back(entry(20.1, CatchKind::hook_up, "starboard"));
    out.push_back(entry(22, CatchKind::lost, "starboard"));
    out.back().reason = "at the net";
    out.push_back(entry(30, CatchKind::lines_out, "port"));
    out.push_back(entry(40, CatchKind::hook_up, "starboard", "F2")); // its bite went unseen
    out.push_back(entry(45, CatchKind::landed, "starboard", "F2"));
    out.push_back(entry(90, CatchKind::lines_out, "starboard"));
    return out;
}

TEST(CatchLog, a_morning_worked_by_hand) {
    const auto log = read_catch(morning());
    EXPECT_THAT(log.doubts, IsEmpty());
    ASSERT_THAT(log.strikes, SizeIs(4));
    EXPECT_EQ(log.strikes[0].fish, "F1");
    EXPECT_EQ(log.strikes[0].bite, at(10));
    EXPECT_EQ(log.strikes[0].landed, at(14));
    const auto rigs = by_rig(log);
    ASSERT_THAT(rigs, SizeIs(2));
    EXPECT_EQ(rigs[0].rig, "single");
    EXPECT_DOUBLE_EQ(rigs[0].rod_hours, 1.5);
    EXPECT_EQ(rigs[0].all.bites, 3U);
    EXPECT_EQ(rigs[0].all.hook_ups, 2U);
    EXPECT_EQ(rigs[0].all.landed, 1U);
    EXPECT_THAT(rigs[0].losses, ElementsAre(std::pair<const std::string, std::size_t>("at the net", 1)));
    EXPECT_DOUBLE_EQ(rigs[1].rod_hours, 0.5);
    EXPECT_EQ(rigs[1].all.landed, 1U);
}

// The morning again, line by line; a bite after its rod's lines are out belongs to none.
TEST(CatchByLine, counts_what_was_in_the_water) {
    auto entries = morning();
    entries.push_back(entry(100, CatchKind::bite, "port"));
    const auto out = by_line(read_catch(entries));
    ASSERT_THAT(out.lines, SizeIs(2));
    EXPECT_EQ(out.lines[0].effort.rod, "port");
    EXPECT_EQ(out.lines[0].chain.bites, 1U);
    EXPECT_EQ(out.lines[0].chain.landed, 1U);
    EXPECT_EQ(out.lines[1].chain.bites, 3U);
    EXPECT_EQ(out.lines[1].chain.hook_ups, 2U);
    EXPECT_EQ(out.lines[1].chain.landed, 1U);
    EXPECT_EQ(out.unplaced, 1U);
}

TEST(CatchLog, the_order_of_the_rows_does_not_matter) {
    const auto sorted = by_rig(read_catch(morning()));
    auto rows = morning();
    std::mt19937 random(7);
    for (int round = 0; round < 20; ++round) {
        std::shuffle(rows.begin(), rows.end(), random);
        const auto shuffled = by_rig(read_catch(rows));
        ASSERT_EQ(shuffled.size(), sorted.size());
        for (std::size_t i = 0; i < sorted.size(); ++i) {
            EXPECT_EQ(shuffled[i].rig, sorted[i].rig);
            EXPECT_EQ(shuffled[i].all.hook_ups, sorted[i].all.hook_ups);
            EXPECT_EQ(shuffled[i].losses, sorted[i].losses);
            EXPECT_DOUBLE_EQ(shuffled[i].rod_hours, sorted[i].rod_hours);
        }
    }
}

TEST(CatchLog, every_bite_hook_up_and_end_stands_in_one_strike) {
    std::mt19937 random(11);
    for (int round = 0; round < 200; ++round) {
        std::vector<CatchEntry> rows;
        for (int i = 0; i < 60; ++i) {
            rows.push_back(entry(std::uniform_real_distribution(0.0, 600.0)(random),
                                 static_cast<CatchKind>(2 + std::uniform_int_distribution(0, 3)(random)),
                                 std::uniform_int_distribution(0, 1)(random) == 0 ? "a" : "b"));
        }
        const auto log = read_catch(rows);
        const auto count = [&](CatchKind kind) {
            return std::count_if(rows.begin(), rows.end(),
                                 [&](const CatchEntry& e) { return e.kind == kind; });
        };
        const auto have = [&](auto member) {
            return std::count_if(log.strikes.begin(), log.strikes.end(),
                                 [&](const Strike& s) { return (s.*member).has_value(); });
        };
        EXPECT_EQ(have(&Strike::bite), count(CatchKind::bite));
        EXPECT_EQ(have(&Strike::hook_up), count(CatchKind::hook_up));
        EXPECT_EQ(have(&Strike::landed), count(CatchKind::landed));
        EXPECT_EQ(have(&Strike::lost), count(CatchKind::lost));
        for (const auto& strike : log.strikes) {
            EXPECT_FALSE(strike.landed && strike.lost);
            EXPECT_TRUE(!strike.bite || !strike.hook_up || *strike.bite <= *strike.hook_up);
        }
    }
}

TEST(CatchLog, two_fish_are_never_made_one) {
    const auto log =
        read_catch({entry(1, CatchKind::hook_up, "a", "F1"), entry(2, CatchKind::landed, "a", "F2")});
    EXPECT_THAT(log.strikes, SizeIs(2));
    // One fish stays one, whoever wrote it down.
    EXPECT_THAT(read_catch({entry(1, CatchKind::hook_up, "angler", "F1"),
                            entry(2, CatchKind::landed, "deck hand", "F1")})
                    .strikes,
                SizeIs(1));
    // A bite of the morning is not the hook-up of noon.
    EXPECT_THAT(read_catch({entry(1, CatchKind::bite, "a"), entry(200, CatchKind::hook_up, "a")}).strikes,
                SizeIs(2));
}

TEST(CatchLog, lines_that_do_not_add_up_are_told_by_row) {
    auto rows = std::vector{entry(0, CatchKind::lines_in, "a"), entry(5, CatchKind::lines_in, "a"),
                            entry(9, CatchKind::lines_out, "a"), entry(12, CatchKind::lines_out, "a"),
                            entry(20, CatchKind::lines_in, "a")};
    for (std::size_t i = 0; i < rows.size(); ++i) {
        rows[i].row = i + 2;
    }
    const auto log = read_catch(rows);
    ASSERT_THAT(log.doubts, SizeIs(3));
    EXPECT_EQ(log.doubts[0].row, 3U);
    EXPECT_EQ(log.doubts[1].row, 5U);
    EXPECT_EQ(log.doubts[2].row, 6U);
    ASSERT_THAT(log.effort, SizeIs(1));
    // From the second lines_in: of the five minutes before it nobody knows when they ended.
    EXPECT_DOUBLE_EQ(log.effort[0].rod_hours(), 4.0 / 60.0);
    ASSERT_THAT(log.never_out, SizeIs(2));
    EXPECT_EQ(log.never_out[0].from, at(0));
    EXPECT_EQ(log.never_out[1].from, at(20));
}

TEST(CatchLog, a_rig_changed_within_one_minute_is_two_efforts) {
    auto rows = std::vector{entry(0, CatchKind::lines_in, "a"), entry(30, CatchKind::lines_in, "a"),
                            entry(30, CatchKind::lines_out, "a"), entry(40, CatchKind::bite, "a"),
                            entry(60, CatchKind::lines_out, "a")};
    rows[0].rig = "single";
    rows[1].rig = "treble";
    rows[3].reason = "came off";
    const auto log = read_catch(rows);
    EXPECT_THAT(log.doubts, IsEmpty());
    ASSERT_THAT(log.effort, SizeIs(2));
    EXPECT_EQ(log.effort[1].rig, "treble");
    EXPECT_EQ(log.strikes.front().rig, "treble");
    EXPECT_EQ(log.strikes.front().reason, "came off");
}

TEST(CatchLog, another_species_is_bycatch) {
    auto rows = std::vector{entry(1, CatchKind::landed, "a", "F1"), entry(2, CatchKind::landed, "a", "F2")};
    rows[0].species = "Salmo trutta";
    rows[1].species = "Pollachius virens";
    const std::vector<std::string> wanted{"Salmo trutta"};
    const auto rig = by_rig(read_catch(rows), wanted).front();
    EXPECT_EQ(rig.all.landed, 2U);
    EXPECT_EQ(rig.all.wanted, 1U);
    EXPECT_EQ(rig.species.at("Pollachius virens"), 1U);
    EXPECT_EQ(by_rig(read_catch(rows)).front().all.wanted, 2U);
    rows[1].species.clear(); // of an unknown species nobody knows that it was wanted
    EXPECT_EQ(by_rig(read_catch(rows), wanted).front().all.wanted, 1U);
    EXPECT_EQ(by_rig(read_catch(rows), wanted).front().species.at(""), 1U);
}

// The morning once more, with a bite nobody could place, a fish whose end nobody wrote down and a line left
// out.
TEST(CatchByRig, tells_what_is_not_known) {
    auto rows = morning();
    rows.push_back(entry(100, CatchKind::bite, "port")); // its lines were out: no rig, no hours
    rows.push_back(entry(60, CatchKind::hook_up, "starboard"));
    rows.push_back(entry(120, CatchKind::lines_in, "starboard"));
    rows.back().rig = "single";
    rows.push_back(entry(130, CatchKind::bite, "starboard")); // in hours that nobody ended
    const auto rigs = by_rig(read_catch(rows));
    ASSERT_THAT(rigs, SizeIs(3));
    EXPECT_EQ(rigs[0].rig, "");
    EXPECT_EQ(rigs[0].all.bites, 1U);
    EXPECT_EQ(rigs[0].in_hours.bites, 0U);
    EXPECT_EQ(rigs[1].rig, "single");
    EXPECT_EQ(rigs[1].lines, 1U);
    EXPECT_EQ(rigs[1].never_out, 1U);
    EXPECT_EQ(rigs[1].all.bites, 5U);
    EXPECT_EQ(rigs[1].in_hours.bites, 4U);
    EXPECT_EQ(rigs[1].unseen_bites, 2U);
    EXPECT_EQ(rigs[1].open_ends(), 1U);
    EXPECT_THAT(rigs[1].misses, ElementsAre(std::pair<const std::string, std::size_t>("", 2)));
    EXPECT_EQ(rigs[2].open_ends(), 0U);
}

// By hand: 1 rig, 2 lines of 1 h with 1 and 5 bites, 3 expected on each: (4 + 4) / 3 over 1; two lines of the
// rig without bites say nothing.
TEST(CatchByLine, scatter_of_bites_against_chance) {
    ByLine lines;
    for (const std::size_t bites : {1U, 5U, 0U, 0U}) {
        lines.lines.push_back(
            {.effort = {.rig = bites > 0 ? "single" : "treble", .from = at(0), .to = at(60)},
             .chain = {.bites = bites}});
    }
    EXPECT_DOUBLE_EQ(*bite_dispersion(lines), 8.0 / 3.0);
    lines.lines.erase(lines.lines.begin());
    EXPECT_FALSE(bite_dispersion(lines));
}

} // namespace
} // namespace backeddy::angling
