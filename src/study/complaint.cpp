#include "study/complaint.hpp"

#include <algorithm>
#include <iterator>
#include <string_view>
#include <tuple>
#include <utility>

#include <fmt/format.h>

namespace backeddy::study {

std::string_view word(Severity severity) {
    return severity == Severity::stops_the_run ? "stops" : "beware";
}

Complaint complaint(Severity severity, Place place, std::string column, Saying saying) {
    place.column = std::move(column);
    return {.severity = severity,
            .error = {.code = saying.code,
                      .found = std::move(saying.found),
                      .expected = std::move(saying.expected),
                      .remedy = std::move(saying.remedy),
                      .place = std::move(place),
                      .context = {},
                      .looked_in = std::move(saying.looked_in)}};
}

Complaint stop(Place place, std::string column, Saying saying) {
    return complaint(Severity::stops_the_run, std::move(place), std::move(column), std::move(saying));
}

Complaint warn(Place place, std::string column, Saying saying) {
    return complaint(Severity::warning, std::move(place), std::move(column), std::move(saying));
}

std::string line_text(const Place& place) {
    return place.line ? fmt::format("line {}", *place.line) : std::string("another line");
}

bool stops_a_run(std::span<const Complaint> complaints) {
    return std::ranges::any_of(complaints,
                               [](const Complaint& c) { return c.severity == Severity::stops_the_run; });
}

namespace {

/// Causes before consequences: what could not be read, the brief, the tables in the order of a study's days,
/// raw files.
int rank_of(const Error& error) {
    constexpr std::string_view in_order[] = {
        "study.toml",       "fish.csv",      "encounters.csv",  "assemblies.csv", "calibrations.csv",
        "clock_checks.csv", "stays.csv",     "events.csv",      "samples.csv",    "blood.csv",
        "plates.csv",       "wells.csv",     "fins.csv",        "body.csv",       "reflexes.csv",
        "fates.csv",        "decisions.csv", "declarations.csv"};
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
