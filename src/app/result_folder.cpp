#include "app/result_folder.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <optional>
#include <thread>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "app/detail/folder_lock.hpp"
#include "base/file.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

constexpr const char* marker_name = "backeddy-writes-here";
constexpr std::string_view marker_text =
    "Backeddy makes a result set here and then moves it into its place. If no run is at work, the next one\n"
    "takes this folder away.\n";

Error not_for_results(const fs::path& folder, std::string found) {
    return {.code = ErrorCode::bad_usage,
            .found = std::move(found),
            .expected = "an empty folder, a new one, or the results of an earlier run alone",
            .remedy = "move that away or give another folder with --out; nothing in it was touched",
            .place = {.file = folder.string()}};
}

// "results/" and "results" are one folder; a link stands for the folder it leads to.
fs::path settled(const fs::path& place) {
    const fs::path plain = place.lexically_normal();
    const fs::path folder = plain.has_filename() ? plain : plain.parent_path();
    std::error_code status;
    const fs::path real = fs::weakly_canonical(fs::absolute(folder, status), status);
    return status ? folder : real;
}

void flush_folder(const fs::path& folder) {
    const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        ::fsync(descriptor);
        ::close(descriptor);
    }
}

// ---------------------------------------------------------------- what is ours

// The first characters of a file, blanks left out.
std::string head_without_blanks(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::string head(512, '\0');
    file.read(head.data(), static_cast<std::streamsize>(head.size()));
    head.resize(static_cast<std::size_t>(file.gcount()));
    std::erase_if(head, [](char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; });
    return head;
}

enum class Proof : std::uint8_t { by_content, by_names };

// Nothing when `folder` is free, empty or ours; otherwise why not. A folder whose own marker shows that this
// program made it need not hold a whole set: there the names are enough.
std::optional<std::string> why_not_ours(const fs::path& folder, const ResultMarks& marks, Proof proof) {
    std::error_code status;
    const auto kind = fs::symlink_status(folder, status).type();
    if (kind == fs::file_type::not_found) {
        return std::nullopt;
    }
    if (kind != fs::file_type::directory) {
        return "this is no folder";
    }
    bool any = false;
    bool proven = false;
    fs::directory_iterator entry(folder, status);
    for (const fs::directory_iterator end; !status && entry != end; entry.increment(status)) {
        const std::string name = entry->path().filename().string();
        any = true;
        if (std::find(marks.names.begin(), marks.names.end(), name) == marks.names.end()) {
            return fmt::format("the folder for the results holds \"{}\", which this program did not write",
                               name);
        }
        std::error_code ignored;
        if (entry->symlink_status(ignored).type() != fs::file_type::regular) {
            return fmt::format("\"{}\" in the folder for the results is no file of this program's: it is a "
                               "folder, a link or a device",
                               name);
        }
        proven = proven ||
                 (name == marks.proof && head_without_blanks(entry->path()).starts_with(marks.proof_head));
    }
    if (status) {
        return fmt::format("the folder for the results cannot be looked into ({})", status.message());
    }
    if (any && !proven && proof == Proof::by_content) {
        return fmt::format("the folder holds files named as results are, but no {} of this program's among "
                           "them: they may be somebody's own",
                           marks.proof);
    }
    return std::nullopt;
}

// Takes away files of our names and then the folder, if nothing else is in it.
void take_away_set(const fs::path& folder, const ResultMarks& marks) {
    if (why_not_ours(folder, marks, Proof::by_names)) {
        return;
    }
    for (const auto& name : marks.names) {
        ::unlink((folder / name).c_str());
    }
    ::rmdir(folder.c_str());
}

// ---------------------------------------------------------------- one run at a time

// ---------------------------------------------------------------- the folder beside

std::string stage_prefix(const fs::path& folder) {
    return "." + folder.filename().string() + ".new-";
}

// The folder in which a set is made. Goes away with all that is ours in it.
class Stage {
  public:
    Stage(fs::path path, fs::path folder, const ResultMarks& marks)
        : path_(std::move(path)), folder_(std::move(folder)), marks_(&marks) {}
    Stage(const Stage&) = delete;
    Stage& operator=(const Stage&) = delete;
    Stage(Stage&&) = delete;
    Stage& operator=(Stage&&) = delete;
    ~Stage() {
        std::error_code status;
        take_away_set(set(), *marks_);
        // An earlier set that could not be put back is all there is: it stays.
        if (fs::exists(folder_, status) && !why_not_ours(folder_, *marks_, Proof::by_content)) {
            take_away_set(earlier(), *marks_);
        }
        if (fs::exists(set(), status) || fs::exists(earlier(), status)) {
            return; // something in it is not ours: the marker has to say what this folder is
        }
        ::unlink((path_ / marker_name).c_str());
        ::rmdir(path_.c_str());
    }
    [[nodiscard]] fs::path set() const { return path_ / "set"; }
    [[nodiscard]] fs::path earlier() const { return path_ / "earlier"; }

