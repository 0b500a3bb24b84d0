// `backeddy declare` as a person meets it: what it says, what it writes and what it leaves alone.

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>

#include "end_to_end/program.hpp"
#include "support/lines_of.hpp"

namespace backeddy {
namespace {

namespace fs = std::filesystem;
using testing::AllOf;
using testing::HasSubstr;
using testing::MatchesRegex;
using testing::Not;
using testing::SizeIs;

const std::string header =
    "question,form_sha256,settings_sha256,declared_at,author,fish_met,results_seen,note\n";

std::string question(const std::string& name, const std::string& rest = "") {
    return "[[question]]\nname = \"" + name + "\"\noutcome = \"peak_after_capture\"\ncompare = \"rig\"\n" +
           rest;
}

/// A study made by `new`, with two questions.
class Declare : public testing::Test {
  protected:
    Declare() : scratch_("declare") {
        EXPECT_EQ(program({"new", study().string()}).status, 0);
        brief_ = *read_file(study() / "study.toml");
        ask(question("rig_peak") + question("second"));
    }
    void ask(const std::string& questions) { scratch_.write("study/study.toml", brief_ + questions); }
    [[nodiscard]] fs::path study() const { return scratch_.path() / "study"; }
    test::Ran program(const std::vector<std::string>& words) { return test::run_program(scratch_, words); }
    test::Ran declare(std::vector<std::string> words = {}) {
        words.insert(words.begin(), {"declare", study().string()});
        return program(words);
    }
    [[nodiscard]] std::string table() const {
        return read_file(study() / "declarations.csv").value_or("not there");
    }

