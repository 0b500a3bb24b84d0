#include "simulate/condition.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/random.hpp"

namespace backeddy::simulate {

namespace {

constexpr double minute = 60.0;
constexpr double hour = 3600.0;
constexpr double day_length = 86400.0;

bool names(const std::vector<int>& fish, std::size_t index) {
    return std::find(fish.begin(), fish.end(), static_cast<int>(index) + 1) != fish.end();
}

bool is_number(int fish, std::size_t index) {
    return fish == static_cast<int>(index) + 1;
}

double whole_minutes(double seconds) {
    return std::round(seconds / minute) * minute;
}

double between(Random& random, double from, double to) {
    return from + ((to - from) * random.uniform());
}

// ---- blood

/// How hard the event was on the fish: by rig and unhooking, longer with fight and air, and its own.
double response_of(const SimulationPlan& plan, const SimulatedFish& fish, Random& random) {
    const auto blood = plan.blood.value_or(BloodPlan{});
    const auto& rig = plan.rigs[fish.rig];
    const auto& unhooking = plan.unhookings[fish.unhooking];
    const double usual_fight_s = (rig.fight_s.from + rig.fight_s.to) / 2.0;
    const double fight_min = (fish.landed_s - fish.hook_up_s - usual_fight_s) / minute;
    const double air_min = fish.air_s / minute;
    return rig.blood_factor * unhooking.blood_factor *
           std::max(0.1, 1.0 + (blood.fight_share_per_min * fight_min)) *
           (1.0 + (blood.air_share_per_min * air_min)) * std::exp(blood.between_fish_share * random.normal());
}

double level(const AnalytePlan& analyte, double response, double minutes, Random& random) {
    constexpr double own_share = 0.12; // sd of the logarithm: analytes do not go wholly together
    const double rest = analyte.resting * std::exp(own_share * random.normal());
    const double rise = analyte.rise * response * std::exp(own_share * random.normal());
    return rest + (rise * (1.0 - std::exp(-minutes / analyte.minutes)));
}

double drawn_at_s(const Season& season, const SimulatedFish& fish) {
    const auto event = std::find_if(season.events.begin(), season.events.end(), [&](const Event& one) {
        return one.word == "blood" && one.fish == fish.id;
    });
    return event == season.events.end() ? season.stays[fish.tube_stay].span.to_s : event->at_s;
}

BloodDraw draw_of(const BloodPlan& plan, const Season& season, std::size_t index, double response,
                  Random& random) {
    const auto& fish = season.fish[index];
    BloodDraw draw{.drawn_s = drawn_at_s(season, fish)};
    const double minutes = (draw.drawn_s - fish.hook_up_s) / minute;
    draw.cortisol_ng_per_ml = level(plan.cortisol, response, minutes, random);
    draw.lactate_mmol_per_l = level(plan.lactate, response, minutes, random);
    draw.glucose_mmol_per_l = level(plan.glucose, response, minutes, random);
    draw.haematocrit_percent = std::min(80.0, level(plan.haematocrit, response, minutes, random));
    if (is_number(plan.low_fish, index)) {
        draw.cortisol_ng_per_ml = plan.low_ng_per_ml;
    }
    if (is_number(plan.high_fish, index)) {
        draw.cortisol_ng_per_ml = plan.high_ng_per_ml;
    }
    // A syringe is read to 0.05 mL, and never filled over what the permit says.
    constexpr double syringe_ml = 0.05;
    const double kg = fish.weighed_g / 1000.0;
    double ml = kg * plan.volume_ml_per_kg * between(random, 0.85, 1.15);
    ml = plan.ceiling_ml_per_kg ? std::min(ml, kg * *plan.ceiling_ml_per_kg) : ml;
    draw.volume_ml = std::max(1.0, std::floor(ml / syringe_ml)) * syringe_ml;
    return draw;
}

double true_value(MeterAnalyte analyte, const BloodDraw& draw) {
    return analyte == MeterAnalyte::lactate ? draw.lactate_mmol_per_l : draw.glucose_mmol_per_l;
}

/// To the tenth that its display has, and never below 0.
double shown(const MeterPlan& meter, double truth, Random& random) {
    const double reading = meter.offset + (meter.gain * truth) + (meter.error_sd * random.normal());
    return std::max(0.0, std::round(reading * 10.0) / 10.0);
}

std::vector<MeterReading> calibration(const MeterPlan& meter, Random& random) {
    std::vector<MeterReading> pairs;
    for (int i = 0; i < meter.pairs; ++i) {
        const double truth = between(random, meter.pairs_from, meter.pairs_to);
        const double laboratory = std::max(0.0, truth + (meter.reference_sd * random.normal()));
        pairs.push_back(
            {.laboratory = std::round(laboratory * 100.0) / 100.0, .meter = shown(meter, truth, random)});
    }
    return pairs;
}

// ---- fins, body, reflexes

int as_level(double severity) {
    return static_cast<int>(std::clamp(std::round(severity), 0.0, 3.0));
}

double injury_of(const SimulationPlan& plan, const SimulatedFish& fish) {
    return plan.rigs[fish.rig].injury_factor * plan.unhookings[fish.unhooking].injury_factor;
}

FinLevels scores(const FinPlan& plan, const FinLevels& truth, Random& random) {
    FinLevels out = truth;
    for (auto& one : out) {
        if (random.uniform() < plan.misjudged_share) {
            const bool is_up = one == 0 || (one < 3 && random.uniform() < 0.5);
            one += is_up ? 1 : -1;
        }
    }
    return out;
}

std::vector<FinLook> fin_looks(const SimulationPlan& plan, const Season& season, std::size_t index,
                               Random& random) {
    const auto& fins = *plan.fins;
    const auto& fish = season.fish[index];
    const double own = (fins.severity * injury_of(plan, fish)) + (fins.between_fish_sd * random.normal());
    FinLook landing{.occasion = "landing", .at_s = fish.back_in_water_s};
    FinLook before{.occasion = "before_holding", .at_s = drawn_at_s(season, fish) + (3 * minute)};
    FinLook after{.occasion = "after_holding", .at_s = fish.chase_start_s - (2 * minute)};
    for (std::size_t fin = 0; fin < rayed_fins; ++fin) {
        const double severity = own + (fins.between_fins_sd * random.normal());
        landing.truth.at(fin) = as_level(severity);
        after.truth.at(fin) = as_level(severity + fins.holding);
    }
    before.truth = landing.truth; // nothing rubs in the tube
    const bool by_all = fins.both_every > 0 && index % static_cast<std::size_t>(fins.both_every) == 0;
    for (auto* look : {&landing, &before, &after}) {
        for (std::size_t scorer = 0; scorer < (by_all ? fins.scorers.size() : 1); ++scorer) {
            look->scored.push_back(scores(fins, look->truth, random));
        }
    }
    if (fish.chase_stay) {
        return {landing, before, after};
    }
    return {landing, before}; // nobody scores a fish that died in the night
}

BodyLook body_look(const SimulationPlan& plan, const Season& season, std::size_t index, Random& random) {
    constexpr double eyes_share = 0.9;
    const auto& fins = *plan.fins;
    const double injury = injury_of(plan, season.fish[index]);
    BodyLook look{.at_s = season.fish[index].back_in_water_s};
    const double severity = (0.6 * injury) + (fins.between_fish_sd * random.normal());
    look.scales = as_level(severity);
    look.flank = as_level(severity + std::abs(0.6 * random.normal()));
    if (random.uniform() < std::min(1.0, fins.bleeding_share * injury)) {
        look.bleeding = random.uniform() < 0.75 ? 1 : 2;
    }
    look.has_eyes = random.uniform() < eyes_share;
    return look;
}

ReflexLook reflex_look(const ReflexPlan& plan, const SimulatedFish& fish, std::size_t index, double response,
                       Random& random) {
    ReflexLook look{.at_s = fish.back_in_water_s};
    const double lost_share = 1.0 - std::pow(1.0 - plan.lost_share, response);
    for (std::size_t test = 0; test < plan.tests.size(); ++test) {
        look.is_lost.push_back(random.uniform() < lost_share);
    }
    if (is_number(plan.untested_fish, index)) {
        look.untested = plan.tests.size() - 1;
    }
    return look;
}

// ---- fates

/// Fills one fish's fate; `made` at the end reads as the order of its life.
class Life {
  public:
    Life(const SimulationPlan& plan, const Season& season, std::size_t index, Random& random)
        : plan_(*plan.fates), season_(season), fish_(season.fish[index]), index_(index), random_(random) {}