  private:
    fs::path path_;
    fs::path folder_; ///< the place of the results
    const ResultMarks* marks_;
};

// 0, or the errno. `path` becomes the folder that was made.
int make_stage(const fs::path& folder, fs::path& path) {
    for (unsigned n = 0; n < 10'000; ++n) {
        path = folder.parent_path() / fmt::format("{}{}-{}", stage_prefix(folder), ::getpid(), n);
        if (::mkdir(path.c_str(), 0777) == 0) {
            return 0;
        }
        if (errno != EEXIST) {
            return errno;
        }
    }
    return EEXIST;
}

bool is_stage_name(std::string_view name, std::string_view prefix) {
    if (!name.starts_with(prefix)) {
        return false;
    }
    name.remove_prefix(prefix.size());
    const auto dash = name.find('-');
    return dash != 0 && dash != std::string_view::npos && dash + 1 < name.size() &&
           name.find_first_not_of("0123456789-") == std::string_view::npos &&
           name.find('-', dash + 1) == std::string_view::npos;
}

// Whether this program made the folder: its marker says so, though perhaps only its beginning was written.
bool is_stage(const fs::path& path) {
    std::error_code status;
    const fs::path marker = path / marker_name;
    if (fs::symlink_status(path, status).type() != fs::file_type::directory ||
        fs::symlink_status(marker, status).type() != fs::file_type::regular) {
        return false;
    }
    const std::string text = read_file(marker).value_or(std::string("unreadable"));
    return text == marker_text || (marker_text.starts_with(text) && !fs::exists(path / "set", status));
}

// Folders that runs which were killed left beside `folder`. Only under the lock: then none of them is at
// work.
void clear_leftovers(const fs::path& folder, const ResultMarks& marks) {
    const std::string prefix = stage_prefix(folder);
    std::vector<fs::path> left;
    std::error_code status;
    fs::directory_iterator entry(folder.parent_path(), status);
    for (const fs::directory_iterator end; !status && entry != end; entry.increment(status)) {
        if (is_stage_name(entry->path().filename().string(), prefix) && is_stage(entry->path())) {
            left.push_back(entry->path());
        }
    }
    for (const auto& path : left) {
        std::error_code ignored;
        const Stage stage(path, folder, marks);
        // It was killed between two renames: there is no set in the place, and the earlier one is here.
        if (fs::exists(stage.earlier(), ignored) && !fs::exists(folder, ignored)) {
            (void)::renameat2(AT_FDCWD, stage.earlier().c_str(), AT_FDCWD, folder.c_str(), RENAME_NOREPLACE);
        }
    }
}

// ---------------------------------------------------------------- the swap

int rename_to_free_name(const fs::path& from, const fs::path& to) {
    if (::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0) {
        return 0;
    }
    if (errno != EINVAL && errno != ENOSYS) {
        return errno;
    }
    // A plain rename of a folder fails where a file or a folder with something in it has the name.
    return ::rename(from.c_str(), to.c_str()) == 0 ? 0 : errno;
}

// 0, or the errno; then `folder` is what it was.
int swap_in(const Stage& stage, const fs::path& folder, Swap how) {
    if (::access(folder.c_str(), F_OK) != 0) {
        const int reason = rename_to_free_name(stage.set(), folder);
        if (reason != EEXIST) {
            return reason;
        }
    }
    if (how == Swap::exchange_if_possible) {
        if (::renameat2(AT_FDCWD, stage.set().c_str(), AT_FDCWD, folder.c_str(), RENAME_EXCHANGE) == 0) {
            return 0;
        }
        if (errno != EINVAL && errno != ENOSYS) {
            return errno;
        }
    }
    if (const int reason = rename_to_free_name(folder, stage.earlier()); reason != 0) {
        return reason;
    }
    if (const int reason = rename_to_free_name(stage.set(), folder); reason != 0) {
        (void)rename_to_free_name(stage.earlier(), folder);
        return reason;
    }
    return 0;
}

// Which folder stands in the place: device and number.
std::optional<std::pair<::dev_t, ::ino_t>> identity(const fs::path& folder) {
    struct stat status{};
    if (::stat(folder.c_str(), &status) != 0) {
        return std::nullopt;
    }
    return std::pair{status.st_dev, status.st_ino};
}

