#pragma once
// Secrets: made, compared and named without being told.

#include <string>
#include <string_view>

namespace backeddy::server {

/// Before libsodium is used; as often as you like.
void start_sodium();

/// 256 random bits as 43 characters of URL-safe base64.
[[nodiscard]] std::string random_secret();

/// Takes the same time wherever they differ. Of different lengths they differ, and that may show.
[[nodiscard]] bool same_secret(std::string_view a, std::string_view b);

} // namespace backeddy::server
