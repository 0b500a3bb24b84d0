#include "study/decide.hpp"

#include <algorithm>
#include <iterator>

namespace backeddy::study {

namespace {

/// A later act undoes an earlier one of its kind.
void apply(const Decision& decision, std::size_t index, SpellVerdict& verdict) {
    verdict.acts.push_back(index);
    switch (decision.act) {
    case DecisionAct::exclude:
        verdict.is_excluded = true;
        break;
    case DecisionAct::include:
        verdict.is_excluded = false;
        break;
    case DecisionAct::mark:
        verdict.mark = decision.mark;
        break;
    case DecisionAct::move_start:
        verdict.first_reading = decision.moved_to;
        break;
    case DecisionAct::move_end:
        verdict.last_reading = decision.moved_to;
        break;
    case DecisionAct::note:
        break;
    }
}

} // namespace

Projection project(std::span<const Decision> decisions, std::span<const SpellSpan> spells) {
    Projection out;
    out.spells.resize(spells.size());
    for (std::size_t i = 0; i < decisions.size(); ++i) {
        const auto& decision = decisions[i];
        if (!decision.moment) {
            out.of_the_stay.push_back(i);
            for (auto& verdict : out.spells) {
                apply(decision, i, verdict);
            }
            continue;
        }
        // The last spell that begins at or before the moment, if it reaches so far.
        const auto after = std::ranges::upper_bound(spells, *decision.moment, {}, &SpellSpan::from);
        const auto place = static_cast<std::size_t>(after - spells.begin());
        if (place == 0 || spells[place - 1].to <= *decision.moment) {
            out.without_spell.push_back(i);
        } else {
            apply(decision, i, out.spells[place - 1]);
        }
    }
    return out;
}

std::vector<Decision> decisions_of(const StayId& stay, std::span<const Decision> decisions) {
    std::vector<Decision> out;
    std::ranges::copy_if(decisions, std::back_inserter(out),
                         [&](const Decision& d) { return d.stay == stay; });
    return out;
}

} // namespace backeddy::study