// Says of the earlier results what is so when it is asked.
class Reasons {
  public:
    explicit Reasons(fs::path folder) : folder_(std::move(folder)), before_(identity(folder_)) {
        std::error_code status;
        had_results_ = before_ && !fs::is_empty(folder_, status) && !status;
    }
    [[nodiscard]] Error cannot_write(const fs::path& path, const std::string& reason) const {
        std::string remedy = "free some space or give another folder with --out";
        if (had_results_ && identity(folder_) == before_) {
            remedy += "; the earlier results are still there";
        }
        return {.code = ErrorCode::cannot_write,
                .found = fmt::format("the results cannot be written ({})", reason),
                .expected = "room on the disk and permission to write there",
                .remedy = std::move(remedy),
                .place = {.file = path.string()}};
    }

  private:
    fs::path folder_;
    std::optional<std::pair<::dev_t, ::ino_t>> before_;
    bool had_results_ = false;
};

} // namespace

const ResultMarks& result_marks() {
    static const ResultMarks marks{
        .names = {"uptake_by_spell.csv", "uptake_by_stay.csv", "uptake_by_fish.csv", "catch_by_rig.csv",
                  "findings.csv", "condition_by_fish.csv", "blood_by_value.csv", "plate_by_material.csv",
                  "results.json", "report.html", "run.log", "refused_rows.csv"},
        .proof = "results.json",
        .proof_head = R"({"schema":"backeddyresults",)"};
    return marks;
}

Expected<void> may_replace_results(const fs::path& place, const ResultMarks& marks) {
    const fs::path folder = settled(place);
    if (auto reason = why_not_ours(folder, marks, Proof::by_content)) {
        return fail(not_for_results(folder, std::move(*reason)));
    }
    return {};
}

Expected<void> replace_result_folder(const fs::path& place, const std::vector<ResultFile>& files,
                                     const ResultMarks& marks, const ReplaceWork& work) {
    const fs::path folder = settled(place);
    if (auto allowed = may_replace_results(folder, marks); !allowed) {
        return allowed;
    }
    const Reasons reasons(folder);
    std::error_code status;
    fs::create_directories(folder.parent_path(), status);
    if (status) {
        return fail(reasons.cannot_write(folder.parent_path(), status.message()));
    }
    const auto lock = detail::FolderLock::take(folder.parent_path(), work.patience);
    if (!lock) {
        return fail(lock.error());
    }
    if (lock->is_held()) {
        clear_leftovers(folder, marks);
    }
    fs::path path;
    if (const int reason = make_stage(folder, path); reason != 0) {
        return fail(reasons.cannot_write(path, std::strerror(reason)));
    }
    const Stage stage(path, folder, marks);
    if (auto written = write_new_file(path / marker_name, marker_text); !written) {
        return fail(reasons.cannot_write(folder, written.error().found));
    }
    if (::mkdir(stage.set().c_str(), 0777) != 0) {
        return fail(reasons.cannot_write(stage.set(), std::strerror(errno)));
    }
    for (const auto& file : files) {
        if (auto written = write_new_file(stage.set() / file.name, file.bytes); !written) {
            return fail(reasons.cannot_write(folder / file.name, written.error().found));
        }
    }
    if (const auto mode = fs::status(folder, status).permissions(); !status && fs::exists(folder, status)) {
        fs::permissions(stage.set(), mode, status); // who may look into the results stays so
    }
    flush_folder(stage.set());
    flush_folder(path);
    // Again, under the lock: minutes may have passed, and another run may have been there.
    if (auto allowed = may_replace_results(folder, marks); !allowed) {
        return allowed;
    }
    if (const int reason = swap_in(stage, folder, work.swap); reason != 0) {
        return fail(reasons.cannot_write(folder, std::strerror(reason)));
    }
    // Somebody put a file of their own there in the last moment: it goes back to its place.
    if (auto reason = why_not_ours(stage.set(), marks, Proof::by_names);
        reason &&
        ::renameat2(AT_FDCWD, stage.set().c_str(), AT_FDCWD, folder.c_str(), RENAME_EXCHANGE) == 0) {
        return fail(not_for_results(folder, std::move(*reason)));
    }
    flush_folder(folder.parent_path());
    return {};
}

Expected<void> may_hold_results(const fs::path& out, const fs::path& study) {
    const auto resolved_out = settled(out);
    const auto resolved_study = settled(study);
    const auto is_inside = [](const fs::path& inner, const fs::path& outer) {
        const auto [end, unused] = std::mismatch(outer.begin(), outer.end(), inner.begin(), inner.end());
        return end == outer.end();
    };
    if (is_inside(resolved_study, resolved_out) || is_inside(resolved_out, resolved_study / "raw")) {
        return fail({.code = ErrorCode::bad_usage,
                     .found = "the results would overwrite the study itself (" + out.string() + ")",
                     .expected = "a folder of its own for results",
                     .remedy = "leave --out away (results go to " + (study / "results").string() +
                               ") or give another folder"});
    }
    return {};
}

} // namespace backeddy::app
