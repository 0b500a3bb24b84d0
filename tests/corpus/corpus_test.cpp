// Every file of the messy corpus, read through the reader's public functions and held against its truth cell
// by cell: every readable value is read, only the listed rows are refused, and block size and threads change
// nothing.

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "base/file.hpp"
#include "base/number_text.hpp"
#include "intake/trace_reader.hpp"

namespace backeddy::intake {
namespace {

const std::filesystem::path corpus = BACKEDDY_CORPUS;

// ---- the truth
// -----------------------------------------------------------------------------------------------------

struct TrueRow {
    Instant time;
    std::string chamber;
    std::map<std::string, std::string>
        cells; ///< by header, without unit; "missing" where there is no reading
};

struct Truth {
    std::map<std::uint64_t, TrueRow> rows;
    std::map<std::uint64_t, std::string> refused; ///< the reason's word
    std::set<std::uint64_t> asides;
    std::string fails; ///< why the file as a whole is refused; empty when it is not
    std::int64_t tolerance_ns = 0;
};

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    for (std::size_t from = 0; from < text.size();) {
        const std::size_t to = std::min(text.find('\n', from), text.size());
        lines.push_back(text.substr(from, to - from));
        from = to + 1;
    }
    return lines;
}

// What stands after `start`, or nothing when `text` does not begin so.
std::optional<std::string> after(const std::string& text, const std::string& start) {
    return text.starts_with(start) ? std::optional(text.substr(start.size())) : std::nullopt;
}

Truth truth_of(const std::string& name) {
    Truth truth;
    const auto lines = lines_of(read_file(corpus / (name + ".truth.csv")).value());
    for (std::size_t i = 1; i < lines.size(); ++i) {
        const std::size_t first = lines[i].find(',');
        const std::size_t second = lines[i].find(',', first + 1);
        const auto line = static_cast<std::uint64_t>(parse_whole(lines[i].substr(0, first)).value());
        const std::string item = lines[i].substr(first + 1, second - first - 1);
        const std::string value = lines[i].substr(second + 1);
        if (item == "file") {
            truth.fails = after(value, "fails: ").value_or(truth.fails);
            if (const auto tolerance = after(value, "tolerance_ns ")) {
                truth.tolerance_ns = parse_whole(*tolerance).value();
            }
        } else if (item == "row" && value == "aside") {
            truth.asides.insert(line);
        } else if (item == "row") {
            truth.refused[line] = after(value, "refused: ").value();
        } else if (item == "time") {
            truth.rows[line].time = parse_iso(value).value();
        } else if (item == "chamber") {
            truth.rows[line].chamber = value;
        } else {
            truth.rows[line].cells[item] = value;
        }
    }
    return truth;
}

// "2 oxygen mg/L O2": index, use, unit ("." for none), channel.
ColumnSetting column_from(const std::string& text) {
    std::vector<std::string> words;
    for (std::size_t from = 0; from < text.size();) {
        const std::size_t to = std::min(text.find(' ', from), text.size());
        words.push_back(text.substr(from, to - from));
        from = to + 1;
    }
    words.resize(4);
    return {.index = static_cast<std::size_t>(parse_whole(words[0]).value()),
            .use = choice_from<ColumnUse>(words[1]).value(),
            .unit = words[2] == "." ? "" : words[2],
            .channel = words[3]};
}

ReadSettings settings_of(const std::string& name) {
    ReadSettings settings;
    for (const std::string& line : lines_of(read_file(corpus / (name + ".settings")).value())) {
        const std::size_t sign = line.find(" = ");
        const std::string key = line.substr(0, sign);
        const std::string value = line.substr(sign + 3);
        if (key == "zone") {
            settings.zone = value;
        } else if (key == "start") {
            settings.start = value;
        } else if (key == "date_order") {
            settings.date_order = choice_from<DateOrder>(value).value();
        } else if (key == "header_line") {
            settings.header_line = static_cast<std::uint64_t>(parse_whole(value).value());
        } else if (key == "missing_words") {
            settings.missing_words.push_back(value);
        } else if (key == "flush_words") {
            settings.flush_words.push_back(value);
        } else if (key == "sealed_words") {
            settings.sealed_words.push_back(value);
        } else if (key == "column") {
            settings.columns.push_back(column_from(value));
        } else {
            ADD_FAILURE() << name << ".settings: the test does not know \"" << key << "\"";
        }
    }
    return settings;
}

// ---- the comparison
// --------------------------------------------------------------------------------------------------

std::string word_of_code(ErrorCode code) {
    switch (code) {
    case ErrorCode::bad_text:
        return "bad_text";
    case ErrorCode::bad_number:
        return "bad_number";
    case ErrorCode::bad_time:
        return "bad_time";
    case ErrorCode::ambiguous_time:
        return "ambiguous_time";
    case ErrorCode::bad_row:
        return "bad_row";
    default:
        return "code " + std::to_string(static_cast<int>(code));
    }
}

// The item of the truth that this channel of this stream is: its header as written, less unit and chamber.
std::string item_of(const TraceFile& file, const std::string& stream, std::string channel) {
    const std::string suffix = "@" + stream;
    if (!stream.empty() && channel.ends_with(suffix)) {
        channel.erase(channel.size() - suffix.size());
    }
    for (const ColumnFinding& column : file.dialect.columns) {
        if (column.channel == channel) {
            const std::size_t unit = column.header.find_first_of("([");
            std::string item = unit == std::string::npos ? column.header : column.header.substr(0, unit);
            item.erase(item.find_last_not_of(' ') + 1);
            return column.header.starts_with("column ") ? channel : item;
        }
    }
    return channel;
}

void expect_cell(const std::string& truth, double value) {
    if (truth == "missing") {
        EXPECT_TRUE(std::isnan(value)) << "read as " << exact_text(value);
        return;
    }
    const double expected = parse_number(truth).value();
    // Both sides turn the same decimal text by the same factor: a few roundings apart, no more.
    EXPECT_NEAR(value, expected, 4e-16 * std::max(300.0, std::abs(expected))) << "truth " << truth;
}

// Line of a row, by the pieces that lead back to the file.
std::uint64_t line_of(const Trace& trace, std::size_t row) {
    const auto next = std::upper_bound(trace.pieces.begin(), trace.pieces.end(), row,
                                       [](std::size_t r, const Trace::Piece& p) { return r < p.first_row; });
    EXPECT_NE(next, trace.pieces.begin());
    const Trace::Piece& piece = *(next - 1);
    return piece.first_line + ((row - piece.first_row) * piece.line_step);
}

void expect_stream(const TraceFile& file, std::size_t number, const Truth& truth,
                   std::set<std::uint64_t>& seen) {
    const Trace& trace = file.streams[number];
    const std::string& name = file.ids[number].name;
    for (std::size_t row = 0; row < trace.rows(); ++row) {
        const std::uint64_t line = line_of(trace, row);
        SCOPED_TRACE("line " + std::to_string(line) + (name.empty() ? "" : ", chamber " + name));
        const auto expected = truth.rows.find(line);
        ASSERT_NE(expected, truth.rows.end()) << "a row was read that is none";
        EXPECT_TRUE(seen.insert(line).second) << "the line was read twice";
        EXPECT_EQ(name, expected->second.chamber);
        EXPECT_LE(std::abs(trace.times_ns[row] - expected->second.time.unix_nanoseconds()),
                  truth.tolerance_ns)
            << iso_text(Instant::unix_nanoseconds(trace.times_ns[row])) << " for "
            << iso_text(expected->second.time);
        std::set<std::string> items;
        for (std::size_t column = 0; column < trace.headers.size(); ++column) {
            const std::string item = item_of(file, name, trace.headers[column].channel);
            SCOPED_TRACE(item);
            const auto cell = expected->second.cells.find(item);
            ASSERT_NE(cell, expected->second.cells.end()) << "a column was read that holds no reading";
            expect_cell(cell->second, trace.columns[column][row]);
            items.insert(item);
        }
        EXPECT_EQ(items.size(), expected->second.cells.size()) << "a column with readings was not read";
        if (testing::Test::HasFailure()) {
            return; // one row's complaints are enough
        }
    }
}

bool same_bits(const std::vector<double>& a, const std::vector<double>& b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                      [](double x, double y) { return (std::isnan(x) && std::isnan(y)) || x == y; });
}

