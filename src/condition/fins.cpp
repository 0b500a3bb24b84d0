#include "condition/fins.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <utility>

#include <fmt/format.h>

#include "base/lower_case.hpp"
#include "base/number_text.hpp"
#include "fit/bootstrap.hpp"
#include "fit/quantile.hpp"

namespace backeddy::condition {

namespace {

Expected<void> check_scale(const OrdinalScale& scale) {
    std::vector<std::string> words;
    std::transform(scale.levels.begin(), scale.levels.end(), std::back_inserter(words), lower_case);
    std::sort(words.begin(), words.end());
    if (words.size() >= 2 && std::adjacent_find(words.begin(), words.end()) == words.end()) {
        return {};
    }
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("a scale of \"{}\"", fmt::join(scale.levels, "\", \"")),
                 .expected = "two levels or more, from unhurt to worst, no two alike"});
}

Expected<void> check_level(std::string_view place, std::size_t level, const OrdinalScale& scale) {
    if (level < scale.levels.size()) {
        return {};
    }
    return fail({.code = ErrorCode::out_of_range,
                 .found = fmt::format("a level of {} for {}", level, place),
                 .expected = fmt::format("0 ({}) to {} ({})", scale.levels.front(), scale.levels.size() - 1,
                                         scale.levels.back())});
}

struct Place {
    std::string_view name;
    std::optional<std::size_t> level;
};

Expected<ScoreIndex> index_of(const std::vector<std::string_view>& asked, const std::vector<Place>& scores,
                              const OrdinalScale& scale, std::size_t least) {
    if (auto fine = check_scale(scale); !fine) {
        return fail(std::move(fine).error());
    }
    if (asked.empty() || least == 0 || least > asked.size()) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("at least {} scored of {}", least, asked.size()),
                     .expected = "one place or more to score, and at least one and at most all wanted"});
    }
    ScoreIndex out;
    std::size_t sum = 0;
    for (const auto name : asked) {
        const auto is_it = [&](const Place& place) { return place.name == name; };
        if (std::count_if(scores.begin(), scores.end(), is_it) > 1) {
            return fail({.code = ErrorCode::duplicate,
                         .found = fmt::format("two scores of {}", name),
                         .expected = "one by one scorer on one occasion"});
        }
        const auto place = std::find_if(scores.begin(), scores.end(), is_it);
        if (place == scores.end() || !place->level) {
            out.missing.emplace_back(name);
            continue;
        }
        if (auto fine = check_level(name, *place->level, scale); !fine) {
            return fail(std::move(fine).error());
        }
        ++out.scored;
        sum += *place->level;
        out.worst = std::max(out.worst.value_or(0), *place->level);
    }
    if (out.missing.empty()) {
        out.sum = sum;
    } else {
        out.words = fmt::format("{} of {} scored; missing: {}", out.scored, asked.size(),
                                fmt::join(out.missing, ", "));
    }
    if (out.scored >= least) {
        out.mean = static_cast<double>(sum) / static_cast<double>(out.scored);
    } else {
        out.words += fmt::format("; under {}, too few for a mean", least);
    }
    return out;
}

} // namespace

Expected<std::size_t> level_of(const OrdinalScale& scale, std::string_view text) {
    if (auto fine = check_scale(scale); !fine) {
        return fail(std::move(fine).error());
    }
    const auto& levels = scale.levels;
    const auto found = std::find_if(levels.begin(), levels.end(), [&](const std::string& level) {
        return lower_case(level) == lower_case(text);
    });
    if (found != levels.end()) {
        return static_cast<std::size_t>(found - levels.begin());
    }
    // Where words are numbers ("1" to "5") a number is a word or nothing: 0 would else be their "1".
    const bool has_numbers =
        std::ranges::any_of(levels, [](const std::string& level) { return parse_number(level).has_value(); });
    const auto number = has_numbers ? std::nullopt : parse_whole(text);
    if (number && *number >= 0 && static_cast<std::size_t>(*number) < levels.size()) {
        return static_cast<std::size_t>(*number);
    }
    const auto near = nearest_name(text, levels);
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("\"{}\" as a level", text),
                 .expected = has_numbers ? fmt::format("one of {}", fmt::join(levels, ", "))
                                         : fmt::format("0 to {} or one of {}", levels.size() - 1,
                                                       fmt::join(levels, ", ")),
                 .remedy = near ? fmt::format("write {}?", *near) : "write one of them, or mend the scale"});
}

std::string_view name_of(Fin fin) {
    static constexpr std::array<std::string_view, 8> names{"dorsal",        "caudal",         "anal",
                                                           "left pectoral", "right pectoral", "left pelvic",
                                                           "right pelvic",  "adipose"};
    return names.at(static_cast<std::size_t>(fin));
}

std::string_view name_of(BodyArea area) {
    static constexpr std::array<std::string_view, 6> names{"head",        "back",  "left flank",
                                                           "right flank", "belly", "tail"};
    return names.at(static_cast<std::size_t>(area));
}

bool is_deep(HookPlace place) {
    return place == HookPlace::gills || place == HookPlace::gullet || place == HookPlace::tongue;
}

Expected<ScoreIndex> fin_index(std::span<const FinScore> scores, const OrdinalScale& scale,
                               const FinOptions& options) {
    std::vector<std::string_view> asked;
    std::transform(options.fins.begin(), options.fins.end(), std::back_inserter(asked),
                   [](Fin fin) { return name_of(fin); });
    std::vector<Place> places;
    for (const auto& score : scores) {
        places.push_back({name_of(score.fin), score.level});
    }
    return index_of(asked, places, scale, options.least);
}

