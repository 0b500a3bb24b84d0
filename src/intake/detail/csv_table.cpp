#include "intake/detail/csv_table.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <optional>

#include <fmt/format.h>

#include "base/lower_case.hpp"

namespace backeddy::intake {

namespace {

using study::Severity;

void append_utf8(std::string& out, std::uint32_t code) {
    if (code < 0x80) {
        out += static_cast<char>(code);
    } else if (code < 0x800) {
        out += static_cast<char>(0xC0U | (code >> 6U));
        out += static_cast<char>(0x80U | (code & 0x3FU));
    } else if (code < 0x10000) {
        out += static_cast<char>(0xE0U | (code >> 12U));
        out += static_cast<char>(0x80U | ((code >> 6U) & 0x3FU));
        out += static_cast<char>(0x80U | (code & 0x3FU));
    } else {
        out += static_cast<char>(0xF0U | (code >> 18U));
        out += static_cast<char>(0x80U | ((code >> 12U) & 0x3FU));
        out += static_cast<char>(0x80U | ((code >> 6U) & 0x3FU));
        out += static_cast<char>(0x80U | (code & 0x3FU));
    }
}

enum class Endian : std::uint8_t { little, big };

std::string from_utf16(std::string_view bytes, Endian endian) {
    const auto unit = [&](std::size_t i) {
        const auto a = static_cast<unsigned char>(bytes[i]);
        const auto b = static_cast<unsigned char>(bytes[i + 1]);
        return endian == Endian::little ? static_cast<std::uint32_t>(a | (b << 8U))
                                        : static_cast<std::uint32_t>(b | (a << 8U));
    };
    std::string out;
    for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) {
        std::uint32_t code = unit(i);
        if (code >= 0xD800 && code < 0xDC00 && i + 3 < bytes.size()) {
            const std::uint32_t low = unit(i + 2);
            if (low >= 0xDC00 && low < 0xE000) {
                code = 0x10000U + ((code - 0xD800U) << 10U) + (low - 0xDC00U);
                i += 2;
            }
        }
        append_utf8(out, code >= 0xD800 && code < 0xE000 ? 0xFFFDU : code);
    }
    return out;
}

/// Where the text stops being UTF-8, or nothing.
std::optional<std::size_t> first_bad_utf8(std::string_view text) {
    for (std::size_t i = 0; i < text.size();) {
        const auto lead = static_cast<unsigned char>(text[i]);
        std::size_t more = 0;
        if (lead < 0x80) {
            more = 0;
        } else if (lead >= 0xC2 && lead < 0xE0) {
            more = 1;
        } else if (lead >= 0xE0 && lead < 0xF0) {
            more = 2;
        } else if (lead >= 0xF0 && lead < 0xF5) {
            more = 3;
        } else {
            return i;
        }
        for (std::size_t k = 1; k <= more; ++k) {
            if (i + k >= text.size() || (static_cast<unsigned char>(text[i + k]) & 0xC0U) != 0x80U) {
                return i;
            }
        }
        i += more + 1;
    }
    return std::nullopt;
}

/// The 32 characters of Windows-1252 that Latin-1 does not have; 0 where it has none.
constexpr std::array<std::uint32_t, 32> windows_1252{
    0x20AC, 0,      0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160,
    0x2039, 0x0152, 0,      0x017D, 0,      0,      0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
    0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0,      0x017E, 0x0178};

std::string from_windows_1252(std::string_view bytes) {
    std::string out;
    for (const char c : bytes) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte >= 0x80 && byte < 0xA0) {
            const auto code = windows_1252[byte - 0x80U];
            append_utf8(out, code == 0 ? 0xFFFDU : code);
        } else {
            append_utf8(out, byte);
        }
    }
    return out;
}

std::uint64_t line_of(std::string_view text, std::size_t byte) {
    return 1 + static_cast<std::uint64_t>(
                   std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(byte), '\n'));
}

