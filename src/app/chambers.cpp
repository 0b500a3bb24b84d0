#include "app/chambers.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <initializer_list>
#include <iterator>
#include <map>
#include <set>

#include <fmt/format.h>

#include "app/detail/calibration_rows.hpp"
#include "app/detail/water_inputs.hpp"
#include "app/reading_doubts.hpp"
#include "base/number_text.hpp"
#include "intake/unit.hpp"
#include "water/conditions.hpp"

namespace backeddy::app {

namespace {

using detail::at_times;
using detail::calibration_of;
using detail::joined;
using detail::Pieces;
using detail::Series;
using detail::Water;
using detail::Waters;

// Two files over the same time: readings are compared across at most this much, and differ when they are
// apart by more than this share of the largest (choice: above what another rounding or a neighbouring second
// does).
constexpr double overlap_reach_s = 120.0;
constexpr double overlap_share = 0.02;

// A pump log's last row is believed for this many of its usual cycles (choice).
constexpr double log_reach_cycles = 1.5;

// One row there and back (choice): no water changes so between two readings.
constexpr double spike_percent = 30.0;
constexpr double spike_neighbours_percent = 5.0;
constexpr double spike_c = 5.0;
constexpr double spike_neighbours_c = 1.0;
// Flushed water is near 100 %: a trace that stays under this is in another unit, or of a study of poor water.
constexpr double low_top_percent = 30.0;
constexpr double absurd_top_percent = 3.0;

struct ChamberChannels {
    Pieces oxygen;
    Pieces temperature;
    Pieces pump;
};

// Rows of one piece that lie within the assembly row's time.
struct RowRange {
    std::size_t first = 0;
    std::size_t end = 0;
};

RowRange rows_within(const std::vector<std::int64_t>& times, const study::Assembly& assembly) {
    const auto lower = [&](Instant at) {
        return static_cast<std::size_t>(std::lower_bound(times.begin(), times.end(), at.unix_nanoseconds()) -
                                        times.begin());
    };
    return {.first = assembly.from ? lower(*assembly.from) : 0,
            .end = assembly.to ? lower(*assembly.to) : times.size()};
}

class ChamberBuilder {
  public:
    /// `own`, where it is not nothing: the one stream of its oxygen, which no other chamber needs.
    ChamberBuilder(const Study& study, const RawTraces& traces, const Waters& waters,
                   const study::Assembly& assembly, const ChamberChannels& channels, Trace* own)
        : study_(study), traces_(traces), waters_(waters), water_(waters.usual()), assembly_(assembly),
          channels_(channels), own_(own) {}

    Expected<Chamber> build() {
        chamber_.assembly = &assembly_;
        chamber_.trace.assembly = assembly_.id.text();
        chamber_.trace.sensor = assembly_.sensor.text();
        const auto& first = channels_.oxygen.front();
        kind_ = detail::oxygen_kind(traces_.streams[first.stream].data.headers[first.column].kind);
        unit_ = unit_of(traces_, first).value_or(intake::Unit::mg_per_l);
        assumed_ = assumed_water();
        gather();
        const Instant first_reading =
            Instant::unix_nanoseconds(chamber_.trace.times_ns.empty() ? 0 : chamber_.trace.times_ns.front());
        auto doubts = detail::calibration_doubts(
            study_, assembly_.sensor, {.kind = kind_, .unit = unit_, .assumed = assumed_}, waters_);
        std::move(doubts.begin(), doubts.end(), std::back_inserter(chamber_.complaints));
        auto usual = settings_at(first_reading, study_.brief, water_);
        if (!usual) {
            return fail(std::move(usual).error());
        }
        chamber_.usual = std::move(*usual);
        for (const auto edge : detail::season_edges(study_.brief, {"water", "uncertainty", "settle"})) {
            auto settings = settings_at(edge, study_.brief.at(edge), waters_.at(edge));
            if (!settings) {
                return fail(std::move(settings).error());
            }
            chamber_.seasons.emplace_back(edge, std::move(*settings));
        }
        if (auto converted = convert(); !converted) {
            return fail(std::move(converted).error());
        }
        return std::move(chamber_);
    }

  private:
    [[nodiscard]] uptake::AssumedWater assumed_water() const {
        const auto said = assumed_by_logger(study_, traces_, channels_.oxygen.front());
        uptake::AssumedWater out;
        if (said.salinity) {
            out.salinity = said.salinity->practical();
        }
        if (said.pressure) {
            out.pressure_kpa = said.pressure->kilopascals();
        }
        return out;
    }

