#pragma once
// Reflexes: tests that the study names, each there or not, and the share of them that a fish has lost; and
// the reminder that goes with the signs of a dying fish.
//
//   const auto lost = reflex_impairment({"righting", "tail grab"}, {{"righting", true}, {"tail grab", {}}});
//   lost->share;      // 1: of the one that was tested
//   lost->can_be;     // [0.5, 1]: had the other been tested too

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "condition/fins.hpp"
#include "stats/interval.hpp"

namespace backeddy::condition {

struct ReflexTest {
    std::string name;
    std::optional<bool> is_impaired; ///< nothing: not tested, or no telling
};

struct ReflexImpairment {
    std::size_t impaired = 0;
    std::size_t tested = 0;
    std::vector<std::string> missing; ///< names of the study's tests that were not done
    std::optional<double> share;      ///< impaired / tested; nothing when none was tested
    /// All of the study's tests, the missing ones all passed and all failed: what the full share can be. An
    /// interval by the binomial would take the tests for draws from many, which they are not.
    stats::Interval can_be;
};

/// Of one fish at one moment: impaired over tested (Davis 2010, Fish Fish 11:1; from memory). Tests in any
/// order. Fails with bad_setting (no test named, or one twice), unknown_name (with a near one) or duplicate.
[[nodiscard]] Expected<ReflexImpairment> reflex_impairment(std::span<const std::string> named,
                                                           std::span<const ReflexTest> tests);

/// What was seen of a fish; nothing: not looked at.
struct WelfareSigns {
    std::optional<bool> is_righting_lost;
    std::optional<bool> is_gill_beat_lost;
    std::optional<Bleeding> bleeding;
    std::optional<HookPlace> hook;
};

/// What to show when righting or the gills' beat is lost, or bleeding is heavy, or moderate at gills, gullet
/// or tongue (our choice; no source); nothing otherwise. It names the signs and leaves the decision to the
/// permit's holder.
[[nodiscard]] std::optional<std::string> endpoint_reminder(const WelfareSigns& signs);

} // namespace backeddy::condition
