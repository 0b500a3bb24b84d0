// What looks wrong in a sealed spell, and the mark that follows.

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <optional>
#include <string>
#include <vector>

#include "base/number_text.hpp"
#include "uptake/detail/lane_line.hpp"
#include "uptake/sealed.hpp"

namespace backeddy::uptake {

namespace {

std::string number(double value, int digits = 3) {
    return significant_text(value, digits);
}

double median_of(std::vector<double> values) {
    if (values.empty()) {
        return 0.0;
    }
    // Steps of a logger are mostly alike: any of them is the middle one, which counting proves.
    const double guess = values.front();
    std::size_t below = 0;
    std::size_t not_above = 0;
    for (const double value : values) {
        below += value < guess ? 1 : 0;
        not_above += value <= guess ? 1 : 0;
    }
    if (below <= values.size() / 2 && values.size() / 2 < not_above) {
        return guess;
    }
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Readings with oxygen, and what the fitted line leaves of them.
struct Readings {
    std::vector<double> seconds; ///< after the first
    std::vector<double> oxygen;
    std::vector<double> residual;
    std::vector<std::uint8_t> repeats; ///< the sensor's own reading is that of the row before
    double usual_step = 0.0;
};

Readings readings_of(const SealedView& view, const SealedSlope& slope) {
    Readings out;
    const std::size_t rows = view.times_ns.size();
    out.seconds.reserve(rows);
    out.oxygen.reserve(rows);
    out.residual.reserve(rows);
    out.repeats.reserve(rows);
    for (std::size_t i = 0; i < rows; ++i) {
        if (std::isfinite(view.oxygen_mg_per_l[i])) {
            const double t = static_cast<double>(view.times_ns[i] - slope.from.unix_nanoseconds()) / 1e9;
            const bool is_equal = !out.oxygen.empty() && view.oxygen_mg_per_l[i] == out.oxygen.back();
            const bool repeats = view.repeats.empty() ? is_equal : view.repeats[i] != 0;
            out.repeats.push_back(repeats && !out.oxygen.empty() ? 1 : 0);
            out.seconds.push_back(t);
            out.oxygen.push_back(view.oxygen_mg_per_l[i]);
        }
    }
    // Of the straight line, whatever the fit's regressor was: a sensor's transient is no step.
    const auto line = detail::lane_line(out.seconds, out.oxygen);
    std::vector<double> steps;
    steps.reserve(out.seconds.size());
    for (std::size_t i = 0; i < out.seconds.size(); ++i) {
        out.residual.push_back(out.oxygen[i] - (line ? line->at(out.seconds[i]) : 0.0));
        if (i > 0) {
            steps.push_back(out.seconds[i] - out.seconds[i - 1]);
        }
    }
    out.usual_step = median_of(std::move(steps));
    return out;
}

std::string clock_text(const SealedSlope& slope, double seconds) {
    return iso_text(slope.from + Duration::seconds(std::round(seconds)));
}

/// Means over `k` readings just before and just after each reading, less each other.
struct Jumps {
    std::size_t k = 0;
    std::vector<double> at; ///< value i is about the reading i + k
    double usual = 0.0;
    double sd = 0.0;
};

Jumps jumps_of(const Readings& readings, const fit::NoiseModel* noise) {
    const std::size_t n = readings.oxygen.size();
    const auto in_ten_s =
        readings.usual_step > 0.0 ? static_cast<std::size_t>(10.0 / readings.usual_step) : 5;
    Jumps out{.k = std::clamp<std::size_t>(in_ten_s, 3, std::max<std::size_t>(3, n / 6))};
    if (n < 4 * out.k) {
        return out;
    }
    const auto k = static_cast<double>(out.k);
    out.at.reserve(n);
    double before = 0.0;
    double after = 0.0;
    for (std::size_t i = 0; i < out.k; ++i) {
        before += readings.residual[i];
        after += readings.residual[out.k + i];
    }
    for (std::size_t i = out.k;; ++i) {
        out.at.push_back((after - before) / k);
        if (i + out.k >= n) {
            break;
        }
        before += readings.residual[i] - readings.residual[i - out.k];
        after += readings.residual[i + out.k] - readings.residual[i];
    }
    out.usual = median_of(out.at);
    std::vector<double> away;
    away.reserve(out.at.size());
    for (const double jump : out.at) {
        away.push_back(std::abs(jump - out.usual));
    }
    // Median absolute deviation of a normal sample times 1.4826 is its sd.
    out.sd = 1.4826 * median_of(std::move(away));
    if (noise != nullptr) {
        std::vector<double> weights(2 * out.k, 1.0 / k);
        std::fill_n(weights.begin(), out.k, -1.0 / k);
        const auto times = std::span(readings.seconds).first(2 * out.k);
        out.sd = std::max(out.sd, std::sqrt(fit::variance_of_sum(*noise, times, weights)));
    }
    return out;
}

std::optional<Reason> step_sign(const Readings& readings, const Jumps& jumps, const SealedSlope& slope,
                                const MarkLimits& limits) {
    double largest = 0.0;
    std::size_t at = 0;
    for (std::size_t i = 0; i < jumps.at.size(); ++i) {
        if (std::abs(jumps.at[i] - jumps.usual) > std::abs(largest)) {
            largest = jumps.at[i] - jumps.usual;
            at = i + jumps.k;
        }
    }
    if (std::abs(largest) < std::max(limits.step_mg_per_l, limits.sign_errors * jumps.sd)) {
        return std::nullopt;
    }
    return Reason{"step", "oxygen jumped by " + number(largest) + " mg/L about " +
                              clock_text(slope, readings.seconds[at]) +
                              ": a bubble at the sensor, water let in, or the sensor moved"};
}

std::optional<Reason> rebound_sign(const Readings& readings, const Jumps& jumps, const SealedSlope& slope,
                                   const fit::NoiseModel* noise, const MarkLimits& limits) {
    const std::size_t n = readings.oxygen.size();
    if (n < 4 * jumps.k || slope.slope_mg_per_l_h >= 0.0) {
        return std::nullopt;
    }
    // Two means far apart in time share nothing of the noise, slow or not.
    const double apart = noise != nullptr ? std::sqrt(2.0 * noise->variance()) : jumps.sd;
    const double limit = std::max(limits.rebound_mg_per_l, limits.sign_errors * std::max(jumps.sd, apart));
    double sum = 0.0;
    double lowest = std::numeric_limits<double>::infinity();
    double largest = 0.0;
    double at = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        sum += readings.oxygen[i] - (i >= jumps.k ? readings.oxygen[i - jumps.k] : 0.0);
        if (i + 1 < jumps.k) {
            continue;
        }
        const double mean = sum / static_cast<double>(jumps.k);
        lowest = std::min(lowest, mean);
        if (mean - lowest > largest) {
            largest = mean - lowest;
            at = readings.seconds[i];
        }
    }
    if (largest < limit) {
        return std::nullopt;
    }
    return Reason{"rebound", "oxygen rose again by " + number(largest) + " mg/L until " +
                                 clock_text(slope, at) +
                                 " in a sealed chamber: a bubble, a leak, or the flush not off"};
}

struct Third {
    double slope = 0.0;
    double error = 0.0;
};

Third third_of(const Readings& readings, std::size_t first, std::size_t end, const SealedSlope& slope,
               const fit::NoiseModel* noise) {
    const auto x = std::span(readings.seconds).subspan(first, end - first);
    const auto line = detail::lane_line(x, std::span(readings.oxygen).subspan(first, end - first));
    if (!line) {
        return {};
    }
    Third out{line->slope, line->slope_se};
    if (noise != nullptr) {
        if (const auto modelled = fit::modelled_slope(*noise, x)) {
            out.error = modelled->slope_se;
        }
    } else if (slope.slope_error_ordinary > 0.0) {
        // A quick slope comes without; few spells get as far as to need it.
        const double newey_west =
            slope.slope_error_newey_west > 0.0
                ? slope.slope_error_newey_west
                : 3600.0 * fit::newey_west_slope_se(slope.line, readings.seconds, readings.oxygen);
        out.error *= std::max(1.0, newey_west / slope.slope_error_ordinary);
    }
    return out;
}

std::optional<Reason> plateau_sign(const Readings& readings, const SealedSlope& slope,
                                   const fit::NoiseModel* noise, const MarkLimits& limits) {
    const std::size_t n = readings.oxygen.size();
    if (n < 15) {
        return std::nullopt;
    }
    // The plain slopes first: few spells come near, and errors under the noise cost more.
    const auto plain = [&](std::size_t first) {
        const auto x = std::span(readings.seconds).subspan(first, n / 3);
        const auto line = detail::lane_line(x, std::span(readings.oxygen).subspan(first, n / 3));
        return line ? line->slope : 0.0;
    };
    const double early_slope = plain(0);
    if (!(early_slope < 0.0) || !(plain(n - (n / 3)) > limits.plateau_share * early_slope)) {
        return std::nullopt;
    }
    const Third early = third_of(readings, 0, n / 3, slope, noise);
    const Third late = third_of(readings, n - (n / 3), n, slope, noise);
    const double difference = late.slope - early.slope;
    const bool falls_first = early.slope < -5.0 * early.error;
    if (!falls_first || difference < 3.0 * std::hypot(early.error, late.error)) {
        return std::nullopt;
    }
    return Reason{"plateau",
                  "oxygen fell at " + number(-early.slope * 3600.0) + " mg/L/h in the first third and at " +
                      number(-late.slope * 3600.0) +
                      " in the last: a leak, a bubble giving oxygen, or a sensor cut off from the flow"};
}

std::optional<Reason> gap_sign(const Readings& readings, const SealedSlope& slope, const MarkLimits& limits) {
    double longest = 0.0;
    double at = 0.0;
    for (std::size_t i = 1; i < readings.seconds.size(); ++i) {
        if (readings.seconds[i] - readings.seconds[i - 1] > longest) {
            longest = readings.seconds[i] - readings.seconds[i - 1];
            at = readings.seconds[i - 1];
        }
    }
    if (readings.usual_step == 0.0 || longest <= limits.gap_steps * readings.usual_step * (1.0 + 1e-9)) {
        return std::nullopt;
    }
    return Reason{"gap", "no reading for " + number(longest) + " s after " + clock_text(slope, at) +
                             " (usually every " + number(readings.usual_step) + " s)"};
}

struct StillRun {
    double seconds = 0.0;
    double from = 0.0;
    std::size_t readings = 0;
};

StillRun longest_still(const Readings& readings) {
    StillRun best;
    std::size_t first = 0;
    for (std::size_t i = 1; i <= readings.oxygen.size(); ++i) {
        if (i < readings.oxygen.size() && readings.repeats[i] != 0) {
            continue;
        }
        const double lasted = readings.seconds[i - 1] - readings.seconds[first];
        if (lasted > best.seconds) {
            best = {.seconds = lasted, .from = readings.seconds[first], .readings = i - first};
        }
        first = i;
    }
    return best;
}

std::optional<Reason> frozen_sign(const Readings& readings, const SealedSlope& slope,
                                  const MarkLimits& limits) {
    const StillRun still = longest_still(readings);
    if (still.seconds < limits.frozen_s || still.readings < limits.frozen_readings) {
        return std::nullopt;
    }
    const bool all = still.readings == readings.oxygen.size();
    // A coarse sensor in a slow fall stands still honestly. What the fall alone would have changed meanwhile
    // must exceed two of the smallest steps that the sensor has shown elsewhere in the spell.
    double least = std::numeric_limits<double>::infinity();
    for (std::size_t i = 1; i < readings.oxygen.size(); ++i) {
        const double step = std::abs(readings.oxygen[i] - readings.oxygen[i - 1]);
        // Converted readings of one value differ in their last bits when temperature moves.
        if (readings.repeats[i] == 0 && step > 1e-6) {
            least = std::min(least, step);
        }
    }
    const double expected = std::abs(slope.line.slope) * still.seconds;
    if (!all && expected < 2.0 * least) {
        return std::nullopt;
    }
    return Reason{"frozen", "the same reading " + std::to_string(still.readings) + " times, for " +
                                number(still.seconds) + " s from " + clock_text(slope, still.from) +
                                ": the sensor or the logger stood still"};
}

std::vector<Reason> signs_of(const Readings& readings, const SealedSlope& slope, const fit::NoiseModel* noise,
                             StayRole role, const MarkLimits& limits) {
    std::vector<Reason> out;
    const auto add = [&](std::optional<Reason> sign) {
        if (sign) {
            out.push_back(*std::move(sign));
        }
    };
    if (readings.oxygen.size() < 3) {
        return out;
    }
    const Jumps jumps = jumps_of(readings, noise);
    add(frozen_sign(readings, slope, limits));
    add(gap_sign(readings, slope, limits));
    add(step_sign(readings, jumps, slope, limits));
    add(rebound_sign(readings, jumps, slope, noise, limits));
    if (role != StayRole::blank && role != StayRole::leak_test) {
        add(plateau_sign(readings, slope, noise, limits));
    }
    return out;
}

} // namespace

std::vector<Reason> sealed_signs(const SealedView& view, const SealedSlope& slope,
                                 const fit::NoiseModel* noise, StayRole role, const MarkLimits& limits) {
    return signs_of(readings_of(view, slope), slope, noise, role, limits);
}

// ------------------------------------------------------------------------------------------------ marks

namespace {

class Judge {
  public:
    Judge(const SealedSlope& slope, const MarkContext& context, const MarkLimits& limits)
        : slope_(slope), context_(context), limits_(limits) {}

