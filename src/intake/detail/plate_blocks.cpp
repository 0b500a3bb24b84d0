#include "intake/detail/plate_blocks.hpp"

#include <algorithm>
#include <array>
#include <functional>
#include <map>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "condition/plate_well.hpp"
#include "intake/detail/csv_table.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/plate_number.hpp"

namespace backeddy::intake {

namespace {

constexpr std::size_t most_fields = 512;
constexpr std::size_t most_captions = 20;
constexpr std::size_t most_label_fields = 5; // so far to the right a row letter may stand
constexpr std::size_t most_rows = 64;
constexpr std::array<std::string_view, 9> well_words{
    "well", "wells", "well_id", "well_name", "well_position", "well_position", "position", "pos", "location"};
constexpr std::array<std::string_view, 4> row_words{"row", "well_row", "plate_row", "row_letter"};
constexpr std::array<std::string_view, 7> column_words{
    "column", "col", "well_column", "well_col", "plate_column", "plate_column", "column_number"};

template <typename Words>
bool is_among(const Words& words, std::string_view header) {
    const std::string name = plain_name(header);
    return std::ranges::find(words, name) != words.end();
}

/// "C", "c", "C:".
std::optional<std::size_t> row_label(std::string_view cell) {
    if (cell.size() > 1 && (cell.back() == ':' || cell.back() == '.' || cell.back() == ')')) {
        cell.remove_suffix(1);
    }
    const auto row = condition::row_of_letters(cell);
    return row && *row <= most_rows ? row : std::nullopt;
}

bool is_whole(std::string_view cell, std::size_t value) {
    return !cell.empty() && cell.size() <= 3 && parse_whole(cell) == static_cast<long long>(value);
}

bool is_well(std::string_view cell) {
    return cell.size() <= 5 && condition::well_place(cell).has_value();
}

/// How many whole numbers 1, 2, 3 ... stand from this field on.
std::size_t counting_from(const PlateLine& line, std::size_t field) {
    std::size_t count = 0;
    while (is_whole(line.cell(field + count), count + 1)) {
        ++count;
    }
    return count;
}

std::string joined_cells(const PlateLine& line) {
    std::string out;
    for (const auto cell : line.cells) {
        if (!cell.empty()) {
            out += (out.empty() ? "" : " ") + std::string(cell);
        }
    }
    return out.empty() ? shown_beginning(line.text) : out;
}

class Finder {
  public:
    Finder(const PlateLines& lines, Delimiter delimiter, const PlateFileSettings& settings)
        : lines_(lines.lines), spaces_(delimiter == Delimiter::spaces), settings_(settings),
          rows_(settings.rows), columns_(settings.columns) {}

    FoundBlocks run() {
        while (at_ < lines_.size()) {
            if (!(set_grid() || numbered_grids() || list() || lettered_grid() || bare_grids())) {
                ++at_;
            }
        }
        for (const auto& block : found_.blocks) {
            found_.numbers += block.numbers;
        }
        return std::move(found_);
    }

  private:
    [[nodiscard]] bool is_taken(std::size_t line) const { return line < free_from_; }

    void miss(std::size_t first, std::size_t last, std::string what) {
        found_.near_misses.push_back(
            {.code = ErrorCode::missing_column,
             .found = fmt::format("lines {} to {}: {}", lines_[first].line, lines_[last].line, what),
             .expected = fmt::format("{} rows of {} columns", rows_, columns_),
             .remedy = "set rows and columns to the plate's, or export it again",
             .place = {.file = {}, .line = lines_[first].line}});
    }

    /// Numbers the lines above the block among its captions, and keeps it.
    void keep(FoundBlock block) {
        for (std::size_t i = block.first; i-- > free_from_ && block.captions.size() < most_captions;) {
            block.captions.push_back(joined_cells(lines_[i]));
        }
        if (!block.captions.empty() && block.name.empty()) {
            block.name = block.captions.front();
        }
        for (const auto& cell : block.cells) {
            block.numbers += is_plate_number(lines_[cell.line].cell(cell.field)) ? 1 : 0;
        }
        (block.numbers > 0 ? found_.blocks : found_.of_words).push_back(std::move(block));
    }

    void take_until(std::size_t next) { at_ = free_from_ = next; }

    // ---- grids

