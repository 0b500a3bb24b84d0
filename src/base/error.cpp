#include "base/error.hpp"

#include <algorithm>
#include <numeric>

#include <fmt/format.h>

namespace backeddy {

Error Error::within(std::string outer) && {
    context.insert(context.begin(), std::move(outer));
    return std::move(*this);
}

Error Error::at(Place where) && {
    place = std::move(where);
    return std::move(*this);
}

std::string Error::text() const {
    std::string out;
    for (const auto& outer : context) {
        out += outer + ": ";
    }
    if (!place.file.empty()) {
        out += place.file;
        if (place.line) {
            out += fmt::format(" line {}", *place.line);
        }
        if (!place.column.empty()) {
            out += fmt::format(", column \"{}\"", place.column);
        }
        if (place.byte) {
            out += fmt::format(" (byte {})", *place.byte);
        }
        out += ": ";
    }
    out += found;
    if (!expected.empty()) {
        out += "; " + expected;
    }
    if (!remedy.empty()) {
        out += "; " + remedy;
    }
    return out;
}

namespace {

std::size_t edit_distance(std::string_view a, std::string_view b) {
    std::vector<std::size_t> row(b.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t{0});
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = row[0];
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t substituted = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
            diagonal = row[j];
            row[j] = std::min({substituted, row[j] + 1, row[j - 1] + 1});
        }
    }
    return row.back();
}

} // namespace

std::optional<std::string> nearest_name(std::string_view word, const std::vector<std::string>& candidates) {
    const std::size_t limit = std::clamp<std::size_t>(word.size() / 3, 1, 3);
    std::optional<std::string> best;
    std::size_t best_distance = limit + 1;
    for (const auto& candidate : candidates) {
        const std::size_t distance = edit_distance(word, candidate);
        if (distance < best_distance) {
            best_distance = distance;
            best = candidate;
        }
    }
    return best;
}

} // namespace backeddy
