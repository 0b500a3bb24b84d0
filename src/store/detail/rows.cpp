#include "store/detail/rows.hpp"

#include <limits>
#include <utility>

#include <fmt/format.h>

namespace backeddy::store::detail {

namespace {

/// Takes the cells of a row one after the other, and remembers the first that is not what it should be.
class Cells {
  public:
    explicit Cells(Row row) : row_(std::move(row)) {}

    std::int64_t whole(std::string_view column) { return take<std::int64_t>(column); }
    std::string text(std::string_view column) { return take<std::string>(column); }
    std::optional<std::int64_t> whole_or_nothing(std::string_view column) {
        if (std::holds_alternative<std::monostate>(row_[next_])) {
            ++next_;
            return std::nullopt;
        }
        return whole(column);
    }
    template <typename T>
    T known(std::optional<T> value, std::string_view column) {
        if (!value) {
            refuse(column);
        }
        return value.value_or(T{});
    }
    void refuse(std::string_view column) {
        if (bad_.empty()) {
            bad_ = column;
        }
    }
    [[nodiscard]] const std::string& bad() const { return bad_; }

  private:
    template <typename T>
    T take(std::string_view column) {
        T* value = std::get_if<T>(&row_[next_++]);
        if (value == nullptr) {
            refuse(column);
            return T{};
        }
        return std::move(*value);
    }
    Row row_;
    std::size_t next_ = 0;
    std::string bad_;
};

Error unsound(std::string found) {
    return {.code = ErrorCode::file_unreadable, .found = std::move(found)};
}

} // namespace

Row row_of(const StoredEntry& stored) {
    const Entry& entry = stored.entry;
    const auto& offset = entry.moment.clock_offset_us;
    Row row{stored.position,
            entry.id.device.text(),
            static_cast<std::int64_t>(entry.id.sequence),
            entry.time.wall_us,
            std::int64_t{entry.time.count},
            entry.moment.wall_us,
            entry.moment.monotonic_us,
            entry.moment.boot,
            offset ? Cell(*offset) : Cell(),
            entry.author,
            std::string(name_of(entry.role)),
            entry.act,
            entry.content,
            entry.reason,
            stored.sha256,
            stored.received_us};
    if (stored.standing_sha256) {
        row.emplace_back(*stored.standing_sha256);
    }
    return row;
}

Expected<StoredEntry> stored_entry(Row row) {
    const bool aside = row.size() == entry_column_count + 1;
    if (!aside && row.size() != entry_column_count) {
        return fail(unsound(fmt::format("a row of {} cells", row.size())));
    }
    Cells cells(std::move(row));
    StoredEntry out;
    Entry& entry = out.entry;
    out.position = cells.whole("position");
    entry.id.device = cells.known(DeviceId::parse(cells.text("device")), "device");
    entry.id.sequence = static_cast<std::uint64_t>(cells.whole("sequence"));
    entry.time.wall_us = cells.whole("hybrid_wall_us");
    const std::int64_t count = cells.whole("hybrid_count");
    if (count < 0 || count > std::numeric_limits<std::uint32_t>::max()) {
        cells.refuse("hybrid_count");
    }
    entry.time.count = static_cast<std::uint32_t>(count);
    entry.moment.wall_us = cells.whole("wall_us");
    entry.moment.monotonic_us = cells.whole("monotonic_us");
    entry.moment.boot = cells.text("boot");
    entry.moment.clock_offset_us = cells.whole_or_nothing("clock_offset_us");
    entry.author = cells.text("author");
    entry.role = cells.known(parse_role(cells.text("role")), "role");
    entry.act = cells.text("act");
    entry.content = cells.text("content");
    entry.reason = cells.text("reason");
    out.sha256 = cells.text("sha256");
    out.received_us = cells.whole("received_us");
    if (aside) {
        out.standing_sha256 = cells.text("standing_sha256");
    }
    if (!cells.bad().empty()) {
        return fail(unsound(fmt::format("its {} is not what was written", cells.bad())));
    }
    if (auto good = check(entry); !good) {
        return fail(unsound(std::move(good).error().found));
    }
    if (sha256_of(entry) != out.sha256) {
        return fail(unsound("its SHA-256 is not that of what stands there"));
    }
    return out;
}

} // namespace backeddy::store::detail
