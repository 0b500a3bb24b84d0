// make_corpus FOLDER
//
// Writes small logger files in many dialects and with many faults, all of the same invented readings, and
// beside each its truth cell by cell. Shares no code with the reader: calendar, units and encodings stand
// here once more, so that an error would have to be made twice to go unseen.
//
//   <case>.csv           the file, byte for byte as a logger might leave it
//   <case>.settings      what the brief would have to say, "setting = value" a line; often nothing
//   <case>.truth.csv     line,item,value:
//        12,time,2026-06-14T21:05:03.000000000Z    the moment of the row on line 12
//        12,chamber,B                              its stream, where the file has a chamber column
//        12,O2,8.41                                what the column with this header says, in the program's
//        unit 12,O2,missing                             the cell holds no reading, the row stays
//        12,row,refused: bad_time                  the row cannot be kept, and why
//        12,row,aside                              a line among the rows that is none: blank, header again,
//        remark 0,file,fails: ambiguous_time              the file as a whole must be refused
//        0,file,tolerance_ns 1000                  how closely times can be told from what is written

#include <array>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iostream>
#include <string>
#include <string_view>
#include <vector>

namespace {

// ---- the invented readings
// ---------------------------------------------------------------------------------------

constexpr std::int64_t day_s = 86400;

// Days since 1970-01-01 of a date, counting leap years one by one: slow, and plainly right.
std::int64_t days_from_date(int year, int month, int day) {
    const auto is_leap = [](int y) { return (y % 4 == 0 && y % 100 != 0) || y % 400 == 0; };
    constexpr std::array<int, 12> lengths{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    std::int64_t days = 0;
    for (int y = 1970; y < year; ++y) {
        days += is_leap(y) ? 366 : 365;
    }
    for (int m = 1; m < month; ++m) {
        days += lengths.at(static_cast<std::size_t>(m - 1)) + (m == 2 && is_leap(year) ? 1 : 0);
    }
    return days + day - 1;
}

struct Calendar {
    int year = 1970, month = 1, day = 1, hour = 0, minute = 0, second = 0;
};

Calendar calendar(std::int64_t seconds) {
    Calendar c;
    std::int64_t days = seconds / day_s;
    const int rest = static_cast<int>(seconds % day_s);
    while (days >= days_from_date(c.year + 1, 1, 1)) {
        ++c.year;
    }
    while (c.month < 12 && days >= days_from_date(c.year, c.month + 1, 1)) {
        ++c.month;
    }
    c.day = static_cast<int>(days - days_from_date(c.year, c.month, 1)) + 1;
    c.hour = rest / 3600;
    c.minute = rest / 60 % 60;
    c.second = rest % 60;
    return c;
}

std::int64_t seconds_of(int year, int month, int day, int hour, int minute, int second) {
    return (days_from_date(year, month, day) * day_s) + (std::int64_t{hour} * 3600) +
           (std::int64_t{minute} * 60) + second;
}

// Decimal text of a whole number of thousandths, without going through a double.
std::string thousandths(std::int64_t value, char mark = '.') {
    std::array<char, 32> text{};
    const std::int64_t size = value < 0 ? -value : value;
    std::snprintf(text.data(), text.size(), "%s%lld%c%03lld", value < 0 ? "-" : "",
                  static_cast<long long>(size / 1000), mark, static_cast<long long>(size % 1000));
    return text.data();
}

std::string real(double value) {
    std::array<char, 40> text{};
    std::snprintf(text.data(), text.size(), "%.17g", value);
    return text.data();
}

// One reading of the invented tube: oxygen falling while sealed, a little warming, the pump on for the first
// fifth.
struct Reading {
    std::int64_t seconds = 0; // UTC
    std::int64_t oxygen = 0;  // thousandths of whatever unit the file is in
    std::int64_t celsius = 0; // thousandths
    int pump = 0;
};

constexpr std::int64_t default_start =
    1781471100; // 2026-06-14T21:05:00Z, no date that could be read month-first

std::vector<Reading> readings(std::int64_t start = default_start, std::int64_t step = 5, int count = 60,
                              std::int64_t oxygen = 9640) {
    std::vector<Reading> all;
    for (int i = 0; i < count; ++i) {
        const bool is_flushing = i < count / 5;
        all.push_back({.seconds = start + (i * step),
                       .oxygen = oxygen - (is_flushing ? 0 : (i - (count / 5)) * 13) + ((i * 7 % 5) - 2),
                       .celsius = 12300 + (i * 4) + (i * 3 % 4),
                       .pump = is_flushing ? 1 : 0});
    }
    return all;
}

// ---- how times are written
// -----------------------------------------------------------------------------------------

std::string printed(const char* form, int a, int b, int c, int d = 0, int e = 0, int f = 0) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), form, a, b, c, d, e, f);
    return text.data();
}

std::string iso(std::int64_t seconds, const char* form = "%04d-%02d-%02dT%02d:%02d:%02dZ") {
    const Calendar c = calendar(seconds);
    return printed(form, c.year, c.month, c.day, c.hour, c.minute, c.second);
}

std::string day_first(std::int64_t seconds, const char* form = "%02d/%02d/%04d %02d:%02d:%02d") {
    const Calendar c = calendar(seconds);
    return printed(form, c.day, c.month, c.year, c.hour, c.minute, c.second);
}

std::string month_first(std::int64_t seconds) {
    const Calendar c = calendar(seconds);
    return printed("%02d/%02d/%04d %02d:%02d:%02d", c.month, c.day, c.year, c.hour, c.minute, c.second);
}

