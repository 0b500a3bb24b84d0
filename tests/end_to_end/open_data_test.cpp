// Real traces that nobody here made, down the whole road: zebrafish in closed vials (Barneche, Jahn and
// Seebacher 2019, Functional Ecology, doi:10.1111/1365-2435.13348; data doi:10.5281/zenodo.2634100, CC0), as
// a study folder of its own. Expected values were made from the traces with the authors' constants outside
// this program.
//
// The authors turn per cent of air saturation into mg with one solubility for each nominal temperature; this
// program takes its own (Benson and Krause) at each sample's temperature. So that the factor between the two
// is a constant, the first study's vials name a bath log (written here) that stays at the nominal
// temperature: then every uptake is the authors' times S(T, 0, 101.3 kPa) / (authors' mL per L x 1.429),
// exactly. The second study takes the recorders' own probes, and is held against a line through the converted
// readings, made here.

#include <cmath>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "app/run.hpp"
#include "base/number_text.hpp"
#include "support/check_rows.hpp"
#include "support/small_study.hpp"
#include "support/zebrafish_vials.hpp"
#include "water/oxygen.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;
using Row = test::CheckRow;

constexpr double pressure_kpa = 101.3; // the loggers' constant 1013 hPa

enum class Thermometer : std::uint8_t { bath_at_nominal, own_probe };

double our_mg_per_l(double celsius) {
    return water::saturation_mg_per_l(celsius, 0.0, pressure_kpa);
}

/// "T20_run01" of "T20_run01_A1", "T20_run01_A" of the same.
std::string run_of(const Row& vial) {
    return vial.at("vial").substr(0, 9);
}
std::string recorder_of(const Row& vial) {
    return vial.at("vial").substr(0, 11);
}

/// The study folder: every run on a day of its own, so that only its own blank is within reach.
class VialStudy {
  public:
    VialStudy(const fs::path& data, Thermometer thermometer, const std::string& name) : folder_(name) {
        std::string brief = "[study]\n"
                            "title = \"Zebrafish in closed vials\"\n"
                            "[water]\n"
                            "salinity = 0.0\n"
                            "pressure_kpa = 101.3\n"
                            "[states]\n"
                            "source = \"sealed_throughout\"\n"
                            "[settle]\n"
                            "mixing_s = 0.0\n"
                            "rest_least_s = 0.0\n"
                            "[background]\n"
                            "blanks_used = \"side_by_side\"\n"
                            "volume = \"water\"\n"
                            "reach_h = 6.0\n";
        std::string fish = "fish,mass_g\n";
        std::string stays = "stay,fish,assembly,role,from,to\n";
        std::string assemblies = "assembly,chamber_volume_l,sensor,oxygen,temperature\n";
        std::map<std::string, int> day;
        std::map<std::string, bool> seen;
        for (const auto& vial : test::check_rows((data / "vials.csv").string())) {
            const auto& id = vial.at("vial");
            const bool is_blank = vial.at("is_blank") == "1";
            const auto run = run_of(vial);
            const auto recorder = recorder_of(vial);
            const int today = day.emplace(run, 1 + static_cast<int>(day.size())).first->second;
            const auto at = [&](const char* clock) { return fmt::format("2018-05-{:02}T{}Z", today, clock); };
            if (!seen[recorder]) {
                seen[recorder] = true;
                fs::create_directories(folder_.path() / "raw");
                fs::copy_file(data / vial.at("file"), folder_.path() / "raw" / vial.at("file"));
                brief += fmt::format("[[trace]]\nname = \"{}\"\nfiles = [\"raw/{}\"]\nstart = \"{}\"\n",
                                     recorder, vial.at("file"), at("12:00:00"));
            }
            if (thermometer == Thermometer::bath_at_nominal && !seen[run]) {
                seen[run] = true;
                brief += fmt::format("[[trace]]\nname = \"bath_{0}\"\nfiles = [\"raw/bath_{0}.csv\"]\n", run);
                std::string log = "time,temp_c\n";
                for (const char* clock : {"11:50:00", "12:10:00", "12:30:00", "12:50:00"}) {
                    log += fmt::format("{},{}.00\n", at(clock), vial.at("nominal_temp_c"));
                }
                folder_.write(fmt::format("raw/bath_{}.csv", run), log);
            }
            const std::string temperature = thermometer == Thermometer::bath_at_nominal
                                                ? fmt::format("bath_{}:temp_c", run)
                                                : recorder + ":temp_c";
            if (!is_blank) {
                // Fish were recorded and weighed twice, months apart; a fish of a study has one mass, so each
                // vial's fish has a name of its own here.
                fish += fmt::format("{},{}\n", id, vial.at("mass_g"));
            }
            stays += fmt::format("{},{},{},{},{},{}\n", id, is_blank ? "" : id, id,
                                 is_blank ? "blank" : "held", at("12:00:00"), at("12:45:00"));
            assemblies += fmt::format("{},{},{},{}:{},{}\n", id,
                                      test::printed_number(vial.at("vial_volume_ml")) / 1000.0, id, recorder,
                                      vial.at("column"), temperature);
            vials_[id] = vial;
        }
        folder_.write("study.toml", brief);
        folder_.write("fish.csv", fish);
        folder_.write("stays.csv", stays);
        folder_.write("assemblies.csv", assemblies);
    }

