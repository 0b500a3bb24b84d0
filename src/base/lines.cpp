#include "base/lines.hpp"

#include <algorithm>
#include <cstdint>

#include <fmt/format.h>

namespace backeddy {

std::optional<Error> too_long_a_line(std::string_view text, const std::string& file) {
    constexpr std::size_t longest_line = 8192;
    std::uint64_t line = 1;
    for (std::size_t at = 0; at < text.size(); ++line) {
        const auto end = std::min(text.find('\n', at), text.size());
        if (end - at > longest_line) {
            return Error{.code = ErrorCode::bad_text,
                         .found = fmt::format("a line of {} characters", end - at),
                         .expected =
                             fmt::format("lines of at most {}; a list may run over several", longest_line),
                         .remedy = "break the line",
                         .place = {.file = file, .line = line}};
        }
        at = end + 1;
    }
    return std::nullopt;
}

} // namespace backeddy
