#include "simulate/season.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "base/random.hpp"
#include "simulate/condition.hpp"
#include "water/oxygen.hpp"

namespace backeddy::simulate {

namespace {

constexpr double minute = 60.0;
constexpr double hour = 3600.0;
constexpr double day_length = 86400.0;

double between(Random& random, Range range) {
    return range.from + ((range.to - range.from) * random.uniform());
}

double whole(double seconds) {
    return std::round(seconds);
}

Error cannot(std::string found, std::string remedy) {
    return {.code = ErrorCode::bad_setting,
            .found = std::move(found),
            .expected = "a season in which every fish finds a chamber",
            .remedy = std::move(remedy)};
}

/// Fills a season step by step; `lay_out` at the end reads as the order of work.
class Layout {
  public:
    Layout(const SimulationPlan& plan, std::uint64_t seed, Season season)
        : plan_(plan), seed_(seed), season_(std::move(season)), free_(plan.chambers.size(), 0.0),
          used_(plan.chambers.size(), 0) {}

    Expected<Season> made() {
        weather();
        rooms();
        if (auto days = all_days(); !days) {
            return fail(std::move(days).error());
        }
        tube_blanks();
        std::vector<std::size_t> order = sort_stays();
        renumber(order);
        pumps();
        if (auto faults = plant(); !faults) {
            return fail(std::move(faults).error());
        }
        microbes();
        loggers();
        sort_events();
        return std::move(season_);
    }

  private:
    // --- water, chambers
    // ---------------------------------------------------------------------------------------

    void weather() {
        auto random = stream(seed_, StreamOf::season);
        const auto& water = plan_.water;
        const double high_tide = chamber::tide_period_s * random.uniform();
        const double warmest = 16.0 * hour;
        season_.temperature = {
            .mean = water.temperature_c,
            .trend_per_h = water.warming_c_per_day / 24.0,
            .waves = {{.amplitude = water.tide_c, .period_s = chamber::tide_period_s, .high_at_s = high_tide},
                      {.amplitude = water.day_c, .period_s = chamber::day_period_s, .high_at_s = warmest}}};
        // The inflow's saturation is steady but for the tide; its concentration follows the solubility to
        // first order.
        const double full =
            water::saturation_mg_per_l(water.temperature_c, water.salinity, water.pressure_kpa);
        const double per_c =
            water::saturation_slopes(water.temperature_c, water.salinity, water.pressure_kpa).per_celsius;
        const double share = water.inflow_percent / 100.0;
        season_.inflow = {.mean = share * full,
                          .trend_per_h = share * per_c * water.warming_c_per_day / 24.0,
                          .waves = {{.amplitude = share * per_c * water.tide_c,
                                     .period_s = chamber::tide_period_s,
                                     .high_at_s = high_tide},
                                    {.amplitude = share * per_c * water.day_c,
                                     .period_s = chamber::day_period_s,
                                     .high_at_s = warmest},
                                    {.amplitude = water.inflow_tide_percent / 100.0 * full,
                                     .period_s = chamber::tide_period_s,
                                     .high_at_s = high_tide + (0.3 * chamber::tide_period_s)}}};
    }

    void rooms() {
        for (std::size_t c = 0; c < plan_.chambers.size(); ++c) {
            const auto& plan = plan_.chambers[c];
            auto random = stream(seed_, StreamOf::chamber, c);
            SimulatedChamber room;
            room.volume_l = plan.volume_l * (1.0 + (plan.volume_error_share * random.normal()));
            room.loop_l = plan.loop_l * (1.0 + (plan.volume_error_share * random.normal()));
            room.sensors.push_back(sensor(plan, plan.sensor, c, 0));
            season_.chambers.push_back(std::move(room));
        }
    }

    SensorSpan sensor(const ChamberPlan& plan, const std::string& name, std::size_t chamber,
                      std::size_t turn) const {
        auto random = stream(seed_, StreamOf::sensor, (chamber * 16) + turn);
        return {.name = name,
                .from_s = -day_length,
                .to_s = 1e9,
                .gain = 1.0 + (plan.gain_spread * random.normal()),
                .offset_percent = plan.offset_spread_percent * random.normal(),
                .gain_drift_per_day = plan.drift_percent_per_day / 100.0 * random.normal()};
    }

    // --- fish and stays
    // ----------------------------------------------------------------------------------------

    Expected<void> all_days() {
        const auto& per_day = plan_.study.fish_per_day;
        for (std::size_t d = 0; d <= per_day.size(); ++d) {
            if (d > 0) {
                if (auto morning = chases(static_cast<double>(d)); !morning) {
                    return morning;
                }
            }
            if (d < per_day.size()) {
                if (auto fishing = captures(static_cast<double>(d), per_day[d]); !fishing) {
                    return fishing;
                }
            }
        }
        season_.end_s = static_cast<double>(per_day.size() + 1) * day_length;
        return {};
    }