    struct Anchor {
        std::size_t field = 0; ///< where column 1 is named
        std::size_t count = 0; ///< how many columns are
    };

    [[nodiscard]] std::vector<Anchor> anchors_of(const PlateLine& line) const {
        std::vector<Anchor> out;
        for (std::size_t k = 0; k + 2 < line.cells.size(); ++k) {
            const std::size_t count = counting_from(line, k);
            if (count >= 3) {
                out.push_back({.field = k, .count = count});
                k += count - 1;
            }
        }
        return out;
    }

    [[nodiscard]] bool has_column_numbers(std::size_t line) const {
        return std::ranges::any_of(anchors_of(lines_[line]),
                                   [&](const Anchor& a) { return a.count >= columns_; });
    }

    /// Grids below a line with the numbers of all columns.
    bool numbered_grids() {
        const auto anchors = anchors_of(lines_[at_]);
        if (std::ranges::none_of(anchors, [&](const Anchor& a) { return a.count == columns_; })) {
            const auto wide =
                std::ranges::find_if(anchors, [&](const Anchor& a) { return a.count != columns_; });
            if (wide != anchors.end() && at_ + 1 < lines_.size() &&
                row_label(lines_[at_ + 1].cell(wide->field == 0 ? 0 : wide->field - 1)) == 1) {
                miss(at_, at_ + 1, fmt::format("column numbers 1 to {}", wide->count));
            }
            return false;
        }
        const std::size_t header = at_;
        std::size_t end = header + 1;
        std::optional<std::size_t> label;
        std::vector<FoundBlock> blocks;
        for (std::size_t a = 0; a < anchors.size(); ++a) {
            const std::size_t limit = a + 1 < anchors.size() ? anchors[a + 1].field - 1 : most_fields;
            if (anchors[a].count != columns_) {
                miss(header, header, fmt::format("column numbers 1 to {}", anchors[a].count));
                continue;
            }
            label = label_field(header, anchors[a].field, label);
            auto block =
                label ? lettered_rows(header + 1, *label, value_field(anchors[a].field, *label), header)
                      : counted_rows(header, anchors[a].field);
            if (!block) {
                continue;
            }
            end = std::max(end, block->last + 1);
            block->first = header;
            if (anchors[a].field > 0) {
                block->name = std::string(lines_[header].cell(anchors[a].field - 1));
            }
            block->kind = label ? "grid with row letters and column numbers" : "grid with column numbers";
            if (!block->cells.empty() && finish(*block, block->cells.front().field, limit, header)) {
                blocks.push_back(std::move(*block));
            }
        }
        for (auto& block : blocks) {
            if (!block.name.empty()) {
                block.captions.push_back(block.name);
            }
            keep(std::move(block));
        }
        take_until(end);
        return true;
    }

    /// Where the letters of the rows below a line of column numbers stand: in front of column 1, or where the
    /// corner was left out (blanks as delimiter) in its place; else those of the grid to the left.
    [[nodiscard]] std::optional<std::size_t> label_field(std::size_t header, std::size_t field,
                                                         std::optional<std::size_t> before) const {
        if (header + 1 >= lines_.size()) {
            return std::nullopt;
        }
        const std::size_t own = field == 0 ? 0 : field - 1;
        for (std::size_t i = header + 1; i < std::min(header + 3, lines_.size()); ++i) {
            if (row_label(lines_[i].cell(own))) {
                return own;
            }
        }
        return before;
    }
    /// Where column 1 stands, when it is named at `field` and the row letters stand at `label`.
    [[nodiscard]] static std::size_t value_field(std::size_t field, std::size_t label) {
        return field == 0 && label == 0 ? 1 : field;
    }

    void add_row(FoundBlock& block, std::size_t row, std::size_t line, std::size_t field) const {
        for (std::size_t c = 0; c < columns_; ++c) {
            if (field + c < lines_[line].cells.size()) {
                block.cells.push_back({.row = row, .column = c + 1, .line = line, .field = field + c});
            }
        }
        block.last = line;
    }

