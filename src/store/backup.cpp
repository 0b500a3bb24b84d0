#include "store/backup.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdio>
#include <iterator>
#include <span>
#include <system_error>
#include <utility>

#include <fmt/format.h>
#include <sys/stat.h>

#include "store/detail/machine.hpp"
#include "store/salvage.hpp"

namespace backeddy::store {

namespace {

Error other_study(const std::filesystem::path& copy) {
    return {.code = ErrorCode::bad_relation,
            .found = "this is the copy of another study's journal",
            .expected =
                "the copy of this study's journal: two studies in one journal cannot be told apart again",
            .remedy = "choose another folder",
            .place = {.file = copy.string()}};
}

/// Appends them all, in batches that append() takes.
Expected<Appended> append_all(Journal& journal, std::span<const Entry> entries) {
    Appended out;
    while (!entries.empty()) {
        constexpr std::size_t at_once = 1'000;
        constexpr std::size_t bytes_at_once = most_bytes_at_once / 2;
        std::size_t count = 0;
        for (std::size_t bytes = 0; count < std::min(entries.size(), at_once) && bytes < bytes_at_once;
             ++count) {
            bytes += entries[count].content.size() + entries[count].reason.size();
        }
        auto added = journal.append(entries.first(count));
        if (!added) {
            return added;
        }
        out.through = added->through;
        out.added += added->added;
        out.duplicates += added->duplicates;
        std::move(added->conflicts.begin(), added->conflicts.end(), std::back_inserter(out.conflicts));
        entries = entries.subspan(count);
    }
    return out;
}

bool same_file(const std::filesystem::path& a, const std::filesystem::path& b) {
    std::error_code unknown;
    return std::filesystem::equivalent(a, b, unknown) && !unknown;
}

} // namespace

Expected<void> begin_copy(const Journal& journal, const std::filesystem::path& folder,
                          JournalOptions options) {
    if (same_file(detail::folder_of(journal.file()), folder)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "the copy would lie in the journal's own folder",
                     .expected = "another folder, best on another disk",
                     .remedy = "choose another folder",
                     .place = {.file = folder.string()}});
    }
    options.identity = journal.identity();
    const auto copy = Journal::open(folder / copy_name, Access::write, std::move(options));
    if (!copy) {
        return fail(copy.error());
    }
    if (copy->identity() != journal.identity()) {
        return fail(other_study(copy->file()));
    }
    return {};
}

std::optional<std::string> same_disk_warning(const std::filesystem::path& journal_file,
                                             const std::filesystem::path& folder) {
    struct stat journal{};
    struct stat copy{};
    if (::stat(detail::folder_of(journal_file).c_str(), &journal) != 0 ||
        ::stat(folder.c_str(), &copy) != 0 || journal.st_dev != copy.st_dev) {
        return std::nullopt;
    }
    return fmt::format(
        "{} is on the same disk as the journal: when that disk fails, both are lost. Choose a folder "
        "on a stick or another disk.",
        folder.string());
}

Copy::Copy(const std::filesystem::path& folder, JournalOptions options)
    : file_(folder / copy_name), options_(std::move(options)) {}

Expected<void> Copy::open_for(const Journal& journal) {
    if (std::error_code unknown; !std::filesystem::exists(file_, unknown)) {
        return fail(
            {.code = ErrorCode::file_missing,
             .found = "the journal's copy is not there",
             .expected = "the copy that was begun here",
             .remedy = "plug its disk in: the copy catches up by itself; or begin one in another folder",
             .place = {.file = file_.string()}});
    }
    auto opened = Journal::open(file_, Access::write, options_);
    if (!opened) {
        return fail(std::move(opened).error());
    }
    if (opened->identity() != journal.identity()) {
        return fail(other_study(file_));
    }
    const auto last = opened->last_position();
    if (!last) {
        return fail(last.error());
    }
    copy_ = std::move(*opened);
    sent_ = Position{0}; // it may be another disk than before: what it has already is harmless
    has_ = *last;
    return {};
}

