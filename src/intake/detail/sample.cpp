#include "intake/detail/sample.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>

namespace backeddy::intake {

namespace {

constexpr std::size_t tail_bytes = 1 << 16;
constexpr int most_lines_in_a_quote = 20; // a quote that stays open longer is a stray one

// UTF-16 without its mark shows by zeros in every second byte.
std::optional<Encoding> zeros_in_every_second(std::string_view head) {
    std::size_t even = 0;
    std::size_t odd = 0;
    const std::size_t n = std::min<std::size_t>(head.size(), 4096) / 2;
    for (std::size_t i = 0; i < n; ++i) {
        even += head[2 * i] == '\0' ? 1 : 0;
        odd += head[(2 * i) + 1] == '\0' ? 1 : 0;
    }
    if (n >= 4 && odd * 10 > n * 7 && even * 10 < n) {
        return Encoding::utf16_le;
    }
    if (n >= 4 && even * 10 > n * 7 && odd * 10 < n) {
        return Encoding::utf16_be;
    }
    return std::nullopt;
}

bool is_plain(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
}

// Whether a line has characters beyond ASCII and is well-formed: in Latin-1 these would have to come as a
// capital with an accent and then a sign, each time. Then what is not well-formed elsewhere is damage, not
// another encoding.
bool has_utf8_line(std::string_view text) {
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size() - 1) + 1;
        const std::string_view line = text.substr(0, end);
        if (!is_plain(line) && is_utf8(line)) {
            return true;
        }
        text.remove_prefix(end);
    }
    return false;
}

void find_encoding(std::string_view head, std::string_view tail, const ReadSettings& settings,
                   Sample& sample) {
    const auto found = [&](Encoding encoding, std::uint8_t mark, std::string why) {
        sample.byte_order_mark_bytes = mark;
        sample.encoding = {.value = encoding, .origin = Origin::guessed, .evidence = std::move(why)};
    };
    if (head.starts_with("\xef\xbb\xbf")) {
        found(Encoding::utf8, 3, "a UTF-8 byte order mark");
    } else if (head.starts_with("\xff\xfe")) {
        found(Encoding::utf16_le, 2, "a UTF-16 byte order mark, little end first");
    } else if (head.starts_with("\xfe\xff")) {
        found(Encoding::utf16_be, 2, "a UTF-16 byte order mark, big end first");
    } else if (const auto utf16 = zeros_in_every_second(head)) {
        found(*utf16, 0, "a zero in every second byte");
    } else if (is_utf8(head) && is_utf8(tail)) {
        found(Encoding::utf8, 0, is_plain(head) ? "only ASCII in the sample" : "well-formed UTF-8");
    } else if (has_utf8_line(head)) {
        found(Encoding::utf8, 0, "lines with well-formed UTF-8 beyond ASCII, beside bytes that are no text");
    } else {
        found(Encoding::latin1, 0, "bytes that are not UTF-8");
    }
    if (settings.encoding) {
        const bool same = *settings.encoding == sample.encoding.value;
        sample.byte_order_mark_bytes = same ? sample.byte_order_mark_bytes : std::uint8_t{0};
        sample.encoding = {.value = *settings.encoding, .origin = Origin::set, .evidence = "set"};
    }
}

void find_line_end(std::string_view text, Sample& sample) {
    const bool crlf = text.find("\r\n") != std::string_view::npos;
    const bool feed = text.find('\n') != std::string_view::npos;
    const bool lone = !feed && text.find('\r') != std::string_view::npos;
    sample.line_end = {.value = lone ? LineEnd::cr : LineEnd::lf,
                       .origin = Origin::guessed,
                       .evidence = lone   ? "CR and no LF"
                                   : crlf ? "CR LF"
                                          : "LF"};
}

// The records of `text`, which begins at line `line` and byte `byte` of the file.
std::vector<SampleLine> records(std::string_view text, const TextForm& form, bool ends_here,
                                std::uint64_t line) {
    std::vector<SampleLine> out;
    const char feed = form.line_feed();
    std::size_t at = 0;
    while (at < text.size()) {
        std::size_t end = text.find(feed, at);
        std::uint64_t lines = 1;
        if (end != std::string_view::npos) {
            const auto quotes_in = [&](std::size_t from, std::size_t to) {
                return std::count(text.begin() + static_cast<std::ptrdiff_t>(from),
                                  text.begin() + static_cast<std::ptrdiff_t>(to), '"');
            };
            auto quotes = quotes_in(at, end);
            std::size_t longer = end;
            std::uint64_t more = 1;
            while (quotes % 2 != 0 && more < most_lines_in_a_quote) {
                const std::size_t next = text.find(feed, longer + 1);
                if (next == std::string_view::npos) {
                    break;
                }
                quotes += quotes_in(longer, next);
                longer = next;
                ++more;
            }
            if (quotes % 2 == 0 && more > 1) {
                end = longer;
                lines = more;
            }
        }
        const bool has_line_end = end != std::string_view::npos;
        if (!has_line_end && !ends_here) {
            break; // the sample's last line is cut by us
        }
        std::string_view record = text.substr(at, (has_line_end ? end : text.size()) - at);
        if (feed == '\n' && !record.empty() && record.back() == '\r') {
            record.remove_suffix(1);
        }
        if (record.size() > longest_line) { // refused later; it says nothing about the others
            line += line == 0 ? 0 : lines;
            at = has_line_end ? end + 1 : text.size();
            continue;
        }
        out.push_back({.text = record, .line = line, .has_line_end = has_line_end});
        line += line == 0 ? 0 : lines;
        at = has_line_end ? end + 1 : text.size();
    }
    return out;
}

