#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>

#include "app/detail/results_condition_parts.hpp"
#include "app/detail/results_parts.hpp"
#include "base/number_text.hpp"

namespace backeddy::app::detail {

namespace {

using report::Number;

/// Fish at risk from one kind of moment on, and which of them belong to a group.
struct AtRisk {
    std::vector<condition::Fate> fates;
    std::vector<Instant> origins;
    std::vector<std::size_t> fish; ///< places in the document

    [[nodiscard]] AtRisk of(const std::function<bool(std::size_t)>& belongs) const {
        AtRisk out;
        for (std::size_t i = 0; i < fish.size(); ++i) {
            if (belongs(fish[i])) {
                out.fates.push_back(fates[i]);
                out.origins.push_back(origins[i]);
                out.fish.push_back(fish[i]);
            }
        }
        return out;
    }
};

/// When the fish was first put into holding.
std::optional<Instant> held_at(const study::FishId& fish, const study::ConditionSheets& sheets) {
    std::optional<Instant> out;
    for (const auto& row : sheets.fates) {
        if (row.fish == fish && row.what == condition::FateKind::held) {
            out = std::min(out.value_or(row.at), row.at);
        }
    }
    return out;
}

/// From its capture on; one found dead in the minute before it, as times are written, died at once.
std::optional<Instant> at_risk_from(const FishCondition& fish) {
    const auto caught = caught_at(fish);
    const auto dead = fish.fate ? fish.fate->fate.found_dead : std::nullopt;
    return caught && dead ? std::min(caught, dead) : caught;
}

/// A fish that was found dead before its origin was not at risk from then on; one found dead at it died at
/// once.
AtRisk at_risk(const Answers& answers, const std::function<std::optional<Instant>(std::size_t)>& origin_of) {
    AtRisk out;
    for (std::size_t i = 0; i < answers.condition.fish.size(); ++i) {
        const auto& known = answers.condition.fish[i].fate;
        const auto fate = known ? known->fate : condition::Fate{};
        const auto origin = origin_of(i);
        if (origin && !(fate.found_dead && *fate.found_dead < *origin)) {
            out.fates.push_back(fate);
            out.origins.push_back(*origin);
            out.fish.push_back(i);
        }
    }
    return out;
}

Number percent_of(const condition::Mortality& mortality) {
    if (!mortality.proportion) {
        return report::no_number("of no fish is it known", "%");
    }
    auto out = report::number(100.0 * mortality.proportion->value, "%", "dead of those whose state is known");
    out.interval = report::Interval{.low = 100.0 * mortality.proportion->exact.lower,
                                    .high = 100.0 * mortality.proportion->exact.upper,
                                    .level = 0.95,
                                    .method = "exact (Clopper and Pearson)"};
    return out;
}

Number corrected(const condition::Mortality& treated, const condition::Mortality& control) {
    const auto value = condition::control_corrected(treated.share, control.share);
    if (!value) {
        return report::no_number(value.error().text(), "%");
    }
    auto out = report::number(
        100.0 * value->value, "%",
        fmt::format("what the treatment adds (Abbott): {} dead of {} treated, {} of {} in "
                    "the control",
                    treated.share.count, treated.share.of, control.share.count, control.share.of));
    out.interval = report::Interval{.low = 100.0 * value->interval.lower,
                                    .high = 100.0 * value->interval.upper,
                                    .level = 0.95,
                                    .method = "score limits of the ratio of survivals"};
    return out;
}

/// Dead of those known in one group over those in another.
Number relative_risk(const condition::Mortality& of, const condition::Mortality& reference,
                     const std::string& name) {
    const auto ratio = stats::ratio_of_shares(of.share, reference.share);
    if (!ratio || !std::isfinite(ratio->value)) {
        return report::no_number(!ratio ? ratio.error().text() : "none of the other group is known dead", "");
    }
    auto out = report::number(ratio->value, "",
                              fmt::format("{} dead of {} known, over {} of {} in {}", of.share.count,
                                          of.share.of, reference.share.count, reference.share.of, name));
    out.interval = report::Interval{.low = ratio->interval.lower,
                                    .high = ratio->interval.upper,
                                    .level = 0.95,
                                    .method = "score limits of a ratio of shares (Koopman)"};
    return out;
}

class Chapter {
  public:
    Chapter(const Answers& answers, const std::vector<report::Fish>& fish, report::StudyCondition& out)
        : fish_(fish), out_(out), control_(answers.study.brief.mortality.control) {}

    void add(const std::string& from, const AtRisk& all, const std::vector<double>& horizons_h) {
        if (all.fish.empty()) {
            return;
        }
        for (const double horizon_h : horizons_h) {
            row(from, "", all, all, horizon_h);
            const auto groups = groups_of(fish_);
            for (const auto& group : groups.size() > 1 ? groups : std::vector<std::string>()) {
                const auto of = all.of([&](std::size_t i) { return fish_[i].group == group; });
                row(from, group, of, all, horizon_h);
            }
        }
    }

