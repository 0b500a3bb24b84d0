// gen_season --days D --out FILE.csv --truth FILE.csv [--chambers 8] [--seed 20250601]
// gen_season --rates FILE.csv [--fish 8] [--per-fish 1000] [--seed 20250601]
//
// Writes an invented field season for the benchmarks, the same bytes for the same seed on every run, and the
// first days of a longer season are those of a shorter one.
//
// FILE.csv: time (ISO 8601 UTC, one row a second and chamber), chamber, o2_mgL (4 decimals), temp_C (3
// decimals), pump (1 = flush, 0 = sealed); all chambers of one second, then the next second. A cycle of 900
// s: 300 s of flush towards about 10 mg/L (wash-in of 45 s), 60 s of mixing with a lag transient, 540 s
// sealed with one slope. Chambers are 20 s apart, so that cycles do not start with the clock and the last one
// of the file is cut short. Truth: chamber, period, start (first second of the 540), n (seconds of it in the
// file), slope_mgL_h. Rates: fish, k, rate: serially correlated rates of a fish that rests, moves and darts,
// in time order.

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <iostream>
#include <memory>
#include <numbers>
#include <string>
#include <string_view>
#include <vector>

#include "base/number_text.hpp"
#include "base/random.hpp"
#include "series/instant.hpp"

