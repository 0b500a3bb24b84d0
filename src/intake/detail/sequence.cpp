#include "intake/detail/sequence.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <fmt/format.h>

#include "intake/detail/moment.hpp"
#include "intake/refusals.hpp"

namespace backeddy::intake {

namespace {

constexpr std::int64_t longest_usual_ns = std::numeric_limits<std::int64_t>::max() / 100;

constexpr std::size_t most_notes =
    10'000; // of gaps and changes of pace each; a broken clock could make millions
constexpr std::size_t most_unreadable = 20;
constexpr std::uint32_t pace_rows = 20; // so many intervals alike in a row are a new pace
constexpr double pace_tolerance = 0.25; // intervals within this share of each other are alike

bool alike(std::int64_t interval, std::int64_t other) {
    return std::fabs(static_cast<double>(interval - other)) <= pace_tolerance * static_cast<double>(other);
}

std::string iso(std::int64_t time_ns) {
    return iso_text(Instant::unix_nanoseconds(time_ns));
}

} // namespace

Sequence::Sequence(const Plan& plan, double gap_factor, const ChunkSink& sink)
    : plan_(plan), sink_(sink), gap_factor_(gap_factor),
      notes_pace_(std::any_of(plan.readings.begin(), plan.readings.end(),
                              [](const ReadingField& r) { return r.header.kind != ColumnKind::pump; })) {
    report_.file = plan.file;
    lines_before_ = plan.dialect.first_data_line.value - 1;
    report_.before = lines_before_;
    for (const auto& reading : plan.readings) {
        report_.missing.push_back({.column = reading.name});
    }
}

std::vector<ColumnHeader> Sequence::headers_of(const std::string& name) const {
    std::vector<ColumnHeader> headers;
    for (const auto& reading : plan_.readings) {
        headers.push_back(reading.header);
        if (plan_.chamber) {
            headers.back().channel += "@" + name;
        }
    }
    return headers;
}

Sequence::Stream& Sequence::stream_named(const std::string& name) {
    const auto [found, is_new] = by_name_.try_emplace(name, streams_.size());
    if (is_new) {
        Stream stream;
        stream.id = {.number = static_cast<std::uint32_t>(streams_.size()), .name = name};
        stream.usual_ns = plan_.dialect.usual_interval_ns;
        stream.out.data.headers = headers_of(name);
        stream.out.data.source = plan_.source;
        stream.out.begin(0, plan_.readings.size(), 0);
        streams_.push_back(std::move(stream));
    }
    return streams_[found->second];
}

void Sequence::take(ParsedBlock& block) {
    // In the order in which the chunks begin in the file, so that streams are numbered alike whatever the
    // blocks.
    std::vector<std::size_t> order(block.chunks_used);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
        return block.chunks[a].data.first_line < block.chunks[b].data.first_line;
    });
    const std::uint64_t first = lines_before_ + 1;
    for (const std::size_t i : order) {
        auto& chunk = block.chunks[i];
        chunk.data.first_line += first;
        for (auto& piece : chunk.data.pieces) {
            piece.first_line += first;
        }
        take_chunk(stream_named(block.streams[chunk.stream]), chunk);
    }
    for (auto& row : block.refused) {
        row.line += first;
        row.reason.place.line = row.line;
        list(std::move(row));
    }
    for (auto& aside : block.set_aside) {
        aside.line += first;
        report_.set_aside.push_back(std::move(aside));
    }
    for (std::size_t i = 0; i < block.missing.size(); ++i) {
        auto& missing = report_.missing[i];
        missing.count += block.missing[i].count;
        missing.unreadable += block.missing[i].unreadable;
        for (const auto& [word, count] : block.missing[i].words) {
            missing.words[word] += count;
        }
    }
    for (auto& found : block.unreadable) {
        auto& cells = report_.missing[found.cell.reading].unreadable_cells;
        if (cells.size() < most_unreadable) {
            cells.push_back(std::move(found.cell.reason));
            cells.back().place.line = found.line + first;
        }
    }
    report_.rows += block.rows;
    report_.blank += block.blank;
    report_.torn_last_line = report_.torn_last_line || block.torn_last_line;
    lines_before_ += block.line_count;
}

