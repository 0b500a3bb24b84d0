#include "store/folder_kind.hpp"

#include <fstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <linux/magic.h>

#include "store/invented.hpp"

namespace backeddy::store {
namespace {

using test::Folder;
using test::value_of;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

// The kernel's own header; CIFS, SMB2, NCP and the disks' numbers from the table of the statfs(2) page (from
// memory).
TEST(FolderKind, is_told_by_the_file_system_s_number) {
    for (const std::uint64_t network :
         {std::uint64_t{NFS_SUPER_MAGIC}, std::uint64_t{SMB_SUPER_MAGIC}, std::uint64_t{AFS_SUPER_MAGIC},
          std::uint64_t{CODA_SUPER_MAGIC}, std::uint64_t{NCP_SUPER_MAGIC}, std::uint64_t{V9FS_MAGIC},
          std::uint64_t{0xFF534D42}, std::uint64_t{0xFE534D42}, std::uint64_t{0x00C36400}}) {
        EXPECT_EQ(kind_of_file_system(network), FolderKind::network) << std::hex << network;
    }
    EXPECT_EQ(kind_of_file_system(0x65735546), FolderKind::program);
    for (const std::uint64_t own : {std::uint64_t{EXT4_SUPER_MAGIC}, std::uint64_t{TMPFS_MAGIC},
                                    std::uint64_t{BTRFS_SUPER_MAGIC}, std::uint64_t{XFS_SUPER_MAGIC},
                                    std::uint64_t{OVERLAYFS_SUPER_MAGIC}, std::uint64_t{MSDOS_SUPER_MAGIC}}) {
        EXPECT_EQ(kind_of_file_system(own), FolderKind::own_disk) << std::hex << own;
    }
}

TEST(FolderWarnings, are_none_for_a_folder_of_this_machine_with_all_that_the_program_itself_puts_there) {
    const Folder folder;
    value_of(Journal::open(folder.journal()));
    for (const char* ours : {"-wal", ".version-1", ".damaged-2026-06-14T120000Z", ".restoring"}) {
        std::filesystem::copy_file(folder.journal(), folder.journal().string() + ours);
    }
    std::ofstream(folder.path() / "journal notes.sqlite") << "not a copy of it";
    std::ofstream(folder.path() / "fish.csv") << "fish\n";
    EXPECT_THAT(folder_warnings(folder.journal()), IsEmpty());
    EXPECT_THAT(folder_warnings(folder.path() / "none" / "journal.sqlite"), IsEmpty());
}

TEST(FolderWarnings, name_a_second_file_that_looks_like_a_conflicting_copy_and_say_what_to_do) {
    const Folder folder;
    value_of(Journal::open(folder.journal()));
    std::filesystem::copy_file(folder.journal(), folder.path() / "journal (laptop's copy, 14 June).sqlite");
    std::filesystem::copy_file(folder.journal(), folder.path() / "journal-2.sqlite");
    const auto warnings = folder_warnings(folder.journal());
    ASSERT_THAT(warnings, SizeIs(2));
    EXPECT_THAT(warnings[0],
                AllOf(HasSubstr("Beside journal.sqlite lies journal (laptop's copy, 14 June).sqlite"),
                      HasSubstr("Each may have entries that the other lacks"),
                      HasSubstr("on this machine's own disk"),
                      HasSubstr("restore this journal from that copy")));
    EXPECT_THAT(warnings[1], HasSubstr("journal-2.sqlite"));
}

} // namespace
} // namespace backeddy::store