    void doubt(std::string word, std::string text) {
        result_.mark = std::max(result_.mark, Mark::doubtful);
        result_.reasons.push_back({std::move(word), std::move(text)});
    }
    void refuse(std::string word, std::string text) {
        result_.mark = Mark::unusable;
        result_.reasons.push_back({std::move(word), std::move(text)});
    }

    void count() {
        const std::string found = std::to_string(slope_.readings) + " readings";
        if (slope_.readings < limits_.too_few_readings) {
            refuse("too_few_readings",
                   found + ", at least " + std::to_string(limits_.too_few_readings) + " needed");
        } else if (slope_.readings < limits_.few_readings) {
            doubt("few_readings", found + ", fewer than " + std::to_string(limits_.few_readings));
        }
        const auto rows = static_cast<double>(slope_.readings + slope_.missing);
        const double share = static_cast<double>(slope_.missing) / rows;
        const std::string text =
            std::to_string(slope_.missing) + " of " + number(rows, 6) + " readings are missing";
        if (share > 0.5) {
            refuse("missing", text);
        } else if (share > limits_.missing_share) {
            doubt("missing", text);
        }
    }

    void signs(const std::vector<Reason>& found, double frozen_share) {
        for (const Reason& sign : found) {
            if (sign.word == "frozen" && frozen_share > 0.5) {
                is_frozen_ = true;
                refuse(sign.word, sign.text);
            } else {
                doubt(sign.word, sign.text);
            }
        }
    }

