#include "intake/second_header.hpp"

#include <algorithm>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/lower_case.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/header_words.hpp"
#include "intake/detail/number.hpp"

namespace backeddy::intake {

namespace {

constexpr std::size_t changes_told = 6;

char mark_of(const Dialect& dialect) {
    return dialect.decimal.value == DecimalMark::comma ? ',' : '.';
}

bool is_word(std::string_view field, const Dialect& dialect) {
    return std::any_of(field.begin(), field.end(),
                       [](char c) {
                           return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
                                  static_cast<unsigned char>(c) >= 0x80;
                       }) &&
           !decimal_number(field, mark_of(dialect));
}

bool names_something(const HeaderWords& words) {
    return names_time(words) || reading_use(words).has_value();
}

} // namespace

std::optional<std::string> second_header(const Dialect& dialect, const RefusedRow& row) {
    Fields fields;
    if (dialect.header_line.value == 0 ||
        fields.split(row.raw, dialect.delimiter.value, dialect.quoting.value) != SplitState::whole) {
        return std::nullopt;
    }
    if (dialect.header_text.starts_with(row.raw)) {
        return std::nullopt; // the header again, cut off as the power went
    }
    bool is_named = false;
    std::size_t words = 0;
    for (const auto field : fields) {
        if (field.empty()) {
            continue;
        }
        if (!is_word(field, dialect)) {
            return std::nullopt;
        }
        ++words;
        is_named = is_named || names_something(header_words(field, {}));
    }
    if (words < 2 || !is_named) {
        return std::nullopt;
    }
    std::vector<std::string> changes;
    const std::size_t columns = std::max(fields.size(), dialect.columns.size());
    for (std::size_t i = 0; i < columns; ++i) {
        const std::string_view now = i < fields.size() ? fields[i] : std::string_view();
        const std::string_view before =
            i < dialect.columns.size() ? std::string_view(dialect.columns[i].header) : std::string_view();
        if (lower_case(now) != lower_case(trimmed(before))) {
            changes.push_back(now.empty() ? fmt::format("column {} \"{}\" is gone", i + 1, before)
                              : before.empty()
                                  ? fmt::format("column {} \"{}\" is new", i + 1, now)
                                  : fmt::format("column {} is \"{}\" and was \"{}\"", i + 1, now, before));
        }
    }
    if (changes.empty()) {
        return std::nullopt;
    }
    const bool is_long = changes.size() > changes_told;
    changes.resize(std::min(changes.size(), changes_told));
    return fmt::format("{}{}", fmt::join(changes, ", "), is_long ? " ..." : "");
}

} // namespace backeddy::intake
