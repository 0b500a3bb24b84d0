// Plates without noise give back what was put in; what else is checked against R is named beside it.

#include "condition/plate.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "condition/plates.hpp"

namespace backeddy::condition {
namespace {

using plates::Noise;
using plates::Plate;
using ::testing::Contains;
using ::testing::HasSubstr;

constexpr Noise hardly{.floor = 1e-7};
constexpr Noise usual{.floor = 0.01, .share = 0.04};

/// Standards, a blank, a control, three samples, a spike and a sample in four dilutions.
Plate whole_plate(const LogisticCurve& curve, Noise noise, std::uint64_t seed = 1) {
    Plate plate(curve, noise, seed);
    plate.standards(7);
    plate.add({.kind = WellKind::control, .label = "pool", .expected = 8.0, .dilution = 10.0}, 0.8);
    plate.sample("low", 0.4);
    plate.sample("high", 60.0, 20.0);
    plate.sample("too much", 400.0, 20.0);
    plate.sample("nothing", 0.02);
    plate.add({.kind = WellKind::spiked, .label = "low", .added = 1.5}, 1.9);
    for (const double dilution : {4.0, 8.0, 16.0, 32.0}) {
        plate.sample("series", 20.0, dilution);
    }
    return plate;
}

const Material& of(const std::vector<Material>& materials, const std::string& label) {
    return *std::ranges::find(materials, label, &Material::label);
}

TEST(Plate, gives_back_what_was_put_in) {
    for (const auto& curve : {plates::falling, plates::rising}) {
        auto made = whole_plate(curve, hardly);
        const auto plate = evaluate_plate(made.wells());
        ASSERT_TRUE(plate) << plate.error().text();
        EXPECT_NEAR(of(plate->samples, "low").concentration->value, 0.4, 1e-5);
        EXPECT_NEAR(of(plate->samples, "high").concentration->value, 60.0, 1e-3);
        EXPECT_NEAR(of(plate->samples, "series").concentration->value, 20.0, 1e-3);
        EXPECT_NEAR(of(plate->controls, "pool").concentration->value, 8.0, 1e-4);
        EXPECT_NEAR(of(plate->controls, "pool").recovery->value, 1.0, 1e-5);
        EXPECT_NEAR(of(plate->spikes, "low").recovery->value, 1.0, 1e-5);
        for (const auto& level : plate->standards) {
            EXPECT_EQ(level.recovery.has_value(), level.nominal > 0.0);
            EXPECT_NEAR(level.recovery.value_or(1.0), 1.0, 1e-4);
            EXPECT_EQ(level.is_accepted, level.nominal > 0.0);
        }
        EXPECT_EQ(plate->standards.size(), 8U);
        EXPECT_NEAR(plate->limits.quantified_from.value(), std::pow(2.5, -3), 1e-12);
        EXPECT_NEAR(plate->limits.quantified_to.value(), std::pow(2.5, 3), 1e-12);
    }
}

/// Sets the responses of a sample's wells, in their order.
void respond(std::vector<Well>& wells, const std::string& label, const std::vector<double>& responses) {
    std::size_t next = 0;
    for (auto& well : wells) {
        if (well.kind == WellKind::sample && well.label == label) {
            well.response = responses.at(next++);
        }
    }
}

TEST(Plate, replicates_that_lie_apart_carry_their_own_scatter) {
    auto made = whole_plate(plates::falling, usual, 5);
    made.sample("four", 1.0, 1.0, 4);
    respond(made.wells(), "low", {plates::falling.response(0.12), plates::falling.response(1.6)});
    const std::vector<double> four{1.35, 1.0, 1.3, 0.95};
    respond(made.wells(), "four", four);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate) << plate.error().text();
    const auto& low = of(plate->samples, "low");
    EXPECT_TRUE(low.steps.front().is_scattered);
    EXPECT_LT(low.concentration->lower, 0.12);
    EXPECT_GT(low.concentration->upper, 1.6);
    EXPECT_THAT(low.remarks, Contains(HasSubstr("the interval is by their own scatter")));
    ASSERT_EQ(low.doubts.size(), 1U);
    EXPECT_EQ(low.doubts.front().about, DoubtAbout::replicates);
    EXPECT_EQ(low.doubts.front().well, low.steps.front().responses.wells.front());
    // On the responses: mean 1.15, sum of squares 0.1250, so s / sqrt(4) = 0.1020621; qt(0.975, 3) = 3.182446
    // and qt(0.975, 12) = 2.178813 (R 4.2.2).
    const auto& read = of(plate->samples, "four");
    ASSERT_TRUE(read.steps.front().is_scattered);
    ASSERT_EQ(plate->curve.freedom, 12U);
    for (const double at : {read.concentration->lower, read.concentration->upper}) {
        const double curve_sd = std::sqrt(plate->curve.variance(plate->curve.gradient(at)));
        EXPECT_NEAR(std::abs(1.15 - plate->curve.curve.response(at)),
                    std::hypot(2.178813 * curve_sd, 3.182446 * 0.1020621), 1e-5);
    }
    EXPECT_FALSE(of(plate->samples, "high").steps.front().is_scattered);
    EXPECT_TRUE(of(plate->samples, "high").doubts.empty());
}

TEST(Plate, two_dilutions_that_disagree_reach_over_both) {
    auto made = whole_plate(plates::falling, usual, 6);
    made.sample("apart", 16.0, 10.0);
    made.add({.kind = WellKind::sample, .label = "apart", .dilution = 20.0}, 33.0 / 20.0);
    made.sample("agree", 16.0, 10.0);
    made.sample("agree", 16.0, 20.0);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate) << plate.error().text();
    const auto& apart = of(plate->samples, "apart");
    ASSERT_TRUE(apart.parallelism);
    EXPECT_EQ(apart.parallelism->dilutions, 2U);
    EXPECT_EQ(apart.parallelism->verdict, Parallel::no);
    for (const auto& step : apart.steps) {
        EXPECT_LE(apart.concentration->lower, step.read.lower * step.dilution);
        EXPECT_GE(apart.concentration->upper, step.read.upper * step.dilution);
    }
    EXPECT_LT(apart.concentration->lower, 14.0);
    EXPECT_GT(apart.concentration->upper, 37.0);
    ASSERT_EQ(apart.doubts.size(), 1U);
    EXPECT_EQ(apart.doubts.front().about, DoubtAbout::dilutions);
    EXPECT_THAT(apart.remarks, Contains(HasSubstr("the interval reaches over all of them")));
    EXPECT_TRUE(of(plate->samples, "agree").doubts.empty());
}