Expected<ScoreIndex> scale_loss_index(std::span<const BodyScore> scores, const OrdinalScale& scale,
                                      std::span<const BodyArea> areas, std::size_t least) {
    std::vector<std::string_view> asked;
    std::transform(areas.begin(), areas.end(), std::back_inserter(asked),
                   [](BodyArea area) { return name_of(area); });
    std::vector<Place> places;
    for (const auto& score : scores) {
        places.push_back({name_of(score.area), score.level});
    }
    return index_of(asked, places, scale, least);
}

FinMarks fin_marks(std::span<const FinScore> scores) {
    const auto add = [](const std::optional<bool>& has, stats::Share& share) {
        share.of += has ? 1 : 0;
        share.count += has.value_or(false) ? 1 : 0;
    };
    FinMarks out;
    for (const auto& score : scores) {
        add(score.is_split, out.split);
        add(score.is_frayed, out.frayed);
        add(score.has_net_marks, out.net_marks);
    }
    return out;
}

std::vector<FinChange> fin_changes(std::span<const FinScore> earlier, std::span<const FinScore> later) {
    std::vector<FinChange> out;
    for (const auto& before : earlier) {
        const auto after = std::find_if(later.begin(), later.end(),
                                        [&](const FinScore& one) { return one.fin == before.fin; });
        if (before.level && after != later.end() && after->level) {
            out.push_back({before.fin, static_cast<int>(*after->level) - static_cast<int>(*before.level)});
        }
    }
    return out;
}

// ---- two scorers

namespace {

struct Levels {
    std::vector<std::size_t> first;
    std::vector<std::size_t> second;

    void add(const Levels& more) {
        first.insert(first.end(), more.first.begin(), more.first.end());
        second.insert(second.end(), more.second.begin(), more.second.end());
    }
};

/// Percentiles over draws of whole fish; nothing when over a tenth of the draws has no kappa.
Expected<std::optional<stats::Interval>> by_fish(const std::vector<Levels>& fish, std::size_t categories,
                                                 const ScorerOptions& options) {
    std::vector<double> numbers(fish.size());
    for (std::size_t i = 0; i < fish.size(); ++i) {
        numbers[i] = static_cast<double>(i);
    }
    const auto kappa = [&](std::span<const double> draw) {
        Levels all;
        for (const double i : draw) {
            all.add(fish[static_cast<std::size_t>(i)]);
        }
        const auto got =
            stats::weighted_kappa(all.first, all.second, categories, {.weights = options.weights});
        return got ? got->value : std::numeric_limits<double>::quiet_NaN();
    };
    auto draws = fit::block_bootstrap_draws(numbers, kappa,
                                            {.draws = options.draws, .block = 1, .seed = options.seed});
    if (!draws) {
        return fail(std::move(draws).error());
    }
    std::erase_if(*draws, [](double value) { return !std::isfinite(value); });
    if (10 * draws->size() < 9 * options.draws) {
        return std::optional<stats::Interval>();
    }
    std::sort(draws->begin(), draws->end());
    const double beyond = 0.5 * (1.0 - options.level);
    return std::optional(stats::Interval{fit::quantile_of_sorted(*draws, beyond),
                                         fit::quantile_of_sorted(*draws, 1.0 - beyond)});
}

constexpr std::size_t least_fish = 5;
constexpr std::size_t few_fish = 20;

std::string words_of(const ScorerAgreement& out, bool is_same_throughout) {
    if (is_same_throughout) {
        return fmt::format("both gave the same level to all {} places of {} fish: no error can be found from "
                           "that, and none is given",
                           out.same, out.fish);
    }
    if (!out.interval) {
        return fmt::format("no interval by fish: {} fish, or levels that hardly vary, say too little",
                           out.fish);
    }
    return out.fish < few_fish
               ? fmt::format("{} fish are few: both intervals are likely too narrow", out.fish)
               : "";
}

} // namespace

Expected<ScorerAgreement> scorer_agreement(std::span<const ScoredTwice> pairs, const OrdinalScale& scale,
                                           const ScorerOptions& options) {
    if (auto fine = check_scale(scale); !fine) {
        return fail(std::move(fine).error());
    }
    if (options.draws < 100) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("{} draws", options.draws),
                     .expected = "100 or more; 2000 for an interval to rely on"});
    }
    ScorerAgreement out;
    std::map<std::string, Levels>
        by_name; // ordered: the order of the rows does not change the draws' meaning
    Levels all;
    for (const auto& pair : pairs) {
        if (!pair.first || !pair.second) {
            ++out.left_out;
            continue;
        }
        const Levels one{.first = {*pair.first}, .second = {*pair.second}};
        by_name[pair.fish].add(one);
        all.add(one);
        out.same += *pair.first == *pair.second ? 1 : 0;
    }
    auto kappa = stats::weighted_kappa(all.first, all.second, scale.levels.size(),
                                       {.weights = options.weights, .level = options.level});
    if (!kappa) {
        return fail(std::move(kappa).error());
    }
    out.kappa = *kappa;
    std::vector<Levels> fish;
    for (auto& [name, levels] : by_name) {
        fish.push_back(std::move(levels));
    }
    out.fish = fish.size();
    const bool is_same_throughout = out.same == all.first.size();
    if (out.fish >= least_fish && !is_same_throughout) {
        auto interval = by_fish(fish, scale.levels.size(), options);
        if (!interval) {
            return fail(std::move(interval).error());
        }
        out.interval = *interval;
    }
    out.words = words_of(out, is_same_throughout);
    return out;
}

} // namespace backeddy::condition
