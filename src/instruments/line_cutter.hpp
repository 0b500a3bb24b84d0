#pragma once
// Bytes as they come, cut into lines. Pure: no device, no clock.

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace backeddy::instruments {

/// A longer line is no line (choice): 256 channels of 16 letters fit.
inline constexpr std::size_t longest_line = 4096;

/// A line without its end, or bytes that were none.
struct Cut {
    std::string bytes; ///< of a piece that is no line at most the first 256 bytes
    std::uint64_t length = 0;
    std::string complaint; ///< empty for a line; otherwise why these bytes are none
    friend bool operator==(const Cut&, const Cut&) = default;
};

/// CR, LF and CR LF each end a line; empty lines are left out. However the bytes are split into packets, the
/// same lines come. Holds at most `longest_line` bytes.
class LineCutter {
  public:
    enum class Begin : std::uint8_t {
        at_a_line,   ///< the first byte begins a line: a file, an answer to a question
        in_midst_of, ///< a sender that was speaking already: what comes before the first line end could be
                     ///< the tail of a number, and is left out without a complaint
    };
    explicit LineCutter(Begin begin) : begin_(begin), skips_(begin == Begin::in_midst_of) {}

    [[nodiscard]] std::vector<Cut> feed(std::string_view bytes);
    /// The bytes end here: what stands without a line end is a complaint. Then as newly made.
    [[nodiscard]] std::vector<Cut> finish();

  private:
    void end_line(std::vector<Cut>& out);
    void take(std::string_view piece, std::vector<Cut>& out);

    Begin begin_;
    bool skips_;            ///< before the first line end
    bool too_long_ = false; ///< in a line that was complained of
    std::string pending_;
};

} // namespace backeddy::instruments
