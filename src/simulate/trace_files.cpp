#include "simulate/trace_files.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <tuple>

#include <fmt/format.h>

#include "base/file.hpp"
#include "quantity/quantity.hpp"
#include "water/oxygen.hpp"

namespace backeddy::simulate {

namespace {

constexpr std::int64_t second_ns = 1'000'000'000;

/// mg/L as believed by the sensor to what the logger writes.
double in_unit(const SimulationPlan& plan, const TracePlan& trace, double mg_per_l, double temperature_c) {
    const auto& water = plan.water;
    const double full = water::saturation_mg_per_l(temperature_c, water.salinity, water.pressure_kpa);
    const double percent = mg_per_l / full * 100.0;
    if (trace.oxygen_unit == "%") {
        return percent;
    }
    if (trace.oxygen_unit == "kPa" || trace.oxygen_unit == "hPa" || trace.oxygen_unit == "mmHg") {
        const double kpa =
            percent / 100.0 * water::saturation_kpa(temperature_c, water.salinity, water.pressure_kpa);
        return trace.oxygen_unit == "kPa"   ? kpa
               : trace.oxygen_unit == "hPa" ? kpa * 10.0
                                            : kpa / kilopascal_per_mmhg;
    }
    // A logger multiplies the saturation it measures by the solubility of the water it believes in.
    const double believed =
        water::saturation_mg_per_l(temperature_c, trace.assumed_salinity.value_or(water.salinity),
                                   trace.assumed_pressure_kpa.value_or(water.pressure_kpa));
    const auto concentration = Oxygen::mg_per_l(percent / 100.0 * believed);
    return trace.oxygen_unit == "umol/L" ? concentration.umol_per_l()
           : trace.oxygen_unit == "mL/L" ? concentration.ml_per_l()
                                         : concentration.mg_per_l();
}

class Writer {
  public:
    Writer(const SimulationPlan& plan, const Season& season, std::size_t trace,
           const std::filesystem::path& folder)
        : plan_(plan), season_(season), trace_(plan.traces[trace]), folder_(folder) {}

    Expected<void> add(const Readings& readings, const Session& session) {
        if (readings.true_s.empty()) {
            return {};
        }
        if (trace_.files == FileSplit::by_session) {
            if (auto opened = open(session_name(readings), readings.shown_ns.front()); !opened) {
                return opened;
            }
        }
        for (std::size_t i = 0; i < readings.true_s.size(); ++i) {
            const auto shown = Instant::unix_nanoseconds(readings.shown_ns[i]);
            if (trace_.files == FileSplit::by_day &&
                (name_.empty() || shown >= day_ends_ || shown < day_begins_)) {
                if (auto opened = open_day(shown); !opened) {
                    return opened;
                }
            }
            last_row_ = text_.size();
            row(readings, i, shown);
        }
        if (session.torn) {
            text_.resize(last_row_ + ((text_.size() - last_row_) / 2));
        }
        return {};
    }

    Expected<void> close() {
        if (name_.empty()) {
            return {};
        }
        const auto path = std::filesystem::path("raw") / trace_.name / name_;
        const auto bytes = encoded(text_, trace_.encoding);
        written_.files.push_back(path);
        written_.bytes += bytes.size();
        text_.clear();
        name_.clear();
        std::error_code ignored; // write_file_whole says what is wrong with the folder
        std::filesystem::create_directories((folder_ / path).parent_path(), ignored);
        return write_file_whole(folder_ / path, bytes);
    }

    WrittenTrace& written() { return written_; }

  private:
    [[nodiscard]] const char* line_end() const { return trace_.windows_lines ? "\r\n" : "\n"; }

    std::string session_name(const Readings& readings) const {
        const auto c = season_.zone.civil(Instant::unix_nanoseconds(readings.shown_ns.front()));
        return fmt::format("run_{:04}-{:02}-{:02}_{:02}{:02}.txt", c.year, c.month, c.day, c.hour, c.minute);
    }