// Whether no row of the chunk needs thought: none backward, none far ahead, none twice.
bool Sequence::runs_forward(const Stream& stream, const BlockChunk& chunk) const {
    if (stream.holding != Holding::nothing || stream.stepping || !chunk.twice.empty()) {
        return false;
    }
    const std::int64_t far =
        std::max(3600 * nanoseconds_per_second, 100 * std::min(stream.usual_ns, longest_usual_ns));
    const auto& times = chunk.data.times_ns;
    std::int64_t last = stream.any ? stream.last_ns : times.front();
    int forward = 1; // without a branch in the loop
    for (const std::int64_t time : times) {
        // The step as an unsigned number, for it may be more than a signed one holds.
        const auto step = static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(last);
        forward &= static_cast<int>(time >= last) & static_cast<int>(step <= static_cast<std::uint64_t>(far));
        last = time;
    }
    return forward != 0;
}

void Sequence::take_chunk(Stream& stream, BlockChunk& chunk) {
    auto& data = chunk.data;
    const std::size_t n = data.times_ns.size();
    if (n == 0) {
        return;
    }
    if (runs_forward(stream, chunk)) {
        flush(stream);
        std::size_t piece = 0;
        if (!stream.any) {
            stream.any = true;
            stream.first_ns = data.times_ns.front();
            stream.last_ns = time_between(stream.first_ns, stream.usual_ns);
        }
        for (std::size_t i = 0; i < n; ++i) {
            const std::int64_t time = data.times_ns[i];
            if (time_between(time, stream.last_ns) != stream.usual_ns || stream.candidate_count != 0) {
                while (piece + 1 < data.pieces.size() && data.pieces[piece + 1].first_row <= i) {
                    ++piece;
                }
                const auto& p = data.pieces[piece];
                note_interval(stream, time, p.first_line + ((i - p.first_row) * p.line_step));
            }
            stream.last_ns = time;
        }
        data.headers = stream.out.data.headers;
        give(stream, data);
        return;
    }
    std::size_t piece = 0;
    std::size_t twice = 0;
    for (std::size_t i = 0; i < n; ++i) {
        while (piece + 1 < data.pieces.size() && data.pieces[piece + 1].first_row <= i) {
            ++piece;
        }
        const auto& p = data.pieces[piece];
        Row row{.time_ns = data.times_ns[i], .line = p.first_line + ((i - p.first_row) * p.line_step)};
        if (twice < chunk.twice.size() && chunk.twice[twice].row == i) {
            row.is_twice = true;
            row.later_ns = chunk.twice[twice++].later_ns;
        }
        for (const auto& column : data.columns) {
            row.values.push_back(column[i]);
        }
        feed(stream, std::move(row));
    }
}

void Sequence::feed(Stream& stream, Row row) {
    if (stream.holding == Holding::fold) {
        if (row.is_twice) {
            stream.held.push_back(std::move(row));
            return;
        }
        resolve_fold(stream, &row);
    }
    if (row.is_twice) {
        if (stream.holding == Holding::jump) {
            const Row held = std::move(stream.held.front());
            stream.held.clear();
            stream.holding = Holding::nothing;
            accept(stream, held);
        }
        stream.holding = Holding::fold;
        stream.held.clear();
        stream.held.push_back(std::move(row));
        return;
    }
    place(stream, std::move(row));
}

void Sequence::place(Stream& stream, Row row) {
    if (stream.holding == Holding::jump) {
        const Row held = std::move(stream.held.front());
        stream.held.clear();
        stream.holding = Holding::nothing;
        if (row.time_ns < held.time_ns && row.time_ns >= stream.last_ns) {
            refuse(held,
                   {.code = ErrorCode::bad_time,
                    .found = fmt::format("the time {} stands alone: the row before has {}, the row after {}",
                                         iso(held.time_ns), iso(stream.last_ns), iso(row.time_ns)),
                    .expected = "times that run forward within a stream",
                    .remedy = "nothing needs doing if the logger garbled one time; the other rows are read"});
        } else {
            accept(stream, held);
        }
    }
    if (stream.any && row.time_ns < stream.last_ns) {
        refuse_backward(stream, row);
        return;
    }
    const std::int64_t far =
        std::max(3600 * nanoseconds_per_second, 100 * std::min(stream.usual_ns, longest_usual_ns));
    if (stream.any && time_between(row.time_ns, stream.last_ns) > far) {
        stream.holding = Holding::jump;
        stream.held.clear();
        stream.held.push_back(std::move(row));
        return;
    }
    accept(stream, row);
}