TEST(Plate, a_control_that_reads_beyond_the_curve_has_failed_unless_it_should_lie_there) {
    Plate made(plates::falling, hardly, 8);
    made.standards(7); // from 0.064
    made.add({.kind = WellKind::control, .label = "lost", .expected = 5.0}, 0.01);
    made.add({.kind = WellKind::control, .label = "faint", .expected = 0.05}, 0.04);
    made.add({.kind = WellKind::control, .label = "unknown"}, 0.01);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate) << plate.error().text();
    const auto& lost = of(plate->controls, "lost");
    EXPECT_TRUE(lost.has_failed);
    ASSERT_EQ(lost.doubts.size(), 1U);
    EXPECT_EQ(lost.doubts.front().words, "failed: it should hold 5 and reads below 0.064");
    EXPECT_FALSE(of(plate->controls, "faint").has_failed);
    EXPECT_THAT(of(plate->controls, "faint").remarks, Contains(HasSubstr("may lie beyond the curve")));
    EXPECT_FALSE(of(plate->controls, "unknown").has_failed);
}

TEST(Plate, what_lies_below_the_detection_limit_is_marked) {
    Plate made(plates::falling, usual, 9);
    made.standards(7);
    made.sample("under", 10.0 * 0.07, 10.0);
    made.sample("over", 10.0 * 2.0, 10.0);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate) << plate.error().text();
    const double limit = plate->limits.by_zero_wells.front().concentration.value();
    ASSERT_GT(limit, 0.1);
    ASSERT_TRUE(of(plate->samples, "under").concentration);
    ASSERT_LT(of(plate->samples, "under").concentration->value, 10.0 * limit);
    EXPECT_THAT(of(plate->samples, "under").remarks,
                Contains(HasSubstr("below the detection limit of this plate, ")));
    EXPECT_THAT(of(plate->samples, "over").remarks, ::testing::Not(Contains(HasSubstr("detection limit"))));
}

