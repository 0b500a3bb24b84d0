#pragma once
// A validator for the part of JSON Schema 2020-12 that results.schema.json uses; anything else in a schema is
// an error, so that no rule is silently passed over.

#include <string>
#include <vector>

#include <nlohmann/json.hpp>

namespace backeddy::report {

/// Where and how `document` differs from `schema`; empty when it is valid.
[[nodiscard]] std::vector<std::string> schema_errors(const nlohmann::json& schema,
                                                     const nlohmann::json& document);

} // namespace backeddy::report
