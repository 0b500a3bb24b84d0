// The simulated chamber against what its physics must do, fault by fault.

#include "rig_chamber.hpp"

#include <cmath>
#include <set>

#include <gtest/gtest.h>

namespace backeddy::rig {
namespace {

constexpr std::uint64_t seed = 11;

/// A chamber and its faults, stepped second by second; sealed where the test says so.
class Chamber {
  public:
    explicit Chamber(ChamberSettings settings = {}) : chamber_(settings, 1, seed) {}

    void fault(FaultKind kind, double amount = 0.0) {
        faults_.add({.kind = kind, .chamber = 1, .amount = amount, .from_s = now_s_});
    }
    void end(FaultKind kind) { faults_.end(kind, 1, now_s_); }
    /// On by so many seconds, renewing the seal each second while sealed.
    std::vector<Sample> on(double seconds, bool sealed) {
        std::vector<Sample> out;
        for (const double end_s = now_s_ + seconds; now_s_ < end_s;) {
            if (sealed) {
                chamber_.seal(now_s_);
            } else {
                chamber_.flush(now_s_);
            }
            out.push_back(silent());
        }
        return out;
    }
    /// One second on, without a word to the pump.
    Sample silent() {
        now_s_ += 1.0;
        return chamber_.step(now_s_, faults_);
    }
    [[nodiscard]] double truth() const { return chamber_.true_mg_per_l(); }
    /// Fall of the truth over a sealed spell of so many seconds, mg/L; the first half minute is mixing.
    double fall(double seconds) {
        on(30.0, true);
        const double from = truth();
        on(seconds, true);
        return from - truth();
    }

