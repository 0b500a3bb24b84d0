#pragma once
// The mixed models of reference/stats 06, as our own terms.

#include <string>
#include <vector>

#include "stats/mixed.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {

struct MixedCaseInput {
    std::string id;
    MixedTerms terms;
    std::vector<std::string> factors;
    std::vector<std::string> numbers;
};

// NOLINTNEXTLINE(readability-identifier-naming): the name by which GoogleTest finds it
inline void PrintTo(const MixedCaseInput& input, std::ostream* out) {
    *out << input.id;
}

/// Groups stand in the order of the reference's theta: by falling number of levels.
inline std::vector<MixedCaseInput> mixed_cases() {
    const auto by_subject = [](RandomKind kind, const std::string& slope) {
        return RandomTerm{.group = "Subject", .kind = kind, .slope = slope};
    };
    const Terms days{.terms = {{{"Days"}}}};
    const Terms growth{.terms = crossed({"age", "Sex"})};
    const auto plain = [](const std::string& group) { return RandomTerm{.group = group}; };
    return {
        {"sleepstudy_intercept",
         {"Reaction", days, {plain("Subject")}, "", ""},
         {"Subject"},
         {"Reaction", "Days"}},
        {"sleepstudy_slope",
         {"Reaction", days, {by_subject(RandomKind::intercept_and_slope, "Days")}, "", ""},
         {"Subject"},
         {"Reaction", "Days"}},
        {"sleepstudy_uncorrelated",
         {"Reaction", days, {plain("Subject"), by_subject(RandomKind::slope, "Days")}, "", ""},
         {"Subject"},
         {"Reaction", "Days"}},
        {"orthodont_intercept",
         {"distance", growth, {plain("Subject")}, "", ""},
         {"Subject", "Sex"},
         {"distance", "age"}},
        {"orthodont_slope",
         {"distance", growth, {by_subject(RandomKind::intercept_and_slope, "age")}, "", ""},
         {"Subject", "Sex"},
         {"distance", "age"}},
        {"penicillin_crossed",
         {"diameter", {}, {plain("plate"), plain("sample")}, "", ""},
         {"plate", "sample"},
         {"diameter"}},
        {"dyestuff", {"Yield", {}, {plain("Batch")}, "", ""}, {"Batch"}, {"Yield"}},
        {"dyestuff2_singular", {"Yield", {}, {plain("Batch")}, "", ""}, {"Batch"}, {"Yield"}},
        {"ergostool",
         {"effort", {.terms = {{{"Type"}}}}, {plain("Subject")}, "", ""},
         {"Type", "Subject"},
         {"effort"}},
        {"fish_in_tanks",
         {"mo2", {.terms = crossed({"treatment", "temp"})}, {plain("fish"), plain("tank")}, "", ""},
         {"treatment", "temp", "fish", "tank"},
         {"mo2"}},
        {"fish_linear_temp",
         {"mo2", {.terms = {{{"treatment"}}, {{"temp"}}}}, {plain("fish")}, "", ""},
         {"treatment", "fish"},
         {"mo2", "temp"}},
    };
}

inline Table table_of(const support::Json& one, const MixedCaseInput& input) {
    const auto data = support::data_of(one);
    std::vector<std::string> labels;
    for (std::size_t i = 0; i < data.rows(); ++i) {
        labels.push_back("row " + std::to_string(i + 1));
    }
    Table table(labels);
    for (const auto& name : input.factors) {
        EXPECT_TRUE(table.add_factor(name, data.text(name)));
    }
    for (const auto& name : input.numbers) {
        EXPECT_TRUE(table.add_numbers(name, data.numbers(name)));
    }
    return table;
}

/// R's names of the coefficients in R's order, which is that of our columns.
inline std::vector<std::string> coefficient_names(const support::Json& one) {
    // The parser sorts an object's keys; Wald limits and profile list parameters in order only where
    // profiled.
    const auto text = one.at("model").get<std::string>();
    if (text.find("~ 1 +") != std::string::npos) {
        return {"(Intercept)"};
    }
    if (text.find("~ Days") != std::string::npos) {
        return {"(Intercept)", "Days"};
    }
    if (text.find("age * Sex") != std::string::npos) {
        return {"(Intercept)", "age", "SexMale", "age:SexMale"};
    }
    if (text.find("~ Type") != std::string::npos) {
        return {"(Intercept)", "TypeT2", "TypeT3", "TypeT4"};
    }
    if (text.find("treatment + temp") != std::string::npos) {
        return {"(Intercept)", "treatmentexposed", "temp"};
    }
    return {"(Intercept)",
            "treatmentexposed",
            "factor(temp)14",
            "factor(temp)18",
            "treatmentexposed:factor(temp)14",
            "treatmentexposed:factor(temp)18"};
}

} // namespace backeddy::stats