    void direction() {
        if (is_frozen_) {
            return; // what still moves is the calibration's drift or the water's temperature
        }
        const bool rises =
            slope_.slope_mg_per_l_h > 2.0 * slope_.slope_error && slope_.slope_mg_per_l_h > 0.0;
        if (!rises) {
            return;
        }
        const std::string text = "oxygen rose at " + number(slope_.slope_mg_per_l_h) + " ± " +
                                 number(slope_.slope_error, 2) + " mg/L/h in a sealed chamber";
        if (has_fish()) {
            refuse("rising", text);
        } else {
            doubt("rising", text + ": drift of sensor or temperature, or a leak");
        }
    }

    void precision() {
        const double size = std::abs(slope_.slope_mg_per_l_h);
        if (is_fast(context_.role)) {
            if (slope_.slope_error > limits_.fast_relative_error * size) {
                doubt("slope_error", "the slope's standard error is " + percent(slope_.slope_error / size) +
                                         " of the slope, above " + percent(limits_.fast_relative_error));
            }
            return;
        }
        const double usual = std::abs(context_.median_slope_mg_per_l_h);
        if (has_fish() && usual > 0.0 && slope_.slope_error > limits_.rest_error_of_median * usual) {
            doubt("slope_error", "the slope's standard error is " + percent(slope_.slope_error / usual) +
                                     " of the stay's median slope, above " +
                                     percent(limits_.rest_error_of_median));
        }
    }

