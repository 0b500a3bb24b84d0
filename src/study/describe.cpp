#include "study/describe.hpp"

#include <fmt/format.h>

#include "study/columns.hpp"
#include "study/observed.hpp"
#include "study/settings.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

std::string joined(const std::vector<std::string>& words) {
    std::string out;
    for (const auto& word : words) {
        out += (out.empty() ? "" : ", ") + ("`" + word + "`");
    }
    return out;
}

/// A cell of a Markdown table: '|' would end it.
std::string cell(const std::string& text) {
    std::string out;
    for (const char c : text) {
        out += c == '|' ? std::string("\\|") : std::string(1, c);
    }
    return out;
}

std::string kind_of(const ColumnDefinition& column) {
    switch (column.kind) {
    case CellKind::text:
        return "text";
    case CellKind::key:
        return "name";
    case CellKind::number:
        return "number";
    case CellKind::time:
        return "time";
    case CellKind::word:
        return "word";
    case CellKind::channel:
        return "channel";
    case CellKind::value_or_limit:
        return "number, `<limit` or `>limit`";
    }
    return {};
}

template <typename Owner>
std::string setting_rows(const std::vector<SettingOf<Owner>>& list, const std::string& section) {
    const Owner defaults{};
    std::string out = "\n| setting | default | unit | may be | what and why |\n|---|---|---|---|---|\n";
    for (const auto& setting : list) {
        if (setting.section != section) {
            continue;
        }
        std::string may;
        if (!setting.words.empty()) {
            may = (setting.kind == SettingKind::texts ? "a list of " : "") + joined(setting.words);
        } else if (!setting.choices.empty()) {
            may = toml_text(setting.choices);
        } else if (setting.least && setting.most) {
            may = fmt::format("{} to {}", *setting.least, *setting.most);
        } else {
            may = in_words(setting.kind);
        }
        const auto usual = toml_text(setting.get(defaults));
        const bool is_empty = usual.empty() || usual == "\"\"" || usual == "[]";
        out += fmt::format("| `{}` | {} | {} | {} | {} |\n", setting.key,
                           is_empty ? std::string("not set") : "`" + cell(usual) + "`", cell(setting.unit),
                           cell(may), cell(setting.why));
    }
    return out;
}

} // namespace

std::string columns_markdown() {
    std::string out;
    for (const auto& definition : tables()) {
        out += fmt::format(
            "\n### {}\n\n{}{}\n\n| column | is a | unit | needed | what |\n|---|---|---|---|---|\n",
            definition.file, definition.what,
            definition.need == Need::required ? " The study cannot do without it." : "");
        for (const auto& column : definition.columns) {
            const auto words = column.words.empty() ? std::string() : " One of " + joined(column.words) + ".";
            out += fmt::format("| `{}` | {} | {} | {} | {}{} |\n", column.name, kind_of(column),
                               cell(column.unit), column.need == Need::required ? "yes" : "",
                               cell(column.what), words);
        }
    }
    return out;
}

std::string settings_markdown() {
    std::string out;
    for (const auto& section : sections()) {
        out += fmt::format("\n### [{}]\n\n{}\n", section.name, section.what);
        out += setting_rows(settings(), section.name);
    }
    out += "\n### [[trace]]\n\nFiles that one logger wrote, on one clock; as many of these as there are "
           "loggers. What "
           "is not set is found in the files, and `check` shows what was found.\n";
    out += setting_rows(trace_settings(), "trace");
    out += "\n### [[trace.column]]\n\nBelow its `[[trace]]`: what a column is, where the reader does not "
           "find out by "
           "itself.\n";
    out += setting_rows(trace_column_settings(), "trace.column");
    out += "\n### [[meter]]\n\nA handheld meter, one for each analyte: its values in blood.csv are set right "
           "by `pairs`, "
           "samples that a reference method measured too, at least five and better twenty: `pairs = [[5.1, "
           "4.6], "
           "[8.9, 8.2], ...]`, the meter's reading first. Deming's line, since both err.\n";
    out += setting_rows(meter_settings(), "meter");
    out += "\n### [[question]]\n\nA question to the study's own columns, one for each: `name`, `outcome` and "
           "`compare` are needed. `backeddy declare` writes down what was asked before the numbers were "
           "known.\n";
    out += setting_rows(question_settings(), "question");
    out += "\n### [[states.timetable]]\n\nA pump that ran by the clock: `start` (a time: the beginning of a "
           "flush) and, "
           "if need be, `until` (a time), with\n";
    out += setting_rows(timetable_settings(), "states.timetable");
    return out;
}

std::string observed_markdown() {
    std::string out = "\n| column | unit | known | what |\n|---|---|---|---|\n";
    for (const auto& column : observed_columns()) {
        out += fmt::format("| `{}` | {} | {} | {} |\n", column.name, cell(column.unit), word_of(column.stage),
                           cell(column.what));
    }
    return out;
}

} // namespace backeddy::study
