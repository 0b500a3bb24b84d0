#include "intake/question_text.hpp"

#include <algorithm>
#include <cstddef>
#include <utility>

#include <fmt/format.h>
#include <toml++/toml.h>

#include "intake/brief.hpp"
#include "study/settings.hpp"

namespace backeddy::intake {

namespace {

using study::Question;

bool is_bare_key(std::string_view key) {
    return !key.empty() && key.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                                 "0123456789_-") == std::string_view::npos;
}

std::string key_line(const std::string& key, const study::SettingValue& value) {
    return fmt::format("{} = {}\n", is_bare_key(key) ? key : study::toml_text(key), study::toml_text(value));
}

bool is_said(const study::SettingValue& value) {
    return !std::holds_alternative<std::monostate>(value);
}

/// Where lines of a text begin; one more than there are, where it ends.
class Lines {
  public:
    explicit Lines(std::string_view text) : text_(text) {
        begins_.push_back(0);
        for (std::size_t i = 0; i < text.size(); ++i) {
            if (text[i] == '\n') {
                begins_.push_back(i + 1);
            }
        }
        if (begins_.back() != text.size()) {
            begins_.push_back(text.size());
        }
    }

    /// The place of a line's first byte, lines from 1; of a line behind the last the end of the text.
    [[nodiscard]] std::size_t begin(std::size_t line) const {
        return line - 1 < begins_.size() ? begins_[line - 1] : text_.size();
    }
    [[nodiscard]] std::string_view line(std::size_t line) const {
        return text_.substr(begin(line), begin(line + 1) - begin(line));
    }
    /// The place of a column, counted in characters from 1.
    [[nodiscard]] std::size_t place(toml::source_position at) const {
        std::size_t i = begin(at.line);
        for (std::size_t column = 1; column < at.column && i < text_.size(); ++column) {
            for (++i; i < text_.size() && (static_cast<unsigned char>(text_[i]) & 0xC0U) == 0x80U;) {
                ++i;
            }
        }
        return i;
    }

  private:
    std::string_view text_;
    std::vector<std::size_t> begins_;
};

std::string_view trimmed(std::string_view text) {
    const auto first = text.find_first_not_of(" \t\r\n");
    return first == std::string_view::npos ? std::string_view()
                                           : text.substr(first, text.find_last_not_of(" \t\r\n") - first + 1);
}

std::string with_line_ends_of(std::string_view brief, const std::string& lines) {
    if (brief.find("\r\n") == std::string_view::npos) {
        return lines;
    }
    std::string out;
    for (const char c : lines) {
        out += c == '\n' ? std::string("\r\n") : std::string(1, c);
    }
    return out;
}

Error in_another_form() {
    return {.code = ErrorCode::bad_setting,
            .found = "the brief holds its questions in another form than [[question]]",
            .expected = "[[question]] on a line of its own, once for each",
            .remedy = "change it as text: Set-up, Brief"};
}

Expected<toml::table> parsed(std::string_view brief) {
    try {
        return toml::parse(brief);
    } catch (const toml::parse_error& fault) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("the brief is no TOML: {}", fault.description()),
                     .expected = "a brief that can be read",
                     .remedy = "mend it first: Set-up, Brief"});
    }
}

// ---------------------------------------------------------------- what a text says, to hold two together

bool is_same_question(const Question& a, const Question& b) {
    return std::ranges::all_of(study::question_settings(),
                               [&](const auto& setting) { return setting.get(a) == setting.get(b); });
}

Question question_of(const QuestionKeys& keys) {
    auto read = read_brief(question_text(keys), "study.toml");
    return read.brief.questions.empty() ? Question() : std::move(read.brief.questions.front());
}

