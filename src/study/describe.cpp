#include "study/describe.hpp"

#include <utility>

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
std::vector<DescribedSetting> described(const std::vector<SettingOf<Owner>>& list,
                                        const std::string& section) {
    const Owner defaults{};
    std::vector<DescribedSetting> out;
    for (const auto& setting : list) {
        if (setting.section != section) {
            continue;
        }
        auto usual = toml_text(setting.get(defaults));
        if (usual == "\"\"" || usual == "[]") {
            usual.clear();
        }
        out.push_back({.key = setting.key,
                       .kind = in_words(setting.kind),
                       .usual = std::move(usual),
                       .unit = setting.unit,
                       .words = setting.words,
                       .choices = setting.choices,
                       .least = setting.least,
                       .most = setting.most,
                       .why = setting.why});
    }
    return out;
}

std::string may_be(const DescribedSetting& setting) {
    if (!setting.words.empty()) {
        return (setting.kind == in_words(SettingKind::texts) ? "a list of " : "") + joined(setting.words);
    }
    if (!setting.choices.empty()) {
        return toml_text(setting.choices);
    }
    return setting.least && setting.most ? fmt::format("{} to {}", *setting.least, *setting.most)
                                         : setting.kind;
}

std::string setting_rows(const std::vector<DescribedSetting>& list) {
    std::string out = "\n| setting | default | unit | may be | what and why |\n|---|---|---|---|---|\n";
    for (const auto& setting : list) {
        out += fmt::format("| `{}` | {} | {} | {} | {} |\n", setting.key,
                           setting.usual.empty() ? std::string("not set") : "`" + cell(setting.usual) + "`",
                           cell(setting.unit), cell(may_be(setting)), cell(setting.why));
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

std::vector<DescribedSection> described_settings() {
    std::vector<DescribedSection> out;
    for (const auto& section : sections()) {
        out.push_back({.name = section.name,
                       .is_list = false,
                       .what = section.what,
                       .settings = described(settings(), section.name)});
    }
    const auto list = [&](const std::string& name, const auto& of, const std::string& what) {
        out.push_back({.name = name, .is_list = true, .what = what, .settings = described(of, name)});
    };
    list("trace", trace_settings(),
         "Files that one logger wrote, on one clock; as many of these as there are loggers. What is not set "
         "is "
         "found in the files, and `check` shows what was found.");
    list("trace.column", trace_column_settings(),
         "Below its `[[trace]]`: what a column is, where the reader does not find out by itself.");
    list("meter", meter_settings(),
         "A handheld meter, one for each analyte: its values in blood.csv are set right by `pairs`, samples "
         "that a reference method measured too, at least five and better twenty: `pairs = [[5.1, 4.6], [8.9, "
         "8.2], ...]`, the meter's reading first. Deming's line, since both err.");
    list("question", question_settings(),
         "A question to the study's own columns, one for each: `name`, `outcome` and `compare` are needed. "
         "`backeddy declare` writes down what was asked before the numbers were known.");
    list("states.timetable", timetable_settings(),
         "A pump that ran by the clock: `start` (a time: the beginning of a flush) and, if need be, `until` "
         "(a "
         "time), with");
    return out;
}

std::string settings_markdown() {
    std::string out;
    for (const auto& section : described_settings()) {
        const auto heading =
            section.is_list ? fmt::format("[[{}]]", section.name) : fmt::format("[{}]", section.name);
        out += fmt::format("\n### {}\n\n{}\n", heading, section.what);
        out += setting_rows(section.settings);
    }
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