TEST(Plate, says_beyond_and_gives_no_number) {
    auto made = whole_plate(plates::falling, hardly);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    const auto& too_much = of(plate->samples, "too much"); // 20 in the well; the highest standard is 15.625
    EXPECT_FALSE(too_much.concentration);
    EXPECT_EQ(too_much.beyond, "above 312");
    EXPECT_THAT(too_much.remarks, Contains(HasSubstr("dilute it further")));
    const auto& nothing = of(plate->samples, "nothing");
    EXPECT_FALSE(nothing.concentration);
    EXPECT_EQ(nothing.beyond, "below 0.064");
}

TEST(Plate, a_spike_that_is_not_found_again_is_told_with_its_interval) {
    Plate made(plates::falling, hardly, 3);
    made.standards(7);
    made.sample("a", 0.8);
    made.add({.kind = WellKind::spiked, .label = "a", .added = 2.0}, 0.8 + (0.6 * 2.0));
    made.add({.kind = WellKind::spiked, .label = "b", .added = 2.0}, 2.0);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    const auto& spike = of(plate->spikes, "a");
    EXPECT_NEAR(spike.recovery->value, 0.6, 1e-5);
    EXPECT_FALSE(spike.recovery->is_accepted);
    EXPECT_TRUE(spike.recovery->lower <= 0.6 + 1e-5 && spike.recovery->upper >= 0.6 - 1e-5);
    EXPECT_THAT(spike.remarks, Contains(HasSubstr("recovered to 60 %, outside 80 % to 120 %")));
    EXPECT_FALSE(of(plate->spikes, "b").recovery);
    EXPECT_THAT(of(plate->spikes, "b").remarks, Contains(HasSubstr("no recovery")));
}

/// The curve with its k-th fitted parameter moved.
LogisticCurve moved(LogisticCurve curve, std::size_t k, double by) {
    std::array<double*, 4> parameters{&curve.at_zero, &curve.at_infinity, &curve.half, &curve.slope};
    *parameters.at(k) = k < 2 ? *parameters.at(k) + by : *parameters.at(k) * std::exp(by);
    return curve;
}

TEST(Plate, the_interval_of_a_spike_carries_what_it_shares_with_its_sample) {
    auto made = whole_plate(plates::falling, usual);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    const auto& sample = of(plate->samples, "low").steps.front();
    const auto& spike = of(plate->spikes, "low").steps.front();
    // JCGM 100:2008, eq. 13, all derivatives by differences: of the two mean responses, and of the
    // parameters.
    const auto recovery = [&](const LogisticCurve& curve, double y_sample, double y_spike) {
        return (*curve.concentration(y_spike) - *curve.concentration(y_sample)) / 1.5;
    };
    const double y = sample.responses.as_read;
    const double z = spike.responses.as_read;
    constexpr double h = 1e-5;
    const LogisticCurve& curve = plate->curve.curve;
    LogisticGradient by{};
    for (std::size_t k = 0; k < 4; ++k) {
        by.at(k) = (recovery(moved(curve, k, h), y, z) - recovery(moved(curve, k, -h), y, z)) / (2.0 * h);
    }
    const double by_y = (recovery(curve, y + h, z) - recovery(curve, y - h, z)) / (2.0 * h);
    const double by_z = (recovery(curve, y, z + h) - recovery(curve, y, z - h)) / (2.0 * h);
    const double variance = plate->curve.variance(by) +
                            (std::pow(by_y * plate->curve.response_sd(y), 2.0) / 2.0) +
                            (std::pow(by_z * plate->curve.response_sd(z), 2.0) / 2.0);
    ASSERT_EQ(plate->curve.freedom, 12U);
    const auto& got = of(plate->spikes, "low").recovery.value();
    // qt(0.975, 12) = 2.178813 (R 4.2.2)
    EXPECT_NEAR((got.upper - got.lower) / 2.0, 2.178813 * std::sqrt(variance), 1e-6);
    EXPECT_NEAR((got.upper + got.lower) / 2.0, recovery(curve, y, z), 1e-9);
}

