#pragma once
// Words and small searches that the checks of relations share.

#include <algorithm>
#include <iterator>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "study/brief.hpp"
#include "study/complaint.hpp"
#include "study/likeness.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

[[nodiscard]] inline std::string quote(const std::string& text) {
    return "\"" + text + "\"";
}

/// "unknown fish "st1"; did you mean "st01"?"
template <typename Rows, typename Name>
[[nodiscard]] Complaint unknown(const Place& place, const std::string& column, const std::string& name,
                                const Rows& rows, Name name_of, const std::string& file) {
    std::vector<std::string> names;
    for (const auto& row : rows) {
        names.push_back(name_of(row));
    }
    const auto near = nearest_name(name, names);
    std::string remedy = near ? "did you mean " + quote(*near) + "?" : "add it there, or correct it";
    if (look_alike(name, names)) {
        remedy = look_alike_remedy();
    }
    return stop(place, column,
                {.code = ErrorCode::unknown_name,
                 .found = quote(name) + " is not in " + file,
                 .expected = "a name that is",
                 .remedy = std::move(remedy),
                 .looked_in = file});
}

[[nodiscard]] inline Complaint unknown_fish(const Place& place, const FishId& id, const Tables& tables) {
    return unknown(
        place, "fish", id.text(), tables.fish, [](const Fish& f) { return f.id.text(); }, "fish.csv");
}
[[nodiscard]] inline Complaint unknown_stay(const Place& place, const StayId& id, const Tables& tables) {
    return unknown(
        place, "stay", id.text(), tables.stays, [](const Stay& s) { return s.id.text(); }, "stays.csv");
}
[[nodiscard]] inline Complaint unknown_assembly(const Place& place, const AssemblyId& id,
                                                const Tables& tables) {
    return unknown(
        place, "assembly", id.text(), tables.assemblies, [](const Assembly& a) { return a.id.text(); },
        "assemblies.csv");
}

/// Named by the event, or in the stay that it names.
[[nodiscard]] inline bool is_event_of(const FishId& fish, const Event& event, const Tables& tables) {
    if (!event.fish.is_empty()) {
        return event.fish == fish;
    }
    const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
    return stay != nullptr && stay->fish == fish;
}

[[nodiscard]] inline Instant from_or_ever(const Assembly& row) {
    return row.from.value_or(Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::min()));
}
[[nodiscard]] inline Instant to_or_ever(const Assembly& row) {
    return row.to.value_or(Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::max()));
}

[[nodiscard]] inline std::string from_to(Instant from, Instant to) {
    return iso_text(from) + " to " + iso_text(to);
}

/// A channel as trace:channel of a trace that the brief has.
void check_channel(std::vector<Complaint>& out, const Brief& brief, const Place& place,
                   const std::string& column, const Channel& channel);

} // namespace backeddy::study
