#include "app/chambers.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <initializer_list>
#include <iterator>
#include <map>

#include <fmt/format.h>

#include "app/reading_doubts.hpp"
#include "base/number_text.hpp"
#include "intake/unit.hpp"
#include "water/conditions.hpp"

namespace backeddy::app {

namespace {

using Pieces = std::vector<ChannelPiece>;

// A reading of another logger is carried to the oxygen sensor's times across at most this much (our choice):
// temperature of water changes slowly, salinity and pressure more slowly still.
constexpr double temperature_reach_min = 30.0;
constexpr double water_reach_min = 180.0;

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

uptake::OxygenKind oxygen_kind(ColumnKind kind) {
    switch (kind) {
    case ColumnKind::oxygen_percent_air:
        return uptake::OxygenKind::percent_air;
    case ColumnKind::oxygen_kpa:
        return uptake::OxygenKind::kpa;
    default:
        return uptake::OxygenKind::mg_per_l;
    }
}

// ---------------------------------------------------------------- columns from elsewhere

// A slowly changing quantity: all pieces of one channel as one series.
struct Series {
    std::vector<std::int64_t> times_ns;
    std::vector<double> values;
};

Series joined(const RawTraces& traces, const Pieces& pieces) {
    Series out;
    for (const auto& piece : pieces) {
        const auto& data = traces.streams[piece.stream].data;
        for (std::size_t i = 0; i < data.rows(); ++i) {
            const double value = data.columns[piece.column][i];
            if (std::isfinite(value) && (out.times_ns.empty() || data.times_ns[i] > out.times_ns.back())) {
                out.times_ns.push_back(data.times_ns[i]);
                out.values.push_back(value);
            }
        }
    }
    return out;
}

std::vector<double> at_times(const Series& series, std::span<const std::int64_t> times, Duration reach) {
    std::vector<double> out(times.size(), missing);
    for (std::size_t i = 0; i < times.size(); ++i) {
        out[i] = interpolated(series.times_ns, series.values, Instant::unix_nanoseconds(times[i]), reach);
    }
    return out;
}

// ---------------------------------------------------------------- water

/// Salinity and pressure of the study: a constant or a series.
struct Water {
    double salinity = 0.0;
    std::optional<Series> salinity_series;
    double pressure_kpa = kilopascal_per_atm;
    std::optional<Series> pressure_series;
    std::string salinity_from;
    std::string pressure_from;
    std::optional<double> temperature_c; ///< of chambers without a channel of it
    double temperature_uncertainty_c = 0.0;
};

double mean_of(const std::vector<double>& values) {
    double sum = 0.0;
    for (const double v : values) {
        sum += v;
    }
    return values.empty() ? missing : sum / static_cast<double>(values.size());
}

double salinity_of(double conductivity_ms_per_cm, double temperature_c, study::ConductivityIs means) {
    return means == study::ConductivityIs::at_25c
               ? water::salinity_from_conductivity_at_25(conductivity_ms_per_cm).practical()
               : water::salinity_from_conductivity(conductivity_ms_per_cm, temperature_c).practical();
}

// Removes the moments at which nothing could be made of the reading.
void drop_missing(Series& series) {
    std::size_t kept = 0;
    for (std::size_t i = 0; i < series.values.size(); ++i) {
        if (std::isfinite(series.values[i])) {
            series.times_ns[kept] = series.times_ns[i];
            series.values[kept++] = series.values[i];
        }
    }
    series.times_ns.resize(kept);
    series.values.resize(kept);
}

Expected<Series> salinity_series(const study::Water& inputs, const RawTraces& traces) {
    const bool is_conductivity = inputs.salinity_channel.is_empty();
    const auto& channel = is_conductivity ? inputs.conductivity_channel : inputs.salinity_channel;
    auto pieces = find_channel(traces, channel, ChannelFor::salinity);
    if (!pieces) {
        return fail(std::move(pieces).error().within("study.toml [water]"));
    }
    Series series = joined(traces, *pieces);
    if (!is_conductivity) {
        return series;
    }
    Series warm;
    if (inputs.conductivity_is == study::ConductivityIs::raw) {
        // Raw conductivity needs the water's temperature where it was measured: the same logger's own column.
        auto found = find_channel(traces, {.trace = channel.trace}, ChannelFor::temperature);
        if (!found) {
            return fail(std::move(found).error().within(
                "study.toml [water]: raw conductivity needs a temperature column in the same trace"));
        }
        warm = joined(traces, *found);
    }
    for (std::size_t i = 0; i < series.values.size(); ++i) {
        const double t = warm.times_ns.empty() ? 25.0
                                               : interpolated(warm.times_ns, warm.values,
                                                              Instant::unix_nanoseconds(series.times_ns[i]),
                                                              Duration::minutes(temperature_reach_min));
        series.values[i] =
            std::isfinite(t) ? salinity_of(series.values[i], t, inputs.conductivity_is) : missing;
    }
    drop_missing(series);
    return series;
}

Expected<Series> pressure_series(const study::Water& inputs, const RawTraces& traces) {
    auto pieces = find_channel(traces, inputs.pressure_channel, ChannelFor::pressure);
    if (!pieces) {
        return fail(std::move(pieces).error().within("study.toml [water] pressure_channel"));
    }
    Series series = joined(traces, *pieces);
    if (inputs.pressure_is == study::PressureIs::sea_level) {
        for (double& value : series.values) {
            value = water::station_pressure(Pressure::kilopascals(value), inputs.altitude_m.value_or(0.0))
                        .kilopascals();
        }
    }
    return series;
}

std::string salinity_origin(const study::Water& inputs) {
    const std::string referred = inputs.conductivity_is == study::ConductivityIs::raw
                                     ? "from raw conductivity (PSS-78)"
                                     : "from conductivity referred to 25 °C (PSS-78)";
    if (!inputs.salinity_channel.is_empty()) {
        return "trace " + inputs.salinity_channel.text();
    }
    if (!inputs.conductivity_channel.is_empty()) {
        return "trace " + inputs.conductivity_channel.text() + ", " + referred;
    }
    if (inputs.salinity) {
        return "a constant in the brief";
    }
    return inputs.conductivity_ms_per_cm ? "a constant in the brief, " + referred
                                         : "not given: taken as fresh water";
}

// The constant, where no channel gives the salinity.
double constant_salinity(const study::Water& inputs) {
    if (inputs.salinity) {
        return inputs.salinity->practical();
    }
    if (!inputs.conductivity_ms_per_cm) {
        return 0.0;
    }
    const double warm = inputs.conductivity_temperature ? inputs.conductivity_temperature->celsius() : 25.0;
    return salinity_of(*inputs.conductivity_ms_per_cm, warm, inputs.conductivity_is);
}

double constant_pressure_kpa(const study::Water& inputs) {
    if (inputs.pressure) {
        const bool reduced = inputs.pressure_is == study::PressureIs::sea_level;
        return (reduced ? water::station_pressure(*inputs.pressure, inputs.altitude_m.value_or(0.0))
                        : *inputs.pressure)
            .kilopascals();
    }
    return inputs.altitude_m ? water::pressure_at_altitude(*inputs.altitude_m).kilopascals()
                             : kilopascal_per_atm;
}

std::string pressure_origin(const study::Water& inputs) {
    const std::string where = inputs.pressure_is == study::PressureIs::sea_level
                                  ? ", reduced to sea level and brought to the station's altitude"
                                  : ", at the station";
    if (!inputs.pressure_channel.is_empty()) {
        return "trace " + inputs.pressure_channel.text() + where;
    }
    if (inputs.pressure) {
        return "a constant in the brief" + where;
    }
    return inputs.altitude_m
               ? "the altitude alone (US Standard Atmosphere 1976): weather moves it by 2 to 3 %"
               : "not given: taken as 101.325 kPa";
}

struct SeriesBounds {
    const char* column = "";
    const char* unit = "";
    double least = 0.0;
    double most = 0.0;
    std::string (*looks_like)(double) = nullptr;
};

// Readings of the water that cannot be: set aside and told. Where most of them are such, no number stands on
// this.
void keep_plausible(Series& series, const SeriesBounds& bounds, std::vector<study::Complaint>& complaints) {
    const auto usual = usual_of(series.values);
    const auto all = series.values.size();
    const auto aside = set_aside_outside(series.values, bounds.least, bounds.most);
    if (aside.count == 0) {
        return;
    }
    drop_missing(series);
    const std::string like = bounds.looks_like == nullptr ? "" : bounds.looks_like(*usual);
    complaints.push_back(
        {.severity = 2 * aside.count > all ? study::Severity::stops_the_run : study::Severity::warning,
         .error = {.code = ErrorCode::out_of_range,
                   .found = fmt::format("{} of {} readings lie from {} to {}{}", aside.count, all,
                                        significant_text(aside.low, 5), significant_text(aside.high, 5),
                                        bounds.unit),
                   .expected = fmt::format("{} to {}{}; those outside are set aside",
                                           exact_text(bounds.least), exact_text(bounds.most), bounds.unit),
                   .remedy = like.empty()
                                 ? "look at the unit of the column; its bounds are in [readings]"
                                 : fmt::format("it looks like {}: set unit in [[trace.column]]", like),
                   .place = {.file = "study.toml", .column = bounds.column}}});
}

Water water_of(const study::Water& inputs, const study::ReadingBounds& readings, const RawTraces& traces,
               std::vector<study::Complaint>& complaints) {
    Water out{.salinity = constant_salinity(inputs),
              .pressure_kpa = constant_pressure_kpa(inputs),
              .salinity_from = salinity_origin(inputs),
              .pressure_from = pressure_origin(inputs),
              .temperature_uncertainty_c = inputs.temperature_uncertainty_c};
    if (inputs.temperature) {
        out.temperature_c = inputs.temperature->celsius();
    }
    const auto take = [&](Expected<Series> series, double& mean, std::optional<Series>& into,
                          const SeriesBounds& bounds) {
        if (!series) {
            complaints.push_back({.error = std::move(series).error()});
            return;
        }
        keep_plausible(*series, bounds, complaints);
        mean = mean_of(series->values);
        into = std::move(*series);
    };
    if (!inputs.salinity_channel.is_empty() || !inputs.conductivity_channel.is_empty()) {
        take(salinity_series(inputs, traces), out.salinity, out.salinity_series,
             {.column = inputs.salinity_channel.is_empty() ? "conductivity_channel" : "salinity_channel",
              .unit = "",
              .least = -0.5,
              .most = 50.0});
    }
    if (!inputs.pressure_channel.is_empty()) {
        take(pressure_series(inputs, traces), out.pressure_kpa, out.pressure_series,
             {.column = "pressure_channel",
              .unit = " kPa",
              .least = readings.pressure_least_kpa,
              .most = readings.pressure_most_kpa,
              .looks_like = looks_like_pressure});
    }
    return out;
}

/// Moments at which a season that overrides one of these sections begins or ends, ascending.
std::vector<Instant> season_edges(const study::Brief& brief, std::initializer_list<const char*> sections) {
    std::vector<Instant> edges;
    for (const auto& season : brief.seasons) {
        if (std::any_of(sections.begin(), sections.end(),
                        [&](const char* section) { return season.overrides_section(section); })) {
            edges.push_back(season.from);
            edges.push_back(season.to);
        }
    }
    std::sort(edges.begin(), edges.end());
    return edges;
}

/// The water of each season that has a [season.water] of its own, and that of the rest.
class Waters {
  public:
    Waters(const Study& study, const RawTraces& traces, std::vector<study::Complaint>& complaints)
        : study_(study), usual_(water_of(study.brief.water, study.brief.readings, traces, complaints)) {
        for (const auto edge : season_edges(study.brief, {"water"})) {
            seasons_.push_back(
                {.from = edge,
                 .water = water_of(study.brief.at(edge).water, study.brief.readings, traces, complaints)});
        }
    }