    /// Rows whose letters run forward, from `begin` on; nothing where they run beyond the plate.
    std::optional<FoundBlock> lettered_rows(std::size_t begin, std::size_t label, std::size_t field,
                                            std::optional<std::size_t> header) {
        FoundBlock block{.first = begin, .last = begin};
        std::size_t before = 0;
        std::size_t j = begin;
        for (; j < lines_.size(); ++j) {
            const auto row = row_label(lines_[j].cell(label));
            // A row was left out, or a line of something else begins with a letter: that is short.
            const bool is_short = lines_[j].cells.size() <= label + (columns_ / 2);
            if (row && *row > before && (*row == before + 1 || (*row <= rows_ && !is_short))) {
                if (*row > rows_) {
                    miss(header.value_or(begin), j, fmt::format("rows as far as {}", lines_[j].cell(label)));
                    return std::nullopt;
                }
                add_row(block, *row, j, field);
                before = *row;
                continue;
            }
            const auto next = j + 1 < lines_.size() ? row_label(lines_[j + 1].cell(label)) : std::nullopt;
            const bool is_between = !row && next && *next > before + 1 && *next <= rows_ && before > 0;
            if (!is_between || has_column_numbers(j)) {
                break;
            }
            block.odd.push_back(
                {.line = j,
                 .found = fmt::format("{} where a row letter should be", in_quotes(lines_[j].cell(label))),
                 .expected = fmt::format("a row between the letters of lines {} and {}", lines_[j - 1].line,
                                         lines_[j + 1].line)});
        }
        if (before == 0) {
            return std::nullopt;
        }
        return block;
    }

    /// As many rows as the plate has, without letters, below a line of column numbers.
    std::optional<FoundBlock> counted_rows(std::size_t header, std::size_t anchor) {
        std::size_t field = anchor;
        if (field == 0 && header + 1 < lines_.size() && lines_[header + 1].cells.size() == columns_ + 1 &&
            is_whole(lines_[header + 1].cell(0), 1) && counts_rows(header + 1, 0)) {
            field = 1; // row numbers, and no corner above them
        }
        FoundBlock block{.first = header, .last = header};
        std::size_t j = header + 1;
        std::size_t rows = 0;
        for (; j < lines_.size() && rows < rows_ && is_numeric(j, field); ++j) {
            const auto number = field > 0 ? lines_[j].cell(field - 1) : std::string_view{};
            if (is_plate_number(number) && !is_whole(number, rows + 1)) {
                miss(header, j, fmt::format("{} where row number {} should be", in_quotes(number), rows + 1));
                return std::nullopt;
            }
            add_row(block, ++rows, j, field);
        }
        const bool goes_on = j < lines_.size() && !lines_[j].after_blank && is_numeric(j, field);
        if (rows != rows_ || goes_on) {
            if (rows > 0) {
                miss(header, j - 1, fmt::format("{} rows without letters", goes_on ? rows + 1 : rows));
            }
            return std::nullopt;
        }
        return block;
    }
    [[nodiscard]] bool counts_rows(std::size_t begin, std::size_t field) const {
        for (std::size_t r = 0; r < rows_; ++r) {
            if (begin + r >= lines_.size() || !is_whole(lines_[begin + r].cell(field), r + 1)) {
                return false;
            }
        }
        return true;
    }
    /// Whether there are numbers where the plate's columns should be, at least as many as other cells.
    [[nodiscard]] bool is_numeric(std::size_t line, std::size_t field) const {
        std::size_t numbers = 0;
        std::size_t filled = 0;
        for (std::size_t c = 0; c < columns_; ++c) {
            const auto cell = lines_[line].cell(field + c);
            filled += cell.empty() ? 0 : 1;
            numbers += is_plate_number(cell) ? 1 : 0;
        }
        return numbers > 0 && 2 * numbers >= filled && !has_column_numbers(line);
    }

    /// More numbers than other cells: "Temperature,25" above a grid is no row of it.
    [[nodiscard]] bool is_mostly_numbers(std::size_t line) const {
        const auto& cells = lines_[line].cells;
        const auto numbers = std::ranges::count_if(cells, is_plate_number);
        const auto empty = std::ranges::count_if(cells, [](auto cell) { return cell.empty(); });
        return 2 * numbers > static_cast<std::ptrdiff_t>(cells.size()) - empty;
    }