/// The file as UTF-8 without a mark, line ends as LF.
std::string decoded(std::string_view bytes, CsvTable& table) {
    std::string text;
    if (bytes.starts_with("\xEF\xBB\xBF")) {
        table.encoding = "UTF-8 with byte order mark";
        text = bytes.substr(3);
    } else if (bytes.starts_with("\xFF\xFE")) {
        table.encoding = "UTF-16 LE";
        text = from_utf16(bytes.substr(2), Endian::little);
    } else if (bytes.starts_with("\xFE\xFF")) {
        table.encoding = "UTF-16 BE";
        text = from_utf16(bytes.substr(2), Endian::big);
    } else {
        table.encoding = "UTF-8";
        text = bytes;
    }
    if (const auto nul = text.find('\0'); nul != std::string::npos) {
        table.complaints.push_back(
            {Severity::stops_the_run,
             {.code = ErrorCode::bad_text,
              .found = "a NUL byte",
              .expected = "text",
              .remedy = "save the table as \"CSV UTF-8\" again",
              .place = {.file = table.file, .line = line_of(text, nul), .column = {}, .byte = nul}}});
        std::erase(text, '\0');
    }
    if (const auto bad = first_bad_utf8(text)) {
        table.encoding = "Windows-1252";
        table.complaints.push_back(
            {Severity::warning,
             {.code = ErrorCode::bad_text,
              .found = "bytes that are not UTF-8",
              .expected = "read as Windows-1252",
              .remedy = "save the table as \"CSV UTF-8\" if names look wrong",
              .place = {.file = table.file, .line = line_of(text, *bad), .column = {}, .byte = bad}}});
        text = from_windows_1252(text);
    }
    std::string out;
    out.reserve(text.size());
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] == '\r') {
            out += '\n';
            i += (i + 1 < text.size() && text[i + 1] == '\n') ? 1 : 0;
        } else {
            out += text[i];
        }
    }
    return out;
}

bool is_remark(std::string_view line) {
    const auto text = without_margins(line);
    return text.starts_with('#') || text.starts_with("\"#");
}

bool is_blank(std::string_view line) {
    return std::ranges::all_of(
        line, [](char c) { return c == ' ' || c == '\t' || c == ',' || c == ';' || c == '"'; });
}

char delimiter_of(std::string_view line) {
    std::array<std::pair<char, std::size_t>, 3> counts{{{',', 0}, {';', 0}, {'\t', 0}}};
    bool quoted = false;
    for (const char c : line) {
        quoted = c == '"' ? !quoted : quoted;
        for (auto& [mark, count] : counts) {
            count += (!quoted && c == mark) ? 1 : 0;
        }
    }
    return std::ranges::max_element(counts, {}, [](const auto& c) { return c.second; })->first;
}

/// Cuts records off a text.
class Cutter {
  public:
    Cutter(std::string_view text, char delimiter) : text_(text), delimiter_(delimiter) {}

    [[nodiscard]] bool at_end() const { return at_ >= text_.size(); }
    [[nodiscard]] std::uint64_t line() const { return line_; }
    [[nodiscard]] std::string_view rest_of_line() const {
        const auto end = text_.find('\n', at_);
        return text_.substr(at_, end == std::string_view::npos ? std::string_view::npos : end - at_);
    }
    void skip_line() {
        at_ = std::min(at_ + rest_of_line().size() + 1, text_.size());
        ++line_;
    }
    void set_delimiter(char delimiter) { delimiter_ = delimiter; }

    /// The cells of the record here, moving on behind its line end; nothing when a quote is never closed
    /// (then only its first line is passed).
    std::optional<std::vector<std::string>> record() {
        const auto start = at_;
        const auto start_line = line_;
        std::vector<std::string> cells(1);
        bool quoted = false;
        bool was_quoted = false;
        for (; at_ < text_.size(); ++at_) {
            const char c = text_[at_];
            if (quoted) {
                if (c == '"' && at_ + 1 < text_.size() && text_[at_ + 1] == '"') {
                    cells.back() += '"';
                    ++at_;
                } else if (c == '"') {
                    quoted = false;
                } else {
                    line_ += c == '\n' ? 1 : 0;
                    cells.back() += c;
                }
            } else if (c == '"' && !was_quoted && without_margins(cells.back()).empty()) {
                quoted = was_quoted = true;
                cells.back().clear();
            } else if (c == delimiter_) {
                cells.emplace_back();
                was_quoted = false;
            } else if (c == '\n') {
                break;
            } else {
                cells.back() += c;
            }
        }
        if (quoted) {
            at_ = start;
            line_ = start_line;
            skip_line();
            return std::nullopt;
        }
        at_ = std::min(at_ + 1, text_.size());
        ++line_;
        for (auto& cell : cells) {
            cell = std::string(without_margins(cell));
        }
        return cells;
    }

  private:
    std::string_view text_;
    char delimiter_;
    std::size_t at_ = 0;
    std::uint64_t line_ = 1;
};