    [[nodiscard]] const Water& usual() const { return usual_; }
    [[nodiscard]] bool is_one() const { return seasons_.empty(); }
    [[nodiscard]] const Water& at(Instant moment) const {
        const Water* out = &usual_;
        for (const auto& season : seasons_) {
            out = season.from <= moment ? &season.water : out;
        }
        return *out;
    }
    /// The water of each reading in turn. Settings hold for stays that begin in their season: inside a stay,
    /// its first moment counts.
    template <typename Take>
    void for_each_reading(const study::AssemblyId& assembly, std::span<const std::int64_t> times,
                          const Take& take) const {
        const study::Stay* inside = nullptr;
        for (std::size_t i = 0; i < times.size(); ++i) {
            const auto moment = Instant::unix_nanoseconds(times[i]);
            const auto holds = [&](const study::Stay& stay) {
                return stay.assembly == assembly && stay.from() <= moment && moment <= stay.to();
            };
            if (inside == nullptr || !holds(*inside)) {
                const auto& stays = study_.tables.stays;
                const auto found = std::find_if(stays.begin(), stays.end(), holds);
                inside = found == stays.end() ? nullptr : &*found;
            }
            take(i, moment, at(inside == nullptr ? moment : inside->from()));
        }
    }

  private:
    struct Season {
        Instant from;
        Water water;
    };
    const Study& study_;
    Water usual_;
    std::vector<Season> seasons_;
};

// ---------------------------------------------------------------- inflow

// The inflow's own thermometer, else a temperature column of the oxygen's trace; nothing where neither is
// there.
Expected<std::optional<Series>> inflow_temperature(const study::Water& inputs, const RawTraces& traces) {
    if (!inputs.inflow_temperature_channel.is_empty()) {
        auto pieces = find_channel(traces, inputs.inflow_temperature_channel, ChannelFor::temperature);
        if (!pieces) {
            return fail(std::move(pieces).error().within("study.toml [water] inflow_temperature_channel"));
        }
        return joined(traces, *pieces);
    }
    if (auto beside =
            find_channel(traces, {.trace = inputs.inflow_oxygen_channel.trace}, ChannelFor::temperature)) {
        return joined(traces, *beside);
    }
    return std::nullopt;
}

Expected<InflowOxygen> inflow_oxygen(const Study& study, const RawTraces& traces, const Waters& waters) {
    const auto& inputs = study.brief.water;
    auto pieces = find_channel(traces, inputs.inflow_oxygen_channel, ChannelFor::oxygen);
    if (!pieces) {
        return fail(std::move(pieces).error().within("study.toml [water] inflow_oxygen_channel"));
    }
    auto warmth = inflow_temperature(inputs, traces);
    if (!warmth) {
        return fail(std::move(warmth).error());
    }
    const auto& first = pieces->front();
    const auto kind = oxygen_kind(traces.streams[first.stream].data.headers[first.column].kind);
    const auto said = assumed_by_logger(study, traces, first);
    uptake::AssumedWater assumed;
    if (said.salinity) {
        assumed.salinity = said.salinity->practical();
    }
    if (said.pressure) {
        assumed.pressure_kpa = said.pressure->kilopascals();
    }
    const Series raw = joined(traces, *pieces);
    InflowOxygen out;
    for (std::size_t i = 0; i < raw.times_ns.size(); ++i) {
        const auto at = Instant::unix_nanoseconds(raw.times_ns[i]);
        const auto of = [&](const std::optional<Series>& series, double constant, double reach_min) {
            return series ? interpolated(series->times_ns, series->values, at, Duration::minutes(reach_min))
                          : constant;
        };
        const Water& water = waters.at(at);
        const double value =
            uptake::oxygen_mg_per_l(kind, raw.values[i], of(*warmth, missing, temperature_reach_min),
                                    of(water.salinity_series, water.salinity, water_reach_min),
                                    of(water.pressure_series, water.pressure_kpa, water_reach_min), assumed);
        if (std::isfinite(value)) {
            out.times_ns.push_back(raw.times_ns[i]);
            out.mg_per_l.push_back(value);
        }
    }
    if (out.times_ns.empty()) {
        return fail(
            {.code = ErrorCode::too_few,
             .found = fmt::format("{} inflow readings, none of which becomes mg/L", raw.times_ns.size()),
             .expected = "readings in mg/L, or a temperature beside those in per cent or kPa",
             .remedy = "name inflow_temperature_channel",
             .context = {"study.toml [water] inflow_oxygen_channel"}});
    }
    return out;
}

// Without it the flushes stay gaps in the curve of uptake; no number of the results rests on it.
void take_inflow(const Study& study, const RawTraces& traces, const Waters& waters, Chambers& out) {
    const auto& inputs = study.brief.water;
    if (inputs.inflow_oxygen_channel.is_empty()) {
        return;
    }
    auto inflow = inflow_oxygen(study, traces, waters);
    if (!inflow) {
        Error error = std::move(inflow).error();
        error.place.file = error.place.file.empty() ? study.brief.file : error.place.file;
        out.complaints.push_back({.severity = study::Severity::warning, .error = std::move(error)});
        return;
    }
    out.inflow = std::move(*inflow);
    out.inflow_from = "trace " + inputs.inflow_oxygen_channel.text() + ", its sensor believed as it is";
}

// ---------------------------------------------------------------- calibration

ColumnKind column_kind(uptake::OxygenKind kind) {
    switch (kind) {
    case uptake::OxygenKind::percent_air:
        return ColumnKind::oxygen_percent_air;
    case uptake::OxygenKind::kpa:
        return ColumnKind::oxygen_kpa;
    case uptake::OxygenKind::mg_per_l:
        break;
    }
    return ColumnKind::oxygen_mg_per_l;
}

Error at_column(const study::Calibration& row, std::string column, Error error) {
    error.place = row.place;
    error.place.column = std::move(column);
    return error;
}

/// What one row says, in the sensor's own unit.
struct ReadingInUnit {
    double reading = 0.0;
    double uncertainty = 0.0;
};

/// What a sensor writes into its files.
struct SensorWrites {
    uptake::OxygenKind kind = uptake::OxygenKind::mg_per_l;
    intake::Unit unit = intake::Unit::mg_per_l;
    uptake::AssumedWater assumed;
};

// A meter may show per cent of air saturation while it logs another unit: `full` is what per cent are of. A
// row without a unit is in that of the sensor's own column.
Expected<ReadingInUnit> in_sensor_unit(const study::Calibration& row, const SensorWrites& sensor, double full,
                                       double standing_percent) {
    const double stated = row.uncertainty.value_or(std::abs(row.reading) * standing_percent / 100.0);
    const ColumnKind needed = column_kind(sensor.kind);
    const auto unit = row.unit.empty() ? std::optional(sensor.unit) : intake::unit_from(row.unit);
    if (unit == intake::Unit::percent_air && !row.unit.empty()) {
        return ReadingInUnit{.reading = row.reading * full / 100.0, .uncertainty = stated * full / 100.0};
    }
    if (!unit || !intake::fits(*unit, needed)) {
        return fail(
            at_column(row, "unit",
                      {.code = ErrorCode::bad_unit,
                       .found = fmt::format("a calibration in \"{}\"", row.unit),
                       .expected = fmt::format("% air, or the kind of unit that sensor {} logs in ({})",
                                               row.sensor.text(), name_of(needed)),
                       .remedy = "write the reading as the meter shows it"}));
    }
    const double reading = intake::in_trace_unit(*unit, row.reading);
    return ReadingInUnit{.reading = reading,
                         .uncertainty =
                             std::abs(intake::in_trace_unit(*unit, row.reading + stated) - reading)};
}

Expected<uptake::CalibrationPoint> calibration_point(const study::Calibration& row,
                                                     const SensorWrites& sensor, const Water& water,
                                                     double standing_percent) {
    const auto kind = sensor.kind;
    const bool is_zero = row.point == study::CalibrationPoint::zero;
    if (!is_zero && !row.temperature && kind != uptake::OxygenKind::percent_air) {
        return fail(
            at_column(row, "temperature_c",
                      {.code = ErrorCode::missing_column,
                       .found = "an air point without the water's temperature",
                       .expected = "the temperature, since the sensor logs a concentration or a pressure",
                       .remedy = "fill in temperature_c"}));
    }
    const double warm = row.temperature ? row.temperature->celsius() : 15.0;
    const double salt = row.salinity ? row.salinity->practical() : water.salinity;
    const double kpa = row.pressure ? row.pressure->kilopascals() : water.pressure_kpa;
    const double full = uptake::air_point_should_read(kind, warm, salt, kpa, sensor.assumed);
    auto read = in_sensor_unit(row, sensor, full, standing_percent);
    if (!read) {
        return fail(std::move(read).error());
    }
    return uptake::CalibrationPoint{
        .kind = is_zero ? uptake::CalibrationKind::zero : uptake::CalibrationKind::air,
        .at = row.at,
        .reading = read->reading,
        .should_read = is_zero ? 0.0 : full,
        .uncertainty = read->uncertainty,
        .place = row.place,
        .written = fmt::format("{} {}", exact_text(row.reading),
                               row.unit.empty() ? std::string(intake::name_of(sensor.unit)) : row.unit)};
}

Expected<uptake::Calibration> calibration_of(const Study& study, const study::SensorId& sensor,
                                             const SensorWrites& writes, const Waters& waters,
                                             Instant stay_begins) {
    std::vector<uptake::CalibrationPoint> points;
    for (const auto& row : study.tables.calibrations) {
        if (row.sensor != sensor) {
            continue;
        }
        auto point = calibration_point(row, writes, waters.at(row.at),
                                       study.brief.uncertainty_at(row.at).calibration_percent);
        if (!point) {
            return fail(std::move(point).error());
        }
        points.push_back(*point);
    }
    const bool has_air = std::any_of(points.begin(), points.end(), [](const uptake::CalibrationPoint& point) {
        return point.kind == uptake::CalibrationKind::air;
    });
    if (!has_air) {
        // How steep it is nobody tried: believed as it is, with the uncertainty that the brief gives to such
        // a sensor. A zero point alone moves all readings alike.
        double zero = 0.0;
        if (!points.empty()) {
            auto zeros = uptake::Calibration::make(sensor.text(), points);
            if (!zeros) {
                return zeros;
            }
            zero = zeros->zero_at(stay_begins);
        }
        const double full = uptake::air_point_should_read(writes.kind, 15.0, waters.usual().salinity,
                                                          waters.usual().pressure_kpa, writes.assumed);
        points.push_back(
            {.at = stay_begins,
             .reading = full + zero,
             .should_read = full,
             .uncertainty = full * study.brief.uncertainty_at(stay_begins).uncalibrated_percent / 100.0});
    }
    return uptake::Calibration::make(sensor.text(), std::move(points));
}

// ---------------------------------------------------------------- one chamber

class ChamberBuilder {
  public:
    ChamberBuilder(const Study& study, const RawTraces& traces, const Waters& waters,
                   const study::Assembly& assembly, const ChamberChannels& channels)
        : study_(study), traces_(traces), waters_(waters), water_(waters.usual()), assembly_(assembly),
          channels_(channels) {}