    /// The free chamber of that kind that fits best: the least used, then the first.
    Expected<std::size_t> choose(ChamberKind kind, double mass_kg, double at_s, double preparation_s) {
        std::optional<std::size_t> best;
        for (std::size_t c = 0; c < plan_.chambers.size(); ++c) {
            const auto& plan = plan_.chambers[c];
            if (plan.kind != kind || mass_kg < plan.mass_kg.from || mass_kg > plan.mass_kg.to ||
                free_[c] > at_s - preparation_s) {
                continue;
            }
            if (!best || used_[c] < used_[*best]) {
                best = c;
            }
        }
        if (!best) {
            return fail(cannot(fmt::format("no free {} for a fish of {:.2f} kg on day {:.0f}",
                                           kind == ChamberKind::tube ? "tube" : "shore chamber", mass_kg,
                                           std::floor(at_s / day_length) + 1.0),
                               "more chambers, wider mass_kg, fewer fish a day or another seed"));
        }
        ++used_[*best];
        return *best;
    }

    /// When a tube that fits is free, at or after `earliest_s`.
    double tube_free_at(double mass_kg, double earliest_s) const {
        double soonest = 1e18;
        for (std::size_t c = 0; c < plan_.chambers.size(); ++c) {
            const auto& plan = plan_.chambers[c];
            if (plan.kind == ChamberKind::tube && mass_kg >= plan.mass_kg.from &&
                mass_kg <= plan.mass_kg.to) {
                soonest = std::min(soonest, std::max(free_[c], earliest_s));
            }
        }
        return soonest < 1e18 ? soonest : earliest_s;
    }

    std::size_t add_stay(Stay stay) {
        season_.stays.push_back(std::move(stay));
        return season_.stays.size() - 1;
    }

    /// A treatment's turn: every combination of rig and unhooking once, in a new order each round.
    std::pair<std::size_t, std::size_t> treatment(std::size_t fish) {
        const std::size_t rigs = plan_.rigs.size();
        const std::size_t all = rigs * plan_.unhookings.size();
        if (fish % all == 0) {
            round_.resize(all);
            for (std::size_t i = 0; i < all; ++i) {
                round_[i] = i;
            }
            auto random = stream(seed_, StreamOf::season, 1000 + (fish / all));
            for (std::size_t i = all; i > 1; --i) {
                std::swap(round_[i - 1], round_[random.below(i)]);
            }
        }
        return {round_[fish % all] % rigs, round_[fish % all] / rigs};
    }

    /// What happens at a rod; each rig has one of its own.
    void tell_catch(double at, double uncertainty, const char* word, std::size_t rig) {
        season_.events.push_back(
            {.at_s = at,
             .uncertainty_s = uncertainty,
             .word = word,
             .who = "angler 1",
             .rod = rig < plan_.rods.size() ? plan_.rods[rig] : fmt::format("rod {}", rig + 1),
             .rig = plan_.rigs[rig].name});
    }

    void lines(double at, const char* word) {
        for (std::size_t rig = 0; rig < plan_.rigs.size(); ++rig) {
            tell_catch(at, 60, word, rig);
        }
    }

    Expected<void> captures(double d, int count) {
        const auto& protocol = plan_.protocol;
        const double from = (d * day_length) + (protocol.fishing_from_h * hour);
        const double to = (d * day_length) + (protocol.fishing_to_h * hour);
        lines(from - (20 * minute), "lines_in");
        auto random = stream(seed_, StreamOf::season, 2000 + static_cast<std::uint64_t>(d));
        for (int i = 0; i < count; ++i) {
            const double slot = (to - from) / count;
            const double at = from + (slot * (i + (0.6 * random.uniform())));
            if (auto caught = capture(at); !caught) {
                return caught;
            }
        }
        lines(to + (10 * minute), "lines_out");
        // Bites that came to nothing belong to the account of every fish.
        for (int missed = static_cast<int>(random.below(3)); missed > 0; --missed) {
            const double at = whole(from + ((to - from) * random.uniform()));
            const std::size_t rig = random.below(plan_.rigs.size());
            tell_catch(at, 10, "bite", rig);
            if (random.uniform() < 0.5) {
                tell_catch(at + 4, 10, "hook_up", rig);
                const double held = whole(20 + (120 * random.uniform()));
                const char* moment = held < 40.0    ? "soon after the strike"
                                     : held < 110.0 ? "in play"
                                                    : "at the net";
                tell_catch(at + 4 + held, 10, "lost", rig);
                season_.events.back().note = moment;
            }
        }
        return {};
    }

