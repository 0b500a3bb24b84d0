#pragma once
// Secrets: made, compared and named without being told.

#include <cstddef>
#include <string>
#include <string_view>

namespace backeddy::server {

/// Before libsodium is used; as often as you like.
void start_sodium();

/// 256 random bits as 43 characters of URL-safe base64.
[[nodiscard]] std::string random_secret();

/// `length` random letters and digits that are not taken for one another when read aloud or typed: five bits
/// each.
[[nodiscard]] std::string random_code(std::size_t length);

/// Takes the same time wherever they differ. Of different lengths they differ, and that may show.
[[nodiscard]] bool same_secret(std::string_view a, std::string_view b);

} // namespace backeddy::server
