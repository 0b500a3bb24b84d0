#include "uptake/stay_uptake.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

#include "base/number_text.hpp"
#include "series/trace.hpp"

namespace backeddy::uptake {

namespace {

void say_once(std::vector<std::string>& notes, std::string note) {
    if (std::find(notes.begin(), notes.end(), note) == notes.end()) {
        notes.push_back(std::move(note));
    }
}

Error stay_error(const StayInput& input, std::string found, std::string expected) {
    return Error{.code = ErrorCode::bad_relation, .found = std::move(found), .expected = std::move(expected)}
        .within("stay " + input.stay);
}

Expected<void> check(const StayInput& input) {
    if (input.slices.empty()) {
        return fail(stay_error(input, "no readings of its chamber", "a trace that covers the stay"));
    }
    if (input.roles.empty()) {
        return fail(stay_error(input, "no role", "at least one row in stays.csv with a role"));
    }
    for (const StaySlice& slice : input.slices) {
        const ChamberTrace* trace = slice.trace;
        if (trace == nullptr || slice.first_row > slice.end_row || slice.end_row > trace->rows()) {
            return fail(stay_error(input, "rows that its trace does not have", "rows within the trace"));
        }
        const std::size_t rows = trace->rows();
        const auto fits = [&](std::size_t size, bool may_lack) {
            return size == rows || (may_lack && size == 0);
        };
        if (!fits(trace->oxygen_mg_per_l.size(), false) || !fits(trace->saturation_percent.size(), true) ||
            !fits(trace->temperature_celsius.size(), true) || !fits(trace->state.size(), true) ||
            !fits(trace->repeats.size(), true)) {
            return fail(stay_error(input, "columns of unequal length in the trace of " + trace->assembly,
                                   "a value per row"));
        }
    }
    return {};
}

/// A sealed spell on its way to an answer.
struct Draft {
    std::size_t slice = 0;
    StayRole role = StayRole::rest;
    Spell spell;
    std::size_t first_row = 0;
    std::size_t end_row = 0;
    Instant touchable_from; ///< an act from here to `touchable_to` reaches its readings
    Instant touchable_to;
    SealedSlope slope;
};

/// The readings of one sealed spell that are used: from `from` up to, not including, `before`.
struct Bounds {
    Instant from;
    Instant before;
    bool is_start_moved = false;
    bool is_end_moved = false;
    bool leaves_nothing = false; ///< moved past each other by hand
};

SealedView view_of(const ChamberTrace& trace, Instant sealed_from, std::size_t first, std::size_t end) {
    const auto part = [&](const auto& column) {
        return column.empty() ? std::span<const double>()
                              : std::span<const double>(column).subspan(first, end - first);
    };
    return {.sealed_from = sealed_from,
            .times_ns = std::span(trace.times_ns).subspan(first, end - first),
            .oxygen_mg_per_l = part(trace.oxygen_mg_per_l),
            .saturation_percent = part(trace.saturation_percent),
            .temperature_celsius = part(trace.temperature_celsius),
            .repeats = trace.repeats.empty()
                           ? std::span<const std::uint8_t>()
                           : std::span<const std::uint8_t>(trace.repeats).subspan(first, end - first)};
}

/// How far the work goes.
enum class Extent : std::uint8_t { states_only, for_noise, whole };

class StayWork {
  public:
    StayWork(const StayInput& input, Extent extent)
        : input_(input), extent_(extent), heard_(input.decisions.size(), 0) {}

    Expected<StayUptake> run() {
        for (std::size_t s = 0; s < input_.slices.size(); ++s) {
            if (auto fine = read_slice(s); !fine) {
                return fail(std::move(fine).error().within("stay " + input_.stay));
            }
        }
        median_slope_ = {.slow = median_slope(false), .fast = median_slope(true)};
        for (const Draft& draft : drafts_) {
            if (auto fine = answer(draft); !fine) {
                return fail(std::move(fine).error().within("stay " + input_.stay));
            }
        }
        say_background();
        for (std::size_t d = 0; d < heard_.size(); ++d) {
            if (heard_[d] == 0) {
                out_.decisions_without_spell.push_back(d);
            }
        }
        return std::move(out_);
    }

