#include "intake/brief.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <sstream>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <toml++/toml.h>

#include "base/lines.hpp"
#include "base/number_text.hpp"
#include "intake/detail/table_time.hpp"
#include "study/settings.hpp"
#include "study/words.hpp"

namespace backeddy::intake {

namespace {

using study::SettingKind;
using study::SettingOf;
using study::SettingValue;

// ---------------------------------------------------------------- one value

// As it is written: the library's own stream shows 0.1 with seventeen digits.
std::string whole_text(const toml::node& node) {
    if (const auto* real = node.as_floating_point(); real != nullptr && std::isfinite(real->get())) {
        const std::string digits = exact_text(real->get());
        return digits.find_first_of(".e") == std::string::npos ? digits + ".0" : digits;
    }
    if (const auto* array = node.as_array()) {
        std::string out;
        for (const auto& item : *array) {
            out += (out.empty() ? "" : ", ") + whole_text(item);
        }
        return "[" + out + "]";
    }
    std::ostringstream text;
    text << toml::node_view<const toml::node>(node);
    return text.str();
}

std::string shown(const toml::node& node) {
    const std::string out = whole_text(node);
    return out.size() > 60 ? out.substr(0, 60) + "..." : out;
}

std::optional<double> number_of(const toml::node& node) {
    if (const auto* whole = node.as_integer()) {
        return static_cast<double>(whole->get());
    }
    if (const auto* real = node.as_floating_point(); real != nullptr && std::isfinite(real->get())) {
        return real->get();
    }
    return std::nullopt;
}

template <typename Item, typename Read>
std::optional<SettingValue> list_of(const toml::node& node, const Read& read) {
    const auto* array = node.as_array();
    if (array == nullptr) {
        return std::nullopt;
    }
    std::vector<Item> out;
    for (const auto& item : *array) {
        const auto value = read(item);
        if (!value) {
            return std::nullopt;
        }
        out.push_back(*value);
    }
    return SettingValue(std::move(out));
}

std::optional<std::string> text_of(const toml::node& node) {
    const auto* text = node.as_string();
    return text == nullptr ? std::nullopt : std::optional(text->get());
}

/// The node as a value of this kind; nothing when it is of another.
std::optional<SettingValue> value_of(const toml::node& node, SettingKind kind) {
    switch (kind) {
    case SettingKind::text:
    case SettingKind::word:
    case SettingKind::time:
    case SettingKind::channel: {
        const auto text = text_of(node);
        return text ? std::optional<SettingValue>(*text) : std::nullopt;
    }
    case SettingKind::number: {
        const auto number = number_of(node);
        return number ? std::optional<SettingValue>(*number) : std::nullopt;
    }
    case SettingKind::whole: {
        const auto* whole = node.as_integer();
        return whole == nullptr ? std::nullopt : std::optional<SettingValue>(whole->get());
    }
    case SettingKind::yes_no: {
        const auto* flag = node.as_boolean();
        return flag == nullptr ? std::nullopt : std::optional<SettingValue>(flag->get());
    }
    case SettingKind::numbers:
        return list_of<double>(node, number_of);
    case SettingKind::texts:
        return list_of<std::string>(node, text_of);
    }
    return std::nullopt;
}

std::vector<double> numbers_in(const SettingValue& value) {
    if (const auto* whole = std::get_if<std::int64_t>(&value)) {
        return {static_cast<double>(*whole)};
    }
    if (const auto* real = std::get_if<double>(&value)) {
        return {*real};
    }
    const auto* list = std::get_if<std::vector<double>>(&value);
    return list == nullptr ? std::vector<double>{} : *list;
}

template <typename Owner>
std::string limits_of(const SettingOf<Owner>& setting) {
    std::string out = study::in_words(setting.kind);
    if (setting.least && setting.most) {
        out += fmt::format(" from {} to {}", exact_text(*setting.least), exact_text(*setting.most));
    } else if (setting.least) {
        out += fmt::format(" of at least {}", exact_text(*setting.least));
    } else if (setting.most) {
        out += fmt::format(" of at most {}", exact_text(*setting.most));
    }
    if (setting.kind == SettingKind::numbers) {
        out += ", at least one and none twice";
    }
    if (!setting.words.empty()) {
        out += fmt::format(": {} of {}", setting.kind == SettingKind::texts ? "each one" : "one",
                           fmt::join(setting.words, ", "));
    }
    if (!setting.choices.empty()) {
        out += fmt::format(": one of {}", fmt::join(setting.choices, ", "));
    }
    return setting.unit.empty() ? out : out + fmt::format(" ({})", setting.unit);
}

bool has_repeats(std::vector<double> numbers) {
    std::sort(numbers.begin(), numbers.end());
    return std::adjacent_find(numbers.begin(), numbers.end()) != numbers.end();
}

template <typename Owner>
bool allows(const SettingOf<Owner>& setting, const SettingValue& value) {
    for (const double number : numbers_in(value)) {
        const bool too_small = setting.least && number < *setting.least;
        const bool too_large = setting.most && number > *setting.most;
        const bool no_choice =
            !setting.choices.empty() &&
            std::find(setting.choices.begin(), setting.choices.end(), number) == setting.choices.end();
        if (too_small || too_large || no_choice) {
            return false;
        }
    }
    if (setting.kind == SettingKind::numbers) {
        return !numbers_in(value).empty() && !has_repeats(numbers_in(value));
    }
    if (setting.kind == SettingKind::word && !setting.words.empty()) {
        return std::find(setting.words.begin(), setting.words.end(), std::get<std::string>(value)) !=
               setting.words.end();
    }
    if (setting.kind == SettingKind::texts && !setting.words.empty()) {
        const auto& texts = std::get<std::vector<std::string>>(value);
        return std::all_of(texts.begin(), texts.end(), [&](const std::string& text) {
            return std::find(setting.words.begin(), setting.words.end(), text) != setting.words.end();
        });
    }
    if (setting.kind == SettingKind::channel) {
        const auto& text = std::get<std::string>(value);
        return text.empty() || study::channel_from(text).has_value();
    }
    return true;
}

// ---------------------------------------------------------------- the file

// Seconds without the dust of their conversion: "1900", not "1900.0000000000002".
std::string whole_text(Duration length) {
    return exact_text(std::round(length.seconds() * 1e6) / 1e6);
}

class BriefReader {
  public:
    BriefReader(BriefRead& out, std::string file) : out_(out), file_(std::move(file)) {}