// Bytes of the file at which its lines begin, as far as `bytes` goes.
std::vector<std::uint64_t> line_starts(std::string_view bytes, std::uint64_t first, const TextForm& form) {
    std::vector<std::uint64_t> starts{first};
    const char feed = form.line_feed();
    const std::size_t unit = form.unit();
    for (std::size_t i = first; i + unit <= bytes.size(); i += unit) {
        const bool is_feed = unit == 1                             ? bytes[i] == feed
                             : form.encoding == Encoding::utf16_le ? bytes[i] == feed && bytes[i + 1] == '\0'
                                                                   : bytes[i] == '\0' && bytes[i + 1] == feed;
        if (is_feed) {
            starts.push_back(i + unit);
        }
    }
    return starts;
}

// What `head`, and `tail` where it is not the whole file, show; is_whole_file is set already.
void describe(std::string_view head, std::string_view tail, const ReadSettings& settings, Sample& sample) {
    // The tail begins anywhere: let it begin at a line.
    const auto first_feed = tail.find_first_of("\n\r");
    find_encoding(head, first_feed == std::string_view::npos ? std::string_view{} : tail.substr(first_feed),
                  settings, sample);
    TextForm form{.encoding = sample.encoding.value, .first_byte = sample.byte_order_mark_bytes};
    sample.head_text =
        std::make_unique<const std::string>(to_utf8(head.substr(form.first_byte), form.encoding));
    find_line_end(*sample.head_text, sample);
    form.line_end = sample.line_end.value;
    sample.has_quotes = sample.head_text->find('"') != std::string::npos;
    sample.head = records(*sample.head_text, form, sample.is_whole_file, 1);
    const auto starts = line_starts(head, form.first_byte, form);
    for (auto& record : sample.head) {
        record.byte = starts[std::min<std::size_t>(record.line - 1, starts.size() - 1)];
    }
    if (!tail.empty()) {
        sample.tail_text = std::make_unique<const std::string>(to_utf8(tail, form.encoding));
        sample.has_quotes = sample.has_quotes || sample.tail_text->find('"') != std::string::npos;
        const auto begin = sample.tail_text->find(form.line_feed());
        if (begin != std::string::npos) {
            sample.tail = records(std::string_view(*sample.tail_text).substr(begin + 1), form, true, 0);
        }
    }
}

Error empty_file(const std::string& file, std::string remedy) {
    return {.code = ErrorCode::bad_text,
            .found = "the file is empty",
            .expected = "a header and rows",
            .remedy = std::move(remedy),
            .place = {.file = file}};
}

} // namespace

Expected<Sample> take_sample(const TextSource& source, const ReadSettings& settings, std::size_t head_bytes) {
    if (source.bytes() == 0) {
        return fail(empty_file(source.name(), "take the file out, or copy it from the logger again"));
    }
    Sample sample;
    std::string head(std::min<std::uint64_t>(head_bytes, source.bytes()), '\0');
    std::string tail;
    const auto got = source.read(0, head);
    if (!got) {
        return fail(got.error());
    }
    head.resize(*got);
    sample.is_whole_file = head.size() == source.bytes();
    std::uint64_t tail_from = 0;
    if (!sample.is_whole_file) {
        tail_from = std::max<std::uint64_t>(
            head.size(), source.bytes() - std::min<std::uint64_t>(tail_bytes, source.bytes()));
        tail_from += tail_from % 2; // a code unit of UTF-16
        tail.resize(source.bytes() - std::min(tail_from, source.bytes()));
        const auto got_tail = source.read(tail_from, tail);
        if (!got_tail) {
            return fail(got_tail.error());
        }
        tail.resize(*got_tail);
    }
    describe(head, tail, settings, sample);
    return sample;
}

Expected<Sample> sample_of(std::string_view bytes, const ReadSettings& settings, const std::string& file) {
    if (bytes.empty()) {
        return fail(empty_file(file, "export it again"));
    }
    Sample sample;
    sample.is_whole_file = true;
    describe(bytes, {}, settings, sample);
    return sample;
}

} // namespace backeddy::intake
