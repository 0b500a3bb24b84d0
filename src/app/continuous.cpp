#include "app/continuous.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/parallel.hpp"
#include "series/trace.hpp"

namespace backeddy::app {

namespace {

using uptake::ChamberState;
using uptake::ContinuousUptake;

// An inflow reading is carried this far to a flush (our choice, as for other slowly changing water).
constexpr double inflow_reach_min = 30.0;
// A hole in the trace longer than this parts the curve: nobody knows what the pump did meanwhile.
constexpr double longest_hole_min = 5.0;

Expected<ContinuousUptake> sealed_alone(const StayAnswer& stay, const uptake::ContinuousSettings& settings) {
    std::vector<uptake::PeakSpell> spells;
    for (const auto& spell : stay.uptake->spells) {
        const auto& slice = stay.input.slices[spell.slice];
        const bool carries_lag = stay.input.settings.model_lag_when_fast && uptake::is_fast(spell.role);
        spells.push_back({.spell = &spell,
                          .readings = uptake::readings_of(stay.input, spell),
                          .noise = slice.noise.value_or(fit::NoiseModel{}),
                          .modelled_lag_s = carries_lag ? slice.chamber.sensor_lag_s : 0.0});
    }
    return uptake::continuous_sealed(spells, settings);
}

/// Why a slice's flushes cannot be followed; empty where they can.
std::string flushes_refused(const Chambers& chambers, const Chamber& chamber) {
    if (!chambers.inflow) {
        return "the inflow's oxygen is not known (no inflow_oxygen_channel)";
    }
    if (!chamber.assembly->flow) {
        return fmt::format("the flow of assembly {} is not in the table", chamber.assembly->id.text());
    }
    return {};
}

/// Columns of one slice's rows within [first, end), state and inflow beside oxygen.
struct FlushColumns {
    std::vector<std::int64_t> times_ns;
    std::vector<double> oxygen;
    std::vector<ChamberState> state;
    std::vector<double> inflow;
};

class SliceCurve {
  public:
    SliceCurve(const StayAnswer& stay, std::size_t slice, const Chambers& chambers,
               const uptake::ContinuousSettings& settings)
        : stay_(stay), slice_(stay.input.slices[slice]), chamber_(*stay.slices[slice]), index_(slice),
          inflow_(*chambers.inflow), settings_(settings) {}

    // One curve per unbroken stretch.
    Expected<void> add_to(ContinuousUptake& out) {
        const auto& times = slice_.trace->times_ns;
        const auto hole = Duration::minutes(longest_hole_min).nanoseconds();
        std::size_t first = slice_.first_row;
        for (std::size_t i = slice_.first_row + 1; i <= slice_.end_row; ++i) {
            if (i == slice_.end_row || times[i] - times[i - 1] > hole) {
                if (auto added = add_stretch(first, i, out); !added) {
                    return added;
                }
                first = i;
            }
        }
        return {};
    }

  private:
    [[nodiscard]] ChamberState state_at(std::int64_t ns) {
        const auto& states = stay_.uptake->states;
        while (next_ < states.size() &&
               (states[next_].slice != index_ || states[next_].run.to.unix_nanoseconds() <= ns)) {
            ++next_;
        }
        return next_ < states.size() && states[next_].run.from.unix_nanoseconds() <= ns
                   ? states[next_].run.state
                   : ChamberState::unknown;
    }

    FlushColumns columns(std::size_t first, std::size_t end) {
        const auto& trace = *slice_.trace;
        FlushColumns out;
        for (std::size_t i = first; i < end; ++i) {
            out.times_ns.push_back(trace.times_ns[i]);
            out.oxygen.push_back(trace.oxygen_mg_per_l[i]);
            out.state.push_back(state_at(trace.times_ns[i]));
            out.inflow.push_back(out.state.back() == ChamberState::flush
                                     ? interpolated(inflow_.times_ns, inflow_.mg_per_l,
                                                    Instant::unix_nanoseconds(trace.times_ns[i]),
                                                    Duration::minutes(inflow_reach_min))
                                     : missing);
        }
        // What a bubble or a hand did to a spell is no uptake: such readings are bridged.
        for (const auto& spell : stay_.uptake->spells) {
            if (spell.slice == index_ && !spell.answer.is_usable()) {
                for (std::size_t i = std::max(first, spell.first_row); i < std::min(end, spell.end_row);
                     ++i) {
                    out.oxygen[i - first] = missing;
                }
            }
        }
        return out;
    }

    // Background at a moment: straight between the spells' own, steady beyond them.
    [[nodiscard]] double background_at(Instant at) const {
        const auto& spells = stay_.uptake->spells;
        const auto value = [&](std::size_t i) { return spells[i].answer.background_mg_per_h.value(); };
        const auto after = std::find_if(spells.begin(), spells.end(), [&](const uptake::SealedSpell& s) {
            return s.answer.middle() >= at;
        });
        const auto i = static_cast<std::size_t>(after - spells.begin());
        if (i == 0 || i == spells.size()) {
            return value(i == 0 ? 0 : i - 1);
        }
        const double width = (spells[i].answer.middle() - spells[i - 1].answer.middle()).seconds();
        const double u = width > 0.0 ? (at - spells[i - 1].answer.middle()).seconds() / width : 1.0;
        return value(i - 1) + (u * (value(i) - value(i - 1)));
    }

