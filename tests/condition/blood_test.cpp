// Sources: IUPAC conventional atomic weights 2021 (H 1.008, C 12.011, O 15.999, Na 22.990, K 39.098, Mg
// 24.305, Ca 40.078, Cl 35.45), molar masses added up here; sums and times by hand.

#include "condition/blood.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::condition {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

constexpr std::array all_analytes{
    Analyte::cortisol, Analyte::glucose,   Analyte::lactate, Analyte::haematocrit, Analyte::osmolality,
    Analyte::sodium,   Analyte::potassium, Analyte::calcium, Analyte::magnesium,   Analyte::chloride};

double g_per_mol(double carbon, double hydrogen, double oxygen) {
    return (carbon * 12.011) + (hydrogen * 1.008) + (oxygen * 15.999);
}

Instant at(double minute) {
    return Instant::unix_seconds(1'781'424'000.0 + (60.0 * minute));
}

TEST(BloodUnits, molar_masses_are_those_of_the_atoms) {
    EXPECT_NEAR(cortisol_g_per_mol, g_per_mol(21, 30, 5), 1e-9);
    EXPECT_NEAR(glucose_g_per_mol, g_per_mol(6, 12, 6), 1e-9);
    EXPECT_NEAR(lactate_g_per_mol, g_per_mol(3, 5, 3), 1e-9);
    EXPECT_NEAR(lactic_acid_g_per_mol, g_per_mol(3, 6, 3), 1e-9);
}

struct Conversion {
    Analyte analyte;
    double value;
    const char* from;
    const char* to;
    double expected;
};

// One mole of each, written in grams: the factors from the atoms above, not from the code.
TEST(BloodUnits, convert_by_the_molar_masses) {
    for (const auto& row : {
             Conversion{Analyte::cortisol, 100.0, "nmol/L", "ng/mL", 100.0 * g_per_mol(21, 30, 5) / 1000.0},
             Conversion{Analyte::cortisol, 3.0, "ug/dL", "ng/mL", 30.0},
             Conversion{Analyte::cortisol, 3.0, "ug/L", "ng/mL", 3.0},
             Conversion{Analyte::cortisol, 250.0, "pg/mL", "ng/mL", 0.25},
             Conversion{Analyte::glucose, 1.0, "mmol/L", "mg/dL", 18.0156},
             Conversion{Analyte::glucose, 90.0, "mg/dL", "mmol/L", 900.0 / g_per_mol(6, 12, 6)},
             Conversion{Analyte::glucose, 1.0, "mmol/L", "mg/L", 180.156},
             Conversion{Analyte::lactate, 1.0, "mmol/L", "mg/dL", 9.0078},
             Conversion{Analyte::lactate, 1.0, "mmol/L", "mg/L", 90.078},
             Conversion{Analyte::lactate, 1.0, "mmol/L", "mg/dL lactate", 8.907},
             Conversion{Analyte::lactate, 1.0, "mmol/L", "mg/L lactate", 89.07},
             Conversion{Analyte::haematocrit, 0.38, "fraction", "%", 38.0},
             Conversion{Analyte::haematocrit, 38.0, "%", "L/L", 0.38},
             Conversion{Analyte::osmolality, 310.0, "mOsm/kg", "mmol/kg", 310.0},
             Conversion{Analyte::sodium, 150.0, "mmol/L", "mg/L", 150.0 * 22.990},
             Conversion{Analyte::sodium, 150.0, "mEq/L", "mmol/L", 150.0},
             Conversion{Analyte::potassium, 39.098, "mg/L", "mmol/L", 1.0},
             Conversion{Analyte::potassium, 3.0, "mEq/L", "mmol/L", 3.0},
             Conversion{Analyte::calcium, 5.0, "mEq/L", "mmol/L", 2.5},
             Conversion{Analyte::calcium, 10.0, "mg/dL", "mmol/L", 100.0 / 40.078},
             Conversion{Analyte::magnesium, 1.0, "mmol/L", "mEq/L", 2.0},
             Conversion{Analyte::magnesium, 24.305, "mg/L", "mmol/L", 1.0},
             Conversion{Analyte::chloride, 1.0, "mmol/L", "mEq/L", 1.0},
             Conversion{Analyte::chloride, 354.5, "mg/L", "mmol/L", 10.0},
         }) {
        const auto got = converted(row.analyte, row.value, row.from, row.to);
        ASSERT_TRUE(got) << got.error().text();
        EXPECT_NEAR(*got, row.expected, 1e-12 * row.expected)
            << row.value << ' ' << row.from << " in " << row.to;
    }
}

TEST(BloodUnits, there_and_back_is_where_it_began) {
    Random random(1);
    for (const auto analyte : all_analytes) {
        for (const auto& from : units_of(analyte)) {
            for (const auto& to : units_of(analyte)) {
                const double value = std::exp(10.0 * (random.uniform() - 0.5));
                const auto there = converted(analyte, value, from, to);
                ASSERT_TRUE(there);
                const auto back = converted(analyte, *there, to, from);
                ASSERT_TRUE(back);
                EXPECT_NEAR(*back, value, 1e-14 * value) << name_of(analyte) << ' ' << from << ' ' << to;
            }
        }
    }
}

TEST(BloodUnits, are_read_however_they_are_spaced_and_cased) {
    EXPECT_DOUBLE_EQ(*converted(Analyte::cortisol, 3.0, "\u00b5g / dl", "NG/ML"), 30.0);
    EXPECT_DOUBLE_EQ(*converted(Analyte::cortisol, 3.0, "\u03bcg/L", "ng/mL"), 3.0);
}

TEST(BloodUnits, of_another_analyte_are_refused) {
    EXPECT_EQ(converted(Analyte::cortisol, 3.0, "mmol/L", "ng/mL").error().code, ErrorCode::bad_unit);
    EXPECT_EQ(converted(Analyte::glucose, 3.0, "mmol-L", "mg/dL").error().text(),
              "\"mmol-L\" as the unit of glucose; one of mmol/L, mg/dL, mg/L; write mmol/L?");
    EXPECT_EQ(converted(Analyte::glucose, std::nan(""), "mmol/L", "mg/dL").error().code,
              ErrorCode::out_of_range);
}

TEST(Determined, below_detection_is_an_interval_and_no_zero) {
    const auto below =
        determined({.analyte = Analyte::cortisol, .value = 2.0, .known = Known::below, .unit = "nmol/L"});
    ASSERT_TRUE(below) << below.error().text();
    EXPECT_EQ(below->known, Known::below);
    EXPECT_EQ(below->known_within.lower, 0.0);
    EXPECT_NEAR(below->known_within.upper, 2.0 * 0.362466, 1e-12);
    const auto above = determined({.analyte = Analyte::lactate, .value = 25.0, .known = Known::above});
    EXPECT_EQ(above->known_within.lower, 25.0);
    EXPECT_EQ(above->known_within.upper, std::numeric_limits<double>::infinity());
    const auto exact = determined({.analyte = Analyte::lactate, .value = 5.0});
    EXPECT_EQ(exact->known_within.lower, 5.0);
    EXPECT_EQ(exact->known_within.upper, 5.0);
    EXPECT_EQ(exact->unit, "mmol/L");
    EXPECT_THAT(exact->notes, IsEmpty());
}

TEST(Determined, odd_values_stand_with_a_note) {
    const auto wrong_unit = determined({.analyte = Analyte::glucose, .value = 95.0, .unit = "mmol/L"});
    ASSERT_TRUE(wrong_unit);
    EXPECT_EQ(wrong_unit->value, 95.0);
    ASSERT_THAT(wrong_unit->notes, SizeIs(1));
    EXPECT_EQ(
        wrong_unit->notes[0],
        "glucose of 95.0 mmol/L is outside 1.5 to 20, between which salmonids were found (Wedemeyer, Barton "
        "and McLeay 1990, Methods for Fish Biology, chapter 14; from memory): unit, dilution, label? The "
        "value is kept");
    const auto fraction = determined({.analyte = Analyte::haematocrit, .value = 0.38});
    ASSERT_THAT(fraction->notes, SizeIs(1));
    EXPECT_THAT(fraction->notes[0], HasSubstr("a fraction written as per cent?"));
    const auto water = determined({.analyte = Analyte::cortisol, .value = 0.01, .matrix = Matrix::water});
    EXPECT_THAT(water->notes, IsEmpty());
}

// Wedemeyer and Chatterton 1970 (doi 10.1139/f70-135, abstract): normal cortisol 15 to 185 ng/mL, glucose 41
// to 151 mg/dL, chloride 84 to 132 mmol/L. Fish Physiol Biochem 43:421, table 4: rainbow trout at rest and
// after a minute's netting. Zelnik and Goldspink 1981 (doi 10.1111/j.1095-8649.1981.tb05809.x, abstract):
// trout swum hard.
TEST(PublishedRange, holds_what_was_read_of_salmonids) {
    struct Read {
        Analyte analyte;
        double low;
        double high;
    };
    const double glucose = 10.0 / glucose_g_per_mol;
    for (const auto& read :
         {Read{Analyte::cortisol, 15.0, 185.0}, Read{Analyte::cortisol, 6.0, 129.0},
          Read{Analyte::cortisol, 129.0, 326.0}, Read{Analyte::glucose, 41.0 * glucose, 151.0 * glucose},
          Read{Analyte::glucose, 3.2, 5.9}, Read{Analyte::haematocrit, 19.7, 23.4},
          Read{Analyte::chloride, 84.0, 132.0}}) {
        const auto& range = published_range(read.analyte).range;
        EXPECT_TRUE(range.holds(read.low) && range.holds(read.high))
            << name_of(read.analyte) << " " << read.low << " to " << read.high;
    }
}

TEST(Haemolysis, of_a_draw_is_one_sentence_for_all_that_was_measured_in_it) {
    const std::vector<Analyte> all{Analyte::cortisol, Analyte::potassium, Analyte::lactate,
                                   Analyte::magnesium, Analyte::potassium};
    EXPECT_EQ(haemolysis_note(Haemolysis::marked, all),
              "marked haemolysis: potassium and magnesium leak from the red cells and read too high; the "
              "colour of the sample can disturb an assay that reads colour");
    EXPECT_EQ(haemolysis_note(Haemolysis::slight, std::vector{Analyte::potassium}),
              "slight haemolysis: potassium leaks from the red cells and reads too high");
    EXPECT_EQ(haemolysis_note(Haemolysis::slight, {}),
              "slight haemolysis: the colour of the sample can disturb an assay that reads colour");
    EXPECT_EQ(haemolysis_note(Haemolysis::none, all), "");
    EXPECT_EQ(haemolysis_note(Haemolysis::not_said, all), "");
}

TEST(Determined, what_cannot_be_is_refused) {
    EXPECT_EQ(determined({.analyte = Analyte::lactate, .value = -0.1}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(determined({.analyte = Analyte::haematocrit, .value = 38.0, .unit = "fraction"}).error().code,
              ErrorCode::out_of_range);
}

TEST(Determined, a_meter_is_set_right_after_the_unit) {
    MeterCorrection meter;
    meter.intercept = 0.5;
    meter.slope = 1.25;
    meter.meter_sd = 0.2;
    meter.range = {1.0, 10.0};
    const auto got =
        determined({.analyte = Analyte::lactate, .value = 5.5 * 9.0078, .unit = "mg/dL"}, &meter);
    ASSERT_TRUE(got);
    EXPECT_NEAR(got->value, 4.0, 1e-12);
    EXPECT_NEAR(*got->uncertainty, 0.2 / 1.25, 1e-12);
    EXPECT_THAT(got->notes, IsEmpty());
    const auto beyond = determined({.analyte = Analyte::lactate, .value = 12.0}, &meter);
    ASSERT_THAT(beyond->notes, SizeIs(1));
    EXPECT_THAT(beyond->notes[0], HasSubstr("drawn out beyond"));
    // 0.4 - 0.5 is below 0: known only to be below two uncertainties.
    const auto low = determined({.analyte = Analyte::lactate, .value = 0.4}, &meter);
    EXPECT_EQ(low->known, Known::below);
    EXPECT_NEAR(low->known_within.upper, 0.32, 1e-12);
}

TEST(BloodRoom, is_told_before_the_draw) {
    const std::vector<Draw> draws{{at(0), 0.4}, {at(600), 0.24}, {at(1000), 5.0}};
    // 0.8 kg at 1.5 mL/kg: 1.2 mL, 0.64 of them gone by minute 700.
    const auto room = before_draw(0.8, 0.56, draws, at(700), {.ml_per_kg = 1.5});
    ASSERT_TRUE(room) << room.error().text();
    EXPECT_NEAR(room->drawn_ml_per_kg, 0.8, 1e-12);
    EXPECT_NEAR(room->planned_ml_per_kg, 0.7, 1e-12);
    EXPECT_NEAR(room->left_ml, 0.56, 1e-12);
    EXPECT_TRUE(room->is_within); // the ceiling itself
    EXPECT_EQ(room->words,
              "0.56 mL now (0.70 mL/kg) after 0.80 mL/kg before: within the permit's 1.50 mL/kg, "
              "0.00 mL would be left.");
    const auto over = before_draw(0.8, 0.6, draws, at(700), {.ml_per_kg = 1.5});
    EXPECT_FALSE(over->is_within);
    EXPECT_EQ(
        over->words,
        "0.60 mL now (0.75 mL/kg) after 0.80 mL/kg before: OVER the permit's 1.50 mL/kg by 0.04 mL. Of "
        "this draw at most 0.56 mL is allowed from this fish of 0.800 kg, and with it nothing more may be "
        "drawn; what follows, the permit's holder decides.");
    const auto day_later = before_draw(0.8, 0.6, draws, at(700), {1.5, Duration::hours(2.0)});
    EXPECT_TRUE(day_later->is_within); // only the second draw still counts
    EXPECT_NEAR(day_later->left_ml, 0.96, 1e-12);
}

// 0.8 kg at 1.5 mL/kg within 24 h: 1.2 mL. Without the first 0.4 mL, a day after it, 0.9 mL count.
TEST(BloodRoom, says_when_some_may_be_drawn_again) {
    const std::vector<Draw> draws{{at(600), 0.1}, {at(0), 0.4}};
    const auto over = before_draw(0.8, 0.8, draws, at(700), {1.5, Duration::hours(24.0)});
    ASSERT_TRUE(over) << over.error().text();
    EXPECT_FALSE(over->is_within);
    const auto again = "nothing more may be drawn before " + iso_text(at(0) + Duration::hours(24.0)) + ";";
    EXPECT_NE(over->words.find(again), std::string::npos) << over->words;
    // 1.25 mL in the draw alone: nothing before it no longer counts itself.
    const auto alone = before_draw(0.8, 1.25, draws, at(700), {1.5, Duration::hours(24.0)});
    const auto last = "nothing more may be drawn before " + iso_text(at(700) + Duration::hours(24.0)) + ";";
    EXPECT_NE(alone->words.find(last), std::string::npos) << alone->words;
}

TEST(BloodRoom, what_was_bled_before_a_peak_does_not_count_what_came_after) {
    const std::vector<Draw> draws{{at(600), 0.3}, {at(0), 0.4}};
    EXPECT_NEAR(*bled_ml_per_kg(0.5, draws, at(599)), 0.8, 1e-12);
    EXPECT_NEAR(*bled_ml_per_kg(0.5, draws, at(600)), 1.4, 1e-12);
    EXPECT_EQ(*bled_ml_per_kg(0.5, {}, at(0)), 0.0);
}

TEST(BloodRoom, refuses_what_cannot_be_counted) {
    const std::vector<Draw> unknown{{at(0), 0.0}};
    EXPECT_EQ(bled_ml_per_kg(0.5, unknown, at(1)).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(before_draw(0.0, 0.5, {}, at(0), {.ml_per_kg = 1.0}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(before_draw(0.5, -0.5, {}, at(0), {.ml_per_kg = 1.0}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(before_draw(0.5, 0.5, {}, at(0), {}).error().code, ErrorCode::bad_setting);
}

HandlingMoment moment(double minute, HandlingKind kind) {
    return {.kind = kind, .at = at(minute), .uncertainty = Duration::seconds(3.0), .row = 7};
}

TEST(DrawTimes, count_from_the_last_hooking_and_sealing_before) {
    const std::vector<HandlingMoment> moments{
        moment(5, HandlingKind::sealed), moment(1500, HandlingKind::sealed), moment(12, HandlingKind::sealed),
        moment(0, HandlingKind::hook_up)};
    auto draw = moment(72, HandlingKind::blood);
    draw.uncertainty = Duration::seconds(4.0);
    const auto times = draw_times(draw, moments);
    EXPECT_DOUBLE_EQ(times.since_hook_up->seconds, 72.0 * 60.0);
    EXPECT_DOUBLE_EQ(*times.since_hook_up->uncertainty_s, 5.0);
    EXPECT_DOUBLE_EQ(times.since_sealed->seconds, 3600.0);
    EXPECT_THAT(times.doubts, IsEmpty());
    const auto early = draw_times(moment(-5, HandlingKind::blood), moments);
    EXPECT_FALSE(early.since_hook_up);
    ASSERT_THAT(early.doubts, SizeIs(2));
    EXPECT_EQ(early.doubts[0].found, "blood drawn before the fish was hooked");
}

TEST(Blood, nothing_is_below_nought) {
    const auto got = determined({.analyte = Analyte::lactate, .value = 0.0, .known = Known::below});
    ASSERT_FALSE(got);
    EXPECT_EQ(got.error().code, ErrorCode::out_of_range);
    EXPECT_TRUE(determined({.analyte = Analyte::lactate, .value = 0.0}));
}

TEST(Blood, the_ceiling_is_shown_as_the_permit_has_it) {
    const BloodCeiling ceiling{.ml_per_kg = 0.125};
    const auto at = Instant::unix_nanoseconds(0);
    EXPECT_NE(before_draw(1.0, 0.1, {}, at, ceiling)->words.find("permit's 0.125 mL/kg"), std::string::npos);
    const auto over = before_draw(1.0, 0.127, {}, at, ceiling);
    EXPECT_FALSE(over->is_within);
    EXPECT_NE(over->words.find("OVER the permit's 0.125 mL/kg by 0.0020 mL"), std::string::npos)
        << over->words;
}

} // namespace
} // namespace backeddy::condition
