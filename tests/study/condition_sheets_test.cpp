#include "study/condition_sheets.hpp"

#include <string>
#include <utility>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "study/blood_draws.hpp"
#include "study/meters.hpp"

namespace backeddy::study {
namespace {

using condition::Analyte;
using condition::FateKind;
using condition::Fin;
using condition::WellKind;
using testing::AllOf;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using testing::StartsWith;
using testing::UnorderedElementsAre;

Instant at(const std::string& clock) {
    return parse_iso("2026-06-" + clock + ":00Z").value();
}

Place in(const char* file, std::size_t rows_before) {
    return {.file = file, .line = rows_before + 2, .column = {}, .byte = {}};
}

/// st01, 800 g, met at 10:00; st02, not weighed, without an encounter.
struct Study {
    Brief brief;
    Tables tables;

    Study() {
        for (const char* name : {"st01", "st02"}) {
            Fish fish;
            fish.id = FishId(name);
            fish.place = in("fish.csv", tables.fish.size());
            tables.fish.push_back(fish);
        }
        tables.fish[0].mass = Mass::grams(800.0);
        met("st01", "14T10:00");
    }

    ConditionSheets& sheets() { return tables.sheets; }

    void met(const char* fish, const char* when) {
        Encounter row;
        row.id = EncounterId("e" + std::to_string(tables.encounters.size()));
        row.fish = FishId(fish);
        row.at = at(when);
        row.place = in("encounters.csv", tables.encounters.size());
        tables.encounters.push_back(row);
    }
    Event& event(EventKind kind, const char* fish, const char* when) {
        Event row;
        row.kind = kind;
        row.fish = FishId(fish);
        row.at = at(when);
        row.place = in("events.csv", tables.events.size());
        tables.events.push_back(row);
        return tables.events.back();
    }
    BloodRow& blood(const char* fish, const char* when) {
        BloodRow row;
        row.fish = FishId(fish);
        row.drawn_at = at(when);
        row.place = in("blood.csv", sheets().blood.size());
        sheets().blood.push_back(row);
        return sheets().blood.back();
    }
    BloodRow& lactate(const char* fish, const char* when, double value) {
        auto& row = blood(fish, when);
        row.analyte = Analyte::lactate;
        row.value = ValueOrLimit{.value = value};
        row.unit = "mmol/L";
        return row;
    }
    SampleRow& sample(const char* id, const char* fish, const char* when, const char* of = "") {
        SampleRow row;
        row.id = SampleId(id);
        row.fish = FishId(fish);
        row.taken_at = at(when);
        row.split_of = SampleId(of);
        row.place = in("samples.csv", sheets().samples.size());
        sheets().samples.push_back(row);
        return sheets().samples.back();
    }
    PlateRow& plate(const char* id) {
        PlateRow row;
        row.id = PlateId(id);
        row.file = "raw/p.csv";
        row.unit = "ng/mL";
        row.place = in("plates.csv", sheets().plates.size());
        sheets().plates.push_back(row);
        return sheets().plates.back();
    }
    WellRow& well(std::size_t row_of_plate, std::size_t column, WellKind kind, const char* label = "") {
        WellRow row;
        row.plate = PlateId("p1");
        row.row = row_of_plate;
        row.column = column;
        row.kind = kind;
        row.label = label;
        row.place = in("wells.csv", sheets().wells.size());
        sheets().wells.push_back(row);
        return sheets().wells.back();
    }
    FinRow& fin(ScoredFin which, const char* score) {
        FinRow row;
        row.fish = FishId("st01");
        row.fin = which;
        row.score = score;
        row.place = in("fins.csv", sheets().fins.size());
        sheets().fins.push_back(row);
        return sheets().fins.back();
    }
    BodyRow& body(ScoredPart part, const char* score) {
        BodyRow row;
        row.fish = FishId("st01");
        row.part = part;
        row.score = score;
        row.place = in("body.csv", sheets().body.size());
        sheets().body.push_back(row);
        return sheets().body.back();
    }
    ReflexRow& reflex(const char* test, std::optional<bool> is_there) {
        ReflexRow row;
        row.fish = FishId("st01");
        row.at = at("14T10:02");
        row.test = test;
        row.is_there = is_there;
        row.place = in("reflexes.csv", sheets().reflexes.size());
        sheets().reflexes.push_back(row);
        return sheets().reflexes.back();
    }
    FateRow& fate(FateKind what, const char* when, const char* fish = "st01") {
        FateRow row;
        row.fish = FishId(fish);
        row.what = what;
        row.at = at(when);
        row.place = in("fates.csv", sheets().fates.size());
        sheets().fates.push_back(row);
        return sheets().fates.back();
    }

