#pragma once
// Bytes of a file to whole lines of UTF-8, block by block, so that blocks can be read on any thread.

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/dialect.hpp"

namespace backeddy::intake {

/// A file open for reading at any place, from any thread.
class TextSource {
  public:
    static Expected<TextSource> open(const std::filesystem::path& path);
    TextSource(TextSource&& other) noexcept;
    TextSource& operator=(TextSource&& other) noexcept;
    TextSource(const TextSource&) = delete;
    TextSource& operator=(const TextSource&) = delete;
    ~TextSource();

    [[nodiscard]] std::uint64_t bytes() const { return bytes_; }
    [[nodiscard]] const std::string& name() const { return name_; }
    /// Fills `into` from byte `from` on; gives how many bytes there were (fewer only at the end of the file).
    [[nodiscard]] Expected<std::size_t> read(std::uint64_t from, std::span<char> into) const;

  private:
    TextSource(int descriptor, std::uint64_t bytes, std::string name)
        : descriptor_(descriptor), bytes_(bytes), name_(std::move(name)) {}
    int descriptor_ = -1;
    std::uint64_t bytes_ = 0;
    std::string name_;
};

/// How bytes become lines.
struct TextForm {
    Encoding encoding = Encoding::utf8;
    LineEnd line_end = LineEnd::lf;
    std::uint64_t first_byte = 0; ///< of the text that counts: the first data line

    [[nodiscard]] std::size_t unit() const {
        return encoding == Encoding::utf16_le || encoding == Encoding::utf16_be ? 2 : 1;
    }
    [[nodiscard]] char line_feed() const { return line_end == LineEnd::lf ? '\n' : '\r'; }
};

/// Where in a block's search a line may begin.
enum class BlockStart : std::uint8_t {
    find_line, ///< at the first line that begins in it
    exact,     ///< at its first byte (record starts are known)
};

/// A line of more bytes of UTF-8 than this is no row of a logger: it is refused, and no more than twice as
/// much of it is ever held.
inline constexpr std::size_t longest_line = std::size_t{1} << 20;

/// The lines that begin in one stretch of the file. `text` is UTF-8, followed by at least 64 bytes of zeros
/// that may be read and are not part of it.
class LineBlock {
  public:
    static constexpr std::size_t padding = 64;

    /// Lines that begin in [from, to). `from` and `to` must lie on code units. Of a line that is longer than
    /// longest_line only a beginning, longer than that too, may be there.
    [[nodiscard]] Expected<void> load(const TextSource& source, const TextForm& form, BlockStart start,
                                      std::uint64_t from, std::uint64_t to);
    [[nodiscard]] std::string_view text() const { return text_; }
    [[nodiscard]] std::uint64_t text_byte() const {
        return text_byte_;
    } ///< where the text begins in the file
    /// The bytes of [from, to) as they stand, for hashing.
    [[nodiscard]] std::span<const std::byte> raw() const { return raw_; }
    [[nodiscard]] bool ends_in_line_end() const { return ends_in_line_end_; }

  private:
    /// The bytes of [from, to), of each line as many as are held: how many they are.
    [[nodiscard]] Expected<std::size_t> load_cut(const TextSource& source, const TextForm& form,
                                                 std::uint64_t from, std::uint64_t to);
    std::vector<char> buffer_;
    std::string decoded_;
    std::string_view text_;
    std::uint64_t text_byte_ = 0;
    std::span<const std::byte> raw_;
    bool ends_in_line_end_ = true;
};

/// `bytes` in `encoding` as UTF-8. Latin-1's 0x80-0x9f are read as Windows-1252, which is what such files
/// mean; a lone surrogate or half a unit becomes U+FFFD.
[[nodiscard]] std::string to_utf8(std::string_view bytes, Encoding encoding);

/// Whether all of `text` is well-formed UTF-8 (a character cut at the very end counts as well-formed).
[[nodiscard]] bool is_utf8(std::string_view text);

/// The text of a line for a list: unprintable bytes as \x00, cut after 400 characters with the full length
/// named.
[[nodiscard]] std::string shown(std::string_view line);

/// The beginning of a line longer than longest_line, for a list: the same however much of it is held.
[[nodiscard]] std::string shown_beginning(std::string_view line);

} // namespace backeddy::intake
