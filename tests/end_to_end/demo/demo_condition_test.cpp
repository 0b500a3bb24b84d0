// The fish's condition of the demo from its files back to its truth: plates, meters. Many seeds, since one
// tells little; without the traces, which take the time.

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "base/number_text.hpp"
#include "condition/meter.hpp"
#include "condition/plate.hpp"
#include "intake/condition_tables.hpp"
#include "intake/plate_file.hpp"
#include "simulate/condition_tables.hpp"
#include "simulate/simulate.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;
using condition::PlateResult;

const simulate::SimulationPlan& demo() {
    static const auto made = simulate::read_plan(fs::path(BACKEDDY_SOURCE_DIR) / "demo/demo.toml");
    EXPECT_TRUE(made) << made.error().text();
    return *made;
}

/// A season's plates as read from its files, and the true concentrations.
struct Assayed {
    std::vector<PlateResult> plates;
    std::map<std::string, double> truth; ///< ng/mL by tube
};

condition::Well well_of(const study::WellRow& row, double response) {
    condition::Well well{.row = row.row,
                         .column = row.column,
                         .kind = row.kind,
                         .label = row.label,
                         .dilution = row.dilution.value_or(1.0),
                         .response = response};
    if (row.kind == condition::WellKind::control) {
        well.expected = row.concentration;
    } else {
        well.concentration = row.concentration.value_or(0.0);
    }
    well.added = row.added.value_or(0.0);
    return well;
}

Assayed assayed(const simulate::SimulationPlan& plan, std::uint64_t seed) {
    Assayed out;
    const auto season = simulate::lay_out(plan, seed);
    EXPECT_TRUE(season) << season.error().text();
    const auto condition = simulate::lay_out_condition(plan, *season, seed);
    for (std::size_t f = 0; f < season->fish.size(); ++f) {
        out.truth[simulate::plasma_tube(season->fish[f])] = condition.blood[f].cortisol_ng_per_ml;
    }
    const auto plates = simulate::assay_plates(plan, *season, condition, seed);
    std::map<std::string, std::string> files;
    for (auto& [name, text] : simulate::condition_files(plan, *season, condition, plates)) {
        files[name] = std::move(text);
    }
    const auto maps = intake::read_wells(files.at("wells.csv"), "wells.csv", {});
    EXPECT_TRUE(maps.complaints.empty());
    for (const auto& plate : plan.plates) {
        const auto file = simulate::export_file(plate);
        const auto reading = intake::read_plate(files.at(file), file);
        EXPECT_TRUE(reading) << reading.error().text();
        EXPECT_TRUE(reading->complaints.empty()) << reading->complaints.front().error.text();
        EXPECT_EQ(reading->wells.size(), 96U);
        std::vector<condition::Well> wells;
        for (const auto& row : maps.rows) {
            if (row.plate.text() == plate.name) {
                const auto& cell = reading->wells.at(((row.row - 1) * 12) + row.column - 1);
                wells.push_back(well_of(row, cell.response.value()));
            }
        }
        auto result = condition::evaluate_plate(wells);
        EXPECT_TRUE(result) << result.error().text();
        out.plates.push_back(std::move(*result));
    }
    return out;
}

const std::vector<Assayed>& twelve_seasons() {
    static const std::vector<Assayed> made = [] {
        std::vector<Assayed> all;
        for (std::uint64_t seed = 1; seed <= 12; ++seed) {
            all.push_back(assayed(demo(), seed));
        }
        return all;
    }();
    return made;
}

const condition::Material& sample(const Assayed& season, const std::string& tube) {
    for (const auto& plate : season.plates) {
        const auto found = std::ranges::find(plate.samples, tube, &condition::Material::label);
        if (found != plate.samples.end()) {
            return *found;
        }
    }
    ADD_FAILURE() << tube << " is on no plate";
    return season.plates.front().samples.front();
}