void Sequence::accept(Stream& stream, const Row& row) {
    if (stream.any && row.time_ns < stream.last_ns) { // a held row that the rows before it have overtaken
        refuse_backward(stream, row);
        return;
    }
    end_step(stream);
    if (!stream.any) {
        stream.any = true;
        stream.first_ns = row.time_ns;
    } else {
        note_interval(stream, row.time_ns, row.line);
    }
    stream.last_ns = row.time_ns;
    auto& out = stream.out;
    if (out.rows == out.data.times_ns.size()) {
        if (out.rows >= chunk_rows) {
            flush(stream);
        } else {
            out.make_room();
        }
    }
    out.data.times_ns[out.rows] = row.time_ns;
    for (std::size_t i = 0; i < row.values.size(); ++i) {
        out.data.columns[i][out.rows] = row.values[i];
    }
    out.count_row(row.line);
}

void Sequence::note_interval(Stream& stream, std::int64_t time_ns, std::uint64_t line) {
    const std::int64_t interval = time_between(time_ns, stream.last_ns);
    if (interval == 0) {
        if (stream.duplicates == 0) {
            report_.duplicates.push_back({.stream = stream.id.name, .rows = 0, .first_line = line});
            stream.duplicates = report_.duplicates.size();
        }
        ++report_.duplicates[stream.duplicates - 1].rows;
        return;
    }
    if (!notes_pace_) {
        return;
    }
    if (stream.usual_ns == 0) {
        stream.usual_ns = interval;
    }
    if (alike(interval, stream.usual_ns)) {
        stream.candidate_count = 0;
        return;
    }
    note_long_or_short(stream, interval, time_ns, line);
}

// An interval unlike the usual one: a gap, or the first of a new pace.
void Sequence::note_long_or_short(Stream& stream, std::int64_t interval, std::int64_t time_ns,
                                  std::uint64_t line) {
    if (stream.candidate_count == 0 || !alike(interval, stream.candidate_ns)) {
        stream.candidate_ns = interval;
        stream.candidate_count = 0;
        stream.candidate_line = line;
    }
    ++stream.candidate_count;
    if (static_cast<double>(interval) > gap_factor_ * static_cast<double>(stream.usual_ns) &&
        report_.gaps.size() < most_notes) {
        report_.gaps.push_back({.stream = stream.id.name,
                                .line = line,
                                .from = Instant::unix_nanoseconds(stream.last_ns),
                                .to = Instant::unix_nanoseconds(time_ns),
                                .usual_interval_s = static_cast<double>(stream.usual_ns) * 1e-9});
    }
    if (stream.candidate_count < pace_rows) {
        return;
    }
    // What looked like gaps was the new pace.
    std::erase_if(report_.gaps, [&](const GapSeen& gap) {
        return gap.stream == stream.id.name && gap.line >= stream.candidate_line;
    });
    if (report_.interval_changes.size() < most_notes) {
        report_.interval_changes.push_back({.stream = stream.id.name,
                                            .line = stream.candidate_line,
                                            .before_s = static_cast<double>(stream.usual_ns) * 1e-9,
                                            .after_s = static_cast<double>(stream.candidate_ns) * 1e-9});
    }
    stream.usual_ns = stream.candidate_ns;
    stream.candidate_count = 0;
}

