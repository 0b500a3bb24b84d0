#include "intake/detail/plain_rows.hpp"

#include <bit>
#include <cstring>

#include "intake/detail/moment.hpp"
#include "intake/detail/number.hpp"
#include "intake/detail/words.hpp"

namespace backeddy::intake {

namespace {

static_assert(std::endian::native == std::endian::little,
              "the first byte of a text is the lowest of a word here");

constexpr std::uint64_t ones = 0x0101010101010101;
constexpr std::uint64_t high_bits = 0x8080808080808080;

std::uint64_t eight_bytes(const char* p) {
    std::uint64_t word = 0;
    std::memcpy(&word, p, sizeof word);
    return word;
}

// The high bit of each byte that is no digit, in bytes already XORed with '0'. No carry from byte to byte.
std::uint64_t not_digits(std::uint64_t digits) {
    return ((((digits & ~high_bits) + (ones * 0x76)) | digits) & high_bits);
}

// Value of eight digits, the first in the lowest byte (Lemire 2018, "Quickly parsing eight digits").
std::uint64_t eight_digits(std::uint64_t digits) {
    digits = (digits * 10) + (digits >> 8);
    constexpr std::uint64_t mask = 0x000000ff000000ff;
    constexpr std::uint64_t first = 0x000f424000000064;  // 100 + (1000000 << 32)
    constexpr std::uint64_t second = 0x0000271000000001; // 1 + (10000 << 32)
    return (((digits & mask) * first) + (((digits >> 16) & mask) * second)) >> 32;
}

bool is_digit(char c) {
    return static_cast<unsigned char>(c - '0') < 10;
}

} // namespace

bool PlainRows::suits(const Plan& plan) {
    return plan.form.encoding == Encoding::utf8 && plan.form.line_end == LineEnd::lf &&
           plan.quoting == Quoting::none && plan.delimiter != Delimiter::spaces &&
           plan.time_form == TimeForm::calendar && plan.time.has_value() &&
           plan.dialect.missing_words.empty() && plan.readings.size() <= most_readings;
}

PlainRows::PlainRows(const Plan& plan, ParsedBlock& block)
    : plan_(plan), block_(block), delimiter_(character_of(plan.delimiter)), fields_(plan.fields),
      readings_(plan.readings.size()), zone_(plan.zone) {
    fields_[*plan.time].task = Task::time;
    if (plan.chamber) {
        fields_[*plan.chamber].task = Task::chamber;
    }
    for (std::size_t i = 0; i < plan.readings.size(); ++i) {
        const auto& reading = plan.readings[i];
        const bool same = reading.unit == Unit::mg_per_l || reading.unit == Unit::percent_air ||
                          reading.unit == Unit::kilopascal || reading.unit == Unit::celsius ||
                          reading.unit == Unit::practical_salinity || reading.unit == Unit::ms_per_cm;
        fields_[reading.field] = {.task = reading.unit == Unit::pump_word ? Task::pump : Task::number,
                                  .reading = i,
                                  .unit = reading.unit,
                                  .converts = !same};
    }
}

void PlainRows::forget_chunks() {
    for (auto& writer : writers_) {
        writer.chunk = nullptr;
        writer.room = 0;
    }
}

bool PlainRows::read_time(const char*& p, std::int64_t& time_ns) {
    // "2026-06-14T08:00" is the same for all rows of a minute: only the seconds are read anew.
    if ((eight_bytes(p) ^ eight_bytes(minute_text_.data())) |
        (eight_bytes(p + 8) ^ eight_bytes(minute_text_.data() + 8))) {
        if (!remember_minute(p)) {
            return false;
        }
    }
    const char tens = p[17];
    const char units = p[18];
    if (p[16] != ':' || static_cast<unsigned char>(tens - '0') > 5 || !is_digit(units)) {
        return false;
    }
    time_ns = minute_ns_ + ((((tens - '0') * 10) + (units - '0')) * nanoseconds_per_second);
    p += 19;
    if (wants_z_) {
        if (*p != 'Z') {
            return false;
        }
        ++p;
    }
    return true;
}

// Takes over the minute at `p` if all of it can be told from its text: "yyyy-mm-ddThh:mm", UTC or with one
// offset throughout.
bool PlainRows::remember_minute(const char* p) {
    minute_text_ = {};
    for (const int i : {0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15}) {
        if (!is_digit(p[i])) {
            return false;
        }
    }
    if (p[4] != '-' || p[7] != '-' || (p[10] != 'T' && p[10] != ' ') || p[13] != ':' || p[16] != ':' ||
        !is_digit(p[17]) || !is_digit(p[18])) {
        return false;
    }
    const auto date = written_date(std::string_view(p, 10));
    const auto day = date ? day_number(*date, plan_.date_order) : std::nullopt;
    const auto clock = written_clock(std::string_view(p + 11, 5));
    if (!day || !clock || clock->nanoseconds >= nanoseconds_per_day) {
        return false;
    }
    const std::int64_t local = (*day * nanoseconds_per_day) + clock->nanoseconds;
    wants_z_ = p[19] == 'Z';
    if (wants_z_) {
        minute_ns_ = local;
    } else {
        const auto first = zone_.to_utc(local);
        const auto last = zone_.to_utc(local + (59 * nanoseconds_per_second));
        if (!plan_.has_zone || first.kind != LocalKind::once || last.kind != LocalKind::once ||
            last.utc_ns - first.utc_ns != 59 * nanoseconds_per_second) {
            return false;
        }
        minute_ns_ = first.utc_ns;
    }
    std::memcpy(minute_text_.data(), p, minute_text_.size());
    return true;
}

// Up to seven digits and a mark within eight bytes; the rest goes the longer way.
bool PlainRows::read_number(const char*& p, char stop, double& value) const {
    const std::uint64_t digits = eight_bytes(p) ^ (ones * static_cast<std::uint64_t>('0'));
    const std::uint64_t others = not_digits(digits);
    const std::uint64_t behind = others & (others - 1);
    const auto mark = static_cast<std::size_t>(std::countr_zero(others)) / 8;
    const auto end = static_cast<std::size_t>(std::countr_zero(behind)) / 8;
    if (behind == 0 || p[mark] != plan_.decimal || mark == 0 || end == mark + 1) {
        const char* q = p; // a copy: `p` itself stays in its register
        const bool read = read_long_number(q, stop, value);
        p = q;
        return read;
    }
    const std::uint64_t before = (std::uint64_t{1} << (8 * mark)) - 1;
    const std::uint64_t joined = (digits & before) | ((digits >> 8) & ~before);
    const std::size_t count = end - 1; // 2 to 6 digits
    const std::uint64_t mantissa = eight_digits(joined << (8 * (8 - count)));
    value = static_cast<double>(mantissa) / exact_powers_of_ten[end - mark - 1];
    p += end;
    return true;
}

bool PlainRows::read_long_number(const char*& p, char stop, double& value) const {
    std::size_t length = 0;
    while (length < 40 && p[length] != stop && p[length] != '\n' && p[length] != '\r' && p[length] != '\0') {
        ++length;
    }
    const auto number = decimal_number(std::string_view(p, length), plan_.decimal);
    if (!number) {
        return false;
    }
    value = *number;
    p += length;
    return true;
}

// A word of at most seven bytes, by its bytes.
bool PlainRows::read_word(const char*& p, char stop, std::array<Word, words_kept>& words, Task task,
                          Word& word) {
    const std::uint64_t bytes = eight_bytes(p);
    const auto zeros_of = [](std::uint64_t x) { return (x - ones) & ~x & high_bits; };
    std::uint64_t ends = zeros_of(bytes ^ (ones * static_cast<unsigned char>(stop)));
    if (stop == '\n') {
        ends |= zeros_of(bytes ^ (ones * static_cast<std::uint64_t>('\r')));
    }
    const auto length = static_cast<std::size_t>(std::countr_zero(ends)) / 8;
    if (ends == 0 || length == 0) {
        return false;
    }
    // With its length: a NUL byte behind a word must not pass for the word.
    const std::uint64_t key =
        (bytes & ((std::uint64_t{1} << (8 * length)) - 1)) | (std::uint64_t{length} << 56);
    auto& kept = words[(key * 0x9e3779b97f4a7c15) >> 56];
    if (kept.key != key && !learn_word(std::string_view(p, length), key, task, kept)) {
        return false;
    }
    word = kept;
    p += length;
    return true;
}

bool PlainRows::learn_word(std::string_view text, std::uint64_t key, Task task, Word& kept) {
    if (text.find_first_of(std::string_view("\0\n\r \t", 5)) != std::string_view::npos || !is_utf8(text)) {
        return false;
    }
    if (task == Task::chamber) {
        kept = {.key = key, .stream = block_.stream_named(text)};
        return true;
    }
    const auto value = pump_value(text, plan_.dialect.flush_words, plan_.dialect.sealed_words);
    if (value) {
        kept = {.key = key, .value = *value};
    }
    return value.has_value();
}

void PlainRows::open_writer(std::size_t stream) {
    if (block_.streams.empty()) {
        static_cast<void>(block_.stream_named({}));
    }
    if (stream >= writers_.size()) {
        writers_.resize(block_.streams.size());
    }
    auto& writer = writers_[stream];
    writer.chunk = &block_.chunk_for(stream, plan_);
    writer.room = writer.chunk->data.times_ns.size();
    writer.times = writer.chunk->data.times_ns.data();
    for (std::size_t i = 0; i < readings_; ++i) {
        writer.columns[i] = writer.chunk->data.columns[i].data();
    }
}

void PlainRows::keep(const Cells& cells, std::uint64_t number) {
    if (cells.stream >= writers_.size() || writers_[cells.stream].chunk == nullptr ||
        writers_[cells.stream].chunk->rows == writers_[cells.stream].room) {
        open_writer(cells.stream);
    }
    auto& writer = writers_[cells.stream];
    const std::size_t row = writer.chunk->rows;
    writer.times[row] = cells.time_ns;
    for (std::size_t i = 0; i < readings_; ++i) {
        writer.columns[i][row] = cells.values[i];
    }
    writer.chunk->count_row(number);
    ++block_.rows;
}

bool PlainRows::read_row(const char*& at, Cells& cells) {
    const char* p = at;
    const std::size_t last = fields_.size() - 1;
    Word word;
    cells.stream = 0;
    for (std::size_t i = 0; i <= last; ++i) {
        const auto& field = fields_[i];
        // The last field ends at the line end, of one or two bytes.
        const char stop = i == last ? '\n' : delimiter_;
        switch (field.task) {
        case Task::number: {
            double value = 0.0;
            if (!read_number(p, stop, value)) {
                return false;
            }
            cells.values[field.reading] = field.converts ? in_trace_unit(field.unit, value) : value;
            break;
        }
        case Task::time:
            if (!read_time(p, cells.time_ns)) {
                return false;
            }
            break;
        case Task::chamber:
            if (!read_word(p, stop, chambers_, Task::chamber, word)) {
                return false;
            }
            cells.stream = word.stream;
            break;
        case Task::pump:
            if (!read_word(p, stop, pumps_, Task::pump, word)) {
                return false;
            }
            cells.values[field.reading] = word.value;
            break;
        case Task::skip:
            while (*p != delimiter_ && *p != '\n' && *p != '\0' && *p != '\r') {
                ++p;
            }
            break;
        }
        if (i == last && *p == '\r') {
            ++p;
        }
        if (*p != stop) {
            return false;
        }
        ++p;
    }
    at = p;
    return true;
}

void PlainRows::read(const char*& at, const char* end, std::uint64_t& number) {
    Cells cells;
    while (at < end) {
        const char* next = at;
        // A row that runs over the end of the block's text is the block's last line, without its line end.
        // Nor may the block's end decide what becomes of an overlong line.
        if (!read_row(next, cells) || next > end || next - at > static_cast<std::ptrdiff_t>(longest_line)) {
            return;
        }
        keep(cells, number);
        ++number;
        at = next;
    }
}

} // namespace backeddy::intake