    // Times, raw oxygen, and whatever stands in the same rows.
    void gather() {
        auto& trace = chamber_.trace;
        for (const auto& piece : channels_.oxygen) {
            const auto& stream = traces_.streams[piece.stream];
            const auto& data = stream.data;
            auto range = rows_within(data.times_ns, assembly_);
            if (!trace.times_ns.empty()) {
                const auto last =
                    std::upper_bound(data.times_ns.begin(), data.times_ns.end(), trace.times_ns.back());
                const auto fresh = static_cast<std::size_t>(last - data.times_ns.begin());
                if (fresh > range.first) {
                    const RowRange again{.first = range.first, .end = std::min(fresh, range.end)};
                    chamber_.notes.push_back(
                        fmt::format("{} rows of {} repeat times already read and were set aside",
                                    again.end - again.first, traces_.files[stream.file].path));
                    compare_again(data, piece.column, stream.file, again);
                    range.first = again.end;
                }
            }
            if (range.first >= range.end) {
                continue;
            }
            add_sources(data, stream.file, range);
            chamber_.clock_uncertainty_s = std::max(chamber_.clock_uncertainty_s, stream.clock_uncertainty_s);
            chamber_.clock_checked = stream.clock_checked;
            if (own_ != nullptr && range.end - range.first == data.rows()) {
                move_all(piece);
                continue;
            }
            const auto at = [](const auto& column, std::size_t i) {
                return column.begin() + static_cast<std::ptrdiff_t>(i);
            };
            trace.times_ns.insert(trace.times_ns.end(), at(data.times_ns, range.first),
                                  at(data.times_ns, range.end));
            const auto& oxygen = data.columns[piece.column];
            raw_.insert(raw_.end(), at(oxygen, range.first), at(oxygen, range.end));
            take_beside(channels_.temperature, piece, range, trace.temperature_celsius);
            take_beside(channels_.pump, piece, range, pump_);
        }
        fill_temperature_from_elsewhere();
        note_usual();
        keep_plausible_temperature();
        fill_states();
    }

    // Rows of a file over times that another one has given: the first file stands, and where the two do not
    // agree somebody has to say which is right.
    void compare_again(const Trace& data, std::size_t column, std::size_t file, RowRange again) {
        const auto& times = chamber_.trace.times_ns;
        const auto reach = Duration::seconds(overlap_reach_s);
        double largest = 0.0;
        Instant worst;
        double full = 0.0;
        std::size_t alone = 0;
        for (std::size_t i = again.first; i < again.end; ++i) {
            const double value = data.columns[column][i];
            const auto at = Instant::unix_nanoseconds(data.times_ns[i]);
            if (!std::isfinite(value)) {
                continue;
            }
            const double other = interpolated(times, raw_, at, reach);
            if (!std::isfinite(other)) {
                ++alone;
                continue;
            }
            full = std::max(full, std::abs(other));
            if (std::abs(value - other) > largest) {
                largest = std::abs(value - other);
                worst = at;
            }
        }
        const std::size_t first_file = file_of_row_at(data.times_ns[again.first]);
        const auto span =
            fmt::format("{} to {}", iso_text(Instant::unix_nanoseconds(data.times_ns[again.first])),
                        iso_text(Instant::unix_nanoseconds(data.times_ns[again.end - 1])));
        const auto complain = [&](std::string found, std::string expected, std::string remedy) {
            chamber_.complaints.push_back({.severity = study::Severity::warning,
                                           .error = {.code = ErrorCode::bad_relation,
                                                     .found = std::move(found),
                                                     .expected = std::move(expected),
                                                     .remedy = std::move(remedy),
                                                     .place = {.file = traces_.files[file].path}}});
        };
        if (largest > overlap_share * full) {
            complain(
                fmt::format("{} and {} both have {} from {}, and differ by up to {} {} (at {})",
                            traces_.files[first_file].path, traces_.files[file].path, assembly_.oxygen.text(),
                            span, significant_text(largest, 3), name_of(data.headers[column].kind),
                            iso_text(worst)),
                fmt::format("one reading for each moment: those of {} were taken",
                            traces_.files[first_file].path),
                "take the wrong one out of raw/, or give it a [[trace]] of its own; look at the clocks of "
                "both");
        }
        if (alone > 0) {
            complain(fmt::format("{} of its rows lie in holes of {} ({})", alone,
                                 traces_.files[first_file].path, span),
                     "files of a trace that follow each other in time: these rows were set aside",
                     "cut the file with the hole in two, so that each file is one stretch of time");
        }
    }

    [[nodiscard]] std::size_t file_of_row_at(std::int64_t time_ns) const {
        const auto& times = chamber_.trace.times_ns;
        const auto row =
            static_cast<std::size_t>(std::lower_bound(times.begin(), times.end(), time_ns) - times.begin());
        return line_of(chamber_, std::min(row, times.size() - 1)).first;
    }