    FishFate made() {
        fate_.ending = "alive";
        add({.at_s = drawn_at_s(season_, fish_) + (2 * minute),
             .what = "tagged",
             .stage = "transfer",
             .tag_type = plan_.tag_type,
             .tag_serial = fmt::format("SIM-{:03}", index_ + 1),
             .tag_place = "external"});
        const auto out_s = out_of_last_tube_s(season_, fish_);
        if (!out_s) {
            dies_ashore();
            return std::move(fate_);
        }
        if (names(plan_.implanted, index_)) {
            add(transmitter(*out_s - (3 * minute), "tagged", "chase"));
        }
        if (names(plan_.held, index_)) {
            stays_in_the_pen(*out_s);
        } else {
            fate_.released_s = *out_s; // told by events.csv
        }
        if (fate_.released_s) {
            goes_free(*fate_.released_s);
        }
        return std::move(fate_);
    }

  private:
    void add(FateRow row) {
        row.at_s = whole_minutes(row.at_s);
        fate_.rows.push_back(std::move(row));
    }

    [[nodiscard]] FateRow transmitter(double at_s, const char* what, const char* stage) const {
        return {.at_s = at_s,
                .what = what,
                .stage = stage,
                .tag_type = "transmitter",
                .tag_serial = fmt::format("T-{:02}", index_ + 1),
                .tag_place = "implant"};
    }

