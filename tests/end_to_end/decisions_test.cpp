// Human acts: they change what they mean to change, the numbers without them stand beside, and one that
// changed nothing is not passed over.

#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/result_set.hpp"
#include "app/run.hpp"
#include "base/number_text.hpp"
#include "base/random.hpp"
#include "report/json.hpp"
#include "support/check_rows.hpp"
#include "support/small_study.hpp"

namespace backeddy {
namespace {

using testing::Contains;
using testing::HasSubstr;

struct Answered {
    std::vector<test::CheckRow> spells;
    std::vector<test::CheckRow> fish;
    report::Results results;
    std::vector<study::Complaint> complaints;
};

Answered answered(const test::StudyFiles& files) {
    test::ScratchFolder folder("decisions");
    test::write_all(folder, files);
    auto opened = app::open_study(folder.path(), {});
    EXPECT_TRUE(opened) << opened.error().text();
    for (const auto& complaint : opened->complaints) {
        EXPECT_EQ(complaint.severity, study::Severity::warning) << complaint.error.text();
    }
    const auto run = app::run_study(*opened, {});
    const auto written = app::write_results(*run, folder.path() / "results");
    EXPECT_TRUE(written) << written.error().text();
    return {.spells = test::check_rows((folder.path() / "results/uptake_by_spell.csv").string()),
            .fish = test::check_rows((folder.path() / "results/uptake_by_fish.csv").string()),
            .results = app::results_of(*run->answers),
            .complaints = run->complaints};
}

const report::Headline& headline(const Answered& answered, const std::string& word) {
    for (const auto& one : answered.results.headlines) {
        if (one.word == word && one.group.empty()) {
            return one;
        }
    }
    throw std::runtime_error("no headline " + word);
}

const Answered& plain() {
    static const Answered value = answered(test::small_study());
    return value;
}

test::StudyFiles with_decision(const std::string& row) {
    auto files = test::small_study();
    files["decisions.csv"] = "stay,moment,act,value,reason,author,at\n" + row + "\n";
    return files;
}

TEST(Decisions, an_excluded_peak_moves_the_headline_and_the_number_without_it_stands_beside) {
    const auto peak_spell = plain().fish.at(0).at("peak_after_capture_window_from");
    const auto changed = answered(
        with_decision("s1," + peak_spell + ",exclude,,the lid was open,A. Keen,2026-06-15T08:00:00Z"));
    const auto& before = headline(plain(), "peak_after_capture");
    const auto& after = headline(changed, "peak_after_capture");
    ASSERT_TRUE(before.mean.value && after.mean.value && after.mean_without_human.value);
    EXPECT_LT(*after.mean.value, 0.95 * *before.mean.value); // the next spell begins eight minutes later
    EXPECT_EQ(*after.mean_without_human.value, *before.mean.value);
    EXPECT_EQ(after.fish_without_human, 1U);
    // What does not rest on that spell stands.
    EXPECT_EQ(*headline(changed, "resting").mean.value, *headline(plain(), "resting").mean.value);
    std::size_t excluded = 0;
    for (const auto& row : changed.spells) {
        if (row.at("excluded_by_hand") == "yes") {
            ++excluded;
            EXPECT_EQ(row.at("stay"), "s1");
            EXPECT_EQ(row.at("mark"), "unusable");
            EXPECT_THAT(row.at("reasons"), HasSubstr("the lid was open"));
        }
    }
    EXPECT_EQ(excluded, 1U);
    ASSERT_EQ(changed.results.exclusions.empty(), false);
    std::size_t by_human = 0;
    for (const auto& one : changed.results.exclusions) {
        if (one.by == report::ExcludedBy::human) {
            ++by_human;
            EXPECT_EQ(one.author, "A. Keen");
            EXPECT_EQ(one.stay, "s1");
            EXPECT_EQ(one.fish, "T01");
        }
    }
    EXPECT_EQ(by_human, 1U);
}

TEST(Decisions, a_whole_stay_excluded_leaves_the_fish_without_that_number_and_says_why) {
    const auto changed = answered(with_decision("s3,,exclude,,wrong tube,A. Keen,"));
    EXPECT_FALSE(headline(changed, "peak_after_chase").mean.value);
    EXPECT_EQ(*headline(changed, "peak_after_chase").mean_without_human.value,
              *headline(plain(), "peak_after_chase").mean.value);
    EXPECT_EQ(*headline(changed, "peak_after_capture").mean.value,
              *headline(plain(), "peak_after_capture").mean.value);
    EXPECT_THAT(changed.fish.at(0).at("missing"), HasSubstr("peak after chase"));
}

TEST(Decisions, an_excluded_blank_reaches_the_fish_and_is_undone_with_the_rest) {
    const auto changed = answered(with_decision("b1,,exclude,,a limpet in it,A. Keen,"));
    const auto& before = headline(plain(), "resting");
    const auto& after = headline(changed, "resting");
    // Without the only blank the microbes' 0.06 mg/L/h x 10 L stay in: 0.6 mg/h of 36.
    EXPECT_NEAR(*after.mean.value / *before.mean.value, 1.0 + (0.6 / 36.0), 0.004);
    EXPECT_EQ(*after.mean_without_human.value, *before.mean.value);
}

TEST(Decisions, a_decision_in_no_sealed_spell_is_a_complaint_at_its_row) {
    // 10:40:30 lies in a flush (each 8 min begin with 2 min of it).
    const auto changed = answered(with_decision("s2,2026-06-14T10:40:30Z,exclude,,it jumped,A. Keen,"));
    std::vector<std::string> said;
    for (const auto& complaint : changed.complaints) {
        EXPECT_EQ(complaint.severity, study::Severity::warning);
        said.push_back(complaint.error.text());
    }
    EXPECT_THAT(said, Contains(testing::AllOf(HasSubstr("decisions.csv line 2, column \"moment\""),
                                              HasSubstr("exclude at 2026-06-14T10:40:30Z"),
                                              HasSubstr("in no sealed spell of the stay \"s2\""))));
    EXPECT_EQ(*headline(changed, "resting").mean.value, *headline(plain(), "resting").mean.value);
    // It stands in the results as well, so that the report shows it.
    EXPECT_THAT(changed.results.complaints,
                Contains(testing::Field(&report::Complaint::file, "decisions.csv")));
}

TEST(Decisions, a_boundary_moved_by_hand_moves_the_spell) {
    // The sealed spell from 12:02:00 (16 h 2 min is no multiple of 8 min: sealed 12:02 to 12:08).
    const auto changed =
        answered(with_decision("s2,2026-06-14T12:05:00Z,move_start,2026-06-14T12:04:00Z,a knock,A. Keen,"));
    std::size_t found = 0;
    for (const auto& row : changed.spells) {
        if (row.at("from") == "2026-06-14T12:04:00Z") {
            ++found;
        }
    }
    EXPECT_EQ(found, 1U);
    EXPECT_EQ(changed.spells.size(), plain().spells.size());
}

// A study that stays open, and the same opened fresh after each save of its decisions.
TEST(Decisions, after_any_of_them_the_open_study_answers_bit_for_bit_as_a_fresh_one) {
    const auto peak_spell = plain().fish.at(0).at("peak_after_capture_window_from");
    const std::string header = "stay,moment,act,value,reason,author,at\n";
    const std::vector<std::string> saved{
        "s1," + peak_spell + ",exclude,,the lid was open,A. Keen,\n",
        "s1," + peak_spell + ",mark,doubtful,the lid was open,A. Keen,\n",
        "s3,,exclude,,wrong tube,A. Keen,\nb1,,exclude,,a limpet in it,A. Keen,\n",
        "s3,,exclude,,quite the wrong tube,A. Keen,\n",
        "s2,2026-06-14T12:05:00Z,move_start,2026-06-14T12:04:00Z,a knock,A. Keen,\n",
        "",
    };
    test::ScratchFolder folder("again");
    test::write_all(folder, test::small_study());
    auto opened = app::open_study(folder.path(), {});
    ASSERT_TRUE(opened);
    const auto run = app::run_study(*opened, {});
    const auto first = report::json_text(app::results_of(*run->answers));
    for (const auto& rows : saved) {
        folder.write("decisions.csv", header + rows);
        EXPECT_THAT(app::take_new_decisions(*opened), testing::IsEmpty());
        app::answer_again(*opened, *run, {});
        auto fresh = app::open_study(folder.path(), {});
        ASSERT_TRUE(fresh);
        const auto anew = app::run_study(*fresh, {});
        const auto again = report::json_text(app::results_of(*run->answers));
        EXPECT_TRUE(again == report::json_text(app::results_of(*anew->answers))) << rows;
        EXPECT_NE(again, first);
    }
    folder.write("decisions.csv", header + "nowhere,,exclude,,x,A. Keen,\n");
    EXPECT_TRUE(study::stops_a_run(app::take_new_decisions(*opened)));
    EXPECT_THAT(opened->study.tables.decisions, testing::IsEmpty()) << "what stops a run is not taken over";
}

// Two fish in two tubes, each with its sensor and its blank, and questions to both.
test::StudyFiles two_tubes() {
    auto files = test::small_study();
    files["study.toml"] += "\n[[trace]]\nname = \"shore\"\nfiles = [\"raw/shore*.csv\"]\n"
                           "\n[[question]]\nname = \"course\"\noutcome = \"mo2\"\ncompare = \"hours\"\n"
                           "\n[[question]]\nname = \"weight\"\noutcome = \"mass\"\ncompare = \"species\"\n";
    files["fish.csv"] += "T02,Salmo trutta,520,2\n";
    files["stays.csv"] += "u1,T02,tank,after_capture,2026-06-14T08:05:00Z,2026-06-14T09:04:00Z,done\n"
                          "u2,T02,tank,rest,2026-06-14T09:10:00Z,2026-06-14T20:04:00Z,done\n"
                          "b2,,tank,blank,2026-06-14T21:04:00Z,2026-06-14T22:00:00Z,done\n";
    files["assemblies.csv"] += "tank,9.6,0.03,0.4,OX-2,shore:o2_mgL,shore:temp_C,shore:pump,0,15\n";
    files["raw/shore.csv"] = files["raw/boat.csv"];
    return files;
}

// Of one of the stays, most often about a moment of it; some contradict each other, some mean no spell.
std::string some_decision(Random& random) {
    struct StayTimes {
        const char* stay;
        const char* from;
        double hours;
    };
    const std::vector<StayTimes> stays{
        {"s1", "2026-06-14T08:05:00Z", 1.0}, {"s2", "2026-06-14T09:10:00Z", 10.9},
        {"s3", "2026-06-14T20:10:00Z", 0.9}, {"b1", "2026-06-14T21:04:00Z", 0.9},
        {"u1", "2026-06-14T08:05:00Z", 1.0}, {"u2", "2026-06-14T09:10:00Z", 10.9},
        {"b2", "2026-06-14T21:04:00Z", 0.9}};
    const auto& stay = stays[random.below(stays.size())];
    const Instant at = *parse_iso(stay.from) + Duration::hours(random.uniform() * stay.hours);
    const std::string moment = random.below(8) == 0 ? std::string() : iso_text(at);
    const auto act = random.below(6);
    if (act < 2 || (moment.empty() && act > 3)) {
        return fmt::format("{},{},exclude,,a knock,A. Keen,\n", stay.stay, moment);
    }
    if (act == 2) {
        return fmt::format("{},{},mark,{},a bubble,A. Keen,\n", stay.stay, moment,
                           random.below(2) == 0 ? "doubtful" : "unusable");
    }
    if (act == 3) {
        return fmt::format("{},{},note,,it jumped,A. Keen,\n", stay.stay, moment);
    }
    return fmt::format("{},{},{},{},a knock,A. Keen,\n", stay.stay, moment,
                       act == 4 ? "move_start" : "move_end", iso_text(at + Duration::seconds(30.0)));
}

// Decisions come and go at random; what the open study remembers of its stages never shows: each file of its
// results is, byte for byte, that of the same study opened fresh.
TEST(Decisions, whatever_is_decided_and_taken_back_every_file_is_that_of_a_fresh_study) {
    test::ScratchFolder folder("remembered");
    test::write_all(folder, two_tubes());
    auto opened = app::open_study(folder.path(), {});
    ASSERT_TRUE(opened);
    ASSERT_FALSE(study::stops_a_run(opened->complaints)) << opened->complaints.front().error.text();
    const auto run = app::run_study(*opened, {});
    auto last = std::make_unique<app::ResultSet>(*run);
    Random random(11);
    std::vector<std::string> rows;
    for (int step = 0; step < 14; ++step) {
        if (!rows.empty() && random.below(3) == 0) {
            rows.erase(rows.begin() + static_cast<std::ptrdiff_t>(random.below(rows.size())));
        } else {
            rows.push_back(some_decision(random));
        }
        const std::string table = fmt::format("stay,moment,act,value,reason,author,at\n{}",
                                              fmt::join(step == 9 ? std::vector<std::string>() : rows, ""));
        folder.write("decisions.csv", table);
        ASSERT_THAT(app::take_new_decisions(*opened), testing::IsEmpty()) << table;
        app::answer_again(*opened, *run, {});
        auto now = std::make_unique<app::ResultSet>(*run, last.get());

        auto fresh = app::open_study(folder.path(), {});
        ASSERT_TRUE(fresh);
        const auto anew = app::run_study(*fresh, {});
        const app::ResultSet expected(*anew);
        ASSERT_EQ(now->all({}).size(), expected.all({}).size());
        for (const auto& file : expected.all({})) {
            EXPECT_TRUE(now->file(file.name)->bytes == file.bytes) << file.name << " after\n" << table;
        }
        last = std::move(now);
    }
}

} // namespace
} // namespace backeddy
