#include "intake/plate_file.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/file.hpp"
#include "base/lower_case.hpp"
#include "base/number_text.hpp"
#include "condition/plate_well.hpp"
#include "intake/detail/csv_table.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/plate_blocks.hpp"
#include "intake/detail/plate_number.hpp"
#include "intake/detail/sample.hpp"
#include "intake/detail/words.hpp"

namespace backeddy::intake {

namespace {

using condition::well_name;
using study::Severity;

constexpr std::size_t most_bytes = std::size_t{1}
                                   << 24; // an export is a few kilobytes; many reads, megabytes
constexpr std::size_t most_line_ends = 1'000'000;
constexpr std::array<Delimiter, 4> candidates{Delimiter::tab, Delimiter::semicolon, Delimiter::comma,
                                              Delimiter::spaces};
constexpr std::size_t most_bytes_for_hints = std::size_t{1} << 20;

struct Shape {
    std::size_t rows = 0;
    std::size_t columns = 0;
};
constexpr std::array<Shape, 6> usual_shapes{{{2, 3}, {3, 4}, {4, 6}, {6, 8}, {8, 12}, {16, 24}}};

/// The delimiter, and what it makes of the file.
struct Split {
    Delimiter delimiter = Delimiter::comma;
    PlateLines lines;
    FoundBlocks found;
};

/// A cell on its way: where, and what stands there.
struct RawCell {
    std::size_t row = 0;
    std::size_t column = 0;
    std::uint64_t line = 0;
    std::size_t field = 0;
    std::string_view text;
};

Error ambiguous(std::string found, std::string remedy) {
    return {.code = ErrorCode::bad_setting,
            .found = std::move(found),
            .expected = "one, or one that is chosen",
            .remedy = std::move(remedy)};
}

std::string described(const PlateBlock& block) {
    return fmt::format("{} (lines {} to {}{})", block.number, block.first_line, block.last_line,
                       block.name.empty() ? "" : ", " + in_quotes(block.name));
}

/// Whether `name` stands in `text` as words of its own, case ignored.
bool stands_in(std::string_view text, std::string_view name) {
    const std::string folded = lower_case(text);
    const std::string wanted = lower_case(name);
    const auto is_part = [](char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0; };
    for (std::size_t at = folded.find(wanted); at != std::string::npos; at = folded.find(wanted, at + 1)) {
        const std::size_t end = at + wanted.size();
        if ((at == 0 || !is_part(folded[at - 1])) && (end == folded.size() || !is_part(folded[end]))) {
            return true;
        }
    }
    return false;
}

/// One of `fields`, by header or by number of field; fails where the header is not there, or there twice.
Expected<std::size_t> picked_field(const Picked& picked, const PlateLines& lines, const FoundBlock& block,
                                   const std::vector<std::size_t>& fields, std::string_view setting) {
    std::vector<std::string> names;
    std::vector<std::size_t> same;
    for (const std::size_t field : fields) {
        names.push_back(header_of(lines, block, field));
        const bool is_named =
            !picked.name.empty() &&
            (lower_case(names.back()) == lower_case(picked.name) ||
             (!plain_name(picked.name).empty() && plain_name(names.back()) == plain_name(picked.name)));
        if (picked.number ? field + 1 == *picked.number : is_named) {
            same.push_back(field);
        }
    }
    if (same.size() == 1) {
        return same.front();
    }
    const auto near = picked.number ? std::nullopt : nearest_name(picked.name, names);
    const std::string wanted =
        picked.number ? fmt::format("field {}", *picked.number) : in_quotes(picked.name);
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("{} is set to {}, which {}", setting, wanted,
                                      same.empty() ? "is none of these columns" : "is more than one column"),
                 .expected = fmt::format("one of {}", fmt::join(names, ", ")),
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "set another, or its number",
                 .place = {.file = {}, .line = lines.lines[block.first].line}});
}

class PlateReader {
  public:
    PlateReader(const std::string& file, const PlateFileSettings& settings) : settings_(settings) {
        reading_.file = file;
        reading_.rows = settings.rows;
        reading_.columns = settings.columns;
    }

