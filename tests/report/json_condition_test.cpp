#include <gmock/gmock.h>
#include <nlohmann/json.hpp>

#include "report/invented_study.hpp"
#include "report/json.hpp"
#include "report/schema_check.hpp"

namespace backeddy::report {
namespace {

using nlohmann::json;
using testing::IsEmpty;

json document_of(const Results& results) {
    return json::parse(json_text(results));
}

TEST(ConditionDocument, of_a_study_without_sheets_has_empty_lists_and_says_so) {
    Results results;
    results.fish.push_back({.id = "a"});
    const json document = document_of(results);
    EXPECT_THAT(schema_errors(json::parse(schema_text()), document), IsEmpty());
    EXPECT_EQ(document["condition"]["has_any"], false);
    for (const char* list : {"plates", "inter_assay", "analytes", "agreements", "mortality", "points"}) {
        EXPECT_TRUE(document["condition"][list].empty()) << list;
    }
    EXPECT_TRUE(document["fish"][0]["condition"]["draws"].empty());
    EXPECT_TRUE(document["fish"][0]["condition"]["fate"].is_null());
}

// A limit is no value: a reader that takes `value` must find none, and the words must be there.
TEST(ConditionDocument, keeps_a_limit_apart_from_a_value) {
    const json draws =
        document_of(invented_study({.fish = 3, .night_h = 1.0}))["fish"][2]["condition"]["draws"];
    const json& cortisol = draws[0]["values"][0];
    EXPECT_EQ(cortisol["analyte"], "cortisol");
    EXPECT_TRUE(cortisol["value"]["value"].is_null());
    EXPECT_EQ(cortisol["value"]["text"], "below 7.8 ng/mL");
    EXPECT_DOUBLE_EQ(cortisol["below"].get<double>(), 7.8);
    EXPECT_TRUE(cortisol["above"].is_null());
    const json& lactate = draws[0]["values"][1];
    EXPECT_TRUE(lactate["value"]["value"].is_number());
    EXPECT_TRUE(lactate["below"].is_null());
}

TEST(ConditionDocument, keeps_what_was_not_scored_or_tested_apart_from_unhurt) {
    const json document = document_of(invented_study({.fish = 3, .night_h = 1.0}));
    const json& places = document["fish"][2]["condition"]["fins"][0]["places"];
    EXPECT_EQ(places.back()["word"], "right_pelvic");
    EXPECT_TRUE(places.back()["level"].is_null());
    EXPECT_TRUE(places[0]["level"].is_number_integer());
    EXPECT_EQ(document["fish"][1]["condition"]["reflexes"][0]["tests"][2]["text"], "not tested");
}

TEST(ConditionDocument, gives_a_plate_its_wells_curve_and_the_words_beyond_it) {
    const Results results = invented_study({.fish = 3, .night_h = 1.0});
    const json plate = document_of(results)["condition"]["plates"][0];
    EXPECT_EQ(plate["wells"].size(), results.condition.plates[0].wells.size());
    EXPECT_EQ(plate["curve"]["x"].size(), plate["curve"]["high"].size());
    EXPECT_EQ(plate["samples"][2]["concentration"]["reason"], "below 7.8");
    EXPECT_TRUE(plate["samples"][2]["is_accepted"].is_null()) << "nothing to hold a sample against";
    EXPECT_TRUE(plate["controls"][0]["is_accepted"].is_boolean());
    EXPECT_EQ(plate["samples"][0]["dilutions"].size(), 3U);
}

// The validator must bite here too: each of these breaks one rule that the schema states of condition.
TEST(ConditionDocument, with_a_field_of_another_kind_is_refused) {
    const json schema = json::parse(schema_text());
    const json sound = document_of(invented_study({.fish = 5, .night_h = 1.0}));
    ASSERT_THAT(schema_errors(schema, sound), IsEmpty());
    const auto refused = [&](const std::string& at, const json& value) {
        json broken = sound;
        broken[json::json_pointer(at)] = value;
        return !schema_errors(schema, broken).empty();
    };
    EXPECT_TRUE(refused("/condition/plates/0/wells/0/kind", "sauce"));
    EXPECT_TRUE(refused("/condition/plates/0/samples/0/is_accepted", "yes"));
    EXPECT_TRUE(refused("/condition/plates/0/standards/0/concentration", -1.0));
    EXPECT_TRUE(refused("/condition/mortality/0/dead", 0.5));
    EXPECT_TRUE(refused("/fish/0/condition/fate/ending", "released"));
    EXPECT_TRUE(refused("/fish/0/condition/fins/0/places/0/level", -1));
    EXPECT_TRUE(refused("/fish/0/condition/draws/0/values/0/below", "7.8"));
    EXPECT_TRUE(refused("/fish/0/condition/surplus", 1));
}

TEST(ConditionDocument, drawn_in_the_report_is_valid_too) {
    const json document = json::parse(json_text(invented_study({.fish = 5, .night_h = 1.0}), Detail::drawn));
    EXPECT_THAT(schema_errors(json::parse(schema_text()), document), IsEmpty());
    EXPECT_FALSE(document["condition"]["plates"][0]["wells"].empty());
}

} // namespace
} // namespace backeddy::report