    [[nodiscard]] SheetCheck checked() const { return check_sheets(brief, tables); }
    /// "beware blood.csv 2 value: found | expected | remedy"
    [[nodiscard]] std::vector<std::string> said() const {
        std::vector<std::string> out;
        for (const auto& c : checked().complaints) {
            out.push_back(std::string(word(c.severity)) + " " + c.error.place.file + " " +
                          std::to_string(c.error.place.line.value_or(0)) + " " + c.error.place.column + ": " +
                          c.error.found + " | " + c.error.expected + " | " + c.error.remedy);
        }
        return out;
    }
};

/// Every sheet, and nothing wrong in any.
Study sound_study() {
    Study s;
    s.brief.blood.ceiling_ml_per_kg = 1.5;
    s.sample("a1", "st01", "14T10:05");
    s.sample("a2", "st01", "14T10:05", "a1");
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.6;
    s.lactate("st01", "14T10:05", 6.2).sample = SampleId("a1");
    s.plate("p1");
    s.well(1, 1, WellKind::standard).concentration = 50.0;
    s.well(1, 2, WellKind::zero);
    s.well(2, 1, WellKind::control, "pool").concentration = 12.0;
    s.well(8, 12, WellKind::sample, "a2").dilution = 20.0;
    s.well(8, 11, WellKind::spiked, "a2").added = 5.0;
    s.fin(ScoredFin::all, "whole");
    s.fin(ScoredFin::caudal, "Moderate");
    s.body(ScoredPart::hook_wound, "heavy");
    s.reflex("righting", true);
    s.fate(FateKind::released, "14T12:00");
    return s;
}

TEST(ConditionSheets, sound_sheets_are_no_complaint_and_all_count) {
    const auto checked = sound_study().checked();
    EXPECT_THAT(sound_study().said(), IsEmpty());
    EXPECT_THAT(checked.sound.blood, SizeIs(2));
    EXPECT_THAT(checked.sound.samples, SizeIs(2));
    EXPECT_THAT(checked.sound.plates, SizeIs(1));
    EXPECT_THAT(checked.sound.wells, SizeIs(5));
    EXPECT_THAT(checked.sound.fins, SizeIs(2));
    EXPECT_THAT(checked.sound.body, SizeIs(1));
    EXPECT_THAT(checked.sound.reflexes, SizeIs(1));
    EXPECT_THAT(checked.sound.fates, SizeIs(1));
}

TEST(ConditionSheets, an_unknown_fish_is_left_out_of_its_sheet_and_in_fates_it_stops_a_run) {
    Study s = sound_study();
    for (auto* fish : {&s.sheets().blood[0].fish, &s.sheets().samples[0].fish, &s.sheets().fins[0].fish,
                       &s.sheets().body[0].fish, &s.sheets().reflexes[0].fish, &s.sheets().fates[0].fish}) {
        *fish = FishId("st1");
    }
    const auto said = s.said();
    for (const char* file : {"blood.csv", "fins.csv", "body.csv", "reflexes.csv"}) {
        EXPECT_THAT(said,
                    Contains(AllOf(StartsWith(std::string("beware ") + file + " 2 fish"),
                                   HasSubstr("did you mean \"st01\"?; until then the row is left out"))));
    }
    EXPECT_THAT(said, Contains(StartsWith("beware samples.csv 2 fish: \"st1\"")));
    EXPECT_THAT(said, Contains(StartsWith("stops fates.csv 2 fish: \"st1\"")));
    const auto sound = s.checked().sound;
    EXPECT_THAT(sound.fins, ElementsAre(testing::Field(&FinRow::fin, ScoredFin::caudal)));
    EXPECT_THAT(sound.body, IsEmpty());
}

// ---- blood

TEST(ConditionSheets, blood_drawn_before_the_catch_is_left_out_with_all_of_its_draw) {
    Study s;
    s.lactate("st01", "14T09:30", 6.0);
    s.lactate("st01", "14T09:30", 5.0);
    s.lactate("st01", "14T10:00", 4.0);
    EXPECT_THAT(s.said(), ElementsAre(AllOf(
                              StartsWith("beware blood.csv 2 drawn_at: blood of \"st01\" drawn at "
                                         "2026-06-14T09:30:00Z, and it was first met at 2026-06-14T10:00:00Z "
                                         "(encounters.csv, line 2)"),
                              HasSubstr("until then its 2 rows are left out"))));
    EXPECT_THAT(s.checked().sound.blood, SizeIs(1));
    s.met("st01", "13T10:00"); // it had been caught the day before
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(ConditionSheets, a_minute_and_two_uncertainties_of_the_catch_are_no_contradiction) {
    Study s;
    s.tables.encounters[0].at_uncertainty = Duration::seconds(120.0);
    s.lactate("st01", "14T09:55", 6.0); // 60 s and 2 x 120 s
    EXPECT_THAT(s.said(), IsEmpty());
    s.sheets().blood[0].drawn_at = at("14T09:54");
    EXPECT_THAT(s.said(), SizeIs(1));
}

TEST(ConditionSheets, blood_drawn_after_the_fish_left_is_left_out_until_it_is_met_again) {
    Study s;
    s.event(EventKind::released, "st01", "14T12:00");
    s.lactate("st01", "14T12:01", 6.0); // the same minute, nearly
    EXPECT_THAT(s.said(), IsEmpty());
    s.lactate("st01", "14T12:30", 6.0);
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware blood.csv 3 drawn_at: blood of \"st01\" drawn at "
                                                "2026-06-14T12:30:00Z, after the fish had left: released at "
                                                "2026-06-14T12:00:00Z (events.csv, line 2)")));
    EXPECT_THAT(s.checked().sound.blood, SizeIs(1));
    s.met("st01", "14T12:20");
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(ConditionSheets, a_killed_fish_is_bled_within_the_hour_and_not_later) {
    Study s;
    s.fate(FateKind::dead, "14T12:00");
    s.lactate("st01", "14T12:59", 6.0);
    EXPECT_THAT(s.said(), IsEmpty());
    s.lactate("st01", "14T13:01", 6.0);
    s.met("st01", "14T13:00"); // nobody meets a dead fish alive
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("blood.csv 3 drawn_at: blood of \"st01\"")));
}

TEST(ConditionSheets, two_volumes_of_one_draw_are_told_and_the_larger_counts) {
    Study s;
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.4;
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.5;
    s.lactate("st01", "14T10:05", 6.0);
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr(
                              "blood.csv 3 volume_ml: 0.5 mL, and 0.4 mL of the same draw of \"st01\" "
                              "(line 2)")));
    const auto draws = blood_draws(FishId("st01"), s.sheets().blood, s.tables);
    ASSERT_THAT(draws, SizeIs(1));
    EXPECT_EQ(draws[0].volume_ml, 0.5);
    EXPECT_THAT(draws[0].rows, SizeIs(3));
}

// Blood noted on deck and again on the bench is one draw; a bleed of which only the deck tells is another.
TEST(ConditionSheets, an_event_of_blood_is_a_draw_where_blood_csv_has_none_within_a_quarter_of_an_hour) {
    Study s;
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.4;
    s.lactate("st01", "14T14:00", 6.0);
    const auto bled = [&](const char* when, double value, const char* unit) {
        auto& event = s.event(EventKind::blood, "st01", when);
        event.value = value;
        event.unit = unit;
    };
    bled("14T10:20", 0.3, "mL");   // the first again: the larger volume stands
    bled("14T14:02", 300.0, "uL"); // the second again, which has none
    bled("14T16:00", 0.2, "mL");
    bled("14T18:00", 0.2, "drops");
    s.event(EventKind::blood, "st02", "14T16:00").value = 0.7;
    const auto draws = blood_draws(FishId("st01"), s.sheets().blood, s.tables);
    ASSERT_THAT(draws, SizeIs(4));
    EXPECT_EQ(draws[0].volume_ml, 0.4);
    EXPECT_EQ(draws[0].volume_event, nullptr);
    EXPECT_EQ(draws[1].volume_ml, 0.3);
    EXPECT_EQ(draws[1].volume_event, &s.tables.events[1]);
    EXPECT_EQ(draws[1].at, at("14T14:00")) << "by blood.csv";
    EXPECT_EQ(draws[2].volume_ml, 0.2);
    EXPECT_EQ(draws[2].place().file, "events.csv");
    EXPECT_FALSE(draws[3].volume_ml);
    EXPECT_THAT(volumes_of(draws), SizeIs(3));
}