    /// Grids whose rows have letters and whose columns have no numbers.
    bool lettered_grid() {
        if (at_ + 1 >= lines_.size() && rows_ > 1) {
            return false;
        }
        for (std::size_t p = 0; p < std::min(most_label_fields, lines_[at_].cells.size()); ++p) {
            const auto row = row_label(lines_[at_].cells[p]);
            const bool goes_on =
                row && at_ + 1 < lines_.size() && row_label(lines_[at_ + 1].cell(p)) == *row + 1;
            const bool same_before =
                row && at_ > 0 && !is_taken(at_ - 1) && row_label(lines_[at_ - 1].cell(p)) == row;
            if (!row || !goes_on || same_before) {
                continue;
            }
            auto block = lettered_rows(at_, p, p + 1, {});
            if (!block) {
                continue;
            }
            const std::size_t last = block->last;
            std::size_t widest = 0;
            for (std::size_t i = at_; i <= last; ++i) {
                widest = std::max(widest, lines_[i].cells.size());
            }
            if (widest < p + 1 + columns_) {
                if (widest > p + 2) {
                    miss(at_, last, fmt::format("lettered rows of {} cells", widest - p - 1));
                }
                continue;
            }
            block->kind = "grid with row letters";
            if (!finish(*block, p + 1, most_fields, {})) {
                continue;
            }
            keep(std::move(*block));
            take_until(last + 1);
            return true;
        }
        return false;
    }

    /// Looks at the cells to the right of the grid, and at rows that blanks as delimiter leave unclear. False
    /// where the cells beside say that the rows are not what they seem.
    bool finish(FoundBlock& block, std::size_t field, std::size_t limit, std::optional<std::size_t> header) {
        std::vector<std::size_t> rows;
        for (const auto& cell : block.cells) {
            if (rows.empty() || rows.back() != cell.line) {
                rows.push_back(cell.line);
            }
        }
        std::size_t widest = 0;
        for (const std::size_t row : rows) {
            widest = std::max(widest, std::min(lines_[row].cells.size(), limit));
        }
        std::size_t expected = field + columns_; // fields of a row, for blanks as delimiter
        for (std::size_t f = field + columns_; f < widest; ++f) {
            const auto first = lines_[rows.front()].cell(f);
            const bool is_constant =
                std::ranges::all_of(rows, [&](std::size_t row) { return lines_[row].cell(f) == first; });
            if (is_constant && first.empty()) {
                continue;
            }
            const auto name = header ? lines_[*header].cell(f) : std::string_view{};
            if (!is_constant && name.empty() && !spaces_) {
                miss(block.first, block.last,
                     fmt::format(
                         "cells beside column {}, such as {} in field {} of line {}, that nothing names",
                         columns_, in_quotes(some_cell(rows, f).second), f + 1, some_cell(rows, f).first));
                return false;
            }
            if (is_constant || !spaces_) {
                block.beside.push_back(name.empty() ? std::string(first) : std::string(name));
                expected = f + 1;
            }
            if (is_constant) {
                block.captions.emplace_back(first);
                block.name = block.name.empty() ? std::string(first) : block.name;
            }
        }
        if (spaces_) {
            take_out_unclear(block, rows, expected);
        }
        return !block.cells.empty();
    }
    [[nodiscard]] std::pair<std::uint64_t, std::string_view> some_cell(const std::vector<std::size_t>& rows,
                                                                       std::size_t field) const {
        for (const std::size_t row : rows) {
            if (!lines_[row].cell(field).empty()) {
                return {lines_[row].line, lines_[row].cell(field)};
            }
        }
        return {};
    }
    /// Where blanks part the cells, an empty one leaves no trace: a row of another length cannot be read.
    void take_out_unclear(FoundBlock& block, const std::vector<std::size_t>& rows,
                          std::size_t expected) const {
        for (const std::size_t row : rows) {
            const std::size_t have = lines_[row].cells.size();
            if (have == expected) {
                continue;
            }
            std::erase_if(block.cells, [&](const GridCell& cell) { return cell.line == row; });
            block.odd.push_back(
                {.line = row,
                 .found = fmt::format("{} fields", have),
                 .expected = fmt::format("{}; with blanks between them it cannot be told which is lacking",
                                         expected)});
        }
    }

    /// Where column 1 may stand in a row of nothing but cells: in field 0, or behind a delimiter in field 1.
    struct BareFields {
        bool first = false;
        bool second = false;

