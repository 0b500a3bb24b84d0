// The front door: whole stays of known truth.

#include "uptake/stay_uptake.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "series/trace.hpp"
#include "uptake/chamber_of_known_truth.hpp"

namespace backeddy::uptake {
namespace {

using test::cycling;
using test::known_start;
using test::KnownChamber;
using test::simulate;

bool says(const std::vector<Reason>& reasons, const std::string& word) {
    return std::any_of(reasons.begin(), reasons.end(), [&](const Reason& r) { return r.word == word; });
}

/// Ten litres with a kilogram of fish in it, resting.
StayInput stay_of(const ChamberTrace& trace, StayRole role = StayRole::rest) {
    StayInput input{.stay = "s1"};
    input.slices = {{.trace = &trace,
                     .end_row = trace.rows(),
                     .chamber = {.volume_l = Measured(10.0, 0.05, "volume:tube 1")},
                     .noise = fit::NoiseModel{.white_sd = 0.01}}};
    input.roles = {{role, known_start - Duration::hours(1), known_start + Duration::hours(100)}};
    input.settings.background.blanks_used = BlanksUsed::none;
    if (role != StayRole::blank) {
        input.fish = FishBody{.fish = "f1", .mass_kg = Measured(1.0, 0.005, "mass:f1")};
    }
    return input;
}

TEST(Stay, uptake_of_a_steady_fish_is_found_in_every_spell) {
    const auto trace = simulate({.flow_l_per_min = 12.0}, 6 * 3600.0, cycling(180, 600), 1);
    const auto out = stay_uptake(stay_of(trace));
    ASSERT_TRUE(out.has_value()) << out.error().text();
    ASSERT_EQ(out->spells.size(), 36U);
    EXPECT_EQ(out->states_from, StatesFrom::pump_column);
    double chi = 0.0;
    for (const auto& spell : out->spells) {
        const auto& answer = spell.answer;
        EXPECT_EQ(answer.mark, Mark::good) << (answer.reasons.empty() ? "" : answer.reasons[0].text);
        const double z = (answer.uptake_mg_per_h.value() - 100.0) / (answer.slope_error * 9.0);
        chi += z * z;
        EXPECT_NEAR(spell.water_volume_l.value(), 9.0, 1e-12);
        EXPECT_EQ(answer.readings, 360U);
    }
    // 36 squared normal errors: mean 36, sd 8.5.
    EXPECT_GT(chi, 36 - 26);
    EXPECT_LT(chi, 36 + 26);
    const auto& first = out->spells.front();
    EXPECT_EQ(first.answer.sealed_from, known_start + Duration::seconds(180));
    EXPECT_EQ(first.answer.from, known_start + Duration::seconds(240));
    EXPECT_EQ(first.answer.to, known_start + Duration::seconds(599));
    EXPECT_EQ(first.answer.uptake_mg_per_kg_h->contributions().size(), 3U);
}

TEST(Stay, slopes_are_those_of_a_stream_of_its_rows) {
    const auto trace = simulate({}, 2 * 3600.0, cycling(180, 600), 2);
    const auto out = stay_uptake(stay_of(trace));
    std::vector<double> streamed;
    SpellAccumulator accumulator(
        {.longest_step = longest_step(1.0), .settle = Duration::seconds(60)},
        [&](const SealedView& view) { streamed.push_back(quick_slope(view)->slope_mg_per_l_h); });
    accumulator.feed(
        {.times_ns = trace.times_ns, .oxygen_mg_per_l = trace.oxygen_mg_per_l, .state = trace.state});
    accumulator.finish();
    ASSERT_EQ(streamed.size(), out->spells.size());
    for (std::size_t i = 0; i < streamed.size(); ++i) {
        EXPECT_EQ(streamed[i], out->spells[i].answer.slope_mg_per_l_h);
    }
}

TEST(Stay, does_not_depend_on_what_else_the_trace_holds) {
    const auto trace = simulate({}, 3 * 3600.0, cycling(180, 600), 3);
    auto whole = stay_of(trace);
    whole.slices[0].first_row = 600;
    whole.slices[0].end_row = 7200;
    ChamberTrace part = trace;
    const auto cut = [&](auto& column) {
        column.erase(column.begin() + 7200, column.end());
        column.erase(column.begin(), column.begin() + 600);
    };
    cut(part.times_ns);
    cut(part.oxygen_mg_per_l);
    cut(part.saturation_percent);
    cut(part.temperature_celsius);
    cut(part.state);
    const auto a = stay_uptake(whole);
    const auto b = stay_uptake(stay_of(part));
    ASSERT_EQ(a->spells.size(), b->spells.size());
    for (std::size_t i = 0; i < a->spells.size(); ++i) {
        EXPECT_EQ(a->spells[i].answer.uptake_mg_per_h, b->spells[i].answer.uptake_mg_per_h);
    }
}

TEST(Stay, shifting_all_times_shifts_the_answers_and_nothing_else) {
    const auto trace = simulate({}, 3600.0, cycling(180, 600), 4);
    auto later = trace;
    const Duration by = Duration::hours(31.0);
    for (auto& t : later.times_ns) {
        t += by.nanoseconds();
    }
    const auto a = stay_uptake(stay_of(trace));
    const auto b = stay_uptake(stay_of(later));
    ASSERT_EQ(a->spells.size(), b->spells.size());
    for (std::size_t i = 0; i < a->spells.size(); ++i) {
        EXPECT_EQ(a->spells[i].answer.slope_mg_per_l_h, b->spells[i].answer.slope_mg_per_l_h);
        EXPECT_EQ(a->spells[i].answer.from + by, b->spells[i].answer.from);
    }
}

TEST(Stay, intervals_cover_the_truth_when_all_is_redrawn) {
    // Volume, mass, calibration and noise drawn anew in each of 600 stays of one spell.
    int covered = 0;
    constexpr int stays = 600;
    double sum = 0.0;
    for (int s = 0; s < stays; ++s) {
        Random random(2024, static_cast<std::uint64_t>(s));
        const double volume = 10.0 + (0.1 * random.normal());
        const double mass = 1.0 + (0.01 * random.normal());
        const double gain = 1.0 + (0.01 * random.normal());
        KnownChamber chamber{.water_l = volume - mass,
                             .flow_l_per_min = 6.0,
                             .white_sd = 0.005,
                             .coloured_sd = 0.01,
                             .correlation_s = 12.0};
        chamber.uptake_mg_per_h = [&](double) { return 120.0 * mass; };
        auto trace = simulate(chamber, 480.0, cycling(120, 600), 5000 + static_cast<std::uint64_t>(s));
        for (auto& c : trace.oxygen_mg_per_l) {
            c *= gain; // the sensor; the calibration says 1 ± 0.01
        }
        auto input = stay_of(trace);
        input.slices[0].chamber.volume_l = Measured(10.0, 0.1, "volume:tube 1");
        input.slices[0].noise =
            fit::NoiseModel{.white_sd = 0.005, .coloured_sd = 0.01, .correlation_time = 12.0};
        input.slices[0].oxygen.calibration = *Calibration::make(
            "p", {{.at = known_start, .reading = 100.0, .should_read = 100.0, .uncertainty = 1.0}});
        input.fish->mass_kg = Measured(1.0, 0.01, "mass:f1");
        const auto out = stay_uptake(input);
        ASSERT_EQ(out->spells.size(), 1U);
        const Measured& mo2 = *out->spells[0].answer.uptake_mg_per_kg_h;
        sum += mo2.value();
        covered += std::abs(mo2.value() - 120.0) <= 1.959964 * mo2.standard_uncertainty() ? 1 : 0;
    }
    // Binomial sd 0.9 %; standard error of the mean about 0.1 %.
    EXPECT_NEAR(covered / static_cast<double>(stays), 0.95, 0.027);
    EXPECT_NEAR(sum / stays, 120.0, 0.5);
}

TEST(Stay, a_blank_gives_the_background_that_is_taken_off) {
    KnownChamber empty{.water_l = 10.0};
    empty.uptake_mg_per_h = [](double) { return 6.0; };
    const auto before_trace = simulate(empty, 3600.0, cycling(180, 1200), 21);
    auto blank_input = stay_of(before_trace, StayRole::blank);
    blank_input.stay = "b1";
    const auto blank_stay = stay_uptake(blank_input);
    ASSERT_TRUE(blank_stay.has_value());
    const auto points = blank_points(blank_input, *blank_stay);
    ASSERT_EQ(points.size(), 1U);
    EXPECT_EQ(points[0].id, "b1");
    EXPECT_EQ(points[0].spells, 3U);
    EXPECT_NEAR(points[0].slope_mg_per_l_h.value(), -0.6,
                3.0 * points[0].slope_mg_per_l_h.standard_uncertainty());
    EXPECT_LT(points[0].slope_mg_per_l_h.standard_uncertainty(), 0.02);

    KnownChamber occupied;
    occupied.uptake_mg_per_h = [](double) { return 106.0; };
    const auto trace = simulate(occupied, 3 * 3600.0, cycling(180, 600), 22);
    auto input = stay_of(trace);
    input.blanks = points;
    input.settings.background.blanks_used = BlanksUsed::both;
    const auto out = stay_uptake(input);
    ASSERT_TRUE(out.has_value());
    double mean = 0.0;
    for (const auto& spell : out->spells) {
        mean += spell.answer.uptake_mg_per_h.value() / static_cast<double>(out->spells.size());
        EXPECT_EQ(spell.blanks, std::vector<std::string>{"b1"});
        EXPECT_NEAR(*spell.background_share, 6.0 / 106.0, 0.02);
        EXPECT_GT(spell.answer.uptake_mg_per_h.share("blank:b1"), 0.0);
    }
    EXPECT_NEAR(mean, 100.0, 1.0);
    // The blank's error is one and the same in all spells: it does not average away.
    const Measured sum = out->spells[0].answer.uptake_mg_per_h + out->spells[1].answer.uptake_mg_per_h;
    double one = 0.0;
    double both = 0.0;
    for (const auto& c : out->spells[0].answer.uptake_mg_per_h.contributions()) {
        one = c.source == "blank:b1" ? c.effect : one;
    }
    for (const auto& c : sum.contributions()) {
        both = c.source == "blank:b1" ? c.effect : both;
    }
    EXPECT_NEAR(both, 2.0 * one, 1e-12);
}

TEST(Stay, noise_found_in_blanks_and_spells_is_the_sensor_s) {
    const KnownChamber chamber{.white_sd = 0.004, .coloured_sd = 0.012, .correlation_s = 15.0};
    const auto trace = simulate(chamber, 8 * 3600.0, cycling(180, 900), 31);
    auto input = stay_of(trace);
    input.slices[0].noise.reset();
    const auto out = stay_uptake(input);
    ASSERT_TRUE(out.has_value());
    std::vector<NoiseStretch> stretches;
    for (const auto& one : noise_stretches(input, *out)) {
        stretches.push_back(one.stretch);
    }
    const auto noise = sensor_noise("probe 1", stretches);
    ASSERT_TRUE(noise.has_value()) << noise.error().text();
    EXPECT_NEAR(noise->model.white_sd, 0.004, 0.0015);
    EXPECT_NEAR(noise->model.coloured_sd, 0.012, 0.002);
    EXPECT_NEAR(noise->model.correlation_time, 15.0, 4.0);
    EXPECT_EQ(noise->spells, out->spells.size());
    EXPECT_NE(out->notes.front().find("no noise model"), std::string::npos);
}

// A step, a frozen stretch, a bubble that gives oxygen, missing rows, a rise: what stay_for_noise() leaves
// out must not change which spells serve.
TEST(Stay, the_look_for_noise_finds_the_same_stretches_as_the_whole_work) {
    auto trace = simulate({.white_sd = 0.004}, 8 * 3600.0, cycling(180, 900), 33);
    const auto spoil = [&](std::size_t spell, auto change) {
        for (std::size_t i = (spell * 900) + 300; i < (spell + 1) * 900; ++i) {
            change(i, trace.oxygen_mg_per_l[i]);
        }
    };
    spoil(1, [](std::size_t i, double& value) { value += i % 900 > 500 ? 0.4 : 0.0; });
    spoil(3, [&](std::size_t i, double& value) {
        value = i % 900 > 600 ? trace.oxygen_mg_per_l[(3 * 900) + 600] : value;
    });
    spoil(5, [](std::size_t i, double& value) {
        value += std::max(0.0, 0.0006 * (static_cast<double>(i % 900) - 500.0));
    });
    spoil(7, [](std::size_t i, double& value) { value = i % 3 == 0 ? value : missing; });
    spoil(9, [](std::size_t i, double& value) { value += 0.002 * static_cast<double>(i % 900); });
    trace.repeats.clear();
    for (const auto role : {StayRole::rest, StayRole::blank, StayRole::after_chase}) {
        auto input = stay_of(trace, role);
        input.slices[0].noise.reset();
        input.last_good = known_start + Duration::hours(7);
        const auto whole = stay_uptake(input);
        const auto look = stay_for_noise(input);
        ASSERT_TRUE(whole.has_value() && look.has_value());
        const auto wanted = noise_stretches(input, *whole);
        const auto found = noise_stretches(input, *look);
        EXPECT_LT(wanted.size(), whole->spells.size() - 4) << "the faults were seen";
        EXPECT_GT(wanted.size(), 10U);
        ASSERT_EQ(found.size(), wanted.size());
        for (std::size_t i = 0; i < found.size(); ++i) {
            EXPECT_EQ(found[i].stretch.view.times_ns.data(), wanted[i].stretch.view.times_ns.data());
            EXPECT_EQ(found[i].stretch.view.times_ns.size(), wanted[i].stretch.view.times_ns.size());
            EXPECT_EQ(found[i].stretch.view.sealed_from, wanted[i].stretch.view.sealed_from);
        }
    }
}

TEST(Stay, the_lag_after_capture_is_carried_in_the_fit) {
    KnownChamber chamber{.lag_s = 12.0, .white_sd = 0.002};
    chamber.uptake_mg_per_h = [](double) { return 800.0; };
    const auto trace = simulate(chamber, 240.0, cycling(120, 600), 41);
    auto input = stay_of(trace, StayRole::after_capture);
    input.slices[0].chamber.sensor_lag_s = 12.0;
    const auto with = stay_uptake(input);
    EXPECT_NEAR(with->spells[0].answer.uptake_mg_per_h.value(), 800.0, 8.0);
    EXPECT_EQ(with->spells[0].answer.from, known_start + Duration::seconds(120 + 36));
}

TEST(Stay, roles_cut_spells_and_rows_outside_a_role_are_not_used) {
    const auto trace = simulate({}, 3600.0, [](double t) { return t < 180.0; }, 51);
    auto input = stay_of(trace);
    input.roles = {
        {StayRole::after_capture, known_start, known_start + Duration::seconds(1200)},
        {StayRole::rest, known_start + Duration::seconds(1200), known_start + Duration::seconds(2400)}};
    const auto out = stay_uptake(input);
    ASSERT_EQ(out->spells.size(), 2U);
    EXPECT_EQ(out->spells[0].role, StayRole::after_capture);
    EXPECT_EQ(out->spells[0].answer.to, known_start + Duration::seconds(1199));
    EXPECT_EQ(out->spells[1].role, StayRole::rest);
    EXPECT_EQ(out->spells[1].answer.from, known_start + Duration::seconds(1260));
    EXPECT_EQ(out->spells[1].answer.to, known_start + Duration::seconds(2399));
}

TEST(Stay, a_sensor_swap_is_never_crossed) {
    const auto trace = simulate({}, 3600.0, [](double t) { return t < 180.0; }, 52);
    auto other = trace;
    other.sensor = "probe 2";
    auto input = stay_of(trace);
    input.slices.push_back(input.slices[0]);
    input.slices[0].end_row = 1500;
    input.slices[1].trace = &other;
    input.slices[1].first_row = 1500;
    const auto out = stay_uptake(input);
    ASSERT_EQ(out->spells.size(), 2U);
    EXPECT_EQ(out->spells[0].end_row, 1500U);
    EXPECT_EQ(out->spells[1].slice, 1U);
    EXPECT_EQ(out->spells[1].first_row, 1560U);
}

TEST(Stay, what_comes_after_the_last_good_moment_is_unusable) {
    const auto trace = simulate({}, 3600.0, cycling(180, 600), 53);
    auto input = stay_of(trace);
    input.last_good = known_start + Duration::seconds(1500);
    const auto out = stay_uptake(input);
    std::size_t usable = 0;
    for (const auto& spell : out->spells) {
        const bool after = spell.answer.from > *input.last_good;
        EXPECT_EQ(says(spell.answer.reasons, "after_last_good"), after);
        EXPECT_EQ(spell.answer.is_usable(), !after);
        EXPECT_TRUE(after || spell.answer.to <= *input.last_good);
        usable += after ? 0 : 1;
    }
    EXPECT_EQ(usable, 3U);
}

TEST(Stay, decisions_name_a_moment_and_are_told) {
    const auto trace = simulate({}, 3600.0, cycling(180, 600), 54);
    auto input = stay_of(trace);
    input.decisions = {{.act = DecisionAct::exclude,
                        .moment = known_start + Duration::seconds(300),
                        .reason = "hand in the bath",
                        .author = "A. Person"},
                       {.act = DecisionAct::move_start,
                        .moment = known_start + Duration::seconds(1000),
                        .moved_to = known_start + Duration::seconds(900),
                        .reason = "late mixing",
                        .author = "A. Person"},
                       {.act = DecisionAct::move_end,
                        .moment = known_start + Duration::seconds(1000),
                        .moved_to = known_start + Duration::seconds(1100),
                        .reason = "knock",
                        .author = "A. Person"},
                       {.act = DecisionAct::mark,
                        .moment = known_start + Duration::seconds(1600),
                        .mark = Mark::doubtful,
                        .reason = "splash",
                        .author = "A. Person"},
                       {.act = DecisionAct::exclude,
                        .moment = known_start + Duration::seconds(100),
                        .reason = "flush",
                        .author = "A. Person"}};
    const auto out = stay_uptake(input);
    ASSERT_EQ(out->spells.size(), 6U);
    EXPECT_EQ(out->spells[0].answer.mark, Mark::unusable);
    EXPECT_EQ(out->spells[0].mark_by_machine, Mark::good);
    EXPECT_TRUE(out->spells[0].is_excluded_by_hand);
    EXPECT_EQ(out->spells[0].answer.reasons.back().text, "excluded by A. Person: hand in the bath");
    EXPECT_EQ(out->spells[1].answer.from, known_start + Duration::seconds(900));
    EXPECT_EQ(out->spells[1].answer.to, known_start + Duration::seconds(1100));
    EXPECT_EQ(out->spells[2].answer.mark, Mark::doubtful);
    // A moment inside a flush names no sealed spell.
    EXPECT_EQ(out->decisions_without_spell, std::vector<std::size_t>{4});
}

ChamberAct act_at(double second, Mark mark, double uncertainty_s = 0.0) {
    return {.at = known_start + Duration::seconds(second),
            .uncertainty = Duration::seconds(uncertainty_s),
            .mark = mark,
            .reason = {"opened_inside", "the chamber was opened"}};
}

TEST(Stay, an_act_inside_a_sealed_spell_marks_it_and_no_other) {
    // Sealed from 180 to 600 s of each 600 s.
    const auto trace = simulate({.flow_l_per_min = 12.0}, 3600.0, cycling(180, 600), 6);
    auto input = stay_of(trace);
    const auto untouched = stay_uptake(input);
    for (const auto& spell : untouched->spells) {
        ASSERT_EQ(spell.answer.mark, Mark::good) << spell.answer.reasons.front().text;
    }
    input.acts = {act_at(300, Mark::unusable), act_at(1000, Mark::doubtful),
                  act_at(1300, Mark::unusable),       // in the flush
                  act_at(1970, Mark::unusable, 20.0), // in the flush, perhaps 10 s after it
                  act_at(2590, Mark::unusable)};      // while it settles
    const auto out = stay_uptake(input);
    ASSERT_EQ(out->spells.size(), 6U);
    const std::vector<Mark> expected{Mark::unusable, Mark::doubtful, Mark::good,
                                     Mark::doubtful, Mark::unusable, Mark::good};
    for (std::size_t i = 0; i < expected.size(); ++i) {
        EXPECT_EQ(out->spells[i].answer.mark, expected[i]) << i;
        EXPECT_EQ(out->spells[i].mark_by_machine, expected[i]) << i;
        EXPECT_EQ(says(out->spells[i].answer.reasons, "opened_inside"), expected[i] != Mark::good) << i;
    }
    EXPECT_EQ(out->spells[0].answer.reasons.back().text,
              "the chamber was opened at " + iso_text(known_start + Duration::seconds(300)) +
                  ", inside the spell sealed from " + iso_text(known_start + Duration::seconds(180)));
    // Who moves the end to before the act has readings that it did not touch.
    input.decisions = {{.act = DecisionAct::move_end,
                        .moment = known_start + Duration::seconds(290),
                        .moved_to = known_start + Duration::seconds(290),
                        .reason = "lid opened after",
                        .author = "A. Person"}};
    EXPECT_NE(stay_uptake(input)->spells[0].answer.mark, Mark::unusable);
}

TEST(Stay, a_bound_moved_out_of_its_spell_is_refused_and_one_past_the_other_leaves_nothing) {
    const auto trace = simulate({}, 3600.0, cycling(180, 600), 7);
    const auto plain = stay_uptake(stay_of(trace));
    const auto move = [](DecisionAct act, double moment, double to) {
        return SpellDecision{.act = act,
                             .moment = known_start + Duration::seconds(moment),
                             .moved_to = known_start + Duration::seconds(to),
                             .reason = "seen",
                             .author = "A. Person"};
    };
    auto input = stay_of(trace);
    input.decisions = {move(DecisionAct::move_start, 300, 170), move(DecisionAct::move_end, 1000, 1210),
                       move(DecisionAct::move_start, 1600, 1700), move(DecisionAct::move_end, 1600, 1700),
                       move(DecisionAct::move_start, 2100, 2000)};
    const auto out = stay_uptake(input);
    ASSERT_EQ(out->spells.size(), 5U);
    EXPECT_EQ(out->spells[0].answer.from, plain->spells[0].answer.from);
    EXPECT_TRUE(says(out->spells[0].answer.reasons, "start_not_moved"));
    EXPECT_EQ(out->spells[1].answer.to, plain->spells[1].answer.to);
    EXPECT_TRUE(says(out->spells[1].answer.reasons, "end_not_moved"));
    ASSERT_EQ(out->lost.size(), 1U);
    EXPECT_EQ(out->lost[0].from, known_start + Duration::seconds(1380));
    EXPECT_EQ(out->lost[0].reason.word, "moved_by_hand");
    // A start within the settling is a person's own judgement.
    EXPECT_EQ(out->spells[2].answer.from, known_start + Duration::seconds(2000));
    ASSERT_EQ(out->refused_moves.size(), 3U);
    EXPECT_EQ(out->refused_moves[0].decision, 0U);
    EXPECT_EQ(out->refused_moves[1].decision, 1U);
    EXPECT_EQ(out->refused_moves[2].decision, 3U);
    EXPECT_TRUE(out->refused_moves[2].leaves_nothing);
    EXPECT_EQ(stay_states(input)->refused_moves.size(), 3U);
}

TEST(Stay, including_overrides_the_machine) {
    const auto trace =
        simulate({.inflow_mg_per_l = 7.5, .start_mg_per_l = 7.0}, 600.0, cycling(180, 600), 55);
    auto input = stay_of(trace);
    EXPECT_EQ(stay_uptake(input)->spells[0].answer.mark, Mark::doubtful);
    input.decisions = {{.act = DecisionAct::include,
                        .moment = known_start + Duration::seconds(400),
                        .reason = "site water is at 75 %",
                        .author = "A. Person"}};
    const auto out = stay_uptake(input);
    EXPECT_EQ(out->spells[0].answer.mark, Mark::good);
    EXPECT_EQ(out->spells[0].mark_by_machine, Mark::doubtful);
}

TEST(Stay, says_why_it_cannot_be_computed) {
    const auto trace = simulate({}, 600.0, cycling(180, 600), 56);
    auto input = stay_of(trace);
    input.fish->mass_kg = Measured(12.0);
    EXPECT_NE(stay_uptake(input).error().text().find("leaves room for water"), std::string::npos);
    input = stay_of(trace);
    input.roles.clear();
    EXPECT_NE(stay_uptake(input).error().text().find("stay s1: no role"), std::string::npos);
    input = stay_of(trace);
    input.slices.clear();
    EXPECT_FALSE(stay_uptake(input).has_value());
}

TEST(Stay, a_spell_that_settle_eats_is_lost_with_its_reason) {
    const auto trace = simulate({}, 1200.0, [](double t) { return std::fmod(t, 200.0) < 150.0; }, 57);
    const auto out = stay_uptake(stay_of(trace));
    ASSERT_TRUE(out.has_value());
    EXPECT_TRUE(out->spells.empty());
    EXPECT_EQ(out->lost.size(), 6U);
    EXPECT_EQ(out->lost[0].reason.word, "too_few_readings");
}

TEST(Stay, states_for_drawing_cover_flush_settle_and_sealed) {
    const auto trace = simulate({}, 1200.0, cycling(180, 600), 58);
    const auto out = stay_uptake(stay_of(trace));
    ASSERT_EQ(out->states.size(), 6U);
    EXPECT_EQ(out->states[0].run.state, ChamberState::flush);
    EXPECT_EQ(out->states[1].run.state, ChamberState::settle);
    EXPECT_EQ(out->states[1].run.to, known_start + Duration::seconds(240));
    EXPECT_EQ(out->states[2].run.state, ChamberState::sealed);
    EXPECT_EQ(out->states[5].run.to, known_start + Duration::seconds(1200));
}

// ------------------------------------------------------------------------------------------------ found
// states

struct Scenario {
    std::string name;
    KnownChamber chamber;
    double flush_s = 180.0;
    double period_s = 600.0;
    double hours = 6.0;
    StayRole role = StayRole::rest;
};

std::vector<Scenario> scenarios() {
    std::vector<Scenario> out;
    out.push_back({.name = "quiet fish"});
    out.push_back({.name = "large chamber",
                   .chamber = {.water_l = 20, .flow_l_per_min = 10},
                   .flush_s = 240,
                   .period_s = 900});
    out.back().chamber.uptake_mg_per_h = [](double) { return 60.0; };
    out.push_back({.name = "slow sensor", .chamber = {.lag_s = 10}});
    out.push_back({.name = "coloured noise",
                   .chamber = {.lag_s = 8, .white_sd = 0.003, .coloured_sd = 0.01, .correlation_s = 15}});
    out.push_back({.name = "a reading in 5 s", .chamber = {.sample_s = 5}});
    out.push_back({.name = "coarse readings", .chamber = {.white_sd = 0.004, .reading_step = 0.01}});
    out.push_back({.name = "restless fish"});
    out.back().chamber.uptake_mg_per_h = [](double t) {
        return 100.0 + (40.0 * std::sin(t / 700.0)) + (30.0 * std::sin(t / 211.0));
    };
    out.push_back({.name = "after capture",
                   .chamber = {.flow_l_per_min = 6, .lag_s = 6},
                   .flush_s = 120,
                   .period_s = 300,
                   .hours = 1.5,
                   .role = StayRole::after_capture});
    out.back().chamber.uptake_mg_per_h = [](double t) { return 100.0 + (600.0 * std::exp(-t / 900.0)); };
    return out;
}

TEST(FoundStates, bounds_lie_within_five_seconds_or_two_samples) {
    int bounds = 0;
    int within = 0;
    for (const auto& scenario : scenarios()) {
        const double tolerance = std::max(5.0, 2.0 * scenario.chamber.sample_s);
        for (std::uint64_t seed = 1; seed <= 2; ++seed) {
            const double length = scenario.hours * 3600.0;
            const auto trace =
                simulate(scenario.chamber, length, cycling(scenario.flush_s, scenario.period_s), 900 + seed);
            const auto found =
                find_states(trace.times_ns, trace.oxygen_mg_per_l, {.sensor_lag_s = scenario.chamber.lag_s});
            ASSERT_TRUE(found.has_value());
            const auto check = [&](ChamberState into, double at) {
                double nearest = 1e9;
                for (const auto& bound : found->boundaries) {
                    if (bound.into == into) {
                        nearest = std::min(nearest, std::abs((bound.at - known_start).seconds() - at));
                    }
                }
                ++bounds;
                within += nearest <= tolerance ? 1 : 0;
            };
            for (double at = 0.0; at + scenario.flush_s + 60.0 < length; at += scenario.period_s) {
                check(ChamberState::sealed, at + scenario.flush_s);
                if (at > 0.0) {
                    check(ChamberState::flush, at);
                }
            }
            // And nothing else is found: as many as there are.
            EXPECT_LE(found->boundaries.size(),
                      static_cast<std::size_t>(2.0 * length / scenario.period_s) + 1)
                << scenario.name;
        }
    }
    EXPECT_GE(bounds, 1000);
    EXPECT_GE(static_cast<double>(within) / bounds, 0.95) << within << " of " << bounds;
}

TEST(FoundStates, uptake_with_them_is_uptake_with_the_pump_column_within_half_a_per_cent) {
    for (const auto& scenario : scenarios()) {
        const auto trace = simulate(scenario.chamber, scenario.hours * 3600.0,
                                    cycling(scenario.flush_s, scenario.period_s), 77);
        const auto blind = test::without_states(trace);
        auto input = stay_of(trace, scenario.role);
        input.slices[0].chamber.sensor_lag_s = scenario.chamber.lag_s;
        auto blind_input = input;
        blind_input.slices[0].trace = &blind;
        const auto told = stay_uptake(input);
        const auto found = stay_uptake(blind_input);
        ASSERT_TRUE(told && found);
        EXPECT_EQ(found->states_from, StatesFrom::found);
        ASSERT_EQ(found->spells.size(), told->spells.size()) << scenario.name;
        double sum_told = 0.0;
        double sum_found = 0.0;
        std::size_t within = 0;
        for (std::size_t i = 0; i < told->spells.size(); ++i) {
            sum_told += told->spells[i].answer.uptake_mg_per_h.value();
            sum_found += found->spells[i].answer.uptake_mg_per_h.value();
            const double ratio = found->spells[i].answer.uptake_mg_per_h.value() /
                                 told->spells[i].answer.uptake_mg_per_h.value();
            within += std::abs(ratio - 1.0) < 0.005 ? 1 : 0;
        }
        EXPECT_NEAR(sum_found / sum_told, 1.0, 0.001) << scenario.name;
        EXPECT_GE(static_cast<double>(within), 0.95 * static_cast<double>(told->spells.size()))
            << scenario.name;
    }
}

TEST(FoundStates, flushes_by_hand_are_found_too) {
    // Lengths and gaps of no rule.
    const std::vector<std::pair<double, double>> flushes{{0, 150},     {700, 1010},  {1500, 1640},
                                                         {2700, 2950}, {3300, 3480}, {4800, 5050}};
    const auto flushed = [&](double t) {
        return std::any_of(flushes.begin(), flushes.end(),
                           [&](const auto& f) { return t >= f.first && t < f.second; });
    };
    KnownChamber chamber{.lag_s = 5.0, .white_sd = 0.005};
    chamber.uptake_mg_per_h = [](double) { return 150.0; };
    const auto trace = simulate(chamber, 5600.0, flushed, 5);
    const auto found = find_states(trace.times_ns, trace.oxygen_mg_per_l, {.sensor_lag_s = 5.0});
    ASSERT_TRUE(found.has_value());
    std::vector<StateRun> flush_runs;
    for (const auto& run : found->runs) {
        if (run.state == ChamberState::flush) {
            flush_runs.push_back(run);
        }
    }
    ASSERT_EQ(flush_runs.size(), flushes.size());
    for (std::size_t i = 0; i < flushes.size(); ++i) {
        EXPECT_NEAR((flush_runs[i].from - known_start).seconds(), flushes[i].first, 5.0) << i;
        EXPECT_NEAR((flush_runs[i].to - known_start).seconds(), flushes[i].second, 5.0) << i;
    }
}

TEST(FoundStates, a_trace_that_begins_sealed_and_has_holes_is_read_as_it_is) {
    // The fish is sealed in at once (as on a boat); the logger drops out for a minute and a half, twice.
    KnownChamber chamber{.flow_l_per_min = 6.0, .lag_s = 5.0, .white_sd = 0.005};
    chamber.uptake_mg_per_h = [](double t) { return 150.0 + (500.0 * std::exp(-t / 1200.0)); };
    const auto flushed = [](double t) { return std::fmod(t + 180.0, 360.0) < 120.0 && t > 100.0; };
    auto trace = test::without_states(simulate(chamber, 3600.0, flushed, 8));
    for (const std::ptrdiff_t hole : {2500, 1200}) {
        const auto cut = [&](auto& column) {
            column.erase(column.begin() + hole, column.begin() + hole + 90);
        };
        cut(trace.times_ns);
        cut(trace.oxygen_mg_per_l);
        cut(trace.saturation_percent);
        cut(trace.temperature_celsius);
        cut(trace.state);
    }
    const auto found = find_states(trace.times_ns, trace.oxygen_mg_per_l, {.sensor_lag_s = 5.0});
    ASSERT_TRUE(found.has_value());
    EXPECT_EQ(found->runs.front().state, ChamberState::sealed);
    EXPECT_EQ(found->runs.front().from, known_start);
    int checked = 0;
    for (double at = 180.0; at < 3600.0 - 180.0; at += 360.0) {
        if ((at > 1000.0 && at < 1350.0) || (at > 2300.0 && at < 2650.0)) {
            continue; // beside a hole
        }
        double nearest = 1e9;
        for (const auto& bound : found->boundaries) {
            if (bound.into == ChamberState::flush) {
                nearest = std::min(nearest, std::abs((bound.at - known_start).seconds() - at));
            }
        }
        EXPECT_LE(nearest, 5.0) << at;
        ++checked;
    }
    EXPECT_GE(checked, 6);
}

TEST(FoundStates, one_long_fall_is_sealed_and_a_flat_trace_is_not_known) {
    const auto falling = simulate({}, 1800.0, [](double) { return false; }, 6);
    const auto sealed = find_states(falling.times_ns, falling.oxygen_mg_per_l);
    ASSERT_TRUE(sealed.has_value());
    ASSERT_EQ(sealed->runs.size(), 1U);
    EXPECT_EQ(sealed->runs[0].state, ChamberState::sealed);
    KnownChamber empty;
    empty.uptake_mg_per_h = [](double) { return 0.3; };
    const auto flat = simulate(empty, 1800.0, [](double) { return false; }, 7);
    const auto unknown = find_states(flat.times_ns, flat.oxygen_mg_per_l);
    ASSERT_TRUE(unknown.has_value());
    EXPECT_TRUE(unknown->runs.empty());
    EXPECT_NE(unknown->note.find("not known"), std::string::npos);
    EXPECT_EQ(find_states(std::span(flat.times_ns).first(20), std::span(flat.oxygen_mg_per_l).first(20))
                  .error()
                  .code,
              ErrorCode::too_few);
}

} // namespace
} // namespace backeddy::uptake