    void add_sources(const Trace& data, std::size_t file, RowRange range) {
        const std::size_t base = chamber_.trace.times_ns.size();
        for (std::size_t p = 0; p < data.pieces.size(); ++p) {
            const auto& piece = data.pieces[p];
            const std::size_t piece_end =
                p + 1 < data.pieces.size() ? data.pieces[p + 1].first_row : data.rows();
            const std::size_t first = std::max(piece.first_row, range.first);
            if (first >= std::min(piece_end, range.end)) {
                continue;
            }
            chamber_.sources.push_back(
                {.first_row = base + (first - range.first),
                 .file = file,
                 .first_line = piece.first_line + ((first - piece.first_row) * piece.line_step),
                 .line_step = piece.line_step});
        }
    }

    // The same rows of another column, when it stands in the same stream; else nothing is added (and the
    // column stays shorter than the times, which says that it comes from elsewhere).
    void take_beside(const Pieces& pieces, const ChannelPiece& oxygen, RowRange range,
                     std::vector<double>& into) const {
        for (const auto& piece : pieces) {
            if (piece.stream == oxygen.stream) {
                const auto& column = traces_.streams[piece.stream].data.columns[piece.column];
                into.insert(into.end(), column.begin() + static_cast<std::ptrdiff_t>(range.first),
                            column.begin() + static_cast<std::ptrdiff_t>(range.end));
                return;
            }
        }
    }

    // All rows of its own stream, without a copy.
    void move_all(const ChannelPiece& oxygen) {
        const auto move_beside = [&](const Pieces& pieces, std::vector<double>& into) {
            for (const auto& piece : pieces) {
                if (piece.stream == oxygen.stream) {
                    into = std::move(own_->columns[piece.column]);
                    return;
                }
            }
        };
        chamber_.trace.times_ns = std::move(own_->times_ns);
        raw_ = std::move(own_->columns[oxygen.column]);
        move_beside(channels_.temperature, chamber_.trace.temperature_celsius);
        move_beside(channels_.pump, pump_);
    }

    void fill_temperature_from_elsewhere() {
        auto& trace = chamber_.trace;
        if (trace.temperature_celsius.size() == trace.times_ns.size()) {
            return;
        }
        if (channels_.temperature.empty()) {
            trace.temperature_celsius.assign(trace.times_ns.size(), missing);
            waters_.for_each_reading(assembly_.id, trace.times_ns,
                                     [&](std::size_t i, Instant, const Water& water) {
                                         trace.temperature_celsius[i] = water.temperature_c.value_or(missing);
                                     });
            return;
        }
        trace.temperature_celsius = at_times(joined(traces_, channels_.temperature), trace.times_ns,
                                             Duration::minutes(detail::temperature_reach_min));
    }

    static uptake::ChamberState state_of(double pump) {
        return std::isnan(pump) ? uptake::ChamberState::unknown
                                : (pump > 0.5 ? uptake::ChamberState::flush : uptake::ChamberState::sealed);
    }

    void fill_states() {
        auto& trace = chamber_.trace;
        trace.state.assign(trace.times_ns.size(), uptake::ChamberState::unknown);
        if (pump_.size() == trace.times_ns.size()) {
            std::transform(pump_.begin(), pump_.end(), trace.state.begin(), state_of);
            pump_ = {};
            return;
        }
        if (channels_.pump.empty()) {
            return;
        }
        uptake::PumpLog log;
        for (const auto& piece : channels_.pump) {
            const auto& data = traces_.streams[piece.stream].data;
            for (std::size_t i = 0; i < data.rows(); ++i) {
                if (log.times_ns.empty() || data.times_ns[i] > log.times_ns.back()) {
                    log.times_ns.push_back(data.times_ns[i]);
                    log.state.push_back(state_of(data.columns[piece.column][i]));
                }
            }
        }
        end_pump_log(log);
        chamber_.pump_log = std::move(log);
    }