  private:
    // ---------------------------------------------------------------- states and spells

    Expected<void> read_slice(std::size_t s) {
        const StaySlice& slice = input_.slices[s];
        if (slice.first_row == slice.end_row) {
            return {};
        }
        StateInputs inputs = slice.states;
        if (inputs.find.sensor_lag_s == 0.0) {
            inputs.find.sensor_lag_s = slice.chamber.sensor_lag_s;
        }
        const auto states = chamber_states(*slice.trace, slice.first_row, slice.end_row, inputs);
        if (!states) {
            return fail(states.error());
        }
        if (out_.states_from != StatesFrom::nothing && out_.states_from != states->from) {
            say_once(out_.notes, "states from the " + std::string(text(out_.states_from)) + " and the " +
                                     std::string(text(states->from)));
        }
        out_.states_from = states->from;
        out_.found.insert(out_.found.end(), states->found.begin(), states->found.end());
        for (const auto& note : states->notes) {
            say_once(out_.notes, note);
        }
        if (extent_ == Extent::whole && !slice.noise) {
            say_once(out_.notes,
                     "no noise model for sensor " + slice.trace->sensor +
                         ": slope errors take readings for independent, which is too hopeful for a "
                         "slow sensor");
        }
        const auto times =
            std::span(slice.trace->times_ns).subspan(slice.first_row, slice.end_row - slice.first_row);
        const Duration longest =
            longest_step(median_interval_s(times), input_.settings.gap_factor, input_.settings.least_gap);
        const auto spells =
            cut_spells(slice.trace->times_ns, slice.first_row, slice.end_row, states->runs, longest, cuts());
        for (const Spell& spell : spells) {
            if (spell.state == ChamberState::sealed) {
                take(s, spell, states->found);
            } else {
                draw(s, spell.state, spell.from, spell.to);
            }
        }
        return {};
    }

    [[nodiscard]] std::vector<Instant> cuts() const {
        std::vector<Instant> out;
        for (const RoleInterval& role : input_.roles) {
            out.push_back(role.from);
            out.push_back(role.to);
        }
        if (input_.last_good) {
            out.push_back(*input_.last_good + Duration::nanoseconds(1));
        }
        return out;
    }

    void draw(std::size_t s, ChamberState state, Instant from, Instant to) {
        // The very last run ends a nanosecond past its last reading, so that it holds it.
        const StaySlice& slice = input_.slices[s];
        const Instant end = Instant::unix_nanoseconds(slice.trace->times_ns[slice.end_row - 1]);
        to = std::min(to, end);
        if (from < to) {
            out_.states.push_back({.slice = s, .run = {.state = state, .from = from, .to = to}});
        }
    }

    [[nodiscard]] std::optional<StayRole> role_at(Instant at) const {
        for (const RoleInterval& role : input_.roles) {
            if (at >= role.from && at < role.to) {
                return role.role;
            }
        }
        return std::nullopt;
    }

    /// Where states were found in the trace their bounds are uncertain, and readings near them are set aside.
    [[nodiscard]] Duration margin_at(Instant bound, std::span<const FoundBoundary> found) const {
        if (out_.states_from != StatesFrom::found) {
            return {};
        }
        for (const FoundBoundary& one : found) {
            if (one.at == bound) {
                return std::max(input_.settings.found_margin, Duration::seconds(2.0 * one.error_s));
            }
        }
        return {};
    }

    [[nodiscard]] Duration settle_of(StayRole role, const ChamberPhysics& chamber) const {
        const auto& fixed = input_.settings.fixed_settle;
        const auto own = fixed.find(role);
        return own == fixed.end()
                   ? settle_time(role, chamber.mixing_s, chamber.sensor_lag_s, input_.settings.settle)
                   : own->second;
    }

