#include "stats/power.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <fmt/format.h>

#include "stats/detail/lattice.hpp"
#include "stats/detail/noncentral_t.hpp"
#include "stats/detail/root.hpp"

namespace backeddy::stats {

namespace {

namespace bm = boost::math;

constexpr double most_fish = 1e7;
constexpr std::size_t most_exact = 500;

double normal_upper(double z) {
    return bm::cdf(bm::complement(bm::normal(), z));
}

Expected<void> bad(std::string_view what, double value, std::string_view expected) {
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("{} of {}", what, value),
                 .expected = std::string(expected)});
}

Expected<void> check_alpha(double alpha) {
    return alpha > 0.0 && alpha < 1.0 ? Expected<void>() : bad("an alpha", alpha, "a share between 0 and 1");
}

Expected<void> check_power(double power, double alpha) {
    return power > alpha && power < 1.0 ? Expected<void>()
                                        : bad("a power", power, "a share between alpha and 1: 0.8 is usual");
}

Expected<void> check_n(double n) {
    return n >= 2.0 && n <= most_fish
               ? Expected<void>()
               : bad("a number", n, "pairs, or fish in a group, from 2 to ten million");
}

/// Nothing, or the first of the errors.
Expected<void> all_of(std::initializer_list<Expected<void>> checks) {
    for (const auto& one : checks) {
        if (!one) {
            return one;
        }
    }
    return {};
}

Expected<void> check_means(const MeansPlan& plan) {
    return all_of(
        {std::isfinite(plan.effect) ? Expected<void>() : bad("an effect", plan.effect, "a finite number"),
         plan.sd > 0.0 && std::isfinite(plan.sd)
             ? Expected<void>()
             : bad("a standard deviation", plan.sd, "a finite number above 0"),
         check_alpha(plan.alpha)});
}

double tail(double alpha, Sides sides) {
    return sides == Sides::two ? 0.5 * alpha : alpha;
}

double means_power(const MeansPlan& plan) {
    const bool is_paired = plan.compared == Compared::within_fish;
    const double second = plan.n_second > 0.0 ? plan.n_second : plan.n;
    const double freedom = is_paired ? plan.n - 1.0 : plan.n + second - 2.0;
    const double pairs = is_paired ? plan.n : 1.0 / ((1.0 / plan.n) + (1.0 / second));
    const double shift = std::sqrt(pairs) * std::abs(plan.effect) / plan.sd;
    const double critical =
        bm::quantile(bm::complement(bm::students_t(freedom), tail(plan.alpha, plan.sides)));
    const double right = detail::noncentral_t_upper(critical, freedom, shift);
    const bool counts_wrong = plan.sides == Sides::two && plan.rejections == Rejections::either;
    return counts_wrong ? right + detail::noncentral_t_lower(-critical, freedom, shift) : right;
}

/// The n, from 2 on, at which a power that grows with it is what is asked.
template <typename PowerAt>
Expected<SampleSize> solve_n(const PowerAt& power_at, double power) {
    const auto lacks = [&](double n) { return n > most_fish ? 0.0 : power - power_at(n); };
    const double exact = detail::root_beyond(lacks, 2.0, 2.0);
    if (exact >= most_fish) {
        return fail(
            {.code = ErrorCode::out_of_range,
             .found = "more than ten million fish for that power",
             .expected = "an effect that can be shown",
             .remedy = "a larger effect, or a smaller standard deviation: more measurements of each fish"});
    }
    // What rounding adds to a whole number asks for no further fish.
    const double whole = std::ceil(exact * (1.0 - 1e-12));
    return SampleSize{.exact = exact, .n = static_cast<std::size_t>(whole), .power = power_at(whole)};
}

} // namespace