    void dies(double died_s, double last_alive_s, double found_s) {
        fate_.ending = "dead";
        fate_.died_s = died_s;
        fate_.last_alive_s = whole_minutes(last_alive_s);
        fate_.found_dead_s = whole_minutes(found_s);
    }

    void dies_ashore() {
        const auto& night = season_.stays[fish_.night_stay];
        const auto died_s = fish_.respiration.fish().dies_at_s;
        if (!died_s || !night.last_good_s || !fish_.found_dead_s) {
            return;
        }
        dies(*died_s, *night.last_good_s, *fish_.found_dead_s);
        add({.at_s = *fish_.found_dead_s,
             .what = "dead",
             .last_alive_s = fate_.last_alive_s,
             .stage = "chamber",
             .cause = "not known",
             .note = "found by the watch"});
    }

    void stays_in_the_pen(double from_s) {
        const double end_s = from_s + (plan_.held_days * day_length);
        std::optional<double> died_s;
        if (names(plan_.dead_in_pen, index_)) {
            died_s = between(random_, from_s + (0.1 * (end_s - from_s)), end_s - (0.1 * (end_s - from_s)));
        }
        add({.at_s = from_s, .what = "held", .stage = "holding"});
        double last_alive_s = from_s;
        for (double look_s = from_s + (plan_.look_h * hour); look_s < end_s; look_s += plan_.look_h * hour) {
            if (died_s && *died_s < look_s) {
                return found_in_the_pen(*died_s, last_alive_s, look_s);
            }
            add({.at_s = look_s, .what = "seen_alive", .stage = "holding"});
            last_alive_s = look_s;
        }
        if (died_s) {
            return found_in_the_pen(*died_s, last_alive_s, end_s);
        }
        add({.at_s = end_s, .what = "released", .stage = "holding"});
        fate_.released_s = whole_minutes(end_s);
    }

