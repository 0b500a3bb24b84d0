#include "instruments/reading.hpp"

#include <fmt/format.h>

#include "base/number_text.hpp"

namespace backeddy::instruments {

namespace {

std::string seconds(Duration length) {
    return short_text(length.seconds()) + " s";
}

/// Bytes for people: what is no plain letter is shown as \xNN.
std::string shown(std::string_view bytes) {
    constexpr std::size_t most = 60;
    std::string out;
    for (const char each : bytes.substr(0, most)) {
        const auto byte = static_cast<unsigned char>(each);
        if (byte >= 0x20 && byte < 0x7f) {
            out += each;
        } else {
            out += fmt::format("\\x{:02x}", byte);
        }
    }
    return out;
}

std::string said(const Connected& connected) {
    return "connected to " + connected.to;
}
std::string said(const Lost& lost) {
    return fmt::format("lost: {}; tried again in {}", lost.why, seconds(lost.next_try));
}
std::string said(const Gap& gap) {
    const auto length = Duration::nanoseconds(gap.to.monotonic_ns - gap.from.monotonic_ns);
    return fmt::format("channel {} gave no number for {}, until {}", gap.channel.text, seconds(length),
                       iso_text(gap.to.wall));
}
std::string said(const Garbage& garbage) {
    if (garbage.length == 0) {
        return "no reading: " + garbage.why;
    }
    return fmt::format("{} bytes that are no reading ({}): {}", garbage.length, garbage.why,
                       shown(garbage.bytes));
}
std::string said(const FileBegunAnew& begun) {
    return "file begun anew: " + begun.why;
}
std::string said(const CommandFailed& failed) {
    return fmt::format("pump {} not reached: {}", failed.pump, failed.why);
}

} // namespace

std::string_view in_words(Missing missing) {
    switch (missing) {
    case Missing::no:
        return "";
    case Missing::empty:
        return "empty";
    case Missing::no_number:
        return "no number";
    case Missing::not_a_number:
        return "the device has none";
    case Missing::out_of_range:
        return "outside its range";
    }
    return "";
}

std::string in_words(const Event& event) {
    return event.device.text + " " + std::visit([](const auto& what) { return said(what); }, event.what);
}

} // namespace backeddy::instruments