TEST(Plate, dilutions_that_do_not_run_parallel_are_told) {
    Plate made(plates::falling, hardly, 4);
    made.standards(7);
    for (const double dilution : {4.0, 8.0, 16.0, 32.0}) {
        made.sample("good", 20.0, dilution);
        made.sample("matrix", 20.0 * std::pow(dilution / 4.0, std::log2(1.25)), dilution);
    }
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    const auto& good = *of(plate->samples, "good").parallelism;
    EXPECT_EQ(good.verdict, Parallel::yes);
    EXPECT_EQ(good.dilutions, 4U);
    EXPECT_NEAR(good.change_per_doubling, 0.0, 1e-5);
    const auto& matrix = *of(plate->samples, "matrix").parallelism;
    EXPECT_EQ(matrix.verdict, Parallel::no);
    EXPECT_NEAR(matrix.change_per_doubling, 0.25, 1e-4);
    EXPECT_NEAR(matrix.cv, 0.285484773, 1e-5); // R 4.2.2: x <- 1.25^(0:3); sd(x) / mean(x)

    EXPECT_THAT(of(plate->samples, "matrix").remarks, Contains(HasSubstr("not parallel")));
    EXPECT_THAT(of(plate->samples, "matrix").remarks, Contains(HasSubstr("CV of 28.5 %, over 20 %")));
}

TEST(Plate, blanks_change_no_concentration) {
    auto made = whole_plate(plates::rising, usual);
    made.add({.kind = WellKind::blank}, 0.0);
    const auto with = evaluate_plate(made.wells());
    const auto kept = evaluate_plate(made.wells(), {.subtract_blank = false});
    ASSERT_TRUE(with && kept);
    ASSERT_TRUE(with->blank);
    EXPECT_EQ(with->samples[0].concentration->value, kept->samples[0].concentration->value);
    const auto& less = with->samples[0].steps[0].responses;
    const auto& whole = kept->samples[0].steps[0].responses;
    EXPECT_NEAR(less.mean, whole.mean - *with->blank, 1e-12);
    EXPECT_GT(less.cv.value(), whole.cv.value());
}

TEST(Plate, the_order_of_the_wells_changes_nothing) {
    auto made = whole_plate(plates::falling, usual);
    const auto plate = evaluate_plate(made.wells());
    std::vector<Well> reversed(made.wells().rbegin(), made.wells().rend());
    const auto other = evaluate_plate(reversed);
    ASSERT_TRUE(plate && other);
    for (const auto& sample : plate->samples) {
        const auto& twin = of(other->samples, sample.label);
        ASSERT_EQ(sample.concentration.has_value(), twin.concentration.has_value());
        if (sample.concentration) {
            EXPECT_NEAR(twin.concentration->value / sample.concentration->value, 1.0, 1e-8);
            EXPECT_NEAR(twin.concentration->upper / sample.concentration->upper, 1.0, 1e-8);
        }
        EXPECT_EQ(sample.beyond, twin.beyond);
    }
}

TEST(Plate, the_unit_of_concentration_only_scales) {
    auto made = whole_plate(plates::falling, usual);
    const auto plate = evaluate_plate(made.wells());
    for (auto& well : made.wells()) {
        well.concentration *= 2.759;
        well.added *= 2.759;
        well.expected = well.expected ? std::optional(*well.expected * 2.759) : std::nullopt;
    }
    const auto other = evaluate_plate(made.wells());
    ASSERT_TRUE(plate && other);
    EXPECT_NEAR(other->samples[0].concentration->lower / plate->samples[0].concentration->lower, 2.759, 1e-6);
    EXPECT_NEAR(other->spikes[0].recovery->value, plate->spikes[0].recovery->value, 1e-7);
    EXPECT_NEAR(other->controls[0].recovery->upper, plate->controls[0].recovery->upper, 1e-7);
}

