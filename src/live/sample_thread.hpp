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
    /// What became of the writing so far: the last number on disk, and why there are none after it.
    struct State {
        std::uint64_t through = 0;
        std::uint64_t states =
            0;             ///< how many of the states handed over are on disk, or were replaced by later ones
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
    /// The number that the last piece handed over has, or will have.
    [[nodiscard]] std::uint64_t last() const;
    /// How many states were handed over.
    [[nodiscard]] std::uint64_t states() const;

  private:
    struct Self;
    std::unique_ptr<Self> self_;
};

} // namespace backeddy::live
