// A logger's file on its way into a study: what is shown of it before, where it may go, and that nothing is
// written over, half done or outside of the study.

#include "app/bring_in.hpp"

#include <filesystem>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/brief_text.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/brief.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

namespace fs = std::filesystem;
using testing::Contains;
using testing::ElementsAre;
using testing::Field;
using testing::HasSubstr;
using testing::SizeIs;

const std::string clear_file = "time,o2_mgL,temp_C,pump\n"
                               "2026-06-15T08:00:00Z,9.61,12.1,1\n"
                               "2026-06-15T08:00:02Z,9.60,12.2,0\n"
                               "2026-06-15T08:00:04Z,---,12.2,0\n";
/// Every date of it may be of the third month or of the fourth.
const std::string doubtful_file = "time;O2 [mg/L]\n03.04.2026 10:00:00;8,1\n03.04.2026 10:00:02;8,0\n";

class BringIn : public testing::Test {
  protected:
    void SetUp() override { test::write_all(study_, test::small_study()); }

    [[nodiscard]] OfferedFile offered(const std::string& name, const std::string& bytes) const {
        outside_.write(name, bytes);
        return {.path = outside_.path() / name, .name = name};
    }
    [[nodiscard]] Expected<FileLook> look(const OfferedFile& file, const LookWish& wish = {}) const {
        return look_into(study_.path(), file, wish, Threads{});
    }
    [[nodiscard]] Expected<void> take(const OfferedFile& file, const TakeWish& wish) const {
        auto plan = plan_taking(study_.path(), file, wish);
        return plan ? take_in(study_.path(), *plan) : fail(std::move(plan).error());
    }
    [[nodiscard]] std::string brief() const { return *read_file(study_.path() / brief_name); }
    /// All files of the study with their SHA-256.
    [[nodiscard]] std::map<std::string, std::string> everything() const {
        std::map<std::string, std::string> out;
        for (const auto& each : fs::recursive_directory_iterator(study_.path())) {
            out[each.path().string()] = each.is_regular_file() ? *sha256_of_file(each.path()) : "folder";
        }
        return out;
    }

    test::ScratchFolder study_{std::string("bring_in_") +
                               testing::UnitTest::GetInstance()->current_test_info()->name()};
    test::ScratchFolder outside_{std::string("offered_") +
                                 testing::UnitTest::GetInstance()->current_test_info()->name()};
};

TEST_F(BringIn, ShowsWhatTheReaderUnderstoodWithTheFirstRows) {
    const auto before = everything();
    const auto seen = look(offered("day9.csv", clear_file));
    ASSERT_TRUE(seen) << seen.error().text();
    EXPECT_FALSE(seen->stop);
    EXPECT_EQ(seen->sha256, sha256_hex(std::string_view(clear_file)));
    EXPECT_THAT(seen->readings, ElementsAre("o2_mgL (mg/L)", "temp_C (°C)", "pump (1 flush, 0 sealed)"));
    ASSERT_THAT(seen->first_rows, SizeIs(3));
    EXPECT_EQ(seen->first_rows[0].line, 2U);
    EXPECT_EQ(iso_text(seen->first_rows[1].at), "2026-06-15T08:00:02Z");
    EXPECT_EQ(seen->first_rows[1].values, (std::vector<std::optional<double>>{9.60, 12.2, 0.0}));
    EXPECT_EQ(seen->first_rows[2].values[0], std::nullopt);
    ASSERT_THAT(seen->columns, SizeIs(4));
    EXPECT_EQ(seen->columns[1].use, "oxygen");
    EXPECT_FALSE(seen->columns[1].why.empty());
    EXPECT_THAT(seen->understood, Contains(HasSubstr("comma")));
    EXPECT_EQ(seen->streams[0].rows, 3U);
    EXPECT_EQ(everything(), before) << "looking changes nothing";
}

TEST_F(BringIn, ADoubtIsAskedAndASettingAnswersIt) {
    const auto file = offered("day9.csv", doubtful_file);
    const auto seen = look(file);
    ASSERT_TRUE(seen) << seen.error().text();
    ASSERT_TRUE(seen->stop);
    EXPECT_THAT(seen->stop->text(), HasSubstr("date_order"));
    EXPECT_THAT(seen->stop->text(), testing::StartsWith("day9.csv")) << "by its own name";
    const auto settled = look(file, {.settings = R"({"date_order": "day_month_year",
                                    "column": [{"header": "O2 [mg/L]", "use": "oxygen", "channel": "O2"}]})"});
    ASSERT_TRUE(settled) << settled.error().text();
    ASSERT_FALSE(settled->stop) << settled->stop->text();
    EXPECT_EQ(iso_text(settled->first_rows[0].at), "2026-04-03T10:00:00Z");
    EXPECT_TRUE(settled->columns[1].is_set);
}

TEST_F(BringIn, WhatIsToldOfRowsNamesTheFileAsItWasOffered) {
    const auto file = offered("day9.csv", std::string(clear_file) + "battery low,x\n");
    const auto seen = look(file);
    ASSERT_TRUE(seen && !seen->stop);
    EXPECT_THAT(seen->told, Contains(HasSubstr("refused: day9.csv line ")));
    EXPECT_THAT(seen->told, Each(Not(HasSubstr(file.path.string()))));
}