namespace {

using backeddy::Random;

constexpr int flush_s = 300;
constexpr int mixing_s = 60;
constexpr int sealed_s = 540;
constexpr int cycle_s = flush_s + mixing_s + sealed_s;
constexpr int day_s = 86400;
constexpr int stagger_s = 20;
constexpr double wash_in_s = 45.0;
constexpr double lag_s = 12.0;
constexpr std::int64_t season_start = 1748736000; // 2025-06-01T00:00:00Z
constexpr double turn = 2.0 * std::numbers::pi;

// Which stream of random numbers serves what, so that no two share one.
enum class Purpose : std::uint64_t { cycles = 1, noise = 2, rates = 3 };

std::uint64_t stream_of(Purpose purpose, std::uint64_t chamber, std::uint64_t day = 0) {
    return (static_cast<std::uint64_t>(purpose) << 56U) + (chamber << 40U) + day;
}

// One cycle of one chamber: its slope (mg/L/s, negative) and the levels (mg/L) that tie it to its neighbours.
struct Cycle {
    double slope = 0.0;
    double flush_from = 0.0; // level at the start of the flush
    double flush_to = 0.0;   // level the flush heads for: inflow less what the fish takes in the wash-in time
    double sealed_from = 0.0;
    double lag = 0.0;
};

std::vector<Cycle> cycles_of(int chamber, int days, std::uint64_t seed) {
    Random random(seed, stream_of(Purpose::cycles, static_cast<std::uint64_t>(chamber)));
    const double rest = 0.6 + random.uniform();
    double level = 10.0;
    std::vector<Cycle> cycles(static_cast<std::size_t>(days) * day_s / cycle_s + 1);
    for (std::size_t k = 0; k < cycles.size(); ++k) {
        const double hours = static_cast<double>(k) * cycle_s / 3600.0;
        const double handling = 1.0 + (1.5 * std::exp(-hours / 10.0));
        const double daily = 1.0 + (0.15 * std::sin(turn * (hours - 6.0) / 24.0));
        const double jitter = 1.0 + (0.03 * random.normal());
        const double bout = random.uniform() < 0.35 ? 1.0 + (0.6 * random.exponential()) : 1.0;
        const double uptake = std::clamp(rest * handling * daily * jitter * bout, 0.2, 8.0); // mg/L/h
        const double inflow = 10.0 + (0.1 * std::sin(turn * (hours - 14.0) / 24.0));
        Cycle& cycle = cycles[k];
        cycle.slope = -uptake / 3600.0;
        cycle.flush_from = level;
        cycle.flush_to = inflow + (cycle.slope * wash_in_s);
        cycle.sealed_from =
            cycle.flush_to + ((cycle.flush_from - cycle.flush_to) * std::exp(-flush_s / wash_in_s));
        cycle.lag = (random.uniform() - 0.5) * 0.08;
        level = cycle.sealed_from + (cycle.slope * (mixing_s + sealed_s));
    }
    return cycles;
}

// What the sensor would show without noise, `t` seconds after the chamber's first cycle began (before it: as
// at 0).
double oxygen_at(const std::vector<Cycle>& cycles, std::int64_t t) {
    const Cycle& cycle = cycles[static_cast<std::size_t>(std::max<std::int64_t>(t, 0) / cycle_s)];
    const auto phase = static_cast<double>(std::max<std::int64_t>(t, 0) % cycle_s);
    if (phase < flush_s) {
        return cycle.flush_to + ((cycle.flush_from - cycle.flush_to) * std::exp(-phase / wash_in_s));
    }
    const double closed = phase - flush_s;
    return cycle.sealed_from + (cycle.slope * closed) + (cycle.lag * std::exp(-closed / lag_s));
}

bool pump_runs_at(std::int64_t t) {
    return std::max<std::int64_t>(t, 0) % cycle_s < flush_s;
}

// `value` (>= 0) with `decimals` decimals, written at `to`; returns where it ends.
char* write_decimal(char* to, double value, int decimals) {
    constexpr std::array<std::int64_t, 5> tens{1, 10, 100, 1000, 10000};
    const std::int64_t scale = tens.at(static_cast<std::size_t>(decimals));
    const std::int64_t scaled = std::llround(std::max(value, 0.0) * static_cast<double>(scale));
    std::array<char, 20> digits{};
    int count = 0;
    for (std::int64_t rest = scaled; rest > 0 || count <= decimals; rest /= 10) {
        digits.at(static_cast<std::size_t>(count++)) = static_cast<char>('0' + (rest % 10));
    }
    while (count > 0) {
        *to++ = digits.at(static_cast<std::size_t>(--count));
        if (count == decimals && decimals > 0) {
            *to++ = '.';
        }
    }
    return to;
}

struct Closer {
    void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, Closer>;

File open_for_writing(const std::string& path) {
    File file(std::fopen(path.c_str(), "wb"));
    if (!file) {
        std::cerr << "gen_season: cannot write " << path << "\n";
        std::exit(1);
    }
    return file;
}

void put(std::FILE* file, std::string_view bytes) {
    if (std::fwrite(bytes.data(), 1, bytes.size(), file) != bytes.size()) {
        std::cerr << "gen_season: the disk is full\n";
        std::exit(1);
    }
}

struct Season {
    int days = 0;
    int chambers = 8;
    std::uint64_t seed = 20250601;
    std::string out;
    std::string truth;
};

void write_day(std::FILE* file, const Season& season, const std::vector<std::vector<Cycle>>& cycles,
               int day) {
    std::vector<Random> noise;
    for (int c = 0; c < season.chambers; ++c) {
        noise.emplace_back(season.seed, stream_of(Purpose::noise, static_cast<std::uint64_t>(c),
                                                  static_cast<std::uint64_t>(day)));
    }
    std::string block;
    for (int second = 0; second < day_s; ++second) {
        const std::int64_t now = (static_cast<std::int64_t>(day) * day_s) + second;
        const std::string time =
            backeddy::iso_text(backeddy::Instant::unix_nanoseconds((season_start + now) * 1'000'000'000));
        const double daily = 0.6 * std::sin(turn * ((static_cast<double>(now) / 3600.0) - 9.0) / 24.0);
        for (int c = 0; c < season.chambers; ++c) {
            const std::int64_t t = now - (static_cast<std::int64_t>(stagger_s) * c);
            Random& random = noise[static_cast<std::size_t>(c)];
            const double oxygen =
                oxygen_at(cycles[static_cast<std::size_t>(c)], t) + (0.01 * random.normal());
            const double celsius = 15.0 + (0.05 * c) + daily + (0.01 * random.normal());
            std::array<char, 64> row{};
            char* end = std::copy(time.begin(), time.end(), row.data());
            *end++ = ',';
            *end++ = static_cast<char>('1' + c);
            *end++ = ',';
            end = write_decimal(end, oxygen, 4);
            *end++ = ',';
            end = write_decimal(end, celsius, 3);
            *end++ = ',';
            *end++ = pump_runs_at(t) ? '1' : '0';
            *end++ = '\n';
            block.append(row.data(), static_cast<std::size_t>(end - row.data()));
        }
        if (block.size() > (std::size_t{1} << 20U)) {
            put(file, block);
            block.clear();
        }
    }
    put(file, block);
}

void write_truth(const Season& season, const std::vector<std::vector<Cycle>>& cycles) {
    const File file = open_for_writing(season.truth);
    put(file.get(), "chamber,period,start,n,slope_mgL_h\n");
    const std::int64_t end = static_cast<std::int64_t>(season.days) * day_s;
    for (int c = 0; c < season.chambers; ++c) {
        const auto& own = cycles[static_cast<std::size_t>(c)];
        for (std::size_t k = 0; k < own.size(); ++k) {
            const std::int64_t from = (static_cast<std::int64_t>(stagger_s) * c) +
                                      (static_cast<std::int64_t>(k) * cycle_s) + flush_s + mixing_s;
            const std::int64_t n = std::min<std::int64_t>(sealed_s, end - from);
            if (n > 0) {
                put(file.get(), std::to_string(c + 1) + "," + std::to_string(k) + "," +
                                    backeddy::iso_text(backeddy::Instant::unix_nanoseconds(
                                        (season_start + from) * 1'000'000'000)) +
                                    "," + std::to_string(n) + "," +
                                    backeddy::fixed_text(own[k].slope * 3600.0, 9) + "\n");
            }
        }
    }
}

void write_season(const Season& season) {
    std::vector<std::vector<Cycle>> cycles;
    for (int c = 0; c < season.chambers; ++c) {
        cycles.push_back(cycles_of(c, season.days, season.seed));
    }
    const File file = open_for_writing(season.out);
    put(file.get(), "time,chamber,o2_mgL,temp_C,pump\n");
    for (int day = 0; day < season.days; ++day) {
        write_day(file.get(), season, cycles, day);
    }
    write_truth(season, cycles);
}

// A fish in one of three ways of being, each with its level and spread; half of the last deviation stays.
void write_rates(const std::string& path, int fish, int per_fish, std::uint64_t seed) {
    constexpr std::array<double, 3> level{1.0, 1.45, 2.3};
    constexpr std::array<double, 3> spread{0.05, 0.08, 0.12};
    const File file = open_for_writing(path);
    put(file.get(), "fish,k,rate\n");
    for (int i = 0; i < fish; ++i) {
        Random random(seed, stream_of(Purpose::rates, static_cast<std::uint64_t>(i)));
        const double rest = 60.0 + (60.0 * random.uniform());
        std::size_t way = 0;
        double deviation = 0.0;
        for (int k = 0; k < per_fish; ++k) {
            if (random.uniform() < 0.15) {
                const double u = random.uniform();
                way = u < 0.5 ? 0 : (u < 0.85 ? 1 : 2);
            }
            deviation = (0.5 * deviation) + random.normal();
            put(file.get(),
                std::to_string(i + 1) + "," + std::to_string(k) + "," +
                    backeddy::fixed_text(rest * level.at(way) * (1.0 + (spread.at(way) * deviation)), 6) +
                    "\n");
        }
    }
}

int usage() {
    std::cerr << "usage: gen_season --days D --out FILE.csv --truth FILE.csv [--chambers 1-9] [--seed N]\n"
                 "       gen_season --rates FILE.csv [--fish N] [--per-fish N] [--seed N]\n";
    return 2;
}

} // namespace

int main(int argc, char** argv) {
    Season season;
    std::string rates;
    int fish = 8;
    int per_fish = 1000;
    for (int i = 1; i + 1 < argc; i += 2) {
        const std::string_view option = argv[i];
        const std::string value = argv[i + 1];
        const int number = static_cast<int>(backeddy::parse_whole(value).value_or(-1));
        if (option == "--days") {
            season.days = number;
        } else if (option == "--chambers") {
            season.chambers = number;
        } else if (option == "--seed") {
            season.seed = static_cast<std::uint64_t>(number);
        } else if (option == "--out") {
            season.out = value;
        } else if (option == "--truth") {
            season.truth = value;
        } else if (option == "--rates") {
            rates = value;
        } else if (option == "--fish") {
            fish = number;
        } else if (option == "--per-fish") {
            per_fish = number;
        } else {
            return usage();
        }
    }
    const bool has_season = season.days > 0 && !season.out.empty() && !season.truth.empty() &&
                            season.chambers >= 1 && season.chambers <= 9;
    if (argc % 2 == 0 || (!has_season && rates.empty())) {
        return usage();
    }
    if (!rates.empty()) {
        write_rates(rates, fish, per_fish, season.seed);
    }
    if (has_season) {
        write_season(season);
    }
    return 0;
}