    Expected<void> capture(double earliest_s) {
        const std::size_t index = season_.fish.size();
        auto random = stream(seed_, StreamOf::fish, index);
        SimulatedFish fish;
        fish.id = fmt::format("F{:02}", index + 1);
        std::tie(fish.rig, fish.unhooking) = treatment(index);
        const auto& rig = plan_.rigs[fish.rig];
        const auto& unhooking = plan_.unhookings[fish.unhooking];
        const double mass = std::round(between(random, plan_.fish.mass_kg) * 1000.0) / 1000.0;
        const double fight = whole(between(random, rig.fight_s));
        const double air = whole(between(random, unhooking.air_s));
        const double in_hand = 15 + (25 * random.uniform());
        const double to_tube = 40 + (50 * random.uniform());

        const double before_seal = fight + std::max(air, in_hand) + to_tube;
        const double sealed = whole(tube_free_at(mass, earliest_s + before_seal));
        auto tube = choose(ChamberKind::tube, mass, sealed, 0.0);
        if (!tube) {
            return fail(std::move(tube).error());
        }
        fish.back_in_water_s = whole(sealed - to_tube);
        fish.landed_s = whole(fish.back_in_water_s - std::max(air, in_hand));
        fish.hook_up_s = fish.landed_s - fight;
        fish.air_s = air;
        const Span in_tube{sealed, sealed + whole(plan_.protocol.tube_min * minute)};
        fish.tube_stay = add_stay({.fish = index,
                                   .chamber = *tube,
                                   .role = "after_capture",
                                   .span = in_tube,
                                   .cycle = plan_.protocol.tube});
        free_[*tube] = in_tube.to_s + (12 * minute);

        const double preparation = (plan_.protocol.shore_blank_min + 10.0) * minute;
        const double blood = in_tube.to_s + 75;
        const double ashore =
            whole(in_tube.to_s + (plan_.protocol.transfer_min * minute) + (120 * random.uniform()));
        auto room = choose(ChamberKind::shore, mass, ashore, preparation);
        if (!room) {
            return fail(std::move(room).error());
        }
        blank(*room, {ashore - ((plan_.protocol.shore_blank_min + 5.0) * minute), ashore - (5 * minute)},
              plan_.protocol.shore_blank);
        // Until the morning; the chase sets the end.
        fish.night_stay = add_stay({.fish = index,
                                    .chamber = *room,
                                    .role = "rest",
                                    .span = {ashore, ashore + day_length},
                                    .cycle = plan_.protocol.shore});
        free_[*room] = ashore + (2 * day_length);

        breathe(fish, random, mass, fight, air, blood, ashore);
        fish.weighed_g = std::round((mass * 1000.0) + (plan_.fish.mass_error_g * random.normal()));
        // Condition factor 1.1: mass (g) = 1.1e-5 length (mm)^3.
        fish.length_mm = std::round(std::cbrt(mass * 1000.0 / 1.1e-5) * (1.0 + (0.02 * random.normal())));
        tell_capture(fish, air, blood, ashore);
        season_.fish.push_back(std::move(fish));
        return {};
    }

    void breathe(SimulatedFish& fish, Random& random, double mass, double fight, double air, double blood_s,
                 double ashore_s) {
        const auto& p = plan_.fish;
        const auto& rig = plan_.rigs[fish.rig];
        const auto& unhooking = plan_.unhookings[fish.unhooking];
        const double rest = p.resting_mg_per_kg_h * std::pow(mass, p.mass_exponent) *
                            std::exp(p.between_fish_share * random.normal());
        // A longer fight and air drive the fish a little higher: invented, of a size that a study could find.
        const double longer = (rig.fight_s.from + rig.fight_s.to) / 2.0;
        const double excess = rest * (p.capture_ratio - 1.0) * rig.peak_factor * unhooking.peak_factor *
                              std::exp(p.between_peaks_share * random.normal()) *
                              (1.0 + (0.0004 * (fight - longer))) * (1.0 + (0.0015 * air));
        const double slow_rate =
            p.slow_rate_per_h * rig.slow_factor * unhooking.slow_factor * std::exp(0.15 * random.normal());
        chamber::Fish truth{.mass_kg = mass,
                            .density_kg_per_l =
                                p.density_kg_per_l * (1.0 + (p.density_spread * random.normal())),
                            .resting_mg_per_h = rest,
                            .rhythm_share = p.rhythm_share,
                            .rhythm_high_at_s = p.rhythm_high_h * hour,
                            .q10 = p.q10,
                            .reference_celsius = p.reference_c};
        truth.excesses.push_back(spent(fish.landed_s, excess, slow_rate));
        const double handling = rest * p.handling_ratio * std::exp(0.2 * random.normal());
        truth.excesses.push_back(
            {.at_s = blood_s,
             .rise_s = p.rise_s,
             .phases = {{.amplitude_mg_per_h = handling, .rate_per_h = p.handling_rate_per_h}}});
        chase_excess_.push_back(rest * (p.chase_ratio - 1.0) *
                                std::exp(p.between_peaks_share * random.normal()));
        slow_rates_.push_back(slow_rate);
        for (auto& bout : chamber::draw_bouts(random,
                                              {.bouts_per_h = p.bouts_per_h,
                                               .amplitude_mg_per_h = rest * p.bout_ratio,
                                               .hold_s = p.bout_hold_s},
                                              ashore_s, ashore_s + day_length)) {
            truth.excesses.push_back(std::move(bout));
        }
        fish.respiration = chamber::Respiration(std::move(truth), season_.temperature);
    }