    // What the pump does after the log ends nobody wrote down: its last row is believed for as long as its
    // states usually last.
    void end_pump_log(uptake::PumpLog& log) {
        std::vector<double> lengths_s; // from one change to the next
        std::size_t begin = 0;
        for (std::size_t i = 1; i < log.state.size(); ++i) {
            if (log.state[i] != log.state[begin]) {
                lengths_s.push_back(static_cast<double>(log.times_ns[i] - log.times_ns[begin]) * 1e-9);
                begin = i;
            }
        }
        if (lengths_s.size() < 2) {
            return; // no cycle is known: one row may well say all
        }
        // A cycle is a flush and a sealed spell.
        std::vector<double> cycles_s;
        for (std::size_t i = 1; i < lengths_s.size(); ++i) {
            cycles_s.push_back(lengths_s[i - 1] + lengths_s[i]);
        }
        const auto last = Instant::unix_nanoseconds(log.times_ns.back());
        // As it ran of late: a blank of an hour at the log's start says nothing of its end.
        const std::size_t late = std::min<std::size_t>(cycles_s.size(), 5);
        const auto usual_s = usual_of(std::span(cycles_s).last(late));
        const auto known_to = last + Duration::seconds(log_reach_cycles * *usual_s);
        const std::size_t file = traces_.streams[channels_.pump.back().stream].file;
        bool goes_on = false; // else nothing rests on it
        for (const auto& stay : study_.tables.stays) {
            const bool is_here = stay.assembly == assembly_.id &&
                                 (!assembly_.to || stay.from() < *assembly_.to) &&
                                 (!assembly_.from || *assembly_.from < stay.to());
            if (!is_here || stay.usable_to() <= known_to || !reads_after(known_to, stay)) {
                continue;
            }
            goes_on = true;
            chamber_.complaints.push_back(
                {.severity = study::Severity::warning,
                 .error = {
                     .code = ErrorCode::too_few,
                     .found = fmt::format("the pump log of {} ends at {}, and the stay \"{}\" goes on to {}",
                                          assembly_.id.text(), iso_text(last), stay.id.text(),
                                          iso_text(stay.to())),
                     .expected = fmt::format("a row for each change of the pump: from {} on flush and sealed "
                                             "are not known, and nothing is computed",
                                             iso_text(known_to)),
                     .remedy = "add the rest of the log, a timetable in its stead, or let states be found "
                               "([states] source = \"found\")",
                     .place = {.file = traces_.files[file].path}}});
        }
        if (goes_on) {
            log.times_ns.push_back(known_to.unix_nanoseconds());
            log.state.push_back(uptake::ChamberState::unknown);
        }
    }

    [[nodiscard]] bool reads_after(Instant moment, const study::Stay& stay) const {
        const auto& times = chamber_.trace.times_ns;
        const auto next =
            std::lower_bound(times.begin(), times.end(), std::max(moment, stay.from()).unix_nanoseconds());
        return next != times.end() && *next < stay.usable_to().unix_nanoseconds();
    }

    // ---- readings that cannot be

    /// How many of the rows of stays here are among those that `is_bad` names, and of how many.
    struct InStays {
        std::size_t rows = 0;
        std::size_t bad = 0;
        std::vector<double> saturation;
    };

    template <typename IsBad>
    [[nodiscard]] InStays in_stays(const IsBad& is_bad) const {
        InStays out;
        const auto& times = chamber_.trace.times_ns;
        for (const auto& stay : study_.tables.stays) {
            if (stay.assembly != assembly_.id) {
                continue;
            }
            const auto first =
                std::lower_bound(times.begin(), times.end(), stay.from().unix_nanoseconds()) - times.begin();
            const auto end =
                std::upper_bound(times.begin(), times.end(), stay.to().unix_nanoseconds()) - times.begin();
            for (auto i = static_cast<std::size_t>(first); i < static_cast<std::size_t>(std::max(first, end));
                 ++i) {
                ++out.rows;
                out.bad += is_bad(i) ? 1 : 0;
                if (i < chamber_.trace.saturation_percent.size()) {
                    out.saturation.push_back(chamber_.trace.saturation_percent[i]);
                }
            }
        }
        return out;
    }

    void tell(const Implausible& aside, const std::string& channel, const std::string& what,
              std::string expected, const std::string& looks_like, study::Severity severity,
              bool has_own_rows) {
        Place place{};
        std::string trace = assembly_.temperature.trace; // only a thermometer has rows elsewhere
        if (has_own_rows) {
            const auto [file, line] = line_of(chamber_, aside.first_row);
            trace = traces_.files[file].trace;
            place = {.file = traces_.files[file].path, .line = line, .column = channel};
        } else {
            place = assembly_.place;
            place.column = channel;
        }
        chamber_.notes.push_back(fmt::format("{} {} of {} were set aside: {} to {}", aside.count, what,
                                             channel, significant_text(aside.low, 4),
                                             significant_text(aside.high, 4)));
        chamber_.complaints.push_back(
            {.severity = severity,
             .error = {.code = ErrorCode::out_of_range,
                       .found = fmt::format("{} {} from {} to {}, the first here", aside.count, what,
                                            significant_text(aside.low, 4), significant_text(aside.high, 4)),
                       .expected = std::move(expected),
                       .remedy =
                           looks_like.empty()
                               ? fmt::format("look at the sensor there; a number that stands for no reading "
                                             "belongs, as the file writes it, into missing_words of the "
                                             "brief's [[trace]] \"{}\"; the bounds are in [readings]",
                                             trace)
                               : fmt::format("it looks like {}: set unit in [[trace.column]]", looks_like),
                       .place = std::move(place)}});
    }