/// All of a brief but its questions, as one text.
std::string all_else(const study::Brief& brief) {
    auto copy = brief;
    copy.questions.clear();
    std::string out;
    for (const auto& used : study::settings_used(copy)) {
        out += fmt::format("{}.{} = {}\n", used.section, used.key, used.value);
    }
    for (const auto& [column, stage] : brief.column_stages) {
        out += fmt::format("{} = {}\n", column, stage);
    }
    for (const auto& trace : brief.traces) {
        for (const auto& setting : study::trace_settings()) {
            out += fmt::format("{}.{} = {}\n", trace.name, setting.key, study::toml_text(setting.get(trace)));
        }
    }
    return out;
}

/// The text, when it says what is wished and else what it said before.
Expected<std::string> held(std::string_view before, std::string text, const std::vector<Question>& wished) {
    const auto was = read_brief(before, "study.toml");
    const auto is = read_brief(text, "study.toml");
    const auto& questions = is.brief.questions;
    if (questions.size() != wished.size() ||
        !std::equal(questions.begin(), questions.end(), wished.begin(), is_same_question) ||
        all_else(was.brief) != all_else(is.brief)) {
        return fail({.code = ErrorCode::our_bug,
                     .found = "the changed brief would say something else than was wished",
                     .expected = "the question alone changed",
                     .remedy = "change it as text: Set-up, Brief"});
    }
    return text;
}

// ---------------------------------------------------------------- where a question stands

struct Written {
    std::string name;
    std::size_t begin = 0; ///< byte of its key's first character
    std::size_t end = 0;   ///< behind its value
    std::size_t first_line = 0;
    std::size_t last_line = 0;
};

struct Block {
    std::size_t index = 0; ///< among the questions
    std::size_t header = 0;
    std::size_t last_line = 0; ///< of its last key
    std::vector<Written> keys;
};

Expected<Block> block_of(const toml::table& root, const Lines& lines, std::string_view name) {
    const auto* all = root["question"].as_array();
    for (std::size_t i = 0; all != nullptr && i < all->size(); ++i) {
        const auto* table = all->get(i)->as_table();
        if (table == nullptr || (*table)["name"].value_or(std::string_view()) != name) {
            continue;
        }
        Block out{.index = i, .header = table->source().begin.line, .last_line = 0, .keys = {}};
        if (!trimmed(lines.line(out.header)).starts_with("[[")) {
            return fail(in_another_form());
        }
        out.last_line = out.header;
        for (const auto& [key, node] : *table) {
            const auto& region = node.source();
            out.keys.push_back({.name = std::string(key.str()),
                                .begin = lines.place(key.source().begin),
                                .end = lines.place(region.end),
                                .first_line = key.source().begin.line,
                                .last_line = region.end.line});
            out.last_line = std::max<std::size_t>(out.last_line, region.end.line);
        }
        return out;
    }
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("the brief asks no question \"{}\"", name),
                 .expected = "one that it asks",
                 .remedy = "open the questions again: somebody may have renamed it or taken it out"});
}

struct Change {
    std::size_t from = 0;
    std::size_t to = 0;
    std::string text;
};

std::string changed(std::string_view text, std::vector<Change> changes) {
    std::ranges::sort(changes, {}, &Change::from);
    std::string out;
    std::size_t at = 0;
    for (const auto& change : changes) {
        out += text.substr(at, change.from - at);
        out += change.text;
        at = change.to;
    }
    return out += text.substr(at);
}

const study::SettingValue* value_of(const QuestionKeys& keys, std::string_view name) {
    const auto found =
        std::ranges::find_if(keys, [&](const auto& key) { return key.first == name && is_said(key.second); });
    return found == keys.end() ? nullptr : &found->second;
}

bool says_the_same(std::string_view key, const Question& a, const Question& b) {
    return std::ranges::any_of(study::question_settings(), [&](const auto& setting) {
        return setting.key == key && setting.get(a) == setting.get(b);
    });
}

// One line, that no character of it ends.
std::string remark_line(std::string_view remark) {
    std::string out = fmt::format("{} {}", asked_remark, remark);
    for (char& c : out) {
        const auto byte = static_cast<unsigned char>(c);
        c = byte < 0x20 || byte == 0x7F ? ' ' : c;
    }
    return out + "\n";
}