    Expected<void> add_stretch(std::size_t first, std::size_t end, ContinuousUptake& out) {
        if (end - first < 5) {
            return {};
        }
        const auto cells = columns(first, end);
        const auto& spells = stay_.uptake->spells;
        const auto own = std::find_if(spells.begin(), spells.end(),
                                      [&](const uptake::SealedSpell& s) { return s.slice == index_; });
        if (own == spells.end()) {
            return {};
        }
        const Measured litres = own->water_volume_l;
        const auto& assembly = *chamber_.assembly;
        const double flow = assembly.flow->l_per_min();
        const double flow_error = assembly.flow_uncertainty ? assembly.flow_uncertainty->l_per_min() : 0.0;
        auto curve = uptake::continuous_through_flushes(
            {.times_ns = cells.times_ns,
             .oxygen_mg_per_l = cells.oxygen,
             .state = cells.state,
             .inflow_mg_per_l = cells.inflow,
             .flow_l_per_min = Measured(flow, flow_error, "flow:" + assembly.id.text()),
             .water_volume_l = litres,
             .noise = slice_.noise.value_or(fit::NoiseModel{}),
             .sensor_lag_s = slice_.chamber.sensor_lag_s},
            settings_);
        if (!curve) {
            return fail(std::move(curve).error());
        }
        const int piece = out.piece.empty() ? 0 : out.piece.back() + 1;
        for (std::size_t i = 0; i < curve->at.size(); ++i) {
            const double background = background_at(curve->at[i]);
            out.at.push_back(curve->at[i]);
            out.mg_per_h.push_back(curve->mg_per_h[i] - background);
            out.low_mg_per_h.push_back(curve->low_mg_per_h[i] - background);
            out.high_mg_per_h.push_back(curve->high_mg_per_h[i] - background);
            out.piece.push_back(piece);
        }
        out.how = curve->how;
        out.scale_uncertainty = std::max(out.scale_uncertainty, curve->scale_uncertainty);
        if (out.reasons.empty()) {
            out.reasons.push_back(
                {"inflow_error", fmt::format("the band holds no error of the inflow: 0.05 mg/L of it would "
                                             "move the curve by {:.0f} mg/h in every flush",
                                             0.05 * flow * 60.0)});
        }
        return {};
    }

    const StayAnswer& stay_;
    const uptake::StaySlice& slice_;
    const Chamber& chamber_;
    std::size_t index_;
    const InflowOxygen& inflow_;
    const uptake::ContinuousSettings& settings_;
    std::size_t next_ = 0; ///< the state run that state_at() looked at last
};

Expected<ContinuousUptake> one_curve(const StayAnswer& stay, const Chambers& chambers,
                                     const uptake::ContinuousSettings& settings) {
    if (stay.uptake->spells.empty()) {
        return uptake::continuous_sealed({}, settings);
    }
    std::string refused;
    for (const auto* chamber : stay.slices) {
        refused = refused.empty() ? flushes_refused(chambers, *chamber) : refused;
    }
    if (refused.empty()) {
        ContinuousUptake out;
        Expected<void> all{};
        for (std::size_t s = 0; s < stay.slices.size() && all; ++s) {
            all = SliceCurve(stay, s, chambers, settings).add_to(out);
        }
        if (all && !out.at.empty()) {
            return out;
        }
        refused = all ? "no stretch is long enough" : all.error().found;
    }
    auto alone = sealed_alone(stay, settings);
    if (alone) {
        alone->reasons.insert(alone->reasons.begin(),
                              {"not_through_flushes", "broken in flushes: " + refused});
    }
    return alone;
}

} // namespace

Curves continuous_of(const Study& study, const Chambers& chambers, const StayAnswers& stays,
                     Threads threads) {
    Curves out(stays.list.size());
    renew_curves(study, chambers, stays, std::vector<bool>(stays.list.size(), true), threads, out);
    return out;
}

void renew_curves(const Study& study, const Chambers& chambers, const StayAnswers& stays,
                  const std::vector<bool>& is_changed, Threads threads, Curves& curves) {
    parallel_for(stays.list.size(), threads, [&](std::size_t i) {
        if (!is_changed[i]) {
            return;
        }
        const auto& stay = stays.list[i];
        const auto settings = study.brief.at(stay.stay->from()).continuous;
        curves[i].reset();
        if (stay.fish != nullptr && stay.uptake && settings.is_wanted) {
            curves[i] = one_curve(stay, chambers, settings);
        }
    });
}

} // namespace backeddy::app