TEST(ConditionSheets, an_event_s_volume_that_contradicts_blood_csv_is_told_and_the_larger_counts) {
    Study s;
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.5;
    auto& event = s.event(EventKind::blood, "st01", "14T10:05");
    event.value = 3.0;
    event.unit = "mL";
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("beware events.csv 2 value: 3 mL, and 0.5 mL of the same draw "
                                      "of \"st01\" (blood.csv, line 2)")));
    EXPECT_EQ(blood_draws(FishId("st01"), s.sheets().blood, s.tables).at(0).volume_ml, 3.0);
    s.brief.blood.ceiling_ml_per_kg = 1.5;
    EXPECT_THAT(s.said(), Contains(HasSubstr("events.csv 2 value: \"st01\": 3.00 mL now")));
    s.tables.events[0].value = 500.0;
    for (const char* unit : {"uL", "\u00b5L", "\u03bcl"}) {
        s.tables.events[0].unit = unit;
        EXPECT_THAT(s.said(), IsEmpty()) << unit;
    }
    s.tables.events[0].unit = "drops";
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("events.csv 2 value: 500 \"drops\" of blood of \"st01\" | a "
                                                "volume above 0, its unit mL, uL or L")));
}

TEST(ConditionSheets, blood_half_an_hour_apart_is_two_draws_and_a_question) {
    Study s;
    s.lactate("st01", "14T11:30", 6.0).volume_ml = 0.5;
    auto& event = s.event(EventKind::blood, "st01", "14T12:00");
    event.value = 0.9;
    event.unit = "mL";
    EXPECT_THAT(
        s.said(),
        ElementsAre(AllOf(HasSubstr("beware events.csv 2 at: blood of \"st01\" at 2026-06-14T12:00:00Z, "
                                    "and in blood.csv at 2026-06-14T11:30:00Z (line 2): one draw or two?"),
                          HasSubstr("over 15 minutes apart they count as two"))));
    EXPECT_THAT(volumes_of(blood_draws(FishId("st01"), s.sheets().blood, s.tables)), SizeIs(2));
    s.brief.blood.ceiling_ml_per_kg = 1.5; // 1.2 mL of 0.8 kg, and 1.4 mL were drawn
    EXPECT_THAT(s.said(), Contains(HasSubstr("OVER the permit's 1.50 mL/kg by 0.20 mL")));
    s.tables.events[0].at = at("14T12:31");
    EXPECT_THAT(s.said(), Not(Contains(HasSubstr("one draw or two"))));
}

TEST(ConditionSheets, haematocrit_is_of_whole_blood) {
    Study s;
    s.sample("a1", "st01", "14T10:05").matrix = condition::Matrix::plasma;
    auto& row = s.blood("st01", "14T10:05");
    row.analyte = Analyte::haematocrit;
    row.value = ValueOrLimit{.value = 40.0};
    row.unit = "%";
    row.sample = SampleId("a1");
    EXPECT_THAT(s.said(), IsEmpty());
    EXPECT_EQ(assayed(s.sheets().blood[0], s.sheets()).matrix, condition::Matrix::whole_blood);
    s.sheets().blood[0].matrix = condition::Matrix::plasma;
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware blood.csv 2 matrix: haematocrit of \"plasma\"")));
    EXPECT_EQ(assayed(s.sheets().blood[0], s.sheets()).matrix, condition::Matrix::whole_blood);
}

// 0.8 kg and 1.5 mL/kg: 1.2 mL in all, of which the deck's 0.7 mL are gone.
TEST(ConditionSheets, an_event_s_blood_counts_towards_the_ceiling) {
    Study s;
    s.brief.blood.ceiling_ml_per_kg = 1.5;
    auto& event = s.event(EventKind::blood, "st01", "14T10:05");
    event.value = 0.7;
    event.unit = "mL";
    s.lactate("st01", "14T12:05", 6.0).volume_ml = 0.51;
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware blood.csv 2 volume_ml: \"st01\": 0.51 mL now")));
    s.sheets().blood[0].volume_ml = 0.5;
    EXPECT_THAT(s.said(), IsEmpty());
    s.tables.events[0].unit = "";
    EXPECT_THAT(s.said(), UnorderedElementsAre(HasSubstr("beware events.csv 2 unit: 0.7 \"\" of blood"),
                                               HasSubstr("events.csv 2 value: a draw of an unknown volume")));
}

// A meter that reads 1 + 2 times the truth, without error: 6.5 mmol/L read are 2.75.
TEST(ConditionSheets, a_meter_of_the_brief_sets_its_values_right_and_no_others) {
    Study s;
    Meter meter;
    meter.device = "Strip";
    for (const double truth : {1.0, 2.0, 4.0, 8.0, 12.0}) {
        meter.pairs.push_back({.reference = truth, .meter = 1.0 + (2.0 * truth)});
    }
    s.brief.meters.push_back(meter);
    s.lactate("st01", "14T10:05", 6.5).device = " strip";
    s.lactate("st01", "14T10:05", 6.5).device = "bench";
    const Meters meters(s.brief);
    EXPECT_THAT(meters.complaints(), IsEmpty());
    const auto read = assayed(s.sheets().blood[0], s.sheets());
    ASSERT_NE(meters.find(read), nullptr);
    EXPECT_NEAR(condition::determined(read, meters.find(read))->value, 2.75, 1e-9);
    EXPECT_EQ(meters.find(assayed(s.sheets().blood[1], s.sheets())), nullptr);
}

// 9.008 mg/dL of lactic acid are 1 mmol/L: pairs in mg/dL correct a value in mmol/L.
TEST(ConditionSheets, the_pairs_of_a_meter_may_be_in_another_unit) {
    Study s;
    Meter meter;
    meter.device = "strip";
    meter.unit = "mg/dL";
    for (const double truth : {1.0, 2.0, 4.0, 8.0, 12.0}) {
        meter.pairs.push_back({.reference = 9.0078 * truth, .meter = 9.0078 * (1.0 + (2.0 * truth))});
    }
    s.brief.meters.push_back(meter);
    s.lactate("st01", "14T10:05", 6.5).device = "strip";
    const Meters meters(s.brief);
    const auto read = assayed(s.sheets().blood[0], s.sheets());
    ASSERT_NE(meters.find(read), nullptr);
    EXPECT_NEAR(condition::determined(read, meters.find(read))->value, 2.75, 1e-9);
}

