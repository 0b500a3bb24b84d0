#include "app/result_folder.hpp"

#include <csignal>
#include <random>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fcntl.h>

#include "base/file.hpp"

namespace backeddy::app {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::Not;

// A set whose files all hold `word`, so that a mixture of two shows.
std::vector<ResultFile> set_of(const std::string& word) {
    return {{"results.json", "{\n \"schema\": \"backeddy results\",\n \"word\":\"" + word + "\"}"},
            {"report.html", word},
            {"uptake_by_fish.csv", word},
            {"uptake_by_stay.csv", word}};
}

// The word of the set in `folder`; "mixed" or "not whole" where it is none.
std::string word_of(const fs::path& folder) {
    std::string word;
    for (const auto& file : set_of("")) {
        auto bytes = read_file(folder / file.name);
        if (!bytes) {
            return "not whole";
        }
        if (file.name == "results.json") {
            const auto from = bytes->find("\"word\":\"");
            bytes = from == std::string::npos ? "cut" : bytes->substr(from + 8, bytes->size() - from - 10);
        }
        if (!word.empty() && *bytes != word) {
            return "mixed";
        }
        word = *bytes;
    }
    return word;
}

class ResultFolder : public testing::Test {
  protected:
    void SetUp() override {
        root_ = fs::path(testing::TempDir()) / testing::UnitTest::GetInstance()->current_test_info()->name();
        fs::remove_all(root_);
        fs::create_directories(root_);
    }
    [[nodiscard]] std::vector<std::string> names(const fs::path& folder) const {
        std::vector<std::string> out;
        for (const auto& entry : fs::directory_iterator(folder)) {
            out.push_back(entry.path().filename().string());
        }
        return out;
    }
    // What a run that was killed leaves: its folder with marker, `set` and perhaps `earlier`.
    fs::path leftover() {
        const ::pid_t child = ::fork();
        if (child == 0) {
            // Ends between the marker and the swap: the process may write no file larger than 64 kB.
            ::rlimit limit{.rlim_cur = 65536, .rlim_max = 65536};
            ::setrlimit(RLIMIT_FSIZE, &limit);
            std::signal(SIGXFSZ, SIG_DFL);
            auto files = set_of("killed");
            files.push_back({"run.log", std::string(1 << 20, 'x')});
            (void)replace_result_folder(root_ / "results", files).has_value();
            ::_exit(0);
        }
        int state = 0;
        ::waitpid(child, &state, 0);
        EXPECT_TRUE(WIFSIGNALED(state));
        for (const auto& entry : fs::directory_iterator(root_)) {
            if (entry.path().filename().string().starts_with(".results.new-")) {
                return entry.path();
            }
        }
        return {};
    }
    fs::path root_;
};

TEST_F(ResultFolder, a_later_set_replaces_the_earlier_whole) {
    auto more = set_of("1");
    more.push_back({"refused_rows.csv", "1"});
    ASSERT_TRUE(replace_result_folder(root_ / "results", more));
    ASSERT_TRUE(replace_result_folder(root_ / "results/", set_of("2")));
    EXPECT_EQ(word_of(root_ / "results"), "2");
    EXPECT_FALSE(fs::exists(root_ / "results/refused_rows.csv"));
    EXPECT_THAT(names(root_), testing::ElementsAre("results"));
}

TEST_F(ResultFolder, folders_beside_it_are_nobodys_but_their_owners) {
    for (const char* name :
         {"results.new", "results.old", ".results.new-mine", ".results.new-1-1", "results.new-2"}) {
        fs::create_directories(root_ / name / "set");
        ASSERT_TRUE(write_new_file(root_ / name / "thesis", "mine"));
        ASSERT_TRUE(write_new_file(root_ / name / "set/results.json", "mine"));
    }
    for (const auto swap : {Swap::exchange_if_possible, Swap::two_renames}) {
        ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("1"), result_marks(), {.swap = swap}));
        ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("2"), result_marks(), {.swap = swap}));
    }
    for (const char* name :
         {"results.new", "results.old", ".results.new-mine", ".results.new-1-1", "results.new-2"}) {
        EXPECT_EQ(read_file(root_ / name / "thesis").value_or("gone"), "mine") << name;
        EXPECT_EQ(read_file(root_ / name / "set/results.json").value_or("gone"), "mine") << name;
    }
    EXPECT_EQ(names(root_).size(), 6U);
}

