#include "app/control_doubts.hpp"

#include <algorithm>
#include <set>
#include <string>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/results_parts.hpp"

namespace backeddy::app {

namespace {

/// Whole groups, and the levels of the columns that make them.
std::vector<std::string> names_of_groups(const Study& study) {
    std::set<std::string> names;
    for (const auto& fish : study.tables.fish) {
        names.insert(detail::group_of(study, fish));
        for (const auto& column : detail::group_columns(study)) {
            names.insert(detail::column_of(study, fish, column));
        }
    }
    names.erase("");
    return {names.begin(), names.end()};
}

} // namespace

std::vector<study::Complaint> control_doubts(const Study& study) {
    const auto& control = study.brief.mortality.control;
    const auto names = names_of_groups(study);
    if (control.empty() || std::ranges::find(names, control) != names.end()) {
        return {};
    }
    const auto near = nearest_name(control, names);
    const std::string remedy = "mend the name, or take the line out where there is no control";
    return {
        {.severity = study::Severity::warning,
         .error = {.code = ErrorCode::unknown_name,
                   .found = fmt::format("[fates] control = \"{}\", and no fish is of such a group: no share "
                                        "of dead fish is held against a control",
                                        control),
                   .expected = names.empty() ? "a group of the study's fish, and there are none: [report] "
                                               "group_by says which column makes them"
                                             : fmt::format("a group of the study's fish, one of \"{}\"",
                                                           fmt::join(names, "\", \"")),
                   .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : remedy,
                   .place = {.file = study.brief.file, .line = {}, .column = "control", .byte = {}}}}};
}

} // namespace backeddy::app
