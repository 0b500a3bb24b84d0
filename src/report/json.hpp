#pragma once
// results.json: the one document that the pages and the report's figures draw from.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/parallel.hpp"
#include "report/json_stream.hpp"
#include "report/results.hpp"

namespace backeddy::report {

enum class Detail : std::uint8_t {
    whole, ///< results.json: every number to its last bit
    drawn, ///< inside the report: six digits, sources of uncertainty by kind, and none of the columns that no
           ///< figure reads (traces of blanks, saturation and temperature of every drawn reading, sources per
           ///< spell)
};

/// Texts of the fish and the blanks of a document as they stand in it, in its order; an empty pointer: not
/// written yet.
struct PartTexts {
    std::vector<std::shared_ptr<const std::string>> fish;
    std::vector<std::shared_ptr<const std::string>> blanks;
};

/// The document, valid by results.schema.json either way, ending in a newline. Same results, same bytes. `<`
/// and `>` inside strings are escapes, so that the very text may stand inside an HTML script element. Fish
/// and blanks that have a text in `parts`, of the same detail, are not written again; afterwards all have.
[[nodiscard]] std::string json_text(const Results& results, Detail detail, Threads threads, PartTexts& parts);
[[nodiscard]] std::string json_text(const Results& results, Detail detail = Detail::whole);

/// A stretch of a stay's readings as a JSON object, with the names of the document's `trace` but more digits:
/// it may be a few readings wide.
[[nodiscard]] std::string stretch_text(const DrawnTrace& stretch);
/// A complaint as the document has it, as the next value of `out`.
void put_complaint(JsonStream& out, const Complaint& complaint);

/// A finding as the document has it.
[[nodiscard]] std::string finding_text(const findings::Finding& finding);

/// results.schema.json as it was when this program was built.
[[nodiscard]] std::string_view schema_text();

} // namespace backeddy::report