TEST(ConditionSheets, a_meter_that_cannot_be_fitted_is_told_and_corrects_nothing) {
    Study s;
    Meter meter;
    meter.device = "strip";
    meter.pairs = {{.reference = 1.0, .meter = 1.1}, {.reference = 2.0, .meter = 2.2}};
    meter.place = {.file = "study.toml", .line = 12, .column = {}, .byte = {}};
    s.brief.meters = {meter};
    auto& row = s.lactate("st01", "14T10:05", 6.5);
    row.device = "strip";
    row.matrix = condition::Matrix::plasma;
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("beware study.toml 12 pairs:"),
                                            HasSubstr("until then its values stand as they were read"))));
    EXPECT_EQ(Meters(s.brief).find(assayed(s.sheets().blood[0], s.sheets())), nullptr);
    s.brief.meters = {meter, meter};
    EXPECT_THAT(Meters(s.brief).complaints(), SizeIs(2)) << "and two of one name are told";
}

// 0.8 kg and 1.5 mL/kg: 1.2 mL in all.
TEST(ConditionSheets, a_draw_over_the_permits_ceiling_is_told_and_counts) {
    Study s;
    s.brief.blood.ceiling_ml_per_kg = 1.5;
    s.lactate("st01", "14T11:05", 6.0).volume_ml = 0.61;
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.6;
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("beware blood.csv 2 volume_ml: \"st01\": 0.61 mL now"),
                                            HasSubstr("OVER the permit's 1.50 mL/kg"),
                                            HasSubstr("[blood] ceiling_ml_per_kg, 1.5 mL/kg"))));
    EXPECT_THAT(s.checked().sound.blood, SizeIs(2));
    s.sheets().blood[0].volume_ml = 0.6;
    EXPECT_THAT(s.said(), IsEmpty());
    s.sheets().blood[0].volume_ml = 0.61;
    s.brief.blood.ceiling_within = Duration::hours(0.5);
    EXPECT_THAT(s.said(), IsEmpty());
}

// 0.9 mL before the season that sets the ceiling, 0.9 mL in it: of 0.8 kg at 1.5 mL/kg 1.2 mL in all.
TEST(ConditionSheets, a_draw_before_there_was_a_ceiling_counts_towards_it) {
    Study s;
    s.brief.seasons.push_back(
        {.name = "permit",
         .from = at("15T00:00"),
         .to = at("30T00:00"),
         .overrides = {{.section = "blood", .key = "ceiling_ml_per_kg", .value = 1.5}}});
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.9;
    s.lactate("st01", "15T10:05", 6.0).volume_ml = 0.9;
    EXPECT_THAT(s.said(), Contains(HasSubstr("OVER the permit's 1.50 mL/kg by 0.60 mL")));
}

TEST(ConditionSheets, a_map_that_the_plate_cannot_use_is_refused) {
    Study s;
    s.plate("p1");
    s.well(1, 1, WellKind::control, "pool").concentration = 2.0;
    s.well(1, 2, WellKind::control, "pool").concentration = 3.0;
    s.well(1, 3, WellKind::control, "low").concentration = 0.0;
    s.sample("a1", "st01", "14T10:05");
    s.well(1, 4, WellKind::spiked, "a1").added = 0.0;
    EXPECT_THAT(s.said(), testing::IsSupersetOf(
                              {HasSubstr("wells.csv 3 concentration: A2: \"pool\" with 3, in A1 it is 2"),
                               HasSubstr("wells.csv 4 concentration: A3: a control that should hold 0"),
                               HasSubstr("wells.csv 5 added: A4: a spiked sample to which 0 was added")}));
    EXPECT_THAT(s.checked().sound.wells, SizeIs(1));
}

TEST(ConditionSheets, the_ceiling_goes_by_the_mass_that_was_weighed_last_before) {
    Study s;
    s.brief.blood.ceiling_ml_per_kg = 1.0;
    s.lactate("st01", "14T10:05", 6.0).volume_ml = 0.7;
    EXPECT_THAT(s.said(), IsEmpty());
    auto& weighed = s.event(EventKind::weighed, "st01", "14T10:01");
    weighed.value = 600.0;
    weighed.unit = "g";
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("OVER the permit's 1.00 mL/kg by 0.10 mL")));
}

TEST(ConditionSheets, what_cannot_be_held_against_a_ceiling_is_told_only_where_there_is_one) {
    Study s;
    s.lactate("st01", "14T10:05", 6.0);
    s.lactate("st02", "14T10:05", 6.0).volume_ml = 0.2;
    EXPECT_THAT(s.said(), IsEmpty());
    s.brief.blood.ceiling_ml_per_kg = 1.5;
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("blood.csv 2 volume_ml: a draw of an unknown volume"),
                                      HasSubstr("blood.csv 3 fish: blood of \"st02\", of which no mass")));
}

TEST(ConditionSheets, a_value_says_what_it_is_of_and_in_which_unit) {
    Study s;
    s.lactate("st01", "14T10:05", 6.0).analyte.reset();
    s.lactate("st01", "14T10:05", 6.0).unit.clear();
    s.lactate("st01", "14T10:05", 6.0).value.reset();
    s.lactate("st01", "14T10:05", 6.0).unit = "ng/mL";
    s.lactate("st01", "14T10:05", 300.0); // outside 0.1 to 30 mmol/L: told, kept
    s.blood("st01", "14T10:05");          // a draw that nobody has measured yet
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("blood.csv 2 analyte: a value of nothing"),
                            HasSubstr("blood.csv 3 unit: lactate of 6 without a unit | one of mmol/L, "
                                      "mg/dL"),
                            HasSubstr("blood.csv 4 value: lactate without a value"),
                            HasSubstr("blood.csv 5 unit: \"ng/mL\" as the unit of lactate"),
                            AllOf(HasSubstr("blood.csv 6 value: lactate of 300 mmol/L is outside"),
                                  HasSubstr("it is kept as it stands"))));
    EXPECT_THAT(s.checked().sound.blood, SizeIs(2));
}