/// A question that stands in a brief.
struct FoundQuestion {
    Lines lines;
    Block block;
    std::vector<Question> questions; ///< all of the brief's, in their order
};

Expected<FoundQuestion> found_question(std::string_view brief, std::string_view name) {
    const auto root = parsed(brief);
    if (!root) {
        return fail(root.error());
    }
    Lines lines(brief);
    auto block = block_of(*root, lines, name);
    if (!block) {
        return fail(std::move(block).error());
    }
    auto questions = read_brief(brief, "study.toml").brief.questions;
    if (block->index >= questions.size()) {
        return fail(in_another_form());
    }
    return FoundQuestion{std::move(lines), std::move(*block), std::move(questions)};
}

} // namespace

std::string question_text(const QuestionKeys& keys) {
    std::string out = "[[question]]\n";
    for (const auto& [key, value] : keys) {
        if (is_said(value)) {
            out += key_line(key, value);
        }
    }
    return out;
}

Expected<std::string> with_question(std::string_view brief, const QuestionKeys& keys,
                                    std::string_view remark) {
    if (auto read = parsed(brief); !read) {
        return fail(std::move(read).error());
    }
    const bool ends = brief.empty() || brief.ends_with('\n');
    std::string text(brief);
    text += with_line_ends_of(brief, (ends ? "\n" : "\n\n") + remark_line(remark) + question_text(keys));
    if (auto read = parsed(text); !read) {
        return fail(in_another_form());
    }
    auto wished = read_brief(brief, "study.toml").brief.questions;
    wished.push_back(question_of(keys));
    return held(brief, std::move(text), wished);
}

Expected<std::string> with_question_changed(std::string_view brief, std::string_view name,
                                            const QuestionKeys& keys) {
    auto found = found_question(brief, name);
    if (!found) {
        return fail(std::move(found).error());
    }
    auto& [lines, block, wished] = *found;
    const Question was = std::exchange(wished[block.index], question_of(keys));
    const Question& now = wished[block.index];
    std::vector<Change> changes;
    std::string added;
    for (const auto& written : block.keys) {
        if (says_the_same(written.name, was, now)) {
            continue;
        }
        if (const auto* value = value_of(keys, written.name)) {
            auto line = key_line(written.name, *value);
            line.pop_back();
            changes.push_back({.from = written.begin, .to = written.end, .text = std::move(line)});
        } else {
            changes.push_back({.from = lines.begin(written.first_line),
                               .to = lines.begin(written.last_line + 1),
                               .text = {}});
        }
    }
    for (const auto& [key, value] : keys) {
        const bool is_there = std::ranges::find(block.keys, key, &Written::name) != block.keys.end();
        if (!is_there && is_said(value) && !says_the_same(key, was, now)) {
            added += key_line(key, value);
        }
    }
    if (!added.empty()) {
        const auto at = lines.begin(block.last_line + 1);
        const bool ends = at == 0 || brief[at - 1] == '\n';
        changes.push_back(
            {.from = at, .to = at, .text = with_line_ends_of(brief, (ends ? "" : "\n") + added)});
    }
    return held(brief, changed(brief, std::move(changes)), wished);
}

Expected<std::string> without_question(std::string_view brief, std::string_view name) {
    auto found = found_question(brief, name);
    if (!found) {
        return fail(std::move(found).error());
    }
    auto& [lines, block, wished] = *found;
    wished.erase(wished.begin() + static_cast<std::ptrdiff_t>(block.index));
    const bool has_remark =
        block.header > 1 && trimmed(lines.line(block.header - 1)).starts_with(asked_remark);
    std::size_t first = has_remark ? block.header - 1 : block.header;
    // The empty line that was set above the remark goes with it.
    first -= has_remark && first > 1 && trimmed(lines.line(first - 1)).empty() ? 1U : 0U;
    return held(
        brief,
        changed(brief, {{.from = lines.begin(first), .to = lines.begin(block.last_line + 1), .text = {}}}),
        wished);
}

} // namespace backeddy::intake
