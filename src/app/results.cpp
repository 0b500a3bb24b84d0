#include "app/results.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/results_condition_parts.hpp"
#include "app/detail/results_parts.hpp"
#include "base/number_text.hpp"
#include "base/parallel.hpp"
#include "intake/refusals.hpp"
#include "report/tables.hpp"
#include "study/settings.hpp"
#include "study/words.hpp"

namespace backeddy::app {

namespace detail {

std::vector<std::string> group_columns(const Study& study) {
    if (!study.brief.report.group_by.empty()) {
        return {study.brief.report.group_by};
    }
    return {"rig", "unhooking"};
}

const study::Encounter* encounter_before(const Study& study, const study::FishId& fish,
                                         std::optional<Instant> moment) {
    const study::Encounter* first = nullptr;
    const study::Encounter* last = nullptr;
    for (const auto& encounter : study.tables.encounters) {
        if (encounter.fish != fish) {
            continue;
        }
        if (first == nullptr || (encounter.at && (!first->at || *encounter.at < *first->at))) {
            first = &encounter;
        }
        const bool is_before = moment && encounter.at && *encounter.at <= *moment;
        if (is_before && (last == nullptr || *encounter.at > *last->at)) {
            last = &encounter;
        }
    }
    return last == nullptr ? first : last;
}

const study::Encounter* capture_of(const Study& study, const study::FishId& fish) {
    std::optional<Instant> first;
    for (const auto& stay : study.tables.stays) {
        for (const auto& part : stay.parts) {
            if (stay.fish == fish && part.role == uptake::StayRole::after_capture &&
                (!first || part.from < *first)) {
                first = part.from;
            }
        }
    }
    return encounter_before(study, fish, first);
}

namespace {

std::string free_cell(const std::vector<study::FreeCell>& cells, const std::string& column) {
    const auto found = std::find_if(cells.begin(), cells.end(),
                                    [&](const study::FreeCell& c) { return c.column == column; });
    return found == cells.end() ? std::string() : found->value;
}

} // namespace

std::string column_of(const Study& study, const study::Fish& fish, const std::string& column) {
    const auto* capture = capture_of(study, fish.id);
    if (capture != nullptr) {
        const std::map<std::string, const std::string*> own{
            {"rig", &capture->rig},         {"unhooking", &capture->unhooking},
            {"landing", &capture->landing}, {"hook_location", &capture->hook_location},
            {"method", &capture->method},   {"where", &capture->where},
            {"who", &capture->who}};
        if (const auto found = own.find(column); found != own.end()) {
            return *found->second;
        }
        if (auto value = free_cell(capture->free, column); !value.empty()) {
            return value;
        }
    }
    return column == "species" ? fish.species : free_cell(fish.free, column);
}

std::string group_of(const Study& study, const study::Fish& fish) {
    std::vector<std::string> parts;
    for (const auto& column : group_columns(study)) {
        if (auto value = column_of(study, fish, column); !value.empty()) {
            parts.push_back(std::move(value));
        }
    }
    return fmt::format("{}", fmt::join(parts, ", "));
}

} // namespace detail

namespace {

// ---------------------------------------------------------------- inputs, settings, water

std::vector<report::Setting> settings_of(const Study& study) {
    std::vector<report::Setting> out;
    for (auto& used : study::settings_used(study.brief)) {
        out.push_back({.section = used.section,
                       .key = used.key,
                       .value = used.value,
                       .unit = used.unit,
                       .default_value = used.default_value,
                       .why = used.why,
                       .is_default = used.is_default});
    }
    return out;
}

report::Water water_of(const Answers& answers) {
    const auto& standing = answers.study.brief.uncertainty;
    report::Water out{
        .salinity = report::as_written(
            report::number(Measured(answers.chambers.salinity, standing.salinity, "salinity:study"), "")),
        .pressure_kpa = report::as_written(report::number(
            Measured(answers.chambers.pressure_kpa, standing.pressure_kpa, "pressure:study"), "kPa")),
        .salinity_from = answers.chambers.salinity_from,
        .pressure_from = answers.chambers.pressure_from};
    if (!answers.chambers.inflow_from.empty()) {
        out.assumptions.push_back("oxygen of the inflow: " + answers.chambers.inflow_from);
    }
    for (const auto& source : answers.study.brief.traces) {
        if (source.assumed_salinity) {
            out.assumptions.push_back(fmt::format("the logger of {} assumed a salinity of {}: undone",
                                                  source.name, source.assumed_salinity->practical()));
        }
        if (source.assumed_pressure) {
            out.assumptions.push_back(fmt::format("the logger of {} assumed a pressure of {} kPa: undone",
                                                  source.name, source.assumed_pressure->kilopascals()));
        }
    }
    out.assumptions.insert(out.assumptions.end(), answers.chambers.seasons.begin(),
                           answers.chambers.seasons.end());
    return out;
}

// ---------------------------------------------------------------- sensors, clocks, assemblies

report::Calibration calibration_of(const study::Calibration& row) {
    const auto optional = [](bool there, double value, const char* unit) {
        return there ? report::as_written(report::number(value, unit))
                     : report::no_number("not written down", unit);
    };
    return {
        .at = row.at,
        .point = study::word_of(row.point),
        .reading = row.uncertainty
                       ? report::number(Measured(row.reading, *row.uncertainty, "reading"), row.unit)
                       : report::as_written(report::number(row.reading, row.unit)),
        .temperature_celsius =
            optional(row.temperature.has_value(), row.temperature ? row.temperature->celsius() : 0.0, "°C"),
        .pressure_kpa =
            optional(row.pressure.has_value(), row.pressure ? row.pressure->kilopascals() : 0.0, "kPa"),
        .salinity = optional(row.salinity.has_value(), row.salinity ? row.salinity->practical() : 0.0, ""),
        .who = row.who,
        .note = row.note};
}

// What other seasons' settings give, in words behind the study's own.
std::string noise_of_seasons(const StayAnswers& stays, const std::string& sensor) {
    std::string out;
    for (const auto& [key, noise] : stays.noise) {
        if (key.sensor == sensor && !key.season.empty()) {
            out += fmt::format("; season {}: white {} mg/L, coloured {} mg/L, from {}", key.season,
                               significant_text(noise.model.white_sd, 3),
                               significant_text(noise.model.coloured_sd, 3), noise.from);
        }
    }
    return out;
}

report::NoiseModel noise_of(const StayAnswers& stays, const std::string& sensor) {
    const NoiseKey usual{.sensor = sensor, .season = {}};
    const auto found = stays.noise.find(usual);
    if (found == stays.noise.end()) {
        const auto why = stays.no_noise.find(usual);
        const std::string reason = why == stays.no_noise.end() ? "no stretch that serves" : why->second;
        return {.white_sd_mg_per_l = report::no_number(reason, "mg/L"),
                .autoregressive_sd_mg_per_l = report::no_number(reason, "mg/L"),
                .correlation_time_s = report::no_number(reason, "s"),
                .from = "none: ordinary errors were used, which are too small for a slow sensor" +
                        noise_of_seasons(stays, sensor)};
    }
    const auto& model = found->second.model;
    return {.white_sd_mg_per_l = report::number(model.white_sd, "mg/L"),
            .autoregressive_sd_mg_per_l = report::number(model.coloured_sd, "mg/L"),
            .correlation_time_s = model.is_coloured() ? report::number(model.correlation_time, "s")
                                                      : report::no_number("the noise is white", "s"),
            .from = found->second.from + noise_of_seasons(stays, sensor)};
}

std::vector<report::Sensor> sensors_of(const Answers& answers) {
    std::map<std::string, report::Sensor> by_name;
    for (const auto& chamber : answers.chambers.list) {
        const std::string& name = chamber.trace.sensor;
        auto [place, fresh] = by_name.try_emplace(name);
        auto& sensor = place->second;
        const std::string assembly = chamber.assembly->id.text();
        if (std::find(sensor.assemblies.begin(), sensor.assemblies.end(), assembly) ==
            sensor.assemblies.end()) {
            sensor.assemblies.push_back(assembly);
        }
        if (!fresh) {
            continue;
        }
        sensor.name = name;
        sensor.lag_s = report::as_written(
            report::number(chamber.usual.physics.sensor_lag_s, "s", "to 63.2 % of a step"));
        sensor.sampling_interval_s = report::number(median_interval_s(chamber.trace.times_ns), "s", "median");
        sensor.noise = noise_of(answers.stays, name);
        for (const auto& row : answers.study.tables.calibrations) {
            if (row.sensor.text() == name) {
                sensor.calibrations.push_back(calibration_of(row));
            }
        }
        const auto drift = chamber.usual.oxygen.calibration.gain_drift_per_day();
        sensor.drift = drift
                           ? report::number(100.0 * *drift, "%/day", "change of gain between the air points")
                           : report::no_number("fewer than two air points", "%/day");
    }
    std::vector<report::Sensor> out;
    for (auto& [name, sensor] : by_name) {
        out.push_back(std::move(sensor));
    }
    return out;
}

std::vector<report::Clock> clocks_of(const Answers& answers) {
    std::map<std::string, report::Clock> by_name;
    for (const auto& source : answers.study.brief.traces) {
        auto& clock = by_name[source.clock_id().text()];
        clock.name = source.clock_id().text();
        for (const auto& stream : answers.traces.streams) {
            if (stream.trace == source.name) {
                clock.remaining_s = report::number(stream.clock_uncertainty_s, "s", "standard uncertainty");
                clock.note = stream.clock_checked ? "" : "never checked";
            }
        }
    }
    for (auto& [name, clock] : by_name) {
        const study::ClockCheck* first = nullptr;
        const study::ClockCheck* last = nullptr;
        for (const auto& row : answers.study.tables.clock_checks) {
            if (row.clock.text() != name) {
                continue;
            }
            first = first == nullptr ? &row : first;
            last = &row;
            clock.checks.push_back({.shown = iso_text(row.shown),
                                    .true_time = row.true_time,
                                    .uncertainty_s = row.uncertainty ? report::as_written(report::number(
                                                                           row.uncertainty->seconds(), "s"))
                                                                     : report::no_number("not stated", "s"),
                                    .how = row.how});
        }
        clock.offset_s = first == nullptr ? report::no_number("never checked", "s")
                                          : report::number((first->shown - first->true_time).seconds(), "s",
                                                           "shown less true");
        const double days = first == nullptr ? 0.0 : (last->shown - first->shown).hours() / 24.0;
        clock.drift_s_per_day =
            days > 0.0
                ? report::number(
                      ((last->shown - last->true_time) - (first->shown - first->true_time)).seconds() / days,
                      "s/day", "first to last check")
                : report::no_number("fewer than two checks", "s/day");
    }
    std::vector<report::Clock> out;
    for (auto& [name, clock] : by_name) {
        out.push_back(std::move(clock));
    }
    return out;
}

std::vector<report::Assembly> assemblies_of(const Answers& answers) {
    std::vector<report::Assembly> out;
    for (const auto& row : answers.study.tables.assemblies) {
        const auto litres = [](Volume volume, const std::optional<Volume>& uncertainty) {
            return uncertainty
                       ? report::number(Measured(volume.litres(), uncertainty->litres(), "volume"), "L")
                       : report::as_written(report::number(volume.litres(), "L"));
        };
        std::vector<std::string> channels;
        for (const auto& [what, channel] :
             {std::pair{"oxygen", &row.oxygen}, std::pair{"temperature", &row.temperature},
              std::pair{"pump", &row.pump}}) {
            if (!channel->is_empty()) {
                channels.push_back(fmt::format("{} {}", what, channel->text()));
            }
        }
        out.push_back(
            {.name = row.id.text(),
             .from = row.from,
             .to = row.to,
             .chamber_volume_l = litres(row.chamber_volume, row.chamber_volume_uncertainty),
             .loop_volume_l = litres(row.loop_volume, row.loop_volume_uncertainty),
             .flow_l_per_min = row.flow ? report::as_written(report::number(row.flow->l_per_min(), "L/min"))
                                        : report::no_number("not measured", "L/min"),
             .sensor = row.sensor.text(),
             .channels = fmt::format("{}", fmt::join(channels, ", ")),
             .mixing_s = row.mixing_s ? report::as_written(report::number(*row.mixing_s, "s"))
                                      : report::no_number("not measured: the brief's", "s"),
             .note = row.note});
    }
    return out;
}

// ---------------------------------------------------------------- columns and groups

void add_groups(const Answers& answers, report::Results& out) {
    for (const auto& name : detail::group_columns(answers.study)) {
        report::Column column{.name = name};
        if (const auto stage = answers.study.brief.column_stages.find(name);
            stage != answers.study.brief.column_stages.end()) {
            column.stage = stage->second;
        }
        for (const auto& fish : answers.study.tables.fish) {
            auto value = detail::column_of(answers.study, fish, name);
            if (!value.empty() &&
                std::find(column.levels.begin(), column.levels.end(), value) == column.levels.end()) {
                column.levels.push_back(std::move(value));
            }
        }
        out.columns.push_back(std::move(column));
    }
    std::set<std::string> keys;
    for (const auto& fish : out.fish) {
        if (keys.insert(fish.group).second) {
            out.groups.push_back(
                {.key = fish.group, .label = fish.group.empty() ? "no treatment said" : fish.group});
        }
    }
}

/// Of each file and reason; the rest is told by its lines.
constexpr std::size_t refused_rows_in_results = 50;

} // namespace

report::Complaint complaint_of(const study::Complaint& complaint) {
    const auto& error = complaint.error;
    return {.severity = std::string(study::word(complaint.severity)),
            .file = error.place.file,
            .line = error.place.line,
            .column = error.place.column,
            .found = error.found,
            .expected = error.expected,
            .remedy = error.remedy,
            .text = error.text()};
}

std::vector<std::string> understood_of(const RawFile& file, std::size_t refused_per_reason) {
    std::vector<std::string> out;
    if (file.dialect) {
        out = intake::in_words(*file.dialect);
    }
    if (!file.clock.empty()) {
        out.push_back(file.clock);
    }
    if (!file.report) {
        out.emplace_back("could not be read: see the complaints");
        return out;
    }
    for (auto& line : intake::in_words(*file.report, refused_per_reason)) {
        out.push_back(std::move(line));
    }
    return out;
}

std::string refused_rows_table(const RawTraces& traces) {
    std::string out;
    const auto row = [&](const std::string& file, std::uint64_t first, std::uint64_t last,
                         const Error& reason, const std::string& raw) {
        Error bare = reason; // file and line have columns of their own
        bare.place.file.clear();
        bare.place.line.reset();
        const std::string column =
            reason.place.column.empty() ? "" : fmt::format("column \"{}\": ", reason.place.column);
        out += fmt::format("{},{},{},{},{},{}\n", report::text_cell(file), first, last, last - first + 1,
                           report::text_cell(column + bare.text()), report::text_cell(raw));
    };
    for (const auto& file : traces.files) {
        if (!file.report) {
            continue;
        }
        for (const auto& one : file.report->refused) {
            row(file.path, one.line, one.line, one.reason, one.raw);
        }
        for (const auto& range : file.report->refused_beyond) {
            row(file.path, range.first_line, range.last_line, file.report->beyond_reasons[range.reason],
                "as these lines of the file stand");
        }
    }
    return out.empty() ? out : "file,first_line,last_line,rows,reason,raw\n" + out;
}

report::Input input_of(const RawFile& file) {
    report::Input out{.path = file.path, .kind = "trace", .understood = understood_of(file, 0)};
    if (!file.report) {
        return out;
    }
    out.sha256 = file.report->sha256;
    out.bytes = file.report->bytes;
    out.rows_kept = file.report->kept;
    out.rows_refused = file.report->rows - file.report->kept;
    // The first of the rows stand in `refused`, every one in refused_rows.csv.
    for (const auto& group : intake::refusals_of(*file.report, refused_rows_in_results)) {
        for (const std::size_t i : group.listed) {
            const auto& row = file.report->refused[i];
            out.refused.push_back({.line = row.line, .reason = row.reason.text(), .raw = row.raw});
        }
    }
    return out;
}

namespace {

using Made = std::shared_ptr<const void>;
using Texts = std::vector<std::shared_ptr<const std::string>>;

/// Fish or blanks of a document.
template <typename T>
struct Parts {
    std::vector<T>* values;
    std::vector<Made>* made;
    Texts* texts;
};
template <typename T>
struct EarlierParts {
    const std::vector<T>& values;
    const std::vector<Made>& made;
    const Texts& texts;
};

// One part for each of `made`: taken from the earlier ones where it is among them.
template <typename T, typename Make>
void fill(const Parts<T>& parts, std::vector<Made> made, const EarlierParts<T>* earlier, Threads threads,
          const Make& make) {
    std::map<Made, std::size_t> places;
    for (std::size_t k = 0; earlier != nullptr && k < earlier->made.size(); ++k) {
        places.emplace(earlier->made[k], k);
    }
    parts.values->resize(made.size());
    parts.texts->resize(made.size());
    parallel_for(made.size(), threads, [&](std::size_t i) {
        if (const auto found = places.find(made[i]); found != places.end()) {
            (*parts.values)[i] = earlier->values[found->second];
            (*parts.texts)[i] = earlier->texts.empty() ? nullptr : earlier->texts[found->second];
        } else {
            (*parts.values)[i] = make(i);
        }
    });
    *parts.made = std::move(made);
}

void fill_fish(const Answers& answers, const Document* earlier, Document& out) {
    std::vector<Made> made;
    for (const auto& fish : answers.fish) {
        made.push_back(fish.made);
    }
    std::optional<EarlierParts<report::Fish>> known;
    if (earlier != nullptr) {
        known.emplace(earlier->results.fish, earlier->fish, earlier->texts.fish);
    }
    fill<report::Fish>({&out.results.fish, &out.fish, &out.texts.fish}, std::move(made),
                       known ? &*known : nullptr, answers.threads, [&](std::size_t i) {
                           auto fish = detail::fish_of(answers, answers.fish[i]);
                           fish.condition =
                               detail::condition_of(answers, answers.fish[i], answers.condition.fish[i]);
                           return fish;
                       });
}

void fill_blanks(const Answers& answers, const Document* earlier, Document& out) {
    std::vector<Made> made;
    std::vector<const StayAnswer*> blanks;
    for (const auto& stay : answers.stays.list) {
        if (stay.fish == nullptr) {
            made.push_back(stay.uptake.made());
            blanks.push_back(&stay);
        }
    }
    std::optional<EarlierParts<report::Stay>> known;
    if (earlier != nullptr) {
        known.emplace(earlier->results.blanks, earlier->blanks, earlier->texts.blanks);
    }
    fill<report::Stay>({&out.results.blanks, &out.blanks, &out.texts.blanks}, std::move(made),
                       known ? &*known : nullptr, answers.threads,
                       [&](std::size_t i) { return detail::stay_of(answers, *blanks[i]); });
}

} // namespace

report::Results results_of(const Answers& answers) {
    return document_of(answers, nullptr).results;
}

Document document_of(const Answers& answers, const Document* earlier) {
    const auto& brief = answers.study.brief;
    Document document;
    auto& out = document.results;
    out.study = {.title = brief.study.title,
                 .place = brief.study.place,
                 .permit = brief.study.permit,
                 .zone = brief.study.zone,
                 .species = brief.study.species,
                 .is_simulated = !brief.study.simulated.empty(),
                 .simulated_label = brief.study.simulated,
                 .program_version = answers.program_version};
    out.inputs = answers.tables;
    for (const auto& file : answers.traces.files) {
        out.inputs.push_back(input_of(file));
    }
    for (const auto& plate : answers.plates.list) {
        if (plate.input) {
            out.inputs.push_back(*plate.input);
        }
    }
    out.settings = settings_of(answers.study);
    out.water = water_of(answers);
    out.sensors = sensors_of(answers);
    out.clocks = clocks_of(answers);
    out.assemblies = assemblies_of(answers);
    fill_fish(answers, earlier, document);
    fill_blanks(answers, earlier, document);
    add_groups(answers, out);
    out.condition = detail::study_condition_of(answers, out.fish);
    out.accounting = detail::accounting_of(answers);
    out.fishing = detail::fishing_of(answers.study);
    out.headlines = detail::headlines_of(answers);
    out.findings = answers.findings;
    out.exclusions = detail::exclusions_of(answers);
    for (const auto& complaint : answers.complaints) {
        out.complaints.push_back(complaint_of(complaint));
    }
    for (const auto& [name, text] : brief.report.answers) {
        out.answers.push_back({.name = name, .text = text});
    }
    return document;
}

} // namespace backeddy::app