    void read(const toml::table& root) {
        // [study] first: its zone is that of all times below.
        if (const auto* section = root.get_as<toml::table>("study")) {
            read_section("study", *section, out_.brief);
        }
        set_zone(root);
        for (const auto& [key, node] : root) {
            const std::string name(key.str());
            if (name != "study" || !node.is_table()) {
                read_top(name, node);
            }
        }
        complain_of_rival_seasons();
        complain_of_crossed_bounds(root);
    }

  private:
    [[nodiscard]] Place place_of(const toml::node& node, std::string column) const {
        return {.file = file_, .line = node.source().begin.line, .column = std::move(column)};
    }

    void complain(ErrorCode code, const toml::node& node, const std::string& key, std::string found,
                  std::string expected, std::string remedy) {
        out_.complaints.push_back({.severity = study::Severity::stops_the_run,
                                   .error = {.code = code,
                                             .found = std::move(found),
                                             .expected = std::move(expected),
                                             .remedy = std::move(remedy),
                                             .place = place_of(node, key)}});
    }

    void unknown(const toml::node& node, const std::string& what, const std::string& name,
                 const std::vector<std::string>& known) {
        const auto near = nearest_name(name, known);
        complain(ErrorCode::unknown_name, node, name, fmt::format("there is no {} \"{}\"", what, name),
                 fmt::format("one of {}", fmt::join(known, ", ")),
                 near ? fmt::format("did you mean \"{}\"?", *near) : "mend the name or take the line out");
    }

    void set_zone(const toml::table& root) {
        auto zone = TableZone::named(out_.brief.study.zone);
        if (zone) {
            zone_ = std::move(*zone);
            return;
        }
        Error error = std::move(zone).error();
        const auto node = root["study"]["zone"];
        error.place = node ? place_of(*node.node(), "zone") : Place{.file = file_};
        out_.complaints.push_back({.error = std::move(error)});
    }