TEST(Plate, excluded_wells_are_named_and_not_read) {
    auto made = whole_plate(plates::falling, usual);
    auto& well = made.wells().back();
    well.response = std::numeric_limits<double>::quiet_NaN();
    well.excluded = "bubble";
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate) << plate.error().text();
    EXPECT_THAT(plate->excluded, ::testing::ElementsAre(well_name(well.row, well.column) + ": bubble"));
    const auto& step = of(plate->samples, "series").steps.back();
    EXPECT_EQ(step.responses.n, 1U);
    EXPECT_THAT(of(plate->samples, "series").remarks,
                Contains(HasSubstr("at dilution 32: one well: nothing is known of its own scatter")));
}

TEST(Plate, what_cannot_be_is_refused_with_the_well) {
    const auto refused = [](const auto& change) {
        auto made = whole_plate(plates::falling, usual);
        change(made.wells());
        const auto plate = evaluate_plate(made.wells());
        EXPECT_FALSE(plate);
        return plate ? Error{} : plate.error();
    };
    // Wells fill columns: standards A1 to F2, zeros G2 and H2, the control A3 and B3, "low" C3 and D3.
    const auto at = [](std::vector<Well>& wells, const std::string& name) -> Well& {
        return *std::ranges::find_if(wells,
                                     [&](const Well& w) { return well_name(w.row, w.column) == name; });
    };
    const auto dilution = refused([&](auto& wells) { at(wells, "C3").dilution = 0.0; });
    EXPECT_EQ(dilution.code, ErrorCode::out_of_range);
    EXPECT_THAT(dilution.text(), HasSubstr("well C3: a dilution of 0"));
    const auto negative = refused([&](auto& wells) { at(wells, "D3").response = -0.2; });
    EXPECT_THAT(negative.text(), HasSubstr("well D3: the response -0.2"));
    const auto nan = std::numeric_limits<double>::quiet_NaN();
    EXPECT_THAT(refused([&](auto& wells) { at(wells, "D3").response = nan; }).text(), HasSubstr("well D3"));
    const auto expected = refused([&](auto& wells) { at(wells, "B3").expected = 9.0; });
    EXPECT_EQ(expected.code, ErrorCode::bad_relation);
    EXPECT_THAT(expected.text(), HasSubstr("well B3: \"pool\" with the expected value 9, in A3 it is 8"));
    EXPECT_THAT(refused([&](auto& wells) { at(wells, "A1").concentration = 0.0; }).text(),
                HasSubstr("well A1: a standard of concentration 0"));
    EXPECT_EQ(refused([&](auto& wells) { at(wells, "C3").label.clear(); }).code, ErrorCode::unknown_name);
    EXPECT_EQ(refused([&](auto& wells) { wells.push_back(wells.front()); }).code, ErrorCode::duplicate);
    EXPECT_EQ(refused([&](auto& wells) { at(wells, "C3").row = 9; }).code, ErrorCode::out_of_range);
    const auto spike =
        refused([&](auto& wells) { std::ranges::find(wells, WellKind::spiked, &Well::kind)->added = 1.0; });
    EXPECT_EQ(spike.code, ErrorCode::bad_relation);
    const auto none = refused([](auto& wells) {
        std::erase_if(wells, [](const Well& w) { return w.kind == WellKind::standard; });
    });
    EXPECT_THAT(none.text(), HasSubstr("without standards"));
    const auto few = refused([](auto& wells) {
        std::erase_if(wells, [](const Well& w) {
            return w.kind == WellKind::zero || (w.kind == WellKind::standard && w.concentration < 1.0);
        });
        std::erase_if(wells,
                      [](const Well& w) { return w.kind == WellKind::standard && w.concentration < 2.0; });
    });
    EXPECT_EQ(few.code, ErrorCode::too_few);
    EXPECT_THAT(few.text(), HasSubstr("6 responses at 3 different concentrations"));
}

TEST(Plate, five_parameters_are_used_where_asked_or_earned) {
    auto made = whole_plate(plates::falling, usual);
    const auto four = evaluate_plate(made.wells(), {.curve = CurveChoice::lower_aicc});
    ASSERT_TRUE(four);
    EXPECT_EQ(four->curve.kind, LogisticKind::four);
    EXPECT_THAT(four->remarks, Contains(HasSubstr("AICc of four parameters")));
    LogisticCurve skewed = plates::rising;
    skewed.asymmetry = 0.3;
    skewed.half = 5.0;
    auto other = whole_plate(skewed, {.floor = 0.001, .share = 0.002});
    const auto five = evaluate_plate(other.wells(), {.curve = CurveChoice::lower_aicc});
    ASSERT_TRUE(five) << five.error().text();
    EXPECT_EQ(five->curve.kind, LogisticKind::five);
    EXPECT_LT(*five->five->aicc + 2.0, *five->four->aicc);
}

