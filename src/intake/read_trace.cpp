#include <algorithm>
#include <condition_variable>
#include <exception>
#include <future>
#include <mutex>
#include <optional>
#include <thread>

#include "base/hash.hpp"
#include "intake/detail/block.hpp"
#include "intake/detail/sequence.hpp"
#include "intake/trace_reader.hpp"

namespace backeddy::intake {

namespace {

struct BlockRange {
    std::uint64_t from = 0;
    std::uint64_t to = 0;
};

// Where the file is cut. Plain files anywhere (a block owns the lines that begin in it), files with quoted
// line ends only where records begin.
class Cuts {
  public:
    Cuts(const Plan& plan, std::uint64_t bytes, std::size_t block_bytes) : bytes_(bytes) {
        const std::size_t unit = plan.form.unit();
        step_ = std::max<std::size_t>(block_bytes / unit * unit, unit);
        first_ = std::min(plan.form.first_byte, bytes);
        if (plan.quoting == Quoting::open_lines) {
            starts_ = plan.dialect.record_starts;
            if (starts_.empty() || starts_.front() != first_) {
                starts_.insert(starts_.begin(), first_);
            }
        }
    }
    [[nodiscard]] std::size_t count() const {
        return starts_.empty() ? static_cast<std::size_t>((bytes_ - first_ + step_ - 1) / step_)
                               : starts_.size();
    }
    [[nodiscard]] BlockRange operator[](std::size_t i) const {
        if (starts_.empty()) {
            const std::uint64_t from = first_ + (i * step_);
            return {from, std::min(from + step_, bytes_)};
        }
        return {starts_[i], i + 1 < starts_.size() ? starts_[i + 1] : bytes_};
    }
    [[nodiscard]] BlockStart start() const {
        return starts_.empty() ? BlockStart::find_line : BlockStart::exact;
    }

  private:
    std::uint64_t bytes_;
    std::uint64_t first_ = 0;
    std::size_t step_ = 1;
    std::vector<std::uint64_t> starts_;
};

// Reads blocks on all threads and hands them on in order. A ring of slots bounds the memory: block i uses
// slot i mod slots, and waits until block i - slots has been handed on. Whoever finishes the block that is
// due hands on it and those ready behind it.
class Pipeline {
  public:
    Pipeline(const TextSource& source, const Plan& plan, const Cuts& cuts, ReadPaths paths,
             Sequence& sequence, unsigned threads)
        : source_(source), plan_(plan), cuts_(cuts), paths_(paths), sequence_(sequence), threads_(threads),
          slots_(threads <= 1 ? 1 : (2 * threads) + 2) {}

    Expected<void> run() {
        const auto worker = [this] {
            try {
                work();
            } catch (...) {
                const std::lock_guard lock(guard_);
                thrown_ = thrown_ ? thrown_ : std::current_exception();
                stop_ = true;
                changed_.notify_all();
            }
        };
        {
            std::vector<std::jthread> pool;
            for (unsigned t = 1; t < threads_ && t < cuts_.count(); ++t) {
                pool.emplace_back(worker);
            }
            worker();
        }
        if (thrown_) {
            std::rethrow_exception(thrown_);
        }
        if (failure_) {
            return fail(std::move(*failure_));
        }
        return {};
    }

    /// First line (from 0 after the header) of each block.
    [[nodiscard]] const std::vector<std::uint64_t>& first_lines() const { return first_lines_; }

  private:
    struct Slot {
        ParsedBlock block;
        bool is_ready = false;
    };

    void work() {
        RowReader reader(plan_);
        while (true) {
            std::size_t i = 0;
            {
                std::unique_lock lock(guard_);
                i = next_;
                if (stop_ || i >= cuts_.count()) {
                    return;
                }
                ++next_;
                changed_.wait(lock, [&] { return stop_ || i < due_ + slots_.size(); });
                if (stop_) {
                    return;
                }
            }
            auto& slot = slots_[i % slots_.size()];
            const BlockRange range = cuts_[i];
            const auto loaded =
                slot.block.lines.load(source_, plan_.form, cuts_.start(), range.from, range.to);
            if (loaded) {
                parse_block(plan_, reader, paths_, slot.block);
            }
            std::unique_lock lock(guard_);
            if (!loaded) {
                if (!failure_) {
                    failure_ = loaded.error();
                }
                stop_ = true;
                changed_.notify_all();
                return;
            }
            slot.is_ready = true;
            hand_on(lock);
        }
    }

    void hand_on(std::unique_lock<std::mutex>& lock) {
        if (handing_on_) {
            return; // the thread at it will see this block too
        }
        handing_on_ = true;
        while (!stop_ && due_ < cuts_.count() && slots_[due_ % slots_.size()].is_ready) {
            auto& slot = slots_[due_ % slots_.size()];
            lock.unlock();
            first_lines_.push_back(line_);
            line_ += slot.block.line_count;
            sequence_.take(slot.block);
            lock.lock();
            slot.is_ready = false;
            ++due_;
            changed_.notify_all();
        }
        handing_on_ = false;
    }