    static std::vector<std::string> section_names() {
        std::vector<std::string> out;
        for (const auto& section : study::sections()) {
            out.push_back(section.name);
        }
        for (const char* more : {"trace", "season", "columns", "question", "meter"}) {
            if (std::find(out.begin(), out.end(), more) == out.end()) {
                out.emplace_back(more);
            }
        }
        return out;
    }

    void read_top(const std::string& name, const toml::node& node) {
        if (name == "trace") {
            read_each(name, node, [&](const toml::table& table) { read_trace(table); });
        } else if (name == "season") {
            read_each(name, node, [&](const toml::table& table) { read_season(table); });
        } else if (name == "question") {
            read_each(name, node, [&](const toml::table& table) { read_question(table); });
        } else if (name == "meter") {
            read_each(name, node, [&](const toml::table& table) { read_meter(table); });
        } else if (name == "columns") {
            read_columns(node);
        } else if (const auto known = section_names();
                   std::find(known.begin(), known.end(), name) == known.end()) {
            unknown(node, "section", name, known);
        } else if (const auto* table = node.as_table()) {
            read_section(name, *table, out_.brief);
        } else {
            complain(ErrorCode::bad_setting, node, name, fmt::format("{} is {}", name, shown(node)),
                     fmt::format("a section: [{}]", name), "write the settings below a line in brackets");
        }
    }

    template <typename Read>
    void read_each(const std::string& name, const toml::node& node, const Read& read) {
        const auto* array = node.as_array();
        if (array == nullptr || !array->is_homogeneous(toml::node_type::table)) {
            complain(ErrorCode::bad_setting, node, name, fmt::format("{} is no list of sections", name),
                     fmt::format("[[{}]], with two brackets, once for each", name), "double the brackets");
            return;
        }
        for (const auto& item : *array) {
            read(*item.as_table());
        }
    }

    void read_section(const std::string& name, const toml::table& table, study::Brief& brief) {
        std::vector<SettingOf<study::Brief>> own;
        for (const auto& setting : study::settings()) {
            if (setting.section == name) {
                own.push_back(setting);
            }
        }
        for (const auto& [key, node] : table) {
            const std::string word(key.str());
            if (name == "states" && word == "timetable") {
                read_each("states.timetable", node, [&](const toml::table& entry) { read_timetable(entry); });
            } else if (name == "report" && word == "answers") {
                read_answers(node);
            } else if (!read_setting(own, name, word, node, brief)) {
                brief.refused.push_back(fmt::format("{}.{}", name, word));
            }
        }
    }

    // Finds the key among `known`, checks the value and sets it; false when it is refused.
    template <typename Owner>
    bool read_setting(const std::vector<SettingOf<Owner>>& known, const std::string& section,
                      const std::string& key, const toml::node& node, Owner& owner) {
        const auto found =
            std::find_if(known.begin(), known.end(), [&](const SettingOf<Owner>& s) { return s.key == key; });
        if (found == known.end()) {
            std::vector<std::string> names;
            for (const auto& setting : known) {
                names.push_back(setting.key);
            }
            unknown(node, fmt::format("setting in [{}]", section), key, names);
            return false;
        }
        const auto value = checked(*found, node);
        if (value) {
            found->set(owner, *value);
        }
        return value.has_value();
    }

    template <typename Owner>
    std::optional<SettingValue> checked(const SettingOf<Owner>& setting, const toml::node& node) {
        auto value = value_of(node, setting.kind);
        if (!value || !allows(setting, *value)) {
            std::string remedy = fmt::format("mend it, or take the line out for the default");
            if (setting.kind == SettingKind::word) {
                const auto near = nearest_name(text_of(node).value_or(""), setting.words);
                remedy = near ? fmt::format("did you mean \"{}\"?", *near) : remedy;
            }
            complain(ErrorCode::bad_setting, node, setting.key,
                     fmt::format("{} = {}", setting.key, shown(node)), limits_of(setting), remedy);
            return std::nullopt;
        }
        return value;
    }

