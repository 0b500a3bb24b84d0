#include "intake/plate_file.hpp"

#include <algorithm>
#include <ctime>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "condition/plate_well.hpp"
#include "intake/detail/plate_number.hpp"
#include "written_file.hpp"

namespace backeddy::intake {
namespace {

using condition::well_name;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const PlateFileSettings six_by_four{.rows = 6, .columns = 4};

/// What a plate's cells should read as; by well.
using Values = std::map<std::pair<std::size_t, std::size_t>, std::string>;

/// All wells of a plate, each different and with three decimals from 0.041 on, unless `of` says otherwise.
Values values_of(std::size_t rows, std::size_t columns, const std::function<std::string(std::size_t)>& of) {
    Values out;
    for (std::size_t r = 1; r <= rows; ++r) {
        for (std::size_t c = 1; c <= columns; ++c) {
            out[{r, c}] = of(((r - 1) * columns) + c);
        }
    }
    return out;
}
std::string three_decimals(std::size_t i) {
    return fmt::format("{:.3f}", 0.04 + (0.011 * static_cast<double>(i)));
}

std::string joined(const std::vector<std::string>& cells, const std::string& mark) {
    return fmt::format("{}", fmt::join(cells, mark));
}

/// A grid as text: letters and numbers beside it or not.
std::string grid(const Values& values, bool letters, bool numbers, const std::string& mark) {
    std::string out;
    const auto [rows, columns] = values.rbegin()->first;
    if (numbers) {
        std::vector<std::string> cells(letters ? 1 : 0);
        for (std::size_t c = 1; c <= columns; ++c) {
            cells.push_back(std::to_string(c));
        }
        out += joined(cells, mark) + "\n";
    }
    for (std::size_t r = 1; r <= rows; ++r) {
        std::vector<std::string> cells;
        if (letters) {
            cells.emplace_back(1, static_cast<char>('A' + r - 1));
        }
        for (std::size_t c = 1; c <= columns; ++c) {
            cells.push_back(values.at({r, c}));
        }
        out += joined(cells, mark) + "\n";
    }
    return out;
}

PlateReading read(const std::string& text, const PlateFileSettings& settings = {}) {
    auto reading = read_plate(text, "plate.csv", settings);
    if (!reading) {
        ADD_FAILURE() << reading.error().text() << "\n" << text.substr(0, 2000);
        return {};
    }
    return *std::move(reading);
}

std::string refusal(const std::string& text, const PlateFileSettings& settings = {}) {
    const auto reading = read_plate(text, "plate.csv", settings);
    if (reading) {
        ADD_FAILURE() << "was read, from " << reading->block.kind << "\n" << text.substr(0, 2000);
        return "";
    }
    EXPECT_EQ(reading.error().place.file, "plate.csv");
    return reading.error().text();
}

std::string response_at(const PlateReading& reading, const std::string& well) {
    for (const auto& cell : reading.wells) {
        if (well_name(cell.row, cell.column) == well) {
            return cell.response ? fmt::format("{}", *cell.response) : cell.text;
        }
    }
    return "not there";
}

/// Each well once among those read, refused and missing.
void expect_accounted(const PlateReading& reading) {
    std::multiset<std::string> wells(reading.missing.begin(), reading.missing.end());
    for (const auto& cell : reading.wells) {
        EXPECT_NE(cell.response.has_value(), !cell.text.empty());
        wells.insert(well_name(cell.row, cell.column));
    }
    std::set<std::string> refused;
    for (const auto& cell : reading.refused) {
        if (!cell.well.empty()) {
            refused.insert(cell.well);
        }
        EXPECT_THAT(reading.complaints, Contains(testing::Truly([&](const study::Complaint& complaint) {
                        return complaint.error.place.line == cell.line ||
                               complaint.error.found.find(fmt::format("{}", cell.line)) != std::string::npos;
                    })));
    }
    wells.insert(refused.begin(), refused.end());
    EXPECT_EQ(wells.size(), reading.rows * reading.columns);
    EXPECT_EQ(std::set<std::string>(wells.begin(), wells.end()).size(), wells.size());
}

/// The same values in the same wells, whatever the file looked like.
void expect_reads_as(const PlateReading& reading, const Values& values, const std::string& what) {
    ASSERT_EQ(reading.wells.size(), values.size()) << what;
    for (const auto& cell : reading.wells) {
        const auto& text = values.at({cell.row, cell.column});
        const auto number = plate_number(text, DecimalMark::point);
        EXPECT_EQ(cell.response, number) << what << "\n" << well_name(cell.row, cell.column);
        EXPECT_EQ(cell.text, number ? "" : text) << what;
    }
    expect_accounted(reading);
}

std::vector<std::string> texts(const PlateReading& reading) {
    std::vector<std::string> out;
    for (const auto& complaint : reading.complaints) {
        out.push_back(complaint.error.text());
    }
    return out;
}

TEST(PlateFile, a_grid_below_lines_of_other_things_is_read_with_lines_and_fields) {
    const auto values = values_of(8, 12, three_decimals);
    const auto reading = read("Assay of the ninth of June\nOperator;none\n\n450 nm\n" +
                              grid(values, true, true, ";") + "\nEnd of file\n");
    expect_reads_as(reading, values, "semicolons");
    EXPECT_THAT(texts(reading), IsEmpty());
    EXPECT_EQ(reading.wells[0].line, 6U);
    EXPECT_EQ(reading.wells[0].field, 2U);
    EXPECT_EQ(reading.wells[95].line, 13U);
    EXPECT_EQ(reading.wells[95].field, 13U);
    EXPECT_EQ(reading.delimiter, Delimiter::semicolon);
    EXPECT_EQ(reading.block.name, "450 nm");
    EXPECT_EQ(reading.block.first_line, 5U);
    EXPECT_THAT(reading.understood, Contains(HasSubstr("semicolon")));
    EXPECT_THAT(reading.understood, Contains(HasSubstr("grid with row letters and column numbers")));
}

// ---- the same values in any dress

struct Dress {
    std::string mark;
    bool decimal_comma = false;
    bool quotes = false;
    std::string line_end = "\n";
    Encoding encoding = Encoding::utf8;
    bool byte_order_mark = false;
    int shape = 0; ///< 0-3: grids with letters and numbers, letters, numbers, neither; 4-6: lists
    bool preamble = false;
    bool padding = false; ///< delimiters at the end of all lines, as spreadsheets do
};

std::string encoded(const std::string& text, const Dress& dress) {
    if (dress.encoding == Encoding::latin1) {
        std::string out;
        for (std::size_t i = 0; i < text.size(); ++i) {
            const auto byte = static_cast<unsigned char>(text[i]);
            if (byte >= 0xc2 && byte <= 0xc3) { // the only ones that these texts have
                out +=
                    static_cast<char>(((byte & 3U) << 6U) | (static_cast<unsigned char>(text[++i]) & 0x3fU));
            } else {
                out += text[i];
            }
        }
        return out;
    }
    if (dress.encoding == Encoding::utf8) {
        return (dress.byte_order_mark ? "\xEF\xBB\xBF" : "") + text;
    }
    const bool little = dress.encoding == Encoding::utf16_le;
    std::string out = little ? "\xFF\xFE" : "\xFE\xFF";
    for (std::size_t i = 0; i < text.size(); ++i) {
        unsigned unit = static_cast<unsigned char>(text[i]);
        if (unit >= 0xc2) {
            unit = ((unit & 0x1fU) << 6U) | (static_cast<unsigned char>(text[++i]) & 0x3fU);
        }
        const char low = static_cast<char>(unit & 0xffU);
        const char high = static_cast<char>(unit >> 8U);
        out += little ? low : high;
        out += little ? high : low;
    }
    return out;
}

std::string written(const Values& values, const Dress& dress, Random& random) {
    Values cells = values;
    for (auto& [well, text] : cells) {
        if (dress.decimal_comma) {
            std::ranges::replace(text, '.', ',');
        }
        if (dress.quotes || (dress.mark == "," && dress.decimal_comma)) {
            text = "\"" + text + "\"";
        }
    }
    const auto name_of = [&](std::size_t row, std::size_t column, bool zero) {
        const char letter = static_cast<char>('A' + row - 1);
        return zero ? fmt::format("{}{:02}", letter, column) : fmt::format("{}{}", letter, column);
    };
    std::string body;
    if (dress.shape < 4) {
        body = grid(cells, dress.shape < 2, dress.shape % 2 == 0, dress.mark);
    } else {
        std::vector<std::string> lines;
        for (const auto& [well, text] : cells) {
            const auto [r, c] = well;
            if (dress.shape == 4) {
                lines.push_back(joined({name_of(r, c, false), text}, dress.mark));
            } else if (dress.shape == 5) {
                lines.push_back(
                    joined({"x" + std::to_string(random.below(9)), name_of(r, c, true), text}, dress.mark));
            } else {
                lines.push_back(joined(
                    {std::string(1, static_cast<char>('A' + r - 1)), std::to_string(c), text}, dress.mark));
            }
        }
        for (std::size_t i = lines.size(); i > 1 && dress.shape != 6; --i) { // a list may be in any order
            std::swap(lines[i - 1], lines[random.below(i)]);
        }
        body = dress.shape == 4   ? joined({"Well", "Signal"}, dress.mark) + "\n"
               : dress.shape == 5 ? joined({"Content", "Well", "Signal"}, dress.mark) + "\n"
                                  : joined({"Row", "Column", "Signal"}, dress.mark) + "\n";
        body += joined(lines, "\n") + "\n";
    }
    std::string text = (dress.preamble ? "M\u00e5ling nr 3\nTemperature" + dress.mark + "25\n\n" : "") + body;
    std::string out;
    for (const char c : text) {
        out +=
            c == '\n' ? (dress.padding ? dress.mark + dress.mark : "") + dress.line_end : std::string(1, c);
    }
    return encoded(out, dress);
}

TEST(PlateFileProperty, any_dialect_and_layout_of_the_same_values_gives_the_same_reading) {
    Random random(20260614);
    const std::vector<std::string> marks{",", ";", "\t", "   "};
    const std::vector<std::string> ends{"\n", "\r\n", "\r"};
    const std::vector<std::pair<std::size_t, std::size_t>> sizes{{8, 12}, {6, 4}, {16, 24}};
    for (int trial = 0; trial < 600; ++trial) {
        const auto [rows, columns] = sizes[random.below(sizes.size())];
        Dress dress;
        dress.mark = marks[random.below(4)];
        dress.decimal_comma = random.below(2) == 0;
        dress.quotes = random.below(3) == 0;
        dress.line_end = ends[random.below(3)];
        dress.encoding = static_cast<Encoding>(random.below(4));
        dress.byte_order_mark = random.below(2) == 0;
        dress.shape = static_cast<int>(random.below(7));
        dress.preamble = random.below(2) == 0;
        dress.padding = random.below(3) == 0;
        const bool words = random.below(3) == 0;
        const auto values = values_of(rows, columns, [&, wide = columns](std::size_t i) -> std::string {
            if (words && i > wide && random.below(20) == 0) {
                return random.below(2) == 0 ? "OVRFLW" : ">3.5";
            }
            return i == 1 ? "0.0512" : fmt::format("{:.{}f}", 4.0 * random.uniform(), 3 + random.below(2));
        });
        Values expected = values;
        if (dress.decimal_comma) {
            for (auto& [well, text] : expected) {
                text = text == ">3.5" ? ">3,5" : text;
            }
        }
        const auto bytes = written(values, dress, random);
        const auto what = fmt::format("trial {}, shape {}, mark '{}', comma {}\n{}", trial, dress.shape,
                                      dress.mark, dress.decimal_comma, bytes.substr(0, 600));
        const auto reading = read_plate(bytes, "plate.csv", {.rows = rows, .columns = columns});
        ASSERT_TRUE(reading.has_value()) << what << reading.error().text();
        EXPECT_THAT(texts(*reading), IsEmpty()) << what;
        ASSERT_NO_FATAL_FAILURE(expect_reads_as(*reading, expected, what));
    }
}

TEST(PlateFileProperty, a_file_cut_anywhere_accounts_for_every_well_or_is_refused) {
    const auto whole = "450 nm\n" + grid(values_of(8, 12, three_decimals), true, true, ",");
    const auto complete = read(whole);
    for (std::size_t length = 0; length < whole.size(); ++length) {
        const auto reading = read_plate(whole.substr(0, length), "plate.csv");
        if (!reading) {
            continue;
        }
        expect_accounted(*reading);
        for (const auto& cell : reading->wells) {
            const bool is_last =
                cell.line == reading->wells.back().line && cell.field == reading->wells.back().field;
            if (!is_last) { // the last may be cut within its digits, and nothing tells
                EXPECT_THAT(complete.wells, Contains(cell));
            }
        }
    }
}

// ---- several blocks

TEST(PlateFile, two_grids_and_none_chosen_is_a_complaint_that_names_both) {
    const auto first = values_of(8, 12, three_decimals);
    const auto second = values_of(
        8, 12, [](std::size_t i) { return fmt::format("{:.3f}", 2.0 / static_cast<double>(i + 9)); });
    const auto text = "Signal at 450 nm\n" + grid(first, true, true, "\t") + "\nSignal at 570 nm\n" +
                      grid(second, true, true, "\t");
    EXPECT_THAT(refusal(text),
                testing::AllOf(HasSubstr("2 blocks"), HasSubstr("1 (lines 2 to 10, \"Signal at 450 nm\")"),
                               HasSubstr("2 (lines 13 to 21, \"Signal at 570 nm\")"), HasSubstr("block")));
    expect_reads_as(read(text, {.block = {.number = 1}}), first, "first");
    expect_reads_as(read(text, {.block = {.number = 2}}), second, "second");
    expect_reads_as(read(text, {.block = {.name = "570"}}), second, "by a word of its caption");
    expect_reads_as(read(text, {.block = {.name = "signal AT 450 nm"}}), first, "by its caption");
    EXPECT_THAT(refusal(text, {.block = {.name = "nm"}}), HasSubstr("stands above several"));
    EXPECT_THAT(refusal(text, {.block = {.name = "57"}}), HasSubstr("stands above none"));
    EXPECT_THAT(refusal(text, {.block = {.number = 3}}), HasSubstr("block 3 is set"));
}

TEST(PlateFile, grids_side_by_side_and_without_a_gap_are_blocks_of_their_own) {
    const auto values = values_of(6, 4, three_decimals);
    std::string beside = ",1,2,3,4,,,1,2,3,4\n";
    std::string bare;
    for (std::size_t r = 1; r <= 6; ++r) {
        std::vector<std::string> cells;
        for (std::size_t c = 1; c <= 4; ++c) {
            cells.push_back(values.at({r, c}));
        }
        const std::string letter(1, static_cast<char>('A' + r - 1));
        beside += fmt::format("{0},{1},,{0},{2}\n", letter, joined(cells, ","), "9.1,9.2,9.3,9.4");
        bare += joined(cells, ",") + "\n";
    }
    expect_reads_as(read(beside, {.rows = 6, .columns = 4, .block = {.number = 1}}), values, beside);
    EXPECT_EQ(response_at(read(beside, {.rows = 6, .columns = 4, .block = {.number = 2}}), "F4"), "9.4");
    EXPECT_THAT(refusal(beside, six_by_four), HasSubstr("2 blocks"));
    EXPECT_THAT(refusal(bare + bare, six_by_four), HasSubstr("2 blocks"));
    expect_reads_as(read(bare + bare, {.rows = 6, .columns = 4, .block = {.number = 2}}), values, bare);
}

TEST(PlateFile, a_wavelength_behind_every_row_names_the_block) {
    std::string text;
    for (const char* wavelength : {"450", "570"}) {
        for (char letter = 'A'; letter <= 'F'; ++letter) {
            text += fmt::format("{},0.1,0.2,0.3,0.{}5,{}\n", letter, wavelength[0], wavelength);
        }
    }
    EXPECT_EQ(response_at(read(text, {.rows = 6, .columns = 4, .block = {.name = "570"}}), "A4"), "0.55");
    const auto reading = read(text, {.rows = 6, .columns = 4, .block = {.name = "450"}});
    EXPECT_EQ(response_at(reading, "F4"), "0.45");
    EXPECT_THAT(reading.understood, Contains(HasSubstr("beside the grid and not read: \"450\"")));
}

TEST(PlateFile, a_grid_of_words_is_no_block_of_numbers) {
    const auto layout = values_of(8, 12, [](std::size_t i) { return i % 2 == 0 ? "B1" : "C2"; });
    const auto values = values_of(8, 12, three_decimals);
    for (const bool numbers : {true, false}) {
        const auto reading =
            read("Layout\n" + grid(layout, true, numbers, ",") + "\nRead\n" + grid(values, true, true, ","));
        expect_reads_as(reading, values, "layout above");
        EXPECT_THAT(reading.understood, Contains(HasSubstr("a grid without a number, passed over")));
    }
    EXPECT_THAT(refusal(grid(layout, true, true, ",")), HasSubstr("a grid without a number"));
}

// ---- decimals

TEST(PlateFile, a_comma_that_may_part_thousands_is_asked_about) {
    const auto text = [](const std::string& cell) {
        return grid(values_of(6, 4, [&](std::size_t) { return cell; }), true, true, ";");
    };
    EXPECT_THAT(refusal(text("1,234"), six_by_four),
                testing::AllOf(HasSubstr("\"1,234\" can be 1.234 or 1234"), HasSubstr("line 2"),
                               HasSubstr("set decimal")));
    EXPECT_THAT(refusal(text("1.234"), six_by_four), HasSubstr("\"1.234\" can be 1.234 or 1234"));
    EXPECT_EQ(
        response_at(read(text("1,234"), {.rows = 6, .columns = 4, .decimal = DecimalMark::comma}), "C3"),
        "1.234");
    const auto grouped = read(text("1,234"), {.rows = 6, .columns = 4, .decimal = DecimalMark::point});
    EXPECT_EQ(response_at(grouped, "C3"), "1234");
    EXPECT_THAT(texts(grouped), ElementsAre(HasSubstr("in 24 cells, read as 1234")));
    EXPECT_EQ(response_at(read(text("1,234.5"), six_by_four), "C3"), "1234.5");
    EXPECT_EQ(response_at(read(text("1.234.567,5"), six_by_four), "C3"), "1234567.5");
    EXPECT_EQ(response_at(read(text("1 234,5"), six_by_four), "C3"), "1234.5");
}

TEST(PlateFile, one_cell_that_tells_settles_the_decimal_mark_of_all) {
    const auto text = [](const std::string& odd_one) {
        return grid(values_of(6, 4, [&](std::size_t i) { return i == 20 ? odd_one : std::string("1,234"); }),
                    true, true, "\t");
    };
    EXPECT_EQ(response_at(read(text("0,5"), six_by_four), "A1"), "1.234");
    EXPECT_EQ(response_at(read(text("12345"), six_by_four), "A1"), "1.234")
        << "thousands are not grouped here";
    EXPECT_THAT(refusal(text("845"), six_by_four), HasSubstr("1.234 or 1234")) << "845 tells nothing";
    const auto odd = read(text("0.5"), six_by_four);
    EXPECT_EQ(response_at(odd, "A1"), "1234");
    EXPECT_THAT(texts(odd), ElementsAre(HasSubstr("in 23 cells, read as 1234"))) << "odd enough to be told";
    EXPECT_THAT(refusal(text("0,5") + "\n" + text("0.5"), six_by_four), HasSubstr("2 blocks"));
    const auto both =
        grid(values_of(6, 4, [](std::size_t i) { return i == 7 ? "0.5" : "0,5"; }), true, true, ";");
    const auto half =
        grid(values_of(6, 4, [](std::size_t i) { return i % 4 == 3 ? "0.5" : "0,5"; }), true, true, ";");
    EXPECT_THAT(refusal(half, six_by_four),
                testing::AllOf(HasSubstr("\"0.5\" in line 2"), HasSubstr("\"0,5\" in line 2"),
                               HasSubstr("both decimal marks")));
    const auto set = read(both, {.rows = 6, .columns = 4, .decimal = DecimalMark::comma});
    EXPECT_THAT(set.refused, ElementsAre(RefusedCell{.well = "B3", .line = 3, .field = 4, .raw = "0.5"}));
    expect_accounted(set);
}

TEST(PlateFile, a_decimal_comma_in_a_file_parted_by_commas_is_not_read_as_two_cells) {
    Values values = values_of(8, 12, three_decimals);
    for (auto& [well, text] : values) {
        std::ranges::replace(text, '.', ',');
    }
    for (const bool letters : {true, false}) {
        for (const bool numbers : {true, false}) {
            EXPECT_THAT(refusal(grid(values, letters, numbers, ",")), Not(IsEmpty()));
        }
    }
    std::string list = "Well,Signal\n";
    std::string headless;
    for (const auto& [well, text] : values) {
        list += well_name(well.first, well.second) + "," + text + "\n";
        headless += well_name(well.first, well.second) + "," + text + "\n";
    }
    const auto reading = read_plate(list, "plate.csv");
    EXPECT_TRUE(!reading || reading->wells.empty()) << "no half number may come through";
    EXPECT_THAT(refusal(headless), HasSubstr("2 columns of numbers"));
}

// ---- cells that are no numbers

TEST(PlateFile, a_word_is_kept_and_a_damaged_number_is_refused_with_its_place) {
    auto values = values_of(8, 12, three_decimals);
    values[{3, 7}] = "OVRFLW";
    values[{3, 8}] = ">3.5";
    values[{4, 1}] = "";
    values[{5, 2}] = "0.4.5";
    values[{6, 12}] = "0.5x";
    const auto reading = read(grid(values, true, true, ","));
    EXPECT_EQ(response_at(reading, "C7"), "OVRFLW");
    EXPECT_EQ(response_at(reading, "C8"), ">3.5");
    EXPECT_THAT(reading.missing, ElementsAre("D1"));
    EXPECT_THAT(reading.refused,
                ElementsAre(RefusedCell{.well = "E2", .line = 6, .field = 3, .raw = "0.4.5"},
                            RefusedCell{.well = "F12", .line = 7, .field = 13, .raw = "0.5x"}));
    EXPECT_EQ(reading.wells.size() + reading.refused.size() + reading.missing.size(), 96U);
    EXPECT_THAT(texts(reading),
                ElementsAre(HasSubstr("1 wells without a cell or with an empty one: D1"),
                            HasSubstr("\"0.4.5\" in well E2"), HasSubstr("\"0.5x\" in well F12")));
    EXPECT_THAT(reading.understood, Contains(HasSubstr("well C7 (line 4) has no number: \"OVRFLW\"")));
    expect_accounted(reading);
}

TEST(PlateFile, rows_that_are_cut_short_or_lacking_leave_their_wells_missing) {
    const auto reading = read(
        ",1,2,3,4\nA,0.1,0.2\nB,0.5,0.6,0.7,0.8\n?,9,9,9,9\nD,1.1,1.2,1.3,1.4\nF,1,2,3,4.5\n", six_by_four);
    EXPECT_THAT(reading.missing, ElementsAre("A3", "A4", "C1", "C2", "C3", "C4", "E1", "E2", "E3", "E4"));
    EXPECT_THAT(texts(reading), Contains(HasSubstr("\"?\" where a row letter should be")));
    EXPECT_EQ(response_at(reading, "F4"), "4.5");
    expect_accounted(reading);
}

TEST(PlateFile, an_empty_cell_between_blanks_leaves_its_whole_row_unread) {
    const auto reading =
        read("  1 2 3 4\nA 0.1 0.2 0.3 0.4\nB 0.1 0.2      0.4\nC 0.1 0.2 0.3 0.4\nD 0.1 0.2 0.3 0.4\n"
             "E 0.1 0.2 0.3 0.4\nF 0.1 over range 0.3 0.4\n",
             six_by_four);
    EXPECT_EQ(reading.delimiter, Delimiter::spaces);
    EXPECT_THAT(reading.missing, ElementsAre("B1", "B2", "B3", "B4", "F1", "F2", "F3", "F4"));
    EXPECT_TRUE(study::stops_a_run(reading.complaints)) << "which of the cells is lacking is not known";
    EXPECT_THAT(texts(reading), Contains(testing::AllOf(HasSubstr("line 3"), HasSubstr("4 fields"))));
    expect_accounted(reading);
}

// ---- what is not the plate's grid

TEST(PlateFile, a_grid_of_another_size_is_refused_in_words) {
    const auto large = values_of(16, 24, three_decimals);
    for (const bool letters : {true, false}) {
        for (const bool numbers : {true, false}) {
            EXPECT_THAT(refusal(grid(large, letters, numbers, ",")),
                        testing::AnyOf(HasSubstr("16 rows and 24 columns"), HasSubstr("1 to 24"),
                                       HasSubstr("24 cells")));
            EXPECT_THAT(refusal(grid(values_of(6, 4, three_decimals), letters, numbers, ",")),
                        Not(IsEmpty()));
            EXPECT_THAT(refusal(grid(values_of(8, 12, three_decimals), letters, numbers, ","), six_by_four),
                        Not(IsEmpty()));
        }
    }
}

TEST(PlateFile, bare_rows_that_are_too_many_need_the_first_to_be_set) {
    const auto values = values_of(6, 4, three_decimals);
    const auto text = "9,8,7,6.5\n" + grid(values, false, false, ",");
    EXPECT_THAT(refusal(text, six_by_four), HasSubstr("7 rows of 4 numbers"));
    expect_reads_as(read(text, {.rows = 6, .columns = 4, .first_line = 2}), values, text);
}

TEST(PlateFile, an_empty_column_at_the_edge_of_bare_rows_is_not_guessed) {
    std::string text;
    for (int r = 0; r < 6; ++r) {
        text += ",0.1,0.2,0.3,\n";
    }
    EXPECT_THAT(refusal(text, six_by_four), HasSubstr("empty fields at both ends"));
}

TEST(PlateFile, numbers_that_nothing_names_beside_a_grid_are_not_passed_over) {
    EXPECT_THAT(
        refusal(",1,2,3,4\nA,1,2,3,4,5\nB,1,2,3,4,6\nC,1,2,3,4,7\nD,1,2,3,4,8\nE,1,2,3,4,9\nF,1,2,3,4,1\n",
                six_by_four),
        HasSubstr("cells beside column 4"));
    const auto reading =
        read(",1,2,3,4,mean\nA,1,2,3,4,5\nB,1,2,3,4,6\nC,1,2,3,4,7\nD,1,2,3,4,8\nE,1,2,3,4,9\n"
             "F,1,2,3,4,1\n",
             six_by_four);
    EXPECT_THAT(reading.understood, Contains(HasSubstr("beside the grid and not read: \"mean\"")));
    EXPECT_EQ(reading.wells.size(), 24U);
}

TEST(PlateFile, rows_without_letters_under_a_header_with_a_corner_do_not_slide) {
    // Column 1 is named above the second cell; the rows have nothing in front of it.
    const auto reading =
        read("x,1,2,3,4\n" + grid(values_of(6, 4, three_decimals), false, false, ","), six_by_four);
    EXPECT_EQ(response_at(reading, "A1"), "0.051");
    EXPECT_THAT(texts(reading), ElementsAre(HasSubstr("where row number 1 should be")));
}

// ---- lists

TEST(PlateFile, a_list_with_several_columns_of_values_needs_one_chosen) {
    const std::string text =
        "Well,Content,450,570,Flag\nA1,St1,0.11,0.01,\nA2,St1,0.12,0.02,ok\nB1,Sm1,0.21,0.03,\n"
        "B2,Sm1,OVRFLW,0.04,\n";
    EXPECT_THAT(refusal(text), testing::AllOf(HasSubstr("2 columns of numbers: \"450\", \"570\""),
                                              HasSubstr("value_column")));
    const auto reading = read(text, {.value_column = {.name = "450"}});
    EXPECT_EQ(response_at(reading, "B2"), "OVRFLW");
    EXPECT_THAT(reading.missing, SizeIs(92));
    EXPECT_EQ(response_at(read(text, {.value_column = {.number = 4}}), "B1"), "0.03");
    EXPECT_THAT(refusal(text, {.value_column = {.name = "45O"}}), HasSubstr("one of 450, 570"));
    EXPECT_THAT(refusal(text, {.value_column = {.name = "Content"}}), HasSubstr("none of these columns"));
    expect_accounted(reading);
}

// Of 24 cells one with the other mark: it is lost, with its line and field, and the rest is read.
TEST(PlateFile, one_mistyped_decimal_mark_loses_one_well) {
    for (const bool is_point : {true, false}) {
        const std::string usual = is_point ? "0.5" : "0,5";
        const std::string odd = is_point ? "0,5" : "0.5";
        const auto reading =
            read(grid(values_of(6, 4, [&](std::size_t i) { return i == 7 ? odd : usual; }), true, true, ";"),
                 six_by_four);
        EXPECT_EQ(response_at(reading, "A1"), "0.5");
        EXPECT_THAT(reading.refused,
                    ElementsAre(RefusedCell{.well = "B3", .line = 3, .field = 4, .raw = odd}));
        EXPECT_THAT(texts(reading), Contains(testing::AllOf(HasSubstr("line 3"), HasSubstr("field 4"),
                                                            HasSubstr("in well B3"))));
        expect_accounted(reading);
    }
    std::string list = "well;od\n";
    for (int i = 1; i <= 11; ++i) {
        list += "A" + std::to_string(i) + (i == 5 ? ";0,131\n" : ";0.13\n");
    }
    const auto reading = read(list);
    EXPECT_EQ(response_at(reading, "A1"), "0.13");
    EXPECT_THAT(texts(reading), Contains(testing::AllOf(HasSubstr("\"0,131\""), HasSubstr("line 6"))));
    // Three digits after it could be thousands: never read as 131 or 1131.
    const auto thousands = read("well;od\nA1;0.12\nA2;1.234\nA3;0.2\nA4;0.15\nA5;0.2\nA6;0.2\nA7;0.2\nA8;0."
                                "2\nA9;0.2\nA10;1,234\n");
    EXPECT_THAT(thousands.refused, SizeIs(1));
    EXPECT_EQ(response_at(thousands, "A2"), "1.234");
}

TEST(PlateFile, a_well_twice_is_refused_unless_a_column_tells_the_lines_apart) {
    const std::string text = "plate;well;od\np1;A1;0,11\np1;A2;0,12\np2;A1;0,91\np2;A2;0,92\n";
    const auto reading = read(text);
    EXPECT_THAT(reading.wells, IsEmpty());
    EXPECT_THAT(reading.refused, SizeIs(4));
    EXPECT_THAT(texts(reading),
                Contains(testing::AllOf(HasSubstr("well A1 on 2 lines, first 2 and 4"),
                                        HasSubstr("\"0,11\" and \"0,91\""), HasSubstr("only_column"))));
    expect_accounted(reading);
    const auto second = read(text, {.only_column = {.name = "plate"}, .only_value = "P2"});
    EXPECT_EQ(response_at(second, "A2"), "0.92");
    EXPECT_THAT(second.understood, Contains(HasSubstr("2 lines of the list passed over")));
}

TEST(PlateFile, a_value_to_choose_lines_by_that_no_line_has_is_refused) {
    const std::string text = "plate;well;od\np1;A1;0,11\np1;A2;0,12\np2;A1;0,91\np2;A2;0,92\n";
    EXPECT_THAT(refusal(text, {.only_column = {.name = "plate"}, .only_value = "p3"}),
                testing::AllOf(HasSubstr("no line with \"p3\""), HasSubstr("one of \"p1\", \"p2\"")));
}

TEST(PlateFile, two_marks_before_three_digits_are_not_guessed_at) {
    EXPECT_THAT(refusal("well;od\nA1;0,12\nA2;1,234\nA3;1.234\nA4;0,15\n"),
                testing::AllOf(HasSubstr("both decimal marks"), HasSubstr("set decimal")));
}

TEST(PlateFile, lines_of_a_list_that_name_no_well_of_the_plate_are_refused) {
    const auto reading = read("Well,Value\nA1,0.5\nA13,0.6\nx,0.7\nB1,0.8\nB2,0.9,1.0\n");
    EXPECT_THAT(reading.refused,
                ElementsAre(RefusedCell{.well = "", .line = 3, .field = 2, .raw = "A13,0.6"},
                            RefusedCell{.well = "", .line = 4, .field = 2, .raw = "x,0.7"},
                            RefusedCell{.well = "", .line = 6, .field = 2, .raw = "B2,0.9,1.0"}));
    EXPECT_EQ(reading.wells.size(), 2U);
    EXPECT_TRUE(study::stops_a_run(reading.complaints));
    expect_accounted(reading);
}

TEST(PlateFile, two_columns_of_wells_are_told_apart_by_header_or_by_setting) {
    EXPECT_EQ(response_at(read("Source,Well,OD\nC1,A1,0.5\nC2,A2,0.6\n"), "A2"), "0.6");
    const std::string text = "from,to,OD\nC1,A1,0.5\nC2,A2,0.6\n";
    EXPECT_THAT(refusal(text), HasSubstr("2 columns of wells: \"from\", \"to\""));
    EXPECT_EQ(response_at(read(text, {.well_column = {.name = "to"}}), "A2"), "0.6");
}

TEST(PlateFile, row_and_column_beside_the_well_are_no_values) {
    const auto reading = read("Well\tRow\tCol\tOD\nA1\tA\t1\t0.5\nA2\tA\t2\t0.6\nB1\tB\t1\t0.7\n");
    EXPECT_EQ(response_at(reading, "B1"), "0.7");
    EXPECT_EQ(reading.block.value_columns, std::vector<std::string>{"OD"});
}

TEST(PlateFile, a_list_by_row_and_column_is_no_grid_of_letters) {
    // In order of columns the letters run A to F again and again, as those of a grid would.
    std::string text = "row;column;cycle;od;ratio;temp\n";
    for (int c = 1; c <= 4; ++c) {
        for (char r = 'A'; r <= 'F'; ++r) {
            text += fmt::format("{};{};1;0,{}{};2,5;25,1\n", r, c, c, r - 'A');
        }
    }
    EXPECT_THAT(refusal(text, six_by_four), HasSubstr("4 columns of numbers"));
    EXPECT_EQ(response_at(read(text, {.rows = 6, .columns = 4, .value_column = {.name = "od"}}), "C4"),
              "0.42");
}

TEST(PlateFile, a_grid_and_a_list_in_one_file_are_two_blocks) {
    const auto text = grid(values_of(6, 4, three_decimals), true, true, ",") + "\nWell,OD\nA1,0.5\nA2,0.6\n";
    EXPECT_THAT(refusal(text, six_by_four), HasSubstr("2 blocks"));
    EXPECT_EQ(response_at(read(text, {.rows = 6, .columns = 4, .block = {.number = 2}}), "A2"), "0.6");
}

// ---- anything at all

TEST(PlateFile, files_that_are_no_plate_are_refused_and_say_why) {
    EXPECT_THAT(refusal(""), HasSubstr("empty"));
    EXPECT_THAT(refusal("\n\n , ,\n"), HasSubstr("no grid and no list"));
    EXPECT_THAT(refusal("a letter to nobody\n"), HasSubstr("8 rows and 12 columns"));
    EXPECT_THAT(refusal("time,o2\n1,2\n", {.rows = 0}), HasSubstr("2 to 64 rows"));
    const auto missing = load_plate("no such file.csv");
    ASSERT_FALSE(missing.has_value());
    EXPECT_EQ(missing.error().code, ErrorCode::file_missing);
    EXPECT_THAT(refusal(std::string(std::size_t{17} << 20, 'x')), HasSubstr("bytes"));
}

TEST(PlateFile, is_read_from_disk_too) {
    const auto values = values_of(8, 12, three_decimals);
    const WrittenFile file(grid(values, true, true, ","));
    const auto reading = load_plate(file.path());
    ASSERT_TRUE(reading.has_value());
    expect_reads_as(*reading, values, "from disk");
}

TEST(PlateFile, garbage_of_any_kind_ends_soon_and_accounts_for_its_wells) {
    Random random(7);
    const auto values = values_of(8, 12, three_decimals);
    const std::string alphabet = "A1B2,;\t \"\n\r.0123456789-><H8\xC3\xA5\xFF" + std::string(1, '\0');
    std::vector<std::string> inputs;
    for (int i = 0; i < 400; ++i) {
        std::string damaged = grid(values, random.below(2) == 0, random.below(2) == 0, ",");
        for (std::uint64_t k = random.below(12); k > 0; --k) {
            damaged[random.below(damaged.size())] = alphabet[random.below(alphabet.size())];
        }
        inputs.push_back(damaged);
    }
    constexpr std::size_t ten_megabytes = 10'000'000;
    std::string noise;
    for (std::size_t i = 0; i < ten_megabytes; ++i) {
        noise += alphabet[random.below(alphabet.size())];
    }
    inputs.push_back(noise);
    inputs.emplace_back(ten_megabytes, '\0');
    inputs.emplace_back(ten_megabytes, ',');
    inputs.emplace_back(ten_megabytes, '"');
    std::string counting;
    while (counting.size() < ten_megabytes) {
        counting += ",1,2,3,4,5,6,7,8,9,10,11,12\nA,1\n";
    }
    inputs.push_back(counting);
    for (const auto& input : inputs) {
        const std::clock_t begin = std::clock(); // not a busy machine's time
        const auto reading = read_plate(input, "plate.csv", {.block = {.number = 1}});
        const double seconds = static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
        EXPECT_LT(seconds, 60.0) << input.size() << " bytes beginning " << input.substr(0, 20);
        if (reading) {
            expect_accounted(*reading);
        } else {
            EXPECT_FALSE(reading.error().found.empty());
            EXPECT_NE(reading.error().code, ErrorCode::our_bug);
        }
    }
}

} // namespace
} // namespace backeddy::intake