TEST_F(BringIn, SettingsThatAreNoneAreNamed) {
    const auto file = offered("day9.csv", clear_file);
    for (const auto& [settings, words] :
         {std::pair{R"({"date_ordr": "year_month_day"})", "date_order"},
          std::pair{R"({"date_order": "yesterday"})", "year_month_day"},
          std::pair{R"({"zone": {"a": 1}})", "zone"}, std::pair{R"([1])", "JSON object"},
          std::pair{R"({"decimal": "x\"\n[study]\n"})", "comma"}}) {
        const auto seen = look(file, {.settings = settings});
        ASSERT_FALSE(seen) << settings;
        EXPECT_THAT(seen.error().text(), HasSubstr(words)) << settings;
    }
    const auto unknown = look(file, {.trace = "bot"});
    ASSERT_FALSE(unknown);
    EXPECT_EQ(unknown.error().code, ErrorCode::unknown_name);
}

TEST_F(BringIn, GoesWhereATraceOfTheBriefTakesIt) {
    const auto file = offered("boat9.csv", clear_file);
    const auto seen = look(file);
    ASSERT_THAT(seen->places, SizeIs(1));
    const auto before = brief();
    const auto taken = take(file, {.place = seen->places[0].place});
    ASSERT_TRUE(taken) << taken.error().text();
    EXPECT_EQ(*read_file(study_.path() / seen->places[0].place), clear_file);
    EXPECT_EQ(brief(), before);
    EXPECT_TRUE(take(file, {.place = seen->places[0].place})) << "the same file once more is harmless";
}

TEST_F(BringIn, MakesATraceOfItsOwnAtTheEndOfTheBrief) {
    const auto file = offered("day9.csv", doubtful_file);
    const TakeWish wish{.place = "raw/shore/day9.csv",
                        .settings = R"({"name": "shore \"two\"", "date_order": "day_month_year"})"};
    const auto before = brief();
    const auto taken = take(file, wish);
    ASSERT_TRUE(taken) << taken.error().text();
    EXPECT_THAT(brief(), testing::StartsWith(before)) << "what stood there stays, with its remarks";
    EXPECT_THAT(brief(), testing::EndsWith(
                             "\n[[trace]]\nname = \"shore \\\"two\\\"\"\nfiles = [\"raw/shore/day9.csv\"]\n"
                             "date_order = \"day_month_year\"\n"))
        << "as a person writes one";
    const auto read = intake::read_brief(brief(), brief_name);
    EXPECT_FALSE(study::stops_a_run(read.complaints));
    EXPECT_EQ(read.brief.traces.back().name, "shore \"two\"");
    EXPECT_THAT(read.brief.traces.back().files, ElementsAre("raw/shore/day9.csv"));
    EXPECT_EQ(read.brief.traces.back().date_order, "day_month_year");
}

TEST_F(BringIn, NothingIsWrittenOverOutsideOrWithoutATraceThatTakesIt) {
    const auto file = offered("boat9.csv", clear_file);
    const auto known = look(file)->places[0].place;
    study_.write(known, "something else\n");
    fs::create_directory_symlink(outside_.path(), study_.path() / "raw" / "away");
    const auto before = everything();
    const std::string named = R"({"name": "new"})";
    for (const auto& [place, settings, words] :
         {std::tuple{known, std::string(), "holds something else"},
          std::tuple{std::string("raw/nowhere/day9.csv"), std::string(), "no [[trace]]"},
          std::tuple{std::string("raw/../study.toml"), named, "no place inside the study"},
          std::tuple{std::string("/etc/day9.csv"), named, "no place inside the study"},
          std::tuple{std::string("fish.csv"), named, "no place inside the study"},
          std::tuple{std::string("raw/"), named, "no place inside the study"},
          std::tuple{std::string("raw/a\nb.csv"), named, "no place inside the study"},
          std::tuple{std::string("raw/day*.csv"), named, "pattern"},
          std::tuple{std::string("raw/away/day9.csv"), named, "leads out of the study"},
          std::tuple{std::string("raw/new/day9.csv"), std::string("{}"), "without a name"}}) {
        const auto taken = take(file, {.place = place, .settings = settings});
        ASSERT_FALSE(taken) << place;
        EXPECT_THAT(taken.error().text(), HasSubstr(words)) << place;
    }
    EXPECT_EQ(everything(), before);
}

TEST_F(BringIn, ABriefThatSomebodySavedMeanwhileIsNotWrittenOver) {
    const auto file = offered("day9.csv", clear_file);
    const auto plan =
        plan_taking(study_.path(), file, {.place = "raw/new/day9.csv", .settings = R"({"name": "new"})"});
    ASSERT_TRUE(plan) << plan.error().text();
    const auto theirs = brief() + "# a remark\n";
    study_.write(brief_name, theirs);
    const auto taken = take_in(study_.path(), *plan);
    ASSERT_FALSE(taken);
    EXPECT_EQ(taken.error().code, ErrorCode::bad_relation);
    EXPECT_EQ(brief(), theirs);
}

TEST_F(BringIn, OfTheBriefIsToldWhatWouldBeWorse) {
    const auto standing = read_brief_text(study_.path());
    ASSERT_TRUE(standing);
    EXPECT_FALSE(made_worse_by(study_.path(), complaints_of_brief(study_.path(), standing->text)));
    const auto worse = complaints_of_brief(study_.path(), standing->text + "[peek]\nwindow_s = 60\n");
    EXPECT_THAT(worse, Contains(Field(&study::Complaint::severity, study::Severity::stops_the_run)));
    EXPECT_TRUE(made_worse_by(study_.path(), worse));
    ASSERT_TRUE(replace_brief(study_.path(), standing->sha256, standing->text + "# mine\n"));
    const auto late = replace_brief(study_.path(), standing->sha256, "# theirs\n");
    ASSERT_FALSE(late);
    EXPECT_THAT(brief(), testing::EndsWith("# mine\n"));
}

} // namespace
} // namespace backeddy::app
