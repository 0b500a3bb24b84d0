#pragma once
// A study small enough to read whole: one tube, one fish, one logger, fourteen hours. Written out as files in
// a folder of its own, so that a test can spoil what it wants before it opens them.

#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <map>
#include <stdexcept>
#include <string>
#include <utility>

#include <unistd.h>

#include <fmt/format.h>

#include "base/file.hpp"
#include "series/instant.hpp"

namespace backeddy::test {

/// A folder below the machine's temporary one, gone with the value.
class ScratchFolder {
  public:
    explicit ScratchFolder(const std::string& name)
        : path_(std::filesystem::temp_directory_path() / fmt::format("backeddy_{}_{}", name, ::getpid())) {
        std::filesystem::remove_all(path_);
        std::filesystem::create_directories(path_);
    }
    ~ScratchFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    ScratchFolder(const ScratchFolder&) = delete;
    ScratchFolder& operator=(const ScratchFolder&) = delete;

    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    void write(const std::string& name, const std::string& bytes) const {
        std::filesystem::create_directories((path_ / name).parent_path());
        if (auto written = write_file_whole(path_ / name, bytes); !written) {
            throw std::runtime_error(written.error().text());
        }
    }

  private:
    std::filesystem::path path_;
};

/// Files of a study by their names in it.
using StudyFiles = std::map<std::string, std::string>;

inline void write_all(const ScratchFolder& folder, const StudyFiles& files) {
    for (const auto& [name, bytes] : files) {
        folder.write(name, bytes);
    }
}

/// The one occurrence of `old` in `text` replaced.
inline std::string with(std::string text, const std::string& old, const std::string& fresh) {
    const auto at = text.find(old);
    if (at == std::string::npos || text.find(old, at + 1) != std::string::npos) {
        throw std::runtime_error("not exactly one \"" + old + "\"");
    }
    return text.replace(at, old.size(), fresh);
}

/// What the invented fish does, and what the readings are made of: sealed for 6 min of each 8, oxygen falling
/// by what the fish of 0.5 kg and the microbes take out of 9.5 L.
struct SmallTruth {
    double water_l = 9.5;
    double resting_mg_per_h = 36.0;
    double peak_above_mg_per_h = 144.0; ///< at time zero, dying away with `slow_h`
    double slow_h = 0.6;
    double microbes_mg_per_l_h = 0.06;
    double full_mg_per_l = 9.6;
    double period_s = 480.0;
    double flush_s = 120.0;
    double step_s = 2.0;
};

/// Seconds of the day at which things happen on 2026-06-14, UTC.
inline constexpr double second_of(double hour, double minute, double second = 0.0) {
    return (hour * 3600.0) + (minute * 60.0) + second;
}

inline double small_uptake_mg_per_h(const SmallTruth& truth, double second_of_day) {
    const double capture = second_of(8, 1);
    const double chase = second_of(20, 9, 30);
    const double since = second_of_day >= chase ? second_of_day - chase : second_of_day - capture;
    return truth.resting_mg_per_h + (truth.peak_above_mg_per_h * std::exp(-since / (3600.0 * truth.slow_h)));
}

inline bool fish_is_in(double second_of_day) {
    return (second_of_day >= second_of(8, 5) && second_of_day < second_of(20, 4)) ||
           (second_of_day >= second_of(20, 10) && second_of_day < second_of(21, 2));
}

/// One row of readings.
struct SmallRow {
    double second = 0.0; ///< of the day
    double oxygen_mg_per_l = 0.0;
    double temperature_c = 0.0;
    int pump = 0;
};

inline std::vector<SmallRow> small_rows(const SmallTruth& truth = {}) {
    std::vector<SmallRow> rows;
    double oxygen = truth.full_mg_per_l;
    std::uint32_t noise = 12345;
    for (double t = second_of(8, 0); t < second_of(22, 0); t += truth.step_s) {
        const double phase = std::fmod(t, truth.period_s);
        const bool flush = phase < truth.flush_s;
        const double taken = (fish_is_in(t) ? small_uptake_mg_per_h(truth, t) / truth.water_l : 0.0) +
                             truth.microbes_mg_per_l_h;
        oxygen = flush ? oxygen + ((truth.full_mg_per_l - oxygen) * truth.step_s / 15.0)
                       : oxygen - (taken * truth.step_s / 3600.0);
        noise = (noise * 1664525U) + 1013904223U;
        rows.push_back({.second = t,
                        .oxygen_mg_per_l = oxygen + (0.004 * ((noise >> 8U) / 16777216.0 - 0.5)),
                        .temperature_c = 12.0 + (0.05 * std::sin(t / 7200.0)),
                        .pump = flush ? 1 : 0});
    }
    return rows;
}

inline std::string clock_text(double second_of_day) {
    const auto s = static_cast<int>(second_of_day);
    return fmt::format("{:02}:{:02}:{:02}", s / 3600, (s / 60) % 60, s % 60);
}

/// `time,o2_mgL,temp_C,pump`, ISO 8601 in UTC.
inline std::string small_trace(const std::vector<SmallRow>& rows) {
    std::string out = "time,o2_mgL,temp_C,pump\n";
    for (const auto& row : rows) {
        out += fmt::format("2026-06-14T{}Z,{:.4f},{:.3f},{}\n", clock_text(row.second), row.oxygen_mg_per_l,
                           row.temperature_c, row.pump);
    }
    return out;
}

inline StudyFiles small_study() {
    StudyFiles files;
    files["study.toml"] = "[study]\n"
                          "title = \"One fish of nowhere\"\n"
                          "zone = \"UTC\"\n"
                          "\n"
                          "[water]\n"
                          "salinity = 30.0\n"
                          "pressure_kpa = 101.0\n"
                          "\n"
                          "[[trace]]\n"
                          "name = \"boat\"\n"
                          "files = [\"raw/boat*.csv\"]\n";
    files["fish.csv"] = "fish,species,mass_g,mass_uncertainty_g\n"
                        "T01,Salmo trutta,500,2\n";
    files["encounters.csv"] = "encounter,fish,at,method,rig\n"
                              "e1,T01,2026-06-14T07:55:00Z,angling,single_hook\n";
    files["stays.csv"] = "stay,fish,assembly,role,from,to,ended\n"
                         "s1,T01,tube,after_capture,2026-06-14T08:05:00Z,2026-06-14T09:04:00Z,done\n"
                         "s2,T01,tube,rest,2026-06-14T09:10:00Z,2026-06-14T20:04:00Z,done\n"
                         "s3,T01,tube,after_chase,2026-06-14T20:10:00Z,2026-06-14T21:02:00Z,done\n"
                         "b1,,tube,blank,2026-06-14T21:04:00Z,2026-06-14T22:00:00Z,done\n";
    files["events.csv"] = "at,at_uncertainty_s,event,fish,who\n"
                          "2026-06-14T07:55:00Z,2,hook_up,T01,deck\n"
                          "2026-06-14T08:00:00Z,2,landed,T01,deck\n"
                          "2026-06-14T08:00:20Z,2,air_start,T01,deck\n"
                          "2026-06-14T08:01:00Z,2,air_end,T01,deck\n"
                          "2026-06-14T08:01:00Z,2,back_in_water,T01,deck\n"
                          "2026-06-14T09:06:00Z,5,blood,T01,deck\n"
                          "2026-06-14T20:05:00Z,2,chase_start,T01,shore\n"
                          "2026-06-14T20:09:00Z,2,chase_end,T01,shore\n"
                          "2026-06-14T20:09:00Z,2,air_start,T01,shore\n"
                          "2026-06-14T20:09:30Z,2,air_end,T01,shore\n";
    files["assemblies.csv"] =
        "assembly,chamber_volume_l,chamber_volume_uncertainty_l,loop_volume_l,sensor,oxygen,temperature,pump,"
        "sensor_lag_s,mixing_s\n"
        "tube,9.6,0.03,0.4,OX-1,boat:o2_mgL,boat:temp_C,boat:pump,0,15\n";
    files["calibrations.csv"] =
        "sensor,at,point,reading,unit,temperature_c,pressure_kpa,salinity,uncertainty\n"
        "OX-1,2026-06-14T07:00:00Z,air,100,% air,12,101.0,30,0.5\n"
        "OX-1,2026-06-14T23:00:00Z,air,100,% air,12,101.0,30,0.5\n";
    files["raw/boat.csv"] = small_trace(small_rows());
    return files;
}

} // namespace backeddy::test
