#include "app/journal.hpp"

#include <algorithm>
#include <chrono>
#include <iterator>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "app/brief_text.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/brief.hpp"
#include "intake/tables.hpp"
#include "study/permit.hpp"
#include "study/relations.hpp"

namespace backeddy::app {

namespace {

// The file itself holds pages in whatever order they were written; what it says is its entries, and two
// machines that have the same ones have the same input.
report::Input input_of(const JournalRead& journal) {
    std::string hashes;
    std::uint64_t bytes = 0;
    std::set<store::DeviceId> devices;
    for (const auto& entry : journal.entries) {
        const auto canonical = store::canonical_bytes(entry);
        hashes += sha256_hex(std::string_view(canonical));
        bytes += canonical.size();
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
                "hashes in their order, the bytes are theirs",
                journal.entries.size(), undone, devices.size())},
            .rows_kept = journal.entries.size() - refused,
            .rows_refused = refused};
}

std::string shown(const store::Entry& entry) {
    return fmt::format("{} by {}: {:.300}", entry.act, entry.author, entry.content);
}

/// Two entries under one id, of which this one does not count.
study::Complaint told_aside(const store::Entry& entry, std::span<const store::Entry> standing) {
    const auto stands = std::ranges::find(standing, entry.id, &store::Entry::id);
    Place place{.file = study::journal_name};
    std::string expected = "one entry under one id";
    if (stands != standing.end()) {
        place.line = static_cast<std::uint64_t>(stands - standing.begin()) + 1;
        expected = fmt::format("the one that stands, {}", shown(*stands));
    }
    return {study::Severity::warning,
            {.code = ErrorCode::duplicate,
             .found = fmt::format("entry {} came once more with something else, which is kept aside and does "
                                  "not count: {}",
                                  id_text(entry.id), shown(entry)),
             .expected = std::move(expected),
             .remedy = "look which of the two is right, and write that anew if it is the one kept aside; the "
                       "device should take a new id",
             .place = std::move(place)}};
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
    const auto aside = journal && entries ? journal->kept_aside() : fail(Error{});
    if (!entries || !aside) {
        out.complaints.push_back({.error = entries ? aside.error() : std::move(entries).error()});
        return out;
    }
    out.entries = std::move(*entries);
    out.read = read_entries(out.entries);
    out.complaints = out.read.complaints;
    for (const auto& each : *aside) {
        out.complaints.push_back(told_aside(each.received.entry, out.entries));
    }
    if (!out.entries.empty()) {
        out.input = input_of(out);
    }
    return out;
}

