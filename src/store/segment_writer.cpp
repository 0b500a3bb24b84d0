#include <algorithm>
#include <cerrno>
#include <deque>
#include <utility>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include "base/file.hpp"
#include "store/detail/blocks.hpp"
#include "store/segment.hpp"

namespace backeddy::store {

namespace {

/// A folder that is this program's alone as long as it lives; the machine lets go of it when the program
/// ends.
class Hold {
  public:
    static Expected<Hold> on(const std::filesystem::path& folder) {
        const auto path = folder / "writer.lock";
        Hold hold(::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644));
        if (hold.descriptor_ < 0 || ::flock(hold.descriptor_, LOCK_EX | LOCK_NB) != 0) {
            const bool is_taken = hold.descriptor_ >= 0 && errno == EWOULDBLOCK;
            return fail({.code = ErrorCode::cannot_write,
                         .found = is_taken ? "another program writes samples into this folder"
                                           : "no samples can be written into this folder",
                         .expected = "one watch at a time, and permission to write there",
                         .remedy = is_taken
                                       ? "end the other watch, or look at it instead of starting a second"
                                       : "check the folder's permissions",
                         .place = {.file = folder.string()}});
        }
        return hold;
    }
    ~Hold() {
        if (descriptor_ >= 0) {
            ::close(descriptor_);
        }
    }
    Hold(Hold&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
    Hold& operator=(Hold&& other) noexcept {
        std::swap(descriptor_, other.descriptor_);
        return *this;
    }
    Hold(const Hold&) = delete;
    Hold& operator=(const Hold&) = delete;

  private:
    explicit Hold(int descriptor) : descriptor_(descriptor) {}
    int descriptor_;
};

/// The numbers that a file speaks of.
struct Numbers {
    std::uint64_t begins =
        0; ///< by its head: all before were acknowledged when it was made; 0 where that is damaged
    std::uint64_t next = 0; ///< after its last piece, or as `begins`
    bool has_pieces = false;
};

Numbers numbers_in(std::string_view bytes) {
    Numbers out;
    while (!bytes.empty()) {
        const auto read = detail::read_block(bytes);
        if (const auto* block = std::get_if<detail::Block>(&read)) {
            out.begins = block->pieces.empty() ? block->first : out.begins;
            out.has_pieces = out.has_pieces || !block->pieces.empty();
            out.next = std::max(out.next, block->first + block->pieces.size());
            bytes.remove_prefix(block->bytes);
        } else {
            bytes.remove_prefix(std::min(bytes.size(), detail::find_block(bytes)));
        }
    }
    return out;
}

/// A number that no piece of the folder has. The newest file need not have the highest: one that was left
/// after a failed sync holds pieces that were not acknowledged, and the next begins before them. Files before
/// one that ends where the next begins hold none of those.
Expected<std::uint64_t> next_number(const std::filesystem::path& folder,
                                    const std::vector<std::uint64_t>& counters) {
    std::uint64_t next = 1;
    std::uint64_t later_begins = 0;
    for (auto counter = counters.rbegin(); counter != counters.rend(); ++counter) {
        const auto bytes = read_file(folder / detail::file_name(*counter));
        if (!bytes) {
            return fail(bytes.error());
        }
        const Numbers numbers = numbers_in(*bytes);
        next = std::max(next, numbers.next);
        if (numbers.has_pieces && numbers.next <= later_begins) {
            break;
        }
        later_begins = numbers.begins;
    }
    return next;
}

} // namespace

struct SegmentWriter::Self {
    std::filesystem::path folder;
    SegmentHead head;
    SegmentOptions options;
    Hold hold;
    std::uint64_t counter = 0; ///< of the file at hand, or of the last one
    std::uint64_t through = 0;
    std::unique_ptr<AppendFile> file;
    std::uint64_t file_bytes = 0;
    bool has_acknowledged = false; ///< something in the file at hand is promised to be there
    std::vector<Heard> waiting;
    std::size_t waiting_bytes = 0;

    Expected<void> append(const std::string& bytes) {
        file_bytes += bytes.size();
        return file->append(bytes);
    }

    Expected<void> begin_file() {
        ++counter;
        file_bytes = 0;
        has_acknowledged = false;
        auto made = options.layer->create(folder / detail::file_name(counter));
        if (!made) {
            return fail(std::move(made).error());
        }
        file = std::move(*made);
        return append(detail::head_block(head, through + 1));
    }