    /// The excess of a spent fish: a fast part, and a slow one that stands for a while before it falls.
    chamber::Excess spent(double at_s, double excess, double slow_rate) const {
        const auto& p = plan_.fish;
        return {.at_s = at_s,
                .rise_s = p.rise_s,
                .phases = {{.amplitude_mg_per_h = excess * p.fast_share, .rate_per_h = p.fast_rate_per_h},
                           {.amplitude_mg_per_h = excess * (1.0 - p.fast_share),
                            .hold_s = p.plateau_min * minute,
                            .rate_per_h = slow_rate}}};
    }

    void tell_capture(const SimulatedFish& fish, double air, double blood, double ashore) {
        const auto add = [&](double at, double u, const char* word, const char* who,
                             std::size_t stay = no_stay) {
            season_.events.push_back({.at_s = at,
                                      .uncertainty_s = u,
                                      .word = word,
                                      .fish = fish.id,
                                      .stay = stay_key(stay),
                                      .who = who});
        };
        const auto at_rod = [&](double at, const char* word) {
            tell_catch(at, 5, word, fish.rig);
            season_.events.back().fish = fish.id;
        };
        at_rod(fish.hook_up_s - 4, "bite");
        at_rod(fish.hook_up_s, "hook_up");
        at_rod(fish.landed_s, "landed");
        if (air > 0.0) {
            add(fish.landed_s, 2, "air_start", "deck hand");
            add(fish.landed_s + air, 2, "air_end", "deck hand");
        }
        add(fish.back_in_water_s, 5, "back_in_water", "deck hand");
        add(season_.stays[fish.tube_stay].span.from_s, 2, "sealed", "deck hand", fish.tube_stay);
        add(blood, 10, "blood", "physiologist");
        add(ashore, 20, "transfer", "physiologist", fish.night_stay);
    }

    Expected<void> chases(double d) {
        double next = (d * day_length) + (plan_.protocol.chase_from_h * hour);
        for (std::size_t f = 0; f < season_.fish.size(); ++f) {
            auto& fish = season_.fish[f];
            const auto night = season_.stays[fish.night_stay].span;
            if (night.to_s != night.from_s + day_length) {
                continue; // done on an earlier morning
            }
            if (const auto* death = death_of(f)) {
                die(f, *death);
                continue;
            }
            if (auto chased = chase(f, next); !chased) {
                return chased;
            }
            next = fish.chase_start_s + (11 * minute);
        }
        return {};
    }

