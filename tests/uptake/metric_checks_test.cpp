// Rows of the outside table of check values that concern peak, rest, scope, recovery and adjustment. Each row
// names its own source; this file only says which function answers it.

#include <cmath>
#include <functional>
#include <limits>
#include <map>
#include <numeric>
#include <sstream>

#include <gtest/gtest.h>

#include "fit/quantile.hpp"
#include "fit/selection.hpp"
#include "support/check_rows.hpp"
#include "support/reference.hpp"
#include "uptake/adjust.hpp"
#include "uptake/peak.hpp"
#include "uptake/recovery.hpp"
#include "uptake/resting.hpp"
#include "uptake/scope.hpp"

namespace backeddy::uptake {
namespace {

using Inputs = std::map<std::string, std::vector<double>>;

// "a=1; b=2 3" to numbers by name; what is no number is left out.
Inputs inputs_of(const std::string& text) {
    Inputs out;
    std::istringstream parts(text);
    for (std::string part; std::getline(parts, part, ';');) {
        const auto equals = part.find('=');
        if (equals == std::string::npos) {
            continue;
        }
        const auto begin = part.find_first_not_of(' ');
        std::istringstream numbers(part.substr(equals + 1));
        auto& values = out[part.substr(begin, equals - begin)];
        for (double v = 0.0; numbers >> v;) {
            values.push_back(v);
        }
    }
    return out;
}

std::vector<double> integers() {
    std::vector<double> out(105);
    std::iota(out.begin(), out.end(), 1.0);
    return out;
}

UptakeRate plain(double v) {
    return {.mg_per_h = Measured(v), .mg_per_kg_h = Measured(v)};
}

ScopeAnswer scope_over(double peak, double rest) {
    return scope({.peak = plain(peak), .resting = plain(rest)}).value();
}

using Answer = std::function<double(const Inputs&)>;

double one(const Inputs& in, const std::string& name, std::size_t i = 0) {
    return in.at(name).at(i);
}

// ln R = intercept - slope (1000/T): the ratio is an Arrhenius factor with that slope's activation energy.
double ratio_of_line(const Inputs& in) {
    return arrhenius_factor(activation_energy_ev(one(in, "slope_per_1000_k")),
                            Temperature::celsius(one(in, "temperatures_c", 0)),
                            Temperature::celsius(one(in, "temperatures_c", 1)));
}

const std::map<std::string, Answer>& answers() {
    const double endless = std::numeric_limits<double>::infinity();
    static const std::map<std::string, Answer> table{
        {"expected_maximum_of_ten_normals",
         [](const Inputs& in) {
             return fit::expected_largest_normal(static_cast<std::size_t>(one(in, "windows")));
         }},
        {"window_average_of_decay_five_min",
         [](const Inputs& in) {
             return averaging_share(std::log(2.0) / one(in, "half_time_min"), one(in, "window_min"),
                                    one(in, "delay_min"));
         }},
        {"window_regression_of_decay_five_min",
         [](const Inputs& in) {
             return regression_share(std::log(2.0) / one(in, "half_time_min"), one(in, "window_min"),
                                     one(in, "delay_min"));
         }},
        {"smr_mean_of_lowest_ten",
         [](const Inputs&) { return estimate_plain(RestingMethod::mean_of_ten_lowest, integers()).value(); }},
        {"smr_lowest_tenth_after_five_outliers",
         [](const Inputs&) { return estimate_plain(RestingMethod::lowest_tenth, integers()).value(); }},
        {"smr_quantile_twenty_percent",
         [](const Inputs&) { return estimate_plain(RestingMethod::quantile_20, integers()).value(); }},
        {"smr_quantile_definition_six",
         [](const Inputs& in) {
             return fit::quantile(integers(), one(in, "p"), fit::QuantileType::weibull).value();
         }},
        {"lowest_normal_component_mean", [](const Inputs& in) { return one(in, "mean"); }}, // see below
        {"scope_haddock",
         [](const Inputs& in) {
             return scope_over(one(in, "mmr_mg_per_kg_h"), one(in, "rmr_mg_per_kg_h"))
                 .as_measured.absolute.mg_per_kg_h->value();
         }},
        {"factorial_scope_haddock",
         [](const Inputs& in) {
             return scope_over(one(in, "mmr_mg_per_kg_h"), one(in, "smr_mg_per_kg_h"))
                 .as_measured.factorial.value();
         }},
        {"mass_adjusted_smr_haddock",
         [](const Inputs& in) {
             return one(in, "smr_mg_per_kg_h") * mass_factor_specific(Measured(one(in, "mass_g") / 1000.0),
                                                                      Mass::grams(one(in, "to_g")),
                                                                      Measured(one(in, "exponent")))
                                                     ->value();
         }},
        {"mass_exponent_effect",
         [](const Inputs& in) {
             return mass_factor_specific(Measured(one(in, "masses_kg", 1)),
                                         Mass::kilograms(one(in, "masses_kg", 0)),
                                         Measured(one(in, "exponent")))
                 ->value();
         }},
        {"epoc_one_phase_to_infinity",
         [endless](const Inputs& in) {
             return excess_one_phase(one(in, "amplitude_mg_per_kg_h"), one(in, "rate_per_h"), endless);
         }},
        {"epoc_one_phase_first_hour",
         [](const Inputs& in) {
             return excess_one_phase(one(in, "amplitude_mg_per_kg_h"), one(in, "rate_per_h"),
                                     one(in, "until_h"));
         }},
        {"recovery_time_to_ten_percent_above",
         [](const Inputs& in) {
             return time_to_level(one(in, "amplitude_mg_per_kg_h"), one(in, "rate_per_h"),
                                  one(in, "threshold_fraction_of_smr") * one(in, "smr_mg_per_kg_h"));
         }},
        {"epoc_two_phase",
         [endless](const Inputs& in) {
             return excess_two_phase(one(in, "amplitudes_mg_per_kg_h", 0), one(in, "rates_per_h", 0),
                                     one(in, "amplitudes_mg_per_kg_h", 1), one(in, "rates_per_h", 1),
                                     endless);
         }},
        {"epoc_fast_share",
         [endless](const Inputs& in) {
             const double fast =
                 excess_one_phase(one(in, "amplitudes_mg_per_kg_h", 0), one(in, "rates_per_h", 0), endless);
             return fast / (fast + excess_one_phase(one(in, "amplitudes_mg_per_kg_h", 1),
                                                    one(in, "rates_per_h", 1), endless));
         }},
        {"recovery_half_time_sockeye", [](const Inputs& in) { return half_time(one(in, "rate_per_min")); }},
        {"arrhenius_thirty_over_zero", ratio_of_line},
        {"q10_over_zero_to_thirty",
         [](const Inputs& in) {
             return q10_of(1.0, Temperature::celsius(0.0), one(in, "rate_ratio"),
                           Temperature::celsius(one(in, "span_c")))
                 .value();
         }},
        {"activation_energy_of_model",
         [](const Inputs& in) { return activation_energy_ev(one(in, "slope_k") / 1000.0); }},
        {"q10_two_rates",
         [](const Inputs& in) {
             return q10_of(one(in, "rate_low"), Temperature::celsius(one(in, "temperatures_c", 0)),
                           one(in, "rate_high"), Temperature::celsius(one(in, "temperatures_c", 1)))
                 .value();
         }},
    };
    return table;
}

TEST(MetricChecks, agree_with_every_row_of_the_outside_table_that_concerns_them) {
    const auto path = test::reference_path("respirometry_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    std::size_t compared = 0;
    std::vector<double> geyser;
    for (const auto& row : test::check_rows(*path)) {
        const auto& id = row.at("id");
        auto in = inputs_of(row.at("inputs"));
        if (id == "lowest_normal_component_count") {
            geyser = in.at("values");
        }
        const auto answer = answers().find(id);
        if (answer == answers().end()) {
            continue;
        }
        if (id == "lowest_normal_component_mean") {
            // The row refers to the values of the row before it.
            in["mean"] = {estimate_plain(RestingMethod::lowest_normal, geyser).value()};
        }
        const double want = std::stod(row.at("expected"));
        std::istringstream tolerance(row.at("tolerance"));
        std::string kind;
        double size = 0.0;
        tolerance >> kind >> size;
        const double allowed = kind == "rel" ? size * std::abs(want) : size;
        const double got = answer->second(in);
        EXPECT_NEAR(got, want, allowed) << id << ": " << row.at("what") << "\nsource: " << row.at("source");
        ++compared;
    }
    EXPECT_EQ(compared, answers().size()) << "a row this test knows is not in the table any more";
}

// R 4.2.2: type 7 quantiles, and the lower means of mixtures of simulated samples (mclust, best of many
// starts).
TEST(MetricChecks, resting_quantiles_and_lowest_normals_agree_with_r) {
    const auto cases = support::reference_cases("stats/03_quantiles_mixtures.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& rivers = support::case_of(*cases, "quantile_rivers");
    const auto table = support::data_of(rivers);
    const auto values = table.numbers(table.names.front());
    const auto probs = support::numbers_of(rivers.at("expected").at("probs"));
    const auto wanted = support::numbers_of(rivers.at("expected").at("type7"));
    const std::map<double, RestingMethod> methods{{0.1, RestingMethod::quantile_10},
                                                  {0.15, RestingMethod::quantile_15},
                                                  {0.2, RestingMethod::quantile_20},
                                                  {0.25, RestingMethod::quantile_25}};
    std::size_t compared = 0;
    for (std::size_t i = 0; i < probs.size(); ++i) {
        if (const auto method = methods.find(probs[i]); method != methods.end()) {
            EXPECT_NEAR(estimate_plain(method->second, values).value(), wanted[i], 1e-9);
            ++compared;
        }
    }
    EXPECT_EQ(compared, methods.size());

    const auto& sim = support::case_of(*cases, "mixture_sim2");
    const auto sample = support::data_of(sim);
    // The best of all fits by BIC, equal and unequal spreads; its lowest component with a tenth of the
    // values.
    double best = std::numeric_limits<double>::infinity();
    double lowest = 0.0;
    for (const char* spreads : {"unequal_variance", "equal_variance"}) {
        for (const auto& fit : sim.at("expected").at(spreads).at("fits")) {
            if (fit.contains("bic") && fit.at("bic").is_number() && fit.at("bic").get<double>() < best) {
                best = fit.at("bic").get<double>();
                const auto means = support::numbers_of(fit.at("means"));
                const auto weights = support::numbers_of(fit.at("weights"));
                lowest = std::numeric_limits<double>::infinity();
                for (std::size_t k = 0; k < means.size(); ++k) {
                    lowest = weights[k] >= 0.1 ? std::min(lowest, means[k]) : lowest;
                }
            }
        }
    }
    EXPECT_NEAR(estimate_plain(RestingMethod::lowest_normal, sample.numbers(sample.names.front())).value(),
                lowest, 1e-4 * lowest);
}

} // namespace
} // namespace backeddy::uptake