    /// Days are the logger's own: UTC where it writes UTC.
    Expected<void> open_day(Instant shown) {
        const bool utc = trace_.time == TimeStyle::iso_utc || trace_.time == TimeStyle::epoch;
        const auto offset = utc ? Duration{} : season_.zone.offset(shown);
        constexpr std::int64_t day_ns = 86400 * second_ns;
        const auto local = (shown + offset).unix_nanoseconds();
        day_begins_ = Instant::unix_nanoseconds(local - (((local % day_ns) + day_ns) % day_ns)) - offset;
        day_ends_ = day_begins_ + Duration::nanoseconds(day_ns);
        const auto day = utc ? iso_text(day_begins_).substr(0, 10) : season_.zone.day(day_begins_);
        return open(day + ".csv", shown.unix_nanoseconds());
    }

    Expected<void> open(const std::string& name, std::int64_t first_shown_ns) {
        if (auto closed = close(); !closed) {
            return closed;
        }
        name_ = name;
        start_ns_ = first_shown_ns;
        if (trace_.preamble) {
            text_ += fmt::format("Simulated logger {}{}", trace_.name, line_end());
            text_ += fmt::format("Place: {}{}", plan_.study.place, line_end());
            text_ +=
                fmt::format("Start time: {}{}",
                            season_.zone.iso_local(Instant::unix_nanoseconds(first_shown_ns)), line_end());
            text_ += fmt::format("Interval: {} s{}", trace_.interval_s, line_end());
            text_ += line_end();
        }
        header();
        return {};
    }

    void cell(std::string_view text) {
        text_ += trace_.separator;
        text_ += text;
    }

    void header() {
        switch (trace_.time) {
        case TimeStyle::iso_utc:
        case TimeStyle::iso_local:
        case TimeStyle::day_first:
        case TimeStyle::month_first_12h:
        case TimeStyle::spreadsheet:
            text_ += "time";
            break;
        case TimeStyle::elapsed:
            text_ += "elapsed (s)";
            break;
        case TimeStyle::epoch:
            text_ += "epoch_s";
            break;
        }
        const auto columns = [&](const std::string& chamber) {
            cell(fmt::format("{} ({})", oxygen_header(trace_, chamber), oxygen_unit_text()));
            cell(
                fmt::format("{} (\xC2\xB0{})", temperature_header(trace_, chamber), trace_.temperature_unit));
            if (trace_.pump == PumpRecord::column) {
                cell(pump_header(trace_, chamber));
            }
        };
        if (trace_.shape == Shape::long_form) {
            cell("chamber");
            columns("");
        } else {
            for (const auto& chamber : trace_.chambers) {
                columns(chamber);
            }
        }
        text_ += line_end();
    }

    [[nodiscard]] std::string oxygen_unit_text() const {
        return trace_.oxygen_unit == "umol/L" ? "\xC2\xB5mol/L"
               : trace_.oxygen_unit == "%"    ? "% air sat"
                                              : trace_.oxygen_unit;
    }

    void number(double value, int decimals) {
        if (std::isnan(value)) {
            text_ += "NaN";
            return;
        }
        const auto from = text_.size();
        fmt::format_to(std::back_inserter(text_), "{:.{}f}", value, decimals);
        if (trace_.decimal != '.') {
            std::replace(text_.begin() + static_cast<std::ptrdiff_t>(from), text_.end(), '.', trace_.decimal);
        }
    }