    Expected<void> chase(std::size_t f, double earliest_s) {
        auto& fish = season_.fish[f];
        auto random = stream(seed_, StreamOf::fish, 10000 + f);
        const auto& protocol = plan_.protocol;
        const double mass = fish.respiration.fish().mass_kg;
        const double work = (protocol.chase_min * minute) + protocol.air_s;
        const double to_tube = whole(45 + (30 * random.uniform()));
        const double dawdling = 240 * random.uniform();
        const double sealed = whole(tube_free_at(mass, earliest_s + dawdling + work + to_tube));
        auto tube = choose(ChamberKind::tube, mass, sealed, 0.0);
        if (!tube) {
            return fail(std::move(tube).error());
        }
        const double out_of_air = sealed - to_tube;
        fish.chase_end_s = out_of_air - protocol.air_s;
        fish.chase_start_s = fish.chase_end_s - (protocol.chase_min * minute);
        end_night(fish.night_stay, fish.chase_start_s - (3 * minute));
        const Span in_tube{sealed, sealed + whole(protocol.after_chase_min * minute)};
        fish.chase_stay = add_stay(
            {.fish = f, .chamber = *tube, .role = "after_chase", .span = in_tube, .cycle = protocol.tube});
        free_[*tube] = in_tube.to_s + (12 * minute);

        auto truth = fish.respiration.fish();
        // The night's own bouts end with it.
        std::erase_if(truth.excesses, [&](const chamber::Excess& e) {
            return e.kind == chamber::ExcessKind::bout && e.at_s >= fish.chase_start_s;
        });
        auto excess = spent(fish.chase_end_s, chase_excess_[f], slow_rates_[f]);
        excess.earlier = chamber::Earlier::ends;
        truth.excesses.push_back(std::move(excess));
        fish.respiration = chamber::Respiration(std::move(truth), season_.temperature);

        const auto add = [&](double at, double u, const char* word, const char* who,
                             std::size_t stay = no_stay) {
            season_.events.push_back({.at_s = at,
                                      .uncertainty_s = u,
                                      .word = word,
                                      .fish = fish.id,
                                      .stay = stay_key(stay),
                                      .who = who});
        };
        add(fish.chase_start_s, 2, "chase_start", "physiologist");
        add(fish.chase_end_s, 2, "chase_end", "physiologist");
        if (protocol.air_s > 0.0) {
            add(fish.chase_end_s, 2, "air_start", "physiologist");
            add(out_of_air, 2, "air_end", "physiologist");
        }
        add(sealed, 2, "sealed", "physiologist", *fish.chase_stay);
        if (!is_held(plan_, f)) {
            add(*out_of_last_tube_s(season_, fish), 30, "released", "physiologist");
        }
        return {};
    }

    [[nodiscard]] const FaultPlan* death_of(std::size_t f) const {
        for (const auto& fault : plan_.faults) {
            if (fault.kind == FaultKind::death && static_cast<std::size_t>(fault.fish) == f + 1) {
                return &fault;
            }
        }
        return nullptr;
    }

    void die(std::size_t f, const FaultPlan& fault) {
        auto& fish = season_.fish[f];
        auto& stay = season_.stays[fish.night_stay];
        const double died = whole(stay.span.from_s + (fault.after_h * hour));
        const double found = whole(died + ((fault.hours > 0.0 ? fault.hours : 1.5) * hour));
        auto truth = fish.respiration.fish();
        truth.dies_at_s = died;
        fish.respiration = chamber::Respiration(std::move(truth), season_.temperature);
        fish.found_dead_s = found;
        stay.ended = "died";
        // The last look at the live fish: the watch goes round every half hour.
        stay.last_good_s = std::floor((died - (5 * minute)) / (30 * minute)) * 30 * minute;
        stay.note = "found dead by the watch; a simulated death";
        end_night(fish.night_stay, found + (10 * minute));
        const auto key = stay_key(fish.night_stay);
        season_.events.push_back({.at_s = *stay.last_good_s,
                                  .uncertainty_s = 60,
                                  .word = "note",
                                  .fish = fish.id,
                                  .stay = key,
                                  .who = "watch",
                                  .note = "last seen alive"});
        season_.events.push_back({.at_s = found,
                                  .uncertainty_s = 60,
                                  .word = "note",
                                  .fish = fish.id,
                                  .stay = key,
                                  .who = "watch",
                                  .note = "found dead"});
        season_.events.push_back({.at_s = whole((*stay.last_good_s + found) / 2.0),
                                  .uncertainty_s = whole((found - *stay.last_good_s) / std::sqrt(12.0)),
                                  .word = "died",
                                  .fish = fish.id,
                                  .stay = key,
                                  .who = "watch",
                                  .note = "between the last round and the one that found it"});
        season_.planted.push_back({.kind = std::string(word_of(fault.kind)),
                                   .where = fish.id,
                                   .stay = stay_key(fish.night_stay),
                                   .from_s = died,
                                   .to_s = found});
    }

    void end_night(std::size_t stay, double to_s) {
        auto& night = season_.stays[stay];
        night.span.to_s = to_s;
        const double blank_from = to_s + (5 * minute);
        const double blank_to = blank_from + (plan_.protocol.shore_blank_min * minute);
        const auto room = night.chamber;
        blank(room, {blank_from, blank_to}, plan_.protocol.shore_blank);
        clean(room, blank_to + (5 * minute));
        free_[room] = blank_to + (8 * minute);
    }

    void blank(std::size_t room, Span span, const CyclePlan& cycle) {
        add_stay({.chamber = room,
                  .role = "blank",
                  .span = {whole(span.from_s), whole(span.to_s)},
                  .cycle = cycle});
    }

    void clean(std::size_t room, double at_s) {
        season_.events.push_back({.at_s = whole(at_s),
                                  .uncertainty_s = 60,
                                  .word = "cleaning",
                                  .assembly = plan_.chambers[room].name,
                                  .who = "shore hand"});
        cleanings_.push_back({room, at_s});
    }