TEST(ConditionSheets, a_limit_stays_a_limit_on_its_way_to_condition) {
    Study s;
    s.sample("a1", "st01", "14T10:05").matrix = condition::Matrix::serum;
    auto& row = s.lactate("st01", "14T10:05", 0.5);
    row.value->known = condition::Known::below;
    row.sample = SampleId("a1");
    const auto given = assayed(row, s.sheets());
    EXPECT_EQ(given.known, condition::Known::below);
    EXPECT_EQ(given.matrix, condition::Matrix::serum) << "of the sample";
    const auto determined = condition::determined(given);
    ASSERT_TRUE(determined.has_value());
    EXPECT_EQ(determined->known_within.lower, 0.0);
    EXPECT_EQ(determined->known_within.upper, 0.5);
}

// ---- samples

TEST(ConditionSheets, a_label_of_two_fish_says_nothing_of_either) {
    Study s;
    s.sample("a1", "st01", "14T10:05");
    s.sample("a1", "st02", "14T10:05");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("samples.csv 3 sample: the label \"a1\" (here of \"st02\") stands "
                                      "in line 2 already")));
    EXPECT_THAT(s.checked().sound.samples, IsEmpty());
    WellRow well;
    well.plate = PlateId("p1");
    well.row = 3;
    well.column = 4;
    well.kind = WellKind::sample;
    well.label = "a1";
    well.place = in("wells.csv", 0);
    s.sheets().wells.push_back(well);
    EXPECT_THAT(s.said(), Contains(HasSubstr("the label \"a1\" (here of \"st02\"; in C4 of plate \"p1\", "
                                             "whose results go with it) stands in line 2 already")));
}

TEST(ConditionSheets, a_part_is_of_another_sample_of_the_same_fish) {
    Study s;
    s.sample("a1", "st01", "14T10:05");
    s.sample("a2", "st02", "14T10:05", "a1");
    s.sample("a3", "st01", "14T10:05", "a3");
    s.sample("a4", "st01", "14T10:05", "a5");
    s.sample("a5", "st01", "14T10:05", "a4");
    s.sample("a6", "st01", "14T10:05", "a4"); // hangs on a circle, and is in none
    s.sample("a7", "st01", "14T10:05", "a01");
    s.sample("a8", "st01", "14T10:25", "a1");
    EXPECT_THAT(
        s.said(),
        ElementsAre(HasSubstr("samples.csv 3 fish: \"a2\" is of \"st02\", and \"a1\", of which it is a "
                              "part, of \"st01\" (line 2)"),
                    HasSubstr("samples.csv 4 split_of: the sample \"a3\" is a part of itself"),
                    HasSubstr("samples.csv 5 split_of: the samples of which \"a4\" is a part lead back"),
                    HasSubstr("samples.csv 6 split_of: the samples of which \"a5\" is a part lead back"),
                    HasSubstr("samples.csv 8 split_of: \"a01\" is not in samples.csv"),
                    HasSubstr("samples.csv 9 taken_at: \"a8\" taken at 2026-06-14T10:25:00Z, and \"a1\"")));
    EXPECT_THAT(s.checked().sound.samples, SizeIs(4)) << "a1, a6, and a7 and a8, which are told only";
}

TEST(ConditionSheets, a_value_is_of_a_sample_of_its_fish_and_minute) {
    Study s;
    s.sample("a1", "st01", "14T10:05");
    s.lactate("st02", "14T10:05", 6.0).sample = SampleId("a1");
    s.lactate("st01", "14T10:07", 6.0).sample = SampleId("a1");
    s.lactate("st01", "14T10:05", 6.0).sample = SampleId("b1");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("blood.csv 2 sample: the sample \"a1\" is of \"st01\""),
                                      HasSubstr("blood.csv 3 drawn_at: drawn at 2026-06-14T10:07:00Z"),
                                      HasSubstr("blood.csv 4 sample: \"b1\" is not in samples.csv")));
    EXPECT_THAT(s.checked().sound.blood, SizeIs(2)) << "an unknown label is told only";
}

// ---- plates

TEST(ConditionSheets, a_well_stands_once_on_its_plate_within_8_by_12) {
    Study s;
    s.plate("p1");
    s.plate("p2");
    s.well(3, 7, WellKind::zero);
    s.well(3, 7, WellKind::blank);
    s.well(3, 7, WellKind::blank).plate = PlateId("p2"); // the same place on another plate
    s.well(9, 1, WellKind::zero);
    s.well(8, 13, WellKind::zero);
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("wells.csv 3 well: C7 of \"p1\" stands in line 2 already"),
                            HasSubstr("wells.csv 5 well: the well I1 | a well of 8 x 12: A1 to H12"),
                            HasSubstr("wells.csv 6 well: the well H13")));
    EXPECT_THAT(s.checked().sound.wells, ElementsAre(testing::Field(&WellRow::plate, PlateId("p2"))));
}

TEST(ConditionSheets, a_well_says_what_it_needs_for_what_it_holds) {
    Study s;
    s.plate("p1");
    s.sample("a1", "st01", "14T10:05");
    s.well(1, 1, WellKind::standard);
    s.well(1, 2, WellKind::standard).concentration = 0.0;
    s.well(1, 3, WellKind::zero).concentration = 2.0;
    s.well(1, 4, WellKind::control);
    s.well(1, 5, WellKind::sample, "a01");
    s.well(1, 6, WellKind::spiked, "a1");
    s.well(1, 7, WellKind::sample, "a1").added = 2.0;
    s.well(1, 8, WellKind::sample, "a1").plate = PlateId("p");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("wells.csv 2 concentration: A1: a standard without"),
                            HasSubstr("wells.csv 3 concentration: A2: a standard without"),
                            HasSubstr("wells.csv 4 concentration: A3: zero with a concentration of 2"),
                            HasSubstr("wells.csv 5 label: A4: control without a label"),
                            HasSubstr("wells.csv 6 label: \"a01\" is not in samples.csv"),
                            HasSubstr("wells.csv 7 added: A6: a spiked sample without"),
                            HasSubstr("wells.csv 8 added: A7: sample to which something was added"),
                            HasSubstr("wells.csv 9 plate: \"p\" is not in plates.csv")));
    EXPECT_THAT(s.checked().sound.wells, IsEmpty());
}

