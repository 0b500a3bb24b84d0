// Each way to write the same rows gives the same numbers.

#include <cmath>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "intake/trace_reader.hpp"
#include "written_file.hpp"

namespace backeddy::intake {
namespace {

struct Truth {
    std::vector<std::int64_t> times;
    std::vector<double> oxygen;
    std::vector<double> temperature;
};

// 60 rows, 1 Hz, from 2026-06-14 10:00:00 at the place where that is 08:00:00 UTC.
Truth truth() {
    Truth t;
    for (int i = 0; i < 60; ++i) {
        t.times.push_back(ns("2026-06-14T08:00:00Z") + i * std::int64_t{1'000'000'000});
        t.oxygen.push_back((9000 - (7 * i)) / 1000.0);
        t.temperature.push_back((1230 + i) / 100.0);
    }
    return t;
}

std::string with_comma(std::string text) {
    for (char& c : text) {
        c = c == '.' ? ',' : c;
    }
    return text;
}

std::string oxygen_text(int i) {
    return fmt::format("{:.3f}", (9000 - (7 * i)) / 1000.0);
}
std::string temperature_text(int i) {
    return fmt::format("{:.2f}", (1230 + i) / 100.0);
}
std::string clock_text(int i) {
    return fmt::format("10:00:{:02}", i);
}

void expect_truth(const Expected<TraceFile>& file, const std::string& what) {
    ASSERT_TRUE(file) << what << ": " << file.error().text();
    ASSERT_EQ(file->streams.size(), 1U) << what;
    const auto& trace = file->streams[0];
    const auto t = truth();
    EXPECT_EQ(file->report.refused.size(), 0U) << what;
    ASSERT_EQ(trace.times_ns, t.times) << what;
    ASSERT_EQ(trace.columns.size(), 2U) << what;
    EXPECT_EQ(trace.columns[0], t.oxygen) << what;
    EXPECT_EQ(trace.columns[1], t.temperature) << what;
    EXPECT_EQ(trace.headers[0].kind, ColumnKind::oxygen_mg_per_l) << what;
    EXPECT_EQ(trace.headers[1].kind, ColumnKind::temperature_celsius) << what;
}

template <typename Row>
std::string written(std::string_view before, const Row& row, std::string_view line_end = "\n") {
    std::string text(before);
    for (int i = 0; i < 60; ++i) {
        text += row(i);
        text += line_end;
    }
    return text;
}

const ReadSettings oslo{.zone = "Europe/Oslo"};

TEST(Dialect, plain_comma_with_iso_times) {
    const auto text = written("time,o2 [mg/L],temp [degC]\n", [](int i) {
        return fmt::format("2026-06-14T08:00:{:02}Z,{},{}", i, oxygen_text(i), temperature_text(i));
    });
    const auto file = load_text(text);
    expect_truth(file, "plain");
    EXPECT_EQ(file->dialect.delimiter.value, Delimiter::comma);
    EXPECT_EQ(file->dialect.header_line.value, 1U);
    EXPECT_EQ(file->report.rows, 60U);
    EXPECT_EQ(file->report.kept, 60U);
    EXPECT_EQ(file->report.lines, 61U);
    ASSERT_EQ(file->streams[0].pieces.size(), 1U);
    EXPECT_EQ(file->streams[0].pieces[0],
              (Piece{.first_row = 0, .source = 0, .first_line = 2, .line_step = 1}));
    // echo -n "" | sha256sum of the same text would be another; here only its form is looked at
    EXPECT_EQ(file->report.sha256.size(), 64U);
}

TEST(Dialect, every_delimiter_and_decimal_mark) {
    struct Form {
        const char* name;
        std::string delimiter;
        bool comma;
    };
    for (const auto& form : {Form{"semicolon, comma", ";", true}, Form{"semicolon, point", ";", false},
                             Form{"tab, comma", "\t", true}, Form{"tab, point", "\t", false},
                             Form{"comma, point", ",", false}, Form{"comma and blank", ", ", false}}) {
        const auto text = written(fmt::format("Time{0}O2 (mg/L){0}Temp (°C)\n", form.delimiter), [&](int i) {
            const auto mark = [&](std::string s) { return form.comma ? with_comma(std::move(s)) : s; };
            return fmt::format("2026-06-14 {}{}{}{}{}", clock_text(i), form.delimiter, mark(oxygen_text(i)),
                               form.delimiter, mark(temperature_text(i)));
        });
        expect_truth(load_text(text, oslo), form.name);
    }
}

TEST(Dialect, runs_of_spaces_with_date_and_clock_apart) {
    const auto text = written("Date        Time       O2_mgL   Temp_C\n", [](int i) {
        return fmt::format("  2026-06-14  {}   {}    {}", clock_text(i), oxygen_text(i), temperature_text(i));
    });
    const auto file = load_text(text, oslo);
    expect_truth(file, "spaces");
    EXPECT_EQ(file->dialect.delimiter.value, Delimiter::spaces);
}

TEST(Dialect, spaces_with_one_name_over_date_and_clock) {
    const auto text = written("Time                 O2_mgL   Temp_C\n", [](int i) {
        return fmt::format("2026-06-14 {}  {}    {}", clock_text(i), oxygen_text(i), temperature_text(i));
    });
    expect_truth(load_text(text, oslo), "one name");
}

TEST(Dialect, spaces_with_names_that_hold_single_blanks) {
    const auto text = written("Date        Clock time  DO mg/L  Temp °C\n", [](int i) {
        return fmt::format("2026-06-14  {}    {}    {}", clock_text(i), oxygen_text(i), temperature_text(i));
    });
    expect_truth(load_text(text, oslo), "wide header");
}

TEST(Dialect, twelve_hour_clock_in_a_column_of_its_own) {
    const auto text = written("Date Time Half O2_mgL Temp_C\n", [](int i) {
        return fmt::format("6/14/2026 {} AM {} {}", clock_text(i), oxygen_text(i), temperature_text(i));
    });
    expect_truth(load_text(text, oslo), "AM apart");
}

TEST(Dialect, quoted_fields_with_delimiters_inside) {
    const auto text =
        written("\"Time\",\"O2, sensor 1 [mg/L]\",\"Temp \"\"water\"\" [°C]\",\"note\"\n", [](int i) {
            return fmt::format("\"2026-06-14 {}\",\"{}\",\"{}\",\"quiet, {}\"", clock_text(i),
                               with_comma(oxygen_text(i)), with_comma(temperature_text(i)), i);
        });
    const auto file = load_text(text, oslo);
    expect_truth(file, "quoted");
    EXPECT_EQ(file->dialect.decimal.value, DecimalMark::comma);
    EXPECT_EQ(file->streams[0].headers[0].channel, "O2, sensor 1 [mg/L]");
    EXPECT_EQ(file->streams[0].headers[1].channel, "Temp \"water\" [°C]");
}

TEST(Dialect, quoted_line_ends_in_header_and_rows) {
    const auto text = written("Time,\"O2\n[mg/L]\",\"Temp [°C]\",note\n", [](int i) {
        return fmt::format("2026-06-14 {},{},{},{}", clock_text(i), oxygen_text(i), temperature_text(i),
                           i % 10 == 5 ? "\"two\nlines\"" : "");
    });
    for (const std::size_t block : {std::size_t{1}, std::size_t{100}, std::size_t{1} << 19}) {
        const auto file = load_text(text, oslo, {.block_bytes = block});
        expect_truth(file, "open lines");
        EXPECT_EQ(file->dialect.quoting.value, Quoting::open_lines);
        EXPECT_EQ(file->report.lines, 68U);
        const auto& pieces = file->streams[0].pieces;
        ASSERT_EQ(pieces.size(), 7U);
        EXPECT_EQ(pieces[0].first_line, 3U);
        EXPECT_EQ(pieces[1], (Piece{.first_row = 6, .source = 0, .first_line = 10, .line_step = 1}));
    }
}

TEST(Dialect, preamble_of_any_length_and_a_line_of_units) {
    for (const int length : {1, 7, 120, 20000}) {
        std::string before = "Logger export\n";
        for (int i = 1; i < length; ++i) {
            before += i % 3 == 0 ? "\n" : fmt::format("Setting {}: value, with 1,5 things\n", i);
        }
        before += "Time;DO;Temperature\n;mg/L;°C\n";
        const auto text = written(before, [](int i) {
            return fmt::format("14.06.2026 {};{};{}", clock_text(i), with_comma(oxygen_text(i)),
                               with_comma(temperature_text(i)));
        });
        const auto file = load_text(text, oslo);
        expect_truth(file, fmt::format("preamble of {}", length));
        ASSERT_TRUE(file);
        EXPECT_EQ(file->dialect.header_line.value, static_cast<std::uint64_t>(length + 1));
        EXPECT_EQ(file->dialect.units_line.value, static_cast<std::uint64_t>(length + 2));
        EXPECT_EQ(file->report.before, static_cast<std::uint64_t>(length + 2));
        EXPECT_EQ(file->dialect.preamble.front(), "Logger export");
    }
}

TEST(Dialect, every_encoding_and_line_end) {
    const auto rows = [](int i) {
        return fmt::format("2026-06-14 {};{};{};µ", clock_text(i), with_comma(oxygen_text(i)),
                           with_comma(temperature_text(i)));
    };
    for (const std::string end : {"\n", "\r\n", "\r"}) {
        const std::string utf8 =
            written("Zeit und Ort: Zürich°\nTime;O2 [mg/L];Temp [°C];note µ\n", rows, "\n");
        std::string text;
        for (const char c : utf8) {
            text += c == '\n' ? end : std::string(1, c);
        }
        std::u32string wide;
        for (std::size_t i = 0; i < text.size(); ++i) { // only characters up to U+07FF here
            const auto c = static_cast<unsigned char>(text[i]);
            if (c < 0x80) {
                wide += c;
            } else {
                wide +=
                    static_cast<char32_t>(((c & 0x1f) << 6) | (static_cast<unsigned char>(text[++i]) & 0x3f));
            }
        }
        const auto utf16 = [&](bool little, bool mark) {
            std::string out = !mark ? "" : little ? "\xff\xfe" : "\xfe\xff";
            for (const char32_t c : wide) {
                const char low = static_cast<char>(c & 0xff);
                const char high = static_cast<char>(c >> 8);
                out += little ? low : high;
                out += little ? high : low;
            }
            return out;
        };
        std::string latin1;
        for (const char32_t c : wide) {
            latin1 += static_cast<char>(c);
        }
        struct Form {
            const char* name;
            std::string bytes;
            Encoding encoding;
        };
        for (const auto& form :
             {Form{"utf8", text, Encoding::utf8}, Form{"utf8 marked", "\xef\xbb\xbf" + text, Encoding::utf8},
              Form{"utf16le marked", utf16(true, true), Encoding::utf16_le},
              Form{"utf16be marked", utf16(false, true), Encoding::utf16_be},
              Form{"utf16le", utf16(true, false), Encoding::utf16_le},
              Form{"utf16be", utf16(false, false), Encoding::utf16_be},
              Form{"latin1", latin1, Encoding::latin1}}) {
            for (const std::size_t block : {std::size_t{1} << 19, std::size_t{64}, std::size_t{7}}) {
                const auto what =
                    fmt::format("{}, line end of {} bytes, blocks of {}", form.name, end.size(), block);
                const auto file = load_text(form.bytes, oslo, {.block_bytes = block});
                expect_truth(file, what);
                ASSERT_TRUE(file);
                EXPECT_EQ(file->dialect.encoding.value, form.encoding) << what;
                EXPECT_EQ(file->streams[0].headers[1].channel, "Temp [°C]") << what;
                EXPECT_EQ(file->dialect.preamble.front(), "Zeit und Ort: Zürich°") << what;
            }
        }
    }
}

TEST(Dialect, every_way_to_write_the_time) {
    struct Form {
        const char* name;
        const char* header;
        std::function<std::string(int)> time;
        ReadSettings settings;
    };
    const std::vector<Form> forms{
        {"ISO with offset",
         "time",
         [](int i) { return "2026-06-14T10:00:" + fmt::format("{:02}", i) + "+02:00"; },
         {}},
        {"ISO with short offset",
         "time",
         [](int i) { return fmt::format("2026-06-14 10:00:{:02}+0200", i); },
         {}},
        {"ISO with decimals",
         "time",
         [](int i) { return fmt::format("2026-06-14T08:00:{:02}.000Z", i); },
         {}},
        {"compact", "time", [](int i) { return fmt::format("20260614T0800{:02}Z", i); }, {}},
        {"UTC in the header",
         "Time (UTC)",
         [](int i) { return fmt::format("2026-06-14 08:00:{:02}", i); },
         {}},
        {"day first", "Date Time", [](int i) { return fmt::format("14/06/2026 10:00:{:02}", i); }, oslo},
        {"month first", "Date Time", [](int i) { return fmt::format("6/14/2026 10:00:{:02}", i); }, oslo},
        {"day first with points", "Date Time", [](int i) { return fmt::format("14.6.26 10:00:{:02}", i); },
         oslo},
        {"month's name", "Date Time", [](int i) { return fmt::format("14-Jun-2026 10:00:{:02}", i); }, oslo},
        {"month's name, short year", "Date Time",
         [](int i) { return fmt::format("14 June 26 10:00:{:02}", i); }, oslo},
        {"weekday and name", "Date Time", [](int i) { return fmt::format("Sun 14 Jun 2026 10:00:{:02}", i); },
         oslo},
        {"twelve hours", "Date Time", [](int i) { return fmt::format("06/14/2026 10:00:{:02} AM", i); },
         oslo},
        {"twelve hours, a.m.", "Date Time",
         [](int i) { return fmt::format("2026-06-14 10:00:{:02} a.m.", i); }, oslo},
        {"clock in front", "Time", [](int i) { return fmt::format("10:00:{:02} 14/06/2026", i); }, oslo},
        {"epoch seconds", "time", [](int i) { return fmt::format("{}", 1781424000 + i); }, {}},
        {"epoch seconds with decimals",
         "unix",
         [](int i) { return fmt::format("{}.000", 1781424000 + i); },
         {}},
        {"epoch milliseconds", "timestamp", [](int i) { return fmt::format("{}000", 1781424000 + i); }, {}},
        {"spreadsheet days", "Date",
         [](int i) { return fmt::format("{:.10f}", 46187.0 + (36000.0 + i) / 86400.0); }, oslo},
        {"elapsed seconds",
         "time (s)",
         [](int i) { return fmt::format("{}.0", i); },
         {.zone = "Europe/Oslo", .start = "2026-06-14 10:00:00"}},
        {"elapsed clock",
         "Elapsed",
         [](int i) { return fmt::format("0:00:{:02}", i); },
         {.start = "2026-06-14T08:00:00Z"}},
        {"elapsed clock, set",
         "Time",
         [](int i) { return fmt::format("30:00:{:02}", i); },
         {.time_form = TimeForm::elapsed_clock, .start = "2026-06-13T02:00:00Z"}},
    };
    for (const auto& form : forms) {
        const auto text = written(fmt::format("{},O2 [mg/L],Temp [°C]\n", form.header), [&](int i) {
            return fmt::format("{},{},{}", form.time(i), oxygen_text(i), temperature_text(i));
        });
        expect_truth(load_text(text, form.settings), form.name);
    }
    // Decimal comma in the day number itself.
    const auto text = written("Date;O2 [mg/L];Temp [°C]\n", [&](int i) {
        return with_comma(fmt::format("{:.10f};{};{}", 46187.0 + (36000.0 + i) / 86400.0, oxygen_text(i),
                                      temperature_text(i)));
    });
    expect_truth(load_text(text, oslo), "day numbers with a comma");
}

TEST(Dialect, elapsed_minutes_and_hours_count_from_the_start) {
    const ReadSettings settings{.start = "2026-06-14T08:00:00Z"};
    const auto minutes = load_text("Time [min],O2 [mg/L]\n0,9.1\n0.5,9.0\n1.5,8.9\n", settings);
    ASSERT_TRUE(minutes) << minutes.error().text();
    EXPECT_EQ(minutes->streams[0].times_ns[2], ns("2026-06-14T08:01:30Z"));
    const auto hours = load_text("Hours,O2 [mg/L]\n0,9.1\n0.25,9.0\n30,8.9\n", settings);
    ASSERT_TRUE(hours) << hours.error().text();
    EXPECT_EQ(hours->streams[0].times_ns[2], ns("2026-06-15T14:00:00Z"));
}

TEST(Dialect, the_start_may_stand_in_the_preamble) {
    for (const auto* preamble : {"Start time: 2026-06-14T10:00:00+02:00\n", "Started;14.06.2026 10:00:00\n",
                                 "Start date: 14-Jun-2026\nStart time: 10:00:00\n"}) {
        const auto text =
            written(fmt::format("Logger 7\n{}\ntime_s,O2 [mg/L],Temp [°C]\n", preamble),
                    [](int i) { return fmt::format("{},{},{}", i, oxygen_text(i), temperature_text(i)); });
        const auto file = load_text(text, oslo);
        expect_truth(file, preamble);
        EXPECT_EQ(file->dialect.start_ns.origin, Origin::guessed);
    }
}

TEST(Dialect, no_header_at_all_is_read_with_settings) {
    const auto text = written("", [](int i) {
        return fmt::format("2026-06-14T08:00:{:02}Z,{},{}", i, oxygen_text(i), temperature_text(i));
    });
    const auto without = load_text(text);
    ASSERT_FALSE(without);
    EXPECT_EQ(
        text_of(without.error()),
        "f.csv: there is no header, so nothing tells what the columns are; oxygen, temperature, pressure, "
        "salinity, conductivity or pump, with a unit; say what the columns are in [[trace.column]]: index, "
        "use "
        "and unit");
    ReadSettings settings;
    settings.columns = {{.index = 2, .use = ColumnUse::oxygen, .unit = "mg/L", .channel = "DO"},
                        {.index = 3, .use = ColumnUse::temperature, .unit = "degC"}};
    const auto file = load_text(text, settings);
    expect_truth(file, "no header");
    EXPECT_EQ(file->streams[0].headers[0].channel, "DO");
    EXPECT_EQ(file->streams[0].headers[1].channel, "column 3");
    EXPECT_EQ(file->streams[0].pieces[0].first_line, 1U);
}

TEST(Dialect, a_long_file_gives_a_stream_per_chamber) {
    std::string text = "time,chamber,o2_mgL,temp_C,pump\n";
    for (int i = 0; i < 30; ++i) {
        for (const char* chamber : {"A1", "B2", "C3"}) {
            text += fmt::format("2026-06-14T08:00:{:02}Z,{},{},{},{}\n", i, chamber, 8.0 + 0.01 * i, 12.5,
                                i < 10 ? 1 : 0);
        }
    }
    const auto file = load_text(text);
    ASSERT_TRUE(file) << file.error().text();
    ASSERT_EQ(file->streams.size(), 3U);
    EXPECT_EQ(file->ids[1].name, "B2");
    EXPECT_EQ(file->streams[1].rows(), 30U);
    EXPECT_EQ(file->streams[1].headers[0].channel, "o2_mgL@B2");
    EXPECT_EQ(file->streams[1].columns[2][9], 1.0);
    EXPECT_EQ(file->streams[1].columns[2][10], 0.0);
    ASSERT_EQ(file->streams[1].pieces.size(), 1U);
    EXPECT_EQ(file->streams[1].pieces[0],
              (Piece{.first_row = 0, .source = 0, .first_line = 3, .line_step = 3}));
    EXPECT_EQ(file->report.gaps.size(), 0U);
}

TEST(Dialect, a_wide_file_gives_a_column_per_chamber) {
    const auto file =
        load_text("Date,Time,CH1 O2 [% air sat],CH1 Temp [°C],CH2 O2 [% air sat],CH2 Temp [°C],Battery [V]\n"
                  "2026-06-14,10:00:00,98.1,12.1,97.5,12.2,3.1\n"
                  "2026-06-14,10:00:02,98.0,12.1,97.4,12.2,3.1\n",
                  oslo);
    ASSERT_TRUE(file) << file.error().text();
    const auto& trace = file->streams[0];
    ASSERT_EQ(trace.headers.size(), 4U);
    EXPECT_EQ(trace.headers[2], (ColumnHeader{"CH2 O2 [% air sat]", ColumnKind::oxygen_percent_air}));
    EXPECT_EQ(trace.columns[2][1], 97.4);
    EXPECT_EQ(file->dialect.columns[6].use, ColumnUse::ignore);
}

TEST(Dialect, group_names_above_the_names_are_joined) {
    const auto file =
        load_text(",Chamber 1,,Chamber 2,\nTime,O2 [mg/L],Temp [°C],O2 [mg/L],Temp [°C]\n"
                  "2026-06-14 10:00:00,8.1,12.1,7.5,12.2\n2026-06-14 10:00:02,8.0,12.1,7.4,12.2\n",
                  oslo);
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_EQ(file->streams[0].headers[2].channel, "Chamber 2 O2 [mg/L]");
}

TEST(Dialect, every_unit_arrives_in_the_unit_of_the_trace) {
    struct Column {
        const char* header;
        double value;
        ColumnKind kind;
        double expected;
    };
    // Printed conversions: 1 umol O2 is 31.9988e-3 mg (two atoms of 15.9994); 1 mL O2 at STP is 31.9988
    // / 22.3916 mg (Benson and Krause 1984 use 22.3916 L/mol); 1 hPa is 0.1 kPa; 760 mmHg is 101.325 kPa; 50
    // degF is 10 degC.
    for (const auto& column :
         {Column{"DO [mg/L]", 8.5, ColumnKind::oxygen_mg_per_l, 8.5},
          Column{"DO (ppm)", 8.5, ColumnKind::oxygen_mg_per_l, 8.5},
          Column{"O2 [µmol/L]", 250.0, ColumnKind::oxygen_mg_per_l, 250.0 * 31.9988e-3},
          Column{"o2_umol_per_l", 250.0, ColumnKind::oxygen_mg_per_l, 250.0 * 31.9988e-3},
          Column{"Oxygen (mL/L)", 6.0, ColumnKind::oxygen_mg_per_l, 6.0 * 31.9988 / 22.3916},
          Column{"O2 (% air sat)", 95.0, ColumnKind::oxygen_percent_air, 95.0},
          Column{"DO %", 95.0, ColumnKind::oxygen_percent_air, 95.0},
          Column{"Oxygen saturation", 95.0, ColumnKind::oxygen_percent_air, 95.0},
          Column{"pO2 [kPa]", 20.0, ColumnKind::oxygen_kpa, 20.0},
          Column{"pO2 [hPa]", 200.0, ColumnKind::oxygen_kpa, 20.0},
          Column{"pO2 (mmHg)", 150.0, ColumnKind::oxygen_kpa, 150.0 * 101.325 / 760.0},
          Column{"O2 Torr", 150.0, ColumnKind::oxygen_kpa, 150.0 * 101.325 / 760.0},
          Column{"Temp °C", 12.5, ColumnKind::temperature_celsius, 12.5},
          Column{"TempC", 12.5, ColumnKind::temperature_celsius, 12.5},
          Column{"Temperature [°F]", 50.0, ColumnKind::temperature_celsius, 10.0},
          Column{"T [K]", 285.65, ColumnKind::temperature_celsius, 12.5},
          Column{"Water temperature", 12.5, ColumnKind::temperature_celsius, 12.5},
          Column{"Pressure [kPa]", 100.1, ColumnKind::pressure_kpa, 100.1},
          Column{"Baro (hPa)", 1001.0, ColumnKind::pressure_kpa, 100.1},
          Column{"Air pressure mbar", 1001.0, ColumnKind::pressure_kpa, 100.1},
          Column{"BP [mmHg]", 760.0, ColumnKind::pressure_kpa, 101.325},
          Column{"Pressure (bar)", 1.001, ColumnKind::pressure_kpa, 100.1},
          Column{"Pressure (inHg)", 30.0, ColumnKind::pressure_kpa, 101.59167},
          Column{"Pressure (psi)", 14.5, ColumnKind::pressure_kpa, 99.9739765},
          Column{"Barometric pressure", 1001.0, ColumnKind::pressure_kpa, 100.1},
          Column{"Salinity", 34.5, ColumnKind::salinity_practical, 34.5},
          Column{"Sal [psu]", 34.5, ColumnKind::salinity_practical, 34.5},
          Column{"Cond [mS/cm]", 50.0, ColumnKind::conductivity_ms_per_cm, 50.0},
          Column{"Cond (µS/cm)", 50000.0, ColumnKind::conductivity_ms_per_cm, 50.0},
          Column{"Conductivity S/m", 5.0, ColumnKind::conductivity_ms_per_cm, 50.0}}) {
        const auto file = load_text(fmt::format("time,{}\n2026-06-14T08:00:00Z,{}\n2026-06-14T08:00:01Z,{}\n",
                                                column.header, column.value, column.value));
        ASSERT_TRUE(file) << column.header << ": " << file.error().text();
        ASSERT_EQ(file->streams[0].headers.size(), 1U) << column.header;
        EXPECT_EQ(file->streams[0].headers[0].kind, column.kind) << column.header;
        EXPECT_NEAR(file->streams[0].columns[0][1], column.expected, 1e-7 * column.expected) << column.header;
    }
}

TEST(Dialect, pump_words_of_every_kind) {
    struct Words {
        const char* flush;
        const char* sealed;
    };
    for (const auto& words :
         {Words{"on", "off"}, Words{"ON", "OFF"}, Words{"flush", "closed"}, Words{"1", "0"},
          Words{"open", "sealed"}, Words{"True", "False"}, Words{"1.0", "0.0"}}) {
        const auto file =
            load_text(fmt::format("time,pump\n2026-06-14T08:00:00Z,{0}\n2026-06-14T08:05:00Z,{1}\n"
                                  "2026-06-14T08:15:00Z,{0}\n",
                                  words.flush, words.sealed));
        ASSERT_TRUE(file) << words.flush << ": " << file.error().text();
        EXPECT_EQ(file->streams[0].columns[0], (std::vector<double>{1.0, 0.0, 1.0})) << words.flush;
        EXPECT_TRUE(file->report.gaps.empty());
    }
    ReadSettings settings;
    settings.flush_words = {"spuelen"};
    settings.sealed_words = {"zu"};
    settings.columns = {{.header = "state", .use = ColumnUse::pump}};
    const auto file =
        load_text("time,state\n2026-06-14T08:00:00Z,Spuelen\n2026-06-14T08:05:00Z,zu\n", settings);
    ASSERT_TRUE(file) << file.error().text();
    EXPECT_EQ(file->streams[0].columns[0], (std::vector<double>{1.0, 0.0}));
}

TEST(Dialect, settings_override_what_would_be_guessed) {
    ReadSettings settings = oslo;
    settings.columns = {{.header = "temp", .use = ColumnUse::ignore}, {.header = "DO", .unit = "umol/L"}};
    const auto file = load_text(
        "time,DO [mg/L],temp\n2026-06-14T10:00:00,250,12.1\n2026-06-14T10:00:01,251,12.1\n", settings);
    ASSERT_TRUE(file) << file.error().text();
    ASSERT_EQ(file->streams[0].headers.size(), 1U);
    EXPECT_NEAR(file->streams[0].columns[0][0], 7.9995, 1e-3);
    settings.columns = {{.header = "temo", .use = ColumnUse::ignore}};
    const auto wrong = load_text(
        "time,DO [mg/L],temp\n2026-06-14T10:00:00,250,12.1\n2026-06-14T10:00:01,251,12.1\n", settings);
    ASSERT_FALSE(wrong);
    EXPECT_EQ(text_of(wrong.error()),
              "f.csv: there is no column \"temo\"; one of the 3 columns: time, DO [mg/L], temp; "
              "did you mean \"temp\"?");
}

} // namespace
} // namespace backeddy::intake