/// How many of the samples that have a number hold the truth within their interval.
struct Coverage {
    int held = 0;
    int asked = 0;

    void add(const Assayed& season) {
        for (const auto& plate : season.plates) {
            add(plate, season);
        }
    }
    void add(const PlateResult& plate, const Assayed& season) {
        for (const auto& material : plate.samples) {
            if (material.concentration) {
                const double truth = season.truth.at(material.label);
                held += material.concentration->lower <= truth && truth <= material.concentration->upper;
                ++asked;
            }
        }
    }
    [[nodiscard]] double share() const { return static_cast<double>(held) / asked; }
};

// Without what is planted on the plates the nominal 95 % interval must be one: of 40 seeds and 22 fish each,
// which share 80 curves. 880 independent samples would come within 0.015 of 0.95 nineteen times in twenty;
// sharing a curve makes that some 0.02, and docs/methods.md has 93 to 97 % for single samples.
TEST(DemoCondition, cortisol_read_from_sound_plates_holds_the_truth_as_often_as_it_says) {
    auto sound = demo();
    for (auto& plate : sound.plates) {
        plate.edge_percent = 0.0;
        plate.bad_standard = 0;
    }
    Coverage all;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        all.add(assayed(sound, seed));
    }
    RecordProperty("held", fmt::format("{} of {}", all.held, all.asked));
    EXPECT_EQ(all.asked, 880);
    EXPECT_GE(all.share(), 0.91);
    EXPECT_LE(all.share(), 0.99);
}

// A bad standard and a warm edge do what they do: fewer intervals hold. Told, not asked for.
TEST(DemoCondition, cortisol_read_from_the_demos_plates_is_near_the_truth) {
    Coverage first;
    Coverage second;
    for (const auto& season : twelve_seasons()) {
        first.add(season.plates[0], season);
        second.add(season.plates[1], season);
        for (const auto& plate : season.plates) {
            for (const auto& material : plate.samples) {
                if (material.concentration) {
                    EXPECT_NEAR(std::log(material.concentration->value / season.truth.at(material.label)),
                                0.0, 0.35)
                        << material.label;
                }
            }
        }
    }
    RecordProperty("held_with_bad_standard", fmt::format("{} of {}", first.held, first.asked));
    RecordProperty("held_with_edge", fmt::format("{} of {}", second.held, second.asked));
}

TEST(DemoCondition, the_mispipetted_standard_is_refused) {
    int refused = 0;
    int others = 0;
    int sound = 0;
    for (const auto& season : twelve_seasons()) {
        for (const auto& standard : season.plates[0].standards) {
            if (standard.nominal == 0.625) {
                refused += standard.is_accepted ? 0 : 1;
            } else if (standard.nominal > 0.0) {
                others += standard.is_accepted ? 1 : 0;
                ++sound;
            }
        }
    }
    EXPECT_EQ(refused, 12);
    // It pulls the curve: its neighbours may go with it.
    RecordProperty("others_accepted", fmt::format("{} of {}", others, sound));
    EXPECT_GE(others, sound * 3 / 4);
}

TEST(DemoCondition, the_edge_effect_is_found_where_it_is_and_hardly_where_it_is_not) {
    int clear = 0;
    int held = 0;
    int false_alarms = 0;
    for (const auto& season : twelve_seasons()) {
        ASSERT_TRUE(season.plates[1].edge.difference) << season.plates[1].edge.why_none;
        const auto& edge = *season.plates[1].edge.difference;
        clear += edge.lower > 0.0 ? 1 : 0;
        held += edge.lower <= 0.07 && 0.07 <= edge.upper ? 1 : 0;
        const auto& none = *season.plates[0].edge.difference;
        false_alarms += none.lower > 0.0 || none.upper < 0.0 ? 1 : 0;
    }
    EXPECT_EQ(clear, 12);
    EXPECT_GE(held, 9);         // 8 or fewer of 12 within 95 % intervals: 0.02 % by the binomial
    EXPECT_LE(false_alarms, 3); // 4 or more of 12: 0.2 %
}