    /// Each day a tube is used: a blank before the first fish and one after the last, then it is cleaned.
    void tube_blanks() {
        const double length = plan_.protocol.tube_blank_min * minute;
        const auto days = plan_.study.fish_per_day.size() + 1;
        for (std::size_t c = 0; c < plan_.chambers.size(); ++c) {
            if (plan_.chambers[c].kind != ChamberKind::tube) {
                continue;
            }
            for (std::size_t d = 0; d < days; ++d) {
                const Span today{static_cast<double>(d) * day_length,
                                 static_cast<double>(d + 1) * day_length};
                double first = 1e18;
                double last = -1.0;
                for (const auto& stay : season_.stays) {
                    if (stay.chamber == c && today.holds(stay.span.from_s)) {
                        first = std::min(first, stay.span.from_s);
                        last = std::max(last, stay.span.to_s);
                    }
                }
                if (last < 0.0) {
                    continue;
                }
                blank(c, {first - (10 * minute) - length, first - (10 * minute)}, plan_.protocol.tube_blank);
                blank(c, {last + (6 * minute), last + (6 * minute) + length}, plan_.protocol.tube_blank);
                clean(c, last + (10 * minute) + length);
            }
        }
    }

    // --- order, names
    // ------------------------------------------------------------------------------------------

    static constexpr std::size_t no_stay = static_cast<std::size_t>(-1);
    /// A stand-in until stays have their names.
    static std::string stay_key(std::size_t stay) {
        return stay == no_stay ? std::string() : fmt::format("#{}", stay);
    }

    std::vector<std::size_t> sort_stays() const {
        std::vector<std::size_t> order(season_.stays.size());
        for (std::size_t i = 0; i < order.size(); ++i) {
            order[i] = i;
        }
        std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
            return std::pair(season_.stays[a].span.from_s, a) < std::pair(season_.stays[b].span.from_s, b);
        });
        return order;
    }

    /// By time; those of one moment stay in the order in which they were told.
    void sort_events() {
        std::vector<std::pair<double, std::size_t>> order;
        for (const auto& event : season_.events) {
            order.emplace_back(event.at_s, order.size());
        }
        std::sort(order.begin(), order.end());
        std::vector<Event> sorted;
        for (const auto& place : order) {
            sorted.push_back(std::move(season_.events[place.second]));
        }
        season_.events = std::move(sorted);
    }

    void renumber(const std::vector<std::size_t>& order) {
        std::vector<Stay> sorted;
        std::vector<std::size_t> place(order.size());
        for (std::size_t i = 0; i < order.size(); ++i) {
            place[order[i]] = i;
            sorted.push_back(season_.stays[order[i]]);
            sorted.back().id = fmt::format("{}{:03}", sorted.back().fish ? 'S' : 'B', i + 1);
        }
        season_.stays = std::move(sorted);
        for (auto& fish : season_.fish) {
            fish.tube_stay = place[fish.tube_stay];
            fish.night_stay = place[fish.night_stay];
            if (fish.chase_stay) {
                fish.chase_stay = place[*fish.chase_stay];
            }
        }
        const auto rename = [&](std::string& stay) {
            if (!stay.empty()) {
                stay = season_.stays[place[std::stoul(stay.substr(1))]].id;
            }
        };
        for (auto& event : season_.events) {
            rename(event.stay);
        }
        for (auto& fault : season_.planted) {
            rename(fault.stay);
        }
        for (std::size_t s = 0; s < season_.stays.size(); ++s) {
            season_.chambers[season_.stays[s].chamber].stays.push_back(s);
        }
    }

    // --- pumps, microbes, faults, loggers
    // ----------------------------------------------------------------------

    /// A fish goes into a tube that seals at once; ashore and in blanks the flush comes first. Between stays
    /// the flush runs.
    void pumps() {
        for (auto& room : season_.chambers) {
            for (const auto s : room.stays) {
                auto& stay = season_.stays[s];
                const bool at_once = stay.role == "after_capture" || stay.role == "after_chase";
                double t = stay.span.from_s + (at_once ? 0.0 : stay.cycle.flush_s);
                while (t < stay.span.to_s) {
                    const double open = std::min(t + stay.cycle.sealed_s, stay.span.to_s);
                    stay.sealed.push_back({t, open});
                    room.commands.push_back({t, false});
                    room.commands.push_back({open, true});
                    t = open + std::max(stay.cycle.flush_s, 1.0);
                }
            }
        }
    }