    void take(std::size_t s, const Spell& spell, std::span<const FoundBoundary> found) {
        const auto role = role_at(spell.from);
        if (!role) {
            return;
        }
        const StaySlice& slice = input_.slices[s];
        const Duration settle = settle_of(*role, slice.chamber);
        const Bounds used =
            moved_bounds(spell, {.from = spell.from + settle + margin_at(spell.from, found),
                                 .before = spell.to - margin_at(spell.to, found) + Duration::nanoseconds(1)});

        const auto begin = slice.trace->times_ns.begin();
        const auto row_of = [&](Instant at) {
            return static_cast<std::size_t>(
                std::lower_bound(begin + static_cast<std::ptrdiff_t>(spell.first_row),
                                 begin + static_cast<std::ptrdiff_t>(spell.end_row), at.unix_nanoseconds()) -
                begin);
        };
        Draft draft{.slice = s,
                    .role = *role,
                    .spell = spell,
                    .first_row = row_of(used.from),
                    .end_row = std::max(row_of(used.from), row_of(used.before)),
                    .touchable_from = used.is_start_moved ? used.from : spell.from,
                    .touchable_to = used.is_end_moved ? used.before : spell.to};
        draw(s, ChamberState::settle, spell.from, std::min(used.from, spell.to));
        draw(s, ChamberState::sealed, std::min(used.from, spell.to), spell.to);
        if (extent_ == Extent::states_only) {
            return;
        }
        if (used.leaves_nothing) {
            out_.lost.push_back(
                {.from = spell.from,
                 .to = spell.to,
                 .reason = {"moved_by_hand", "its start was moved by hand to " + iso_text(used.from) +
                                                 ", not before its end: nothing is left"}});
            return;
        }
        const SealedView view = view_of(*slice.trace, spell.from, draft.first_row, draft.end_row);
        auto slope = slope_of(view, slice, *role);
        if (!slope) {
            out_.lost.push_back(
                {.from = spell.from,
                 .to = spell.to,
                 .reason = {"too_few_readings", slope.error().found + " in a sealed spell of " +
                                                    significant_text((spell.to - spell.from).seconds(), 4) +
                                                    " s (settle " + significant_text(settle.seconds(), 3) +
                                                    " s)"}});
            return;
        }
        draft.slope = *std::move(slope);
        drafts_.push_back(draft);
    }

    [[nodiscard]] Expected<SealedSlope> slope_of(const SealedView& view, const StaySlice& slice,
                                                 StayRole role) {
        const bool lag = is_fast(role) && input_.settings.model_lag_when_fast;
        if (extent_ == Extent::for_noise && !lag) {
            auto slope = quick_slope(view);
            if (slope) {
                slope->slope_error = slope->slope_error_ordinary;
            }
            return slope;
        }
        return sealed_slope(view, {.noise = slice.noise ? &*slice.noise : nullptr,
                                   .modelled_lag_s = lag ? slice.chamber.sensor_lag_s : 0.0,
                                   .kept_errors = &kept_errors_});
    }

    /// A decision means the spell that holds its moment.
    static bool means(const SpellDecision& decision, const Spell& spell) {
        return decision.moment >= spell.from && decision.moment <= spell.to;
    }

    /// A bound moved out of the sealed spell would reach into a flush, or into another spell: it stays.
    Bounds moved_bounds(const Spell& spell, Bounds used) {
        std::vector<std::size_t> moves;
        for (std::size_t d = 0; d < input_.decisions.size(); ++d) {
            const SpellDecision& decision = input_.decisions[d];
            if (!means(decision, spell)) {
                continue;
            }
            heard_[d] = 1;
            if (is_move(decision) && !reaches_outside(decision, spell)) {
                moves.push_back(d);
                if (decision.act == DecisionAct::move_start) {
                    used.from = decision.moved_to;
                    used.is_start_moved = true;
                } else {
                    used.before = decision.moved_to + Duration::nanoseconds(1);
                    used.is_end_moved = true;
                }
            } else if (is_move(decision)) {
                refuse(d, spell, false);
            }
        }
        used.leaves_nothing = !moves.empty() && used.from + Duration::nanoseconds(1) >= used.before;
        if (used.leaves_nothing) {
            refuse(moves.back(), spell, true);
        }
        return used;
    }

