#include "simulate/truth.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "simulate/tables.hpp"

namespace backeddy::simulate {

namespace {

std::string when(const Season& season, double t_s) {
    return iso_text(
        Instant::unix_nanoseconds(season.zero.unix_nanoseconds() + (std::llround(t_s * 1000.0) * 1'000'000)));
}

std::string number(double value) {
    return significant_text(value, 7);
}

std::string number(std::optional<double> value) {
    return value ? number(*value) : std::string();
}

/// The fish as if it had never stirred of its own accord.
chamber::Respiration without_bouts(const chamber::Respiration& respiration,
                                   const chamber::Swing& temperature) {
    auto fish = respiration.fish();
    std::erase_if(fish.excesses,
                  [](const chamber::Excess& e) { return e.kind == chamber::ExcessKind::bout; });
    return {std::move(fish), temperature};
}

double highest(const chamber::Respiration& respiration, Span span) {
    double most = 0.0;
    for (double t = span.from_s; t <= span.to_s; t += 1.0) {
        most = std::max(most, respiration.at(t));
    }
    return most;
}

double mean_rest(const SimulationPlan& plan, const Season& season, const chamber::Respiration& respiration,
                 Span span) {
    (void)plan;
    auto quiet = respiration.fish();
    quiet.excesses.clear();
    quiet.dies_at_s.reset();
    const chamber::Respiration rest(std::move(quiet), season.temperature);
    return rest.taken_mg(span.from_s, span.to_s) * 3600.0 / (span.to_s - span.from_s);
}

/// The 0.2 quantile (definition 7 of Hyndman and Fan 1996) of the fish's true mean uptake over the sealed
/// spells that begin 10 h or more after it came ashore: what an estimator of that name would give without any
/// error. Nothing when it was not there so long.
std::optional<double> quiet_quantile(const SimulationPlan& plan, const Season& season, const Stay& night,
                                     double until_s) {
    constexpr double after_s = 10.0 * 3600.0;
    const auto& respiration = season.fish[*night.fish].respiration;
    std::vector<double> rates;
    for (const auto& sealed : night.sealed) {
        const double from = sealed.from_s + settle_s(plan, night);
        if (sealed.from_s >= night.span.from_s + after_s && sealed.to_s <= until_s &&
            sealed.to_s - from > 60.0) {
            rates.push_back(respiration.taken_mg(from, sealed.to_s) * 3600.0 / (sealed.to_s - from));
        }
    }
    if (rates.size() < 5) {
        return std::nullopt;
    }
    std::sort(rates.begin(), rates.end());
    const double place = 0.2 * static_cast<double>(rates.size() - 1);
    const auto below = static_cast<std::size_t>(place);
    return rates[below] + ((place - std::floor(place)) * (rates[below + 1] - rates[below]));
}

std::string fish_truth(const SimulationPlan& plan, const Season& season) {
    std::string text =
        "fish,mass_g,volume_l,resting_mg_per_h,resting_night_mg_per_h,resting_quantile_20_mg_per_h,"
        "peak_after_capture_mg_per_h,"
        "best_minute_after_capture_mg_per_h,best_minute_after_capture_from,peak_after_chase_mg_per_h,"
        "best_minute_after_chase_mg_per_h,best_minute_after_chase_from,excess_in_tube_mg,excess_after_"
        "transfer_mg,"
        "excess_after_transfer_by_handling_mg,recovered_to_10_percent_h,recovered_to_20_percent_h,died\n";
    for (const auto& fish : season.fish) {
        const auto& r = fish.respiration;
        const auto& tube = season.stays[fish.tube_stay];
        const auto& night = season.stays[fish.night_stay];
        const double end = std::min(night.span.to_s, r.fish().dies_at_s.value_or(night.span.to_s));
        const Span alive{night.span.from_s, end};
        const auto capture = best_minute(plan, season, tube);
        std::optional<BestMinute> chase;
        std::optional<double> chase_peak;
        if (fish.chase_stay) {
            chase = best_minute(plan, season, season.stays[*fish.chase_stay]);
            chase_peak = highest(r, season.stays[*fish.chase_stay].span);
        }
        const auto recovered = [&](double share) -> std::optional<double> {
            const auto at = r.recovered_at_s(fish.landed_s, end, share);
            return at ? std::optional((*at - fish.landed_s) / 3600.0) : std::nullopt;
        };
        text += csv_row({fish.id, number(r.fish().mass_kg * 1000.0), number(r.fish().volume_l()),
                         number(r.fish().resting_mg_per_h), number(mean_rest(plan, season, r, alive)),
                         number(quiet_quantile(plan, season, night, end)), number(highest(r, tube.span)),
                         capture ? number(capture->mg_per_h) : "",
                         capture ? when(season, capture->from_s) : "", number(chase_peak),
                         chase ? number(chase->mg_per_h) : "", chase ? when(season, chase->from_s) : "",
                         number(r.excess_mg(tube.span.from_s, tube.span.to_s)),
                         number(r.excess_mg(alive.from_s, alive.to_s)),
                         number(without_bouts(r, season.temperature).excess_mg(alive.from_s, alive.to_s)),
                         number(recovered(0.1)), number(recovered(0.2)),
                         r.fish().dies_at_s ? when(season, *r.fish().dies_at_s) : ""});
    }
    return text;
}

double microbes_mg(const SimulatedChamber& room, Span span) {
    const auto after = std::upper_bound(room.microbes.begin(), room.microbes.end(), span.from_s,
                                        [](double t, const auto& entry) { return t < entry.first; });
    return after == room.microbes.begin() ? 0.0 : std::prev(after)->second.taken_mg(span.from_s, span.to_s);
}

std::string spell_truth(const SimulationPlan& plan, const Season& season) {
    std::string text =
        "assembly,stay,fish,role,sealed_from,settled,sealed_to,uptake_mg_per_h,uptake_mg_per_kg_h,"
        "microbes_mg_per_h,water_l,temperature_c,fault\n";
    for (const auto& stay : season.stays) {
        const auto& room = season.chambers[stay.chamber];
        for (const auto& sealed : stay.sealed) {
            const Span used{sealed.from_s + settle_s(plan, stay), sealed.to_s};
            if (used.to_s - used.from_s < 10.0) {
                continue;
            }
            const double hours = (used.to_s - used.from_s) / 3600.0;
            const double middle = (used.from_s + used.to_s) / 2.0;
            double fish_l = 0.0;
            std::optional<double> rate;
            std::optional<double> per_kg;
            if (stay.fish) {
                const auto& r = season.fish[*stay.fish].respiration;
                fish_l = r.fish().volume_l();
                rate = r.taken_mg(used.from_s, used.to_s) / hours;
                per_kg = *rate / r.fish().mass_kg;
            }
            std::string fault;
            for (const auto& planted : room.faults) {
                if (planted.span.from_s < sealed.to_s && sealed.from_s < planted.span.to_s) {
                    fault = std::string(word_of(planted.kind));
                }
            }
            text += csv_row(
                {plan.chambers[stay.chamber].name, stay.id, stay.fish ? season.fish[*stay.fish].id : "",
                 stay.role, when(season, sealed.from_s), when(season, used.from_s), when(season, sealed.to_s),
                 number(rate), number(per_kg), number(microbes_mg(room, used) / hours),
                 number(room.volume_l + room.loop_l - fish_l), number(season.temperature.at(middle)), fault});
        }
    }
    return text;
}

std::string state_truth(const SimulationPlan& plan, const Season& season) {
    std::string text = "assembly,from,state\n";
    for (std::size_t c = 0; c < plan.chambers.size(); ++c) {
        for (const auto& command : season.chambers[c].commands) {
            text += csv_row(
                {plan.chambers[c].name, when(season, command.at_s), command.flush ? "flush" : "sealed"});
        }
    }
    return text;
}

std::string assembly_truth(const SimulationPlan& plan, const Season& season) {
    std::string text = "assembly,chamber_volume_l,loop_volume_l\n";
    for (std::size_t c = 0; c < plan.chambers.size(); ++c) {
        text += csv_row(
            {plan.chambers[c].name, number(season.chambers[c].volume_l), number(season.chambers[c].loop_l)});
    }
    return text;
}

std::string sensor_truth(const SimulationPlan& plan, const Season& season) {
    std::string text = "sensor,assembly,gain,offset_percent,gain_drift_per_day,lag_s,white_sd_mg_per_l,"
                       "coloured_sd_mg_per_l,coloured_time_s\n";
    for (std::size_t c = 0; c < plan.chambers.size(); ++c) {
        const auto& chamber = plan.chambers[c];
        for (const auto& sensor : season.chambers[c].sensors) {
            text += csv_row({sensor.name, chamber.name, number(sensor.gain), number(sensor.offset_percent),
                             number(sensor.gain_drift_per_day), number(chamber.sensor_lag_s),
                             number(chamber.white_sd_mg_per_l), number(chamber.coloured_sd_mg_per_l),
                             number(chamber.coloured_time_s)});
        }
    }
    return text;
}

std::string clock_truth(const Season& season) {
    std::string text = "clock,true,error_s\n";
    for (const auto& clock : season.clocks) {
        for (double at = 6.0 * 3600.0; at < season.end_s; at += 6.0 * 3600.0) {
            text += csv_row({clock.name, when(season, at), number(clock.error_s(at))});
        }
    }
    return text;
}

std::string fault_truth(const Season& season) {
    std::string text = "fault,where,stay,from,to,amount\n";
    for (const auto& fault : season.planted) {
        text += csv_row({fault.kind, fault.where, fault.stay, when(season, fault.from_s),
                         when(season, fault.to_s), fault.amount});
    }
    return text;
}

std::string explanation(const SimulationPlan& plan, std::uint64_t seed) {
    return fmt::format(R"(# The truth of a simulated study

{} Everything here is invented; seed {}. The program's estimators never read this folder.

Times are UTC by the true clock. Uptakes are mg of oxygen per hour of the whole fish unless the column says per kg.

- `fish.csv`: the fish's level at rest (`resting_mg_per_h`: mean of the day at {} degC; `resting_night_mg_per_h`: mean
  over its stay ashore, rhythm and temperature included; `resting_quantile_20_mg_per_h`: 0.2 quantile of its true mean
  uptake in the sealed spells from 10 h after it came ashore, bouts included), the highest momentary uptake in the tube, the best 60 s mean
  inside one sealed spell after its settle, the oxygen taken up above rest in the tube and ashore, hours from landing
  until the excess of handling last stood at 10 and 20 % of rest (empty: not within the stay).
- `spells.csv`: every sealed spell, the fish's mean uptake and the microbes' from `settled` to `sealed_to`.
- `states.csv`: what the pump's controller commanded.
- `assemblies.csv`, `sensors.csv`, `clocks.csv`: the true volumes, calibration errors and clock errors (shown less true).
- `faults.csv`: what was planted.
- Where the plan has their sections: `blood.csv` (the true values in each draw, and which fish's are planted), `meters.csv`
  (a meter shows offset + gain times the truth), `plates.csv` and `wells.csv` (the curve of each assay plate, what each
  well truly holds and the response it would have without noise), `fins.csv`, `body.csv` and `reflexes.csv` (what a
  perfect scorer would have written), `fates.csv` (when a fish died, and between which looks).
- `simulation.toml`: the plan.
)",
                       plan.study.title, seed, exact_text(plan.fish.reference_c));
}

} // namespace