TEST_F(ResultFolder, somebody_elses_file_stops_it_and_nothing_changes) {
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("1")));
    ASSERT_TRUE(write_file_whole(root_ / "results/thesis.docx", "mine"));
    const auto refused = replace_result_folder(root_ / "results", set_of("2"));
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, ErrorCode::bad_usage);
    EXPECT_NE(refused.error().found.find("thesis.docx"), std::string::npos);
    EXPECT_EQ(read_file(root_ / "results/thesis.docx").value(), "mine");
    EXPECT_EQ(word_of(root_ / "results"), "1");
    EXPECT_THAT(names(root_), testing::ElementsAre("results"));
}

TEST_F(ResultFolder, names_alone_do_not_make_a_folder_ours) {
    // Somebody's own file of our name, without our results beside it.
    fs::create_directories(root_ / "a");
    ASSERT_TRUE(write_new_file(root_ / "a/report.html", "my own"));
    // Somebody's own results.json.
    fs::create_directories(root_ / "b");
    ASSERT_TRUE(write_new_file(root_ / "b/results.json", R"({"schema": "my own", "x": "backeddy results"})"));
    // A folder of our name, beside results that are ours.
    ASSERT_TRUE(replace_result_folder(root_ / "c", set_of("1")));
    fs::remove(root_ / "c/report.html");
    fs::create_directories(root_ / "c/report.html");
    ASSERT_TRUE(write_new_file(root_ / "c/report.html/chapter", "my own"));
    // A link of our name.
    ASSERT_TRUE(replace_result_folder(root_ / "d", set_of("1")));
    fs::create_symlink(root_ / "a/report.html", root_ / "d/run.log");
    // A file in the place.
    ASSERT_TRUE(write_new_file(root_ / "e", "my own"));
    for (const char* name : {"a", "b", "c", "d", "e"}) {
        EXPECT_FALSE(may_replace_results(root_ / name)) << name;
        const auto refused = replace_result_folder(root_ / name, set_of("2"));
        ASSERT_FALSE(refused) << name;
        EXPECT_EQ(refused.error().code, ErrorCode::bad_usage) << name;
    }
    EXPECT_EQ(read_file(root_ / "a/report.html").value(), "my own");
    EXPECT_THAT(read_file(root_ / "b/results.json").value(), HasSubstr("my own"));
    EXPECT_EQ(read_file(root_ / "c/report.html/chapter").value(), "my own");
    EXPECT_TRUE(fs::is_symlink(root_ / "d/run.log"));
    EXPECT_EQ(read_file(root_ / "e").value(), "my own");
}

TEST_F(ResultFolder, an_empty_folder_and_a_link_to_one_take_results) {
    fs::create_directories(root_ / "real");
    fs::create_symlink(root_ / "real", root_ / "results");
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("1")));
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("2")));
    EXPECT_TRUE(fs::is_symlink(root_ / "results"));
    EXPECT_EQ(word_of(root_ / "real"), "2");
}

TEST_F(ResultFolder, a_failed_write_leaves_the_earlier_set_and_says_so_only_if_there_was_one) {
    auto bad = set_of("2");
    bad.push_back({"no/such/b.csv", "3"});
    const auto first = replace_result_folder(root_ / "results", bad);
    ASSERT_FALSE(first);
    EXPECT_THAT(first.error().text(), Not(HasSubstr("earlier results")));
    EXPECT_FALSE(fs::exists(root_ / "results"));
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("1")));
    const auto second = replace_result_folder(root_ / "results", bad);
    ASSERT_FALSE(second);
    EXPECT_THAT(second.error().text(), HasSubstr("the earlier results are still there"));
    EXPECT_THAT(second.error().text(), Not(HasSubstr("Success")));
    EXPECT_EQ(word_of(root_ / "results"), "1");
    EXPECT_THAT(names(root_), testing::ElementsAre("results"));
}