TEST(DemoCondition, fish_beyond_the_standards_have_a_limit_and_no_number) {
    for (const auto& season : twelve_seasons()) {
        const auto& low = sample(season, "F23-P");
        EXPECT_FALSE(low.concentration);
        EXPECT_EQ(low.beyond, "below 6.25"); // 0.3125 ng/mL at a dilution of 20
        const auto& high = sample(season, "F09-P");
        EXPECT_FALSE(high.concentration);
        EXPECT_EQ(high.beyond, "above 400");
    }
}

TEST(DemoCondition, controls_spikes_and_dilutions_come_back) {
    int controls = 0;
    int spikes = 0;
    int not_parallel = 0;
    for (const auto& season : twelve_seasons()) {
        for (const auto& plate : season.plates) {
            ASSERT_EQ(plate.controls.size(), 2U);
            for (const auto& control : plate.controls) {
                ASSERT_TRUE(control.recovery) << control.label;
                controls += control.recovery->is_accepted ? 1 : 0;
            }
            ASSERT_EQ(plate.spikes.size(), 1U);
            ASSERT_TRUE(plate.spikes[0].recovery);
            const auto& spike = *plate.spikes[0].recovery;
            spikes += spike.lower <= 1.0 && 1.0 <= spike.upper ? 1 : 0;
            const auto diluted = std::ranges::find_if(
                plate.samples, [](const auto& material) { return material.parallelism.has_value(); });
            ASSERT_NE(diluted, plate.samples.end());
            EXPECT_EQ(diluted->parallelism->dilutions, 3U);
            not_parallel += diluted->parallelism->verdict == condition::Parallel::no ? 1 : 0;
        }
    }
    RecordProperty("controls_accepted", fmt::format("{} of 48", controls));
    RecordProperty("spikes_held", fmt::format("{} of 24", spikes));
    EXPECT_GE(controls, 40);
    EXPECT_GE(spikes, 18);
    EXPECT_LE(not_parallel, 2);
}

// Deming's line through the calibration pairs undoes gain and offset: value +- 1.96 u holds the truth of 24
// draws of 12 seasons; 288 draws share 12 lines.
TEST(DemoCondition, meters_set_right_by_their_pairs_hold_the_truth) {
    for (std::size_t m = 0; m < demo().meters.size(); ++m) {
        int held = 0;
        int asked = 0;
        double corrected = 0.0;
        double raw = 0.0;
        for (std::uint64_t seed = 1; seed <= 12; ++seed) {
            const auto season = simulate::lay_out(demo(), seed);
            const auto truth = simulate::lay_out_condition(demo(), *season, seed);
            std::vector<condition::MeterPair> pairs;
            for (const auto& pair : truth.pairs[m]) {
                pairs.push_back({.reference = pair.laboratory, .meter = pair.meter});
            }
            const auto meter = condition::fit_meter(pairs);
            ASSERT_TRUE(meter) << meter.error().text();
            for (std::size_t f = 0; f < truth.blood.size(); ++f) {
                const double right =
                    m == 0 ? truth.blood[f].lactate_mmol_per_l : truth.blood[f].glucose_mmol_per_l;
                const auto value = meter->corrected(truth.meter_readings[m][f]);
                held += std::abs(value.value - right) <= 1.96 * value.uncertainty ? 1 : 0;
                corrected += std::abs(value.value - right);
                raw += std::abs(truth.meter_readings[m][f] - right);
                ++asked;
            }
        }
        RecordProperty(fmt::format("meter_{}", m), fmt::format("{} of {} held", held, asked));
        EXPECT_EQ(asked, 288);
        EXPECT_GE(held, 256) << m; // 0.89: four binomial errors below 0.95, the lines' sharing counted
        EXPECT_LT(corrected, 0.6 * raw) << "off by far less than as shown";
    }
}

} // namespace
} // namespace backeddy