Expected<void> Copy::copy_all(const Journal& journal) {
    if (!copy_) {
        if (auto good = open_for(journal); !good) {
            return good;
        }
    }
    while (true) {
        constexpr std::size_t at_once = 200;
        const auto arrivals = journal.arrivals_since(sent_, at_once);
        if (!arrivals) {
            return fail(arrivals.error());
        }
        if (arrivals->empty()) {
            return {};
        }
        std::vector<Entry> entries;
        for (const auto& arrival : *arrivals) {
            entries.push_back(arrival.received.entry);
        }
        const auto added = append_all(*copy_, entries);
        if (!added) {
            return fail(added.error());
        }
        sent_ = arrivals->back().received.position;
        has_ = added->through;
    }
}

const CopyState& Copy::follow(const Journal& journal) {
    auto done = copy_all(journal);
    if (done) {
        state_ = {.behind = 0, .trouble = std::nullopt, .complete = detail::now_by(options_.now)};
        return state_;
    }
    state_.trouble = std::move(done).error();
    copy_.reset();
    if (const auto last = journal.last_position()) {
        state_.behind =
            std::max<std::int64_t>(0, static_cast<std::int64_t>(*last) - static_cast<std::int64_t>(has_));
    }
    return state_;
}

namespace {

/// One place from which entries can be had.
struct Source {
    bool is_there = false;
    std::vector<Entry> entries; ///< in the order in which they are to be appended: the first of an id stands
    std::string identity;
    std::vector<std::string> damage; ///< none: the journal is whole
};

bool is_there(const std::filesystem::path& file) {
    std::error_code unknown;
    return std::filesystem::exists(file, unknown) || std::filesystem::exists(file.string() + "-wal", unknown);
}

/// What SQLite can read in the journal, and what is wrong with it.
void read_as_journal(const std::filesystem::path& file, const JournalOptions& options, Source& out) {
    const auto journal = Journal::open(file, Access::read, options);
    if (!journal) {
        out.damage.push_back(journal.error().text());
        return;
    }
    out.identity = journal->identity();
    auto readable = journal->readable();
    if (!readable) {
        out.damage.push_back(readable.error().text());
        return;
    }
    for (Arrival& arrival : readable->sound) {
        out.entries.push_back(std::move(arrival.received.entry));
    }
    for (const Damage& one : readable->damage) {
        out.damage.push_back(file.string() + ": " + one.what);
    }
}

/// What lies in the bytes besides. Behind what SQLite could read: it may hold what was rolled back.
Expected<void> read_as_bytes(const std::filesystem::path& file, Source& out) {
    auto salvaged = salvage(file);
    if (!salvaged) {
        return fail(std::move(salvaged).error());
    }
    std::move(salvaged->standing.begin(), salvaged->standing.end(), std::back_inserter(out.entries));
    std::move(salvaged->kept_aside.begin(), salvaged->kept_aside.end(), std::back_inserter(out.entries));
    if (out.identity.empty()) {
        out.identity = std::move(salvaged->identity);
    }
    return {};
}

Expected<Source> look_at(const std::filesystem::path& file, const JournalOptions& options) {
    Source out{.is_there = is_there(file)};
    if (!out.is_there) {
        return out;
    }
    read_as_journal(file, options, out);
    if (!out.damage.empty()) {
        if (auto good = read_as_bytes(file, out); !good) {
            return fail(std::move(good).error());
        }
    }
    return out;
}

Expected<void> move_file(const std::filesystem::path& from, const std::filesystem::path& to) {
    if (::rename(from.c_str(), to.c_str()) != 0 && errno != ENOENT) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = fmt::format("cannot rename it to {} ({})", to.filename().string(),
                                          std::generic_category().message(errno)),
                     .expected = "a folder that this user may write to",
                     .remedy = "mend that and restore again: it goes on where it stopped",
                     .place = {.file = from.string()}});
    }
    return {};
}

/// A journal is up to three files; the one that names it comes last where it is put in place, first where it
/// is taken away, so that no log is ever beside a journal that is not its own.
constexpr std::array companions{"-shm", "-wal"};

