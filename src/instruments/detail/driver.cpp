#include "instruments/detail/driver.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>

#include <sys/file.h>
#include <sys/ioctl.h>

namespace backeddy::instruments {

// ---------------------------------------------------------------- Teller

Teller::Teller(const Device& device, Surroundings around)
    : id_(device.id), around_(std::move(around)), gaps_(channels_of(device), around_.now()) {}

void Teller::connected(std::string to) {
    tell(Connected{.to = std::move(to)}, now());
}

void Teller::lost(std::string why, Duration next_try) {
    tell_held_garbage(now());
    tell(Lost{.why = std::move(why), .next_try = next_try}, now());
}

void Teller::frame(Frame frame) {
    tell_held_garbage(frame.received);
    for (const auto& reading : frame.readings) {
        if (auto gap = gaps_.heard(reading)) {
            tell(std::move(*gap), frame.received);
        }
    }
    around_.sink(std::move(frame));
}

void Teller::garbage(std::string_view bytes, std::uint64_t length, std::string why) {
    constexpr std::size_t most = 256;
    if (held_) {
        held_->length += length;
    } else {
        held_ = Garbage{.bytes = std::string(bytes.substr(0, most)), .length = length, .why = std::move(why)};
    }
    constexpr std::int64_t second = 1'000'000'000;
    const auto at = now();
    if (!garbage_told_ns_ || at.monotonic_ns - *garbage_told_ns_ >= second) {
        tell_held_garbage(at);
    }
}

void Teller::tell_held_garbage(const Stamp& at) {
    if (held_) {
        garbage_told_ns_ = at.monotonic_ns;
        tell(std::move(*held_), at);
        held_.reset();
    }
}

void Teller::begun_anew(std::string why) {
    tell(FileBegunAnew{.why = std::move(why)}, now());
}

void Teller::command_failed(const std::string& pump, std::string why) {
    tell(CommandFailed{.pump = pump, .why = std::move(why)}, now());
}

// ---------------------------------------------------------------- Pumps

Pumps::Pumps(std::vector<Pump> pumps, Teller& teller, Send send) : teller_(teller), send_(std::move(send)) {
    for (auto& pump : pumps) {
        const auto heartbeat = pump.heartbeat;
        pumps_.push_back({.pump = std::move(pump), .heart = PumpHeart(heartbeat)});
    }
}

Pumps::One* Pumps::find(const std::string& name) {
    const auto found =
        std::find_if(pumps_.begin(), pumps_.end(), [&](const One& one) { return one.pump.name == name; });
    return found == pumps_.end() ? nullptr : &*found;
}

void Pumps::changed(One& one) {
    if (reached_) {
        beat();
    } else {
        teller_.command_failed(one.pump.name, "the device is not there");
    }
}

bool Pumps::flush(const std::string& name) {
    auto* one = find(name);
    if (one == nullptr) {
        return false;
    }
    const bool was_sealed = one->heart.wanted(teller_.now().monotonic_ns) == PumpState::sealed;
    one->heart.flush();
    if (was_sealed) {
        changed(*one);
    }
    return true;
}

bool Pumps::seal(const std::string& name, Duration good_for) {
    auto* one = find(name);
    if (one == nullptr) {
        return false;
    }
    const auto now_ns = teller_.now().monotonic_ns;
    const bool was_flushing = one->heart.wanted(now_ns) == PumpState::flush;
    one->heart.seal(now_ns, good_for);
    if (was_flushing) {
        changed(*one);
    }
    return true;
}

void Pumps::beat() {
    if (!reached_) {
        return;
    }
    const auto now_ns = teller_.now().monotonic_ns;
    for (std::size_t i = 0; i < pumps_.size(); ++i) {
        auto& heart = pumps_[i].heart;
        if (const auto state = heart.due(now_ns); state && send_(i, *state)) {
            heart.sent(*state, now_ns);
        }
    }
}

void Pumps::reached(bool yes) {
    reached_ = yes;
    for (auto& one : pumps_) {
        one.heart.forget();
    }
    beat();
}

void Pumps::flush_all() {
    for (auto& one : pumps_) {
        one.heart.flush();
    }
    beat();
}

// ---------------------------------------------------------------- ports and lines

std::string lock_port(int fd) {
    // The kernel's own lock keeps others from opening it from now on; the other one tells of a second program
    // of ours, and of one with every right, which the first does not stop.
    if (::flock(fd, LOCK_EX | LOCK_NB) != 0) {
        return errno == EWOULDBLOCK ? "another program has this port open; end it first"
                                    : std::string("cannot lock the port: ") + std::strerror(errno);
    }
    static_cast<void>(::ioctl(fd, TIOCEXCL)); // a port that cannot do that is locked by the other one
    return {};
}

bool tell_lines(const std::vector<Cut>& cuts, const LineShape& shape, const Stamp& received, Teller& teller) {
    bool any = false;
    for (const auto& cut : cuts) {
        if (!cut.complaint.empty()) {
            teller.garbage(cut.bytes, cut.length, cut.complaint);
            continue;
        }
        auto read = read_line(shape, cut.bytes, received);
        if (!read.complaint.empty()) {
            teller.garbage(cut.bytes, cut.length, std::move(read.complaint));
        } else if (!read.readings.empty()) {
            any = true;
            teller.frame({.device = teller.device(),
                          .received = received,
                          .bytes = cut.bytes,
                          .readings = std::move(read.readings)});
        }
    }
    return any;
}

} // namespace backeddy::instruments
