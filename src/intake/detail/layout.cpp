#include "intake/detail/layout.hpp"

#include <algorithm>
#include <array>
#include <cctype>

#include <fmt/format.h>

#include "base/lower_case.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/header_words.hpp"
#include "intake/detail/moment.hpp"
#include "intake/detail/number.hpp"
#include "intake/detail/words.hpp"

namespace backeddy::intake {

CellForm form_of(std::string_view cell) {
    if (cell.empty()) {
        return CellForm::empty;
    }
    if (decimal_number(cell, '.') || decimal_number(cell, ',')) {
        return CellForm::number;
    }
    if (is_missing_word(cell, {})) {
        return CellForm::missing;
    }
    if (written_clock(cell) || elapsed_clock(cell)) {
        return CellForm::clock;
    }
    if (const auto parts = parted(cell)) {
        const bool date = written_date(parts->date).has_value();
        if (date && parts->clock.empty()) {
            return CellForm::date;
        }
        if (date && written_clock(parts->clock)) {
            return CellForm::calendar;
        }
    }
    const std::string folded = lower_case(cell);
    if (folded == "am" || folded == "pm" || folded == "a.m." || folded == "p.m.") {
        return CellForm::half_day;
    }
    return CellForm::word;
}

namespace {

constexpr std::size_t most_scored = 60;
constexpr std::array<Delimiter, 4> candidates{Delimiter::tab, Delimiter::semicolon, Delimiter::comma,
                                              Delimiter::spaces};

bool is_blank(std::string_view text) {
    return trimmed(text).empty();
}

// Field counts without empty fields at the end of the line.
std::size_t count_of(const Fields& fields) {
    std::size_t count = fields.size();
    while (count > 0 && fields[count - 1].empty()) {
        --count;
    }
    return count;
}

double cleanness(std::string_view cell) {
    switch (form_of(cell)) {
    case CellForm::number:
    case CellForm::calendar:
    case CellForm::date:
    case CellForm::clock:
        return 1.0;
    case CellForm::missing:
    case CellForm::half_day:
        return 0.8;
    case CellForm::empty:
        return 0.5;
    case CellForm::word:
        break;
    }
    return cell.size() <= 24 && cell.find_first_of(",;\t\"") == std::string_view::npos ? 0.5 : 0.0;
}

// The lines by which delimiter and columns are judged: the last ones of the file, which are rows if any are.
std::vector<std::string_view> rows_to_judge(const Sample& sample) {
    std::vector<std::string_view> rows;
    const auto& lines = sample.tail.empty() ? sample.head : sample.tail;
    const std::size_t n = lines.size();
    // The first lines may be preamble; of a short file two thirds are looked at.
    const std::size_t from = std::max(n > most_scored ? n - most_scored : 0, sample.tail.empty() ? n / 3 : 0);
    for (std::size_t i = from; i < n; ++i) {
        const auto& line = lines[i];
        if (!is_blank(line.text) && line.text.find('\0') == std::string_view::npos &&
            (line.has_line_end || i == from)) {
            rows.push_back(line.text);
        }
    }
    return rows;
}

struct Score {
    double value = 0.0;
    std::size_t fields = 0;
};

Score score_of(const std::vector<std::string_view>& rows, Delimiter delimiter, Quoting quoting) {
    std::vector<std::size_t> counts;
    std::vector<double> clean;
    Fields fields;
    for (const auto row : rows) {
        fields.split(row, delimiter, quoting);
        double sum = 0.0;
        for (const auto field : fields) {
            sum += cleanness(field);
        }
        counts.push_back(fields.size());
        clean.push_back(fields.size() == 0 ? 0.0 : sum / static_cast<double>(fields.size()));
    }
    std::vector<std::size_t> tally(*std::max_element(counts.begin(), counts.end()) + 1, 0);
    for (const auto count : counts) {
        ++tally[count];
    }
    const auto modal = static_cast<std::size_t>(std::max_element(tally.begin(), tally.end()) - tally.begin());
    if (modal < 2) {
        return {};
    }
    double sum = 0.0;
    for (std::size_t i = 0; i < counts.size(); ++i) {
        sum += counts[i] == modal ? clean[i] : 0.0;
    }
    return {.value = sum / static_cast<double>(counts.size()), .fields = modal};
}

Expected<void> find_delimiter(const Sample& sample, const std::vector<std::string_view>& rows,
                              const ReadSettings& settings, const std::string& file, Layout& layout) {
    layout.quoting = {.value = sample.has_quotes ? Quoting::fields : Quoting::none,
                      .evidence = sample.has_quotes ? "double quotes in the sample"
                                                    : "no double quotes in the sample"};
    if (settings.delimiter) {
        layout.delimiter = {.value = *settings.delimiter, .origin = Origin::set, .evidence = "set"};
        layout.usual_fields = score_of(rows, *settings.delimiter, layout.quoting.value).fields;
    } else {
        Score best;
        for (const auto candidate : candidates) {
            const Score score = score_of(rows, candidate, layout.quoting.value);
            // A later candidate must be clearly better: spaces part "date time" in every tabbed file.
            if (score.value > best.value + 0.02) {
                best = score;
                layout.delimiter.value = candidate;
            }
        }
        layout.usual_fields = best.fields;
        layout.delimiter.evidence =
            fmt::format("it parts {:.0f} % of the sample's cells into numbers, times and words, {} a row",
                        100.0 * best.value, best.fields);
    }
    if (layout.usual_fields < 2) {
        return fail({.code = ErrorCode::missing_column,
                     .found = "no delimiter parts these lines into a time and readings",
                     .expected = "fields parted by comma, semicolon, tab or spaces",
                     .remedy = "set delimiter, or take this file out if it is not a trace",
                     .place = {.file = file}});
    }
    return {};
}

void find_decimal(const std::vector<std::string_view>& rows, const ReadSettings& settings, Layout& layout) {
    std::size_t points = 0;
    std::size_t commas = 0;
    std::string point_example;
    std::string comma_example;
    Fields fields;
    for (const auto row : rows) {
        fields.split(row, layout.delimiter.value, layout.quoting.value);
        for (const auto cell : fields) {
            if (cell.find('.') != std::string_view::npos && decimal_number(cell, '.')) {
                ++points;
                point_example = point_example.empty() ? std::string(cell) : point_example;
            } else if (cell.find(',') != std::string_view::npos && decimal_number(cell, ',')) {
                ++commas;
                comma_example = comma_example.empty() ? std::string(cell) : comma_example;
            }
        }
    }
    layout.has_decimals = points + commas > 0;
    if (settings.decimal) {
        layout.decimal = {.value = *settings.decimal, .origin = Origin::set, .evidence = "set"};
    } else if (commas > points) {
        layout.decimal = {
            .value = DecimalMark::comma,
            .evidence = fmt::format("{} cells like \"{}\", {} with a point", commas, comma_example, points)};
    } else {
        layout.decimal = {.value = DecimalMark::point,
                          .evidence = points == 0 ? std::string("no decimals in the sample")
                                                  : fmt::format("{} cells like \"{}\", {} with a comma",
                                                                points, point_example, commas)};
    }
}

// For each column whether most rows have a number or a time there.
std::vector<bool> numeric_columns(const std::vector<std::string_view>& rows, const Layout& layout) {
    std::vector<std::size_t> numeric(layout.usual_fields, 0);
    std::vector<std::size_t> filled(layout.usual_fields, 0);
    Fields fields;
    for (const auto row : rows) {
        fields.split(row, layout.delimiter.value, layout.quoting.value);
        for (std::size_t i = 0; i < std::min(fields.size(), layout.usual_fields); ++i) {
            const auto form = form_of(fields[i]);
            filled[i] += form != CellForm::empty && form != CellForm::missing ? 1 : 0;
            numeric[i] += form == CellForm::number || form == CellForm::calendar || form == CellForm::date ||
                                  form == CellForm::clock
                              ? 1
                              : 0;
        }
    }
    std::vector<bool> out(layout.usual_fields);
    for (std::size_t i = 0; i < out.size(); ++i) {
        out[i] = numeric[i] * 2 > filled[i];
    }
    return out;
}

struct LineLook {
    std::size_t fields = 0;
    std::size_t numbers = 0; ///< numbers and times in columns that have them
    std::size_t words = 0;   ///< words in columns that have numbers
    bool has_letter = false;
};

LineLook look_at(const Fields& fields, const std::vector<bool>& numeric) {
    LineLook look{.fields = count_of(fields)};
    for (std::size_t i = 0; i < fields.size(); ++i) {
        look.has_letter = look.has_letter || std::any_of(fields[i].begin(), fields[i].end(), [](char c) {
                              return std::isalpha(static_cast<unsigned char>(c)) != 0;
                          });
        if (i >= numeric.size() || !numeric[i]) {
            continue;
        }
        const auto form = form_of(fields[i]);
        look.words += form == CellForm::word || form == CellForm::half_day ? 1 : 0;
        look.numbers += form == CellForm::number || form == CellForm::calendar || form == CellForm::date ||
                                form == CellForm::clock
                            ? 1
                            : 0;
    }
    return look;
}

class HeaderFinder {
  public:
    HeaderFinder(const Sample& sample, const ReadSettings& settings, const std::vector<bool>& numeric,
                 Layout& layout)
        : sample_(sample), settings_(settings), numeric_(numeric), layout_(layout) {}

