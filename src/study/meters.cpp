#include "study/meters.hpp"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "base/lower_case.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

std::string folded(std::string_view name) {
    const auto out = lower_case(name);
    const auto first = out.find_first_not_of(" \t");
    return first == std::string::npos ? std::string()
                                      : out.substr(first, out.find_last_not_of(" \t") + 1 - first);
}

/// In the analyte's usual unit. Units of an analyte are proportional, so that both sides are scaled alike.
Expected<std::vector<condition::MeterPair>> pairs_of(const Meter& meter) {
    const auto usual = condition::usual_unit(meter.analyte);
    const auto factor =
        condition::converted(meter.analyte, 1.0, meter.unit.empty() ? usual : meter.unit, usual);
    if (!factor) {
        return fail(factor.error());
    }
    auto out = meter.pairs;
    for (auto& pair : out) {
        pair = {.reference = pair.reference * *factor, .meter = pair.meter * *factor};
    }
    return out;
}

Expected<condition::MeterCorrection> fitted(const Meter& meter) {
    const auto pairs = pairs_of(meter);
    if (!pairs) {
        return fail(pairs.error());
    }
    return condition::fit_meter(*pairs, meter.options);
}

std::string name_of(const Meter& meter) {
    return fmt::format("the meter \"{}\" of {}", meter.device, word_of(meter.analyte));
}

Complaint not_fitted(const Meter& meter, Error error) {
    error.place = meter.place;
    error.place.column = error.code == ErrorCode::bad_unit ? "unit" : "pairs";
    error.remedy += fmt::format("{}until then its values stand as they were read",
                                error.remedy.empty() ? "mend the pairs; " : "; ");
    return {.severity = Severity::warning, .error = std::move(error).within(name_of(meter))};
}

} // namespace

Meters::Meters(const Brief& brief) {
    std::map<Key, const Meter*> seen;
    std::set<Key> repeated;
    for (const auto& meter : brief.meters) {
        const Key key{folded(meter.device), meter.analyte};
        const auto [first, is_new] = seen.emplace(key, &meter);
        if (!is_new) {
            repeated.insert(key);
            complaints_.push_back(warn(
                meter.place, "device",
                {.code = ErrorCode::duplicate,
                 .found = fmt::format("{} a second time, after {}", name_of(meter),
                                      line_text(first->second->place)),
                 .expected = "one [[meter]] for each device and analyte",
                 .remedy = "put the pairs together, or name the devices apart here and in blood.csv; until "
                           "then its values stand as they were read"}));
            continue;
        }
        auto fit = fitted(meter);
        if (fit) {
            fitted_.emplace(key, *fit);
        } else {
            complaints_.push_back(not_fitted(meter, std::move(fit).error()));
        }
    }
    for (const auto& key : repeated) {
        fitted_.erase(key);
    }
}

const condition::MeterCorrection* Meters::find(const condition::Assayed& assayed) const {
    const auto found = fitted_.find({folded(assayed.device), assayed.analyte});
    return found == fitted_.end() ? nullptr : &found->second;
}

} // namespace backeddy::study
