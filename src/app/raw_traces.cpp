#include "app/raw_traces.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <optional>
#include <set>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <glob.h>
#include <sys/stat.h>

#include "app/file_doubts.hpp"
#include "base/file.hpp"
#include "base/lower_case.hpp"
#include "base/number_text.hpp"
#include "intake/brief.hpp"
#include "study/relations.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

// ---------------------------------------------------------------- which files

// Characters that glob(3) would read as a pattern, in the folder's own name.
std::string escaped(const std::string& path) {
    std::string out;
    for (const char c : path) {
        if (std::string_view("*?[]\\").find(c) != std::string_view::npos) {
            out += '\\';
        }
        out += c;
    }
    return out;
}

struct Matches {
    std::vector<std::string> files;
    std::vector<std::pair<std::string, std::string>> others; ///< what is no file, and what it is
};

Matches files_of(const fs::path& folder, const std::string& pattern) {
    ::glob_t found{};
    Matches matches;
    const std::string whole = escaped(folder.string()) + "/" + pattern;
    if (::glob(whole.c_str(), 0, nullptr, &found) == 0) {
        for (std::size_t i = 0; i < found.gl_pathc; ++i) {
            const fs::path path = found.gl_pathv[i];
            const std::string name = path.lexically_relative(folder).generic_string();
            struct stat status{};
            if (::stat(path.c_str(), &status) != 0) {
                matches.others.emplace_back(name, "this link leads nowhere");
            } else if (S_ISREG(status.st_mode)) {
                matches.files.push_back(name);
            } else {
                matches.others.emplace_back(name, what_it_is(status.st_mode));
            }
        }
    }
    ::globfree(&found);
    return matches;
}

// Whether a number of some stay, or the water's salinity or pressure, rests on this trace. Early in a season
// not every logger has a file yet.
bool is_needed(const study::TraceSource& source, const Study& study) {
    const auto is_here = [&](const study::Channel& channel) { return channel.trace == source.name; };
    const auto gives_water = [&](const study::Water& water) {
        return is_here(water.salinity_channel) || is_here(water.conductivity_channel) ||
               is_here(water.pressure_channel);
    };
    const auto& seasons = study.brief.seasons;
    if (gives_water(study.brief.water) ||
        std::any_of(seasons.begin(), seasons.end(), [&](const study::Season& season) {
            return gives_water(study.brief.at(season.from).water);
        })) {
        return true;
    }
    return std::any_of(study.tables.assemblies.begin(), study.tables.assemblies.end(),
                       [&](const study::Assembly& row) {
                           return is_in_use(row, study) &&
                                  (is_here(row.oxygen) || is_here(row.temperature) || is_here(row.pump));
                       });
}

struct Wanted {
    std::string path;
    const study::TraceSource* source = nullptr;
};

std::vector<Wanted> wanted_files(const fs::path& folder, const Study& study,
                                 std::vector<study::Complaint>& complaints) {
    std::vector<Wanted> wanted;
    std::map<std::string, std::string> owner;
    for (const auto& source : study.brief.traces) {
        for (const auto& pattern : source.files) {
            const auto matches = files_of(folder, pattern);
            const auto& names = matches.files;
            for (const auto& [name, what] : matches.others) {
                complaints.push_back({.severity = study::Severity::warning,
                                      .error = {.code = ErrorCode::file_unreadable,
                                                .found = what + ", not a file: it is not read",
                                                .expected = "a logger's file",
                                                .remedy = "copy the data into a file, or narrow the pattern",
                                                .place = {.file = name}}});
            }
            if (names.empty()) {
                complaints.push_back(
                    {.severity =
                         is_needed(source, study) ? study::Severity::stops_the_run : study::Severity::warning,
                     .error = {.code = ErrorCode::file_missing,
                               .found = fmt::format("\"{}\" matches no file", pattern),
                               .expected =
                                   fmt::format("at least one raw file for the trace \"{}\"", source.name),
                               .remedy = "copy the logger's files into the folder or mend the pattern",
                               .place = source.place}});
            }
            for (const auto& name : names) {
                const auto [other, fresh] = owner.emplace(name, source.name);
                if (fresh) {
                    wanted.push_back({.path = name, .source = &source});
                } else if (other->second != source.name) {
                    complaints.push_back(
                        {.severity = study::Severity::stops_the_run,
                         .error = {.code = ErrorCode::duplicate,
                                   .found = fmt::format("{} belongs to the trace \"{}\" and to \"{}\"", name,
                                                        other->second, source.name),
                                   .expected = "each raw file in one trace",
                                   .remedy = "narrow one of the patterns in [[trace]] files",
                                   .place = source.place}});
                }
            }
        }
    }
    return wanted;
}

