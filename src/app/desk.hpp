#pragma once
// Start here for the pages: a study that stays open. Whatever is saved in its folder is answered again, every
// answer has a revision. The first is written into the folder's `results`, as `run` does it, before it is
// shown: who has seen numbers has left a trace of it. Later ones follow there when a moment is quiet, and the
// last when the desk is closed.
//
//   Desk desk({.folder = "my-study", .on_change = [&](const DeskState& state) { tell_the_pages(state); }});
//   if (auto answer = desk.answer()) send(answer->results.file("results.json")->bytes);

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "app/ask.hpp"
#include "app/journal.hpp"
#include "app/result_set.hpp"
#include "base/error.hpp"
#include "base/parallel.hpp"
#include "report/results.hpp"
#include "series/instant.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

enum class DeskPhase : std::uint8_t {
    reading,   ///< the folder's files are being read
    computing, ///< they are being answered
    ready,     ///< the answer is that of the folder as it stands
    stopped,   ///< complaints stop the run; the answer, if there is one, is an earlier one
};

/// "reading", "computing", "ready", "stopped".
[[nodiscard]] std::string_view word(DeskPhase phase);

/// Where the work stands, for a person who waits.
struct DeskState {
    DeskPhase phase = DeskPhase::reading;
    std::string what; ///< of the work: "reading", "stays"; empty when none is being done
    std::size_t done = 0;
    std::size_t total = 0; ///< 0: unknown
    std::string unit;
    std::uint64_t revision = 0; ///< of the answer held; 0: none yet
    std::optional<Instant> answered_at;
    std::size_t entries =
        0; ///< of the journal: this many were looked at for the answer, or for what stops it
    /// Of the folder as it was last read: those that stop it, and those to beware of.
    std::vector<study::Complaint> complaints;
    std::size_t followers = 0; ///< complaints left out since they only follow from others
};

/// The result set of one revision, as `run` would write it. It never changes.
struct DeskAnswer {
    DeskAnswer(std::uint64_t its_revision, Instant when, std::string title, const StudyRun& run,
               const DeskAnswer* earlier)
        : revision(its_revision), at(when), study(std::move(title)),
          results(run, earlier == nullptr ? nullptr : &earlier->results) {}

    DeskAnswer(std::uint64_t its_revision, Instant when, std::string title, std::vector<ResultFile> written)
        : revision(its_revision), at(when), study(std::move(title)), results(std::move(written)) {}

    std::uint64_t revision; ///< counts from 1 since this desk was opened
    Instant at;
    std::string study; ///< its title
    ResultSet results;
};

struct DeskWish {
    std::filesystem::path folder;
    Threads threads{};
    std::function<Instant()> now; ///< the wall clock
    /// After each change of phase or revision, and at most five times a second while work goes on. Called by
    /// a thread that works for the desk: it may ask for state() and answer(), not for trace() or why().
    std::function<void(const DeskState&)> on_change = [](const DeskState&) {};
};

/// Owns one thread, which reads and computes; everything public may be called from any thread.
class Desk {
  public:
    /// Returns at once: the first answer comes when it is computed.
    explicit Desk(DeskWish wish);
    /// Waits for the work in hand to reach its end.
    ~Desk();
    /// Begins nothing more; whether the work in hand has reached its end within so long. What is cut off by
    /// the end of the process is no loss: what was written is in the journal, and an answer is computed anew.
    [[nodiscard]] bool ends_within(std::chrono::milliseconds patience);
    Desk(const Desk&) = delete;
    Desk& operator=(const Desk&) = delete;

    [[nodiscard]] DeskState state() const;
    /// The latest; nothing while there is none.
    [[nodiscard]] std::shared_ptr<const DeskAnswer> answer() const;

    /// The readings of a stay between two moments, thinned for drawing without hiding an extreme, with the
    /// chamber's states. Fails with unknown_name for a stay that is not there (near names offered), too_few
    /// while nothing is answered or where no reading lies between the moments.
    [[nodiscard]] Expected<report::DrawnTrace> trace(const std::string& stay, Instant from, Instant to) const;
    /// As app::why; too_few while nothing is answered.
    [[nodiscard]] Expected<std::string> why(const std::string& fish, const std::string& number) const;

    /// What a question to the study as it is answered needs; too_few while nothing is answered.
    [[nodiscard]] Expected<AskedStudy> asked_study() const;

    /// Writes into the study's journal as JournalWriter::write does; what it changes is answered anew.
    [[nodiscard]] Expected<std::vector<store::EntryId>> write(const std::vector<Wished>& wishes,
                                                              const Author& author);
    /// As JournalWriter::take_in; what it changes is answered anew.
    [[nodiscard]] Expected<TakenIn> take_in(std::span<const store::Entry> entries);
    /// As arrived_since; a journal is made where there is none yet.
    [[nodiscard]] Expected<Arrivals> arrived(store::Position after, std::size_t at_most);
    /// The journal as it stands.
    [[nodiscard]] JournalRead journal() const;
    /// The journal's identity; a journal is made where there is none yet.
    [[nodiscard]] Expected<std::string> identity();
    /// The wall clock.
    [[nodiscard]] Instant now() const;
    /// Where the study is.
    [[nodiscard]] const std::filesystem::path& folder() const;

    /// How soon after a save the work begins, about.
    static constexpr std::chrono::milliseconds look_every{200};

  private:
    class Worker;
    std::unique_ptr<Worker> worker_;
};

} // namespace backeddy::app