    static bool is_move(const SpellDecision& decision) {
        return decision.act == DecisionAct::move_start || decision.act == DecisionAct::move_end;
    }

    static bool reaches_outside(const SpellDecision& decision, const Spell& spell) {
        return decision.moved_to < spell.from || decision.moved_to > spell.to;
    }

    void refuse(std::size_t decision, const Spell& spell, bool leaves_nothing) {
        out_.refused_moves.push_back({.decision = decision,
                                      .sealed_from = spell.from,
                                      .sealed_to = spell.to,
                                      .leaves_nothing = leaves_nothing});
    }

    // ---------------------------------------------------------------- answers

    /// Median slope of the stay's spells of the same kind, as the measure of a resting slope's error.
    [[nodiscard]] double median_slope(bool fast) const {
        std::vector<double> slopes;
        for (const Draft& draft : drafts_) {
            if (is_fast(draft.role) == fast) {
                slopes.push_back(draft.slope.slope_mg_per_l_h);
            }
        }
        if (slopes.empty()) {
            return 0.0;
        }
        const auto middle = slopes.begin() + static_cast<std::ptrdiff_t>(slopes.size() / 2);
        std::nth_element(slopes.begin(), middle, slopes.end());
        return *middle;
    }

    Expected<void> answer(const Draft& draft) {
        const StaySlice& slice = input_.slices[draft.slice];
        const FishBody* fish = input_.fish ? &*input_.fish : nullptr;
        auto water = water_volume(slice.chamber.volume_l, fish);
        if (!water) {
            return fail(std::move(water).error());
        }
        if (fish != nullptr && !fish->mass_kg) {
            say_once(out_.notes, "not weighed: uptake in mg/h only, the fish's volume taken as " +
                                     significant_text(fish->provisional_volume_l, 3) + " L");
        }
        SealedSpell spell{.role = draft.role,
                          .slice = draft.slice,
                          .first_row = draft.first_row,
                          .end_row = draft.end_row,
                          .water_volume_l = *std::move(water)};
        fill_slope(spell.answer, draft.slope);
        if (extent_ == Extent::whole) {
            fill_uptake(spell, draft, slice, fish);
        }
        fill_mark(spell, draft, slice);
        out_.spells.push_back(std::move(spell));
        return {};
    }

    static void fill_slope(SpellUptake& to, const SealedSlope& slope) {
        to.sealed_from = slope.sealed_from;
        to.from = slope.from;
        to.to = slope.to;
        to.readings = slope.readings;
        to.slope_mg_per_l_h = slope.slope_mg_per_l_h;
        to.slope_error = slope.slope_error;
        to.slope_error_ordinary = slope.slope_error_ordinary;
        to.slope_error_newey_west = slope.slope_error_newey_west;
        to.effective_readings = slope.effective_readings;
        to.r_squared = slope.r_squared;
        to.residual_sd_mg_per_l = slope.residual_sd_mg_per_l;
        to.curvature_share = slope.curvature_share;
        to.curvature_share_error = slope.curvature_share_error;
        to.oxygen_start_mg_per_l = slope.oxygen_start_mg_per_l;
        to.oxygen_end_mg_per_l = slope.oxygen_end_mg_per_l;
        to.saturation_start_percent = slope.saturation_start_percent;
        to.saturation_end_percent = slope.saturation_end_percent;
        to.temperature_mean_celsius = slope.temperature_mean_celsius;
        to.temperature_drift_c_per_h = slope.temperature_drift_c_per_h;
    }

    [[nodiscard]] bool has_background(StayRole role) const {
        return input_.fish && role != StayRole::blank && role != StayRole::leak_test;
    }

