#pragma once
// Start here for when the chamber was flushed and when it was sealed: from a pump column, a separate pump
// log, a timetable, or found in the oxygen trace itself.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "uptake/chamber_trace.hpp"

namespace backeddy::uptake {

/// A state from `from` up to, not including, `to`. Runs of a list are ascending and do not overlap; what lies
/// between them is unknown.
struct StateRun {
    ChamberState state = ChamberState::unknown;
    Instant from;
    Instant to;

    friend bool operator==(const StateRun&, const StateRun&) = default;
};

enum class StatesFrom : std::uint8_t { pump_column, pump_log, timetable, found, sealed_throughout, nothing };
/// "pump column", "pump log", "timetable", "found in the trace", "sealed throughout", "not known".
[[nodiscard]] std::string_view text(StatesFrom from);

/// One row per change or repeat; each row holds until the next, the last one until the end of what is asked.
struct PumpLog {
    std::vector<std::int64_t> times_ns; ///< ascending
    std::vector<ChamberState> state;    ///< flush or sealed (unknown: the log itself does not know)
};

/// Flush first: [start + k period, + flush) is flushed, the rest of each period sealed; nothing before
/// `start`.
struct Timetable {
    Instant start;
    Duration period;
    Duration flush;
};

/// Runs of equal state of the column `state`; a run reaches from its first row to the first row of the next
/// run, the last one to 1 ns past its last row. The chamber changed at some moment up to one sample before a
/// run's `from`.
[[nodiscard]] std::vector<StateRun> states_from_column(std::span<const std::int64_t> times_ns,
                                                       std::span<const ChamberState> state);
/// Within [from, to]. Nothing before the log's first row. Fails when lengths differ or times run backward.
[[nodiscard]] Expected<std::vector<StateRun>> states_from_log(const PumpLog& log, Instant from, Instant to);
/// Fails with bad_setting unless 0 < flush < period.
[[nodiscard]] Expected<std::vector<StateRun>> states_from_timetable(const Timetable& timetable, Instant from,
                                                                    Instant to);

struct FindSettings {
    double sensor_lag_s = 0.0; ///< first-order lag, undone in the boundaries
    Duration shortest_flush = Duration::seconds(20.0);
    Duration shortest_sealed = Duration::seconds(45.0);
    double rise_noise = 6.0;           ///< a rise smaller than so many noise sds of a 10-s mean is none
    double least_rise_mg_per_l = 0.05; ///< nor one smaller than this (choice)
};

/// A change found in the trace.
struct FoundBoundary {
    ChamberState into = ChamberState::sealed;
    Instant at;
    double error_s = 0.0; ///< standard error of the moment by the fit's own noise (after pooling)
};

struct FoundStates {
    std::vector<StateRun>
        runs; ///< the first run begins at the first row, the last ends 1 ns past the last row
    std::vector<FoundBoundary> boundaries;
    std::optional<Duration> usual_flush; ///< when the flushes were alike, their common length was used
    std::string note;
};

/// Looks for the quick rise of a flush that ends a fall, then fits around each the chamber's own balance (a
/// straight fall, an exponential approach while flushing, a straight fall again, seen through the sensor's
/// lag) for the two moments of change. Flush lengths that agree within their errors are drawn to their common
/// mean, since a fish that breathes little leaves only a faint corner where the flush ends. No rise at all:
/// one run, sealed when oxygen falls over it, else unknown. Fails with too_few under 30 readings. NaN
/// readings are passed over.
[[nodiscard]] Expected<FoundStates> find_states(std::span<const std::int64_t> times_ns,
                                                std::span<const double> oxygen_mg_per_l,
                                                const FindSettings& settings = {});

/// What the caller has to say of the states; the first that is there is used, in this order: the asked-for
/// source, the trace's own pump column, the log, the timetable, the trace itself.
struct StateInputs {
    std::optional<StatesFrom> asked;
    const PumpLog* log = nullptr; ///< must outlive the call
    std::optional<Timetable> timetable;
    FindSettings find;
};

struct ChamberStates {
    std::vector<StateRun> runs;
    StatesFrom from = StatesFrom::nothing;
    std::vector<FoundBoundary> found; ///< only when found in the trace
    std::vector<std::string> notes;
};

/// Rows [first_row, end_row) of `trace`; the last run ends 1 ns past the last row, so that it holds it. An
/// asked-for source that is not there is an Error, never replaced by another.
[[nodiscard]] Expected<ChamberStates> chamber_states(const ChamberTrace& trace, std::size_t first_row,
                                                     std::size_t end_row, const StateInputs& inputs);

} // namespace backeddy::uptake
