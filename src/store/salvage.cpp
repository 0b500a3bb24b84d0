#include "store/salvage.hpp"

#include <cstdint>
#include <map>
#include <optional>
#include <string_view>
#include <utility>

#include "base/file.hpp"
#include "store/detail/rows.hpp"
#include "store/detail/schema.hpp"

// SQLite's file format (the project's own page "Database File Format", sections 1.5, 1.6, 2.1 and 4.1; from
// memory): a row of a table is its payload's length, its rowid and its payload; the payload is a header of
// serial types and then the values; what does not fit onto the page goes on in a chain of overflow pages.

namespace backeddy::store {

namespace {

using detail::page_bytes;

std::uint64_t big_endian(std::string_view bytes) {
    std::uint64_t out = 0;
    for (const char c : bytes) {
        out = (out << 8) | static_cast<unsigned char>(c);
    }
    return out;
}

/// Takes numbers from the front; once something is lacking, it stays so.
class Reader {
  public:
    explicit Reader(std::string_view bytes) : bytes_(bytes) {}

    /// 1 to 9 bytes: seven bits of each, all eight of the ninth.
    std::uint64_t variable() {
        std::uint64_t out = 0;
        for (int i = 0; i < 9; ++i) {
            if (bytes_.empty()) {
                good_ = false;
                return 0;
            }
            const auto byte = static_cast<unsigned char>(bytes_.front());
            bytes_.remove_prefix(1);
            if (i == 8) {
                return (out << 8) | byte;
            }
            out = (out << 7) | (byte & 0x7fU);
            if ((byte & 0x80U) == 0) {
                break;
            }
        }
        return out;
    }
    std::string_view take(std::uint64_t count) {
        if (count > bytes_.size()) {
            good_ = false;
            return {};
        }
        const auto out = bytes_.substr(0, static_cast<std::size_t>(count));
        bytes_.remove_prefix(out.size());
        return out;
    }
    [[nodiscard]] bool good() const { return good_; }
    [[nodiscard]] bool at_end() const { return bytes_.empty(); }
    [[nodiscard]] std::string_view rest() const { return bytes_; }

  private:
    std::string_view bytes_;
    bool good_ = true;
};

/// The pages of the file and of its log, as they lie there.
class Pages {
  public:
    Pages(std::string file, std::string log) : file_(std::move(file)), log_(std::move(log)) {
        constexpr std::size_t log_header = 32;
        constexpr std::size_t frame_header = 24;
        for (std::size_t at = 0; at < file_.size(); at += page_bytes) {
            all_.push_back(std::string_view(file_).substr(at, page_bytes));
        }
        for (std::size_t at = log_header; at + frame_header < log_.size(); at += frame_header + page_bytes) {
            const auto page = std::string_view(log_).substr(at + frame_header, page_bytes);
            in_log_[big_endian(std::string_view(log_).substr(at, 4))] = page;
            all_.push_back(page);
        }
    }
    Pages(const Pages&) = delete; // its views are of its own bytes
    Pages& operator=(const Pages&) = delete;
    ~Pages() = default;
    [[nodiscard]] const std::vector<std::string_view>& all() const { return all_; }

    enum class First : std::uint8_t { log, file };
    /// The page of that number (from 1): its last state in the log or the file's own, whichever is asked
    /// first.
    [[nodiscard]] std::string_view numbered(std::uint64_t number, First first) const {
        const auto logged = in_log_.find(number);
        const bool filed = number >= 1 && number <= (file_.size() / page_bytes);
        if (logged != in_log_.end() && (first == First::log || !filed)) {
            return logged->second;
        }
        return filed ? std::string_view(file_).substr((number - 1) * page_bytes, page_bytes)
                     : std::string_view();
    }

