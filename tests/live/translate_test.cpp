#include "live/translate.hpp"

#include <cmath>
#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "live/plain.hpp"
#include "water/oxygen.hpp"

namespace backeddy::live {
namespace {

using instruments::Missing;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

instruments::Reading reading(const std::string& channel, double value, Missing missing = Missing::no) {
    return {.channel = {channel},
            .value = missing == Missing::no ? value : std::numeric_limits<double>::quiet_NaN(),
            .missing = missing,
            .received = {.wall = Instant::unix_seconds(1.78e9), .monotonic_ns = 5'250'000'000},
            .device_time = {}};
}

instruments::Frame frame(std::vector<instruments::Reading> readings) {
    return {.device = {"meter"}, .received = {}, .bytes = "x", .readings = std::move(readings)};
}

TEST(Translator, gives_oxygen_as_it_is_where_the_sensor_speaks_mg_per_l) {
    Translator translator(test::station(), test::plan());
    const auto out = translator.take(frame({reading("shore_o2", 8.25)}));
    ASSERT_THAT(out, SizeIs(1));
    EXPECT_EQ(out[0].kind, watch::ChannelKind::oxygen);
    EXPECT_EQ(out[0].chamber, 1U);
    EXPECT_EQ(out[0].value, 8.25);
    EXPECT_EQ(out[0].steady_s, 5.25);
}

// Full saturation by the formula of USGS memo 2011.03 (water/oxygen.hpp, tested against its own tables).
TEST(Translator, reckons_saturation_with_the_temperature_and_pressure_of_the_same_frame) {
    Translator translator(test::station(4001, "% air"), test::plan());
    const auto out =
        translator.take(frame({reading("deck_o2", 90.0), reading("deck_t", 15.0), reading("air", 985.0)}));
    ASSERT_THAT(out, SizeIs(2));
    EXPECT_EQ(out[0].kind, watch::ChannelKind::temperature);
    EXPECT_EQ(out[0].value, 15.0);
    EXPECT_NEAR(*out[1].value, 0.9 * water::saturation_mg_per_l(15.0, 30.0, 98.5), 1e-9);
}

TEST(Translator, goes_on_with_the_last_temperature_and_pressure) {
    Translator translator(test::station(4001, "% air"), test::plan());
    EXPECT_NEAR(*translator.take(frame({reading("deck_o2", 100.0)}))[0].value,
                water::saturation_mg_per_l(12.0, 30.0, 101.3), 1e-9)
        << "before anything was said: the plan's";
    (void)translator.take(frame({reading("deck_t", 8.0), reading("air", 1000.0)}));
    (void)translator.take(
        frame({reading("deck_t", 0.0, Missing::empty), reading("air", 0.0, Missing::no_number)}));
    EXPECT_NEAR(*translator.take(frame({reading("deck_o2", 100.0)}))[0].value,
                water::saturation_mg_per_l(8.0, 30.0, 100.0), 1e-9);
}

// 1 mg/L is 31.2512 umol/L (molar mass of O2 31.9988 g/mol).
TEST(Translator, turns_micromoles_into_milligrams) {
    Translator translator(test::station(4001, "umol/L"), test::plan());
    EXPECT_NEAR(*translator.take(frame({reading("shore_o2", 312.512)}))[0].value, 10.0, 1e-4);
}

TEST(Translator, knows_the_inflow_from_the_chambers_and_says_when_there_is_no_number) {
    Translator translator(test::station(), test::plan());
    const auto out =
        translator.take(frame({reading("bath_o2", 9.0), reading("deck_o2", 0.0, Missing::no_number)}));
    ASSERT_THAT(out, SizeIs(2));
    EXPECT_EQ(out[0].chamber, std::nullopt);
    EXPECT_EQ(out[1].chamber, 0U);
    EXPECT_EQ(out[1].value, std::nullopt);
    EXPECT_THAT(translator.take(frame({reading("nobody", 1.0)})), IsEmpty());
}

TEST(PlanFaults, name_what_does_not_fit_together) {
    EXPECT_THAT(plan_faults(test::station(), test::plan()), IsEmpty());
    watch::Plan other = test::plan();
    other.chambers[1].name = "pier";
    const auto faults = plan_faults(test::station(), other);
    EXPECT_THAT(faults, Contains(HasSubstr(
                            "channel shore_o2 is in chamber \"shore\", which the study does not have")));
    EXPECT_THAT(faults, Contains(HasSubstr("pump shore_pump flushes chamber \"shore\"")));
    EXPECT_THAT(faults, Contains(HasSubstr("chamber pier has 0 oxygen channels; it needs one")));
    EXPECT_THAT(faults, Contains(HasSubstr("chamber pier has 0 pumps; it needs one")));
}

} // namespace
} // namespace backeddy::live
