#include "intake/detail/words.hpp"

#include <algorithm>
#include <array>

#include "base/lower_case.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/number.hpp"

namespace backeddy::intake {

namespace {

constexpr std::array<std::string_view, 50> usual_missing{
    "nan",        "na",         "n/a",         "n.a.",        "null",         "nil",        "none",
    "missing",    "err",        "error",       "fault",       "fail",         "failed",     "invalid",
    "bad",        "nodata",     "no data",     "no_data",     "over",         "under",      "ovr",
    "ovf",        "ovld",       "overload",    "overflow",    "underflow",    "overrange",  "over range",
    "over-range", "underrange", "under range", "under-range", "out of range", "outofrange", "oor",
    "ol",         "o.l",        "o.l.",        "+over",       "-over",        "#n/a",       "#value!",
    "#div/0!",    "#ref!",      "#num!",       "inf",         "+inf",         "-inf",       "-nan",
    "."};
constexpr std::array<std::string_view, 8> microsoft_nan{"1.#ind", "-1.#ind", "1.#qnan", "-1.#qnan",
                                                        "1.#inf", "-1.#inf", "1.#snan", "nan(ind)"};
constexpr std::array<std::string_view, 10> usual_flush{"1",    "on",     "flush", "flushing", "flushed",
                                                       "open", "opened", "true",  "yes",      "run"};
constexpr std::array<std::string_view, 10> usual_sealed{"0",       "off",   "sealed", "seal", "closed",
                                                        "closing", "close", "false",  "no",   "stop"};

template <typename Words>
bool among(const Words& words, std::string_view wanted) {
    return std::find(words.begin(), words.end(), wanted) != words.end();
}

bool among_folded(const std::vector<std::string>& words, std::string_view folded) {
    return std::any_of(words.begin(), words.end(),
                       [&](const std::string& word) { return lower_case(word) == folded; });
}

} // namespace

bool is_missing_word(std::string_view cell, const std::vector<std::string>& more) {
    if (cell.empty()) {
        return true;
    }
    const char first = cell.front();
    if ((first == '-' || first == '*' || first == '#' || first == '?') &&
        cell.find_first_not_of(first) == std::string_view::npos) {
        return true;
    }
    const std::string folded = lower_case(cell);
    return among(usual_missing, folded) || among(microsoft_nan, folded) || among_folded(more, folded);
}

std::optional<double> pump_value(std::string_view cell, const std::vector<std::string>& flush,
                                 const std::vector<std::string>& sealed) {
    if (cell.empty()) {
        return std::nullopt;
    }
    const std::string folded = lower_case(cell);
    if (among_folded(flush, folded)) {
        return 1.0;
    }
    if (among_folded(sealed, folded)) {
        return 0.0;
    }
    if (among(usual_flush, folded)) {
        return 1.0;
    }
    if (among(usual_sealed, folded)) {
        return 0.0;
    }
    if (const auto number = decimal_number(cell, '.'); number && (*number == 0.0 || *number == 1.0)) {
        return number;
    }
    return std::nullopt;
}

} // namespace backeddy::intake
