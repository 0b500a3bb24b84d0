#include "app/detail/water_inputs.hpp"

#include <cmath>

#include <fmt/format.h>

#include "app/reading_doubts.hpp"
#include "base/number_text.hpp"
#include "water/conditions.hpp"

namespace backeddy::app::detail {

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

namespace {

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

} // namespace

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

namespace {

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

} // namespace

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

} // namespace backeddy::app::detail
