#include "simulate/tables.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "base/random.hpp"
#include "simulate/condition_tables.hpp"

namespace backeddy::simulate {

namespace {

constexpr double day_length = 86400.0;

std::string when(const Season& season, double t_s) {
    return season.zone.iso_with_offset(season.instant(t_s));
}

std::string number(double value, int decimals) {
    return fixed_text(value, decimals);
}

std::string fish_table(const SimulationPlan& plan, const Season& season) {
    std::string text =
        "fish,species,mass_g,mass_uncertainty_g,mass_source,fork_length_mm,density_kg_per_l,tag,note\n";
    for (std::size_t f = 0; f < season.fish.size(); ++f) {
        const auto& fish = season.fish[f];
        text += csv_row({fish.id, plan.study.species, number(fish.weighed_g, 0),
                         number(plan.fish.mass_error_g, 1), "weighed", number(fish.length_mm, 0), "",
                         fmt::format("SIM-{:03}", f + 1), "simulated"});
    }
    return text;
}

std::string encounter_table(const SimulationPlan& plan, const Season& season, std::uint64_t seed) {
    std::string text =
        "encounter,fish,at,at_uncertainty_s,method,who,where,rig,unhooking,landing,hook_location,"
        "water_temperature_c,note,fight_s,air_s,beat\n";
    const std::array<const char*, 4> locations{"jaw_left", "jaw_right", "lip", "tongue"};
    const std::array<const char*, 3> beats{"north shore", "the narrows", "outer skerry"};
    for (std::size_t f = 0; f < season.fish.size(); ++f) {
        const auto& fish = season.fish[f];
        auto random = stream(seed, StreamOf::table, f);
        text +=
            csv_row({fmt::format("E{:02}", f + 1), fish.id, when(season, fish.landed_s), "5", "angling",
                     "angler 1", plan.study.place, plan.rigs[fish.rig].name,
                     plan.unhookings[fish.unhooking].name, "net", locations[random.below(locations.size())],
                     number(season.temperature.at(fish.landed_s) + (0.1 * random.normal()), 1), "simulated",
                     number(fish.landed_s - fish.hook_up_s + fish.mistyped_fight_s, 0), number(fish.air_s, 0),
                     beats[random.below(beats.size())]});
    }
    return text;
}

std::string stay_table(const SimulationPlan& plan, const Season& season) {
    std::string text = "stay,fish,assembly,role,from,to,ended,last_good,note\n";
    for (const auto& stay : season.stays) {
        text +=
            csv_row({stay.id, stay.fish ? season.fish[*stay.fish].id : "", plan.chambers[stay.chamber].name,
                     stay.role, when(season, stay.span.from_s), when(season, stay.span.to_s), stay.ended,
                     stay.last_good_s ? when(season, *stay.last_good_s) : "", stay.note});
    }
    return text;
}

std::string event_table(const Season& season) {
    std::string text = "at,at_uncertainty_s,event,fish,stay,assembly,value,unit,who,rod,rig,note\n";
    for (const auto& event : season.events) {
        text += csv_row({when(season, event.at_s), number(event.uncertainty_s, 0), event.word, event.fish,
                         event.stay, event.assembly, event.value, event.unit, event.who, event.rod, event.rig,
                         event.note});
    }
    return text;
}

const TracePlan& trace_of(const SimulationPlan& plan, const std::string& chamber) {
    for (const auto& trace : plan.traces) {
        if (std::find(trace.chambers.begin(), trace.chambers.end(), chamber) != trace.chambers.end()) {
            return trace;
        }
    }
    return plan.traces.front(); // a checked plan has one for each chamber
}

std::string channel(const TracePlan& trace, const std::string& header, const std::string& chamber) {
    return trace.shape == Shape::long_form ? fmt::format("{}:{}@{}", trace.name, header, chamber)
                                           : fmt::format("{}:{}", trace.name, header);
}

std::string pump_channel(const TracePlan& trace, const std::string& chamber) {
    switch (trace.pump) {
    case PumpRecord::column:
        return channel(trace, pump_header(trace, chamber), chamber);
    case PumpRecord::log:
        return fmt::format("{}_pumps:pump@{}", trace.name, chamber);
    case PumpRecord::none:
        break;
    }
    return "";
}

// A logger in whose chambers nobody stayed wrote no file: the brief does not name it, nor do the tables.
bool has_files(const SimulationPlan& plan, const std::vector<WrittenTrace>& written,
               const std::string& chamber) {
    for (std::size_t t = 0; t < plan.traces.size(); ++t) {
        const auto& chambers = plan.traces[t].chambers;
        if (std::find(chambers.begin(), chambers.end(), chamber) != chambers.end()) {
            return !written[t].files.empty();
        }
    }
    return false;
}

bool is_used(const std::string& clock, const SimulationPlan& plan, const std::vector<WrittenTrace>& written) {
    for (std::size_t t = 0; t < plan.traces.size(); ++t) {
        if ((plan.traces[t].clock == clock && !written[t].files.empty()) ||
            (plan.traces[t].pump_clock == clock && !written[t].pump_logs.empty())) {
            return true;
        }
    }
    return false;
}

std::string assembly_table(const SimulationPlan& plan, const Season& season,
                           const std::vector<WrittenTrace>& written) {
    std::string text = "assembly,from,to,chamber_volume_l,chamber_volume_uncertainty_l,loop_volume_l,loop_"
                       "volume_uncertainty_l,"
                       "flow_l_per_min,flow_uncertainty_l_per_min,sensor,oxygen,temperature,pump,sensor_lag_"
                       "s,mixing_s,note\n";
    for (std::size_t c = 0; c < plan.chambers.size(); ++c) {
        const auto& chamber = plan.chambers[c];
        if (!has_files(plan, written, chamber.name)) {
            continue;
        }
        const auto& trace = trace_of(plan, chamber.name);
        const auto& sensors = season.chambers[c].sensors;
        for (std::size_t s = 0; s < sensors.size(); ++s) {
            text += csv_row(
                {chamber.name, s == 0 ? "" : when(season, sensors[s].from_s),
                 s + 1 == sensors.size() ? "" : when(season, sensors[s].to_s), exact_text(chamber.volume_l),
                 significant_text(chamber.volume_l * chamber.volume_error_share, 3),
                 exact_text(chamber.loop_l), significant_text(chamber.loop_l * chamber.volume_error_share, 3),
                 exact_text(chamber.flow_l_per_min), significant_text(0.05 * chamber.flow_l_per_min, 2),
                 sensors[s].name, channel(trace, oxygen_header(trace, chamber.name), chamber.name),
                 channel(trace, temperature_header(trace, chamber.name), chamber.name),
                 pump_channel(trace, chamber.name), exact_text(chamber.sensor_lag_s),
                 number(mixing_s(chamber), 0), "simulated"});
        }
    }
    return text;
}

/// Zero and air before the season, and after it or after a sensor was taken out.
std::string calibration_table(const SimulationPlan& plan, const Season& season, std::uint64_t seed,
                              const std::vector<WrittenTrace>& written) {
    std::string text =
        "sensor,at,point,reading,unit,temperature_c,pressure_kpa,salinity,uncertainty,who,note\n";
    for (std::size_t c = 0; c < plan.chambers.size(); ++c) {
        if (!has_files(plan, written, plan.chambers[c].name)) {
            continue;
        }
        for (std::size_t s = 0; s < season.chambers[c].sensors.size(); ++s) {
            const auto& sensor = season.chambers[c].sensors[s];
            auto random = stream(seed, StreamOf::table, 1000 + (c * 16) + s);
            const double before = (6.5 * 3600.0) + (static_cast<double>(c) * 300.0);
            const double out = std::min(sensor.to_s, season.end_s - day_length);
            const double after = (std::floor(out / day_length) * day_length) + (14.0 * 3600.0) +
                                 (static_cast<double>(c) * 300.0);
            for (const double at : {before, after}) {
                const double gain = sensor.gain + (sensor.gain_drift_per_day * at / day_length);
                constexpr double reading_sd_percent = 0.08;
                const double zero = sensor.offset_percent + (reading_sd_percent * random.normal());
                const double air =
                    (100.0 * gain) + sensor.offset_percent + (reading_sd_percent * random.normal());
                const auto row = [&](const char* point, double reading, double u) {
                    text +=
                        csv_row({sensor.name, when(season, at), point, number(reading, 2), "% air",
                                 number(season.temperature.at(at), 1), exact_text(plan.water.pressure_kpa),
                                 "0", number(u, 2), "physiologist", "simulated"});
                };
                row("zero", zero, 0.1);
                row("air", air, 0.2);
            }
        }
    }
    return text;
}

/// Every clock is read against a radio clock each morning and evening.
std::string clock_table(const SimulationPlan& plan, const Season& season, std::uint64_t seed,
                        const std::vector<WrittenTrace>& written) {
    std::string text = "clock,shown,true,uncertainty_s,how,note\n";
    for (std::size_t k = 0; k < season.clocks.size(); ++k) {
        const auto& clock = season.clocks[k];
        if (!is_used(clock.name, plan, written)) {
            continue;
        }
        auto random = stream(seed, StreamOf::table, 5000 + k);
        for (double day = 0.0; day < season.end_s - 1.0; day += day_length) {
            for (const double of_day : {6.25 * 3600.0, 21.5 * 3600.0}) {
                const double at = day + of_day;
                const double shown = at + clock.error_s(at) + (0.4 * random.normal());
                text += csv_row({clock.name, when(season, shown), when(season, at), "1", "radio clock", ""});
            }
        }
    }
    return text;
}

void name_column(std::string& text, const std::string& header) {
    text += fmt::format("\n[[trace.column]]\nheader = {0}\nchannel = {0}\n", quoted(header));
}

void trace_section(std::string& text, const SimulationPlan& plan, const TracePlan& trace) {
    const bool utc = trace.time == TimeStyle::iso_utc || trace.time == TimeStyle::epoch;
    const char* ending = trace.files == FileSplit::by_day ? "csv" : "txt";
    text += fmt::format("[[trace]]\nname = {}\nfiles = [\"raw/{}/*.{}\"]\nclock = {}\nzone = {}\n",
                        quoted(trace.name), trace.name, ending, quoted(trace.clock),
                        quoted(utc ? "UTC" : plan.study.zone));
    // A day up to the twelfth has two readings; that is for a person to say.
    if (trace.time == TimeStyle::day_first) {
        text += "date_order = \"day_month_year\"\n";
    } else if (trace.time == TimeStyle::month_first_12h) {
        text += "date_order = \"month_day_year\"\n";
    }
    if (trace.assumed_salinity) {
        text += fmt::format("assumed_salinity = {}\n", exact_text(*trace.assumed_salinity));
    }
    if (trace.assumed_pressure_kpa) {
        text += fmt::format("assumed_pressure_kpa = {}\n", exact_text(*trace.assumed_pressure_kpa));
    }
    // Channels by the header without its unit; the units themselves are read from the headers.
    const auto columns = [&](const std::string& chamber) {
        name_column(text, oxygen_header(trace, chamber));
        name_column(text, temperature_header(trace, chamber));
        if (trace.pump == PumpRecord::column) {
            name_column(text, pump_header(trace, chamber));
        }
    };
    if (trace.shape == Shape::long_form) {
        columns("");
    } else {
        for (const auto& chamber : trace.chambers) {
            columns(chamber);
        }
    }
    text += "\n";
}

std::string brief(const SimulationPlan& plan, const Condition& condition,
                  const std::vector<WrittenTrace>& traces) {
    std::string text =
        "# A simulated study: its fish, place and people are invented, its truth stands in truth/.\n\n";
    text += fmt::format(
        "[study]\ntitle = {}\nplace = {}\nzone = {}\nspecies = [{}]\npermit = {}\nsimulated = {}\n\n",
        quoted(plan.study.title), quoted(plan.study.place), quoted(plan.study.zone),
        quoted(plan.study.species), quoted(plan.study.permit),
        quoted("Simulated: fish, place and numbers are invented."));
    text += fmt::format("[water]\nsalinity = {}\npressure_kpa = {}\n\n", exact_text(plan.water.salinity),
                        exact_text(plan.water.pressure_kpa));
    text += "[columns]\nrig = \"assigned\"\nunhooking = \"assigned\"\nbeat = \"before\"\nfight_s = "
            "\"during\"\nair_s = \"during\"\n\n";
    for (std::size_t t = 0; t < plan.traces.size(); ++t) {
        if (traces[t].files.empty()) {
            continue;
        }
        trace_section(text, plan, plan.traces[t]);
        if (!traces[t].pump_logs.empty()) {
            text += fmt::format(
                "[[trace]]\nname = {}\nfiles = [\"raw/{}_pumps/*.csv\"]\nclock = {}\nzone = {}\n\n",
                quoted(plan.traces[t].name + "_pumps"), plan.traces[t].name,
                quoted(plan.traces[t].pump_clock), quoted(plan.study.zone));
        }
    }
    text += condition_brief(plan, condition) + plan.deck;
    for (const auto& question : plan.questions) {
        text += question + "\n";
    }
    return text;
}

} // namespace

double mixing_s(const ChamberPlan& plan) {
    if (!(plan.loop_flow_l_per_min > 0.0) || !(plan.loop_l > 0.0)) {
        return 0.0;
    }
    const double exchange_s =
        60.0 * plan.loop_l * plan.volume_l / (plan.loop_l + plan.volume_l) / plan.loop_flow_l_per_min;
    return std::ceil(5.0 * exchange_s);
}

std::string quoted(const std::string& text) {
    std::string out = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') {
            out += '\\';
        }
        out += c;
    }
    return out + "\"";
}