// Files in raw/ that no [[trace]] and no plate names: a pattern that misses half of them would otherwise go
// unseen.
void complain_of_unread(const fs::path& folder, const std::vector<Wanted>& wanted,
                        const std::vector<study::PlateRow>& plates,
                        std::vector<study::Complaint>& complaints) {
    std::set<std::string> read;
    for (const auto& plate : plates) {
        read.insert(fs::path(plate.file).lexically_normal().generic_string());
    }
    for (const auto& file : wanted) {
        read.insert(file.path);
    }
    std::set<std::string> unread; // in one order on every machine
    std::error_code status;
    for (fs::recursive_directory_iterator entry(folder / "raw", status), end; !status && entry != end;
         entry.increment(status)) {
        const auto name = entry->path().lexically_relative(folder).generic_string();
        const bool is_hidden = entry->path().filename().string().front() == '.';
        if (!is_hidden && entry->is_regular_file(status) && !read.contains(name)) {
            unread.insert(name);
        }
    }
    for (const auto& name : unread) {
        complaints.push_back(
            {.severity = study::Severity::warning,
             .error = {.code = ErrorCode::unknown_name,
                       .found = "no [[trace]] of the brief names this file: it is not read",
                       .expected = "a pattern in [[trace]] files that matches it, or a row of "
                                   "plates.csv",
                       .remedy = "add it to a trace, or move it out of raw/",
                       .place = {.file = name}}});
    }
}

// ---------------------------------------------------------------- clocks

using Clocks = std::map<study::ClockId, ClockCorrection>;

bool is_reset(const study::ClockCheck& check) {
    return check.how == "reset";
}

// Comparisons of one clock, those against another clock read through that one's own correction.
Expected<ClockCorrection> correction_of(const study::ClockId& clock, const Study& study,
                                        const Clocks& settled) {
    std::vector<ClockComparison> comparisons;
    std::vector<Instant> resets;
    for (const auto& check : study.tables.clock_checks) {
        if (check.clock != clock) {
            continue;
        }
        if (is_reset(check)) {
            resets.push_back(check.shown);
            continue;
        }
        ClockComparison comparison{.shown = check.shown,
                                   .actual = check.true_time,
                                   .uncertainty_s = check.uncertainty
                                                        ? check.uncertainty->seconds()
                                                        : study.brief.uncertainty_at(check.shown).event_s};
        if (!check.reference.is_empty()) {
            // A reference that was itself never checked is as uncertain as such a clock is.
            const auto found = settled.find(check.reference);
            const ClockCorrection reference = found == settled.end() ? ClockCorrection() : found->second;
            const double theirs =
                reference.uncertainty_s(check.true_time, study.brief.uncertainty_at(check.true_time).clock_s);
            comparison.actual = reference.corrected(check.true_time);
            comparison.uncertainty_s = std::hypot(comparison.uncertainty_s, theirs);
        }
        comparisons.push_back(comparison);
    }
    return ClockCorrection::from(std::move(comparisons), std::move(resets));
}