TEST(Plate, an_edge_effect_agrees_with_rs_regression_on_the_group) {
    // R 4.2.2: lm(log(y) ~ group + outer, weights = w), w = (geometric mean of the group)^0.5, which is 1 /
    // variance of ln y at variance power 1.5; exp() - 1 of estimate and confint().
    Plate made(plates::falling, hardly, 6);
    made.standards(7);
    auto wells = made.wells();
    const std::vector<double> a{1.31, 1.24, 1.27, 1.22};
    const std::vector<double> b{0.72, 0.70, 0.66, 0.68};
    for (std::size_t k = 0; k < 4; ++k) {
        wells.push_back(
            {.row = k + 1, .column = 5, .kind = WellKind::sample, .label = "a", .response = a[k]});
        wells.push_back(
            {.row = k + 1, .column = 6, .kind = WellKind::sample, .label = "b", .response = b[k]});
    }
    std::erase_if(wells, [](const Well& w) { return w.column > 2 && w.column < 5; });
    for (auto& well : wells) { // the standards' duplicates say that they have no scatter, and count as well
        if (well.kind == WellKind::standard || well.kind == WellKind::zero) {
            well.response = plates::falling.response(well.concentration);
        }
    }
    const auto plate = evaluate_plate(wells, {.variance_power = 1.5});
    ASSERT_TRUE(plate) << plate.error().text();
    ASSERT_TRUE(plate->edge.difference);
    EXPECT_NEAR(plate->edge.difference->value, 0.0284659955226024, 1e-9);
    EXPECT_NEAR(plate->edge.difference->lower, 0.00431161172313937, 1e-9);
    EXPECT_NEAR(plate->edge.difference->upper, 0.0532013088362934, 1e-9);
    EXPECT_EQ(plate->edge.difference->freedom, 13.0);
    EXPECT_EQ(plate->edge.residuals.size(), wells.size());
}

TEST(Plate, an_edge_effect_that_no_replicates_straddle_is_not_judged) {
    Plate made(plates::falling, usual, 7);
    made.standards(7);
    for (auto& well : made.wells()) { // all of them inside
        ++well.row;
        ++well.column;
    }
    const auto plate = evaluate_plate(made.wells(), {.rows = 16, .columns = 24});
    ASSERT_TRUE(plate) << plate.error().text();
    EXPECT_FALSE(plate->edge.difference);
    EXPECT_THAT(plate->edge.why_none, HasSubstr("no replicates stand both at the edge and inside"));
}

TEST(Plate, an_edge_of_eight_per_cent_is_seen) {
    Plate made(plates::falling, {.floor = 0.001, .share = 0.01}, 8);
    made.standards(7);
    for (int k = 0; k < 10; ++k) {
        made.sample("s" + std::to_string(k), 0.3 + (0.3 * k), 1.0, 4);
    }
    for (auto& well : made.wells()) {
        const bool is_outer = well.row == 1 || well.row == 8 || well.column == 1 || well.column == 12;
        well.response *= is_outer ? 1.08 : 1.0;
    }
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    const auto& edge = plate->edge.difference.value();
    EXPECT_TRUE(edge.lower <= 0.08 && 0.08 <= edge.upper) << edge.lower << " to " << edge.upper;
    EXPECT_GT(edge.lower, 0.05);
    EXPECT_THAT(plate->remarks, Contains(HasSubstr("outer wells read")));
}

