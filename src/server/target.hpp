#pragma once
// A request's target (RFC 3986: path and query) as decoded words, and what may not stand in one.

#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "server/exchange.hpp"

namespace backeddy::server {

struct Target {
    std::vector<std::string> path; ///< decoded segments; none for "/"
    std::vector<Field> query;      ///< decoded, in order; a name without "=" has an empty text

    friend bool operator==(const Target&, const Target&) = default;
};

/// Longest target in bytes, most segments, most parts of a query.
inline constexpr std::size_t longest_target = 4096;
inline constexpr std::size_t most_segments = 16;
inline constexpr std::size_t most_query_parts = 64;

/// Percent-decoded once. In the query "+" is a space, as browsers' forms write it. Refused with bad_text:
/// what does not begin with "/", bytes that RFC 3986 does not allow, a broken escape, a segment that is
/// empty, "." or "..", an encoded slash, a backslash, a control character, what is no UTF-8, and more than
/// the limits above.
[[nodiscard]] Expected<Target> parse_target(std::string_view target);

/// The target that parse_target reads as this one.
[[nodiscard]] std::string target_text(const Target& target);

} // namespace backeddy::server