    bool find() {
        std::optional<std::size_t> first = first_row_like();
        if (settings_.first_data_line) {
            first = at_line(*settings_.first_data_line);
        }
        if (!first) {
            return false;
        }
        std::optional<std::size_t> header;
        std::optional<std::size_t> units;
        if (settings_.header_line) {
            header = *settings_.header_line == 0 ? std::nullopt : at_line(*settings_.header_line);
        } else {
            header = nearest_header(*first);
        }
        if (settings_.units_line) {
            units = *settings_.units_line == 0 ? std::nullopt : at_line(*settings_.units_line);
        } else if (header && !settings_.header_line) {
            const auto above = *header == 0 ? std::nullopt : nearest_header(*header);
            if (is_units(*header) && above) {
                units = header;
                header = above;
            }
        } else if (header) {
            const auto next = next_filled(*header);
            if (next && is_units(*next)) {
                units = next;
            }
        }
        std::size_t begin = *first;
        if (!settings_.first_data_line && (header || units)) {
            begin = std::max(header.value_or(0), units.value_or(0)) +
                    1; // what lies between is a row, if a bad one
        }
        layout_.first_data = begin;
        layout_.first_data_line = {.value = line_of(begin),
                                   .origin = settings_.first_data_line ? Origin::set : Origin::guessed,
                                   .evidence = header ? "the line after the header"
                                                      : "the first line of numbers and times"};
        write_header(header, units, begin);
        return true;
    }