    void residuals() {
        if (context_.noise == nullptr) {
            return;
        }
        const double expected = std::sqrt(context_.noise->variance());
        if (expected > 0.0 && slope_.residual_sd_mg_per_l > limits_.residual_factor * expected) {
            doubt("residuals", "readings scatter about the line by " +
                                   number(slope_.residual_sd_mg_per_l, 2) +
                                   " mg/L where the sensor's own noise is " + number(expected, 2));
        }
    }

    void curvature() {
        if (!has_fish()) {
            return;
        }
        const double limit = is_fast(context_.role) ? limits_.fast_curvature : limits_.rest_curvature;
        const double share = slope_.curvature_share;
        const double error = slope_.curvature_share_error;
        // Sure of being beyond the limit: size, not significance, judges.
        if (!std::isfinite(error) || std::abs(share) - (1.96 * error) <= limit) {
            return;
        }
        const std::string size = percent(std::abs(share)) + " ± " + percent(error);
        if (share < 0.0) {
            doubt("falling_uptake",
                  "uptake fell by " + size + " of its mean within the spell, while oxygen went from " +
                      number(slope_.saturation_start_percent) + " to " +
                      number(slope_.saturation_end_percent) + " %: a leak, a bubble, or a fish calming down");
        } else {
            doubt("rising_uptake",
                  "uptake rose by " + size +
                      " of its mean within the spell: slow mixing, or a fish growing restless");
        }
    }