// Each clock after those it is compared with.
Clocks clocks_of(const Study& study, std::vector<study::Complaint>& complaints) {
    Clocks clocks;
    for (const auto& name : study::clocks_in_order(study.tables)) {
        auto correction = correction_of(name, study, clocks);
        if (correction) {
            clocks.insert_or_assign(name, std::move(*correction));
            continue;
        }
        const auto& checks = study.tables.clock_checks;
        const auto first = std::find_if(checks.begin(), checks.end(),
                                        [&](const study::ClockCheck& check) { return check.clock == name; });
        complaints.push_back(
            {.severity = study::Severity::stops_the_run,
             .error = std::move(correction).error().at(first->place).within("clock " + name.text())});
    }
    return clocks;
}

// A clock that jumps where its correction changes stretch may put a row before the one above it: such rows,
// and rows that repeat a time, are set aside, and said.
std::size_t drop_backward_rows(Trace& trace) {
    const auto& times = trace.times_ns;
    if (std::adjacent_find(times.begin(), times.end(), std::greater_equal<>()) == times.end()) {
        return 0;
    }
    std::size_t kept = 0;
    std::vector<std::size_t> rows;
    rows.reserve(trace.rows());
    for (std::size_t i = 0; i < trace.rows(); ++i) {
        if (rows.empty() || trace.times_ns[i] > trace.times_ns[rows.back()]) {
            rows.push_back(i);
        }
    }
    const std::size_t dropped = trace.rows() - rows.size();
    for (const std::size_t row : rows) {
        trace.times_ns[kept] = trace.times_ns[row];
        for (auto& column : trace.columns) {
            column[kept] = column[row];
        }
        ++kept;
    }
    trace.times_ns.resize(kept);
    for (auto& column : trace.columns) {
        column.resize(kept);
    }
    // Pieces name the first row of a run of lines: count the rows kept before each.
    for (auto& piece : trace.pieces) {
        piece.first_row = static_cast<std::size_t>(
            std::lower_bound(rows.begin(), rows.end(), piece.first_row) - rows.begin());
    }
    return dropped;
}

/// Rows of a file that repeat the time of the one before, as the logger wrote them.
struct Repeats {
    std::size_t rows = 0;
    std::size_t with_other_values = 0;
    std::uint64_t first_line = 0;
};

Repeats repeats_in(const Trace& trace) {
    Repeats out;
    std::size_t first_row = 0;
    for (std::size_t i = 1; i < trace.rows(); ++i) {
        if (trace.times_ns[i] > trace.times_ns[i - 1]) {
            continue;
        }
        first_row = out.rows++ == 0 ? i : first_row;
        const bool differs = std::any_of(trace.columns.begin(), trace.columns.end(), [&](const auto& column) {
            return std::isfinite(column[i]) && std::isfinite(column[i - 1]) && column[i] != column[i - 1];
        });
        out.with_other_values += differs ? 1 : 0;
    }
    for (const auto& piece : trace.pieces) {
        if (out.rows > 0 && piece.first_row <= first_row) {
            out.first_line = piece.first_line + ((first_row - piece.first_row) * piece.line_step);
        }
    }
    return out;
}

Error repeated(const Repeats& repeats, const std::string& path) {
    return {.code = ErrorCode::duplicate,
            .found = fmt::format("{} rows have the time of the row before, {}", repeats.rows,
                                 repeats.with_other_values == 0 ? std::string("and its values")
                                                                : fmt::format("{} of them with other values",
                                                                              repeats.with_other_values)),
            .expected = "one row for each moment: the first of each was kept",
            .remedy = repeats.with_other_values == 0
                          ? "nothing, if the logger writes rows twice"
                          : "look whether two loggers, or two chambers, write into this file",
            .place = {.file = path, .line = repeats.first_line}};
}