    Expected<Chamber> build() {
        chamber_.assembly = &assembly_;
        chamber_.trace.assembly = assembly_.id.text();
        chamber_.trace.sensor = assembly_.sensor.text();
        const auto& first = channels_.oxygen.front();
        kind_ = oxygen_kind(traces_.streams[first.stream].data.headers[first.column].kind);
        unit_ = unit_of(traces_, first).value_or(intake::Unit::mg_per_l);
        assumed_ = assumed_water();
        gather();
        const Instant first_reading =
            Instant::unix_nanoseconds(chamber_.trace.times_ns.empty() ? 0 : chamber_.trace.times_ns.front());
        auto usual = settings_at(first_reading, study_.brief, water_);
        if (!usual) {
            return fail(std::move(usual).error());
        }
        chamber_.usual = std::move(*usual);
        for (const auto edge : season_edges(study_.brief, {"water", "uncertainty", "settle"})) {
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
            const auto at = [](const auto& column, std::size_t i) {
                return column.begin() + static_cast<std::ptrdiff_t>(i);
            };
            trace.times_ns.insert(trace.times_ns.end(), at(data.times_ns, range.first),
                                  at(data.times_ns, range.end));
            const auto& oxygen = data.columns[piece.column];
            raw_.insert(raw_.end(), at(oxygen, range.first), at(oxygen, range.end));
            take_beside(channels_.temperature, piece, range, trace.temperature_celsius);
            take_beside(channels_.pump, piece, range, pump_);
            chamber_.clock_uncertainty_s = std::max(chamber_.clock_uncertainty_s, stream.clock_uncertainty_s);
            chamber_.clock_checked = stream.clock_checked;
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
                                             Duration::minutes(temperature_reach_min));
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
        if (has_own_rows) {
            const auto [file, line] = line_of(chamber_, aside.first_row);
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
                               ? "look at the sensor there; a number that stands for no reading belongs into "
                                 "missing_words, the bounds are in [readings]"
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
                 looks_like_temperature(*usual), severity_of(seen), has_own_rows);
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
                 like, severity_of(seen), true);
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
            return changing ? at_times(*changing, times, Duration::minutes(water_reach_min))
                            : std::vector<double>{water_.*constant};
        }
        std::vector<double> out(times.size());
        waters_.for_each_reading(assembly_.id, times, [&](std::size_t i, Instant moment, const Water& water) {
            const auto& changing = water.*series;
            out[i] = changing ? interpolated(changing->times_ns, changing->values, moment,
                                             Duration::minutes(water_reach_min))
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
    explicit StreamUses(std::size_t streams) : left_(streams) {}
    void need(const ChamberChannels& channels) {
        for_each_stream(channels, [&](std::size_t s) { ++left_[s]; });
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

Chambers build_chambers(const Study& study, RawTraces& traces, Threads threads) {
    Chambers out;
    const Waters waters(study, traces, out.complaints);
    const Water& water = waters.usual();
    out.salinity = water.salinity;
    out.pressure_kpa = water.pressure_kpa;
    out.salinity_from = water.salinity_from;
    out.pressure_from = water.pressure_from;
    out.seasons = in_words(study.brief, waters);
    take_inflow(study, traces, waters, out);

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
        built[i] = ChamberBuilder(study, traces, waters, *rows[i], channels[i]).build();
        uses.release(channels[i], traces);
    });
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (*built[i]) {
            auto& said = (*built[i])->complaints;
            std::move(said.begin(), said.end(), std::back_inserter(out.complaints));
            said.clear();
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