    void keep_plausible_temperature() {
        auto& values = chamber_.trace.temperature_celsius;
        if (channels_.temperature.empty()) {
            return;
        }
        const auto& bounds = study_.brief.readings;
        const auto usual = usual_of(values);
        const std::size_t in_rows = values.size();
        const auto aside = set_aside_outside(values, bounds.temperature_least_c, bounds.temperature_most_c);
        const bool has_own_rows =
            in_rows > 0 && channels_.temperature.front().stream == channels_.oxygen.front().stream;
        if (aside.count > 0) {
            const auto seen = in_stays([&](std::size_t i) { return !std::isfinite(values[i]); });
            tell(aside, assembly_.temperature.text(), "temperatures (degC)",
                 fmt::format("{} to {} degC; those outside go into no slope",
                             exact_text(bounds.temperature_least_c), exact_text(bounds.temperature_most_c)),
                 unit_if_most(seen, looks_like_temperature(*usual)), severity_of(seen), has_own_rows);
        }
        if (const auto spikes = set_aside_spikes(values, spike_c, spike_neighbours_c); spikes.count > 0) {
            tell(spikes, assembly_.temperature.text(), "single temperatures (degC)",
                 fmt::format("no jump of over {} degC for one row and back; they go into no slope",
                             exact_text(spike_c)),
                 "", study::Severity::warning, has_own_rows);
        }
    }

    // No number stands on a channel that is in doubt for most of its stays' time.
    static study::Severity severity_of(const InStays& seen) {
        return seen.rows > 0 && 2 * seen.bad > seen.rows ? study::Severity::stops_the_run
                                                         : study::Severity::warning;
    }

    // A wrong unit shows in most rows: of a few that cannot be, another unit is no remedy.
    static std::string unit_if_most(const InStays& seen, const std::string& looks_like) {
        return severity_of(seen) == study::Severity::stops_the_run ? looks_like : std::string();
    }

    void keep_plausible_oxygen() {
        auto& trace = chamber_.trace;
        auto& saturation = trace.saturation_percent;
        const auto& bounds = study_.brief.readings;
        const std::string like = usual_written_ ? looks_like_oxygen(*usual_written_, unit_) : std::string();
        const auto written = [&] {
            return usual_written_ ? fmt::format(" (usually {} as written, {})",
                                                significant_text(*usual_written_, 4), intake::name_of(unit_))
                                  : std::string();
        };
        const auto aside =
            set_aside_outside(saturation, bounds.oxygen_least_percent, bounds.oxygen_most_percent);
        const auto spikes = set_aside_spikes(saturation, spike_percent, spike_neighbours_percent);
        if (aside.count + spikes.count > 0) {
            for (std::size_t i = 0; i < saturation.size(); ++i) {
                // A concentration without a temperature has no saturation either, and stays.
                if (!std::isfinite(saturation[i]) && std::isfinite(trace.temperature_celsius[i])) {
                    trace.oxygen_mg_per_l[i] = missing;
                }
            }
        }
        if (aside.count > 0) {
            const auto seen = in_stays([&](std::size_t i) { return !std::isfinite(saturation[i]); });
            tell(aside, assembly_.oxygen.text(), "readings (% of air saturation)",
                 fmt::format("{} to {} %{}; those outside go into no slope",
                             exact_text(bounds.oxygen_least_percent), exact_text(bounds.oxygen_most_percent),
                             written()),
                 unit_if_most(seen, like), severity_of(seen), true);
        }
        if (spikes.count > 0) {
            tell(spikes, assembly_.oxygen.text(), "single readings (% of air saturation)",
                 fmt::format("no jump of over {} % for one row and back; they go into no slope",
                             exact_text(spike_percent)),
                 "", study::Severity::warning, true);
        }
        const auto seen = in_stays([](std::size_t) { return false; });
        const auto top = top_of(seen.saturation);
        if (!top || *top >= low_top_percent) {
            return;
        }
        chamber_.complaints.push_back(
            {.severity =
                 *top < absurd_top_percent ? study::Severity::stops_the_run : study::Severity::warning,
             .error = {.code = ErrorCode::out_of_range,
                       .found = fmt::format("oxygen of {} never passes {} % of air saturation in its stays{}",
                                            assembly_.oxygen.text(), significant_text(*top, 3), written()),
                       .expected = "near 100 % after a flush with aired water",
                       .remedy = like.empty()
                                     ? "nothing, if the water was so poor"
                                     : fmt::format("it looks like {}: set unit in [[trace.column]]", like),
                       .place =
                           [&] {
                               Place place = assembly_.place;
                               place.column = "oxygen";
                               return place;
                           }()}});
    }