    void moment(Instant shown) {
        const auto put = std::back_inserter(text_);
        switch (trace_.time) {
        case TimeStyle::iso_utc:
            text_ += iso_text(shown);
            return;
        case TimeStyle::epoch:
            number(static_cast<double>(shown.unix_nanoseconds()) * 1e-9, decimals_of_time());
            return;
        case TimeStyle::elapsed:
            number(static_cast<double>(shown.unix_nanoseconds() - start_ns_) * 1e-9, decimals_of_time());
            return;
        case TimeStyle::spreadsheet: {
            // Days since 1899-12-30, local: 25569 on 1970-01-01.
            const auto local = (shown + season_.zone.offset(shown)).unix_nanoseconds();
            number((static_cast<double>(local) * 1e-9 / 86400.0) + 25569.0, 8);
            return;
        }
        case TimeStyle::iso_local:
        case TimeStyle::day_first:
        case TimeStyle::month_first_12h:
            break;
        }
        const auto c = season_.zone.civil(shown);
        const auto whole = static_cast<int>(c.second);
        if (trace_.time == TimeStyle::iso_local) {
            fmt::format_to(put, "{:04}-{:02}-{:02} {:02}:{:02}:{:02}", c.year, c.month, c.day, c.hour,
                           c.minute, whole);
        } else if (trace_.time == TimeStyle::day_first) {
            fmt::format_to(put, "{:02}.{:02}.{:04} {:02}:{:02}:{:02}", c.day, c.month, c.year, c.hour,
                           c.minute, whole);
        } else {
            const int h = c.hour % 12 == 0 ? 12 : c.hour % 12;
            fmt::format_to(put, "{:02}/{:02}/{:04} {:02}:{:02}:{:02} {}", c.month, c.day, c.year, h, c.minute,
                           whole, c.hour < 12 ? "AM" : "PM");
        }
    }

    [[nodiscard]] int decimals_of_time() const {
        return trace_.interval_s == std::floor(trace_.interval_s) ? 0 : 3;
    }

    void values(const ChamberReadings& columns, std::size_t i) {
        text_ += trace_.separator;
        number(in_unit(plan_, trace_, columns.oxygen_mg_per_l[i], columns.temperature_c[i]),
               trace_.oxygen_decimals);
        text_ += trace_.separator;
        const double c = columns.temperature_c[i];
        number(trace_.temperature_unit == "F" ? Temperature::celsius(c).fahrenheit() : c,
               trace_.temperature_decimals);
        if (trace_.pump == PumpRecord::column) {
            text_ += trace_.separator;
            text_ += columns.flush[i] != 0 ? '1' : '0';
        }
    }

    void row(const Readings& readings, std::size_t i, Instant shown) {
        if (!text_.empty() && text_.back() != '\n') {
            text_ += line_end(); // the logger starts a new line after a torn one
            last_row_ = text_.size();
        }
        if (trace_.shape == Shape::wide) {
            moment(shown);
            for (const auto& columns : readings.chambers) {
                values(columns, i);
            }
            text_ += line_end();
            return;
        }
        for (std::size_t c = 0; c < readings.chambers.size(); ++c) {
            last_row_ = text_.size();
            moment(shown);
            cell(trace_.chambers[c]);
            values(readings.chambers[c], i);
            text_ += line_end();
        }
    }