    Expected<PlateReading> read(std::string_view bytes) {
        if (auto found = run(bytes); !found) {
            Error error = std::move(found).error();
            error.place.file = reading_.file;
            return fail(std::move(error));
        }
        for (auto& complaint : reading_.complaints) {
            complaint.error.place.file = reading_.file;
        }
        study::sort_by_place(reading_.complaints);
        return std::move(reading_);
    }

  private:
    Expected<void> run(std::string_view bytes) {
        auto sample = sampled(bytes);
        if (!sample) {
            return fail(std::move(sample).error());
        }
        sample_ = std::move(*sample);
        split_ = best_split(settings_);
        reading_.delimiter = split_.delimiter;
        if (split_.found.blocks.empty()) {
            return fail(nothing_found());
        }
        list_blocks();
        auto chosen = chosen_block();
        if (!chosen) {
            return fail(std::move(chosen).error());
        }
        const FoundBlock& block = split_.found.blocks[*chosen];
        reading_.block = reading_.blocks[*chosen];
        auto cells =
            block.is_list ? cells_of_list(block) : Expected<std::vector<RawCell>>(cells_of_grid(block));
        if (!cells) {
            return fail(std::move(cells).error());
        }
        if (auto found = find_decimal(*cells); !found) {
            return fail(std::move(found).error());
        }
        read_cells(*cells);
        find_missing();
        tell(block);
        return {};
    }

    [[nodiscard]] Expected<Sample> sampled(std::string_view bytes) const {
        if (settings_.rows < 2 || settings_.rows > 64 || settings_.columns < 3 || settings_.columns > 96) {
            return fail(
                {.code = ErrorCode::bad_setting,
                 .found = fmt::format("a plate of {} rows and {} columns", settings_.rows, settings_.columns),
                 .expected = "2 to 64 rows and 3 to 96 columns",
                 .remedy = "set rows and columns to the plate's"});
        }
        const auto ends = static_cast<std::size_t>(
            std::ranges::count_if(bytes, [](char c) { return c == '\n' || c == '\r'; }));
        if (bytes.size() > most_bytes || ends > most_line_ends) {
            return fail({.code = ErrorCode::bad_text,
                         .found = fmt::format("{} bytes and {} line ends", bytes.size(), ends),
                         .expected = fmt::format("a plate's export, at most {} bytes and {} line ends",
                                                 most_bytes, most_line_ends),
                         .remedy = "export one plate alone"});
        }
        return sample_of(bytes, ReadSettings{.encoding = settings_.encoding}, reading_.file);
    }

    /// By the delimiter that is set, or the one that makes blocks of the most numbers.
    [[nodiscard]] Split best_split(const PlateFileSettings& settings) const {
        Split best;
        bool is_first = true;
        for (const auto delimiter : candidates) {
            if (settings_.delimiter && *settings_.delimiter != delimiter) {
                continue;
            }
            Split split{.delimiter = delimiter, .lines = split_lines(sample_, delimiter)};
            split.found = find_blocks(split.lines, delimiter, settings);
            const auto worth = [](const Split& s) {
                return std::pair(s.found.numbers, s.found.near_misses.size() + s.found.of_words.size());
            };
            if (is_first || worth(split) > worth(best)) {
                best = std::move(split);
                is_first = false;
            }
        }
        return best;
    }

    [[nodiscard]] Error nothing_found() const {
        std::vector<std::string> found;
        for (const auto shape : usual_shapes) {
            PlateFileSettings other = settings_;
            other.rows = shape.rows;
            other.columns = shape.columns;
            if (sample_.head_text->size() <= most_bytes_for_hints && found.size() < 3 &&
                (shape.rows != settings_.rows || shape.columns != settings_.columns) &&
                !best_split(other).found.blocks.empty()) {
                found.push_back(
                    fmt::format("what may be a plate of {} rows and {} columns", shape.rows, shape.columns));
            }
        }
        for (const auto& miss : split_.found.near_misses) {
            if (found.size() < 3) {
                found.push_back(miss.found);
            }
        }
        for (const auto& words : split_.found.of_words) {
            if (found.size() < 3) {
                found.push_back(fmt::format("lines {} to {}: a grid without a number", line_at(words.first),
                                            line_at(words.last)));
            }
        }
        return {.code = ErrorCode::missing_column,
                .found = found.empty() ? "no grid and no list of wells with numbers"
                                       : fmt::format("{}", fmt::join(found, "; ")),
                .expected = fmt::format(
                    "a grid of {} rows and {} columns, or a list with a well, such as {}, and a value "
                    "on each line",
                    settings_.rows, settings_.columns, well_name(1, 1)),
                .remedy = "set rows and columns, delimiter or first_line, or export it again",
                .place = {.file = {},
                          .line = split_.found.near_misses.empty()
                                      ? std::nullopt
                                      : split_.found.near_misses.front().place.line}};
    }

