#include "app/journal.hpp"

#include <algorithm>
#include <chrono>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "app/brief_text.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/brief.hpp"
#include "intake/tables.hpp"
#include "study/relations.hpp"

namespace backeddy::app {

namespace {

// The file itself holds pages in whatever order they were written; what it says is its entries.
report::Input input_of(const JournalRead& journal, std::uint64_t bytes) {
    std::string hashes;
    std::set<store::DeviceId> devices;
    for (const auto& entry : journal.entries) {
        hashes += store::sha256_of(entry);
        devices.insert(entry.id.device);
    }
    const auto undone = static_cast<std::size_t>(
        std::ranges::count_if(journal.read.entries, [](const auto& each) { return each.is_undone; }));
    const auto refused = journal.read.complaints.size();
    return {.path = store::journal_name,
            .kind = "journal",
            .sha256 = sha256_hex(std::string_view(hashes)),
            .bytes = bytes,
            .understood = {fmt::format(
                "entries: {}, of which undone: {}; devices: {}; the hash is of the entries' "
                "hashes in their order",
                journal.entries.size(), undone, devices.size())},
            .rows_kept = journal.entries.size() - refused,
            .rows_refused = refused};
}

} // namespace

JournalRead read_journal(const std::filesystem::path& folder) {
    JournalRead out;
    const auto file = folder / store::journal_name;
    std::error_code gone;
    if (!std::filesystem::exists(file, gone)) {
        return out;
    }
    const auto journal = store::Journal::open(file, store::Access::read);
    auto entries = journal ? journal->entries() : fail(journal.error());
    if (!entries) {
        out.complaints.push_back({.error = std::move(entries).error()});
        return out;
    }
    out.entries = std::move(*entries);
    out.read = read_entries(out.entries);
    out.complaints = out.read.complaints;
    if (!out.entries.empty()) {
        out.input = input_of(out, std::filesystem::file_size(file, gone));
    }
    return out;
}

JournalWriter::JournalWriter(std::filesystem::path folder, std::function<Instant()> now)
    : folder_(std::move(folder)), now_(std::move(now)), device_(store::DeviceId::random()),
      boot_(device_.text()) {}

Expected<void> JournalWriter::open() {
    if (journal_) {
        return {};
    }
    auto opened = store::Journal::open(folder_ / store::journal_name, store::Access::write, {.now = now_});
    if (!opened) {
        return fail(std::move(opened).error());
    }
    if (auto closed = opened->why_read_only()) {
        return fail(std::move(*closed));
    }
    journal_ = std::move(*opened);
    return {};
}

namespace {

std::int64_t microseconds_since_start() {
    return std::chrono::duration_cast<std::chrono::microseconds>(
               std::chrono::steady_clock::now().time_since_epoch())
        .count();
}

// The study's tables and what there is to say of them, with these entries laid over them.
std::vector<study::Complaint> complaints_with(const std::filesystem::path& folder, const study::Brief& brief,
                                              std::span<const store::Entry> entries) {
    const auto read = read_entries(entries);
    auto tables = intake::read_tables(folder, brief, read.edits());
    auto out = read.complaints;
    out.insert(out.end(), tables.complaints.begin(), tables.complaints.end());
    const auto relations = study::check_relations(brief, tables.tables);
    out.insert(out.end(), relations.begin(), relations.end());
    return out;
}

// What the last `count` of the entries make worse: the first complaint that is new, and stops a run or is of
// one of these entries.
std::optional<Error> made_worse(const std::filesystem::path& folder, std::span<const store::Entry> entries,
                                std::size_t count) {
    auto text = read_file(folder / brief_name, most_brief_bytes);
    if (!text) {
        return std::move(text).error();
    }
    const auto brief = intake::read_brief(*text, brief_name).brief;
    const auto before = complaints_with(folder, brief, entries.first(entries.size() - count));
    for (const auto& complaint : complaints_with(folder, brief, entries)) {
        const bool is_of_these = complaint.error.place.file == study::journal_name &&
                                 complaint.error.place.line > entries.size() - count;
        if ((is_of_these || complaint.severity == study::Severity::stops_the_run) &&
            std::ranges::find(before, complaint) == before.end()) {
            return complaint.error;
        }
    }
    return std::nullopt;
}

} // namespace

namespace {

// Whether this wish carries a word by which it is known again (`wish` in its content), and `entry` is what
// was written of it: the answer was lost on its way, and it came once more.
bool is_of(const store::Entry& entry, const Wished& wish, const Author& author) {
    if (entry.act != wish.act || entry.author != author.name || entry.reason != wish.reason ||
        entry.content != wish.content) {
        return false;
    }
    const auto content = nlohmann::json::parse(wish.content, nullptr, false);
    return content.is_object() && content.contains("wish");
}

std::optional<store::EntryId> written_before(std::span<const store::Entry> entries, const Wished& wish,
                                             const Author& author) {
    const auto found =
        std::ranges::find_if(entries, [&](const auto& entry) { return is_of(entry, wish, author); });
    return found == entries.end() ? std::nullopt : std::optional(found->id);
}

} // namespace

std::vector<store::Entry> JournalWriter::stamped(std::span<const store::Entry> before,
                                                 const std::vector<Wished>& wishes, const Author& author) {
    const std::int64_t wall_us = now_().unix_nanoseconds() / 1000;
    if (!before.empty()) {
        time_ = store::receive(time_, before.back().time, wall_us);
    }
    auto time = time_;
    std::vector<store::Entry> out;
    for (std::size_t i = 0; i < wishes.size(); ++i) {
        time = store::tick(time, wall_us);
        out.push_back({.id = {.device = device_, .sequence = written_ + i + 1},
                       .time = time,
                       .moment = {.wall_us = wall_us,
                                  .monotonic_us = microseconds_since_start(),
                                  .boot = boot_,
                                  .clock_offset_us = 0},
                       .author = author.name,
                       .role = author.role,
                       .act = wishes[i].act,
                       .content = wishes[i].content,
                       .reason = wishes[i].reason});
    }
    return out;
}

Expected<void> JournalWriter::append(std::vector<store::Entry> all, const std::vector<store::Entry>& fresh) {
    all.insert(all.end(), fresh.begin(), fresh.end());
    if (auto worse = made_worse(folder_, all, fresh.size())) {
        return fail(std::move(*worse));
    }
    if (auto added = journal_->append(fresh); !added) {
        return fail(std::move(added).error());
    }
    time_ = fresh.back().time;
    written_ += fresh.size();
    return {};
}

Expected<std::vector<store::EntryId>> JournalWriter::write(const std::vector<Wished>& wishes,
                                                           const Author& author) {
    if (auto opened = open(); !opened) {
        return fail(std::move(opened).error());
    }
    auto before = journal_->entries();
    if (!before) {
        return fail(std::move(before).error());
    }
    std::vector<std::optional<store::EntryId>> known;
    std::vector<Wished> missing;
    for (const auto& wish : wishes) {
        known.push_back(written_before(*before, wish, author));
        if (!known.back()) {
            missing.push_back(wish);
        }
    }
    const auto fresh = stamped(*before, missing, author);
    if (!fresh.empty()) {
        if (auto added = append(std::move(*before), fresh); !added) {
            return fail(std::move(added).error());
        }
    }
    std::vector<store::EntryId> ids;
    auto next = fresh.begin();
    for (const auto& id : known) {
        ids.push_back(id ? *id : (next++)->id);
    }
    return ids;
}

Expected<store::Appended> JournalWriter::take_in(const std::vector<store::Entry>& entries) {
    if (auto opened = open(); !opened) {
        return fail(std::move(opened).error());
    }
    return journal_->append(entries);
}

Expected<std::string> JournalWriter::identity() {
    if (auto opened = open(); !opened) {
        return fail(std::move(opened).error());
    }
    return journal_->identity();
}

} // namespace backeddy::app