Error backward_by_clock(std::size_t rows, const std::string& path) {
    return {.code = ErrorCode::bad_time,
            .found = fmt::format("{} rows repeat a time or run backward once the clock is put right", rows),
            .expected = "times that advance",
            .remedy = "they were set aside; look at the clock checks around them",
            .place = {.file = path}};
}

// The season of a file's middle says what a clock that was never checked may be off.
// Nothing: a clock of which no check was ever made.
void put_clock_right(RawStream& stream, const ClockCorrection* clock, const study::Brief& brief) {
    auto& times = stream.data.times_ns;
    if (times.empty()) {
        return;
    }
    const auto middle = Instant::unix_nanoseconds(times[times.size() / 2]);
    const double unchecked_s = brief.uncertainty_at(middle).clock_s;
    stream.clock_uncertainty_s = clock == nullptr ? unchecked_s : clock->uncertainty_s(middle, unchecked_s);
    stream.clock_checked = clock != nullptr && clock->is_checked(middle);
    if (clock == nullptr) {
        return;
    }
    for (auto& t : times) {
        t = clock->corrected(Instant::unix_nanoseconds(t)).unix_nanoseconds();
    }
}

std::string clock_in_words(const study::ClockId& name, const RawStream& stream, Instant middle_shown,
                           const ClockCorrection& clock) {
    const std::string left =
        fmt::format("standard uncertainty {} s", significant_text(stream.clock_uncertainty_s, 2));
    if (!stream.clock_checked) {
        return fmt::format("clock {}: never checked, taken as right; {}", name.text(), left);
    }
    const double behind_s = (clock.corrected(middle_shown) - middle_shown).seconds();
    return fmt::format("clock {}: put right by its checks, {} {} s in the file's middle; {}", name.text(),
                       behind_s < 0.0 ? "-" : "+", significant_text(std::abs(behind_s), 3), left);
}

// ---------------------------------------------------------------- one file

struct OneFile {
    RawFile file;
    bool is_ambiguous = false; ///< not read, since its times have two readings
    std::vector<RawStream> streams;
    std::vector<study::Complaint> complaints;
};

// The reader names the file as it was opened; results and messages name it inside the study folder, wherever
// that lies.
void name_inside_folder(intake::ReadReport& report, const std::string& path) {
    for (auto& row : report.refused) {
        row.reason.place.file = path;
    }
    for (auto& reason : report.beyond_reasons) {
        reason.place.file = path;
    }
    for (auto& column : report.missing) {
        for (auto& cell : column.unreadable_cells) {
            cell.place.file = path;
        }
    }
}

// Day or month first, as another file of the same logger proves.
struct SharedOrder {
    intake::DateOrder order{};
    std::string evidence;
};

