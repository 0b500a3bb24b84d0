// A morning on the boat, logged by three devices that are often out of reach of each other: whatever way
// their entries come in, the study is the same, and nothing of it stops a run.

#include <algorithm>
#include <array>
#include <map>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "app/journal.hpp"
#include "app/result_set.hpp"
#include "app/run.hpp"
#include "base/random.hpp"
#include "intake/grid.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using nlohmann::json;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

std::int64_t microseconds_of(const std::string& clock) {
    return parse_iso("2026-06-14T" + clock + "Z")->unix_nanoseconds() / 1000;
}

std::string at(const std::string& clock) {
    return "2026-06-14T" + clock + ".000Z";
}

/// A device as Deck makes it: its own count, its own clock, each press one or a few entries.
class Phone {
  public:
    Phone(const std::string& device, std::string author, store::Role role, std::int64_t clock_ahead_us,
          std::vector<store::Entry>& all)
        : device_(*store::DeviceId::parse(device)), author_(std::move(author)), role_(role),
          ahead_us_(clock_ahead_us), all_(&all) {}

    /// Has had news of all that was written up to now.
    void meets_the_others() {
        for (const auto& entry : *all_) {
            time_ = store::receive(time_, entry.time, entry.moment.wall_us);
        }
    }

    std::string write(const std::string& clock, const std::string& act, const json& content) {
        const auto wall_us = microseconds_of(clock) + ahead_us_;
        time_ = store::tick(time_, wall_us);
        all_->push_back({.id = {.device = device_, .sequence = ++sequence_},
                         .time = time_,
                         .moment = {.wall_us = wall_us,
                                    .monotonic_us = wall_us % 1'000'000'007,
                                    .boot = "b",
                                    .clock_offset_us = -ahead_us_},
                         .author = author_,
                         .role = role_,
                         .act = act,
                         .content = content.dump()});
        return id_text(all_->back().id);
    }
    std::string add(const std::string& clock, const std::string& table, const json& row) {
        return write(clock, "add", {{"table", table}, {"row", row}});
    }
    /// A row of the deck's log, at the moment of the press.
    std::string event(const std::string& clock, const std::string& event, json more = json::object()) {
        more.update({{"at", at(clock)}, {"event", event}, {"who", author_}});
        return add(clock, "events", more);
    }
    std::string set(const std::string& clock, const std::string& table, const std::string& added_by,
                    const std::string& column, const std::string& was, const std::string& now) {
        return write(
            clock, "set",
            {{"table", table}, {"added_by", added_by}, {"cells", {{column, {{"was", was}, {"now", now}}}}}});
    }

  private:
    store::DeviceId device_;
    std::string author_;
    store::Role role_;
    std::int64_t ahead_us_;
    std::uint64_t sequence_ = 0;
    store::HybridTime time_;
    std::vector<store::Entry>* all_;
};

/// Bite, hook-up and landing of a fish that gets its name when it is landed. The id of its encounter's entry.
std::string land(Phone& phone, const std::string& fish, const json& rod,
                 const std::array<std::string, 3>& clocks) {
    const auto bite = phone.event(clocks[0], "bite", rod);
    const auto hook_up = phone.event(clocks[1], "hook_up", rod);
    phone.add(clocks[2], "fish", {{"fish", fish}, {"species", "Salmo trutta"}});
    const auto encounter = phone.add(clocks[2], "encounters",
                                     {{"encounter", fish},
                                      {"fish", fish},
                                      {"at", at(clocks[1])},
                                      {"method", "angling"},
                                      {"rig", rod.at("rig")},
                                      {"unhooking", "in the net"},
                                      {"landing", "net"}});
    json landed = rod;
    landed["fish"] = fish;
    phone.event(clocks[2], "landed", landed);
    phone.set(clocks[2], "events", hook_up, "fish", "", fish);
    phone.set(clocks[2], "events", bite, "fish", "", fish);
    return encounter;
}

