#include "app/detail/why_condition.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/condition_parts.hpp"
#include "app/detail/results_condition_parts.hpp"
#include "base/number_text.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Known;

std::string lines(const std::vector<std::string>& texts, const char* before) {
    std::string out;
    for (const auto& text : texts) {
        out += fmt::format("{}{}\n", before, text);
    }
    return out;
}

std::string value_line(const std::string& fish, const BloodValue& value) {
    const auto& determined = value.determined;
    const char* sign = determined.known == Known::below   ? "below "
                       : determined.known == Known::above ? "above "
                                                          : "";
    std::string out = fmt::format("{}: {} of {} = {}{} {}", fish, study::word_of(value.analyte),
                                  spaced(study::word_of(value.matrix)), sign,
                                  significant_text(determined.value, 4), determined.unit);
    if (determined.known == Known::exactly && value.interval) {
        out += fmt::format(" (95 %: {} to {})", significant_text(value.interval->lower, 3),
                           significant_text(value.interval->upper, 3));
    } else if (determined.known == Known::exactly && determined.uncertainty) {
        out += fmt::format(" (standard uncertainty {})", significant_text(*determined.uncertainty, 2));
    }
    return out + (value.as_written.empty() ? "" : ", written as " + value.as_written) + "\n";
}

/// "  C3: 1.013 (raw/plates/p1.csv, line 12)".
std::string well_lines(const PlateAnswer& plate, const std::vector<std::string>& wells) {
    std::string out;
    for (const auto& name : wells) {
        const auto place = condition::well_place(name);
        const auto cell = std::ranges::find_if(plate.reading->wells, [&](const intake::PlateCell& one) {
            return place && one.row == place->row && one.column == place->column;
        });
        if (cell != plate.reading->wells.end() && cell->response) {
            out += fmt::format("  {}: {} ({}, line {})\n", name, exact_text(*cell->response), plate.row.file,
                               cell->line);
        }
    }
    return out;
}

std::string curve_lines(const PlateAnswer& plate) {
    const auto& fit = plate.result->curve;
    const auto& curve = fit.curve;
    std::string out = fmt::format(
        "standard curve of plate {} ({}): {} without analyte, {} at the greatest concentrations, half way at "
        "{} {}, slope {}{}; {}\nits standards, from {} to {} {}:\n",
        plate.row.id.text(), row_text(plate.row.place), significant_text(curve.at_zero, 4),
        significant_text(curve.at_infinity, 4), significant_text(curve.half, 4), plate.row.unit,
        significant_text(curve.slope, 3),
        fit.kind == condition::LogisticKind::five
            ? fmt::format(", asymmetry {}", significant_text(curve.asymmetry, 3))
            : std::string(),
        plate.result->noise_from, short_text(fit.lowest), short_text(fit.highest), plate.row.unit);
    for (const auto& level : plate.result->standards) {
        out += fmt::format(
            "  {}: {}{}\n", exact_text(level.nominal), fmt::join(level.responses.wells, ", "),
            level.recovery ? fmt::format(", read back as {} %", significant_text(100.0 * *level.recovery, 3))
                           : std::string());
    }
    return out;
}

std::string read_text(const condition::BackCalculated& read, const std::string& unit) {
    if (read.reach == condition::Reach::on_curve) {
        return fmt::format("{} {}", significant_text(read.concentration, 4), unit);
    }
    return read.reach == condition::Reach::below ? "below the standards" : "above the standards";
}

std::string plate_lines(const PlateAnswers& plates, const BloodValue& value) {
    const auto plate = std::ranges::find_if(
        plates.list, [&](const PlateAnswer& one) { return one.row.id.text() == value.plate; });
    if (plate == plates.list.end() || !plate->result || !plate->reading) {
        return {};
    }
    std::string out = "its wells, as read:\n" + well_lines(*plate, value.wells);
    const auto material =
        std::ranges::find(plate->result->samples, value.sample, &condition::Material::label);
    if (material != plate->result->samples.end()) {
        for (const auto& step : material->steps) {
            out += fmt::format("  mean {} at dilution {:g}: {} in the well\n",
                               significant_text(step.responses.as_read, 5), step.dilution,
                               read_text(step.read, plate->row.unit));
        }
    }
    return out + curve_lines(*plate);
}