TEST(ConditionSheets, a_dilution_is_of_what_is_read_back_and_a_concentration_of_what_is_known) {
    Study s;
    s.plate("p1");
    s.sample("a1", "st01", "14T10:05");
    s.well(1, 1, WellKind::standard).concentration = 50.0;
    s.sheets().wells[0].dilution = 2.0;
    s.well(1, 2, WellKind::zero).dilution = 1.0;
    s.well(1, 3, WellKind::sample, "a1").concentration = 7.0;
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("wells.csv 2 dilution: A1: standard with a dilution of 2"),
                            HasSubstr("wells.csv 4 concentration: A3: sample with a concentration of 7")));
    EXPECT_THAT(s.checked().sound.wells, SizeIs(2));
}

TEST(ConditionSheets, a_plate_says_how_large_it_is_and_its_file_lies_inside_the_study) {
    Study s;
    s.plate("p1").help.rows = 16;
    s.sheets().plates[0].help.columns = 24;
    s.well(16, 24, WellKind::zero);
    EXPECT_THAT(s.said(), IsEmpty());
    s.well(17, 1, WellKind::zero);
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("a well of 16 x 24: A1 to P24")));
    s.sheets().wells.pop_back();
    for (const char* file : {"/etc/passwd", "../p.csv", "raw/../../p.csv"}) {
        s.sheets().plates[0].file = file;
        EXPECT_THAT(s.said(), testing::Contains(HasSubstr("plates.csv 2 file: ")));
        EXPECT_THAT(s.checked().sound.plates, IsEmpty());
    }
}

TEST(ConditionSheets, wells_of_samples_without_any_in_samples_csv_are_told_once) {
    Study s;
    s.plate("p1");
    s.well(1, 1, WellKind::sample, "a1");
    s.well(1, 2, WellKind::sample, "a1");
    s.well(1, 3, WellKind::zero);
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("wells.csv 2 label: 2 wells of samples, and none in samples.csv")));
    EXPECT_THAT(s.checked().sound.wells, SizeIs(1));
}

TEST(ConditionSheets, a_plate_has_a_map_a_name_of_its_own_and_a_unit_of_its_analyte) {
    Study s;
    s.plate("p1");
    s.plate("p2");
    s.plate("p2");
    s.plate("p3").unit = "mmol/L";
    for (const char* plate : {"p2", "p3"}) {
        s.well(1, 1, WellKind::zero).plate = PlateId(plate);
    }
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("plates.csv 2 plate: no well of the plate \"p1\" is in wells.csv"),
                            HasSubstr("plates.csv 4 plate: the plate \"p2\" stands in line 3 already"),
                            HasSubstr("plates.csv 5 unit: \"mmol/L\" as the unit of cortisol")));
    EXPECT_THAT(s.checked().sound.plates, IsEmpty());
}

// ---- scores

TEST(ConditionSheets, a_level_that_is_on_no_scale_is_left_out) {
    Study s;
    s.fin(ScoredFin::dorsal, "slihgt");
    s.fin(ScoredFin::caudal, "4");
    s.fin(ScoredFin::anal, "3");
    s.body(ScoredPart::belly, "severe");
    s.body(ScoredPart::hook_wound, "gushing");
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("fins.csv 2 score: "), HasSubstr("slight")),
                                      HasSubstr("fins.csv 3 score: "), HasSubstr("body.csv 2 score: "),
                                      HasSubstr("body.csv 3 score: ")));
    EXPECT_THAT(s.checked().sound.fins, SizeIs(1));
    EXPECT_THAT(s.checked().sound.body, IsEmpty());
}

TEST(ConditionSheets, two_scores_of_one_thing_by_one_scorer_count_neither) {
    Study s;
    s.fin(ScoredFin::dorsal, "slight");
    s.fin(ScoredFin::dorsal, "whole");
    s.fin(ScoredFin::dorsal, "slight").scorer = "B";
    s.fin(ScoredFin::dorsal, "slight").occasion = condition::Occasion::after_holding;
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("fins.csv 3 fin: dorsal of \"st01\" at landing stands in line 2")));
    EXPECT_THAT(s.checked().sound.fins, SizeIs(2));
}

TEST(ConditionSheets, a_score_that_is_refused_leaves_the_good_one_of_the_same_fin) {
    Study s;
    s.fin(ScoredFin::caudal, "sever");
    s.fin(ScoredFin::caudal, "severe");
    s.body(ScoredPart::belly, "hevy");
    s.body(ScoredPart::belly, "heavy");
    EXPECT_THAT(s.said(), UnorderedElementsAre(HasSubstr("body.csv 2 score"), HasSubstr("fins.csv 2 score")));
    EXPECT_THAT(s.checked().sound.fins, ElementsAre(testing::Field(&FinRow::score, "severe")));
    EXPECT_THAT(s.checked().sound.body, ElementsAre(testing::Field(&BodyRow::score, "heavy")));
}

TEST(ConditionSheets, a_look_before_the_catch_is_left_out_once_for_all_its_rows) {
    Study s;
    s.reflex("righting", true).at = at("14T09:30");
    s.reflex("tail grab", true).at = at("14T09:30");
    s.fin(ScoredFin::caudal, "severe").at = at("14T09:31");
    s.body(ScoredPart::belly, "heavy").at = at("14T09:59"); // within the minute
    const auto said = s.said();
    EXPECT_THAT(said, UnorderedElementsAre(
                          HasSubstr("fins.csv 2 at: fins of \"st01\" at 2026-06-14T09:31:00Z, and it was "
                                    "first met at 2026-06-14T10:00:00Z (encounters.csv, line 2)"),
                          AllOf(HasSubstr("reflexes.csv 2 at: reflexes of \"st01\" at 2026-06-14T09:30:00Z"),
                                HasSubstr("until then its 2 rows are left out"))));
    EXPECT_THAT(s.checked().sound.reflexes, IsEmpty());
    EXPECT_THAT(s.checked().sound.fins, IsEmpty());
    EXPECT_THAT(s.checked().sound.body, SizeIs(1));
}

