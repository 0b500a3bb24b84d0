#include "intake/detail/block.hpp"

#include <algorithm>
#include <cstring>
#include <optional>

#include "intake/detail/number.hpp"
#include "intake/detail/plain_rows.hpp"
#include "intake/detail/words.hpp"

namespace backeddy::intake {

void BlockChunk::begin(std::size_t of_stream, std::size_t columns, std::size_t room) {
    stream = of_stream;
    rows = 0;
    next_line = 0;
    twice.clear();
    data.pieces.clear();
    data.columns.resize(columns);
    const std::size_t size = std::clamp<std::size_t>(room, 16, chunk_rows);
    data.times_ns.resize(size);
    for (auto& column : data.columns) {
        column.resize(size);
    }
}

void BlockChunk::make_room() {
    const std::size_t size = std::min(chunk_rows, data.times_ns.size() * 2);
    data.times_ns.resize(size);
    for (auto& column : data.columns) {
        column.resize(size);
    }
}

void BlockChunk::turn_piece(std::uint64_t line) {
    if (rows > 0 && data.pieces.back().first_row + 1 == rows) {
        // The piece has one row so far: the second one says how many lines lie between.
        auto& piece = data.pieces.back();
        piece.line_step = static_cast<std::uint32_t>(line - piece.first_line);
        next_line = line + piece.line_step;
        return;
    }
    data.pieces.push_back({.first_row = rows, .source = data.source, .first_line = line, .line_step = 1});
    next_line = line + 1;
}

void BlockChunk::trim() {
    data.times_ns.resize(rows);
    for (auto& column : data.columns) {
        column.resize(rows);
    }
    data.first_line = rows > 0 ? data.pieces.front().first_line : 0;
}

std::size_t ParsedBlock::stream_named(std::string_view name) {
    for (std::size_t i = 0; i < streams.size(); ++i) {
        if (streams[i] == name) {
            return i;
        }
    }
    streams.emplace_back(name);
    current.push_back(0);
    return streams.size() - 1;
}

BlockChunk& ParsedBlock::chunk_for(std::size_t stream, const Plan& plan) {
    std::size_t& place = current[stream];
    if (place != 0) {
        auto& chunk = chunks[place - 1];
        if (chunk.rows < chunk.data.times_ns.size()) {
            return chunk;
        }
        if (chunk.rows < chunk_rows) {
            chunk.make_room();
            return chunk;
        }
    }
    if (chunks_used == chunks.size()) {
        chunks.emplace_back();
    }
    auto& chunk = chunks[chunks_used++];
    place = chunks_used;
    chunk.data.source = plan.source;
    // As many rows as its predecessor had, so that little is set to zero in vain.
    chunk.begin(stream, plan.readings.size(), chunk.data.times_ns.size() + 16);
    return chunk;
}

void ParsedBlock::clear() {
    std::fill(current.begin(), current.end(), 0);
    chunks_used = 0;
    line_count = 0;
    blank = 0;
    rows = 0;
    refused.clear();
    set_aside.clear();
    unreadable.clear();
    missing.clear();
    torn_last_line = false;
}

namespace {

// How many cells of one block and reading are kept word for word; the report keeps as many of the file.
constexpr std::size_t most_unreadable = 20;

// As the detector: a quote that stays open longer is a stray one.
constexpr std::uint64_t most_lines_in_a_quote = 20;

class Parser {
  public:
    Parser(const Plan& plan, RowReader& reader, ParsedBlock& block)
        : plan_(plan), reader_(reader), block_(block) {}

    void read_line(std::string_view line, std::uint64_t number, bool has_line_end) {
        if (line.size() > longest_line) {
            ++block_.rows;
            block_.refused.push_back({.line = number,
                                      .reason = {.code = ErrorCode::bad_row,
                                                 .found = "this line is longer than a megabyte",
                                                 .expected = "one row a line, of at most 1048576 bytes",
                                                 .remedy = "the file is damaged here: copy it again",
                                                 .place = {.file = plan_.file, .line = number}},
                                      .raw = shown_beginning(line)});
            return;
        }
        if (trimmed(line).empty()) {
            ++block_.blank;
            return;
        }
        unreadable_.clear();
        reader_.read(line, row_, unreadable_);
        if (row_.state == RowState::kept && !has_line_end && may_be_cut(line)) {
            row_.state = RowState::refused;
            row_.reason = {.code = ErrorCode::bad_row,
                           .found = "the last line has no line end and its last value may be cut",
                           .expected = "a whole line",
                           .remedy = "copy the file again if the logger has written on since",
                           .place = {.file = plan_.file}};
        }
        if (row_.state != RowState::set_aside) {
            ++block_.rows;
        }
        switch (row_.state) {
        case RowState::kept:
            keep(number);
            break;
        case RowState::refused:
            block_.torn_last_line = block_.torn_last_line || !has_line_end;
            row_.reason.place.line = number;
            block_.refused.push_back({.line = number, .reason = row_.reason, .raw = shown(line)});
            break;
        case RowState::set_aside:
            block_.set_aside.push_back({.line = number, .what = row_.what, .raw = shown(line)});
            break;
        }
    }

