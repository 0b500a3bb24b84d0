// docs/watch.md holds the lists of thresholds and alarms as the program has them. To bring it up to date:
// BACKEDDY_WRITE_DOCS=1 and run this test.

#include <cstdlib>
#include <string>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "watch/cause.hpp"
#include "watch/settings.hpp"

namespace backeddy::watch {
namespace {

const std::string path = std::string(BACKEDDY_SOURCE_DIR) + "/docs/watch.md";

std::string settings_table() {
    std::string out = "| setting | default | what for | source |\n|---|---|---|---|\n";
    for (const auto& setting : described_settings()) {
        out += fmt::format("| `{}` | {} {} | {} | {} |\n", setting.key, setting.standard, setting.unit,
                           setting.why, setting.source);
    }
    return out;
}

std::string alarms_table() {
    std::string out = "| alarm | priority | delay on, off (s) | what to do |\n|---|---|---|---|\n";
    for (const auto& row : all_causes()) {
        out += fmt::format("| {} `{}` | {} | {:.0f}, {:.0f} | {} |\n", row.title, row.word,
                           word(row.priority), row.on_delay_s, row.off_delay_s, row.to_do);
    }
    return out;
}

/// Replaces what stands between two marker lines; empty when a marker is missing.
std::string with_part(const std::string& page, const std::string& name, const std::string& part) {
    const auto from = page.find("<!-- " + name + ":");
    const auto to = page.find("<!-- end of " + name);
    if (from == std::string::npos || to == std::string::npos || to < from) {
        return {};
    }
    const auto after_line = page.find('\n', from) + 1;
    return page.substr(0, after_line) + part + "\n" + page.substr(to);
}

TEST(WatchPage, lists_every_threshold_and_alarm_as_the_program_has_them) {
    const auto page = read_file(path);
    ASSERT_TRUE(page.has_value());
    auto should_be = with_part(*page, "alarms", alarms_table());
    ASSERT_FALSE(should_be.empty());
    should_be = with_part(should_be, "settings", settings_table());
    ASSERT_FALSE(should_be.empty());
    if (std::getenv("BACKEDDY_WRITE_DOCS") != nullptr) {
        ASSERT_TRUE(write_file_whole(path, should_be).has_value());
    }
    EXPECT_TRUE(*page == should_be || std::getenv("BACKEDDY_WRITE_DOCS") != nullptr)
        << "docs/watch.md is behind the code: run this test with BACKEDDY_WRITE_DOCS=1";
}

} // namespace
} // namespace backeddy::watch
