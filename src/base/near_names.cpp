#include "base/near_names.hpp"

#include <algorithm>
#include <numeric>
#include <utility>

namespace backeddy {

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

std::vector<std::string> nearest_names(std::string_view word, const std::vector<std::string>& candidates,
                                       std::size_t most) {
    constexpr std::size_t telling = 3; // letters: nearly every name holds an "a"
    std::vector<std::pair<std::size_t, std::string>> ranked;
    for (const auto& candidate : candidates) {
        const bool holds =
            std::min(word.size(), candidate.size()) >= telling &&
            (candidate.find(word) != std::string::npos || word.find(candidate) != std::string_view::npos);
        ranked.emplace_back(holds ? 0 : edit_distance(word, candidate), candidate);
    }
    std::ranges::stable_sort(ranked, {}, [](const auto& one) { return one.first; });
    ranked.resize(std::min(most, ranked.size()));
    std::vector<std::string> out;
    for (auto& [distance, name] : ranked) {
        out.push_back(std::move(name));
    }
    return out;
}

} // namespace backeddy
