#include "uptake/scope.hpp"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "uptake/pair.hpp"

namespace backeddy::uptake {
namespace {

UptakeRate plain(double mg_per_kg_h, double mass_kg = 1.0) {
    return {.mg_per_h = Measured(mg_per_kg_h * mass_kg), .mg_per_kg_h = Measured(mg_per_kg_h)};
}

ScopeInput at_one_temperature(UptakeRate peak, UptakeRate rest) {
    return {.peak = std::move(peak),
            .resting = std::move(rest),
            .peak_at = Temperature::celsius(12.0),
            .resting_at = Temperature::celsius(12.0),
            .peak_name = "peak after chase",
            .resting_name = "SMR"};
}

bool has_word(const std::vector<Reason>& reasons, const std::string& word) {
    return std::any_of(reasons.begin(), reasons.end(), [&](const Reason& r) { return r.word == word; });
}

// Norin and others 2019, PeerJ, table 2 (PMC6777481): haddock MMR 284.9, RMR 119.4, SMR 84.3 mg/kg/h; the
// table's absolute scope is MMR less RMR.
TEST(Scope, haddock_of_a_published_table) {
    EXPECT_NEAR(
        scope(at_one_temperature(plain(284.9), plain(119.4)))->as_measured.absolute.mg_per_kg_h->value(),
        165.5, 1e-9);
    EXPECT_NEAR(scope(at_one_temperature(plain(284.9), plain(84.3)))->as_measured.factorial.value(),
                3.379596679, 1e-9);
}

TEST(Scope, what_peak_and_rest_share_cancels_in_the_ratio_and_only_that) {
    const Measured volume(10.0, 0.3, "volume of tube 1");
    const Measured mass(0.8, 0.02, "mass of fish");
    const auto of = [&](double slope, double u, const std::string& source, const Measured& v) {
        const Measured whole = Measured(slope, u, source) * v;
        return UptakeRate{.mg_per_h = whole, .mg_per_kg_h = whole / mass};
    };
    const auto same =
        scope(at_one_temperature(of(40.0, 0.8, "peak slope", volume), of(8.0, 0.2, "rest", volume)));
    const double own = std::hypot(0.8 / 40.0, 0.2 / 8.0);
    EXPECT_NEAR(same->as_measured.factorial.standard_uncertainty() / 5.0, own, 1e-12);
    const Measured other(10.0, 0.3, "volume of chamber 4");
    const auto apart =
        scope(at_one_temperature(of(40.0, 0.8, "peak slope", volume), of(8.0, 0.2, "rest", other)));
    EXPECT_NEAR(apart->as_measured.factorial.standard_uncertainty() / 5.0, std::hypot(own, 0.03, 0.03),
                1e-12);
    // u^2(AAS) = u^2(MMR) + u^2(SMR) - 2 cov
    const Measured peak = Measured(40.0, 0.8, "peak slope") * volume;
    const Measured rest = Measured(8.0, 0.2, "rest") * volume;
    EXPECT_NEAR(same->as_measured.absolute.mg_per_h.variance(),
                peak.variance() + rest.variance() - (2.0 * 40.0 * 8.0 * 0.09), 1e-9);
}

// Truth of 95 % by simulation: a tube and a night chamber with volumes 3 % uncertain, slopes 4 % and 6 %.
TEST(Scope, intervals_hold_the_truth_as_often_as_they_say) {
    Random random(20260801);
    int factorial_held = 0;
    int absolute_held = 0;
    constexpr int seeds = 2000;
    for (int i = 0; i < seeds; ++i) {
        const double tube = 10.0 * (1.0 + (0.03 * random.normal()));
        const double night = 30.0 * (1.0 + (0.03 * random.normal()));
        // What is computed uses the nominal volumes; the true uptake is 400 and 80.
        const Measured peak_slope(400.0 / tube * (1.0 + (0.04 * random.normal())), 0.04 * 40.0, "a");
        const Measured rest_slope(80.0 / night * (1.0 + (0.06 * random.normal())), 0.06 * 80.0 / 30.0, "b");
        const UptakeRate peak{.mg_per_h = peak_slope * Measured(10.0, 0.3, "tube"),
                              .mg_per_kg_h = std::nullopt};
        const UptakeRate rest{.mg_per_h = rest_slope * Measured(30.0, 0.9, "night"),
                              .mg_per_kg_h = std::nullopt};
        const auto answer = scope(at_one_temperature(peak, rest)).value().as_measured;
        factorial_held +=
            answer.factorial_interval.low <= 5.0 && 5.0 <= answer.factorial_interval.high ? 1 : 0;
        absolute_held +=
            answer.absolute_interval_mg_per_h.low <= 320.0 && 320.0 <= answer.absolute_interval_mg_per_h.high
                ? 1
                : 0;
    }
    // Binomial, p = 0.95, n = 2000: standard deviation 9.7; four of them.
    EXPECT_NEAR(factorial_held, 0.95 * seeds, 39.0);
    EXPECT_NEAR(absolute_held, 0.95 * seeds, 39.0);
}

TEST(Scope, warmer_peak_is_shown_adjusted_beside_and_marked) {
    auto input = at_one_temperature(plain(500.0), plain(80.0));
    input.peak_at = Temperature::celsius(15.0);
    const auto answer = scope(input).value();
    EXPECT_NEAR(answer.as_measured.factorial.value(), 6.25, 1e-12);
    ASSERT_TRUE(answer.adjusted.has_value());
    EXPECT_NEAR(answer.adjusted->factorial.value(), 500.0 / (80.0 * std::pow(2.4, 0.3)), 1e-12);
    EXPECT_TRUE(has_word(answer.reasons, "temperatures_differ"));
    EXPECT_TRUE(has_word(answer.reasons, "adjusted_far"));
    input.peak_at = Temperature::celsius(12.9);
    EXPECT_FALSE(scope(input).value().adjusted.has_value()) << "within 1 degC nothing is adjusted";
}

TEST(Scope, degenerate_values_are_refused_or_marked) {
    EXPECT_FALSE(scope(at_one_temperature(plain(500.0), plain(0.0))));
    EXPECT_FALSE(scope(at_one_temperature(plain(500.0), plain(-4.0))));
    EXPECT_FALSE(scope(at_one_temperature(plain(std::nan("")), plain(80.0))));
    const auto upside_down = scope(at_one_temperature(plain(60.0), plain(80.0)));
    ASSERT_TRUE(upside_down);
    EXPECT_TRUE(has_word(upside_down->reasons, "not_above_rest"));
    auto unweighed =
        at_one_temperature({.mg_per_h = Measured(500.0), .mg_per_kg_h = std::nullopt}, plain(80.0));
    EXPECT_FALSE(scope(unweighed)->as_measured.absolute.mg_per_kg_h.has_value());
    EXPECT_NEAR(scope(unweighed)->as_measured.factorial.value(), 6.25, 1e-12);
}

PeakUptake peak_of(double mg_per_h, double u, double celsius, const std::string& source, double at_h) {
    PeakUptake out;
    out.corrected.mg_per_h = Measured(mg_per_h, u, source) * Measured(1.0, 0.02, "volume of tube 1");
    out.temperature_celsius = celsius;
    out.event_at = Instant::unix_seconds(at_h * 3600.0);
    return out;
}

TEST(PeakPair, shared_tube_cancels_and_differences_are_listed) {
    auto capture = peak_of(500.0, 10.0, 12.1, "a", 0.0);
    auto chase = peak_of(400.0, 10.0, 14.3, "b", 26.0);
    capture.name = "peak after capture";
    chase.name = "peak after chase";
    const PeakSurroundings around_capture{
        .assembly = "tube 1", .sensor = "s1", .air = Duration::seconds(20.0)};
    const PeakSurroundings around_chase{.assembly = "tube 1", .sensor = "s1", .bled_before = true};
    const auto pair = peak_pair(capture, around_capture, chase, around_chase).value();
    EXPECT_NEAR(pair.difference.mg_per_h.value(), 100.0, 1e-12);
    EXPECT_NEAR(pair.difference.mg_per_h.variance(), 200.0 + (0.02 * 100.0 * 0.02 * 100.0), 1e-9);
    EXPECT_NEAR(pair.ratio.value(), 1.25, 1e-12);
    EXPECT_NEAR(pair.ratio.standard_uncertainty(), 1.25 * std::hypot(0.02, 0.025), 1e-12);
    EXPECT_NEAR(pair.ratio_interval.low, 1.25 * std::exp(-1.959963984540054 * std::hypot(0.02, 0.025)),
                1e-12);
    EXPECT_EQ(pair.hours_between, 26.0);
    ASSERT_TRUE(pair.chase_adjusted.has_value());
    EXPECT_NEAR(pair.chase_adjusted->mg_per_h.value(), 400.0 * std::pow(2.4, -0.22), 1e-9);
    ASSERT_EQ(pair.differences.size(), 7U);
    EXPECT_EQ(pair.differences[0], "temperature: 12.1 degC after capture, 14.3 degC after chase");
    EXPECT_EQ(pair.differences[3], "blood was drawn between the two");
    EXPECT_EQ(pair.differences[4], "air: 20 s before the first, not known before the second");
    EXPECT_FALSE(peak_pair(capture, around_capture, peak_of(0.0, 1.0, 12.0, "c", 1.0), around_chase));
}

} // namespace
} // namespace backeddy::uptake
