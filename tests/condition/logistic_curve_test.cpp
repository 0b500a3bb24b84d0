// Sources: R 4.2.2's nls on R's DNase data and on a simulated falling curve (the reference data, with their
// tolerances), and R calls named beside the other numbers.

#include "condition/logistic_curve.hpp"

#include <cmath>
#include <iostream>
#include <limits>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "support/reference.hpp"

namespace backeddy::condition {
namespace {

using support::Json;

/// R's SSfpl: A, B, xmid, scal, from ours: scal is exp(-ln slope).
struct Fpl {
    std::vector<double> values;
    std::vector<double> covariance; ///< 4 x 4
};

Fpl as_fpl(const LogisticFit& fit) {
    const double scale = 1.0 / fit.curve.slope;
    const std::vector<double> by{1.0, 1.0, 1.0, -scale};
    Fpl fpl{.values = {fit.curve.at_zero, fit.curve.at_infinity, std::log(fit.curve.half), scale}};
    for (std::size_t i = 0; i < 4; ++i) {
        for (std::size_t j = 0; j < 4; ++j) {
            fpl.covariance.push_back(by[i] * by[j] * fit.covariance[(i * logistic_parameters) + j]);
        }
    }
    return fpl;
}

struct Data {
    std::vector<double> concentration;
    std::vector<double> response;
};

Data data_of(const Json& one) {
    const auto table = support::data_of(one);
    return {.concentration = table.numbers("conc"), .response = table.numbers(table.names[1])};
}

void expect_agrees_with_r(const Json& one, const LogisticFit& fit) {
    const Fpl fpl = as_fpl(fit);
    const std::vector<std::string> names{"A", "B", "xmid", "scal"};
    for (std::size_t i = 0; i < 4; ++i) {
        const double se = std::sqrt(fpl.covariance[(i * 4) + i]);
        support::expect_agrees(one, "/estimate/" + names[i], fpl.values[i], se);
        support::expect_agrees(one, "/se/" + names[i], se);
        for (std::size_t j = 0; j < 4; ++j) {
            support::expect_agrees(one, "/vcov/" + std::to_string(i) + "/" + std::to_string(j),
                                   fpl.covariance[(i * 4) + j],
                                   std::sqrt(fpl.covariance[(i * 4) + i] * fpl.covariance[(j * 4) + j]));
        }
    }
    support::expect_agrees(one, "/rss", fit.residual_squares);
    support::expect_agrees(one, "/sigma", fit.residual_sd);
    support::expect_agrees(one, "/loglik", fit.log_likelihood, 1.0);
    EXPECT_EQ(fit.freedom, one["expected"]["df_residual"].get<std::size_t>());
    const double aic = one["expected"]["aic"].get<double>();
    // AICc from R's AIC: 5 parameters with the variance, 16 responses.
    EXPECT_NEAR(fit.aicc.value(), aic + (2.0 * 5.0 * 6.0 / 10.0), 1e-5);
}

TEST(LogisticCurve, four_parameters_agree_with_r_rising_falling_and_weighted) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto* id : {"fpl_dnase1", "fpl_elisa"}) {
        const auto& one = support::case_of(*cases, id);
        const auto data = data_of(one);
        const auto fit = fit_logistic(data.concentration, data.response);
        ASSERT_TRUE(fit) << fit.error().text();
        expect_agrees_with_r(one, *fit);
        EXPECT_EQ(fit->curve.rises(), std::string(id) == "fpl_dnase1");
        for (const char at : {'0', '1', '2'}) { // the curve and its error at other concentrations
            const std::string k(1, at);
            const double x = one["expected"]["predict"]["at"]["conc"][static_cast<std::size_t>(at - '0')];
            support::expect_agrees(one, "/predict/fit/" + k, fit->curve.response(x));
            support::expect_agrees(one, "/predict/se_fit/" + k, std::sqrt(fit->variance(fit->gradient(x))));
        }
    }
    const auto& weighted = support::case_of(*cases, "fpl_elisa_weighted");
    const auto data = data_of(weighted);
    std::vector<double> weights;
    for (const double y : data.response) {
        weights.push_back(1.0 / (y * y));
    }
    const auto fit = fit_logistic(data.concentration, data.response, {.weights = weights});
    ASSERT_TRUE(fit) << fit.error().text();
    expect_agrees_with_r(weighted, *fit);
}

