#pragma once
// One entry of the journal: who did what, on which device, when, and why. Plain values.

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/error.hpp"
#include "store/hybrid_time.hpp"

namespace backeddy::store {

/// A phone, tablet or laptop that writes entries: 64 bits made at random once, when it first writes; in files
/// and messages 16 lower-case hexadecimal digits. Never copied to a second device: after a restore the device
/// takes a new one, since what it had written last may live on elsewhere.
class DeviceId {
  public:
    DeviceId() = default;
    /// From the machine's source of randomness.
    [[nodiscard]] static DeviceId random();
    /// Nothing unless it is exactly 16 digits 0-9, a-f.
    [[nodiscard]] static std::optional<DeviceId> parse(std::string_view text);
    [[nodiscard]] std::string text() const;
    friend auto operator<=>(const DeviceId&, const DeviceId&) = default; ///< as their texts

  private:
    std::uint64_t bits_ = 0;
};

/// Which entry: the device that wrote it and its own count of entries, from 1 and without gaps.
struct EntryId {
    DeviceId device;
    std::uint64_t sequence = 0;

    friend auto operator<=>(const EntryId&, const EntryId&) = default;
};

/// "entry 12 of device 00c0ffee00c0ffee"
[[nodiscard]] std::string text_of(const EntryId& id);

/// When, by the device's own clocks. Two moments of one boot are as far apart as their monotonic times say,
/// even where somebody set the wall clock between them.
struct DeviceMoment {
    std::int64_t wall_us = 0;                    ///< microseconds since 1970 UTC, as the device showed them
    std::int64_t monotonic_us = 0;               ///< microseconds since the device (or its page) started
    std::string boot;                            ///< names that start; the device's own word
    std::optional<std::int64_t> clock_offset_us; ///< server minus device, where it has been measured

    friend bool operator==(const DeviceMoment&, const DeviceMoment&) = default;
};

enum class Role : std::uint8_t { crew, scientist, viewer };

/// "crew", "scientist", "viewer", and back.
[[nodiscard]] std::string_view name_of(Role role);
[[nodiscard]] std::optional<Role> parse_role(std::string_view text);

struct Entry {
    EntryId id;
    HybridTime time;
    DeviceMoment moment;
    std::string author;
    Role role = Role::crew;
    std::string act;     ///< a word: "hook_up", "undo", "move_boundary" ...
    std::string content; ///< JSON text; the store keeps it and does not interpret it
    std::string reason;

    friend bool operator==(const Entry&, const Entry&) = default;
};

/// The order of entries: hybrid time, then device, then sequence. Total, and the same whatever the order in
/// which they arrived.
[[nodiscard]] bool comes_before(const Entry& a, const Entry& b);

/// What an entry may hold; bytes of UTF-8. A photo is a file named by its hash, not content.
namespace limits {
inline constexpr std::size_t boot_bytes = 100;
inline constexpr std::size_t author_bytes = 200;
inline constexpr std::size_t act_bytes = 100;
inline constexpr std::size_t content_bytes = std::size_t{1} << 20;
inline constexpr std::size_t reason_bytes = 10'000;
/// 2^53 - 1, the largest whole number that a page's numbers hold exactly: of sequences and of times (in
/// microseconds that is the year 2255).
inline constexpr std::int64_t whole_number = 9'007'199'254'740'991;
} // namespace limits

/// Whether the entry may stand in a journal: a sequence from 1, times from 0 (an offset from -2^53 + 1) to
/// 2^53 - 1, author and act given, texts within limits and valid UTF-8 without NUL. Fails with out_of_range
/// or bad_text, naming the entry and the field.
[[nodiscard]] Expected<void> check(const Entry& entry);

/// The bytes that an entry's hash is of: "backeddy entry 1\n", then for each field in the order of
/// docs/journal.md its length in bytes in decimal, ':', its text, '\n'. Two entries are the same if and only
/// if these are.
[[nodiscard]] std::string canonical_bytes(const Entry& entry);

/// SHA-256 of them: 64 lower-case hexadecimal digits.
[[nodiscard]] std::string sha256_of(const Entry& entry);

} // namespace backeddy::store
