#include "uptake/pair.hpp"

#include <cmath>

#include "base/number_text.hpp"

namespace backeddy::uptake {

namespace {

Measured ratio_of(const UptakeRate& a, const UptakeRate& b) {
    return a.mg_per_kg_h && b.mg_per_kg_h ? *a.mg_per_kg_h / *b.mg_per_kg_h : a.mg_per_h / b.mg_per_h;
}

std::string air_text(const std::optional<Duration>& air) {
    return air ? fixed_text(air->seconds(), 0) + " s" : std::string("not known");
}

std::vector<std::string> differences_in_words(const PeakUptake& capture,
                                              const PeakSurroundings& around_capture, const PeakUptake& chase,
                                              const PeakSurroundings& around_chase, double hours_between) {
    std::vector<std::string> out;
    out.push_back("temperature: " + fixed_text(capture.temperature_celsius, 1) + " degC after capture, " +
                  fixed_text(chase.temperature_celsius, 1) + " degC after chase");
    out.push_back(around_capture.assembly == around_chase.assembly
                      ? "tube: the same, " + around_capture.assembly
                      : "tube: " + around_capture.assembly + " after capture, " + around_chase.assembly +
                            " after chase");
    out.push_back(around_capture.sensor == around_chase.sensor
                      ? "oxygen sensor: the same, " + around_capture.sensor
                      : "oxygen sensor: " + around_capture.sensor + " after capture, " + around_chase.sensor +
                            " after chase");
    out.push_back(around_chase.bled_before ? "blood was drawn between the two"
                                           : "no blood was drawn between the two");
    out.push_back("air: " + air_text(around_capture.air) + " before the first, " +
                  air_text(around_chase.air) + " before the second");
    out.push_back("start of the window: " + fixed_text(capture.start_after_event.seconds(), 0) +
                  " s after capture, " + fixed_text(chase.start_after_event.seconds(), 0) + " s after chase");
    out.push_back("time between: " + fixed_text(hours_between, 1) + " h");
    return out;
}

} // namespace

Expected<PeakPair> peak_pair(const PeakUptake& after_capture, const PeakSurroundings& around_capture,
                             const PeakUptake& after_chase, const PeakSurroundings& around_chase,
                             const AdjustSettings& settings) {
    const double capture = after_capture.corrected.mg_per_h.value();
    const double chase = after_chase.corrected.mg_per_h.value();
    if (!std::isfinite(capture) || !std::isfinite(chase) || chase <= 0.0) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "peaks of " + significant_text(capture, 6) + " and " +
                              significant_text(chase, 6) + " mg/h",
                     .expected = "both must be finite and the second above 0",
                     .remedy = "look at the spells of both stays",
                     .place = {},
                     .context = {"comparing the peaks after capture and chase"}});
    }
    PeakPair out;
    out.after_capture = after_capture.corrected;
    out.after_chase = after_chase.corrected;
    out.difference = out.after_capture - out.after_chase;
    out.ratio = ratio_of(out.after_capture, out.after_chase);
    out.difference_interval_mg_per_h = normal_interval(out.difference.mg_per_h);
    if (out.ratio.value() > 0.0) {
        const Interval logs = normal_interval(log(out.ratio));
        out.ratio_interval = {.low = std::exp(logs.low), .high = std::exp(logs.high)};
    }
    out.hours_between = (after_chase.event_at - after_capture.event_at).hours();
    out.temperature_difference_c = after_capture.temperature_celsius - after_chase.temperature_celsius;
    out.differences =
        differences_in_words(after_capture, around_capture, after_chase, around_chase, out.hours_between);
    if (!std::isfinite(out.temperature_difference_c)) {
        out.reasons.push_back({"temperature_unknown", "a temperature is missing: not compared"});
    } else if (std::abs(out.temperature_difference_c) > settings.side_by_side_beyond.kelvin()) {
        out.reasons.push_back({"temperatures_differ",
                               "the two peaks were " + fixed_text(std::abs(out.temperature_difference_c), 1) +
                                   " degC apart: as measured and adjusted stand side by side"});
        if (auto adjusted =
                to_temperature(out.after_chase, Temperature::celsius(after_chase.temperature_celsius),
                               Temperature::celsius(after_capture.temperature_celsius), settings)) {
            out.reasons.insert(out.reasons.end(), adjusted->reasons.begin(), adjusted->reasons.end());
            out.ratio_adjusted = ratio_of(out.after_capture, adjusted->adjusted);
            out.chase_adjusted = std::move(adjusted->adjusted);
        }
    }
    for (const auto* peak : {&after_capture, &after_chase}) {
        if (peak->mark != Mark::good) {
            out.reasons.push_back({"doubtful_peak", peak->name + ": " + joined(peak->reasons)});
        }
    }
    return out;
}

} // namespace backeddy::uptake