    std::optional<Instant> read_time(const toml::table& table, const char* key) {
        const auto* node = table.get(key);
        if (node == nullptr) {
            return std::nullopt;
        }
        // A TOML date-time is written as one, without quotes; its own text is what TableZone reads.
        const auto text = node->is_string() ? *text_of(*node) : shown(*node);
        auto moment = zone_.read(text);
        if (moment) {
            return *moment;
        }
        Error error = std::move(moment).error();
        error.place = place_of(*node, key);
        out_.complaints.push_back({.error = std::move(error)});
        return std::nullopt;
    }

    void require(const toml::table& table, const char* section, const char* key) {
        if (!table.contains(key)) {
            complain(ErrorCode::bad_setting, table, key, fmt::format("[[{}]] has no {}", section, key),
                     fmt::format("{} in each [[{}]]", key, section), "add the line");
        }
    }

    void read_timetable(const toml::table& table) {
        study::TimetableEntry entry{.place = place_of(table, "")};
        require(table, "states.timetable", "start");
        for (const auto& [key, node] : table) {
            const std::string word(key.str());
            if (word != "start" && word != "until") {
                read_setting(study::timetable_settings(), "states.timetable", word, node, entry);
            }
        }
        entry.until = read_time(table, "until");
        if (const auto start = read_time(table, "start")) {
            entry.start = *start;
            if (!(entry.flush > Duration() && entry.flush < entry.period)) {
                complain(ErrorCode::bad_setting, table, "flush_s",
                         fmt::format("a flush of {} s in a period of {} s", whole_text(entry.flush),
                                     whole_text(entry.period)),
                         "a flush longer than nothing and shorter than its period", "mend the two");
                return;
            }
            out_.brief.states.timetables.push_back(std::move(entry));
        }
    }

    void read_answers(const toml::node& node) {
        const auto* table = node.as_table();
        if (table == nullptr) {
            complain(ErrorCode::bad_setting, node, "answers", "answers is no section", "[report.answers]",
                     "write the answers below a line in brackets");
            return;
        }
        for (const auto& [key, value] : *table) {
            if (const auto text = text_of(value)) {
                out_.brief.report.answers[std::string(key.str())] = *text;
            } else {
                complain(ErrorCode::bad_setting, value, std::string(key.str()), shown(value),
                         "a text in quotes", "put it in quotes");
            }
        }
    }

    void read_columns(const toml::node& node) {
        const auto& all = study::words_of(study::Stage{});
        const std::vector<std::string> stages(all.begin() + 1, all.end()); // nobody says "unknown"
        const auto* table = node.as_table();
        if (table == nullptr) {
            complain(ErrorCode::bad_setting, node, "columns", "columns is no section", "[columns]",
                     "write column = \"assigned\" below a line in brackets");
            return;
        }
        for (const auto& [key, value] : *table) {
            const auto text = text_of(value);
            if (text && std::find(stages.begin(), stages.end(), *text) != stages.end()) {
                out_.brief.column_stages[std::string(key.str())] = *text;
                out_.brief.column_places[std::string(key.str())] = place_of(value, std::string(key.str()));
            } else {
                complain(ErrorCode::bad_setting, value, std::string(key.str()), shown(value),
                         fmt::format("one of {}", fmt::join(stages, ", ")),
                         "say when the column was known or set");
            }
        }
    }

    void read_trace(const toml::table& table) {
        study::TraceSource source{.place = place_of(table, "")};
        require(table, "trace", "name");
        require(table, "trace", "files");
        for (const auto& [key, node] : table) {
            const std::string word(key.str());
            if (word == "column") {
                read_each("trace.column", node,
                          [&](const toml::table& column) { read_column(column, source); });
            } else {
                read_setting(study::trace_settings(), "trace", word, node, source);
            }
        }
        for (const auto& pattern : source.files) {
            check_pattern(table, pattern);
        }
        const auto same = [&](const study::TraceSource& other) { return other.name == source.name; };
        if (std::any_of(out_.brief.traces.begin(), out_.brief.traces.end(), same)) {
            complain(
                ErrorCode::duplicate, table, "name", fmt::format("two traces are named \"{}\"", source.name),
                "each [[trace]] with a name of its own", "rename one, and its channels in assemblies.csv");
        }
        if (auto settings = read_settings(source, out_.brief.study.zone); !settings) {
            out_.complaints.push_back({.error = std::move(settings).error()});
        }
        out_.brief.traces.push_back(std::move(source));
    }