// The rows of a local hour that came twice, in the order of the file. Where the local time steps back, the
// second pass begins; where it does not, the neighbours on either side tell which pass it was, if they are
// near enough.
void Sequence::resolve_fold(Stream& stream, const Row* next) {
    std::vector<Row> rows = std::move(stream.held);
    stream.held.clear();
    stream.holding = Holding::nothing;
    std::size_t second = rows.size(); // first row of the second pass
    std::int64_t largest = 0;
    for (std::size_t i = 1; i < rows.size(); ++i) {
        const std::int64_t back = time_between(rows[i - 1].time_ns, rows[i].time_ns);
        if (back > largest) {
            largest = back;
            second = i;
        }
    }
    const std::int64_t usual = stream.usual_ns;
    const auto near = [&](std::int64_t from, std::int64_t to) {
        return usual > 0 && to >= from &&
               static_cast<double>(to - from) <= gap_factor_ * static_cast<double>(usual);
    };
    FoldSeen seen{.stream = stream.id.name, .first_line = rows.front().line, .rows = rows.size()};
    bool resolved = true;
    if (second < rows.size()) {
        seen.how =
            fmt::format("the local time steps back at line {}: rows before it belong to the first pass, the "
                        "others to the second",
                        rows[second].line);
    } else {
        const bool follows = stream.any && near(stream.last_ns, rows.front().time_ns);
        const bool leads = next != nullptr && near(rows.back().later_ns, next->time_ns);
        resolved = follows != leads;
        if (resolved) {
            second = follows ? rows.size() : 0;
            seen.how = follows ? "they follow the rows before the change without a gap: the first pass"
                               : "they lead to the rows after the change without a gap: the second pass";
        } else {
            seen.how = follows
                           ? "refused: the hour runs through once, which no clock with daylight saving shows"
                           : "refused: no row near enough tells which pass it was";
        }
    }
    for (std::size_t i = 0; i < rows.size(); ++i) {
        auto& row = rows[i];
        if (!resolved) {
            refuse(
                row,
                {.code = ErrorCode::ambiguous_time,
                 .found =
                     fmt::format("this local time came twice: {} or {}", iso(row.time_ns), iso(row.later_ns)),
                 .expected = fmt::format("rows of zone {} {} whose order tells which",
                                         plan_.dialect.zone.value, in_brackets(plan_.dialect.zone.origin)),
                 .remedy = "if this logger does not follow daylight saving, set zone to a fixed offset like "
                           "\"+01:00\""});
            continue;
        }
        if (i >= second) {
            row.time_ns = row.later_ns;
        }
        row.is_twice = false;
        place(stream, std::move(row));
    }
    report_.folds.push_back(std::move(seen));
}

void Sequence::refuse(const Row& row, Error reason) {
    reason.place = {.file = plan_.file, .line = row.line};
    list({.line = row.line, .reason = std::move(reason)});
}

namespace {

bool by_line(const RefusedRow& a, const RefusedRow& b) {
    return a.line < b.line;
}

} // namespace

// The first rows of the file are listed, in whatever order they come: a heap with the latest line on top.
void Sequence::list(RefusedRow row) {
    auto& listed = report_.refused;
    listed.push_back(std::move(row));
    std::push_heap(listed.begin(), listed.end(), by_line);
    if (listed.size() > most_rows_listed) {
        std::pop_heap(listed.begin(), listed.end(), by_line);
        note_beyond(listed.back());
        listed.pop_back();
    }
}

void Sequence::note_beyond(const RefusedRow& row) {
    ++report_.refused_not_listed;
    const auto [place, fresh] = beyond_.emplace(reason_key(row.reason), report_.beyond_reasons.size());
    if (fresh) {
        report_.beyond_reasons.push_back(row.reason);
    }
    auto& first = report_.beyond_reasons[place->second];
    if (row.line < first.place.line.value_or(0)) {
        first = row.reason;
    }
    auto& ranges = report_.refused_beyond;
    if (!ranges.empty() && ranges.back().reason == place->second && ranges.back().last_line + 1 == row.line) {
        ++ranges.back().last_line;
    } else {
        ranges.push_back({.first_line = row.line, .last_line = row.line, .reason = place->second});
    }
}

