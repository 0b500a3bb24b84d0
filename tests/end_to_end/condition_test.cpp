// A small messy study of fish's condition through `check` and `run`: what two scorers and two tags come to,
// and what is said of each kind of slip while the rest runs.

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "end_to_end/program.hpp"
#include "support/lines_of.hpp"
#include "support/small_plate.hpp"

namespace backeddy {
namespace {

using nlohmann::json;
using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;

constexpr int fish_count = 50;

std::string fish_name(int number) {
    return fmt::format("F{:02}", number);
}

/// Fifty fish beside T01, each met once at 10:00 and never in a tube.
void add_fish(test::StudyFiles& files) {
    for (int i = 1; i <= fish_count; ++i) {
        files["fish.csv"] += fish_name(i) + ",Salmo trutta,500,2\n";
        files["encounters.csv"] +=
            fmt::format("m{0},{1},2026-06-14T10:00:00Z,angling,single_hook\n", i, fish_name(i));
    }
}

/// Two levels, and two scorers: both whole 20, both torn 15, apart 5 and 10.
std::string fins_of_two_scorers() {
    struct Cell {
        int first;
        int second;
        int fish;
    };
    std::string out = "fish,occasion,fin,score,scorer\n";
    int fish = 0;
    for (const Cell cell : {Cell{0, 0, 20}, Cell{0, 1, 5}, Cell{1, 0, 10}, Cell{1, 1, 15}}) {
        for (int i = 0; i < cell.fish; ++i) {
            const auto name = fish_name(++fish);
            out += fmt::format("{0},landing,caudal,{1},anna\n{0},landing,caudal,{2},bo\n", name, cell.first,
                               cell.second);
        }
    }
    return out + "T01,landing,left_pelvik,0,anna\n"
                 "T01,landing,dorsal,shredded,anna\n";
}

/// F11 to F24 get two tags and go; F11 to F21 are met again, three of them with one tag. F05 goes unmarked,
/// and F10 dies before it is let go.
std::string fates() {
    std::string out = "fish,at,what,last_alive,stage,cause,tag_type,tag_serial\n";
    for (int i = 11; i <= 24; ++i) {
        for (const char tag : {'a', 'b'}) {
            out += fmt::format("{},2026-06-14T10:30:00Z,tagged,,,,T-bar,{}{}\n", fish_name(i), i, tag);
        }
        out += fish_name(i) + ",2026-06-14T10:40:00Z,released,,,,,\n";
    }
    for (int i = 11; i <= 21; ++i) {
        out += fish_name(i) + ",2026-07-14T10:00:00Z,recaptured,,,,,\n";
    }
    for (int i = 11; i <= 13; ++i) {
        out += fmt::format("{},2026-07-14T10:00:00Z,tag_shed,,,,T-bar,{}b\n", fish_name(i), i);
    }
    return out + "F05,2026-06-14T12:00:00Z,released,,,,,\n"
                 "F10,2026-06-14T12:00:00Z,dead,2026-06-14T11:30:00Z,holding,gills,,\n"
                 "F10,2026-06-14T18:00:00Z,released,,,,,\n";
}

constexpr const char* blood =
    "fish,drawn_at,analyte,value,unit,volume_ml,sample\n"
    "T01,2026-06-14T09:06:00Z,lactate,4.8,mmol/L,0.8,A1\n" // 2: 1.6 mL/kg
    "T01,2026-06-14T07:20:00Z,lactate,4.9,mmol/L,0.1,\n"   // 3: before the catch; it was drawn all the same
    "T01,2026-06-14T09:06:00Z,glucose,\"5,2\",mmol/L,,\n"  // 4: a comma
    "T01,06/14/2026 09:06,sodium,150,mmol/L,,\n"           // 5: month first
    "T01,2026-06-14T09:06:00Z,potassium,4,mmol/gal,,\n"    // 6: the unit
    "F01,2026-06-14T11:00:00Z,lactate,5,mmol/L,-0.4,\n"    // 7: below nothing
    "F02,2026-06-14T11:00:00Z,cortisol,<5,ng/mL,0.2,\n"    // 8
    "F03,2026-06-14T11:00:00Z,cortisol,< 5.0,ng/mL,0.2,\n" // 9
    "F04,2026-06-14T11:00:00Z,cortisol,\"< 5,0\",ng/mL,0.2,\n" // 10: a comma
    "F05,2026-06-15T12:00:00Z,lactate,5,mmol/L,0.2,\n"         // 11: let go at noon
    "F06,2026-06-14T11:00:00Z,cortisol,LOD,ng/mL,0.2,\n"       // 12: which limit?
    "F07,2026-06-14T11:00:00Z,cortisol,40,ng/mL,0.2,A2\n";     // 13

/// A1 of 37.5 ng/mL tenfold diluted stands, A2 at a dilution of 0; one standard holds 1.7 times as much, H12
/// is not mapped, and E5 is twice. The other plate's file is empty.
void add_plates(test::StudyFiles& files) {
    auto plate = test::sound_plate();
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        plate.grid[4][i] = test::small_curve.response(1.7 * 6.25);
    }
    plate.map_the_rest();
    auto wells = test::with(plate.wells, "p1,H12,empty,,,\n", "");
    wells = test::with(wells, "p1,C3,sample,A2,,\n", "p1,C3,sample,A2,,0\n");
    wells += "p1,E5,sample,A1,,10\n";
    files["wells.csv"] = wells + "p2,A1,sample,A1,,10\n";
    files["plates.csv"] = "plate,file,analyte,unit\n"
                          "p1,raw/plates/p1.csv,cortisol,ng/mL\n"
                          "p2,raw/plates/p2.csv,cortisol,ng/mL\n";
    files["raw/plates/p1.csv"] = plate.file();
    files["raw/plates/p2.csv"] = "";
    files["samples.csv"] = "sample,fish,taken_at,matrix,freezer\n"
                           "A1,T01,2026-06-14T09:06:00Z,plasma,box 1\n"
                           "A2,F07,2026-06-14T11:00:00Z,plasma,box 1\n"
                           "A3,F08,2026-06-14T11:00:00Z,plasma,box 1\n"
                           "A3,F09,2026-06-14T11:00:00Z,plasma,box 2\n";
}

test::StudyFiles messy_study() {
    auto files = test::small_study();
    files["study.toml"] += "[blood]\nceiling_ml_per_kg = 1.0\n"
                           "[fins]\nscale = [\"whole\", \"torn\"]\n";
    add_fish(files);
    add_plates(files);
    files["blood.csv"] = blood;
    files["fins.csv"] = fins_of_two_scorers();
    files["fates.csv"] = fates();
    return files;
}

/// Made, checked and run once for all that is asked of it.
class MessyCondition : public testing::Test {
  protected:
    static void SetUpTestSuite() {
        const test::ScratchFolder scratch("messy_condition");
        for (const auto& [name, bytes] : messy_study()) {
            scratch.write("study/" + name, bytes);
        }
        const auto study = (scratch.path() / "study").string();
        said = test::lines_of(test::run_program(scratch, {"check", study}).out);
        ran = test::run_program(scratch, {"run", study});
        const auto text = read_file(scratch.path() / "study" / "results" / "results.json");
        results = text ? json::parse(*text) : json::object();
        page = read_file(scratch.path() / "study" / "results" / "report.html").value_or("");
    }
    static const json& fish(const std::string& id) {
        for (const auto& one : results.at("fish")) {
            if (one.at("id") == id) {
                return one.at("condition");
            }
        }
        throw std::runtime_error("no fish " + id);
    }
    /// A line of `check` that begins so and says all of the parts.
    template <typename... Parts>
    static auto told(const std::string& at, const Parts&... parts) {
        return Contains(AllOf(testing::StartsWith("beware: " + at), HasSubstr(parts)...));
    }

