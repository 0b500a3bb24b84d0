#pragma once
// What `check` has to say of a study: an Error and how much it matters.

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"

namespace backeddy::study {

enum class Severity : std::uint8_t { stops_the_run, warning };

/// "stops", "beware": as in results.json.
[[nodiscard]] std::string_view word(Severity severity);

struct Complaint {
    Severity severity = Severity::stops_the_run;
    Error error;

    friend bool operator==(const Complaint&, const Complaint&) = default;
};

/// What a complaint says beside its place.
struct Saying {
    ErrorCode code = ErrorCode::bad_relation;
    std::string found;
    std::string expected;
    std::string remedy;
    std::string looked_in = {}; ///< of an unknown name: the table where it should be
};

/// At a column of a row; of one that stops a run, and of one to beware of.
[[nodiscard]] Complaint complaint(Severity severity, Place place, std::string column, Saying saying);
[[nodiscard]] Complaint stop(Place place, std::string column, Saying saying);
[[nodiscard]] Complaint warn(Place place, std::string column, Saying saying);
/// "line 7", to name a second row in words.
[[nodiscard]] std::string line_text(const Place& place);

/// True when one of them stops a run.
[[nodiscard]] bool stops_a_run(std::span<const Complaint> complaints);

/// In the order of files, lines and columns; equal places keep their order.
void sort_by_place(std::vector<Complaint>& complaints);

} // namespace backeddy::study