  private:
    RigChamber chamber_;
    FaultPlan faults_;
    double now_s_ = 0.0;
};

TEST(RigChamber, falls_while_sealed_and_recovers_while_flushed) {
    Chamber chamber;
    chamber.on(600.0, false);
    const double full = chamber.truth();
    EXPECT_GT(chamber.fall(300.0), 0.5);
    chamber.on(600.0, false);
    EXPECT_NEAR(chamber.truth(), full, 0.2);
}

TEST(RigChamber, is_the_same_for_the_same_seed_and_another_for_another) {
    FaultPlan none;
    RigChamber one({}, 1, seed);
    RigChamber same({}, 1, seed);
    RigChamber other({}, 2, seed);
    const auto sample = one.step(60.0, none);
    EXPECT_EQ(sample.oxygen_mg_per_l, same.step(60.0, none).oxygen_mg_per_l);
    EXPECT_NE(sample.oxygen_mg_per_l, other.step(60.0, none).oxygen_mg_per_l);
}

TEST(RigChamber, HeartbeatStops_and_the_hardware_flushes_by_itself) {
    Chamber chamber; // limit 15 s
    EXPECT_TRUE(chamber.on(20.0, true).back().sealed);
    for (int i = 0; i < 13; ++i) {
        EXPECT_TRUE(chamber.silent().sealed) << i;
    }
    chamber.silent();
    EXPECT_FALSE(chamber.silent().sealed);
}

TEST(RigChamber, the_water_feels_the_end_of_the_heartbeat_in_the_midst_of_a_long_step) {
    FaultPlan none;
    RigChamber coarse({}, 1, seed);
    RigChamber fine({}, 1, seed);
    coarse.seal(0.0);
    fine.seal(0.0);
    for (int i = 1; i <= 60; ++i) {
        static_cast<void>(fine.step(i, none));
    }
    static_cast<void>(coarse.step(60.0, none));
    EXPECT_NEAR(coarse.true_mg_per_l(), fine.true_mg_per_l(), 0.01);
}

TEST(RigChamber, DeadPump_StuckValve_bring_nothing) {
    for (const auto kind : {FaultKind::dead_pump, FaultKind::stuck_valve}) {
        Chamber chamber;
        chamber.fault(kind);
        const double from = chamber.truth();
        chamber.on(300.0, false);
        EXPECT_LT(chamber.truth(), from - 0.5);
        chamber.end(kind);
        chamber.on(900.0, false);
        EXPECT_NEAR(chamber.truth(), from, 0.5);
    }
}

TEST(RigChamber, StuckPump_flushes_on_and_its_contact_says_so) {
    Chamber chamber;
    chamber.on(600.0, false);
    chamber.fault(FaultKind::stuck_pump);
    const double from = chamber.truth();
    EXPECT_FALSE(chamber.on(300.0, true).back().sealed);
    EXPECT_NEAR(chamber.truth(), from, 0.1);
}

TEST(RigChamber, WeakFlush_reaches_less) {
    Chamber strong;
    Chamber weak;
    weak.fault(FaultKind::weak_flush, 0.1);
    strong.on(1800.0, false);
    weak.on(1800.0, false);
    EXPECT_LT(weak.truth(), strong.truth() - 0.5);
}

TEST(RigChamber, Leak_Bubble_slow_the_fall) {
    Chamber tight;
    const double fall = tight.fall(600.0);
    Chamber leaking;
    leaking.fault(FaultKind::leak, 0.5);
    EXPECT_LT(leaking.fall(600.0), 0.9 * fall);
    Chamber bubbled;
    bubbled.fault(FaultKind::bubble, 200.0);
    EXPECT_LT(bubbled.fall(600.0), 0.9 * fall);
}

TEST(RigChamber, FishOut_and_a_dead_fish_use_no_oxygen_and_a_restless_one_more) {
    Chamber out;
    out.fault(FaultKind::fish_out);
    EXPECT_NEAR(out.fall(600.0), 0.0, 1e-3);
    Chamber dead;
    dead.fault(FaultKind::fish_dies);
    dead.on(1.0, true);
    dead.end(FaultKind::fish_dies);
    EXPECT_NEAR(dead.fall(600.0), 0.0, 1e-3) << "it does not come back";
    Chamber calm;
    Chamber restless;
    restless.fault(FaultKind::restless, 60.0);
    // 60 mg/h for 10 minutes in some 9.4 L.
    EXPECT_NEAR(restless.fall(600.0) - calm.fall(600.0), 10.0 / 9.4, 0.15);
}

TEST(RigChamber, PoorInflow_lowers_what_the_flush_can_reach) {
    Chamber chamber;
    chamber.fault(FaultKind::poor_inflow, 4.0);
    chamber.on(3600.0, false);
    EXPECT_LT(chamber.truth(), 4.0);
}

TEST(RigChamber, runs_out_of_oxygen_without_a_fault_of_its_own) {
    Chamber chamber;
    chamber.fault(FaultKind::dead_pump);
    chamber.on(8.0 * 3600.0, false);
    EXPECT_GE(chamber.truth(), 0.0);
}

double spread(const std::vector<Sample>& samples) {
    double sum = 0.0;
    for (std::size_t i = 1; i < samples.size(); ++i) {
        const double step = *samples[i].oxygen_mg_per_l - *samples[i - 1].oxygen_mg_per_l;
        sum += step * step;
    }
    return std::sqrt(sum / 2.0 / static_cast<double>(samples.size() - 1));
}

TEST(RigSensor, FrozenSensor_gives_one_number_and_goes_on_when_it_thaws) {
    Chamber chamber;
    const auto before = chamber.on(10.0, true).back();
    chamber.fault(FaultKind::frozen);
    std::set<double> seen;
    for (const auto& sample : chamber.on(60.0, true)) {
        seen.insert(*sample.oxygen_mg_per_l);
    }
    EXPECT_EQ(seen, std::set<double>{*before.oxygen_mg_per_l});
    chamber.end(FaultKind::frozen);
    EXPECT_NE(chamber.on(1.0, true)[0].oxygen_mg_per_l, before.oxygen_mg_per_l);
}

TEST(RigSensor, Dropout_gives_no_number_and_Implausible_one_that_no_water_has) {
    Chamber chamber;
    chamber.fault(FaultKind::dropout);
    EXPECT_FALSE(chamber.on(1.0, false)[0].oxygen_mg_per_l);
    chamber.end(FaultKind::dropout);
    chamber.fault(FaultKind::implausible, 850.0);
    EXPECT_EQ(chamber.on(1.0, false)[0].oxygen_mg_per_l, 850.0);
}

TEST(RigSensor, NoiseBurst_widens_the_readings_and_leaves_the_water_alone) {
    Chamber clean;
    Chamber noisy;
    noisy.fault(FaultKind::noise, 0.5);
    EXPECT_LT(spread(clean.on(300.0, false)), 0.03);
    EXPECT_NEAR(spread(noisy.on(300.0, false)), 0.5, 0.1);
    EXPECT_EQ(clean.truth(), noisy.truth());
}

TEST(RigSensor, Offset_and_Drift_move_the_readings_as_ordered) {
    Chamber clean;
    Chamber drifting;
    drifting.fault(FaultKind::drift, 1.0);
    drifting.fault(FaultKind::offset, 2.0);
    const auto expected = clean.on(1800.0, false);
    const auto got = drifting.on(1800.0, false);
    EXPECT_NEAR(*got.front().oxygen_mg_per_l - *expected.front().oxygen_mg_per_l, 2.0, 1e-2);
    EXPECT_NEAR(*got.back().oxygen_mg_per_l - *expected.back().oxygen_mg_per_l, 2.5, 1e-2);
}

} // namespace
} // namespace backeddy::rig
