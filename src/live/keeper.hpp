#pragma once
// Start here: the watch at work. The instruments' readings go to the watch's pure step and onto the disk;
// what the step commands goes to the pumps; what it finds is kept and shown to whoever looks.
//
//   instruments::Loop loop;
//   auto keeper = Keeper::start(loop, station, plan, {.samples = folder / store::watch_folder});
//   loop.run();                                   // until loop.stop()
//
//   translate.hpp      readings as control needs them     talk.hpp      what is said, as JSON
//   sample_thread.hpp  samples onto the disk              post.hpp      the socket, this side
//   recent.hpp         the last hours, to be drawn        visitor.hpp   the socket, the other side
//   machine.hpp        clocks, disk, power                plan_of_study.hpp  chambers from the study
//
// Everything here runs on the loop's thread but the sample thread. A command never waits for the disk, and
// nothing is shown whose sample is not on disk. docs/watch.md tells the whole story.

#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "base/error.hpp"
#include "instruments/loop.hpp"
#include "instruments/station.hpp"
#include "watch/plan.hpp"

namespace backeddy::live {

/// The state that survives a restart, beside the samples.
inline constexpr const char* kept_name = "watch.state";
/// Among the samples' sources: what the watch itself found, a line of JSON each (talk.hpp).
inline constexpr const char* own_source = "watch";

struct KeeperOptions {
    std::filesystem::path samples; ///< the folder of segments; made where it is not there
    std::string program;           ///< "backeddy 0.1.0"
    std::string station_sha256;
    std::function<void(std::string)> log;         ///< a line for people; empty: none
    Duration step_every = Duration::seconds(0.1); ///< steps, commits and news
    std::string boot;                             ///< empty: the machine's
};

class Keeper {
  public:
    /// Opens the samples and the socket, resumes from the kept state in the safe state (flush), and begins to
    /// speak with the instruments. The station has no complaints. Fails with bad_relation where station and
    /// plan do not fit together, bad_row where the kept state cannot be read, and as SegmentWriter and Post
    /// do.
    static Expected<std::unique_ptr<Keeper>> start(instruments::Loop& loop,
                                                   const instruments::Station& station, watch::Plan plan,
                                                   KeeperOptions options);
    /// Every pump to flush, all that was heard onto the disk.
    ~Keeper();
    Keeper(const Keeper&) = delete;
    Keeper& operator=(const Keeper&) = delete;
    Keeper(Keeper&&) = delete;
    Keeper& operator=(Keeper&&) = delete;

    /// Where it is spoken to.
    [[nodiscard]] const std::filesystem::path& socket() const;

  private:
    struct Self;
    explicit Keeper(std::shared_ptr<Self> self);
    std::shared_ptr<Self> self_;
};

} // namespace backeddy::live
