#include <algorithm>
#include <map>
#include <set>

#include "app/detail/results_condition_parts.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

/// Levels by place, of one fish on one occasion by one scorer.
using Levels = std::map<std::string, std::optional<std::size_t>>;
using Scored = std::pair<std::string, condition::Occasion>; ///< fish and occasion
using ByScorer = std::map<std::string, std::map<Scored, Levels>>;

/// A second look by the same person on the same occasion is left out: it has no partner to be held against.
void add(ByScorer& all, const study::Look& look, const Levels& levels) {
    if (!look.scorer.empty()) {
        all[look.scorer].try_emplace({look.fish.text(), look.occasion}, levels);
    }
}

ByScorer fins_by_scorer(const ConditionAnswers& condition) {
    ByScorer out;
    for (const auto& fish : condition.fish) {
        for (const auto& fins : fish.fins) {
            Levels levels;
            for (const auto& score : fins.look.scores) {
                levels[study::word_of(score.fin)] = score.level;
            }
            add(out, fins.look.look, levels);
        }
    }
    return out;
}

ByScorer body_by_scorer(const ConditionAnswers& condition) {
    ByScorer out;
    for (const auto& fish : condition.fish) {
        for (const auto& body : fish.body) {
            Levels levels;
            for (const auto& score : body.look.areas) {
                levels[study::word_of(score.area)] = score.level;
            }
            add(out, body.look.look, levels);
        }
    }
    return out;
}

std::vector<condition::ScoredTwice> pairs_of(const std::map<Scored, Levels>& first,
                                             const std::map<Scored, Levels>& second) {
    std::vector<condition::ScoredTwice> out;
    for (const auto& [scored, levels] : first) {
        const auto other = second.find(scored);
        if (other == second.end()) {
            continue;
        }
        for (const auto& [place, level] : levels) {
            const auto theirs = other->second.find(place);
            if (level && theirs != other->second.end() && theirs->second) {
                out.push_back({.fish = scored.first, .first = level, .second = theirs->second});
            }
        }
    }
    return out;
}

report::ScorerAgreement agreement_of(const std::vector<condition::ScoredTwice>& pairs,
                                     const condition::OrdinalScale& scale) {
    report::ScorerAgreement out{.pairs = pairs.size()};
    std::set<std::string> fish;
    for (const auto& pair : pairs) {
        fish.insert(pair.fish);
        out.same += pair.first == pair.second ? 1 : 0;
    }
    out.fish = fish.size();
    const auto agreement = condition::scorer_agreement(pairs, scale);
    if (!agreement) {
        out.kappa = report::no_number(agreement.error().text(), "");
        return out;
    }
    out.kappa = report::number(agreement->kappa.value, "", "Cohen's weighted kappa, quadratic weights");
    if (agreement->interval) {
        out.kappa.interval = report::Interval{.low = agreement->interval->lower,
                                              .high = agreement->interval->upper,
                                              .level = 0.95,
                                              .method = "whole fish drawn with replacement"};
    }
    out.note = agreement->words;
    return out;
}

void add_pairs(const ByScorer& all, const std::string& of, const condition::OrdinalScale& scale,
               std::vector<report::ScorerAgreement>& out) {
    for (auto first = all.begin(); first != all.end(); ++first) {
        for (auto second = std::next(first); second != all.end(); ++second) {
            const auto pairs = pairs_of(first->second, second->second);
            if (!pairs.empty()) {
                out.push_back(agreement_of(pairs, scale));
                out.back().of = of;
                out.back().first = first->first;
                out.back().second = second->first;
            }
        }
    }
}

} // namespace

std::vector<report::ScorerAgreement> agreements_of(const study::Brief& brief,
                                                   const ConditionAnswers& condition) {
    std::vector<report::ScorerAgreement> out;
    add_pairs(fins_by_scorer(condition), "fins", brief.fins.scale, out);
    add_pairs(body_by_scorer(condition), "body", brief.body.scale, out);
    return out;
}

} // namespace backeddy::app::detail
