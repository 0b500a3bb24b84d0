#pragma once
// The payload of a message to a reading: a plain number, or a value inside JSON at a pointer (RFC 6901).
// Pure.

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "instruments/channel.hpp"

namespace backeddy::instruments {

/// Longer payloads are refused unread (choice).
inline constexpr std::size_t longest_payload = std::size_t{64} * 1024;

/// "/tubes/0/oxygen" in its parts, escapes undone: "~1" is '/', "~0" is '~'. The empty pointer is the whole.
class JsonPointer {
  public:
    JsonPointer() = default;
    /// Fails with bad_setting where the text is neither empty nor begins with '/', or a '~' is no escape.
    [[nodiscard]] static Expected<JsonPointer> parse(std::string_view text);
    [[nodiscard]] const std::vector<std::string>& parts() const { return parts_; }

  private:
    std::vector<std::string> parts_;
};

struct PayloadChannel {
    Channel channel;
    std::string topic;
    std::optional<JsonPointer> pointer; ///< nothing for a plain number
    std::optional<JsonPointer> time; ///< the device's own: ISO 8601 text, or a number of seconds since 1970
};

struct PayloadRead {
    std::optional<Reading> reading;
    std::string complaint; ///< why there is none
};

/// What the payload says of the channel. Whatever the bytes, a reading or a complaint. Numbers inside JSON
/// may stand in quotes; null is "the device has none". An array's index has no leading zero; "-", the place
/// behind the last, is nowhere.
[[nodiscard]] PayloadRead read_payload(const PayloadChannel& channel, std::string_view payload,
                                       const Stamp& received);

} // namespace backeddy::instruments