// The same whatever the blocks: reasons in the order of their first lines, stretches joined.
void Sequence::close_beyond() {
    auto& reasons = report_.beyond_reasons;
    std::vector<std::uint32_t> order(reasons.size());
    std::iota(order.begin(), order.end(), 0U);
    std::sort(order.begin(), order.end(), [&](std::uint32_t a, std::uint32_t b) {
        return reasons[a].place.line < reasons[b].place.line;
    });
    std::vector<std::uint32_t> now(reasons.size());
    std::vector<Error> sorted;
    for (std::uint32_t i = 0; i < order.size(); ++i) {
        now[order[i]] = i;
        sorted.push_back(std::move(reasons[order[i]]));
    }
    reasons = std::move(sorted);
    auto& ranges = report_.refused_beyond;
    std::sort(ranges.begin(), ranges.end(),
              [](const RefusedRange& a, const RefusedRange& b) { return a.first_line < b.first_line; });
    std::vector<RefusedRange> joined;
    for (auto range : ranges) {
        range.reason = now[range.reason];
        if (!joined.empty() && joined.back().reason == range.reason &&
            joined.back().last_line + 1 == range.first_line) {
            joined.back().last_line = range.last_line;
        } else {
            joined.push_back(range);
        }
    }
    ranges = std::move(joined);
}

void Sequence::refuse_backward(Stream& stream, const Row& row) {
    if (!stream.stepping) {
        stream.stepping = true;
        stream.step = {.stream = stream.id.name,
                       .line = row.line,
                       .from = Instant::unix_nanoseconds(stream.last_ns),
                       .to = Instant::unix_nanoseconds(row.time_ns)};
    }
    ++stream.step.rows;
    refuse(row,
           {.code = ErrorCode::bad_time,
            .found =
                fmt::format("the time runs backward, to {} after {}", iso(row.time_ns), iso(stream.last_ns)),
            .expected = "times that run forward within a stream",
            .remedy = "if the logger's clock was set back here, the rows until it caught up stay refused"});
}

void Sequence::end_step(Stream& stream) {
    if (stream.stepping && stream.step.rows > 1) {
        report_.clock_steps.push_back(std::move(stream.step));
    }
    stream.stepping = false;
    stream.step = {};
}

void Sequence::flush(Stream& stream) {
    auto& out = stream.out;
    if (out.rows == 0) {
        return;
    }
    out.trim();
    give(stream, out.data);
    out.begin(0, plan_.readings.size(), chunk_rows);
}

void Sequence::give(Stream& stream, TraceChunk& chunk) {
    stream.rows += chunk.times_ns.size();
    report_.kept += chunk.times_ns.size();
    sink_(stream.id, chunk);
}

void Sequence::finish() {
    for (auto& stream : streams_) {
        if (stream.holding == Holding::fold) {
            resolve_fold(stream, nullptr);
        }
        if (stream.holding == Holding::jump) {
            const Row held = std::move(stream.held.front());
            stream.holding = Holding::nothing;
            accept(stream, held);
        }
        end_step(stream);
        flush(stream);
        report_.streams.push_back({.name = stream.id.name,
                                   .rows = stream.rows,
                                   .first = Instant::unix_nanoseconds(stream.first_ns),
                                   .last = Instant::unix_nanoseconds(stream.last_ns),
                                   .usual_interval_s = static_cast<double>(stream.usual_ns) * 1e-9});
    }
    report_.lines = lines_before_;
    std::sort(report_.refused.begin(), report_.refused.end(), by_line);
    close_beyond();
    // Streams are decided at different moments: by line, the report is the same whatever the blocks.
    const auto by_line = [](const auto& a, const auto& b) { return a.line < b.line; };
    const auto by_first_line = [](const auto& a, const auto& b) { return a.first_line < b.first_line; };
    std::stable_sort(report_.gaps.begin(), report_.gaps.end(), by_line);
    std::stable_sort(report_.interval_changes.begin(), report_.interval_changes.end(), by_line);
    std::stable_sort(report_.clock_steps.begin(), report_.clock_steps.end(), by_line);
    std::stable_sort(report_.folds.begin(), report_.folds.end(), by_first_line);
    std::stable_sort(report_.duplicates.begin(), report_.duplicates.end(), by_first_line);
}

} // namespace backeddy::intake