    const SimulationPlan& plan_;
    const Season& season_;
    const TracePlan& trace_;
    const std::filesystem::path& folder_;
    WrittenTrace written_;
    std::string name_;
    std::string text_;
    std::size_t last_row_ = 0;
    std::int64_t start_ns_ = 0;
    Instant day_begins_;
    Instant day_ends_;
};

/// The controller's own log: a row per change, by its own clock, one file a season.
Expected<void> write_pump_log(const SimulationPlan& plan, const Season& season, std::size_t trace,
                              const std::filesystem::path& folder, WrittenTrace& written) {
    const auto& trace_plan = plan.traces[trace];
    const auto& clock = season.clocks[clock_named(season, trace_plan.pump_clock)];
    struct Row {
        double at_s = 0.0;
        std::string chamber;
        bool flush = true;
        std::size_t order = 0; ///< rows of one moment stay as they were made
    };
    std::vector<Row> rows;
    for (const auto& name : trace_plan.chambers) {
        const auto& room = season.chambers[chamber_named(plan, name)];
        for (const auto& session : season.sessions[trace]) {
            rows.push_back(
                {session.span.from_s, name, flush_commanded(room, session.span.from_s), rows.size()});
        }
        for (const auto& command : room.commands) {
            rows.push_back({command.at_s, name, command.flush, rows.size()});
        }
    }
    std::sort(rows.begin(), rows.end(), [](const Row& a, const Row& b) {
        return std::tie(a.at_s, a.order) < std::tie(b.at_s, b.order);
    });
    std::string text = "time,chamber,pump\n";
    for (const auto& row : rows) {
        const auto shown = season.instant(row.at_s + clock.error_s(row.at_s));
        text += fmt::format("{},{},{}\n", season.zone.iso_with_offset(shown), row.chamber,
                            row.flush ? "flush" : "sealed");
    }
    const auto path = std::filesystem::path("raw") / (trace_plan.name + "_pumps") / "pumps.csv";
    std::error_code ignored; // write_file_whole says what is wrong with the folder
    std::filesystem::create_directories((folder / path).parent_path(), ignored);
    written.pump_logs.push_back(path);
    written.bytes += text.size();
    return write_file_whole(folder / path, text);
}

/// Code points of the few characters beyond ASCII that headers hold (two bytes in UTF-8).
template <typename Put>
void each_code_point(const std::string& utf8, const Put& put) {
    for (std::size_t i = 0; i < utf8.size(); ++i) {
        const auto byte = static_cast<unsigned char>(utf8[i]);
        if (byte < 0x80U || i + 1 == utf8.size()) {
            put(byte);
        } else {
            put(((byte & 0x1FU) << 6U) | (static_cast<unsigned char>(utf8[++i]) & 0x3FU));
        }
    }
}

} // namespace

std::string oxygen_header(const TracePlan& trace, const std::string& chamber) {
    return trace.shape == Shape::long_form ? "O2" : "O2_" + chamber;
}

std::string temperature_header(const TracePlan& trace, const std::string& chamber) {
    return trace.shape == Shape::long_form ? "Temp" : "Temp_" + chamber;
}

std::string pump_header(const TracePlan& trace, const std::string& chamber) {
    return trace.shape == Shape::long_form ? "Pump" : "Pump_" + chamber;
}

std::string encoded(const std::string& utf8, Encoding encoding) {
    if (encoding == Encoding::utf8) {
        return utf8;
    }
    if (encoding == Encoding::utf8_bom) {
        return "\xEF\xBB\xBF" + utf8;
    }
    std::string out;
    if (encoding == Encoding::latin1) {
        each_code_point(utf8, [&](unsigned code) { out += static_cast<char>(code); });
        return out;
    }
    out.reserve((2 * utf8.size()) + 2);
    out = "\xFF\xFE";
    each_code_point(utf8, [&](unsigned code) {
        out += static_cast<char>(code & 0xFFU);
        out += static_cast<char>(code >> 8U);
    });
    return out;
}

Expected<WrittenTrace> write_trace(const SimulationPlan& plan, const Season& season, std::size_t trace,
                                   std::uint64_t seed, const std::filesystem::path& folder) {
    Writer writer(plan, season, trace, folder);
    for (std::size_t s = 0; s < season.sessions[trace].size(); ++s) {
        const auto readings = read_session(plan, season, trace, s, seed);
        if (!readings) {
            return fail(Error(readings.error()).within("trace " + plan.traces[trace].name));
        }
        if (auto added = writer.add(*readings, season.sessions[trace][s]); !added) {
            return fail(std::move(added).error());
        }
    }
    if (auto closed = writer.close(); !closed) {
        return fail(std::move(closed).error());
    }
    if (plan.traces[trace].pump == PumpRecord::log) {
        if (auto log = write_pump_log(plan, season, trace, folder, writer.written()); !log) {
            return fail(std::move(log).error());
        }
    }
    return std::move(writer.written());
}

} // namespace backeddy::simulate