    void list_blocks() {
        for (const auto& block : split_.found.blocks) {
            PlateBlock told{.number = reading_.blocks.size() + 1,
                            .name = block.name,
                            .kind = block.kind,
                            .first_line = line_at(block.first),
                            .last_line = line_at(block.last)};
            for (const std::size_t field : block.value_fields) {
                told.value_columns.push_back(header_of(split_.lines, block, field));
            }
            reading_.blocks.push_back(std::move(told));
        }
        for (const auto& miss : split_.found.near_misses) {
            reading_.complaints.push_back({Severity::warning, miss});
        }
    }

    [[nodiscard]] Expected<std::size_t> chosen_block() const {
        std::vector<std::string> all;
        for (const auto& block : reading_.blocks) {
            all.push_back(described(block));
        }
        const auto& wanted = settings_.block;
        if (wanted.number) {
            if (*wanted.number >= 1 && *wanted.number <= all.size()) {
                return *wanted.number - 1;
            }
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("block {} is set", *wanted.number),
                         .expected = fmt::format("one of {}", fmt::join(all, ", ")),
                         .remedy = "set another number"});
        }
        std::vector<std::size_t> same;
        for (const bool exact : {true, false}) {
            for (std::size_t i = 0; i < all.size() && !wanted.name.empty(); ++i) {
                const auto& captions = split_.found.blocks[i].captions;
                if (std::ranges::any_of(captions, [&](const std::string& caption) {
                        return exact ? lower_case(caption) == lower_case(wanted.name)
                                     : stands_in(caption, wanted.name);
                    })) {
                    same.push_back(i);
                }
            }
            if (!same.empty()) {
                break;
            }
        }
        if (wanted.name.empty() && all.size() == 1) {
            return std::size_t{0};
        }
        if (same.size() == 1) {
            return same.front();
        }
        if (wanted.name.empty()) {
            return fail(ambiguous(fmt::format("{} blocks of wells: {}", all.size(), fmt::join(all, ", ")),
                                  "set block to the number or name of one"));
        }
        return fail({.code = ErrorCode::unknown_name,
                     .found = fmt::format("block is set to {}, which stands above {}", in_quotes(wanted.name),
                                          same.empty() ? "none" : "several"),
                     .expected = fmt::format("one of {}", fmt::join(all, ", ")),
                     .remedy = "set block to the number of one"});
    }

    [[nodiscard]] std::uint64_t line_at(std::size_t index) const { return split_.lines.lines[index].line; }

    void complain(Severity severity, Error error) {
        reading_.complaints.push_back({severity, std::move(error)});
    }

    std::vector<RawCell> cells_of_grid(const FoundBlock& block) {
        std::vector<RawCell> out;
        for (const auto& cell : block.cells) {
            const auto& line = split_.lines.lines[cell.line];
            out.push_back({.row = cell.row,
                           .column = cell.column,
                           .line = line.line,
                           .field = cell.field + 1,
                           .text = line.cell(cell.field)});
        }
        for (const auto& odd : block.odd) {
            const auto& line = split_.lines.lines[odd.line];
            complain(Severity::stops_the_run,
                     {.code = ErrorCode::bad_row,
                      .found = fmt::format("{}: {}", odd.found, in_quotes(line.text)),
                      .expected = odd.expected,
                      .remedy = "mend the line, or export it again",
                      .place = {.file = {}, .line = line.line}});
        }
        return out;
    }

    /// Which fields of a list say the well, the value, and whether the line counts.
    struct ListFields {
        std::size_t well = 0;
        std::size_t value = 0;
        std::optional<std::size_t> only;
    };
    [[nodiscard]] Expected<ListFields> fields_of(const FoundBlock& block) const {
        ListFields fields;
        const auto names_of = [&](const std::vector<std::size_t>& among) {
            std::vector<std::string> names;
            for (const std::size_t field : among) {
                names.push_back(in_quotes(header_of(split_.lines, block, field)));
            }
            return fmt::format("{}", fmt::join(names, ", "));
        };
        const auto pick = [&](const Picked& picked, const std::vector<std::size_t>& among,
                              std::string_view setting, std::string_view what) -> Expected<std::size_t> {
            if (!picked.says_nothing()) {
                return picked_field(picked, split_.lines, block, among, setting);
            }
            if (among.size() == 1) {
                return among.front();
            }
            Error error = ambiguous(fmt::format("{} columns of {}: {}", among.size(), what, names_of(among)),
                                    fmt::format("set {} to the name or number of one", setting));
            error.place.line = line_at(block.first);
            return fail(std::move(error));
        };
        if (!block.well_fields.empty()) {
            const auto well = pick(settings_.well_column, block.well_fields, "well_column", "wells");
            if (!well) {
                return fail(well.error());
            }
            fields.well = *well;
        }
        auto values = block.value_fields;
        if (!settings_.only_column.says_nothing()) {
            std::vector<std::size_t> every(split_.lines.lines[block.last].cells.size());
            for (std::size_t f = 0; f < every.size(); ++f) {
                every[f] = f;
            }
            const auto only = picked_field(settings_.only_column, split_.lines, block, every, "only_column");
            if (!only) {
                return fail(only.error());
            }
            fields.only = *only;
            std::erase(values, *only);
        }
        const auto value = pick(settings_.value_column, values, "value_column", "numbers");
        if (!value) {
            return fail(value.error());
        }
        fields.value = *value;
        return fields;
    }

    Expected<std::vector<RawCell>> cells_of_list(const FoundBlock& block) {
        const auto fields = fields_of(block);
        if (!fields) {
            return fail(fields.error());
        }
        std::map<std::pair<std::size_t, std::size_t>, std::vector<RawCell>> by_well;
        std::size_t passed = 0;
        std::set<std::string> others; // what stands there instead
        const std::size_t wide = block.header ? split_.lines.lines[*block.header].cells.size() : SIZE_MAX;
        for (std::size_t i = block.header ? *block.header + 1 : block.first; i <= block.last; ++i) {
            const auto& line = split_.lines.lines[i];
            if (fields->only && lower_case(line.cell(*fields->only)) != lower_case(settings_.only_value)) {
                ++passed;
                others.insert(in_quotes(line.cell(*fields->only)));
                continue;
            }
            const auto named = well_of(line, block, fields->well);
            const RawCell cell{.row = named ? named->row : 0,
                               .column = named ? named->column : 0,
                               .line = line.line,
                               .field = fields->value + 1,
                               .text = line.cell(fields->value)};
            if (!named || named->row > reading_.rows || named->column > reading_.columns) {
                refuse_line(cell, line,
                            named ? fmt::format("well {} on a plate of {} rows and {} columns",
                                                well_name(named->row, named->column), reading_.rows,
                                                reading_.columns)
                                  : "no well");
            } else if (std::ranges::any_of(line.cells.begin() +
                                               static_cast<std::ptrdiff_t>(std::min(wide, line.cells.size())),
                                           line.cells.end(), [](auto text) { return !text.empty(); })) {
                refuse_line(cell, line,
                            fmt::format("{} fields where the header has {}", line.cells.size(), wide));
            } else {
                by_well[{cell.row, cell.column}].push_back(cell);
            }
        }
        if (passed > block.last - (block.header ? *block.header + 1 : block.first)) {
            constexpr std::ptrdiff_t most = 12;
            const auto end =
                std::next(others.begin(), std::min(most, static_cast<std::ptrdiff_t>(others.size())));
            return fail({.code = ErrorCode::unknown_name,
                         .found = fmt::format("no line with {} in {}", in_quotes(settings_.only_value),
                                              in_quotes(header_of(split_.lines, block, *fields->only))),
                         .expected = fmt::format("one of {}{}", fmt::join(others.begin(), end, ", "),
                                                 end == others.end() ? "" : " and more"),
                         .remedy = "set only_value to one that stands there",
                         .place = {.file = {}, .line = line_at(block.first)}});
        }
        if (passed > 0) {
            reading_.understood.push_back(fmt::format(
                "{} lines of the list passed over: not {} in {}", passed, in_quotes(settings_.only_value),
                in_quotes(header_of(split_.lines, block, *fields->only))));
        }
        reading_.understood.push_back(fmt::format("values from field {}, {}", fields->value + 1,
                                                  in_quotes(header_of(split_.lines, block, fields->value))));
        std::vector<RawCell> out;
        for (const auto& [well, cells] : by_well) {
            if (cells.size() == 1) {
                out.push_back(cells.front());
            } else {
                refuse_twice(cells);
            }
        }
        return out;
    }

    void refuse_line(const RawCell& cell, const PlateLine& line, std::string found) {
        reading_.refused.push_back(
            {.well = {}, .line = line.line, .field = cell.field, .raw = shown(line.text)});
        complain(Severity::stops_the_run, {.code = ErrorCode::bad_row,
                                           .found = fmt::format("{}: {}", found, in_quotes(line.text)),
                                           .expected = "one well of the plate and its value",
                                           .remedy = "mend the line, or take it out of the list",
                                           .place = {.file = {}, .line = line.line}});
    }

    void refuse_twice(const std::vector<RawCell>& cells) {
        const std::string well = well_name(cells.front().row, cells.front().column);
        for (const auto& cell : cells) {
            reading_.refused.push_back(
                {.well = well, .line = cell.line, .field = cell.field, .raw = shown(cell.text)});
        }
        complain(
            Severity::stops_the_run,
            {.code = ErrorCode::duplicate,
             .found = fmt::format("well {} on {} lines, first {} and {}: {} and {}", well, cells.size(),
                                  cells[0].line, cells[1].line, in_quotes(cells[0].text),
                                  in_quotes(cells[1].text)),
             .expected = "each well once",
             .remedy =
                 "choose one plate, wavelength or read with only_column and only_value, or delete one line",
             .place = {.file = {}, .line = cells[1].line}});
    }

    // ---- numbers

    struct Marks {
        std::map<MarkEvidence, RawCell> first; ///< the first cell that says so
        std::map<MarkEvidence, std::size_t> counts;

        void look_at(const RawCell& cell) {
            const auto evidence = mark_evidence(cell.text);
            first.emplace(evidence, cell);
            ++counts[evidence];
        }
        [[nodiscard]] std::size_t count(MarkEvidence one, MarkEvidence other) const {
            const auto of = [&](MarkEvidence evidence) {
                const auto found = counts.find(evidence);
                return found == counts.end() ? std::size_t{0} : found->second;
            };
            return of(one) + of(other);
        }
        [[nodiscard]] bool has(MarkEvidence evidence) const { return first.contains(evidence); }
        [[nodiscard]] std::string example(MarkEvidence evidence) const {
            const auto& cell = first.at(evidence);
            return fmt::format("{} in line {}", in_quotes(cell.text), cell.line);
        }
    };

    Expected<void> find_decimal(const std::vector<RawCell>& cells) {
        if (settings_.decimal) {
            reading_.decimal = *settings_.decimal;
            reading_.understood.push_back(fmt::format("decimal {}, as set", word_of(reading_.decimal)));
            return {};
        }
        Marks marks;
        for (const auto& cell : cells) {
            marks.look_at(cell);
        }
        const bool point = marks.has(MarkEvidence::point);
        const bool comma = marks.has(MarkEvidence::comma);
        const bool both_or =
            marks.has(MarkEvidence::point_or_thousands) && marks.has(MarkEvidence::comma_or_thousands);
        if ((point && comma) || ((point || comma) && both_or)) {
            if (const auto mark = mark_of_nearly_all(marks)) {
                has_odd_marks_ = true;
                return set_decimal(*mark, "nearly all cells have it");
            }
        }
        if (point && comma) {
            return fail(two_marks(marks, MarkEvidence::point, MarkEvidence::comma));
        }
        if ((point || comma) && marks.has(MarkEvidence::point_or_thousands) &&
            marks.has(
                MarkEvidence::comma_or_thousands)) { // one of them parts thousands, or somebody mistyped
            return fail(
                two_marks(marks, point ? MarkEvidence::point_or_thousands : MarkEvidence::comma_or_thousands,
                          point ? MarkEvidence::comma_or_thousands : MarkEvidence::point_or_thousands));
        }
        if (point || comma) {
            return set_decimal(point ? DecimalMark::point : DecimalMark::comma,
                               marks.example(point ? MarkEvidence::point : MarkEvidence::comma));
        }
        const bool point_or = marks.has(MarkEvidence::point_or_thousands);
        const bool comma_or = marks.has(MarkEvidence::comma_or_thousands);
        if (point_or && comma_or) {
            return fail(two_marks(marks, MarkEvidence::point_or_thousands, MarkEvidence::comma_or_thousands));
        }
        if (!point_or && !comma_or) {
            return set_decimal(DecimalMark::point, "");
        }
        const auto evidence = point_or ? MarkEvidence::point_or_thousands : MarkEvidence::comma_or_thousands;
        if (marks.has(MarkEvidence::no_groups)) {
            return set_decimal(point_or ? DecimalMark::point : DecimalMark::comma,
                               fmt::format("{}, since {} is not grouped", marks.example(evidence),
                                           marks.example(MarkEvidence::no_groups)));
        }
        const auto& cell = marks.first.at(evidence);
        return fail(
            {.code = ErrorCode::bad_number,
             .found =
                 fmt::format("{} can be {} or {}, and no other cell tells", in_quotes(cell.text),
                             *plate_number(cell.text, point_or ? DecimalMark::point : DecimalMark::comma),
                             *plate_number(cell.text, point_or ? DecimalMark::comma : DecimalMark::point)),
             .expected = "one reading",
             .remedy = "set decimal to \"point\" or \"comma\"",
             .place = {.file = {}, .line = cell.line, .column = fmt::format("field {}", cell.field)}});
    }
    [[nodiscard]] bool has_odd_mark(std::string_view text) const {
        const auto evidence = mark_evidence(text);
        return has_odd_marks_ &&
               (reading_.decimal == DecimalMark::point
                    ? evidence == MarkEvidence::comma || evidence == MarkEvidence::comma_or_thousands
                    : evidence == MarkEvidence::point || evidence == MarkEvidence::point_or_thousands);
    }
    /// Where both marks stand in one file and at most a tenth of the cells that have one have the other
    /// (choice): somebody mistyped these, and they alone are lost.
    static std::optional<DecimalMark> mark_of_nearly_all(const Marks& marks) {
        constexpr std::size_t one_in = 10;
        const auto points = marks.count(MarkEvidence::point, MarkEvidence::point_or_thousands);
        const auto commas = marks.count(MarkEvidence::comma, MarkEvidence::comma_or_thousands);
        if (marks.has(MarkEvidence::point) && commas > 0 && one_in * commas <= points + commas) {
            return DecimalMark::point;
        }
        if (marks.has(MarkEvidence::comma) && points > 0 && one_in * points <= points + commas) {
            return DecimalMark::comma;
        }
        return std::nullopt;
    }
    static Error two_marks(const Marks& marks, MarkEvidence one, MarkEvidence other) {
        const auto& cell = marks.first.at(other);
        return {.code = ErrorCode::bad_number,
                .found =
                    fmt::format("{} and {}: both decimal marks", marks.example(one), marks.example(other)),
                .expected = "one decimal mark in a file",
                .remedy = "set decimal to \"point\" or \"comma\"; the other cells are then refused",
                .place = {.file = {}, .line = cell.line, .column = fmt::format("field {}", cell.field)}};
    }
    Expected<void> set_decimal(DecimalMark mark, const std::string& why) {
        reading_.decimal = mark;
        reading_.understood.push_back(why.empty() ? "no decimals"
                                                  : fmt::format("decimal {}, as {}", word_of(mark), why));
        return {};
    }

    /// Whether the text says by itself that there is no number: a word, or a limit that was passed.
    static bool is_word(std::string_view text) {
        const bool has_digit = std::ranges::any_of(text, [](char c) { return c >= '0' && c <= '9'; });
        return !has_digit || text.front() == '<' || text.front() == '>' || text.starts_with("\u2264") ||
               text.starts_with("\u2265") || is_missing_word(text, {});
    }
    /// Whether thousands are grouped in it by the other decimal mark.
    [[nodiscard]] bool is_grouped(std::string_view text) const {
        return text.find(reading_.decimal == DecimalMark::point ? ',' : '.') != std::string_view::npos;
    }

    void read_cells(const std::vector<RawCell>& cells) {
        std::vector<RawCell> grouped;
        for (const auto& cell : cells) {
            if (cell.text.empty()) {
                continue;
            }
            const auto number =
                has_odd_mark(cell.text) ? std::nullopt : plate_number(cell.text, reading_.decimal);
            if (number && is_grouped(cell.text)) {
                grouped.push_back(cell);
            }
            if (number || is_word(cell.text)) {
                reading_.wells.push_back({.row = cell.row,
                                          .column = cell.column,
                                          .response = number,
                                          .text = number ? std::string() : shown(cell.text),
                                          .line = cell.line,
                                          .field = cell.field});
            } else {
                refuse_cell(cell);
            }
        }
        std::ranges::sort(reading_.wells, {}, [](const PlateCell& c) { return std::pair(c.row, c.column); });
        if (!grouped.empty()) {
            complain(
                Severity::warning,
                {.code = ErrorCode::bad_number,
                 .found = fmt::format("{} in {} cells, read as {}", in_quotes(grouped.front().text),
                                      grouped.size(), *plate_number(grouped.front().text, reading_.decimal)),
                 .expected = fmt::format("decimals after a {}: so the other mark parts thousands",
                                         word_of(reading_.decimal)),
                 .remedy = "check one of them by hand; set decimal if it is wrong",
                 .place = {.file = {},
                           .line = grouped.front().line,
                           .column = fmt::format("field {}", grouped.front().field)}});
        }
    }
    void refuse_cell(const RawCell& cell) {
        const std::string well = well_name(cell.row, cell.column);
        reading_.refused.push_back(
            {.well = well, .line = cell.line, .field = cell.field, .raw = shown(cell.text)});
        complain(Severity::warning,
                 {.code = ErrorCode::bad_number,
                  .found = fmt::format("{} in well {}", in_quotes(cell.text), well),
                  .expected = fmt::format("a number with a decimal {}, a word, or a limit like >3.5",
                                          word_of(reading_.decimal)),
                  .remedy = "mend it, or exclude the well in the plate map and say why",
                  .place = {.file = {}, .line = cell.line, .column = fmt::format("field {}", cell.field)}});
    }

    void find_missing() {
        std::set<std::string> known;
        for (const auto& cell : reading_.wells) {
            known.insert(well_name(cell.row, cell.column));
        }
        for (const auto& cell : reading_.refused) {
            known.insert(cell.well);
        }
        for (std::size_t row = 1; row <= reading_.rows; ++row) {
            for (std::size_t column = 1; column <= reading_.columns; ++column) {
                if (!known.contains(well_name(row, column))) {
                    reading_.missing.push_back(well_name(row, column));
                }
            }
        }
        if (!reading_.missing.empty()) {
            complain(Severity::warning,
                     {.code = ErrorCode::bad_row,
                      .found = fmt::format("{} wells without a cell or with an empty one: {}",
                                           reading_.missing.size(), fmt::join(reading_.missing, ", ")),
                      .expected = fmt::format("{} wells", reading_.rows * reading_.columns),
                      .remedy = "nothing, where these wells were not read; else export it again",
                      .place = {.file = {}, .line = reading_.block.first_line}});
        }
    }

    /// Lines that cannot be of a plate by their length alone.
    void tell_of_long_lines() {
        const auto wide =
            std::ranges::count_if(split_.lines.lines, [](const auto& l) { return l.cells.empty(); });
        std::size_t kept = 0;
        for (const auto& record : sample_.head) {
            kept += record.text.size() + 2;
        }
        if (wide > 0) {
            reading_.understood.push_back(fmt::format("{} lines of over 512 fields, passed over", wide));
        }
        if (sample_.head_text->size() > kept + longest_line) {
            reading_.understood.push_back(fmt::format("lines of over {} bytes, passed over", longest_line));
        }
    }

    void tell(const FoundBlock& block) {
        auto& told = reading_.understood;
        told.insert(told.begin(), fmt::format("{} ({}), fields parted by {}", word_of(sample_.encoding.value),
                                              sample_.encoding.evidence, word_of(split_.delimiter)));
        told.push_back(fmt::format("block {} of {}, a {}: lines {} to {}{}", reading_.block.number,
                                   reading_.blocks.size(), block.kind, reading_.block.first_line,
                                   reading_.block.last_line,
                                   block.name.empty() ? "" : ", " + in_quotes(block.name)));
        for (const auto& beside : block.beside) {
            told.push_back(fmt::format("beside the grid and not read: {}", in_quotes(beside)));
        }
        for (const auto& words : split_.found.of_words) {
            told.push_back(fmt::format("lines {} to {}: a grid without a number, passed over",
                                       line_at(words.first), line_at(words.last)));
        }
        tell_of_long_lines();
        for (const auto& cell : reading_.wells) {
            if (!cell.response) {
                told.push_back(fmt::format("well {} (line {}) has no number: {}",
                                           well_name(cell.row, cell.column), cell.line,
                                           in_quotes(cell.text)));
            }
        }
    }

    const PlateFileSettings& settings_;
    bool has_odd_marks_ = false; ///< some cells have the other decimal mark: they are refused
    PlateReading reading_;
    Sample sample_;
    Split split_;
};

} // namespace

