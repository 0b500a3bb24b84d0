#include "intake/detail/text_source.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.hpp"

namespace backeddy::intake {

namespace {

Error unreadable(const std::string& file, int reason) {
    return {.code = reason == ENOENT ? ErrorCode::file_missing : ErrorCode::file_unreadable,
            .found = reason == ENOENT ? "there is no such file"
                                      : fmt::format("cannot be read ({})", std::strerror(reason)),
            .expected = "a file that this user may read",
            .remedy = "check its name and its permissions",
            .place = {.file = file}};
}

void put(std::string& out, char32_t c) {
    if (c < 0x80) {
        out += static_cast<char>(c);
    } else if (c < 0x800) {
        out += static_cast<char>(0xc0 | (c >> 6));
        out += static_cast<char>(0x80 | (c & 0x3f));
    } else if (c < 0x10000) {
        out += static_cast<char>(0xe0 | (c >> 12));
        out += static_cast<char>(0x80 | ((c >> 6) & 0x3f));
        out += static_cast<char>(0x80 | (c & 0x3f));
    } else {
        out += static_cast<char>(0xf0 | (c >> 18));
        out += static_cast<char>(0x80 | ((c >> 12) & 0x3f));
        out += static_cast<char>(0x80 | ((c >> 6) & 0x3f));
        out += static_cast<char>(0x80 | (c & 0x3f));
    }
}

constexpr char32_t replacement = 0xfffd;

// Windows-1252, 0x80 to 0x9f (the WHATWG Encoding Standard's table for the label "latin1").
constexpr std::array<char32_t, 32> windows_1252{
    0x20ac, 0x81,   0x201a, 0x0192, 0x201e, 0x2026, 0x2020, 0x2021, 0x02c6, 0x2030, 0x0160,
    0x2039, 0x0152, 0x8d,   0x017d, 0x8f,   0x90,   0x2018, 0x2019, 0x201c, 0x201d, 0x2022,
    0x2013, 0x2014, 0x02dc, 0x2122, 0x0161, 0x203a, 0x0153, 0x9d,   0x017e, 0x0178};

std::string utf16_to_utf8(std::string_view bytes, bool little) {
    std::string out;
    out.reserve(bytes.size() / 2);
    const auto unit_at = [&](std::size_t i) {
        const auto a = static_cast<unsigned char>(bytes[i]);
        const auto b = static_cast<unsigned char>(bytes[i + 1]);
        return static_cast<char32_t>(little ? a | (b << 8) : (a << 8) | b);
    };
    std::size_t i = 0;
    for (; i + 1 < bytes.size(); i += 2) {
        char32_t c = unit_at(i);
        if (c >= 0xd800 && c < 0xdc00 && i + 3 < bytes.size()) {
            const char32_t low = unit_at(i + 2);
            if (low >= 0xdc00 && low < 0xe000) {
                c = 0x10000 + ((c - 0xd800) << 10) + (low - 0xdc00);
                i += 2;
            }
        }
        put(out, c >= 0xd800 && c < 0xe000 ? replacement : c);
    }
    if (i < bytes.size()) {
        put(out, replacement);
    }
    return out;
}

// Offset just past the first line end at or after `at`, or npos. `at` is on a code unit.
std::size_t after_line_end(std::string_view bytes, std::size_t at, const TextForm& form) {
    const char wanted = form.line_feed();
    if (form.unit() == 1) {
        const auto found = bytes.find(wanted, at);
        return found == std::string_view::npos ? found : found + 1;
    }
    const std::size_t low = form.encoding == Encoding::utf16_le ? 0 : 1;
    for (; at + 1 < bytes.size(); at += 2) {
        if (bytes[at + low] == wanted && bytes[at + 1 - low] == '\0') {
            return at + 2;
        }
    }
    return std::string_view::npos;
}

// So many bytes of a line are held at most: in any encoding more than longest_line of UTF-8.
constexpr std::size_t most_held = (2 * longest_line) + 64;

// Where the last line begins that begins in [begin, limit) of `bytes`.
std::size_t last_line_start(std::string_view bytes, std::size_t begin, std::size_t limit,
                            const TextForm& form) {
    const std::size_t unit = form.unit();
    const std::size_t low = form.encoding == Encoding::utf16_be ? 1 : 0;
    for (std::size_t at = std::min(limit, bytes.size()) / unit * unit; at >= begin + (2 * unit);) {
        at -= unit; // a line end here begins a line at at + unit, which must lie before the limit
        const bool is_feed =
            bytes[at - unit + low] == form.line_feed() && (unit == 1 || bytes[at - unit + 1 - low] == '\0');
        if (is_feed) {
            return at;
        }
    }
    return begin;
}

} // namespace

Expected<TextSource> TextSource::open(const std::filesystem::path& path) {
    // Without O_NONBLOCK, opening a pipe waits for somebody to write into it.
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) {
        return fail(unreadable(path.string(), errno));
    }
    struct stat status{};
    if (::fstat(descriptor, &status) != 0 || !S_ISREG(status.st_mode)) {
        ::close(descriptor);
        return fail({.code = ErrorCode::file_unreadable,
                     .found = what_it_is(status.st_mode) + ", not a file",
                     .expected = "a logger's file",
                     .remedy = "copy the logger's data into a file and name that",
                     .place = {.file = path.string()}});
    }
    return TextSource(descriptor, static_cast<std::uint64_t>(status.st_size), path.string());
}