std::vector<store::Entry> morning() {
    std::vector<store::Entry> all;
    Phone port("00000000000000aa", "A. Keen", store::Role::crew, 0, all);
    Phone starboard("00000000000000bb", "B. Reel", store::Role::crew, 95'000'000, all);
    Phone tablet("00000000000000cc", "C. Vial", store::Role::scientist, -4'000'000, all);
    const json port_rod{{"rod", "port 1"}, {"rig", "single_hook"}};
    const json starboard_rod{{"rod", "starboard 1"}, {"rig", "treble_hook"}};

    port.event("07:30:00", "lines_in", port_rod);
    starboard.event("07:31:00", "lines_in", starboard_rod);
    const auto encounter = land(port, "0614-A1", port_rod, {"07:54:50", "07:55:00", "08:00:00"});
    port.event("08:00:20", "air_start", {{"fish", "0614-A1"}});
    port.event("08:01:00", "air_end", {{"fish", "0614-A1"}});
    const auto back = port.event("08:01:00", "back_in_water", {{"fish", "0614-A1"}});
    port.event("08:04:30", "sealed", {{"fish", "0614-A1"}, {"assembly", "tube"}});
    const auto slip = port.event("08:10:00", "righting_lost", {{"fish", "0614-A1"}});
    port.write("08:10:04", "undo", {{"entry", slip}});

    starboard.event("08:20:00", "bite", starboard_rod);
    starboard.event("08:21:00", "hook_up", starboard_rod);
    json lost = starboard_rod;
    lost["note"] = "line broke";
    starboard.event("08:23:00", "lost", lost);
    land(starboard, "0614-B1", starboard_rod, {"08:40:00", "08:41:00", "08:44:00"});
    starboard.event("08:45:00", "back_in_water", {{"fish", "0614-B1"}});

    tablet.meets_the_others();
    tablet.set("08:50:00", "encounters", encounter, "hook_location", "", "upper_jaw");
    tablet.set("08:51:00", "events", back, "at", at("08:01:00"), at("08:01:10"));
    // The first fish leaves the tube: only now is its stay known.
    tablet.add("09:04:00", "stays",
               {{"stay", "0614-A1 1"},
                {"fish", "0614-A1"},
                {"assembly", "tube"},
                {"role", "after_capture"},
                {"from", at("08:04:30")},
                {"to", at("09:04:00")},
                {"ended", "done"}});
    tablet.event("09:05:00", "anaesthetic", {{"fish", "0614-A1"}, {"note", "bath"}});
    tablet.event("09:06:00", "blood", {{"fish", "0614-A1"}, {"value", "0.8"}, {"unit", "mL"}});
    tablet.add("09:06:00", "blood",
               {{"fish", "0614-A1"}, {"drawn_at", at("09:06:00")}, {"volume_ml", "0.8"}, {"who", "C. Vial"}});
    tablet.event("09:07:00", "weighed", {{"fish", "0614-A1"}, {"value", "500"}, {"unit", "g"}});
    tablet.add("09:08:00", "fins",
               {{"fish", "0614-A1"},
                {"occasion", "landing"},
                {"fin", "caudal"},
                {"score", "slight"},
                {"fray", "yes"},
                {"scorer", "C. Vial"},
                {"at", at("09:08:00")}});
    tablet.add("09:08:00", "body",
               {{"fish", "0614-A1"},
                {"occasion", "landing"},
                {"area", "hook_wound"},
                {"score", "slight"},
                {"scorer", "C. Vial"},
                {"at", at("09:08:00")}});
    tablet.add("09:09:00", "reflexes",
               {{"fish", "0614-A1"}, {"at", at("09:09:00")}, {"test", "righting"}, {"there", "yes"}});
    // The second one is in the tube, and has no stay yet.
    starboard.event("09:10:00", "sealed", {{"fish", "0614-B1"}, {"assembly", "tube"}});
    tablet.event("09:12:00", "released", {{"fish", "0614-A1"}});
    // Late, and by a clock of its own: at 08:30, said at 09:20.
    port.add("09:20:00", "events",
             {{"at", at("08:30:00")},
              {"event", "transfer"},
              {"fish", "0614-B1"},
              {"who", "A. Keen"},
              {"note", "into the net pen"}});
    port.event("09:30:00", "lines_out", port_rod);
    return all;
}

test::StudyFiles empty_study() {
    auto files = test::small_study();
    files["study.toml"] +=
        "[permit]\nfish = 40\nchases_per_fish = 1\nair_s = 60\n[blood]\nceiling_ml_per_kg = 4\n"
        "[deck]\nrods = [\"port 1\", \"starboard 1\"]\n";
    files["fish.csv"] = "fish,species,mass_g\n";
    files["encounters.csv"] = "encounter,fish,at\n";
    files["events.csv"] = "at,event,fish\n";
    files["stays.csv"] = "stay,fish,assembly,role,from,to\n"
                         "b1,,tube,blank,2026-06-14T21:04:00Z,2026-06-14T22:00:00Z\n";
    return files;
}

/// A study into which entries are carried in batches.
struct Boat : test::ScratchFolder {
    explicit Boat(const std::string& name) : ScratchFolder(name) { write_all(*this, empty_study()); }

    void take(std::span<const store::Entry> entries) {
        JournalWriter writer(path(), [] { return *parse_iso("2026-06-14T12:00:00Z"); });
        const auto taken = writer.take_in(entries);
        ASSERT_TRUE(taken) << taken.error().text();
        ASSERT_THAT(taken->appended.conflicts, IsEmpty());
    }

    /// Every table as it stands, cell by cell.
    [[nodiscard]] std::map<std::string, std::vector<std::vector<std::string>>> tables() const {
        const auto edits = read_journal(path()).read.edits();
        std::map<std::string, std::vector<std::vector<std::string>>> out;
        for (const auto& table : study::tables()) {
            const auto grid = intake::read_grid(path(), table.name, edits);
            auto& rows = out[table.file];
            rows.push_back(grid->columns);
            for (const auto& row : grid->rows) {
                rows.push_back(row.cells);
            }
        }
        return out;
    }
    [[nodiscard]] std::string results() const {
        const auto run = answer_study(path(), false, {});
        EXPECT_TRUE(run && run->study);
        return run && run->study ? std::string(ResultSet(*run->study->run).file("results.json")->bytes) : "";
    }
};