TEST_F(ResultFolder, another_run_that_writes_is_waited_for_and_then_named) {
    const int descriptor = ::open(root_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    ASSERT_EQ(::flock(descriptor, LOCK_EX), 0);
    const auto refused = replace_result_folder(root_ / "results", set_of("1"), result_marks(),
                                               {.patience = std::chrono::milliseconds(30)});
    ASSERT_FALSE(refused);
    EXPECT_THAT(refused.error().text(), HasSubstr("another run is writing"));
    EXPECT_THAT(names(root_), testing::IsEmpty());
    std::thread other([&] {
        std::this_thread::sleep_for(std::chrono::milliseconds(100));
        ::close(descriptor);
    });
    EXPECT_TRUE(replace_result_folder(root_ / "results", set_of("1")));
    other.join();
}

TEST_F(ResultFolder, many_runs_at_once_leave_one_whole_set) {
    for (const auto swap : {Swap::exchange_if_possible, Swap::two_renames}) {
        std::vector<std::thread> runs;
        std::atomic<int> failed{0};
        for (int t = 0; t < 6; ++t) {
            runs.emplace_back([&, t] {
                for (int i = 0; i < 15; ++i) {
                    const std::string word = std::to_string((100 * t) + i);
                    if (!replace_result_folder(root_ / "results", set_of(word), result_marks(),
                                               {.swap = swap})) {
                        ++failed;
                    }
                }
            });
        }
        for (auto& run : runs) {
            run.join();
        }
        EXPECT_EQ(failed, 0);
        EXPECT_THAT(word_of(root_ / "results"), testing::MatchesRegex("[0-9]+"));
        EXPECT_THAT(names(root_), testing::ElementsAre("results"));
    }
}

TEST_F(ResultFolder, what_a_killed_run_left_is_cleared_by_the_next_but_not_what_somebody_put_there) {
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("1")));
    ASSERT_FALSE(leftover().empty());
    EXPECT_EQ(word_of(root_ / "results"), "1");
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("2")));
    EXPECT_THAT(names(root_), testing::ElementsAre("results"));

    const fs::path again = leftover();
    ASSERT_FALSE(again.empty());
    ASSERT_TRUE(write_new_file(again / "set/thesis", "mine"));
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("3")));
    EXPECT_EQ(read_file(again / "set/thesis").value_or("gone"), "mine");
    EXPECT_EQ(word_of(root_ / "results"), "3");
}

TEST_F(ResultFolder, an_earlier_set_that_was_moved_aside_when_the_run_was_killed_comes_back) {
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("1")));
    const fs::path left = leftover();
    ASSERT_FALSE(left.empty());
    fs::rename(root_ / "results", left / "earlier"); // as between the two renames
    auto bad = set_of("2");
    bad.push_back({"no/such/b.csv", "3"});
    EXPECT_FALSE(replace_result_folder(root_ / "results", bad));
    EXPECT_EQ(word_of(root_ / "results"), "1");
    EXPECT_THAT(names(root_), testing::ElementsAre("results"));
}

TEST_F(ResultFolder, killed_at_any_moment_it_leaves_the_old_set_or_the_new_one) {
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("0")));
    fs::create_directories(root_ / "results.new");
    ASSERT_TRUE(write_new_file(root_ / "results.new/thesis", "mine"));
    std::mt19937 chance(1);
    for (int i = 1; i <= 60; ++i) {
        const ::pid_t child = ::fork();
        if (child == 0) {
            for (int n = 0;; ++n) {
                (void)replace_result_folder(root_ / "results", set_of(std::to_string((1000 * i) + n)))
                    .has_value();
            }
        }
        std::this_thread::sleep_for(std::chrono::microseconds(chance() % 15'000));
        ::kill(child, SIGKILL);
        ::waitpid(child, nullptr, 0);
        ASSERT_THAT(word_of(root_ / "results"), testing::MatchesRegex("[0-9]+")) << i;
    }
    ASSERT_TRUE(replace_result_folder(root_ / "results", set_of("end")));
    EXPECT_EQ(word_of(root_ / "results"), "end");
    EXPECT_EQ(read_file(root_ / "results.new/thesis").value_or("gone"), "mine");
    for (const auto& name : names(root_)) {
        // One killed between making its folder and its marker leaves it empty.
        EXPECT_TRUE(name == "results" || name == "results.new" || fs::is_empty(root_ / name)) << name;
    }
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