    void fill_uptake(SealedSpell& spell, const Draft& draft, const StaySlice& slice, const FishBody* fish) {
        const Instant middle = spell.answer.middle();
        spell.scale = slope_scale(slice.oxygen, middle, draft.slope.temperature_mean_celsius);
        const Measured slope = Measured(draft.slope.slope_mg_per_l_h, draft.slope.slope_error,
                                        "slope:" + input_.stay + "@" + iso_text(draft.slope.from)) *
                               spell.scale;
        BackgroundAt background;
        if (has_background(draft.role)) {
            background = background_at(input_.blanks, slice.trace->assembly, middle, input_.cleanings,
                                       input_.settings.background);
        }
        auto parts = uptake_parts(slope, background.slope_mg_per_l_h, slice.chamber.volume_l,
                                  spell.water_volume_l, fish, input_.settings.background.volume);
        spell.answer.total_mg_per_h = std::move(parts.total_mg_per_h);
        spell.answer.background_mg_per_h = std::move(parts.background_mg_per_h);
        spell.answer.uptake_mg_per_h = std::move(parts.uptake_mg_per_h);
        spell.answer.uptake_mg_per_kg_h = std::move(parts.uptake_mg_per_kg_h);
        if (has_background(draft.role)) {
            spell.background_share = parts.background_share;
            spell.blanks = background.blanks;
            for (const Reason& reason : background.reasons) {
                say_once(out_.notes, reason.text);
            }
            if (std::find(hows_.begin(), hows_.end(), background.how) == hows_.end()) {
                hows_.push_back(background.how);
            }
        }
        background_ = std::move(background);
    }

    void fill_mark(SealedSpell& spell, const Draft& draft, const StaySlice& slice) {
        const SealedView view = view_of(*slice.trace, draft.spell.from, draft.first_row, draft.end_row);
        Judgement judgement =
            judge(view, draft.slope,
                  {.role = input_.fish ? draft.role : blank_role(draft.role),
                   .noise = slice.noise ? &*slice.noise : nullptr,
                   .median_slope_mg_per_l_h = is_fast(draft.role) ? median_slope_.fast : median_slope_.slow},
                  input_.settings.marks);
        const auto doubt = [&](const Reason& reason) {
            judgement.mark = std::max(judgement.mark, Mark::doubtful);
            judgement.reasons.push_back(reason);
        };
        for (const Reason& reason : background_.reasons) {
            if (reason.word == "no_blank" || reason.word == "rising_blank") {
                doubt(reason);
            }
        }
        const double share = spell.background_share.value_or(0.0);
        if (std::abs(share) > input_.settings.marks.background_share) {
            doubt({"background_share",
                   "background is " + significant_text(100.0 * share, 2) +
                       " % of the total uptake, more than " +
                       significant_text(100.0 * input_.settings.marks.background_share, 2) + " %"});
        }
        if (input_.last_good && spell.answer.from > *input_.last_good) {
            judgement.mark = Mark::unusable;
            judgement.reasons.push_back({"after_last_good", "after the last good moment of the stay, " +
                                                                iso_text(*input_.last_good)});
        }
        spoil(judgement, draft);
        spell.mark_by_machine = judgement.mark;
        spell.answer.mark = judgement.mark;
        spell.answer.reasons = std::move(judgement.reasons);
        decide(spell, draft.spell);
    }

    /// What happened to the chamber while the spell's readings, or those that settle, were taken.
    void spoil(Judgement& judgement, const Draft& draft) const {
        for (const ChamberAct& act : input_.acts) {
            const std::string told = act.reason.text + " at " + iso_text(act.at);
            if (act.at > draft.touchable_from && act.at < draft.touchable_to) {
                judgement.mark = std::max(judgement.mark, act.mark);
                judgement.reasons.push_back(
                    {act.reason.word, told + ", inside the spell sealed from " + iso_text(draft.spell.from)});
            } else if (act.at + act.uncertainty > draft.touchable_from &&
                       act.at - act.uncertainty < draft.touchable_to) {
                judgement.mark = std::max(judgement.mark, Mark::doubtful);
                judgement.reasons.push_back(
                    {act.reason.word, told + " ± " + significant_text(act.uncertainty.seconds(), 3) +
                                          " s, which may lie inside the spell"});
            }
        }
    }