template <typename T>
void shuffle(std::vector<T>& items, Random& random) {
    for (std::size_t i = items.size(); i > 1; --i) {
        std::swap(items[i - 1], items[random.below(i)]);
    }
}

/// In any order, in batches of any size, some of them more than once.
void carry_at_random(Boat& boat, std::vector<store::Entry> entries, Random& random) {
    const auto once = entries.size();
    for (std::size_t i = 0; i < once; ++i) {
        for (auto more = random.below(3); more > 0; --more) {
            entries.push_back(entries[i]);
        }
    }
    shuffle(entries, random);
    std::span<const store::Entry> rest(entries);
    while (!rest.empty()) {
        const auto size = std::min<std::size_t>(rest.size(), 1 + random.below(30));
        ASSERT_NO_FATAL_FAILURE(boat.take(rest.first(size)));
        rest = rest.subspan(size);
    }
}

TEST(Morning, IsUnderstoodAndStopsNothing) {
    Boat boat("morning");
    boat.take(morning());
    const auto opened = open_study(boat.path(), {});
    ASSERT_TRUE(opened);
    for (const auto& complaint : opened->complaints) {
        EXPECT_EQ(complaint.severity, study::Severity::warning) << complaint.error.text();
        EXPECT_NE(complaint.error.place.file, study::journal_name) << complaint.error.text();
    }
    const auto& tables = opened->study.tables;
    ASSERT_THAT(tables.fish, SizeIs(2));
    EXPECT_EQ(tables.fish[0].id.text(), "0614-A1");
    ASSERT_THAT(tables.encounters, SizeIs(2));
    EXPECT_EQ(tables.encounters[0].hook_location, "upper_jaw");
    ASSERT_THAT(tables.stays, SizeIs(2));
    const auto has = [&](study::EventKind kind, const std::string& fish, const std::string& clock) {
        return std::ranges::count_if(tables.events, [&](const study::Event& event) {
                   return event.kind == kind && event.fish.text() == fish &&
                          event.at == *parse_iso(at(clock));
               }) == 1;
    };
    EXPECT_TRUE(has(study::EventKind::hook_up, "0614-A1", "07:55:00")); // it got its name when it was landed
    EXPECT_TRUE(has(study::EventKind::bite, "0614-B1", "08:40:00"));
    EXPECT_TRUE(has(study::EventKind::hook_up, "", "08:21:00")); // the one that was lost
    EXPECT_TRUE(has(study::EventKind::back_in_water, "0614-A1", "08:01:10"));
    EXPECT_TRUE(has(study::EventKind::transfer, "0614-B1", "08:30:00"));
    EXPECT_FALSE(has(study::EventKind::righting_lost, "0614-A1", "08:10:00"));
    EXPECT_THAT(boat.results(), HasSubstr("0614-A1"));
}

TEST(Morning, GivesTheSameBytesWhateverWayItCameIn) {
    const auto entries = morning();
    Boat boat("morning_in_order");
    boat.take(entries);
    const auto results = boat.results();
    Random random(20260614);
    for (int way = 0; way < 2; ++way) {
        Boat other(fmt::format("morning_way_{}", way));
        carry_at_random(other, entries, random);
        EXPECT_EQ(other.results(), results);
    }
}

TEST(Morning, GivesTheSameTablesAfterEveryOrderAndRepetitionOfItsBatches) {
    const auto entries = morning();
    Boat boat("morning_tables");
    boat.take(entries);
    const auto tables = boat.tables();
    const auto read = read_journal(boat.path());
    Random random(7);
    for (int way = 0; way < 25; ++way) {
        Boat other(fmt::format("morning_any_{}", way));
        carry_at_random(other, entries, random);
        const auto other_read = read_journal(other.path());
        ASSERT_EQ(other_read.entries, read.entries) << way;
        ASSERT_EQ(other_read.read.edits(), read.read.edits()) << way;
        ASSERT_EQ(other_read.complaints, read.complaints) << way;
        ASSERT_EQ(other.tables(), tables) << way;
    }
}

TEST(Morning, OfWhichAPartIsStillOnItsWayIsReadAsFarAsItIsThere) {
    auto entries = morning();
    Random random(3);
    for (int way = 0; way < 10; ++way) {
        auto part = entries;
        shuffle(part, random);
        part.resize(part.size() / 2);
        Boat boat(fmt::format("morning_part_{}", way));
        boat.take(part);
        EXPECT_THAT(read_journal(boat.path()).entries, SizeIs(part.size()));
        boat.take(entries); // and once all is there, nothing of that is left
        EXPECT_THAT(read_journal(boat.path()).complaints, IsEmpty());
    }
}

} // namespace
} // namespace backeddy::app
