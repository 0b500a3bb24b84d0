#include "app/result_folder.hpp"

#include <gtest/gtest.h>

#include "base/file.hpp"

namespace backeddy::app {
namespace {

namespace fs = std::filesystem;

class ResultFolder : public testing::Test {
  protected:
    void SetUp() override {
        root_ = fs::path(testing::TempDir()) / testing::UnitTest::GetInstance()->current_test_info()->name();
        fs::remove_all(root_);
        fs::create_directories(root_);
    }
    fs::path root_;
    const std::vector<std::string> known_{"a.csv", "b.csv"};
};

TEST_F(ResultFolder, a_later_set_replaces_the_earlier_whole) {
    ASSERT_TRUE(replace_result_folder(root_ / "results", {{"a.csv", "1"}, {"b.csv", "2"}}, known_));
    ASSERT_TRUE(replace_result_folder(root_ / "results/", {{"a.csv", "3"}}, known_));
    EXPECT_EQ(read_file(root_ / "results/a.csv").value(), "3");
    EXPECT_FALSE(fs::exists(root_ / "results/b.csv"));
    EXPECT_FALSE(fs::exists(root_ / "results.new"));
}

TEST_F(ResultFolder, somebody_elses_file_stops_it_and_nothing_changes) {
    fs::create_directories(root_ / "results");
    ASSERT_TRUE(write_file_whole(root_ / "results/thesis.docx", "mine"));
    const auto refused = replace_result_folder(root_ / "results", {{"a.csv", "1"}}, known_);
    ASSERT_FALSE(refused);
    EXPECT_NE(refused.error().found.find("thesis.docx"), std::string::npos);
    EXPECT_EQ(read_file(root_ / "results/thesis.docx").value(), "mine");
    EXPECT_FALSE(fs::exists(root_ / "results/a.csv"));
}

TEST_F(ResultFolder, a_failed_write_leaves_the_earlier_set) {
    ASSERT_TRUE(replace_result_folder(root_ / "results", {{"a.csv", "1"}}, known_));
    EXPECT_FALSE(replace_result_folder(root_ / "results", {{"a.csv", "2"}, {"no/such/b.csv", "3"}}, known_));
    EXPECT_EQ(read_file(root_ / "results/a.csv").value(), "1");
    EXPECT_FALSE(fs::exists(root_ / "results.new"));
}

TEST_F(ResultFolder, the_study_itself_and_its_raw_files_are_no_place_for_results) {
    EXPECT_TRUE(may_hold_results(root_ / "study/results", root_ / "study"));
    EXPECT_TRUE(may_hold_results(root_ / "elsewhere", root_ / "study"));
    EXPECT_FALSE(may_hold_results(root_ / "study", root_ / "study"));
    EXPECT_FALSE(may_hold_results(root_ / "study/./", root_ / "study"));
    EXPECT_FALSE(may_hold_results(root_, root_ / "study"));
    EXPECT_FALSE(may_hold_results(root_ / "study/raw/boat", root_ / "study"));
}

} // namespace
} // namespace backeddy::app