// 12-hour clock: midnight is 12 AM, noon 12 PM.
std::string twelve_hours(std::int64_t seconds) {
    const Calendar c = calendar(seconds);
    const int hour = c.hour % 12 == 0 ? 12 : c.hour % 12;
    return printed("%d/%d/%04d ", c.month, c.day, c.year) +
           printed("%d:%02d:%02d", hour, c.minute, c.second) + (c.hour < 12 ? " AM" : " PM");
}

std::string with_month_name(std::int64_t seconds) {
    constexpr std::array<const char*, 12> names{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    const Calendar c = calendar(seconds);
    return printed("%02d-", c.day, 0, 0) + names.at(static_cast<std::size_t>(c.month - 1)) +
           printed("-%04d %02d:%02d:%02d", c.year, c.hour, c.minute, c.second);
}

// Days since 1899-12-30 with ten decimals (one is 8.64 microseconds).
std::string day_number(std::int64_t seconds) {
    constexpr std::int64_t days_before_1970 = 25569;
    constexpr std::int64_t scale = 10'000'000'000;
    const std::int64_t days = seconds / day_s;
    const std::int64_t fraction = (((seconds % day_s) * scale) + (day_s / 2)) / day_s;
    std::array<char, 40> text{};
    std::snprintf(text.data(), text.size(), "%lld.%010lld", static_cast<long long>(days) + days_before_1970,
                  static_cast<long long>(fraction));
    return text.data();
}

std::string moment_text(std::int64_t nanoseconds) {
    const std::int64_t seconds = nanoseconds / 1'000'000'000;
    std::array<char, 16> fraction{};
    std::snprintf(fraction.data(), fraction.size(), ".%09lldZ",
                  static_cast<long long>(nanoseconds % 1'000'000'000));
    return iso(seconds, "%04d-%02d-%02dT%02d:%02d:%02d") + fraction.data();
}

// ---- encodings
// -------------------------------------------------------------------------------------------------------

// The Unicode code points of UTF-8 text of ours (up to three bytes a character).
std::vector<std::uint32_t> code_points(std::string_view text) {
    std::vector<std::uint32_t> points;
    for (std::size_t i = 0; i < text.size();) {
        const auto first = static_cast<unsigned char>(text[i]);
        const std::size_t length = first < 0x80 ? 1 : (first < 0xE0 ? 2 : 3);
        std::uint32_t point = length == 1 ? first : (length == 2 ? first & 0x1FU : first & 0x0FU);
        for (std::size_t k = 1; k < length; ++k) {
            point = (point << 6U) | (static_cast<unsigned char>(text[i + k]) & 0x3FU);
        }
        points.push_back(point);
        i += length;
    }
    return points;
}

enum class Bytes { utf8, utf8_mark, utf16_le, utf16_be, latin1 };

std::string encoded(std::string_view text, Bytes encoding) {
    std::string bytes;
    switch (encoding) {
    case Bytes::utf8:
        return std::string(text);
    case Bytes::utf8_mark:
        return "\xEF\xBB\xBF" + std::string(text);
    case Bytes::latin1:
        for (const std::uint32_t point : code_points(text)) {
            bytes += static_cast<char>(point);
        }
        return bytes;
    case Bytes::utf16_le:
    case Bytes::utf16_be:
        bytes = encoding == Bytes::utf16_le ? "\xFF\xFE" : "\xFE\xFF";
        for (const std::uint32_t point : code_points(text)) {
            const char low = static_cast<char>(point & 0xFFU);
            const char high = static_cast<char>(point >> 8U);
            bytes += encoding == Bytes::utf16_le ? low : high;
            bytes += encoding == Bytes::utf16_le ? high : low;
        }
        return bytes;
    }
    return bytes;
}

// ---- one case
// --------------------------------------------------------------------------------------------------------

// A file in the making: text in UTF-8 that is encoded at the end, and what is true of each line.
class Case {
  public:
    explicit Case(std::string name) : name_(std::move(name)) {}

    char delimiter = ',';
    std::string line_end = "\n";
    Bytes encoding = Bytes::utf8;

    void line(const std::string& text) {
        text_ += text + line_end;
        ++line_;
    }
    void row(const std::vector<std::string>& fields) { line(joined(fields)); }
    // What is true of the line written last.
    void at(std::int64_t seconds) { at_nanoseconds(seconds * 1'000'000'000); }
    void at_nanoseconds(std::int64_t value) { truth("time", moment_text(value)); }
    void says(const std::string& header, const std::string& value) { truth(header, value); }
    void refused(const std::string& why) { truth("row", "refused: " + why); }
    void aside() { truth("row", "aside"); }
    void of_file(const std::string& what) { truth_ += "0,file," + what + "\n"; }
    void set(const std::string& setting, const std::string& value) {
        settings_ += setting + " = " + value + "\n";
    }
    // Bytes that no line end follows.
    void tail(const std::string& text, bool counts_as_line) {
        text_ += text;
        line_ += counts_as_line ? 1 : 0;
    }
    void raw_after_encoding(const std::string& bytes) { raw_tail_ += bytes; }

    // The usual three columns of the usual readings, after a header that the caller has written.
    void plain_row(const Reading& r, const std::string& time, char mark = '.') {
        row({time, thousandths(r.oxygen, mark), thousandths(r.celsius, mark), std::to_string(r.pump)});
        at(r.seconds);
        plain_values(r);
    }
    void plain_values(const Reading& r) {
        says("O2", thousandths(r.oxygen));
        says("Temp", thousandths(r.celsius));
        says("pump", std::to_string(r.pump));
    }

    [[nodiscard]] std::string joined(const std::vector<std::string>& fields) const {
        std::string text;
        for (std::size_t i = 0; i < fields.size(); ++i) {
            text += (i == 0 ? std::string() : std::string(1, delimiter)) + fields[i];
        }
        return text;
    }

    void save(const std::filesystem::path& folder) const {
        write(folder / (name_ + ".csv"), encoded(text_, encoding) + raw_tail_);
        write(folder / (name_ + ".settings"), settings_);
        write(folder / (name_ + ".truth.csv"), "line,item,value\n" + truth_);
    }

  private:
    void truth(const std::string& item, const std::string& value) {
        truth_ += std::to_string(line_) + "," + item + "," + value + "\n";
    }
    static void write(const std::filesystem::path& path, const std::string& bytes) {
        std::ofstream out(path, std::ios::binary);
        out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
        if (!out) {
            std::cerr << "cannot write " << path << "\n";
            std::exit(1);
        }
    }

    std::string name_;
    std::string text_;
    std::string raw_tail_;
    std::string settings_;
    std::string truth_;
    std::uint64_t line_ = 0;
};

class Corpus {
  public:
    explicit Corpus(std::filesystem::path folder) : folder_(std::move(folder)) {}
    void add(const std::string& name, const std::function<void(Case&)>& fill) {
        Case made(name);
        fill(made);
        made.save(folder_);
        ++count_;
    }
    [[nodiscard]] int count() const { return count_; }

  private:
    std::filesystem::path folder_;
    int count_ = 0;
};

const std::vector<std::string> usual_header{"time", "O2 (mg/L)", "Temp (°C)", "pump"};

// The usual file, each row's time written by `text`.
void usual(Case& c, const std::vector<Reading>& rows, const std::function<std::string(std::int64_t)>& text,
           char mark = '.') {
    c.row(usual_header);
    for (const Reading& r : rows) {
        c.plain_row(r, text(r.seconds), mark);
    }
}

std::string iso_z(std::int64_t seconds) {
    return iso(seconds);
}

// Oslo: two hours ahead in summer, one in winter (2026: from 29 March 01:00 UTC to 25 October 01:00 UTC).
std::int64_t oslo(std::int64_t utc) {
    const bool is_summer = utc >= seconds_of(2026, 3, 29, 1, 0, 0) && utc < seconds_of(2026, 10, 25, 1, 0, 0);
    return utc + (is_summer ? 7200 : 3600);
}

// ---- dialects
// --------------------------------------------------------------------------------------------------------

void add_delimiters(Corpus& corpus) {
    corpus.add("plain_comma", [](Case& c) { usual(c, readings(), iso_z); });
    corpus.add("semicolon_decimal_comma", [](Case& c) {
        c.delimiter = ';';
        usual(c, readings(), iso_z, ',');
    });
    corpus.add("semicolon_decimal_point", [](Case& c) {
        c.delimiter = ';';
        usual(c, readings(), iso_z);
    });
    corpus.add("tab", [](Case& c) {
        c.delimiter = '\t';
        usual(c, readings(), iso_z);
    });
    corpus.add("tab_decimal_comma", [](Case& c) {
        c.delimiter = '\t';
        usual(c, readings(), iso_z, ',');
    });
    corpus.add("runs_of_spaces", [](Case& c) {
        c.line("time                  O2_mgL   Temp_C  pump");
        for (const Reading& r : readings()) {
            c.line(iso(r.seconds) + "   " + thousandths(r.oxygen) + "    " + thousandths(r.celsius) +
                   "     " + std::to_string(r.pump));
            c.at(r.seconds);
            c.says("O2_mgL", thousandths(r.oxygen));
            c.says("Temp_C", thousandths(r.celsius));
            c.says("pump", std::to_string(r.pump));
        }
    });
    corpus.add("comma_with_padding", [](Case& c) {
        c.line("time, O2 (mg/L), Temp (°C), pump");
        for (const Reading& r : readings()) {
            c.line(iso(r.seconds) + ",  " + thousandths(r.oxygen) + ", " + thousandths(r.celsius) + " ,   " +
                   std::to_string(r.pump));
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("delimiter_at_the_end_of_rows", [](Case& c) {
        c.line(c.joined(usual_header) + ",");
        for (const Reading& r : readings()) {
            c.line(iso(r.seconds) + "," + thousandths(r.oxygen) + "," + thousandths(r.celsius) + "," +
                   std::to_string(r.pump) + ",");
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("quoted_decimal_comma_in_comma_file", [](Case& c) {
        c.row({"time", "\"O2 (mg/L)\"", "\"Temp (°C)\"", "pump"});
        for (const Reading& r : readings()) {
            c.row({iso(r.seconds), "\"" + thousandths(r.oxygen, ',') + "\"",
                   "\"" + thousandths(r.celsius, ',') + "\"", std::to_string(r.pump)});
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("quoted_remarks_with_delimiters", [](Case& c) {
        c.row({"time", "remark", "O2 (mg/L)", "Temp (°C)", "pump"});
        int i = 0;
        for (const Reading& r : readings()) {
            c.row({iso(r.seconds), i % 7 == 3 ? R"("hose kinked, then ""straight"" again")" : "",
                   thousandths(r.oxygen), thousandths(r.celsius), std::to_string(r.pump)});
            c.at(r.seconds);
            c.plain_values(r);
            ++i;
        }
    });
}

void add_encodings(Corpus& corpus) {
    const auto tabbed = [](Bytes encoding) {
        return [encoding](Case& c) {
            c.encoding = encoding;
            c.delimiter = '\t';
            usual(c, readings(), iso_z);
        };
    };
    corpus.add("utf8_with_mark", tabbed(Bytes::utf8_mark));
    corpus.add("utf16_little_endian", tabbed(Bytes::utf16_le));
    corpus.add("utf16_big_endian", tabbed(Bytes::utf16_be));
    corpus.add("latin1_degrees_and_micro", [](Case& c) {
        c.encoding = Bytes::latin1;
        c.delimiter = ';';
        c.row({"time", "O2 (µmol/L)", "Temp (°C)", "pump"});
        for (const Reading& r : readings(default_start, 5, 60, 301000)) {
            c.row({iso(r.seconds), thousandths(r.oxygen, ','), thousandths(r.celsius, ','),
                   std::to_string(r.pump)});
            c.at(r.seconds);
            // 31.9988 g/mol (Benson and Krause 1984).
            c.says("O2", real(static_cast<double>(r.oxygen) / 1000.0 * 31.9988 * 1e-3));
            c.says("Temp", thousandths(r.celsius));
            c.says("pump", std::to_string(r.pump));
        }
    });
    corpus.add("line_ends_cr_lf", [](Case& c) {
        c.line_end = "\r\n";
        usual(c, readings(), iso_z);
    });
    corpus.add("line_ends_cr", [](Case& c) {
        c.line_end = "\r";
        usual(c, readings(), iso_z);
    });
    corpus.add("utf16_cr_lf_decimal_comma", [](Case& c) {
        c.encoding = Bytes::utf16_le;
        c.delimiter = ';';
        c.line_end = "\r\n";
        usual(c, readings(), iso_z, ',');
    });
    corpus.add("no_line_end_at_the_end", [](Case& c) {
        const auto all = readings();
        usual(c, {all.begin(), all.end() - 1}, iso_z);
        const Reading& r = all.back();
        c.tail(
            c.joined({iso(r.seconds), thousandths(r.oxygen), thousandths(r.celsius), std::to_string(r.pump)}),
            true);
        c.at(r.seconds);
        c.plain_values(r);
    });
}

void add_headers(Corpus& corpus) {
    corpus.add("preamble", [](Case& c) {
        c.line("Logger 4711, firmware 2.3");
        c.line("Station: Skerry Voe, pier");
        c.line("Started: 14.06.2026 21:00, interval 5 s");
        c.line("");
        c.line("Sensor;O2;1");
        c.line("Calibrated, 100 %: 13.06.2026");
        c.line("");
        usual(c, readings(), iso_z);
    });
    corpus.add("long_preamble", [](Case& c) {
        for (int i = 0; i < 150; ++i) {
            c.line("# remark " + std::to_string(i) + ", of the logger's own");
        }
        usual(c, readings(), iso_z);
    });
    corpus.add("two_header_lines", [](Case& c) {
        c.row({"time", "O2", "Temp", "pump"});
        c.row({"UTC", "mg/L", "°C", "1/0"});
        for (const Reading& r : readings()) {
            c.plain_row(r, iso(r.seconds));
        }
    });
    corpus.add("units_in_square_brackets", [](Case& c) {
        c.row({"time", "O2 [mg/L]", "Temp [°C]", "pump"});
        for (const Reading& r : readings()) {
            c.plain_row(r, iso(r.seconds));
        }
    });
    corpus.add("columns_in_another_order", [](Case& c) {
        c.row({"pump", "Temp (°C)", "time", "O2 (mg/L)"});
        for (const Reading& r : readings()) {
            c.row({std::to_string(r.pump), thousandths(r.celsius), iso(r.seconds), thousandths(r.oxygen)});
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("columns_nobody_asked_for", [](Case& c) {
        c.row({"record", "time", "battery (V)", "O2 (mg/L)", "status", "Temp (°C)", "pump"});
        int i = 0;
        for (const Reading& r : readings()) {
            c.row({std::to_string(++i), iso(r.seconds), "12.41", thousandths(r.oxygen),
                   i % 9 == 0 ? "check" : "ok", thousandths(r.celsius), std::to_string(r.pump)});
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("no_header", [](Case& c) {
        c.set("header_line", "0");
        c.set("column", "1 time");
        c.set("column", "2 oxygen mg/L O2");
        c.set("column", "3 temperature degC Temp");
        c.set("column", "4 pump . pump");
        for (const Reading& r : readings()) {
            c.plain_row(r, iso(r.seconds));
        }
    });
}

// ---- times
// -----------------------------------------------------------------------------------------------------------

void add_calendar_times(Corpus& corpus) {
    // A clock that shows UTC unless said otherwise: what the brief has to say where no offset is written.
    const auto in_utc = [&corpus](const std::string& name,
                                  const std::function<std::string(std::int64_t)>& text) {
        corpus.add(name, [&](Case& c) {
            c.set("zone", "Etc/UTC");
            usual(c, readings(), text);
        });
    };
    in_utc("iso_with_a_blank", [](std::int64_t s) { return iso(s, "%04d-%02d-%02d %02d:%02d:%02d"); });
    in_utc("day_first", [](std::int64_t s) { return day_first(s); });
    in_utc("day_first_with_points",
           [](std::int64_t s) { return day_first(s, "%02d.%02d.%04d %02d:%02d:%02d"); });
    in_utc("month_first", month_first);
    in_utc("twelve_hour_clock", twelve_hours);
    in_utc("month_by_name", with_month_name);
    in_utc("year_first_with_slashes", [](std::int64_t s) { return iso(s, "%04d/%02d/%02d %02d:%02d:%02d"); });
    corpus.add("twelve_hour_clock_past_noon_and_midnight", [](Case& c) {
        c.set("zone", "Etc/UTC");
        usual(c, readings(seconds_of(2026, 6, 14, 11, 30, 0), 1300, 60), twelve_hours);
    });
    corpus.add("ambiguous_dates_fail", [](Case& c) {
        c.set("zone", "Etc/UTC");
        c.of_file("fails: ambiguous_time");
        usual(c, readings(seconds_of(2026, 6, 5, 9, 0, 0)), [](std::int64_t s) { return day_first(s); });
    });
    corpus.add("ambiguous_dates_settled_by_the_brief", [](Case& c) {
        c.set("zone", "Etc/UTC");
        c.set("date_order", "day_month_year");
        usual(c, readings(seconds_of(2026, 6, 5, 9, 0, 0)), [](std::int64_t s) { return day_first(s); });
    });
    corpus.add("ambiguous_dates_settled_far_down", [](Case& c) {
        c.set("zone", "Etc/UTC");
        usual(c, readings(seconds_of(2026, 6, 12, 0, 0, 0), 600, 200),
              [](std::int64_t s) { return day_first(s); });
    });
    corpus.add("iso_with_an_offset", [](Case& c) {
        usual(c, readings(),
              [](std::int64_t s) { return iso(s + 7200, "%04d-%02d-%02dT%02d:%02d:%02d+02:00"); });
    });
    corpus.add("iso_local_time_of_a_zone", [](Case& c) {
        c.set("zone", "Europe/Oslo");
        usual(c, readings(), [](std::int64_t s) { return iso(oslo(s), "%04d-%02d-%02dT%02d:%02d:%02d"); });
    });
    corpus.add("local_time_without_a_zone_fails", [](Case& c) {
        c.of_file("fails: ambiguous_time");
        usual(c, readings(), [](std::int64_t s) { return iso(s, "%04d-%02d-%02dT%02d:%02d:%02d"); });
    });
    corpus.add("fractions_of_a_second", [](Case& c) {
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            const std::int64_t quarter = i++ % 4;
            c.row(
                {iso(r.seconds, "%04d-%02d-%02dT%02d:%02d:%02d") + thousandths(quarter * 250).substr(1) + "Z",
                 thousandths(r.oxygen), thousandths(r.celsius), std::to_string(r.pump)});
            c.at_nanoseconds((r.seconds * 1'000'000'000) + (quarter * 250'000'000));
            c.plain_values(r);
        }
    });
    corpus.add("date_and_clock_apart", [](Case& c) {
        c.set("zone", "Etc/UTC");
        c.delimiter = ';';
        c.row({"Date", "Time", "O2 (mg/L)", "Temp (°C)", "pump"});
        for (const Reading& r : readings()) {
            const Calendar t = calendar(r.seconds);
            c.row({printed("%02d.%02d.%04d", t.day, t.month, t.year),
                   printed("%02d:%02d:%02d", t.hour, t.minute, t.second), thousandths(r.oxygen, ','),
                   thousandths(r.celsius, ','), std::to_string(r.pump)});
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("clock_without_seconds", [](Case& c) {
        c.set("zone", "Etc/UTC");
        usual(c, readings(default_start, 60),
              [](std::int64_t s) { return iso(s, "%04d-%02d-%02d %02d:%02d"); });
    });
}

void add_counted_times(Corpus& corpus) {
    corpus.add("spreadsheet_day_numbers", [](Case& c) {
        // Ten decimals of a day are 8.6 microseconds: what the logger meant is the whole second that it wrote
        // down so, not the fraction that is left over.
        c.set("zone", "Etc/UTC");
        c.row(usual_header);
        for (const Reading& r : readings()) {
            c.row({day_number(r.seconds), thousandths(r.oxygen), thousandths(r.celsius),
                   std::to_string(r.pump)});
            c.at_nanoseconds(r.seconds * 1'000'000'000);
            c.plain_values(r);
        }
    });
    corpus.add("epoch_seconds",
               [](Case& c) { usual(c, readings(), [](std::int64_t s) { return std::to_string(s); }); });
    corpus.add("epoch_milliseconds", [](Case& c) {
        usual(c, readings(), [](std::int64_t s) { return std::to_string(s) + "000"; });
    });
    corpus.add("epoch_seconds_with_fraction", [](Case& c) {
        usual(c, readings(), [](std::int64_t s) { return std::to_string(s) + ".000"; });
    });
    corpus.add("elapsed_seconds", [](Case& c) {
        c.set("start", "2026-06-14T21:05:00Z");
        c.row({"elapsed (s)", "O2 (mg/L)", "Temp (°C)", "pump"});
        for (const Reading& r : readings()) {
            c.plain_row(r, std::to_string(r.seconds - default_start));
        }
    });
    corpus.add("elapsed_minutes", [](Case& c) {
        c.set("start", "2026-06-14T23:05:00");
        c.set("zone", "Europe/Oslo");
        c.row({"elapsed (min)", "O2 (mg/L)", "Temp (°C)", "pump"});
        for (const Reading& r : readings(default_start, 15)) {
            c.plain_row(r, thousandths((r.seconds - default_start) * 1000 / 60));
        }
    });
    corpus.add("elapsed_clock", [](Case& c) {
        c.set("start", "2026-06-14T21:05:00Z");
        c.row({"elapsed (h:mm:ss)", "O2 (mg/L)", "Temp (°C)", "pump"});
        for (const Reading& r : readings(default_start, 1800)) {
            const int past = static_cast<int>(r.seconds - default_start);
            c.plain_row(r, printed("%d:%02d:%02d", past / 3600, past / 60 % 60, past % 60));
        }
    });
}

void add_daylight_saving(Corpus& corpus) {
    const auto local = [](std::int64_t s) { return iso(oslo(s), "%04d-%02d-%02d %02d:%02d:%02d"); };
    corpus.add("daylight_saving_fold", [&](Case& c) {
        c.set("zone", "Europe/Oslo");
        usual(c, readings(seconds_of(2026, 10, 25, 0, 0, 0), 120, 90), local);
    });
    corpus.add("daylight_saving_gap_stepped_over", [&](Case& c) {
        c.set("zone", "Europe/Oslo");
        usual(c, readings(seconds_of(2026, 3, 29, 0, 30, 0), 120, 60), local);
    });
    corpus.add("daylight_saving_gap_written_into", [&](Case& c) {
        // A clock that was not told of summer time until somebody set it, ten minutes late.
        c.set("zone", "Europe/Oslo");
        c.row(usual_header);
        const std::int64_t change = seconds_of(2026, 3, 29, 1, 0, 0);
        for (const Reading& r : readings(seconds_of(2026, 3, 29, 0, 30, 0), 120, 60)) {
            const bool is_late = r.seconds >= change && r.seconds < change + 600;
            const std::string time =
                is_late ? iso(r.seconds + 3600, "%04d-%02d-%02d %02d:%02d:%02d") : local(r.seconds);
            if (is_late) {
                c.row({time, thousandths(r.oxygen), thousandths(r.celsius), std::to_string(r.pump)});
                c.refused("bad_time");
            } else {
                c.plain_row(r, time);
            }
        }
    });
}

// ---- shapes
// ----------------------------------------------------------------------------------------------------------

void add_shapes(Corpus& corpus) {
    corpus.add("wide_three_chambers", [](Case& c) {
        c.row({"time", "O2_A (mg/L)", "O2_B (mg/L)", "O2_C (mg/L)", "Temp_A (°C)", "Temp_B (°C)",
               "Temp_C (°C)"});
        for (const Reading& r : readings()) {
            c.row({iso(r.seconds), thousandths(r.oxygen), thousandths(r.oxygen - 210),
                   thousandths(r.oxygen + 55), thousandths(r.celsius), thousandths(r.celsius + 30),
                   thousandths(r.celsius - 45)});
            c.at(r.seconds);
            c.says("O2_A", thousandths(r.oxygen));
            c.says("O2_B", thousandths(r.oxygen - 210));
            c.says("O2_C", thousandths(r.oxygen + 55));
            c.says("Temp_A", thousandths(r.celsius));
            c.says("Temp_B", thousandths(r.celsius + 30));
            c.says("Temp_C", thousandths(r.celsius - 45));
        }
    });
    const auto long_file = [](Case& c, const std::vector<std::string>& names, bool in_turn) {
        c.row({"time", "chamber", "o2_mgL", "temp_C", "pump"});
        const auto all = readings();
        const auto one = [&c](const Reading& r, const std::string& name, std::int64_t shift) {
            c.row({iso(r.seconds), name, thousandths(r.oxygen + shift), thousandths(r.celsius - shift),
                   std::to_string(r.pump)});
            c.at(r.seconds);
            c.says("chamber", name);
            c.says("o2_mgL", thousandths(r.oxygen + shift));
            c.says("temp_C", thousandths(r.celsius - shift));
            c.says("pump", std::to_string(r.pump));
        };
        if (in_turn) {
            for (const Reading& r : all) {
                std::int64_t shift = 0;
                for (const auto& name : names) {
                    one(r, name, shift += 17);
                }
            }
        } else {
            std::int64_t shift = 0;
            for (const auto& name : names) {
                shift += 17;
                for (const Reading& r : all) {
                    one(r, name, shift);
                }
            }
        }
    };
    corpus.add("long_chambers_in_turn", [&](Case& c) { long_file(c, {"1", "2", "3", "4"}, true); });
    corpus.add("long_chambers_one_after_another",
               [&](Case& c) { long_file(c, {"tube A", "tube B"}, false); });
    corpus.add("changing_interval", [](Case& c) {
        auto rows = readings(default_start, 1, 40);
        for (Reading r : readings(default_start + 40, 10, 40)) {
            rows.push_back(r);
        }
        usual(c, rows, iso_z);
    });
    corpus.add("gap", [](Case& c) {
        auto rows = readings(default_start, 5, 40);
        for (Reading r : readings(default_start + 3600, 5, 40)) {
            rows.push_back(r);
        }
        usual(c, rows, iso_z);
    });
    corpus.add("pump_in_words", [](Case& c) {
        c.row(usual_header);
        for (const Reading& r : readings()) {
            c.row({iso(r.seconds), thousandths(r.oxygen), thousandths(r.celsius),
                   r.pump == 1 ? "flush" : "sealed"});
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("pump_in_words_of_its_own", [](Case& c) {
        c.set("flush_words", "offen");
        c.set("sealed_words", "zu");
        c.row(usual_header);
        for (const Reading& r : readings()) {
            c.row({iso(r.seconds), thousandths(r.oxygen), thousandths(r.celsius),
                   r.pump == 1 ? "offen" : "zu"});
            c.at(r.seconds);
            c.plain_values(r);
        }
    });
    corpus.add("signs_and_exponents", [](Case& c) {
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            const bool is_odd = i++ % 2 == 1;
            std::array<char, 32> exponent{};
            std::snprintf(exponent.data(), exponent.size(), "%lld.%03lldE%s",
                          static_cast<long long>(r.oxygen / 10000),
                          static_cast<long long>(r.oxygen % 10000 / 10), "+01");
            const std::int64_t oxygen = r.oxygen / 10 * 10;
            c.row({iso(r.seconds), is_odd ? exponent.data() : "+" + thousandths(oxygen),
                   thousandths(-r.celsius / 40), std::to_string(r.pump)});
            c.at(r.seconds);
            c.says("O2", thousandths(oxygen));
            c.says("Temp", thousandths(-r.celsius / 40));
            c.says("pump", std::to_string(r.pump));
        }
    });
}

// ---- units
// -----------------------------------------------------------------------------------------------------------

// A column in `unit` whose readings are `factor` of the program's unit, plus `offset`.
void unit_case(Corpus& corpus, const std::string& name, const std::string& header, const std::string& channel,
               std::int64_t first, double factor, double offset_before = 0.0) {
    corpus.add(name, [=](Case& c) {
        c.row({"time", header});
        for (const Reading& r : readings(default_start, 5, 60, first)) {
            c.row({iso(r.seconds), thousandths(r.oxygen)});
            c.at(r.seconds);
            c.says(channel, real(((static_cast<double>(r.oxygen) / 1000.0) + offset_before) * factor));
        }
    });
}

void add_units(Corpus& corpus) {
    constexpr double kpa_per_mmhg = 101.325 / 760.0; // the torr: 1 atm = 101.325 kPa = 760 torr
    constexpr double grams_per_mole = 31.9988;       // O2, Benson and Krause 1984
    constexpr double litres_per_mole = 22.3916;      // O2 at STP, Garcia and Gordon 1992
    unit_case(corpus, "oxygen_mg_per_l_in_words", "oxygen_mg_per_l", "oxygen_mg_per_l", 9640, 1.0);
    unit_case(corpus, "oxygen_micromole_per_litre", "O2 (umol/L)", "O2", 301000, grams_per_mole * 1e-3);
    unit_case(corpus, "oxygen_micromole_with_exponent", "O2 [µmol L-1]", "O2", 301000, grams_per_mole * 1e-3);
    unit_case(corpus, "oxygen_millilitre_per_litre", "O2 (mL/L)", "O2", 6740,
              grams_per_mole / litres_per_mole);
    unit_case(corpus, "oxygen_percent_air_saturation", "O2 (% air saturation)", "O2", 98200, 1.0);
    unit_case(corpus, "oxygen_kilopascal", "pO2 (kPa)", "pO2", 20500, 1.0);
    unit_case(corpus, "oxygen_hectopascal", "pO2 (hPa)", "pO2", 205000, 0.1);
    unit_case(corpus, "oxygen_millimetre_mercury", "pO2 (mmHg)", "pO2", 154000, kpa_per_mmhg);
    unit_case(corpus, "oxygen_torr", "pO2 (torr)", "pO2", 154000, kpa_per_mmhg);
    unit_case(corpus, "temperature_fahrenheit", "Temp (°F)", "Temp", 54200, 1.0 / 1.8, -32.0);
    unit_case(corpus, "temperature_kelvin", "Temp (K)", "Temp", 285450, 1.0, -273.15);
    unit_case(corpus, "pressure_hectopascal", "pressure (hPa)", "pressure", 1013200, 0.1);
    unit_case(corpus, "pressure_bar", "pressure (bar)", "pressure", 1713, 100.0);
    unit_case(corpus, "pressure_millimetre_mercury", "barometric pressure (mmHg)", "barometric pressure",
              759800, kpa_per_mmhg);
    unit_case(corpus, "salinity_practical", "salinity (PSU)", "salinity", 33400, 1.0);
    unit_case(corpus, "conductivity_microsiemens", "conductivity (uS/cm)", "conductivity", 41200000, 1e-3);
}

// ---- faults
// ----------------------------------------------------------------------------------------------------------

void add_faults(Corpus& corpus) {
    corpus.add("not_a_number_words", [](Case& c) {
        constexpr std::array<const char*, 9> words{"NaN", "nan", "NA", "---", "", "Err", "n/a", "-", "Over"};
        c.set("missing_words", "Over");
        c.row(usual_header);
        std::size_t i = 0;
        for (const Reading& r : readings()) {
            const bool is_missing = i % 5 == 3;
            c.row({iso(r.seconds), is_missing ? words.at((i / 5) % words.size()) : thousandths(r.oxygen),
                   thousandths(r.celsius), std::to_string(r.pump)});
            c.at(r.seconds);
            c.says("O2", is_missing ? "missing" : thousandths(r.oxygen));
            c.says("Temp", thousandths(r.celsius));
            c.says("pump", std::to_string(r.pump));
            ++i;
        }
    });
    corpus.add("number_that_stands_for_missing", [](Case& c) {
        c.set("missing_words", "-9999");
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            const bool is_missing = i++ % 11 == 5;
            c.row({iso(r.seconds), is_missing ? "-9999" : thousandths(r.oxygen), thousandths(r.celsius),
                   std::to_string(r.pump)});
            c.at(r.seconds);
            c.says("O2", is_missing ? "missing" : thousandths(r.oxygen));
            c.says("Temp", thousandths(r.celsius));
            c.says("pump", std::to_string(r.pump));
        }
    });
    corpus.add("a_cell_that_is_no_number", [](Case& c) {
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            const bool is_spoilt = ++i == 31;
            c.row({iso(r.seconds), is_spoilt ? "9.4x1" : thousandths(r.oxygen), thousandths(r.celsius),
                   std::to_string(r.pump)});
            c.at(r.seconds);
            c.says("O2", is_spoilt ? "missing" : thousandths(r.oxygen));
            c.says("Temp", thousandths(r.celsius));
            c.says("pump", std::to_string(r.pump));
        }
    });
    corpus.add("rows_too_short_and_too_long", [](Case& c) {
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            ++i;
            if (i == 20) {
                c.row({iso(r.seconds), thousandths(r.oxygen)});
                c.refused("bad_row");
            } else if (i == 40) {
                c.row({iso(r.seconds), thousandths(r.oxygen), thousandths(r.celsius), "0", "0", "7"});
                c.refused("bad_row");
            } else {
                c.plain_row(r, iso(r.seconds));
            }
        }
    });
    corpus.add("times_that_are_none", [](Case& c) {
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            ++i;
            const char* bad = i == 12 ? "2026-02-30T21:05:00Z"
                                      : (i == 24 ? "2026-06-14T25:05:00Z" : (i == 36 ? "" : nullptr));
            if (bad != nullptr) {
                c.row({bad, thousandths(r.oxygen), thousandths(r.celsius), std::to_string(r.pump)});
                c.refused("bad_time");
            } else {
                c.plain_row(r, iso(r.seconds));
            }
        }
    });
    corpus.add("the_same_second_twice", [](Case& c) {
        // A logger of two readings a second that writes whole seconds: both are readings.
        c.row(usual_header);
        for (Reading r : readings()) {
            r.seconds -= r.seconds % 10;
            c.plain_row(r, iso(r.seconds));
        }
    });
    corpus.add("clock_set_back", [](Case& c) {
        // The clock is set back by 62 s in mid-file: the rows that repeat what was written are refused,
        // and reading goes on where new time begins.
        c.row(usual_header);
        std::int64_t latest = 0;
        int i = 0;
        for (Reading r : readings()) {
            r.seconds -= i++ >= 30 ? 62 : 0;
            if (r.seconds < latest) {
                c.row(
                    {iso(r.seconds), thousandths(r.oxygen), thousandths(r.celsius), std::to_string(r.pump)});
                c.refused("bad_time");
            } else {
                c.plain_row(r, iso(r.seconds));
                latest = r.seconds;
            }
        }
    });
    corpus.add("torn_last_line", [](Case& c) {
        const auto all = readings();
        usual(c, {all.begin(), all.end() - 1}, iso_z);
        c.tail(iso(all.back().seconds) + "," + thousandths(all.back().oxygen).substr(0, 3), true);
        c.refused("bad_row");
    });
    corpus.add("torn_within_the_last_number", [](Case& c) {
        // All fields are there, but the last is shorter than it ever is and no line end follows: half a
        // number is none.
        c.row({"time", "pump", "O2 (mg/L)"});
        const auto all = readings();
        for (std::size_t i = 0; i + 1 < all.size(); ++i) {
            c.row({iso(all[i].seconds), std::to_string(all[i].pump), thousandths(all[i].oxygen)});
            c.at(all[i].seconds);
            c.says("pump", std::to_string(all[i].pump));
            c.says("O2", thousandths(all[i].oxygen));
        }
        c.tail(c.joined({iso(all.back().seconds), "0", thousandths(all.back().oxygen).substr(0, 3)}), true);
        c.refused("bad_row");
    });
    corpus.add("torn_utf16", [](Case& c) {
        c.encoding = Bytes::utf16_le;
        c.delimiter = '\t';
        const auto all = readings();
        usual(c, {all.begin(), all.end() - 1}, iso_z);
        c.tail("2026-06-14T21:0", true);
        c.refused("bad_row");
        c.raw_after_encoding("9"); // and half of a character
    });
    corpus.add("nul_bytes_in_a_row", [](Case& c) {
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            if (++i == 33) {
                c.row({iso(r.seconds), std::string("9\0\0\0\0", 5), thousandths(r.celsius), "0"});
                c.refused("bad_text");
            } else {
                c.plain_row(r, iso(r.seconds));
            }
        }
    });
    corpus.add("nul_bytes_at_the_end", [](Case& c) {
        // What a power cut leaves in a file that was set aside whole.
        usual(c, readings(), iso_z);
        c.tail(std::string(512, '\0'), true);
        c.refused("bad_text");
    });
    corpus.add("header_again_in_mid_file", [](Case& c) {
        const auto all = readings();
        usual(c, {all.begin(), all.begin() + 30}, iso_z);
        c.row(usual_header);
        c.aside();
        for (auto r = all.begin() + 30; r != all.end(); ++r) {
            c.plain_row(*r, iso(r->seconds));
        }
    });
    corpus.add("blank_lines_and_remarks", [](Case& c) {
        const auto all = readings();
        usual(c, {all.begin(), all.begin() + 20}, iso_z);
        c.line("");
        c.aside();
        c.line("# battery changed");
        c.aside();
        for (auto r = all.begin() + 20; r != all.end(); ++r) {
            c.plain_row(*r, iso(r->seconds));
        }
        c.line("");
        c.aside();
    });
    corpus.add("quoted_remark_over_two_lines", [](Case& c) {
        c.row({"time", "O2 (mg/L)", "Temp (°C)", "pump", "remark"});
        int i = 0;
        for (const Reading& r : readings()) {
            const bool is_long = ++i == 17;
            const std::vector<std::string> fields{iso(r.seconds), thousandths(r.oxygen),
                                                  thousandths(r.celsius), std::to_string(r.pump),
                                                  is_long ? "\"hose off," : ""};
            c.row(fields);
            c.at(r.seconds);
            c.plain_values(r);
            if (is_long) {
                c.line("put back\"");
            }
        }
    });
    corpus.add("bytes_that_are_no_text", [](Case& c) {
        // A serial line's garbage in one row of a UTF-8 file.
        c.row(usual_header);
        int i = 0;
        for (const Reading& r : readings()) {
            if (++i == 29) {
                c.line("\xFF\xFE\x9B\x81,\xC3");
                c.refused("bad_row");
            } else {
                c.plain_row(r, iso(r.seconds));
            }
        }
    });
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        std::cerr << "usage: make_corpus FOLDER\n";
        return 2;
    }
    const std::filesystem::path folder = argv[1];
    std::filesystem::create_directories(folder);
    Corpus corpus(folder);
    add_delimiters(corpus);
    add_encodings(corpus);
    add_headers(corpus);
    add_calendar_times(corpus);
    add_counted_times(corpus);
    add_daylight_saving(corpus);
    add_shapes(corpus);
    add_units(corpus);
    add_faults(corpus);
    std::cout << corpus.count() << " files in " << folder.string() << "\n";
    return 0;
}
