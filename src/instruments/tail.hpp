#pragma once
// Where to read on in a file that somebody else writes. Pure: what was seen of the file goes in, what to do
// comes out; device files and sizes are asked elsewhere.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace backeddy::instruments {

/// Which file it is, whatever its name.
struct FileIdentity {
    std::uint64_t device = 0;
    std::uint64_t number = 0; ///< its inode
    friend bool operator==(const FileIdentity&, const FileIdentity&) = default;
};

/// What is known of the bytes that were read: how many, and the last of them.
class TailPlace {
  public:
    /// As many of the last bytes are remembered. They tell a file that was cut and has grown again from one
    /// that only grew.
    static constexpr std::size_t remembered = 64;

    TailPlace() = default;
    explicit TailPlace(std::uint64_t offset) : offset_(offset) {}

    [[nodiscard]] std::uint64_t offset() const { return offset_; }
    [[nodiscard]] const std::string& behind() const { return behind_; }
    /// Reads on by these bytes.
    void advance(std::string_view bytes);

  private:
    std::uint64_t offset_ = 0;
    std::string behind_; ///< the last bytes before the offset that were read
};

/// What one look at the open file and at its path showed.
struct TailSeen {
    std::uint64_t size = 0;           ///< of the open file
    std::string behind;               ///< what now stands before the place, as many bytes as it remembers
    std::optional<FileIdentity> open; ///< nothing when no file is open
    std::optional<FileIdentity> under_path; ///< nothing when there is none
};

enum class TailStep : std::uint8_t {
    wait,          ///< nothing new
    read_on,       ///< from the place to the end of the open file
    begin_anew,    ///< the open file was cut short or written over: from its first byte
    open_the_path, ///< the open file has been read to its end and another stands under the path, or none was
                   ///< open
};

/// Rotation never loses what was written to the old file before its name was taken away: it is read to its
/// end first. A file cut short in place loses what was not yet read; nobody can know how much.
[[nodiscard]] TailStep next_step(const TailPlace& place, const TailSeen& seen);

} // namespace backeddy::instruments
