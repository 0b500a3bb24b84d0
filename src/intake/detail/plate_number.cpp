#include "intake/detail/plate_number.hpp"

#include <algorithm>
#include <array>
#include <string>

#include "intake/detail/number.hpp"

namespace backeddy::intake {

namespace {

constexpr std::size_t longest_number = 64; // characters; no instrument writes more

char character_of(DecimalMark mark) {
    return mark == DecimalMark::point ? '.' : ',';
}

char other_than(DecimalMark mark) {
    return mark == DecimalMark::point ? ',' : '.';
}

std::size_t digits_at(std::string_view text, std::size_t at) {
    std::size_t count = 0;
    while (at + count < text.size() && text[at + count] >= '0' && text[at + count] <= '9') {
        ++count;
    }
    return count;
}

/// With '-' for the minus sign of print.
std::string plain_minus(std::string_view text) {
    constexpr std::string_view minus = "\u2212";
    return text.starts_with(minus) ? "-" + std::string(text.substr(minus.size())) : std::string(text);
}

/// Without the marks between its groups of three digits; nothing where it is not so grouped.
std::optional<std::string> without_groups(std::string_view text, DecimalMark mark) {
    const std::array<std::string_view, 5> marks{mark == DecimalMark::point ? "," : ".", " ", "\u00a0",
                                                "\u202f", "'"};
    std::size_t at = !text.empty() && (text.front() == '-' || text.front() == '+') ? 1 : 0;
    const std::size_t first = digits_at(text, at);
    if (first == 0 || first > 3 || text[at] == '0') {
        return std::nullopt;
    }
    at += first;
    const auto group =
        std::ranges::find_if(marks, [&](std::string_view m) { return text.substr(at).starts_with(m); });
    if (group == marks.end()) {
        return std::nullopt;
    }
    std::string out(text.substr(0, at));
    while (text.substr(at).starts_with(*group)) {
        at += group->size();
        if (digits_at(text, at) != 3) {
            return std::nullopt;
        }
        out += text.substr(at, 3);
        at += 3;
    }
    const std::string_view rest = text.substr(at);
    return rest.find_first_of("eE") == std::string_view::npos ? std::optional(out + std::string(rest))
                                                              : std::nullopt;
}

} // namespace

std::optional<double> plate_number(std::string_view text, DecimalMark mark) {
    if (text.empty() || text.size() > longest_number) {
        return std::nullopt;
    }
    const std::string plain = plain_minus(text);
    if (const auto number = decimal_number(plain, character_of(mark))) {
        return number;
    }
    const auto joined = without_groups(plain, mark);
    return joined ? decimal_number(*joined, character_of(mark)) : std::nullopt;
}

bool is_plate_number(std::string_view text) {
    return plate_number(text, DecimalMark::point) || plate_number(text, DecimalMark::comma);
}

MarkEvidence mark_evidence(std::string_view text) {
    const bool with_point = plate_number(text, DecimalMark::point).has_value();
    const bool with_comma = plate_number(text, DecimalMark::comma).has_value();
    if (with_point != with_comma) {
        return with_point ? MarkEvidence::point : MarkEvidence::comma;
    }
    if (!with_point) {
        return MarkEvidence::nothing;
    }
    // Read with both: "1,234", "1.234", or a number without either mark.
    for (const auto mark : {DecimalMark::point, DecimalMark::comma}) {
        if (text.find(other_than(mark)) != std::string_view::npos) {
            return mark == DecimalMark::point ? MarkEvidence::comma_or_thousands
                                              : MarkEvidence::point_or_thousands;
        }
    }
    const std::size_t sign = !text.empty() && (text.front() == '-' || text.front() == '+') ? 1 : 0;
    const std::size_t digits = digits_at(text, sign);
    return digits >= 4 && sign + digits == text.size() ? MarkEvidence::no_groups : MarkEvidence::nothing;
}

} // namespace backeddy::intake
