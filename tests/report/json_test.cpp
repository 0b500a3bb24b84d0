#include "report/json.hpp"

#include <cmath>
#include <limits>

#include <gmock/gmock.h>
#include <nlohmann/json.hpp>

#include "report/invented_study.hpp"
#include "report/schema_check.hpp"

namespace backeddy::report {
namespace {

using nlohmann::json;
using testing::IsEmpty;

json document_of(const Results& results) {
    return json::parse(json_text(results));
}

TEST(Document, of_an_invented_study_is_valid_by_the_schema) {
    const json schema = json::parse(schema_text());
    EXPECT_THAT(schema_errors(schema, document_of(invented_study({.fish = 6, .night_h = 13.0}))), IsEmpty());
}

TEST(Document, of_a_study_without_anything_is_valid_by_the_schema) {
    EXPECT_THAT(schema_errors(json::parse(schema_text()), document_of(Results{})), IsEmpty());
}

TEST(Document, a_window_that_fits_into_no_spell_has_its_reason_and_no_numbers) {
    const json document = document_of(invented_study({.fish = 1, .night_h = 1.0}));
    int absent = 0;
    for (const auto& point : document["fish"][0]["metrics"]["peaks"][0]["curve"]) {
        if (point["reason"].get<std::string>().empty()) {
            EXPECT_TRUE(point["steepest"].is_number() && point["readings"].is_number());
            continue;
        }
        ++absent;
        EXPECT_TRUE(point["window_s"].is_number());
        for (const char* key :
             {"readings", "steepest", "standard_uncertainty", "selection_bias", "averaging", "corrected",
              "start_after_event_s", "relative_slope_error", "saturation_end_percent"}) {
            EXPECT_TRUE(point[key].is_null()) << key;
        }
    }
    EXPECT_EQ(absent, 2);
}

// The validator itself must bite: each of these breaks one rule that the schema states.
TEST(Document, with_a_field_too_many_too_few_or_of_another_kind_is_refused) {
    const json schema = json::parse(schema_text());
    const json sound = document_of(invented_study({.fish = 1, .night_h = 1.0}));
    const auto refused = [&](const std::string& at, const json& value) {
        json broken = sound;
        broken[json::json_pointer(at)] = value;
        return !schema_errors(schema, broken).empty();
    };
    EXPECT_TRUE(refused("/surplus", 1));
    EXPECT_TRUE(refused("/fish/0/mass_g/value", "heavy"));
    EXPECT_TRUE(refused("/fish/0/stays/0/spells/mark/0", "excellent"));
    EXPECT_TRUE(refused("/fish/0/mass_g/standard_uncertainty", -1.0));
    EXPECT_TRUE(refused("/fish/0/stays/0/spells/readings/0", 2.5));
    EXPECT_TRUE(refused("/schema_version", "0.9"));
    EXPECT_TRUE(refused("/findings/0/declared", "long ago"));
    EXPECT_TRUE(refused("/findings/0/effects/0/lower", "low"));
    EXPECT_TRUE(refused("/findings/0/rows", -1));
    json silent = sound;
    silent["findings"][0]["effects"][0]["value"] = nullptr;
    EXPECT_FALSE(schema_errors(schema, silent).empty()) << "an effect without a value must give its reason";
    json lacking = sound;
    lacking["fish"][0].erase("fate");
    EXPECT_FALSE(schema_errors(schema, lacking).empty());
    json unexplained = sound;
    unexplained["fish"][0]["mass_g"] = {{"value", nullptr}, {"unit", "g"}, {"text", ""}};
    EXPECT_FALSE(schema_errors(schema, unexplained).empty())
        << "a number without a value must give its reason";
}

// What is embedded in the report is drawn, not computed with: smaller, and still a valid document.
TEST(DrawnDocument, is_valid_smaller_and_rounded_to_six_digits) {
    Results results = invented_study({.fish = 2, .night_h = 6.0});
    results.fish[0].stays[0].spells[0].answer.slope_mg_per_l_h = -1.0 / 3.0;
    // Of condition everything is drawn: nothing to be saved.
    results.condition = {};
    for (Fish& fish : results.fish) {
        fish.condition = {};
    }
    Stay blank = results.fish[0].stays[0];
    blank.fish.clear();
    results.blanks.push_back(blank);
    const std::string drawn = json_text(results, Detail::drawn);
    EXPECT_LT(drawn.size(), json_text(results).size() * 3 / 4);
    const json document = json::parse(drawn);
    EXPECT_THAT(schema_errors(json::parse(schema_text()), document), IsEmpty());
    EXPECT_EQ(document["fish"][0]["stays"][0]["spells"]["slope_mg_per_l_h"][0].get<double>(), -0.333333);
    EXPECT_TRUE(document["blanks"][0]["trace"]["at_s"].empty());
    EXPECT_FALSE(document["fish"][0]["stays"][0]["trace"]["at_s"].empty());
    EXPECT_EQ(document["fish"][0]["mass_g"]["text"],
              json::parse(json_text(results))["fish"][0]["mass_g"]["text"])
        << "what is printed does not depend on the detail";
}

TEST(Document, holds_a_column_entry_for_every_spell) {
    const Results results = invented_study({.fish = 2, .night_h = 6.0});
    const json document = document_of(results);
    for (std::size_t f = 0; f < results.fish.size(); ++f) {
        for (std::size_t s = 0; s < results.fish[f].stays.size(); ++s) {
            const std::size_t spells = results.fish[f].stays[s].spells.size();
            const json& table = document["fish"][f]["stays"][s]["spells"];
            ASSERT_GT(spells, 0U);
            for (const auto& [name, column] : table.items()) {
                if (name != "contributions") {
                    EXPECT_EQ(column.size(), spells) << name;
                }
            }
            for (const json& source : table["contributions"]) {
                EXPECT_EQ(source["effect"].size(), spells) << source["source"];
            }
        }
    }
}

TEST(Document, reads_back_the_very_doubles_of_a_slope) {
    Results results = invented_study({.fish = 1, .night_h = 2.0});
    results.fish[0].stays[0].spells[0].answer.slope_mg_per_l_h = -1.0 / 3.0;
    const json document = document_of(results);
    EXPECT_EQ(document["fish"][0]["stays"][0]["spells"]["slope_mg_per_l_h"][0].get<double>(), -1.0 / 3.0);
}

TEST(Document, gives_every_kind_of_finding_its_numbers) {
    const Results results = invented_study({.fish = 1, .night_h = 1.0});
    const json found = document_of(results)["findings"];
    ASSERT_EQ(found.size(), results.findings.size());
    const json& effect = found[0]["effects"][0];
    EXPECT_EQ(effect["value"].get<double>(), *results.findings[0].effects[0].value);
    EXPECT_EQ(effect["text"], "38 (7 to 70)");
    EXPECT_EQ(found[0]["declared"], "before_any_fish");
    EXPECT_EQ(found[0]["checks"][1]["verdict"], "look");
    EXPECT_EQ(found[0]["without_human"]["rows"], 33);
    EXPECT_TRUE(found[1]["without_human"].is_null());
    EXPECT_EQ(found[4]["scores"].size(), 4U);
    EXPECT_EQ(found[8]["unanswered"], results.findings[8].unanswered);
}

TEST(Document, writes_null_for_a_limit_that_is_not_known_and_for_a_value_that_is_not_there) {
    constexpr double endless = std::numeric_limits<double>::infinity();
    Results results;
    findings::Finding finding{.name = "q"};
    finding.effects = {{.name = "open above", .value = 2.0, .lower = 1.0, .upper = endless},
                       {.name = "open below", .value = 2.0, .lower = -endless, .upper = 3.0},
                       {.name = "none", .reason = "nobody bled"},
                       {.name = "no number", .value = std::nan("")},
                       {.name = "endless", .value = endless}};
    finding.points = {{.row = "a", .fish = "a", .lower = 5.0, .upper = endless}};
    results.findings = {finding};
    const json document = document_of(results);
    EXPECT_THAT(schema_errors(json::parse(schema_text()), document), IsEmpty());
    const json& effects = document["findings"][0]["effects"];
    EXPECT_TRUE(effects[0]["upper"].is_null());
    EXPECT_EQ(effects[0]["text"], "2.0 (1.0 or more)");
    EXPECT_TRUE(effects[1]["lower"].is_null());
    EXPECT_EQ(effects[1]["text"], "2.0 (3.0 or less)");
    EXPECT_EQ(effects[2]["reason"], "nobody bled");
    EXPECT_TRUE(effects[3]["value"].is_null());
    EXPECT_EQ(effects[3]["reason"], "the data do not bound it");
    EXPECT_TRUE(effects[4]["value"].is_null());
    EXPECT_NE(effects[4]["reason"], "");
    EXPECT_TRUE(document["findings"][0]["points"][0]["upper"].is_null());
}

TEST(Document, writes_null_for_what_is_not_finite) {
    Results results = invented_study({.fish = 1, .night_h = 2.0});
    results.fish[0].stays[0].spells[0].answer.r_squared = std::nan("");
    EXPECT_TRUE(document_of(results)["fish"][0]["stays"][0]["spells"]["r_squared"][0].is_null());
}

TEST(Document, shares_of_the_variance_add_up_to_one) {
    const json document = document_of(invented_study({.fish = 1, .night_h = 2.0}));
    double sum = 0.0;
    for (const json& each :
         document["fish"][0]["metrics"]["peaks"][0]["uptake_mg_per_kg_h"]["contributions"]) {
        sum += each["share"].get<double>();
    }
    EXPECT_NEAR(sum, 1.0, 1e-12);
}

// An excess over a night has a slope per sealed spell: a list of a hundred would hide what matters, sixty
// fish over.
TEST(Document, gathers_many_small_sources_by_kind_and_keeps_their_variance) {
    std::vector<Contribution> sources{{"volume:tube", 3.0}, {"mass:st01", -4.0}};
    for (int i = 0; i < 100; ++i) {
        sources.push_back({"slope:" + std::to_string(i), 0.1});
    }
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    results.fish[0].mass_g = number(Measured(800.0, sources), "g");
    const json written = document_of(results)["fish"][0]["mass_g"]["contributions"];
    ASSERT_EQ(written.size(), 3U);
    EXPECT_EQ(written[0]["source"], "mass:st01");
    EXPECT_EQ(written[0]["effect"], -4.0);
    EXPECT_EQ(written[2]["source"], "slope: 100 small ones");
    EXPECT_NEAR(written[2]["effect"].get<double>(), 1.0, 1e-12);
    EXPECT_NEAR(written[2]["share"].get<double>(), 1.0 / 26.0, 1e-12);
}

TEST(Document, gives_the_slopes_of_a_stay_one_column_and_shared_sources_their_own) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    auto& spells = results.fish[0].stays[0].spells;
    ASSERT_GE(spells.size(), 2U);
    for (std::size_t i = 0; i < spells.size(); ++i) {
        spells[i].answer.uptake_mg_per_kg_h = Measured(
            100.0, {{"volume:tube", 2.0}, {"slope:" + std::to_string(i), 1.0 + static_cast<double>(i)}});
    }
    const json written = document_of(results)["fish"][0]["stays"][0]["spells"]["contributions"];
    ASSERT_EQ(written.size(), 2U);
    EXPECT_EQ(written[0]["source"], "slope");
    EXPECT_EQ(written[0]["effect"][1], 2.0);
    EXPECT_EQ(written[1]["source"], "volume:tube");
}

TEST(Document, keeps_a_hostile_name_as_text_and_never_writes_an_angle_bracket) {
    Results results = invented_study({.fish = 1, .night_h = 1.0});
    results.fish[0].id = "</script><script>alert(1)</script>";
    results.fish[0].note = "\xFF broken \xC3";
    const std::string text = json_text(results);
    EXPECT_EQ(text.find('<'), std::string::npos);
    EXPECT_EQ(json::parse(text)["fish"][0]["id"], results.fish[0].id);
    EXPECT_EQ(json::parse(text)["fish"][0]["note"], "\xEF\xBF\xBD broken \xEF\xBF\xBD");
}

TEST(Document, is_the_same_bytes_twice) {
    EXPECT_EQ(json_text(invented_study({.fish = 2, .night_h = 3.0})),
              json_text(invented_study({.fish = 2, .night_h = 3.0})));
}

} // namespace
} // namespace backeddy::report
