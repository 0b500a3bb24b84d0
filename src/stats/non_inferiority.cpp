#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "stats/counts.hpp"
#include "stats/detail/check.hpp"

namespace backeddy::stats {

namespace {

enum class Scale : std::uint8_t { difference, ratio };

double two_sided_level(const Margin& margin) {
    return (2.0 * margin.level) - 1.0;
}

Expected<void> check_margin(const Margin& margin, Scale scale) {
    if (!(margin.level > 0.5 && margin.level < 1.0)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("a one-sided level of {}", margin.level),
                     .expected = "a share between 0.5 and 1: 0.975 is usual"});
    }
    const bool is_higher = margin.better == Better::higher;
    const bool is_fine = scale == Scale::difference ? margin.value > 0.0
                         : is_higher                ? margin.value > 0.0 && margin.value < 1.0
                                                    : margin.value > 1.0;
    if (is_fine && std::isfinite(margin.value)) {
        return {};
    }
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("a margin of {}", margin.value),
                 .expected = scale == Scale::difference ? "the largest acceptable loss, above 0"
                             : is_higher ? "the lowest acceptable ratio, between 0 and 1 as higher is better"
                                         : "the highest acceptable ratio, above 1 as lower is better",
                 .remedy = "declare it before the results are seen"});
}

Shown shown_by(double bad, double good, double bound, double no_effect, double upward) {
    // Turned so that higher is better.
    if (upward * bad > upward * bound) {
        return upward * bad > upward * no_effect    ? Shown::better
               : upward * good < upward * no_effect ? Shown::little_worse
                                                    : Shown::not_worse;
    }
    return upward * good < upward * bound ? Shown::worse : Shown::nothing;
}

std::string number(double value) {
    return std::isinf(value) ? "any number" : significant_text(value, 3);
}

std::string words_for(const NonInferiority& found, const Margin& margin, Scale scale) {
    const bool is_higher = margin.better == Better::higher;
    const char* const clear = is_higher ? "above" : "below";
    const char* const short_of = is_higher ? "below" : "above";
    const std::string loss =
        fmt::format("one of {} or {}", number(found.bound), is_higher ? "lower" : "higher");
    const std::string start =
        fmt::format("The {} is {}", scale == Scale::ratio ? "ratio" : "difference", number(found.estimate));
    const std::string sure = fmt::format("with {} % confidence", significant_text(100.0 * margin.level, 3));
    switch (found.shown) {
    case Shown::better:
        return fmt::format("{}, {} {} {}: better is shown, and {} is excluded.", start, sure, clear,
                           number(found.limit), loss);
    case Shown::not_worse:
        return fmt::format("{}, {} {} {}: {} is excluded; neither better nor worse is shown.", start, sure,
                           clear, number(found.limit), loss);
    case Shown::little_worse:
        return fmt::format("{}, {} {} {} and as surely {} {}: worse is shown, but {} is excluded.", start,
                           sure, clear, number(found.limit), short_of, number(found.other_limit), loss);
    case Shown::worse:
        return fmt::format("{}, {} {} {}: worse by more than the margin is shown.", start, sure, short_of,
                           number(found.other_limit));
    case Shown::nothing:
        break;
    }
    return fmt::format(
        "{}, and may be anything from {} to {}, each limit {}: {} is neither excluded nor shown; "
        "more fish would tell.",
        start, number(std::min(found.limit, found.other_limit)),
        number(std::max(found.limit, found.other_limit)), sure, loss);
}

NonInferiority judged(double estimate, const Interval& interval, const Margin& margin, Scale scale) {
    const bool is_higher = margin.better == Better::higher;
    NonInferiority out{.estimate = estimate,
                       .limit = is_higher ? interval.lower : interval.upper,
                       .other_limit = is_higher ? interval.upper : interval.lower};
    out.bound = scale == Scale::ratio ? margin.value : (is_higher ? -margin.value : margin.value);
    out.shown = shown_by(out.limit, out.other_limit, out.bound, scale == Scale::ratio ? 1.0 : 0.0,
                         is_higher ? 1.0 : -1.0);
    out.words = words_for(out, margin, scale);
    return out;
}

} // namespace

Expected<NonInferiority> judge_shares(Share of_new, Share of_reference, const Margin& margin) {
    if (auto fine = check_margin(margin, Scale::difference); !fine) {
        return fail(std::move(fine).error());
    }
    auto found = difference_of_shares(of_new, of_reference, two_sided_level(margin));
    if (!found) {
        return fail(std::move(found).error());
    }
    return judged(found->value, found->score, margin, Scale::difference);
}

Expected<NonInferiority> judge_share_ratio(Share of_new, Share of_reference, const Margin& margin) {
    if (auto fine = check_margin(margin, Scale::ratio); !fine) {
        return fail(std::move(fine).error());
    }
    auto found = ratio_of_shares(of_new, of_reference, two_sided_level(margin));
    if (!found) {
        return fail(std::move(found).error());
    }
    return judged(found->value, found->interval, margin, Scale::ratio);
}

Expected<NonInferiority> judge_rates(Counted of_new, Counted of_reference, const Margin& margin) {
    if (auto fine = check_margin(margin, Scale::ratio); !fine) {
        return fail(std::move(fine).error());
    }
    auto found = ratio_of_rates(of_new, of_reference, 1.0, two_sided_level(margin));
    if (!found) {
        return fail(std::move(found).error());
    }
    return judged(found->value, found->interval, margin, Scale::ratio);
}

Expected<NonInferiority> judge_difference(const Estimate& new_less_reference, const Margin& margin) {
    if (auto fine = check_margin(margin, Scale::difference); !fine) {
        return fail(std::move(fine).error());
    }
    const auto& e = new_less_reference;
    if (!std::isfinite(e.value) || !(e.se >= 0.0) || !std::isfinite(e.se) || !(e.freedom > 0.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("a difference of {} with a standard error of {}", e.value, e.se),
                     .expected = "finite numbers and degrees of freedom above 0"});
    }
    const double half = two_sided_quantile(two_sided_level(margin), e.freedom) * e.se;
    return judge_interval(e.value, {e.value - half, e.value + half}, margin);
}

Expected<NonInferiority> judge_interval(double difference, const Interval& limits, const Margin& margin) {
    if (auto fine = check_margin(margin, Scale::difference); !fine) {
        return fail(std::move(fine).error());
    }
    if (!std::isfinite(difference) || !(limits.lower <= difference) || !(difference <= limits.upper)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("a difference of {} within {} to {}", difference, limits.lower,
                                          limits.upper),
                     .expected = "a finite difference between its limits"});
    }
    return judged(difference, limits, margin, Scale::difference);
}

} // namespace backeddy::stats
