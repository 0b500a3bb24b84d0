#include "findings/finding.hpp"

#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "findings/detail/wording.hpp"

namespace backeddy::findings {

namespace {

// Without the limits that are none.
FoundNumber bounded(FoundNumber number) {
    for (auto* limit : {&number.lower, &number.upper}) {
        if (*limit && !std::isfinite(**limit)) {
            limit->reset();
        }
    }
    return number;
}

} // namespace

double no_difference(EffectScale scale) {
    return scale == EffectScale::difference ? 0.0 : 1.0;
}

std::string value_text(const FoundNumber& number) {
    return number.value && std::isfinite(*number.value) ? detail::rounded(*number.value, bounded(number))
                                                        : number.reason;
}

std::string interval_text(const FoundNumber& number) {
    FoundNumber like = bounded(number);
    const auto lower = like.lower;
    const auto upper = like.upper;
    if (!lower && !upper) {
        return "";
    }
    // With one limit alone the distance to it says how exact the value is.
    like.lower = lower ? lower : like.value;
    like.upper = upper ? upper : like.value;
    const double none = number.is_ratio ? 1.0 : 0.0;
    const auto text = [&](double limit) { return detail::limit_text(limit, like, none); };
    if (!upper) {
        return text(*lower) + " or more";
    }
    if (!lower) {
        return text(*upper) + " or less";
    }
    return fmt::format("{} to {}", text(*lower), text(*upper));
}

std::string chance_text(double p) {
    return p < 0.001 ? std::string("< 0.001") : significant_text(p, 2);
}

} // namespace backeddy::findings