    // Raw files lie inside the study folder, so that it can be given away whole.
    void check_pattern(const toml::table& table, const std::string& pattern) {
        const std::filesystem::path path = pattern;
        const bool climbs =
            std::any_of(path.begin(), path.end(), [](const auto& part) { return part == ".."; });
        if (pattern.empty() || path.is_absolute() || climbs) {
            complain(ErrorCode::bad_setting, *table.get("files"), "files", fmt::format("\"{}\"", pattern),
                     "files inside the study folder, such as \"raw/boat/*.csv\"",
                     "copy the files into the folder; a path may not be absolute or hold \"..\"");
        }
    }

    void read_column(const toml::table& table, study::TraceSource& source) {
        study::TraceColumn column{.place = place_of(table, "")};
        for (const auto& [key, node] : table) {
            read_setting(study::trace_column_settings(), "trace.column", std::string(key.str()), node,
                         column);
        }
        if (column.header.empty() && !column.index) {
            complain(ErrorCode::bad_setting, table, "header", "a [[trace.column]] that names no column",
                     "header = \"...\" or index = 3", "add one of the two");
            return;
        }
        source.columns.push_back(std::move(column));
    }

    void read_meter(const toml::table& table) {
        study::Meter meter{.place = place_of(table, "")};
        for (const char* key : {"device", "analyte", "pairs"}) {
            require(table, "meter", key);
        }
        for (const auto& [key, node] : table) {
            if (key == "pairs") {
                read_pairs(node, meter);
            } else {
                read_setting(study::meter_settings(), "meter", std::string(key.str()), node, meter);
            }
        }
        if (const auto* node = table.get("device");
            node != nullptr && node->is_string() && meter.device.empty()) {
            complain(ErrorCode::bad_setting, *node, "device", "device is empty",
                     "the meter's name, as blood.csv has it", "fill it in");
        }
        out_.brief.meters.push_back(std::move(meter));
    }

    void read_pairs(const toml::node& node, study::Meter& meter) {
        const auto* list = node.as_array();
        if (list == nullptr) {
            return complain(ErrorCode::bad_setting, node, "pairs", fmt::format("pairs = {}", shown(node)),
                            "a list of pairs: [[5.1, 4.6], [8.9, 8.2]]", "put each pair into brackets");
        }
        for (const auto& item : *list) {
            const auto pair = value_of(item, SettingKind::numbers);
            const auto* both = pair ? std::get_if<std::vector<double>>(&*pair) : nullptr;
            if (both == nullptr || both->size() != 2) {
                complain(ErrorCode::bad_setting, item, "pairs", shown(item),
                         "two numbers: the meter's reading and the reference method's",
                         "mend the pair or take it out");
                continue;
            }
            meter.pairs.push_back({.reference = both->back(), .meter = both->front()});
        }
    }

    void read_question(const toml::table& table) {
        study::Question question{.place = place_of(table, "")};
        for (const auto& [key, node] : table) {
            read_setting(study::question_settings(), "question", std::string(key.str()), node, question);
        }
        require_said(table, "name", question.name);
        require_said(table, "outcome", question.outcome);
        require_said(table, "compare", question.compare);
        check_question_name(table, question);
        check_terms(table, question);
        check_margin(table, question);
        check_effect(table, question);
        out_.brief.questions.push_back(std::move(question));
    }

    // What was written and refused has its complaint already.
    void require_said(const toml::table& table, const char* key, const std::string& value) {
        require(table, "question", key);
        const auto* node = table.get(key);
        if (node != nullptr && node->is_string() && value.empty()) {
            complain(ErrorCode::bad_setting, *node, key, fmt::format("{} is empty", key),
                     fmt::format("{} in each [[question]]", key), "fill it in");
        }
    }

