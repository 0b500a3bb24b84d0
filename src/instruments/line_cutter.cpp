#include "instruments/line_cutter.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace backeddy::instruments {

namespace {

constexpr std::size_t shown = 256;

Cut no_line(std::string_view bytes, std::string complaint) {
    return {.bytes = std::string(bytes.substr(0, shown)),
            .length = bytes.size(),
            .complaint = std::move(complaint)};
}

} // namespace

void LineCutter::take(std::string_view piece, std::vector<Cut>& out) {
    if (skips_ || too_long_) {
        return;
    }
    const auto room = longest_line - pending_.size();
    pending_ += piece.substr(0, room);
    if (piece.size() > room) {
        out.push_back(no_line(pending_, fmt::format("no line end after {} bytes", longest_line)));
        pending_.clear();
        too_long_ = true;
    }
}

void LineCutter::end_line(std::vector<Cut>& out) {
    if (!pending_.empty()) {
        const auto length = pending_.size();
        out.push_back({.bytes = std::move(pending_), .length = length});
    }
    pending_.clear();
    skips_ = too_long_ = false;
}

std::vector<Cut> LineCutter::feed(std::string_view bytes) {
    std::vector<Cut> out;
    while (!bytes.empty()) {
        const auto end = bytes.find_first_of("\r\n");
        take(bytes.substr(0, end), out);
        if (end == std::string_view::npos) {
            break;
        }
        end_line(out);
        bytes.remove_prefix(end + 1);
    }
    return out;
}

std::vector<Cut> LineCutter::finish() {
    std::vector<Cut> out;
    if (!pending_.empty()) {
        out.push_back(no_line(pending_, "cut off before its line end"));
    }
    *this = LineCutter(begin_);
    return out;
}

} // namespace backeddy::instruments