TEST(LogisticCurve, concentrations_read_back_agree_with_r) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto* id : {"inverse_dnase1", "inverse_elisa"}) {
        const auto& one = support::case_of(*cases, id);
        const auto data = data_of(one);
        const auto fit = fit_logistic(data.concentration, data.response);
        ASSERT_TRUE(fit) << fit.error().text();
        const auto& rows = one["expected"]["rows"];
        for (std::size_t k = 0; k < rows.size(); ++k) {
            const std::string row = "/rows/" + std::to_string(k) + "/";
            const auto read = back_calculate(*fit, rows[k]["y0"].get<double>(), 2);
            ASSERT_EQ(read.reach, Reach::on_curve);
            support::expect_agrees(one, row + "conc", read.concentration);
            support::expect_agrees(one, row + "se_curve_only",
                                   read.concentration * std::sqrt(fit->variance(read.by_parameters)));
            support::expect_agrees(one, row + "se_with_response", read.concentration * read.log_se);
        }
    }
}

TEST(LogisticCurve, the_interval_is_where_the_curve_agrees_with_the_response) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto data = data_of(support::case_of(*cases, "fpl_elisa"));
    const auto fit = fit_logistic(data.concentration, data.response);
    ASSERT_TRUE(fit) << fit.error().text();
    // R 4.2.2: uniroot() of |y - f(x)| - qt(.975, 12) sqrt(g' vcov(nls) g + sigma^2/2), g by differences.
    struct Row {
        double response, lower, upper;
    };
    for (const Row& row :
         {Row{0.3, 5.85246047951756, 7.50126637476465}, Row{0.8, 1.77369651530798, 1.95601699118215},
          Row{1.5, 0.626753642199754, 0.680176889691962}, Row{2.1, 0.187280972598323, 0.219483080585972}}) {
        const auto read = back_calculate(*fit, row.response, 2);
        EXPECT_NEAR(read.lower, row.lower, 1e-6 * row.lower);
        EXPECT_NEAR(read.upper, row.upper, 1e-6 * row.upper);
    }
}

const std::vector<double> falling_x{0.05, 0.05, 0.1, 0.1, 0.25, 0.25, 0.5, 0.5, 1, 1, 2.5, 2.5, 5, 5, 10, 10};
const std::vector<double> falling_y{2.3657, 2.3492, 2.2714, 2.2739, 2.0046, 2.0624, 1.6659, 1.6637,
                                    1.2107, 1.1980, 0.6327, 0.6586, 0.3674, 0.3650, 0.2240, 0.2223};

TEST(LogisticCurve, weights_and_curve_agree_with_each_other) {
    // R 4.2.2: Gauss-Newton by qr() from nls()'s estimate with weights 1 / fitted^power, anew until they
    // stand still (simulated data, CC0).
    struct Row {
        double power;
        std::vector<double> values; // A, B, xmid, scal
        std::vector<double> se;
        double sigma;
    };
    const std::vector<Row> rows{
        {1.0,
         {2.4297190074408683, 0.0926008292274589, -0.0778382050439037, 0.8402863673035582},
         {0.0144958133922571, 0.0099797206751208, 0.0153030549573923, 0.0159256497282361},
         0.0122415713408767},
        {2.0,
         {2.4270124683722338, 0.0941247974139976, -0.0759517552846615, 0.8369881432809758},
         {0.01917889609918980, 0.00673601106522765, 0.01841427418161710, 0.01485731764515374},
         0.0119746173391725}};
    for (const auto& row : rows) {
        const auto fit =
            fit_logistic(falling_x, falling_y, {.variance = ResponseVariance::of_power(row.power)});
        ASSERT_TRUE(fit) << fit.error().text();
        const Fpl fpl = as_fpl(*fit);
        for (std::size_t i = 0; i < 4; ++i) {
            EXPECT_NEAR(fpl.values[i], row.values[i], 1e-6 * row.se[i]);
            EXPECT_NEAR(std::sqrt(fpl.covariance[(i * 4) + i]), row.se[i], 1e-6 * row.se[i]);
        }
        EXPECT_NEAR(fit->residual_sd, row.sigma, 1e-6 * row.sigma);
        EXPECT_NEAR(fit->response_sd(1.7), row.sigma * std::pow(1.7, row.power / 2.0), 1e-6);
    }
}

