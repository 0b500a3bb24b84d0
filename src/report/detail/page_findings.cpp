#include "report/detail/page_findings.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "report/detail/html_parts.hpp"
#include "report/words.hpp"

namespace backeddy::report::detail {

namespace {

using findings::EffectScale;
using findings::Finding;
using findings::FoundNumber;

// ---------------------------------------------------------------- numbers

std::string value_cell(const FoundNumber& number) {
    if (!number.value || !std::isfinite(*number.value)) {
        const std::string why = number.reason.empty() ? "the data do not bound it" : number.reason;
        return fmt::format("<span class=\"none\">{}</span>", html(why));
    }
    const std::string unit =
        number.unit.empty() ? ""
                            : fmt::format(" <span class=\"unit\">{}</span>", html(shown_unit(number.unit)));
    return fmt::format("<span class=\"quantity\">{}{}</span>", html(findings::value_text(number)), unit);
}

std::string interval_cell(const FoundNumber& number) {
    const std::string text = findings::interval_text(number);
    return text.empty() ? "" : fmt::format("<span class=\"quantity\">{}</span>", html(text));
}

std::string chance_cell(const std::optional<double>& p) {
    return p && std::isfinite(*p)
               ? fmt::format("<span class=\"quantity\">{}</span>", html(findings::chance_text(*p)))
               : "";
}

bool is_corrected(const std::vector<FoundNumber>& effects) {
    return std::ranges::any_of(effects, [](const FoundNumber& each) { return each.p_corrected.has_value(); });
}

/// What an effect is: "difference", "odds ratio".
std::string scale_word(const Finding& finding) {
    return spoken(std::string(word_of(finding.scale)));
}

/// The same of several, and what "no difference" would be.
std::string scale_text(const Finding& finding) {
    return scale_word(finding) +
           (finding.scale == EffectScale::difference ? "s; 0 is none" : "s; 1 is no difference");
}

// ---------------------------------------------------------------- groups

/// The level's place in the study's list of groups, where the levels are these groups; else its own place:
/// the figure takes colours and shapes alike.
std::size_t place_of(const Results& results, const Finding& finding, const std::string& level) {
    const auto is_group = [&](const std::string& each) {
        return std::ranges::find(results.groups, each, &Group::key) != results.groups.end();
    };
    if (std::ranges::all_of(finding.levels, is_group)) {
        return static_cast<std::size_t>(std::ranges::find(results.groups, level, &Group::key) -
                                        results.groups.begin());
    }
    return static_cast<std::size_t>(std::ranges::find(finding.levels, level) - finding.levels.begin());
}

std::string level_mark(const Results& results, const Finding& finding, const std::string& level) {
    return group_mark(place_of(results, finding, level), level);
}

std::size_t points_in(const Finding& finding, const std::string& level) {
    return static_cast<std::size_t>(std::ranges::count(finding.points, level, &findings::FoundPoint::group));
}

// ---------------------------------------------------------------- tables

std::string effects_table(const Finding& finding) {
    std::vector<std::string> columns{"Effect", "Size", "95 % interval", "p"};
    const bool has_corrected = is_corrected(finding.effects);
    if (has_corrected) {
        columns.emplace_back("p, corrected");
    }
    HtmlTable table("Effects: " + scale_text(finding), columns);
    for (const FoundNumber& each : finding.effects) {
        std::vector<std::string> cells{html(spoken(each.name)), value_cell(each), interval_cell(each),
                                       chance_cell(each.p)};
        if (has_corrected) {
            cells.push_back(chance_cell(each.p_corrected));
        }
        table.row(cells);
    }
    return std::move(table).take("No effect could be given.");
}

std::string groups_table(const Results& results, const Finding& finding) {
    if (finding.groups.empty()) {
        return "";
    }
    const bool has_methods =
        std::ranges::any_of(finding.groups, [](const FoundNumber& each) { return !each.method.empty(); });
    std::vector<std::string> columns{"Group", "Rows", "Estimate", "95 % interval"};
    if (has_methods) {
        columns.emplace_back("What it is");
    }
    HtmlTable table("Each group, by the model", columns);
    for (const FoundNumber& each : finding.groups) {
        std::vector<std::string> cells{level_mark(results, finding, each.name),
                                       fmt::format("{}", points_in(finding, each.name)), value_cell(each),
                                       interval_cell(each)};
        if (has_methods) {
            cells.push_back(html(each.method));
        }
        table.row(cells);
    }
    return std::move(table).take("");
}

/// How many rows of each group have each score.
std::string scores_table(const Finding& finding) {
    if (finding.scores.empty() || finding.levels.empty()) {
        return "";
    }
    std::vector<std::string> columns{"Score, lowest first"};
    for (const std::string& level : finding.levels) {
        columns.push_back(spoken(level));
    }
    HtmlTable table("Rows with each score", columns);
    for (std::size_t rank = 0; rank < finding.scores.size(); ++rank) {
        std::vector<std::string> cells{html(finding.scores[rank])};
        for (const std::string& level : finding.levels) {
            const auto count = std::ranges::count_if(finding.points, [&](const findings::FoundPoint& point) {
                return point.group == level && point.value == static_cast<double>(rank + 1);
            });
            const double all = static_cast<double>(std::max<std::size_t>(points_in(finding, level), 1));
            cells.push_back(
                fmt::format("{} ({} %)", count, fixed_text(100.0 * static_cast<double>(count) / all, 0)));
        }
        table.row(cells);
    }
    return std::move(table).take("");
}

/// What came first to those who waited, group by group.
std::string fates_table(const Results& results, const Finding& finding) {
    if (finding.fates.empty()) {
        return "";
    }
    const std::string until = finding.fates_until ? significant_text(*finding.fates_until, 3) : "the end";
    HtmlTable table("What came first",
                    {"Group", "Fate", "Fish in all",
                     fmt::format("Share by {} {}", until, shown_unit(finding.outcome_unit)),
                     "95 % interval"});
    for (const findings::FoundFate& each : finding.fates) {
        const bool is_level = std::ranges::find(finding.levels, each.group) != finding.levels.end();
        table.row({is_level ? level_mark(results, finding, each.group) : html(each.group), html(each.fate),
                   fmt::format("{} of {}", each.count, each.of), value_cell(each.share),
                   interval_cell(each.share)});
    }
    return std::move(table).take("");
}

std::string note(const std::string& text) {
    return text.empty() ? "" : fmt::format("<p class=\"note\">{}</p>\n", html(whole_sentence(text)));
}

std::string numbers_table(std::string_view caption, const std::vector<FoundNumber>& numbers) {
    HtmlTable table(caption, {"Name", "Value", "95 % interval", "p"});
    for (const FoundNumber& each : numbers) {
        table.row({html(spoken(each.name)), value_cell(each), interval_cell(each), chance_cell(each.p)});
    }
    return numbers.empty() ? "" : std::move(table).take("");
}

std::string spreads_table(const std::vector<FoundNumber>& spreads) {
    HtmlTable table("Scatter (standard deviations)", {"Of", "Size"});
    for (const FoundNumber& each : spreads) {
        table.row({html(spoken(each.name)), value_cell(each)});
    }
    return spreads.empty() ? "" : std::move(table).take("");
}

std::string tests_table(const std::vector<findings::FoundTest>& tests) {
    HtmlTable table("Whole terms, and other ways of asking", {"What", "Result"});
    for (const auto& each : tests) {
        table.row({html(spoken(each.name)), html(each.text)});
    }
    return tests.empty() ? "" : std::move(table).take("");
}

std::string checks_table(const std::vector<findings::FoundCheck>& checks) {
    HtmlTable table("Checks of the model", {"Check", "Verdict", "What was seen"});
    for (const auto& each : checks) {
        table.row({html(each.name),
                   fmt::format("<span class=\"verdict verdict-{0}\">{0}</span>", word_of(each.verdict)),
                   html(each.text)});
    }
    return checks.empty() ? "" : std::move(table).take("");
}

std::string left_out_table(const Finding& finding) {
    HtmlTable table("Rows that take no part", {"Row", "Lacks", "Why"});
    for (const auto& each : finding.left_out) {
        table.row({html(each.row), html(each.column), html(each.why)});
    }
    return finding.left_out.empty()
               ? ""
               : folded("Left out, and why", finding.left_out.size(), std::move(table).take(""));
}

// ---------------------------------------------------------------- words

std::string_view declared_words(findings::Declared declared) {
    using findings::Declared;
    switch (declared) {
    case Declared::before_any_fish:
        return "Declared before any fish was met";
    case Declared::before_results:
        return "Declared before any result was there";
    case Declared::after_results:
        return "Declared after results were there";
    case Declared::changed_since:
        return "Changed since it was declared";
    case Declared::never:
        break;
    }
    return "Exploratory: never declared";
}

std::string declared_line(const Finding& finding) {
    const bool says_more = finding.declared != study::Declared::never && !finding.declared_text.empty();
    const std::string more = says_more ? " " + whole_sentence(finding.declared_text) : "";
    return fmt::format("<p class=\"declared declared-{}\"><strong>{}.</strong>{}</p>\n",
                       word_of(finding.declared), declared_words(finding.declared), html(more));
}

std::string counted(const Finding& finding, std::size_t rows, std::size_t fish) {
    if (finding.row_noun == "fish" || finding.row_noun.empty()) {
        return fmt::format("{} fish", rows);
    }
    return fmt::format("{} rows (each: {}){}", rows, finding.row_noun,
                       fish > 0 ? fmt::format(", of {} fish", fish) : "");
}

std::string rows_text(const Finding& finding) {
    const std::string left = finding.left_out.empty() ? "nothing was left out"
                                                      : fmt::format("{} left out", finding.left_out.size());
    return counted(finding, finding.rows, finding.fish) + "; " + left;
}

std::string question_facts(const Finding& finding) {
    std::string text = "<dl class=\"facts\">";
    const auto fact = [&](std::string_view name, const std::string& value) {
        if (!value.empty()) {
            text += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>", name, html(value));
        }
    };
    fact("Question", finding.name);
    fact("Outcome", finding.outcome);
    fact("Compared by", finding.compare);
    fact("Within", finding.within);
    fact("Adjusted for", joined(finding.adjusted_for, ", "));
    fact("Random", joined(finding.random, ", "));
    fact("Corrected with", finding.family_of_tests);
    fact("Took part", finding.unanswered.empty() ? rows_text(finding) : "");
    return text + "</dl>\n";
}

/// The headline with decisions made by hand undone.
std::string undone_line(const Finding& finding) {
    constexpr std::string_view start = "<p class=\"undone\">With every decision made by hand undone: ";
    if (!finding.without_human) {
        return "<p class=\"undone\">No decision was made by hand: with and without are the same.</p>\n";
    }
    const findings::FoundVariant& variant = *finding.without_human;
    if (variant.is_same) {
        return fmt::format("{}the same, as no row and no value of this question changes.</p>\n", start);
    }
    if (variant.effects.empty()) {
        return fmt::format("{}{}</p>\n", start,
                           html(variant.unanswered.empty() ? "no answer." : variant.unanswered));
    }
    const FoundNumber& effect = variant.effects.front();
    std::string text = fmt::format("{}{}, {}", start, html(spoken(effect.name)), value_cell(effect));
    if (const std::string interval = interval_cell(effect); !interval.empty()) {
        text += fmt::format(" (95 % interval {})", interval);
    }
    if (const std::string p = chance_cell(effect.p); !p.empty()) {
        text += fmt::format(", p: {}", p);
    }
    return text + fmt::format("; {}.</p>\n", html(counted(finding, variant.rows, variant.fish)));
}

std::string warnings_list(const std::vector<std::string>& warnings) {
    std::string text = "<ul class=\"missing\" aria-label=\"Beware\">";
    for (const std::string& each : warnings) {
        text += fmt::format("<li><strong>Beware:</strong> {}</li>", html(each));
    }
    return warnings.empty() ? "" : text + "</ul>\n";
}

std::string model_line(const Finding& finding) {
    std::string text;
    if (!finding.model.empty()) {
        text += fmt::format("<p>Model: <code>{}</code></p>\n", html(finding.model));
    }
    if (!finding.method.empty()) {
        text += fmt::format("<p>{}</p>\n", html(whole_sentence(finding.method)));
    }
    if (!finding.correction.empty()) {
        text += fmt::format("<p>Correction of p: {}</p>\n", html(whole_sentence(finding.correction)));
    }
    return text;
}

// ---------------------------------------------------------------- one finding

std::string figure_caption(const Finding& finding) {
    const std::string unit =
        finding.outcome_unit.empty() ? "" : fmt::format(" ({})", shown_unit(finding.outcome_unit));
    return sentence(finding.outcome_title) + unit + " by " + spoken(finding.compare) + ".";
}

std::string answered(const Results& results, const Finding& finding, std::size_t place) {
    std::string text = fmt::format("<p class=\"answer\">{}</p>\n", html(finding.sentence));
    text += note(finding.margin_text) + note(finding.fates_text);
    text += note(finding.plan ? finding.plan->text : "");
    text += warnings_list(finding.warnings);
    if (!finding.points.empty()) {
        text += figure("finding", figure_caption(finding), {{"finding", fmt::format("{}", place)}});
    }
    text += effects_table(finding) + groups_table(results, finding) + scores_table(finding) +
            fates_table(results, finding);
    text += undone_line(finding) + model_line(finding);
    text += checks_table(finding.checks) + tests_table(finding.tests) + spreads_table(finding.spreads);
    if (!finding.coefficients.empty()) {
        text += folded("Coefficients", finding.coefficients.size(),
                       numbers_table("Coefficients of the model, on its own scale", finding.coefficients));
    }
    return text;
}

std::string finding_article(const Results& results, const Finding& finding, std::size_t place) {
    std::string text = fmt::format("<article class=\"finding\" id=\"finding-{}\"><h3>{}</h3>\n", place + 1,
                                   html(finding.ask.empty() ? finding.name : finding.ask));
    text += declared_line(finding);
    if (finding.unanswered.empty()) {
        text += answered(results, finding, place);
    } else {
        text += fmt::format("<p class=\"unanswered\"><strong>Not answered:</strong> {}</p>\n",
                            html(whole_sentence(finding.unanswered)));
        text += warnings_list(finding.warnings);
    }
    return text + question_facts(finding) + left_out_table(finding) + "</article>\n";
}

/// The headlines under each other, where there is more than one question.
std::string overview(const std::vector<Finding>& all) {
    HtmlTable table("All questions",
                    {"Question", "First effect", "Size", "95 % interval", "p", "p, corrected", "Declared"});
    for (std::size_t i = 0; i < all.size(); ++i) {
        const Finding& each = all[i];
        const bool has_effect = each.unanswered.empty() && !each.effects.empty();
        const FoundNumber effect =
            has_effect ? each.effects.front() : FoundNumber{.name = "", .reason = "not answered"};
        table.row({fmt::format("<a href=\"#finding-{}\">{}</a>", i + 1,
                               html(each.ask.empty() ? each.name : each.ask)),
                   html(spoken(effect.name)),
                   (has_effect && effect.value ? scale_word(each) + " " : "") + value_cell(effect),
                   interval_cell(effect), chance_cell(effect.p), chance_cell(effect.p_corrected),
                   html(spoken(std::string(word_of(each.declared))))});
    }
    return all.size() > 1 ? std::move(table).take("") : "";
}

} // namespace

std::string findings_section(const Results& results) {
    std::string text = "<section id=\"findings\"><h2>Findings</h2>\n";
    if (results.findings.empty()) {
        return text + "<p class=\"none\">No question is asked. Add a [[question]] with name, outcome and "
                      "compare to study.toml, and run again.</p></section>\n";
    }
    text += "<p>The questions that the study asks, each answered by one model. The size of an effect and its "
            "95 % interval come first: an interval that includes no difference leaves the direction open and "
            "does not show that there is none. Intervals are each of its own question; several read together "
            "miss more often than one.</p>\n";
    text += overview(results.findings);
    for (std::size_t i = 0; i < results.findings.size(); ++i) {
        text += finding_article(results, results.findings[i], i);
    }
    return text + "</section>\n";
}

} // namespace backeddy::report::detail