namespace {

Picked picked(const std::string& text) {
    constexpr long long most_numbered = 99; // 450 is a wavelength
    const auto number = parse_whole(text);
    if (number && *number >= 1 && *number <= most_numbered) {
        return {.name = {}, .number = static_cast<std::size_t>(*number)};
    }
    return {.name = text, .number = {}};
}

Delimiter delimiter_of(study::CellsPartedBy parted) {
    switch (parted) {
    case study::CellsPartedBy::comma:
        return Delimiter::comma;
    case study::CellsPartedBy::semicolon:
        return Delimiter::semicolon;
    case study::CellsPartedBy::tab:
        return Delimiter::tab;
    case study::CellsPartedBy::spaces:
        break;
    }
    return Delimiter::spaces;
}

} // namespace

PlateFileSettings plate_settings(const study::PlateFileHelp& help) {
    PlateFileSettings out{.rows = help.rows,
                          .columns = help.columns,
                          .block = picked(help.block),
                          .first_line = help.first_line,
                          .value_column = picked(help.value_column),
                          .well_column = picked(help.well_column),
                          .only_column = picked(help.only_column),
                          .only_value = help.only_value};
    if (help.delimiter) {
        out.delimiter = delimiter_of(*help.delimiter);
    }
    if (help.decimal) {
        out.decimal = *help.decimal == study::DecimalIs::comma ? DecimalMark::comma : DecimalMark::point;
    }
    return out;
}

Expected<PlateReading> read_plate(std::string_view bytes, const std::string& file,
                                  const PlateFileSettings& settings) {
    return PlateReader(file, settings).read(bytes);
}

Expected<PlateReading> load_plate(const std::filesystem::path& path, const PlateFileSettings& settings) {
    const auto bytes = read_file(path, most_bytes);
    if (!bytes) {
        return fail(bytes.error());
    }
    return read_plate(*bytes, path.string(), settings);
}

} // namespace backeddy::intake