void expect_same(const TraceFile& a, const TraceFile& b) {
    ASSERT_EQ(a.streams.size(), b.streams.size());
    EXPECT_EQ(a.report.kept, b.report.kept);
    EXPECT_EQ(a.report.rows, b.report.rows);
    EXPECT_EQ(a.report.refused.size(), b.report.refused.size());
    for (std::size_t i = 0; i < a.streams.size(); ++i) {
        EXPECT_EQ(a.ids[i].name, b.ids[i].name);
        EXPECT_EQ(a.streams[i].times_ns, b.streams[i].times_ns);
        EXPECT_EQ(a.streams[i].headers, b.streams[i].headers);
        ASSERT_EQ(a.streams[i].columns.size(), b.streams[i].columns.size());
        for (std::size_t k = 0; k < a.streams[i].columns.size(); ++k) {
            EXPECT_TRUE(same_bits(a.streams[i].columns[k], b.streams[i].columns[k])) << "column " << k;
        }
    }
}

std::vector<std::string> case_names() {
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(corpus)) {
        const std::string name = entry.path().filename().string();
        if (name.ends_with(".settings")) {
            names.push_back(name.substr(0, name.size() - 9));
        }
    }
    std::sort(names.begin(), names.end());
    return names;
}

class Corpus : public testing::TestWithParam<std::string> {};