  private:
    [[nodiscard]] std::uint64_t line_of(std::size_t i) const {
        return i < sample_.head.size() ? sample_.head[i].line : sample_.head.back().line + 1;
    }
    [[nodiscard]] std::optional<std::size_t> at_line(std::uint64_t line) const {
        for (std::size_t i = 0; i < sample_.head.size(); ++i) {
            if (sample_.head[i].line == line) {
                return i;
            }
        }
        return std::nullopt;
    }
    [[nodiscard]] std::optional<std::size_t> next_filled(std::size_t i) const {
        while (++i < sample_.head.size()) {
            if (!is_blank(sample_.head[i].text)) {
                return i;
            }
        }
        return std::nullopt;
    }
    [[nodiscard]] Fields split(std::size_t i) const {
        Fields fields;
        fields.split(header_text(sample_.head[i].text), layout_.delimiter.value,
                     sample_.has_quotes ? Quoting::fields : Quoting::none);
        return fields;
    }
    static std::string_view header_text(std::string_view text) {
        text = trimmed(text);
        while (!text.empty() && text.front() == '#') {
            text = trimmed(text.substr(1));
        }
        return text;
    }
    [[nodiscard]] bool is_row_like(std::size_t i) const {
        if (is_blank(sample_.head[i].text) || sample_.head[i].text.find('\0') != std::string_view::npos) {
            return false;
        }
        Fields fields;
        fields.split(sample_.head[i].text, layout_.delimiter.value, layout_.quoting.value);
        const auto look = look_at(fields, numeric_);
        return look.fields >= 2 && fields.size() <= layout_.usual_fields + 1 && look.numbers >= 1 &&
               look.words == 0 && 2 * look.fields > layout_.usual_fields;
    }
    // The first line that looks like a row and is followed by another.
    [[nodiscard]] std::optional<std::size_t> first_row_like() const {
        std::optional<std::size_t> any;
        for (std::size_t i = 0; i < sample_.head.size(); ++i) {
            if (!is_row_like(i)) {
                continue;
            }
            any = any ? any : i;
            auto next = next_filled(i);
            for (int k = 0; k < 3 && next; ++k, next = next_filled(*next)) {
                if (is_row_like(*next)) {
                    return i;
                }
            }
        }
        return any;
    }
    // A line of names: about as many fields as a row has, words rather than numbers.
    [[nodiscard]] bool is_header_like(std::size_t i) const {
        const auto text = sample_.head[i].text;
        if (is_blank(text) || text.find('\0') != std::string_view::npos) {
            return false;
        }
        const Fields fields = split(i);
        const auto look = look_at(fields, numeric_);
        const bool spaces = layout_.delimiter.value == Delimiter::spaces;
        if (!look.has_letter || look.fields < 2 || (!spaces && 2 * look.fields + 1 < layout_.usual_fields) ||
            is_row_like(i)) {
            return false;
        }
        const bool names_a_time = std::any_of(fields.begin(), fields.end(), [](std::string_view cell) {
            return form_of(cell) == CellForm::word && names_time(header_words(cell, {}));
        });
        return look.numbers == 0 || names_a_time;
    }
    [[nodiscard]] std::optional<std::size_t> nearest_header(std::size_t before) const {
        int filled = 0;
        for (std::size_t i = before; i-- > 0 && filled < 3;) {
            if (is_blank(sample_.head[i].text)) {
                continue;
            }
            if (is_header_like(i)) {
                return i;
            }
            ++filled;
        }
        return std::nullopt;
    }
    // Whether most cells of the line are units, or words that stand in for one where a column has none.
    [[nodiscard]] bool is_units(std::size_t i) const {
        const Fields fields = split(i);
        std::size_t units = 0;
        std::size_t others = 0;
        for (auto cell : fields) {
            if (cell.size() > 2 && (cell.front() == '[' || cell.front() == '(')) {
                cell = trimmed(cell.substr(1, cell.size() - 2));
            }
            const std::string folded = lower_case(cell);
            if (cell.empty() || folded == "-" || folded == "s" || folded == "min" || folded == "h" ||
                folded == "utc" || folded == "v" || folded == "mv") {
                continue;
            }
            const bool date_pattern = folded.find("yyyy") != std::string::npos ||
                                      folded.find("hh:mm") != std::string::npos ||
                                      folded.find("dd") != std::string::npos;
            (unit_from(cell) ? units : others) += date_pattern ? 0 : 1;
        }
        return units > others;
    }
    [[nodiscard]] std::vector<std::string> cells_of(std::size_t i) const {
        const Fields fields = split(i);
        std::vector<std::string> cells(fields.begin(), fields.end());
        if (layout_.delimiter.value == Delimiter::spaces && cells.size() != layout_.usual_fields) {
            // Names with single blanks inside, parted by wider ones.
            std::vector<std::string> wide;
            auto rest = header_text(sample_.head[i].text);
            while (!rest.empty()) {
                const auto end = std::min({rest.find("  "), rest.find('\t'), rest.size()});
                wide.emplace_back(trimmed(rest.substr(0, end)));
                rest = trimmed(rest.substr(end));
            }
            if (wide.size() == layout_.usual_fields || wide.size() + 1 == layout_.usual_fields) {
                cells = std::move(wide);
            }
        }
        while (cells.size() > layout_.usual_fields && cells.back().empty()) {
            cells.pop_back();
        }
        return cells;
    }
    void write_header(std::optional<std::size_t> header, std::optional<std::size_t> units,
                      std::size_t first) {
        layout_.fields = layout_.usual_fields;
        layout_.header_line.origin = settings_.header_line ? Origin::set : Origin::guessed;
        layout_.units_line.origin = settings_.units_line ? Origin::set : Origin::guessed;
        if (header) {
            layout_.header = cells_of(*header);
            layout_.header_line.value = line_of(*header);
            layout_.header_line.evidence = "words above the numbers";
            layout_.header_text = trimmed(sample_.head[*header].text);
            layout_.fields = std::max(layout_.fields, layout_.header.size());
            join_upper_names(*header, units);
        } else {
            layout_.header_line.evidence = "the file begins with numbers and times";
        }
        if (units) {
            layout_.units = cells_of(*units);
            layout_.units_line.value = line_of(*units);
            layout_.units_line.evidence = "a line of units below the names";
            layout_.units_text = trimmed(sample_.head[*units].text);
        } else {
            layout_.units_line.evidence = "no line of units";
        }
        for (std::size_t i = 0; i < first && layout_.preamble.size() < 100; ++i) {
            if ((!header || i != *header) && (!units || i != *units) && !is_blank(sample_.head[i].text)) {
                layout_.preamble.emplace_back(sample_.head[i].text);
            }
        }
    }
    // Two lines of names ("Chamber 1" over "O2" and "Temp") are read as one, where the upper one has as many
    // fields.
    void join_upper_names(std::size_t header, std::optional<std::size_t> units) {
        if (header == 0 || units || layout_.delimiter.value == Delimiter::spaces) {
            return;
        }
        const std::size_t above = header - 1;
        Fields fields;
        fields.split(sample_.head[above].text, layout_.delimiter.value, layout_.quoting.value);
        const auto named =
            std::count_if(fields.begin(), fields.end(), [](auto cell) { return !cell.empty(); });
        // The time stands below no group: preamble that a spreadsheet padded with delimiters begins in its
        // column.
        if (fields.size() < layout_.header.size() || named < 2 || !fields[0].empty() ||
            look_at(fields, numeric_).numbers > 0) {
            return;
        }
        std::string group;
        for (std::size_t i = 0; i < layout_.header.size(); ++i) {
            group = fields[i].empty() ? group : std::string(fields[i]);
            if (!group.empty() && !layout_.header[i].empty()) {
                layout_.header[i] = group + " " + layout_.header[i];
            }
        }
        layout_.header_line.evidence = "two lines of names above the numbers";
    }