std::string csv_row(const std::vector<std::string>& fields) {
    std::string row;
    for (const auto& field : fields) {
        if (&field != fields.data()) {
            row += ',';
        }
        if (field.find_first_of(",\"\r\n") == std::string::npos) {
            row += field;
            continue;
        }
        row += '"';
        for (const char c : field) {
            row += c == '"' ? "\"\"" : std::string(1, c);
        }
        row += '"';
    }
    return row + "\n";
}

Expected<void> write_tables(const SimulationPlan& plan, const Season& season, const Condition& condition,
                            std::uint64_t seed, const std::vector<WrittenTrace>& traces,
                            const std::filesystem::path& folder) {
    const std::vector<std::pair<const char*, std::string>> files{
        {"fish.csv", fish_table(plan, season)},
        {"encounters.csv", encounter_table(plan, season, seed)},
        {"stays.csv", stay_table(plan, season)},
        {"events.csv", event_table(season)},
        {"assemblies.csv", assembly_table(plan, season, traces)},
        {"calibrations.csv", calibration_table(plan, season, seed, traces)},
        {"clock_checks.csv", clock_table(plan, season, seed, traces)},
        {"decisions.csv", "stay,moment,act,value,reason,author,at\n"},
        {"study.toml", brief(plan, condition, traces)},
    };
    for (const auto& [name, text] : files) {
        if (auto written = write_new_file(folder / name, text); !written) {
            return written;
        }
    }
    return {};
}

} // namespace backeddy::simulate
