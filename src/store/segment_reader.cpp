#include <algorithm>
#include <fstream>
#include <limits>
#include <utility>

#include "store/detail/blocks.hpp"
#include "store/segment.hpp"

namespace backeddy::store {

namespace {

/// Read at once; more than the largest block has.
constexpr std::size_t window_bytes = std::size_t{4} << 20;
/// Given at once, about.
constexpr std::size_t most_given = std::size_t{8} << 20;
constexpr std::uint64_t everything = std::numeric_limits<std::uint64_t>::max();

/// The file's bytes from `at` on, at most `most`; none where it is not there.
std::string bytes_of(const std::filesystem::path& path, std::uint64_t at, std::size_t most) {
    std::string out;
    std::ifstream file(path, std::ios::binary);
    if (file.seekg(static_cast<std::streamoff>(at))) {
        out.resize(most);
        file.read(out.data(), static_cast<std::streamsize>(most));
        out.resize(static_cast<std::size_t>(file.gcount()));
    }
    return out;
}

} // namespace

SegmentReader::SegmentReader(std::filesystem::path folder) : folder_(std::move(folder)) {}

Expected<std::vector<SegmentReader::Piece>> SegmentReader::read(std::optional<std::uint64_t> through) {
    return read_some(through.value_or(everything), false);
}

Expected<std::vector<SegmentReader::Piece>> SegmentReader::read_to_end() {
    return read_some(everything, true);
}

std::filesystem::path SegmentReader::path() const {
    return folder_ / detail::file_name(file_);
}

Expected<std::vector<SegmentReader::Piece>> SegmentReader::read_some(std::uint64_t through,
                                                                     bool is_finished) {
    std::vector<Piece> out;
    for (std::size_t given = 0; given < most_given;) {
        // Asked before the bytes are: what is followed by another file has all the bytes it will ever have.
        if (auto looked = look_for_later_files(); !looked) {
            return fail(std::move(looked).error());
        }
        const std::string window = file_ == 0 ? "" : bytes_of(path(), at_, window_bytes);
        if (window.empty()) { // at its end, or taken away since nothing in it was acknowledged
            if (later_.empty()) {
                return out;
            }
            file_ = later_.front();
            later_.pop_front();
            at_ = 0;
            head_ = nullptr;
            continue;
        }
        std::string_view rest = window;
        for (auto read = detail::read_block(rest); std::holds_alternative<detail::Block>(read);
             read = detail::read_block(rest)) {
            auto& block = std::get<detail::Block>(read);
            if (!block.pieces.empty() && block.pieces.back().number > through) {
                return out;
            }
            tell_lost(block.first);
            if (block.pieces.empty()) {
                head_ = block.head ? std::make_shared<const SegmentHead>(std::move(*block.head)) : nullptr;
            }
            for (Heard& heard : block.pieces) {
                if (heard.number >
                    last_) { // after a failed sync, a later file repeats what was not acknowledged
                    last_ = heard.number;
                    out.push_back({.heard = std::move(heard), .head = head_});
                }
            }
            rest.remove_prefix(block.bytes);
            at_ += block.bytes;
        }
        given += window.size() - rest.size();
        if (rest.size() == window.size() && !skip_damage(is_finished || !later_.empty())) {
            return out;
        }
    }
    return out;
}

Expected<void> SegmentReader::look_for_later_files() {
    if (later_.empty()) {
        const auto counters = detail::counters_in(folder_);
        if (!counters) {
            return fail(counters.error());
        }
        later_.assign(std::upper_bound(counters->begin(), counters->end(), file_), counters->end());
    }
    return {};
}

/// Past what is no sound block; false where it may be one that is still being written.
bool SegmentReader::skip_damage(bool is_final) {
    std::error_code gone;
    const std::uint64_t size = std::filesystem::file_size(path(), gone);
    const std::string rest = gone ? "" : bytes_of(path(), at_, size - std::min(size, at_));
    const std::size_t found = detail::find_block(rest);
    const bool is_end = found == std::string::npos;
    if (is_end && !is_final) {
        return false;
    }
    const std::size_t bytes = is_end ? rest.size() : found;
    damage_.push_back({.file = path(), .at_byte = at_, .bytes = bytes, .is_torn_end = is_end, .lost = {}});
    is_after_damage_ = true;
    at_ += bytes;
    return true;
}

/// Numbers that are missing before the block that begins with `first`.
void SegmentReader::tell_lost(std::uint64_t first) {
    if (first > last_ + 1) {
        if (!is_after_damage_) { // a file is missing
            damage_.push_back({.file = path(), .at_byte = at_, .bytes = 0, .is_torn_end = false, .lost = {}});
        }
        damage_.back().lost = {last_ + 1, first - 1};
        last_ = first - 1;
    }
    is_after_damage_ = false;
}

} // namespace backeddy::store