Expected<void> take_away(const std::filesystem::path& file, const std::filesystem::path& to) {
    auto good = move_file(file, to);
    for (const char* companion : companions) {
        if (good) {
            good = move_file(file.string() + companion, to.string() + companion);
        }
    }
    return good;
}

Expected<void> put_in_place(const std::filesystem::path& made, const std::filesystem::path& file) {
    for (const char* companion : companions) {
        if (auto good = move_file(made.string() + companion, file.string() + companion); !good) {
            return good;
        }
    }
    auto good = move_file(made, file);
    detail::sync_folder(detail::folder_of(file));
    return good;
}

/// "journal.sqlite.damaged-2026-06-14T210503Z", or with a number behind where that is taken.
std::filesystem::path aside_name(const std::filesystem::path& file, Instant now) {
    constexpr std::int64_t second = 1'000'000'000;
    std::string moment = iso_text(Instant::unix_nanoseconds(now.unix_nanoseconds() / second * second));
    std::erase(moment, ':');
    for (int i = 1;; ++i) {
        std::filesystem::path name =
            file.string() + ".damaged-" + moment + (i == 1 ? "" : fmt::format("-{}", i));
        if (!is_there(name)) {
            return name;
        }
    }
}

Expected<void> refuse_what_cannot_be(const std::filesystem::path& file, const Source& own,
                                     const std::optional<std::filesystem::path>& copy, const Source& other) {
    if ((copy && !other.is_there) || (!copy && !own.is_there)) {
        return fail({.code = ErrorCode::file_missing,
                     .found = copy ? "there is no copy" : "there is no journal",
                     .expected = "something to restore from",
                     .remedy = "check its name, and that its disk is plugged in",
                     .place = {.file = (copy ? *copy : file).string()}});
    }
    if (!own.identity.empty() && !other.identity.empty() && own.identity != other.identity) {
        return fail(other_study(*copy));
    }
    return {};
}

/// Appends both sources to the journal at `file`, which is made where it is not there.
Expected<void> join(const std::filesystem::path& file, const JournalOptions& options, const Source& own,
                    const Source& other, Restored& out) {
    auto journal = Journal::open(file, Access::write, options);
    if (!journal) {
        return fail(std::move(journal).error());
    }
    for (const Source* source : {&own, &other}) {
        auto added = append_all(*journal, source->entries);
        if (!added) {
            return fail(std::move(added).error());
        }
        (source == &own ? out.from_journal : out.from_copy) = added->added;
        std::move(added->conflicts.begin(), added->conflicts.end(), std::back_inserter(out.conflicts));
    }
    return {};
}

} // namespace

Expected<Restored> restore(const std::filesystem::path& file,
                           const std::optional<std::filesystem::path>& copy, JournalOptions options) {
    auto own = look_at(file, options);
    auto other = copy ? look_at(*copy, options) : Expected<Source>(Source{});
    if (!own || !other) {
        return fail(std::move(own ? other : own).error());
    }
    if (auto good = refuse_what_cannot_be(file, *own, copy, *other); !good) {
        return fail(std::move(good).error());
    }
    Restored out;
    out.damage = own->damage;
    out.damage.insert(out.damage.end(), other->damage.begin(), other->damage.end());
    options.identity = own->identity.empty() ? other->identity : own->identity;
    const bool is_sound = own->is_there && own->damage.empty();
    const std::filesystem::path made =
        is_sound ? file : std::filesystem::path(file.string() + restoring_suffix);
    if (auto good = join(made, options, *own, *other, out); !good) {
        return fail(std::move(good).error());
    }
    if (is_sound) {
        out.from_journal = own->entries.size();
        return out;
    }
    if (own->is_there) {
        out.set_aside = aside_name(file, detail::now_by(options.now));
        if (auto good = take_away(file, *out.set_aside); !good) {
            return fail(std::move(good).error());
        }
    }
    if (auto good = put_in_place(made, file); !good) {
        return fail(std::move(good).error());
    }
    return out;
}

} // namespace backeddy::store