const std::vector<double> skewed_x{50,   50,   20,    20,    8,      8,      3.2,     3.2,
                                   1.28, 1.28, 0.512, 0.512, 0.2048, 0.2048, 0.08192, 0.08192};
const std::vector<double> skewed_y{1.945, 1.967, 1.609, 1.622, 1.154, 1.131, 0.618, 0.616,
                                   0.276, 0.28,  0.139, 0.119, 0.063, 0.073, 0.047, 0.056};

TEST(LogisticCurve, five_parameters_agree_with_r_in_the_form_without_a_half_way_concentration) {
    // R 4.2.2: nls(y ~ D + (A - D) / (1 + exp(B (log(x) - lc)))^G) and vcov() of it. Those invented data have
    // a curve of asymmetry 0.5 with noise of 0.01.
    const auto fit = fit_logistic(skewed_x, skewed_y, {.kind = LogisticKind::five});
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_NEAR(fit->curve.at_zero, 0.0454625440763827, 1e-6);
    EXPECT_NEAR(fit->curve.at_infinity, 2.4211211228962828, 1e-5);
    EXPECT_NEAR(fit->curve.slope, 1.2986873553532434, 1e-5);
    EXPECT_NEAR(fit->curve.asymmetry, 0.4863384704882064, 1e-5);
    EXPECT_NEAR(fit->curve.half, 9.46777960461623, 1e-4); // exp(lc) (2^(1/G) - 1)^(1/B)
    EXPECT_NEAR(std::sqrt(fit->covariance[0]), std::sqrt(4.59673829507822e-05), 1e-6);
    EXPECT_NEAR(std::sqrt(fit->covariance[24]), std::sqrt(0.011664134087751209) / fit->curve.asymmetry, 1e-5);
    EXPECT_NEAR(fit->residual_sd, 0.0101919021745606, 1e-9);
    EXPECT_EQ(fit->freedom, 11U);
    EXPECT_NEAR(fit->aicc.value(), -86.012905705765, 1e-6);
    EXPECT_NEAR(fit_logistic(skewed_x, skewed_y)->aicc.value(), -81.0853459023479, 1e-6);
    struct Row {
        double x, response, se;
    };
    for (const Row& row :
         {Row{0.5, 0.121631310838134, 0.00427145169228078}, Row{2, 0.417528922966763, 0.00538302837430523},
          Row{10, 1.26430747704724, 0.00564214973179651}}) {
        EXPECT_NEAR(fit->curve.response(row.x), row.response, 1e-7);
        EXPECT_NEAR(std::sqrt(fit->variance(fit->gradient(row.x))), row.se, 1e-6);
        EXPECT_NEAR(fit->curve.concentration(fit->curve.response(row.x)).value(), row.x, 1e-10 * row.x);
    }
}

