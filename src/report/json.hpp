#pragma once
// results.json: the one document that the pages and the report's figures draw from.

#include <string>

#include "report/results.hpp"

namespace backeddy::report {

/// The whole document, valid by results.schema.json, ending in a newline. Same results, same bytes. `<` and
/// `>` inside strings are escapes, so that the very text may stand inside an HTML script element.
[[nodiscard]] std::string json_text(const Results& results);

/// results.schema.json as it was when this program was built.
[[nodiscard]] std::string_view schema_text();

} // namespace backeddy::report