    // The middle of what the logger wrote, before anything is put right.
    void note_usual() {
        const double factor = intake::in_trace_unit(unit_, 1.0);
        if (const auto usual = usual_of(raw_); usual && factor > 0.0) {
            usual_written_ = *usual / factor;
        }
    }

    // Seasons may say the same again.
    void say_once(std::string note) {
        auto& notes = chamber_.notes;
        if (std::find(notes.begin(), notes.end(), note) == notes.end()) {
            notes.push_back(std::move(note));
        }
    }

    [[nodiscard]] Measured volume(double standing_percent) {
        const double litres = assembly_.chamber_and_loop().litres();
        const auto litres_of = [](const std::optional<Volume>& v) { return v ? v->litres() : 0.0; };
        double uncertainty = std::hypot(litres_of(assembly_.chamber_volume_uncertainty),
                                        litres_of(assembly_.loop_volume_uncertainty));
        if (uncertainty == 0.0) {
            uncertainty = standing_percent / 100.0 * litres;
            say_once(fmt::format("no volume uncertainty in the table: {} % of the volume was taken",
                                 standing_percent));
        }
        return {litres, uncertainty, "volume:" + assembly_.id.text()};
    }

    Expected<ChamberSettings> settings_at(Instant stay_begins, const study::Brief& brief,
                                          const Water& water) {
        auto calibration =
            calibration_of(study_, assembly_.sensor, {.kind = kind_, .unit = unit_, .assumed = assumed_},
                           waters_, stay_begins);
        if (!calibration) {
            return fail(std::move(calibration).error());
        }
        const auto& standing = brief.uncertainty;
        return ChamberSettings{
            .physics = {.volume_l = volume(standing.volume_percent),
                        .sensor_lag_s = assembly_.sensor_lag_s.value_or(0.0),
                        .mixing_s = assembly_.mixing_s.value_or(brief.settle.mixing_s)},
            .oxygen = {.kind = kind_,
                       .assumed = assumed_,
                       .calibration = std::move(*calibration),
                       .salinity = water.salinity,
                       .pressure_kpa = water.pressure_kpa,
                       .temperature_error = temperature_error(standing, water),
                       .salinity_error = {.standard = standing.salinity, .source = "salinity:study"},
                       .pressure_error = {.standard = standing.pressure_kpa, .source = "pressure:study"}}};
    }

    // A thermometer is wrong by itself; a constant of the brief is wrong in every chamber at once.
    [[nodiscard]] uptake::StandingError temperature_error(const study::Uncertainty& standing,
                                                          const Water& water) {
        if (channels_.temperature.empty() && water.temperature_c) {
            say_once(fmt::format(
                "no temperature channel: {} ± {} °C taken throughout, as [water] temperature_c says; what it "
                "drifts within a spell is not seen",
                *water.temperature_c, water.temperature_uncertainty_c));
            return {.standard = water.temperature_uncertainty_c, .source = "temperature:study"};
        }
        return {.standard = standing.temperature_c, .source = "temperature:" + assembly_.sensor.text()};
    }

    Expected<void> convert() {
        auto& trace = chamber_.trace;
        const auto& calibration = chamber_.usual.oxygen.calibration; // seasons change its errors alone
        trace.repeats.assign(raw_.size(), 0);
        for (std::size_t i = 1; i < raw_.size(); ++i) {
            trace.repeats[i] = raw_[i] == raw_[i - 1] ? 1 : 0;
        }
        if (calibration.corrects()) {
            calibration.correct(trace.times_ns, raw_);
        }
        const auto salinity = water_column(&Water::salinity, &Water::salinity_series);
        const auto pressure = water_column(&Water::pressure_kpa, &Water::pressure_series);
        auto oxygen = uptake::convert_oxygen(kind_, raw_,
                                             {.temperature_celsius = trace.temperature_celsius,
                                              .salinity = salinity,
                                              .pressure_kpa = pressure},
                                             assumed_);
        if (!oxygen) {
            return fail(std::move(oxygen).error());
        }
        raw_ = {};
        trace.oxygen_mg_per_l = std::move(oxygen->mg_per_l);
        trace.saturation_percent = std::move(oxygen->saturation_percent);
        keep_plausible_oxygen();
        chamber_.without_conditions = oxygen->without_conditions;
        if (chamber_.without_conditions > 0) {
            chamber_.notes.push_back(fmt::format("{} oxygen readings have no temperature, salinity or "
                                                 "pressure near enough and cannot be fully converted",
                                                 chamber_.without_conditions));
        }
        return {};
    }

