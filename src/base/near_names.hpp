#pragma once
// Which names somebody may have meant, for messages about one that is not there.

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace backeddy {

/// How many letters must be put in, taken out or changed to make one of the other (Levenshtein 1966).
[[nodiscard]] std::size_t edit_distance(std::string_view a, std::string_view b);

/// At most so many of the candidates, those most like `word` first: those that hold it or are held by it (of
/// three letters or more), then by edit distance, then in their own order.
[[nodiscard]] std::vector<std::string>
nearest_names(std::string_view word, const std::vector<std::string>& candidates, std::size_t most);

} // namespace backeddy