    // It stands in declarations.csv: what a table would cut off or take for a remark cannot be found again.
    void check_question_name(const toml::table& table, const study::Question& question) {
        if (question.name.empty()) {
            return;
        }
        const auto& node = *table.get("name");
        if (!study::is_plain_name(question.name)) {
            complain(ErrorCode::bad_setting, node, "name", fmt::format("name = {}", shown(node)),
                     "a letter or digit first, then any characters of one line, the last of them no blank",
                     "name it like \"rig_peak\"; the sentence belongs into ask");
        }
        const auto same = [&](const study::Question& other) { return other.name == question.name; };
        if (const auto first = std::ranges::find_if(out_.brief.questions, same);
            first != out_.brief.questions.end()) {
            complain(ErrorCode::duplicate, node, "name",
                     fmt::format("the question \"{}\" stands in {} already", question.name,
                                 study::line_text(first->place)),
                     "each [[question]] with a name of its own", "rename one");
        }
    }

    // Of a text whose parts do not read, where it stands in the list.
    template <typename Parse>
    void check_each(const toml::table& table, const char* key, const std::vector<std::string>& texts,
                    const Parse& parse) {
        for (std::size_t i = 0; i < texts.size(); ++i) {
            if (auto read = parse(texts[i]); !read) {
                const auto& node = *table.get(key);
                const auto* list = node.as_array();
                out_.complaints.push_back({.error = std::move(read).error().at(
                                               place_of(list == nullptr ? node : *list->get(i), key))});
            }
        }
    }

    void check_terms(const toml::table& table, const study::Question& question) {
        check_each(table, "adjust_for", question.adjust_for, study::question_term);
        check_each(table, "random", question.random, study::question_random);
        if (question.compare.empty()) {
            return;
        }
        check_each(table, "compare", {question.compare}, study::question_term);
    }

    void check_margin(const toml::table& table, const study::Question& question) {
        const auto* margin = table.get("margin");
        const auto* better = table.get("better");
        const bool says_better = question.better != study::BetterIs::not_said;
        if (question.margin && *question.margin == 0.0) {
            complain(ErrorCode::bad_setting, *margin, "margin", "a margin of 0",
                     "how much worse is still no harm: more than 0, or a ratio other than 1",
                     "say it, or take the line out");
        } else if (question.margin && !says_better && (better == nullptr || is_word(*better, "not_said"))) {
            complain(ErrorCode::bad_relation, *margin, "margin", "a margin without better",
                     "better = \"higher\" or \"lower\": which way is good for the fish",
                     "add the line: without it the margin has no side");
        } else if (says_better && margin == nullptr) {
            complain(ErrorCode::bad_relation, *better, "better", "better without a margin",
                     "margin: how much worse is still no harm",
                     "add the line, or take this one out: alone it decides nothing");
        }
    }

    void check_effect(const toml::table& table, const study::Question& question) {
        if (!question.effect_wanted) {
            return;
        }
        const auto& node = *table.get("effect_wanted");
        const double effect = *question.effect_wanted;
        const bool is_ratio = question.family == study::QuestionFamily::log_normal;
        const bool is_share = question.family == study::QuestionFamily::binomial;
        if (is_ratio ? !(effect > 0.0) || effect == 1.0 : effect == 0.0) {
            complain(ErrorCode::bad_setting, node, "effect_wanted",
                     fmt::format("an effect of {}", shown(node)),
                     is_ratio ? "a ratio above 0 other than 1: 1.2 is a fifth higher" : "one other than 0",
                     "say how large an effect matters, or take the line out");
        } else if (is_share && std::fabs(effect) >= 1.0) {
            complain(
                ErrorCode::bad_setting, node, "effect_wanted", fmt::format("an effect of {}", shown(node)),
                "a difference of two shares, between -1 and 1: -0.2 is 20 in 100 fewer", "say it as a share");
        }
    }

    static bool is_word(const toml::node& node, std::string_view word) { return text_of(node) == word; }

    void read_season(const toml::table& table) {
        study::Season season{.place = place_of(table, "")};
        season.name = table["name"].value_or(std::string());
        require(table, "season", "from");
        require(table, "season", "to");
        const auto from = read_time(table, "from");
        const auto to = read_time(table, "to");
        for (const auto& [key, node] : table) {
            const std::string name(key.str());
            if (name == "name" || name == "from" || name == "to") {
                continue;
            }
            if (const auto* section = node.as_table()) {
                read_overrides(name, *section, season);
            } else {
                unknown(node, "setting in [[season]]", name, {"name", "from", "to"});
            }
        }
        if (!from || !to) {
            return;
        }
        if (*to <= *from) {
            complain(ErrorCode::bad_relation, table, "to", "the season ends before it begins",
                     "from before to", "swap the two times or mend a date");
            return;
        }
        season.from = *from;
        season.to = *to;
        out_.brief.seasons.push_back(std::move(season));
    }