        [[nodiscard]] BareFields and_also(BareFields other) const {
            return {.first = first && other.first, .second = second && other.second};
        }
        [[nodiscard]] bool any() const { return first || second; }
        [[nodiscard]] std::size_t field() const { return first ? 0 : 1; }
    };
    [[nodiscard]] BareFields bare_fields(std::size_t line) const {
        const auto& cells = lines_[line].cells;
        const auto is_empty_from = [&](std::size_t field) {
            for (std::size_t f = field; f < cells.size(); ++f) {
                if (!cells[f].empty()) {
                    return false;
                }
            }
            return true;
        };
        return {.first = cells.size() >= columns_ && is_empty_from(columns_),
                .second = cells.size() > columns_ && cells[0].empty() && is_empty_from(columns_ + 1)};
    }

    /// Rows of nothing but numbers: as many as the plate has, or several times as many.
    bool bare_grids() {
        auto fields = bare_fields(at_);
        if (!fields.any() || !is_numeric(at_, fields.field()) || !is_mostly_numbers(at_)) {
            return false;
        }
        if (at_ > 0 && !is_taken(at_ - 1) &&
            std::ranges::count_if(lines_[at_ - 1].cells, [](auto cell) { return is_well(cell); }) > 1) {
            return false; // lines of values below the names of many wells
        }
        std::size_t end = at_ + 1;
        while (end < lines_.size() && !(lines_[end].after_blank && (end - at_) % rows_ == 0) &&
               lines_[end].line != settings_.first_line) {
            const auto both = fields.and_also(bare_fields(end));
            if (!both.any() || !is_numeric(end, both.field())) {
                break;
            }
            fields = both;
            ++end;
        }
        if ((end - at_) % rows_ != 0) {
            miss(at_, end - 1, fmt::format("{} rows of {} numbers", end - at_, columns_));
        } else if (fields.first && fields.second) {
            miss(at_, end - 1,
                 "empty fields at both ends of every row: which of them is a column is not said");
        } else {
            for (std::size_t begin = at_; begin < end; begin += rows_) {
                keep(bare_block(begin, fields.field()));
                free_from_ = begin + rows_;
            }
        }
        take_until(end);
        return true;
    }
    [[nodiscard]] FoundBlock bare_block(std::size_t begin, std::size_t field) const {
        FoundBlock block{.kind = "grid without row letters and column numbers", .first = begin};
        for (std::size_t r = 0; r < rows_; ++r) {
            add_row(block, r + 1, begin + r, field);
        }
        return block;
    }
    /// The grid whose row A stands where the settings say.
    bool set_grid() {
        if (lines_[at_].line != settings_.first_line) {
            return false;
        }
        BareFields fields{.first = true, .second = true};
        for (std::size_t i = at_; i < std::min(at_ + rows_, lines_.size()); ++i) {
            fields = fields.and_also(bare_fields(i));
        }
        if (at_ + rows_ > lines_.size() || fields.first == fields.second) {
            miss(at_, std::min(at_ + rows_, lines_.size()) - 1,
                 fmt::format("not {} rows of {} fields from the line on that is set as the first", rows_,
                             columns_));
            return false;
        }
        keep(bare_block(at_, fields.field()));
        take_until(at_ + rows_);
        return true;
    }

    // ---- lists

    bool list() {
        if (auto block = list_by_row_and_column(); block && keep_list(std::move(*block))) {
            return true;
        }
        auto block = list_by_wells();
        return block && keep_list(std::move(*block));
    }

    [[nodiscard]] bool is_on_plate(const PlateLine& line, const FoundBlock& block,
                                   std::size_t well_field) const {
        const auto named = well_of(line, block, well_field);
        return named && named->row <= rows_ && named->column <= columns_;
    }

    /// Headers that say row and column stand here, and the next line has both.
    [[nodiscard]] std::optional<FoundBlock> list_by_row_and_column() const {
        const auto& cells = lines_[at_].cells;
        const auto row = std::ranges::find_if(cells, [](auto cell) { return is_among(row_words, cell); });
        const auto column =
            std::ranges::find_if(cells, [](auto cell) { return is_among(column_words, cell); });
        if (row == cells.end() || column == cells.end() || at_ + 1 >= lines_.size()) {
            return std::nullopt;
        }
        FoundBlock block{.is_list = true,
                         .first = at_,
                         .last = at_,
                         .header = at_,
                         .row_field = static_cast<std::size_t>(row - cells.begin()),
                         .column_field = static_cast<std::size_t>(column - cells.begin())};
        // Beside a column of whole wells they only say the same.
        const bool has_wells =
            std::ranges::any_of(lines_[at_ + 1].cells, [](auto cell) { return is_well(cell); });
        if (has_wells || !is_on_plate(lines_[at_ + 1], block, 0)) {
            return std::nullopt;
        }
        extend(block, {0});
        return block;
    }