    Expected<void> write_waiting() {
        if (!file || file_bytes >= options.file_bytes) {
            if (auto begun = begin_file(); !begun) {
                return begun;
            }
        }
        for (std::size_t done = 0; done < waiting.size();) {
            const auto block = detail::data_block(std::span(waiting).subspan(done));
            if (auto appended = append(block.bytes); !appended) {
                return appended;
            }
            done += block.pieces;
        }
        return file->sync();
    }

    /// Nothing more goes into a file that failed; where it holds nothing that counts, it is taken away.
    void leave_file() {
        const bool is_empty = !has_acknowledged && file;
        file.reset();
        if (is_empty) {
            options.layer->remove(folder / detail::file_name(counter));
        }
    }
};

SegmentWriter::SegmentWriter(std::unique_ptr<Self> self) : self_(std::move(self)) {}
SegmentWriter::~SegmentWriter() = default;
SegmentWriter::SegmentWriter(SegmentWriter&&) noexcept = default;
SegmentWriter& SegmentWriter::operator=(SegmentWriter&&) noexcept = default;

Expected<SegmentWriter> SegmentWriter::open(const std::filesystem::path& folder, SegmentHead head,
                                            SegmentOptions options) {
    std::error_code ignored; // what cannot be made cannot be held either, and that is told
    std::filesystem::create_directories(folder, ignored);
    auto hold = Hold::on(folder);
    if (!hold) {
        return fail(std::move(hold).error());
    }
    if (detail::head_block(head, 1).size() > most_head_bytes) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("the names of {} devices are too long", head.sources.size()),
                     .expected = "names that together take less than 256 KiB",
                     .remedy = "give the devices of the station shorter names"});
    }
    auto counters = detail::counters_in(folder);
    if (!counters) {
        return fail(std::move(counters).error());
    }
    const auto next = next_number(folder, *counters);
    if (!next) {
        return fail(next.error());
    }
    if (!options.layer) {
        options.layer = machine_files();
    }
    return SegmentWriter(std::make_unique<Self>(Self{.folder = folder,
                                                     .head = std::move(head),
                                                     .options = std::move(options),
                                                     .hold = std::move(*hold),
                                                     .counter = counters->empty() ? 0 : counters->back(),
                                                     .through = *next - 1,
                                                     .file = nullptr,
                                                     .file_bytes = 0,
                                                     .has_acknowledged = false,
                                                     .waiting = {},
                                                     .waiting_bytes = 0}));
}

Expected<std::uint64_t> SegmentWriter::hear(Heard heard) {
    Self& self = *self_;
    if (heard.source >= self.head.sources.size() || heard.bytes.empty() ||
        heard.bytes.size() > most_heard_bytes) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} bytes of source {}", heard.bytes.size(), heard.source),
                     .expected = fmt::format("1 to {} bytes of one of {} sources", most_heard_bytes,
                                             self.head.sources.size()),
                     .remedy = "cut what came into pieces, under a source that the file's head names"});
    }
    if (self.waiting_bytes + heard.bytes.size() > self.options.waiting_bytes) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = fmt::format("{} pieces wait for the disk already", self.waiting.size()),
                     .expected = "a disk that takes what comes",
                     .remedy =
                         "free some space on it, or plug it in again: what waits is written then, what comes "
                         "until then is lost",
                     .place = {.file = self.folder.string()}});
    }
    heard.number = self.through + self.waiting.size() + 1;
    self.waiting_bytes += heard.bytes.size();
    self.waiting.push_back(std::move(heard));
    return self.waiting.back().number;
}

Expected<std::uint64_t> SegmentWriter::commit() {
    Self& self = *self_;
    if (self.waiting.empty()) {
        return self.through;
    }
    if (auto written = self.write_waiting(); !written) {
        self.leave_file();
        return fail(std::move(written).error());
    }
    self.has_acknowledged = true;
    self.through += self.waiting.size();
    self.waiting.clear();
    self.waiting_bytes = 0;
    return self.through;
}

std::uint64_t SegmentWriter::through() const {
    return self_->through;
}
std::size_t SegmentWriter::waiting() const {
    return self_->waiting.size();
}

} // namespace backeddy::store