TextSource::TextSource(TextSource&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)), bytes_(other.bytes_), name_(std::move(other.name_)) {
}

TextSource& TextSource::operator=(TextSource&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    std::swap(bytes_, other.bytes_);
    std::swap(name_, other.name_);
    return *this;
}

TextSource::~TextSource() {
    if (descriptor_ >= 0) {
        ::close(descriptor_);
    }
}

Expected<std::size_t> TextSource::read(std::uint64_t from, std::span<char> into) const {
    std::size_t done = 0;
    while (done < into.size()) {
        const ssize_t got =
            ::pread(descriptor_, into.data() + done, into.size() - done, static_cast<off_t>(from + done));
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            return fail(unreadable(name_, errno));
        }
        if (got == 0) {
            break;
        }
        done += static_cast<std::size_t>(got);
    }
    return done;
}

Expected<void> LineBlock::load(const TextSource& source, const TextForm& form, BlockStart start,
                               std::uint64_t from, std::uint64_t to) {
    to = std::min(to, source.bytes());
    // One unit earlier, to see whether a line begins at `from` itself.
    const std::size_t back = start == BlockStart::find_line && from > form.first_byte ? form.unit() : 0;
    const std::uint64_t base = from - back;
    std::size_t wanted = (to - base) + 512;
    std::size_t have = 0;
    std::size_t end = std::string_view::npos;
    std::size_t begin = 0;
    const bool cuts = start == BlockStart::exact && to - base > 4 * most_held;
    if (cuts) {
        auto held = load_cut(source, form, base, to);
        if (!held) {
            return fail(std::move(held).error());
        }
        have = *held;
        end = have;
    }
    while (!cuts) {
        if (buffer_.size() < wanted + padding) {
            buffer_.resize(wanted + padding);
        }
        const auto got = source.read(base + have, std::span(buffer_).subspan(have, wanted - have));
        if (!got) {
            return fail(got.error());
        }
        have += *got;
        const std::string_view bytes(buffer_.data(), have);
        if (start == BlockStart::exact) {
            end = std::min<std::size_t>(to - base, have);
            break;
        }
        const std::size_t last_unit =
            (to - base - std::min<std::uint64_t>(form.unit(), to - base)) / form.unit();
        end = to > base ? after_line_end(bytes, last_unit * form.unit(), form) : 0;
        if (end != std::string_view::npos || have < wanted) {
            break;
        }
        // A very long line. Where it began in an earlier block it is nothing to this one; where it begins in
        // this one, so much of it is enough to refuse it.
        if (back != 0) {
            begin = after_line_end(bytes, 0, form);
        }
        if (begin == std::string_view::npos || base + begin >= to) {
            end = begin = std::min<std::size_t>(to - base, have);
            break;
        }
        const std::size_t last = last_line_start(bytes, begin, to - base, form);
        if (have - last > most_held) {
            end = last + most_held;
            break;
        }
        wanted += std::max<std::size_t>(wanted / 2, 4096);
    }
    ends_in_line_end_ = end != std::string_view::npos;
    std::string_view bytes(buffer_.data(), ends_in_line_end_ ? end : have);
    if (start == BlockStart::exact) {
        ends_in_line_end_ = bytes.size() >= form.unit() &&
                            after_line_end(bytes, bytes.size() - form.unit(), form) == bytes.size();
    }
    raw_ = std::as_bytes(std::span(buffer_.data() + back, std::min<std::size_t>(to - from, have - back)));
    begin = 0;
    if (back != 0) {
        begin = after_line_end(bytes, 0, form);
        if (begin == std::string_view::npos || base + begin >= to) {
            begin = bytes.size(); // no line begins here
        }
    }
    text_byte_ = base + begin;
    bytes.remove_prefix(begin);
    const bool plain = form.encoding == Encoding::utf8;
    if (plain) {
        // What follows the text is the next block's; the padding is only there to be read over.
        std::memset(buffer_.data() + have, 0, padding);
        text_ = bytes;
        return {};
    }
    decoded_ = to_utf8(bytes, form.encoding);
    const std::size_t length = decoded_.size();
    decoded_.append(padding, '\0');
    text_ = std::string_view(decoded_).substr(0, length);
    return {};
}