TEST(Plate, limits_of_detection_lie_on_the_curve_at_the_stated_responses) {
    for (const auto& curve : {plates::falling, plates::rising}) {
        Plate made(curve, usual, 9);
        made.standards(7);
        made.add({.kind = WellKind::zero}, 0.0, 10); // twelve with those of the standards
        const auto plate = evaluate_plate(made.wells());
        ASSERT_TRUE(plate) << plate.error().text();
        const auto& zero = plate->standards.front().responses;
        ASSERT_EQ(zero.n, 12U);
        const auto& limits = plate->limits.by_zero_wells;
        ASSERT_EQ(limits.size(), 4U);
        const double toward = curve.rises() ? 1.0 : -1.0;
        EXPECT_NEAR(limits[0].response, zero.as_read + (toward * 3.0 * *zero.sd), 1e-12);
        EXPECT_THAT(limits[0].definition, HasSubstr("3 sd (sd of 12 zero wells)"));
        // qt(0.95, 11) = 1.795885 (R 4.2.2)
        EXPECT_NEAR(limits[1].response,
                    zero.as_read + (toward * 1.795885 * *zero.sd * std::sqrt(13.0 / 12.0)), 1e-6);
        // Currie's sigma_D is the noise at the limit itself.
        EXPECT_NEAR(limits[2].response,
                    limits[1].response + (toward * 1.795885 * plate->curve.response_sd(limits[2].response)),
                    1e-6);
        EXPECT_NEAR(limits[3].response, zero.as_read + (toward * 10.0 * *zero.sd), 1e-12);
        for (const auto& limit : limits) {
            if (limit.concentration) {
                EXPECT_NEAR(plate->curve.curve.response(*limit.concentration), limit.response, 1e-9);
            } else {
                EXPECT_FALSE(limit.why_none.empty());
            }
        }
        EXPECT_LT(limits[2].concentration.value(), limits[3].concentration.value());
    }
}

TEST(Plate, without_zero_wells_nothing_is_said_of_detection) {
    auto made = whole_plate(plates::falling, usual);
    std::erase_if(made.wells(), [](const Well& w) { return w.kind == WellKind::zero; });
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    EXPECT_TRUE(plate->limits.by_zero_wells.empty());
    EXPECT_THAT(plate->limits.why_none, HasSubstr("no zero wells"));
}

TEST(Plate, cvs_of_duplicates_are_pooled_by_their_squares) {
    Plate made(plates::falling, hardly, 10);
    made.standards(7);
    auto wells = made.wells();
    const auto add = [&](std::size_t row, const std::string& label, double response) {
        wells.push_back(
            {.row = row, .column = 9, .kind = WellKind::sample, .label = label, .response = response});
    };
    add(1, "a", 1.0);
    add(2, "a", 1.1); // sd 0.1 / sqrt 2, mean 1.05
    add(3, "b", 0.5);
    add(4, "b", 0.8); // sd 0.3 / sqrt 2, mean 0.65
    const auto plate = evaluate_plate(wells);
    ASSERT_TRUE(plate);
    const double a = 0.1 / std::sqrt(2.0) / 1.05;
    const double b = 0.3 / std::sqrt(2.0) / 0.65;
    EXPECT_NEAR(plate->response_cv->cv, std::sqrt(((a * a) + (b * b)) / 2.0), 1e-12);
    EXPECT_EQ(plate->response_cv->freedom, 2U);
    EXPECT_EQ(plate->concentration_cv->groups, 2U);
    EXPECT_GT(plate->concentration_cv->cv, plate->response_cv->cv);
    EXPECT_THAT(of(plate->samples, "b").remarks, Contains(HasSubstr("CV is 32.6 %, over 15 %")));
}

TEST(Plate, few_replicates_leave_the_usual_weights_and_say_so) {
    Plate made(plates::falling, usual, 11);
    made.standards(7);
    const auto plate = evaluate_plate(made.wells());
    ASSERT_TRUE(plate);
    EXPECT_EQ(plate->curve.variance_shape.parts.front().power, 1.5);
    EXPECT_THAT(plate->noise_from, HasSubstr("8 degrees of freedom, too few"));
    auto more = whole_plate(plates::falling, usual);
    EXPECT_THAT(evaluate_plate(more.wells())->noise_from, HasSubstr("by replicates of"));
}

/// Moves the response of all wells of one standard to where the curve has another concentration.
void misread(std::vector<Well>& wells, double standard, double as) {
    for (auto& well : wells) {
        if (well.kind == WellKind::standard && std::abs(well.concentration - standard) < 1e-9) {
            well.response = plates::falling.response(as);
        }
    }
}

