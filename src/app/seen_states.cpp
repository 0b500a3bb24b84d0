#include "app/seen_states.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/fish_answers.hpp"
#include "app/stay_answers.hpp"
#include "app/stay_doubts.hpp"
#include "base/number_text.hpp"

namespace backeddy::app {

namespace {

using uptake::ChamberState;

constexpr std::size_t boundaries_listed = 6;

/// What one stay has of sealed and flushed time in one file.
struct Seen {
    std::vector<double> sealed_s;
    std::vector<double> flush_s;
    double unknown_s = 0.0;
    Instant from;
    Instant to;
    std::vector<uptake::FoundBoundary> found;
};

std::string seconds(double value) {
    return significant_text(value, 4) + " s";
}

double median_of(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

std::string spells(const std::vector<double>& lengths_s, std::string_view one, std::string_view many) {
    if (lengths_s.empty()) {
        return fmt::format("no {}", one);
    }
    return fmt::format("{} {}, usually {}", lengths_s.size(), lengths_s.size() == 1 ? one : many,
                       seconds(median_of(lengths_s)));
}

std::string source_of(uptake::StatesFrom from) {
    switch (from) {
    case uptake::StatesFrom::found:
        return "found in the trace";
    case uptake::StatesFrom::sealed_throughout:
        return "sealed throughout, as the brief says";
    case uptake::StatesFrom::nothing:
        return "not known";
    default:
        return fmt::format("from the {}", uptake::text(from));
    }
}

std::string boundaries_text(const std::vector<uptake::FoundBoundary>& found) {
    std::vector<double> errors;
    std::vector<std::string> first;
    for (const auto& boundary : found) {
        errors.push_back(boundary.error_s);
        if (first.size() < boundaries_listed) {
            first.push_back(fmt::format("{} from {} ± {}",
                                        boundary.into == ChamberState::flush ? "flush" : "sealed",
                                        iso_text(boundary.at), significant_text(boundary.error_s, 2) + " s"));
        }
    }
    return fmt::format("    {} boundaries found, standard error usually {} s, at most {} s: {}{}",
                       found.size(), significant_text(median_of(errors), 2),
                       significant_text(*std::max_element(errors.begin(), errors.end()), 2),
                       fmt::join(first, ", "), found.size() > first.size() ? " ..." : "");
}

/// One stay's states by the file that its readings came from.
class StayLook {
  public:
    explicit StayLook(const StayAnswer& answer) : answer_(answer) {
        const auto& states = answer.uptake->states;
        for (std::size_t i = 0; i < states.size(); ++i) {
            const auto& state = states[i];
            // A sealed spell is drawn as its settling and the rest.
            const bool goes_on = i > 0 && state.run.state == ChamberState::sealed &&
                                 states[i - 1].run.state == ChamberState::settle &&
                                 states[i - 1].slice == state.slice && states[i - 1].run.to == state.run.from;
            add(state, goes_on);
        }
        for (const auto& boundary : answer.uptake->found) {
            by_file_[file_at(slice_at(boundary.at), boundary.at)].found.push_back(boundary);
        }
    }

    void write(std::vector<std::vector<std::string>>& by_file) const {
        for (const auto& [file, seen] : by_file_) {
            if (file >= by_file.size()) {
                continue;
            }
            auto& lines = by_file[file];
            lines.push_back(fmt::format(
                "states of {} in stay {}: {}: {}; {}{}; from {} to {}", answer_.stay->assembly.text(),
                answer_.stay->id.text(), source_of(answer_.uptake->states_from),
                spells(seen.sealed_s, "sealed spell", "sealed spells"),
                spells(seen.flush_s, "flush", "flushes"),
                seen.unknown_s > 0.0 ? fmt::format("; not known for {}", seconds(seen.unknown_s)) : "",
                iso_text(seen.from), iso_text(seen.to)));
            if (!seen.found.empty()) {
                lines.push_back(boundaries_text(seen.found));
            }
        }
        if (by_file_.empty()) {
            return;
        }
        auto& first = by_file[std::min(by_file_.begin()->first, by_file.size() - 1)];
        for (const auto& note : answer_.uptake->notes) {
            first.push_back(fmt::format("    {}", note));
        }
    }

  private:
    void add(const uptake::StayState& state, bool goes_on) {
        auto& seen = by_file_[file_at(state.slice, state.run.from)];
        const double length_s = (state.run.to - state.run.from).seconds();
        if (seen.sealed_s.empty() && seen.flush_s.empty() && seen.unknown_s == 0.0) {
            seen.from = state.run.from;
        }
        seen.to = state.run.to;
        if (state.run.state == ChamberState::flush) {
            seen.flush_s.push_back(length_s);
        } else if (state.run.state == ChamberState::unknown) {
            seen.unknown_s += length_s;
        } else if (goes_on && !seen.sealed_s.empty()) {
            seen.sealed_s.back() += length_s;
        } else {
            seen.sealed_s.push_back(length_s);
        }
    }

    [[nodiscard]] std::size_t slice_at(Instant at) const {
        std::size_t slice = 0;
        for (std::size_t s = 1; s < answer_.slices.size(); ++s) {
            const auto& input = answer_.input.slices[s];
            if (input.trace->times_ns[input.first_row] <= at.unix_nanoseconds()) {
                slice = s;
            }
        }
        return slice;
    }

    [[nodiscard]] std::size_t file_at(std::size_t slice, Instant at) const {
        const auto& chamber = *answer_.slices[slice];
        const auto& times = chamber.trace.times_ns;
        const auto row = static_cast<std::size_t>(
            std::lower_bound(times.begin(), times.end(), at.unix_nanoseconds()) - times.begin());
        return line_of(chamber, std::min(row, times.size() - 1)).first;
    }

    const StayAnswer& answer_;
    std::map<std::size_t, Seen> by_file_;
};

bool has_oxygen(const RawFile& file) {
    return file.dialect && std::any_of(file.dialect->columns.begin(), file.dialect->columns.end(),
                                       [](const intake::ColumnFinding& column) {
                                           return column.use == intake::ColumnUse::oxygen;
                                       });
}

} // namespace

SeenStates see_states(const Study& study, const RawTraces& traces, const Chambers& chambers,
                      Threads threads) {
    SeenStates out;
    out.by_file.resize(traces.files.size());
    const auto stays = look_at_states(study, chambers, threads);
    for (const auto& answer : stays) {
        if (answer.uptake) {
            StayLook(answer).write(out.by_file);
        }
    }
    for (std::size_t i = 0; i < traces.files.size(); ++i) {
        if (out.by_file[i].empty() && has_oxygen(traces.files[i])) {
            out.by_file[i].emplace_back("states: no stay takes its oxygen from this file");
        }
    }
    out.complaints = stay_doubts(study, chambers, stays, threads);
    for (auto&& more : {unheard_decisions(stays), refused_moves(stays), late_events(study, stays)}) {
        out.complaints.insert(out.complaints.end(), more.begin(), more.end());
    }
    return out;
}

} // namespace backeddy::app