TEST(ConditionSheets, a_hook_s_place_is_understood_or_told) {
    EXPECT_EQ(hook_place_of("Swallowed"), condition::HookPlace::gullet);
    EXPECT_EQ(hook_place_of("deep"), condition::HookPlace::gullet);
    EXPECT_EQ(hook_place_of("upper jaw"), condition::HookPlace::upper_jaw);
    EXPECT_EQ(hook_place_of("jaw_left"), condition::HookPlace::jaw_corner);
    EXPECT_FALSE(hook_place_of("somewhere"));
    Study s;
    s.tables.encounters[0].hook_location = "somewhere";
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware encounters.csv 2 hook_location: \"somewhere\" as the "
                                                "place of the hook")));
    s.tables.encounters[0].hook_location = "deep";
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(ConditionSheets, a_scale_that_is_none_takes_its_sheet_out_and_is_told_at_the_brief) {
    Study s;
    s.fin(ScoredFin::dorsal, "slight");
    s.body(ScoredPart::belly, "slight");
    s.reflex("righting", true);
    s.brief.fins.scale.levels = {"slight"};
    s.brief.body.scale.levels = {"slight", "Slight"};
    s.brief.reflexes.tests = {};
    EXPECT_THAT(s.said(), ElementsAre(StartsWith("beware study.toml 0 fins: "),
                                      StartsWith("beware study.toml 0 body: "),
                                      StartsWith("beware study.toml 0 reflexes: ")));
    EXPECT_THAT(s.said(), Contains(HasSubstr("until then no row of fins.csv counts")));
    EXPECT_THAT(s.checked().sound.fins, IsEmpty());
    s.sheets() = {};
    EXPECT_THAT(s.said(), IsEmpty()) << "who scores nothing needs no scale";
}

TEST(ConditionSheets, an_unknown_reflex_test_is_left_out_with_a_near_name) {
    Study s;
    s.reflex("rihgting", true);
    s.reflex("righting", false);
    s.reflex("body flex", std::nullopt);
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("reflexes.csv 2 test: a reflex test \"rihgting\""),
                                            HasSubstr("write righting?; until then the row is left out"))));
    const auto looks = reflex_looks(s.checked().sound);
    ASSERT_THAT(looks, SizeIs(1));
    const auto lost = condition::reflex_impairment(s.brief.reflexes.tests, looks[0].tests);
    ASSERT_TRUE(lost.has_value());
    EXPECT_EQ(lost->impaired, 1U);
    EXPECT_EQ(lost->tested, 1U);
    EXPECT_THAT(lost->missing, SizeIs(4));
}

TEST(ConditionSheets, a_fin_of_its_own_goes_before_all_cell_by_cell_in_any_order) {
    Study s;
    s.fin(ScoredFin::caudal, "severe");
    auto& all = s.fin(ScoredFin::all, "whole");
    all.is_split = false;
    auto& anal = s.fin(ScoredFin::anal, "");
    anal.is_split = true;
    s.fin(ScoredFin::adipose, "1");
    const auto looks = fin_looks(s.checked().sound, s.brief.fins);
    ASSERT_THAT(looks, SizeIs(1));
    const auto& scores = looks[0].scores;
    ASSERT_THAT(scores, SizeIs(8)) << "seven by all, the adipose by itself";
    for (const auto& score : scores) {
        const bool is_own = score.fin == Fin::caudal || score.fin == Fin::adipose;
        EXPECT_EQ(score.level, score.fin == Fin::caudal ? 3U : is_own ? 1U : 0U) << name_of(score.fin);
        EXPECT_EQ(score.is_split,
                  score.fin == Fin::adipose ? std::nullopt : std::optional(score.fin == Fin::anal));
        EXPECT_FALSE(score.is_frayed.has_value()) << "nobody looked";
    }
    const auto index = condition::fin_index(scores, s.brief.fins.scale, s.brief.fins.options);
    ASSERT_TRUE(index.has_value());
    EXPECT_EQ(index->sum, 3U);
}

TEST(ConditionSheets, a_body_is_scored_by_area_with_eyes_and_wound_beside) {
    Study s;
    s.body(ScoredPart::belly, "heavy");
    s.body(ScoredPart::all, "none");
    s.body(ScoredPart::left_eye, "slight");
    s.body(ScoredPart::hook_wound, "moderate");
    const auto looks = body_looks(s.checked().sound, s.brief.body);
    ASSERT_THAT(looks, SizeIs(1));
    ASSERT_THAT(looks[0].areas, SizeIs(6));
    for (const auto& score : looks[0].areas) {
        EXPECT_EQ(score.level, score.area == condition::BodyArea::belly ? 3U : 0U) << name_of(score.area);
    }
    EXPECT_EQ(looks[0].left_eye, 1U);
    EXPECT_FALSE(looks[0].right_eye.has_value());
    EXPECT_EQ(looks[0].bleeding, condition::Bleeding::moderate);
}

// ---- fates

TEST(ConditionSheets, a_release_after_a_death_is_told_at_its_row_and_the_death_stands) {
    Study s;
    s.fate(FateKind::dead, "14T12:00").last_alive = at("14T11:00");
    s.fate(FateKind::released, "14T13:00");
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("beware fates.csv 3 at: \"st01\": released at "
                                                      "2026-06-14T13:00:00Z, after it was found dead at "
                                                      "2026-06-14T12:00:00Z"),
                                            HasSubstr("the first death stands"))));
    const auto fate =
        condition::fate_of(fate_records(FishId("st01"), s.sheets().fates, s.brief, s.tables).records);
    EXPECT_EQ(fate.ending, condition::FateEnding::dead);
    EXPECT_EQ(fate.last_alive, at("14T11:00"));
}

// Else every row after it would be blamed for the one that is wrong.
TEST(ConditionSheets, a_death_before_the_fish_was_met_is_left_out_and_nothing_later_is_blamed) {
    Study s;
    s.fate(FateKind::dead, "14T08:00");
    s.fate(FateKind::released, "14T13:00");
    s.lactate("st01", "14T11:00", 6.0);
    EXPECT_THAT(
        s.said(),
        ElementsAre(AllOf(StartsWith("beware fates.csv 2 at: \"st01\" dead at 2026-06-14T08:00:00Z, before "
                                     "it was met: it was first met at 2026-06-14T10:00:00Z "
                                     "(encounters.csv, line 2)"),
                          HasSubstr("until then the row is left out"))));
    const auto sound = s.checked().sound;
    EXPECT_THAT(sound.blood, SizeIs(1));
    ASSERT_THAT(sound.fates, SizeIs(1));
    EXPECT_EQ(condition::fate_of(fate_records(FishId("st01"), sound.fates, s.brief, s.tables).records).ending,
              condition::FateEnding::alive);
}

