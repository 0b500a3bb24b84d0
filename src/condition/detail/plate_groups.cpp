#include "condition/detail/plate_groups.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include <fmt/format.h>

namespace backeddy::condition::detail {

namespace {

std::string name_of(const Well& well) {
    return well_name(well.row, well.column);
}

bool is_labelled(WellKind kind) {
    return kind == WellKind::control || kind == WellKind::sample || kind == WellKind::spiked;
}

Error complaint(ErrorCode code, const Well& well, const std::string& found, std::string expected,
                std::string remedy) {
    return {.code = code,
            .found = fmt::format("well {}: {}", name_of(well), found),
            .expected = std::move(expected),
            .remedy = std::move(remedy)};
}

bool is_positive(double value) {
    return value > 0.0 && std::isfinite(value);
}

std::optional<Error> fault_of(const Well& well, const PlateSettings& settings) {
    if (well.row < 1 || well.row > settings.rows || well.column < 1 || well.column > settings.columns) {
        return complaint(ErrorCode::out_of_range, well,
                         fmt::format("row {}, column {}", well.row, well.column),
                         fmt::format("a plate of {} rows and {} columns", settings.rows, settings.columns),
                         "set the plate's rows and columns, or correct the well");
    }
    if (well.kind == WellKind::standard && !is_positive(well.concentration)) {
        return complaint(ErrorCode::out_of_range, well,
                         fmt::format("a standard of concentration {}", well.concentration),
                         "a concentration above 0", "call a standard without analyte a zero well");
    }
    if (is_labelled(well.kind) && well.label.empty()) {
        return complaint(ErrorCode::unknown_name, well, "no label", "the name of the control or sample in it",
                         "name it in the plate map");
    }
    if (is_labelled(well.kind) && !is_positive(well.dilution)) {
        return complaint(ErrorCode::out_of_range, well, fmt::format("a dilution of {}", well.dilution),
                         "a factor above 0: 1 undiluted, 20 for one part made up to twenty",
                         "correct it in the plate map");
    }
    if (well.kind == WellKind::spiked && !is_positive(well.added)) {
        return complaint(ErrorCode::out_of_range, well, fmt::format("a spike of {}", well.added),
                         "what the spike adds to the concentration, above 0", "correct it in the plate map");
    }
    if (well.kind == WellKind::control && well.expected && !is_positive(*well.expected)) {
        return complaint(ErrorCode::out_of_range, well,
                         fmt::format("a control with the expected value {}", *well.expected),
                         "a value above 0", "correct it, or leave it away where it is not known");
    }
    if (well.excluded.empty() && (!(well.response >= 0.0) || !std::isfinite(well.response))) {
        return complaint(ErrorCode::out_of_range, well, fmt::format("the response {}", well.response),
                         "a number of 0 or more, as read: no blank taken off",
                         "give the reader's own values, or exclude the well with a reason");
    }
    return std::nullopt;
}

bool is_same_material(const Well& a, const Well& b) {
    return a.kind == b.kind && a.label == b.label;
}

/// Against the first well of the same material.
std::optional<Error> contradiction(const Well& well, const Well& first) {
    if (well.kind == WellKind::control && well.expected != first.expected) {
        const auto text = [](const std::optional<double>& v) { return v ? fmt::format("{}", *v) : "none"; };
        return complaint(ErrorCode::bad_relation, well,
                         fmt::format("\"{}\" with the expected value {}, in {} it is {}", well.label,
                                     text(well.expected), name_of(first), text(first.expected)),
                         "one expected value for one control", "correct one, or give them two labels");
    }
    if (well.kind == WellKind::spiked && well.added != first.added) {
        return complaint(ErrorCode::bad_relation, well,
                         fmt::format("\"{}\" with {} added, in {} it is {}", well.label, well.added,
                                     name_of(first), first.added),
                         "one spike for one sample", "correct one of them");
    }
    return std::nullopt;
}

void add_to_material(std::vector<std::vector<Group>>& materials, const Well& well) {
    auto material = std::ranges::find_if(
        materials, [&](const auto& groups) { return is_same_material(groups.front().first(), well); });
    if (material == materials.end()) {
        materials.push_back({});
        material = std::prev(materials.end());
    }
    auto place = std::ranges::find_if(
        *material, [&](const Group& group) { return group.first().dilution >= well.dilution; });
    if (place == material->end() || place->first().dilution != well.dilution) {
        place = material->insert(place, Group{});
    }
    place->wells.push_back(well);
}

void add_to_standards(std::vector<Group>& standards, Well well) {
    if (well.kind == WellKind::zero) {
        well.concentration = 0.0;
    }
    auto place = std::ranges::find_if(
        standards, [&](const Group& group) { return group.first().concentration >= well.concentration; });
    if (place == standards.end() || place->first().concentration != well.concentration) {
        place = standards.insert(place, Group{});
    }
    place->wells.push_back(well);
}

void add(PlateGroups& groups, const Well& well) {
    switch (well.kind) {
    case WellKind::empty:
        return;
    case WellKind::standard:
    case WellKind::zero:
        return add_to_standards(groups.standards, well);
    case WellKind::blank:
        groups.blank = groups.blank ? groups.blank : Group{};
        groups.blank->wells.push_back(well);
        return;
    case WellKind::control:
        return add_to_material(groups.controls, well);
    case WellKind::sample:
        return add_to_material(groups.samples, well);
    case WellKind::spiked:
        return add_to_material(groups.spikes, well);
    }
}

} // namespace

std::vector<const Group*> PlateGroups::all() const {
    std::vector<const Group*> all;
    for (const auto& group : standards) {
        all.push_back(&group);
    }
    for (const auto* materials : {&samples, &controls, &spikes}) {
        for (const auto& material : *materials) {
            for (const auto& group : material) {
                all.push_back(&group);
            }
        }
    }
    return all;
}

Expected<PlateGroups> group_wells(std::span<const Well> wells, const PlateSettings& settings) {
    PlateGroups groups;
    std::set<std::pair<std::size_t, std::size_t>> places;
    for (std::size_t i = 0; i < wells.size(); ++i) {
        const Well& well = wells[i];
        if (!places.emplace(well.row, well.column).second) {
            return fail(complaint(ErrorCode::duplicate, well, "given twice", "each well once",
                                  "take one of them out"));
        }
        if (well.kind == WellKind::empty) {
            continue;
        }
        auto fault = fault_of(well, settings);
        if (!fault && is_labelled(well.kind)) {
            const auto first =
                std::ranges::find_if(wells, [&](const Well& other) { return is_same_material(other, well); });
            fault = contradiction(well, *first);
        }
        if (fault) {
            return fail(std::move(*fault));
        }
        if (well.excluded.empty()) {
            add(groups, well);
        } else {
            groups.excluded.push_back(fmt::format("{}: {}", name_of(well), well.excluded));
        }
    }
    if (groups.standards.empty() || groups.standards.back().first().concentration == 0.0) {
        return fail({.code = ErrorCode::too_few,
                     .found = "a plate without standards that count",
                     .expected = "standards of known concentration, above 0",
                     .remedy = "say in the plate map which wells hold them"});
    }
    return groups;
}

Responses responses_of(const Group& group, double blank) {
    Responses responses{.n = group.wells.size()};
    for (const auto& well : group.wells) {
        responses.wells.push_back(name_of(well));
        responses.as_read += well.response / static_cast<double>(responses.n);
    }
    responses.mean = responses.as_read - blank;
    if (responses.n > 1) {
        double squares = 0.0;
        for (const auto& well : group.wells) {
            squares += (well.response - responses.as_read) * (well.response - responses.as_read);
        }
        responses.sd = std::sqrt(squares / static_cast<double>(responses.n - 1));
        if (responses.mean > 0.0) {
            responses.cv = *responses.sd / responses.mean;
        }
    }
    return responses;
}

} // namespace backeddy::condition::detail