    /// Lines with a well in the same field: at least two, or one below a header that says so.
    [[nodiscard]] std::optional<FoundBlock> list_by_wells() const {
        const auto& line = lines_[at_];
        FoundBlock block{.is_list = true, .first = at_, .last = at_};
        const bool has_header = at_ > free_from_ && !line.after_blank && lines_[at_ - 1].cells.size() > 1;
        for (std::size_t f = 0; f < line.cells.size() && line.cells.size() > 1; ++f) {
            if (!is_well(line.cells[f])) {
                continue;
            }
            const auto above = has_header ? lines_[at_ - 1].cell(f) : std::string_view{};
            const bool next =
                at_ + 1 < lines_.size() && !lines_[at_ + 1].after_blank && is_well(lines_[at_ + 1].cell(f));
            if ((next || is_among(well_words, above)) && !is_well(above)) {
                block.well_fields.push_back(f);
            }
        }
        if (block.well_fields.empty()) {
            return std::nullopt;
        }
        if (has_header && !lines_[at_ - 1].cell(block.well_fields.front()).empty()) {
            block.header = at_ - 1;
            block.first = at_ - 1;
        }
        extend(block, block.well_fields);
        choose_wells(block);
        return block;
    }

    /// As far as wells are named, one line that names none between two that do included.
    void extend(FoundBlock& block, const std::vector<std::size_t>& well_fields) const {
        const std::size_t begin = block.header ? *block.header + 1 : at_;
        const auto names_a_well = [&](std::size_t i) {
            return i < lines_.size() && !(i > begin && lines_[i].after_blank) &&
                   std::ranges::any_of(
                       well_fields, [&](std::size_t f) { return well_of(lines_[i], block, f).has_value(); });
        };
        const auto is_header = [&](std::size_t i) {
            return block.header && lines_[i].text == lines_[*block.header].text;
        };
        std::size_t i = begin;
        while (names_a_well(i) ||
               (i < lines_.size() && !lines_[i].after_blank && !is_header(i) && names_a_well(i + 1))) {
            block.last = i++;
        }
    }

    /// Of several columns of wells the one that is set, or whose header alone says that it is.
    void choose_wells(FoundBlock& block) const {
        if (block.well_fields.size() < 2 || !block.header) {
            return;
        }
        std::vector<std::size_t> said;
        for (const std::size_t f : block.well_fields) {
            if (is_among(well_words, lines_[*block.header].cell(f))) {
                said.push_back(f);
            }
        }
        if (said.size() == 1 && settings_.well_column.says_nothing()) {
            block.well_fields = said;
        }
    }

    bool keep_list(FoundBlock block) {
        const std::size_t begin = block.header ? *block.header + 1 : block.first;
        std::size_t on_plate = 0;
        for (std::size_t i = begin; i <= block.last; ++i) {
            on_plate +=
                is_on_plate(lines_[i], block, block.well_fields.empty() ? 0 : block.well_fields.front()) ? 1
                                                                                                         : 0;
        }
        if (on_plate == 0) {
            return false;
        }
        find_values(block, begin);
        if (block.value_fields.empty()) {
            return false;
        }
        block.kind = fmt::format("list of {} lines with a well", block.last + 1 - begin);
        const std::size_t end = block.last + 1;
        keep(std::move(block));
        take_until(end);
        return true;
    }

