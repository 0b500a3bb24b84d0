#pragma once
// What survives a restart, as a plain value and as text that can be written to a file and read again. Control
// resumes from it in the safe state: every chamber in flush, until its readings are back and its cycle, which
// is known, goes on.

#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "watch/state.hpp"

namespace backeddy::watch {

struct KeptAlarm {
    AlarmId id;
    AlarmState state = AlarmState::normal;
    std::optional<Instant> shelved_until;
    std::string words;
    std::string by;

    friend bool operator==(const KeptAlarm&, const KeptAlarm&) = default;
};

struct KeptChamber {
    std::string name; ///< a plan may have changed meanwhile: what is kept goes by name
    Stay stay;
    double inflow_percent = 0.0;

    friend bool operator==(const KeptChamber&, const KeptChamber&) = default;
};

struct Kept {
    Instant at; ///< when it was kept
    std::vector<KeptChamber> chambers;
    std::vector<KeptAlarm> alarms; ///< all that are not normal, chambers as numbered above

    friend bool operator==(const Kept&, const Kept&) = default;
};

[[nodiscard]] Kept keep(const State& state, const Plan& plan);
/// Chambers of the plan that are not in `kept` begin empty; kept ones that are no longer in the plan are
/// lost, so the plan's reader has to ask before a chamber with a fish goes.
[[nodiscard]] State resume(const Kept& kept, const Plan& plan, const Now& now);

/// One line per thing, words and numbers; read back exactly.
[[nodiscard]] std::string to_text(const Kept& kept);
/// Fails with bad_row, naming the line, on anything that to_text() does not write.
[[nodiscard]] Expected<Kept> kept_from(std::string_view text);

} // namespace backeddy::watch
