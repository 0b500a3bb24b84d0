#include "findings/detail/wording.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"

namespace backeddy::findings::detail {

namespace {

std::optional<double> finite(double value) {
    return std::isfinite(value) ? std::optional(value) : std::nullopt;
}

const char* ratio_word(EffectScale scale) {
    switch (scale) {
    case EffectScale::odds_ratio:
        return "the odds of ";
    case EffectScale::hazard_ratio:
        return "the hazard of ";
    default:
        return "";
    }
}

std::string unit_after(const std::string& unit) {
    return unit.empty() ? std::string() : " " + unit;
}

std::string interval_text(const FoundNumber& number, double sign, double none) {
    const auto side = [&](std::optional<double> limit) {
        return limit ? limit_text(sign * *limit, number, none) : std::string("no limit");
    };
    const auto& first = sign < 0.0 ? number.upper : number.lower;
    const auto& second = sign < 0.0 ? number.lower : number.upper;
    return fmt::format("{} to {}", side(first), side(second));
}

std::string clear_difference(const FoundNumber& effect, const EffectWords& words) {
    const double sign = *effect.value < 0.0 ? -1.0 : 1.0;
    const auto than = words.than.empty() ? std::string() : " than " + words.than;
    return fmt::format("{} {} is {}{} {} {}{} (95 % interval {}).", words.where, words.outcome,
                       rounded(sign * *effect.value, effect), unit_after(effect.unit),
                       sign < 0.0 ? "lower" : "higher", words.higher_in, than,
                       interval_text(effect, sign, 0.0));
}

std::string open_difference(const FoundNumber& effect, const EffectWords& words) {
    const auto against = words.than.empty() ? std::string() : " against that " + words.than;
    std::string out =
        fmt::format("{} {} differs by {}{} {}{} (95 % interval {}): which is higher stays open.", words.where,
                    words.outcome, rounded(*effect.value, effect), unit_after(effect.unit), words.higher_in,
                    against, interval_text(effect, 1.0, 0.0));
    if (effect.lower && effect.upper) {
        out += fmt::format(" It excludes more than {}{} higher and more than {}{} lower.",
                           limit_text(*effect.upper, effect, 0.0), unit_after(effect.unit),
                           limit_text(-*effect.lower, effect, 0.0), unit_after(effect.unit));
    }
    return out;
}

std::string clear_ratio(const FoundNumber& effect, EffectScale scale, const EffectWords& words) {
    const auto times = rounded(*effect.value, effect);
    const char* high = words.is_time ? "long" : "high";
    const auto what = fmt::format("{} {}{}", words.where, ratio_word(scale), words.outcome);
    const auto is = words.than.empty()
                        ? fmt::format("{} times as {} {}", times, high, words.higher_in)
                        : fmt::format("{} times as {} {} as {}", times, high, words.higher_in, words.than);
    return fmt::format("{} {} {} (95 % interval {}).", what, scale == EffectScale::odds_ratio ? "are" : "is",
                       is, interval_text(effect, 1.0, 1.0));
}

std::string open_ratio(const FoundNumber& effect, EffectScale scale, const EffectWords& words) {
    std::string out = clear_ratio(effect, scale, words);
    out.pop_back();
    out += words.is_time ? ": which is longer stays open." : ": which is higher stays open.";
    if (!effect.lower || !effect.upper) {
        return out;
    }
    // No ratio is below 0, and of one that is beyond what is told nothing is left to say.
    std::vector<std::string> sides;
    if (*effect.upper <= largest_told_ratio) {
        sides.push_back("above " + limit_text(*effect.upper, effect, 1.0));
    }
    if (*effect.lower >= 1.0 / largest_told_ratio) {
        sides.push_back("below " + limit_text(*effect.lower, effect, 1.0));
    }
    return sides.empty() ? out : out + fmt::format(" It excludes ratios {}.", fmt::join(sides, " and "));
}

bool excludes(const FoundNumber& effect, double none) {
    return (effect.lower && *effect.lower > none) || (effect.upper && *effect.upper < none);
}

} // namespace

FoundNumber found(const stats::Estimate& estimate, const Scale& scale) {
    const auto shown = [&](double value) { return scale.is_ratio() ? std::exp(value) : value; };
    FoundNumber out{.name = estimate.name};
    out.value = finite(shown(estimate.value));
    if (!out.value) {
        out.reason = "the data do not bound it";
    }
    out.se = finite(estimate.se);
    out.lower = finite(shown(estimate.lower));
    out.upper = finite(shown(estimate.upper));
    out.freedom = finite(estimate.freedom);
    out.p = finite(estimate.p);
    out.unit = scale.is_ratio() ? std::string() : scale.unit;
    out.is_ratio = scale.is_ratio();
    return out;
}

FoundNumber found(std::string name, double value, const stats::Interval& interval, double p,
                  std::string unit) {
    FoundNumber out{.name = std::move(name)};
    out.value = finite(value);
    if (!out.value) {
        out.reason = "the data do not bound it";
    }
    out.lower = finite(interval.lower);
    out.upper = finite(interval.upper);
    out.p = finite(p);
    out.unit = std::move(unit);
    return out;
}

namespace {

// A ratio that is too large or too small to be told by its digits; empty where it is not.
std::string extreme_text(double ratio) {
    if (ratio > largest_told_ratio) {
        return "more than " + exact_text(largest_told_ratio);
    }
    return ratio > 0.0 && ratio < 1.0 / largest_told_ratio
               ? "less than " + exact_text(1.0 / largest_told_ratio)
               : std::string();
}

constexpr double largest_told = 1e6;

// What rounding left of nothing. Beside a limit beyond all bounds a number of its own is not that.
bool is_nothing(double value, double width) {
    return std::fabs(value) < 1e-9 * std::min(width, 1.0);
}

} // namespace

std::string limit_text(double limit, const FoundNumber& number, double none) {
    auto out = rounded(limit, number);
    const bool is_zero = none == 0.0 && out == "0"; // what rounding left of nothing
    for (int digits = 1; digits < 12 && limit != none && !is_zero && parse_number(out) == none; ++digits) {
        out = significant_text(limit, digits);
    }
    return out;
}

std::string rounded(double value, const FoundNumber& like) {
    if (auto extreme = like.is_ratio ? extreme_text(value) : std::string(); !extreme.empty()) {
        return extreme;
    }
    double width = std::fabs(like.value.value_or(value));
    if (like.lower && like.upper && *like.upper > *like.lower) {
        width = *like.upper - *like.lower;
    }
    if (like.is_ratio) { // beyond what is told no digit of another number is wasted on it
        width = std::min(width, largest_told_ratio);
    }
    if (!(width > 0.0)) {
        return significant_text(value, 3);
    }
    if (is_nothing(value, width)) {
        return "0";
    }
    // Of what is so large, and of which not even the order is known, no digit says anything.
    const bool is_unbounded =
        like.lower && like.upper && *like.lower > 0.0 && *like.upper > 1e6 * *like.lower;
    if (value > largest_told && is_unbounded) {
        return "more than " + fixed_text(largest_told, 0);
    }
    // Two digits of the interval's width: 1 - floor(log10(width)) decimals; none beyond what is there.
    const int decimals = std::clamp(1 - static_cast<int>(std::floor(std::log10(width))), 0, 12);
    // A small limit of a ratio is not none at all.
    const bool vanishes = value != 0.0 && std::fabs(value) < 0.5 * std::pow(10.0, -decimals);
    return vanishes ? significant_text(value, 1) : fixed_text(value, decimals);
}

std::string ratio_text(double ratio) {
    auto extreme = extreme_text(ratio);
    return extreme.empty() ? significant_text(ratio, 3) : extreme;
}

std::string with_interval(const FoundNumber& number) {
    if (!number.value) {
        return number.reason;
    }
    return fmt::format("{}{} (95 % interval {})", rounded(*number.value, number), unit_after(number.unit),
                       interval_text(number, 1.0, number.is_ratio ? 1.0 : 0.0));
}

std::string p_text(double p) {
    return p < 0.001 ? std::string("p < 0.001") : "p = " + significant_text(p, 2);
}

std::string effect_sentence(const FoundNumber& effect, EffectScale scale, const EffectWords& words) {
    if (!effect.value) {
        return fmt::format("{} {} cannot be compared: {}.", words.where, words.outcome, effect.reason);
    }
    const bool is_clear = excludes(effect, no_difference(scale));
    if (scale == EffectScale::difference) {
        return is_clear ? clear_difference(effect, words) : open_difference(effect, words);
    }
    return is_clear ? clear_ratio(effect, scale, words) : open_ratio(effect, scale, words);
}

} // namespace backeddy::findings::detail
