// Own columns whose name something else has: what the warning says is what questions are told.

#include "app/column_doubts.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/observe.hpp"
#include "app/run.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;

struct Asked {
    std::vector<std::string> told; ///< by column_doubts()
    std::string word;              ///< of the one fish, in `column`
};

Asked asked(const std::string& column, const std::string& of_fish, const std::string& of_encounter) {
    static int count = 0;
    const test::ScratchFolder folder("column_doubts_" + std::to_string(++count));
    auto files = test::small_study();
    const auto add = [&](const char* file, const std::string& header_end, const std::string& row_end,
                         const std::string& cell) {
        files[file] = test::with(test::with(files[file], header_end + "\n", header_end + "," + column + "\n"),
                                 row_end + "\n", row_end + "," + cell + "\n");
    };
    if (!of_fish.empty()) {
        add("fish.csv", "mass_uncertainty_g", "500,2", of_fish);
    }
    if (!of_encounter.empty()) {
        add("encounters.csv", "method,rig", "single_hook", of_encounter);
    }
    test::write_all(folder, files);
    auto opened = open_study(folder.path(), {});
    EXPECT_TRUE(opened) << opened.error().text();
    Asked out;
    for (const auto& doubt : column_doubts(opened->study)) {
        EXPECT_EQ(doubt.severity, study::Severity::warning);
        out.told.push_back(doubt.error.text());
    }
    std::vector<std::string> beside;
    for (const auto& complaint : opened->complaints) {
        beside.push_back(complaint.error.text());
    }
    for (const auto& told : out.told) {
        EXPECT_THAT(beside, Contains(told));
    }
    const auto run = run_study(*opened, {});
    const auto rows = observe(opened->study, run->fish, run->condition);
    const auto& cell = rows.front().column(column)->cells.at(0);
    if (const auto* word = std::get_if<findings::Word>(&cell)) {
        out.word = word->text;
    } else if (const auto* value = std::get_if<findings::Value>(&cell)) {
        out.word = std::to_string(std::lround(value->value));
    }
    return out;
}

TEST(ColumnDoubts, of_both_tables_say_that_the_encounters_is_used) {
    const auto both = asked("bait", "fly", "worm");
    EXPECT_THAT(both.told, Contains(HasSubstr("told the cell of the fish's encounter")));
    EXPECT_EQ(both.word, "worm");
    EXPECT_TRUE(asked("bait", "fly", "").told.empty());
}

TEST(ColumnDoubts, of_the_programs_names_say_whose_is_used) {
    const auto died = asked("died", "yes", "");
    EXPECT_THAT(died.told, Contains(HasSubstr("what the program finds, never your cell")));
    EXPECT_EQ(died.word, "no");
    const auto fight = asked("fight_s", "12", "");
    EXPECT_TRUE(fight.told.empty()) << "typed on the deck on purpose";
    EXPECT_EQ(fight.word, "300");
    const auto cortisol = asked("cortisol_ng_per_ml", "12", "");
    EXPECT_THAT(cortisol.told, Contains(HasSubstr("your cell where it finds nothing")));
    EXPECT_EQ(cortisol.word, "12") << "no blood was measured";
}

TEST(ColumnDoubts, of_the_other_tables_names_say_whose_is_used) {
    const auto rig = asked("rig", "treble", "");
    EXPECT_THAT(rig.told, Contains(HasSubstr("the encounter's wherever the fish has one")));
    EXPECT_EQ(rig.word, "single_hook");
    const auto mass = asked("mass_g", "", "700");
    EXPECT_THAT(mass.told, Contains(HasSubstr("your cell of the fish's encounter")));
    EXPECT_EQ(mass.word, "700");
}

} // namespace
} // namespace backeddy::app