    /// Checks and computes it; rows of uptake_by_spell.csv by vial.
    std::map<std::string, Row> run() {
        std::map<std::string, Row> out;
        auto opened = app::open_study(folder_.path(), {});
        EXPECT_TRUE(opened) << opened.error().text();
        for (const auto& complaint : opened->complaints) {
            EXPECT_EQ(complaint.severity, study::Severity::warning) << complaint.error.text();
        }
        for (const auto& file : opened->traces.files) {
            EXPECT_TRUE(file.report.has_value()) << file.path;
            EXPECT_EQ(file.report->refused.size(), 0U) << file.path;
        }
        const auto answered = app::run_study(*opened, {});
        const auto written = app::write_results(*answered, folder_.path() / "results");
        EXPECT_TRUE(written) << written.error().text();
        for (auto& row : test::check_rows((folder_.path() / "results/uptake_by_spell.csv").string())) {
            EXPECT_EQ(out.count(row.at("stay")), 0U) << row.at("stay") << " has more than one spell";
            out[row.at("stay")] = std::move(row);
        }
        return out;
    }

    [[nodiscard]] const std::map<std::string, Row>& vials() const { return vials_; }

  private:
    test::ScratchFolder folder_;
    std::map<std::string, Row> vials_;
};

TEST(OpenData, slopes_and_uptake_of_56_zebrafish_and_8_blanks_through_a_study_folder) {
    const auto data = test::reference_path("open_data/zebrafish_vials");
    if (!data) {
        GTEST_SKIP() << test::reference_unset;
    }
    VialStudy study(*data, Thermometer::bath_at_nominal, "vials_bath");
    const auto spells = study.run();
    std::size_t fish = 0;
    std::size_t blanks = 0;
    for (const auto& expected : test::check_rows(*data + "/expected.csv")) {
        const auto& id = expected.at("vial");
        const auto& vial = study.vials().at(id);
        ASSERT_EQ(spells.count(id), 1U) << id;
        const auto& row = spells.at(id);
        const auto& nominal = vial.at("nominal_temp_c");
        const double ours = our_mg_per_l(test::printed_number(nominal));
        const double percent_per_s = test::printed_number(row.at("slope_mg_per_l_h")) / 3600.0 * 100.0 / ours;
        test::expect_printed(percent_per_s, expected.at("slope_ols_pct_per_s"), id + " slope");
        test::expect_printed(test::printed_number(row.at("slope_error_ordinary_mg_per_l_h")) / 3600.0 *
                                 100.0 / ours,
                             expected.at("slope_se"), id + " ordinary error");
        test::expect_printed(test::printed_number(row.at("r_squared")), expected.at("r2"), id + " r2");
        EXPECT_EQ(row.at("readings"), expected.at("n")) << id;
        if (vial.at("is_blank") == "1") {
            ++blanks;
            continue;
        }
        const double to_authors = test::authors_mg_per_l(test::printed_number(nominal)) / ours;
        test::expect_printed(test::printed_number(row.at("uptake_mg_per_h")) * to_authors,
                             expected.at("uptake_ols_mg_o2_per_h"), id + " mg/h");
        test::expect_printed(test::printed_number(row.at("uptake_mg_per_kg_h")) * to_authors,
                             expected.at("uptake_ols_mg_per_kg_h"), id + " mg/kg/h");
        ++fish;
    }
    EXPECT_EQ(fish, 56U);
    EXPECT_EQ(blanks, 8U);
}

/// Least squares of per cent times our solubility at each reading's own temperature, in long double.
double line_of(const std::vector<Row>& readings, const std::string& column) {
    const auto n = static_cast<long double>(readings.size());
    long double mean_t = 0.0L;
    long double mean_c = 0.0L;
    std::vector<std::pair<long double, long double>> points;
    for (const auto& reading : readings) {
        points.emplace_back(test::printed_number(reading.at("time_s")) / 3600.0,
                            test::printed_number(reading.at(column)) / 100.0 *
                                our_mg_per_l(test::printed_number(reading.at("temp_c"))));
        mean_t += points.back().first / n;
        mean_c += points.back().second / n;
    }
    long double across = 0.0L;
    long double square = 0.0L;
    for (const auto& [t, c] : points) {
        across += (t - mean_t) * (c - mean_c);
        square += (t - mean_t) * (t - mean_t);
    }
    return static_cast<double>(across / square);
}

TEST(OpenData, with_the_recorders_own_probe_each_reading_is_converted_at_its_temperature) {
    const auto data = test::reference_path("open_data/zebrafish_vials");
    if (!data) {
        GTEST_SKIP() << test::reference_unset;
    }
    VialStudy study(*data, Thermometer::own_probe, "vials_probe");
    const auto spells = study.run();
    std::map<std::string, std::vector<Row>> files;
    for (const auto& [id, vial] : study.vials()) {
        auto& readings = files[vial.at("file")];
        if (readings.empty()) {
            readings = test::check_rows(*data + "/" + vial.at("file"));
        }
        ASSERT_EQ(spells.count(id), 1U) << id;
        const double expected = line_of(readings, vial.at("column"));
        const double level = 8.0; // mg/L: a blank's slope is next to nothing
        EXPECT_NEAR(test::printed_number(spells.at(id).at("slope_mg_per_l_h")), expected,
                    (1e-9 * std::abs(expected)) + (1e-12 * level))
            << id;
    }
    EXPECT_EQ(spells.size(), 64U);
}

} // namespace
} // namespace backeddy