    /// What a season has instead of the brief's own; nullptr: nothing.
    static const study::SettingOverride* override_of(const study::Season& season, const std::string& section,
                                                     const std::string& key) {
        const auto found = std::find_if(
            season.overrides.begin(), season.overrides.end(),
            [&](const study::SettingOverride& o) { return o.section == section && o.key == key; });
        return found == season.overrides.end() ? nullptr : &*found;
    }

    void complain_if_crossed(const study::SettingBounds& bounds, const SettingValue& least,
                             const SettingValue& most, Place place) {
        const auto low = numbers_in(least);
        const auto high = numbers_in(most);
        if (low.empty() || high.empty() || low.front() <= high.front()) {
            return;
        }
        out_.complaints.push_back(
            {.severity = study::Severity::stops_the_run,
             .error = {.code = ErrorCode::bad_relation,
                       .found = fmt::format("{} = {} lies above {} = {}", bounds.least,
                                            exact_text(low.front()), bounds.most, exact_text(high.front())),
                       .expected = fmt::format("{} at or below {}", bounds.least, bounds.most),
                       .remedy = "look whether the two are swapped; one that is not written has its default",
                       .place = std::move(place)}});
    }

    // The defaults are in order: one of the two is written, in the brief's section or in a season.
    void complain_of_crossed_bounds(const toml::table& root) {
        for (const auto& bounds : study::setting_bounds()) {
            const auto least = study::find_setting(bounds.section, bounds.least)->get(out_.brief);
            const auto most = study::find_setting(bounds.section, bounds.most)->get(out_.brief);
            const auto section = root[bounds.section];
            for (const auto& key : {bounds.least, bounds.most}) {
                if (const auto* node = section[key].node()) {
                    complain_if_crossed(bounds, least, most, place_of(*node, key));
                    break;
                }
            }
            for (const auto& season : out_.brief.seasons) {
                const auto* low = override_of(season, bounds.section, bounds.least);
                const auto* high = override_of(season, bounds.section, bounds.most);
                if (low != nullptr || high != nullptr) {
                    complain_if_crossed(bounds, low != nullptr ? low->value : least,
                                        high != nullptr ? high->value : most,
                                        low != nullptr ? low->place : high->place);
                }
            }
        }
    }

    // Two seasons that hold at once and set the same: which of them counts would be a matter of their order.
    void complain_of_rival_seasons() {
        const auto& seasons = out_.brief.seasons;
        for (std::size_t j = 1; j < seasons.size(); ++j) {
            for (std::size_t i = 0; i < j; ++i) {
                const auto from = std::max(seasons[i].from, seasons[j].from);
                const auto to = std::min(seasons[i].to, seasons[j].to);
                if (from < to) {
                    complain_of_rivals(seasons[i], seasons[j], from, to);
                }
            }
        }
    }

    void complain_of_rivals(const study::Season& a, const study::Season& b, Instant from, Instant to) {
        for (const auto& line : b.overrides) {
            const bool is_twice =
                std::any_of(a.overrides.begin(), a.overrides.end(), [&](const study::SettingOverride& other) {
                    return other.section == line.section && other.key == line.key;
                });
            if (is_twice) {
                out_.complaints.push_back(
                    {.severity = study::Severity::stops_the_run,
                     .error = {.code = ErrorCode::bad_relation,
                               .found = fmt::format("{}.{} is set by the season \"{}\" and by \"{}\", which "
                                                    "both hold from {} to {}",
                                                    line.section, line.key, a.label(), b.label(),
                                                    iso_text(from), iso_text(to)),
                               .expected = "one value at any moment",
                               .remedy = "end one season where the other begins, or set it in one of them",
                               .place = line.place}});
            }
        }
    }

