#pragma once
// A second journal in another folder that follows the first, and the way back from it.
//
//   begin_copy(*journal, "/media/stick/voe");      // once, by a person's word
//   Copy copy("/media/stick/voe");
//   copy.follow(*journal);                         // after each append, and from time to time
//   if (copy.state().trouble) ...                  // behind, and why: work goes on
//   restore(folder / journal_name, copy_file);     // a new journal, or a damaged one set aside

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "store/journal.hpp"

namespace backeddy::store {

/// The copy's name in its folder.
inline constexpr const char* copy_name = "journal_copy.sqlite";

/// Makes the copy, empty, in `folder`, or finds the one that this journal has there. Only this makes one, so
/// that a disk that is not plugged in is never taken for an empty one. Fails with bad_relation where another
/// study's copy is there, or where the folder is the journal's own.
[[nodiscard]] Expected<void> begin_copy(const Journal& journal, const std::filesystem::path& folder,
                                        JournalOptions options = {});

/// A sentence where both are on one disk, which takes both with it when it fails.
[[nodiscard]] std::optional<std::string> same_disk_warning(const std::filesystem::path& journal_file,
                                                           const std::filesystem::path& folder);

struct CopyState {
    std::int64_t behind = 0;         ///< entries of the journal that the copy is not known to have
    std::optional<Error> trouble;    ///< why it is behind
    std::optional<Instant> complete; ///< when it last had everything
};

/// Follows a journal. It writes to a disk that may be slow: a program that must not wait has it on a thread
/// of its own, with a Journal of its own opened to be read.
class Copy {
  public:
    explicit Copy(const std::filesystem::path& folder, JournalOptions options = {});

    /// Copies what the copy lacks. A disk that is away, full or failing stops nothing: the state says so, and
    /// the next call tries again from what is there then.
    const CopyState& follow(const Journal& journal);
    [[nodiscard]] const CopyState& state() const { return state_; }

  private:
    Expected<void> copy_all(const Journal& journal);
    Expected<void> open_for(const Journal& journal);
    std::filesystem::path file_;
    JournalOptions options_;
    std::optional<Journal> copy_;
    Position sent_{}; ///< of the journal: what has been sent since the copy was opened
    Position has_{};  ///< of the copy: the last there is; it has nothing that the journal has not
    CopyState state_;
};

struct Restored {
    std::size_t from_journal = 0; ///< entries that were read in the journal that was there
    std::size_t from_copy = 0;    ///< entries that only the copy had
    std::vector<Conflict> conflicts;
    std::vector<std::string> damage;                ///< what was wrong with either, in words
    std::optional<std::filesystem::path> set_aside; ///< where the damaged journal is now
};

/// Brings a study's journal back. One that is sound gets what the copy has more; one that is damaged is
/// replaced by a new one of all that can be read in it (salvage.hpp) and all that the copy has, and is kept
/// under the name set_aside, with its log; where there is none, the copy's entries make one. May be called
/// again after it was interrupted; until then Journal::open refuses. No program may have the journal open.
/// Every device that wrote to the old journal here takes a new DeviceId. `copy`: none to do without. Fails
/// with bad_relation for another study's copy, file_missing where there is nothing to restore from, and as
/// Journal does.
[[nodiscard]] Expected<Restored> restore(const std::filesystem::path& file,
                                         const std::optional<std::filesystem::path>& copy,
                                         JournalOptions options = {});

} // namespace backeddy::store
