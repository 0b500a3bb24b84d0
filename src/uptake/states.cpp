#include "uptake/states.hpp"

#include <algorithm>
#include <utility>

namespace backeddy::uptake {

std::string_view text(StatesFrom from) {
    switch (from) {
    case StatesFrom::pump_column:
        return "pump column";
    case StatesFrom::pump_log:
        return "pump log";
    case StatesFrom::timetable:
        return "timetable";
    case StatesFrom::found:
        return "found in the trace";
    case StatesFrom::sealed_throughout:
        return "sealed throughout";
    case StatesFrom::nothing:
        break;
    }
    return "not known";
}

std::vector<StateRun> states_from_column(std::span<const std::int64_t> times_ns,
                                         std::span<const ChamberState> state) {
    std::vector<StateRun> runs;
    for (std::size_t i = 0; i < times_ns.size(); ++i) {
        const Instant at = Instant::unix_nanoseconds(times_ns[i]);
        const Instant past = at + Duration::nanoseconds(1);
        if (runs.empty() || runs.back().state != state[i]) {
            if (!runs.empty()) {
                runs.back().to = at;
            }
            runs.push_back({.state = state[i], .from = at, .to = past});
        }
        runs.back().to = past;
    }
    std::erase_if(runs, [](const StateRun& run) { return run.state == ChamberState::unknown; });
    return runs;
}

Expected<std::vector<StateRun>> states_from_log(const PumpLog& log, Instant from, Instant to) {
    if (log.times_ns.size() != log.state.size()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a pump log of " + std::to_string(log.times_ns.size()) + " times and " +
                              std::to_string(log.state.size()) + " states",
                     .expected = "as many of one as of the other"});
    }
    if (!std::is_sorted(log.times_ns.begin(), log.times_ns.end())) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "a pump log whose times run backward",
                     .expected = "times in order"});
    }
    std::vector<StateRun> runs;
    for (std::size_t i = 0; i < log.state.size(); ++i) {
        const Instant begins = std::max(Instant::unix_nanoseconds(log.times_ns[i]), from);
        const Instant ends =
            i + 1 < log.state.size() ? std::min(Instant::unix_nanoseconds(log.times_ns[i + 1]), to) : to;
        if (begins >= ends || log.state[i] == ChamberState::unknown) {
            continue;
        }
        if (!runs.empty() && runs.back().state == log.state[i] && runs.back().to == begins) {
            runs.back().to = ends;
        } else {
            runs.push_back({.state = log.state[i], .from = begins, .to = ends});
        }
    }
    return runs;
}

Expected<std::vector<StateRun>> states_from_timetable(const Timetable& timetable, Instant from, Instant to) {
    if (!(timetable.flush > Duration()) || !(timetable.flush < timetable.period)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = "a timetable with a flush of " + std::to_string(timetable.flush.seconds()) +
                              " s in a period of " + std::to_string(timetable.period.seconds()) + " s",
                     .expected = "a flush above 0 and below the period",
                     .remedy = "set flush and period in [states]"});
    }
    std::vector<StateRun> runs;
    const std::int64_t period = timetable.period.nanoseconds();
    const std::int64_t since = (from - timetable.start).nanoseconds();
    const auto add = [&](ChamberState state, Instant begins, Instant ends) {
        begins = std::max(begins, from);
        ends = std::min(ends, to);
        if (begins < ends) {
            runs.push_back({.state = state, .from = begins, .to = ends});
        }
    };
    for (std::int64_t k = std::max<std::int64_t>(0, since / period);; ++k) {
        const Instant begins = timetable.start + (timetable.period * k);
        if (begins >= to) {
            break;
        }
        add(ChamberState::flush, begins, begins + timetable.flush);
        add(ChamberState::sealed, begins + timetable.flush, begins + timetable.period);
    }
    return runs;
}

namespace {

StatesFrom first_that_is_there(bool column_knows, const StateInputs& inputs) {
    if (column_knows) {
        return StatesFrom::pump_column;
    }
    if (inputs.log != nullptr) {
        return StatesFrom::pump_log;
    }
    return inputs.timetable ? StatesFrom::timetable : StatesFrom::found;
}

Error not_there(StatesFrom asked) {
    return {.code = ErrorCode::bad_relation,
            .found = "no " + std::string(text(asked)) + " for this stay",
            .expected = "the source of states that the brief asks for",
            .remedy = "give it, or ask for another in [states]"};
}

} // namespace

Expected<ChamberStates> chamber_states(const ChamberTrace& trace, std::size_t first_row, std::size_t end_row,
                                       const StateInputs& inputs) {
    ChamberStates out;
    if (first_row >= end_row) {
        return out;
    }
    const std::size_t rows = end_row - first_row;
    const auto times = std::span(trace.times_ns).subspan(first_row, rows);
    const auto column = trace.state.empty() ? std::span<const ChamberState>()
                                            : std::span(trace.state).subspan(first_row, rows);
    const bool column_knows =
        std::any_of(column.begin(), column.end(), [](ChamberState s) { return s != ChamberState::unknown; });
    const Instant from = Instant::unix_nanoseconds(times.front());
    // States end before their `to`; the last row belongs to the last of them.
    const Instant to = Instant::unix_nanoseconds(times.back()) + Duration::nanoseconds(1);
    out.from = inputs.asked ? *inputs.asked : first_that_is_there(column_knows, inputs);
    switch (out.from) {
    case StatesFrom::pump_column:
        if (!column_knows) {
            return fail(not_there(out.from));
        }
        out.runs = states_from_column(times, column);
        return out;
    case StatesFrom::pump_log: {
        if (inputs.log == nullptr) {
            return fail(not_there(out.from));
        }
        auto runs = states_from_log(*inputs.log, from, to);
        if (!runs) {
            return fail(std::move(runs).error());
        }
        out.runs = *std::move(runs);
        return out;
    }
    case StatesFrom::timetable: {
        if (!inputs.timetable) {
            return fail(not_there(out.from));
        }
        auto runs = states_from_timetable(*inputs.timetable, from, to);
        if (!runs) {
            return fail(std::move(runs).error());
        }
        out.runs = *std::move(runs);
        return out;
    }
    case StatesFrom::found: {
        auto found =
            find_states(times, std::span(trace.oxygen_mg_per_l).subspan(first_row, rows), inputs.find);
        if (!found) {
            return fail(std::move(found).error());
        }
        out.runs = std::move(found->runs);
        out.found = std::move(found->boundaries);
        if (!found->note.empty()) {
            out.notes.push_back(std::move(found->note));
        }
        return out;
    }
    case StatesFrom::sealed_throughout:
        out.runs = {{.state = ChamberState::sealed, .from = from, .to = to}};
        return out;
    case StatesFrom::nothing:
        break;
    }
    return out;
}

} // namespace backeddy::uptake
