#include "uptake/background.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>

#include "uptake/detail/logistic.hpp"

namespace backeddy::uptake {

std::string_view word(BlanksUsed used) {
    switch (used) {
    case BlanksUsed::none:
        return "none";
    case BlanksUsed::before:
        return "before";
    case BlanksUsed::after:
        return "after";
    case BlanksUsed::both:
        return "both";
    case BlanksUsed::side_by_side:
        return "side_by_side";
    }
    return "both";
}

std::string_view word(BetweenBlanks between) {
    switch (between) {
    case BetweenBlanks::steady:
        return "steady";
    case BetweenBlanks::straight:
        return "straight";
    case BetweenBlanks::growing:
        return "growing";
    case BetweenBlanks::sigmoid:
        return "sigmoid";
    }
    return "straight";
}

std::string_view word(BackgroundVolume volume) {
    return volume == BackgroundVolume::water ? "water" : "whole_chamber";
}

Measured background_uptake(const Measured& slope_mg_per_l_h, const Measured& chamber_and_loop_l,
                           const Measured& water_l, BackgroundVolume volume) {
    return -(slope_mg_per_l_h * (volume == BackgroundVolume::water ? water_l : chamber_and_loop_l));
}

namespace {

using BlankList = std::vector<const Blank*>;

/// Blanks that no cleaning parts from `at` and that are near enough, by time.
BlankList within_reach(std::span<const Blank> blanks, Instant at, std::span<const Instant> cleanings,
                       Duration reach) {
    BlankList out;
    for (const Blank& blank : blanks) {
        const auto [first, last] = std::minmax(blank.at, at);
        const bool cut =
            std::any_of(cleanings.begin(), cleanings.end(), [&](Instant c) { return c > first && c < last; });
        if (!cut && last - first <= reach) {
            out.push_back(&blank);
        }
    }
    std::stable_sort(out.begin(), out.end(), [](const Blank* a, const Blank* b) { return a->at < b->at; });
    return out;
}

struct Pair {
    const Blank* before = nullptr;
    const Blank* after = nullptr;
    double u = 0.0; ///< how far `at` is from before to after
};

Pair pair_around(const BlankList& blanks, Instant at) {
    Pair out;
    for (const Blank* blank : blanks) {
        if (blank->at <= at) {
            out.before = blank;
        } else if (out.after == nullptr) {
            out.after = blank;
        }
    }
    if (out.before != nullptr && out.after != nullptr) {
        out.u = (at - out.before->at).seconds() / (out.after->at - out.before->at).seconds();
    }
    return out;
}

Measured straight(const Pair& pair) {
    return (pair.before->slope_mg_per_l_h * (1.0 - pair.u)) + (pair.after->slope_mg_per_l_h * pair.u);
}

std::optional<Measured> growing(const Pair& pair) {
    const double b0 = pair.before->slope_mg_per_l_h.value();
    const double b1 = pair.after->slope_mg_per_l_h.value();
    if (!(b0 * b1 > 0.0)) {
        return std::nullopt;
    }
    const double value = b0 * std::pow(b1 / b0, pair.u);
    const std::array inputs{pair.before->slope_mg_per_l_h, pair.after->slope_mg_per_l_h};
    const std::array slopes{value * (1.0 - pair.u) / b0, value * pair.u / b1};
    return propagated(value, inputs, slopes);
}

/// Through all blanks given; nothing when the curve cannot be had.
std::optional<Measured> sigmoid(const BlankList& blanks, Instant at) {
    if (blanks.size() < 4) {
        return std::nullopt;
    }
    std::vector<double> hours;
    std::vector<double> slopes;
    std::vector<Measured> inputs;
    for (const Blank* blank : blanks) {
        hours.push_back((blank->at - blanks.front()->at).hours());
        slopes.push_back(blank->slope_mg_per_l_h.value());
        inputs.push_back(blank->slope_mg_per_l_h);
    }
    const double here = (at - blanks.front()->at).hours();
    const auto fit = detail::fit_logistic(hours, slopes);
    if (!fit) {
        return std::nullopt;
    }
    const auto effects = detail::logistic_weights(*fit, hours, here);
    if (!effects) {
        return std::nullopt;
    }
    return propagated(fit->at(here), inputs, *effects);
}

std::string names(const BlankList& blanks) {
    std::string out;
    for (std::size_t i = 0; i < blanks.size(); ++i) {
        out += (i == 0 ? "" : (i + 1 == blanks.size() ? " and " : ", ")) + blanks[i]->id;
    }
    return out;
}

void use(BackgroundAt& out, Measured slope, const BlankList& blanks, std::string how) {
    out.slope_mg_per_l_h = std::move(slope);
    out.how = std::move(how);
    for (const Blank* blank : blanks) {
        out.blanks.push_back(blank->id);
    }
}

void use_one(BackgroundAt& out, const Blank& blank, std::string_view place) {
    use(out, blank.slope_mg_per_l_h, {&blank}, "blank " + blank.id + " " + std::string(place));
}

void use_both(BackgroundAt& out, const BlankList& blanks, const Pair& pair, Instant at,
              BetweenBlanks between) {
    const BlankList two{pair.before, pair.after};
    switch (between) {
    case BetweenBlanks::steady:
        use(out, (pair.before->slope_mg_per_l_h + pair.after->slope_mg_per_l_h) / 2.0, two,
            "mean of blanks " + names(two));
        return;
    case BetweenBlanks::growing:
        if (auto slope = growing(pair)) {
            use(out, *std::move(slope), two, "blanks " + names(two) + ", growing between them");
            return;
        }
        out.reasons.push_back(
            {"straight_instead",
             "blanks " + names(two) + " are not of one sign: straight between them, not growing"});
        break;
    case BetweenBlanks::sigmoid:
        if (auto slope = sigmoid(blanks, at)) {
            use(out, *std::move(slope), blanks, "sigmoid through blanks " + names(blanks));
            return;
        }
        out.reasons.push_back(
            {"straight_instead",
             blanks.size() < 4
                 ? "a sigmoid needs four blanks and there are " + std::to_string(blanks.size()) +
                       ": straight between the nearest two"
                 : "no sigmoid fits blanks " + names(blanks) + ": straight between the nearest two"});
        break;
    case BetweenBlanks::straight:
        break;
    }
    use(out, straight(pair), two, "blanks " + names(two) + ", straight between them");
}

void use_side_by_side(BackgroundAt& out, std::span<const Blank> blanks, std::string_view assembly, Instant at,
                      Duration reach) {
    std::vector<Blank> others;
    const Blank* nearest = nullptr;
    const auto away = [&](const Blank& blank) { return blank.at < at ? at - blank.at : blank.at - at; };
    for (const Blank& blank : blanks) {
        if (blank.assembly != assembly && away(blank) <= reach &&
            (nearest == nullptr || away(blank) < away(*nearest))) {
            nearest = &blank;
        }
    }
    if (nearest == nullptr) {
        return;
    }
    std::copy_if(blanks.begin(), blanks.end(), std::back_inserter(others),
                 [&](const Blank& blank) { return blank.assembly == nearest->assembly; });
    const BlankList list = within_reach(others, at, {}, reach);
    const Pair pair = pair_around(list, at);
    const std::string where = " beside it in " + nearest->assembly + ", scaled by volume";
    if (pair.before != nullptr && pair.after != nullptr) {
        const BlankList two{pair.before, pair.after};
        use(out, straight(pair), two, "blanks " + names(two) + where);
    } else {
        const Blank& one = *(pair.before != nullptr ? pair.before : pair.after);
        use(out, one.slope_mg_per_l_h, {&one}, "blank " + one.id + where);
    }
}

void use_own(BackgroundAt& out, std::span<const Blank> blanks, std::string_view assembly, Instant at,
             std::span<const Instant> cleanings, const BackgroundSettings& settings) {
    std::vector<Blank> own;
    std::copy_if(blanks.begin(), blanks.end(), std::back_inserter(own),
                 [&](const Blank& blank) { return blank.assembly == assembly; });
    const BlankList list = within_reach(own, at, cleanings, settings.reach);
    const Pair pair = pair_around(list, at);
    if (settings.blanks_used == BlanksUsed::before) {
        if (pair.before != nullptr) {
            use_one(out, *pair.before, "before");
        }
        return;
    }
    if (settings.blanks_used == BlanksUsed::after) {
        if (pair.after != nullptr) {
            use_one(out, *pair.after, "after");
        }
        return;
    }
    if (pair.before != nullptr && pair.after != nullptr) {
        use_both(out, list, pair, at, settings.between_blanks);
    } else if (pair.before != nullptr || pair.after != nullptr) {
        const bool is_before = pair.before != nullptr;
        const Blank& one = is_before ? *pair.before : *pair.after;
        use_one(out, one, is_before ? "before" : "after");
        out.reasons.push_back({"one_blank", "only the blank " + std::string(is_before ? "before" : "after") +
                                                ", " + one.id + ", serves: none " +
                                                std::string(is_before ? "after" : "before") +
                                                " it without a cleaning between or within reach"});
    }
}

} // namespace

BackgroundAt background_at(std::span<const Blank> blanks, std::string_view assembly, Instant at,
                           std::span<const Instant> cleanings, const BackgroundSettings& settings) {
    BackgroundAt out;
    if (settings.blanks_used == BlanksUsed::none) {
        out.how = "no background taken off";
        return out;
    }
    // In copies of the caller's list only for a moment: ids and values are what is kept.
    if (settings.blanks_used == BlanksUsed::side_by_side) {
        use_side_by_side(out, blanks, assembly, at, settings.reach);
    } else {
        use_own(out, blanks, assembly, at, cleanings, settings);
    }
    if (out.blanks.empty()) {
        out.how = "no blank serves: no background taken off";
        out.reasons.push_back({"no_blank",
                               "no blank serves (none before or after without a cleaning between, or "
                               "none within reach): microbes are still in the value"});
        return out;
    }
    const double slope = out.slope_mg_per_l_h.value();
    if (slope > 0.0) {
        const bool sure = slope > 2.0 * out.slope_mg_per_l_h.standard_uncertainty();
        const bool zeroed = settings.wrong_sign == WrongSign::set_to_zero;
        out.reasons.push_back({sure ? "rising_blank" : "rising_blank_within_error",
                               "oxygen rose in the blank (drift of sensor or temperature, or a leak): " +
                                   std::string(zeroed ? "background set to zero" : "carried with its sign")});
        if (zeroed) {
            out.slope_mg_per_l_h = Measured(0.0, {out.slope_mg_per_l_h.contributions().begin(),
                                                  out.slope_mg_per_l_h.contributions().end()});
        }
    }
    return out;
}

} // namespace backeddy::uptake
