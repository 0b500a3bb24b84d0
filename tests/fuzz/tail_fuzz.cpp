// Any history of a file that is followed: appended to, cut short, written over, rotated. What is read is
// never more than what stands there, reading on never skips a byte, and a history without cuts is read whole.

#include <map>
#include <string>

#include "fuzz/fuzz.hpp"
#include "instruments/tail.hpp"

using namespace backeddy;
using namespace backeddy::instruments;

namespace {

/// Files by number; one of them is under the path.
struct Disk {
    std::map<std::uint64_t, std::string> files;
    std::uint64_t under_path = 0; ///< 0: none
};

class Follower {
  public:
    std::string read;
    int begun_anew = 0;

    void look(const Disk& disk) {
        for (int steps = 0;; ++steps) {
            fuzz::require(steps < 10, "a look comes to its end");
            switch (next_step(place_, seen(disk))) {
            case TailStep::wait:
                return;
            case TailStep::read_on:
                take(disk.files.at(open_));
                break;
            case TailStep::begin_anew:
                ++begun_anew;
                place_ = TailPlace();
                break;
            case TailStep::open_the_path:
                open_ = disk.under_path;
                place_ = TailPlace();
                break;
            }
        }
    }

  private:
    [[nodiscard]] TailSeen seen(const Disk& disk) const {
        TailSeen out;
        if (disk.under_path != 0) {
            out.under_path = FileIdentity{.device = 1, .number = disk.under_path};
        }
        if (open_ != 0) {
            const auto& bytes = disk.files.at(open_);
            out.open = FileIdentity{.device = 1, .number = open_};
            out.size = bytes.size();
            if (place_.offset() <= bytes.size()) {
                out.behind = bytes.substr(place_.offset() - place_.behind().size(), place_.behind().size());
            }
        }
        return out;
    }

    void take(const std::string& bytes) {
        fuzz::require(bytes.size() > place_.offset(), "there is something to read");
        const auto more = bytes.substr(place_.offset());
        read += more;
        place_.advance(more);
    }

    TailPlace place_;
    std::uint64_t open_ = 0;
};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    Disk disk;
    Follower follower;
    std::string written;
    bool cut = false;
    for (std::size_t i = 0; i < size; ++i) {
        const unsigned act = data[i] & 7U;
        auto* file = disk.under_path == 0 ? nullptr : &disk.files.at(disk.under_path);
        if (act <= 3 && file != nullptr) {
            const std::string more(1 + (data[i] >> 3U), static_cast<char>('a' + i % 23));
            *file += more;
            written += more;
        } else if (act == 4 && file != nullptr) {
            cut = true;
            file->resize(file->size() / 2);
        } else if (act == 5) {
            follower.look(disk); // a rotation between two looks, twice over, would lose the file between them
            disk.under_path = disk.files.size() + 1;
            disk.files[disk.under_path];
        } else if (act == 6) {
            follower.look(disk);
            disk.under_path = 0;
        } else {
            follower.look(disk);
        }
    }
    follower.look(disk);
    fuzz::require(cut || (follower.read == written && follower.begun_anew == 0),
                  "without a cut every byte is read once, in order");
    return 0;
}