TEST_P(Corpus, every_readable_value_is_read_and_only_the_listed_rows_are_refused) {
    const Truth truth = truth_of(GetParam());
    const ReadSettings settings = settings_of(GetParam());
    const auto path = corpus / (GetParam() + ".csv");
    const auto file = load_trace(path, settings, {.threads = {.count = 1}});
    if (!truth.fails.empty()) {
        ASSERT_FALSE(file.has_value()) << "should be refused: " << truth.fails;
        EXPECT_EQ(word_of_code(file.error().code), truth.fails) << file.error().text();
        EXPECT_FALSE(file.error().remedy.empty()) << "says nothing of what to set: " << file.error().text();
        return;
    }
    ASSERT_TRUE(file.has_value()) << file.error().text();

    std::set<std::uint64_t> seen;
    for (std::size_t number = 0; number < file->streams.size(); ++number) {
        expect_stream(*file, number, truth, seen);
    }
    EXPECT_EQ(seen.size(), truth.rows.size()) << "rows that can be read were not";

    std::map<std::uint64_t, std::string> refused;
    for (const RefusedRow& row : file->report.refused) {
        refused[row.line] = word_of_code(row.reason.code);
        EXPECT_FALSE(row.raw.empty()) << "line " << row.line << ": the raw text is not kept";
    }
    EXPECT_EQ(refused, truth.refused);
    EXPECT_EQ(file->report.kept, truth.rows.size());
    EXPECT_EQ(file->report.rows, truth.rows.size() + truth.refused.size());
    EXPECT_EQ(file->report.blank + file->report.set_aside.size(), truth.asides.size());
    for (const SetAside& aside : file->report.set_aside) {
        EXPECT_TRUE(truth.asides.contains(aside.line)) << "line " << aside.line << ": " << aside.raw;
    }
}

TEST_P(Corpus, block_size_and_threads_change_nothing) {
    const ReadSettings settings = settings_of(GetParam());
    const auto path = corpus / (GetParam() + ".csv");
    const auto one = load_trace(path, settings, {.threads = {.count = 1}});
    if (!one) {
        EXPECT_FALSE(truth_of(GetParam()).fails.empty()) << one.error().text();
        return;
    }
    for (const std::size_t block : {64U, 257U, 4096U}) {
        SCOPED_TRACE("blocks of " + std::to_string(block) + " bytes");
        const auto other = load_trace(path, settings, {.threads = {.count = 3}, .block_bytes = block});
        ASSERT_TRUE(other.has_value()) << other.error().text();
        expect_same(*one, *other);
    }
}

INSTANTIATE_TEST_SUITE_P(Files, Corpus, testing::ValuesIn(case_names()),
                         [](const auto& chosen) { return chosen.param; });

TEST(CorpusItself, holds_more_than_eighty_dialects_and_faults) {
    EXPECT_GE(case_names().size(), 80U);
}

} // namespace
} // namespace backeddy::intake
