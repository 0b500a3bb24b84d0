#include "study/blood_draws.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "base/lower_case.hpp"
#include "study/detail/relation_words.hpp"

namespace backeddy::study {

namespace {

std::string plain_unit(std::string_view unit) {
    std::string out;
    for (const char c : unit) {
        if (c != ' ' && c != '.') {
            out += lower_letter(c);
        }
    }
    return out;
}

void take_larger(std::optional<double>& volume, std::optional<double> other) {
    if (other && *other > 0.0) {
        volume = std::max(volume.value_or(0.0), *other);
    }
}

std::vector<BloodDraw> of_blood(const FishId& fish, std::span<const BloodRow> rows) {
    std::map<Instant, BloodDraw> draws;
    for (const auto& row : rows) {
        if (row.fish == fish) {
            auto& draw = draws[row.drawn_at];
            draw.at = row.drawn_at;
            draw.rows.push_back(&row);
            take_larger(draw.volume_ml, row.volume_ml);
        }
    }
    std::vector<BloodDraw> out;
    for (auto& [at, draw] : draws) {
        out.push_back(std::move(draw));
    }
    return out;
}

BloodDraw* nearest(std::vector<BloodDraw>& draws, Instant at) {
    BloodDraw* best = nullptr;
    for (auto& draw : draws) {
        const auto off = [&](const BloodDraw& one) { return std::abs((one.at - at).seconds()); };
        if (off(draw) <= same_draw_s && (best == nullptr || off(draw) < off(*best))) {
            best = &draw;
        }
    }
    return best;
}

void take_event(BloodDraw& draw, const Event& event) {
    draw.events.push_back(&event);
    const auto volume = volume_ml_of(event);
    if (volume && *volume > draw.volume_ml.value_or(0.0)) {
        draw.volume_ml = volume;
        draw.volume_event = &event;
    }
}

} // namespace

std::string BloodDraw::who() const {
    for (const auto* row : rows) {
        if (!row->who.empty()) {
            return row->who;
        }
    }
    return events.empty() ? std::string() : event()->who;
}

const Event* BloodDraw::event() const {
    const Event* best = nullptr;
    for (const auto* one : events) {
        const auto off = [&](const Event* of) { return std::abs((of->at - at).seconds()); };
        best = best == nullptr || off(one) < off(best) ? one : best;
    }
    return best;
}

std::optional<double> volume_ml_of(const Event& event) {
    if (!event.value || !(*event.value > 0.0)) {
        return std::nullopt;
    }
    const auto unit = plain_unit(event.unit);
    if (unit == "ml") {
        return event.value;
    }
    if (unit == "ul" || unit == "\xC2\xB5l" || unit == "\xCE\xBCl") {
        return *event.value / 1000.0;
    }
    return unit == "l" ? std::optional(*event.value * 1000.0) : std::nullopt;
}

std::vector<BloodDraw> blood_draws(const FishId& fish, std::span<const BloodRow> rows, const Tables& tables) {
    auto out = of_blood(fish, rows);
    std::vector<BloodDraw> more;
    for (const auto& event : tables.events) {
        if (event.kind != EventKind::blood || !is_event_of(fish, event, tables)) {
            continue;
        }
        if (auto* draw = nearest(out, event.at)) {
            take_event(*draw, event);
        } else {
            more.push_back({.at = event.at});
            take_event(more.back(), event);
        }
    }
    out.insert(out.end(), more.begin(), more.end());
    std::ranges::stable_sort(out, {}, &BloodDraw::at);
    return out;
}

std::vector<condition::Draw> volumes_of(std::span<const BloodDraw> draws) {
    std::vector<condition::Draw> out;
    for (const auto& draw : draws) {
        if (draw.volume_ml) {
            out.push_back({.at = draw.at, .volume_ml = *draw.volume_ml});
        }
    }
    return out;
}

} // namespace backeddy::study
