#include "store/folder_kind.hpp"

#include <algorithm>
#include <array>
#include <fstream>
#include <optional>
#include <system_error>

#include <fmt/format.h>
#include <sys/vfs.h>

#include "store/detail/machine.hpp"

namespace backeddy::store {

FolderKind kind_of_file_system(std::uint64_t type) {
    constexpr std::array<std::uint64_t, 9> network{
        0x6969,     // NFS
        0x517B,     // SMB
        0xFF534D42, // CIFS
        0xFE534D42, // SMB2
        0x5346414F, // AFS
        0x73757245, // Coda
        0x564C,     // NCP
        0x01021997, // 9P
        0x00C36400, // Ceph
    };
    constexpr std::uint64_t fuse = 0x65735546;
    if (type == fuse) {
        return FolderKind::program;
    }
    return std::find(network.begin(), network.end(), type) != network.end() ? FolderKind::network
                                                                            : FolderKind::own_disk;
}

namespace {

constexpr const char* what_may_happen =
    "Entries that were shown as saved may be lost there: such a folder may say that something is on disk "
    "when it is "
    "not, and the journal's log needs memory that programs of one machine share.";

constexpr const char* what_to_do = "Keep the study in a folder on this machine's own disk, let only this "
                                   "machine write to it, and have a copy made "
                                   "to the other folder.";

std::optional<std::string> kind_warning(const std::filesystem::path& folder) {
    struct statfs status{};
    if (::statfs(folder.c_str(), &status) != 0) {
        return std::nullopt;
    }
    // f_type is signed on some machines, and then the widened number has ones in front.
    switch (kind_of_file_system(static_cast<std::uint64_t>(status.f_type) & 0xFFFFFFFFU)) {
    case FolderKind::own_disk:
        return std::nullopt;
    case FolderKind::network:
        return fmt::format("{} is a folder of another computer. {} {}", folder.string(), what_may_happen,
                           what_to_do);
    case FolderKind::program:
        return fmt::format(
            "{} is served by a program: it may be a cloud's folder, another computer's, or a stick in "
            "another system's format. {} {}",
            folder.string(), what_may_happen, what_to_do);
    }
    return std::nullopt;
}

bool begins_like_a_journal(const std::filesystem::path& file) {
    constexpr std::string_view beginning = "SQLite format 3";
    std::string bytes(beginning.size(), '\0');
    std::ifstream in(file, std::ios::binary);
    in.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    return in.good() && bytes == beginning;
}

/// "journal (conflicting copy of the laptop).sqlite", "journal-1.sqlite": the journal's name with something
/// put in before its end. What this program itself puts beside a journal has it behind its end.
bool looks_like_a_copy(const std::filesystem::path& file, const std::filesystem::path& journal_file) {
    const std::string name = file.filename().string();
    return file.filename() != journal_file.filename() && name.starts_with(journal_file.stem().string()) &&
           file.extension() == journal_file.extension() && begins_like_a_journal(file);
}

} // namespace

std::vector<std::string> folder_warnings(const std::filesystem::path& journal_file) {
    std::vector<std::string> out;
    const auto folder = detail::folder_of(journal_file);
    if (auto warning = kind_warning(folder)) {
        out.push_back(std::move(*warning));
    }
    std::error_code unknown;
    std::vector<std::string> copies;
    for (std::filesystem::directory_iterator item(folder, unknown), end; !unknown && item != end;
         item.increment(unknown)) {
        if (std::error_code none;
            item->is_regular_file(none) && looks_like_a_copy(item->path(), journal_file)) {
            copies.push_back(item->path().filename().string());
        }
    }
    std::sort(copies.begin(), copies.end());
    for (const auto& copy : copies) {
        out.push_back(fmt::format("Beside {} lies {}, which looks like a second copy that a folder-copying "
                                  "service made when two computers "
                                  "wrote at once. Each may have entries that the other lacks. {} Nothing is "
                                  "lost yet: close the program, "
                                  "and restore this journal from that copy, which joins the two.",
                                  journal_file.filename().string(), copy, what_to_do));
    }
    return out;
}

} // namespace backeddy::store
