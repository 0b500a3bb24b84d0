#pragma once
// Who is in a chamber and what was found of it: what has to survive a restart.

#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "series/instant.hpp"
#include "uptake/role.hpp"
#include "watch/input.hpp"
#include "watch/plan.hpp"

namespace backeddy::watch {

enum class Use : std::uint8_t {
    empty,
    fish,
    water, ///< a blank or a leak test
    cleaning,
};
[[nodiscard]] std::string_view word(Use use);
[[nodiscard]] std::string_view word(Due due);

/// A finished sealed spell.
struct Spell {
    Instant from;
    double sealed_s = 0.0;
    double uptake_mg_per_h = 0.0; ///< -slope times water; background not taken off
    double error_mg_per_h = 0.0;  ///< standard error under the sensor's noise
    double end_mg_per_h = 0.0;    ///< of its last third where that surely took more, else of the whole
    double late_share = 1.0;      ///< slope of the last third over that of the first
    double late_share_error = 0.0;

    friend bool operator==(const Spell&, const Spell&) = default;
};

struct DueAt {
    Due what = Due::blood;
    Instant at;

    friend bool operator==(const DueAt&, const DueAt&) = default;
};

struct Stay {
    Use use = Use::empty;
    StayRole role = StayRole::rest;
    std::optional<double> mass_kg;
    Instant handled_at;        ///< put in or disturbed
    std::vector<Spell> spells; ///< those with a slope, ascending, the newest `spells_kept`
    std::optional<Instant> cleaning_until;
    std::vector<DueAt> dues;

    [[nodiscard]] bool has_fish() const { return use == Use::fish; }
    [[nodiscard]] bool is_used() const { return use == Use::fish || use == Use::water; }

    friend bool operator==(const Stay&, const Stay&) = default;
};

/// mg/h that the fish takes, for control: at its last spell's end, else what one of its kind and mass (1 kg
/// when not weighed) takes in this role; 0 of water alone.
[[nodiscard]] double expected_uptake(const Stay& stay, const CourseSettings& settings);
/// Median of up to three last spells: steadier, for planning the next spell. Nothing before the first.
[[nodiscard]] std::optional<double> recent_uptake(const Stay& stay);
/// Median of all spells kept; nothing under three.
[[nodiscard]] std::optional<double> median_uptake(const Stay& stay);

} // namespace backeddy::watch