// Such a death took the fish out of the study's mortality, and nobody was told.
TEST(ConditionSheets, an_event_or_a_stay_that_dates_a_death_before_the_catch_is_told_and_is_no_death) {
    Study s;
    s.event(EventKind::died, "st01", "14T08:00");
    s.met("st02", "14T20:00");
    Stay stay;
    stay.id = StayId("s0");
    stay.fish = FishId("st02");
    stay.ended = StayEnding::died;
    stay.place = in("stays.csv", 0);
    stay.parts = {{.from = at("14T16:00"), .to = at("14T18:00"), .place = stay.place}};
    s.tables.stays.push_back(stay);
    EXPECT_THAT(
        s.said(),
        UnorderedElementsAre(
            AllOf(HasSubstr("events.csv 2 at: \"st01\" dead at 2026-06-14T08:00:00Z, before it was met"),
                  HasSubstr("until then this death does not count")),
            AllOf(HasSubstr("stays.csv 2 to: \"st02\" dead at 2026-06-14T18:00:00Z, before it was met"),
                  HasSubstr("until then this death does not count"))));
    for (const char* fish : {"st01", "st02"}) {
        const auto known = fate_records(FishId(fish), s.sheets().fates, s.brief, s.tables);
        EXPECT_THAT(known.records, IsEmpty()) << fish;
        EXPECT_THAT(known.set_aside, SizeIs(1)) << fish;
    }
    s.tables.events[0].at = at("14T10:00"); // within the minute to which times are written
    EXPECT_THAT(fate_records(FishId("st01"), s.sheets().fates, s.brief, s.tables).records, SizeIs(1));
}

TEST(ConditionSheets, alive_or_let_go_before_the_fish_was_met_is_told_and_stands) {
    Study s;
    s.fate(FateKind::tagged, "13T08:00"); // marked in another year, another place
    EXPECT_THAT(s.said(), IsEmpty());
    s.fate(FateKind::seen_alive, "14T08:00");
    s.fate(FateKind::released, "14T09:00");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("fates.csv 3 at: \"st01\" seen_alive at 2026-06-14T08:00:00Z, "
                                      "before it was met"),
                            HasSubstr("fates.csv 4 at: \"st01\" released at")));
    EXPECT_THAT(s.checked().sound.fates, SizeIs(3));
}

TEST(ConditionSheets, a_tag_is_on_one_fish_at_a_time_and_given_before_it_is_found) {
    Study s;
    const condition::Tag tag{.type = "anchor", .serial = "A7"};
    s.fate(FateKind::tagged, "14T11:00").tag = tag;
    s.fate(FateKind::tagged, "14T12:00", "st02").tag = tag;
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("fates.csv 3 tag_serial: \"st02\" given the tag \"anchor A7\", and "
                                      "\"st01\" was given it at 2026-06-14T11:00:00Z (line 2)")));
    s.fate(FateKind::tag_shed, "14T11:30").tag = tag;
    EXPECT_THAT(s.said(), IsEmpty()) << "it had come off by then";
    s.fate(FateKind::recaptured, "14T15:00", "st02").tag = tag;
    EXPECT_THAT(s.said(), IsEmpty());
    s.fate(FateKind::recaptured, "14T15:00", "st02").tag = condition::Tag{.type = "anchor", .serial = "A8"};
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("fates.csv 6 tag_serial: \"st02\" recaptured with the tag "
                                                "\"anchor A8\", which it was never given")));
}

TEST(ConditionSheets, an_event_contradicts_a_fate_at_its_own_row) {
    Study s;
    s.fate(FateKind::dead, "14T12:00");
    s.event(EventKind::released, "st01", "14T15:00");
    EXPECT_THAT(s.said(), ElementsAre(StartsWith("beware events.csv 2 at: \"st01\": released at")));
}

TEST(ConditionSheets, what_events_and_fates_both_say_within_an_hour_is_said_once) {
    Study s;
    s.event(EventKind::died, "st01", "14T12:05");
    s.event(EventKind::tagged, "st01", "14T10:30");
    s.fate(FateKind::dead, "14T12:00");
    EXPECT_THAT(s.said(), IsEmpty());
    EXPECT_THAT(fate_records(FishId("st01"), s.sheets().fates, s.brief, s.tables).records, SizeIs(2));
    s.tables.events[0].at = at("14T13:05");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("events.csv 2 at: \"st01\": found dead at 2026-06-14T13:05:00Z")));
}

TEST(ConditionSheets, a_stay_that_ended_with_the_fish_tells_of_its_fate_where_nothing_else_does) {
    Study s;
    for (const auto ended : {StayEnding::died, StayEnding::escaped, StayEnding::done}) {
        Stay stay;
        stay.id = StayId("s" + std::to_string(s.tables.stays.size()));
        stay.fish = FishId(s.tables.stays.empty() ? "st01" : "st02");
        stay.ended = ended;
        stay.last_good = at("14T17:00");
        stay.place = in("stays.csv", s.tables.stays.size());
        stay.parts = {{.from = at("14T16:00"), .to = at("14T18:00"), .place = stay.place}};
        s.tables.stays.push_back(stay);
    }
    const auto dead =
        condition::fate_of(fate_records(FishId("st01"), s.sheets().fates, s.brief, s.tables).records);
    EXPECT_EQ(dead.ending, condition::FateEnding::dead);
    EXPECT_EQ(dead.last_alive, at("14T17:00"));
    EXPECT_EQ(dead.found_dead, at("14T18:00"));
    const auto lost =
        condition::fate_of(fate_records(FishId("st02"), s.sheets().fates, s.brief, s.tables).records);
    EXPECT_EQ(lost.ending, condition::FateEnding::lost);
    EXPECT_EQ(lost.cause, "escaped");
    s.fate(FateKind::dead, "14T20:00");
    EXPECT_EQ(condition::fate_of(fate_records(FishId("st01"), s.sheets().fates, s.brief, s.tables).records)
                  .found_dead,
              at("14T20:00"));
}

TEST(ConditionSheets, a_detection_shows_life_unless_the_brief_says_otherwise) {
    Study s;
    s.fate(FateKind::tagged, "14T11:00").tag = condition::Tag{.serial = "7"};
    s.fate(FateKind::tag_shed, "14T12:00").tag = condition::Tag{.serial = "7"};
    s.fate(FateKind::detected, "14T13:00").tag = condition::Tag{.serial = "7"};
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("fates.csv 4 at: \"st01\": detected by a tag that had been shed")));
}

} // namespace
} // namespace backeddy::study
