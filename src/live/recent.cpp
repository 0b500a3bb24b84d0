#include "live/recent.hpp"

#include <algorithm>
#include <cmath>

#include <nlohmann/json.hpp>

namespace backeddy::live {

Recent::Recent(std::size_t chambers, Duration step, Duration keeps)
    : step_(step), most_(static_cast<std::size_t>(keeps.seconds() / step.seconds())), chambers_(chambers) {}

void Recent::take(std::size_t chamber, Instant at, double mg_per_l, watch::Phase phase) {
    if (!std::isfinite(mg_per_l)) {
        return;
    }
    auto& course = chambers_[chamber];
    const bool goes_on = !course.empty() && at >= course.back().from && at - course.back().from < step_ &&
                         course.back().phase == phase;
    if (goes_on) {
        course.back().lowest = std::min(course.back().lowest, mg_per_l);
        course.back().highest = std::max(course.back().highest, mg_per_l);
        return;
    }
    course.push_back({.from = at, .lowest = mg_per_l, .highest = mg_per_l, .phase = phase});
    if (course.size() > most_) {
        course.pop_front();
    }
}

std::string Recent::json(std::size_t chamber) const {
    nlohmann::json from = nlohmann::json::array();
    nlohmann::json lowest = nlohmann::json::array();
    nlohmann::json highest = nlohmann::json::array();
    nlohmann::json sealed = nlohmann::json::array();
    for (const Stretch& stretch : chambers_[chamber]) {
        from.push_back(stretch.from.unix_nanoseconds() / 1'000'000);
        lowest.push_back(stretch.lowest);
        highest.push_back(stretch.highest);
        sealed.push_back(stretch.phase == watch::Phase::sealed ? 1 : 0);
    }
    return nlohmann::json{{"step_s", step_.seconds()},
                          {"from", from},
                          {"lowest", lowest},
                          {"highest", highest},
                          {"sealed", sealed}}
        .dump();
}

} // namespace backeddy::live