Expected<double> power_of(const MeansPlan& plan) {
    auto fine = all_of({check_means(plan), check_n(plan.n),
                        plan.n_second == 0.0 ? Expected<void>() : check_n(plan.n_second),
                        plan.n_second == 0.0 || plan.compared == Compared::two_groups
                            ? Expected<void>()
                            : bad("a second group", plan.n_second, "none: pairs are compared within fish")});
    if (!fine) {
        return fail(std::move(fine).error());
    }
    return means_power(plan);
}

Expected<SampleSize> n_for(const MeansPlan& plan, double power) {
    if (auto fine = all_of({check_means(plan), check_power(power, plan.alpha)}); !fine) {
        return fail(std::move(fine).error());
    }
    if (plan.effect == 0.0) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "an effect of 0",
                     .expected = "the smallest effect that would matter: no number of fish shows none",
                     .remedy = "for \"as good as\", ask for non-inferiority by a margin"});
    }
    return solve_n(
        [&](double n) {
            MeansPlan at = plan;
            at.n = n;
            at.n_second = 0.0;
            return means_power(at);
        },
        power);
}

Expected<double> effect_for(const MeansPlan& plan, double power) {
    MeansPlan at = plan;
    at.effect = 0.0;
    if (const auto least = power_of(at); !least) {
        return fail(least.error());
    }
    if (auto fine = check_power(power, plan.alpha); !fine) {
        return fail(std::move(fine).error());
    }
    return detail::root_beyond(
        [&](double effect) {
            at.effect = effect;
            return power - means_power(at);
        },
        0.0, plan.sd / std::sqrt(plan.n));
}

namespace {

Expected<void> check_true_share(double share) {
    return share > 0.0 && share < 1.0 ? Expected<void>() : bad("a share", share, "one between 0 and 1");
}

double shares_power(const SharesPlan& plan) {
    const double z = bm::quantile(bm::complement(bm::normal(), tail(plan.alpha, plan.sides)));
    const double root_n = std::sqrt(plan.n);
    double shift = 0.0; // standard errors between the truth and none
    double critical = z;
    if (plan.method == SharesMethod::arcsine) {
        shift = root_n * std::abs(std::asin(std::sqrt(plan.first)) - std::asin(std::sqrt(plan.second))) *
                std::sqrt(2.0);
    } else {
        const double own = std::sqrt((plan.first * (1.0 - plan.first)) + (plan.second * (1.0 - plan.second)));
        const double mean = 0.5 * (plan.first + plan.second);
        shift = root_n * std::abs(plan.first - plan.second) / own;
        critical = z * std::sqrt(2.0 * mean * (1.0 - mean)) / own;
    }
    const bool counts_wrong = plan.sides == Sides::two && plan.rejections == Rejections::either;
    return normal_upper(critical - shift) + (counts_wrong ? normal_upper(critical + shift) : 0.0);
}

} // namespace

Expected<double> power_of(const SharesPlan& plan) {
    auto fine = all_of({check_true_share(plan.first), check_true_share(plan.second), check_n(plan.n),
                        check_alpha(plan.alpha)});
    if (!fine) {
        return fail(std::move(fine).error());
    }
    return shares_power(plan);
}

Expected<SampleSize> n_for(const SharesPlan& plan, double power) {
    auto fine = all_of({check_true_share(plan.first), check_true_share(plan.second), check_alpha(plan.alpha),
                        check_power(power, plan.alpha)});
    if (!fine) {
        return fail(std::move(fine).error());
    }
    if (plan.first == plan.second) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("two shares of {}", plan.first),
                     .expected = "the smallest difference that would matter: no number of fish shows none",
                     .remedy = "for \"as good as\", ask for non-inferiority by a margin"});
    }
    return solve_n(
        [&](double n) {
            SharesPlan at = plan;
            at.n = n;
            return shares_power(at);
        },
        power);
}