TEST(LogisticCurve, half_way_is_half_way_whatever_the_asymmetry) {
    for (const double asymmetry : {0.1, 1.0, 7.0}) {
        const LogisticCurve curve{
            .at_zero = 2.0, .at_infinity = 0.2, .half = 3.0, .slope = 1.4, .asymmetry = asymmetry};
        EXPECT_NEAR(curve.response(3.0), 1.1, 1e-12);
        EXPECT_EQ(curve.response(0.0), 2.0);
        EXPECT_NEAR(curve.concentration(curve.response(0.7)).value(), 0.7, 1e-12);
        EXPECT_FALSE(curve.concentration(2.0));
        EXPECT_FALSE(curve.concentration(0.2));
        EXPECT_FALSE(curve.concentration(2.1));
    }
}

TEST(LogisticCurve, units_order_and_direction_change_nothing_but_themselves) {
    const auto fit = fit_logistic(falling_x, falling_y);
    ASSERT_TRUE(fit);
    const auto read = back_calculate(*fit, 1.3, 2);
    std::vector<double> x(falling_x.rbegin(), falling_x.rend());
    std::vector<double> y;
    for (auto value = falling_y.rbegin(); value != falling_y.rend(); ++value) {
        y.push_back(5.0 - *value); // rises now
    }
    for (auto& value : x) {
        value *= 362.46;
    }
    const auto other = fit_logistic(x, y);
    ASSERT_TRUE(other) << other.error().text();
    EXPECT_TRUE(other->curve.rises());
    const auto again = back_calculate(*other, 5.0 - 1.3, 2);
    EXPECT_NEAR(again.concentration / 362.46, read.concentration, 1e-7);
    EXPECT_NEAR(again.lower / 362.46, read.lower, 1e-7);
    EXPECT_NEAR(again.upper / 362.46, read.upper, 1e-7);
    EXPECT_NEAR(again.log_se, read.log_se, 1e-7);
    EXPECT_NEAR(other->residual_sd, fit->residual_sd, 1e-9);
}

TEST(LogisticCurve, weights_by_a_power_do_not_depend_on_the_unit_of_the_response) {
    const auto fit = fit_logistic(falling_x, falling_y, {.variance = ResponseVariance::of_power(1.5)});
    auto y = falling_y;
    for (auto& value : y) {
        value *= 1000.0;
    }
    const auto other = fit_logistic(falling_x, y, {.variance = ResponseVariance::of_power(1.5)});
    ASSERT_TRUE(fit && other);
    EXPECT_NEAR(other->curve.half, fit->curve.half, 1e-8);
    EXPECT_NEAR(back_calculate(*other, 800.0, 2).log_se, back_calculate(*fit, 0.8, 2).log_se, 1e-8);
}

TEST(LogisticCurve, beyond_the_standards_there_is_no_number) {
    const auto fit = fit_logistic(falling_x, falling_y);
    ASSERT_TRUE(fit);
    for (const double response : {2.40, 2.43, 9.0}) { // under 0.05, beyond the asymptote, far beyond
        const auto read = back_calculate(*fit, response, 2);
        EXPECT_EQ(read.reach, Reach::below) << response;
        EXPECT_TRUE(std::isnan(read.concentration) && std::isnan(read.lower) && std::isnan(read.log_se));
    }
    for (const double response : {0.20, 0.09, 0.0}) {
        EXPECT_EQ(back_calculate(*fit, response, 2).reach, Reach::above) << response;
    }
    EXPECT_EQ(back_calculate(*fit, 1.0, 2).reach, Reach::on_curve);
    // A curve that rises: the other way round.
    const auto rising = fit_logistic(skewed_x, skewed_y);
    ASSERT_TRUE(rising);
    EXPECT_EQ(back_calculate(*rising, 0.001, 2).reach, Reach::below);
    EXPECT_EQ(back_calculate(*rising, 5.0, 2).reach, Reach::above);
}

TEST(LogisticCurve, an_interval_that_the_flat_end_does_not_close_is_open) {
    auto y = falling_y; // a scatter that swallows the last steps
    for (std::size_t i = 0; i < y.size(); ++i) {
        y[i] += i % 2 == 0 ? 0.08 : -0.08;
    }
    const auto fit = fit_logistic(falling_x, y);
    ASSERT_TRUE(fit) << fit.error().text();
    const auto read = back_calculate(*fit, fit->curve.response(9.0), 1);
    ASSERT_EQ(read.reach, Reach::on_curve);
    EXPECT_TRUE(std::isinf(read.upper));
    EXPECT_GT(read.lower, 1.0);
}