    /// From the first stay after a cleaning on, through it and its after-blank; a cleaning leaves none
    /// behind, or what grows by the hour would in an idle week take more than any flush brings.
    void microbes() {
        for (std::size_t c = 0; c < season_.chambers.size(); ++c) {
            auto& room = season_.chambers[c];
            const auto& plan = plan_.chambers[c];
            auto random = stream(seed_, StreamOf::chamber, 500 + c);
            const auto start = [&](double at_s) {
                room.microbes.emplace_back(
                    at_s, chamber::Microbes{
                              .growth = chamber::Growth::exponential,
                              .start_mg_per_h = plan.microbes_mg_per_h * std::exp(0.25 * random.normal()),
                              .since_s = at_s,
                              .rate_per_h = plan.microbes_growth_per_h * std::exp(0.25 * random.normal())});
            };
            bool is_clean = true;
            std::vector<double> cleaned;
            for (const auto& [at_room, at_s] : cleanings_) {
                if (at_room == c) {
                    cleaned.push_back(at_s);
                }
            }
            std::sort(cleaned.begin(), cleaned.end());
            std::size_t next = 0;
            for (const auto s : room.stays) {
                const double from = season_.stays[s].span.from_s;
                while (next < cleaned.size() && cleaned[next] <= from) {
                    room.microbes.emplace_back(cleaned[next++], chamber::Microbes{});
                    is_clean = true;
                }
                if (is_clean) {
                    start(from);
                    is_clean = false;
                }
            }
            for (; next < cleaned.size(); ++next) {
                room.microbes.emplace_back(cleaned[next], chamber::Microbes{});
            }
        }
    }

    Expected<void> plant() {
        for (std::size_t k = 0; k < plan_.clocks.size(); ++k) {
            season_.clocks.push_back({.name = plan_.clocks[k].name,
                                      .offset_s = plan_.clocks[k].offset_s,
                                      .drift_s_per_day = plan_.clocks[k].drift_s_per_day});
        }
        for (const auto& fault : plan_.faults) {
            switch (fault.kind) {
            case FaultKind::clock_slip:
                slip(fault);
                break;
            case FaultKind::mistyped_fight:
                mistype(fault);
                break;
            case FaultKind::torn_file:
            case FaultKind::death:
                break; // the loggers' and the fish's own
            case FaultKind::sensor_swap:
            case FaultKind::dead_pump:
            case FaultKind::bubble:
            case FaultKind::sensor_bubble:
            case FaultKind::leak:
            case FaultKind::gap:
                if (auto planted = plant_in_stay(fault); !planted) {
                    return planted;
                }
                break;
            }
        }
        return {};
    }

    void slip(const FaultPlan& fault) {
        constexpr double before_work = 5.0 * hour;
        for (auto& clock : season_.clocks) {
            if (clock.name == fault.name) {
                const double at = ((fault.day - 1) * day_length) + before_work;
                clock.slips.emplace_back(at, fault.amount);
                season_.planted.push_back({.kind = "clock_slip",
                                           .where = clock.name,
                                           .from_s = at,
                                           .to_s = season_.end_s,
                                           .amount = fmt::format("{} s", fault.amount)});
            }
        }
    }

    void mistype(const FaultPlan& fault) {
        auto& fish = season_.fish[static_cast<std::size_t>(fault.fish) - 1];
        fish.mistyped_fight_s = fault.amount;
        season_.planted.push_back({.kind = std::string(word_of(fault.kind)),
                                   .where = fish.id,
                                   .from_s = fish.hook_up_s,
                                   .to_s = fish.landed_s,
                                   .amount = fmt::format("{} s", fault.amount)});
    }

