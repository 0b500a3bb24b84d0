#include "uptake/detail/cut_off.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "base/number_text.hpp"
#include "fit/quantile.hpp"

namespace backeddy::uptake::detail {

namespace {

constexpr std::size_t least_in_window = 5;

double median(std::vector<double> values) {
    return fit::quantile(values, 0.5).value_or(0.0);
}

// Calls take(slope) for every pair of values at different hours.
template <typename Take>
void each_slope(std::span<const double> hours, std::span<const double> values, const Take& take) {
    for (std::size_t i = 0; i < hours.size(); ++i) {
        for (std::size_t j = i + 1; j < hours.size(); ++j) {
            if (hours[j] > hours[i]) {
                take((values[j] - values[i]) / (hours[j] - hours[i]));
            }
        }
    }
}

// Slopes that the median of all of a long record lies between, as far as those of some pairs, far apart in
// the record, tell.
std::pair<double, double> likely_middle(std::span<const double> hours, std::span<const double> values) {
    constexpr std::size_t pairs = 4096;
    const std::size_t n = hours.size();
    std::vector<double> some;
    for (std::size_t k = 0; k < pairs; ++k) {
        const std::size_t i = k * n / pairs;
        const std::size_t j = (i + 1 + (k * 7919 % (n - 1))) % n; // another place in the record for each k
        if (hours[j] != hours[i]) {
            some.push_back((values[j] - values[i]) / (hours[j] - hours[i]));
        }
    }
    if (some.empty()) {
        return {1.0, 0.0}; // nothing lies between
    }
    std::sort(some.begin(), some.end());
    const std::size_t share =
        some.size() / 20; // a 20th each side: many times the error of the sample's median
    return {some[(some.size() / 2) - share], some[(some.size() / 2) + share]};
}

double lag_one(std::span<const double> residuals) {
    double products = 0.0;
    double squares = 0.0;
    for (std::size_t i = 0; i < residuals.size(); ++i) {
        squares += residuals[i] * residuals[i];
        products += i > 0 ? residuals[i] * residuals[i - 1] : 0.0;
    }
    return squares > 0.0 ? std::clamp(products / squares, 0.0, 0.9) : 0.0;
}

} // namespace

double pairwise_slope(std::span<const double> hours, std::span<const double> values) {
    constexpr std::size_t few = 200; // values: all their slopes are sorted out at once
    std::vector<double> slopes;
    if (hours.size() > few) {
        // Most slopes are only counted, and those about the median kept.
        const auto [low, high] = likely_middle(hours, values);
        std::size_t below = 0;
        std::size_t all = 0;
        each_slope(hours, values, [&](double slope) {
            ++all;
            below += slope < low ? 1 : 0;
            if (slope >= low && slope <= high) {
                slopes.push_back(slope);
            }
        });
        const auto place = fit::quantile_place(std::max<std::size_t>(all, 1), 0.5, fit::QuantileType::gumbel);
        if (place.lower >= below && place.upper < below + slopes.size()) {
            const auto lower = slopes.begin() + static_cast<std::ptrdiff_t>(place.lower - below);
            std::nth_element(slopes.begin(), lower, slopes.end());
            const double first = *lower;
            const double second =
                place.upper > place.lower ? *std::min_element(lower + 1, slopes.end()) : first;
            return place.weight == 0.0 ? first : first + (place.weight * (second - first));
        }
        slopes.clear();
    }
    slopes.reserve(hours.size() * (hours.size() - 1) / 2);
    each_slope(hours, values, [&](double slope) { slopes.push_back(slope); });
    return slopes.empty() ? 0.0 : median(std::move(slopes));
}

Fall fall_from(std::span<const double> hours, std::span<const double> values, std::size_t first,
               const RestingSettings& settings) {
    std::size_t end = first;
    while (end < hours.size() && hours[end] <= hours[first] + settings.trend_window_h) {
        ++end;
    }
    Fall out;
    const auto x = hours.subspan(first, end - first);
    const auto y = values.subspan(first, end - first);
    const double width = x.empty() ? 0.0 : x.back() - x.front();
    if (x.size() < least_in_window || width < 0.5 * settings.least_counted_h) {
        return out;
    }
    const double slope = pairwise_slope(x, y);
    std::vector<double> residuals;
    for (std::size_t i = 0; i < x.size(); ++i) {
        residuals.push_back(y[i] - (slope * x[i]));
    }
    const double level = median(residuals);
    std::vector<double> sizes;
    double mean = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        residuals[i] -= level;
        sizes.push_back(std::abs(residuals[i]));
        mean += x[i] / static_cast<double>(x.size());
    }
    double squares = 0.0;
    for (const double h : x) {
        squares += (h - mean) * (h - mean);
    }
    const double r = lag_one(residuals);
    out.known = true;
    out.fall = -slope * width;
    out.error =
        1.4826 * median(std::move(sizes)) / std::sqrt(squares) * std::sqrt((1.0 + r) / (1.0 - r)) * width;
    const double middle = std::abs(median({y.begin(), y.end()}));
    out.middle = middle;
    out.falling = out.fall > settings.trend_share * middle && out.fall > settings.trend_errors * out.error;
    return out;
}