    static StayRole blank_role(StayRole role) { return role == StayRole::leak_test ? role : StayRole::blank; }

    static std::string outside(std::string_view bound, const SpellDecision& decision) {
        return std::string(bound) + " not moved to " + iso_text(decision.moved_to) +
               ", which lies outside the sealed spell; asked";
    }

    void decide(SealedSpell& spell, const Spell& meant) const {
        for (const SpellDecision& decision : input_.decisions) {
            if (!means(decision, meant)) {
                continue;
            }
            const std::string why = " by " + decision.author + ": " + decision.reason;
            SpellUptake& answer = spell.answer;
            switch (decision.act) {
            case DecisionAct::exclude:
                answer.mark = Mark::unusable;
                spell.is_excluded_by_hand = true;
                answer.reasons.push_back({"excluded_by_hand", "excluded" + why});
                break;
            case DecisionAct::include:
                answer.mark = Mark::good;
                spell.is_excluded_by_hand = false;
                answer.reasons.push_back({"included_by_hand", "included" + why});
                break;
            case DecisionAct::mark:
                answer.mark = decision.mark;
                spell.is_excluded_by_hand = decision.mark == Mark::unusable;
                answer.reasons.push_back({"marked_by_hand", "marked" + why});
                break;
            case DecisionAct::move_start:
                answer.reasons.push_back(reaches_outside(decision, meant)
                                             ? Reason{"start_not_moved", outside("start", decision) + why}
                                             : Reason{"start_moved_by_hand", "start moved" + why});
                break;
            case DecisionAct::move_end:
                answer.reasons.push_back(reaches_outside(decision, meant)
                                             ? Reason{"end_not_moved", outside("end", decision) + why}
                                             : Reason{"end_moved_by_hand", "end moved" + why});
                break;
            case DecisionAct::note:
                answer.reasons.push_back({"note", "note" + why});
                break;
            }
        }
    }

    void say_background() {
        for (const std::string& how : hows_) {
            out_.background_how += (out_.background_how.empty() ? "" : "; ") + how;
        }
        if (!hows_.empty() && input_.settings.background.blanks_used != BlanksUsed::none) {
            out_.background_how += input_.settings.background.volume == BackgroundVolume::water
                                       ? "; times the volume of water beside the fish"
                                       : "; times the whole volume of chamber and loop";
        }
    }