    const TextSource& source_;
    const Plan& plan_;
    const Cuts& cuts_;
    ReadPaths paths_;
    Sequence& sequence_;
    unsigned threads_;
    std::vector<Slot> slots_;
    std::mutex guard_;
    std::condition_variable changed_;
    std::size_t next_ = 0; ///< block to be read next
    std::size_t due_ = 0;  ///< block to be handed on next
    bool handing_on_ = false;
    bool stop_ = false;
    std::optional<Error> failure_;
    std::exception_ptr thrown_;
    std::vector<std::uint64_t> first_lines_;
    std::uint64_t line_ = 0;
};

// Rows that the sequence refused have lost their text with their block: read it again.
Expected<void> fill_raw(const TextSource& source, const Plan& plan, const Cuts& cuts,
                        const std::vector<std::uint64_t>& first_lines, std::vector<RefusedRow>& refused) {
    LineBlock lines;
    std::size_t loaded = cuts.count(); // none
    std::uint64_t line = 0;
    std::size_t at = 0;
    const char feed = plan.form.line_feed();
    for (auto& row : refused) {
        if (!row.raw.empty()) {
            continue;
        }
        const std::uint64_t wanted = row.line - plan.dialect.first_data_line.value;
        const auto next = std::upper_bound(first_lines.begin(), first_lines.end(), wanted);
        const auto block = static_cast<std::size_t>(next - first_lines.begin()) - 1;
        if (block != loaded) {
            const BlockRange range = cuts[block];
            if (const auto read = lines.load(source, plan.form, cuts.start(), range.from, range.to); !read) {
                return fail(read.error());
            }
            loaded = block;
            line = first_lines[block];
            at = 0;
        }
        const std::string_view text = lines.text();
        for (; line < wanted; ++line) {
            at = std::min(text.find(feed, at), text.size() - 1) + 1;
        }
        std::string_view found = text.substr(at, std::min(text.find(feed, at), text.size()) - at);
        if (!found.empty() && found.back() == '\r') {
            found.remove_suffix(1);
        }
        row.raw = found.size() > longest_line ? shown_beginning(found) : shown(found);
    }
    return {};
}

} // namespace

Expected<ReadReport> read_trace(const std::filesystem::path& path, const ReadSettings& settings,
                                const Dialect& dialect, const ReadWork& work, const ChunkSink& sink) {
    auto plan = make_plan(path.string(), settings, dialect);
    if (!plan) {
        return fail(std::move(plan).error());
    }
    auto source = TextSource::open(path);
    if (!source) {
        return fail(std::move(source).error());
    }
    std::future<Expected<std::string>> hash;
    if (work.hashing == Hashing::sha256) {
        hash = std::async(std::launch::async, [&path] { return sha256_of_file(path); });
    }
    Sequence sequence(*plan, settings.gap_factor, sink);
    const Cuts cuts(*plan, source->bytes(), work.block_bytes);
    Pipeline pipeline(*source, *plan, cuts, work.paths, sequence, work.threads.resolved());
    if (auto read = pipeline.run(); !read) {
        return fail(std::move(read).error());
    }
    sequence.finish();
    ReadReport report = std::move(sequence.report());
    if (auto filled = fill_raw(*source, *plan, cuts, pipeline.first_lines(), report.refused); !filled) {
        return fail(std::move(filled).error());
    }
    report.bytes = source->bytes();
    if (hash.valid()) {
        auto digest = hash.get();
        if (!digest) {
            return fail(std::move(digest).error());
        }
        report.sha256 = std::move(*digest);
    }
    return report;
}

namespace {

// Puts `rows` rows, the first being number `row` of the trace, behind the pieces there are. Row by row until
// they run in step with the last piece, so that the pieces of a trace do not depend on where its chunks
// ended.
void append_piece(std::vector<Piece>& pieces, std::size_t row, const Piece& added, std::size_t rows) {
    for (std::size_t k = 0; k < rows; ++k) {
        const std::uint64_t line = added.first_line + (k * added.line_step);
        if (!pieces.empty() && pieces.back().source == added.source) {
            auto& last = pieces.back();
            const std::size_t have = row + k - last.first_row;
            if (have == 1 && line > last.first_line) {
                last.line_step = static_cast<std::uint32_t>(line - last.first_line);
                continue;
            }
            if (have > 1 && last.first_line + (have * last.line_step) == line) {
                if (last.line_step == added.line_step) {
                    return; // and so do all that follow
                }
                continue;
            }
        }
        pieces.push_back({.first_row = row + k, .source = added.source, .first_line = line, .line_step = 1});
    }
}

} // namespace

void append(Trace& trace, const TraceChunk& chunk) {
    if (trace.headers.empty()) {
        trace.headers = chunk.headers;
        trace.columns.resize(chunk.columns.size());
    }
    const std::size_t before = trace.rows();
    for (std::size_t i = 0; i < chunk.pieces.size(); ++i) {
        const auto& piece = chunk.pieces[i];
        const std::size_t end =
            i + 1 < chunk.pieces.size() ? chunk.pieces[i + 1].first_row : chunk.times_ns.size();
        append_piece(trace.pieces, before + piece.first_row, piece, end - piece.first_row);
    }
    trace.times_ns.insert(trace.times_ns.end(), chunk.times_ns.begin(), chunk.times_ns.end());
    for (std::size_t i = 0; i < chunk.columns.size(); ++i) {
        trace.columns[i].insert(trace.columns[i].end(), chunk.columns[i].begin(), chunk.columns[i].end());
    }
}

Expected<TraceFile> load_trace(const std::filesystem::path& path, const ReadSettings& settings,
                               const ReadWork& work) {
    auto dialect = detect(path, settings);
    if (!dialect) {
        return fail(std::move(dialect).error());
    }
    TraceFile file;
    const auto gather = [&file](const StreamId& id, const TraceChunk& chunk) {
        while (file.streams.size() <= id.number) {
            file.streams.emplace_back();
            file.ids.emplace_back();
        }
        file.ids[id.number] = id;
        append(file.streams[id.number], chunk);
    };
    auto report = read_trace(path, settings, *dialect, work, gather);
    if (!report) {
        return fail(std::move(report).error());
    }
    file.dialect = std::move(*dialect);
    file.report = std::move(*report);
    return file;
}

} // namespace backeddy::intake
