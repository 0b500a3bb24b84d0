#pragma once
// The refused rows of a file by reason: how many, on which lines, and the first of them whole. However many
// there are, a person sees all of it and loses none.

#include <cstdint>
#include <string>
#include <vector>

#include "intake/read_report.hpp"

namespace backeddy::intake {

/// Whole stretches of lines, ends included.
struct LineRange {
    std::uint64_t first = 0;
    std::uint64_t last = 0;

    friend bool operator==(const LineRange&, const LineRange&) = default;
};

struct Refusals {
    Error reason; ///< of the first such row
    std::uint64_t rows = 0;
    std::vector<LineRange> lines;    ///< all of them, ascending, apart
    std::vector<std::size_t> listed; ///< the first, as indices into ReadReport::refused
};

/// Rows are alike when they have the same code, column and expectation. In the order of their first lines.
[[nodiscard]] std::vector<Refusals> refusals_of(const ReadReport& report, std::size_t most_listed = 200);

/// "lines 3 to 5, 9 and 12"; after `most` stretches "and 7 more stretches".
[[nodiscard]] std::string in_words(const std::vector<LineRange>& lines, std::size_t most = 50);

/// What rows of one reason have in common.
[[nodiscard]] std::string reason_key(const Error& reason);

} // namespace backeddy::intake
