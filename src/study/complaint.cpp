#include "study/complaint.hpp"

#include <algorithm>
#include <tuple>

namespace backeddy::study {

std::string_view word(Severity severity) {
    return severity == Severity::stops_the_run ? "stops" : "beware";
}

bool stops_a_run(std::span<const Complaint> complaints) {
    return std::ranges::any_of(complaints,
                               [](const Complaint& c) { return c.severity == Severity::stops_the_run; });
}

void sort_by_place(std::vector<Complaint>& complaints) {
    std::ranges::stable_sort(complaints, {}, [](const Complaint& c) {
        return std::tuple(c.error.place.file, c.error.place.line.value_or(0));
    });
}

} // namespace backeddy::study