    void read_overrides(const std::string& section, const toml::table& table, study::Season& season) {
        for (const auto& [key, node] : table) {
            const std::string word(key.str());
            const auto* setting = study::find_setting(section, word);
            if (setting == nullptr) {
                std::vector<std::string> names;
                for (const auto& one : study::settings()) {
                    names.push_back(fmt::format("{}.{}", one.section, one.key));
                }
                unknown(node, "setting", fmt::format("{}.{}", section, word), names);
            } else if (const auto why = study::why_not_by_season(section, word); !why.empty()) {
                complain(
                    ErrorCode::bad_setting, node, word,
                    fmt::format("{}.{} in the season \"{}\"", section, word, season.name),
                    fmt::format("settings that may change with the season; {}", why),
                    fmt::format("take it out; what holds for the whole study belongs into [{}]", section));
            } else if (auto value = checked(*setting, node)) {
                season.overrides.push_back({.section = section,
                                            .key = word,
                                            .value = std::move(*value),
                                            .place = place_of(node, word)});
            }
        }
    }

    BriefRead& out_;
    std::string file_;
    TableZone zone_;
};

// ---------------------------------------------------------------- words of the trace reader

template <typename Choice>
Expected<void> take_choice(const std::string& word, std::optional<Choice>& into) {
    if (word.empty()) {
        return {};
    }
    auto choice = choice_from<Choice>(word);
    if (!choice) {
        return fail(std::move(choice).error());
    }
    into = *choice;
    return {};
}

Expected<ColumnSetting> column_setting(const study::TraceColumn& column) {
    ColumnSetting out{
        .header = column.header, .index = column.index, .unit = column.unit, .channel = column.channel};
    if (auto taken = take_choice(column.use, out.use); !taken) {
        return fail(std::move(taken).error().at(column.place));
    }
    if (!column.unit.empty() && !unit_from(column.unit)) {
        const auto near = nearest_name(column.unit, unit_names());
        Place place = column.place;
        place.column = "unit";
        return fail({.code = ErrorCode::bad_unit,
                     .found = fmt::format("\"{}\" is no unit that is known here", column.unit),
                     .expected = fmt::format("one of {}", fmt::join(unit_names(), ", ")),
                     .remedy = near ? fmt::format("did you mean \"{}\"?", *near)
                                    : "write the unit in one of these ways",
                     .place = place});
    }
    return out;
}

} // namespace

BriefRead read_brief(std::string_view text, const std::string& file) {
    BriefRead out;
    out.brief.file = file;
    if (auto error = too_long_a_line(text, file)) {
        out.complaints.push_back({.severity = study::Severity::stops_the_run, .error = std::move(*error)});
        return out;
    }
    try {
        const auto root = toml::parse(text, file);
        BriefReader(out, file).read(root);
    } catch (const toml::parse_error& fault) {
        out.complaints.push_back(
            {.severity = study::Severity::stops_the_run,
             .error = {.code = ErrorCode::bad_text,
                       .found = std::string(fault.description()),
                       .expected = "TOML: key = value, texts in quotes, sections in brackets",
                       .remedy = "mend the line; `backeddy new` writes a whole example",
                       .place = {.file = file, .line = fault.source().begin.line}}});
    }
    return out;
}

Expected<ReadSettings> read_settings(const study::TraceSource& source, const std::string& study_zone) {
    ReadSettings out{.header_line = source.header_line,
                     .units_line = source.units_line,
                     .first_data_line = source.first_data_line,
                     .zone = source.zone,
                     .usual_zone = study_zone, // where neither the brief nor the file's header names one
                     .start = source.start,
                     .missing_words = source.missing_words,
                     .flush_words = source.flush_words,
                     .sealed_words = source.sealed_words,
                     .gap_factor = source.gap_factor};
    auto taken = take_choice(source.encoding, out.encoding);
    taken = taken ? take_choice(source.delimiter, out.delimiter) : taken;
    taken = taken ? take_choice(source.decimal, out.decimal) : taken;
    taken = taken ? take_choice(source.time_form, out.time_form) : taken;
    taken = taken ? take_choice(source.date_order, out.date_order) : taken;
    if (!taken) {
        return fail(std::move(taken).error().at(source.place));
    }
    for (const auto& column : source.columns) {
        auto setting = column_setting(column);
        if (!setting) {
            return fail(std::move(setting).error());
        }
        out.columns.push_back(std::move(*setting));
    }
    return out;
}

} // namespace backeddy::intake