    void tell_of_control() {
        bool any = false;
        for (std::size_t i = 0; i < fish_.size(); ++i) {
            any = any || is_control(i);
        }
        if (!control_.empty() && !any) {
            out_.notes.push_back(
                fmt::format("[fates] control = \"{}\": no fish is of such a group, and nothing is "
                            "corrected",
                            control_));
        }
    }

  private:
    /// By its whole group, or by its level of one of the columns that make the groups.
    [[nodiscard]] bool is_control(std::size_t i) const {
        const auto& fish = fish_[i];
        return !control_.empty() &&
               (fish.group == control_ || std::ranges::any_of(fish.treatments, [&](const auto& treatment) {
                    return treatment.text == control_;
                }));
    }

    void row(const std::string& from, const std::string& group, const AtRisk& of, const AtRisk& all,
             double horizon_h) {
        const auto horizon = Duration::hours(horizon_h);
        const auto mortality = condition::mortality(of.fates, of.origins, horizon);
        if (!mortality) { // of no fish
            return;
        }
        report::MortalityRow out{.from = from,
                                 .horizon_h = horizon_h,
                                 .group = group,
                                 .dead = mortality->share.count,
                                 .known = mortality->share.of,
                                 .unknown = mortality->unknown,
                                 .percent = percent_of(*mortality),
                                 .can_be_low_percent = report::number(100.0 * mortality->can_be.lower, "%"),
                                 .can_be_high_percent = report::number(100.0 * mortality->can_be.upper, "%")};
        out.corrected_percent = corrected_for(of, all, horizon);
        out.relative_risk = risk_for(group, *mortality, all, horizon);
        out_.mortality.push_back(std::move(out));
    }

    /// Between two groups alone: of three or more one ratio says nothing without its question.
    [[nodiscard]] Number risk_for(const std::string& group, const condition::Mortality& of, const AtRisk& all,
                                  Duration horizon) const {
        const auto groups = groups_of(fish_);
        if (group.empty() || groups.size() != 2) {
            return report::no_number(group.empty() ? "of all fish" : "not two groups: ask a question", "");
        }
        const auto& other = std::ranges::find(groups, control_) != groups.end() ? control_ : groups.front();
        if (group == other) {
            return report::no_number("the group that the other is held against", "");
        }
        const auto against = all.of([&](std::size_t i) { return fish_[i].group == other; });
        const auto reference = condition::mortality(against.fates, against.origins, horizon);
        return reference ? relative_risk(of, *reference, other)
                         : report::no_number("nothing is known of the other group", "");
    }

    [[nodiscard]] Number corrected_for(const AtRisk& of, const AtRisk& all, Duration horizon) const {
        if (control_.empty()) {
            return report::no_number("no control group is named: [fates] control", "%");
        }
        const auto of_control = all.of([&](std::size_t i) { return is_control(i); });
        const auto is_control_fish = [&](std::size_t i) { return is_control(i); };
        if (std::ranges::all_of(of.fish, is_control_fish)) {
            return report::no_number("the control itself", "%");
        }
        if (std::ranges::any_of(of.fish, is_control_fish)) {
            return report::no_number("these hold the control too: corrected group by group", "%");
        }
        const auto with = condition::mortality(of.fates, of.origins, horizon);
        const auto without = condition::mortality(of_control.fates, of_control.origins, horizon);
        if (!with || !without || with->share.of == 0 || without->share.of == 0) {
            return report::no_number("nothing is known of the control, or of the treated", "%");
        }
        return corrected(*with, *without);
    }

    const std::vector<report::Fish>& fish_;
    report::StudyCondition& out_;
    const std::string& control_;
};

} // namespace

void add_mortality(const Answers& answers, const std::vector<report::Fish>& fish,
                   report::StudyCondition& out) {
    const auto& all = answers.condition.fish;
    if (std::ranges::none_of(all, [](const FishCondition& one) { return one.fate.has_value(); })) {
        return;
    }
    constexpr double day_h = 24.0;
    const auto& horizons_h = answers.study.brief.mortality.horizons_h;
    const auto& sheets = answers.condition.sheets;
    Chapter chapter(answers, fish, out);
    chapter.add("from capture", at_risk(answers, [&](std::size_t i) { return at_risk_from(all[i]); }),
                {day_h});
    chapter.add(
        "from the start of holding",
        at_risk(answers, [&](std::size_t i) { return held_at(answers.study.tables.fish[i].id, sheets); }),
        horizons_h);
    chapter.add(
        "from release",
        at_risk(answers,
                [&](std::size_t i) { return all[i].fate ? all[i].fate->fate.released : std::nullopt; }),
        horizons_h);
    chapter.tell_of_control();
}

} // namespace backeddy::app::detail
