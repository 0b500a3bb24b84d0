#include "report/detail/page_plates.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

#include "report/detail/condition_parts.hpp"
#include "report/detail/html_parts.hpp"
#include "report/detail/page_parts.hpp"

namespace backeddy::report::detail {

namespace {

/// A plate and its place in the results document.
struct PlateAt {
    const AssayPlate& plate;
    std::string at;
};

std::string line_list(const std::vector<std::string>& texts) {
    std::string out;
    for (const std::string& text : texts) {
        out += "<li>" + html(text) + "</li>";
    }
    return out.empty() ? "" : "<ul class=\"missing\">" + out + "</ul>\n";
}

std::string accepted_words(const std::optional<bool>& is_accepted) {
    return !is_accepted   ? "nothing to hold it against"
           : *is_accepted ? "accepted"
                          : "<strong>not accepted</strong>";
}

// ---------------------------------------------------------------- facts

std::string edge_words(const AssayPlate& plate, const std::string& at) {
    if (!plate.edge_percent.has_value()) {
        return quantity(plate.edge_percent);
    }
    return quantity_with_interval(plate.edge_percent, at + "/edge_percent") +
           (plate.is_edge_clear ? ": <strong>clear</strong>, the interval leaves out 0. It is shown, and no "
                                  "concentration is corrected for it"
                                : ": not clear, the interval holds 0");
}

std::string quantified_words(const AssayPlate& plate) {
    if (!plate.quantified_from.has_value() || !plate.quantified_to.has_value()) {
        return quantity(plate.quantified_from);
    }
    return fmt::format("<span class=\"quantity\">{} to {}</span>", html(bare_text_of(plate.quantified_from)),
                       html(text_of(plate.quantified_to)));
}

std::string facts(const PlateAt& on) {
    const AssayPlate& plate = on.plate;
    std::string text = "<dl class=\"facts\">";
    const auto fact = [&](std::string_view name, const std::string& value_html) {
        if (!value_html.empty()) {
            text += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>", html(name), value_html);
        }
    };
    fact("File", html(plate.file));
    fact("Run", plate.run_at ? moment(plate.run_at) : "");
    fact("By", html(plate.who));
    fact("Understood", html(joined(plate.understood)));
    if (plate.unanswered.empty()) {
        fact("Curve", html(plate.curve_kind));
        fact("Weights", html(plate.weights));
        fact("Accepted standards, from lowest to highest", quantified_words(plate));
        fact("Blank", quantity(plate.blank, on.at + "/blank"));
        fact("Outer wells over inner, less 1", edge_words(plate, on.at));
        fact("CV of replicates, responses",
             quantity(plate.response_cv_percent, on.at + "/response_cv_percent"));
        fact("CV of replicates, concentrations (intra-assay)",
             quantity(plate.concentration_cv_percent, on.at + "/concentration_cv_percent"));
    }
    return text + "</dl>\n";
}

std::string parameters_table(const PlateAt& on) {
    HtmlTable table("The curve's parameters, ± their standard errors", {"Parameter", "Value"});
    for (std::size_t i = 0; i < on.plate.parameters.size(); ++i) {
        const NamedNumber& each = on.plate.parameters[i];
        table.row({html(sentence(each.title)),
                   quantity_with_interval(each.number, fmt::format("{}/parameters/{}/number", on.at, i))});
    }
    return std::move(table).take("The curve's parameters are not known.");
}

std::string limits_table(const PlateAt& on) {
    HtmlTable table("Limits of detection and quantification; below the lowest standard they rest on the "
                    "curve's form",
                    {"Definition", "Concentration, undiluted"});
    for (std::size_t i = 0; i < on.plate.limits.size(); ++i) {
        const PlateLimit& each = on.plate.limits[i];
        table.row({html(sentence(each.definition)),
                   quantity_with_interval(each.concentration,
                                          fmt::format("{}/limits/{}/concentration", on.at, i))});
    }
    return std::move(table).take("No limit of detection: see the remarks.");
}

// ---------------------------------------------------------------- standards

std::string responses_text(const PlateStandard& standard) {
    std::vector<std::string> texts;
    for (const double each : standard.responses) {
        texts.push_back(text_of(number(each, "")));
    }
    return joined(texts, ", ");
}

std::string standards_table(const PlateAt& on) {
    HtmlTable table("Standards, read back from the curve",
                    {"Concentration", "Wells", "Responses", "Mean, as read", "CV", "Read back", "Recovery",
                     "Accepted", "What is wrong with it"});
    for (std::size_t i = 0; i < on.plate.standards.size(); ++i) {
        const PlateStandard& each = on.plate.standards[i];
        const std::string here = fmt::format("{}/standards/{}", on.at, i);
        const bool is_zero = each.concentration == 0.0;
        table.row({html(text_of(as_written(number(each.concentration, on.plate.unit)))) +
                       (is_zero ? " (zero wells)" : ""),
                   html(joined(each.wells, ", ")), html(responses_text(each)),
                   quantity(each.response, here + "/response"),
                   quantity(each.cv_percent, here + "/cv_percent"),
                   quantity_with_interval(each.read_back, here + "/read_back"),
                   quantity_with_interval(each.recovery_percent, here + "/recovery_percent"),
                   is_zero ? std::string() : accepted_words(each.is_accepted), html(joined(each.remarks))});
    }
    return std::move(table).take("The plate has no standard.");
}

// ---------------------------------------------------------------- controls, spikes, samples

std::string wells_of(const PlateMaterial& material) {
    std::vector<std::string> all;
    for (const PlateDilution& step : material.dilutions) {
        all.insert(all.end(), step.wells.begin(), step.wells.end());
    }
    return joined(all, ", ");
}

std::string checked_table(const PlateAt& on, const std::vector<PlateMaterial>& materials,
                          const std::string& list, const std::string& caption, const std::string& expected) {
    HtmlTable table(caption, {"Label", "Wells", "Concentration, 95 % interval", expected, "Recovery",
                              "Accepted", "Remarks"});
    for (std::size_t i = 0; i < materials.size(); ++i) {
        const PlateMaterial& each = materials[i];
        const std::string here = fmt::format("{}/{}/{}", on.at, list, i);
        table.row({html(each.label), html(wells_of(each)),
                   quantity_with_interval(each.concentration, here + "/concentration"),
                   quantity(each.expected, here + "/expected"),
                   quantity_with_interval(each.recovery_percent, here + "/recovery_percent"),
                   accepted_words(each.is_accepted), html(joined(each.remarks))});
    }
    return materials.empty() ? "" : std::move(table).take("");
}

std::string fish_link(const Results& results, const std::string& id) {
    const auto found = std::ranges::find(results.fish, id, &Fish::id);
    if (id.empty() || found == results.fish.end()) {
        return html(id);
    }
    return fmt::format("<a href=\"#{}\">{}</a>",
                       anchor(static_cast<std::size_t>(found - results.fish.begin())), html(id));
}

/// Of one dilution its number; of several, which stand in a table of their own, how many.
std::string dilution_words(const PlateMaterial& material) {
    if (material.dilutions.size() == 1) {
        return html(text_of(as_written(number(material.dilutions.front().dilution, ""))));
    }
    return fmt::format("{} dilutions", material.dilutions.size());
}

std::string samples_table(const Results& results, const PlateAt& on) {
    HtmlTable table("Samples, the dilution undone; beyond the curve no number is given",
                    {"Label", "Fish", "Wells", "Dilution", "CV", "Concentration, 95 % interval", "Remarks"});
    const auto& samples = on.plate.samples;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const PlateMaterial& each = samples[i];
        const std::string here = fmt::format("{}/samples/{}", on.at, i);
        table.row({html(each.label), fish_link(results, each.fish), html(wells_of(each)),
                   dilution_words(each),
                   each.dilutions.size() == 1
                       ? quantity(each.dilutions.front().cv_percent, here + "/dilutions/0/cv_percent")
                       : std::string(),
                   quantity_with_interval(each.concentration, here + "/concentration"),
                   html(joined(each.remarks))});
    }
    return samples.empty() ? "" : folded("Samples", samples.size(), std::move(table).take(""));
}

// ---------------------------------------------------------------- dilutions

/// "parallel: undecided; 4.1 (-3.2 to 12.0) % with each doubling".
std::string parallel_words(const PlateMaterial& material) {
    if (material.parallel.empty()) {
        return "fewer than two dilutions on the curve: whether they are parallel cannot be told";
    }
    return fmt::format("parallel: {}; {} with each doubling", material.parallel,
                       text_of(material.change_per_doubling_percent));
}

struct DilutionTable {
    HtmlTable table{"Materials in several dilutions, each undone",
                    {"Dilution", "Wells", "Mean response, as shown", "CV", "Concentration, 95 % interval"}};
    std::size_t rows = 0;
};

void dilution_rows(DilutionTable& out, const std::vector<PlateMaterial>& materials, const std::string& at) {
    for (std::size_t i = 0; i < materials.size(); ++i) {
        const PlateMaterial& each = materials[i];
        if (each.dilutions.size() < 2) {
            continue;
        }
        out.table.title(each.label + "; " + parallel_words(each));
        for (std::size_t d = 0; d < each.dilutions.size(); ++d) {
            const PlateDilution& step = each.dilutions[d];
            const std::string here = fmt::format("{}/{}/dilutions/{}", at, i, d);
            out.table.row({html(text_of(as_written(number(step.dilution, "")))),
                           html(joined(step.wells, ", ")), quantity(step.response, here + "/response"),
                           quantity(step.cv_percent, here + "/cv_percent"),
                           quantity_with_interval(step.concentration, here + "/concentration")});
            ++out.rows;
        }
    }
}

std::string dilutions_part(const PlateAt& on) {
    DilutionTable out;
    dilution_rows(out, on.plate.samples, on.at + "/samples");
    dilution_rows(out, on.plate.controls, on.at + "/controls");
    dilution_rows(out, on.plate.spikes, on.at + "/spikes");
    return out.rows == 0 ? "" : folded("Dilutions and parallelism", out.rows, std::move(out.table).take(""));
}

// ---------------------------------------------------------------- wells

/// "8.3 % over the curve" of a standard's well.
std::string off_curve(const AssayPlate& plate, const std::string& well) {
    const auto found = std::ranges::find(plate.residuals, well, &PlateResidual::well);
    return found != plate.residuals.end() ? quantity(number(found->percent, "%")) : std::string();
}

std::string wells_part(const AssayPlate& plate) {
    HtmlTable table("Wells as read", {"Well", "What", "Label", "Response",
                                      "ln response less its replicates' mean", "Off the curve", "Excluded"});
    const auto cell = [](const std::optional<double>& value) {
        return value ? quantity(number(*value, "")) : std::string();
    };
    for (const PlateWell& well : plate.wells) {
        table.row({html(well.name), html(well.kind), html(well.label),
                   well.response ? cell(well.response) : "<span class=\"none\">not read</span>",
                   cell(well.residual), off_curve(plate, well.name), html(well.excluded)});
    }
    return plate.wells.empty() ? "" : folded("Wells", plate.wells.size(), std::move(table).take(""));
}

// ---------------------------------------------------------------- a plate

std::string answered(const Results& results, const PlateAt& on, const std::string& index) {
    const AssayPlate& plate = on.plate;
    std::string text = line_list(plate.remarks);
    text += "<div class=\"figures\">\n" +
            figure("plate-curve", "The standards and their curve with its 95 % band.", {{"plate", index}}) +
            figure("plate-map", "Each well against its replicates, where it stands on the plate.",
                   {{"plate", index}}) +
            "</div>\n";
    text += parameters_table(on) + standards_table(on) + limits_table(on);
    text += checked_table(on, plate.controls, "controls", "Controls", "Should be");
    text += checked_table(on, plate.spikes, "spikes", "Spiked samples: what came back of what was added",
                          "Added");
    text += samples_table(results, on) + dilutions_part(on);
    if (!plate.excluded.empty()) {
        text += "<p>Wells that do not count:</p>\n" + line_list(plate.excluded);
    }
    return text;
}

std::string plate_page(const Results& results, std::size_t index) {
    const PlateAt on{.plate = results.condition.plates[index],
                     .at = fmt::format("/condition/plates/{}", index)};
    const AssayPlate& plate = on.plate;
    const std::string unit = plate.unit.empty() ? "" : " in " + plate.unit;
    std::string text = fmt::format("<article class=\"plate\" id=\"plate-{}\" tabindex=\"-1\"><h3>{}</h3>\n",
                                   index + 1, html(fmt::format("{}: {}{}", plate.id, plate.analyte, unit)));
    text += facts(on);
    text += plate.unanswered.empty()
                ? answered(results, on, fmt::format("{}", index))
                : fmt::format("<p class=\"note\"><strong>Not worked out</strong>: {}</p>\n",
                              html(whole_sentence(plate.unanswered))) +
                      line_list(plate.remarks);
    return text + wells_part(plate) + "</article>\n";
}

} // namespace

std::string plates_section(const Results& results) {
    const auto& plates = results.condition.plates;
    if (plates.empty()) {
        return "";
    }
    std::string text =
        "<section id=\"plates\"><h2>Assay plates</h2>\n<p>Responses are fitted as read. "
        "\"As shown\" is less the blank where that is taken off; no concentration depends on "
        "it. What lies beyond the curve is said to, and is never drawn out past it. Wells at the "
        "plate's edge are held against those inside it; where they read differently that is "
        "drawn and said, and no concentration is corrected for it.</p>\n";
    for (std::size_t i = 0; i < plates.size(); ++i) {
        text += plate_page(results, i);
    }
    return text + "</section>\n";
}

} // namespace backeddy::report::detail