bool is_flat_from(std::span<const double> hours, std::span<const double> values, std::size_t first,
                  const RestingSettings& settings) {
    if (hours.back() - hours[first] < settings.trend_window_h) {
        return false;
    }
    auto whole = settings;
    whole.trend_window_h = hours.back() - hours[first];
    const Fall fall = fall_from(hours, values, first, whole);
    const double reach = settings.trend_errors * fall.error;
    return fall.known && std::abs(fall.fall) <= reach &&
           fall.fall + reach <= settings.trend_share * fall.middle;
}

bool still_falls(std::span<const double> hours, std::span<const double> values, std::size_t first,
                 const RestingSettings& settings) {
    const double last = hours.back();
    const auto window = static_cast<std::size_t>(
        std::lower_bound(hours.begin(), hours.end(), last - settings.trend_window_h) - hours.begin());
    first = std::min(first, window);
    auto whole = settings;
    whole.trend_window_h = last - hours[first];
    const Fall of_all = fall_from(hours, values, first, whole);
    const Fall of_end = fall_from(hours, values, window, settings);
    const auto exceeds = [&](const Fall& fall, double share) {
        return fall.known && fall.fall > share * settings.trend_share * fall.middle;
    };
    return exceeds(of_all, 0.25 * whole.trend_window_h / settings.trend_window_h) &&
           of_all.fall > settings.trend_errors * of_all.error && exceeds(of_end, 0.1);
}

CutOff find_cut_off(std::span<const double> hours, std::span<const double> begins,
                    std::span<const double> values, const RestingSettings& settings) {
    const double last = hours.back();
    // The last moment at which a cut-off still leaves hours and values enough.
    std::size_t latest = 0;
    for (std::size_t i = 0; i < hours.size(); ++i) {
        if (last - hours[i] >= settings.least_counted_h &&
            hours.size() - i >= std::max<std::size_t>(settings.least_values, 2)) {
            latest = i;
        }
    }
    std::vector<std::optional<bool>> known(latest + 1); // most of a long stay need not be looked at
    const auto is_falling = [&](std::size_t i) {
        if (!known[i]) {
            known[i] = fall_from(hours, values, i, settings).falling;
        }
        return *known[i];
    };
    // Quiet from i on: neither this window nor those that begin in its first half still fall.
    const auto quiet_from = [&](std::size_t i) {
        for (std::size_t j = i; j <= latest && hours[j] <= hours[i] + (0.5 * settings.trend_window_h); ++j) {
            if (is_falling(j)) {
                return false;
            }
        }
        return true;
    };
    const bool stay_allows = last - settings.least_counted_h >= settings.least_hours_after_handling;
    std::optional<std::size_t> quiet; // the first where the stay is too short to be sure
    for (std::size_t i = 0; i <= latest; ++i) {
        if ((stay_allows && hours[i] < settings.least_hours_after_handling) || !quiet_from(i)) {
            continue;
        }
        if (stay_allows) {
            return {.first = i,
                    .recovered = true,
                    .why =
                        "no downward trend is left from " + fixed_text(begins[i], 1) + " h after handling"};
        }
        quiet = quiet.value_or(i);
        if (is_flat_from(hours, values, i, settings)) {
            return {.first = i,
                    .recovered = true,
                    .why = "uptake is flat from " + fixed_text(begins[i], 1) +
                           " h after handling to the end of the stay, " + fixed_text(last, 1) +
                           " h after it"};
        }
    }
    if (quiet) {
        return {.first = *quiet,
                .recovered = false,
                .why = "values count from " + fixed_text(settings.least_hours_after_handling, 0) +
                       " h after handling where " + fixed_text(settings.least_counted_h, 0) +
                       " h are left to count; the last value lies at " + fixed_text(last, 1) + " h, " +
                       fixed_text(settings.least_hours_after_handling + settings.least_counted_h - last, 1) +
                       " h too soon, and uptake was not flat for " + fixed_text(settings.trend_window_h, 0) +
                       " h"};
    }
    return {.first = latest,
            .recovered = false,
            .why = "a downward trend is left to the end of the stay, " + fixed_text(last, 1) +
                   " h after handling"};
}

std::vector<CutOffPoint> cut_off_curve(std::span<const double> hours, std::span<const double> values,
                                       const RestingSettings& settings) {
    std::vector<CutOffPoint> out;
    if (settings.cut_off_step_h <= 0.0) {
        return out;
    }
    // Whole steps after handling, from the first that has a value behind it.
    const double start =
        std::floor(std::max(0.0, hours.front()) / settings.cut_off_step_h) * settings.cut_off_step_h;
    for (int k = 0;; ++k) {
        const double h = start + (k * settings.cut_off_step_h);
        const auto first =
            static_cast<std::size_t>(std::lower_bound(hours.begin(), hours.end(), h) - hours.begin());
        if (first >= hours.size()) {
            return out;
        }
        CutOffPoint point;
        point.hours_after_handling = h;
        point.values = hours.size() - first;
        if (point.values >= settings.least_values) {
            const auto value = fit::quantile(values.subspan(first), settings.rule_quantile);
            point.mg_per_h = value ? std::optional(*value) : std::nullopt;
        }
        const auto fall = fall_from(hours, values, first, settings);
        point.fall_mg_per_h = fall.fall;
        point.fall_error_mg_per_h = fall.error;
        point.falling = fall.falling;
        out.push_back(point);
    }
}

} // namespace backeddy::uptake::detail