OneFile read_one(const fs::path& folder, const Wanted& wanted, std::uint32_t index, const Study& study,
                 const Clocks& clocks, Threads threads, const SharedOrder* shared = nullptr) {
    OneFile out;
    out.file = {.path = wanted.path, .trace = wanted.source->name};
    const auto complain = [&](Error error) {
        error.place.file = wanted.path;
        out.complaints.push_back({.severity = study::Severity::stops_the_run, .error = std::move(error)});
    };
    auto settings = intake::read_settings(*wanted.source, study.brief.study.zone);
    if (!settings) {
        complain(std::move(settings).error());
        return out;
    }
    settings->source = index;
    if (shared != nullptr) {
        settings->date_order = shared->order;
    }
    auto loaded = intake::load_trace(folder / wanted.path, *settings, {.threads = threads});
    if (!loaded) {
        out.is_ambiguous = loaded.error().code == ErrorCode::ambiguous_time && !settings->date_order;
        complain(std::move(loaded).error());
        return out;
    }
    if (shared != nullptr) {
        loaded->dialect.date_order = {.value = shared->order, .evidence = shared->evidence};
    }
    out.file.dialect = std::move(loaded->dialect);
    out.file.report = std::move(loaded->report);
    name_inside_folder(*out.file.report, wanted.path);
    out.complaints = doubts_of(out.file);
    const auto clock = clocks.find(wanted.source->clock_id());
    const ClockCorrection* correction = clock == clocks.end() ? nullptr : &clock->second;
    struct Settled {
        RawStream stream;
        Repeats repeats;
        std::size_t dropped = 0;
        std::string clock; ///< in words; empty where there are no rows
    };
    std::vector<Settled> all(loaded->streams.size());
    parallel_for(all.size(), threads, [&](std::size_t i) {
        auto& stream = all[i].stream;
        stream = {.trace = wanted.source->name,
                  .name = loaded->ids[i].name,
                  .file = index,
                  .data = std::move(loaded->streams[i])};
        all[i].repeats = repeats_in(stream.data);
        const auto& times = stream.data.times_ns;
        const auto middle = Instant::unix_nanoseconds(times.empty() ? 0 : times[times.size() / 2]);
        put_clock_right(stream, correction, study.brief);
        if (!times.empty()) {
            all[i].clock = clock_in_words(wanted.source->clock_id(), stream, middle,
                                          correction == nullptr ? ClockCorrection() : *correction);
        }
        all[i].dropped = drop_backward_rows(stream.data);
    });
    for (auto& [stream, repeats, dropped, in_words] : all) {
        if (out.file.clock.empty()) {
            out.file.clock = std::move(in_words);
        }
        if (dropped > 0) {
            const auto by_clock = dropped - std::min(dropped, repeats.rows);
            out.complaints.push_back({.severity = study::Severity::warning,
                                      .error = by_clock > 0 ? backward_by_clock(dropped, wanted.path)
                                                            : repeated(repeats, wanted.path)});
        }
        if (stream.data.rows() > 0) {
            out.streams.push_back(std::move(stream));
        }
    }
    return out;
}

// ---------------------------------------------------------------- day or month first, file by file

// A logger writes all its files alike: what one of them proves of day and month tells of those whose dates
// have two readings. Files of the same trace tell first, then others on the same clock.
class DateOrders {
  public:
    DateOrders(const std::vector<Wanted>& wanted, const std::vector<OneFile>& files)
        : wanted_(wanted), files_(files) {}

    /// For file `i`: the order that the others agree on; nothing where none proves any, or they differ.
    [[nodiscard]] std::optional<SharedOrder> for_file(std::size_t i) const {
        const auto& own = *wanted_[i].source;
        const auto by_trace = agreed([&](const study::TraceSource& other) { return other.name == own.name; });
        if (by_trace.proven > 0) {
            return by_trace.order;
        }
        return agreed([&](const study::TraceSource& other) { return other.clock_id() == own.clock_id(); })
            .order;
    }

    /// Two files of one trace that prove opposite orders: once for each trace, naming the first of each.
    [[nodiscard]] std::vector<study::Complaint> contradictions() const {
        std::vector<study::Complaint> out;
        std::map<std::string, std::size_t> first;
        std::set<std::string> said;
        for (std::size_t i = 0; i < files_.size(); ++i) {
            if (!proves(i)) {
                continue;
            }
            const auto& trace = wanted_[i].source->name;
            const auto [other, fresh] = first.emplace(trace, i);
            if (!fresh && order_of(i) != order_of(other->second) && said.insert(trace).second) {
                out.push_back(contradiction(other->second, i));
            }
        }
        return out;
    }

  private:
    struct Agreed {
        std::size_t proven = 0;
        std::optional<SharedOrder> order;
    };

    [[nodiscard]] bool proves(std::size_t i) const {
        return files_[i].file.dialect && files_[i].file.dialect->date_order_is_proven;
    }
    [[nodiscard]] intake::DateOrder order_of(std::size_t i) const {
        return files_[i].file.dialect->date_order.value;
    }

