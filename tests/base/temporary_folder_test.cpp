#include "base/temporary_folder.hpp"

#include <optional>

#include <gtest/gtest.h>

#include "base/file.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;

TEST(TemporaryFolder, goes_with_all_it_holds) {
    fs::path path;
    {
        const auto folder = TemporaryFolder::make("test");
        ASSERT_TRUE(folder) << folder.error().text();
        path = folder->path();
        EXPECT_EQ(fs::status(path).permissions(), fs::perms::owner_all);
        ASSERT_TRUE(write_new_file(path / "a", "bytes"));
    }
    EXPECT_FALSE(fs::exists(path));
}

TEST(TemporaryFolder, that_another_takes_the_place_of_goes) {
    std::optional<TemporaryFolder> held = std::move(*TemporaryFolder::make("test"));
    const auto first = held->path();
    held = std::move(*TemporaryFolder::make("test"));
    EXPECT_FALSE(fs::exists(first));
    EXPECT_TRUE(fs::exists(held->path()));
    const auto second = held->path();
    const TemporaryFolder moved = std::move(*held);
    held.reset();
    EXPECT_EQ(moved.path(), second);
    EXPECT_TRUE(fs::exists(second));
}

} // namespace
} // namespace backeddy