    test::ScratchFolder scratch_;
    std::string brief_;
};

TEST_F(Declare, all_questions_get_a_row_before_the_first_fish_and_a_second_time_nothing_is_done) {
    ASSERT_EQ(table(), header) << "`new` made it";
    const auto ran = declare({"--author", "A. Keen"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_EQ(ran.err, "");
    EXPECT_THAT(ran.out, AllOf(HasSubstr("rig_peak: declared now, 20"), HasSubstr("second: declared now"),
                               HasSubstr("before the first fish"), HasSubstr("2 rows added to "),
                               Not(HasSubstr("beware"))));
    const auto rows = test::lines_of(table());
    ASSERT_THAT(rows, SizeIs(3));
    EXPECT_THAT(rows[1],
                MatchesRegex("rig_peak,[0-9a-f]{64},[0-9a-f]{64},20[0-9-]{8}T[0-9:]{8}Z,A\\. Keen,0,no,"));
    const auto before = table();
    const auto again = declare({"--author", "B"});
    EXPECT_EQ(again.status, 0);
    EXPECT_THAT(again.out, AllOf(HasSubstr("rig_peak: had been declared in this form"),
                                 HasSubstr("by A. Keen"), HasSubstr("0 rows added")));
    EXPECT_EQ(table(), before);
}

TEST_F(Declare, one_question_by_name_and_a_name_that_is_not_there_is_wrong_usage) {
    const auto wrong = declare({"rig_peek"});
    EXPECT_EQ(wrong.status, 2);
    EXPECT_THAT(wrong.err, HasSubstr("did you mean \"rig_peak\"?"));
    EXPECT_EQ(table(), header);
    const auto ran = declare({"second", "--note", "asked late"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_THAT(ran.out,
                AllOf(HasSubstr("1 row added"), HasSubstr("name nobody"), Not(HasSubstr("rig_peak"))));
    EXPECT_THAT(table(), HasSubstr(",,0,no,asked late\n"));
}

TEST_F(Declare, what_was_known_then_stands_in_the_row_and_a_changed_question_is_a_row_more) {
    ASSERT_EQ(declare({"--author", "A"}).status, 0);
    const auto first = table();
    scratch_.write("study/fish.csv", "fish,species,mass_g\nst01,sea trout,400\nst02,sea trout,heavy\n");
    scratch_.write("study/results/results.json", "{}");
    ask(question("rig_peak", "random = [\"day\"]\n") + question("second", "ask = \"In other words?\"\n"));
    const auto ran = declare({"--author", "A"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_THAT(ran.out,
                AllOf(HasSubstr("rig_peak: had been declared in another form; declared in this one now"),
                      HasSubstr("second: had been declared in this form"), HasSubstr("had been seen"),
                      HasSubstr("1 row added")));
    ASSERT_TRUE(table().starts_with(first)) << "rows are added, none is changed";
    EXPECT_THAT(table().substr(first.size()), AllOf(HasSubstr("rig_peak,"), HasSubstr(",A,2,yes,\n")));
}

TEST_F(Declare, under_other_settings_it_is_a_row_more) {
    ASSERT_EQ(declare({"--author", "A"}).status, 0);
    brief_ = test::with(brief_, "\n[plausible]\n", "\n[plausible]\npeak_most_mg_per_kg_h = 1100\n");
    ask(question("rig_peak") + question("second"));
    EXPECT_THAT(declare().out, HasSubstr("0 rows added")) << "no number rests on that setting";
    brief_ = test::with(brief_, "\n[peak]\n", "\n[peak]\nwindow_s = 30\n");
    ask(question("rig_peak") + question("second"));
    const auto ran = declare({"rig_peak", "--author", "A"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_THAT(ran.out, AllOf(HasSubstr("rig_peak: had been declared in this form under other settings"),
                               HasSubstr("1 row added")));
}

TEST_F(Declare, a_table_of_before_settings_were_recorded_takes_rows_and_says_what_they_lack) {
    const std::string old = "question,form_sha256,declared_at,author,fish_met,results_seen,note\n";
    scratch_.write("study/declarations.csv", old);
    const auto ran = declare({"--author", "A"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_THAT(ran.out, AllOf(HasSubstr("2 rows added"), HasSubstr("beware: "),
                               HasSubstr("has no column settings_sha256")));
    EXPECT_THAT(declare().out, HasSubstr("0 rows added"));
    // As the hint says: the rows that stand there are then short of a cell.
    const auto rows = table().substr(old.size());
    scratch_.write("study/declarations.csv", old.substr(0, old.size() - 1) + ",settings_sha256\n" + rows);
    const auto again = declare({"--author", "A"});
    EXPECT_EQ(again.status, 0) << again.err;
    EXPECT_THAT(again.out, AllOf(HasSubstr("under ones that were not recorded"), HasSubstr("2 rows added"),
                                 Not(HasSubstr("beware"))));
    EXPECT_THAT(declare().out, HasSubstr("0 rows added"));
}

TEST_F(Declare, it_makes_the_table_where_there_is_none_and_warns_of_a_column_that_is_nowhere) {
    fs::remove(study() / "declarations.csv");
    ask(question("rig_peak", "adjust_for = [\"temprature_c\"]\n"));
    const auto ran = declare({"--author", "A"});
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_THAT(ran.out,
                AllOf(HasSubstr("beware: study.toml"), HasSubstr("did you mean \"temperature_c\"?")));
    EXPECT_TRUE(table().starts_with(header + "rig_peak,"));
    for (const auto& entry : fs::directory_iterator(study())) {
        EXPECT_FALSE(entry.path().filename().string().starts_with(".")) << "nothing is left beside it";
    }
}

TEST_F(Declare, what_cannot_be_read_is_refused_and_nothing_changes) {
    const auto refused = [&](int status, const std::string& says) {
        const auto before = table();
        const auto ran = declare();
        EXPECT_EQ(ran.status, status) << says;
        EXPECT_EQ(ran.out, "") << says;
        EXPECT_THAT(ran.err, HasSubstr(says));
        EXPECT_EQ(table(), before) << says;
    };
    ask("");
    refused(2, "the brief asks no question");
    ask(question("rig_peak", "margin = 3\n"));
    refused(1, "a margin without better");
    ask(question("rig_peak") + "[[question]\n");
    refused(1, "study.toml line");
    ask(question("rig_peak"));
    scratch_.write("study/declarations.csv", "question,note\nq,x\n");
    refused(1, "no column \"form_sha256\"");
    scratch_.write("study/declarations.csv", header + "q,abc,,2026-05-01T09:12:00Z,A,0,no,\n");
    refused(1, "bring the row back");
    scratch_.write("study/declarations.csv", header);
    fs::remove(study() / "fish.csv");
    refused(1, "fish.csv: no such file");
    EXPECT_EQ(program({"declare", (scratch_.path() / "nowhere").string()}).status, 1);
    EXPECT_EQ(program({"declare", ""}).status, 2);
    EXPECT_EQ(program({"declare"}).status, 2);
    scratch_.write("study/fish.csv", "fish\n");
    EXPECT_THAT(declare({"--author", "=1+1"}).err, HasSubstr("begins with a letter or digit"));
    EXPECT_EQ(table(), header);
}

TEST_F(Declare, two_at_once_lose_no_row) {
    std::string questions;
    std::vector<std::string> names;
    for (int i = 0; i < 8; ++i) {
        names.push_back("q" + std::to_string(i));
        questions += question(names.back());
    }
    ask(questions);
    std::vector<::pid_t> children;
    for (const auto& name : names) {
        children.push_back(test::start_program({"declare", study().string(), name},
                                               scratch_.path() / ("out" + name),
                                               scratch_.path() / ("err" + name)));
    }
    for (const auto child : children) {
        int state = 0;
        ::waitpid(child, &state, 0);
        EXPECT_TRUE(WIFEXITED(state) && WEXITSTATUS(state) == 0);
    }
    EXPECT_THAT(test::lines_of(table()), SizeIs(1 + names.size()));
}

TEST_F(Declare, its_help_says_why_and_when) {
    const auto help = program({"declare", "--help"});
    EXPECT_EQ(help.status, 0);
    EXPECT_THAT(help.out, AllOf(HasSubstr("exploratory"), HasSubstr("before the first fish"),
                                HasSubstr("no proof"), HasSubstr("--author")));
    EXPECT_THAT(program({"--help"}).out, HasSubstr("backeddy declare DIR"));
}

} // namespace
} // namespace backeddy
