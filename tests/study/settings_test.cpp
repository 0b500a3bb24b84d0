#include <set>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "study/observed.hpp"
#include "study/question.hpp"
#include "study/settings.hpp"

namespace backeddy::study {
namespace {

TEST(Settings, every_setting_can_be_set_to_its_own_default_and_changes_nothing) {
    const Brief defaults;
    for (const auto& setting : settings()) {
        Brief brief;
        setting.set(brief, setting.get(defaults));
        for (const auto& other : settings()) {
            EXPECT_EQ(other.get(brief), other.get(defaults)) << setting.section << "." << setting.key;
        }
    }
}

TEST(Settings, every_default_lies_within_its_own_limits_and_words) {
    const Brief defaults;
    for (const auto& setting : settings()) {
        const auto name = setting.section + "." + setting.key;
        const auto value = setting.get(defaults);
        const auto within = [&](double v) {
            EXPECT_GE(v, setting.least.value_or(v)) << name;
            EXPECT_LE(v, setting.most.value_or(v)) << name;
        };
        if (const auto* number = std::get_if<double>(&value)) {
            within(*number);
        } else if (const auto* whole = std::get_if<std::int64_t>(&value)) {
            within(static_cast<double>(*whole));
        } else if (const auto* list = std::get_if<std::vector<double>>(&value)) {
            for (const double v : *list) {
                within(v);
            }
        }
        if (setting.kind == SettingKind::word) {
            EXPECT_THAT(setting.words, testing::Contains(std::get<std::string>(value))) << name;
        }
    }
}

TEST(Settings, names_are_unique_and_every_section_is_described) {
    std::set<std::string> names;
    std::set<std::string> described;
    for (const auto& section : sections()) {
        described.insert(section.name);
    }
    for (const auto& setting : settings()) {
        EXPECT_TRUE(names.insert(setting.section + "." + setting.key).second) << setting.key;
        EXPECT_TRUE(described.contains(setting.section)) << setting.section;
        EXPECT_FALSE(setting.why.empty()) << setting.key;
    }
}

TEST(Settings, changing_one_setting_changes_no_other) {
    for (const auto& setting : settings()) {
        Brief brief;
        SettingValue value = setting.get(brief);
        if (auto* number = std::get_if<double>(&value)) {
            *number = *number == *setting.least ? *setting.most : *setting.least;
            if (!setting.choices.empty()) {
                *number = setting.choices.back();
            }
        } else if (auto* whole = std::get_if<std::int64_t>(&value)) {
            *whole += 1;
        } else if (auto* yes = std::get_if<bool>(&value)) {
            *yes = !*yes;
        } else if (setting.kind == SettingKind::word) {
            const auto& now = std::get<std::string>(value);
            value = setting.words.front() == now ? setting.words.back() : setting.words.front();
        } else if (setting.kind == SettingKind::channel) {
            value = std::string("boat:O2");
        } else if (setting.kind == SettingKind::numbers) {
            value = std::vector<double>{61.0};
        } else if (setting.kind == SettingKind::texts) {
            value = std::vector<std::string>{setting.words.empty() ? "x" : setting.words.back()};
        } else if (setting.kind == SettingKind::number) {
            value = *setting.least;
        } else if (setting.kind == SettingKind::whole) {
            value = static_cast<std::int64_t>(*setting.least);
        } else {
            value = std::string("x");
        }
        setting.set(brief, value);
        std::vector<std::string> changed;
        for (const auto& line : settings_used(brief)) {
            if (!line.is_default) {
                changed.push_back(line.section + "." + line.key);
            }
        }
        EXPECT_THAT(changed, testing::ElementsAre(setting.section + "." + setting.key));
        EXPECT_EQ(setting.get(brief), value) << setting.section << "." << setting.key;
    }
}

TEST(Settings, the_defaults_are_those_of_the_methods_page) {
    const Brief brief;
    const auto value = [&](const char* section, const char* key) {
        const Setting* found = find_setting(section, key);
        return found == nullptr ? std::string("no such setting") : toml_text(found->get(brief));
    };
    EXPECT_EQ(value("peak", "window_s"), "60");
    EXPECT_EQ(value("peak", "largest_relative_error"), "0.05");
    EXPECT_EQ(value("resting", "cv_limit_percent"), "5.4");
    EXPECT_EQ(value("resting", "rule_quantile"), "0.2");
    EXPECT_EQ(value("resting", "least_hours_after_handling"), "10");
    EXPECT_EQ(value("resting", "short_stay_h"), "24");
    EXPECT_EQ(value("background", "blanks_used"), "\"both\"");
    EXPECT_EQ(value("background", "between_blanks"), "\"straight\"");
    EXPECT_EQ(value("background", "volume"), "\"whole_chamber\"");
    EXPECT_EQ(value("roles", "start_oxygen_rest_percent"), "90");
    EXPECT_EQ(value("roles", "start_oxygen_fast_percent"), "85");
    EXPECT_EQ(value("roles", "lowest_oxygen_peak_percent"), "80");
    EXPECT_EQ(value("roles", "lowest_oxygen_rest_percent"), "80");
    EXPECT_EQ(value("settle", "fast_lag_multiple"), "3");
    EXPECT_EQ(value("settle", "rest_lag_multiple"), "5");
    EXPECT_EQ(value("settle", "rest_least_s"), "60");
    EXPECT_EQ(value("adjust", "mass_exponent"), "0.89");
    EXPECT_EQ(value("adjust", "check_exponent"), "0.8");
    EXPECT_EQ(value("recovery", "consecutive"), "2");
    EXPECT_EQ(value("recovery", "shares_above_resting"), "[0.1, 0.2]");
}

TEST(Settings, every_key_of_a_question_teaches_and_is_its_own) {
    const Question defaults;
    std::set<std::string> keys;
    for (const auto& setting : question_settings()) {
        EXPECT_TRUE(keys.insert(setting.key).second) << setting.key;
        EXPECT_THAT(setting.why, testing::SizeIs(testing::Ge(40U))) << setting.key;
        Question question;
        SettingValue value = std::string("x");
        if (setting.kind == SettingKind::word) {
            value = setting.words.back();
        } else if (setting.kind == SettingKind::texts) {
            value = std::vector<std::string>{"x"};
        } else if (setting.kind == SettingKind::number) {
            value = 0.8;
        } else if (setting.kind == SettingKind::yes_no) {
            value = true;
        }
        setting.set(question, value);
        for (const auto& other : question_settings()) {
            EXPECT_EQ(other.get(question), other.key == setting.key ? value : other.get(defaults))
                << setting.key << " changes " << other.key;
        }
        // What decides the answer is in what is declared; its words, and another season's plans, are not.
        const bool decides = setting.key != "ask" && setting.key != "effect_wanted";
        EXPECT_EQ(question.declared_form() != defaults.declared_form(), decides) << setting.key;
    }
    EXPECT_THAT(keys,
                testing::UnorderedElementsAre("name", "ask", "outcome", "compare", "reference", "adjust_for",
                                              "within", "random", "family", "order", "family_of_tests",
                                              "margin", "better", "effect_wanted", "weigh_by_uncertainty"));
}

TEST(Settings, what_a_question_says_is_listed_as_used_and_what_it_leaves_is_not) {
    Brief brief;
    brief.questions.push_back({.name = "rig_peak", .outcome = "peak", .compare = "rig", .random = {"day"}});
    std::vector<std::string> said;
    for (const auto& line : settings_used(brief)) {
        if (!line.is_default) {
            said.push_back(line.section + ": " + line.key + " = " + line.value + " (" + line.default_value +
                           ")");
        }
    }
    EXPECT_THAT(said, testing::ElementsAre("question rig_peak: outcome = \"peak\" (\"\")",
                                           "question rig_peak: compare = \"rig\" (\"\")",
                                           "question rig_peak: random = [\"day\"] ([])"));
}

TEST(Questions, a_name_is_one_that_a_table_gives_back) {
    for (const char* fine : {"rig_peak", "2", "Rig: does it matter?", "\u00E9tude"}) {
        EXPECT_TRUE(is_plain_name(fine)) << fine;
    }
    for (const char* bad :
         {"", " rig", "rig ", "#rig", "-", "a\nb", "a\tb", "\"rig\"", "\u00A0rig", "rig\u00A0"}) {
        EXPECT_FALSE(is_plain_name(bad)) << '[' << bad << ']';
    }
}

TEST(ObservedColumns, have_each_a_name_of_their_own_a_title_and_a_sentence) {
    std::set<std::string> names;
    for (const auto& column : observed_columns()) {
        EXPECT_TRUE(names.insert(column.name).second) << column.name;
        EXPECT_FALSE(column.title.empty()) << column.name;
        EXPECT_TRUE(column.what.ends_with('.')) << column.name;
        // A run makes them itself and knows when; only the rig comes from the tables, with its [columns]
        // stage.
        EXPECT_EQ(column.stage == Stage::unknown, column.name == "rig") << column.name;
        EXPECT_EQ(find_observed(column.name), &column);
    }
    EXPECT_EQ(find_observed("weather"), nullptr);
}

} // namespace
} // namespace backeddy::study
