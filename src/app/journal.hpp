#pragma once
// The study's journal as the rest of the program reads it.

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "app/edits.hpp"
#include "report/results.hpp"
#include "store/journal.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

struct JournalRead {
    std::vector<store::Entry> entries; ///< in their order
    ReadEntries read;                  ///< one for each
    /// Of entries that were left out; one that stops a run where the journal cannot be read to its end: its
    /// edits are part of the study, and numbers without them would be others.
    std::vector<study::Complaint> complaints;
    std::optional<report::Input> input; ///< as the report lists it; nothing where there is no entry
};

/// The journal of a study's folder; empty where there is none.
[[nodiscard]] JournalRead read_journal(const std::filesystem::path& folder);

/// Entries in their order of arrival, for whoever follows.
struct Arrivals {
    std::string identity; ///< of the journal
    /// Up to where they reach: ask again with it. Less than was asked for: the journal was restored, and
    /// whoever follows begins anew.
    store::Position through{};
    std::vector<store::Entry> entries;
};

/// The next at most `at_most` after that position. Fails as store::Journal does, also where there is none.
[[nodiscard]] Expected<Arrivals> arrived_since(const std::filesystem::path& folder, store::Position after,
                                               std::size_t at_most);

/// What somebody wants to write, before it has a device, a number and a time.
struct Wished {
    std::string act;
    std::string content;
    std::string reason;
};

/// What became of entries that came from elsewhere.
struct TakenIn {
    store::Appended appended;
    /// What there is to say of them, as of their rows: at the entry's place in the order.
    std::vector<study::Complaint> complaints;
    std::vector<store::EntryId> complained_of; ///< whose they are, one for each
};

struct Author {
    std::string name;
    store::Role role = store::Role::crew;
};

/// Writes into the journal of one study, as one device of its own: each JournalWriter that is made is
/// another. Used by one thread at a time.
class JournalWriter {
  public:
    /// `now` is the wall clock. Nothing is made in the folder until something is written.
    JournalWriter(std::filesystem::path folder, std::function<Instant()> now);

    /// Writes all of `wishes` or none; on disk when it returns a value: their ids, in order. Before that they
    /// are tried: an entry that would be left out, that does not fit the tables as they stand, or that makes
    /// a complaint which stops a run where there was none, is refused with that complaint. Fails also as
    /// store::Journal does. A wish whose content has a word `wish` of its own, and of which just this stands
    /// in the journal already, is not written again; its id is that of the entry which stands: whoever got no
    /// answer may send it once more.
    [[nodiscard]] Expected<std::vector<store::EntryId>> write(const std::vector<Wished>& wishes,
                                                              const Author& author);

    /// Writes entries of other devices as they are; duplicates are harmless. Nothing is tried and nothing is
    /// refused for what it says: what cannot be laid over the tables is told by the complaints. On disk when
    /// it returns a value; more than store::most_entries_at_once go in one part after another. Fails as
    /// store::Journal does.
    [[nodiscard]] Expected<TakenIn> take_in(std::span<const store::Entry> entries);

    /// The journal's, which is made where there is none yet.
    [[nodiscard]] Expected<std::string> identity();

  private:
    [[nodiscard]] Expected<void> open();
    [[nodiscard]] std::vector<store::Entry> stamped(std::span<const store::Entry> before,
                                                    const std::vector<Wished>& wishes, const Author& author);
    [[nodiscard]] Expected<void> append(std::span<const store::Entry> before,
                                        std::span<const store::Entry> fresh);

    std::filesystem::path folder_;
    std::function<Instant()> now_;
    std::optional<store::Journal> journal_;
    store::DeviceId device_;
    std::string boot_;
    std::uint64_t written_ = 0;
    store::HybridTime time_;
};

} // namespace backeddy::app