/// Makes the row as wide as the header; false when it holds more than that.
bool fit_to_header(CsvRow& row, CsvTable& table, std::string_view raw) {
    const std::size_t wide = table.header.size();
    while (row.cells.size() > wide && row.cells.back().empty()) {
        row.cells.pop_back();
    }
    if (row.cells.size() > wide) {
        ++table.refused;
        table.complaints.push_back(
            {Severity::stops_the_run,
             {.code = ErrorCode::bad_row,
              .found = fmt::format("{} cells: {}", row.cells.size(), in_quotes(raw)),
              .expected = fmt::format("{}, as many as the header has", wide),
              .remedy = "put a cell that holds a comma (or a decimal comma) in quotes, or separate columns "
                        "by semicolons",
              .place = {.file = table.file, .line = row.line, .column = {}, .byte = {}}}});
        return false;
    }
    if (row.cells.size() < wide) {
        table.complaints.push_back(
            {Severity::warning,
             {.code = ErrorCode::bad_row,
              .found = fmt::format("{} cells: {}", row.cells.size(), in_quotes(raw)),
              .expected = fmt::format("{}, as many as the header has; the rest is read as empty", wide),
              .remedy = "check that the row is whole",
              .place = {.file = table.file, .line = row.line, .column = {}, .byte = {}}}});
        row.cells.resize(wide);
    }
    return true;
}

void read_rows(Cutter& cutter, CsvTable& table) {
    while (!cutter.at_end()) {
        const auto raw = cutter.rest_of_line();
        if (is_blank(raw) || is_remark(raw)) {
            cutter.skip_line();
            continue;
        }
        CsvRow row{.line = cutter.line(), .cells = {}};
        auto cells = cutter.record();
        if (!cells) {
            ++table.refused;
            table.complaints.push_back(
                {Severity::stops_the_run,
                 {.code = ErrorCode::bad_row,
                  .found = "a quote that is never closed: " + in_quotes(raw),
                  .expected = "a second quote",
                  .remedy = "close it, or write a quote inside a cell twice",
                  .place = {.file = table.file, .line = row.line, .column = {}, .byte = {}}}});
            continue;
        }
        row.cells = std::move(*cells);
        if (fit_to_header(row, table, raw)) {
            table.rows.push_back(std::move(row));
        }
    }
}

} // namespace

std::string plain_name(std::string_view text) {
    std::string out;
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (std::isalnum(byte) != 0 && byte < 0x80) {
            out += lower_letter(c);
        } else if (!out.empty() && out.back() != '_') {
            out += '_';
        }
    }
    while (!out.empty() && out.back() == '_') {
        out.pop_back();
    }
    return out;
}

std::string_view without_margins(std::string_view text) {
    constexpr std::string_view no_break = "\xC2\xA0";
    for (bool again = true; again;) {
        again = false;
        if (!text.empty() && (text.front() == ' ' || text.front() == '\t')) {
            text.remove_prefix(1);
            again = true;
        } else if (text.starts_with(no_break)) {
            text.remove_prefix(no_break.size());
            again = true;
        }
        if (!text.empty() && (text.back() == ' ' || text.back() == '\t')) {
            text.remove_suffix(1);
            again = true;
        } else if (text.ends_with(no_break)) {
            text.remove_suffix(no_break.size());
            again = true;
        }
    }
    return text;
}

std::string in_quotes(std::string_view text) {
    std::string out = "\"";
    std::size_t count = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const auto byte = static_cast<unsigned char>(text[i]);
        const bool begins = (byte & 0xC0U) != 0x80U;
        if (begins && ++count > 80) {
            return out + "...\"";
        }
        out += byte < 0x20 || byte == 0x7F ? fmt::format("\\x{:02X}", static_cast<unsigned>(byte))
                                           : std::string(1, text[i]);
    }
    return out + "\"";
}

CsvTable read_csv(std::string_view bytes, const std::string& file) {
    CsvTable table;
    table.file = file;
    const std::string text = decoded(bytes, table);
    Cutter cutter(text, ',');
    std::optional<char> said; // "sep=;" in the first line, as some spreadsheets write and read it
    while (!cutter.at_end()) {
        const auto line = cutter.rest_of_line();
        if (cutter.line() == 1 && without_margins(line).starts_with("sep=") &&
            without_margins(line).size() == 5) {
            said = without_margins(line).back();
        } else if (!is_blank(line) && !is_remark(line)) {
            table.delimiter = said.value_or(delimiter_of(line));
            break;
        }
        cutter.skip_line();
    }
    cutter.set_delimiter(table.delimiter);
    table.header_line = cutter.line();
    if (cutter.at_end()) {
        return table;
    }
    auto header = cutter.record();
    if (!header) {
        table.complaints.push_back(
            {Severity::stops_the_run,
             {.code = ErrorCode::bad_row,
              .found = "a quote that is never closed in the header",
              .expected = "column names",
              .remedy = "close it",
              .place = {.file = file, .line = table.header_line, .column = {}, .byte = {}}}});
        return table;
    }
    table.header = std::move(*header);
    while (!table.header.empty() && table.header.back().empty()) {
        table.header.pop_back();
    }
    read_rows(cutter, table);
    return table;
}

} // namespace backeddy::intake