    void found_in_the_pen(double died_s, double last_alive_s, double found_s) {
        dies(died_s, last_alive_s, found_s);
        add({.at_s = found_s,
             .what = "dead",
             .last_alive_s = fate_.last_alive_s,
             .stage = "holding",
             .cause = "not known",
             .note = "found in the pen"});
    }

    void goes_free(double released_s) {
        const double watch_s = plan_.watch_days * day_length;
        double last_alive_s = released_s;
        if (names(plan_.detected, index_)) {
            const auto times = 2 + random_.below(3);
            for (std::uint64_t i = 0; i < times; ++i) {
                last_alive_s =
                    between(random_, last_alive_s + (0.02 * watch_s), last_alive_s + (0.18 * watch_s));
                add(transmitter(last_alive_s, "detected", "after_release"));
            }
        }
        if (names(plan_.recaptured, index_)) {
            last_alive_s = between(random_, last_alive_s + (0.05 * watch_s), released_s + (0.95 * watch_s));
            add({.at_s = last_alive_s,
                 .what = "recaptured",
                 .stage = "after_release",
                 .tag_type = plan_.tag_type,
                 .tag_serial = fmt::format("SIM-{:03}", index_ + 1),
                 .note = "told by an angler, let go again"});
        }
        if (names(plan_.lost, index_)) {
            fate_.ending = "lost";
            add({.at_s = released_s + watch_s,
                 .what = "lost",
                 .last_alive_s = whole_minutes(last_alive_s),
                 .stage = "after_release",
                 .cause = "not met again"});
        }
    }

    const FatePlan& plan_;
    const Season& season_;
    const SimulatedFish& fish_;
    std::size_t index_;
    Random& random_;
    FishFate fate_;
};

} // namespace

const std::array<std::string, rayed_fins>& fin_names() {
    static const std::array<std::string, rayed_fins> names{
        "dorsal", "caudal", "anal", "left_pectoral", "right_pectoral", "left_pelvic", "right_pelvic"};
    return names;
}

std::string plasma_tube(const SimulatedFish& fish) {
    return fish.id + "-P";
}

std::optional<double> out_of_last_tube_s(const Season& season, const SimulatedFish& fish) {
    return fish.chase_stay ? std::optional(season.stays[*fish.chase_stay].span.to_s + (8 * minute))
                           : std::nullopt;
}

bool is_held(const SimulationPlan& plan, std::size_t fish) {
    return plan.fates && names(plan.fates->held, fish);
}

Condition lay_out_condition(const SimulationPlan& plan, const Season& season, std::uint64_t seed) {
    Condition out;
    for (std::size_t f = 0; f < season.fish.size(); ++f) {
        auto blood = stream(seed, StreamOf::blood, f);
        const double response = response_of(plan, season.fish[f], blood);
        out.response.push_back(response);
        if (plan.blood) {
            out.blood.push_back(draw_of(*plan.blood, season, f, response, blood));
        }
        auto scored = stream(seed, StreamOf::score, f);
        if (plan.fins) {
            out.fins.push_back(fin_looks(plan, season, f, scored));
            out.body.push_back(body_look(plan, season, f, scored));
        }
        if (plan.reflexes) {
            auto tested = stream(seed, StreamOf::reflex, f);
            out.reflexes.push_back(reflex_look(*plan.reflexes, season.fish[f], f, response, tested));
        }
        if (plan.fates) {
            auto life = stream(seed, StreamOf::fate, f);
            out.fates.push_back(Life(plan, season, f, life).made());
        }
    }
    for (std::size_t m = 0; m < plan.meters.size(); ++m) {
        auto random = stream(seed, StreamOf::meter, m);
        out.pairs.push_back(calibration(plan.meters[m], random));
        auto& readings = out.meter_readings.emplace_back();
        for (const auto& draw : out.blood) {
            readings.push_back(shown(plan.meters[m], true_value(plan.meters[m].analyte, draw), random));
        }
    }
    return out;
}

} // namespace backeddy::simulate
