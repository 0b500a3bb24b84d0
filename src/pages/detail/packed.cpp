#include "pages/detail/packed.hpp"

#include <stdexcept>

#define ZLIB_CONST // it only reads what it packs
#include <zlib.h>

namespace backeddy::pages {

namespace {

constexpr int quick =
    2; // a fifth of its size left of a document of results; tighter costs three times the time
constexpr int gzip_window = 15 + 16; // the largest window, with gzip's head and check

} // namespace

std::string packed(std::string_view bytes) {
    z_stream stream{};
    if (deflateInit2(&stream, quick, Z_DEFLATED, gzip_window, 8, Z_DEFAULT_STRATEGY) != Z_OK) {
        throw std::runtime_error("zlib could not begin");
    }
    std::string out(deflateBound(&stream, bytes.size()), '\0');
    stream.next_in = reinterpret_cast<const Bytef*>(bytes.data());
    stream.avail_in = static_cast<uInt>(bytes.size());
    stream.next_out = reinterpret_cast<Bytef*>(out.data());
    stream.avail_out = static_cast<uInt>(out.size());
    const int end = deflate(&stream, Z_FINISH);
    out.resize(stream.total_out);
    deflateEnd(&stream);
    if (end != Z_STREAM_END) {
        throw std::runtime_error("zlib did not come to its end");
    }
    return out;
}

server::Bytes PackedFiles::of(const std::string& revision, const std::string& name, std::string_view bytes) {
    const std::lock_guard lock(guard_);
    if (revision != revision_) {
        files_.clear();
        revision_ = revision;
    }
    auto found = files_.find(name);
    if (found == files_.end()) {
        found = files_.emplace(name, server::Bytes(packed(bytes))).first;
    }
    return found->second;
}

bool is_elsewhere(const server::Asker& asker) {
    return !asker.peer.empty() && !asker.peer.starts_with("127.") && asker.peer != "::1";
}

} // namespace backeddy::pages
