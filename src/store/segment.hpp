#pragma once
// What the instruments' wires said, kept byte for byte as it came: files of blocks that are only ever
// appended to, in a folder of their own. Samples are no journal entries: there are too many, and nobody edits
// them.
//
//   auto writer = SegmentWriter::open(folder, head);       // one program at a time
//   auto number = writer->hear({.source = 0, .received = now, .monotonic_ns = tick, .bytes = line});
//   auto through = writer->commit();                       // all that was heard is on disk when it returns
//
//   SegmentReader reader(folder);                          // any program, also while another writes
//   auto news = reader.read(through);                      // what came since the last read
//
// docs/segments.md has format and promises.

#include <cstdint>
#include <deque>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "store/append_file.hpp"

namespace backeddy::store {

/// In a study's folder: what its watch heard and knows. It grows all the time while a watch runs, and no
/// number of the study comes from it.
inline constexpr const char* watch_folder = "watch";

/// Something that came off a wire.
struct Heard {
    std::uint64_t number = 0;      ///< from 1 within a folder, without gaps; given by the writer
    std::uint16_t source = 0;      ///< index into SegmentHead::sources
    Instant received;              ///< by the machine's wall clock
    std::int64_t monotonic_ns = 0; ///< by the machine's monotonic clock, which counts from its start
    std::string bytes;             ///< 1 to most_heard_bytes

    friend bool operator==(const Heard&, const Heard&) = default;
};

/// What stands at the beginning of each file, so that each can be read alone.
struct SegmentHead {
    std::string program;              ///< name and version of the program that wrote it
    std::string boot;                 ///< the machine's boot id: monotonic times count within it
    std::string station_sha256;       ///< of the station file that says how bytes become readings
    std::vector<std::string> sources; ///< the devices' names there

    friend bool operator==(const SegmentHead&, const SegmentHead&) = default;
};

inline constexpr std::size_t most_heard_bytes = std::size_t{64} << 10;
/// The largest head, its names and all, in bytes.
inline constexpr std::size_t most_head_bytes = std::size_t{256} << 10;

struct SegmentOptions {
    /// A file that has grown to this is followed by the next (choice: a day of a dozen chambers).
    std::uint64_t file_bytes = std::uint64_t{64} << 20;
    /// What may wait in memory while the disk takes nothing (choice: hours of a dozen chambers).
    std::size_t waiting_bytes = std::size_t{64} << 20;
    std::shared_ptr<FileLayer> layer; ///< empty: the machine's files. Tests cut the power in theirs.
};

/// The one writer of a folder. Used by one thread.
class SegmentWriter {
  public:
    /// Makes the folder where it is not there, and begins a new file with the first commit: one that was left
    /// by a crash is never touched again. Fails with cannot_write (also where another program has the folder,
    /// or it cannot be made), file_unreadable where what is there cannot be read, and bad_setting for a head
    /// over most_head_bytes.
    static Expected<SegmentWriter> open(const std::filesystem::path& folder, SegmentHead head,
                                        SegmentOptions options = {});
    ~SegmentWriter();
    SegmentWriter(SegmentWriter&&) noexcept;
    SegmentWriter& operator=(SegmentWriter&&) noexcept;
    SegmentWriter(const SegmentWriter&) = delete;
    SegmentWriter& operator=(const SegmentWriter&) = delete;

    /// Takes it into memory and gives its number; `heard.number` is not read. Fails with cannot_write where
    /// the disk has taken nothing for so long that options.waiting_bytes are full, and with out_of_range for
    /// a source that the head does not name or bytes outside their limits; then it is not taken.
    Expected<std::uint64_t> hear(Heard heard);

    /// Puts all that waits on disk; the number of the last that is there. Fails with cannot_write; then all
    /// that waited goes on waiting, and the next call tries again in a new file (a file system may forget
    /// what a failed sync had, so nothing more is asked of the old one).
    Expected<std::uint64_t> commit();

    [[nodiscard]] std::uint64_t through() const; ///< the last number on disk, 0 for none
    [[nodiscard]] std::size_t waiting() const;   ///< pieces that are not on disk yet

  private:
    struct Self;
    explicit SegmentWriter(std::unique_ptr<Self> self);
    std::unique_ptr<Self> self_;
};

/// A stretch of a file that could not be read.
struct SegmentDamage {
    std::filesystem::path file;
    std::uint64_t at_byte = 0;
    std::uint64_t bytes = 0;
    /// The end of a file that a crash or a power cut left: nothing acknowledged was there.
    bool is_torn_end = false;
    /// Pieces that were there and are lost, first to last; none where nothing is missing.
    std::optional<std::pair<std::uint64_t, std::uint64_t>> lost;

    friend bool operator==(const SegmentDamage&, const SegmentDamage&) = default;
};

/// Follows the files of a folder from the first, or reads a finished one. Used by one thread.
class SegmentReader {
  public:
    explicit SegmentReader(std::filesystem::path folder);

    /// A piece under the head of its file; none where that is damaged.
    struct Piece {
        Heard heard;
        std::shared_ptr<const SegmentHead> head;
    };

    /// What came since the last call, in order of number, each once; at most some megabytes at a time: empty
    /// when there is nothing more. `through`: nothing after it, even where a file has it already (what a
    /// writer has not acknowledged may be gone after a power cut); all when not given. Fails with
    /// file_missing or file_unreadable; damage in a file does not fail.
    Expected<std::vector<Piece>> read(std::optional<std::uint64_t> through = {});

    /// When no writer has the folder: what is left behind the last sound block counts as damage as well.
    Expected<std::vector<Piece>> read_to_end();

    [[nodiscard]] const std::vector<SegmentDamage>& damage() const { return damage_; }
    /// The number of the last piece that was given, 0 for none.
    [[nodiscard]] std::uint64_t last() const { return last_; }

  private:
    Expected<std::vector<Piece>> read_some(std::uint64_t through, bool is_finished);
    [[nodiscard]] std::filesystem::path path() const;
    Expected<void> look_for_later_files();
    [[nodiscard]] bool skip_damage(bool is_final);
    void tell_lost(std::uint64_t first);
    std::filesystem::path folder_;
    std::uint64_t file_ = 0;          ///< the counter in its name, 0 before the first
    std::uint64_t at_ = 0;            ///< where its next block begins
    std::deque<std::uint64_t> later_; ///< files behind it, as far as they were looked for
    std::uint64_t last_ = 0;
    bool is_after_damage_ = false; ///< the last thing met was damage_.back()
    std::shared_ptr<const SegmentHead> head_;
    std::vector<SegmentDamage> damage_;
};

} // namespace backeddy::store
