// docs/study-folder.md holds the lists of columns and settings as the program has them. To bring it up to
// date: BACKEDDY_WRITE_DOCS=1 and run this test.

#include <cstdlib>
#include <string>

#include <gtest/gtest.h>

#include "base/file.hpp"
#include "study/describe.hpp"

namespace backeddy::study {
namespace {

const std::string path = std::string(BACKEDDY_SOURCE_DIR) + "/docs/study-folder.md";

/// Replaces what stands between two marker lines; empty when a marker is missing.
std::string with_part(const std::string& page, const std::string& begin, const std::string& end,
                      const std::string& part) {
    const auto from = page.find(begin);
    const auto to = page.find(end);
    if (from == std::string::npos || to == std::string::npos || to < from) {
        return {};
    }
    const auto after_line = page.find('\n', from) + 1;
    return page.substr(0, after_line) + part + "\n" + page.substr(to);
}

TEST(StudyFolderPage, lists_every_column_and_setting_as_the_program_has_them) {
    const auto page = read_file(path);
    ASSERT_TRUE(page.has_value());
    auto should_be = with_part(*page, "<!-- columns:", "<!-- end of columns", columns_markdown());
    ASSERT_FALSE(should_be.empty());
    should_be = with_part(should_be, "<!-- settings:", "<!-- end of settings", settings_markdown());
    ASSERT_FALSE(should_be.empty());
    should_be = with_part(should_be, "<!-- observed:", "<!-- end of observed", observed_markdown());
    ASSERT_FALSE(should_be.empty());
    if (std::getenv("BACKEDDY_WRITE_DOCS") != nullptr) {
        ASSERT_TRUE(write_file_whole(path, should_be).has_value());
    }
    EXPECT_TRUE(*page == should_be || std::getenv("BACKEDDY_WRITE_DOCS") != nullptr)
        << "docs/study-folder.md is behind the code: run this test with BACKEDDY_WRITE_DOCS=1";
}

} // namespace
} // namespace backeddy::study
