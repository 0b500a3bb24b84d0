// Counts against the permit: told, with whom to ask, and never a stop.

#include "study/permit.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::study {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class Permit : public testing::Test {
  protected:
    Permit() {
        brief_.study.permit = "P-1";
        brief_.permit.watched_by = "R. Warden";
        for (const char* name : {"T01", "T02", "T03"}) {
            tables_.fish.push_back(
                {.id = FishId(name), .place = {.file = "fish.csv", .line = tables_.fish.size() + 2}});
        }
    }
    void happen(double second, EventKind kind, const char* fish = "T01") {
        Event event;
        event.at = *parse_iso("2026-06-14T08:00:00Z") + Duration::seconds(second);
        event.kind = kind;
        event.fish = FishId(fish);
        event.place = {.file = "events.csv", .line = tables_.events.size() + 2};
        tables_.events.push_back(event);
    }
    [[nodiscard]] std::vector<Complaint> told() const { return check_permit(brief_, tables_); }

    Brief brief_;
    Tables tables_;
};

TEST_F(Permit, that_says_nothing_is_passed_by_nothing) {
    for (int i = 0; i < 5; ++i) {
        happen(i * 1000.0, EventKind::chase_start);
        happen(i * 1000.0 + 900.0, EventKind::chase_end);
    }
    EXPECT_THAT(told(), IsEmpty());
}

TEST_F(Permit, counts_the_fish_that_were_met) {
    brief_.permit.fish = 3;
    EXPECT_THAT(told(), IsEmpty());
    brief_.permit.fish = 2;
    ASSERT_THAT(told(), SizeIs(1));
    const auto complaint = told().front();
    EXPECT_EQ(complaint.severity, Severity::warning);
    EXPECT_EQ(complaint.error.place.line, 4U); // the third fish
    EXPECT_THAT(complaint.error.text(), HasSubstr("3 fish were met"));
    EXPECT_THAT(complaint.error.text(), HasSubstr("at most 2, as the permit P-1 lets"));
    EXPECT_THAT(complaint.error.text(), HasSubstr("ask R. Warden"));
    brief_.permit.watched_by = "";
    EXPECT_THAT(told().front().error.text(), HasSubstr("ask whoever holds the permit"));
}

TEST_F(Permit, counts_the_chases_of_each_fish) {
    brief_.permit.chases_per_fish = 1;
    happen(0, EventKind::chase_start);
    happen(240, EventKind::chase_end);
    happen(300, EventKind::chase_start, "T02");
    EXPECT_THAT(told(), IsEmpty());
    happen(90000, EventKind::chase_start);
    happen(180000, EventKind::chase_start);
    ASSERT_THAT(told(), SizeIs(1));
    EXPECT_THAT(told().front().error.text(), HasSubstr("\"T01\" was chased 3 times; at most 1 of each fish"));
    EXPECT_EQ(told().front().error.place.line, 5U); // the second of its chases
    brief_.permit.chases_per_fish = 0;
    EXPECT_THAT(told(), SizeIs(2));
}

TEST_F(Permit, times_each_exposure_to_air_by_itself) {
    brief_.permit.air = Duration::seconds(60.0);
    happen(0, EventKind::air_start);
    happen(60, EventKind::air_end);
    happen(100, EventKind::air_start);
    happen(140, EventKind::air_end);
    EXPECT_THAT(told(), IsEmpty());
    happen(200, EventKind::chase_start);
    happen(400, EventKind::chase_end);
    happen(400, EventKind::air_start);
    happen(475.4, EventKind::air_end);
    ASSERT_THAT(told(), SizeIs(1));
    EXPECT_THAT(told().front().error.text(),
                HasSubstr("\"T01\" was in air for 75 s; at most 60 s at a time"));
    EXPECT_EQ(told().front().error.place.line, 9U);
}

TEST_F(Permit, takes_what_was_typed_where_no_event_says_it) {
    brief_.permit.air = Duration::seconds(60.0);
    Encounter row;
    row.id = EncounterId("e1");
    row.fish = FishId("T01");
    row.at = *parse_iso("2026-06-14T08:00:00Z");
    row.free = {{.column = "air_s", .value = "90"}};
    row.place = {.file = "encounters.csv", .line = 2};
    tables_.encounters.push_back(row);
    ASSERT_THAT(told(), SizeIs(1));
    EXPECT_EQ(told().front().error.place.file, "encounters.csv");
    happen(10, EventKind::air_start);
    happen(50, EventKind::air_end);
    EXPECT_THAT(told(), IsEmpty());
}

TEST_F(Permit, an_exposure_without_its_end_is_not_timed) {
    brief_.permit.air = Duration::seconds(60.0);
    happen(0, EventKind::air_start);
    happen(500, EventKind::air_start);
    happen(530, EventKind::air_end);
    happen(900, EventKind::air_end);
    EXPECT_THAT(told(), IsEmpty());
}

} // namespace
} // namespace backeddy::study