    template <typename Fits>
    [[nodiscard]] Agreed agreed(const Fits& fits) const {
        Agreed out;
        for (std::size_t i = 0; i < files_.size(); ++i) {
            if (!proves(i) || !fits(*wanted_[i].source)) {
                continue;
            }
            if (out.proven++ == 0) {
                out.order = SharedOrder{.order = order_of(i),
                                        .evidence = fmt::format("as {} shows: {}", wanted_[i].path,
                                                                files_[i].file.dialect->date_order.evidence)};
            } else if (out.order && out.order->order != order_of(i)) {
                out.order.reset();
            }
        }
        return out;
    }

    [[nodiscard]] study::Complaint contradiction(std::size_t a, std::size_t b) const {
        const auto says = [&](std::size_t i) {
            return fmt::format("{} proves {} ({})", wanted_[i].path, intake::word_of(order_of(i)),
                               files_[i].file.dialect->date_order.evidence);
        };
        return {.severity = study::Severity::stops_the_run,
                .error = {.code = ErrorCode::ambiguous_time,
                          .found = fmt::format("{}, and {}", says(a), says(b)),
                          .expected = "one order of day and month in all files of a trace",
                          .remedy =
                              "look whether a spreadsheet has rewritten one of them; if the logger was set "
                              "otherwise in between, give the files a [[trace]] each and say its "
                              "date_order",
                          .place = {.file = wanted_[b].path}}};
    }

    const std::vector<Wanted>& wanted_;
    const std::vector<OneFile>& files_;
};

bool is_kind(ColumnKind kind, ChannelFor what) {
    switch (what) {
    case ChannelFor::oxygen:
        return kind == ColumnKind::oxygen_mg_per_l || kind == ColumnKind::oxygen_percent_air ||
               kind == ColumnKind::oxygen_kpa;
    case ChannelFor::temperature:
        return kind == ColumnKind::temperature_celsius;
    case ChannelFor::pump:
        return kind == ColumnKind::pump;
    case ChannelFor::salinity:
        return kind == ColumnKind::salinity_practical || kind == ColumnKind::conductivity_ms_per_cm;
    case ChannelFor::pressure:
        return kind == ColumnKind::pressure_kpa;
    }
    return false;
}

std::string_view word(ChannelFor what) {
    constexpr std::string_view words[] = {"oxygen", "temperature", "pump", "salinity", "pressure"};
    return words[static_cast<std::size_t>(what)];
}

std::string with_article(ChannelFor what) {
    return fmt::format("{} {}", what == ChannelFor::oxygen ? "an" : "a", word(what));
}

// A header without its unit: "O2_1" of "O2_1 (% air sat)" or "O2_1 [mg/L]".
std::string without_unit(std::string_view header) {
    header = header.substr(0, header.find_first_of("(["));
    while (!header.empty() && header.back() == ' ') {
        header.remove_suffix(1);
    }
    return std::string(header);
}

// A channel answers to its own text, and to that without the unit; in a long file ("O2 (mg/L)@3") with its
// chamber or, where only one chamber is meant by the rest, without.
bool is_named(const std::string& channel, const std::string& name) {
    const auto at = channel.rfind('@');
    const std::string header = channel.substr(0, at);
    const std::string chamber = at == std::string::npos ? std::string() : channel.substr(at);
    return name == channel || name == header || name == without_unit(header) ||
           name == without_unit(header) + chamber;
}

// One file in mg/L and the next in per cent under one name would be read as one unit, silently.
Expected<std::vector<ChannelPiece>> of_one_kind(const RawTraces& traces, std::vector<ChannelPiece> pieces,
                                                const study::Channel& name) {
    const auto kind_of = [&](const ChannelPiece& piece) {
        return traces.streams[piece.stream].data.headers[piece.column].kind;
    };
    const auto file_of = [&](const ChannelPiece& piece) {
        return traces.files[traces.streams[piece.stream].file].path;
    };
    for (const auto& piece : pieces) {
        if (kind_of(piece) != kind_of(pieces.front())) {
            return fail(
                {.code = ErrorCode::bad_unit,
                 .found = fmt::format("\"{}\" is {} in {} and {} in {}", name.text(),
                                      name_of(kind_of(pieces.front())), file_of(pieces.front()),
                                      name_of(kind_of(piece)), file_of(piece)),
                 .expected = "one kind of reading in all files of a trace",
                 .remedy = "give the files a [[trace]] each, and the assembly a row for each of them"});
        }
    }
    return pieces;
}

} // namespace