Expected<std::size_t> LineBlock::load_cut(const TextSource& source, const TextForm& form, std::uint64_t from,
                                          std::uint64_t to) {
    std::vector<char> piece(std::size_t{1} << 20);
    buffer_.clear();
    std::size_t of_line = 0; // bytes of the present line that are held
    while (from < to) {
        const auto got =
            source.read(from, std::span(piece).first(std::min<std::size_t>(piece.size(), to - from)));
        if (!got) {
            return fail(got.error());
        }
        if (*got == 0) {
            break;
        }
        from += *got;
        for (std::string_view rest(piece.data(), *got); !rest.empty();) {
            const std::size_t feed = rest.find(form.line_feed());
            const std::size_t length = std::min(feed, rest.size());
            const std::size_t more = std::min(length, most_held - of_line);
            buffer_.insert(buffer_.end(), rest.begin(), rest.begin() + static_cast<std::ptrdiff_t>(more));
            of_line += more;
            rest.remove_prefix(length);
            if (!rest.empty()) {
                buffer_.push_back(form.line_feed());
                of_line = 0;
                rest.remove_prefix(1);
            }
        }
    }
    const std::size_t have = buffer_.size();
    buffer_.resize(have + padding);
    return have;
}

std::string to_utf8(std::string_view bytes, Encoding encoding) {
    switch (encoding) {
    case Encoding::utf8:
        return std::string(bytes);
    case Encoding::utf16_le:
        return utf16_to_utf8(bytes, true);
    case Encoding::utf16_be:
        return utf16_to_utf8(bytes, false);
    case Encoding::latin1:
        break;
    }
    std::string out;
    out.reserve(bytes.size() + 64);
    for (const char byte : bytes) {
        const auto c = static_cast<unsigned char>(byte);
        put(out, c >= 0x80 && c < 0xa0 ? windows_1252[c - 0x80] : c);
    }
    return out;
}

bool is_utf8(std::string_view text) {
    for (std::size_t i = 0; i < text.size();) {
        const auto c = static_cast<unsigned char>(text[i]);
        const std::size_t length = c < 0x80                ? 1
                                   : c >= 0xc2 && c < 0xe0 ? 2
                                   : c >= 0xe0 && c < 0xf0 ? 3
                                   : c >= 0xf0 && c < 0xf5 ? 4
                                                           : 0;
        if (length == 0) {
            return false;
        }
        for (std::size_t k = 1; k < length && i + k < text.size(); ++k) {
            const auto next = static_cast<unsigned char>(text[i + k]);
            const bool overlong_or_surrogate =
                k == 1 && ((c == 0xe0 && next < 0xa0) || (c == 0xed && next >= 0xa0) ||
                           (c == 0xf0 && next < 0x90) || (c == 0xf4 && next >= 0x90));
            if ((next & 0xc0) != 0x80 || overlong_or_surrogate) {
                return false;
            }
        }
        i += length;
    }
    return true;
}

std::string shown(std::string_view line) {
    constexpr std::size_t limit = 400;
    const bool text = is_utf8(line);
    std::string out;
    std::size_t i = 0;
    for (; i < line.size(); ++i) {
        const auto c = static_cast<unsigned char>(line[i]);
        // Never cut inside a character.
        if (out.size() >= limit && (c & 0xc0) != 0x80) {
            break;
        }
        if (c < 0x20 || c == 0x7f || (c >= 0x80 && !text)) {
            out += c == '\t' ? "\t" : fmt::format("\\x{:02x}", c);
        } else {
            out += line[i];
        }
    }
    if (i < line.size()) {
        out += fmt::format("... ({} bytes in all)", line.size());
    }
    return out;
}

std::string shown_beginning(std::string_view line) {
    return shown(line.substr(0, 200)) + "...";
}

} // namespace backeddy::intake