TEST(LogisticCurve, zero_standards_pin_the_response_without_analyte) {
    auto x = falling_x;
    auto y = falling_y;
    x.insert(x.end(), {0.0, 0.0});
    y.insert(y.end(), {2.42, 2.44});
    const auto fit = fit_logistic(x, y);
    const auto without = fit_logistic(falling_x, falling_y);
    ASSERT_TRUE(fit && without);
    EXPECT_EQ(fit->lowest, 0.05);
    EXPECT_LT(fit->covariance[0], without->covariance[0]);
}

// NIST's logistic growth curves are ours with one asymptote held at 0, which a plate's fit never holds:
// Rat42, b1 / (1 + exp(b2 - b3 t)), at x = e^t with A = 0, D = b1, M = e^(b2 / b3), B = b3; Rat43, the same
// to the power 1 / b4, at x = e^-t with A = b1, D = 0, B = b3, G = 1 / b4 and M^B = k e^-b2. At the certified
// parameters our response must leave the certified squares, and our derivatives neither a slope of them nor
// another error.
using Matrix = std::vector<std::vector<double>>;

/// By Gauss and Jordan, on J'J brought to a diagonal of ones.
Matrix inverse(Matrix a) {
    const std::size_t n = a.size();
    std::vector<double> size(n);
    for (std::size_t i = 0; i < n; ++i) {
        size[i] = 1.0 / std::sqrt(a[i][i]);
    }
    Matrix out(n, std::vector<double>(n, 0.0));
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j) {
            a[i][j] *= size[i] * size[j];
        }
        out[i][i] = 1.0;
    }
    for (std::size_t k = 0; k < n; ++k) {
        const double pivot = a[k][k];
        for (std::size_t j = 0; j < n; ++j) {
            a[k][j] /= pivot;
            out[k][j] /= pivot;
        }
        for (std::size_t i = 0; i < n; ++i) {
            const double factor = a[i][k];
            for (std::size_t j = 0; i != k && j < n; ++j) {
                a[i][j] -= factor * a[k][j];
                out[i][j] -= factor * out[k][j];
            }
        }
    }
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j) {
            out[i][j] *= size[i] * size[j];
        }
    }
    return out;
}

void expect_certified(const std::string& name, const LogisticCurve& curve, double sign,
                      const std::vector<std::size_t>& free) {
    const auto set = support::nist_sets().at(name);
    const auto table = support::read_table(support::nist_folder() / ("nist_" + name + ".csv"));
    const auto t = table.numbers("x");
    const auto y = table.numbers("y");
    const LogisticFit fit{.curve = curve};
    const std::size_t n = free.size();
    Matrix squares(n, std::vector<double>(n, 0.0));
    std::vector<double> slope(n, 0.0);
    double rss = 0.0;
    for (std::size_t i = 0; i < t.size(); ++i) {
        const double x = std::exp(sign * t[i]);
        const double residual = y[i] - curve.response(x);
        const auto gradient = fit.gradient(x);
        rss += residual * residual;
        for (std::size_t j = 0; j < n; ++j) {
            slope[j] += gradient[free[j]] * residual;
            for (std::size_t k = 0; k < n; ++k) {
                squares[j][k] += gradient[free[j]] * gradient[free[k]];
            }
        }
    }
    const double certified = set["rss"].get<double>();
    EXPECT_NEAR(rss / certified, 1.0, 1e-9) << name;
    for (std::size_t j = 0; j < n; ++j) {
        EXPECT_LT(std::abs(slope[j]), 1e-5 * std::sqrt(squares[j][j] * certified)) << name << " " << j;
    }
    const double variance = certified / set["df"].get<double>();
    const auto covariance = inverse(squares);
    const double asymptote = set["se"]["b1"].get<double>();
    EXPECT_NEAR(std::sqrt(variance * covariance[0][0]) / asymptote, 1.0, 1e-6) << name; // first of `free`
    const double slope_error = set["se"]["b3"].get<double>() / set["coef"]["b3"].get<double>();
    EXPECT_NEAR(std::sqrt(variance * covariance[2][2]) / slope_error, 1.0, 1e-6) << name; // of its logarithm
}