bool is_in_use(const study::Assembly& row, const Study& study) {
    return std::any_of(study.tables.stays.begin(), study.tables.stays.end(), [&](const study::Stay& stay) {
        return stay.assembly == row.id && (!row.from || *row.from < stay.to()) &&
               (!row.to || stay.from() < *row.to);
    });
}

RawTraces read_raw_traces(const fs::path& folder, const Study& study, Threads threads,
                          const Progress& progress) {
    RawTraces out;
    const auto wanted = wanted_files(folder, study, out.complaints);
    complain_of_unread(folder, wanted, study.tables.sheets.plates, out.complaints);
    const auto clocks = clocks_of(study, out.complaints);
    std::size_t total = 0;
    std::vector<std::size_t> sizes;
    for (const auto& file : wanted) {
        std::error_code ignored;
        sizes.push_back(fs::file_size(folder / file.path, ignored));
        total += sizes.back();
    }
    // Each file is read by all threads, one file after another: small ones cost little, large ones gain.
    std::size_t done = 0;
    std::vector<OneFile> files;
    for (std::size_t i = 0; i < wanted.size(); ++i) {
        progress("reading", done / 1'000'000, total / 1'000'000, "MB");
        files.push_back(read_one(folder, wanted[i], static_cast<std::uint32_t>(i), study, clocks, threads));
        done += sizes[i];
    }
    const DateOrders orders(wanted, files);
    auto contradictions = orders.contradictions();
    std::move(contradictions.begin(), contradictions.end(), std::back_inserter(out.complaints));
    for (std::size_t i = 0; i < wanted.size(); ++i) {
        const auto shared = files[i].is_ambiguous ? orders.for_file(i) : std::nullopt;
        if (shared) {
            files[i] =
                read_one(folder, wanted[i], static_cast<std::uint32_t>(i), study, clocks, threads, &*shared);
        }
    }
    for (auto& one : files) {
        out.files.push_back(std::move(one.file));
        std::move(one.streams.begin(), one.streams.end(), std::back_inserter(out.streams));
        std::move(one.complaints.begin(), one.complaints.end(), std::back_inserter(out.complaints));
    }
    std::stable_sort(out.streams.begin(), out.streams.end(), [](const RawStream& a, const RawStream& b) {
        return a.data.times_ns.front() < b.data.times_ns.front();
    });
    return out;
}

