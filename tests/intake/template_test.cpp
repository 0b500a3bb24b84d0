#include "intake/template.hpp"

#include <csignal>
#include <filesystem>
#include <string>

#include <sys/resource.h>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "intake/tables.hpp"
#include "study/settings.hpp"

namespace backeddy::intake {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

/// A folder of this test's own, gone afterwards.
class TemplateFolder : public testing::Test {
  protected:
    void SetUp() override {
        const auto* info = testing::UnitTest::GetInstance()->current_test_info();
        folder_ =
            std::filesystem::path(testing::TempDir()) / (std::string("backeddy_template_") + info->name());
        std::filesystem::remove_all(folder_);
    }
    void TearDown() override { std::filesystem::remove_all(folder_); }
    std::filesystem::path folder_;
};

TEST_F(TemplateFolder, an_empty_study_has_tables_that_read_without_a_complaint) {
    ASSERT_TRUE(write_template(folder_).has_value());
    EXPECT_TRUE(std::filesystem::is_directory(folder_ / "raw"));
    const auto read = read_tables(folder_, study::Brief());
    for (const auto& complaint : read.complaints) {
        ADD_FAILURE() << complaint.error.text();
    }
    for (const auto& summary : read.summaries) {
        EXPECT_TRUE(summary.exists) << summary.file;
        EXPECT_THAT(summary.free_columns, IsEmpty()) << summary.file;
    }
}

TEST_F(TemplateFolder, a_folder_that_holds_anything_is_refused_and_left_alone) {
    std::filesystem::create_directories(folder_);
    ASSERT_TRUE(write_file_whole(folder_ / "fish.csv", "mine").has_value());
    const auto refused = write_template(folder_);
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().code, ErrorCode::bad_usage);
    EXPECT_THAT(refused.error().text(), HasSubstr("holds something already"));
    EXPECT_EQ(*read_file(folder_ / "fish.csv"), "mine");
    EXPECT_FALSE(std::filesystem::exists(folder_ / "study.toml"));
    EXPECT_FALSE(write_template(folder_ / "fish.csv").has_value()) << "a file is no folder";
}

// An unset variable in quotes must not fill the folder one stands in.
TEST_F(TemplateFolder, no_name_is_no_folder) {
    std::filesystem::create_directories(folder_);
    const auto before = std::filesystem::current_path();
    std::filesystem::current_path(folder_);
    const auto refused = write_template("");
    std::filesystem::current_path(before);
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().code, ErrorCode::bad_usage);
    EXPECT_TRUE(std::filesystem::is_empty(folder_));
}

TEST_F(TemplateFolder, an_empty_folder_is_taken) {
    std::filesystem::create_directories(folder_);
    EXPECT_TRUE(write_template(folder_).has_value());
}

/// No file may grow past some bytes, as on a full disk, until it goes out of scope.
class FullDisk {
  public:
    explicit FullDisk(rlim_t bytes) : heard_(std::signal(SIGXFSZ, SIG_IGN)) {
        getrlimit(RLIMIT_FSIZE, &before_);
        const rlimit small{.rlim_cur = bytes, .rlim_max = before_.rlim_max};
        setrlimit(RLIMIT_FSIZE, &small);
    }
    ~FullDisk() {
        setrlimit(RLIMIT_FSIZE, &before_);
        std::signal(SIGXFSZ, heard_);
    }
    FullDisk(const FullDisk&) = delete;
    FullDisk& operator=(const FullDisk&) = delete;

  private:
    rlimit before_{};
    void (*heard_)(int);
};

TEST_F(TemplateFolder, a_disk_that_fills_up_leaves_no_half_of_a_study) {
    const auto at_half = [this] {
        const FullDisk disk(100);
        return write_template(folder_);
    };
    EXPECT_FALSE(at_half().has_value());
    EXPECT_FALSE(std::filesystem::exists(folder_));
    std::filesystem::create_directories(folder_);
    EXPECT_FALSE(at_half().has_value());
    EXPECT_TRUE(std::filesystem::is_empty(folder_)) << "it was there before";
    EXPECT_TRUE(write_template(folder_).has_value());
}

TEST(Template, the_brief_shows_every_setting_with_its_default) {
    const auto text = brief_template();
    for (const auto& setting : study::settings()) {
        const auto usual = study::toml_text(setting.get(study::Brief()));
        const auto line = setting.key + " = " + usual;
        EXPECT_THAT(text, HasSubstr(setting.section == "study" ? setting.key : line)) << setting.section;
    }
    for (const auto& setting : study::trace_settings()) {
        EXPECT_THAT(text, HasSubstr("#" + setting.key + " = "));
    }
}

TEST(Template, the_field_sheets_stand_alone_and_carry_their_cautions) {
    const auto page = field_sheets_html();
    for (const auto* sheet : {"Catch log", "Stays", "Blood", "Fins and body", "Reflexes", "Fate",
                              "Calibrations", "Clock checks"}) {
        EXPECT_THAT(page, HasSubstr("<h2>" + std::string(sheet) + "</h2>"));
    }
    for (const auto* caution :
         {"no life support", "permit", "sharps box", "residual-current device", "never with acid",
          "trained hands named on the permit", "Fish blood can carry infection"}) {
        EXPECT_THAT(page, HasSubstr(caution));
    }
    EXPECT_THAT(page, HasSubstr("size: A4"));
    for (const auto* outside : {"http", "<script", "<link", "@import", "url("}) {
        EXPECT_THAT(page, Not(HasSubstr(outside))) << "it opens without a network";
    }
}

} // namespace
} // namespace backeddy::intake