    Expected<void> plant_in_stay(const FaultPlan& fault) {
        const auto& fish = season_.fish[static_cast<std::size_t>(fault.fish) - 1];
        const std::optional<std::size_t> index = fault.stay == "tube"    ? std::optional(fish.tube_stay)
                                                 : fault.stay == "night" ? std::optional(fish.night_stay)
                                                 : fault.stay == "after_chase" ? fish.chase_stay
                                                                               : std::nullopt;
        if (!index) {
            return fail(cannot(fmt::format("fault {} of fish {} in its stay \"{}\"", word_of(fault.kind),
                                           fault.fish, fault.stay),
                               "stay is tube, night or after_chase, and the fish has it"));
        }
        const auto& stay = season_.stays[*index];
        const double from = whole(stay.span.from_s + (fault.after_h * hour));
        const Span span{from, whole(from + (fault.hours * hour))};
        if (from >= stay.span.to_s) {
            return fail(cannot(
                fmt::format("fault {} of fish {} after the end of its stay", word_of(fault.kind), fault.fish),
                "a smaller after_h"));
        }
        auto& room = season_.chambers[stay.chamber];
        const auto& assembly = plan_.chambers[stay.chamber].name;
        season_.planted.push_back({.kind = std::string(word_of(fault.kind)),
                                   .where = assembly,
                                   .stay = stay.id,
                                   .from_s = span.from_s,
                                   .to_s = span.to_s,
                                   .amount = fmt::format("{}", fault.amount)});
        if (fault.kind == FaultKind::sensor_swap) {
            room.sensors.back().to_s = from;
            room.sensors.push_back(
                sensor(plan_.chambers[stay.chamber], fault.name, stay.chamber, room.sensors.size()));
            room.sensors.back().from_s = from;
            room.faults.push_back({.kind = FaultKind::sensor_swap, .span = {from - 45, from + 45}});
            season_.events.push_back({.at_s = from,
                                      .uncertainty_s = 30,
                                      .word = "sensor_swap",
                                      .stay = stay.id,
                                      .assembly = assembly,
                                      .who = "watch",
                                      .note = "spare sensor fitted"});
            return {};
        }
        room.faults.push_back({.kind = fault.kind, .span = span, .amount = fault.amount});
        if (fault.kind == FaultKind::dead_pump) {
            season_.events.push_back({.at_s = span.to_s,
                                      .uncertainty_s = 60,
                                      .word = "disturbance",
                                      .fish = fish.id,
                                      .stay = stay.id,
                                      .assembly = assembly,
                                      .who = "watch",
                                      .note = "flush pump found dead, changed"});
        }
        return {};
    }

    void loggers() {
        constexpr double warm_up = 10 * minute;
        constexpr double run_on = 5 * minute;
        for (const auto& trace : plan_.traces) {
            std::vector<Span> busy;
            for (const auto& stay : season_.stays) {
                const auto& name = plan_.chambers[stay.chamber].name;
                if (std::find(trace.chambers.begin(), trace.chambers.end(), name) != trace.chambers.end()) {
                    busy.push_back({stay.span.from_s - warm_up, stay.span.to_s + run_on});
                }
            }
            const double join = trace.files == FileSplit::by_day ? 3 * hour : 10 * minute;
            std::vector<Session> sessions;
            for (const auto& span : busy) { // stays are in order of beginning
                if (!sessions.empty() && span.from_s <= sessions.back().span.to_s + join) {
                    sessions.back().span.to_s = std::max(sessions.back().span.to_s, span.to_s);
                } else {
                    sessions.push_back({.span = span});
                }
            }
            for (const auto& fault : plan_.faults) {
                if (fault.kind == FaultKind::torn_file && fault.name == trace.name) {
                    tear(sessions, fault, trace.name);
                }
            }
            season_.sessions.push_back(std::move(sessions));
        }
    }

    void tear(std::vector<Session>& sessions, const FaultPlan& fault, const std::string& name) {
        const double from = (fault.day - 1) * day_length;
        for (auto& session : sessions) {
            if (session.span.from_s >= from) {
                session.torn = true;
                season_.planted.push_back({.kind = "torn_file",
                                           .where = name,
                                           .from_s = session.span.to_s,
                                           .to_s = session.span.to_s});
                return;
            }
        }
    }

    const SimulationPlan& plan_;
    std::uint64_t seed_;
    Season season_;
    std::vector<double> free_; ///< per chamber: when the next fish may come
    std::vector<int> used_;
    std::vector<std::size_t> round_;
    std::vector<double> chase_excess_;
    std::vector<double> slow_rates_;
    std::vector<std::pair<std::size_t, double>> cleanings_;
};

} // namespace

double SimulatedClock::slipped_s(double t_s) const {
    double sum = 0.0;
    for (const auto& [at, seconds] : slips) {
        sum += t_s >= at ? seconds : 0.0;
    }
    return sum;
}

double SimulatedClock::error_s(double t_s) const {
    return offset_s + (drift_s_per_day * t_s / day_length) + slipped_s(t_s);
}

Random stream(std::uint64_t seed, StreamOf what, std::uint64_t number) {
    return Random(seed, (static_cast<std::uint64_t>(what) << 40U) + number);
}

Expected<Season> lay_out(const SimulationPlan& plan, std::uint64_t seed) {
    auto zone = Zone::named(plan.study.zone);
    if (!zone) {
        return fail(std::move(zone).error());
    }
    const auto zero = zone->midnight(plan.study.first_year, plan.study.first_month, plan.study.first_day);
    if (!zero) {
        return fail(Error(zero.error()));
    }
    return Layout(plan, seed, Season{.zone = *zone, .zero = *zero}).made();
}

double saturation_at(const SimulationPlan& plan, const Season& season, double t_s) {
    return water::saturation_mg_per_l(season.temperature.at(t_s), plan.water.salinity,
                                      plan.water.pressure_kpa);
}

} // namespace backeddy::simulate
