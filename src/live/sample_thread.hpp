#pragma once
// The writer of samples and of the state that is kept, on a thread of its own: a disk that takes seconds to
// sync delays what is shown, never a command to a pump.

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "store/segment.hpp"

namespace backeddy::live {

class SampleThread {
  public:
    /// What became of the writing so far.
    struct State {
        std::uint64_t through = 0; ///< the last sample's number on disk
        /// How many of the pieces handed over are on disk, or were given up since more waited than may.
        std::uint64_t settled = 0;
        /// How many of the states handed over are on disk, or were replaced by later ones.
        std::uint64_t states = 0;
        std::string fault; ///< empty: all that was handed over is on disk or on its way
    };

    /// `told` is called on the thread after each attempt. Pieces are numbered on from the writer's last.
    /// States go to the file `state`, whole.
    SampleThread(store::SegmentWriter writer, std::filesystem::path state, std::function<void(State)> told);
    /// Writes what is left, as far as the disk takes it.
    ~SampleThread();
    SampleThread(const SampleThread&) = delete;
    SampleThread& operator=(const SampleThread&) = delete;
    SampleThread(SampleThread&&) = delete;
    SampleThread& operator=(SampleThread&&) = delete;

    /// From one thread; never waits. What is handed over at once is committed at once.
    void keep(std::vector<store::Heard> pieces);
    void keep_state(std::string text);
    /// How many pieces, and how many states, were handed over.
    [[nodiscard]] std::uint64_t pieces() const;
    [[nodiscard]] std::uint64_t states() const;

  private:
    struct Self;
    std::unique_ptr<Self> self_;
};

} // namespace backeddy::live