TEST(Plate, the_quantified_range_does_not_span_a_refused_standard) {
    Plate made(plates::falling, hardly, 21);
    made.standards(7); // 2.5^-3 .. 2.5^3
    misread(made.wells(), std::pow(2.5, -2.0), std::pow(2.5, -2.0) * 1.6);
    made.sample("under", 0.1);
    made.sample("inside", 2.0);
    const auto plate = evaluate_plate(made.wells(), {.variance_power = 2.0});
    ASSERT_TRUE(plate) << plate.error().text();
    ASSERT_FALSE(plate->standards[2].is_accepted); // zeros first
    EXPECT_NEAR(plate->limits.quantified_from.value(), 0.4, 1e-9);
    EXPECT_NEAR(plate->limits.quantified_to.value(), 15.625, 1e-9);
    EXPECT_THAT(of(plate->samples, "under").remarks,
                Contains(HasSubstr("below the accepted standards, which begin at 0.4")));
    EXPECT_THAT(of(plate->samples, "inside").remarks,
                ::testing::Not(Contains(HasSubstr("accepted standards"))));
    EXPECT_THAT(plate->remarks, Contains(HasSubstr("in the fit all the same: ")));
}

TEST(Plate, dilutions_that_contradict_each_other_are_told) {
    // Closed form: the limits are the lowest (0.064) and the highest (15.625) standard times the dilution.
    Plate made(plates::falling, hardly, 22);
    made.standards(7);
    const auto at = [&](const std::string& label, double dilution, double in_well) {
        made.sample(label, in_well * dilution, dilution);
    };
    at("a", 1.0, 100.0);
    at("a", 2.0, 0.005);
    at("b", 1.0, 100.0);
    at("b", 2.0, 0.005);
    at("b", 4.0, 100.0);
    at("c", 1.0, 0.005);
    at("c", 4.0, 100.0);
    at("c", 8.0, 0.005);
    at("d", 1.0, 0.005);
    at("d", 2.0, 1.0);
    at("e", 1.0, 100.0);
    at("e", 1000.0, 0.005);
    const auto plate = evaluate_plate(made.wells(), {.variance_power = 2.0});
    ASSERT_TRUE(plate) << plate.error().text();
    for (const auto* label : {"a", "b", "c"}) {
        EXPECT_THAT(of(plate->samples, label).beyond, HasSubstr("they contradict each other")) << label;
    }
    EXPECT_TRUE(of(plate->samples, "d").concentration);
    EXPECT_THAT(of(plate->samples, "d").remarks, Contains(HasSubstr("another dilution contradicts")));
    EXPECT_EQ(of(plate->samples, "e").beyond, "between 15.6 and 64");
}

TEST(Plate, the_limit_of_detection_has_the_noise_of_its_own_place) {
    // Closed form, noise of a constant CV s: y_D = y_C + t s y_D, and so y_D = y_C / (1 - t s).
    Plate made(plates::rising, {.share = 0.05}, 23);
    made.standards(7);
    const auto plate = evaluate_plate(made.wells(), {.variance_power = 2.0});
    ASSERT_TRUE(plate) << plate.error().text();
    ASSERT_EQ(plate->curve.freedom, 12U);
    const double t = 1.782288; // qt(0.95, 12), R 4.2.2
    const double critical = plate->limits.by_zero_wells.at(1).response;
    EXPECT_NEAR(plate->limits.by_zero_wells.at(2).response, critical / (1.0 - (t * plate->curve.residual_sd)),
                1e-6);
}

TEST(Plate, five_never_fit_worse_than_four_where_they_are_compared) {
    for (std::uint64_t stream = 0; stream < 20; ++stream) {
        Plate made(plates::falling, {.floor = 0.01, .share = 0.04}, 24, stream);
        made.standards(7);
        const auto plate = evaluate_plate(made.wells(), {.variance_power = 2.0});
        ASSERT_TRUE(plate) << plate.error().text();
        if (plate->five &&
            std::isfinite(plate->five->log_likelihood)) { // nested: not less, at one set of weights
            EXPECT_GE(plate->five->log_likelihood, plate->four->log_likelihood - 1e-6) << stream;
        }
    }
}

} // namespace
} // namespace backeddy::condition
