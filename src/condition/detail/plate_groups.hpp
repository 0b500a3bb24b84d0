#pragma once
// The wells of a plate, looked over and put together by what stands in them.

#include <optional>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "condition/plate.hpp"

namespace backeddy::condition::detail {

/// Wells of one content that count, in the order given.
struct Group {
    std::vector<Well> wells;

    [[nodiscard]] const Well& first() const { return wells.front(); }
};

struct PlateGroups {
    std::vector<Group> standards; ///< by concentration; the zero wells, if any, first
    std::optional<Group> blank;
    std::vector<std::vector<Group>> samples; ///< label by label, each by dilution
    std::vector<std::vector<Group>> controls;
    std::vector<std::vector<Group>> spikes;
    std::vector<std::string> excluded;

    /// All of them but the blank.
    [[nodiscard]] std::vector<const Group*> all() const;
};

[[nodiscard]] Expected<PlateGroups> group_wells(std::span<const Well> wells, const PlateSettings& settings);

[[nodiscard]] Responses responses_of(const Group& group, double blank);

} // namespace backeddy::condition::detail