Expected<double> second_share_for(const SharesPlan& plan, double power, Direction direction) {
    auto fine = all_of({check_true_share(plan.first), check_n(plan.n), check_alpha(plan.alpha),
                        check_power(power, plan.alpha)});
    if (!fine) {
        return fail(std::move(fine).error());
    }
    const auto lacks = [&](double share) {
        SharesPlan at = plan;
        at.second = share;
        return power - shares_power(at);
    };
    const double end = direction == Direction::up ? 1.0 - 1e-12 : 1e-12;
    if (lacks(end) > 0.0) {
        return fail(
            {.code = ErrorCode::out_of_range,
             .found = fmt::format("{} fish in each group and a share of {}", plan.n, plan.first),
             .expected = fmt::format("a share {} it that is told from it with power {}: there is none",
                                     direction == Direction::up ? "above" : "below", power),
             .remedy = "more fish"});
    }
    return detail::root_between(lacks, plan.first, end);
}

Expected<double> fisher_power(double first, double second, std::size_t n_first, std::size_t n_second,
                              double alpha) {
    const auto check_whole = [](std::size_t n) {
        return n >= 1 && n <= most_exact
                   ? Expected<void>()
                   : bad("a group", static_cast<double>(n), fmt::format("1 to {} fish", most_exact));
    };
    auto fine = all_of({check_true_share(first), check_true_share(second), check_alpha(alpha),
                        check_whole(n_first), check_whole(n_second)});
    if (!fine) {
        return fail(std::move(fine).error());
    }
    const auto of_first = detail::binomial_lattice(n_first, first / (1.0 - first));
    const auto of_second = detail::binomial_lattice(n_second, second / (1.0 - second));
    double power = 0.0;
    // For each sum of both counts, the tables with it stand in one hypergeometric distribution.
    for (std::size_t sum = 1; sum < n_first + n_second; ++sum) {
        const auto none = detail::hypergeometric_lattice(sum, n_first, n_first + n_second, 1.0);
        for (std::size_t i = 0; i < none.probability.size(); ++i) {
            const std::size_t x = none.first + i;
            if (none.tails(x).two_sided <= alpha) {
                power += of_first.at(x) * of_second.at(sum - x);
            }
        }
    }
    return power;
}

namespace {

Expected<void> check_variances(const VarianceComponents& variances, double measurements) {
    const auto check = [](std::string_view what, double value) {
        return value >= 0.0 && std::isfinite(value) ? Expected<void>()
                                                    : bad(what, value, "a finite number, at least 0");
    };
    return all_of({check("a variance between clusters", variances.cluster),
                   check("a variance between fish", variances.fish),
                   check("a variance of the response", variances.response),
                   check("a variance of the measurement", variances.measurement),
                   measurements >= 1.0 && std::isfinite(measurements)
                       ? Expected<void>()
                       : bad("measurements", measurements, "one or more")});
}

Expected<double> sd_of(double variance) {
    if (variance > 0.0) {
        return std::sqrt(variance);
    }
    return fail(
        {.code = ErrorCode::degenerate,
         .found = "all variances that count here are 0",
         .expected = "one above 0: a fit that finds none is singular and tells nothing of the next study"});
}

} // namespace

Expected<double> paired_sd(const VarianceComponents& variances, double measurements) {
    if (auto fine = check_variances(variances, measurements); !fine) {
        return fail(std::move(fine).error());
    }
    return sd_of(variances.response + (2.0 * variances.measurement / measurements));
}

Expected<double> fish_sd(const VarianceComponents& variances, double measurements) {
    if (auto fine = check_variances(variances, measurements); !fine) {
        return fail(std::move(fine).error());
    }
    return sd_of(variances.fish + (variances.measurement / measurements));
}

Expected<double> cluster_sd(const VarianceComponents& variances, double fish, double measurements) {
    auto fine = all_of({check_variances(variances, measurements),
                        fish >= 1.0 && std::isfinite(fish) ? Expected<void>()
                                                           : bad("fish in a cluster", fish, "one or more")});
    if (!fine) {
        return fail(std::move(fine).error());
    }
    return sd_of(variances.cluster + ((variances.fish + (variances.measurement / measurements)) / fish));
}

} // namespace backeddy::stats