Expected<std::vector<ChannelPiece>> find_channel(const RawTraces& traces, const study::Channel& name,
                                                 ChannelFor what) {
    std::vector<ChannelPiece> pieces;
    std::set<std::string> used;    // distinct channels that answered
    std::set<std::string> offered; // distinct channels of the kind in this trace
    bool trace_known = false;
    for (std::size_t s = 0; s < traces.streams.size(); ++s) {
        const auto& stream = traces.streams[s];
        if (stream.trace != name.trace) {
            continue;
        }
        trace_known = true;
        for (std::size_t c = 0; c < stream.data.headers.size(); ++c) {
            const auto& header = stream.data.headers[c];
            if (!is_kind(header.kind, what)) {
                continue;
            }
            offered.insert(header.channel);
            const bool by_name = is_named(header.channel, name.channel);
            const bool by_stream = !stream.name.empty() && stream.name == name.channel;
            if (name.channel.empty() || by_name || by_stream) {
                pieces.push_back({.stream = s, .column = c});
                used.insert(header.channel);
            }
        }
    }
    if (used.size() == 1) {
        return of_one_kind(traces, std::move(pieces), name);
    }
    const std::vector<std::string> choices(offered.begin(), offered.end());
    if (used.empty()) {
        // What people type is the name without its unit.
        std::vector<std::string> names;
        for (const auto& choice : choices) {
            names.push_back(without_unit(choice.substr(0, choice.rfind('@'))));
            if (const auto at = choice.rfind('@'); at != std::string::npos) {
                names.back() += choice.substr(at);
                names.push_back(choice.substr(at + 1));
            }
        }
        const auto near = nearest_name(name.channel, names);
        return fail({.code = ErrorCode::unknown_name,
                     .found = trace_known ? fmt::format("no {} channel \"{}\" in the trace \"{}\"",
                                                        word(what), name.channel, name.trace)
                                          : fmt::format("no readings in the trace \"{}\"", name.trace),
                     .expected = choices.empty()
                                     ? fmt::format("{} column in one of its files", with_article(what))
                                     : fmt::format("one of {}", fmt::join(choices, ", ")),
                     .remedy = near ? fmt::format("did you mean \"{}:{}\"?", name.trace, *near)
                                    : "mend the channel in assemblies.csv or say what the column is with "
                                      "[[trace.column]]",
                     .place = {},
                     .context = {},
                     .looked_in = trace_known ? std::string() : name.trace});
    }
    return fail({.code = ErrorCode::bad_relation,
                 .found = fmt::format("\"{}\" fits several {} channels: {}", name.text(), word(what),
                                      fmt::join(used, ", ")),
                 .expected = "one channel",
                 .remedy = "name it in full, as trace:channel"});
}

namespace {

bool same_but_case(std::string_view a, std::string_view b) {
    return lower_case(a) == lower_case(b);
}

// Whether a [[trace.column]] means this column: by its place, or by its header whole or without its unit, as
// the reader takes it.
bool means(const study::TraceColumn& setting, const intake::ColumnFinding& column) {
    if (setting.index) {
        return *setting.index == column.index;
    }
    return same_but_case(setting.header, column.header) ||
           same_but_case(setting.header, without_unit(column.header));
}

// In a long file the channel has the chamber behind it.
bool is_read_as(const intake::ColumnFinding& column, const RawStream& stream, const ChannelPiece& piece) {
    const std::string& channel = stream.data.headers[piece.column].channel;
    return column.is_reading() && (column.channel == channel ||
                                   (!stream.name.empty() && column.channel + "@" + stream.name == channel));
}

} // namespace

std::optional<intake::Unit> unit_of(const RawTraces& traces, const ChannelPiece& piece) {
    const auto& stream = traces.streams[piece.stream];
    const auto& dialect = traces.files[stream.file].dialect;
    if (dialect) {
        for (const auto& column : dialect->columns) {
            if (is_read_as(column, stream, piece)) {
                return column.unit;
            }
        }
    }
    return std::nullopt;
}

AssumedByLogger assumed_by_logger(const Study& study, const RawTraces& traces, const ChannelPiece& piece) {
    const auto& stream = traces.streams[piece.stream];
    const auto* source = study.brief.trace(stream.trace);
    if (source == nullptr) {
        return {};
    }
    AssumedByLogger out{.salinity = source->assumed_salinity, .pressure = source->assumed_pressure};
    const auto& dialect = traces.files[stream.file].dialect;
    if (!dialect) {
        return out;
    }
    for (const auto& column : dialect->columns) {
        const bool is_this = is_read_as(column, stream, piece);
        for (const auto& setting : source->columns) {
            if (is_this && means(setting, column)) {
                out.salinity = setting.assumed_salinity ? setting.assumed_salinity : out.salinity;
                out.pressure = setting.assumed_pressure ? setting.assumed_pressure : out.pressure;
            }
        }
    }
    return out;
}

} // namespace backeddy::app
