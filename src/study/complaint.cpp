#include "study/complaint.hpp"

#include <algorithm>
#include <iterator>
#include <string_view>
#include <tuple>

namespace backeddy::study {

std::string_view word(Severity severity) {
    return severity == Severity::stops_the_run ? "stops" : "beware";
}

bool stops_a_run(std::span<const Complaint> complaints) {
    return std::ranges::any_of(complaints,
                               [](const Complaint& c) { return c.severity == Severity::stops_the_run; });
}

namespace {

/// Causes before consequences: what could not be read, the brief, the tables in the order of a study's days,
/// raw files.
int rank_of(const Error& error) {
    constexpr std::string_view in_order[] = {"study.toml",     "fish.csv",         "encounters.csv",
                                             "assemblies.csv", "calibrations.csv", "clock_checks.csv",
                                             "stays.csv",      "events.csv",       "decisions.csv"};
    const bool is_unread =
        !error.place.line && (error.code == ErrorCode::file_missing ||
                              error.code == ErrorCode::file_unreadable || error.code == ErrorCode::bad_text);
    if (is_unread) {
        return -1;
    }
    const auto found = std::ranges::find(in_order, std::string_view(error.place.file));
    return static_cast<int>(found - std::begin(in_order));
}

} // namespace

void sort_by_place(std::vector<Complaint>& complaints) {
    std::ranges::stable_sort(complaints, {}, [](const Complaint& c) {
        return std::tuple(rank_of(c.error), c.error.place.file, c.error.place.line.value_or(0));
    });
}

} // namespace backeddy::study