Expected<Arrivals> arrived_since(const std::filesystem::path& folder, store::Position after,
                                 std::size_t at_most) {
    const auto journal = store::Journal::open(folder / store::journal_name, store::Access::read);
    if (!journal) {
        return fail(journal.error());
    }
    // Asked first: what arrives between the two is among the entries, or comes with the next asking.
    const auto last = journal->last_position();
    auto received = last ? journal->received_since(after, at_most) : fail(last.error());
    if (!received) {
        return fail(std::move(received).error());
    }
    Arrivals out{.identity = journal->identity(), .through = *last, .entries = {}};
    if (!received->empty() && (received->size() == at_most || received->back().position > *last)) {
        out.through = received->back().position;
    }
    for (auto& each : *received) {
        out.entries.push_back(std::move(each.entry));
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

struct LaidOver {
    study::Tables tables;
    std::vector<study::Complaint> complaints; ///< of the entries, of reading, of relations
};

// The study's tables and what there is to say of them, with these entries laid over them.
LaidOver with_entries(const std::filesystem::path& folder, const study::Brief& brief,
                      std::span<const store::Entry> entries) {
    const auto read = read_entries(entries);
    auto tables = intake::read_tables(folder, brief, read.edits());
    LaidOver out{.tables = std::move(tables.tables), .complaints = read.complaints};
    std::ranges::move(tables.complaints, std::back_inserter(out.complaints));
    std::ranges::move(study::check_relations(brief, out.tables), std::back_inserter(out.complaints));
    return out;
}

// A complaint by what it is of: an entry's place in the order changes with each that comes before it.
study::Complaint by_its_entry(study::Complaint complaint, std::span<const store::Entry> entries) {
    auto& place = complaint.error.place;
    if (place.file == study::journal_name && place.line && *place.line > 0 && *place.line <= entries.size()) {
        place.file = id_text(entries[*place.line - 1].id);
        place.line.reset();
    }
    return complaint;
}

// What `fresh` entries make worse: the first complaint that is new, and stops a run or is of one of them.
std::optional<Error> made_worse(const std::filesystem::path& folder, std::span<const store::Entry> before,
                                std::span<const store::Entry> fresh) {
    auto text = read_file(folder / brief_name, most_brief_bytes);
    if (!text) {
        return std::move(text).error();
    }
    const auto brief = intake::read_brief(*text, brief_name).brief;
    std::vector<study::Complaint> known;
    for (auto& complaint : with_entries(folder, brief, before).complaints) {
        known.push_back(by_its_entry(std::move(complaint), before));
    }
    std::vector<store::Entry> all(before.begin(), before.end());
    all.insert(all.end(), fresh.begin(), fresh.end());
    std::ranges::sort(all, store::comes_before);
    for (const auto& complaint : with_entries(folder, brief, all).complaints) {
        const auto keyed = by_its_entry(complaint, all);
        const bool is_of_these = std::ranges::any_of(
            fresh, [&](const auto& entry) { return id_text(entry.id) == keyed.error.place.file; });
        if ((is_of_these || complaint.severity == study::Severity::stops_the_run) &&
            std::ranges::find(known, keyed) == known.end()) {
            return complaint.error;
        }
    }
    return std::nullopt;
}

// Whether content undoes that entry, or changes the row that it adds or changes.
bool goes_on_from(const nlohmann::json& content, const store::Entry& entry) {
    const auto is_same = [&](const char* key, const nlohmann::json& value) {
        const auto found = content.find(key);
        return found != content.end() && *found == value;
    };
    const auto id = id_text(entry.id);
    if (!content.is_object() || is_same("entry", id) || is_same("added_by", id)) {
        return content.is_object();
    }
    const auto other = nlohmann::json::parse(entry.content, nullptr, false);
    return other.is_object() && other.contains("table") && is_same("table", other["table"]) &&
           ((other.contains("row") && is_same("row", other["row"])) ||
            (other.contains("added_by") && is_same("added_by", other["added_by"])));
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
    // The latest that a clock may follow: one that is far ahead hides no other.
    const auto latest = std::ranges::find_if(before.rbegin(), before.rend(), [&](const auto& entry) {
        return entry.time.wall_us - wall_us <= store::most_ahead_us;
    });
    if (latest != before.rend()) {
        time_ = store::receive(time_, latest->time, wall_us);
    }
    std::vector<store::Entry> out;
    for (std::size_t i = 0; i < wishes.size(); ++i) {
        time_ = store::tick(time_, wall_us);
        // What goes on from an entry comes after it, be that one's clock ever so far ahead: else it could
        // never be corrected.
        auto time = time_;
        const auto content = nlohmann::json::parse(wishes[i].content, nullptr, false);
        for (auto ahead = before.rbegin(); ahead != before.rend() && ahead->time >= time_; ++ahead) {
            if (goes_on_from(content, *ahead)) {
                time = store::tick(ahead->time, wall_us);
                break;
            }
        }
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

Expected<void> JournalWriter::append(std::span<const store::Entry> before,
                                     std::span<const store::Entry> fresh) {
    if (auto worse = made_worse(folder_, before, fresh)) {
        return fail(std::move(*worse));
    }
    if (auto added = journal_->append(fresh); !added) {
        return fail(std::move(added).error());
    }
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
        if (auto added = append(*before, fresh); !added) {
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

namespace {

/// What the tables, with all of the journal laid over them, say of these entries.
void tell_of(const std::filesystem::path& folder, std::span<const store::Entry> all,
             std::span<const store::Entry> these, TakenIn& into) {
    std::set<store::EntryId> ids;
    for (const auto& entry : these) {
        ids.insert(entry.id);
    }
    const auto text = read_file(folder / brief_name, most_brief_bytes);
    if (!text) {
        return; // the desk says what is wrong with it
    }
    const auto brief = intake::read_brief(*text, brief_name).brief;
    auto laid = with_entries(folder, brief, all);
    std::ranges::move(study::check_permit(brief, laid.tables), std::back_inserter(laid.complaints));
    for (auto& complaint : laid.complaints) {
        const auto line = complaint.error.place.line.value_or(0);
        const bool is_of_entry =
            complaint.error.place.file == study::journal_name && line > 0 && line <= all.size();
        if (is_of_entry && ids.contains(all[line - 1].id)) {
            into.complained_of.push_back(all[line - 1].id);
            into.complaints.push_back(std::move(complaint));
        }
    }
}

/// One append after another, each as large as the store takes.
Expected<store::Appended> append_in_parts(store::Journal& journal, std::span<const store::Entry> entries) {
    store::Appended out;
    do {
        std::size_t count = 0;
        std::size_t bytes = 0;
        while (count < entries.size() && count < store::most_entries_at_once &&
               bytes < store::most_bytes_at_once / 2) {
            bytes += store::canonical_bytes(entries[count++]).size();
        }
        auto part = journal.append(entries.first(count));
        if (!part) {
            return part;
        }
        out.through = part->through;
        out.added += part->added;
        out.duplicates += part->duplicates;
        std::ranges::move(part->conflicts, std::back_inserter(out.conflicts));
        entries = entries.subspan(count);
    } while (!entries.empty());
    return out;
}

} // namespace

Expected<TakenIn> JournalWriter::take_in(std::span<const store::Entry> entries) {
    if (auto opened = open(); !opened) {
        return fail(std::move(opened).error());
    }
    auto appended = append_in_parts(*journal_, entries);
    if (!appended) {
        return fail(std::move(appended).error());
    }
    TakenIn out{.appended = std::move(*appended)};
    // They are kept: what there is to say of them is no reason to fail.
    if (const auto all = journal_->entries()) {
        tell_of(folder_, *all, entries, out);
    }
    return out;
}

Expected<std::string> JournalWriter::identity() {
    if (auto opened = open(); !opened) {
        return fail(std::move(opened).error());
    }
    return journal_->identity();
}

} // namespace backeddy::app