    /// The columns of numbers, but for those that only repeat the well's row or column number.
    void find_values(FoundBlock& block, std::size_t begin) const {
        struct Tally {
            std::size_t numbers = 0;
            std::size_t filled = 0;
            std::size_t as_row = 0;
            std::size_t as_column = 0;
        };
        std::vector<Tally> tallies;
        for (std::size_t i = begin; i <= block.last; ++i) {
            const auto& line = lines_[i];
            tallies.resize(std::max(tallies.size(), line.cells.size()));
            const auto well = well_of(line, block, block.well_fields.empty() ? 0 : block.well_fields.front());
            for (std::size_t f = 0; f < line.cells.size(); ++f) {
                auto& tally = tallies[f];
                tally.filled += line.cells[f].empty() ? 0 : 1;
                tally.numbers += is_plate_number(line.cells[f]) ? 1 : 0;
                tally.as_row += well && is_whole(line.cells[f], well->row) ? 1 : 0;
                tally.as_column += well && is_whole(line.cells[f], well->column) ? 1 : 0;
            }
        }
        // What stands behind the last header belongs to no column; such lines are refused.
        const std::size_t wide = block.header ? lines_[*block.header].cells.size() : tallies.size();
        for (std::size_t f = 0; f < std::min(wide, tallies.size()); ++f) {
            const auto& tally = tallies[f];
            const bool is_place =
                block.well_fields.empty()
                    ? f == block.row_field || f == block.column_field
                    : std::ranges::find(block.well_fields, f) != block.well_fields.end() ||
                          (block.header && says_place(block, f) &&
                           (tally.as_row == tally.filled || tally.as_column == tally.filled));
            if (!is_place && 2 * tally.numbers > tally.filled) {
                block.value_fields.push_back(f);
                block.numbers += tally.numbers;
            }
        }
    }
    [[nodiscard]] bool says_place(const FoundBlock& block, std::size_t field) const {
        const auto header = lines_[*block.header].cell(field);
        return is_among(row_words, header) || is_among(column_words, header);
    }

    const std::vector<PlateLine>& lines_;
    bool spaces_;
    const PlateFileSettings& settings_;
    std::size_t rows_;
    std::size_t columns_;
    std::size_t at_ = 0;
    std::size_t free_from_ = 0; ///< lines before it belong to a block
    FoundBlocks found_;
};

} // namespace

PlateLines split_lines(const Sample& sample, Delimiter delimiter) {
    PlateLines out;
    Fields fields;
    bool after_blank = true;
    for (const auto& record : sample.head) {
        fields.split(record.text, delimiter, sample.has_quotes ? Quoting::fields : Quoting::none);
        if (std::ranges::all_of(fields, [](auto cell) { return cell.empty(); })) {
            after_blank = true;
            continue;
        }
        PlateLine line{.line = record.line, .text = record.text, .after_blank = after_blank};
        after_blank = false;
        const auto* const end = record.text.data() + record.text.size();
        if (fields.size() <= most_fields) {
            for (const auto cell : fields) {
                const bool is_inside =
                    !std::less<>()(cell.data(), record.text.data()) && !std::less<>()(end, cell.data());
                line.cells.push_back(
                    is_inside ? cell : std::string_view(out.unescaped.emplace_back(std::string(cell))));
            }
        }
        out.lines.push_back(std::move(line));
    }
    return out;
}

std::string header_of(const PlateLines& lines, const FoundBlock& block, std::size_t field) {
    const auto header = block.header ? lines.lines[*block.header].cell(field) : std::string_view{};
    return header.empty() ? fmt::format("column {}", field + 1) : std::string(header);
}

std::optional<NamedWell> well_of(const PlateLine& line, const FoundBlock& block, std::size_t well_field) {
    if (!block.well_fields.empty() || !block.header || block.row_field == block.column_field) {
        const auto place = condition::well_place(line.cell(well_field));
        return place ? std::optional(NamedWell{place->row, place->column}) : std::nullopt;
    }
    const auto row_cell = line.cell(block.row_field);
    const auto number = parse_whole(row_cell);
    const auto row = number && *number > 0 && *number <= 1000
                         ? std::optional(static_cast<std::size_t>(*number))
                         : row_label(row_cell);
    const auto column = parse_whole(line.cell(block.column_field));
    if (!row || !column || *column < 1 || *column > 1000) {
        return std::nullopt;
    }
    return NamedWell{.row = *row, .column = static_cast<std::size_t>(*column)};
}

FoundBlocks find_blocks(const PlateLines& lines, Delimiter delimiter, const PlateFileSettings& settings) {
    return Finder(lines, delimiter, settings).run();
}

} // namespace backeddy::intake
