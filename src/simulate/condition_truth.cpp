// The truth of the sheets of a fish's condition.

#include <cmath>
#include <optional>

#include "base/number_text.hpp"
#include "simulate/condition_tables.hpp"
#include "simulate/tables.hpp"

namespace backeddy::simulate {

namespace {

std::string when(const Season& season, double t_s) {
    return iso_text(
        Instant::unix_nanoseconds(season.zero.unix_nanoseconds() + (std::llround(t_s * 1000.0) * 1'000'000)));
}

std::string when(const Season& season, std::optional<double> t_s) {
    return t_s ? when(season, *t_s) : std::string();
}

std::string number(double value) {
    return significant_text(value, 7);
}

std::string blood_truth(const SimulationPlan& plan, const Season& season, const Condition& condition) {
    std::string text = "fish,drawn_at,response,volume_ml,cortisol_ng_per_ml,lactate_mmol_per_l,"
                       "glucose_mmol_per_l,haematocrit_percent,planted\n";
    for (std::size_t f = 0; f < condition.blood.size(); ++f) {
        const auto& draw = condition.blood[f];
        const int fish = static_cast<int>(f) + 1;
        const char* planted = fish == plan.blood->low_fish          ? "low"
                              : fish == plan.blood->high_fish       ? "high"
                              : fish == plan.blood->haemolysed_fish ? "haemolysed"
                                                                    : "";
        text +=
            csv_row({season.fish[f].id, when(season, draw.drawn_s), number(condition.response[f]),
                     number(draw.volume_ml), number(draw.cortisol_ng_per_ml), number(draw.lactate_mmol_per_l),
                     number(draw.glucose_mmol_per_l), number(draw.haematocrit_percent), planted});
    }
    return text;
}

std::string meter_truth(const SimulationPlan& plan) {
    std::string text = "device,analyte,gain,offset_mmol_per_l,error_sd_mmol_per_l,reference_sd_mmol_per_l\n";
    for (const auto& meter : plan.meters) {
        text += csv_row({meter.name, word_of(meter.analyte), number(meter.gain), number(meter.offset),
                         number(meter.error_sd), number(meter.reference_sd)});
    }
    return text;
}

std::string plate_truth(const SimulationPlan& plan) {
    std::string text = "plate,top,bottom,middle_ng_per_ml,slope,noise_share,noise_power,edge_percent,"
                       "bad_standard_ng_per_ml,bad_factor\n";
    for (const auto& plate : plan.plates) {
        const bool is_bad = plate.bad_standard > 0;
        const double bad =
            is_bad ? plate.standards_ng_per_ml[static_cast<std::size_t>(plate.bad_standard) - 1] : 0.0;
        text += csv_row({plate.name, number(plate.top), number(plate.bottom), number(plate.middle_ng_per_ml),
                         number(plate.slope), number(plate.noise_share), number(plate.noise_power),
                         number(plate.edge_percent), is_bad ? number(bad) : "",
                         is_bad ? number(plate.bad_factor) : ""});
    }
    return text;
}

std::string well_truth(const SimulationPlan& plan, const AssayPlates& plates) {
    std::string text = "plate,well,holds,label,in_well_ng_per_ml,expected_response\n";
    for (std::size_t p = 0; p < plates.size(); ++p) {
        for (const auto& well : plates[p]) {
            text += csv_row({plan.plates[p].name, well.name(), well.holds, well.label,
                             number(well.holds_ng_per_ml), number(well.expected)});
        }
    }
    return text;
}

std::string fin_truth(const Season& season, const Condition& condition) {
    std::string text = "fish,occasion,fin,level\n";
    for (std::size_t f = 0; f < condition.fins.size(); ++f) {
        for (const auto& look : condition.fins[f]) {
            for (std::size_t fin = 0; fin < rayed_fins; ++fin) {
                text += csv_row({season.fish[f].id, look.occasion, fin_names().at(fin),
                                 std::to_string(look.truth.at(fin))});
            }
        }
    }
    return text;
}

std::string body_truth(const Season& season, const Condition& condition) {
    std::string text = "fish,scale_loss,left_flank,bleeding\n";
    for (std::size_t f = 0; f < condition.body.size(); ++f) {
        const auto& look = condition.body[f];
        text += csv_row({season.fish[f].id, std::to_string(look.scales), std::to_string(look.flank),
                         std::to_string(look.bleeding)});
    }
    return text;
}

std::string reflex_truth(const SimulationPlan& plan, const Season& season, const Condition& condition) {
    std::string text = "fish,test,lost\n";
    for (std::size_t f = 0; f < condition.reflexes.size(); ++f) {
        for (std::size_t t = 0; t < plan.reflexes->tests.size(); ++t) {
            text += csv_row({season.fish[f].id, plan.reflexes->tests[t],
                             condition.reflexes[f].is_lost[t] ? "yes" : "no"});
        }
    }
    return text;
}

std::string fate_truth(const Season& season, const Condition& condition) {
    std::string text = "fish,ending,died,last_alive,found_dead,released\n";
    for (std::size_t f = 0; f < condition.fates.size(); ++f) {
        const auto& fate = condition.fates[f];
        text += csv_row({season.fish[f].id, fate.ending, when(season, fate.died_s),
                         when(season, fate.last_alive_s), when(season, fate.found_dead_s),
                         when(season, fate.released_s)});
    }
    return text;
}

} // namespace

std::vector<NamedText> condition_truth(const SimulationPlan& plan, const Season& season,
                                       const Condition& condition, const AssayPlates& plates) {
    std::vector<NamedText> files;
    if (plan.blood) {
        files.emplace_back("truth/blood.csv", blood_truth(plan, season, condition));
    }
    if (!plan.meters.empty()) {
        files.emplace_back("truth/meters.csv", meter_truth(plan));
    }
    if (!plates.empty()) {
        files.emplace_back("truth/plates.csv", plate_truth(plan));
        files.emplace_back("truth/wells.csv", well_truth(plan, plates));
    }
    if (plan.fins) {
        files.emplace_back("truth/fins.csv", fin_truth(season, condition));
        files.emplace_back("truth/body.csv", body_truth(season, condition));
    }
    if (plan.reflexes) {
        files.emplace_back("truth/reflexes.csv", reflex_truth(plan, season, condition));
    }
    if (plan.fates) {
        files.emplace_back("truth/fates.csv", fate_truth(season, condition));
    }
    return files;
}

} // namespace backeddy::simulate