    // One value where it never changes, else one for each reading.
    [[nodiscard]] std::vector<double> water_column(double Water::* constant,
                                                   std::optional<Series> Water::* series) const {
        const auto& times = chamber_.trace.times_ns;
        if (waters_.is_one()) {
            const auto& changing = water_.*series;
            return changing ? at_times(*changing, times, Duration::minutes(detail::water_reach_min))
                            : std::vector<double>{water_.*constant};
        }
        std::vector<double> out(times.size());
        waters_.for_each_reading(assembly_.id, times, [&](std::size_t i, Instant moment, const Water& water) {
            const auto& changing = water.*series;
            out[i] = changing ? interpolated(changing->times_ns, changing->values, moment,
                                             Duration::minutes(detail::water_reach_min))
                              : water.*constant;
        });
        return out;
    }

    const Study& study_;
    const RawTraces& traces_;
    const Waters& waters_;
    const Water& water_;
    const study::Assembly& assembly_;
    const ChamberChannels& channels_;
    Trace* own_;
    Chamber chamber_;
    uptake::OxygenKind kind_ = uptake::OxygenKind::mg_per_l;
    intake::Unit unit_ = intake::Unit::mg_per_l; ///< as the logger writes it
    std::optional<double> usual_written_;        ///< the middle of its readings in stays, in that unit
    uptake::AssumedWater assumed_;
    std::vector<double> raw_;
    std::vector<double> pump_;
};

// The channels of one row of the table; complaints name the row.
std::optional<ChamberChannels> channels_of(const study::Assembly& assembly, const RawTraces& traces,
                                           study::Severity severity,
                                           std::vector<study::Complaint>& complaints) {
    ChamberChannels out;
    bool found_all = true;
    const auto find = [&](const study::Channel& name, ChannelFor what, const char* column, Pieces& into) {
        if (name.is_empty()) {
            return;
        }
        auto pieces = find_channel(traces, name, what);
        if (pieces) {
            into = std::move(*pieces);
            return;
        }
        Place place = assembly.place;
        place.column = column;
        complaints.push_back({.severity = severity, .error = std::move(pieces).error().at(place)});
        found_all = false;
    };
    find(assembly.oxygen, ChannelFor::oxygen, "oxygen", out.oxygen);
    find(assembly.temperature, ChannelFor::temperature, "temperature", out.temperature);
    find(assembly.pump, ChannelFor::pump, "pump", out.pump);
    if (!found_all || out.oxygen.empty()) {
        return std::nullopt;
    }
    return out;
}

// How many chambers still need each stream.
class StreamUses {
  public:
    explicit StreamUses(std::size_t streams) : left_(streams), chambers_(streams, 0) {}
    void need(const ChamberChannels& channels) {
        std::set<std::size_t> streams;
        for_each_stream(channels, [&](std::size_t s) {
            ++left_[s];
            streams.insert(s);
        });
        for (const std::size_t s : streams) {
            ++chambers_[s];
        }
    }
    /// The stream of the chamber's oxygen, where it is one and no other chamber's.
    [[nodiscard]] Trace* own(const ChamberChannels& channels, RawTraces& traces) const {
        const std::size_t stream = channels.oxygen.front().stream;
        return channels.oxygen.size() == 1 && chambers_[stream] == 1 ? &traces.streams[stream].data : nullptr;
    }
    void release(const ChamberChannels& channels, RawTraces& traces) {
        for_each_stream(channels, [&](std::size_t s) {
            if (--left_[s] == 0) {
                traces.streams[s].data = {};
            }
        });
    }

