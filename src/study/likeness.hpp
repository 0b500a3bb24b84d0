#pragma once
// Names that look alike on the screen and are different bytes: "é" as one character or as "e" with a mark, a
// no-break space, a character of no width.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace backeddy::study {

/// The name as it looks: Latin letters with a mark (U+00C0 to U+017F) and letters followed by combining marks
/// (U+0300 to U+036F) become the same, spaces of any kind one space, characters without width nothing. Which
/// mark it is does not count: this is for hints, never for equality of names.
[[nodiscard]] std::string as_it_looks(std::string_view name);

/// The one among `names` that looks like `name` and is not the same bytes.
[[nodiscard]] std::optional<std::string> look_alike(std::string_view name,
                                                    const std::vector<std::string>& names);

/// "the two look alike and are different bytes ...": what to do about it.
[[nodiscard]] std::string look_alike_remedy();

} // namespace backeddy::study