    const StayInput& input_;
    Extent extent_ = Extent::whole;
    StayUptake out_;
    std::vector<Draft> drafts_;
    struct {
        double slow = 0.0;
        double fast = 0.0;
    } median_slope_; ///< mg/L/h, of the stay's spells of either kind
    std::vector<char> heard_;
    std::optional<fit::LineErrors> kept_errors_;
    std::vector<std::string> hows_;
    BackgroundAt background_;
};

} // namespace

Expected<StayUptake> stay_uptake(const StayInput& input) {
    if (auto fine = check(input); !fine) {
        return fail(std::move(fine).error());
    }
    return StayWork(input, Extent::whole).run();
}

Expected<StayUptake> stay_states(const StayInput& input) {
    if (auto fine = check(input); !fine) {
        return fail(std::move(fine).error());
    }
    return StayWork(input, Extent::states_only).run();
}

Expected<StayUptake> stay_for_noise(const StayInput& input) {
    if (auto fine = check(input); !fine) {
        return fail(std::move(fine).error());
    }
    return StayWork(input, Extent::for_noise).run();
}

SealedView readings_of(const StayInput& input, const SealedSpell& spell) {
    return view_of(*input.slices[spell.slice].trace, spell.answer.sealed_from, spell.first_row,
                   spell.end_row);
}

// ------------------------------------------------------------------------------------------------ blanks,
// noise

namespace {

using SpellList = std::vector<const SealedSpell*>;

/// Weighted mean slope of some spells with what they share, and the mean's own error.
Blank blank_of(const SpellList& spells, std::string id, std::string assembly) {
    double weights = 0.0;
    const bool all_sure = std::any_of(spells.begin(), spells.end(),
                                      [](const SealedSpell* s) { return !(s->answer.slope_error > 0.0); });
    const auto weight = [&](const SealedSpell& spell) {
        return all_sure ? 1.0 : 1.0 / (spell.answer.slope_error * spell.answer.slope_error);
    };
    double mean = 0.0;
    double middle_s = 0.0;
    std::vector<Contribution> shared;
    const Instant origin = spells.front()->answer.from;
    for (const SealedSpell* spell : spells) {
        const double w = weight(*spell);
        weights += w;
        mean += w * spell->answer.slope_mg_per_l_h;
        middle_s += w * (spell->answer.middle() - origin).seconds();
        for (const Contribution& effect : spell->scale.contributions()) {
            shared.push_back({effect.source, w * spell->answer.slope_mg_per_l_h * effect.effect});
        }
    }
    mean /= weights;
    for (Contribution& effect : shared) {
        effect.effect /= weights;
    }
    double scatter = 0.0;
    for (const SealedSpell* spell : spells) {
        const double away = spell->answer.slope_mg_per_l_h - mean;
        scatter += weight(*spell) * away * away;
    }
    const double by_weights = all_sure ? 0.0 : 1.0 / std::sqrt(weights);
    const auto n = static_cast<double>(spells.size());
    const double by_scatter = n > 1.0 ? std::sqrt(scatter / weights / (n - 1.0)) : 0.0;
    shared.push_back({"blank:" + id, std::max(by_weights, by_scatter)});
    std::erase_if(shared, [](const Contribution& c) { return c.effect == 0.0; });
    return {.id = std::move(id),
            .assembly = std::move(assembly),
            .at = origin + Duration::seconds(middle_s / weights),
            .slope_mg_per_l_h = Measured(mean, std::move(shared)),
            .spells = spells.size()};
}

bool is_clean(const SealedSpell& spell) {
    constexpr std::array<std::string_view, 6> spoilt{"step",    "rebound", "frozen",
                                                     "missing", "plateau", "gap"};
    return spell.answer.is_usable() &&
           std::none_of(spell.answer.reasons.begin(), spell.answer.reasons.end(), [&](const Reason& reason) {
               return std::find(spoilt.begin(), spoilt.end(), reason.word) != spoilt.end();
           });
}

} // namespace

std::vector<Blank> blank_points(const StayInput& input, const StayUptake& result, Duration part) {
    SpellList usable;
    for (const SealedSpell& spell : result.spells) {
        if (spell.role == StayRole::blank && spell.answer.is_usable()) {
            usable.push_back(&spell);
        }
    }
    if (usable.empty()) {
        return {};
    }
    const Instant from = usable.front()->answer.sealed_from;
    const double span = (usable.back()->answer.to - from).seconds();
    const auto parts = static_cast<std::size_t>(std::max(1.0, std::ceil(span / part.seconds())));
    std::vector<SpellList> groups(parts);
    for (const SealedSpell* spell : usable) {
        const double share = (spell->answer.middle() - from).seconds() / span;
        groups[std::min(parts - 1, static_cast<std::size_t>(share * static_cast<double>(parts)))].push_back(
            spell);
    }
    std::erase_if(groups, [](const SpellList& group) { return group.empty(); });
    std::vector<Blank> out;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        const std::string id = groups.size() == 1 ? input.stay : input.stay + "/" + std::to_string(g + 1);
        out.push_back(blank_of(groups[g], id, input.slices[groups[g].front()->slice].trace->assembly));
    }
    return out;
}

std::vector<StayStretch> noise_stretches(const StayInput& input, const StayUptake& result) {
    std::vector<StayStretch> out;
    for (const SealedSpell& spell : result.spells) {
        if (is_clean(spell)) {
            out.push_back({.slice = spell.slice,
                           .stretch = {.view = readings_of(input, spell),
                                       .role = input.fish ? spell.role : StayRole::blank}});
        }
    }
    return out;
}

} // namespace backeddy::uptake