    static inline std::vector<std::string> said;
    static inline test::Ran ran;
    static inline json results;
    static inline std::string page;
};

TEST_F(MessyCondition, stops_nothing) {
    EXPECT_EQ(ran.status, 0) << ran.err;
    EXPECT_THAT(said.back(), HasSubstr("0 complaints that stop a run"));
    EXPECT_GT(results.at("fish")[0].at("metrics").at("peaks").size(), 0U) << "T01's uptake all the same";
}

// A common teaching table (from memory), by Cohen's definition: 35 of 50 alike, 25 by chance, 0.4. With two
// levels any weights give the same.
TEST_F(MessyCondition, two_scorers_agree_as_their_table_says) {
    ASSERT_EQ(results.at("condition").at("agreements").size(), 1U);
    const auto& agreement = results.at("condition").at("agreements")[0];
    EXPECT_EQ(agreement.at("first"), "anna");
    EXPECT_EQ(agreement.at("second"), "bo");
    EXPECT_EQ(agreement.at("pairs"), 50);
    EXPECT_EQ(agreement.at("same"), 35);
    EXPECT_NEAR(agreement.at("kappa").at("value").get<double>(), 0.4, 1e-12);
    // The large-sample error of kappa itself (Fleiss, Cohen and Everitt 1969) by hand: 0.1270; whole fish
    // drawn again differ from it by how skewed fifty fish are.
    EXPECT_NEAR(agreement.at("kappa").at("interval").at("low").get<double>(), 0.4 - (1.96 * 0.1270), 0.03);
    EXPECT_NEAR(agreement.at("kappa").at("interval").at("high").get<double>(), 0.4 + (1.96 * 0.1270), 0.03);
    EXPECT_THAT(page, HasSubstr("<td>anna, bo</td>"));
}

// Eight with both and three with one: 2 * 8 / (2 * 8 + 3) = 84.2 %. R: b <- binom.test(8, 11)$conf.int;
// 2 * b / (1 + b) is 0.561 to 0.969.
TEST_F(MessyCondition, two_tags_of_a_fish_say_how_many_stay_on) {
    EXPECT_THAT(
        results.at("condition").at("notes").get<std::vector<std::string>>(),
        Contains("Tags, external T-bar: of the fish with two that were in hand again 8 had both and 3 "
                 "one: 84.2 % of tags stay on (95 % interval 56.1 to 96.9, exact), if each comes off by "
                 "itself and alike. No number here is corrected for it."));
    EXPECT_THAT(page, HasSubstr("84.2 % of tags stay on"));
}

TEST_F(MessyCondition, each_slip_of_blood_is_told_at_its_cell) {
    EXPECT_THAT(said,
                told("blood.csv line 2, column \"volume_ml\"", "OVER the permit's 1.00 mL/kg by 0.40 mL"));
    EXPECT_THAT(said, told("blood.csv line 3, column \"drawn_at\"", "first met at 2026-06-14T07:55:00Z",
                           "until then the row is left out"));
    EXPECT_THAT(said, told("blood.csv line 4, column \"value\": \"5,2\"", "write a decimal point"));
    EXPECT_THAT(said, told("blood.csv line 5, column \"drawn_at\": \"06/14/2026 09:06\" is not a time",
                           "format the column as yyyy-mm-dd"));
    EXPECT_THAT(said, told("blood.csv line 6, column \"unit\": \"mmol/gal\"", "one of mmol/L"));
    EXPECT_THAT(said, told("blood.csv line 7, column \"volume_ml\": \"-0.4\"", "more than 0"));
    EXPECT_THAT(said,
                told("blood.csv line 10, column \"value\"", "its comma can part decimals or thousands"));
    EXPECT_THAT(said, told("blood.csv line 11, column \"drawn_at\"", "after the fish had left: released"));
    EXPECT_THAT(said,
                told("blood.csv line 12, column \"value\": \"LOD\" is not a number", "write the limit"));
}

TEST_F(MessyCondition, a_limit_is_one_however_it_is_spelled) {
    for (const char* id : {"F02", "F03"}) {
        const auto& value = fish(id).at("draws")[0].at("values")[0];
        EXPECT_TRUE(value.at("value").at("value").is_null()) << id;
        EXPECT_EQ(value.at("below"), 5.0) << id;
    }
    EXPECT_EQ(fish("F06").at("draws").size(), 0U) << "LOD names no limit";
}

TEST_F(MessyCondition, each_slip_of_tubes_and_plates_is_told_at_its_cell) {
    EXPECT_THAT(said, told("samples.csv line 5, column \"sample\"", "\"A3\"", "stands in line 4 already"));
    EXPECT_THAT(said, told("wells.csv line 22, column \"dilution\": \"0\"", "more than 0"));
    EXPECT_THAT(said, told("wells.csv line", "E5 of \"p1\" stands in line", "neither row counts"));
    EXPECT_THAT(said, told("wells.csv line", "of plate \"p1\"", "that of 6.25 ng/mL (E1, E2): read back as"));
    EXPECT_THAT(said, told("raw/plates/p1.csv line", "that the plate map does not name", "H12"));
    EXPECT_THAT(said, told("plates.csv line 3, column \"file\"", "\"raw/plates/p2.csv\": the file is empty"));
    const auto& plates = results.at("condition").at("plates");
    ASSERT_EQ(plates.size(), 2U);
    EXPECT_EQ(plates[0].at("unanswered"), "");
    EXPECT_GT(plates[0].at("samples")[0].at("concentration").at("value").get<double>(), 0.0)
        << "A1 all the same";
    EXPECT_NE(plates[1].at("unanswered"), "");
}

TEST_F(MessyCondition, each_slip_of_scores_and_fates_is_told_at_its_cell) {
    EXPECT_THAT(said,
                told("fins.csv line 102, column \"fin\": \"left_pelvik\"", "did you mean left_pelvic?"));
    EXPECT_THAT(said, told("fins.csv line 103, column \"score\": \"shredded\"", "one of whole, torn"));
    EXPECT_THAT(said, told("fates.csv line 60, column \"at\"",
                           "released at 2026-06-14T18:00:00Z, after it was "
                           "found dead",
                           "the first death stands"));
    EXPECT_EQ(fish("F10").at("fate").at("ending"), "dead");
}

} // namespace
} // namespace backeddy