TEST(LogisticCurve, nists_logistic_curves_stand_at_their_certified_least_squares) {
    const auto sets = support::nist_sets();
    const auto rat42 = [&](const char* b) { return sets.at("Rat42")["coef"][b].get<double>(); };
    expect_certified("Rat42",
                     {.at_zero = 0.0,
                      .at_infinity = rat42("b1"),
                      .half = std::exp(rat42("b2") / rat42("b3")),
                      .slope = rat42("b3")},
                     1.0, {1, 2, 3});
    const auto rat43 = [&](const char* b) { return sets.at("Rat43")["coef"][b].get<double>(); };
    const double k = std::pow(2.0, rat43("b4")) - 1.0;
    expect_certified("Rat43",
                     {.at_zero = rat43("b1"),
                      .at_infinity = 0.0,
                      .half = std::exp((std::log(k) - rat43("b2")) / rat43("b3")),
                      .slope = rat43("b3"),
                      .asymmetry = 1.0 / rat43("b4")},
                     -1.0, {0, 2, 3, 4});
}

TEST(LogisticCurve, what_cannot_be_fitted_is_refused_in_words) {
    const std::vector<double> x{1, 1, 2, 2, 4, 4};
    const std::vector<double> y{1.0, 1.1, 0.8, 0.7, 0.4, 0.5};
    EXPECT_EQ(fit_logistic(x, y).error().code, ErrorCode::too_few);
    EXPECT_NE(fit_logistic(x, y).error().text().find("6 responses at 3 different concentrations"),
              std::string::npos);
    const std::vector<double> five{1, 2, 4, 8};
    EXPECT_EQ(fit_logistic(five, std::vector<double>{4, 3, 2, 1}).error().code, ErrorCode::too_few);
    EXPECT_EQ(fit_logistic(falling_x, std::vector<double>(16, 1.0)).error().code, ErrorCode::degenerate);
    auto negative = falling_y;
    negative[3] = -0.01;
    EXPECT_EQ(fit_logistic(falling_x, negative, {.variance = ResponseVariance::of_power(2.0)}).error().code,
              ErrorCode::out_of_range);
    negative[3] = std::numeric_limits<double>::quiet_NaN();
    EXPECT_EQ(fit_logistic(falling_x, negative).error().code, ErrorCode::out_of_range);
    auto below = falling_x;
    below[0] = -1.0;
    EXPECT_EQ(fit_logistic(below, falling_y).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(fit_logistic(falling_x, falling_y, {.variance = ResponseVariance::of_power(5.0)}).error().code,
              ErrorCode::out_of_range);
    EXPECT_EQ(fit_logistic(falling_x, falling_y, {.weights = std::vector<double>(16, 0.0)}).error().code,
              ErrorCode::out_of_range);
    // A straight line in ln x has no bend to find asymptotes by.
    const std::vector<double> doubling{1, 2, 4, 8, 16, 32};
    EXPECT_FALSE(fit_logistic(doubling, std::vector<double>{0, 1, 2, 3, 4, 5}));
}

TEST(LogisticCurve, logs_of_one_curve_share_its_errors) {
    const auto fit = fit_logistic(falling_x, falling_y);
    ASSERT_TRUE(fit);
    const std::vector<BackCalculated> twice{back_calculate(*fit, 1.3, 2), back_calculate(*fit, 1.3, 2)};
    const auto mean = combine_logs(*fit, twice, std::vector<double>{0.5, 0.5});
    const double curve = fit->variance(twice[0].by_parameters);
    EXPECT_NEAR(mean.se, std::sqrt(curve + (twice[0].response_variance / 2.0)), 1e-12);
    const auto difference = combine_logs(*fit, twice, std::vector<double>{1.0, -1.0});
    EXPECT_NEAR(difference.se, std::sqrt(2.0 * twice[0].response_variance), 1e-12);
    EXPECT_NEAR(difference.value, 0.0, 1e-12);
}

// What standards do not fix is refused, not given out as whatever the search stood at last. No outside
// number is needed: in a step any half-way concentration between the two standards does as well, and without
// a dose response any at all.
TEST(LogisticCurve, a_step_between_two_standards_is_degenerate_whatever_its_noise) {
    for (std::uint64_t stream = 0; stream < 20; ++stream) {
        Random random(11, stream);
        std::vector<double> x;
        std::vector<double> y;
        for (const double level : {1.0, 3.0, 10.0, 30.0, 100.0, 1000.0, 3000.0, 10000.0}) {
            for (int k = 0; k < 2; ++k) {
                x.push_back(level);
                y.push_back((level < 500.0 ? 2.0 : 0.2) * (1.0 + (0.005 * random.normal())));
            }
        }
        for (const double power : {0.0, 1.5, 2.0}) {
            for (const auto kind : {LogisticKind::four, LogisticKind::five}) {
                const auto fit =
                    fit_logistic(x, y, {.kind = kind, .variance = ResponseVariance::of_power(power)});
                ASSERT_FALSE(fit) << stream << " power " << power << " half " << fit->curve.half << " slope "
                                  << fit->curve.slope;
                EXPECT_EQ(fit.error().code, ErrorCode::degenerate) << fit.error().text();
            }
        }
    }
}

TEST(LogisticCurve, plates_without_a_dose_response_are_degenerate) {
    constexpr int plates = 300;
    int passed = 0;
    for (std::uint64_t stream = 0; stream < plates; ++stream) {
        Random random(12, stream);
        std::vector<double> y(falling_x.size());
        for (auto& value : y) {
            value = 1.0 + (0.05 * random.normal());
        }
        const auto fit = fit_logistic(falling_x, y);
        passed += fit ? 1 : 0;
        if (!fit) {
            EXPECT_EQ(fit.error().code, ErrorCode::degenerate) << fit.error().text();
        }
    }
    std::cout << "plates without a dose response that pass for one: " << passed << " of " << plates << '\n';
    EXPECT_EQ(passed, 0);
}

TEST(LogisticCurve, only_the_ratios_of_own_weights_count) {
    // Closed form: weights w and 100 w are one statement about the variances.
    std::vector<double> once;
    for (const double y : falling_y) {
        once.push_back(1.0 / (y * y));
    }
    auto hundred = once;
    for (auto& w : hundred) {
        w *= 100.0;
    }
    for (const double power : {0.0, 2.0}) {
        const auto a = fit_logistic(falling_x, falling_y,
                                    {.variance = ResponseVariance::of_power(power), .weights = once});
        const auto b = fit_logistic(falling_x, falling_y,
                                    {.variance = ResponseVariance::of_power(power), .weights = hundred});
        ASSERT_TRUE(a && b);
        EXPECT_NEAR(back_calculate(*b, 1.1, 2).log_se / back_calculate(*a, 1.1, 2).log_se, 1.0, 1e-7);
        EXPECT_NEAR(b->response_sd(1.1) / a->response_sd(1.1), 1.0, 1e-7);
    }
    // By the curve's own weights the scale is 1: then own weights equal to those change nothing.
    const auto by_power = fit_logistic(falling_x, falling_y, {.variance = ResponseVariance::of_power(2.0)});
    ASSERT_TRUE(by_power);
    EXPECT_NEAR(by_power->sd_scale, 1.0, 1e-8);
}

} // namespace
} // namespace backeddy::condition