    const Sample& sample_;
    const ReadSettings& settings_;
    const std::vector<bool>& numeric_;
    Layout& layout_;
};

} // namespace

Expected<Layout> find_layout(const Sample& sample, const ReadSettings& settings, const std::string& file) {
    Layout layout;
    const auto rows = rows_to_judge(sample);
    if (rows.empty()) {
        return fail({.code = ErrorCode::missing_column,
                     .found = "there are no whole lines of text in this file",
                     .expected = "a header and rows",
                     .remedy = "copy the file from the logger again, or set encoding",
                     .place = {.file = file}});
    }
    if (auto found = find_delimiter(sample, rows, settings, file, layout); !found) {
        return fail(std::move(found).error());
    }
    find_decimal(rows, settings, layout);
    const auto numeric = numeric_columns(rows, layout);
    HeaderFinder finder(sample, settings, numeric, layout);
    if (!finder.find()) {
        return fail({.code = ErrorCode::missing_column,
                     .found = "no row of numbers and times was found",
                     .expected = fmt::format("rows parted by {} {}", word_of(layout.delimiter.value),
                                             layout.delimiter.origin == Origin::set ? "(set)" : "(guessed)"),
                     .remedy = "set delimiter, header_line or first_data_line",
                     .place = {.file = file}});
    }
    if (layout.delimiter.value == Delimiter::comma && layout.header.size() >= 2 &&
        layout.usual_fields > layout.header.size() && !layout.has_decimals) {
        return fail({.code = ErrorCode::bad_row,
                     .found = fmt::format("the header names {} columns and the rows have {} fields",
                                          layout.header.size(), layout.usual_fields),
                     .expected = "fields and decimals marked apart; a comma seems to do both here",
                     .remedy = "export the file again with semicolons or decimal points",
                     .place = {.file = file, .line = layout.header_line.value}});
    }
    layout.rows_judged = rows.size();
    layout.field_counts.resize(layout.fields + 2, 0);
    Fields fields;
    for (const auto row : rows) {
        fields.split(row, layout.delimiter.value, layout.quoting.value);
        ++layout.field_counts[std::min(fields.size(), layout.field_counts.size() - 1)];
    }
    return layout;
}

} // namespace backeddy::intake
