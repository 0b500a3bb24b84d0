#include "base/error.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "base/near_names.hpp"

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