  private:
    template <typename Use>
    static void for_each_stream(const ChamberChannels& channels, const Use& use) {
        for (const auto* pieces : {&channels.oxygen, &channels.temperature, &channels.pump}) {
            for (const auto& piece : *pieces) {
                use(piece.stream);
            }
        }
    }
    std::vector<std::atomic<int>> left_;
    std::vector<int> chambers_; ///< how many need each stream in all
};

// Readings that need a temperature and will never get one: said once per assembly, not per stay.
void complain_of_no_temperature(const study::Assembly& assembly, const ChamberChannels& channels,
                                const RawTraces& traces, const Study& study,
                                std::vector<study::Complaint>& complaints) {
    const auto& first = channels.oxygen.front();
    const auto kind = traces.streams[first.stream].data.headers[first.column].kind;
    const auto& seasons = study.brief.seasons;
    const bool is_said = study.brief.water.temperature.has_value() ||
                         std::any_of(seasons.begin(), seasons.end(), [&](const study::Season& season) {
                             return study.brief.at(season.from).water.temperature.has_value();
                         });
    if (!channels.temperature.empty() || is_said || kind == ColumnKind::oxygen_mg_per_l) {
        return;
    }
    Place place = assembly.place;
    place.column = "temperature";
    complaints.push_back(
        {.severity = study::Severity::warning,
         .error = {.code = ErrorCode::bad_relation,
                   .found = fmt::format("assembly {} has no temperature, and its sensor logs {}",
                                        assembly.id.text(), name_of(kind)),
                   .expected = "the water's temperature, without which this is no concentration: its stays "
                               "cannot be computed",
                   .remedy = "name a temperature channel, or give the day's in study.toml: [water] "
                             "temperature_c, with temperature_uncertainty_c",
                   .place = std::move(place)}});
}

std::vector<std::string> in_words(const study::Brief& brief, const Waters& waters) {
    std::vector<std::string> out;
    for (const auto& season : brief.seasons) {
        if (season.overrides_section("water")) {
            const auto& water = waters.at(season.from);
            out.push_back(fmt::format("season {} ({} to {}): salinity {:.4g}, {}; pressure {:.5g} kPa, {}",
                                      season.label(), iso_text(season.from), iso_text(season.to),
                                      water.salinity, water.salinity_from, water.pressure_kpa,
                                      water.pressure_from));
        }
    }
    return out;
}

} // namespace

const ChamberSettings& Chamber::at(Instant stay_begins) const {
    const ChamberSettings* out = &usual;
    for (const auto& [from, settings] : seasons) {
        out = from <= stay_begins ? &settings : out;
    }
    return *out;
}

namespace {

// A sensor in two assemblies has one calibration, which both complain of.
void take_new(std::vector<study::Complaint>& said, std::vector<study::Complaint>& all) {
    for (auto& complaint : said) {
        const bool is_said = std::any_of(all.begin(), all.end(), [&](const study::Complaint& other) {
            return other.error.text() == complaint.error.text();
        });
        if (!is_said) {
            all.push_back(std::move(complaint));
        }
    }
    said.clear();
}

} // namespace

Chambers build_chambers(const Study& study, RawTraces& traces, Threads threads) {
    Chambers out;
    const Waters waters(study, traces, out.complaints);
    const Water& water = waters.usual();
    out.salinity = water.salinity;
    out.pressure_kpa = water.pressure_kpa;
    out.salinity_from = water.salinity_from;
    out.pressure_from = water.pressure_from;
    out.seasons = in_words(study.brief, waters);
    detail::take_inflow(study, traces, waters, out);

    std::vector<const study::Assembly*> rows;
    std::vector<ChamberChannels> channels;
    for (const auto& assembly : study.tables.assemblies) {
        const auto severity =
            is_in_use(assembly, study) ? study::Severity::stops_the_run : study::Severity::warning;
        if (auto found = channels_of(assembly, traces, severity, out.complaints)) {
            complain_of_no_temperature(assembly, *found, traces, study, out.complaints);
            rows.push_back(&assembly);
            channels.push_back(std::move(*found));
        }
    }
    StreamUses uses(traces.streams.size());
    for (const auto& one : channels) {
        uses.need(one);
    }
    std::vector<std::optional<Expected<Chamber>>> built(rows.size());
    parallel_for(rows.size(), threads, [&](std::size_t i) {
        built[i] = ChamberBuilder(study, traces, waters, *rows[i], channels[i], uses.own(channels[i], traces))
                       .build();
        uses.release(channels[i], traces);
    });
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (*built[i]) {
            take_new((*built[i])->complaints, out.complaints);
            out.list.push_back(std::move(**built[i]));
        } else {
            Error error = std::move(*built[i]).error();
            if (error.place.file.empty()) {
                error.place = rows[i]->place;
            }
            out.complaints.push_back({.severity = study::Severity::stops_the_run, .error = std::move(error)});
        }
    }
    return out;
}

std::pair<std::size_t, std::uint64_t> line_of(const Chamber& chamber, std::size_t row) {
    const auto after = std::upper_bound(chamber.sources.begin(), chamber.sources.end(), row,
                                        [](std::size_t r, const RowSource& s) { return r < s.first_row; });
    if (after == chamber.sources.begin()) {
        return {0, 0};
    }
    const auto& source = *(after - 1);
    return {source.file, source.first_line + ((row - source.first_row) * source.line_step)};
}

} // namespace backeddy::app
