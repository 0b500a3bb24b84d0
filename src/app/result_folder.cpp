#include "app/result_folder.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>

#include <fcntl.h>
#include <unistd.h>

#include "base/file.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

Error cannot_write(const fs::path& path, const std::string& reason) {
    return {.code = ErrorCode::cannot_write,
            .found = "the results cannot be written (" + reason + ")",
            .expected = "room on the disk and permission to write there",
            .remedy =
                "free some space or give another folder with --out; the earlier results stand untouched",
            .place = {.file = path.string()}};
}

Expected<void> only_known_files(const fs::path& folder, const std::vector<std::string>& known_names) {
    std::error_code status;
    for (const auto& entry : fs::directory_iterator(folder, status)) {
        const std::string name = entry.path().filename().string();
        if (std::find(known_names.begin(), known_names.end(), name) == known_names.end()) {
            return fail({.code = ErrorCode::bad_usage,
                         .found = "the folder for the results holds \"" + name +
                                  "\", which this program did not write",
                         .expected = "an empty folder, a new one, or the results of an earlier run alone",
                         .remedy = "move that file away or give another folder with --out",
                         .place = {.file = folder.string()}});
        }
    }
    if (status) {
        return fail(cannot_write(folder, status.message()));
    }
    return {};
}

// "results/" and "results" are one folder; the names beside it are made from the latter.
fs::path without_last_slash(const fs::path& folder) {
    const fs::path plain = folder.lexically_normal();
    return plain.has_filename() ? plain : plain.parent_path();
}

void flush_folder(const fs::path& folder) {
    const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        ::fsync(descriptor);
        ::close(descriptor);
    }
}

// One rename where the file system can exchange two folders; two renames where it cannot.
bool swap_in(const fs::path& fresh, const fs::path& folder) {
    if (!fs::exists(folder)) {
        return ::rename(fresh.c_str(), folder.c_str()) == 0;
    }
    if (::renameat2(AT_FDCWD, fresh.c_str(), AT_FDCWD, folder.c_str(), RENAME_EXCHANGE) == 0) {
        return true;
    }
    auto aside = folder;
    aside += ".old";
    std::error_code status;
    fs::remove_all(aside, status);
    if (::rename(folder.c_str(), aside.c_str()) != 0) {
        return false;
    }
    if (::rename(fresh.c_str(), folder.c_str()) != 0) {
        (void)::rename(aside.c_str(), folder.c_str());
        return false;
    }
    return ::rename(aside.c_str(), fresh.c_str()) == 0;
}

} // namespace

Expected<void> replace_result_folder(const fs::path& place, const std::vector<ResultFile>& files,
                                     const std::vector<std::string>& known_names) {
    std::error_code status;
    const fs::path folder = without_last_slash(place);
    if (fs::exists(folder)) {
        if (auto known = only_known_files(folder, known_names); !known) {
            return known;
        }
    }
    fs::path fresh = folder;
    fresh += ".new";
    fs::remove_all(fresh, status);
    if (!fs::create_directories(fresh, status)) {
        return fail(cannot_write(fresh, status.message()));
    }
    for (const auto& file : files) {
        if (auto written = write_file_whole(fresh / file.name, file.bytes); !written) {
            fs::remove_all(fresh, status);
            return written;
        }
    }
    flush_folder(fresh);
    if (!swap_in(fresh, folder)) {
        const std::string reason = std::strerror(errno);
        fs::remove_all(fresh, status);
        return fail(cannot_write(folder, reason));
    }
    flush_folder(folder.parent_path().empty() ? fs::path(".") : folder.parent_path());
    fs::remove_all(fresh, status); // now holds the earlier set
    return {};
}

Expected<void> may_hold_results(const fs::path& out, const fs::path& study) {
    std::error_code status;
    const auto resolved_out = fs::weakly_canonical(without_last_slash(out), status);
    const auto resolved_study = fs::weakly_canonical(without_last_slash(study), status);
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
