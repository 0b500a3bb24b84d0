#pragma once
// The beginning and end of a file as records, from which its dialect is found.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/detail/text_source.hpp"
#include "intake/dialect.hpp"

namespace backeddy::intake {

/// One line, or several where a quoted field runs over line ends.
struct SampleLine {
    std::string_view text;  ///< without its line end
    std::uint64_t line = 0; ///< from 1; 0 in the tail, where it is not known
    std::uint64_t byte = 0; ///< where it begins in the file; only for the head
    bool has_line_end = true;
};

struct Sample {
    Finding<Encoding> encoding;
    std::uint8_t byte_order_mark_bytes = 0;
    Finding<LineEnd> line_end;
    /// What `head` and `tail` look into, as UTF-8. By pointer, since a short string takes its characters
    /// along when it is moved, and the views would look at where they were.
    std::unique_ptr<const std::string> head_text;
    std::unique_ptr<const std::string> tail_text; ///< nothing where the head is the whole file
    std::vector<SampleLine> head;
    std::vector<SampleLine> tail;
    bool is_whole_file = false;
    bool has_quotes = false;
};

/// Reads up to `head_bytes` of the beginning and some of the end. Fails with bad_text on an empty file.
[[nodiscard]] Expected<Sample> take_sample(const TextSource& source, const ReadSettings& settings,
                                           std::size_t head_bytes);

/// The same of a whole file that is in memory; `file` is its name for the error.
[[nodiscard]] Expected<Sample> sample_of(std::string_view bytes, const ReadSettings& settings,
                                         const std::string& file);

} // namespace backeddy::intake