Expected<std::string> none(const std::string& fish, const std::string& metric, const std::string& reason) {
    return fail({.code = ErrorCode::too_few, .found = fmt::format("{} has no {}: {}", fish, metric, reason)});
}

Expected<std::string> why_analyte(const Answers& answers, std::size_t fish, condition::Analyte analyte,
                                  const std::string& metric) {
    const auto& id = answers.fish[fish].fish->id.text();
    std::string out;
    for (const auto& draw : answers.condition.fish[fish].draws) {
        for (const auto& value : draw.values) {
            if (value.analyte == analyte) {
                out += value_line(id, value) +
                       fmt::format("drawn at {}; it comes from {}\n", iso_text(draw.at), value.from) +
                       (value.device.empty() ? "" : "measured with " + value.device + "\n") +
                       plate_lines(answers.plates, value) +
                       lines(value.doubts, "look at it before it is used: ") +
                       lines(value.determined.notes, "note: ");
            }
        }
        out += out.empty() ? "" : lines(draw.notes, "of the draw: ");
    }
    return out.empty() ? none(id, metric, "none was measured of it, or none that counts") : out;
}

Expected<std::string> why_fins(const std::string& id, const FishCondition& fish) {
    std::string out;
    for (const auto& one : fish.fins) {
        out += fmt::format("{}: fins at {} by {}: {}\n", id, study::word_of(one.look.look.occasion),
                           one.look.look.scorer.empty() ? "somebody" : one.look.look.scorer,
                           !one.index        ? one.index.error().text()
                           : one.index->mean ? "index " + significant_text(*one.index->mean, 3)
                                             : std::string("too few fins scored for an index"));
        for (const auto& score : one.look.scores) {
            out += fmt::format("  {}: {}\n", study::word_of(score.fin),
                               score.level ? fmt::format("level {}", *score.level) : "not scored");
        }
    }
    return out.empty() ? none(id, "fins", "nobody scored them") : out + "each is a row of fins.csv\n";
}

Expected<std::string> why_reflexes(const std::string& id, const FishCondition& fish) {
    std::string out;
    for (const auto& one : fish.reflexes) {
        out += fmt::format("{}: reflexes at {}\n", id, iso_text(one.look.at));
        for (const auto& test : one.look.tests) {
            out += fmt::format("  {}: {}\n", test.name,
                               !test.is_impaired   ? "not tested"
                               : *test.is_impaired ? "lost"
                                                   : "there");
        }
    }
    return out.empty() ? none(id, "reflexes", "none was tested") : out + "each is a row of reflexes.csv\n";
}

Expected<std::string> why_fate(const Answers& answers, std::size_t fish) {
    const auto& id = answers.fish[fish].fish->id;
    const auto known =
        study::fate_records(id, answers.condition.sheets.fates, answers.study.brief, answers.study.tables);
    std::string out;
    for (const auto& record : known.records) {
        out += fmt::format("{}: {} at {} ({})\n", id.text(), study::word_of(record.kind), iso_text(record.at),
                           row_text(known.places.at(record.row)));
    }
    for (const auto& one : known.set_aside) {
        out += fmt::format("{}: {} at {} ({}), before it was met: does not count\n", id.text(),
                           study::word_of(one.kind), iso_text(one.at), row_text(one.place));
    }
    return out.empty() ? none(id.text(), "fate", "nothing is written down of it") : out;
}

} // namespace

std::vector<std::string> condition_metrics() {
    std::vector<std::string> out = study::words_of(condition::Analyte{});
    out.insert(out.end(), {"fins", "reflexes", "fate"});
    return out;
}

Expected<std::string> why_condition(const Answers& answers, std::size_t fish, const std::string& metric) {
    const auto& condition = answers.condition.fish[fish];
    const auto& id = answers.fish[fish].fish->id.text();
    if (const auto analyte = study::value_of<condition::Analyte>(metric)) {
        return why_analyte(answers, fish, *analyte, metric);
    }
    return metric == "fins"       ? why_fins(id, condition)
           : metric == "reflexes" ? why_reflexes(id, condition)
                                  : why_fate(answers, fish);
}

} // namespace backeddy::app::detail
