#include "study/question.hpp"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

std::string trimmed(std::string_view text) {
    const auto first = text.find_first_not_of(" \t");
    if (first == std::string_view::npos) {
        return {};
    }
    return std::string(text.substr(first, text.find_last_not_of(" \t") - first + 1));
}

std::vector<std::string> split(const std::string& text, std::string_view separator) {
    std::vector<std::string> out;
    std::size_t from = 0;
    for (auto at = text.find(separator); at != std::string::npos; at = text.find(separator, from)) {
        out.push_back(trimmed(std::string_view(text).substr(from, at - from)));
        from = at + separator.size();
    }
    out.push_back(trimmed(std::string_view(text).substr(from)));
    return out;
}

Error not_a_term(const std::string& text) {
    return {.code = ErrorCode::bad_setting,
            .found = fmt::format("\"{}\"", text),
            .expected = "a column, log(column), or two of them with an x between: \"rig x log(mass_g)\"",
            .remedy = "write the column's name as its header has it"};
}

Expected<QuestionTerm::Part> part_of(const std::string& text, const std::string& whole) {
    QuestionTerm::Part part{.column = text};
    if (text.starts_with("log(") && text.ends_with(")")) {
        part = {.column = trimmed(std::string_view(text).substr(4, text.size() - 5)), .is_log = true};
    }
    if (part.column.empty() || part.column.find_first_of("()") != std::string::npos) {
        return fail(not_a_term(whole));
    }
    return part;
}

} // namespace

bool is_plain_name(std::string_view name) {
    const auto byte_of = [](char c) { return static_cast<unsigned char>(c); };
    const auto is_control = [&](char c) { return byte_of(c) < 0x20 || byte_of(c) == 0x7F; };
    constexpr std::string_view no_break_space = "\u00A0";
    if (name.empty() || name.back() == ' ' || name.starts_with(no_break_space) ||
        name.ends_with(no_break_space) || std::ranges::any_of(name, is_control)) {
        return false;
    }
    return byte_of(name.front()) >= 0x80 || std::isalnum(byte_of(name.front())) != 0;
}

std::string Question::declared_form() const {
    std::string out = fmt::format(
        "name = {}; outcome = {}; compare = {}; reference = {}; adjust_for = {}; within = {}; random = {}; "
        "family = {}; family_of_tests = {}; better = {}; weigh_by_uncertainty = {}",
        name, outcome, compare, reference, fmt::join(adjust_for, ", "), within, fmt::join(random, ", "),
        word_of(family), family_of_tests, word_of(better), weigh_by_uncertainty);
    if (!order.empty()) { // declared before there was such a key, a question keeps its form
        out += fmt::format("; order = {}", fmt::join(order, ", "));
    }
    if (margin) {
        out += "; margin = " + exact_text(*margin);
    }
    return out;
}

std::string Question::sentence() const {
    if (!ask.empty()) {
        return ask;
    }
    return within.empty()
               ? fmt::format("How does {} go with {}?", outcome, compare)
               : fmt::format("How does {} go with {}, within the same {}?", outcome, compare, within);
}

Expected<QuestionTerm> question_term(const std::string& text) {
    QuestionTerm out;
    for (const auto& piece : split(text, " x ")) {
        auto part = part_of(piece, text);
        if (!part) {
            return fail(std::move(part).error());
        }
        out.parts.push_back(std::move(*part));
    }
    return out;
}

Expected<QuestionRandom> question_random(const std::string& text) {
    const auto pieces = split(text, " within ");
    if (pieces.size() > 2 ||
        std::any_of(pieces.begin(), pieces.end(), [](const auto& piece) { return piece.empty(); })) {
        return fail(
            Error{.code = ErrorCode::bad_setting,
                  .found = fmt::format("\"{}\"", text),
                  .expected = "a grouping column (\"day\"), or a slope within one (\"hours within fish\")",
                  .remedy = "write the column's name as its header has it"});
    }
    return pieces.size() == 2 ? QuestionRandom{.group = pieces[1], .slope = pieces[0]}
                              : QuestionRandom{.group = pieces[0]};
}

} // namespace backeddy::study
