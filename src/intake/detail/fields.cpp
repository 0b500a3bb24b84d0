#include "intake/detail/fields.hpp"

namespace backeddy::intake {

char character_of(Delimiter delimiter) {
    switch (delimiter) {
    case Delimiter::comma:
        return ',';
    case Delimiter::semicolon:
        return ';';
    case Delimiter::tab:
        return '\t';
    case Delimiter::spaces:
        return ' ';
    }
    return ',';
}

std::string_view trimmed(std::string_view text) {
    constexpr std::string_view no_break_space = "\u00a0";
    while (!text.empty()) {
        if (text.front() == ' ' || text.front() == '\t') {
            text.remove_prefix(1);
        } else if (text.starts_with(no_break_space)) {
            text.remove_prefix(no_break_space.size());
        } else {
            break;
        }
    }
    while (!text.empty()) {
        if (text.back() == ' ' || text.back() == '\t') {
            text.remove_suffix(1);
        } else if (text.ends_with(no_break_space)) {
            text.remove_suffix(no_break_space.size());
        } else {
            break;
        }
    }
    return text;
}

namespace {

bool is_blank(char c) {
    return c == ' ' || c == '\t';
}

} // namespace

SplitState Fields::split(std::string_view line, Delimiter delimiter, Quoting quoting) {
    fields_.clear();
    unescaped_.clear();
    const bool spaces = delimiter == Delimiter::spaces;
    const char mark = character_of(delimiter);
    const auto is_delimiter = [&](char c) { return spaces ? is_blank(c) : c == mark; };
    std::size_t at = 0;
    const auto skip_blanks = [&] {
        while (at < line.size() && is_blank(line[at]) && (spaces || line[at] != mark)) {
            ++at;
        }
    };
    SplitState state = SplitState::whole;
    if (spaces) {
        skip_blanks();
        if (at == line.size()) {
            return state;
        }
    }
    while (true) {
        skip_blanks();
        if (quoting != Quoting::none && at < line.size() && line[at] == '"') {
            const std::size_t begin = ++at;
            std::size_t close = line.find('"', at);
            bool doubled = false;
            while (close != std::string_view::npos && close + 1 < line.size() && line[close + 1] == '"') {
                doubled = true;
                close = line.find('"', close + 2);
            }
            if (close == std::string_view::npos) {
                fields_.push_back(line.substr(begin));
                return SplitState::open_quote;
            }
            std::string_view field = line.substr(begin, close - begin);
            if (doubled) {
                std::string plain;
                for (std::size_t i = 0; i < field.size(); ++i) {
                    plain += field[i];
                    i += field[i] == '"' ? 1 : 0;
                }
                field = unescaped_.emplace_back(std::move(plain));
            }
            fields_.push_back(trimmed(field));
            at = close + 1;
            skip_blanks();
            if (at < line.size() && !is_delimiter(line[at]) && !spaces) {
                state = SplitState::text_after_quote;
                while (at < line.size() && !is_delimiter(line[at])) {
                    ++at;
                }
            }
        } else {
            const std::size_t begin = at;
            if (spaces) {
                while (at < line.size() && !is_blank(line[at])) {
                    ++at;
                }
            } else {
                at = std::min(line.find(mark, at), line.size());
            }
            fields_.push_back(trimmed(line.substr(begin, at - begin)));
        }
        if (spaces) {
            skip_blanks();
            if (at >= line.size()) {
                return state;
            }
            continue;
        }
        if (at >= line.size()) {
            return state;
        }
        ++at; // the delimiter; a field follows, even an empty one at the end of the line
    }
}

} // namespace backeddy::intake