double settle_s(const SimulationPlan& plan, const Stay& stay) {
    const auto& chamber = plan.chambers[stay.chamber];
    const bool peak = stay.role == "after_capture" || stay.role == "after_chase";
    return peak ? mixing_s(chamber) + (3.0 * chamber.sensor_lag_s)
                : std::max(60.0, mixing_s(chamber) + (5.0 * chamber.sensor_lag_s));
}

std::optional<BestMinute> best_minute(const SimulationPlan& plan, const Season& season, const Stay& stay) {
    constexpr double window_s = 60.0;
    if (!stay.fish) {
        return std::nullopt;
    }
    const auto& respiration = season.fish[*stay.fish].respiration;
    std::optional<BestMinute> best;
    for (const auto& sealed : stay.sealed) {
        for (double t = sealed.from_s + settle_s(plan, stay); t + window_s <= sealed.to_s; t += 1.0) {
            const double rate = respiration.taken_mg(t, t + window_s) * 3600.0 / window_s;
            if (!best || rate > best->mg_per_h) {
                best = BestMinute{.from_s = t, .mg_per_h = rate};
            }
        }
    }
    return best;
}

Expected<void> write_truth(const SimulationPlan& plan, const Season& season, std::uint64_t seed,
                           const std::filesystem::path& folder) {
    const auto truth = folder / "truth";
    std::error_code ignored; // write_new_file says what is wrong with the folder
    std::filesystem::create_directories(truth, ignored);
    const std::vector<std::pair<const char*, std::string>> files{
        {"README.md", explanation(plan, seed)},
        {"fish.csv", fish_truth(plan, season)},
        {"spells.csv", spell_truth(plan, season)},
        {"states.csv", state_truth(plan, season)},
        {"assemblies.csv", assembly_truth(plan, season)},
        {"sensors.csv", sensor_truth(plan, season)},
        {"clocks.csv", clock_truth(season)},
        {"faults.csv", fault_truth(season)},
        {"simulation.toml", plan.text},
    };
    for (const auto& [name, text] : files) {
        if (auto written = write_new_file(truth / name, text); !written) {
            return written;
        }
    }
    return {};
}

} // namespace backeddy::simulate
