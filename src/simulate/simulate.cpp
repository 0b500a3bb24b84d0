#include "simulate/simulate.hpp"

#include <system_error>
#include <vector>

#include <fmt/format.h>

#include "base/file.hpp"
#include "simulate/condition_tables.hpp"
#include "simulate/season.hpp"
#include "simulate/tables.hpp"
#include "simulate/trace_files.hpp"
#include "simulate/truth.hpp"

namespace backeddy::simulate {

namespace {

Expected<void> empty_folder(const std::filesystem::path& folder) {
    std::error_code error;
    if (folder.empty()) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = "no folder is named by --out: the name is empty",
                     .expected = "a new or empty folder",
                     .remedy = "name it; where it came from a variable, that is empty"});
    }
    if (std::filesystem::exists(folder, error) &&
        (!std::filesystem::is_directory(folder, error) || !std::filesystem::is_empty(folder, error))) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = fmt::format("{} exists and is not an empty folder", folder.string()),
                     .expected = "a new or empty folder: nothing of yours is written over",
                     .remedy = "choose another --out, or take the old folder away",
                     .place = {.file = folder.string()}});
    }
    std::filesystem::create_directories(folder, error);
    if (error) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = fmt::format("{}: {}", folder.string(), error.message()),
                     .expected = "a folder that can be made",
                     .remedy = "choose another --out",
                     .place = {.file = folder.string()}});
    }
    return {};
}

// A study of some gigabytes is a slip of the pen; it is refused before any of it is made. Rows are counted, a
// row's bytes are about what the widest styles take.
Expected<void> check_size(const SimulationPlan& plan, const Season& season) {
    double bytes = 0.0;
    for (std::size_t t = 0; t < plan.traces.size(); ++t) {
        const auto& trace = plan.traces[t];
        const double chambers = static_cast<double>(trace.chambers.size());
        const double row = trace.shape == Shape::long_form ? 45.0 * chambers : 22.0 + (16.0 * chambers);
        for (const auto& session : season.sessions[t]) {
            const double seconds = session.span.to_s - session.span.from_s;
            bytes += seconds / trace.interval_s * row * (trace.encoding == Encoding::utf16 ? 2.0 : 1.0);
        }
    }
    constexpr double most_bytes = 4e9;
    if (bytes > most_bytes) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("this study would be about {:.0f} GB of raw files", bytes / 1e9),
                     .expected = fmt::format("at most {:.0f} GB", most_bytes / 1e9),
                     .remedy = "plan fewer fish or days, shorter stays, or a longer interval_s"});
    }
    return {};
}

/// The sheets of the fish's condition and their truth, and the plate readers' files.
Expected<void> write_condition(const SimulationPlan& plan, const Season& season, const Condition& condition,
                               std::uint64_t seed, const std::filesystem::path& out_dir,
                               SimulatedStudy& made) {
    const auto plates = assay_plates(plan, season, condition, seed);
    auto files = condition_files(plan, season, condition, plates);
    for (auto& file : condition_truth(plan, season, condition, plates)) {
        files.push_back(std::move(file));
    }
    for (const auto& [name, text] : files) {
        const auto path = out_dir / name;
        std::error_code ignored; // write_new_file says what is wrong with the folder
        std::filesystem::create_directories(path.parent_path(), ignored);
        if (auto written = write_new_file(path, text); !written) {
            return written;
        }
        if (name.starts_with("raw/")) {
            made.raw_files += 1;
            made.raw_bytes += text.size();
        }
    }
    return {};
}

} // namespace

Expected<SimulatedStudy> simulate_study(const SimulationPlan& plan, std::uint64_t seed,
                                        const std::filesystem::path& out_dir, Threads threads) {
    const auto season = lay_out(plan, seed);
    if (!season) {
        return fail(Error(season.error()));
    }
    if (auto fits = check_size(plan, *season); !fits) {
        return fail(std::move(fits).error());
    }
    if (auto folder = empty_folder(out_dir); !folder) {
        return fail(std::move(folder).error());
    }
    std::vector<Expected<WrittenTrace>> written(plan.traces.size(), WrittenTrace{});
    parallel_for(plan.traces.size(), threads,
                 [&](std::size_t t) { written[t] = write_trace(plan, *season, t, seed, out_dir); });
    std::vector<WrittenTrace> traces;
    SimulatedStudy made{.fish = season->fish.size(), .stays = season->stays.size()};
    for (auto& trace : written) {
        if (!trace) {
            return fail(std::move(trace).error());
        }
        made.raw_files += trace->files.size() + trace->pump_logs.size();
        made.raw_bytes += trace->bytes;
        traces.push_back(std::move(*trace));
    }
    const auto condition = lay_out_condition(plan, *season, seed);
    if (auto tables = write_tables(plan, *season, condition, seed, traces, out_dir); !tables) {
        return fail(std::move(tables).error());
    }
    if (auto truth = write_truth(plan, *season, seed, out_dir); !truth) {
        return fail(std::move(truth).error());
    }
    if (auto sheets = write_condition(plan, *season, condition, seed, out_dir, made); !sheets) {
        return fail(std::move(sheets).error());
    }
    return made;
}

} // namespace backeddy::simulate