    void oxygen_floors() {
        const bool fast = is_fast(context_.role);
        const double start = fast ? limits_.start_floor_fast_percent : limits_.start_floor_rest_percent;
        const double end = fast ? limits_.end_floor_fast_percent : limits_.end_floor_rest_percent;
        if (slope_.saturation_start_percent < start) {
            doubt("low_start", "the spell began at " + number(slope_.saturation_start_percent) +
                                   " % of air saturation, below " + number(start) + " %");
        }
        if (slope_.saturation_end_percent < end) {
            doubt("low_oxygen", "the spell ended at " + number(slope_.saturation_end_percent) +
                                    " % of air saturation, below " + number(end) +
                                    " %: uptake may have been limited");
        }
    }

    void temperature() {
        if (std::abs(slope_.temperature_drift_c_per_h) > limits_.warming_c_per_h) {
            doubt("warming", "temperature changed by " + number(slope_.temperature_drift_c_per_h) +
                                 " degC per hour, more than " + number(limits_.warming_c_per_h));
        }
    }

    Judgement result() { return std::move(result_); }

  private:
    [[nodiscard]] bool has_fish() const {
        return context_.role != StayRole::blank && context_.role != StayRole::leak_test;
    }
    static std::string percent(double share) { return number(100.0 * share, 2) + " %"; }

    const SealedSlope& slope_;
    const MarkContext& context_;
    const MarkLimits& limits_;
    bool is_frozen_ = false;
    Judgement result_;
};

} // namespace

Judgement judge(const SealedView& view, const SealedSlope& slope, const MarkContext& context,
                const MarkLimits& limits) {
    Judge judge(slope, context, limits);
    const Readings readings = readings_of(view, slope);
    judge.count();
    judge.signs(signs_of(readings, slope, context.noise, context.role, limits),
                static_cast<double>(longest_still(readings).readings) /
                    static_cast<double>(std::max<std::size_t>(1, readings.oxygen.size())));
    judge.direction();
    judge.precision();
    judge.residuals();
    judge.curvature();
    judge.oxygen_floors();
    judge.temperature();
    return judge.result();
}

} // namespace backeddy::uptake
