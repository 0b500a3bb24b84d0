#include "report/methods.hpp"

#include <algorithm>
#include <iterator>
#include <set>

#include <fmt/format.h>

#include "report/detail/methods_condition.hpp"

namespace backeddy::report {

namespace {

using detail::with_settings;

std::string how_states_were_known(const Results& results) {
    std::set<std::string> ways;
    for (const Fish& fish : results.fish) {
        for (const Stay& stay : fish.stays) {
            ways.insert(stay.states_from);
        }
    }
    std::string text;
    for (const std::string& way : ways) {
        if (!way.empty()) {
            text += (text.empty() ? " They were known from: " : "; ") + way;
        }
    }
    return text.empty() ? text : text + ".";
}

std::string noise_text(const Results& results) {
    std::string text;
    for (const Sensor& each : results.sensors) {
        if (each.noise.white_sd_mg_per_l.has_value()) {
            text += fmt::format(" {}: white {}, correlated {} with {} ({}).", each.name,
                                text_of(each.noise.white_sd_mg_per_l),
                                text_of(each.noise.autoregressive_sd_mg_per_l),
                                text_of(each.noise.correlation_time_s), each.noise.from);
        }
    }
    return text;
}

} // namespace

std::vector<Paragraph> methods_text(const Results& results) {
    std::vector<Paragraph> all;
    all.push_back(
        {"Oxygen",
         "Every reading was brought to mg/L with the water's temperature, salinity and pressure at that "
         "moment (solubility: Benson and Krause 1984; Garcia and Gordon 1992)." +
             with_settings(results, {"water"})});
    all.push_back({"Chamber states", "A chamber is flushed, then sealed; the first part of each sealed spell "
                                     "is set aside while the water "
                                     "mixes and the sensor catches up (settle)." +
                                         how_states_were_known(results) +
                                         with_settings(results, {"states", "settle"})});
    all.push_back(
        {"Sealed slopes",
         "One least-squares line per sealed spell on centred time. Its standard error allows for the "
         "sensor's "
         "own noise, white and first-order autoregressive, estimated per sensor and pooled; ordinary and "
         "Newey–West errors are kept beside it for comparison. r² is reported and decides nothing." +
             noise_text(results) + with_settings(results, {"noise", "marks"})});
    all.push_back(
        {"Background", "Uptake by microbes was measured in chambers without a fish and taken off in mg/h." +
                           with_settings(results, {"background"})});
    all.push_back(
        {"Uptake",
         "Uptake is minus the slope times the water's volume (chamber and loop less the fish, whose volume "
         "is "
         "mass over density), less the background; divided by body mass where the fish was weighed."});
    all.push_back(
        {"Peak uptake",
         "The steepest window of the stated length inside one sealed spell after the event, slid by one "
         "reading, never across a flush or a gap and never carried back before the seal. What picking the "
         "steepest adds by chance was simulated and taken off; the mean of the first sealed spell, which no "
         "search has touched, stands beside it. These are peaks in recovery: peak after capture, peak after "
         "chase." +
             with_settings(results, {"peak"})});
    all.push_back(
        {"Resting uptake",
         "Published estimators side by side; the rule of Chabot and others (2016, J Fish Biol 88:81) picks: "
         "the mean of the lowest normal distribution where its values scatter little, else a quantile. "
         "Values "
         "count from where no downward trend is left. Intervals by block bootstrap; the pull of measurement "
         "noise on low estimators is estimated and shown." +
             with_settings(results, {"resting"})});
    all.push_back(
        {"Scope",
         "Absolute scope is peak less rest, factorial scope their ratio with its interval on the log scale. "
         "Errors cancel only through what both share, such as the fish's mass." +
             with_settings(results, {"adjust"})});
    all.push_back(
        {"Recovery",
         "Excess uptake above the baseline, by trapezoids over the sealed spells: in the boat hour, after "
         "transfer, and both as capture plus handling. Recovered means consecutive spells at or below the "
         "baseline; where that was not reached the values are lower bounds (censored) and say so. The hours "
         "have 95 % intervals, seldom symmetric: from where a never-rising curve through the spells meets "
         "the baseline raised by all that it is doubted by (its own uncertainty, the spells' scatter, rest's "
         "swing over the day) to where it meets the baseline lowered by the same and by the recovery that "
         "the fitted decay has left in it." +
             with_settings(results, {"recovery"})});
    all.push_back(
        {"Uptake as a curve in time",
         "Beside the uptake by spell, from which every answer comes, the chamber's own balance is smoothed "
         "in "
         "state space with the sensor's lag and noise in it (fixed-interval Kalman smoother, roughness by "
         "maximum likelihood); the band is pointwise. Through flushes only where the inflow's oxygen and the "
         "flow are known." +
             with_settings(results, {"continuous"})});
    std::ranges::move(detail::condition_methods(results), std::back_inserter(all));
    all.push_back(
        {"Uncertainty",
         "Each number carries signed contributions by named source (sensor, volume, mass, slope, blank ...), "
         "added in quadrature (JCGM 100:2008); shared sources cancel in differences and ratios."});
    return all;
}

std::vector<std::string> cautions() {
    // Each in brackets: a sentence over two lines is one text, not two with a comma forgotten.
    return {
        ("This report is no veterinary or husbandry advice: how fish are caught, held, bled, tagged, "
         "released or "
         "killed is decided by the licensed investigator and the permit."),
        ("The program is no life support. Pumps must fail to flush in hardware, and somebody stays within "
         "reach "
         "of fish in chambers."),
        ("The permit decides numbers, volumes, times and end points; the program counts and reports, it does "
         "not "
         "decide."),
        ("Peaks here are measured in recovery, after capture or after a chase; they are not the same "
         "quantity as "
         "a peak while swimming."),
        ("An overnight value from wild fish, whose last meal is unknown, is a resting uptake; it is called "
         "SMR "
         "only where the report says so."),
    };
}

} // namespace backeddy::report
