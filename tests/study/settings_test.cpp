#include <set>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

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
            value = std::vector<std::string>{"x"};
        } else if (setting.kind == SettingKind::number) {
            value = *setting.least;
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

} // namespace
} // namespace backeddy::study
