#include "simulate/condition_tables.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "simulate/tables.hpp"

namespace backeddy::simulate {

namespace {

const std::array<const char*, 4> fin_levels{"whole", "slight", "moderate", "severe"};
const std::array<const char*, 4> body_levels{"none", "slight", "moderate", "heavy"};

std::string when(const Season& season, double t_s) {
    return season.zone.iso_with_offset(season.instant(t_s));
}

std::string when(const Season& season, std::optional<double> t_s) {
    return t_s ? when(season, *t_s) : std::string();
}

std::string exact(std::optional<double> value) {
    return value ? exact_text(*value) : std::string();
}

/// Every fourth tube was parted, for another freezer.
bool has_second_tube(std::size_t fish) {
    return fish % 4 == 0;
}

// ---- blood, samples

std::string blood_table(const SimulationPlan& plan, const Season& season, const Condition& condition) {
    std::string text =
        "fish,drawn_at,analyte,value,unit,device,volume_ml,matrix,haemolysis,sample,who,note\n";
    for (std::size_t f = 0; f < condition.blood.size(); ++f) {
        const auto& draw = condition.blood[f];
        const bool is_red = plan.blood->haemolysed_fish == static_cast<int>(f) + 1;
        std::string volume = fixed_text(draw.volume_ml, 2); // in the first row of a draw
        const auto row = [&](const std::string& analyte, const std::string& value, const char* unit,
                             const std::string& device) {
            text += csv_row({season.fish[f].id, when(season, draw.drawn_s), analyte, value, unit, device,
                             std::exchange(volume, ""), "whole_blood", is_red ? "marked" : "none", "",
                             "physiologist", "simulated"});
        };
        row("haematocrit", fixed_text(draw.haematocrit_percent, 0), "%", "centrifuge");
        for (std::size_t m = 0; m < plan.meters.size(); ++m) {
            row(word_of(plan.meters[m].analyte), fixed_text(condition.meter_readings[m][f], 1), "mmol/L",
                plan.meters[m].name);
        }
    }
    return text;
}

std::string sample_table(const Season& season, const Condition& condition) {
    std::string text = "sample,fish,taken_at,matrix,split_of,volume_ul,freezer,thaws,note\n";
    for (std::size_t f = 0; f < condition.blood.size(); ++f) {
        const auto& draw = condition.blood[f];
        const auto tube = plasma_tube(season.fish[f]);
        constexpr double poured_share = 0.7; // of the plasma; the rest stays on the cells
        const double plasma_ul =
            1000.0 * draw.volume_ml * (1.0 - (draw.haematocrit_percent / 100.0)) * poured_share;
        const auto row = [&](const std::string& label, const std::string& split_of, double share,
                             const char* freezer, const char* thaws) {
            text += csv_row({label, season.fish[f].id, when(season, draw.drawn_s), "plasma", split_of,
                             fixed_text(std::round(plasma_ul * share / 10.0) * 10.0, 0), freezer, thaws,
                             "simulated"});
        };
        row(tube, "", has_second_tube(f) ? 0.5 : 1.0, "freezer 1, box 2", "1");
        if (has_second_tube(f)) {
            row(tube + "2", tube, 0.5, "freezer 2, box 1", "0");
        }
    }
    return text;
}

// ---- plates

/// The laboratory's days come after the season.
double read_at_s(const Season& season, std::size_t plate) {
    constexpr double day_length = 86400.0;
    constexpr double hour = 3600.0;
    return season.end_s + (2.0 * day_length) + (10.0 * hour) + (2.5 * hour * static_cast<double>(plate));
}

std::string plate_table(const SimulationPlan& plan, const Season& season) {
    std::string text = "plate,file,analyte,unit,run_at,who,note\n";
    for (std::size_t p = 0; p < plan.plates.size(); ++p) {
        text += csv_row({plan.plates[p].name, export_file(plan.plates[p]), "cortisol", "ng/mL",
                         when(season, read_at_s(season, p)), "assay bench", "simulated"});
    }
    return text;
}

std::string well_table(const SimulationPlan& plan, const AssayPlates& plates) {
    std::string text = "plate,well,holds,label,concentration,dilution,added,excluded,note\n";
    for (std::size_t p = 0; p < plates.size(); ++p) {
        for (const auto& well : plates[p]) {
            text += csv_row({plan.plates[p].name, well.name(), well.holds, well.label, exact(well.nominal),
                             exact(well.dilution), exact(well.added), "", ""});
        }
    }
    return text;
}

// ---- fins, body, reflexes

/// All fins, a row each, as the first scorer writes it.
std::string full_rows(const std::vector<std::string>& look, const FinLevels& levels,
                      const std::string& scorer, const std::string& at) {
    std::string text;
    for (std::size_t fin = 0; fin < rayed_fins; ++fin) {
        const auto level = static_cast<std::size_t>(levels.at(fin));
        const bool is_tail = fin_names().at(fin) == "caudal";
        text +=
            csv_row({look[0], look[1], fin_names().at(fin), fin_levels.at(level), level >= 2 ? "yes" : "no",
                     level >= 1 ? "yes" : "no", is_tail && level >= 1 ? "yes" : "no", scorer, at, ""});
    }
    return text;
}

/// The others write the usual level once, as a number, and the fins that differ.
std::string short_rows(const std::vector<std::string>& look, const FinLevels& levels,
                       const std::string& scorer, const std::string& at) {
    int usual = 0;
    std::ptrdiff_t most = 0;
    for (int level = 0; level <= 3; ++level) {
        const auto count = std::count(levels.begin(), levels.end(), level);
        if (count > most) {
            most = count;
            usual = level;
        }
    }
    std::string text = csv_row({look[0], look[1], "all", std::to_string(usual), "", "", "", scorer, at, ""});
    for (std::size_t fin = 0; fin < rayed_fins; ++fin) {
        if (levels.at(fin) != usual) {
            text += csv_row({look[0], look[1], fin_names().at(fin), std::to_string(levels.at(fin)), "", "",
                             "", scorer, at, ""});
        }
    }
    return text;
}

std::string fin_table(const SimulationPlan& plan, const Season& season, const Condition& condition) {
    std::string text = "fish,occasion,fin,score,split,fray,net_marks,scorer,at,note\n";
    for (std::size_t f = 0; f < condition.fins.size(); ++f) {
        for (const auto& look : condition.fins[f]) {
            const std::vector<std::string> who{season.fish[f].id, look.occasion};
            for (std::size_t s = 0; s < look.scored.size(); ++s) {
                const auto rows = s == 0 ? full_rows : short_rows;
                text += rows(who, look.scored[s], plan.fins->scorers[s], when(season, look.at_s));
            }
        }
    }
    return text;
}

std::string body_table(const SimulationPlan& plan, const Season& season, const Condition& condition) {
    std::string text = "fish,occasion,area,score,scorer,at,note\n";
    for (std::size_t f = 0; f < condition.body.size(); ++f) {
        const auto& look = condition.body[f];
        const auto row = [&](const char* area, int level) {
            text +=
                csv_row({season.fish[f].id, "landing", area, body_levels.at(static_cast<std::size_t>(level)),
                         plan.fins->scorers.front(), when(season, look.at_s), ""});
        };
        row("all", look.scales);
        if (look.flank != look.scales) {
            row("left_flank", look.flank);
        }
        if (look.has_eyes) {
            row("left_eye", 0);
            row("right_eye", 0);
        }
        row("hook_wound", look.bleeding);
    }
    return text;
}

std::string reflex_table(const SimulationPlan& plan, const Season& season, const Condition& condition) {
    std::string text = "fish,at,test,there,who,note\n";
    for (std::size_t f = 0; f < condition.reflexes.size(); ++f) {
        const auto& look = condition.reflexes[f];
        for (std::size_t t = 0; t < look.is_lost.size(); ++t) {
            const bool is_untested = look.untested == t;
            text += csv_row({season.fish[f].id, when(season, look.at_s), plan.reflexes->tests[t],
                             is_untested       ? ""
                             : look.is_lost[t] ? "no"
                                               : "yes",
                             "deck hand", is_untested ? "forgotten" : ""});
        }
    }
    return text;
}

// ---- fates

std::string fate_table(const Season& season, const Condition& condition) {
    std::string text = "fish,at,what,last_alive,stage,cause,tag_type,tag_serial,tag_place,note\n";
    for (std::size_t f = 0; f < condition.fates.size(); ++f) {
        for (const auto& row : condition.fates[f].rows) {
            text +=
                csv_row({season.fish[f].id, when(season, row.at_s), row.what, when(season, row.last_alive_s),
                         row.stage, row.cause, row.tag_type, row.tag_serial, row.tag_place, row.note});
        }
    }
    return text;
}

std::string quoted_list(const std::vector<std::string>& words) {
    std::string out;
    for (const auto& word : words) {
        out += (out.empty() ? "" : ", ") + quoted(word);
    }
    return "[" + out + "]";
}

/// Each pair the meter's reading and the laboratory's.
std::string meter_section(const MeterPlan& meter, const std::vector<MeterReading>& pairs) {
    std::string text = fmt::format("[[meter]]\ndevice = {}\nanalyte = \"{}\"\npairs = [\n",
                                   quoted(meter.name), word_of(meter.analyte));
    for (const auto& pair : pairs) {
        text += fmt::format("  [{}, {}],\n", fixed_text(pair.meter, 1), fixed_text(pair.laboratory, 2));
    }
    return text + "]\n\n";
}

} // namespace

AssayPlates assay_plates(const SimulationPlan& plan, const Season& season, const Condition& condition,
                         std::uint64_t seed) {
    AssayPlates out;
    for (std::size_t p = 0; p < plan.plates.size(); ++p) {
        out.push_back(assay_wells(plan, season, condition.blood, p, seed));
    }
    return out;
}

std::vector<NamedText> condition_files(const SimulationPlan& plan, const Season& season,
                                       const Condition& condition, const AssayPlates& plates) {
    std::vector<NamedText> files;
    if (plan.blood) {
        files.emplace_back("blood.csv", blood_table(plan, season, condition));
        files.emplace_back("samples.csv", sample_table(season, condition));
    }
    if (!plates.empty()) {
        files.emplace_back("plates.csv", plate_table(plan, season));
        files.emplace_back("wells.csv", well_table(plan, plates));
    }
    for (std::size_t p = 0; p < plates.size(); ++p) {
        files.emplace_back(export_file(plan.plates[p]),
                           export_text(plan.plates[p], plates[p],
                                       season.zone.iso_local(season.instant(read_at_s(season, p)))));
    }
    if (plan.fins) {
        files.emplace_back("fins.csv", fin_table(plan, season, condition));
        files.emplace_back("body.csv", body_table(plan, season, condition));
    }
    if (plan.reflexes) {
        files.emplace_back("reflexes.csv", reflex_table(plan, season, condition));
    }
    if (plan.fates) {
        files.emplace_back("fates.csv", fate_table(season, condition));
    }
    return files;
}

std::string condition_brief(const SimulationPlan& plan, const Condition& condition) {
    std::string text;
    for (std::size_t m = 0; m < plan.meters.size(); ++m) {
        text += meter_section(plan.meters[m], condition.pairs[m]);
    }
    if (plan.blood && plan.blood->ceiling_ml_per_kg) {
        text +=
            fmt::format("[blood]\nceiling_ml_per_kg = {}\n\n", exact_text(*plan.blood->ceiling_ml_per_kg));
    }
    if (plan.fins) {
        text += fmt::format("[fins]\nscale = {}\n\n[body]\nscale = {}\n\n",
                            quoted_list({fin_levels.begin(), fin_levels.end()}),
                            quoted_list({body_levels.begin(), body_levels.end()}));
    }
    if (plan.reflexes) {
        text += fmt::format("[reflexes]\ntests = {}\n\n", quoted_list(plan.reflexes->tests));
    }
    return text;
}

} // namespace backeddy::simulate