  private:
    std::string file_;
    std::string log_;
    std::vector<std::string_view> all_;
    std::map<std::uint64_t, std::string_view> in_log_;
};

/// The payload that begins at `local`, its overflow pages included; nothing when it is cut off.
std::optional<std::string> whole_payload(const Pages& pages, std::string_view local, std::uint64_t length,
                                         Pages::First first) {
    constexpr std::uint64_t most_local = page_bytes - 35;
    constexpr std::uint64_t least_local = (((page_bytes - 12) * 32) / 255) - 23;
    constexpr std::uint64_t on_overflow_page = page_bytes - 4;
    Reader reader(local);
    if (length <= most_local) {
        const auto all = reader.take(length);
        return reader.good() ? std::optional<std::string>(all) : std::nullopt;
    }
    const std::uint64_t surplus = least_local + ((length - least_local) % on_overflow_page);
    // An optional from the start: GCC 12 warns wrongly of a short text that is moved into one (array-bounds).
    std::optional<std::string> out(reader.take(surplus <= most_local ? surplus : least_local));
    std::uint64_t next = big_endian(reader.take(4));
    while (reader.good() && out->size() < length) {
        Reader page(pages.numbered(next, first));
        next = big_endian(page.take(4));
        *out += page.take(std::min<std::uint64_t>(length - out->size(), on_overflow_page));
        if (!page.good()) {
            return std::nullopt;
        }
    }
    if (!reader.good()) {
        out.reset();
    }
    return out;
}

/// A value by its serial type; nothing for types that the journal does not write.
std::optional<detail::Cell> value_of(std::uint64_t type, Reader& values) {
    constexpr std::uint64_t first_text = 13;
    if (type == 0) {
        return detail::Cell();
    }
    if (type == 8 || type == 9) {
        return detail::Cell(static_cast<std::int64_t>(type - 8));
    }
    if (type <= 6) {
        const std::uint64_t bytes = type <= 4 ? type : 2 * (type - 2);
        const auto shift = static_cast<unsigned>(64 - (8 * bytes));
        const std::uint64_t number = big_endian(values.take(bytes));
        return detail::Cell(static_cast<std::int64_t>(number << shift) >> shift); // keeps the sign
    }
    if (type >= first_text && type % 2 == 1) {
        return detail::Cell(std::string(values.take((type - first_text) / 2)));
    }
    return std::nullopt;
}

std::optional<detail::Row> row_of_payload(std::string_view payload) {
    Reader whole(payload);
    const std::uint64_t header_bytes = whole.variable();
    const std::size_t taken = payload.size() - whole.rest().size();
    if (header_bytes < taken) {
        return std::nullopt;
    }
    Reader types(whole.take(header_bytes - taken));
    Reader values(whole.rest());
    detail::Row row;
    while (whole.good() && types.good() && !types.at_end()) {
        auto value = value_of(types.variable(), values);
        if (!value || row.size() > detail::entry_column_count) {
            return std::nullopt;
        }
        row.push_back(std::move(*value));
    }
    return whole.good() && types.good() && values.good() && values.at_end() ? std::optional(std::move(row))
                                                                            : std::nullopt;
}

/// Whether a row of ours may begin with these bytes of a payload: a header's length, nothing for the position
/// (SQLite keeps it as the rowid), a text of 16 for the device. It only spares work: what is an entry, the
/// hash says.
bool may_be_entry(std::string_view payload) {
    constexpr char text_of_16 = 13 + (2 * 16);
    return payload.size() > 3 && payload[1] == 0 && payload[2] == text_of_16;
}
bool may_be_about(std::string_view payload) {
    constexpr char header_of_3 = 3;
    constexpr char text_of_16 = 13 + (2 * 16);
    return payload.size() > 3 && payload[0] == header_of_3 && payload[1] == text_of_16;
}

/// What has been found; rows lie about in several states of their page, each counts once.
class Found {
  public:
    explicit Found(const Pages& pages) : pages_(pages) {}

    void look_at(std::string_view cell) {
        Reader reader(cell);
        const std::uint64_t length = reader.variable();
        const std::uint64_t rowid = reader.variable();
        constexpr std::uint64_t most_payload =
            limits::content_bytes + limits::reason_bytes + limits::author_bytes + limits::act_bytes + 1'000;
        if (!reader.good() || length > most_payload) {
            return;
        }
        if (may_be_entry(reader.rest())) {
            for (const auto first : {Pages::First::log, Pages::First::file}) {
                if (entry(whole_payload(pages_, reader.rest(), length, first), rowid)) {
                    return;
                }
            }
        } else if (may_be_about(reader.rest())) {
            about(whole_payload(pages_, reader.rest(), length, Pages::First::log));
        }
    }

    Salvaged result() && {
        Salvaged out;
        for (auto& [key, stored] : by_position_) {
            (stored.standing_sha256 ? out.kept_aside : out.standing).push_back(std::move(stored.entry));
        }
        out.identity = std::move(identity_);
        return out;
    }

  private:
    bool entry(const std::optional<std::string>& payload, std::uint64_t rowid) {
        auto row = payload ? row_of_payload(*payload) : std::nullopt;
        if (!row || row->empty()) {
            return false;
        }
        row->front() = static_cast<std::int64_t>(rowid);
        auto stored = detail::stored_entry(std::move(*row));
        if (!stored) {
            return false;
        }
        std::pair key{stored->position, stored->sha256};
        by_position_.try_emplace(std::move(key), std::move(*stored));
        return true;
    }
    void about(const std::optional<std::string>& payload) {
        const auto row = payload ? row_of_payload(*payload) : std::nullopt;
        const auto* text = row && row->size() == 2 ? std::get_if<std::string>(&row->front()) : nullptr;
        if (text != nullptr && DeviceId::parse(*text)) {
            identity_ = *text;
        }
    }
    const Pages& pages_;
    std::map<std::pair<std::int64_t, std::string>, detail::StoredEntry> by_position_;
    std::string identity_;
};

Expected<std::string> bytes_of(const std::filesystem::path& file) {
    auto bytes = read_file(file);
    if (!bytes && bytes.error().code == ErrorCode::file_missing) {
        return std::string();
    }
    return bytes;
}

} // namespace

Expected<Salvaged> salvage(const std::filesystem::path& file) {
    auto main = bytes_of(file);
    auto log = bytes_of(file.string() + "-wal");
    if (!main || !log) {
        return fail(std::move(main ? log : main).error());
    }
    const Pages pages(std::move(*main), std::move(*log));
    Found found(pages);
    for (const std::string_view page : pages.all()) {
        for (std::size_t at = 0; at < page.size(); ++at) {
            found.look_at(page.substr(at));
        }
    }
    return std::move(found).result();
}

} // namespace backeddy::store