  private:
    void keep(std::uint64_t number) {
        const std::size_t stream = block_.stream_named(row_.chamber);
        auto& chunk = block_.chunk_for(stream, plan_);
        chunk.data.times_ns[chunk.rows] = row_.time_ns;
        for (std::size_t i = 0; i < row_.values.size(); ++i) {
            chunk.data.columns[i][chunk.rows] = row_.values[i];
        }
        if (row_.is_twice) {
            chunk.twice.push_back({.row = chunk.rows, .later_ns = row_.later_ns});
        }
        chunk.count_row(number);
        for (auto& cell : unreadable_) {
            const auto same =
                std::count_if(block_.unreadable.begin(), block_.unreadable.end(),
                              [&](const auto& other) { return other.cell.reading == cell.reading; });
            if (static_cast<std::size_t>(same) < most_unreadable) {
                cell.reason.place.line = number;
                block_.unreadable.push_back({.line = number, .cell = std::move(cell)});
            }
        }
    }

    // Whether the last line, which lacks its line end, may lack some of its last value too: it is whole when
    // that value is not the last thing on it, is a word, or shows as many decimals (characters) as any in the
    // sample.
    bool may_be_cut(std::string_view line) {
        Fields fields;
        fields.split(line, plan_.delimiter, plan_.quoting);
        if (fields.size() > plan_.last_used + 1) {
            return false;
        }
        const std::string_view last = fields[fields.size() - 1];
        if (!decimal_number(last, plan_.decimal)) {
            return plan_.time == fields.size() - 1 || plan_.time_of_day == fields.size() - 1
                       ? last.size() < plan_.dialect.last_field_characters
                       : false;
        }
        const auto point = last.find(plan_.decimal);
        const std::size_t decimals = point == std::string_view::npos ? 0 : last.size() - point - 1;
        return plan_.dialect.last_field_decimals > 0 ? decimals < plan_.dialect.last_field_decimals
                                                     : last.size() < plan_.dialect.last_field_characters;
    }

    const Plan& plan_;
    RowReader& reader_;
    ParsedBlock& block_;
    RowRead row_;
    std::vector<UnreadableCell> unreadable_;
};

} // namespace

void parse_block(const Plan& plan, RowReader& reader, ReadPaths paths, ParsedBlock& block) {
    block.clear();
    Parser parser(plan, reader, block);
    const std::string_view text = block.lines.text();
    const char feed = plan.form.line_feed();
    std::uint64_t number = 0;
    std::optional<PlainRows> plain;
    if (paths == ReadPaths::plain_then_general && PlainRows::suits(plan)) {
        plain.emplace(plan, block);
    }
    for (std::size_t at = 0; at < text.size(); ++number) {
        if (plain) {
            const char* p = text.data() + at;
            plain->read(p, text.data() + text.size(), number);
            plain->forget_chunks();
            at = static_cast<std::size_t>(p - text.data());
            if (at == text.size()) {
                break;
            }
        }
        const auto found = text.find(feed, at);
        bool has_line_end = found != std::string_view::npos;
        std::size_t end = has_line_end ? found : text.size();
        std::uint64_t inner_lines = 0;
        if (plan.quoting == Quoting::open_lines && end - at <= longest_line) {
            // A record ends at the first line end with all quotes closed.
            const auto quotes_in = [&](std::size_t from, std::size_t to) {
                return std::count(text.begin() + static_cast<std::ptrdiff_t>(from),
                                  text.begin() + static_cast<std::ptrdiff_t>(to), '"');
            };
            auto quotes = quotes_in(at, end);
            std::size_t longer = end;
            std::uint64_t more = 0;
            while (quotes % 2 != 0 && more < most_lines_in_a_quote && longer < text.size()) {
                const std::size_t next = std::min(text.find(feed, longer + 1), text.size());
                quotes += quotes_in(longer, next);
                longer = next;
                ++more;
            }
            if (quotes % 2 == 0) {
                end = longer;
                inner_lines = more;
                has_line_end = end < text.size();
            }
        }
        std::string_view line = text.substr(at, end - at);
        if (feed == '\n' && !line.empty() && line.back() == '\r') {
            line.remove_suffix(1);
        }
        parser.read_line(line, number, has_line_end);
        number += inner_lines;
        at = end + 1;
    }
    block.line_count = number;
    for (std::size_t i = 0; i < block.chunks_used; ++i) {
        block.chunks[i].trim();
    }
    block.missing = std::move(reader.missing);
    reader.missing.assign(plan.readings.size(), {});
}

} // namespace backeddy::intake
