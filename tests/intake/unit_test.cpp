#include "intake/unit.hpp"

#include <gtest/gtest.h>

#include "intake/dialect.hpp"

namespace backeddy::intake {
namespace {

TEST(Unit, every_way_to_write_it_is_read) {
    for (const auto* text : {"mg/L", "mg l-1", "mg_per_l", "mgL", "mg.L-1", "mg·L⁻¹", "ppm", "MG/L"}) {
        EXPECT_EQ(unit_from(text), Unit::mg_per_l) << text;
    }
    for (const auto* text : {"µmol/L", "μmol/L", "umol l-1", "umol_per_l", "µM"}) {
        EXPECT_EQ(unit_from(text), Unit::umol_per_l) << text;
    }
    for (const auto* text : {"% air sat", "% air saturation", "pct_airsat", "percent air", "%"}) {
        EXPECT_EQ(unit_from(text), Unit::percent_air) << text;
    }
    EXPECT_EQ(unit_from("°C"), Unit::celsius);
    EXPECT_EQ(unit_from("deg F"), Unit::fahrenheit);
    EXPECT_EQ(unit_from("µS/cm"), Unit::us_per_cm);
    EXPECT_EQ(unit_from("Torr"), Unit::mmhg);
    EXPECT_EQ(unit_from("furlong"), std::nullopt);
}

// SI brochure (BIPM 2019): 1 bar = 100 kPa; NIST SP 811:2008 B.8: 1 mmHg = 133.322387415 Pa (conventional
// 133.3224), 1 inHg = 3.386389 kPa, 1 psi = 6.894757 kPa; degF to degC by (F - 32)/1.8.
TEST(Unit, conversions_hold_against_printed_factors) {
    EXPECT_NEAR(in_trace_unit(Unit::mmhg, 760.0), 101.325, 2e-4);
    EXPECT_NEAR(in_trace_unit(Unit::inches_hg, 29.92126), 101.325, 2e-4);
    EXPECT_NEAR(in_trace_unit(Unit::psi, 14.69595), 101.325, 1e-4);
    EXPECT_DOUBLE_EQ(in_trace_unit(Unit::hectopascal, 1013.25), 101.325);
    EXPECT_NEAR(in_trace_unit(Unit::bar, 1.01325), 101.325, 1e-12);
    EXPECT_NEAR(in_trace_unit(Unit::fahrenheit, 68.0), 20.0, 1e-12);
    EXPECT_NEAR(in_trace_unit(Unit::kelvin, 293.15), 20.0, 1e-12);
    // 31.9988 g/mol (IUPAC 2021 abridged oxygen 15.999): 250 umol/L is 8.00 mg/L.
    EXPECT_NEAR(in_trace_unit(Unit::umol_per_l, 250.0), 7.9997, 5e-4);
    EXPECT_NEAR(in_trace_unit(Unit::us_per_cm, 50000.0), 50.0, 1e-12);
    EXPECT_NEAR(in_trace_unit(Unit::s_per_m, 5.0), 50.0, 1e-12);
}

TEST(Choice, a_mistyped_word_is_offered_its_neighbour) {
    EXPECT_EQ(*choice_from<Delimiter>("semicolon"), Delimiter::semicolon);
    const auto wrong = choice_from<Delimiter>("semicolom");
    ASSERT_FALSE(wrong);
    EXPECT_EQ(wrong.error().text(),
              "\"semicolom\" is none of the words known here; one of comma, semicolon, tab, "
              "spaces; did you mean \"semicolon\"?");
}

} // namespace
} // namespace backeddy::intake
