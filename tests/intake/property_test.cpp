// The same file read in any blocks, by any number of threads, by the fast way or the general one, whole or in
// two.

#include <cmath>
#include <cstring>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "intake/detail/number.hpp"
#include "written_file.hpp"

namespace backeddy::intake {
namespace {

std::vector<std::uint64_t> bits(const std::vector<double>& values) {
    std::vector<std::uint64_t> out(values.size());
    std::memcpy(out.data(), values.data(), values.size() * sizeof(double));
    return out;
}

void expect_same(const TraceFile& a, const TraceFile& b, const std::string& what) {
    ASSERT_EQ(a.streams.size(), b.streams.size()) << what;
    for (std::size_t s = 0; s < a.streams.size(); ++s) {
        EXPECT_EQ(a.ids[s].name, b.ids[s].name) << what;
        EXPECT_EQ(a.streams[s].times_ns, b.streams[s].times_ns) << what;
        EXPECT_EQ(a.streams[s].pieces, b.streams[s].pieces) << what;
        ASSERT_EQ(a.streams[s].columns.size(), b.streams[s].columns.size()) << what;
        for (std::size_t i = 0; i < a.streams[s].columns.size(); ++i) {
            EXPECT_EQ(bits(a.streams[s].columns[i]), bits(b.streams[s].columns[i])) << what;
        }
    }
    EXPECT_EQ(in_words(a.report), in_words(b.report)) << what;
    ASSERT_EQ(a.report.refused.size(), b.report.refused.size()) << what;
    for (std::size_t i = 0; i < a.report.refused.size(); ++i) {
        EXPECT_EQ(a.report.refused[i].reason, b.report.refused[i].reason) << what;
        EXPECT_EQ(a.report.refused[i].raw, b.report.refused[i].raw) << what;
    }
}

// A long file with all that may befall one, drawn from `seed`.
std::string messy_file(std::uint64_t seed, bool zoned) {
    Random random(seed);
    std::string text = "time,chamber,o2_mgL,temp_C,pump\n";
    const std::int64_t start = ns("2026-10-24T22:30:00Z");
    for (int i = 0; i < 250; ++i) {
        for (int c = 0; c < 3; ++c) {
            std::int64_t t = start + static_cast<std::int64_t>(i) * 60'000'000'000;
            if (random.below(200) == 0) {
                t -= 90'000'000'000; // backward
            }
            std::string stamp = iso_text(Instant::unix_nanoseconds(
                zoned ? t + (t < ns("2026-10-25T01:00:00Z") ? 2 : 1) * std::int64_t{3600'000'000'000} : t));
            if (zoned) {
                stamp.pop_back();
            }
            std::string oxygen = fmt::format("{:.{}f}", 5.0 + 6.0 * random.uniform(), 1 + random.below(6));
            switch (random.below(40)) {
            case 0:
                oxygen = "NaN";
                break;
            case 1:
                oxygen = fmt::format("{}", 9.0 + random.uniform()); // 17 digits
                break;
            case 2:
                oxygen = "-0.25";
                break;
            case 3:
                oxygen = "8e0";
                break;
            case 4:
                oxygen = " 9.5 ";
                break;
            case 5:
                oxygen = ".75";
                break;
            case 6:
                oxygen = "7.";
                break;
            case 7:
                oxygen = "junk";
                break;
            case 8:
                oxygen = "9";
                break;
            default:
                break;
            }
            const char* pump = random.below(2) == 0 ? "1" : random.below(3) == 0 ? "off" : "0";
            std::string row = fmt::format("{},{},{},{:.3f},{}", stamp,
                                          c == 2   ? "Tube 3"
                                          : c == 1 ? "2"
                                                   : "1",
                                          oxygen, 12.0 + random.uniform(), pump);
            switch (random.below(120)) {
            case 0:
                row.resize(random.below(row.size()) + 1);
                break;
            case 1:
                row[random.below(row.size())] = '\0';
                break;
            case 2:
                row = "";
                break;
            case 3:
                row += ",";
                break;
            case 4:
                row += ",x";
                break;
            case 5:
                row += "\r";
                break;
            default:
                break;
            }
            text += row + "\n";
        }
    }
    return text;
}

TEST(Property, blocks_threads_and_ways_of_reading_change_nothing) {
    for (const bool zoned : {false, true}) {
        for (std::uint64_t seed = 1; seed <= 2; ++seed) {
            const auto text = messy_file(seed, zoned);
            const ReadSettings settings{.zone = "Europe/Oslo"};
            const WrittenFile written(text);
            const auto whole =
                load_trace(written.path(), settings, {.threads = {1}, .paths = ReadPaths::general_only});
            ASSERT_TRUE(whole) << whole.error().text();
            EXPECT_EQ(whole->report.rows, whole->report.kept + whole->report.refused.size());
            EXPECT_GT(whole->report.refused.size(), 0U);
            EXPECT_EQ(whole->streams.size(), 3U);
            for (const auto paths : {ReadPaths::plain_then_general, ReadPaths::general_only}) {
                for (const std::size_t block : {std::size_t{1}, std::size_t{13}, std::size_t{41},
                                                std::size_t{1000}, std::size_t{1} << 19}) {
                    for (const unsigned threads : {1U, 2U, 5U}) {
                        const auto again =
                            load_trace(written.path(), settings,
                                       {.threads = {threads}, .block_bytes = block, .paths = paths});
                        ASSERT_TRUE(again) << again.error().text();
                        expect_same(*whole, *again,
                                    fmt::format("seed {}, zoned {}, blocks of {}, {} threads, way {}", seed,
                                                zoned, block, threads, static_cast<int>(paths)));
                        if (HasFailure()) {
                            return;
                        }
                    }
                }
            }
        }
    }
}

TEST(Property, a_file_split_in_two_gives_the_same_rows) {
    const std::string header = "time,o2 [mg/L]\n";
    std::vector<std::string> rows;
    Random random(7);
    for (int i = 0; i < 200; ++i) {
        rows.push_back(fmt::format("{},{:.4f}\n", 1781424000 + i, 8.0 + random.uniform()));
    }
    const auto joined = [&](std::size_t from, std::size_t to) {
        std::string text = header;
        for (std::size_t i = from; i < to; ++i) {
            text += rows[i];
        }
        return text;
    };
    const auto whole = load_text(joined(0, 200));
    ASSERT_TRUE(whole);
    for (const std::size_t cut : {std::size_t{2}, std::size_t{77}, std::size_t{198}}) {
        const auto first = load_text(joined(0, cut));
        const auto second = load_text(joined(cut, 200));
        ASSERT_TRUE(first && second);
        auto times = first->streams[0].times_ns;
        auto values = first->streams[0].columns[0];
        times.insert(times.end(), second->streams[0].times_ns.begin(), second->streams[0].times_ns.end());
        values.insert(values.end(), second->streams[0].columns[0].begin(),
                      second->streams[0].columns[0].end());
        EXPECT_EQ(times, whole->streams[0].times_ns);
        EXPECT_EQ(bits(values), bits(whole->streams[0].columns[0]));
    }
}

// strtod in the C locale rounds correctly (glibc): the reference for every decimal.
TEST(Property, decimals_are_rounded_as_strtod_rounds_them) {
    Random random(11);
    for (int k = 0; k < 200000; ++k) {
        std::string text = random.below(4) == 0 ? "-" : "";
        const auto whole = random.below(12);
        for (std::uint64_t i = 0; i < whole; ++i) {
            text += static_cast<char>('0' + random.below(10));
        }
        const auto decimals = random.below(20);
        if (decimals > 0 || whole == 0) {
            text += ".";
            for (std::uint64_t i = 0; i <= decimals; ++i) {
                text += static_cast<char>('0' + random.below(10));
            }
        }
        if (random.below(8) == 0) {
            text += fmt::format("e{}", static_cast<int>(random.below(40)) - 20);
        }
        const auto value = decimal_number(text, '.');
        ASSERT_TRUE(value) << text;
        ASSERT_EQ(*value, std::strtod(text.c_str(), nullptr)) << text;
    }
    for (const auto* text :
         {"", ".", "-", "+", "1.2.3", "1,2", "1e", "1e+", "e5", "0x10", "nan", "inf", "1 2", "--1", "1-"}) {
        EXPECT_EQ(decimal_number(text, '.'), std::nullopt) << text;
    }
}

TEST(Property, whole_nanoseconds_are_exact) {
    EXPECT_EQ(scaled_whole("1781471103.250000001", '.', 1'000'000'000), 1781471103250000001);
    EXPECT_EQ(scaled_whole("1781471103,25", ',', 1'000'000'000), 1781471103250000000);
    EXPECT_EQ(scaled_whole("-0.5", '.', 3), -2); // half away from zero
    EXPECT_EQ(scaled_whole("0.1", '.', 60'000'000'000), 6'000'000'000);
    EXPECT_EQ(scaled_whole("9223372037", '.', 1'000'000'000), std::nullopt);
    EXPECT_EQ(scaled_whole("0.00000000000000000000000000000001", '.', 1'000'000'000), 0);
    EXPECT_EQ(scaled_whole("1e3", '.', 1), std::nullopt);
}

} // namespace
} // namespace backeddy::intake
